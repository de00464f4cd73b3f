package track

import (
	"context"
	"math"
	"slices"

	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// fores and hinds are the pairs of hooves, left first.
var (
	fores = [2]traj.Landmark{traj.LeftFore, traj.RightFore}
	hinds = [2]traj.Landmark{traj.LeftHind, traj.RightHind}
)

// findStanding finds what may be stances of the hooves of the pair through the clip: counts of
// ps. t must not be nil; it says where the trunk is. seeds are the marks.
func (c *clip) findStanding(ctx context.Context, ps *pairSearch, t *trunk, seeds []seed) error {
	st, pair, known := ps.st, ps.pair, ps.known
	if len(ps.models[0])+len(ps.models[1]) == 0 {
		return nil
	}
	all, err := st.find(ctx, t, ps.models, known)
	if err != nil {
		return err
	}
	st.meet(all, pair, seeds)
	fills := math.Inf(1)
	for _, s := range known {
		fills = min(fills, c.model.LeastFill*s.share)
	}
	for _, s := range all {
		s.fills = fills
	}
	ps.count(all)
	return nil
}

// count counts the pair's stances, all that were found: counts of ps.
func (ps *pairSearch) count(all []*standing) {
	ps.st.passed(all)
	c := ps.st.clip
	ps.counts = countAll(all, c.times, c.pace, c.model, !c.grows)
}

// placeStanding cuts the stances of a pair to when it stood, and returns those that the marks
// place. usual is how long stances last, s. It counts only where a landmark of the body was
// followed: without one no stances are looked for beside the marked ones.
func (c *clip) placeStanding(ps *pairSearch, usual float64, seeds []seed) ([]*standing, error) {
	body := c.trunk != nil
	for _, s := range ps.chosen {
		if body {
			c.rest(s, usual)
		}
		if !c.grows {
			s.rises()
		}
		if body {
			s.cutLong(c.times, usual, seeds)
		}
		if s.marked < 0 && s.lasts(c.times) < c.model.BriefS {
			continue // So short a time no hoof stands.
		}
		side := slices.Index(ps.pair[:], s.landmark)
		if err := ps.st.place(s, ps.models, side, seeds); err != nil {
			return nil, err
		}
	}
	if body {
		c.cutShort(ps.chosen, ps.pair)
	}
	return slices.DeleteFunc(ps.chosen, func(s *standing) bool { return !s.placed }), nil
}

// rest takes off the frames in which a hoof comes or leaves along the line of sight, and those of
// another in its print. From in front a hind that lands in the print of a fore hides that this one
// left; the two together stand for longer than is usual, s. Where they are marked as the hind's the
// beginning is the fore's. From behind it is the other way round, and hinds come down so. In slow
// motion hardly a stance is seen to its end.
func (c *clip) rest(s *standing, usual float64) {
	front := c.turnsInSight(s.landmark)
	if !c.grows && front || c.slower <= 1 && s.lasts(c.times) > (1+c.model.LastsSD)*usual {
		s.settle(c.grows == front)
	}
}

// usually returns how long the stances of every search last, s. Those of the pair behind are
// seen in parts; they last about as long as those of the pair in front (common practice).
func (c *clip) usually(searches []*pairSearch) []float64 {
	out := make([]float64, len(searches))
	for i, ps := range searches {
		out[i] = middling(ps.chosen, c.times)
	}
	for i, ps := range searches {
		for j, front := range searches {
			if !c.turnsInSight(ps.pair[0]) && c.turnsInSight(front.pair[0]) && !math.IsInf(out[j], 1) {
				out[i] = out[j]
			}
		}
	}
	return out
}

// meet gives a stance that nobody marked to the mark that lies in it and of which it could not
// be told alone that it stands.
func (st *stander) meet(all []*standing, pair [2]traj.Landmark, seeds []seed) {
	for _, s := range all {
		for i := range seeds {
			m := &seeds[i]
			side := slices.Index(pair[:], m.Landmark)
			if side < 0 || s.marked >= 0 || !m.Visible || m.stands || !s.spans(m.Frame) {
				continue
			}
			if st.clip.steady(m.Frame, m.at()).Dist(s.mean()) < st.model.StandStray*s.size {
				s.marked, m.stands = side, true
			}
		}
	}
}

// choose sets the stances that steps can be counted by, with their limb and beat, and those that
// a person marked: chosen of each of the searches.
func (c *clip) choose(searches []*pairSearch) {
	for i, ps := range searches {
		ps.chosen, ps.stride = nil, 0
		if ps.counts == nil {
			continue
		}
		var others []*counts
		for j, o := range searches {
			if j != i && o.counts != nil {
				others = append(others, o.counts)
			}
		}
		chosen, sure := ps.counts.choose(others...)
		if _, step, ok := ps.counts.rhythm(&chosen); ok && sure {
			ps.stride = 2 * step
		}
		for i, s := range ps.counts.all {
			k := chosen.holds(i)
			switch {
			case sure && k >= 0:
				s.landmark, s.beat = ps.pair[chosen.of[k].side], chosen.of[k].beat
			case s.marked >= 0:
				s.beat = -1
			default:
				continue
			}
			ps.chosen = append(ps.chosen, s)
		}
	}
}

// cutLong takes off what a stance seems to last beyond the usual: left and right stand about as
// long, on a lame horse too (common practice: they differ by less than a fifth), and hinds land
// in the prints of the fores. What stands in a fore's place at the end is then the hind, and in
// a hind's place at the beginning the fore; when the one left and the other landed is not
// known. Where a mark says that it stood it stays. seeds are the marks.
func (s *standing) cutLong(times []float64, usual float64, seeds []seed) {
	if usual < s.model.BriefS || s.lasts(times) <= (1+2*s.model.LastsSD)*usual {
		return // Where most are moments of stances, nothing is usual.
	}
	from, to := 0, len(s.seen)
	if s.landmark.IsHind() {
		for times[s.last()]-times[s.seen[from].frame] > usual {
			from++
		}
	} else {
		for times[s.seen[to-1].frame]-times[s.first()] > usual {
			to--
		}
	}
	for _, m := range seeds {
		if m.Landmark == s.landmark && m.Visible && s.spans(m.Frame) {
			i := slices.IndexFunc(s.seen, func(p stood) bool { return p.frame >= m.Frame })
			from, to = min(from, i), max(to, i+1)
		}
	}
	if from > 0 {
		s.before = -1
	}
	if to < len(s.seen) {
		s.after = -1
	}
	s.seen = s.seen[from:to]
}

// cutEndless is cutLong of what stands for longer than any hoof: a fore and the hind in its print,
// seen as one. What belongs to the ground stays endless. seeds are the marks that count.
func (s *standing) cutEndless(times []float64, pace *errormodel.Pace, seeds []seed) {
	if !s.endless || s.ground {
		return
	}
	s.cutLong(times, pace.LongestStanceS/(1+2*s.model.LastsSD), seeds)
	s.endless = false
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
		if st.alone(s, end, all) {
			*known = -1
		}
	}
}

