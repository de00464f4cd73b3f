package metrics

import (
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
	fall     int     // Its place among the model's footfalls.
}

// measureSpace measures everything that needs the camera. With the spatial of the
// calibration's camera as like, cam is another camera it may have been: the model of
// the run, which holds the calibration's error in itself, is taken from there.
func (a *analysis) measureSpace(cam geometry.Camera, like *spatial) *spatial {
	s := &spatial{analysis: a, cam: cam, found: findings{}, nearest: math.Inf(1), farthest: math.Inf(-1)}
	for k := range limbs {
		s.placed[k] = make([]placement, len(s.Stances[k]))
	}
	if s.cal.Level != geometry.LevelNone {
		s.placeAll(like)
		if like != nil {
			s.fit = like.fit
		} else if s.fitModel(); s.fit != nil && s.Ref >= 0 {
			s.measureLengths()
			s.measureBase()
		}
		if s.fit != nil && s.Ref >= 0 && s.cal.Level.AtLeast(geometry.LevelHeight) {
			s.measureSwings()
			s.measureTrunk()
		}
	}
	if s.Ref >= 0 {
		s.measureBody(like)
	}
	return s
}

// placeAll puts every stance on the ground; beside like those only that lie there in it, too.
func (s *spatial) placeAll(like *spatial) {
	for k := range limbs {
		for i := range s.Stances[k] {
			s.placed[k][i] = place(s.cam, &s.Stances[k][i], s.model.Placement)
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
		return placement{}
	}
	j := cam.GroundJacobian(at)
	p := placement{x: x, y: y}
	p.xSD = math.Hypot(j[0][0]*s.XSD, j[0][1]*s.YSD)
	p.ySD = math.Hypot(j[1][0]*s.XSD, j[1][1]*s.YSD)
	p.ok = p.ySD < m.FarthestShare*y && s.Samples >= m.FewestSamples
	return p
}

// fitModel fits the model of the run to what was placed. Placements that are none of this
// run's (an occluding limb or a stone was tracked) are taken out.
func (s *spatial) fitModel() {
	if !s.Rhythm() {
		return
	}
	falls, marks := s.footfalls()
	high := float64(min(s.set.Height, s.set.Width)) / 1080
	prior := s.model
	if s.cal.Level != geometry.LevelMetric {
		prior.Camera.TapeShare = 0 // Nothing was taped; the camera's height brings its own.
	}
	s.fit = fitRun(falls, s.cam, s.cal.Variants(), s.opts.View == traj.Toward, marks, high, s.unit(), prior)
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
func (s *spatial) footfalls() (falls []footfall, marks clicked) {
	var frames [4][]int // Of the marks.
	for k := range limbs {
		nearest := 0.0
		for i := range s.placed[k] {
			p, c := &s.placed[k][i], &s.Stances[k][i]
			if !p.ok {
				continue
			}
			p.fall = len(falls)
			at := geometry.Point{X: c.X, Y: c.Y}
			falls = append(falls, footfall{k, s.Beat(k, i), at, [2]float64{c.XSD, c.YSD}})
			nearest = max(nearest, perMetre(s.cam, at))
		}
		marks.per[k], frames[k] = s.marksOn(k)
		if len(marks.per[k]) == 0 {
			marks.per[k] = []float64{nearest} // As if marked once, where it is largest.
		}
	}
	for _, p := range s.set.Pairs {
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

// marksOn returns how many px a metre is worth at each mark of limb k, and the marks' frames.
func (s *spatial) marksOn(k int) (per []float64, frames []int) {
	tr := s.set.Track(limbs[k])
	if tr == nil {
		return nil, nil
	}
	for f, p := range tr.Samples {
		if v := perMetre(s.cam, geometry.Point{X: p.X, Y: p.Y}); p.Status == traj.Marked && v > 0 {
			per, frames = append(per, v), append(frames, f)
		}
	}
	return per, frames
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

// falls returns which of the model's footfalls some stances (limb, stance) are, and whether
// all of them are some.
func (s *spatial) falls(stances ...[2]int) (falls []int, ok bool) {
	for _, q := range stances {
		if q[1] < 0 || !s.placed[q[0]][q[1]].ok {
			return nil, false
		}
		falls = append(falls, s.placed[q[0]][q[1]].fall)
	}
	return falls, true
}

// share reports whether lengths can only be given as shares of the own stride.
func (a *analysis) share() bool { return a.cal.Level == geometry.LevelRatio }

// unit returns how many metres a unit of length is worth: one camera height where only
// shares are known, as high as cameras usually are.
func (a *analysis) unit() float64 {
	if a.share() {
		return a.model.Body.CameraM
	}
	return 1
}

// measureLengths measures stride and step lengths and speed.
func (s *spatial) measureLengths() {
	f := s.fit
	t := f.target()
	f.advance(&t, 1)
	stride, strideSD := f.predict(t)
	if !(stride > 0) {
		return
	}
	scale := 1.0
	if s.share() {
		scale = 100 / stride
	} else {
		s.measureAdvance(stride, strideSD)
	}
	for g, name := range [2]Name{StepLengthFore, StepLengthHind} {
		varies := s.measureSteps(g, name, scale)
		if !f.both(g) || s.found[name] == nil {
			continue
		}
		s.meanSteps(g, name, scale)
		if !s.share() {
			s.putSides([2]Name{StepLengthSpreadFore, StepLengthSpreadHind}[g], 0, [2][2]float64{varies[0].sd(), varies[1].sd()})
		}
	}
}

// measureSteps measures girdle g's steps stride by stride and returns how much those of
// either side vary.
func (s *spatial) measureSteps(g int, name Name, scale float64) (varies [2]spread) {
	f := s.fit
	for i := range s.Strides {
		p, _ := s.StepsIn(g, i)
		falls, ok := s.falls([2]int{p.First, p.Lead}, [2]int{p.Other, p.Second}, [2]int{p.First, p.Last})
		if !ok {
			continue
		}
		side := p.First % 2 // The second of the two steps is that of the limb that lands first.
		var v [3][2]float64
		for m, w := range [3][3]float64{{0, -1, 1}, {-1, 1, 0}, {-1, 2, -1}} {
			t := f.sum(falls, 0, w[:]...)
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
		left, right := scale*v[side][0], scale*v[1-side][0]
		s.observe(name, i, left, right, right-left, scale*v[2][1])
	}
	return varies
}

// meanSteps puts the means of girdle g's steps into found.
func (s *spatial) meanSteps(g int, n Name, scale float64) {
	f, m := s.fit, s.found.series(n)
	for who, to := range [2]**Mean{&m.OfHorse, &m.OfRun} {
		var v [3][2]float64 // Left, right, difference.
		for q, w := range [3][2]float64{{1, 0}, {0, 1}, {-1, 1}} {
			t := f.target()
			for side := range 2 {
				if w[side] != 0 {
					f.advance(&t, w[side]/2)
					f.meanOf(&t, 2*g+side, w[side], whose(who))
					f.meanOf(&t, 2*g+1-side, -w[side], whose(who))
				}
			}
			v[q][0], v[q][1] = f.predict(t)
		}
		*to = &Mean{Value: scale * v[2][0], SE: scale * v[2][1], Left: scale * v[0][0], LeftSE: scale * v[0][1], Right: scale * v[1][0], RightSE: scale * v[1][1]}
	}
}

// measureAdvance measures stride length and speed: stride by stride of the reference
// limb, else of another, and over the run.
func (s *spatial) measureAdvance(stride, strideSD float64) {
	for i := range s.Strides {
		for n := range limbs {
			k := s.Ref ^ n // First its own girdle.
			j := s.In(k, i)
			falls, ok := s.falls([2]int{k, j}, [2]int{k, s.Next(k, j)})
			if !ok {
				continue
			}
			x, sd := s.fit.predict(s.fit.sum(falls, 0, -1, 1))
			c := s.Stances[k][j].Cycle
			from, fromSD := s.Landing(k, c)
			to, toSD := s.Landing(k, c+1)
			if d := to - from; d > 0 {
				s.put(StrideLength, i, x, sd)
				s.put(Speed, i, x/d, math.Hypot(sd/d, x/d/d*math.Hypot(fromSD, toSD)))
			}
			break
		}
	}
	if s.found[StrideLength] == nil {
		return
	}
	period, periodSD := s.meanStride()
	s.found.setMean(StrideLength, stride, strideSD)
	s.found.setMean(Speed, stride/period, math.Hypot(strideSD/period, stride/period/period*periodSD))
}

// spread gathers how much strides vary: the mean square of what each one did beyond the
// mean, as predicted, with what is not known of it.
type spread struct{ sum, n float64 }

func (v *spread) add(value, sd float64) { v.sum, v.n = v.sum+value*value+sd*sd, v.n+1 }

// sd returns the standard deviation from stride to stride, without what measuring put into
// it, and its own spread, that of a normal quantity, cm.
func (v *spread) sd() [2]float64 {
	if v.n < 3 {
		return notSeen
	}
	sd := 100 * math.Sqrt(v.sum/v.n)
	return [2]float64{sd, sd / math.Sqrt(2*(v.n-1))}
}
