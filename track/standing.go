package track

import (
	"cmp"
	"context"
	"image"
	"math"
	"slices"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// stood is a hoof seen standing in one frame.
type stood struct {
	frame  int
	steady flow.Point // Where its mark lies, in the coordinates of frame 0.
	ncc    float64    // Of the patch with what it looked like shortly before or after.
	sd     float64    // Of the place against the other frames of the stance, px.
}

// standing is a hoof that keeps its place on the ground for a while.
type standing struct {
	model    *errormodel.Tracking
	landmark traj.Landmark // Which of its pair it is, is only known once stances are counted.
	size     float64       // Side of the patch, px.
	frame    int           // Of the appearance from which it was found.
	seen     []stood       // In the order of frames.
	rising   []stood       // Right after it: the heel, which is marked, rises while the toe still stands.
	ground   bool          // It is there when nothing should be: it is no hoof.
	endless  bool          // It stands for longer than a stance may last.
	share    float64       // Of the patch that is not the bare ground where it was found.
	fills    float64       // Which share it must be of to be a hoof.
	// The nearest frames before and after in which its place was seen without it; −1
	// where there is none.
	before, after int

	marked int           // 0 left, 1 right: as a person marked it; −1 where nobody did.
	like   [2]float64    // How much it looks like the marks of either side, NCC.
	off    [2]flow.Point // From where a hoof of either side is expected, sides of the patch.
	offSD  flow.Point    // How far off hooves stand, one standard deviation, likewise; 0 where off is not known.
	never  [2]bool       // A mark says that the hoof of that side is elsewhere meanwhile.
	beat   int           // Steps since the first stance of the pair.
	placed bool          // Whether the marks say where in it the mark lies.
	place  relocation    // Where its mark lies in frame, by the marks.
	bare   grid          // What the ground looks like without it; nil where that is not known.
	still  grid          // Which samples around it keep still; nil where that is not known.
}

func (s *standing) first() int { return s.seen[0].frame }
func (s *standing) last() int  { return s.seen[len(s.seen)-1].frame }

// mean returns the median place of the stance in the coordinates of frame 0.
func (s *standing) mean() flow.Point {
	xs, ys := make([]weighted, len(s.seen)), make([]weighted, len(s.seen))
	for i, p := range s.seen {
		xs[i], ys[i] = weighted{p.steady.X, 1}, weighted{p.steady.Y, 1}
	}
	return flow.Point{X: median(xs), Y: median(ys)}
}

// lasts returns for how long it was seen to stand, s; times is by frame.
func (s *standing) lasts(times []float64) float64 { return times[s.last()] - times[s.first()] }

// middle returns the time halfway through it, s.
func (s *standing) middle(times []float64) float64 {
	return (times[s.last()] + times[s.first()]) / 2
}

// stander looks for standing hooves of one pair. It is for one goroutine.
type stander struct {
	marks [2][]seed // Of either side.
	clip  *clip
	model *errormodel.Tracking
	fo    *follower // Lends its masks and its resizing of appearances.
	plane flow.Plane
	buf   []byte
	here  grid
	veil  veil
}

// unsteady returns where in frame f lies what lies at p in frame 0.
func (c *clip) unsteady(f int, p flow.Point) (flow.Point, bool) {
	if c.toFirst == nil {
		return p, true
	}
	back, ok := invert(c.toFirst[f])
	if !ok {
		return p, false
	}
	p.X, p.Y = back.Apply(p.X, p.Y)
	return p, p.Finite()
}

// around reads frame f around p and returns whether there is enough of it.
func (st *stander) around(f int, p flow.Point, w flow.Window, margin float64) (bool, error) {
	g, o, buf, err := st.clip.spool.region(f, rectAround(p, w, margin), st.buf)
	st.buf = buf
	if err != nil || g.Width < 8 || g.Height < 8 {
		return false, err
	}
	st.plane.Fill(g, o.X, o.Y, halvings(w.Size()))
	return st.plane.Width > 4 && st.plane.Height > 4, nil
}

// template returns what the patch w at p looks like in frame f; nil where it gives no
// hold.
func (st *stander) template(f int, p flow.Point, w flow.Window) (*flow.Template, error) {
	ok, err := st.around(f, p, w, w.Size()/2+6)
	if err != nil || !ok {
		return nil, err
	}
	st.fo.unmasked = false
	weigh, share := st.fo.weigh(f, st.plane, halvings(w.Size()), p, w, &st.veil)
	if share < 0.15 {
		weigh = newRim(p, w).at
	}
	t, err := flow.NewTemplate(st.plane, p, w, weigh)
	if err != nil {
		return nil, nil
	}
	return t, nil
}

// look is what a standing hoof looked like in one frame.
type standingLook struct {
	frame    int
	template *flow.Template
	grid     grid
	hoof     grid    // Which samples of the grid are the hoof.
	share    float64 // Of the grid; 0 where the bare ground is not known.
}

// remember returns what the hoof at steady looks like in frame f, px of frame 0; its
// template is nil where it gives no hold. still says which samples keep still around a
// moment of the stance; nil where that is not known yet.
func (st *stander) remember(f int, steady flow.Point, bare, still grid, w flow.Window) (*standingLook, error) {
	q, ok := st.clip.unsteady(f, steady)
	if !ok {
		return nil, nil
	}
	if ok, err := st.around(f, q, w, w.Size()/2+6); err != nil || !ok {
		return nil, err
	}
	l := &standingLook{frame: f, grid: st.sampleHere(q, w.Size(), nil)}
	if bare != nil {
		l.hoof, l.share = hoofPixels(l.grid, bare, still, st.model.StillLimit)
	}
	weigh := newRim(q, w).at
	if l.share >= st.model.LeastShare {
		rim, size := weigh, w.Size()
		weigh = func(x, y float64) float64 {
			i := int(((x-q.X)/size/gridWidth+0.5)*(gridSide-1) + 0.5)
			j := int(((y-q.Y)/size+gridUp)/gridWidth*(gridSide-1) + 0.5)
			if i < 0 || j < 0 || i >= gridSide || j >= gridRows || l.hoof[j*gridSide+i] == 0 {
				return 0.15 * rim(x, y) // The outline holds, too.
			}
			return rim(x, y)
		}
	}
	t, err := flow.NewTemplate(st.plane, q, w, weigh)
	if err == nil {
		l.template = t
	}
	return l, nil
}

// extend returns the stance of which frame f shows a moment: all frames around f in
// which the patch w at p keeps its place against the background. What hides it for
// a moment does not end it.
func (st *stander) extend(ctx context.Context, f int, p flow.Point, w flow.Window) (*standing, error) {
	s, base, err := st.moment(f, st.clip.steady(f, p), w)
	if err != nil || s == nil {
		return nil, err
	}
	for _, dir := range []int{-1, 1} {
		if err := st.prolong(ctx, s, base, dir, w); err != nil {
			return nil, err
		}
		if dir < 0 {
			slices.Reverse(s.seen)
		}
	}
	if err := st.trim(s, w); err != nil {
		return nil, err
	}
	s.endless = s.lasts(st.clip.times) > st.clip.pace.LongestStanceS
	return s, st.ends(s, w)
}

// moment returns a stance of which frame f alone is known, with its mark at origin in the
// coordinates of frame 0, and what it looks like there; nil where the patch gives no hold.
func (st *stander) moment(f int, origin flow.Point, w flow.Window) (*standing, *standingLook, error) {
	bare, looks, err := st.bare(f, origin, w.Size())
	if err != nil {
		return nil, nil, err
	}
	base, err := st.remember(f, origin, bare, nil, w)
	if err != nil || base == nil {
		return nil, nil, err
	}
	var still grid
	if bare != nil {
		if still, err = st.still(base, origin, w.Size()); err != nil {
			return nil, nil, err
		}
		if own, err := st.remember(f, origin, bare, still, w); err != nil {
			return nil, nil, err
		} else if own.share >= st.model.LeastShare {
			base = own
		} else {
			still = nil
		}
	}
	s := &standing{model: st.clip.model, landmark: st.fo.landmark, size: w.Size(), frame: f, before: -1, after: -1, marked: -1, share: base.share, bare: bare, still: still}
	s.ground = alwaysThere(base.grid, base.hoof, looks, st.model.StillLimit) || bare != nil && base.share < st.model.LeastShare
	s.seen = append(s.seen, stood{frame: f, steady: origin, ncc: 1})
	return s, base, nil
}

// prolong adds to s the frames in one direction from its moment, which looks like base, in
// which the hoof is seen to stand on.
func (st *stander) prolong(ctx context.Context, s *standing, base *standingLook, dir int, w flow.Window) error {
	c := st.clip
	origin := s.seen[len(s.seen)-1].steady // What lies before it is known by now, or not yet.
	key, place, last := base, origin, s.frame
	for g := s.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last]) <= st.model.BridgeS; g += dir {
		if err := ctx.Err(); err != nil {
			return err
		}
		if math.Abs(c.times[g]-c.times[s.frame]) > c.pace.LongestStanceS {
			break
		}
		q, ok := c.unsteady(g, place)
		if !ok {
			break
		}
		ok, err := st.around(g, q, w, 0.5*s.size+4)
		if err != nil {
			return err
		} else if !ok {
			continue
		}
		again := g != last+dir // Something hid it: it must look the more like itself.
		best := st.by(key, base, g, q, s.size, again)
		if best.ncc == 0 || best.steady.Dist(origin) > st.model.StandSlide*s.size {
			continue
		}
		if again && (best.steady.Dist(place) > st.model.SamePlace*s.size+0.5 || best.sd >= st.model.VagueSD*s.size) {
			continue // Another hoof, as hinds come to the prints of the fores.
		}
		s.seen = append(s.seen, best)
		place, last = best.steady, g
		if age := math.Abs(c.times[g] - c.times[key.frame]); best.ncc > 0.85 && best.ncc < 0.95 || best.ncc > 0.6 && age > st.model.KeyS {
			l, err := st.remember(g, best.steady, s.bare, s.still, w)
			if err != nil {
				return err
			}
			if l != nil && l.share >= 0.6*base.share {
				key = l
			}
		}
	}
	return nil
}

