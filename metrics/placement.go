package metrics

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// placement is one stance on the ground of the lane.
type placement struct {
	ok       bool
	x, y     float64
	xSD, ySD float64 // From tracking alone.
	fall     int     // Its place among the model's footfalls, −1 where it is none.
}

// spatial is what one camera makes of the stances and tracks.
type spatial struct {
	found             findings
	placed            [4][]placement
	fit               *runFit // Nil where the placements are too few for a model of the run.
	signals           []Signal
	paths             []HoofPath
	nearest, farthest float64
	borrowed          bool // Croup or head were timed by the paired limb.
	wild              int  // Placements that cannot be this horse's.
}

// line returns the line of travel, nil where there is none.
func (s *spatial) line() *Line {
	if s.fit == nil {
		return nil
	}
	return &s.fit.line
}

// measureSpace measures everything that needs the camera. With the spatial of the
// calibration's camera as like, cam is another camera it may have been: the model of
// the run, which holds the calibration's error in itself, is taken from there.
func (a *analysis) measureSpace(cam geometry.Camera, like *spatial) *spatial {
	s := &spatial{found: findings{}, nearest: math.Inf(1), farthest: math.Inf(-1)}
	for k := range limbs {
		s.placed[k] = make([]placement, len(a.Stances[k]))
	}
	if a.cal.Level != geometry.LevelNone {
		a.placeAll(s, cam, like)
		if like != nil {
			s.fit = like.fit
		} else {
			a.fit(s, cam)
			if s.fit != nil && a.Ref >= 0 {
				a.measureLengths(s)
				a.measureOffsets(s)
				a.measureBase(s)
			}
		}
		if s.fit != nil && a.Ref >= 0 && a.cal.Level.AtLeast(geometry.LevelHeight) {
			a.measureSwings(s, cam)
			a.measureTrunk(s, cam)
		}
	}
	if a.Ref >= 0 {
		a.measureBody(s, cam, like)
	}
	return s
}

// placeAll puts every stance on the ground, those only that like has, too.
func (a *analysis) placeAll(s *spatial, cam geometry.Camera, like *spatial) {
	for k := range limbs {
		for i := range a.Stances[k] {
			s.placed[k][i] = place(cam, &a.Stances[k][i], a.opts.Model.Placement)
			if p := &s.placed[k][i]; like != nil {
				p.ok = p.ok && like.placed[k][i].ok
			} else if p.ok {
				s.nearest, s.farthest = min(s.nearest, p.y), max(s.farthest, p.y)
			}
		}
	}
}

// place puts a stance on the ground.
func place(cam geometry.Camera, s *contact.Stance, m errormodel.Placement) placement {
	at := geometry.Point{X: s.X, Y: s.Y}
	x, y, ok := cam.GroundPoint(at)
	if !ok || !(y > 0) {
		return placement{fall: -1}
	}
	j := cam.GroundJacobian(at)
	p := placement{x: x, y: y, fall: -1}
	p.xSD = math.Hypot(j[0][0]*s.XSD, j[0][1]*s.YSD)
	p.ySD = math.Hypot(j[1][0]*s.XSD, j[1][1]*s.YSD)
	p.ok = p.ySD < m.FarthestShare*y && s.Samples >= m.FewestSamples
	return p
}

// fit fits the model of the run to what was placed. Placements that are none of this
// run's (an occluding limb or a stone was tracked) are taken out.
func (a *analysis) fit(s *spatial, cam geometry.Camera) {
	if !a.Rhythm() {
		return
	}
	falls, marks := a.footfalls(s, cam)
	high := float64(min(a.set.Height, a.set.Width)) / 1080
	prior := a.opts.Model
	if a.cal.Level != geometry.LevelMetric {
		prior.Camera.TapeShare = 0 // Nothing was taped; the camera's height brings its own.
	}
	s.fit = fitRun(falls, cam, a.cal.Variants(), a.opts.View == traj.Toward, marks, high, a.unit(), prior)
	if s.fit == nil {
		return
	}
	for k := range limbs {
		for i := range s.placed[k] {
			if p := &s.placed[k][i]; p.ok && s.fit.wild(p.fall) {
				p.ok = false
				s.wild++
			}
		}
	}
}

