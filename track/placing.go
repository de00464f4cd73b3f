package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Where the mark lies in a stance: by what was clicked in it, and by the other marks of its hoof.

// place finds where the mark lies in a stance: by what a person clicked in it, and by
// the appearances of the hoof's other marked stances.
func (st *stander) place(s *standing, models [2][]model, side int, seeds []seed) error {
	c := st.clip
	var found []relocation
	own := map[int]bool{}
	for _, m := range seeds {
		if m.Landmark != s.landmark || !m.Visible || !m.stands || !s.spans(m.Frame) {
			continue
		}
		i := max(0, slices.IndexFunc(s.seen, func(p stood) bool { return p.frame >= m.Frame }))
		own[m.Frame] = true
		d := c.steady(m.Frame, m.at()).Sub(s.seen[i].steady)
		found = append(found, relocation{Registration: flow.Registration{Pose: flow.Pose{At: d}, NCC: 1}, variance: sq(m.SD), click: sq(m.SD)})
	}
	var others []model
	for _, m := range models[side] {
		if !own[m.frame] {
			others = append(others, m)
		}
	}
	by, ok, err := st.placeByOthers(s, others)
	if err != nil {
		return err
	}
	if ok && s.print != nil && len(found) == 0 {
		if by, ok = s.byItsPrint(by); !ok {
			return nil
		}
	}
	// What a person clicked here stands over what looks like it.
	s.place, s.placed = agreed(found), len(found) > 0
	if ok && (!s.placed || by.agrees(s.place)) {
		s.place, s.placed = agreed(append(found, by)), true
	}
	return nil
}

// placeByOthers finds where the mark lies in a stance by what the hoof looked like in others: at
// seven moments, of which most are right where a leg, a rope or grass covers it for a part of the
// stance.
func (st *stander) placeByOthers(s *standing, others []model) (by relocation, ok bool, err error) {
	if len(others) == 0 {
		return by, false, nil
	}
	c := st.clip
	window := others[0].window.Scaled(s.size / others[0].window.Size())
	var places []flow.Point
	n := len(s.seen)
	for _, i := range slices.Compact([]int{n / 8, n / 4, 3 * n / 8, n / 2, 5 * n / 8, 3 * n / 4, 7 * n / 8}) {
		p, ok := c.unsteady(s.seen[i].frame, s.seen[i].steady)
		if !ok {
			continue
		}
		r, _, err := st.byMarks(s.seen[i].frame, p, window, others)
		if err != nil {
			return by, false, err
		}
		if r.from == nil {
			continue
		}
		places = append(places, c.steady(s.seen[i].frame, r.At).Sub(s.seen[i].steady))
		by.variance, by.click = max(by.variance, r.variance), max(by.click, r.click)
	}
	if len(places) == 0 {
		return by, false, nil
	}
	by.At = amidst(places)
	return by, true, nil
}

// byMarks returns where in frame f, near p, the mark of a hoof that stands there
// lies, by the appearances of its marked stances.
//
// like is the best likeness of any, NCC, 0 where none was found.
func (st *stander) byMarks(f int, p flow.Point, w flow.Window, models []model) (place relocation, like float64, err error) {
	place, like, err = st.near(f, p, w, models)
	if err == nil && place.from != nil && place.At.Dist(p) > 0.3*w.Size() {
		// What another of them says may lie beyond where was looked.
		return st.near(f, place.At, w, models)
	}
	return place, like, err
}

// near is byMarks within 0.6 sides of the patch of p.
func (st *stander) near(f int, p flow.Point, w flow.Window, models []model) (place relocation, like float64, err error) {
	if len(models) == 0 {
		return relocation{}, 0, nil
	}
	size := w.Size()
	reach := 0.6 * size
	ok, err := st.around(f, p, w, reach+4)
	if err != nil || !ok {
		return relocation{}, 0, err
	}
	field, err := st.fo.areaFor(st.picture, st.origin, size)
	if err != nil {
		return relocation{}, 0, err
	}
	var all []*appearance
	for _, m := range models {
		all = append(all, m.appearance)
	}
	var found []relocation
	for _, m := range st.fo.bestAnchors(all, flow.Pose{At: p, Scale: size}, size) {
		// Registering finds the nearest place that is alike; correlating, the likest.
		at, rivals, err := st.likestPlace(&field, m, size, p, reach)
		if err != nil {
			return relocation{}, 0, err
		}
		r, ok, err := st.fo.anchor(m, st.plane, flow.Pose{At: at, Scale: size}, size, 0)
		if err != nil {
			return relocation{}, 0, err
		}
		if !ok || r.At.Dist(p) >= reach {
			continue
		}
		like = max(like, r.NCC)
		if r.NCC >= st.model.StandNCC {
			// What looks less alike is known less well.
			r.variance += sq(0.15*size*(1-r.NCC)) + rivals
			found = append(found, r)
		}
	}
	return agreed(found), like, nil
}

