package track

import (
	"math"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// turnsInSight reports whether l is a hoof that is in sight all through its swing:
// of the pair that goes in front, as the camera sees it. The other pair goes behind
// its legs, which take the patch along.
func (c *clip) turnsInSight(l traj.Landmark) bool {
	return l.IsFore() && c.grows || l.IsHind() && !c.grows
}

// stoodIn says in which of n frames hoof l was seen standing.
func stoodIn(l traj.Landmark, n int, standings []*standing) []bool {
	stood := make([]bool, n)
	for _, s := range standings {
		if s.landmark == l {
			for f := s.first(); f <= s.last(); f++ {
				stood[f] = true
			}
		}
	}
	return stood
}

// arrived says in which frames a sweep followed a hoof without a break from one stance, or mark,
// to the next, and came to the place across the picture that this one has. step is the sweep's
// direction.
func (c *clip) arrived(sweep []estimate, step int) []bool {
	out := make([]bool, len(sweep))
	from := -1 // The stance or mark from which on it was followed; -1: none.
	f := 0
	if step < 0 {
		f = len(sweep) - 1
	}
	for ; f >= 0 && f < len(sweep); f += step {
		switch e := &sweep[f]; {
		case !e.seen:
			from = -1
		case e.marked || e.found:
			if from >= 0 && e.arrived && math.Abs(e.beside.X) <= c.model.SwingApart*e.size {
				for g := from + step; g != f; g += step {
					out[g] = true
				}
			}
			from = f
		}
	}
	return out
}

// oneSwing reports whether the stances before and after frame f, in which the hoof was seen
// standing, lie so near each other that it cannot have stood in between, where a handler's legs may
// have hidden it.
func (c *clip) oneSwing(f int, stood []bool) bool {
	before, after := f, f
	for before > 0 && !stood[before] {
		before--
	}
	for after < len(stood)-1 && !stood[after] {
		after++
	}
	return c.times[after]-c.times[before] < 2*c.pace.ShortestSwingS+c.model.BriefS
}

// flown is what one sweep says of a hoof in the air in one frame.
type flown struct {
	estimate
	sure  bool    // By itself.
	since float64 // How long it has been in the air, s, where it is sure by itself beside a stance.
}

// leftOf returns what a sweep says of a hoof in frame f: came is whether it arrived at the next
// stance, and back the direction to the stance that it comes from. Of the two stances the one
// nearer to the camera shows the hoof larger; for a moment beside it the sweep is sure by itself.
func (c *clip) leftOf(e estimate, came bool, f, back int, stood []bool) flown {
	out := flown{estimate: e, sure: e.seen && came}
	if c.grows == (back > 0) {
		for g := f; g >= 0 && g < len(stood) && math.Abs(c.times[g]-c.times[f]) <= c.model.BesideS; g += back {
			if e.seen && stood[g] {
				out.sure, out.since = true, math.Abs(c.times[g]-c.times[f])
				break
			}
		}
	}
	return out
}

// inAir returns what can be believed of hoof l between its stances. A hoof turns as it
// flies, and what is followed is no longer what was marked; about the axis across the
// picture, so that its place across is kept. Of the pair in front that is believed where
// following it from the stance before (a) or from the one after (b) is sure by itself: that the
// two lead to one place says little where neither arrives, since what hides the hoof takes both
// along. Of the pair behind nothing: it is a leg in front that is followed there.
func (c *clip) inAir(l traj.Landmark, a, b flown) (traj.Sample, string) {
	size, d := max(a.size, b.size), b.at.Sub(a.at)
	switch {
	case !c.turnsInSight(l):
		return traj.Gone(), hiddenBehind
	case !a.sure && !b.sure:
		return traj.Gone(), "no longer looks as it stood"
	case a.seen && b.seen && math.Abs(d.X) <= c.model.SwingApart*size:
		k := a.variance / (a.variance + b.variance)
		return c.swinging(mix(a.at, b.at, k), k*b.variance, math.Hypot(d.X/2, c.model.SwingSD*size), math.Hypot(d.Y/2, c.model.SwingDown*size), max(a.quality, b.quality))
	case a.sure && b.sure:
		return traj.Gone(), "followed from the stance before and from the one after it lies in two places"
	case b.sure:
		a = b
	}
	turned := max(1, a.since/(c.model.BesideS/2))
	return c.swinging(a.at, a.variance, 2*c.model.SwingSD*a.size*turned, c.model.SwingDown*a.size, a.quality)
}

// swinging returns the sample at p of a hoof in the air: variance is that of following it,
// px²; aside and down are what the hoof's turning adds to it across and down the picture,
// standard deviations in px.
func (c *clip) swinging(p flow.Point, variance, aside, down, quality float64) (traj.Sample, string) {
	if variance > c.model.MostSD*c.model.MostSD {
		return traj.Gone(), "too uncertain: it no longer looks as it stood"
	}
	return traj.Sample{X: p.X, Y: p.Y, SD: math.Sqrt(variance + sq(aside)), SDY: math.Sqrt(variance + sq(down)), Quality: quality, Status: traj.Across}, ""
}

// hiddenBehind is why a hoof of the pair that goes behind is not seen in the air.
const hiddenBehind = "hidden behind the other legs"