// by returns where the hoof stands in frame g near q by its latest look, key, or by its
// first, base, where that says it better; its correlation is 0 where it does not.
func (st *stander) by(key, base *standingLook, g int, q flow.Point, size float64, again bool) stood {
	var best stood
	for k, l := range []*standingLook{key, base} {
		if k > 0 && (l == key || best.ncc > 0.9) {
			break
		}
		if seen, ok := st.compare(l, g, q, size, again); ok && seen.ncc > best.ncc {
			best = seen
		}
	}
	return best
}

// compare returns whether the hoof of look l stands in frame g, whose surroundings of q
// were read last, and where. Its likeness is the better one of two: the correlation of
// the patch, and the share of the hoof that is still.
func (st *stander) compare(l *standingLook, g int, q flow.Point, size float64, again bool) (stood, bool) {
	c := st.clip
	leastNCC, leastStill := st.model.StandNCC, st.model.StillShare
	if again {
		leastNCC, leastStill = st.model.AgainNCC, st.model.AgainShare
	}
	told := l.share >= st.model.LeastShare
	out := stood{frame: g, steady: c.steady(g, q)}
	moved := false
	if l.template != nil {
		r := l.template.Register(st.plane, flow.Pose{At: q, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.01, AngleSD: 0.02})
		if r.OK && r.NCC >= leastNCC && r.At.Dist(q) <= st.model.StandStray*size+0.5 {
			out.ncc, out.steady, out.sd, moved = r.NCC, c.steady(g, r.At), math.Hypot(r.SD, st.model.RegisterFloor), true
		}
	}
	if !told {
		return out, moved
	}
	at := q
	if moved {
		at, _ = c.unsteady(g, out.steady)
	}
	st.here = st.sampleHere(at, size, st.here)
	share := keeps(l.grid, st.here, l.hoof, 0, st.model.StillLimit)
	switch {
	case share < st.model.GoneShare || again && share < leastStill:
		return stood{}, false
	case !moved && share < leastStill:
		return stood{}, false
	case !moved:
		out.ncc, out.sd = share, st.model.VagueSD*size
	}
	return out, true
}

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
	if from > 0 {
		s.before = s.seen[from-1].frame
	}
	if to+1 < len(s.seen) {
		s.after = s.seen[to+1].frame
	}
	s.seen = s.seen[from : to+1]
	// A hoof slides as it lands; when it has come to rest it stays, and what is seen beside
	// its place is another one that came there.
	rest := s.mean()
	for n := len(s.seen) - 1; n > 0 && s.seen[n].frame > s.frame && s.seen[n].steady.Dist(rest) > st.model.RestStray*s.size+s.seen[n].sd; n-- {
		s.after = s.seen[n].frame
		s.seen = s.seen[:n]
	}
	// From behind a hoof comes down almost along the line of sight, hardly faster in the
	// picture than one that stands, but on to another place.
	settled := s.seen[2*len(s.seen)/3]
	for s.seen[0].frame < settled.frame {
		vague := s.seen[0].sd >= st.model.VagueSD*s.size
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

// settle takes off the frames before the hoof came to rest, or, where the horse comes, those
// after it left. Along the line of sight a hoof comes and goes hardly faster in the picture
// than one that stands: it seems to rise and to fall by a part of its height. While it stands
// it keeps its place to what following it scatters by.
func (s *standing) settle(comes bool) {
	n := len(s.seen)
	if comes {
		slices.Reverse(s.seen)
		defer func() { slices.Reverse(s.seen) }()
	}
	rest := s.seen[2*n/3].steady
	var off []weighted
	for _, p := range s.seen[n/2:] {
		off = append(off, weighted{p.steady.Dist(rest), 1})
	}
	// Half of a normal distribution in two dimensions lies within 1.18 standard deviations.
	most := s.model.AtRest*s.size + 3/1.18*median(off)
	strays := func(p stood) bool { return p.sd < s.model.VagueSD*s.size && p.steady.Dist(rest) > most }
	moves := 0
	for i := range s.seen[:2*n/3] {
		if strays(s.seen[i]) && (i == 0 || strays(s.seen[i-1])) {
			moves = i + 1
		}
	}
	if moves == 0 || n-moves < s.model.Fewest {
		return
	}
	if comes {
		s.after = s.seen[moves-1].frame
	} else {
		s.before = s.seen[moves-1].frame
	}
	s.seen = s.seen[moves:]
}

// rises takes off the frames at its end in which the heel, which is what is marked from behind,
// has left the ground while the toe still stands: the hoof seems to rise by a part of its
// height, or no longer looks as it did. While it goes on looking the same it is followed.
func (s *standing) rises() {
	n := len(s.seen)
	middle := s.seen[n/3 : max(2*n/3, n/3+1)]
	var ys, off []weighted
	for _, p := range middle {
		ys = append(ys, weighted{p.steady.Y, 1})
	}
	rest := median(ys)
	for _, p := range middle {
		off = append(off, weighted{math.Abs(p.steady.Y - rest), 1})
	}
	// Half of a normal distribution lies within 0.67 standard deviations.
	most := s.model.AtRest*s.size + 3/0.67*median(off)
	vague := func(p stood) bool { return p.sd >= s.model.VagueSD*s.size }
	end, again := n, 0 // Where it has left, and in how many frames in a row before that it seems to have.
	for i := max(2*n/3, s.model.Fewest); i < n && again < 2; i++ {
		switch p := s.seen[i]; {
		case vague(p): // Something passes in front of it, or it has gone.
			continue
		case p.ncc >= s.model.HeelNCC && rest-p.steady.Y <= most:
			end, again = n, 0
			continue
		case again == 0:
			end = i
		}
		again++
	}
	for end > s.model.Fewest && vague(s.seen[end-1]) {
		end--
	}
	if end < n {
		s.after = s.seen[end].frame
		s.rising = slices.Clone(s.seen[end:])
		if k := slices.IndexFunc(s.rising, func(p stood) bool { return vague(p) || p.ncc < s.model.RisingNCC }); k >= 0 {
			s.rising = s.rising[:k]
		}
		s.seen = s.seen[:end]
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
	from, to := 0, len(s.seen)
	for from < own {
		gone, err := up(s.seen[from])
		if err != nil {
			return err
		}
		if !gone {
			break
		}
		from++
	}
	for to > own+1 {
		gone, err := up(s.seen[to-1])
		if err != nil {
			return err
		}
		if !gone {
			break
		}
		to--
	}
	if from > 0 {
		s.before = s.seen[from-1].frame
	}
	if to < len(s.seen) {
		s.after = s.seen[to].frame
	}
	s.seen = s.seen[from:to]
	return nil
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
	movedAt, moved := -1, 0.0 // Where it seems to have moved, and by how much, px.
	for g := last.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last.frame]) < st.model.BridgeS; g += dir {
		q, ok := c.unsteady(g, last.steady)
		if !ok {
			break
		}
		if ok, err = st.around(g, q, w, 0.5*s.size+4); err != nil {
			return -1, err
		} else if !ok {
			continue
		}
		gone := st.bareBelow(s, end, q)
		if near := g - last.frame; !gone && end.template != nil && near*near <= 9 || movedAt >= 0 {
			// It comes, or goes on, in one piece, the farther off the longer before or
			// after; the opposite hoof, which looks alike and passes in front of it, is the
			// nearer.
			r := end.template.Register(st.plane, flow.Pose{At: q, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.03, AngleSD: 0.1})
			d := r.At.Dist(q)
			found := r.OK && r.NCC > st.model.StandNCC
			switch {
			case movedAt >= 0 && !(found && d < moved):
				return movedAt, nil
			case found && d > 0.15*s.size && d < st.model.StandSlide*s.size:
				movedAt, moved = g, d
			default:
				movedAt = -1
			}
		}
		if !gone && empty != nil {
			r := empty.Register(st.plane, flow.Pose{At: q, Scale: 1}, flow.RegisterOptions{})
			gone = r.OK && r.NCC > 0.8 && r.At.Dist(q) < 0.1*s.size+1
		}
		if gone {
			return g, nil
		}
	}
	return -1, nil
}

