package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
)

// A stance ends where the hoof is seen to move, or its place to be bare. What hides it for a
// moment says nothing.

// trim takes off the frames at both ends in which the hoof already, or still, moves
// as fast as one that does not stand. The nearest of them is when it did not stand.
func (st *stander) trim(s *standing, w flow.Window) error {
	times := st.clip.times
	fast := func(a, b stood) bool {
		d := a.steady.Dist(b.steady)
		return d > 3*math.Hypot(a.sd, b.sd)+0.3 && d > st.clip.pace.Speed*s.size*math.Abs(times[a.frame]-times[b.frame])
	}
	own := slices.IndexFunc(s.seen, func(p stood) bool { return p.frame == s.frame })
	from, to := own, own
	for from > 0 && !fast(s.seen[from-1], s.seen[from]) {
		from--
	}
	for to+1 < len(s.seen) && !fast(s.seen[to], s.seen[to+1]) {
		to++
	}
	s.keep(from, to+1)
	// A hoof slides as it lands; when it has come to rest it stays, and what is seen beside
	// its place is another one that came there.
	rest, n := s.mean(), len(s.seen)
	for n > 1 && s.seen[n-1].frame > s.frame && s.seen[n-1].steady.Dist(rest) > st.model.RestStray*s.size+s.seen[n-1].sd {
		n--
	}
	s.keep(0, n)
	// From behind a hoof comes down almost along the line of sight, hardly faster in the
	// picture than one that stands, but on to another place.
	settled := s.seen[2*len(s.seen)/3]
	for s.seen[0].frame < settled.frame {
		vague := s.vague(s.seen[0])
		descending := !st.clip.grows && s.seen[0].steady.Dist(settled.steady) > st.model.Descends*s.size+0.5
		if !vague && !descending {
			break
		}
		if descending && !vague {
			s.before = s.seen[0].frame
		}
		s.seen = s.seen[1:]
	}
	return st.lifted(s, w)
}

// settle takes off the frames before the hoof came to rest, or (end) those after it left. Along
// the line of sight a hoof comes and goes hardly faster in the picture than one that stands: it
// seems to rise and to fall by a part of its height. While it stands it keeps its place to what
// following it scatters by.
func (s *standing) settle(end bool) {
	n := len(s.seen)
	if end {
		slices.Reverse(s.seen)
		defer func() { slices.Reverse(s.seen) }()
	}
	rest := s.seen[2*n/3].steady
	var off []float64
	for _, p := range s.seen[n/2:] {
		off = append(off, p.steady.Dist(rest))
	}
	// Half of a normal distribution in two dimensions lies within 1.18 standard deviations.
	scatter := median(off) / 1.18
	strays := func(p stood) bool {
		return !s.vague(p) && p.steady.Dist(rest) > s.atRest(p, scatter)
	}
	moves := 0
	for i := range s.seen[:2*n/3] {
		if strays(s.seen[i]) && (i == 0 || strays(s.seen[i-1])) {
			moves = i + 1
		}
	}
	if moves == 0 || n-moves < s.model.Fewest {
		return
	}
	if end {
		s.after = s.seen[moves-1].frame
	} else {
		s.before = s.seen[moves-1].frame
	}
	s.seen = s.seen[moves:]
}

// vague reports whether little is known of where the hoof is in a frame: something passes in
// front of it, or it has gone.
func (s *standing) vague(p stood) bool { return p.sd >= s.model.VagueSD*s.size }

// atRest returns how far from its place, px, a hoof may seem to be in a frame and stand.
// scatter is the standard deviation of its places while it stands.
func (s *standing) atRest(p stood, scatter float64) float64 {
	return s.model.AtRest*s.size + 3*math.Hypot(scatter, p.sd)
}

