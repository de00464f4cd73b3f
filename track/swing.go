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

// endsInSight reports whether landing and leaving of hoof l can be seen. When a hoof of the pair
// behind lands a leg in front of it is there; from behind, that leg comes down before it leaves.
func (c *clip) endsInSight(l traj.Landmark) (on, off bool) {
	front := c.turnsInSight(l)
	return front, front || c.grows
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

// inAir returns what can be believed of hoof l between its stances. A hoof turns as it
// flies, and what is followed is no longer what was marked; about the axis across the
// picture, so that its place across is kept. Of the pair in front that is believed where
// following it from the stance before (a) and from the one after (b) leads to one place, or
// close to the one stance there is. Of the pair behind nothing: it is a leg in front that
// is followed there.
func (c *clip) inAir(l traj.Landmark, a, b estimate, beside bool) (traj.Sample, string) {
	switch {
	case !c.turnsInSight(l):
		return traj.Gone(), hiddenBehind
	case a.seen && b.seen:
		size := max(a.size, b.size)
		d := b.at.Sub(a.at)
		if math.Abs(d.X) > c.model.SwingApart*size {
			return traj.Gone(), "followed from the stance before and from the one after it lies in two places"
		}
		k := a.variance / (a.variance + b.variance)
		return c.swinging(mix(a.at, b.at, k), k*b.variance, math.Hypot(d.X/2, c.model.SwingSD*size), math.Hypot(d.Y/2, c.model.SwingDown*size), max(a.quality, b.quality))
	case beside && (a.seen || b.seen):
		if !a.seen {
			a = b
		}
		return c.swinging(a.at, a.variance, 2*c.model.SwingSD*a.size, c.model.SwingDown*a.size, a.quality)
	}
	return traj.Gone(), "no longer looks as it stood"
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

// besideStance reports whether frame f lies within besideS of a frame in which the hoof
// stands.
func (c *clip) besideStance(f int, stood []bool) bool {
	for _, dir := range []int{-1, 1} {
		for g := f; g >= 0 && g < len(stood) && math.Abs(c.times[g]-c.times[f]) <= c.model.BesideS; g += dir {
			if stood[g] {
				return true
			}
		}
	}
	return false
}

// hiddenBehind is why a hoof of the pair that goes behind is not seen in the air.
const hiddenBehind = "hidden behind the other legs"