// emptied returns what the place of a stance looks like well before or after it; nil where
// that is not known.
func (st *stander) emptied(last stood, dir int, w flow.Window) (*flow.Template, error) {
	c := st.clip
	away := last.frame
	for g := last.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last.frame]) < 0.35; g += dir {
		away = g
	}
	q, ok := c.unsteady(away, last.steady)
	if !ok || math.Abs(c.times[away]-c.times[last.frame]) <= 0.2 {
		return nil, nil
	}
	return st.template(away, q, w)
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

// candidate is a place where a hoof of the pair may stand in one frame.
type candidate struct {
	frame  int
	at     flow.Point
	steady flow.Point
	score  float64
	size   float64
	side   int // Of the appearance that is like it.
}

// Where stances are looked for: how far from where the marks lie below the trunk,
// sides of the patch across and down the picture.
const (
	lookEveryS = 0.05
)

// interpolated returns what the models give in frame f: in between those marked before
// and after it, in the proportion of the times; NaN where there is none.
func interpolated(models []model, times []float64, f int, value func(m *model) float64) float64 {
	before, after := -1, -1
	for i := range models {
		m := &models[i]
		if m.frame <= f && (before < 0 || m.frame > models[before].frame) {
			before = i
		}
		if m.frame >= f && (after < 0 || m.frame < models[after].frame) {
			after = i
		}
	}
	switch {
	case before < 0 && after < 0:
		return math.NaN()
	case before < 0:
		return value(&models[after])
	case after < 0 || models[after].frame == models[before].frame:
		return value(&models[before])
	}
	a, b := &models[before], &models[after]
	u := (times[f] - times[a.frame]) / (times[b.frame] - times[a.frame])
	return (1-u)*value(a) + u*value(b)
}