// rises takes off the frames at its end in which the heel, which is what is marked from behind,
// has left the ground while the toe still stands: the hoof seems to rise by a part of its
// height, or no longer looks as it did. While it goes on looking the same it is followed.
func (s *standing) rises() {
	n := len(s.seen)
	middle := s.seen[n/3 : max(2*n/3, n/3+1)]
	var ys, off []float64
	for _, p := range middle {
		ys = append(ys, p.steady.Y)
	}
	rest := median(ys)
	for _, p := range middle {
		off = append(off, math.Abs(p.steady.Y-rest))
	}
	// Half of a normal distribution lies within 0.67 standard deviations.
	scatter := median(off) / 0.67
	stands := func(p stood) bool {
		return !s.vague(p) && p.ncc >= s.model.HeelNCC && rest-p.steady.Y <= s.atRest(p, scatter)
	}
	end, least := n, max(2*n/3, s.model.Fewest)
	for end > least && !stands(s.seen[end-1]) {
		end--
	}
	for end > s.model.Fewest && s.vague(s.seen[end-1]) {
		end--
	}
	if end == n {
		if s.after >= 0 {
			s.after = s.last() + 1 // The toe, which is followed, leaves later.
		}
		return
	}
	left := s.seen[end:]
	s.rising = slices.Clone(left)
	if k := slices.IndexFunc(left, func(p stood) bool { return s.vague(p) || p.ncc < s.model.RisingNCC }); k >= 0 {
		s.rising = s.rising[:k]
	}
	s.seen = s.seen[:end]
	if k := slices.IndexFunc(left, func(p stood) bool { return !s.vague(p) }); k >= 0 {
		s.after = left[k].frame // What hid it before says nothing.
	}
}

// lifted takes off the frames at both ends in which the lowest part of the hoof shows
// bare ground: it has come up from there, whatever the rest looks like.
func (st *stander) lifted(s *standing, w flow.Window) error {
	if s.bare == nil {
		return nil
	}
	own := slices.IndexFunc(s.seen, func(p stood) bool { return p.frame == s.frame })
	middle := s.seen[len(s.seen)/2]
	look, err := st.remember(middle.frame, middle.steady, s.bare, s.still, w)
	if err != nil || look == nil || look.share < st.model.LeastShare {
		return err
	}
	then, _ := shadeOf(look.grid, s.bare)
	var here grid
	up := func(p stood) (bool, error) {
		q, ok := st.clip.unsteady(p.frame, middle.steady)
		if !ok {
			return false, nil
		}
		if ok, err := st.around(p.frame, q, w, 4); !ok || err != nil {
			return false, err
		}
		here = st.sampleHere(q, s.size, here)
		now, ok := shadeOf(here, s.bare)
		if !ok {
			now = then
		}
		return bottomShare(here, s.bare, look.hoof, st.model.StillLimit, then, now) >= st.model.LiftedShare, nil
	}
	// stands returns the first from index i on, toward its moment, that has not come up.
	stands := func(i, dir int) (int, error) {
		for ; i != own; i += dir {
			if gone, err := up(s.seen[i]); err != nil || !gone {
				return i, err
			}
		}
		return own, nil
	}
	from, err := stands(0, 1)
	if err != nil {
		return err
	}
	last, err := stands(len(s.seen)-1, -1)
	if err != nil {
		return err
	}
	s.keep(from, last+1)
	return nil
}

// keep leaves the frames from index from up to but without to. In those taken off beside them
// it did not stand.
func (s *standing) keep(from, to int) {
	if from > 0 {
		s.before = s.seen[from-1].frame
	}
	if to < len(s.seen) {
		s.after = s.seen[to].frame
	}
	s.seen = s.seen[from:to]
}

// ends finds the nearest frames before and after the stance in which its place is
// seen without it, where they are not known yet: there it looks as it does a while later
// (or earlier), or the hoof has been followed away from it.
func (st *stander) ends(s *standing, w flow.Window) error {
	for _, dir := range []int{-1, 1} {
		last, known := s.seen[0], &s.before
		if dir > 0 {
			last, known = s.seen[len(s.seen)-1], &s.after
		}
		if *known >= 0 {
			continue
		}
		end, err := st.remember(last.frame, last.steady, s.bare, s.still, w)
		if err != nil {
			return err
		}
		if end == nil {
			continue
		}
		if *known, err = st.goneAt(s, end, last, dir, w); err != nil {
			return err
		}
	}
	c := st.clip
	if s.after < 0 && c.turnsInSight(s.landmark) {
		// The pair in front is in sight: what no longer looks like it has moved.
		s.after = slices.IndexFunc(c.times, func(t float64) bool { return t-c.times[s.last()] > st.model.LeftS })
	}
	return nil
}

