package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// measureBase measures how wide the limbs are set and how much their places vary to the sides,
// how the quarters go beside the forehand and where the line of travel leads. How far one hoof
// lands from the line is no measure: the line is the midline of the placements themselves.
func (s *spatial) measureBase() {
	f := s.fit
	if s.share() {
		return
	}
	for g, name := range [2]Name{PlacementSpreadFore, PlacementSpreadHind} {
		if f.paired() {
			s.putSides(name, 0, [2][2]float64{s.variesAcross(2 * g), s.variesAcross(2*g + 1)})
		}
	}
	s.putPlaces(BaseWidthFore, [4]float64{1, -1, 0, 0})
	s.putPlaces(BaseWidthHind, [4]float64{0, 0, 1, -1})
	s.putPlaces(QuartersToSide, [4]float64{0.5, 0.5, -0.5, -0.5})
	s.found[QuartersToSide].addCommon(100*s.model.Placement.BehindM, 0)

	if s.cal.Level != geometry.LevelMetric {
		return // Nothing says how the lane runs.
	}
	t := f.target()
	t.fixed[f.drift] = 1
	drift, sd := f.predict(t)
	advance := f.beta.AtVec(0)
	if !(advance > 0) {
		return
	}
	l, left := f.line, s.opts.View.LeftSign()
	x, y := advance*l.DX-drift*l.DY, advance*l.DY+drift*l.DX
	const way = 1000 // 10 m in cm.
	value, se := -way*left*x/math.Abs(y), math.Hypot(way*sd/advance, 100*s.model.Run.LineBendsM)
	s.put(LineDrift, 0, value, se)
	s.found.setMean(LineDrift, value, se)
}

// variesAcross returns how much limb k's placements vary to the sides, cm, as spread.sd has it.
func (s *spatial) variesAcross(k int) [2]float64 {
	var varies spread
	for i := range s.Strides {
		if falls, ok := s.falls([2]int{k, s.In(k, i)}); ok {
			t := s.fit.target()
			t.stride[2*falls[0]+1] = 1
			varies.add(s.fit.predict(t))
		}
	}
	return varies.sd()
}

// putPlaces adds a sum of the limbs' places left of the line of travel, each times its weight,
// in cm, of every stride in which all of them were seen. Their means over the run would not do:
// a horse's line bends more often than the model's does. What clicks and camera make of it is
// alike in all strides.
func (s *spatial) putPlaces(n Name, weights [4]float64) {
	f := s.fit
	mean := mat.NewVecDense(2*len(f.falls), nil) // Of all strides, by footfall.
	bends := mat.NewVecDense(f.beta.Len(), nil)  // The same of what drift and bow took off.
	var sum, count float64
	for i := range s.Strides {
		var stances [][2]int
		for k, w := range weights {
			if w != 0 {
				stances = append(stances, [2]int{k, s.In(k, i)})
			}
		}
		falls, ok := s.falls(stances...)
		if !ok {
			continue
		}
		var value, variance float64
		for nth, q := range falls {
			w := weights[stances[nth][0]]
			v, own := f.asSeen(q)
			value, variance = value+w*v, variance+w*w*own
			mean.SetVec(2*q+1, mean.AtVec(2*q+1)+w)
			floats.AddScaled(bends.RawVector().Data[f.drift:], w, f.x.RawRowView(2*q + 1)[f.drift:])
		}
		s.put(n, i, 100*value, 100*math.Sqrt(variance))
		sum, count = sum+value, count+1
	}
	if count > 0 {
		// A width is as wrong as the tape across the ground marks was, besides.
		s.found[n].addCommon(100*math.Hypot(math.Sqrt(f.sharedVariance(mean)+mat.Inner(bends, f.betaCov, bends)), f.prior.Camera.TapeShare*sum)/count, 0)
	}
}

// measureTrunk measures how chest, croup and head move to the sides, as seen against
// the line of travel.
func (s *spatial) measureTrunk() {
	chest, croup := s.across(traj.Chest, 0), s.across(traj.Croup, 0)
	s.putSway(ChestSway, chest)
	s.putSway(CroupSway, croup)

	beside := chest
	if beside == nil {
		beside = s.across(traj.Withers, 0)
	}
	head := s.across(traj.Head, 0).less(beside)
	if head == nil {
		return
	}
	// How far ahead the head is carried is not seen: nearer or farther it would be seen
	// at another place across.
	further := s.across(traj.Head, s.model.Body.HeadAheadSD*s.opts.WithersM).less(beside)
	var depth, count float64
	for i, st := range s.Strides {
		h := head.fit(st.Start, st.End)
		if h == nil {
			continue
		}
		mean, sd := h.Mean()
		s.put(HeadToSide, i, 100*mean, 100*max(1, h.ResidualSD)*sd)
		if g := further.fit(st.Start, st.End); g != nil {
			nearer, _ := g.Mean()
			depth, count = depth+100*(nearer-mean), count+1
		}
	}
	s.found[HeadToSide].addCommon(math.Hypot(s.model.Body.MiddleMM/10*math.Sqrt2, depth/max(1, count)), 0)
	s.putSway(HeadSway, head)
}

// putSway adds how far a mark swings to each side of its own mean in every stride, without what
// drifts from stride to stride.
func (s *spatial) putSway(n Name, b *bodyTrack) {
	if b == nil {
		return
	}
	drift := s.drift(b)
	if drift == nil {
		return
	}
	b = b.minus(drift)
	for i, st := range s.Strides {
		h := b.fit(st.Start, st.End)
		if h == nil {
			continue
		}
		right, most, _ := h.Highest(st.Start, st.Start+h.Period)
		left, least, _ := h.Lowest(st.Start, st.Start+h.Period)
		// Each side's departure has half the error of both together, and the same in the
		// mean: their difference has as much as their sum.
		sd := 1000 * max(1, h.ResidualSD) * h.DifferenceSD(right, left) / math.Sqrt2
		mean, _ := h.Mean()
		s.putSides(n, i, [2][2]float64{{1000 * (mean - least), sd}, {1000 * (most - mean), sd}})
	}
}

// across returns how far a mark of the body is to the right of the line of travel over
// time, metres, or nil where that was not seen. Further is how much further ahead of
// its girdle than usual it is taken to be, metres.
func (s *spatial) across(l traj.Landmark, further float64) *bodyTrack {
	depth, ahead := s.bodyDepth(l)
	if depth == nil {
		return nil
	}
	line := s.fit.line
	if line.DY < 0 {
		further = -further
	}
	return s.readings(l, func(t float64, at geometry.Point) (right, per float64, ok bool) {
		y := depth.At(t) + (ahead + further)
		x, _, ok := s.cam.AtDepth(at, y)
		x1, _, ok1 := s.cam.AtDepth(geometry.Point{X: at.X + 1, Y: at.Y}, y)
		_, left := line.Along(x, y)
		return -left, math.Abs(x1 - x), ok && ok1
	})
}

// less returns b less c in the frames in which both were seen; nil where there are too
// few.
func (b *bodyTrack) less(c *bodyTrack) *bodyTrack {
	if b == nil || c == nil {
		return nil
	}
	out := &bodyTrack{landmark: b.landmark}
	for i, f := range b.frame {
		if k, both := slices.BinarySearch(c.frame, f); both {
			out.t, out.frame = append(out.t, b.t[i]), append(out.frame, f)
			out.z, out.sd = append(out.z, b.z[i]-c.z[k]), append(out.sd, math.Hypot(b.sd[i], c.sd[k]))
		}
	}
	if len(out.t) < fewest {
		return nil
	}
	return out
}