// expectedAt returns where in frame f the hooves of either side are expected to stand:
// as far below the trunk and as far aside as they were marked before and after. A side
// that was not marked is expected where the other is.
func expectedAt(t *trunk, models [2][]model, f int) [2]flow.Point {
	both := slices.Concat(models[0], models[1])
	y := interpolated(both, t.times, f, func(m *model) float64 { return m.offset.Y })
	var out [2]flow.Point
	for side := range out {
		own := models[side]
		if len(own) == 0 {
			own = models[1-side]
		}
		x := interpolated(own, t.times, f, func(m *model) float64 { return m.offset.X })
		out[side] = t.at[f].Add(flow.Point{X: x * t.size[f], Y: y * t.size[f]})
	}
	return out
}

// ratioAt returns the side of a hoof's patch in frame f over the size of the trunk.
func ratioAt(t *trunk, models [2][]model, f int) float64 {
	return interpolated(slices.Concat(models[0], models[1]), t.times, f, func(m *model) float64 { return m.ratio })
}

// look returns the places in frame f that look most like the pair's hooves.
func (st *stander) look(f int, t *trunk, models [2][]model) ([]candidate, error) {
	if t.size[f] == 0 {
		return nil, nil
	}
	size := t.size[f] * ratioAt(t, models, f)
	if size < st.model.LeastHoof || size < st.model.LeastBehind && !st.clip.turnsInSight(st.fo.landmark) {
		return nil, nil
	}
	in := st.searched(expectedAt(t, models, f), size)
	if !(in.right > in.left) {
		return nil, nil
	}
	rect := image.Rect(int(in.left-size), int(in.top-size), int(in.right+size)+1, int(in.bottom+size)+1)
	g, o, buf, err := st.clip.spool.region(f, rect, st.buf)
	st.buf = buf
	if err != nil || g.Width < 12 || g.Height < 12 {
		return nil, err
	}
	field, err := st.fo.areaFor(g, o, size)
	if err != nil {
		return nil, err
	}
	var out []candidate
	for side := range models {
		for _, m := range nearest(models[side], t, f) {
			places, err := st.likePlaces(&field, &m, size, in)
			if err != nil {
				return nil, err
			}
			for _, p := range places {
				p.frame, p.steady, p.side = f, st.clip.steady(f, p.at), side
				out = append(out, p)
			}
		}
	}
	return out, nil
}

