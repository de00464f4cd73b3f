package metrics

import (
	"math"
	"slices"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// measureTrunk measures how chest, croup and head move to the sides, as seen against
// the line of travel.
func (s *spatial) measureTrunk() {
	chest, croup := s.across(traj.Chest, 0), s.across(traj.Croup, 0)
	s.putSway(ChestSway, chest)
	s.putSway(CroupSway, croup)

	beside := traj.Chest
	if chest == nil {
		beside = traj.Withers
	}
	head := s.across(traj.Head, 0).less(s.across(beside, 0))
	if head == nil {
		return
	}
	// How far ahead the head is carried is not seen: nearer or farther it would be seen
	// at another place across.
	further := s.across(traj.Head, s.opts.Model.Body.HeadAheadSD*s.opts.WithersM).less(s.across(beside, 0))
	var depth, count float64
	for i, st := range s.Strides {
		h := head.fit(st.Start, st.End)
		if h == nil {
			continue
		}
		s.put(HeadToSide, i, 100*h.Mean, 100*max(1, h.ResidualSD)*h.MeanSD())
		if g := further.fit(st.Start, st.End); g != nil {
			depth, count = depth+100*(g.Mean-h.Mean), count+1
		}
	}
	s.found[HeadToSide].addCommon(math.Hypot(s.opts.Model.Body.MiddleMM/10*math.Sqrt2, depth/max(1, count)), 0)
	s.putSway(HeadSway, head)
}

// putSway adds how far a mark swings to each side of its own mean in every stride.
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
		s.putSides(n, i, [2][2]float64{{1000 * (h.Mean - least), sd}, {1000 * (most - h.Mean), sd}})
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

// ShoulderAndTrunk lists the measures of shoulder and trunk in the order of Definitions.
func ShoulderAndTrunk() []Name {
	return []Name{ShoulderExcursion, ShoulderLift, ShoulderRoll, ChestSway, CroupSway, HeadSway, HeadToSide,
		BaseWidthFore, BaseWidthHind, QuartersToSide, LineDrift}
}
