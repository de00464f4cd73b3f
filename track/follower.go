package track

import (
	"image"
	"math"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// follower follows one landmark in one direction of time.
type follower struct {
	clip     *clip
	model    *errormodel.Tracking
	landmark traj.Landmark
	dir      int
	base     flow.Window // At scale 1.

	started    bool
	on         bool
	cause      string
	pose       flow.Pose
	lastScale  float64
	velocity   flow.Point // px a frame, in the sweep's direction.
	variance   float64    // Of the position along each axis, px².
	quality    float64
	gone       int         // Frames since it was lost.
	likeness   float64     // Correlation with what was marked, in the latest frame; 0 where it does not look so.
	home       *appearance // At the latest mark or stance found again.
	keyTurn    float64     // Variance that turning has added since the key appearance, px².
	likeAtHome float64
	turned     float64 // Standard deviation that turning has added since home, px.
	sinceHome  int     // Frames.

	key     appearance
	anchors []*appearance

	// Memory that every step uses anew.
	bufA, bufB     []byte
	planeA, planeB flow.Plane
	smallA, smallB flow.Gray
	previous       flow.Template
	scores         []flow.Scores // Index: room; at least one.
	cells          []float64     // Of weigh.
}

func newFollower(c *clip, l traj.Landmark, dir int) *follower {
	return &follower{clip: c, model: c.model, landmark: l, dir: dir, scores: make([]flow.Scores, 1)}
}

func (fo *follower) size() float64 { return fo.base.Scaled(fo.pose.Scale).Size() }

// near is about how much of a patch of the given size, px, lies around the landmark
// itself: what moves there against the rest moves the landmark. Of the hindquarters it is
// the part that croup or hip is.
func (fo *follower) near(size float64) float64 {
	if fo.landmark.IsHindquarters() {
		return fo.model.CroupShare * size
	}
	return size
}

func (fo *follower) lose(cause string) {
	if fo.on {
		fo.gone = 0
		fo.on = false
		fo.cause = cause
	} else if cause == markedHidden {
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

func bell(d float64) float64 { return math.Exp(-d * d / 2) }

// start puts the follower on a mark.
func (fo *follower) start(m seed) error {
	at := m.at()
	w, known := fo.clip.patch(&m)
	if !fo.started {
		fo.base = w
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
	fo.variance = m.SD * m.SD
	fo.quality, fo.gone = 1, 0
	fo.started, fo.on, fo.cause = true, true, ""
	rect := rectAround(at, w, w.Size()/2+6)
	g, o, _, err := fo.clip.spool.region(m.Frame, rect, nil)
	if err != nil {
		return err
	}
	plane := flow.NewPlane(g, o.X, o.Y, halvings(w.Size()))
	weigh := fo.weigh(plane, at, w, new([]float64)) // Kept with the appearance.
	t, err := flow.NewTemplate(plane, at, w, weigh)
	if err != nil {
		fo.lose("nothing to hold on to at the mark: " + err.Error())
		return nil
	}
	a := &appearance{template: t, frame: m.Frame, at: at, scale: scale, variance: fo.variance, patch: g, origin: o, window: w, resized: map[int]*flow.Template{}, weigh: weigh}
	fo.key, fo.keyTurn, fo.home = *a, 0, a
	fo.likeAtHome, fo.sinceHome, fo.turned = 0, 0, 0
	if !m.found && (m.stands || !fo.landmark.IsHoof()) {
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
			if d > 0.3*size && d < reach && s.Score[y*s.Width+x] > float32(fo.model.RepeatNCC) {
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
	s, err := flow.Match(g, part, fo.scores[room])
	if err == nil {
		fo.scores[room] = s
	}
	return s, err
}

// advance is what following from one frame to the next finds out, stage by stage.
type advance struct {
	from, to int     // Frames.
	size     float64 // Of the patch in the first, px.
	a, b     flow.Gray
	origin   image.Point // Of both.
	stray    flow.RegisterOptions
	told     bool    // Whether the marks say how it grows.
	agree    float64 // Share of the flow that moves as the patch does.
	chain    flow.Registration
	turn     float64 // Variance that turning adds, px².
	home     *relocation
	pose     flow.Pose
	variance float64
	held     bool // By its key appearance.
	fresh    bool // Whether the key appearance is to be taken anew.
}

// step follows the landmark from frame f to frame g: each stage says why the landmark is
// lost, or nothing.
func (fo *follower) step(f, g int) error {
	m := advance{from: f, to: g, size: fo.size(), fresh: true}
	for _, stage := range []func(*advance) (cause string, err error){fo.read, fo.byFrameBefore, fo.plausible, fo.byKey, fo.byMarks} {
		if cause, err := stage(&m); err != nil {
			return err
		} else if cause != "" {
			fo.lose(cause)
			return nil
		}
	}
	return fo.keep(&m)
}

// read reads the part around the landmark that the scratch file has of both frames.
func (fo *follower) read(m *advance) (cause string, err error) {
	w := fo.base.Scaled(fo.pose.Scale)
	at := fo.pose.At
	margin := 0.5*m.size + 6 + 0.5*math.Hypot(fo.velocity.X, fo.velocity.Y)
	rect := rectAround(at, w, margin).Union(rectAround(at.Add(fo.velocity), w, margin))
	spool := fo.clip.spool
	rect = rect.Intersect(spool.parts[m.from].rect).Intersect(spool.parts[m.to].rect)
	if m.a, m.origin, fo.bufA, err = spool.region(m.from, rect, fo.bufA); err != nil {
		return "", err
	}
	if m.b, _, fo.bufB, err = spool.region(m.to, rect, fo.bufB); err != nil {
		return "", err
	}
	if m.a.Width < 8 || m.a.Height < 8 {
		return leftPicture, nil
	}
	fo.planeA.Fill(m.a, m.origin.X, m.origin.Y, halvings(m.size))
	fo.planeB.Fill(m.b, m.origin.X, m.origin.Y, halvings(m.size))
	return "", nil
}

// byFrameBefore finds the patch of the frame before: optical flow says about where it is,
// registering it says where.
func (fo *follower) byFrameBefore(m *advance) (cause string, err error) {
	w, at := fo.base.Scaled(fo.pose.Scale), fo.pose.At
	weigh := fo.weigh(fo.planeA, at, w, &fo.cells)
	if err := fo.previous.Fill(fo.planeA, at, w, weigh); err != nil {
		return "nothing left to hold on to: " + err.Error(), nil
	}
	found, err := fo.flow(m.a, m.b, m.origin, at, w, weigh)
	if err == nil && !found.ok {
		found, err = fo.match(m.a, m.b, m.origin, at, w)
	}
	if err != nil {
		return "", err
	}
	if !found.ok {
		return "no place looks like it: hidden, blurred or too fast", nil
	}
	m.agree = found.share
	m.stray = flow.RegisterOptions{ScaleSD: fo.model.ScaleStraySD, AngleSD: fo.model.AngleStraySD}
	growth, told := fo.told(m.from, m.to)
	if m.told = told; told {
		// The marks know it better than the patch, which grows and shrinks with what
		// passes in front of it.
		m.stray.ScaleSD = 0
	}
	m.chain = fo.previous.Register(fo.planeB, flow.Pose{At: at.Add(found.move), Scale: growth}, m.stray)
	return "", nil
}

// plausible says whether what was found looks and moves like the landmark, and how well its
// place is known by it. A hoof turns in the air and looks like itself nowhere for long: whether
// it was followed is told by where that leads (inAir).
func (fo *follower) plausible(m *advance) (cause string, err error) {
	chain := m.chain
	switch {
	case !chain.OK:
		return "patch could not be placed", nil
	case chain.NCC < fo.model.LeastNCC && !fo.landmark.IsHoof():
		return "looks different from the frame before: hidden or blurred", nil
	case chain.Agree < fo.model.LeastAgree && !fo.landmark.IsHoof():
		return "part of the patch is hidden", nil
	case !fo.clip.shows(chain.At):
		return leftPicture, nil
	case fo.landmark.IsHoof() && fo.aside(m) > fo.model.AsideSpeed:
		return "goes aside faster than a hoof swings", nil
	}
	m.pose = flow.Pose{At: chain.At, Scale: fo.pose.Scale * chain.Scale, Angle: fo.pose.Angle + chain.Angle}
	if m.turn, m.home, err = fo.turning(fo.planeB, m.pose, m.size); err != nil {
		return "", err
	}
	// How far the place is off the landmark grows and shrinks with the picture of the
	// horse.
	grown := sq(fo.grown(m.from, m.to, chain.Scale))
	m.variance = fo.variance*grown + fo.spreadOf(chain, fo.near(m.size)) + m.turn
	return "", nil
}

// aside returns how fast what was found went across the picture, sides of a hoof's patch a second.
func (fo *follower) aside(m *advance) float64 {
	c := fo.clip
	moved := c.steady(m.to, m.chain.At).X - c.steady(m.from, fo.pose.At).X
	return math.Abs(moved) * c.model.LimbShare / m.size / math.Abs(c.times[m.to]-c.times[m.from])
}

// byKey sets the place against the key appearance: there is no drift since then.
func (fo *follower) byKey(m *advance) (cause string, err error) {
	rel := flow.Pose{At: m.pose.At, Scale: m.pose.Scale / fo.key.scale, Angle: m.pose.Angle - fo.key.angle}
	key := fo.key.template.Register(fo.planeB, rel, m.stray)
	if key.OK && key.NCC >= fo.model.KeyNCC && key.Agree >= fo.model.LeastAgree {
		since := sq(fo.grown(fo.key.frame, m.to, rel.Scale))
		keyVariance := fo.key.variance * since
		v1, v2 := max(m.variance-keyVariance, 1e-6), fo.spreadOf(key, fo.near(m.size))+fo.keyTurn+m.turn
		if key.At.Dist(m.pose.At) < 1+3*math.Sqrt(v1+v2) {
			k := v1 / (v1 + v2)
			m.pose.At = mix(m.pose.At, key.At, k)
			m.pose.Scale = math.Exp((1-k)*math.Log(m.pose.Scale) + k*math.Log(key.Scale*fo.key.scale))
			m.pose.Angle += k * (key.Angle + fo.key.angle - m.pose.Angle)
			m.variance = keyVariance + v1*v2/(v1+v2)
			m.held = true
			m.fresh = key.NCC < 0.9 || math.Abs(math.Log(key.Scale)) > 0.08 || math.Abs(key.Angle) > 0.15
		}
	}
	fo.keyTurn += m.turn
	if !m.held && m.chain.NCC < fo.model.AloneNCC && !fo.landmark.IsHoof() {
		return "no longer looks like itself: hidden or blurred", nil
	}
	return "", nil
}

// byMarks sets the place against the marked appearances, which cuts the drift.
func (fo *follower) byMarks(m *advance) (cause string, err error) {
	fo.likeness = 0
	found, err := fo.relocate(fo.planeB, m.pose, m.variance, m.size, m.home)
	if err != nil || found.from == nil {
		return "", err
	}
	fo.likeness = found.NCC
	if found.variance >= fo.model.Surer*m.variance {
		return "", nil
	}
	// The two share the mark's own error, so they are not averaged: the
	// better one is moved to by as much as it is better.
	k := min(1, m.variance/(m.variance+found.variance))
	if m.variance > 4*found.variance {
		k = 1
	}
	m.pose.At = mix(m.pose.At, found.At, k)
	if !m.told {
		m.pose.Scale = math.Exp((1-k)*math.Log(m.pose.Scale) + k*math.Log(found.Scale*found.from.scale))
	}
	m.variance = max(found.variance, (1-k)*m.variance+k*found.variance)
	if k == 1 {
		m.fresh, fo.turned = true, 0
	}
	return "", nil
}

// keep takes over what was found, and the key appearance where it is to be taken anew.
func (fo *follower) keep(m *advance) error {
	fo.lastScale = fo.pose.Scale
	fo.velocity = m.pose.At.Sub(fo.pose.At)
	fo.pose = m.pose
	fo.variance = m.variance
	fo.quality = min(1, max(0, (m.chain.NCC-0.5)/0.5)) * math.Sqrt(m.agree) * math.Sqrt(m.chain.Agree)
	if m.fresh && m.chain.NCC > 0.85 {
		w := fo.base.Scaled(m.pose.Scale)
		weigh := fo.weigh(fo.planeB, m.pose.At, w, &fo.cells)
		if t, err := flow.NewTemplate(fo.planeB, m.pose.At, w, weigh); err == nil {
			fo.key, fo.keyTurn = appearance{template: t, frame: m.to, at: m.pose.At, scale: m.pose.Scale, angle: m.pose.Angle, variance: m.variance}, 0
			if err := fo.repeats(m.b, m.origin); err != nil {
				return err
			}
		}
	}
	return nil
}

// spreadOf returns the variance of a registration, px².
func (fo *follower) spreadOf(r flow.Registration, size float64) float64 {
	// What the noise says, plus what an unlike patch may hide, plus how a patch
	// that is little more than an edge may slide along it.
	unlike := 0.02*size*(1-r.NCC) + 0.04*size*ramp(fo.model.EdgeHold-r.Hold, 0, fo.model.EdgeHold)
	return r.SD*r.SD + fo.model.RegisterFloor*fo.model.RegisterFloor + unlike*unlike
}
