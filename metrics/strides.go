package metrics

import (
	"cmp"
	"math"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/track/traj"
)

// measureTimes measures everything that needs only instants.
func (a *analysis) measureTimes() findings {
	f := findings{}
	if a.Ref < 0 {
		return f
	}
	defer a.shareInstants(f)
	for i, s := range a.Strides {
		t := s.End - s.Start
		c := a.Cycle(a.Ref, i)
		_, from := a.Landing(a.Ref, c)
		_, to := a.Landing(a.Ref, c+1)
		sd := math.Hypot(from, to)
		f.put(StrideDuration, single(i, s.Start, t, sd))
		f.put(StrideFrequency, single(i, s.Start, 1/t, sd/t/t))
		a.measureContacts(f, i, s)
		for g, name := range [2]Name{StepTimingFore, StepTimingHind} {
			if v, sd, ok := a.timing(g, i); ok {
				f.put(name, single(i, s.Start, v, sd))
			}
		}
	}
	// Neighbouring strides share a landing, whose error lengthens the one and shortens the
	// other: their mean is far surer than so many strides apart would be.
	mean, sd := a.meanStride()
	f.setMean(StrideDuration, mean, sd)
	f.setMean(StrideFrequency, 1/mean, sd/sq(mean))
	return f
}

// measureContacts measures how long hooves stand and swing in stride i.
func (a *analysis) measureContacts(f findings, i int, s Stride) {
	for g, names := range [2]struct{ stance, swing, duty Name }{
		{StanceDurationFore, SwingDurationFore, DutyFactorFore},
		{StanceDurationHind, SwingDurationHind, DutyFactorHind},
	} {
		stance, swing, duty := neither, neither, neither
		for side := range 2 {
			k := 2*g + side
			j := a.In(k, i)
			if j < 0 || !a.Stances[k][j].OffTimed() {
				continue
			}
			c, n := &a.Stances[k][j], &contact.Stance{OnSD: -1} // The next one, not timed where it was not seen.
			if next := a.Next(k, j); next >= 0 {
				n = &a.Stances[k][next]
			}
			if c.OnTimed() {
				stance[side] = [2]float64{c.Off - c.On, math.Hypot(c.OnSD, c.OffSD)}
			}
			if n.OnTimed() {
				swing[side] = [2]float64{n.On - c.Off, math.Hypot(c.OffSD, n.OnSD)}
			}
			if own := n.On - c.On; c.OnTimed() && n.OnTimed() {
				// Share of the limb's own stride; derivatives by on, off and next on.
				v := 100 * (c.Off - c.On) / own
				duty[side] = [2]float64{v, math.Sqrt(sq((v-100)/own*c.OnSD) + sq(100/own*c.OffSD) + sq(v/own*n.OnSD))}
			}
		}
		f.putSides(names.stance, i, s.Start, stance)
		f.putSides(names.swing, i, s.Start, swing)
		f.putSides(names.duty, i, s.Start, duty)
	}
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
	if limbs[p.First].Side() == traj.Right {
		v = 100 - v
	}
	return v, sd, true
}

// alike returns by how much all landings of the run, and all leavings, may be early or late
// alike, s, and the share of the variance of that which both sides have alike.
func (a *analysis) alike() (on, off, share float64) {
	m := a.opts.Model.Contact
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
func (a *analysis) shareInstants(f findings) {
	on, off, share := a.alike()
	shared, apart := math.Hypot(on, off), math.Sqrt(2*(1-share))
	for n, unit := range map[Name]float64{
		StanceDurationFore: 1, StanceDurationHind: 1, SwingDurationFore: 1, SwingDurationHind: 1,
		DutyFactorFore: 100 / a.Period, DutyFactorHind: 100 / a.Period,
	} {
		f[n].addCommon(shared*unit*apart, shared*unit)
	}
	for _, n := range [2]Name{StepTimingFore, StepTimingHind} {
		f[n].addCommon(100/a.Period*on*apart, 0)
	}
}

// contacts lists all stances in the order of their landing. The spread of an instant holds
// what all of the run share.
func (a *analysis) contacts(space *spatial) []Contact {
	var out []Contact
	on, off, _ := a.alike()
	for k := range limbs {
		for i := range a.Stances[k] {
			s := &a.Stances[k][i]
			c := Contact{Limb: limbs[k], On: s.On, Off: s.Off, OnSD: s.OnSD, OffSD: s.OffSD, PictureX: s.X, PictureY: s.Y}
			if s.OnTimed() {
				c.OnSD = math.Hypot(s.OnSD, on)
			}
			if s.OffTimed() {
				c.OffSD = math.Hypot(s.OffSD, off)
			}
			if p := space.placed[k][i]; p.ok && space.fit != nil {
				c.Placed = true
				c.X, c.Y, c.XSD, c.YSD = space.fit.place(p.fall)
			}
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b Contact) int { return cmp.Compare(a.On, b.On) })
	return out
}
