package metrics

import (
	"fmt"
	"math"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// levelSD is how level a camera set with a spirit level is, degrees, one
// standard deviation (common practice).
const levelSD = 0.3

// farthestShare is the largest spread of a placement along the lane, as share
// of its distance, with which it is still used.
const farthestShare = 0.03

// fewestSamples is from how many still samples a placement is taken.
const fewestSamples = 4

// placement is one stance on the ground of the lane.
type placement struct {
	ok       bool
	x, y     float64
	xSD, ySD float64       // From tracking alone.
	cov      [2][2]float64 // The same with what ties the two together.
	perRow   float64       // Metres along the lane a row of the picture is worth there.
}

// markSD is how far off its place on the hoof a mark may be, px, one standard
// deviation: that of a click (0.5) over the three or more frames in which a hoof
// is marked. Tracking carries it through the whole run, so it shifts every
// placement of a limb alike and does not average out over strides.
const markSD = 0.3

// spatial is what one camera makes of the stances and tracks.
type spatial struct {
	found             findings
	placed            [4][]placement
	line              *Line
	middle            bool // The line is a midline between left and right placements.
	bothGirdles       bool // It is one between those of fore and hind.
	bow, bowSD        float64
	residual          float64 // SD of placements about their own limb's line.
	lineSD            float64 // Of the line of travel sideways, from how few placements it runs between.
	signals           []Signal
	paths             []HoofPath
	nearest, farthest float64
	borrowed          bool    // Croup or head were timed by the paired limb.
	wild              int     // Placements dropped because they cannot be this horse's.
	length            float64 // Of a stride, as the beats go by; 0 where not known.
}

// measureSpace measures everything that needs the camera.
func (a *analysis) measureSpace(cam geometry.Camera) *spatial {
	s := &spatial{found: findings{}, nearest: math.NaN(), farthest: math.NaN()}
	for k := range limbs {
		s.placed[k] = make([]placement, len(a.stances[k]))
	}
	if a.cal.Level != geometry.LevelNone {
		for k := range limbs {
			for i := range a.stances[k] {
				s.placed[k][i] = place(cam, &a.stances[k][i])
				if p := s.placed[k][i]; p.ok {
					s.nearest = minOf(s.nearest, p.y)
					s.farthest = maxOf(s.farthest, p.y)
				}
			}
		}
		a.dropWild(s)
		a.fitLine(s)
		if s.line != nil && a.ref >= 0 {
			a.measureLengths(s)
			a.measureOffsets(s)
			if a.cal.Level.AtLeast(geometry.LevelHeight) {
				a.measureSwings(s, cam)
			}
		}
	}
	if a.ref >= 0 {
		a.measureBody(s, cam)
	}
	if a.opts.CameraLevelled && a.cal.Level == geometry.LevelMetric {
		start := 0.0
		if len(a.strides) > 0 {
			start = a.strides[0].Start
		}
		s.found.put(Crossfall, single(0, start, cam.TiltAcross(), 0))
	}
	return s
}

func minOf(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}

func maxOf(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

// place puts a stance on the ground.
func place(cam geometry.Camera, s *stance) placement {
	at := geometry.Point{X: s.PictureX, Y: s.PictureY}
	x, y, ok := cam.GroundPoint(at)
	if !ok || !(y > 0) {
		return placement{}
	}
	j := cam.GroundJacobian(at)
	p := placement{x: x, y: y, perRow: math.Hypot(j[1][0], j[1][1])}
	vx, vy := sq(s.pixelXSD), sq(s.pixelYSD)
	for r := range 2 {
		for c := range 2 {
			p.cov[r][c] = j[r][0]*j[c][0]*vx + j[r][1]*j[c][1]*vy
		}
	}
	p.xSD, p.ySD = math.Sqrt(p.cov[0][0]), math.Sqrt(p.cov[1][1])
	p.ok = p.ySD < farthestShare*y && s.samples >= fewestSamples
	return p
}

// dropWild drops placements that cannot be of this run: the horse goes forward
// by nearly the same length every beat and keeps to its line within some
// decimetres. What lies off by far more than its spread (an occluding limb or a
// stone was tracked) is no measurement.
func (a *analysis) dropWild(s *spatial) {
	if a.rhythm == nil {
		return
	}
	type entry struct {
		p    *placement
		g    int // Girdle.
		beat float64
	}
	var all []entry
	for k := range limbs {
		for i := range s.placed[k] {
			if p := &s.placed[k][i]; p.ok {
				all = append(all, entry{p, k / 2, float64(a.cycle[k][i]) + a.rhythm.phase[k]})
			}
		}
	}
	if len(all) < 4 {
		return
	}
	// Robust start: the median of all slopes between placements of one girdle.
	var alongSlopes, acrossSlopes []float64
	for i, e := range all {
		for _, f := range all[:i] {
			if d := e.beat - f.beat; e.g == f.g && math.Abs(d) > 0.4 {
				alongSlopes = append(alongSlopes, (e.p.y-f.p.y)/d)
				if math.Abs(d) > 0.9 {
					acrossSlopes = append(acrossSlopes, (e.p.x-f.p.x)/d)
				}
			}
		}
	}
	if len(alongSlopes) < 3 || len(acrossSlopes) < 1 {
		return
	}
	length, drift := signal.Median(alongSlopes), signal.Median(acrossSlopes)
	s.length = math.Abs(length)
	for g := range 2 {
		var along, across []float64
		var of []entry
		for _, e := range all {
			if e.g == g {
				of = append(of, e)
				along = append(along, e.p.y-length*e.beat)
				across = append(across, e.p.x-drift*e.beat)
			}
		}
		if len(of) < 3 {
			continue
		}
		for i, e := range of {
			// Speed changes within a run, so beside the whole run's level the neighbours' counts.
			var near []float64
			for j, f := range of {
				if math.Abs(f.beat-e.beat) < 2.2 && i != j {
					near = append(near, along[j])
				}
			}
			if len(near) < 2 {
				near = along
			}
			away := math.Abs(along[i] - signal.Median(near))
			aside := math.Abs(across[i] - signal.Median(across))
			// Left and right stand apart whatever the stride's length: a pony that walks
			// sets them a fifth of its stride apart.
			const standsApart = 0.3
			if away > max(5*e.p.ySD, 0.14*s.length) || aside > max(5*e.p.xSD, 0.12*s.length, standsApart) {
				e.p.ok = false
				s.wild++
			}
		}
	}
}

// along returns the distance of p along the line of travel and its spread.
func (l *Line) along(p placement) (float64, float64) {
	v := (p.x-l.X)*l.DX + (p.y-l.Y)*l.DY
	return v, math.Sqrt(max(0, l.DX*l.DX*p.cov[0][0]+2*l.DX*l.DY*p.cov[0][1]+l.DY*l.DY*p.cov[1][1]))
}

// left returns the distance of p from the line, positive to the horse's left,
// and its spread.
func (l *Line) left(p placement) (float64, float64) {
	nx, ny := -l.DY, l.DX
	v := (p.x-l.X)*nx + (p.y-l.Y)*ny
	return v, math.Sqrt(max(0, nx*nx*p.cov[0][0]+2*nx*ny*p.cov[0][1]+ny*ny*p.cov[1][1]))
}

// outward is +1 for limbs of the left side and −1 for those of the right: what
// turns a distance to the left into one away from the midline.
func outward(k int) float64 {
	if k%2 == 0 {
		return 1
	}
	return -1
}

// fitLine fits the line of travel: straight lines of one common direction, one
// through the placements of each limb, by weighted least squares; the line of
// travel runs midway between left and right (of each girdle that has both, and
// midway between those). So a side that was seen more often neither tilts nor
// shifts it. Weights carry the placements' spread and the horse's own
// variation, which is estimated from the residuals.
func (a *analysis) fitLine(s *spatial) {
	type entry struct {
		k int
		p placement
	}
	var all []entry
	var count [4]int
	for k := range limbs {
		for _, p := range s.placed[k] {
			if p.ok {
				all = append(all, entry{k, p})
				count[k]++
			}
		}
	}
	n := 0
	for k := range limbs {
		if count[k] > 0 {
			n++
		}
	}
	if len(all) < n+2 {
		return
	}
	var slope, own float64
	var level [4]float64
	var residual []float64
	// The sideways variation from stride to stride starts at zero and settles.
	for range 8 {
		var w, mx, my [4]float64
		weight := func(e entry) float64 { return 1 / (sq(e.p.xSD) + sq(slope*e.p.ySD) + sq(own) + 1e-12) }
		for _, e := range all {
			v := weight(e)
			w[e.k] += v
			mx[e.k] += v * e.p.x
			my[e.k] += v * e.p.y
		}
		var xy, yy float64
		for _, e := range all {
			v, dy := weight(e), e.p.y-my[e.k]/w[e.k]
			xy += v * dy * e.p.x
			yy += v * dy * dy
		}
		if yy <= 0 {
			return
		}
		slope = xy / yy
		for k := range limbs {
			if w[k] > 0 {
				level[k] = mx[k]/w[k] - slope*my[k]/w[k]
			}
		}
		residual = residual[:0]
		var noise float64
		for _, e := range all {
			residual = append(residual, e.p.x-level[e.k]-slope*e.p.y)
			noise += sq(e.p.xSD) / float64(len(all))
		}
		var sum float64
		for _, r := range residual {
			sum += r * r
		}
		own = math.Sqrt(max(0, sum/float64(max(1, len(all)-n-1))-noise))
	}
	// A bow: the residual's quadratic part over the run.
	var ys, rs, ws []float64
	for i, e := range all {
		ys = append(ys, e.p.y)
		rs = append(rs, residual[i])
		ws = append(ws, 1/(sq(e.p.xSD)+sq(own)+1e-12))
	}
	s.bow, s.bowSD = bow(ys, rs, ws)
	s.residual = own

	var girdles, sum, lineVar float64
	for g := range 2 {
		if count[2*g] > 0 && count[2*g+1] > 0 {
			sum += (level[2*g] + level[2*g+1]) / 2
			lineVar += sq(own) * (1/float64(count[2*g]) + 1/float64(count[2*g+1])) / 4
			girdles++
		}
	}
	s.middle, s.bothGirdles = girdles > 0, girdles == 2
	s.lineSD = math.Sqrt(lineVar) / max(1, girdles)
	if girdles == 0 {
		for k := range limbs {
			if count[k] > 0 {
				sum += level[k] / float64(n)
			}
		}
		girdles = 1
	}
	norm := math.Hypot(slope, 1)
	if a.opts.View == traj.Toward {
		norm = -norm
	}
	middle := signal.Median(ys)
	s.line = &Line{X: sum/girdles + slope*middle, Y: middle, DX: slope / norm, DY: 1 / norm}
}

// bow returns how far the residuals bulge from a straight line at the middle of
// the run, and the spread of that.
func bow(y, r, w []float64) (float64, float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range y {
		lo, hi = min(lo, v), max(hi, v)
	}
	if len(y) < 6 || hi-lo <= 0 {
		return 0, math.Inf(1)
	}
	// Regress on 1, u, u² with u from −1 to 1; the bulge is the u² coefficient.
	var a [3][3]float64
	var b [3]float64
	for i := range y {
		u := 2*(y[i]-lo)/(hi-lo) - 1
		row := [3]float64{1, u, u * u}
		for j := range 3 {
			for k := range 3 {
				a[j][k] += w[i] * row[j] * row[k]
			}
			b[j] += w[i] * row[j] * r[i]
		}
	}
	q, ok := solve3(a, b)
	e, ok2 := solve3(a, [3]float64{0, 0, 1})
	if !ok || !ok2 {
		return 0, math.Inf(1)
	}
	return -q[2], math.Sqrt(e[2])
}

// share reports whether lengths can only be given as shares of the own stride.
func (a *analysis) share() bool { return a.cal.Level == geometry.LevelRatio }

// measureLengths measures stride and step lengths and speed. Both steps of a
// stride share the middle placement, whose error therefore counts twice in
// their difference.
func (a *analysis) measureLengths(s *spatial) {
	type lengths struct{ left, right []float64 }
	var steps, noise [2]lengths
	var shift, weight [2]float64 // Index: girdle. What an error of both marks does to the difference.
	for i, st := range a.strides {
		if !a.share() {
			// The reference limb's placements, else the other limbs'.
			for n := range limbs {
				k := a.ref ^ n // First its own girdle.
				j := a.at[k][i]
				q := a.next(k, j)
				if q < 0 || !s.placed[k][j].ok || !s.placed[k][q].ok {
					continue
				}
				x0, sd0 := s.line.along(s.placed[k][j])
				x1, sd1 := s.line.along(s.placed[k][q])
				c := a.cycle[k][j]
				t := a.startOf(k, c+1) - a.startOf(k, c)
				sd, tSD := math.Hypot(sd0, sd1), math.Hypot(a.startSD(k, c), a.startSD(k, c+1))
				if t > 0 {
					s.found.put(StrideLength, single(i, st.Start, x1-x0, sd))
					s.found.put(Speed, single(i, st.Start, (x1-x0)/t, math.Hypot(sd/t, (x1-x0)/t/t*tSD)))
				}
				break
			}
		}
		for g, name := range [2]Name{StepLengthFore, StepLengthHind} {
			p, ok := a.pairIn(g, i)
			if !ok {
				continue
			}
			j := a.at[p.first][i]
			q0, q1, q2 := s.placed[p.first][j], s.placed[p.other][a.at[p.other][i]], s.placed[p.first][a.next(p.first, j)]
			if !q0.ok || !q1.ok || !q2.ok {
				continue
			}
			x0, sd0 := s.line.along(q0)
			x1, sd1 := s.line.along(q1)
			x2, sd2 := s.line.along(q2)
			// The step that ends on a limb is that limb's.
			other, first, total := x1-x0, x2-x1, x2-x0
			if other <= 0 || first <= 0 {
				continue
			}
			diffSD := math.Sqrt(sq(sd0) + 4*sq(sd1) + sq(sd2))
			otherSD, firstSD := math.Hypot(sd0, sd1), math.Hypot(sd1, sd2)
			if a.share() {
				if !(total > 0) {
					continue
				}
				r := (x1 - x0) / total
				diffSD = 200 / total * math.Sqrt(sq((1-r)*sd0)+sq(sd1)+sq(r*sd2))
				other, first = 100*r, 100*(1-r)
				otherSD, firstSD = diffSD/2, diffSD/2
			}
			o := Observation{Stride: i, Time: st.Start, Left: first, Right: other, SD: diffSD}
			n := [2]float64{firstSD, otherSD}
			if limbs[p.first].Side() == traj.Right {
				o.Left, o.Right = o.Right, o.Left
				n[0], n[1] = n[1], n[0]
			}
			o.Value = o.Right - o.Left
			s.found.put(name, o)
			// A limb's own shift comes twice into the difference of the steps.
			d := 2 * markSD * math.Hypot(q1.perRow, (q0.perRow+q2.perRow)/2)
			if a.share() {
				d *= 100 / total
			}
			shift[g] += d / sq(diffSD)
			weight[g] += 1 / sq(diffSD)
			steps[g].left, steps[g].right = append(steps[g].left, o.Left), append(steps[g].right, o.Right)
			noise[g].left, noise[g].right = append(noise[g].left, n[0]), append(noise[g].right, n[1])
		}
	}
	for g, name := range [2]Name{StepLengthFore, StepLengthHind} {
		if f := s.found[name]; f != nil {
			f.commonSD = shift[g] / weight[g]
		}
	}
	if a.share() {
		return
	}
	for g, name := range [2]Name{StepLengthSpreadFore, StepLengthSpreadHind} {
		a.putSpread(s, name, steps[g].left, noise[g].left, steps[g].right, noise[g].right)
	}
}

// putSpread adds a run's spread: the standard deviation over strides without
// the part that measuring put into it, cm.
func (a *analysis) putSpread(s *spatial, n Name, left, leftNoise, right, rightNoise []float64) {
	one := func(x, noise []float64) [2]float64 {
		if len(x) < 3 {
			return notSeen
		}
		var m, v, e float64
		for i := range x {
			m += x[i] / float64(len(x))
			e += sq(noise[i]) / float64(len(x))
		}
		for i := range x {
			v += sq(x[i]-m) / float64(len(x)-1)
		}
		sd := math.Sqrt(max(0, v-e))
		// Spread of a standard deviation of a normal quantity; the noise share blurs it
		// by its own part.
		blur := v / math.Sqrt(2*float64(len(x)-1)) / math.Max(sd, math.Sqrt(v)/4)
		return [2]float64{100 * sd, 100 * blur}
	}
	l, r := one(left, leftNoise), one(right, rightNoise)
	s.found.putSides(n, 0, a.strides[0].Start, [2][2]float64{l, r})
}

// measureOffsets measures how far outward of the line of travel hooves land.
func (a *analysis) measureOffsets(s *spatial) {
	if a.share() || !s.middle {
		return
	}
	spreads := [2]Name{PlacementSpreadFore, PlacementSpreadHind}
	for g, name := range [2]Name{PlacementOffsetFore, PlacementOffsetHind} {
		var values, noise [2][]float64
		for i, st := range a.strides {
			v := [2][2]float64{notSeen, notSeen}
			for side := range 2 {
				k := 2*g + side
				j := a.at[k][i]
				if j < 0 || !s.placed[k][j].ok {
					continue
				}
				x, sd := s.line.left(s.placed[k][j])
				v[side] = [2]float64{100 * outward(k) * x, 100 * sd}
				values[side] = append(values[side], outward(k)*x)
				noise[side] = append(noise[side], sd)
			}
			if math.IsNaN(v[0][0]) && math.IsNaN(v[1][0]) {
				continue
			}
			o := sided(i, st.Start, v[0][0], v[0][1], v[1][0], v[1][1])
			if !s.bothGirdles {
				// The line is these two hooves' own midline: their difference is 0 by its making.
				o.Value, o.SD = math.NaN(), math.NaN()
			}
			s.found.put(name, o)
		}
		if f := s.found[name]; f != nil {
			// The line lies between both sides: its error counts twice in their difference.
			f.commonSD = math.Hypot(f.commonSD, 200*s.lineSD)
		}
		a.putSpread(s, spreads[g], values[0], noise[0], values[1], noise[1])
	}
}

// remark adds the notes that a reader of the numbers needs.
func (a *analysis) remark(s *spatial) {
	note := func(format string, args ...any) { a.notes = append(a.notes, fmt.Sprintf(format, args...)) }
	any := false
	for k := range limbs {
		any = any || len(a.stances[k]) > 0
	}
	if any {
		if a.opts.View == traj.Away {
			note("Seen from behind the mark is on the heel, which lifts before the toe leaves the ground: stance ends at heel-off here and is shorter than in clips toward the camera. A hoof that lands far from the camera comes down almost along the line of sight, so that landings from behind are less certain.")
		}
		for k, h := range a.hooves {
			if h != nil && len(h.t) < len(a.raw.Times)*3/4 {
				note("The %s.", describeGap(h, len(a.raw.Times)))
			}
			on, off := 0, 0
			for i := range a.stances[k] {
				c := &a.stances[k][i]
				if !c.onTimed() && !c.startsClip {
					on++
				}
				if !c.offTimed() && !c.endsClip {
					off++
				}
			}
			if on+off > 0 {
				note("%s: %d landings and %d leavings could not be timed (hidden, or too far away to see the hoof move).", limbs[k].Words(), on, off)
			}
		}
	}
	if a.opts.ReadoutS == 0 && any {
		note("The camera's readout time is not known: a rolling shutter exposes the picture's last row 10 to 30 ms after its first, so times of marks that lie a tenth of the picture's height apart may be off by 1 to 3 ms against each other.")
	}
	if a.cal.Level == geometry.LevelMetric {
		note("The picture's rows and the ground are %.1f° apart across the lane: the lane's crossfall and the camera's tilt together.", math.Abs(a.cal.Camera.TiltAcross()))
	}
	if a.cal.Level == geometry.LevelRatio && s.line != nil {
		note("Only the horizon is known: lengths are shares of the horse's own stride, and positions in the lane are in camera heights (along the lane only up to an unknown common factor).")
	}
	if s.line != nil && a.cal.Level.AtLeast(geometry.LevelHeight) {
		if math.Abs(s.bow) > 0.10 && math.Abs(s.bow) > 3*s.bowSD {
			note("The horse did not go straight: the run bows %.0f cm from its straight line, so sideways placement is less certain than its interval says.", 100*math.Abs(s.bow))
		}
		if f := s.found[LateralArcFore]; f != nil && f.commonSD > 1.5 {
			note("The horse went off the line of sight, so how fast the hoof swings forward leaks into its sideways arc: differences of arcs are uncertain by %.1f cm in all strides alike. Stand in line with the lane.", f.commonSD)
		}
		switch {
		case s.middle && !s.bothGirdles:
			note("Only one pair of limbs was placed: the line of travel is their own midline, so sideways placement shows how wide they are set but not a difference between left and right.")
		case s.bothGirdles:
			note("The line of travel is the midline of all placements: a sideways shift of the forehand against the quarters shows half in the fore and half, with the opposite sign, in the hind difference.")
		}
	}
	if n := a.offBeat; n > 0 {
		note("%d stance(s) found in the tracks do not fit the rhythm of the others and were left out.", n)
	}
	if s.wild > 0 {
		note("%d placement(s) lie too far from where the others lead and were left out: the tracker held on to something else.", s.wild)
	}
	if s.borrowed {
		note("Where a hoof was not seen, low and high points were given to its side by the limb that lands together with it.")
	}
}