// alone reports whether at the end of s, s, no other hoof stood, though one had left shortly
// before, or came shortly after.
func (st *stander) alone(s *standing, end float64, all []*standing) bool {
	c, alone := st.clip, false
	for _, o := range all {
		if o == s || o.marked < 0 && max(o.like[0], o.like[1]) < st.model.AnchorNCC || o.mean().Dist(s.mean()) < st.model.StandStray*s.size {
			continue
		}
		// For how long it had gone, or had not come yet.
		gap, stands := end-c.times[o.last()], c.times[o.first()] <= end
		if c.grows {
			gap, stands = c.times[o.first()]-end, c.times[o.last()] >= end
		}
		if stands && gap <= c.pace.SuspensionS {
			return false
		}
		alone = alone || gap > c.pace.SuspensionS && gap < c.pace.ShortestSwingS
	}
	return alone
}

// apart returns the time between two stances, s; negative where they overlap.
func (s *standing) apart(o *standing, times []float64) float64 {
	return max(times[s.first()]-times[o.last()], times[o.first()]-times[s.last()])
}

// isAlso reports whether two stances of a pair are one hoof, seen twice: two can't stand in one
// place at a time.
func (s *standing) isAlso(o *standing) bool {
	return s.first() <= o.last() && o.first() <= s.last() && s.mark.Dist(o.mark) < s.model.StandStray*s.size
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

// apart takes from the stances of the pair behind what is a hoof of the pair in front: hinds land
// in the prints of the fores, less than a hoof's width from where these stood, after they left.
func (c *clip) apart(all []*standing) []*standing {
	for _, s := range all {
		if c.turnsInSight(s.landmark) {
			continue
		}
		for _, o := range all {
			if !c.turnsInSight(o.landmark) || s.first() > o.last() || o.first() > s.last() || s.mean().Dist(o.mean()) > s.size {
				continue
			}
			s.seen = slices.DeleteFunc(s.seen, func(p stood) bool {
				return s.landmark.IsHind() && p.frame <= o.last() || s.landmark.IsFore() && p.frame >= o.first()
			})
			if len(s.seen) == 0 {
				break
			}
			s.before, s.after = -1, -1 // Something else was seen there.
		}
	}
	return slices.DeleteFunc(all, func(s *standing) bool {
		return len(s.seen) < c.model.Fewest || s.marked < 0 && s.lasts(c.times) < c.model.BriefS
	})
}

// stancesOf returns the stances as data.
func (c *clip) stancesOf(all []*standing) []traj.Stance {
	var out []traj.Stance
	for _, s := range all { // One pair after the other, each in the order of time.
		o := traj.Stance{Landmark: s.landmark, First: s.first(), Last: s.last(), Before: s.before, After: s.after, Beat: s.beat, Seen: len(s.seen)}
		if c.slower > 1 || !c.turnsInSight(s.landmark) {
			// With so many frames it is seen to move long before it leaves. The ends of the pair behind
			// are hidden by a leg in front more often than seen.
			o.Before, o.After = -1, -1
		}
		out = append(out, o)
	}
	return out
}

// standings returns the stances of the hooves, and makes the sizes of their marks, seeds,
// those that the trunk t says; where t is nil, those that a person marked.
func (c *clip) standings(ctx context.Context, hooves []traj.Landmark, t *trunk, seeds []seed) ([]*standing, error) {
	if t != nil {
		t.fill(c.times, c.model.LeadS, c.model.TrunkStrays)
		c.trunk = t
		c.sizeHooves(seeds, t)
	}
	searches := c.pairSearches(hooves)
	// A horse that stands still while it is marked does so at any of these; then it is 1.
	for _, slow := range []float64{1, 2, 4, 8, 1} {
		c.slow(slow, t)
		if err := c.eachPair(searches, func(i int) (err error) {
			searches[i], err = c.marked(ctx, searches[i].pair, seeds)
			return err
		}); err != nil {
			return nil, err
		}
		if !c.tooLong(searches) {
			break
		}
	}
	if t != nil {
		c.bySight(t, seeds)
		if err := c.readClicks(searches, t, seeds); err != nil {
			return nil, err
		}
		if err := c.pairUp(searches); err != nil {
			return nil, err
		}
	}
	if err := c.findAll(ctx, searches, t, seeds); err != nil {
		return nil, err
	}
	found, usual := make([][]*standing, len(searches)), c.usually(searches)
	if err := c.eachPair(searches, func(i int) (err error) {
		found[i], err = c.placeStanding(searches[i], usual[i], seeds)
		return err
	}); err != nil {
		return nil, err
	}
	all := c.apart(slices.Concat(found...))
	return slices.DeleteFunc(all, func(s *standing) bool { return !slices.Contains(hooves, s.landmark) }), nil
}

// findAll finds and chooses the stances of the pairs: those of a pair behind by the prints of the
// pair in front, where the steps of that one can be counted. Without a trunk they are the marked ones.
func (c *clip) findAll(ctx context.Context, searches []*pairSearch, t *trunk, seeds []seed) error {
	if err := c.eachPair(searches, func(i int) error {
		if ps := searches[i]; t == nil || c.inFront(ps, searches) != nil {
			ps.count(ps.known)
			return nil
		}
		return c.findStanding(ctx, searches[i], t, seeds)
	}); err != nil {
		return err
	}
	c.choose(searches)
	for _, ps := range searches {
		front := c.inFront(ps, searches)
		switch {
		case t == nil || front == nil:
		case front.stride > 0:
			if err := ps.st.byPrints(ctx, ps, front, t, seeds); err != nil {
				return err
			}
		default:
			if err := c.findStanding(ctx, ps, t, seeds); err != nil {
				return err
			}
			c.choose(searches)
		}
	}
	return nil
}

// pairSearches returns a search for every pair of hooves; none where a foot lands and leaves
// between two frames.
func (c *clip) pairSearches(hooves []traj.Landmark) (out []*pairSearch) {
	for _, pair := range [2][2]traj.Landmark{fores, hinds} {
		if c.rate() >= c.model.LeastRate && (slices.Contains(hooves, pair[0]) || slices.Contains(hooves, pair[1])) {
			out = append(out, &pairSearch{pair: pair})
		}
	}
	return out
}

// inFront returns the search for the pair in front of that of ps, nil where nobody marked one.
func (c *clip) inFront(ps *pairSearch, all []*pairSearch) *pairSearch {
	for _, o := range all {
		if c.turnsInSight(o.pair[0]) && !c.turnsInSight(ps.pair[0]) && len(o.known) > 0 {
			return o
		}
	}
	return nil
}

// slow sets the times at which frames were filmed: phones write clips that play up to eight
// times slower, 240 frames a second as 30 (common practice).
func (c *clip) slow(times float64, t *trunk) {
	c.slower = times
	c.times = make([]float64, len(c.played))
	for f, at := range c.played {
		c.times[f] = at / times
	}
	if t != nil {
		t.times = c.times
	}
}

// tooLong reports whether marked hooves stand for longer than they may, as filmed at the speed
// that is tried. At full speed a hoof and the one that lands in its print may be seen as one; a clip
// plays slowly where hardly any stance is short, and slower still where most are too long. Of the
// pair behind that says nothing where one in front is marked.
func (c *clip) tooLong(searches []*pairSearch) bool {
	endless, known := 0, 0
	for _, ps := range searches {
		if c.inFront(ps, searches) == nil {
			endless, known = endless+ps.endless, known+len(ps.known)
		}
	}
	if c.slower <= 1 {
		return endless > 0 && 4*endless >= 3*known
	}
	return 2*endless > known
}

// rate returns the clip's frames a second.
func (c *clip) rate() float64 { return float64(len(c.times)-1) / c.times[len(c.times)-1] }

// eachPair calls do for every pair's search, side by side where hands are free.
func (c *clip) eachPair(searches []*pairSearch, do func(i int) error) error {
	<-c.hands
	defer func() { c.hands <- struct{}{} }()
	return c.hands.together(len(searches), do)
}