// footfalls returns what was placed as the model of the run takes it, and how many px a
// metre is worth at the marks.
func (a *analysis) footfalls(s *spatial, cam geometry.Camera) (falls []footfall, marks clicked) {
	var frames [4][]int // Of the marks.
	for k := range limbs {
		nearest := 0.0
		for i := range s.placed[k] {
			p, c := &s.placed[k][i], &a.Stances[k][i]
			if !p.ok {
				continue
			}
			p.fall = len(falls)
			at := geometry.Point{X: c.X, Y: c.Y}
			falls = append(falls, footfall{k, a.Beat(k, i), at, [2]float64{c.XSD, c.YSD}})
			nearest = max(nearest, perMetre(cam, at))
		}
		if tr := a.set.Track(limbs[k]); tr != nil {
			for f, p := range tr.Samples {
				if per := perMetre(cam, geometry.Point{X: p.X, Y: p.Y}); p.Status == traj.Marked && per > 0 {
					marks.per[k], frames[k] = append(marks.per[k], per), append(frames[k], f)
				}
			}
		}
		if len(marks.per[k]) == 0 {
			marks.per[k] = []float64{nearest} // As if marked once, where it is largest.
		}
	}
	for _, p := range a.set.Pairs {
		left := slices.Index(limbs[:], p.Left)
		q := pairedMarks{limb: [2]int{left, left + 1}, mark: [2]int{slices.Index(frames[left], p.LeftFrame), slices.Index(frames[left+1], p.RightFrame)}}
		if q.mark[0] >= 0 && q.mark[1] >= 0 {
			per := marks.per[left+1][q.mark[1]]
			q.down, q.sd = p.DownPX/per, p.SDPX/per
			marks.pairs = append(marks.pairs, q)
		}
	}
	return falls, marks
}

// perMetre returns how many px a metre across the line of sight is worth at the ground
// point seen at p; 0 where there is none.
func perMetre(cam geometry.Camera, p geometry.Point) float64 {
	x, y, ok := cam.GroundPoint(p)
	if !ok {
		return 0
	}
	cx, cy, cz := cam.Centre()
	return cam.F / math.Sqrt(sq(x-cx)+sq(y-cy)+sq(cz))
}

// outward is +1 for limbs of the left side and −1 for those of the right: what
// turns a distance to the left into one away from the midline.
func outward(k int) float64 {
	if k%2 == 0 {
		return 1
	}
	return -1
}

// share reports whether lengths can only be given as shares of the own stride.
func (a *analysis) share() bool { return a.cal.Level == geometry.LevelRatio }

// unit returns how many metres a unit of length is worth: one camera height where only
// shares are known, as high as cameras usually are.
func (a *analysis) unit() float64 {
	if a.share() {
		return a.opts.Model.Body.CameraM
	}
	return 1
}

// means puts the means of a measure with sides into found: build adds w times a side's
// value to a target, in metres, and scale takes that to the measure's unit.
func (s *spatial) means(n Name, scale float64, build func(t *target, side int, w float64, who whose)) {
	m := s.found.series(n)
	for who, to := range [2]**Mean{&m.OfHorse, &m.OfRun} {
		var v [3][2]float64 // Left, right, difference.
		for q, w := range [3][2]float64{{1, 0}, {0, 1}, {-1, 1}} {
			t := s.fit.target()
			for side := range 2 {
				if w[side] != 0 {
					build(&t, side, w[side], whose(who))
				}
			}
			v[q][0], v[q][1] = s.fit.predict(t)
		}
		*to = &Mean{Value: scale * v[2][0], SE: scale * v[2][1], Left: scale * v[0][0], LeftSE: scale * v[0][1], Right: scale * v[1][0], RightSE: scale * v[1][1]}
	}
}

// measureLengths measures stride and step lengths and speed.
func (a *analysis) measureLengths(s *spatial) {
	f := s.fit
	t := f.target()
	f.advance(&t, 1)
	stride, strideSD := f.predict(t)
	if !(stride > 0) {
		return
	}
	scale := 1.0
	if a.share() {
		scale = 100 / stride
	} else {
		a.measureAdvance(s, stride, strideSD)
	}
	for g, name := range [2]Name{StepLengthFore, StepLengthHind} {
		varies := a.measureSteps(s, g, name, scale)
		if !f.both(g) || s.found[name] == nil {
			continue
		}
		s.means(name, scale, func(t *target, side int, w float64, who whose) {
			f.advance(t, w/2)
			f.meanOf(t, 2*g+side, 0, w, who)
			f.meanOf(t, 2*g+1-side, 0, -w, who)
		})
		if !a.share() {
			a.putSpread(s, [2]Name{StepLengthSpreadFore, StepLengthSpreadHind}[g], varies)
		}
	}
}

