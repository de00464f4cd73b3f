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
	obs := map[metrics.Name][]metrics.Observation{}
	sided := func(n metrics.Name, k int, at, l, r float64) {
		obs[n] = append(obs[n], metrics.Observation{Stride: k, Time: at, Left: l, Right: r, Value: r - l})
	}
	single := func(n metrics.Name, k int, at, v float64) {
		obs[n] = append(obs[n], metrics.Observation{Stride: k, Time: at, Left: nan, Right: nan, Value: v})
	}
	byGirdle := func(gd int, fore, hind metrics.Name) metrics.Name { return []metrics.Name{fore, hind}[gd] }

	// Placements along and across the fitted line and the trunk's path. The line
	// has one direction for all limbs and passes the mean of the limbs' means.
	line := m.fitLine()
	along := func(f fall) float64 { return f.s*line.ds + f.l*line.dl }
	across := func(f fall) float64 { return (f.l-line.l)*line.ds - (f.s-line.s)*line.dl }

	inside := func(f fall) bool { return f.on >= 0 && f.on <= m.end }
	var strides []Stride
	ref := m.falls[lf]
	for i := range ref[:len(ref)-1] {
		if inside(ref[i]) && inside(ref[i+1]) {
			strides = append(strides, Stride{ref[i].on, ref[i+1].on})
		}
	}
	// in returns the index of limb's first hoof-on in [from, to), −1 where none.
	in := func(limb int, from, to float64) int {
		fs := m.falls[limb]
		i := sort.Search(len(fs), func(i int) bool { return fs[i].on >= from })
		if i < len(fs) && fs[i].on < to {
			return i
		}
		return -1
	}
	for k, s := range strides {
		T := s.End - s.Start
		i := in(lf, s.Start, s.End)
		length := along(ref[i+1]) - along(ref[i])
		single(metrics.StrideDuration, k, s.Start, T)
		single(metrics.StrideFrequency, k, s.Start, 1/T)
		single(metrics.StrideLength, k, s.Start, length)
		single(metrics.Speed, k, s.Start, length/T)
		for gd := range 2 {
			l, r := limbOf(gd, left), limbOf(gd, right)
			fl, fr := m.falls[l], m.falls[r]
			li := in(l, s.Start, s.End)
			if li < 0 || li+1 >= len(fl) {
				continue
			}
			ri := in(r, fl[li].on, fl[li+1].on)
			if ri < 1 || ri+1 >= len(fr) {
				continue
			}
			period := fl[li+1].on - fl[li].on
			sided(byGirdle(gd, metrics.StepLengthFore, metrics.StepLengthHind), k, s.Start, along(fl[li+1])-along(fr[ri]), along(fr[ri])-along(fl[li]))
			single(byGirdle(gd, metrics.StepTimingFore, metrics.StepTimingHind), k, s.Start, 100*(fr[ri].on-fl[li].on)/period)
			stance := func(f fall) float64 { return f.off - f.on }
			sided(byGirdle(gd, metrics.StanceDurationFore, metrics.StanceDurationHind), k, s.Start, stance(fl[li]), stance(fr[ri]))
			sided(byGirdle(gd, metrics.SwingDurationFore, metrics.SwingDurationHind), k, s.Start, fl[li+1].on-fl[li].off, fr[ri+1].on-fr[ri].off)
			sided(byGirdle(gd, metrics.DutyFactorFore, metrics.DutyFactorHind), k, s.Start, 100*stance(fl[li])/period, 100*stance(fr[ri])/(fr[ri+1].on-fr[ri].on))
			sided(byGirdle(gd, metrics.PlacementOffsetFore, metrics.PlacementOffsetHind), k, s.Start, 100*across(fl[li]), -100*across(fr[ri]))
			sided(byGirdle(gd, TrunkPlacementFore, TrunkPlacementHind), k, s.Start, 100*m.fromTrunk(l, li), 100*m.fromTrunk(r, ri))
			ll, lm, lz := m.swingExtremes(l, li)
			rl, rm, rz := m.swingExtremes(r, ri)
			sided(byGirdle(gd, metrics.LateralArcFore, metrics.LateralArcHind), k, s.Start, 100*ll, 100*rl)
			sided(byGirdle(gd, metrics.MedialArcFore, metrics.MedialArcHind), k, s.Start, 100*lm, 100*rm)
			sided(byGirdle(gd, metrics.FlightHeightFore, metrics.FlightHeightHind), k, s.Start, 100*lz, 100*rz)
		}
		// Low point: the lowest in the first seven tenths of the step that begins
		// with a limb's hoof-on, which ends before the fall to the next low point
		// begins; high point: the highest from there to the opposite's low point.
		early := func(a, b float64) float64 { return a + 0.7*(b-a) }
		for b, names := range [][2]metrics.Name{
			{metrics.HeadLowDifference, metrics.HeadHighDifference},
			{metrics.WithersLowDifference, metrics.WithersHighDifference},
			{metrics.CroupLowDifference, metrics.CroupHighDifference},
		} {
			gd := []int{0, 0, 1}[b]
			z := []func(float64) float64{m.nodZ, m.withersZ, m.croupZ}[b]
			fl, fr := m.falls[limbOf(gd, left)], m.falls[limbOf(gd, right)]
			li := in(limbOf(gd, left), s.Start, s.End)
			if li < 0 || li+1 >= len(fl) {
				continue
			}
			ri := in(limbOf(gd, right), fl[li].on, fl[li+1].on)
			if ri < 0 || ri+1 >= len(fr) {
				continue
			}
			tl, zl := extreme(z, fl[li].on, early(fl[li].on, fr[ri].on), -1)
			tr, zr := extreme(z, fr[ri].on, early(fr[ri].on, fl[li+1].on), -1)
			tn, _ := extreme(z, fl[li+1].on, early(fl[li+1].on, fr[ri+1].on), -1)
			_, hl := extreme(z, tl, tr, 1)
			_, hr := extreme(z, tr, tn, 1)
			sided1 := func(n metrics.Name, l, r float64) {
				obs[n] = append(obs[n], metrics.Observation{Stride: k, Time: s.Start, Left: nan, Right: nan, Value: 1000 * (r - l)})
			}
			sided1(names[0], zl, zr)
			sided1(names[1], hl, hr)
		}
		rangeOf := func(side int) float64 {
			z := func(t float64) float64 { return m.hipOf(m.trunkAt(t), side, 0).z }
			_, lo := extreme(z, s.Start, s.End, -1)
			_, hi := extreme(z, s.Start, s.End, 1)
			return 1000 * (hi - lo)
		}
		sided(metrics.HipExcursion, k, s.Start, rangeOf(left), rangeOf(right))
		a1, a2 := harmonics(m.nodZ, s.Start, s.End)
		single(metrics.HeadFirstHarmonic, k, s.Start, 1000*a1)
		single(metrics.HeadSecondHarmonic, k, s.Start, 1000*a2)
		single(metrics.HeadHarmonicShare, k, s.Start, 100*a1/(a1+a2))
		// Hind after paired fore, by the fore's side.
		if m.gait.pairOf[left] >= 0 {
			var v [2]float64
			for side, hind := range m.gait.pairOf {
				fi := in(limbOf(0, side), s.Start, s.End)
				if fi < 0 {
					v[side] = nan
					continue
				}
				on := m.falls[limbOf(0, side)][fi].on
				best := nan
				for _, f := range m.falls[hind] {
					if d := f.on - on; math.IsNaN(best) || math.Abs(d) < math.Abs(best) {
						best = d
					}
				}
				v[side] = 1000 * best
			}
			sided(metrics.PairTiming, k, s.Start, v[left], v[right])
		}
	}
	if t != nil {
		m.trunkMeasures(strides, in, across, sided, single)
		p, q := m.lane(line.s, line.l, 0), m.lane(line.s+line.ds, line.l+line.dl, 0)
		single(metrics.LineDrift, 0, 0, -1000*m.scene.View.LeftSign()*(q.x-p.x)/math.Abs(q.y-p.y))
	}
	for gd := range 2 {
		spread := func(n, of metrics.Name, scale float64) {
			var l, r []float64
			for _, o := range obs[of] {
				l, r = append(l, scale*o.Left), append(r, scale*o.Right)
			}
			if len(l) > 1 {
				sided(n, 0, 0, sd(l), sd(r))
			}
		}
		spread(byGirdle(gd, metrics.PlacementSpreadFore, metrics.PlacementSpreadHind), byGirdle(gd, metrics.PlacementOffsetFore, metrics.PlacementOffsetHind), 1)
		spread(byGirdle(gd, metrics.StepLengthSpreadFore, metrics.StepLengthSpreadHind), byGirdle(gd, metrics.StepLengthFore, metrics.StepLengthHind), 100)
	}

	out := &measureList{}
	put := func(n metrics.Name, unit string) {
		x := Measure{Name: n, Unit: unit, Observations: obs[n]}
		x.Left = meanOf(obs[n], func(o metrics.Observation) float64 { return o.Left })
		x.Right = meanOf(obs[n], func(o metrics.Observation) float64 { return o.Right })
		x.Value = meanOf(obs[n], func(o metrics.Observation) float64 { return o.Value })
		out.list = append(out.list, x)
	}
	for _, d := range metrics.Definitions() {
		put(d.Name, d.Unit)
	}
	put(TrunkPlacementFore, "cm")
	put(TrunkPlacementHind, "cm")
	if t != nil {
		t.Strides = strides
		p, q := m.lane(line.s, line.l, 0), m.lane(line.s+line.ds, line.l+line.dl, 0)
		// The heel lies behind the toe; across the line that is nothing to speak of.
		t.Line = metrics.Line{X: p.x, Y: p.y, DX: q.x - p.x, DY: q.y - p.y}
		t.TrunkLine = metrics.Line{X: m.origin.x, Y: m.origin.y, DX: m.fwd.x, DY: m.fwd.y}
	}
	return out
}

