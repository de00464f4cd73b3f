package scene

import (
	"math"
	"sort"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

func sortContacts(cs []Contact) {
	sort.SliceStable(cs, func(i, j int) bool { return cs[i].On < cs[j].On })
}

// measureList holds measures by name in the order of their definition.
type measureList struct{ list []Measure }

func (l *measureList) find(n metrics.Name) *Measure {
	for i := range l.list {
		if l.list[i].Name == n {
			return &l.list[i]
		}
	}
	return nil
}

var nan = math.NaN()

// measures computes the true value of every measure from the motion itself. It
// fills the strides and lines of t where t is not nil.
func (m *motion) measures(t *Truth) *measureList {
	// Placements along and across the fitted line and the trunk's path. The line
	// has one direction for all limbs and passes the mean of the limbs' means.
	o := &observing{motion: m, line: m.fitLine(), obs: map[metrics.Name][]metrics.Observation{}}
	o.strides = m.stridesInside()
	for k, s := range o.strides {
		o.stride(k, s)
		for gd := range 2 {
			o.limbs(k, s, gd)
		}
		o.body(k, s)
		o.pairs(k, s)
	}
	l := o.line
	p, q := m.lane(l.s, l.l, 0), m.lane(l.s+l.ds, l.l+l.dl, 0)
	if t != nil {
		o.trunk()
		o.single(metrics.LineDrift, 0, 0, -1000*m.scene.View.LeftSign()*(q.x-p.x)/math.Abs(q.y-p.y))
		t.Strides = o.strides
		// The heel lies behind the toe; across the line that is nothing to speak of.
		t.Line = metrics.Line{X: p.x, Y: p.y, DX: q.x - p.x, DY: q.y - p.y}
		t.TrunkLine = metrics.Line{X: m.origin.x, Y: m.origin.y, DX: m.fwd.x, DY: m.fwd.y}
	}
	for gd := range 2 {
		o.spread(byGirdle(gd, metrics.PlacementSpreadFore, metrics.PlacementSpreadHind), byGirdle(gd, acrossFore, acrossHind), 1)
		o.spread(byGirdle(gd, metrics.StepLengthSpreadFore, metrics.StepLengthSpreadHind), byGirdle(gd, metrics.StepLengthFore, metrics.StepLengthHind), 100)
	}
	out := &measureList{}
	for _, d := range metrics.Definitions() {
		out.list = append(out.list, o.measure(d.Name, d.Unit))
	}
	for _, n := range []metrics.Name{TrunkPlacementFore, TrunkPlacementHind, FlightHeightFore, FlightHeightHind} {
		out.list = append(out.list, o.measure(n, "cm"))
	}
	out.list = append(out.list, o.measure(PairTiming, "ms"))
	return out
}

// Names of how far left of the line hooves land, cm, which the spreads are taken from and no
// list has: the line lies amid them.
const (
	acrossFore metrics.Name = "across_fore"
	acrossHind metrics.Name = "across_hind"
)

// observing gathers the true values stride by stride.
type observing struct {
	*motion
	line    fitted
	strides []Stride
	obs     map[metrics.Name][]metrics.Observation
}

func (o *observing) sided(n metrics.Name, k int, at, l, r float64) {
	o.obs[n] = append(o.obs[n], metrics.Observation{Stride: k, Time: at, Left: l, Right: r, Value: r - l})
}

func (o *observing) single(n metrics.Name, k int, at, v float64) {
	o.obs[n] = append(o.obs[n], metrics.Observation{Stride: k, Time: at, Left: nan, Right: nan, Value: v})
}

func (o *observing) measure(n metrics.Name, unit string) Measure {
	obs := o.obs[n]
	return Measure{
		Name: n, Unit: unit, Observations: obs,
		Left:  meanOf(obs, func(o metrics.Observation) float64 { return o.Left }),
		Right: meanOf(obs, func(o metrics.Observation) float64 { return o.Right }),
		Value: meanOf(obs, func(o metrics.Observation) float64 { return o.Value }),
	}
}

// spread adds how much a measure varies over the run.
func (o *observing) spread(n, of metrics.Name, scale float64) {
	var l, r []float64
	for _, v := range o.obs[of] {
		l, r = append(l, scale*v.Left), append(r, scale*v.Right)
	}
	if len(l) > 1 {
		o.sided(n, 0, 0, sd(l), sd(r))
	}
}

func (o *observing) along(f fall) float64 { return f.s*o.line.ds + f.l*o.line.dl }

func (o *observing) across(f fall) float64 {
	return (f.l-o.line.l)*o.line.ds - (f.s-o.line.s)*o.line.dl
}

func byGirdle(gd int, fore, hind metrics.Name) metrics.Name { return []metrics.Name{fore, hind}[gd] }

// stridesInside lists the strides of the left fore whose ends the clip shows.
func (m *motion) stridesInside() (strides []Stride) {
	inside := func(f fall) bool { return f.on >= 0 && f.on <= m.end }
	ref := m.falls[lf]
	for i := range ref[:len(ref)-1] {
		if inside(ref[i]) && inside(ref[i+1]) {
			strides = append(strides, Stride{ref[i].on, ref[i+1].on})
		}
	}
	return strides
}

// in returns the index of limb's first hoof-on in [from, to), −1 where none.
func (m *motion) in(limb int, from, to float64) int {
	fs := m.falls[limb]
	i := sort.Search(len(fs), func(i int) bool { return fs[i].on >= from })
	if i < len(fs) && fs[i].on < to {
		return i
	}
	return -1
}

// stride adds the measures of the stride as a whole.
func (o *observing) stride(k int, s Stride) {
	period := s.End - s.Start
	i := o.in(lf, s.Start, s.End)
	length := o.along(o.falls[lf][i+1]) - o.along(o.falls[lf][i])
	o.single(metrics.StrideDuration, k, s.Start, period)
	o.single(metrics.StrideFrequency, k, s.Start, 1/period)
	o.single(metrics.StrideLength, k, s.Start, length)
	o.single(metrics.Speed, k, s.Start, length/period)
}

// limbs adds steps, times, placements and swings of a girdle.
func (o *observing) limbs(k int, s Stride, gd int) {
	l, r := limbOf(gd, left), limbOf(gd, right)
	fl, fr := o.falls[l], o.falls[r]
	li := o.in(l, s.Start, s.End)
	if li < 0 || li+1 >= len(fl) {
		return
	}
	ri := o.in(r, fl[li].on, fl[li+1].on)
	if ri < 1 || ri+1 >= len(fr) {
		return
	}
	period := fl[li+1].on - fl[li].on
	stance := func(f fall) float64 { return f.off - f.on }
	put := func(fore, hind metrics.Name, l, r float64) { o.sided(byGirdle(gd, fore, hind), k, s.Start, l, r) }
	put(metrics.StepLengthFore, metrics.StepLengthHind, o.along(fl[li+1])-o.along(fr[ri]), o.along(fr[ri])-o.along(fl[li]))
	o.single(byGirdle(gd, metrics.StepTimingFore, metrics.StepTimingHind), k, s.Start, 100*(fr[ri].on-fl[li].on)/period)
	put(metrics.StanceDurationFore, metrics.StanceDurationHind, stance(fl[li]), stance(fr[ri]))
	put(metrics.SwingDurationFore, metrics.SwingDurationHind, fl[li+1].on-fl[li].off, fr[ri+1].on-fr[ri].off)
	put(metrics.DutyFactorFore, metrics.DutyFactorHind, 100*stance(fl[li])/period, 100*stance(fr[ri])/(fr[ri+1].on-fr[ri].on))
	put(acrossFore, acrossHind, 100*o.across(fl[li]), 100*o.across(fr[ri]))
	put(TrunkPlacementFore, TrunkPlacementHind, 100*o.fromTrunk(l, li), 100*o.fromTrunk(r, ri))
	ll, lm, lz := o.swingExtremes(l, li)
	rl, rm, rz := o.swingExtremes(r, ri)
	put(metrics.LateralArcFore, metrics.LateralArcHind, 100*ll, 100*rl)
	put(metrics.MedialArcFore, metrics.MedialArcHind, 100*lm, 100*rm)
	put(FlightHeightFore, FlightHeightHind, 100*lz, 100*rz)
}

// body adds how head, withers, croup and hips move up and down.
func (o *observing) body(k int, s Stride) {
	o.extremes(k, s, 0, o.nodZ, metrics.HeadLowDifference, metrics.HeadHighDifference)
	o.extremes(k, s, 0, o.withersZ, metrics.WithersLowDifference, metrics.WithersHighDifference)
	o.extremes(k, s, 1, o.croupZ, metrics.CroupLowDifference, metrics.CroupHighDifference)
	rangeOf := func(side int) float64 {
		z := func(t float64) float64 { return o.hipOf(o.trunkAt(t), side, 0).z }
		_, lo := extreme(z, s.Start, s.End, -1)
		_, hi := extreme(z, s.Start, s.End, 1)
		return 1000 * (hi - lo)
	}
	o.sided(metrics.HipExcursion, k, s.Start, rangeOf(left), rangeOf(right))
	a1, a2 := harmonics(o.nodZ, s.Start, s.End)
	o.single(metrics.HeadFirstHarmonic, k, s.Start, 1000*a1)
	o.single(metrics.HeadSecondHarmonic, k, s.Start, 1000*a2)
	o.single(metrics.HeadHarmonicShare, k, s.Start, 100*a1/(a1+a2))
}

// extremes adds the differences of low and high points. Low point: the lowest in the first
// seven tenths of the step that begins with a limb's hoof-on, which ends before the fall to
// the next low point begins; high point: the highest from there to the opposite's low point.
func (o *observing) extremes(k int, s Stride, gd int, z func(float64) float64, low, high metrics.Name) {
	early := func(a, b float64) float64 { return a + 0.7*(b-a) }
	fl, fr := o.falls[limbOf(gd, left)], o.falls[limbOf(gd, right)]
	li := o.in(limbOf(gd, left), s.Start, s.End)
	if li < 0 || li+1 >= len(fl) {
		return
	}
	ri := o.in(limbOf(gd, right), fl[li].on, fl[li+1].on)
	if ri < 0 || ri+1 >= len(fr) {
		return
	}
	tl, zl := extreme(z, fl[li].on, early(fl[li].on, fr[ri].on), -1)
	tr, zr := extreme(z, fr[ri].on, early(fr[ri].on, fl[li+1].on), -1)
	tn, _ := extreme(z, fl[li+1].on, early(fl[li+1].on, fr[ri+1].on), -1)
	_, hl := extreme(z, tl, tr, 1)
	_, hr := extreme(z, tr, tn, 1)
	o.single(low, k, s.Start, 1000*(zr-zl))
	o.single(high, k, s.Start, 1000*(hr-hl))
}

// pairs adds by how much the hind of a pair lands after its fore, by the fore's side.
func (o *observing) pairs(k int, s Stride) {
	if o.gait.pairOf[left] < 0 {
		return
	}
	var v [2]float64
	for side, hind := range o.gait.pairOf {
		fi := o.in(limbOf(0, side), s.Start, s.End)
		if fi < 0 {
			v[side] = nan
			continue
		}
		on := o.falls[limbOf(0, side)][fi].on
		best := nan
		for _, f := range o.falls[hind] {
			if d := f.on - on; math.IsNaN(best) || math.Abs(d) < math.Abs(best) {
				best = d
			}
		}
		v[side] = 1000 * best
	}
	o.sided(PairTiming, k, s.Start, v[left], v[right])
}

// shoulders adds how the points of the shoulders move up and down in stride k:
// over the stride, and from the middle of each one's stance to that of its swing.
func (o *observing) shoulders(k int, s Stride) {
	m := o.motion
	over, lift := [2]float64{nan, nan}, [2]float64{nan, nan}
	for side := range 2 {
		z := func(t float64) float64 { return m.shoulderOf(trunk{withers: m.withersZ(t)}, side, t, 0).z }
		_, low := extreme(z, s.Start, s.End, -1)
		_, high := extreme(z, s.Start, s.End, 1)
		over[side] = 1000 * (high - low)
		limb := limbOf(0, side)
		if i := o.in(limb, s.Start, s.End); i >= 0 && i+1 < len(m.falls[limb]) {
			f, next := m.falls[limb][i], m.falls[limb][i+1]
			lift[side] = 1000 * (z((f.off+next.on)/2) - z((f.on+f.off)/2))
		}
	}
	o.sided(metrics.ShoulderExcursion, k, s.Start, over[left], over[right])
	o.sided(metrics.ShoulderLift, k, s.Start, lift[left], lift[right])
}

// rollRange returns the range over a stride of the roll of the line between two points,
// degrees.
func rollRange(s Stride, width float64, rightOver func(t float64) float64) float64 {
	_, low := extreme(rightOver, s.Start, s.End, -1)
	_, high := extreme(rightOver, s.Start, s.End, 1)
	return 180 / math.Pi * math.Atan((high-low)/width)
}

// trunk adds how trunk and head sway and roll and how the limbs are set. Its means need
// no correcting, since the motion has them as they are asked for.
func (o *observing) trunk() {
	m := o.motion
	toRight := []func(t float64) float64{
		func(t float64) float64 { c, _, _ := m.sway(m.strideAngle(t)); return -1000 * c },
		func(t float64) float64 { _, c, _ := m.sway(m.strideAngle(t)); return -1000 * c },
		func(t float64) float64 { c, _, h := m.sway(m.strideAngle(t)); return -1000 * (h - c) },
	}
	for k, s := range o.strides {
		for i, n := range []metrics.Name{metrics.ChestSway, metrics.CroupSway, metrics.HeadSway} {
			mean := 0.0
			const parts = 64
			for q := range parts {
				mean += toRight[i](lerp(s.Start, s.End, (float64(q)+0.5)/parts)) / parts
			}
			_, most := extreme(toRight[i], s.Start, s.End, 1)
			_, least := extreme(toRight[i], s.Start, s.End, -1)
			o.sided(n, k, s.Start, mean-least, most-mean)
			if n == metrics.HeadSway {
				// The head goes where the chest will be in a moment.
				way := sum(m.weave, (s.Start+s.End)/2+0.15) - sum(m.weave, (s.Start+s.End)/2)
				o.single(metrics.HeadToSide, k, s.Start, mean/10-100*way)
			}
		}
		o.shoulders(k, s)
		o.single(metrics.ShoulderRoll, k, s.Start, rollRange(s, 2*shoulderPoint.y*m.k, func(t float64) float64 {
			return m.shoulderOf(trunk{}, right, t, 0).z - m.shoulderOf(trunk{}, left, t, 0).z
		}))
		var place, fromLine [4]float64 // To the left, cm.
		for limb := range place {
			place[limb], fromLine[limb] = nan, nan
			// A hind that lands with the fore may be before it.
			early := (s.End - s.Start) / 4
			if i := o.in(limb, s.Start-early, s.End-early); i >= 0 {
				// From the horse's own path: where it bends, the way from one landing to the
				// next is no width.
				place[limb] = 100 * outward(limb) * m.fromTrunk(limb, i)
				fromLine[limb] = 100 * o.across(m.falls[limb][i])
			}
		}
		o.single(metrics.BaseWidthFore, k, s.Start, place[lf]-place[rf])
		o.single(metrics.BaseWidthHind, k, s.Start, place[lh]-place[rh])
		o.single(metrics.QuartersToSide, k, s.Start, (fromLine[lf]+fromLine[rf]-fromLine[lh]-fromLine[rh])/2)
	}
}

// fitted is a line in track coordinates through (s, l) in direction (ds, dl).
type fitted struct{ s, l, ds, dl float64 }

// fitLine fits the line of travel to the placements inside the clip.
func (m *motion) fitLine() fitted {
	var sxx, sxl float64
	var ms, ml []float64
	for _, fs := range m.falls {
		var n, a, b float64
		for _, f := range fs {
			if f.on >= 0 && f.on <= m.end {
				n, a, b = n+1, a+f.s, b+f.l
			}
		}
		if n == 0 {
			continue
		}
		a, b = a/n, b/n
		ms, ml = append(ms, a), append(ml, b)
		for _, f := range fs {
			if f.on >= 0 && f.on <= m.end {
				sxx += (f.s - a) * (f.s - a)
				sxl += (f.s - a) * (f.l - b)
			}
		}
	}
	if len(ms) == 0 || sxx == 0 {
		return fitted{0, 0, 1, 0}
	}
	// Limbs are counted alike however many placements each has, and each mean is
	// carried along the common slope to the same place.
	slope := sxl / sxx
	var s, l float64
	for i := range ms {
		s += ms[i] / float64(len(ms))
	}
	for i := range ms {
		l += (ml[i] - slope*(ms[i]-s)) / float64(len(ms))
	}
	n := math.Hypot(1, slope)
	return fitted{s, l, 1 / n, slope / n}
}

// fromTrunk returns how far outward of the trunk's path stance i of a limb is, m.
func (m *motion) fromTrunk(limb, i int) float64 {
	f := m.falls[limb][i]
	_, l := m.path((f.on + f.off) / 2)
	return outward(limb) * (f.l - l)
}

// swingExtremes returns the largest lateral and medial departure of the swing
// after stance i from the chord and the largest height of the hoof's landmark, m.
func (m *motion) swingExtremes(limb, i int) (lateral, medial, height float64) {
	f, next := m.falls[limb][i], m.falls[limb][i+1]
	if m.scene.View == traj.Toward {
		_, height = extreme(func(x float64) float64 { return f.flight / 100 * liftOf(girdleOf(limb), x) }, 0, 1, 1)
	} else {
		_, height = extreme(func(t float64) float64 { return m.hoofPoint(m.hoofAt(limb, t)).z }, f.off, next.on, 1)
	}
	_, lateral = extreme(f.outward, 0, 1, 1)
	_, medial = extreme(f.outward, 0, 1, -1)
	return math.Max(0, lateral), math.Max(0, -medial), height
}

// extreme returns place and value of the highest (sign 1) or lowest (sign −1)
// point of z between a and b.
func extreme(z func(float64) float64, a, b, sign float64) (float64, float64) {
	const n = 160
	h := (b - a) / n
	at, best := a, math.Inf(-1)
	for i := range n + 1 {
		t := a + float64(i)*h
		if v := sign * z(t); v > best {
			at, best = t, v
		}
	}
	// Refine by golden section around the best sample.
	lo, hi := math.Max(a, at-h), math.Min(b, at+h)
	const g = 0.6180339887498949
	p, q := hi-g*(hi-lo), lo+g*(hi-lo)
	zp, zq := sign*z(p), sign*z(q)
	for range 24 {
		if zp > zq {
			hi, q, zq = q, p, zp
			p = hi - g*(hi-lo)
			zp = sign * z(p)
		} else {
			lo, p, zp = p, q, zq
			q = lo + g*(hi-lo)
			zq = sign * z(q)
		}
	}
	if v := sign * z((lo+hi)/2); v > best {
		at, best = (lo+hi)/2, v
	}
	return at, sign * best
}

// harmonics returns the amplitudes of z at once and twice per [a, b) after its
// linear trend from end to end has been taken off.
func harmonics(z func(float64) float64, a, b float64) (first, second float64) {
	const n = 200
	z0, z1 := z(a), z(b)
	var c, s [2]float64
	for i := range n {
		x := (float64(i) + 0.5) / n
		v := z(lerp(a, b, x)) - lerp(z0, z1, x)
		for k := range 2 {
			sn, cs := math.Sincos(2 * math.Pi * float64(k+1) * x)
			c[k] += v * cs * 2 / n
			s[k] += v * sn * 2 / n
		}
	}
	return math.Hypot(c[0], s[0]), math.Hypot(c[1], s[1])
}

func meanOf(obs []metrics.Observation, get func(metrics.Observation) float64) *float64 {
	var sum, n float64
	for _, o := range obs {
		if v := get(o); !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	if n == 0 {
		return nil
	}
	sum /= n
	return &sum
}

func sd(xs []float64) float64 {
	var m, v float64
	for _, x := range xs {
		m += x / float64(len(xs))
	}
	for _, x := range xs {
		v += (x - m) * (x - m)
	}
	return math.Sqrt(v / float64(len(xs)-1))
}
