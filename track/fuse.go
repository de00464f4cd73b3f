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
func (c *clip) fuse(l traj.Landmark, forward, backward []estimate, standings []*standing, opts Options) (traj.Track, []Loss) {
	n := len(c.times)
	t := traj.Track{Landmark: l, Samples: make([]traj.Sample, n)}
	causes := make([]string, n)
	stood := stoodIn(l, n, standings)
	if onOutline(l) {
		c.throughMarks(forward, 1)
		c.throughMarks(backward, -1)
	}
	for f := range n {
		a, b := forward[f], backward[f]
		if said := a.marked || a.cause == markedHidden || b.cause == markedHidden; said || !l.IsHoof() {
			t.Samples[f], causes[f] = blend(a, b, c.mostOf(l), onOutline(l))
		} else {
			t.Samples[f], causes[f] = c.inAir(l, a, b, c.besideStance(f, stood))
		}
	}
	c.settleStanding(&t, standings)
	bridge(t.Samples, c.times, opts.BridgeS)
	var losses []Loss
	for f := 0; f < n; {
		if t.Samples[f].Status.Followed() {
			f++
			continue
		}
		e := f
		for e+1 < n && !t.Samples[e+1].Status.Followed() && t.Samples[e+1].Status == t.Samples[f].Status {
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
		if a.anchored && b.anchored || outline {
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

// parallel returns the variance of the best mean of two values with variances a and b.
func parallel(a, b float64) float64 {
	if a+b == 0 {
		return 0
	}
	return a * b / (a + b)
}

// tracked returns the sample at p with the variances of its own and of swaying, px², or none
// where either axis passes the spread most, px.
func tracked(p flow.Point, own float64, sway spread, quality, most float64) (traj.Sample, string) {
	s := traj.Sample{X: p.X, Y: p.Y, SD: math.Sqrt(own + sway.across), Quality: quality, Status: traj.Tracked}
	if sway.down != sway.across {
		s.SDY = math.Sqrt(own + sway.down)
	}
	if max(s.SD, s.SDY) > most {
		return traj.Gone(), "too uncertain: it no longer looks as it was marked"
	}
	return s, ""
}

// throughMarks leads a sweep of a landmark on the outline through all its marks. Seen from
// behind, what is followed sways against the landmark, once a stride; a sweep that followed
// it without a break from one mark to the next and arrives beside that one has been led away
// gradually. step is the sweep's direction.
func (c *clip) throughMarks(sweep []estimate, step int) {
	from := -1 // The mark from which on it was followed; -1: none.
	f := 0
	if step < 0 {
		f = len(sweep) - 1
	}
	for ; f >= 0 && f < len(sweep); f += step {
		e := &sweep[f]
		switch {
		case !e.seen:
			from = -1
			continue
		case !e.marked:
			continue
		}
		if away := math.Hypot(e.beside.X, e.beside.Y); from >= 0 && e.arrived && away <= c.model.HipReach*e.size {
			for g := from + step; g != f; g += step {
				u := (c.times[g] - c.times[from]) / (c.times[f] - c.times[from])
				p := &sweep[g]
				p.at = p.at.Sub(flow.Point{X: e.beside.X * easing(u), Y: e.beside.Y * easing(u)})
			}
		}
		from = f
	}
}

// easing rises from 0 to 1 with u as half a stride's sway does.
func easing(u float64) float64 { return (1 - math.Cos(math.Pi*u)) / 2 }

// bridge fills losses up to the given length that are seen on both sides, by the
// cubic that leaves and arrives with the landmark's velocity. The spread grows
// with the distance from the seen frames as an unknown acceleration of the size
// the landmark shows elsewhere would make it.
func bridge(s []traj.Sample, times []float64, most float64) {
	if most < 0 {
		return
	}
	acceleration := accelerationOf(s, times)
	for f := 1; f < len(s); f++ {
		if s[f].Status != traj.Lost || !s[f-1].Status.Seen() {
			continue
		}
		e := f
		for e < len(s) && s[e].Status == traj.Lost {
			e++
		}
		if e == len(s) || times[e]-times[f-1] > most+1e-9 {
			f = e
			continue
		}
		a, b := s[f-1], s[e]
		dt := times[e] - times[f-1]
		va := velocityAt(s, times, f-1, -1)
		vb := velocityAt(s, times, e, 1)
		for g := f; g < e; g++ {
			u := (times[g] - times[f-1]) / dt
			h00, h10 := (1+2*u)*(1-u)*(1-u), u*(1-u)*(1-u)
			h01, h11 := u*u*(3-2*u), u*u*(u-1)
			near := min(times[g]-times[f-1], times[e]-times[g])
			sd := math.Hypot(max(a.SD, b.SD), 0.5*acceleration*near*near)
			s[g] = traj.Sample{
				X:  h00*a.X + h10*dt*va.X + h01*b.X + h11*dt*vb.X,
				Y:  h00*a.Y + h10*dt*va.Y + h01*b.Y + h11*dt*vb.Y,
				SD: sd, Quality: 0.3 * min(a.Quality, b.Quality), Status: traj.Bridged,
			}
		}
		f = e
	}
}

// velocityAt returns the velocity at frame f, px/s, from the seen neighbour on
// side dir; zero where there is none.
func velocityAt(s []traj.Sample, times []float64, f, dir int) flow.Point {
	g := f + dir
	if g < 0 || g >= len(s) || !s[g].Status.Seen() {
		return flow.Point{}
	}
	dt := times[f] - times[g]
	return flow.Point{X: (s[f].X - s[g].X) / dt, Y: (s[f].Y - s[g].Y) / dt}
}

// accelerationOf returns the 90th percentile of the acceleration over seen
// frames, px/s²; a plain upper bound where there are too few.
func accelerationOf(s []traj.Sample, times []float64) float64 {
	var all []float64
	for f := 1; f+1 < len(s); f++ {
		if !s[f-1].Status.Seen() || !s[f].Status.Seen() || !s[f+1].Status.Seen() {
			continue
		}
		d1, d2 := times[f]-times[f-1], times[f+1]-times[f]
		ax := ((s[f+1].X-s[f].X)/d2 - (s[f].X-s[f-1].X)/d1) / (0.5 * (d1 + d2))
		ay := ((s[f+1].Y-s[f].Y)/d2 - (s[f].Y-s[f-1].Y)/d1) / (0.5 * (d1 + d2))
		all = append(all, math.Hypot(ax, ay))
	}
	if len(all) < 5 {
		return 5000
	}
	slices.Sort(all)
	return all[len(all)*9/10]
}

// commonest returns the cause that most frames share; the earlier on a tie.
func commonest(causes []string) string {
	count := map[string]int{}
	best := causes[0]
	for _, c := range causes {
		count[c]++
	}
	for _, c := range causes {
		if count[c] > count[best] {
			best = c
		}
	}
	return best
}

// advise ranks which mark would win most: one in the middle of each long loss,
// and one where a track is least certain.
func (c *clip) advise(r *Result) []Advice {
	var out []Advice
	for _, l := range r.Losses {
		frames := l.Last - l.First + 1
		if l.Bridged || frames < 3 || l.Cause == "left the picture" || l.Cause == markedHidden {
			continue
		}
		if lasts := c.times[l.Last] - c.times[l.First]; l.Landmark.IsHoof() && (lasts < leastWinS || l.Cause == hiddenBehind && lasts < 2*leastWinS) {
			continue // One swing or a part of it, in which a mark wins nothing.
		}
		at := (l.First + l.Last) / 2
		switch {
		case l.First == 0 && l.Last == r.Frames-1:
		case l.First == 0: // Near the seen side the landmark is sure to be in the picture.
			at = l.First + 2*frames/3
		case l.Last == r.Frames-1:
			at = l.First + frames/3
		}
		reason := fmt.Sprintf("%s is lost from frame %d to frame %d (%s); a mark here may bring back %d frames", l.Landmark.Words(), l.First, l.Last, l.Cause, frames)
		if l.Landmark.IsHoof() {
			reason += "; best in a frame nearby in which the hoof stands"
		}
		out = append(out, Advice{l.Landmark, at, frames, reason})
	}
	for i := range r.Set.Tracks {
		t := &r.Set.Tracks[i]
		worst, weak := -1, 0
		for f, s := range t.Samples {
			if s.Status != traj.Tracked || s.SD < 1.5 {
				continue
			}
			weak++
			if worst < 0 || s.SD > t.Samples[worst].SD {
				worst = f
			}
		}
		if weak >= 10 {
			out = append(out, Advice{t.Landmark, worst, weak / 2,
				fmt.Sprintf("%s is uncertain by more than 1.5 px in %d frames, most here (%.1f px); a mark here makes them surer", t.Landmark.Words(), weak, t.Samples[worst].SD)})
		}
	}
	slices.SortStableFunc(out, func(a, b Advice) int { return b.Wins - a.Wins })
	return out[:min(len(out), mostAdvice)]
}

// Advice is for somebody who has a minute: a few marks, each for more than a part
// of a swing.
const (
	mostAdvice = 8
	leastWinS  = 0.4
)

// Why a sweep sees nothing yet.
const (
	beforeFirst = "before the first mark"
	afterLast   = "after the last mark"
)

// markedHidden is why a landmark is not seen where a person says so.
const markedHidden = "marked as hidden"

// hiddenBehind is why a hoof of the pair that goes behind is not seen in the air.
const hiddenBehind = "hidden behind the other legs"
