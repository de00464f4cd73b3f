package track

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// pairOf returns the landmarks of the fore or of the hind pair, left first.
func pairOf(hind bool) [2]traj.Landmark {
	if hind {
		return [2]traj.Landmark{traj.LeftHind, traj.RightHind}
	}
	return [2]traj.Landmark{traj.LeftFore, traj.RightFore}
}

// pairSearch looks for the stances of one pair of hooves.
type pairSearch struct {
	pair    [2]traj.Landmark
	st      *stander
	known   []*standing // The stances in which a person marked them.
	endless int         // How many marks lie in something that stands for longer than a hoof may.
	models  [2][]model  // What the hooves look like where they were marked standing.
	moving  [2][]model  // The same where they were marked in the air.
}

// marked finds the stances in which a person marked a hoof of the pair, and sets which of
// seeds, the marks, stand.
func (c *clip) marked(ctx context.Context, pair [2]traj.Landmark, seeds []seed) (*pairSearch, error) {
	ps := &pairSearch{pair: pair, st: newStander(c, pair[0])}
	for i := range seeds {
		m := &seeds[i]
		side := slices.Index(pair[:], m.Landmark)
		if side < 0 {
			continue
		}
		ps.st.marks[side] = append(ps.st.marks[side], *m)
		if !m.Visible {
			continue
		}
		w, _ := c.patch(m)
		s, err := ps.st.extend(ctx, m.Frame, flow.Point{X: m.X, Y: m.Y}, w)
		if err != nil {
			return nil, fmt.Errorf("look at the mark of %s in frame %d: %w", m.Landmark, m.Frame, err)
		}
		if s != nil && s.endless {
			ps.endless++
		}
		if m.stands = s != nil && !s.endless && len(s.seen) >= c.model.Fewest && s.lasts(c.times) >= c.model.ShortS; m.stands {
			s.landmark, s.marked = m.Landmark, side
			ps.add(s)
		}
	}
	wrong := ps.wrong()
	for side := range ps.st.marks { // With what is known of them by now.
		ps.st.marks[side] = ps.st.marks[side][:0]
	}
	for i := range seeds {
		m := &seeds[i]
		m.stands = m.stands && !slices.ContainsFunc(ps.known, func(s *standing) bool {
			return wrong[s] && s.landmark == m.Landmark && m.Frame >= s.first() && m.Frame <= s.last()
		})
		if side := slices.Index(pair[:], m.Landmark); side >= 0 {
			ps.st.marks[side] = append(ps.st.marks[side], *m)
		}
	}
	ps.known = slices.DeleteFunc(ps.known, func(s *standing) bool { return wrong[s] })
	return ps, nil
}

// add adds a marked stance, which may be a part of one that is known.
func (ps *pairSearch) add(s *standing) {
	same := slices.IndexFunc(ps.known, func(o *standing) bool { return o.marked == s.marked && o.same(s, ps.st.clip.times) })
	if same < 0 {
		ps.known = append(ps.known, s)
	} else {
		ps.known[same].join(s)
	}
}

// wrong returns the marked stances that are none of their hoof. A mark elsewhere in the
// meantime, or two hooves in one place, say that it was another that stood there; of two
// stances between which there is no time for a swing, the shorter one is the hoof as it comes
// or goes.
func (ps *pairSearch) wrong() map[*standing]bool {
	c, wrong := ps.st.clip, map[*standing]bool{}
	for i, s := range ps.known {
		if slices.ContainsFunc(ps.st.marks[s.marked], func(m seed) bool { return ps.st.contradicts(m, s) }) {
			wrong[s] = true
		}
		for _, o := range ps.known[:i] {
			switch {
			case o.marked != s.marked:
				if s.first() <= o.last() && o.first() <= s.last() && s.mean().Dist(o.mean()) < c.model.StandStray*s.size {
					wrong[s], wrong[o] = true, true
				}
			case s.apart(o, c.times) >= c.pace.ShortestSwingS:
			case s.lasts(c.times) < o.lasts(c.times):
				wrong[s] = true
			default:
				wrong[o] = true
			}
		}
	}
	return wrong
}