// shoulderMeasures adds how the points of the shoulders move up and down in stride k:
// over the stride, and from the middle of each one's stance to that of its swing.
func (m *motion) shoulderMeasures(k int, s Stride, in func(limb int, from, to float64) int, sided func(n metrics.Name, k int, at, l, r float64)) {
	over, lift := [2]float64{nan, nan}, [2]float64{nan, nan}
	for side := range 2 {
		z := func(t float64) float64 { return m.shoulderOf(trunk{withers: m.withersZ(t)}, side, t, 0).z }
		_, low := extreme(z, s.Start, s.End, -1)
		_, high := extreme(z, s.Start, s.End, 1)
		over[side] = 1000 * (high - low)
		limb := limbOf(0, side)
		if i := in(limb, s.Start, s.End); i >= 0 && i+1 < len(m.falls[limb]) {
			f, next := m.falls[limb][i], m.falls[limb][i+1]
			lift[side] = 1000 * (z((f.off+next.on)/2) - z((f.on+f.off)/2))
		}
	}
	sided(metrics.ShoulderExcursion, k, s.Start, over[left], over[right])
	sided(metrics.ShoulderLift, k, s.Start, lift[left], lift[right])
}

// rollRange returns the range over a stride of the roll of the line between two points,
// degrees.
func rollRange(s Stride, width float64, rightOver func(t float64) float64) float64 {
	_, low := extreme(rightOver, s.Start, s.End, -1)
	_, high := extreme(rightOver, s.Start, s.End, 1)
	return 180 / math.Pi * math.Atan((high-low)/width)
}