// goneAt returns the nearest frame, in the direction dir from where a stance was last seen, in
// which its place is seen without it; −1 where there is none. end is what it looked like then.
func (st *stander) goneAt(s *standing, end *standingLook, last stood, dir int, w flow.Window) (int, error) {
	c := st.clip
	empty, err := st.emptied(last, dir, w)
	if err != nil {
		return -1, err
	}
	moves := moving{at: -1, most: st.model.StandSlide * s.size, least: 0.15 * s.size}
	for g := last.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last.frame]) < st.model.BridgeS; g += dir {
		q, ok := c.unsteady(g, last.steady)
		if !ok {
			break
		}
		if ok, err = st.around(g, q, w, 0.5*s.size+4); err != nil {
			return -1, err
		}
		if !ok {
			continue
		}
		gone := st.bareBelow(s, end, q)
		if near := g - last.frame; !gone && end.template != nil && near*near <= 9 || moves.at >= 0 {
			// It comes, or goes on, in one piece, the farther off the longer before or
			// after; the opposite hoof, which looks alike and passes in front of it, is the
			// nearer.
			r := end.template.Register(st.plane, flow.Pose{At: q, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.03, AngleSD: 0.1})
			if at, surely := moves.see(g, r.At.Dist(q), r.OK && r.NCC > st.model.StandNCC); surely {
				return at, nil
			}
		}
		if gone || st.shows(empty, q, s.size) {
			return g, nil
		}
	}
	return -1, nil
}

// moving is where a hoof beside its stance seems to have moved.
type moving struct {
	at          int     // Frame; −1: none.
	by          float64 // px.
	least, most float64 // By how much it may have, px.
}

// see takes that in frame g the hoof was found by px from its place, or was not; surely is whether
// it had moved in frame at: the next does not show it nearer.
func (m *moving) see(g int, by float64, found bool) (at int, surely bool) {
	switch {
	case m.at >= 0 && !(found && by < m.by):
		return m.at, true
	case found && by > m.least && by < m.most:
		m.at, m.by = g, by
	default:
		m.at = -1
	}
	return -1, false
}

// shows reports whether the frame that was read last shows what empty (nil: nothing) does at q.
func (st *stander) shows(empty *flow.Template, q flow.Point, size float64) bool {
	if empty == nil {
		return false
	}
	r := empty.Register(st.plane, flow.Pose{At: q, Scale: 1}, flow.RegisterOptions{})
	return r.OK && r.NCC > 0.8 && r.At.Dist(q) < 0.1*size+1
}

// emptied returns what the place of a stance looks like well before or after it; nil where
// that is not known.
func (st *stander) emptied(last stood, dir int, w flow.Window) (*flow.Template, error) {
	c := st.clip
	away := last.frame
	for g := last.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last.frame]) < 0.35; g += dir {
		away = g
	}
	if math.Abs(c.times[away]-c.times[last.frame]) <= 0.2 {
		return nil, nil
	}
	look, err := st.remember(away, last.steady, nil, nil, w)
	if err != nil || look == nil {
		return nil, err
	}
	return look.template, nil
}

// bareBelow reports whether the lowest part of the hoof shows bare ground at q in the frame
// that was read last.
func (st *stander) bareBelow(s *standing, end *standingLook, q flow.Point) bool {
	if end.share < st.model.LeastShare {
		return false
	}
	st.here = st.sampleHere(q, s.size, st.here)
	then, _ := shadeOf(end.grid, s.bare)
	now, _ := shadeOf(st.here, s.bare)
	return bottomShare(st.here, s.bare, end.hoof, st.model.StillLimit, 0, then, now) >= st.model.LiftedShare
}