// contradicts reports whether a mark says that its hoof is not the one of the stance: it
// is elsewhere, or hidden, in the meantime.
func (st *stander) contradicts(m seed, s *standing) bool {
	if m.Frame < s.first() || m.Frame > s.last() {
		return false
	}
	return !m.Visible || st.clip.steady(m.Frame, flow.Point{X: m.X, Y: m.Y}).Dist(s.mean()) > st.model.Elsewhere*s.size
}

// readClicks makes the models of the marks, and says how far the clicks are off that did
// not say so themselves: the marks of one hoof, each found by the appearance of the
// others, disagree by as much. One weak prior stands beside that.
func (c *clip) readClicks(searches []*pairSearch, t *trunk, seeds []seed) error {
	squares, n := c.model.PriorWeight*sq(c.prior), c.model.PriorWeight
	for _, ps := range searches {
		if err := c.makeModels(ps, t, seeds); err != nil {
			return err
		}
		for _, models := range ps.models {
			for i := range models {
				square, told, err := ps.st.disagreement(models, i)
				if err != nil {
					return err
				}
				if told {
					squares, n = squares+square, n+1
				}
			}
		}
	}
	click := math.Sqrt(squares / n)
	if len(c.guessed) > 0 {
		c.click = click
	}
	for _, i := range c.guessed {
		c.marks[i].SD, seeds[i].SD = click, click
	}
	for _, ps := range searches {
		for _, m := range slices.Concat(ps.models[0], ps.models[1]) {
			if i := slices.IndexFunc(seeds, func(s seed) bool { return s.Frame == m.frame && s.X == m.at.X && s.Y == m.at.Y }); i >= 0 {
				m.variance = sq(seeds[i].SD)
			}
		}
	}
	return nil
}

// makeModels makes the models of the pair's marks.
func (c *clip) makeModels(ps *pairSearch, t *trunk, seeds []seed) error {
	for _, m := range seeds {
		side := slices.Index(ps.pair[:], m.Landmark)
		if side < 0 || !m.Visible || t.size[m.Frame] == 0 {
			continue
		}
		made, err := c.modelAt(ps.st.fo, t, m)
		if err != nil {
			return err
		}
		if m.stands {
			ps.models[side] = append(ps.models[side], made...)
		} else {
			ps.moving[side] = append(ps.moving[side], made...)
		}
	}
	return nil
}

// disagreement returns how far the i-th of a hoof's models lies from where the others have it:
// the square along one axis, px², as far as it is of one click; told is whether they find it.
func (st *stander) disagreement(models []model, i int) (square float64, told bool, err error) {
	m, others := models[i], slices.Delete(slices.Clone(models), i, i+1)
	if len(others) == 0 {
		return 0, false, nil
	}
	r, like, err := st.byMarks(m.frame, m.at, m.window, others)
	if err != nil || r.from == nil || like < st.model.LikeMarked {
		return 0, false, err
	}
	// Of the click here, of those there, and of what lies between them.
	share := 1 + r.click/sq(st.clip.prior)
	d := r.At.Sub(m.at)
	return min(max(0, (d.X*d.X+d.Y*d.Y)/2-(r.variance-r.click))/share, sq(st.model.MostClick)), true, nil
}

// findStanding finds the stances of both hooves of the pair through the clip. t must not
// be nil; it says where the trunk is. seeds are the marks.
func (c *clip) findStanding(ctx context.Context, ps *pairSearch, t *trunk, seeds []seed) ([]*standing, error) {
	st, pair, known, models := ps.st, ps.pair, ps.known, ps.models
	if len(models[0])+len(models[1]) == 0 {
		models = ps.moving
	}
	if len(models[0])+len(models[1]) == 0 {
		return nil, nil
	}
	all, err := st.find(ctx, t, models, known)
	if err != nil {
		return nil, err
	}
	st.meet(all, pair, seeds)
	all = st.absorb(all, &models, seeds)
	st.passed(all)
	fills := math.Inf(1)
	for _, s := range known {
		fills = min(fills, c.model.LeastFill*s.share)
	}
	for _, s := range all {
		s.fills = fills
	}
	out := c.choose(all, pair)
	// From in front a hind that lands in the print of a fore hides that this one left; the two
	// together stand for longer than any. In slow motion hardly a stance is seen to its end.
	long := (1 + c.model.LastsSD) * middling(out, c.times)
	for _, s := range out {
		if !c.grows || c.slower <= 1 && s.lasts(c.times) > long {
			s.settle(c.grows)
		}
		if !c.grows {
			s.rises()
		}
		if s.landmark.IsHind() {
			s.afterPrint(c.times, out, seeds)
		}
		if s.marked < 0 && s.lasts(c.times) < c.model.BriefS {
			continue // So short a time no hoof stands.
		}
		side := slices.Index(pair[:], s.landmark)
		if err := st.place(s, models, side, seeds); err != nil {
			return nil, err
		}
	}
	c.cutShort(out, pair)
	return slices.DeleteFunc(out, func(s *standing) bool { return !s.placed }), nil
}

