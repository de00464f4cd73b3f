package track

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// fuse puts the two sweeps of one landmark together, bridges short losses and
// lists all losses.
func (c *clip) fuse(l traj.Landmark, forward, backward []estimate, standings []*standing) (traj.Track, []Loss) {
	n := len(c.times)
	t := traj.Track{Landmark: l, Samples: make([]traj.Sample, n)}
	causes := make([]string, n)
	stood := stoodIn(l, n, standings)
	came := [2][]bool{c.arrived(forward, 1), c.arrived(backward, -1)}
	for f := range n {
		a, b := forward[f], backward[f]
		if said := a.marked || a.cause == markedHidden || b.cause == markedHidden; said || !l.IsHoof() {
			t.Samples[f], causes[f] = blend(a, b, c.mostOf(l), onOutline(l))
		} else {
			once := c.oneSwing(f, stood)
			t.Samples[f], causes[f] = c.inAir(l, c.leftOf(a, once && came[0][f], f, -1, stood), c.leftOf(b, once && came[1][f], f, 1, stood))
		}
	}
	c.settleStanding(&t, standings)
	for f, s := range t.Samples {
		if s.Status != traj.Lost && !c.shows(flow.Point{X: s.X, Y: s.Y}) {
			t.Samples[f], causes[f] = traj.Gone(), leftPicture
		}
	}
	bridge(t.Samples, c.times)
	var losses []Loss
	for f := 0; f < n; {
		if t.Samples[f].Status.Followed() {
			f++
			continue
		}
		e := f
		for e+1 < n && t.Samples[e+1].Status == t.Samples[f].Status {
			e++
		}
		losses = append(losses, Loss{l, f, e, t.Samples[f].Status == traj.Bridged, commonest(causes[f : e+1])})
		f = e + 1
	}
	return t, losses
}

// blend puts the two sweeps' estimates of one frame together. On the outline of the body,
// where both sweeps have begun, one of them alone is not believed: who passes in front takes
// the patch along.
func blend(a, b estimate, most float64, outline bool) (traj.Sample, string) {
	switch {
	case a.marked:
		return traj.Sample{X: a.at.X, Y: a.at.Y, SD: math.Sqrt(a.variance), Quality: 1, Status: traj.Marked}, ""
	case a.cause == markedHidden || b.cause == markedHidden:
		return traj.Gone(), markedHidden
	case a.seen && b.seen && min(a.variance, b.variance) > most*most*2:
		return traj.Gone(), "too uncertain: it no longer looks as it was marked"
	case a.seen && b.seen:
		d := a.at.Dist(b.at)
		if d > 2+3*math.Sqrt(a.variance+b.variance) {
			return traj.Gone(), fmt.Sprintf("followed forward and backward it lies %.0f px apart", d)
		}
		k := a.variance / (a.variance + b.variance)
		p := mix(a.at, b.at, k)
		sway := spread{down: parallel(a.sway.down, b.sway.down), across: parallel(a.sway.across, b.sway.across)}
		va, vb := a.own(), b.own()
		v := parallel(va, vb)
		if a.likeness > 0 && b.likeness > 0 || outline {
			v = min(va, vb) // Both go by the same marks, or what turns misleads both.
		}
		// Where the two differ by more than they claim, the blend is that uncertain.
		v = max(v, k*(1-k)*d*d/2)
		return tracked(p, v, sway, max(a.quality, b.quality), most)
	case outline && (a.seen && b.cause != afterLast || b.seen && a.cause != beforeFirst):
		return traj.Gone(), "followed from one mark only: from the other it is lost"
	case a.seen:
		return one(a, most)
	case b.seen:
		return one(b, most)
	}
	// The sweep that had begun knows why it was lost.
	if a.cause != beforeFirst && a.cause != "" {
		return traj.Gone(), a.cause
	}
	if b.cause != afterLast && b.cause != "" {
		return traj.Gone(), b.cause
	}
	return traj.Gone(), "not followed"
}

// mostOf is mostSD for a landmark. What lies on the body is large: a place that is known
// half as well still tells how it moves.
func (c *clip) mostOf(l traj.Landmark) float64 {
	if l.IsHoof() {
		return c.model.MostSD
	}
	return 2 * c.model.MostSD
}

func one(e estimate, most float64) (traj.Sample, string) {
	if e.found {
		most = math.Inf(1)
	}
	return tracked(e.at, e.own(), e.sway, e.quality, most)
}

// own is the variance without that of swaying, px².
func (e *estimate) own() float64 { return e.variance - max(e.sway.down, e.sway.across) }

// tracked returns the sample at p with the variances of its own and of swaying, px², or none
// where both axes pass the spread most, px.
func tracked(p flow.Point, own float64, sway spread, quality, most float64) (traj.Sample, string) {
	s := traj.Sample{X: p.X, Y: p.Y, SD: math.Sqrt(own + sway.across), Quality: quality, Status: traj.Tracked}
	if sway.down != sway.across {
		s.SDY = math.Sqrt(own + sway.down)
	}
	if math.Sqrt(own+min(sway.across, sway.down)) > most {
		return traj.Gone(), "too uncertain: it no longer looks as it was marked"
	}
	return s, ""
}

// commonest returns the cause that most frames share; the earlier on a tie.
func commonest(causes []string) string {
	count := map[string]int{}
	for _, c := range causes {
		count[c]++
	}
	return slices.MaxFunc(causes, func(a, b string) int { return count[a] - count[b] })
}

// Why a sweep sees nothing yet.
const (
	beforeFirst = "before the first mark"
	afterLast   = "after the last mark"
)

// leftPicture is why a landmark is not seen of which no more than the surroundings are in the
// picture.
const leftPicture = "left the picture"

// shows reports whether p lies in the picture.
func (c *clip) shows(p flow.Point) bool {
	return p.X >= 0 && p.Y >= 0 && p.X <= float64(c.width-1) && p.Y <= float64(c.height-1)
}

// markedHidden is why a landmark is not seen where a person says so.
const markedHidden = "marked as hidden"