// measureSteps measures girdle g's steps stride by stride and returns how much those of
// either side vary.
func (a *analysis) measureSteps(s *spatial, g int, name Name, scale float64) (varies [2]spread) {
	f := s.fit
	for i, st := range a.Strides {
		p, ok := a.StepsIn(g, i)
		if !ok {
			continue
		}
		q := [3]placement{s.placed[p.First][p.Lead], s.placed[p.Other][p.Second], s.placed[p.First][p.Last]}
		if !q[0].ok || !q[1].ok || !q[2].ok {
			continue
		}
		side := 0 // That of the limb that lands first: the second of the two steps is its own.
		if limbs[p.First].Side() == traj.Right {
			side = 1
		}
		var v [3][2]float64
		for m, w := range [3][3]float64{{0, -1, 1}, {-1, 1, 0}, {-1, 2, -1}} {
			t := f.target()
			for c := range 3 {
				f.add(&t, q[c].fall, 0, w[c])
			}
			v[m][0], v[m][1] = f.predict(t)
			if m < 2 {
				clear(t.fixed)
				clear(t.smooth)
				varies[side^m].add(f.predict(t))
			}
		}
		if v[0][0] <= 0 || v[1][0] <= 0 {
			continue
		}
		o := Observation{Stride: i, Time: st.Start, Left: scale * v[side][0], Right: scale * v[1-side][0], SD: scale * v[2][1]}
		o.Value = o.Right - o.Left
		s.found.put(name, o)
	}
	return varies
}

// measureAdvance measures stride length and speed: stride by stride of the reference
// limb, else of another, and over the run.
func (a *analysis) measureAdvance(s *spatial, stride, strideSD float64) {
	for i, st := range a.Strides {
		for n := range limbs {
			k := a.Ref ^ n // First its own girdle.
			j := a.In(k, i)
			q := a.Next(k, j)
			if q < 0 || !s.placed[k][j].ok || !s.placed[k][q].ok {
				continue
			}
			t := s.fit.target()
			s.fit.add(&t, s.placed[k][j].fall, 0, -1)
			s.fit.add(&t, s.placed[k][q].fall, 0, 1)
			x, sd := s.fit.predict(t)
			c := a.Stances[k][j].Cycle
			from, fromSD := a.Landing(k, c)
			to, toSD := a.Landing(k, c+1)
			if d := to - from; d > 0 {
				s.found.put(StrideLength, single(i, st.Start, x, sd))
				s.found.put(Speed, single(i, st.Start, x/d, math.Hypot(sd/d, x/d/d*math.Hypot(fromSD, toSD))))
			}
			break
		}
	}
	if s.found[StrideLength] == nil {
		return
	}
	period, periodSD := a.meanStride()
	for n, m := range map[Name]Mean{
		StrideLength: {Value: stride, SE: strideSD},
		Speed:        {Value: stride / period, SE: math.Hypot(strideSD/period, stride/period/period*periodSD)},
	} {
		f := s.found.series(n)
		f.OfHorse, f.OfRun = &m, &m
	}
}

// spread gathers how much strides vary: the mean square of what each one did beyond the
// mean, as predicted, with what is not known of it.
type spread struct{ sum, n float64 }

func (v *spread) add(value, sd float64) { v.sum, v.n = v.sum+value*value+sd*sd, v.n+1 }

// sd returns the standard deviation and its own spread, that of a normal quantity, cm.
func (v *spread) sd() [2]float64 {
	if v.n < 3 {
		return notSeen
	}
	sd := 100 * math.Sqrt(v.sum/v.n)
	return [2]float64{sd, sd / math.Sqrt(2*(v.n-1))}
}

// putSpread adds a run's spread from stride to stride, without what measuring put into
// it, cm. Index: side.
func (a *analysis) putSpread(s *spatial, n Name, of [2]spread) {
	s.found.putSides(n, 0, a.Strides[0].Start, [2][2]float64{of[0].sd(), of[1].sd()})
}

// measureOffsets measures how far outward of the line of travel hooves land.
func (a *analysis) measureOffsets(s *spatial) {
	if a.share() || s.fit.pairs() == 0 {
		return
	}
	for g, name := range [2]Name{PlacementOffsetFore, PlacementOffsetHind} {
		var varies [2]spread
		for i, st := range a.Strides {
			s.found.putSides(name, i, st.Start, a.pairOffsets(s, g, i, &varies))
		}
		if m := s.found[name]; m != nil {
			s.means(name, 100, func(t *target, side int, w float64, who whose) { s.fit.outwardOf(t, 2*g+side, w, who) })
			m.widenSides(100 * a.opts.Model.Placement.BehindM)
		}
		a.putSpread(s, [2]Name{PlacementSpreadFore, PlacementSpreadHind}[g], varies)
	}
}

// pairOffsets returns how far outward of the line of travel a pair of limbs, 0 the fore, lands in
// stride i, and adds to varies what this stride did beyond the mean. Index of the result: side,
// then value and spread, cm.
func (a *analysis) pairOffsets(s *spatial, pair, i int, varies *[2]spread) [2][2]float64 {
	f := s.fit
	// Where one pair alone was placed, the line is the midline of these two hooves: both land
	// half their base width from it by its making.
	differ := f.pairs() == 2
	v := neither
	for side := range 2 {
		k := 2*pair + side
		j := a.In(k, i)
		if j < 0 || !s.placed[k][j].ok {
			continue
		}
		t := f.target()
		t.stride[2*s.placed[k][j].fall+1] = outward(k)
		varies[side].add(f.predict(t))
		if differ {
			f.outwardOf(&t, k, 1, ofHorse)
			x, sd := f.predict(t)
			v[side] = [2]float64{100 * x, 100 * sd}
		}
	}
	return v
}