// meet gives a stance that nobody marked to the mark that lies in it and of which it could not
// be told alone that it stands.
func (st *stander) meet(all []*standing, pair [2]traj.Landmark, seeds []seed) {
	for _, s := range all {
		for i := range seeds {
			m := &seeds[i]
			side := slices.Index(pair[:], m.Landmark)
			if side < 0 || s.marked >= 0 || !m.Visible || m.stands || m.Frame < s.first() || m.Frame > s.last() {
				continue
			}
			if st.clip.steady(m.Frame, flow.Point{X: m.X, Y: m.Y}).Dist(s.mean()) < st.model.StandStray*s.size {
				s.marked, m.stands = side, true
			}
		}
	}
}

// choose returns the stances that steps can be counted by, with their limb and beat, and those
// that a person marked.
func (c *clip) choose(all []*standing, pair [2]traj.Landmark) (out []*standing) {
	chosen, sure := count(all, c.times, c.pace, c.model)
	lasts := usual(all, c.times)
	for i, s := range all {
		k := chosen.holds(i)
		switch {
		case sure && k >= 0 && (s.marked >= 0 || s.worth(chosen.of[k].side, c.times, lasts) > c.model.LeastWorth):
			s.landmark, s.beat = pair[chosen.of[k].side], chosen.of[k].beat
		case s.marked >= 0:
			s.beat = -1
		default:
			continue
		}
		out = append(out, s)
	}
	return out
}

// afterPrint takes off the beginning of a hind's stance that lasts far longer than usual,
// while in its middle the opposite hind stands, and that is not marked there: a hind lands
// in the print of the fore of its side, which stood there until just before (common
// practice). When it landed is then not known.
func (s *standing) afterPrint(times []float64, all []*standing, seeds []seed) {
	usual := middling(all, times)
	if s.lasts(times) <= s.model.LongStance*usual {
		return
	}
	from := slices.IndexFunc(s.seen, func(p stood) bool { return times[s.last()]-times[p.frame] <= usual })
	kept := s.seen[from].frame
	opposite := slices.ContainsFunc(all, func(o *standing) bool {
		at := o.middle(times)
		return o.landmark != s.landmark && at > times[s.first()] && at < times[kept]
	})
	marked := slices.ContainsFunc(seeds, func(m seed) bool {
		return m.Landmark == s.landmark && m.Visible && m.Frame >= s.first() && m.Frame < kept
	})
	if opposite && !marked {
		s.seen, s.before = s.seen[from:], -1
	}
}

// cutShort forgets the end of a stance that is seen for much shorter than those of the limb
// of the pair that is seen longer: left and right stand about as long, on a lame horse too
// (common practice: they differ by less than a fifth), so something hid the hoof. Where
// the horse goes away that is the other limb before it has passed, so that the landing went
// unseen; where it comes, the leaving.
func (c *clip) cutShort(all []*standing, pair [2]traj.Landmark) {
	usual := 0.0
	for _, l := range pair {
		var of []*standing
		for _, s := range all {
			if s.landmark == l {
				of = append(of, s)
			}
		}
		if m := middling(of, c.times); !math.IsInf(m, 1) {
			usual = max(usual, m)
		}
	}
	for _, s := range all {
		switch {
		case s.before < 0 || s.after < 0 || s.lasts(c.times) > (1-2*c.model.LastsSD)*usual:
		case c.grows:
			s.after = -1
		default:
			s.before = -1
		}
	}
}