// likestPlace returns where in the field, within reach of p, it looks most like m in the given
// size, px; p where that can't be told. rivals is the variance, px², that other places add which
// look nearly as much like it.
func (st *stander) likestPlace(field *area, m *appearance, size float64, p flow.Point, reach float64) (at flow.Point, rivals float64, err error) {
	l, ok, err := st.fo.like(0, field, m, size/m.scale, 6)
	if err != nil || !ok {
		return p, 0, err
	}
	near := func(q flow.Point) bool { return q.Dist(p) < reach }
	best, at := l.best(near)
	if best.score < st.model.LookNCC {
		return p, 0, nil
	}
	sum := 0.0
	for _, q := range peaks(l.Scores) {
		if there := l.where(q.x, q.y); near(there) {
			w := math.Exp(-(best.score - q.score) / st.model.RivalNCC)
			sum += w
			rivals += w * sq(there.Dist(at)) / 2
		}
	}
	return at, rivals / max(sum, 1), nil
}

// settleStanding puts what is known of the stances into a hoof's track: where it was
// seen standing, and where it stands though something hides it.
func (c *clip) settleStanding(t *traj.Track, all []*standing) {
	put := func(f int, p traj.Sample, known bool) {
		if known && t.Samples[f].Status != traj.Marked {
			t.Samples[f] = p
		}
	}
	for _, s := range all {
		if s.landmark != t.Landmark {
			continue
		}
		for _, rising := range s.rising {
			p, ok := c.sampleOf(s, rising, true)
			put(rising.frame, p, ok)
		}
		for k, now := range s.seen {
			p, ok := c.sample(s, k)
			put(now.frame, p, ok)
			if k == 0 {
				continue
			}
			// It stands on between two looks.
			last := s.seen[k-1]
			for f := last.frame + 1; f < now.frame; f++ {
				u := (c.times[f] - c.times[last.frame]) / (c.times[now.frame] - c.times[last.frame])
				at, ok := c.unsteady(f, mix(last.steady, now.steady, u).Add(s.place.At))
				put(f, traj.Sample{X: at.X, Y: at.Y, SD: math.Sqrt(s.place.variance) + last.sd, Quality: 0.3, Status: traj.Bridged}, ok)
			}
		}
	}
}

// sample returns the hoof's place in the k-th frame in which it was seen standing.
func (c *clip) sample(s *standing, k int) (traj.Sample, bool) {
	return c.sampleOf(s, s.seen[k], c.atEnd(s, s.seen[k].frame))
}

// atEnd reports whether frame f lies so near an end of s that the hoof may still come down, or
// already turn.
func (c *clip) atEnd(s *standing, f int) bool {
	const half = 0.5 // Frames come at times that jitter.
	last := (c.model.EdgeFrames - half) / min(c.rate(), 60)
	return min(c.times[f]-c.times[s.first()], c.times[s.last()]-c.times[f]) < last
}

// sampleOf is sample of p, which may move where it lies at the edge of the stance.
func (c *clip) sampleOf(s *standing, p stood, edge bool) (traj.Sample, bool) {
	at, ok := c.unsteady(p.frame, p.steady.Add(s.place.At))
	if !ok {
		return traj.Gone(), false
	}
	across, down := p.sd, p.sd
	if edge {
		across, down = math.Hypot(across, c.model.EdgeSD*s.size), math.Hypot(down, c.model.EdgeDown*s.size)
	}
	if !c.turnsInSight(s.landmark) {
		across, down = math.Hypot(across, c.model.CoveredSD*s.size), math.Hypot(down, c.model.CoveredSD*s.size)
	}
	out := traj.Sample{X: at.X, Y: at.Y, SD: math.Sqrt(s.place.variance + sq(across)), Quality: max(0, min(1, p.ncc)), Status: traj.Tracked}
	if down != across {
		out.SDY = math.Sqrt(s.place.variance + sq(down))
	}
	return out, true
}