// outwardOf adds w times how far outward of the line of travel limb k lands on average.
func (f *runFit) outwardOf(t *target, k int, w float64, who whose) {
	f.meanOf(t, k, 1, w*outward(k), who)
	for j, v := range f.midline() {
		if v > 0 {
			f.meanOf(t, j, 1, -v*w*outward(k), who)
		}
	}
}

// widenSides adds an independent error to the means of the run and of the horse, and half of it to
// those of the sides.
func (s *Series) widenSides(sd float64) {
	for _, of := range []*Mean{s.OfRun, s.OfHorse} {
		of.SE = math.Hypot(of.SE, sd)
		of.LeftSE, of.RightSE = math.Hypot(of.LeftSE, sd/2), math.Hypot(of.RightSE, sd/2)
	}
}

// note adds a remark that a reader of the numbers needs.
func (a *analysis) note(format string, args ...any) {
	a.notes = append(a.notes, fmt.Sprintf(format, args...))
}

func (a *analysis) remarkOnTimes() {
	if len(a.Stances[0])+len(a.Stances[1])+len(a.Stances[2])+len(a.Stances[3]) == 0 {
		return
	}
	if a.opts.View == traj.Away {
		a.note("Seen from behind the mark is on the heel, which lifts before the toe leaves the ground: stance ends at heel-off here and is shorter than in clips toward the camera. A hoof that lands far from the camera comes down almost along the line of sight, so that landings from behind are less certain.")
	}
	for k, h := range a.Hooves {
		if h != nil && len(h.T) < len(a.set.Times)*3/4 {
			a.note("The %s was seen in %d of %d frames.", limbs[k].Words(), len(h.T), len(a.set.Times))
		}
		on, off := 0, 0
		for i := range a.Stances[k] {
			c := &a.Stances[k][i]
			if !c.OnTimed() && !c.StartsClip {
				on++
			}
			if !c.OffTimed() && !c.EndsClip {
				off++
			}
		}
		if on+off > 0 {
			a.note("%s: %d landings and %d leavings could not be timed (hidden, or too far away to see the hoof move).", limbs[k].Words(), on, off)
		}
	}
	a.note("A rolling shutter exposes the picture's last row 10 to 30 ms after its first, so times of marks that lie a tenth of the picture's height apart may be off by 1 to 3 ms against each other.")
}

func (a *analysis) remarkOnPlaces(s *spatial) {
	if a.cal.Level == geometry.LevelMetric {
		a.note("The picture's rows and the ground are %.1f° apart across the lane: the lane's crossfall and the camera's tilt together.", math.Abs(a.cal.Camera.TiltAcross()))
	}
	if a.cal.Level == geometry.LevelRatio && s.fit != nil {
		a.note("Only the horizon is known: lengths are shares of the horse's own stride, and positions in the lane are in camera heights (along the lane only up to an unknown common factor).")
	}
	if s.fit != nil && a.cal.Level.AtLeast(geometry.LevelHeight) {
		if bow, sd := s.fit.bow(); math.Abs(bow) > 0.10 && math.Abs(bow) > 3*sd {
			a.note("The horse did not go straight: the run bows %.0f cm from its straight line. Sideways placement is measured from the bowed line.", 100*math.Abs(bow))
		}
		if f := s.found[LateralArcFore]; f != nil && f.CommonSD > 1.5 {
			a.note("The horse went off the line of sight, so how fast the hoof swings forward leaks into its sideways arc: differences of arcs are uncertain by %.1f cm in all strides alike. Stand in line with the lane.", f.CommonSD)
		}
		switch s.fit.pairs() {
		case 1:
			a.note("Only one pair of limbs was placed: the line of travel is their own midline, so sideways placement shows how wide they are set but not a difference between left and right.")
		case 2:
			a.note("The line of travel is the midline of all placements: a sideways shift of the forehand against the quarters shows half in the fore and half, with the opposite sign, in the hind difference.")
		}
	}
	if n := a.OffBeat; n > 0 {
		a.note("%d stance(s) found in the tracks do not fit the rhythm of the others and were left out.", n)
	}
	if s.wild > 0 {
		a.note("%d placement(s) lie too far from where the others lead and were left out: the tracker held on to something else.", s.wild)
	}
	if s.borrowed {
		a.note("Where a hoof was not seen, low and high points were given to its side by the limb that lands together with it.")
	}
}