// middling returns how long most stances last of which both ends were seen, s: their median;
// infinite where there is none.
func middling(all []*standing, times []float64) float64 {
	var whole []float64
	for _, s := range all {
		if s.before >= 0 && s.after >= 0 {
			whole = append(whole, s.lasts(times))
		}
	}
	if len(whole) == 0 {
		return math.Inf(1)
	}
	return median(whole)
}

// placeMarked places the stances that a person marked by the marks in them alone.
func (st *stander) placeMarked(known []*standing, seeds []seed) ([]*standing, error) {
	for _, s := range known {
		s.beat = -1
		if err := st.place(s, [2][]model{}, s.marked, seeds); err != nil {
			return nil, err
		}
	}
	return slices.DeleteFunc(known, func(s *standing) bool { return !s.placed }), nil
}

// absorb takes out the marked stances that are but a moment before or after another that
// nobody marked, near it and with no time for a swing in between: it is the hoof as it
// comes or goes, and the other is its stance. The marks in it, of seeds, do not stand and
// are no models of how it looks there.
func (st *stander) absorb(all []*standing, models *[2][]model, seeds []seed) []*standing {
	times := st.clip.times
	return slices.DeleteFunc(all, func(m *standing) bool {
		if m.marked < 0 {
			return false
		}
		for _, s := range all {
			if s.marked >= 0 || s.never[m.marked] || s.like[m.marked] < st.model.LikeMarked || m.lasts(times) > s.lasts(times)/2 || s.apart(m, times) > st.clip.pace.ShortestSwingS || s.mean().Dist(m.mean()) > s.size {
				continue
			}
			s.marked = m.marked
			for i := range seeds {
				if seeds[i].Landmark == m.landmark && seeds[i].Frame >= m.first() && seeds[i].Frame <= m.last() {
					seeds[i].stands = false
				}
			}
			models[m.marked] = slices.DeleteFunc(models[m.marked], func(o model) bool { return o.frame >= m.first() && o.frame <= m.last() })
			return true
		}
		return false
	})
}

// passed forgets the ends of stances that can't be ends: no other hoof of the pair stood
// then, though one lands before the other left, or soon after. It was the other limb in
// the air that hid the hoof: that one is the nearer to the camera before it passes where
// the horse goes away, and after it passed where the horse comes.
func (st *stander) passed(all []*standing) {
	c := st.clip
	for _, s := range all {
		end, known := c.times[s.first()], &s.before
		if c.grows {
			end, known = c.times[s.last()], &s.after
		}
		if *known < 0 {
			continue
		}
		alone := false
		for _, o := range all {
			if o == s || o.marked < 0 && max(o.like[0], o.like[1]) < st.model.LikeMarked || o.mean().Dist(s.mean()) < st.model.StandStray*s.size {
				continue
			}
			// For how long it had gone, or had not come yet.
			gap, stands := end-c.times[o.last()], c.times[o.first()] <= end
			if c.grows {
				gap, stands = c.times[o.first()]-end, c.times[o.last()] >= end
			}
			if stands && gap <= c.pace.SuspensionS {
				alone = false
				break
			}
			alone = alone || gap > c.pace.SuspensionS && gap < c.pace.ShortestSwingS
		}
		if alone {
			*known = -1
		}
	}
}

// apart returns the time between two stances, s; negative where they overlap.
func (s *standing) apart(o *standing, times []float64) float64 {
	return max(times[s.first()]-times[o.last()], times[o.first()]-times[s.last()])
}

// same reports whether two stances of one hoof are parts of one: in one place, and not
// farther apart in time than something may hide it.
func (s *standing) same(o *standing, times []float64) bool {
	return s.apart(o, times) < 2*s.model.BridgeS && s.mean().Dist(o.mean()) < s.model.StandStray*s.size
}

// join takes over the frames of o, which is a part of the same stance.
func (s *standing) join(o *standing) {
	if o.first() < s.first() {
		s.before = o.before
	}
	if o.last() > s.last() {
		s.after = o.after
	}
	for _, p := range o.seen {
		if !slices.ContainsFunc(s.seen, func(q stood) bool { return q.frame == p.frame }) {
			s.seen = append(s.seen, p)
		}
	}
	slices.SortFunc(s.seen, func(a, b stood) int { return a.frame - b.frame })
}

