package track

import (
	"cmp"
	"context"
	"fmt"
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// estimate is what one sweep knows of one landmark in one frame.
type estimate struct {
	at       flow.Point
	variance float64 // px², along each axis.
	across   float64 // px², along x: less than variance where the landmark turns.
	shared   spread  // The part of both that another look at the frame has too, px².
	quality  float64
	seen     bool
	marked   bool
	since    int     // Frames since the sweep last stood on a mark or a re-found appearance.
	jump     float64 // On a mark: how far the sweep had arrived from it, px; NaN where it had not.
	jumpVar  float64 // The variance it had claimed.
	cause    string  // Why it is not seen.
	size     float64 // Side of the patch, px.
	found    bool    // A stance that was found again starts here.
	anchored bool    // It looked as it was marked.
	weak     bool    // Seen, but not against an older appearance, or barely.
	unlike   bool    // A hoof that no longer looks as it did at its mark or stance.
	trial    bool    // Re-found a moment ago; stands only if it can be followed on.
}

// sweep follows all landmarks in one direction of time, frame by frame.
type sweep struct {
	clip      *clip
	dir       int
	seeds     map[int][]seed // By frame.
	followers []*follower
	out       [][]estimate // Index: landmark, frame.
}

func newSweep(c *clip, landmarks []traj.Landmark, windows windowsOf, seeds []seed, dir int) *sweep {
	s := &sweep{clip: c, dir: dir, seeds: map[int][]seed{}}
	for _, m := range seeds {
		s.seeds[m.Frame] = append(s.seeds[m.Frame], m)
	}
	for _, l := range landmarks {
		f := &follower{clip: c, landmark: l, dir: dir, windows: windows, cause: "before the first mark", scores: make([]flow.Scores, 1)}
		if dir < 0 {
			f.cause = "after the last mark"
		}
		s.followers = append(s.followers, f)
		s.out = append(s.out, make([]estimate, len(c.times)))
	}
	return s
}

func (s *sweep) run(ctx context.Context, progress func()) error {
	n := len(s.clip.times)
	first, last := 0, n-1
	if s.dir < 0 {
		first, last = n-1, 0
	}
	wasOn := make([]bool, len(s.followers))
	claims := make([]claim, len(s.followers))
	growth := 1.0 // Of the horse in the picture over the last step.
	for f := first; ; f += s.dir {
		if err := ctx.Err(); err != nil {
			return err
		}
		// Who is searched for goes by where the others were a frame ago, so that none
		// has to wait for another.
		for i, fo := range s.followers {
			claims[i] = s.claim(fo)
		}
		visit := func(i int) error {
			fo := s.followers[i]
			e, err := s.visit(fo, f, f == first, growth, claims[i], s.seeds[f])
			if err != nil {
				return fmt.Errorf("follow %s into frame %d: %w", fo.landmark, f, err)
			}
			s.out[i][f] = e
			if wasOn[i] && !fo.on || e.marked || e.found {
				s.doubt(i, f)
			}
			return nil
		}
		if err := s.clip.hands.together(len(s.followers), visit); err != nil {
			return err
		}
		s.separate(f)
		for i, fo := range s.followers {
			if wasOn[i] && !fo.on && s.out[i][f].cause != "" {
				s.doubt(i, f)
			}
			wasOn[i] = fo.on
		}
		growth = s.growth(growth)
		progress()
		if f == last {
			return nil
		}
	}
}

// doubt takes back what a follower lost in frame f had claimed just before: the
// frames in which it was still on trial, and those in which it was already
// weakening, because what hides a landmark drags the patch along before it is
// noticed; of a hoof also the last two in which it was unlike itself. A mark in frame f that it missed does the same.
func (s *sweep) doubt(i, f int) {
	e := s.out[i][f]
	if (e.marked || e.found) && !(e.jump > 2+3*math.Sqrt(e.jumpVar+e.variance)) {
		return
	}
	cause := e.cause
	switch {
	case e.marked:
		cause = fmt.Sprintf("arrived %.0f px beside the mark of frame %d", e.jump, f)
	case e.found:
		cause = fmt.Sprintf("arrived %.0f px beside the stance of frame %d", e.jump, f)
	}
	for g, n := f-s.dir, 0; g >= 0 && g < len(s.out[i]); g, n = g-s.dir, n+1 {
		p := &s.out[i][g]
		if !p.seen || p.marked || p.found || !p.weak && !p.trial && !(p.unlike && n < 2) {
			return
		}
		*p = estimate{cause: cause, jump: math.NaN()}
	}
}

// visit takes one follower into frame f.
func (s *sweep) visit(fo *follower, f int, first bool, growth float64, held claim, marks []seed) (estimate, error) {
	if !first && fo.started {
		var err error
		if fo.within > 0 && math.Abs(s.clip.times[f]-s.clip.times[fo.homeFrame]) > fo.within {
			fo.lose("far from a mark")
		} else if fo.on {
			err = fo.step(f-s.dir, f, growth)
		} else if held.opposite {
			err = fo.search(f, growth, held.places)
		}
		if err != nil {
			return estimate{}, err
		}
	}
	for _, m := range marks {
		if m.Landmark != fo.landmark {
			continue
		}
		if !m.Visible {
			fo.lose("marked as hidden")
			break
		}
		e := estimate{jump: math.NaN(), found: m.found}
		if fo.on {
			e.jump = fo.pose.At.Dist(flow.Point{X: m.X, Y: m.Y})
			e.jumpVar = fo.variance
		}
		if err := fo.start(m); err != nil {
			return estimate{}, err
		}
		// A mark stands whether or not it can be followed from there.
		e.at, e.variance, e.across, e.quality, e.seen, e.marked, e.size = flow.Point{X: m.X, Y: m.Y}, m.SD*m.SD, m.SD*m.SD, 1, true, !m.found, fo.size()
		if m.found {
			e.quality, e.anchored = 0.9, true
			e.shared = fo.shared()
			e.variance, e.across = e.variance+max(e.shared.down, e.shared.across), e.across+e.shared.across
		}
		return e, nil
	}
	if fo.on && fo.seeded && (fo.departed || !fo.homeStands && fo.within == 0) && fo.landmark.IsHoof() && !s.clip.turnsInSight(fo.landmark) {
		// Of the pair that goes behind only stances are in sight: what seems to leave
		// its place, or never kept it, is a leg that comes before it.
		fo.lose(hiddenBehind)
	}
	if !fo.on {
		return estimate{cause: fo.cause, jump: math.NaN()}, nil
	}
	shared := fo.shared()
	return estimate{at: fo.pose.At, variance: fo.variance + max(shared.down, shared.across) + fo.tilted(f), across: fo.across + shared.across, shared: shared, quality: fo.quality, seen: true, since: fo.since, jump: math.NaN(), weak: fo.weak, unlike: fo.landmark.IsHoof() && fo.unlike > 0.7, trial: fo.trial > 0, anchored: fo.anchored, size: fo.size()}, nil
}

// claim is what the other followers hold of a frame in which one is searched for.
type claim struct {
	places   []flow.Point
	opposite bool // The hoof that looks like it is held where it is, so that it cannot be taken for that.
}

// claim returns what the others hold where fo may be searched for.
func (s *sweep) claim(fo *follower) claim {
	c := claim{opposite: !fo.landmark.IsHoof()}
	if fo.on || !fo.started || fo.seeded {
		return c
	}
	for _, o := range s.followers {
		if o != fo && o.on {
			c.places = append(c.places, o.pose.At)
			c.opposite = c.opposite || o.landmark == fo.landmark.Opposite()
		}
	}
	return c
}

// separate ends followers that have come to sit on one place: the one that has
// gone farther without a mark or a stance to stand on has moved over to the
// other; where neither has, the one that looks less like itself.
func (s *sweep) separate(f int) {
	for i, a := range s.followers {
		for j := i + 1; j < len(s.followers); j++ {
			b := s.followers[j]
			if !a.on || !b.on || s.out[i][f].marked || s.out[j][f].marked {
				continue
			}
			near := 0.3 * min(a.size(), b.size())
			if a.pose.At.Dist(b.pose.At) > near {
				continue
			}
			loser, k, other := a, i, b
			if b.sinceHome > a.sinceHome || b.sinceHome == a.sinceHome && b.quality < a.quality {
				loser, k, other = b, j, a
			}
			loser.lose(fmt.Sprintf("in one place with %s", other.landmark.Words()))
			s.out[k][f] = estimate{cause: loser.cause, jump: math.NaN()}
		}
	}
}

// growth returns how much the horse grew over the last step, from the landmarks
// of the body where there are any.
func (s *sweep) growth(before float64) float64 {
	var body, all []float64
	for _, f := range s.followers {
		if f.on && f.lastScale > 0 {
			g := f.pose.Scale / f.lastScale
			all = append(all, g)
			if !f.landmark.IsHoof() {
				body = append(body, g)
			}
		}
	}
	if len(body) > 0 {
		all = body
	}
	if len(all) == 0 {
		return before
	}
	slices.Sort(all)
	g := min(max(all[len(all)/2], 0.97), 1.03)
	return 0.9*before + 0.1*g
}

// appearance is what a landmark looked like in one frame.
type appearance struct {
	template *flow.Template
	frame    int
	at       flow.Point
	scale    float64 // The follower's scale in that frame.
	angle    float64
	variance float64 // Of the landmark's position in it, px².
	across   float64 // The same along x.
	// patch holds the pixels around it, for search and for resizing; only for
	// marked appearances.
	patch   flow.Gray
	origin  image.Point
	window  flow.Window // px, in the frame it was taken from.
	resized map[int]*flow.Template
	weigh   func(x, y float64) float64
	share   float64 // Of the patch that is not lane.
}

// follower follows one landmark in one direction of time.
type follower struct {
	clip     *clip
	landmark traj.Landmark
	dir      int
	windows  windowsOf
	base     flow.Window // At scale 1.

	within     float64 // How long it is followed from a mark, s; 0 means to the end.
	homeFrame  int
	seeded     bool // Every place to start from is given: it is not searched for.
	started    bool
	on         bool
	cause      string
	pose       flow.Pose
	lastScale  float64
	velocity   flow.Point // px a frame, in the sweep's direction.
	variance   float64    // Of the position along each axis, px².
	across     float64    // The same along x, of which turning takes less, px².
	quality    float64
	since      int
	gone       int // Frames since it was lost.
	weak       bool
	anchored   bool        // In the latest frame it looks as it was marked.
	home       *appearance // At the latest mark or stance found again.
	like       float64     // How much it looks like home in the latest frame, NCC.
	keyTurn    spread      // Variance that turning has added since the key appearance.
	likeAtHome float64
	unlike     float64   // From 0, as at home, to 1.
	turned     spread    // Standard deviation that turning has added since home, px.
	homeStands bool      // At home it stood still.
	trail      []trailed // Where it was of late, oldest first, since home.
	slow       bool      // It has not left its place for a twentieth of a second.
	departed   bool      // A hoof that stood at home has left its place since.
	sinceHome  int       // Frames.
	unmasked   bool      // The empty lane is of no help.
	share      float64   // Of the patch that is not lane, at the latest mark.
	trial      int       // Frames for which a re-found place still has to prove itself.

	key     appearance
	anchors []*appearance
	known   []*appearance // Of marks anywhere in the clip; where set, they are the anchors.

	// Memory that every step uses anew.
	bufA, bufB     []byte
	planeA, planeB flow.Plane
	smallA, smallB flow.Gray
	previous       flow.Template
	scores         []flow.Scores // Index: room; at least one.
	veil           veil
}

// Limits on what counts as seen. They are shares and correlations, so they hold
// for any clip.
const (
	leastNCC      = 0.70 // Against the previous frame.
	leastAgree    = 0.45
	aloneNCC      = 0.85 // Against the previous frame, where the key appearance does not hold.
	keyNCC        = 0.80 // Against the key appearance, to be used.
	anchorNCC     = 0.85 // Against the marked appearance, to be used.
	outlineNCC    = 0.94 // The same on the flanks of the outline, one place of which looks much like the next.
	hoofNCC       = 0.93 // The same for a hoof, which looks much alike in poses in which its mark lies elsewhere.
	edgeHold      = 0.10 // Hold below which a patch counts as an edge.
	searchNCC     = 0.80 // To be taken up again.
	searchMargin  = 0.10 // Ahead of the next best place.
	repeatNCC     = 0.90 // Of the patch with a place beside it.
	trialFrames   = 4
	searchForS    = 3.0 // How long a lost landmark is searched for, seconds.
	scaleStraySD  = 0.02
	angleStraySD  = 0.04
	registerFloor = 0.03 // px: what no registration is better than.
)

func (fo *follower) size() float64 { return fo.base.Scaled(fo.pose.Scale).Size() }

func (fo *follower) lose(cause string) {
	if fo.on {
		fo.gone = 0
		fo.on = false
		fo.cause = cause
		fo.trial = 0
	} else if cause == "marked as hidden" {
		fo.cause = cause
	}
}

// halvings returns how often a patch of the given size is halved for
// registration, so that its cost stays bounded.
func halvings(size float64) int {
	n := 0
	for ; size > 56; size /= 2 {
		n++
	}
	return n
}

func rectAround(p flow.Point, w flow.Window, margin float64) image.Rectangle {
	return image.Rect(
		int(math.Floor(p.X-w.Left-margin)), int(math.Floor(p.Y-w.Up-margin)),
		int(math.Ceil(p.X+w.Right+margin))+1, int(math.Ceil(p.Y+w.Down+margin))+1)
}

// weight is how much a pixel of the patch around at counts: less toward the rim.
func weight(at flow.Point, w flow.Window) func(x, y float64) float64 {
	cx, cy := at.X+(w.Right-w.Left)/2, at.Y+(w.Down-w.Up)/2
	rx, ry := 0.75*(w.Left+w.Right)/2, 0.75*(w.Up+w.Down)/2
	return func(x, y float64) float64 {
		dx, dy := (x-cx)/rx, (y-cy)/ry
		return math.Exp(-(dx*dx + dy*dy) / 2)
	}
}

// weigh is weight, times how surely each pixel of plane is not the empty lane. It
// holds until the next call with v.
func (fo *follower) weigh(f int, plane flow.Plane, halvings int, at flow.Point, w flow.Window, v *veil) (weigh func(x, y float64) float64, share float64) {
	rim := weight(at, w)
	if fo.unmasked {
		return rim, 1
	}
	mask := fo.clip.foreground(f, plane, halvings, v)
	if mask == nil {
		return rim, 1
	}
	x0, y0, step, width, height := plane.X0, plane.Y0, plane.Step, plane.Width, plane.Height
	shows := func(x, y float64) float64 {
		i, j := int(math.Round((x-x0)/step)), int(math.Round((y-y0)/step))
		if i < 0 || j < 0 || i >= width || j >= height {
			return 0
		}
		return float64(mask[j*width+i])
	}
	weigh = func(x, y float64) float64 {
		m := shows(x, y)
		if m == 0 {
			return 0 // The rim's weight costs more than all the rest.
		}
		return rim(x, y) * m
	}
	var sum, all float64
	for y := at.Y - w.Up; y <= at.Y+w.Down; y += step {
		for x := at.X - w.Left; x <= at.X+w.Right; x += step {
			r := rim(x, y)
			sum += r * shows(x, y)
			all += r
		}
	}
	return weigh, sum / all
}

// start puts the follower on a mark.
func (fo *follower) start(m seed) error {
	at := flow.Point{X: m.X, Y: m.Y}
	w, known := fo.windows(fo.landmark, m.Frame)
	if m.size > 0 {
		w, known = w.Scaled(m.size/w.Size()), true
	}
	if !fo.started {
		fo.base = w
		fo.pose = flow.Pose{At: at, Scale: 1}
		for _, k := range fo.known {
			a := *k
			a.scale, a.resized = k.window.Size()/w.Size(), map[int]*flow.Template{}
			fo.anchors = append(fo.anchors, &a)
		}
	}
	scale := w.Size() / fo.base.Size()
	if fo.started && m.size == 0 && (fo.on || !known) {
		// What was followed here knows its size better than the marks around it do.
		scale = fo.pose.Scale
	}
	w = fo.base.Scaled(scale)
	fo.pose = flow.Pose{At: at, Scale: scale}
	fo.lastScale = 0
	fo.velocity = flow.Point{}
	fo.variance, fo.across = m.SD*m.SD, m.SD*m.SD
	fo.quality, fo.since, fo.gone, fo.trial, fo.weak = 1, 0, 0, 0, false
	fo.started, fo.on, fo.cause = true, true, ""
	rect := rectAround(at, w, w.Size()/2+6)
	g, o, _, err := fo.clip.spool.region(m.Frame, rect, nil)
	if err != nil {
		return err
	}
	plane := flow.NewPlane(g, o.X, o.Y, halvings(w.Size()))
	fo.unmasked = false
	weigh, share := fo.weigh(m.Frame, plane, halvings(w.Size()), at, w, new(veil)) // Kept with the appearance.
	if share < 0.15 {
		// The horse has stood here for long, or looks like the lane.
		fo.unmasked = true
		weigh, share = weight(at, w), 1
	}
	fo.share = share
	t, err := flow.NewTemplate(plane, at, w, weigh)
	if err != nil {
		fo.lose("nothing to hold on to at the mark: " + err.Error())
		return nil
	}
	a := &appearance{template: t, frame: m.Frame, at: at, scale: scale, variance: fo.variance, across: fo.across, patch: g, origin: o, window: w, resized: map[int]*flow.Template{}, weigh: weigh, share: min(share, 1)}
	fo.key, fo.keyTurn, fo.home = *a, spread{}, a
	fo.likeAtHome, fo.unlike, fo.sinceHome, fo.turned, fo.homeStands = 0, 0, 0, spread{}, m.found || m.stands
	fo.departed = false
	fo.homeFrame = m.Frame
	fo.trail, fo.slow = append(fo.trail[:0], trailed{m.Frame, at}), fo.homeStands
	if !m.found && len(fo.known) == 0 && (m.stands || !fo.landmark.IsHoof()) {
		// A hoof marked in swing looks much like one in stance at small size, with
		// its mark elsewhere: it is no help for finding it again.
		fo.anchors = append(fo.anchors, a)
	}
	return fo.repeats(g, o)
}

// repeats loses a landmark whose patch looks the same a short way off, as a
// fence or a tyre track does: a jump from one copy to the next could not be told
// from standing still, and forward–backward checks would agree with it. It looks at
// as much detail as registration does.
func (fo *follower) repeats(g flow.Gray, o image.Point) error {
	w := fo.base.Scaled(fo.pose.Scale)
	size := w.Size()
	inner := rectAround(fo.pose.At, w, 0).Sub(o).Intersect(image.Rect(0, 0, g.Width, g.Height))
	if factor := 1 << halvings(size); factor > 1 && !inner.Empty() {
		var err error
		if fo.smallA, err = flow.Shrink(g, factor, fo.smallA); err != nil {
			return err
		}
		g, size = fo.smallA, size/float64(factor)
		inner = image.Rect(inner.Min.X/factor, inner.Min.Y/factor, inner.Max.X/factor, inner.Max.Y/factor)
	}
	part := g.Crop(inner)
	if part.Width < 8 || part.Height < 8 {
		return nil
	}
	// A landmark does not change its speed by more than this between two frames.
	reach := 0.8 * size
	margin := int(math.Ceil(reach))
	wide := image.Rect(inner.Min.X-margin, inner.Min.Y-margin, inner.Max.X+margin, inner.Max.Y+margin).Intersect(image.Rect(0, 0, g.Width, g.Height))
	s, err := fo.correlate(0, g.Crop(wide), part)
	if err != nil {
		return err
	}
	x0, y0 := float64(inner.Min.X-wide.Min.X), float64(inner.Min.Y-wide.Min.Y)
	for y := range s.Height {
		for x := range s.Width {
			d := math.Hypot(float64(x)-x0, float64(y)-y0)
			if d > 0.3*size && d < reach && s.Score[y*s.Width+x] > repeatNCC {
				fo.lose("looks the same a short way off: a repeated pattern")
				return nil
			}
		}
	}
	return nil
}

// correlate correlates part with every place in g. The scores hold until the next
// call with the same room; rooms may be used at once.
func (fo *follower) correlate(room int, g, part flow.Gray) (flow.Scores, error) {
	s, err := fo.clip.engine.Match(g, part, fo.scores[room])
	if err == nil {
		fo.scores[room] = s
	}
	return s, err
}

// step follows the landmark from frame f to frame g.
func (fo *follower) step(f, g int, growth float64) error {
	size := fo.size()
	w := fo.base.Scaled(fo.pose.Scale)
	at := fo.pose.At
	ahead := at.Add(fo.velocity)
	margin := 0.5*size + 6 + 0.5*math.Hypot(fo.velocity.X, fo.velocity.Y)
	rect := rectAround(at, w, margin).Union(rectAround(ahead, w, margin))
	a, o, bufA, err := fo.clip.spool.region(f, rect, fo.bufA)
	fo.bufA = bufA
	if err != nil {
		return err
	}
	b, ob, bufB, err := fo.clip.spool.region(g, rect, fo.bufB)
	fo.bufB = bufB
	if err != nil {
		return err
	}
	if a.Width == 0 || b.Width == 0 || o != ob || a.Width != b.Width || a.Height != b.Height {
		if a, b, o, err = fo.common(f, g, rect); err != nil {
			return err
		}
	}
	if a.Width < 8 || a.Height < 8 {
		fo.lose("left the picture")
		return nil
	}
	half := halvings(size)
	fo.planeA.Fill(a, o.X, o.Y, half)
	fo.planeB.Fill(b, o.X, o.Y, half)
	planeA, planeB := fo.planeA, fo.planeB
	weigh, share := fo.weigh(f, planeA, half, at, w, &fo.veil)
	if share < 0.35*fo.share {
		fo.lose("the empty lane shows where it should be")
		return nil
	}
	if err := fo.previous.Fill(planeA, at, w, weigh); err != nil {
		fo.lose("nothing left to hold on to: " + err.Error())
		return nil
	}
	move, agree, ok, err := fo.flow(a, b, o, at, w, weigh)
	if err != nil {
		return err
	}
	if !ok {
		if move, ok, err = fo.match(a, b, o, at, w); err != nil {
			return err
		}
		if !ok {
			fo.lose("no place looks like it: hidden, blurred or too fast")
			return nil
		}
		agree = 0.5
	}
	chain := fo.previous.Register(planeB, flow.Pose{At: at.Add(move), Scale: 1}, flow.RegisterOptions{ScaleSD: scaleStraySD, AngleSD: angleStraySD})
	switch {
	case !chain.OK:
		fo.lose("patch could not be placed")
		return nil
	case chain.NCC < leastNCC:
		fo.lose("looks different from the frame before: hidden or blurred")
		return nil
	case chain.Agree < leastAgree:
		fo.lose("part of the patch is hidden")
		return nil
	}
	if !(chain.At.X >= 0 && chain.At.Y >= 0 && chain.At.X <= float64(fo.clip.width-1) && chain.At.Y <= float64(fo.clip.height-1)) {
		fo.lose("left the picture")
		return nil
	}
	pose := flow.Pose{At: chain.At, Scale: fo.pose.Scale * chain.Scale, Angle: fo.pose.Angle + chain.Angle}
	moved := fo.clip.moved(f, g, at, chain.At)
	if dt := math.Abs(fo.clip.times[g] - fo.clip.times[f]); fo.landmark.IsHoof() && fo.sinceHome > 1 && chain.At.Dist(ahead) > hoofJerk*size*max(dt, 1.0/60) {
		fo.lose("a limb that came before it took its place")
		return nil
	}
	left := fo.leave(g, chain.At)
	fo.slow = left < leftPlace(size)
	fo.departed = fo.departed || fo.homeStands && !fo.slow
	turn, err := fo.turning(f, g, planeB, pose, moved, left, size)
	if err != nil {
		return err
	}
	// How far the place is off the landmark grows and shrinks with the picture of the
	// horse.
	grown := sq(fo.grown(f, g, chain.Scale))
	variance := fo.variance*grown + spreadOf(chain, size) + turn.down
	across := fo.across*grown + spreadOf(chain, size) + turn.across
	// Against the key appearance: no drift since then.
	rel := flow.Pose{At: pose.At, Scale: pose.Scale / fo.key.scale, Angle: pose.Angle - fo.key.angle}
	key := fo.key.template.Register(planeB, rel, flow.RegisterOptions{ScaleSD: scaleStraySD, AngleSD: angleStraySD})
	fresh, held := true, false
	if key.OK && key.NCC >= keyNCC && key.Agree >= leastAgree {
		since := sq(fo.grown(fo.key.frame, g, rel.Scale))
		keyVariance, keyAcross := fo.key.variance*since, fo.key.across*since
		v1, v2 := max(variance-keyVariance, 1e-6), spreadOf(key, size)+fo.keyTurn.down+turn.down
		if key.At.Dist(pose.At) < 1+3*math.Sqrt(v1+v2) {
			k := v1 / (v1 + v2)
			pose.At = mix(pose.At, key.At, k)
			pose.Scale = math.Exp((1-k)*math.Log(pose.Scale) + k*math.Log(key.Scale*fo.key.scale))
			pose.Angle += k * (key.Angle + fo.key.angle - pose.Angle)
			variance = keyVariance + v1*v2/(v1+v2)
			a1, a2 := max(across-keyAcross, 1e-6), spreadOf(key, size)+fo.keyTurn.across+turn.across
			across = keyAcross + (1-k)*(1-k)*a1 + k*k*a2
			held = true
			fresh = key.NCC < 0.9 || math.Abs(math.Log(key.Scale)) > 0.08 || math.Abs(key.Angle) > 0.15
		}
	}
	fo.keyTurn.down += turn.down
	fo.keyTurn.across += turn.across
	if !held && chain.NCC < aloneNCC {
		fo.lose("no longer looks like itself: hidden or blurred")
		return nil
	}
	fo.weak = !held || chain.NCC < aloneNCC || chain.Agree < 0.6
	fo.since++
	// Against the marked appearance: cuts the drift.
	fo.anchored = false
	found, err := fo.relocate(planeB, pose, variance, size, moved)
	if err != nil {
		return err
	}
	if found.from != nil {
		fo.anchored = found.NCC >= 0.88
		if found.variance < surer*variance {
			// The two share the mark's own error, so they are not averaged: the
			// better one is moved to by as much as it is better.
			k := min(1, variance/(variance+found.variance))
			if variance > 4*found.variance {
				k = 1
			}
			pose.At = mix(pose.At, found.At, k)
			pose.Scale = math.Exp((1-k)*math.Log(pose.Scale) + k*math.Log(found.Scale*found.from.scale))
			variance = max(found.variance, (1-k)*variance+k*found.variance)
			across = (1-k)*across + k*found.variance
			fo.since = 0
			if k == 1 {
				fresh, fo.turned = true, spread{}
			}
		}
	}
	if fo.landmark.IsHoof() && fo.homeStands && fo.clip.grows && fo.clip.lower(fo.homeFrame, g, fo.home.at, pose.At) > leftPlace(size) {
		// A hoof that comes toward the camera is higher in the picture before it lands
		// and after it leaves than where it stands: this is another one coming down.
		fo.lose("a limb that came before it took its place")
		return nil
	}
	fo.lastScale = fo.pose.Scale
	fo.velocity = pose.At.Sub(fo.pose.At)
	fo.pose = pose
	fo.variance, fo.across = variance, across
	fo.quality = min(1, max(0, (chain.NCC-0.5)/0.5)) * math.Sqrt(agree) * math.Sqrt(chain.Agree)
	if fresh && chain.NCC > 0.85 {
		nw := fo.base.Scaled(pose.Scale)
		weigh, _ := fo.weigh(g, planeB, half, pose.At, nw, &fo.veil)
		if t, err := flow.NewTemplate(planeB, pose.At, nw, weigh); err == nil {
			fo.key, fo.keyTurn = appearance{template: t, frame: g, at: pose.At, scale: pose.Scale, angle: pose.Angle, variance: variance, across: across}, spread{}
			if err := fo.repeats(b, o); err != nil {
				return err
			}
		}
	}
	if fo.trial > 0 {
		fo.trial--
	}
	return nil
}

// grown returns by how much the horse grew in the picture from frame f to frame g:
// by the body where it was followed. The patch's own scale, which is told where it
// was not, shrinks also because a hoof turns, or because what is followed is no
// longer all of it; neither makes a place any surer.
func (fo *follower) grown(f, g int, patch float64) float64 {
	if t := fo.clip.trunk; t != nil && fo.landmark.IsHoof() && t.size[f] > 0 && t.size[g] > 0 {
		return t.size[g] / t.size[f]
	}
	return patch
}

// turning is the variance, px², that one frame adds because the landmark turns
// away from how it was marked: the mark then moves against the pattern that is
// followed, and no comparison with the frame before can tell. What still looks
// as it was marked, at the place followed to, does not turn.
//
// The frame before is f, this one g; left is how far it went within the last
// twentieth of a second, px.
func (fo *follower) turning(f, g int, plane flow.Plane, pose flow.Pose, moved, left, size float64) (spread, error) {
	r, _, ok, err := fo.anchor(fo.home, plane, pose, size)
	if err != nil {
		return spread{}, err
	}
	off := 1.0
	fo.like = 0
	if ok {
		fo.like, off = max(r.NCC, 0), r.At.Dist(pose.At)/size
	}
	// How like itself it looks from frame to frame where nothing turns depends on
	// noise and contrast: the first frames show it.
	if fo.sinceHome < 3 {
		fo.likeAtHome = max(fo.likeAtHome, min(fo.like, 0.99))
	}
	fo.sinceHome++
	fo.unlike = max(ramp(max(fo.likeAtHome, 0.9)-fo.like, 0.005, 0.04), ramp(off, 0.02, 0.06))
	turn := 0.015 // Sides of the patch.
	aside := func(turned float64) float64 { return turned }
	if fo.landmark.IsHoof() {
		rate := rollingTurn
		aside = func(turned float64) float64 { return rollingAside * turned * turned * turned / (size * size) }
		switch {
		case fo.dir < 0 && fo.homeStands && fo.clip.grows:
			rate = landingTurn
			aside = func(turned float64) float64 {
				if turned > mostLanding*size {
					return turned
				}
				fading := fadingAside * (1 + goneAside*ramp(wallNCC-fo.like, 0, 0.2))
				return landingAside*turned + fading*turned*turned*turned/(size*size)
			}
		case fo.homeStands && !fo.clip.grows:
			rate = leavingTurn
			aside = func(turned float64) float64 {
				return leavingAside*min(turned, size) + returningAside*max(0, turned-size)
			}
		}
		turn = rate * math.Abs(fo.clip.times[g]-fo.clip.times[f])
		if fo.homeStands {
			fo.unlike = max(fo.unlike, ramp(left, leftPlace(size), 2*leftPlace(size)))
		}
		if !fo.homeStands {
			// Marked in swing: it turns from the first frame.
			fo.unlike = max(fo.unlike, 0.5*ramp(moved/size, 0.005, 0.03))
		} else {
			// A hoof that leaves the ground turns at once, and one that comes down
			// turns until it is flat, though it looks as in stance before that.
			fo.unlike = max(fo.unlike, ramp(moved/size, 0.01, 0.04))
		}
	}
	// The error goes on in one direction while it turns, so spreads add, not variances.
	before := fo.turned
	fo.turned.down += turn * size * fo.unlike
	fo.turned.across = max(fo.turned.across, aside(fo.turned.down))
	return spread{down: sq(fo.turned.down) - sq(before.down), across: sq(fo.turned.across) - sq(before.across)}, nil
}

// How fast the mark of a hoof may move against its outline while the hoof turns,
// sides of its patch a second. A patch is about as large as a hoof is long. A
// hoof seen from behind tilts by a right angle within a tenth of a second as it
// leaves the ground, and its heel rises by its length; in the last tenth of a
// second before it lands it turns by a third of that. Seen from the front it
// rolls over its toe, which is what is marked, and which moves half as much as it
// comes down.
const (
	leavingTurn = 8.0
	rollingTurn = 3.0
	landingTurn = 1.5
)

// hoofJerk is by how much the speed of a hoof may change from one frame to the
// next, sides of its patch a second: some 2.5 m/s.
const hoofJerk = 21.0

// tilt is by how much the mark of a hoof may be off, as a share of the way that
// its pattern has gone from its place in stance: of a hoof that rolls over its toe
// or its heel the end goes twice as far as the middle, so the mark goes as much
// farther than the pattern, or less far, as that goes. mostTilt bounds it, sides of
// the patch.
const (
	tilt     = 1.0
	mostTilt = 0.3
)

// What of this goes across the picture. A hoof turns about an axis that lies
// across, along which the mark keeps its place on the pattern but for what the
// limb twists, some degrees. Coming down toward the camera it shows its wall nearly
// all the time; the farther before its landing, the more of it lies in the shade of
// the limb or is turned away, so that another pattern takes over: most where what is
// followed no longer looks like the wall as it stood. From behind it
// shows its heel, then its sole, which is as wide, and it turns by a right angle;
// what it turns after that brings it back through patterns followed anew. As it
// leaves the ground in front, the wall gives way to another pattern, the more the
// farther it has turned.
const (
	landingAside   = 0.13 // Share.
	fadingAside    = 0.3  // Share of the cube, in sides of the patch.
	goneAside      = 4.0  // By how much larger that is where the wall is gone.
	wallNCC        = 0.85 // Against the stance: from there down to 0.2 less the wall goes.
	mostLanding    = 0.5  // Sides of the patch, a third of a second: before that it shows its other end.
	leavingAside   = 0.05 // Share, up to a right angle.
	returningAside = 0.03 // Share, beyond it.
	rollingAside   = 1.0  // Share of the cube, in sides of the patch.
)

// spread is a spread, or a variance, down and across the picture.
type spread struct{ down, across float64 }

func sq(x float64) float64 { return x * x }

// trailed is where a landmark was in a frame.
type trailed struct {
	frame int
	at    flow.Point
}

// leave notes the place of frame g and returns how far, px, the landmark went
// against the background within the last twentieth of a second.
func (fo *follower) leave(g int, at flow.Point) float64 {
	fo.trail = append(fo.trail, trailed{g, at})
	times := fo.clip.times
	for len(fo.trail) > 3 && math.Abs(times[g]-times[fo.trail[1].frame]) > 0.0499 {
		fo.trail = slices.Delete(fo.trail, 0, 1)
	}
	var most float64
	for _, p := range fo.trail[:len(fo.trail)-1] {
		most = max(most, fo.clip.moved(p.frame, g, p.at, at))
	}
	return most
}

// leftPlace is how far, px, a hoof that stands may seem to go: what registration
// and the stabilising of the picture leave.
func leftPlace(size float64) float64 { return 0.3 + 0.012*size }

// shared is the variance, px², of a place that no registration notices, so that
// both sweeps share it.
//
// A landmark on the outline of the body is seen before other parts of the horse:
// the croup from behind, before the head and the tail that sway. Along the outline
// the patch goes with what is beside it; the outline of the croup is level, and
// across it the place is far surer.
//
// A hoof of the pair that goes behind is seen past the legs in front, which cover
// part of it, now from one side and now from the other; it is the part that shows
// whose place is found.
func (fo *follower) shared() spread {
	size := fo.size()
	switch {
	case fo.landmark == traj.Croup: // The summit of the outline, which is curved.
		return spread{down: sq(croupDown * size), across: sq(croupAside * size)}
	case fo.onOutline():
		return spread{down: sq(outlineAside * size), across: sq(outlineAside * size)}
	case fo.landmark.IsHoof() && fo.clip.trunk != nil && !fo.clip.turnsInSight(fo.landmark):
		return spread{down: sq(coveredAside * size), across: sq(coveredAside * size)}
	}
	return spread{}
}

// The same as shares of the side of the patch.
const (
	croupAside   = 0.03
	croupDown    = 0.008
	outlineAside = 0.04
	coveredAside = 0.035
)

// tilted is the variance down the picture, px², of a hoof that has just left its
// place in frame f, or is about to reach it: it tilts as it goes, whatever it looks
// like.
func (fo *follower) tilted(f int) float64 {
	if !fo.landmark.IsHoof() || !fo.homeStands {
		return 0
	}
	size := fo.size()
	gone := fo.clip.moved(fo.homeFrame, f, fo.home.at, fo.pose.At)
	noise := leftPlace(size) / 3
	return min(sq(tilt)*max(0, gone*gone-noise*noise), sq(mostTilt*size))
}

// onOutline reports whether the landmark lies on the outline of the body.
func (fo *follower) onOutline() bool {
	switch fo.landmark {
	case traj.Croup, traj.Withers, traj.LeftHip, traj.RightHip:
		return true
	}
	return false
}

// ramp rises from 0 at low to 1 at high.
func ramp(x, low, high float64) float64 { return min(max((x-low)/(high-low), 0), 1) }

// steady returns where p of frame f lies in the coordinates of frame 0, in which
// the background stands still.
func (c *clip) steady(f int, p flow.Point) flow.Point {
	if c.toFirst != nil {
		p.X, p.Y = c.toFirst[f].Apply(p.X, p.Y)
	}
	return p
}

// lower returns how much lower in the picture b in frame g lies than a in frame f,
// against the background, px.
func (c *clip) lower(f, g int, a, b flow.Point) float64 {
	return c.steady(g, b).Y - c.steady(f, a).Y
}

// moved returns how far a point went from frame f to frame g against the
// background, px.
func (c *clip) moved(f, g int, a, b flow.Point) float64 {
	return c.steady(f, a).Dist(c.steady(g, b))
}

// relocation is a place found by old appearances.
type relocation struct {
	flow.Registration
	variance float64
	click    float64     // The part of the variance that the mark's own error is, px².
	from     *appearance // The most alike of them; nil where none was found.
}

// agreed puts together the places that several appearances found. Their marks
// were clicked one by one, so the errors of the clicks are independent; that the
// landmark looks otherwise from here than it did where it was marked moves all of
// them alike. One that contradicts the surest is left out.
func agreed(found []relocation) relocation {
	if len(found) == 0 {
		return relocation{}
	}
	surest, best := found[0], found[0]
	for _, r := range found[1:] {
		if r.variance < surest.variance {
			surest = r
		}
		if r.NCC > best.NCC {
			best = r
		}
	}
	var at flow.Point
	var sum, clicks, rest float64
	for _, r := range found {
		if r.At.Dist(surest.At) > 0.2+2.5*math.Sqrt(r.variance+surest.variance) {
			continue
		}
		w := 1 / r.variance
		at.X += w * r.At.X
		at.Y += w * r.At.Y
		sum += w
		clicks += w * w * r.click
		rest += w * math.Sqrt(max(r.variance-r.click, 0))
	}
	best.At = flow.Point{X: at.X / sum, Y: at.Y / sum}
	best.variance, best.click = (clicks+rest*rest)/(sum*sum), clicks/(sum*sum)
	return best
}

// hoofShrinks is by how much a hoof's marked appearance may shrink to still tell
// the hoof from what lies where it stood.
const hoofShrinks = 0.45

// surer is how small the variance of a place found by marked appearances must be,
// as a share of the follower's own, to be gone by. Both hold the clicks' error, so
// a place that is hardly surer only brings its noise.
const surer = 0.8

// mostAnchors is how many marked appearances a place is compared with.
const mostAnchors = 4

// bestAnchors returns the appearances that tell most of the place at pose.
func (fo *follower) bestAnchors(anchors []*appearance, pose flow.Pose, size float64) []*appearance {
	if len(anchors) <= mostAnchors {
		return anchors
	}
	// A long clip has many, so what each tells is worked out once.
	type known struct {
		*appearance
		variance float64
	}
	all := make([]known, len(anchors))
	for i, a := range anchors {
		all[i] = known{a, fo.carried(a, pose.Scale/a.scale, size)}
	}
	slices.SortStableFunc(all, func(a, b known) int { return cmp.Compare(a.variance, b.variance) })
	out := make([]*appearance, mostAnchors)
	for i := range out {
		out[i] = all[i].appearance
	}
	return out
}

// relocate looks for the marked appearances near pose. It returns the best that
// fits and lies where the spread allows.
func (fo *follower) relocate(plane flow.Plane, pose flow.Pose, variance, size, moved float64) (relocation, error) {
	var all []relocation
	scales := []float64{1}
	if sd := math.Sqrt(variance); sd > 0.04*size && !fo.seeded {
		// Scale has drifted along with place.
		scales = []float64{1, 0.87, 1.15}
	}
	if fo.landmark.IsHoof() && (!fo.slow || fo.seeded && fo.departed || fo.homeStands && fo.unlike > 0.3) {
		// In swing a hoof is turned, even where it looks much as it was marked and,
		// at the top of its way, hardly moves. Its next stance is a place to start from.
		return relocation{}, nil
	}
	for _, m := range fo.bestAnchors(fo.anchors, pose, size) {
		if rel := pose.Scale / m.scale; fo.landmark.IsHoof() && (rel < hoofShrinks || rel > 1/hoofShrinks) {
			continue
		}
		var best relocation
		for _, k := range scales {
			p := pose
			p.Scale *= k
			r, v, ok, err := fo.anchor(m, plane, p, size)
			if err != nil {
				return best, err
			}
			least := anchorNCC
			if fo.landmark.IsHoof() {
				least = hoofNCC
				if moved > 0.015*size+0.3 {
					// A hoof tilted a little looks much as in stance, but its mark has moved.
					doubt := size * (0.1 + 0.15*ramp(0.98-r.NCC, 0.01, 0.05))
					v += doubt * doubt
				}
			}
			if fo.onOutline() && fo.landmark != traj.Croup {
				least = outlineNCC
			}
			if !fo.landmark.IsHoof() {
				// The farther it would jump, the more alike it must be.
				least += 0.08 * ramp(r.At.Dist(pose.At)/size, 0.01, 0.08)
			}
			if !ok || r.NCC < least || r.Agree < 0.55 || best.from != nil && r.NCC <= best.NCC {
				continue
			}
			d := r.At.Dist(pose.At)
			if d > 1+3*math.Sqrt(variance+v) && !(fo.landmark.IsHoof() && r.NCC > 0.93 && d < 0.35*size) {
				continue
			}
			best = relocation{r, v, m.variance * sq(p.Scale/m.scale), m}
		}
		if best.from != nil {
			all = append(all, best)
		}
	}
	return agreed(all), nil
}

// common returns the part of both frames inside rect that the scratch file has
// of both.
func (fo *follower) common(f, g int, rect image.Rectangle) (a, b flow.Gray, o image.Point, err error) {
	rect = rect.Intersect(fo.clip.spool.parts[f].rect).Intersect(fo.clip.spool.parts[g].rect)
	if rect.Empty() {
		return a, b, o, nil
	}
	if a, o, fo.bufA, err = fo.clip.spool.region(f, rect, fo.bufA); err != nil {
		return a, b, o, err
	}
	b, _, fo.bufB, err = fo.clip.spool.region(g, rect, fo.bufB)
	return a, b, o, err
}

// spreadOf returns the variance of a registration, px².
func spreadOf(r flow.Registration, size float64) float64 {
	// What the noise says, plus what an unlike patch may hide, plus how a patch
	// that is little more than an edge may slide along it.
	unlike := 0.02*size*(1-r.NCC) + 0.04*size*ramp(edgeHold-r.Hold, 0, edgeHold)
	return r.SD*r.SD + registerFloor*registerFloor + unlike*unlike
}

func mix(a, b flow.Point, k float64) flow.Point {
	return flow.Point{X: a.X + k*(b.X-a.X), Y: a.Y + k*(b.Y-a.Y)}
}

// flowSide is the least side of a patch, px, to which a larger one is shrunk for
// optical flow, which only says where registration begins.
const flowSide = 16

// flow returns how the patch moved from a to b by Lucas–Kanade on its corners,
// and the share of the corners that agree.
func (fo *follower) flow(a, b flow.Gray, o image.Point, at flow.Point, w flow.Window, weigh func(x, y float64) float64) (flow.Point, float64, bool, error) {
	var err error
	factor := max(1, int(w.Size()/flowSide))
	if factor > 1 {
		if fo.smallA, err = flow.Shrink(a, factor, fo.smallA); err != nil {
			return flow.Point{}, 0, false, err
		}
		if fo.smallB, err = flow.Shrink(b, factor, fo.smallB); err != nil {
			return flow.Point{}, 0, false, err
		}
		a, b = fo.smallA, fo.smallB
	}
	per := float64(factor)
	size := w.Size() / per
	patch := rectAround(at, w, 0).Sub(o)
	inner := image.Rect(patch.Min.X/factor, patch.Min.Y/factor, (patch.Max.X+factor-1)/factor, (patch.Max.Y+factor-1)/factor)
	part := a.Crop(inner)
	if part.Width < 8 || part.Height < 8 {
		return flow.Point{}, 0, false, nil
	}
	all, err := fo.clip.engine.Features(part, 40, 0.02, max(2, size/12))
	if err != nil {
		return flow.Point{}, 0, false, err
	}
	shift := flow.Point{X: float64(max(inner.Min.X, 0)), Y: float64(max(inner.Min.Y, 0))}
	var corners, guess []flow.Point
	var weights []float64
	for _, p := range all {
		p = p.Add(shift)
		k := weigh(per*p.X+(per-1)/2+float64(o.X), per*p.Y+(per-1)/2+float64(o.Y))
		if k <= 0.1 {
			continue
		}
		corners, weights = append(corners, p), append(weights, k)
		guess = append(guess, flow.Point{X: p.X + fo.velocity.X/per, Y: p.Y + fo.velocity.Y/per})
	}
	if len(corners) < 4 {
		return flow.Point{}, 0, false, nil
	}
	side := min(max(int(0.6*size), 9), 31) | 1
	there, back, err := fo.clip.thereAndBack(a, b, corners, guess, flow.FlowOptions{Window: side, Levels: 3})
	if err != nil {
		return flow.Point{}, 0, false, err
	}
	var xs, ys []weighted
	for i := range there {
		if !there[i].OK || !back[i].OK || back[i].Dist(corners[i]) > 0.7 {
			continue
		}
		d := there[i].Sub(corners[i])
		xs, ys = append(xs, weighted{d.X, weights[i]}), append(ys, weighted{d.Y, weights[i]})
	}
	if len(xs) < 4 || 3*len(xs) < len(corners) {
		return flow.Point{}, 0, false, nil
	}
	move := flow.Point{X: median(xs), Y: median(ys)}
	near := 0
	for i := range xs {
		if math.Hypot(xs[i].x-move.X, ys[i].x-move.Y) < 1.5+0.05*size {
			near++
		}
	}
	// xs and ys were sorted apart, so near only bounds the agreement from above;
	// the registration that follows decides.
	return flow.Point{X: per * move.X, Y: per * move.Y}, float64(len(xs)) / float64(len(corners)), 2*near >= len(xs), nil
}

type weighted struct{ x, w float64 }

// median returns the weighted median.
func median(v []weighted) float64 {
	slices.SortFunc(v, func(a, b weighted) int {
		switch {
		case a.x < b.x:
			return -1
		case a.x > b.x:
			return 1
		}
		return 0
	})
	var sum float64
	for _, e := range v {
		sum += e.w
	}
	var run float64
	for _, e := range v {
		run += e.w
		if 2*run >= sum {
			return e.x
		}
	}
	return v[len(v)-1].x
}

// match returns how the patch moved by correlation, where one place alone fits.
func (fo *follower) match(a, b flow.Gray, o image.Point, at flow.Point, w flow.Window) (flow.Point, bool, error) {
	inner := rectAround(at, w, 0).Sub(o).Intersect(image.Rect(0, 0, a.Width, a.Height))
	part := a.Crop(inner)
	if part.Width < 8 || part.Height < 8 {
		return flow.Point{}, false, nil
	}
	s, err := fo.correlate(0, b, part)
	if err != nil {
		return flow.Point{}, false, err
	}
	p := bestPlace(s, 0.35*w.Size(), nil)
	if p.score < leastNCC || p.score-p.second < searchMargin {
		return flow.Point{}, false, nil
	}
	return flow.Point{X: float64(p.x - inner.Min.X), Y: float64(p.y - inner.Min.Y)}, true, nil
}

type place struct {
	x, y          int
	score, second float64
}

// bestPlace returns the highest score and the highest one farther than apart
// from it. allowed, where given, says which places count as the best.
func bestPlace(s flow.Scores, apart float64, allowed func(x, y int) bool) place {
	p := place{score: -1, second: -1}
	for y := range s.Height {
		for x := range s.Width {
			if v := float64(s.Score[y*s.Width+x]); v > p.score && (allowed == nil || allowed(x, y)) {
				p.x, p.y, p.score = x, y, v
			}
		}
	}
	for y := range s.Height {
		for x := range s.Width {
			v := float64(s.Score[y*s.Width+x])
			if v > p.second && math.Hypot(float64(x-p.x), float64(y-p.y)) > apart {
				p.second = v
			}
		}
	}
	return p
}

// anchor registers a marked appearance, resized to the distance, in plane.
func (fo *follower) anchor(m *appearance, plane flow.Plane, pose flow.Pose, size float64) (flow.Registration, float64, bool, error) {
	rel := pose.Scale / m.scale
	if rel > 3 || rel < 0.33 {
		return flow.Registration{}, 0, false, nil
	}
	t, ratio, err := fo.resized(m, rel)
	if err != nil || t == nil {
		return flow.Registration{}, 0, false, err
	}
	r := t.Register(plane, flow.Pose{At: pose.At, Scale: rel / ratio}, flow.RegisterOptions{ScaleSD: 0.04, AngleSD: 0.06})
	if !r.OK {
		return r, 0, false, nil
	}
	r.Scale *= ratio
	return r, fo.carried(m, rel, size) + spreadOf(r, size), true, nil
}

// carried is the variance, px², with which the mark of m is known on its patch
// where that appears rel times as large, size px: its own error scales with the
// distance, and seen from another distance and angle the patch is not quite the same.
func (fo *follower) carried(m *appearance, rel, size float64) float64 {
	change := 0.01 * size * math.Abs(math.Log(rel))
	if !fo.landmark.IsHoof() {
		// On the outline of the body the mark lies on a rounded rim, which another
		// part of the body forms from another distance.
		change += 0.06 * size * max(0, 0.9-m.share) * math.Abs(math.Log(rel))
	}
	return m.variance*rel*rel + change*change
}

// resized returns the template of m at about rel times its size, and the exact
// ratio. Templates are kept.
func (fo *follower) resized(m *appearance, rel float64) (*flow.Template, float64, error) {
	const per = 0.15
	k := int(math.Round(math.Log(rel) / per))
	if k == 0 {
		return m.template, 1, nil
	}
	ratio := math.Exp(per * float64(k))
	if t, ok := m.resized[k]; ok {
		return t, ratio, nil
	}
	width := int(math.Round(float64(m.patch.Width) * ratio))
	height := int(math.Round(float64(m.patch.Height) * ratio))
	if width < 12 || height < 12 {
		m.resized[k] = nil
		return nil, ratio, nil
	}
	g, err := fo.clip.engine.Resize(m.patch, width, height)
	if err != nil {
		return nil, 0, err
	}
	// OpenCV keeps the outer rims of the picture in place, so pixel centres move.
	fx, fy := float64(width)/float64(m.patch.Width), float64(height)/float64(m.patch.Height)
	at := flow.Point{X: (m.at.X-float64(m.origin.X)+0.5)*fx - 0.5, Y: (m.at.Y-float64(m.origin.Y)+0.5)*fy - 0.5}
	w := m.window.Scaled(ratio)
	t, err := flow.NewTemplate(flow.NewPlane(g, 0, 0, halvings(w.Size())), at, w, func(x, y float64) float64 {
		return m.weigh((x+0.5)/fx-0.5+float64(m.origin.X), (y+0.5)/fy-0.5+float64(m.origin.Y))
	})
	if err != nil {
		t = nil // Too small or too plain at this size.
	}
	m.resized[k] = t
	return t, ratio, nil
}

// searchSide is the side of a patch, px, to which a larger one is shrunk where it is
// looked for: correlating costs its fourth power.
const searchSide = 20.0

// area is a part of a frame in which a patch is looked for.
type area struct {
	picture flow.Gray // Smaller than the part where the patch is large.
	part    image.Rectangle
	small   float64 // About the size of picture over that of the part.
}

// areaFor returns g, which begins at o in its frame, for looking for a patch of the
// given size.
func (fo *follower) areaFor(g flow.Gray, o image.Point, size float64) (area, error) {
	a := area{picture: g, part: image.Rect(o.X, o.Y, o.X+g.Width, o.Y+g.Height), small: min(1, searchSide/size)}
	if a.small == 1 {
		return a, nil
	}
	var err error
	a.picture, err = fo.clip.engine.Resize(g, max(int(float64(g.Width)*a.small+0.5), 1), max(int(float64(g.Height)*a.small+0.5), 1))
	return a, err
}

// where returns the place in the frame that lies at p from pixel (x, y) of the
// picture. Outer rims of pixels coincide, whatever their size.
func (a *area) where(x, y int, p flow.Point) flow.Point {
	return flow.Point{
		X: float64(a.part.Min.X) + (float64(x)+p.X)*float64(a.part.Dx())/float64(a.picture.Width) - 0.5,
		Y: float64(a.part.Min.Y) + (float64(y)+p.Y)*float64(a.part.Dy())/float64(a.picture.Height) - 0.5,
	}
}

// like returns what the mark's surroundings in m look like at rel times their size
// in a, and where in that the mark lies; ok is false where fewer than least pixels
// are left, or it is larger than a.
func (a *area) like(m *appearance, engine *flow.Engine, rel float64, least int) (part flow.Gray, mark flow.Point, ok bool, err error) {
	inner := rectAround(m.at, m.window, 0).Sub(m.origin)
	from := m.patch.Crop(inner)
	width, height := int(float64(from.Width)*rel*a.small+0.5), int(float64(from.Height)*rel*a.small+0.5)
	if from.Width < least || from.Height < least || width < least || height < least || width > a.picture.Width || height > a.picture.Height {
		return part, mark, false, nil
	}
	mark = flow.Point{
		X: (m.at.X - float64(m.origin.X) - float64(max(inner.Min.X, 0)) + 0.5) * float64(width) / float64(from.Width),
		Y: (m.at.Y - float64(m.origin.Y) - float64(max(inner.Min.Y, 0)) + 0.5) * float64(height) / float64(from.Height),
	}
	part, err = engine.Resize(from, width, height)
	return part, mark, err == nil, err
}

// search looks for a lost landmark in frame g.
func (fo *follower) search(g int, growth float64, claimed []flow.Point) error {
	fo.gone++
	fo.pose.Scale *= growth
	dt := math.Abs(fo.clip.times[len(fo.clip.times)-1]) / float64(max(len(fo.clip.times)-1, 1))
	if fo.seeded || len(fo.anchors) == 0 || float64(fo.gone)*dt > searchForS || fo.cause == "marked as hidden" && fo.gone < 2 {
		return nil
	}
	size := fo.size()
	w := fo.base.Scaled(fo.pose.Scale)
	reach := min(size*(0.5+0.15*float64(fo.gone)), 3*size)
	rect := rectAround(fo.pose.At, w, reach+size/2)
	b, o, buf, err := fo.clip.spool.region(g, rect, fo.bufB)
	fo.bufB = buf
	if err != nil || b.Width < 12 || b.Height < 12 {
		return err
	}
	type candidate struct {
		flow.Registration
		variance float64
		from     *appearance
	}
	var best *candidate
	half := halvings(size)
	fo.planeB.Fill(b, o.X, o.Y, half)
	plane := fo.planeB
	for len(fo.scores) < len(fo.anchors) {
		fo.scores = append(fo.scores, flow.Scores{})
	}
	// Where it may lie is looked for in a smaller picture; registration says where it does.
	field, err := fo.areaFor(b, o, size)
	if err != nil {
		return err
	}
	places := make([]flow.Point, len(fo.anchors)) // Where each may lie.
	alike := make([]bool, len(fo.anchors))
	if err := fo.clip.hands.together(len(fo.anchors), func(i int) (err error) {
		m := fo.anchors[i]
		rel := fo.pose.Scale / m.scale
		if rel > 3 || rel < 0.33 {
			return nil
		}
		like, mark, ok, err := field.like(m, fo.clip.engine, rel, 8)
		if err != nil || !ok {
			return err
		}
		s, err := fo.correlate(i, field.picture, like)
		if err != nil {
			return err
		}
		p := bestPlace(s, 0.35*size*field.small, func(x, y int) bool {
			q := field.where(x, y, mark)
			if q.Dist(fo.pose.At) > reach {
				return false
			}
			for _, c := range claimed {
				if q.Dist(c) < 0.5*size {
					return false
				}
			}
			return true
		})
		places[i], alike[i] = field.where(p.x, p.y, mark), p.score >= searchNCC && p.score-p.second >= searchMargin
		return nil
	}); err != nil {
		return err
	}
	for i, m := range fo.anchors {
		if !alike[i] {
			continue
		}
		r, v, ok, err := fo.anchor(m, plane, flow.Pose{At: places[i], Scale: fo.pose.Scale}, size)
		if err != nil {
			return err
		}
		if ok && r.NCC >= anchorNCC && r.Agree > 0.55 && (best == nil || r.NCC > best.NCC) {
			best = &candidate{r, v, m}
		}
	}
	if best == nil {
		return nil
	}
	pose := flow.Pose{At: best.At, Scale: best.Scale * best.from.scale}
	nw := fo.base.Scaled(pose.Scale)
	weigh, share := fo.weigh(g, plane, half, pose.At, nw, &fo.veil)
	if share < 0.5*fo.share {
		return nil
	}
	t, err := flow.NewTemplate(plane, pose.At, nw, weigh)
	if err != nil {
		return nil
	}
	fo.pose, fo.lastScale, fo.velocity = pose, 0, flow.Point{}
	fo.variance, fo.across = best.variance, best.variance
	fo.quality = 0.6
	fo.since, fo.gone, fo.trial = 0, 0, trialFrames
	fo.on, fo.cause = true, ""
	fo.key, fo.keyTurn = appearance{template: t, frame: g, at: pose.At, scale: pose.Scale, variance: fo.variance, across: fo.across}, spread{}
	fo.trail = append(fo.trail[:0], trailed{g, pose.At})
	return nil
}
