package metrics

import (
	"cmp"
	"math"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/track/traj"
)

// measureTimes measures everything that needs only instants.
func (s *spatial) measureTimes() {
	if s.Ref < 0 {
		return
	}
	for i, st := range s.Strides {
		t := st.End - st.Start
		c := s.Cycle(s.Ref, i)
		_, from := s.Landing(s.Ref, c)
		_, to := s.Landing(s.Ref, c+1)
		sd := math.Hypot(from, to)
		s.put(StrideDuration, i, t, sd)
		s.put(StrideFrequency, i, 1/t, sd/t/t)
		s.measureContacts(i)
		for g, name := range [2]Name{StepTimingFore, StepTimingHind} {
			if v, sd, ok := s.timing(g, i); ok {
				s.put(name, i, v, sd)
			}
		}
	}
	// Neighbouring strides share a landing, whose error lengthens the one and shortens the
	// other: their mean is far surer than so many strides apart would be.
	mean, sd := s.meanStride()
	s.found.setMean(StrideDuration, mean, sd)
	s.found.setMean(StrideFrequency, 1/mean, sd/sq(mean))
	s.shareInstants()
}

// measureContacts measures how long hooves stand and swing in stride i.
func (s *spatial) measureContacts(i int) {
	for g, names := range [2][3]Name{
		{StanceDurationFore, SwingDurationFore, DutyFactorFore}, {StanceDurationHind, SwingDurationHind, DutyFactorHind},
	} {
		left, right := s.contactTimes(2*g, i), s.contactTimes(2*g+1, i)
		for m, n := range names {
			s.putSides(n, i, [2][2]float64{left[m], right[m]})
		}
	}
}

// contactTimes returns how long limb k stands in stride i and swings after it, s, and the share
// of standing in both, %, each with its standard deviation.
func (a *analysis) contactTimes(k, i int) [3][2]float64 {
	stance, swing, duty := notSeen, notSeen, notSeen
	j := a.In(k, i)
	if j < 0 || !a.Stances[k][j].OffTimed() {
		return [3][2]float64{stance, swing, duty}
	}
	c, n := &a.Stances[k][j], &contact.Stance{OnSD: -1} // The next one, not timed where it was not seen.
	if next := a.Next(k, j); next >= 0 {
		n = &a.Stances[k][next]
	}
	if c.OnTimed() {
		stance = [2]float64{c.Off - c.On, math.Hypot(c.OnSD, c.OffSD)}
	}
	if n.OnTimed() {
		swing = [2]float64{n.On - c.Off, math.Hypot(c.OffSD, n.OnSD)}
	}
	if own := n.On - c.On; c.OnTimed() && n.OnTimed() {
		// Derivatives by on, off and next on.
		v := 100 * (c.Off - c.On) / own
		duty = [2]float64{v, math.Sqrt(sq((v-100)/own*c.OnSD) + sq(100/own*c.OffSD) + sq(v/own*n.OnSD))}
	}
	return [3][2]float64{stance, swing, duty}
}

// timing returns when the right limb of girdle g landed in stride i, % of the stride from
// the left one's landing to its next, and the spread of that.
func (a *analysis) timing(g, i int) (v, sd float64, ok bool) {
	p, ok := a.StepsIn(g, i)
	if !ok {
		return 0, 0, false
	}
	lead, second, last := &a.Stances[p.First][p.Lead], &a.Stances[p.Other][p.Second], &a.Stances[p.First][p.Last]
	if !lead.OnTimed() || !second.OnTimed() || !last.OnTimed() || second.On <= lead.On || second.On >= last.On {
		return 0, 0, false
	}
	own := last.On - lead.On
	share := (second.On - lead.On) / own
	v, sd = 100*share, 100/own*math.Sqrt(sq((1-share)*lead.OnSD)+sq(second.OnSD)+sq(share*last.OnSD))
	if p.First%2 == 1 {
		v = 100 - v
	}
	return v, sd, true
}

// alike returns by how much all landings of the run, and all leavings, may be early or late
// alike, s, and the share of the variance of that which both sides have alike.
func (a *analysis) alike() (on, off, share float64) {
	m := a.model.Contact
	if a.opts.View == traj.Away {
		return m.DescentS, m.HeelS, m.AlikeBehind
	}
	return m.SlideS, m.RollingShare * a.UsualStance(), m.AlikeSides
}

// meanStride returns how long the run's strides last in the mean, s, and the standard deviation
// of that. What all landings have alike is not quite the same from the first to the last.
func (a *analysis) meanStride() (mean, sd float64) {
	mean, sd = a.MeanStride()
	on, _, share := a.alike()
	return mean, math.Hypot(sd, on*math.Sqrt(2*(1-share))/float64(len(a.Strides)))
}

// shareInstants sets what all strides' durations and step timings share: a run's leavings seen
// from the front, and its landings seen from behind, are all early or late alike, and much the
// same on both sides.
func (s *spatial) shareInstants() {
	on, off, share := s.alike()
	shared, apart := math.Hypot(on, off), math.Sqrt(2*(1-share))
	for n, unit := range map[Name]float64{
		StanceDurationFore: 1, StanceDurationHind: 1, SwingDurationFore: 1, SwingDurationHind: 1,
		DutyFactorFore: 100 / s.Period, DutyFactorHind: 100 / s.Period,
	} {
		s.found[n].addCommon(shared*unit*apart, shared*unit)
	}
	for _, n := range [2]Name{StepTimingFore, StepTimingHind} {
		s.found[n].addCommon(100/s.Period*on*apart, 0)
	}
}

// contacts lists all stances in the order of their landing. The spread of an instant holds
// what all of the run share.
func (s *spatial) contacts() []Contact {
	var out []Contact
	on, off, _ := s.alike()
	for k := range limbs {
		for i, st := range s.Stances[k] {
			c := Contact{Limb: limbs[k], On: st.On, Off: st.Off, OnSD: st.OnSD, OffSD: st.OffSD, PictureX: st.X, PictureY: st.Y}
			if st.OnTimed() {
				c.OnSD = math.Hypot(st.OnSD, on)
			}
			if st.OffTimed() {
				c.OffSD = math.Hypot(st.OffSD, off)
			}
			if p := s.placed[k][i]; p.ok && s.fit != nil {
				c.Placed = true
				c.X, c.Y, c.XSD, c.YSD = s.fit.place(p.fall)
			}
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b Contact) int { return cmp.Compare(a.On, b.On) })
	return out
}