// trunkMeasures adds how trunk and head sway and roll and how the limbs are set. Its means need
// no correcting, since the motion has them as they are asked for.
func (m *motion) trunkMeasures(strides []Stride, in func(limb int, from, to float64) int, across func(fall) float64,
	sided func(n metrics.Name, k int, at, l, r float64), single func(n metrics.Name, k int, at, v float64)) {
	toRight := []func(t float64) float64{
		func(t float64) float64 { c, _, _ := m.sway(m.strideAngle(t)); return -1000 * c },
		func(t float64) float64 { _, c, _ := m.sway(m.strideAngle(t)); return -1000 * c },
		func(t float64) float64 { c, _, h := m.sway(m.strideAngle(t)); return -1000 * (h - c) },
	}
	for k, s := range strides {
		for i, n := range []metrics.Name{metrics.ChestSway, metrics.CroupSway, metrics.HeadSway} {
			mean := 0.0
			const parts = 64
			for q := range parts {
				mean += toRight[i](lerp(s.Start, s.End, (float64(q)+0.5)/parts)) / parts
			}
			_, most := extreme(toRight[i], s.Start, s.End, 1)
			_, least := extreme(toRight[i], s.Start, s.End, -1)
			sided(n, k, s.Start, mean-least, most-mean)
			if n == metrics.HeadSway {
				// The head goes where the chest will be in a moment.
				way := sum(m.weave, (s.Start+s.End)/2+0.15) - sum(m.weave, (s.Start+s.End)/2)
				single(metrics.HeadToSide, k, s.Start, mean/10-100*way)
			}
		}
		m.shoulderMeasures(k, s, in, sided)
		single(metrics.ShoulderRoll, k, s.Start, rollRange(s, 2*shoulderPoint.y*m.k, func(t float64) float64 {
			return m.shoulderOf(trunk{}, right, t, 0).z - m.shoulderOf(trunk{}, left, t, 0).z
		}))
		single(metrics.PelvisRoll, k, s.Start, rollRange(s, 2*hipWide*m.k, func(t float64) float64 {
			return 2 * hipWide * m.k * math.Sin(m.roll(t))
		}))
		var place, fromLine [4]float64 // To the left, cm.
		for limb := range place {
			place[limb], fromLine[limb] = nan, nan
			// A hind that lands with the fore may be before it.
			early := (s.End - s.Start) / 4
			if i := in(limb, s.Start-early, s.End-early); i >= 0 {
				// From the horse's own path: where it bends, the way from one landing to the
				// next is no width.
				place[limb] = 100 * outward(limb) * m.fromTrunk(limb, i)
				fromLine[limb] = 100 * across(m.falls[limb][i])
			}
		}
		single(metrics.BaseWidthFore, k, s.Start, place[lf]-place[rf])
		single(metrics.BaseWidthHind, k, s.Start, place[lh]-place[rh])
		single(metrics.QuartersToSide, k, s.Start, (fromLine[lf]+fromLine[rf]-fromLine[lh]-fromLine[rh])/2)
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