// bounds is a part of a frame, px.
type bounds struct{ left, right, top, bottom float64 }

// searched returns where hooves are looked for around where they are expected; its right lies
// left of its left where they are expected nowhere.
func (st *stander) searched(expected [2]flow.Point, size float64) bounds {
	b := bounds{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, p := range expected {
		if math.IsNaN(p.X) {
			continue
		}
		b.left, b.right = min(b.left, p.X-st.model.SearchAcross*size), max(b.right, p.X+st.model.SearchAcross*size)
		b.top, b.bottom = min(b.top, p.Y-st.model.SearchDown*size), max(b.bottom, p.Y+st.model.SearchDown*size)
	}
	return b
}

// nearest returns the two models that were marked nearest to the distance of frame f.
func nearest(models []model, t *trunk, f int) []model {
	ms := slices.Clone(models)
	slices.SortStableFunc(ms, func(a, b model) int {
		return cmp.Compare(math.Abs(math.Log(t.size[f]/t.size[a.frame])), math.Abs(math.Log(t.size[f]/t.size[b.frame])))
	})
	return ms[:min(len(ms), 2)]
}

// likePlaces returns the places in the field, at most three, that look most like model m in
// the given size, px.
func (st *stander) likePlaces(field *area, m *model, size float64, in bounds) ([]candidate, error) {
	rel := size / m.window.Size()
	if rel > 4 || rel < 0.25 {
		return nil, nil
	}
	template, mark, ok, err := field.like(m.appearance, st.clip.engine, rel, 6)
	if err != nil || !ok {
		return nil, err
	}
	s, err := st.fo.correlate(0, field.picture, template)
	if err != nil {
		return nil, err
	}
	var out []candidate
	for range 3 {
		p := bestPlace(s, 0, func(x, y int) bool {
			q := field.where(x, y, mark)
			return q.X >= in.left && q.X <= in.right && q.Y >= in.top && q.Y <= in.bottom
		})
		if p.score < st.model.LookNCC {
			break
		}
		for y := max(p.y-template.Height/3, 0); y <= min(p.y+template.Height/3, s.Height-1); y++ {
			for x := max(p.x-template.Width/3, 0); x <= min(p.x+template.Width/3, s.Width-1); x++ {
				s.Score[y*s.Width+x] = -1
			}
		}
		out = append(out, candidate{at: field.where(p.x, p.y, mark), score: p.score, size: size})
	}
	return out, nil
}

// likest puts the likest candidates first.
func likest(all []candidate) {
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
}

// find returns everything that stands where hooves of the pair may stand, the marked
// stances first.
func (st *stander) find(ctx context.Context, t *trunk, models [2][]model, known []*standing) ([]*standing, error) {
	all := slices.Clone(known)
	taken := func(f int, p flow.Point, size float64) bool {
		for _, s := range all {
			if f >= s.first()-1 && f <= s.last()+1 && s.mean().Dist(p) < 0.5*size {
				return true
			}
		}
		return false
	}
	best, err := st.staying(ctx, t, models)
	if err != nil {
		return nil, err
	}
	likest(best)
	for _, h := range best {
		if taken(h.frame, h.steady, h.size) {
			continue
		}
		w := models[h.side][0].window
		s, err := st.stands(ctx, h, w.Scaled(h.size/w.Size()), t, models)
		if err != nil {
			return nil, err
		}
		if s == nil || taken((s.first()+s.last())/2, s.mean(), s.size) {
			continue
		}
		all = append(all, s)
	}
	slices.SortStableFunc(all, func(a, b *standing) int { return a.first() + a.last() - b.first() - b.last() })
	return all, nil
}

// staying looks for the pair's hooves every lookEveryS and returns, of those that stay in one
// place for a few looks, the likest, and others well before or after.
func (st *stander) staying(ctx context.Context, t *trunk, models [2][]model) ([]candidate, error) {
	n := len(st.clip.times)
	if n < 2 {
		return nil, nil
	}
	rate := float64(n-1) / st.clip.times[n-1]
	every := max(1, int(rate*lookEveryS+0.5))
	var open [][]candidate // Index: group, look. Each group in one place.
	var best []candidate
	for f := 0; f < n; f += every {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		hits, err := st.look(f, t, models)
		if err != nil {
			return nil, err
		}
		var next [][]candidate
		for _, g := range open {
			last := g[len(g)-1]
			if k := slices.IndexFunc(hits, func(h candidate) bool { return h.frame != last.frame && h.together(last) }); k >= 0 {
				g = append(g, hits[k])
			}
			if f-g[len(g)-1].frame > 3*every {
				best = append(best, st.likestOf(g)...)
				continue
			}
			next = append(next, g)
		}
		open = next
		for _, h := range hits {
			if !slices.ContainsFunc(open, func(g []candidate) bool { o := g[len(g)-1]; return o.frame == f && h.together(o) }) {
				open = append(open, []candidate{h})
			}
		}
	}
	for _, g := range open {
		best = append(best, st.likestOf(g)...)
	}
	return best, nil
}

// together reports whether h lies where o does on the ground.
func (h candidate) together(o candidate) bool { return h.steady.Dist(o.steady) < 0.3*h.size }

// likestOf returns the likest of a group, and others well before or after; none where it was
// seen in too few frames.
func (st *stander) likestOf(group []candidate) []candidate {
	frames := map[int]bool{}
	for _, h := range group {
		frames[h.frame] = true
	}
	if len(frames) < st.model.LooksAlike {
		return nil
	}
	times := st.clip.times
	likest(group)
	var chosen []candidate
	for _, h := range group {
		if !slices.ContainsFunc(chosen, func(o candidate) bool { return math.Abs(times[o.frame]-times[h.frame]) < st.model.AnotherS }) {
			chosen = append(chosen, h)
		}
	}
	return chosen
}

// stands returns the stance of which candidate h is a moment, placed by the marks,
// or nil where nothing stands there or it is not like the hoof.
func (st *stander) stands(ctx context.Context, h candidate, w flow.Window, t *trunk, models [2][]model) (*standing, error) {
	c := st.clip
	if err := st.placeBy(&h, w, models); err != nil {
		return nil, err
	}
	s, err := st.extend(ctx, h.frame, h.at, w)
	if err != nil || s == nil || s.endless || s.ground || len(s.seen) < st.model.Fewest || s.lasts(c.times) < st.model.BriefS {
		return nil, err
	}
	return s, st.describe(s, w, t, models)
}

// placeBy moves a candidate to where the marks' appearances say that the mark lies.
func (st *stander) placeBy(h *candidate, w flow.Window, models [2][]model) error {
	r, _, err := st.byMarks(h.frame, h.at, w, models[h.side])
	if err == nil && r.from != nil && r.At.Dist(h.at) < 0.5*h.size {
		h.at = r.At
	}
	return err
}

// byMarks returns where in frame f, near p, the mark of a hoof that stands there
// lies, by the appearances of its marked stances.
//
// like is the best likeness of any, NCC, 0 where none was found.
func (st *stander) byMarks(f int, p flow.Point, w flow.Window, models []model) (place relocation, like float64, err error) {
	size := w.Size()
	ok, err := st.around(f, p, w, 0.6*size+4)
	if err != nil || !ok {
		return relocation{}, 0, err
	}
	var all []*appearance
	for _, m := range models {
		all = append(all, m.appearance)
	}
	var found []relocation
	for _, m := range st.fo.bestAnchors(all, flow.Pose{At: p, Scale: size}, size) {
		r, ok, err := st.fo.anchor(m, st.plane, flow.Pose{At: p, Scale: size}, size, 0)
		if err != nil {
			return relocation{}, 0, err
		}
		if ok && r.At.Dist(p) < 0.6*size {
			like = max(like, r.NCC)
		}
		if ok && r.NCC >= st.model.StandNCC && r.At.Dist(p) < 0.6*size {
			// What looks less alike is known less well.
			r.variance += sq(0.15 * size * (1 - r.NCC))
			found = append(found, r)
		}
	}
	return agreed(found), like, nil
}

// describe says how much a stance looks like the marks of either side and how far
// it lies from where their hooves are expected.
func (st *stander) describe(s *standing, w flow.Window, t *trunk, models [2][]model) (err error) {
	c := st.clip
	middle := s.seen[len(s.seen)/2]
	p, ok := c.unsteady(middle.frame, middle.steady)
	if !ok {
		return nil
	}
	expected := expectedAt(t, models, middle.frame)
	vague := t.sd[middle.frame] / s.size
	s.offSD = flow.Point{X: math.Hypot(c.pace.OffAcross, vague), Y: math.Hypot(c.pace.OffDown, vague)}
	for side := range models {
		if _, s.like[side], err = st.byMarks(middle.frame, p, w, models[side]); err != nil {
			return err
		}
	}
	for side := range models {
		if len(models[side]) == 0 {
			s.like[side] = s.like[1-side] // Nobody knows what it looks like.
		}
		d := p.Sub(expected[side])
		s.off[side] = flow.Point{X: d.X / s.size, Y: d.Y / s.size}
		for _, m := range st.marks[side] {
			if st.contradicts(m, s) {
				s.never[side] = true
			}
		}
	}
	return nil
}