// place finds where the mark lies in a stance: by what a person clicked in it, and by
// the appearances of the hoof's other marked stances.
func (st *stander) place(s *standing, models [2][]model, side int, seeds []seed) error {
	c := st.clip
	var found []relocation
	own := map[int]bool{}
	for _, m := range seeds {
		if m.Landmark != s.landmark || !m.Visible || !m.stands {
			continue
		}
		if m.Frame < s.first() || m.Frame > s.last() {
			continue
		}
		i := max(0, slices.IndexFunc(s.seen, func(p stood) bool { return p.frame >= m.Frame }))
		own[m.Frame] = true
		d := c.steady(m.Frame, flow.Point{X: m.X, Y: m.Y}).Sub(s.seen[i].steady)
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
	// What a person clicked here stands over what looks like it.
	s.place, s.placed = agreed(found), len(found) > 0
	if ok && (!s.placed || by.agrees(s.place)) {
		s.place, s.placed = agreed(append(found, by)), true
	}
	return nil
}

// placeByOthers finds where the mark lies in a stance by what the hoof looked like in others.
func (st *stander) placeByOthers(s *standing, others []model) (by relocation, ok bool, err error) {
	if len(others) == 0 {
		return by, false, nil
	}
	c := st.clip
	window := others[0].window.Scaled(s.size / others[0].window.Size())
	var places []flow.Point
	n := len(s.seen)
	for _, i := range slices.Compact([]int{n / 4, n / 2, 3 * n / 4}) {
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

// sample returns the hoof's place in the k-th frame in which it was seen standing.
func (c *clip) sample(s *standing, k int) (traj.Sample, bool) {
	edge := k < c.model.EdgeFrames || k >= len(s.seen)-c.model.EdgeFrames
	if edge && !c.turnsInSight(s.landmark) {
		return traj.Gone(), false // Half hidden, it can't be told from what comes and goes.
	}
	return c.sampleOf(s, s.seen[k], edge)
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

// apart takes from the stances of the pair behind the frames in which a hoof of the pair
// in front stands in the same place: hinds land in the prints of the fores.
func (c *clip) apart(all []*standing) []*standing {
	for _, s := range all {
		if c.turnsInSight(s.landmark) {
			continue
		}
		for _, o := range all {
			if !c.turnsInSight(o.landmark) || s.mean().Dist(o.mean()) > c.model.StandStray*s.size {
				continue
			}
			n := len(s.seen)
			s.seen = slices.DeleteFunc(s.seen, func(p stood) bool { return p.frame >= o.first() && p.frame <= o.last() })
			if len(s.seen) < n && len(s.seen) > 0 {
				s.before, s.after = -1, -1 // Something else was seen there.
			}
			if len(s.seen) == 0 {
				break
			}
		}
	}
	return slices.DeleteFunc(all, func(s *standing) bool { return len(s.seen) < c.model.Fewest })
}

// inTime takes out the stances of the pair behind that hold no mark and in whose middle the
// hoof in front stands that is down while theirs is up: at the trot diagonal limbs stand
// together, at the pace those of one side.
func (c *clip) inTime(all []*standing, gait traj.Gait) []*standing {
	if gait != traj.Trot && gait != traj.Pace {
		return all
	}
	return slices.DeleteFunc(all, func(s *standing) bool {
		if c.turnsInSight(s.landmark) || slices.ContainsFunc(c.marks, func(m Mark) bool {
			return m.Landmark == s.landmark && m.Frame >= s.first() && m.Frame <= s.last()
		}) {
			return false
		}
		against, with := false, false
		middle := s.middle(c.times)
		for _, o := range all {
			if c.turnsInSight(o.landmark) && c.times[o.first()] <= middle && middle <= c.times[o.last()] {
				together := (o.landmark.Side() == s.landmark.Side()) == (gait == traj.Pace)
				against, with = against || !together, with || together
			}
		}
		return against && !with
	})
}

// settleStanding puts what is known of the stances into a hoof's track: where it was
// seen standing, and where it stands though something hides it.
func (c *clip) settleStanding(t *traj.Track, all []*standing) {
	for _, s := range all {
		if s.landmark != t.Landmark {
			continue
		}
		for _, rising := range s.rising {
			if p, ok := c.sampleOf(s, rising, true); ok && t.Samples[rising.frame].Status != traj.Marked {
				t.Samples[rising.frame] = p
			}
		}
		for k := range s.seen {
			if p, ok := c.sample(s, k); ok && t.Samples[s.seen[k].frame].Status != traj.Marked {
				t.Samples[s.seen[k].frame] = p
			}
			if k == 0 {
				continue
			}
			for f := s.seen[k-1].frame + 1; f < s.seen[k].frame; f++ {
				if t.Samples[f].Status == traj.Marked {
					continue
				}
				// It stands on between two looks.
				u := (c.times[f] - c.times[s.seen[k-1].frame]) / (c.times[s.seen[k].frame] - c.times[s.seen[k-1].frame])
				between := mix(s.seen[k-1].steady, s.seen[k].steady, u).Add(s.place.At)
				if at, ok := c.unsteady(f, between); ok {
					t.Samples[f] = traj.Sample{X: at.X, Y: at.Y, SD: math.Sqrt(s.place.variance) + s.seen[k-1].sd, Quality: 0.3, Status: traj.Bridged}
				}
			}
		}
	}
}

// stancesOf returns the stances as data.
func (c *clip) stancesOf(all []*standing) []traj.Stance {
	var out []traj.Stance
	for _, s := range all { // One pair after the other, each in the order of time.
		if s.after < 0 && c.turnsInSight(s.landmark) {
			// The pair in front is in sight: what no longer looks like it has moved.
			for f := s.last() + 1; f < len(c.times) && s.after < 0; f++ {
				if c.times[f]-c.times[s.last()] > c.model.LeftS {
					s.after = f
				}
			}
		}
		o := traj.Stance{Landmark: s.landmark, First: s.first(), Last: s.last(), Before: s.before, After: s.after, Beat: s.beat, Seen: len(s.seen)}
		if c.slower > 1 {
			// With so many frames it is seen to move long before it leaves.
			o.Before, o.After = -1, -1
		} else if !c.grows && s.after >= 0 {
			o.After = s.last() + 1 // The heel, which is marked, has left where the toe does.
		}
		out = append(out, o)
	}
	return out
}

// seedsOf turns stances into what sweeps start from: the first and the last frame in which
// their places are told.
func (c *clip) seedsOf(all []*standing) []seed {
	var out []seed
	for _, s := range all {
		var told []seed
		for k := range s.seen {
			if p, ok := c.sample(s, k); ok {
				told = append(told, seed{
					Mark:  Mark{Frame: s.seen[k].frame, Landmark: s.landmark, X: p.X, Y: p.Y, Visible: true, SD: p.SD},
					found: true, stands: true, size: c.model.LimbShare * s.size,
				})
			}
		}
		// At its ends it may still come down, or already turn.
		if edge := c.model.EdgeFrames; len(told) > 2*edge {
			told = told[edge : len(told)-edge]
		}
		if n := len(told); n > 0 {
			told[n-1].rests = told[n-1].Frame - told[0].Frame
			out = append(out, told[0])
			if n > 1 {
				out = append(out, told[n-1])
			}
		}
	}
	return out
}

// fill says where the trunk is and how large it looks in frames in which its landmark
// was not followed, from those around: its size is one over a distance that changes
// evenly. strays is how fast it leaves the way it went, sides of its patch a second.
func (t *trunk) fill(times []float64, leadS, strays float64) {
	t.times = times
	var known []int
	for f, size := range t.size {
		if size > 0 {
			known = append(known, f)
		}
	}
	if len(known) == 0 {
		return
	}
	between := func(f, a, b int) {
		u := (times[f] - times[a]) / (times[b] - times[a])
		inverse := (1-u)/t.size[a] + u/t.size[b]
		if !(inverse > 0) {
			return
		}
		size := 1 / inverse
		if k := size / t.size[a]; k > 1.5 || k < 0.67 {
			return
		}
		t.at[f], t.size[f] = mix(t.at[a], t.at[b], u), size
		near := min(math.Abs(times[f]-times[a]), math.Abs(times[f]-times[b]))
		t.sd[f] = max(t.sd[a], t.sd[b]) + strays*near*size
	}
	for i, b := range known[1:] {
		for f := known[i] + 1; f < b; f++ {
			between(f, known[i], b)
		}
	}
	// Beyond the ends it goes on as it went over the nearest second.
	lead := func(end, dir int) {
		other := end
		for _, f := range known {
			if d := float64(dir) * (times[end] - times[f]); d > 0.3 && d < 1 && (other == end || d > float64(dir)*(times[end]-times[other])) {
				other = f
			}
		}
		if other == end {
			return
		}
		for f := end + dir; f >= 0 && f < len(times) && math.Abs(times[f]-times[end]) < leadS; f += dir {
			between(f, end, other)
		}
	}
	lead(known[0], -1)
	lead(known[len(known)-1], 1)
}

// bySight makes the trunk's size how high it lies above the ground, px, by the marks of
// hooves: the horse goes at an even speed, so that one over it changes evenly, and what
// the marks are off that is shared out in between. A patch's own scale, which is told
// where there are too few marks, drifts. It must be filled before.
func (c *clip) bySight(t *trunk, seeds []seed) {
	var all []valueAt // How high, px.
	for _, s := range c.below(seeds, func(s seed) bool { return s.Visible && s.stands && t.size[s.Frame] > 0 }) {
		if h := s.Y - t.at[s.Frame].Y; h > 0 {
			all = append(all, valueAt{s.Frame, h})
		}
	}
	if len(all) < 2 {
		return
	}
	var n, st, sv, stt, stv float64
	for _, h := range all {
		x, v := t.times[h.frame], 1/h.value
		n, st, sv, stt, stv = n+1, st+x, sv+v, stt+x*x, stv+x*v
	}
	d := n*stt - st*st
	if all[len(all)-1].frame == all[0].frame || !(d > 0.02*n*n) { // Marks within 0.15 s of each other.
		return
	}
	slope := (n*stv - st*sv) / d
	even := func(f int) float64 { return 1 / ((sv-slope*st)/n + slope*t.times[f]) }
	var parts []valueAt
	for _, h := range all {
		parts = append(parts, valueAt{h.frame, math.Log(h.value / even(h.frame))})
	}
	for f := range t.size {
		e := even(f)
		if t.size[f] == 0 {
			continue
		}
		if !(e > 0) || e > 4*all[0].value && e > 4*all[len(all)-1].value {
			t.size[f] = 0
			continue
		}
		off := along(parts, t.times, f)
		if math.IsNaN(off) {
			off = 0
		}
		t.size[f] = e * math.Exp(off)
	}
	c.byPath(t, seeds, even)
}

// byPath says where the trunk is in frames in which nothing of the body was followed: a
// horse goes straight on at an even speed, so that its place, over how large it looks,
// changes evenly in time. It goes by the frames of the marks of standing hooves, from which
// these are looked for. height returns how large the horse looks in a frame, px.
func (c *clip) byPath(t *trunk, seeds []seed, height func(f int) float64) {
	centre := flow.Point{X: float64(c.width) / 2, Y: float64(c.height) / 2}
	var times, x, y []float64
	for _, s := range seeds {
		if h := height(s.Frame); s.Visible && s.stands && t.size[s.Frame] > 0 && h > 0 {
			p := c.steady(s.Frame, t.at[s.Frame]).Sub(centre)
			times, x, y = append(times, t.times[s.Frame]), append(x, p.X/h), append(y, p.Y/h)
		}
	}
	if len(times) < 4 {
		return
	}
	ax, bx := stat.LinearRegression(times, x, nil, false)
	ay, by := stat.LinearRegression(times, y, nil, false)
	mean, spread := stat.PopMeanStdDev(times, nil)
	var rest float64 // Sum of squares of what the lines leave across the picture.
	for i := range times {
		rest += sq(x[i] - ax - bx*times[i])
	}
	n := float64(len(times))
	sd := math.Sqrt(rest / (n - 2))
	for f := range t.size {
		h := height(f)
		if t.size[f] > 0 || !(h > 0) {
			continue
		}
		off := sd * math.Sqrt(1/n+sq((t.times[f]-mean)/spread)/n)
		if off > c.model.PathSD {
			continue
		}
		p, ok := c.unsteady(f, flow.Point{X: h * (ax + bx*t.times[f]), Y: h * (ay + by*t.times[f])}.Add(centre))
		if !ok {
			continue
		}
		t.at[f], t.size[f], t.sd[f] = p, h, math.Hypot(off, sd)*h
	}
}
