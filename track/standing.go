package track

import (
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
	mark   flow.Point    // About where its mark lies, in the coordinates of frame 0.
	print  *flow.Point   // Where the print it stands in says that its mark lies, likewise; nil where it was not found by one.
	placed bool          // Whether the marks say where in it the mark lies.
	place  relocation    // Where its mark lies in frame, by the marks.
	bare   grid          // What the ground looks like without it; nil where that is not known.
	still  grid          // Which samples around it keep still; nil where that is not known.
}

func (s *standing) first() int { return s.seen[0].frame }

func (s *standing) last() int { return s.seen[len(s.seen)-1].frame }

// spans reports whether frame f lies from its first to its last.
func (s *standing) spans(f int) bool { return s.first() <= f && f <= s.last() }

// mean returns the median place of the stance in the coordinates of frame 0.
func (s *standing) mean() flow.Point {
	places := make([]flow.Point, len(s.seen))
	for i, p := range s.seen {
		places[i] = p.steady
	}
	return amidst(places)
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
	// What was read last of a frame: the picture, which begins at origin, and its plane.
	picture flow.Gray
	origin  image.Point
	plane   flow.Plane
	buf     []byte
	here    grid
}

// newStander returns one for the pair of l.
func newStander(c *clip, l traj.Landmark) *stander {
	return &stander{clip: c, model: c.model, fo: newFollower(c, l, 1)}
}

// around reads frame f around p and returns whether there is enough of it.
func (st *stander) around(f int, p flow.Point, w flow.Window, margin float64) (bool, error) {
	g, o, buf, err := st.clip.spool.region(f, rectAround(p, w, margin), st.buf)
	st.buf, st.picture, st.origin = buf, g, o
	if err != nil || g.Width < 8 || g.Height < 8 {
		return false, err
	}
	st.plane.Fill(g, o.X, o.Y, halvings(w.Size()))
	return st.plane.Width > 4 && st.plane.Height > 4, nil
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
	older, key, place, last := base, base, origin, s.frame
	for g := s.frame + dir; g >= 0 && g < len(c.times) && math.Abs(c.times[g]-c.times[last]) <= st.model.BridgeS && math.Abs(c.times[g]-c.times[s.frame]) <= c.pace.LongestStanceS; g += dir {
		if err := ctx.Err(); err != nil {
			return err
		}
		q, ok := c.unsteady(g, place)
		if !ok {
			break
		}
		ok, err := st.around(g, q, w, 0.5*s.size+4)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		again := g != last+dir // Something hid it: it must look the more like itself.
		best, by := st.by([]*standingLook{older, key, base}, g, q, s.size, again)
		landed := dir > 0 && c.times[g]-c.times[s.seen[0].frame] > st.model.BriefS
		if stays, leaves := st.stays(best, origin, place, s.size, again, landed); leaves {
			break
		} else if !stays {
			continue
		}
		s.seen = append(s.seen, best)
		place, last = best.steady, g
		if next, err := st.renewed(key, s, best, 0.6*base.share, w); err != nil {
			return err
		} else if next != key {
			older, key = by, next
		}
	}
	return nil
}

// renewed returns what the hoof of s looks like in p where that is another look than key or key is
// old, unless less than the share least of it is the hoof; else key.
func (st *stander) renewed(key *standingLook, s *standing, p stood, least float64, w flow.Window) (*standingLook, error) {
	age := math.Abs(st.clip.times[p.frame] - st.clip.times[key.frame])
	if !(p.ncc > 0.85 && p.ncc < st.model.SameNCC || p.ncc > 0.6 && age > st.model.KeyS) {
		return key, nil
	}
	l, err := st.remember(p.frame, p.steady, s.bare, s.still, w)
	if err != nil || l == nil || l.share < least {
		return key, err
	}
	return l, nil
}

// stays reports whether a hoof seen in p is the one whose stance began at origin and that was
// last seen at place, sides of the patch being size, and whether it leaves. again says that
// something hid it meanwhile.
func (st *stander) stays(p stood, origin, place flow.Point, size float64, again, landed bool) (stays, leaves bool) {
	vague, off := p.sd >= st.model.VagueSD*size, p.steady.Dist(place)
	switch {
	case p.ncc == 0 || p.steady.Dist(origin) > st.model.StandSlide*size:
		return false, false
	case again: // Else another hoof, as hinds come to the prints of the fores.
		return !vague && off <= st.model.SamePlace*size+0.5, false
	}
	// A hoof slides as it lands, but not later: it leaves, or another takes its place.
	leaves = landed && !vague && off > st.model.SamePlace*size
	return !leaves, leaves
}

// by returns where the hoof stands in frame g near q by the first of its looks that it still has,
// else by the likest, and by which: what passed in front may have taken later ones along. Its
// correlation is 0 where it does not stand.
func (st *stander) by(looks []*standingLook, g int, q flow.Point, size float64, again bool) (best stood, by *standingLook) {
	for i, l := range looks {
		if slices.Contains(looks[:i], l) {
			continue
		}
		if seen, ok := st.compare(l, g, q, size, again); ok && seen.ncc > best.ncc {
			best, by = seen, l
		}
		if best.ncc >= st.model.SameNCC {
			break
		}
	}
	return best, by
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
		if r.OK && r.NCC >= leastNCC {
			if r.At.Dist(q) > st.model.StandStray*size+0.5 {
				return stood{}, false // It is seen elsewhere.
			}
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
	case share < st.model.GoneShare || (again || !moved) && share < leastStill:
		return stood{}, false
	case !moved:
		out.ncc, out.sd = share, st.model.VagueSD*size
	}
	return out, true
}
