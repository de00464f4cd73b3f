package pipeline

import (
	"context"
	"errors"
	"image"
	"io"
	"math"
	"slices"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// ProposeLike looks in the clip at path for the horse as the marks of another clip of it
// show it, and returns marks for stances of both leading hooves as Propose does. The
// first left and the first right stance are those that look most like a marked one, seen
// from about as far; from these the clip is followed, and all that following does not
// bear out is left out. Left is told from right by how the limbs look and by on which
// side of the body the hoof stands: where the two do not agree there is no proposal, and
// the reason says so.
func ProposeLike(ctx context.Context, path, other string, marks *record.Marks) (found []ProposedMark, reason string, err error) {
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil, "", err
	}
	if fps := marks.FilmedFPS; fps > 0 {
		info = info.FilmedAt(fps) // As the other clip of the set-up was.
	}
	views, err := readMarkedViews(ctx, other, marks)
	if err != nil {
		return nil, "", err
	}
	first, reason, err := firstStances(ctx, info, views, marks.View)
	if err != nil || reason != "" {
		return nil, reason, err
	}
	own := &record.Marks{View: marks.View, Gait: marks.Gait, FilmedFPS: marks.FilmedFPS, Picture: record.Picture{Width: info.Width, Height: info.Height}}
	for _, m := range first {
		own.Marks = append(own.Marks, record.At(m.Frame, m.Landmark, m.X, m.Y))
	}
	p, err := newProposer(ctx, path, info, own)
	if err != nil {
		return nil, "", err
	}
	for i := 0; i < len(first); i += 2 {
		if !p.stands(first[i].Landmark, first[i].Frame) {
			return nil, "no stance like those marked in " + marks.Clip + " is seen surely enough", nil
		}
	}
	found = append(first, onTheirSides(p.more(), marks)...)
	if !sidesAgree(found, marks.View) {
		return nil, "left and right can't be told apart surely enough", nil
	}
	sortByFrame(found)
	return found, "", nil
}

// leading returns the hooves that go in front in a view, left first, and the landmark of
// the body that is marked with them.
func leading(view traj.View) (hooves [2]traj.Landmark, body traj.Landmark) {
	if view == traj.Away {
		return [2]traj.Landmark{traj.LeftHind, traj.RightHind}, traj.Croup
	}
	return [2]traj.Landmark{traj.LeftFore, traj.RightFore}, traj.Head
}

// markedView is a marked stance of another clip: a hoof that stands, and the body above it.
type markedView struct {
	view       traj.View
	side       int // Of leading's hooves.
	hoof, body flow.Point
	high       float64   // From hoof to body, px.
	picture    flow.Gray // Around both.
	origin     image.Point
}

// across is how far the hoof stands to the right of the body, in its height.
func (v *markedView) across() float64 { return (v.hoof.X - v.body.X) / v.high }

// readMarkedViews reads what the marks of a clip show of hooves and body.
func readMarkedViews(ctx context.Context, path string, marks *record.Marks) ([]markedView, error) {
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := marks.Fit(record.MarksPath(path), info.Width, info.Height, len(info.Times)); err != nil {
		return nil, err
	}
	hooves, body := leading(marks.View)
	at := map[int]map[traj.Landmark]flow.Point{} // By frame.
	for _, m := range marks.Marks {
		if !m.Hidden {
			if at[m.Frame] == nil {
				at[m.Frame] = map[traj.Landmark]flow.Point{}
			}
			at[m.Frame][m.Landmark] = flow.Point{X: *m.X, Y: *m.Y}
		}
	}
	var views []markedView
	err = eachFrame(ctx, info, func(f int, g flow.Gray) error {
		b, seen := at[f][body]
		for side, l := range hooves {
			h, stands := at[f][l]
			if !seen || !stands || h.Y-b.Y < 40 {
				continue // Too small to look like anything.
			}
			v := markedView{view: marks.View, side: side, hoof: h, body: b, high: h.Y - b.Y}
			part := image.Rect(int(b.X-0.6*v.high), int(b.Y-0.4*v.high), int(b.X+0.6*v.high), int(h.Y+0.2*v.high)).Intersect(image.Rect(0, 0, g.Width, g.Height))
			v.picture, v.origin = packed(g.Crop(part)), part.Min
			views = append(views, v)
		}
		return nil
	})
	return views, err
}

// packed returns a copy of g.
func packed(g flow.Gray) flow.Gray {
	out := flow.Gray{Pix: make([]byte, g.Width*g.Height), Width: g.Width, Height: g.Height, Stride: g.Width}
	g.Pack(out.Pix)
	return out
}

// eachFrame calls each with the frames of a clip in order; what they hold is valid until
// it returns.
func eachFrame(ctx context.Context, info *clip.Info, each func(f int, g flow.Gray) error) (err error) {
	r, err := clip.Open(ctx, info)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	w, h := r.Size()
	for f := 0; ; f++ {
		pixels, _, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if err := each(f, flow.Gray{Pix: pixels, Width: w, Height: h, Stride: w}); err != nil {
			return err
		}
	}
}

const (
	lookSide  = 20   // To so many px the limbs are shrunk where they are looked for.
	lookEvery = 0.04 // s: a stance of a trot lasts for 0.2 s.
	lookNCC   = 0.6  // From how much likeness on a place is looked at closely.
	lookMost  = 12   // How many places are.
	hoofNCC   = 0.75 // How much the hoof must then look like the marked one,
	bodyNCC   = 0.65 // and the body, behind which other ground may be seen.
	sideNCC   = 0.03 // How much more the limbs must look like those of the one side.
	sideShare = 0.45 // How far from its side's place across a hoof may stand, of the way to the other's.
	steadyS   = 0.05 // A hoof that stands is in its place so long before and after.
	steadyWay = 0.04 // It seems to go no farther meanwhile, in heights from hoof to body.
)

// sizes are how large the horse may look against a marked view.
var sizes = []float64{0.85, 0.95, 1.06, 1.18}

// glimpse is a frame in which the limbs look like those of a marked view.
type glimpse struct {
	frame int
	view  *markedView
	size  float64
	body  flow.Point // About.
	like  float64    // NCC.
	other float64    // The most that the limbs in this frame look like the other side's.
}

// firstStances returns a hoof and the body for one left and one right stance; reason says
// why there are none.
func firstStances(ctx context.Context, info *clip.Info, views []markedView, view traj.View) (found []ProposedMark, reason string, err error) {
	var across [2][]float64
	for _, v := range views {
		across[v.side] = append(across[v.side], v.across())
	}
	if len(across[0]) == 0 || len(across[1]) == 0 {
		return nil, "the marks show no left and right stance together with the body", nil
	}
	lookers, err := newLookers(views)
	if err != nil {
		return nil, "", err
	}
	step := max(1, int(math.Round(lookEvery*info.FrameRate)))
	best := make(map[*markedView]map[int]glimpse)
	for i := range views {
		best[&views[i]] = map[int]glimpse{}
	}
	err = eachFrame(ctx, info, func(f int, g flow.Gray) error {
		if f%step != 0 {
			return nil
		}
		return lookers.in(f, g, func(seen glimpse) {
			if old := best[seen.view][f]; seen.like > old.like {
				best[seen.view][f] = seen
			}
		})
	})
	if err != nil {
		return nil, "", err
	}
	glimpses := likest(best, step)
	if len(glimpses) == 0 {
		return nil, "nothing in this clip looks enough like the marked stances", nil
	}
	closer, err := lookClosely(ctx, info, glimpses)
	if err != nil {
		return nil, "", err
	}
	hooves, body := leading(view)
	for side := range hooves {
		chosen, reason := bestOfSide(closer, side, mean(across[side]), mean(across[1-side]))
		if chosen == nil {
			return nil, reason, nil
		}
		found = append(found,
			ProposedMark{Frame: chosen.frame, Landmark: hooves[side], X: chosen.hoof.At.X, Y: chosen.hoof.At.Y, SD: math.Hypot(1, chosen.hoof.SD)},
			ProposedMark{Frame: chosen.frame, Landmark: body, X: chosen.trunk.At.X, Y: chosen.trunk.At.Y, SD: math.Hypot(1, chosen.trunk.SD)})
	}
	return found, "", nil
}

// bestOfSide returns the look that is likest to the marked views of a side, in which the
// hoof stands nearer to its own side's place across than to the other's; reason says why
// there is none.
func bestOfSide(looks []closeLook, side int, own, other float64) (chosen *closeLook, reason string) {
	reason = "no stance looks enough like those marked"
	for i := range looks {
		c := &looks[i]
		switch {
		case c.view.side != side:
		case c.like-c.other < sideNCC || math.Abs(c.across()-own) > sideShare*math.Abs(other-own):
			reason = "left and right can't be told apart surely enough"
		case chosen == nil || c.score() > chosen.score():
			chosen = c
		}
	}
	return chosen, reason
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// looker looks for the limbs of one marked view in small pictures.
type looker struct {
	view   *markedView
	limbs  flow.Gray  // lookSide px high.
	shrink float64    // Pixels of limbs over those of the view.
	corner flow.Point // From the body to the top-left corner of limbs, px of the view.
}

type lookers []looker

// newLookers returns the lookers for views.
func newLookers(views []markedView) (lookers, error) {
	var out lookers
	for i := range views {
		v := &views[i]
		part := image.Rect(int(v.body.X-0.28*v.high), int(v.body.Y+0.35*v.high), int(v.body.X+0.28*v.high), int(v.hoof.Y+0.05*v.high)).Intersect(image.Rectangle{v.origin, v.origin.Add(image.Pt(v.picture.Width, v.picture.Height))})
		if part.Dx() < 8 || part.Dy() < 8 {
			continue
		}
		l := looker{view: v, shrink: min(1, lookSide/float64(part.Dy())), corner: flow.Point{X: float64(part.Min.X) - v.body.X, Y: float64(part.Min.Y) - v.body.Y}}
		var err error
		l.limbs, err = flow.Resize(v.picture.Crop(part.Sub(v.origin)), max(8, int(float64(part.Dx())*l.shrink+0.5)), max(8, int(float64(part.Dy())*l.shrink+0.5)))
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

// in looks for all views in frame f at all sizes and tells the likest place of each.
func (ls lookers) in(f int, g flow.Gray, tell func(glimpse)) error {
	small, factor := g, 1.0
	if by := g.Width / 480; by > 1 {
		var err error
		if small, err = flow.Shrink(g, by, flow.Gray{}); err != nil {
			return err
		}
		factor = float64(by)
	}
	for i := range ls {
		l := &ls[i]
		for _, size := range sizes {
			scale := l.shrink / size // Of the frame's pixels.
			w, h := int(float64(small.Width)*factor*scale+0.5), int(float64(small.Height)*factor*scale+0.5)
			if w < l.limbs.Width || h < l.limbs.Height || scale*factor > 1.5 {
				continue
			}
			picture, err := flow.Resize(small, w, h)
			if err != nil {
				return err
			}
			s, err := flow.Match(picture, l.limbs, flow.Scores{})
			if err != nil {
				return err
			}
			at, like := 0, float32(-1)
			for k, v := range s.Score {
				if v > like {
					at, like = k, v
				}
			}
			corner := flow.Point{X: float64(at%s.Width) / scale, Y: float64(at/s.Width) / scale}
			tell(glimpse{frame: f, view: l.view, size: size, like: float64(like), body: flow.Point{X: corner.X - l.corner.X*size, Y: corner.Y - l.corner.Y*size}})
		}
	}
	return nil
}

// likest returns the glimpses to look at closely: of each view those that are likest among
// their neighbours in time, the likest of all first.
func likest(best map[*markedView]map[int]glimpse, step int) []glimpse {
	var out []glimpse
	for v, frames := range best {
		for f, g := range frames {
			if g.like < lookNCC || frames[f-step].like > g.like || frames[f+step].like >= g.like {
				continue
			}
			for o, others := range best {
				if o.side != v.side {
					g.other = max(g.other, others[f].like)
				}
			}
			out = append(out, g)
		}
	}
	slices.SortFunc(out, func(a, b glimpse) int {
		switch {
		case a.like != b.like:
			return int(math.Copysign(1, b.like-a.like))
		case a.frame != b.frame:
			return a.frame - b.frame
		default:
			return int(math.Copysign(1, a.view.hoof.X-b.view.hoof.X))
		}
	})
	var kept [2]int
	return slices.DeleteFunc(out, func(g glimpse) bool {
		kept[g.view.side]++
		return kept[g.view.side] > lookMost/2
	})
}

// closeLook is a glimpse in full detail.
type closeLook struct {
	glimpse
	hoof, trunk flow.Registration
}

func (c *closeLook) score() float64 { return min(c.hoof.NCC, c.trunk.NCC) }

func (c *closeLook) across() float64 {
	return (c.hoof.At.X - c.trunk.At.X) / (c.hoof.At.Y - c.trunk.At.Y)
}

// lookClosely registers hoof and body of glimpses and returns those that look alike and
// whose hoof stands.
func lookClosely(ctx context.Context, info *clip.Info, glimpses []glimpse) ([]closeLook, error) {
	apart := max(1, int(math.Round(steadyS*info.FrameRate)))
	pictures := map[int]flow.Gray{}
	for _, g := range glimpses {
		for _, f := range []int{g.frame - apart, g.frame, g.frame + apart} {
			pictures[f] = flow.Gray{}
		}
	}
	err := eachFrame(ctx, info, func(f int, g flow.Gray) error {
		if _, wanted := pictures[f]; wanted {
			pictures[f] = packed(g)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var out []closeLook
	for _, g := range glimpses {
		v, c := g.view, closeLook{glimpse: g}
		picture := pictures[g.frame]
		r := 0.09 * v.high
		around := flow.Window{Left: r, Right: r, Up: r, Down: r}
		if v.view == traj.Away {
			// The croup's own patch slides along the outline; both sides of the quarters hold it.
			around = flow.Window{Left: 2.2 * r, Right: 2.2 * r, Up: 0.4 * r, Down: 2.8 * r}
		}
		var ok bool
		if c.trunk, ok, err = find(v, v.body, around, picture, g.body, g.size, 0.16*v.high*g.size, bodyNCC); err != nil {
			return nil, err
		} else if !ok {
			continue
		}
		size := c.trunk.Scale
		r = 0.06 * v.high
		about := c.trunk.At.Add(flow.Point{X: (v.hoof.X - v.body.X) * size, Y: (v.hoof.Y - v.body.Y) * size})
		if c.hoof, ok, err = find(v, v.hoof, flow.Window{Left: r, Right: r, Up: 2 * r, Down: 0.5 * r}, picture, about, size, 0.1*v.high*size, hoofNCC); err != nil {
			return nil, err
		} else if !ok {
			continue
		}
		w := flow.Window{Left: r * size, Right: r * size, Up: 1.5 * r * size, Down: 0.4 * r * size}
		if stands(picture, pictures[g.frame-apart], pictures[g.frame+apart], c.hoof.At, w, steadyWay*v.high*size) {
			out = append(out, c)
		}
	}
	return out, nil
}

// stands reports whether the patch around a hoof is in the same place, to so many px, a
// moment before and after.
func stands(picture, before, after flow.Gray, hoof flow.Point, w flow.Window, way float64) bool {
	t, err := flow.NewTemplate(flow.NewPlane(picture, 0, 0, 0), hoof, w, nil)
	if err != nil {
		return false // It gives no hold.
	}
	for _, near := range []flow.Gray{before, after} {
		if near.Width == 0 {
			return false
		}
		r := t.Register(flow.NewPlane(near, 0, 0, 0), flow.Pose{At: hoof, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.01, AngleSD: 0.03})
		if !r.OK || r.NCC < hoofNCC || r.At.Dist(hoof) > way {
			return false
		}
	}
	return true
}

// find registers the patch w around a place of a marked view in a picture, where it lies
// within reach of about and is size times as large, px.
func find(v *markedView, place flow.Point, w flow.Window, picture flow.Gray, about flow.Point, size, reach, least float64) (flow.Registration, bool, error) {
	// The place by correlation, at the picture's own detail.
	part := image.Rect(int(place.X-w.Left), int(place.Y-w.Up), int(place.X+w.Right)+1, int(place.Y+w.Down)+1).Sub(v.origin).Intersect(image.Rect(0, 0, v.picture.Width, v.picture.Height))
	width, height := int(float64(part.Dx())*size+0.5), int(float64(part.Dy())*size+0.5)
	if width < 8 || height < 8 {
		return flow.Registration{}, false, nil
	}
	like, err := flow.Resize(v.picture.Crop(part), width, height)
	if err != nil {
		return flow.Registration{}, false, err
	}
	mark := flow.Point{X: (place.X - float64(v.origin.X+part.Min.X) + 0.5) * size, Y: (place.Y - float64(v.origin.Y+part.Min.Y) + 0.5) * size}
	field := image.Rect(int(about.X-mark.X-reach), int(about.Y-mark.Y-reach), int(about.X-mark.X+reach)+width, int(about.Y-mark.Y+reach)+height).Intersect(image.Rect(0, 0, picture.Width, picture.Height))
	if field.Dx() < width || field.Dy() < height {
		return flow.Registration{}, false, nil
	}
	s, err := flow.Match(picture.Crop(field), like, flow.Scores{})
	if err != nil {
		return flow.Registration{}, false, err
	}
	at := 0
	for k, score := range s.Score {
		if score > s.Score[at] {
			at = k
		}
	}
	start := flow.Point{X: float64(field.Min.X+at%s.Width) + mark.X - 0.5, Y: float64(field.Min.Y+at/s.Width) + mark.Y - 0.5}
	// To parts of a pixel, with size and angle free.
	t, err := flow.NewTemplate(flow.NewPlane(v.picture, v.origin.X, v.origin.Y, 0), place, w, middle(place, w))
	if err != nil {
		return flow.Registration{}, false, nil // It gives no hold.
	}
	r := t.Register(flow.NewPlane(picture, 0, 0, 0), flow.Pose{At: start, Scale: size}, flow.RegisterOptions{ScaleSD: 0.05, AngleSD: 0.06})
	return r, r.OK && r.NCC >= least && r.At.Dist(about) <= 1.5*reach, nil
}

// middle weighs the middle of a patch more than its rim, where other ground may be seen.
func middle(place flow.Point, w flow.Window) func(x, y float64) float64 {
	cx, cy := place.X+(w.Right-w.Left)/2, place.Y+(w.Down-w.Up)/2
	rx, ry := 0.3*(w.Left+w.Right), 0.3*(w.Up+w.Down)
	return func(x, y float64) float64 {
		return math.Exp(-((x-cx)*(x-cx)/(rx*rx) + (y-cy)*(y-cy)/(ry*ry)) / 2)
	}
}

// onTheirSides leaves out hooves that stand no nearer to their own side's place across, as
// marks show it, than bestOfSide asks for, with the body above them: followed far enough a
// limb may have become the other one. Where the body is not known the side cannot be checked.
func onTheirSides(found []ProposedMark, marks *record.Marks) []ProposedMark {
	hooves, body := leading(marks.View)
	marked := make([]ProposedMark, 0, len(marks.Marks))
	for _, m := range marks.Marks {
		if !m.Hidden {
			marked = append(marked, ProposedMark{Frame: m.Frame, Landmark: m.Landmark, X: *m.X, Y: *m.Y})
		}
	}
	var own [2]float64
	for side, hoof := range hooves {
		var all []float64
		for _, m := range marked {
			if a, ok := acrossIn(marked, m, body); ok && m.Landmark == hoof {
				all = append(all, a)
			}
		}
		own[side] = mean(all)
	}
	beside := map[int]bool{} // Frames with a hoof that is left out.
	for _, m := range found {
		if side := slices.Index(hooves[:], m.Landmark); side >= 0 {
			a, ok := acrossIn(found, m, body)
			beside[m.Frame] = !ok || !(math.Abs(a-own[side]) <= sideShare*math.Abs(own[1-side]-own[side]))
		}
	}
	return slices.DeleteFunc(found, func(m ProposedMark) bool { return beside[m.Frame] })
}

// acrossIn returns how far a hoof stands to the right of the body in the same frame, in its
// height above the hoof.
func acrossIn(marks []ProposedMark, hoof ProposedMark, body traj.Landmark) (across float64, ok bool) {
	i := slices.IndexFunc(marks, func(m ProposedMark) bool { return m.Frame == hoof.Frame && m.Landmark == body })
	if i < 0 || hoof.Y <= marks[i].Y {
		return 0, false
	}
	return (hoof.X - marks[i].X) / (hoof.Y - marks[i].Y), true
}

// sidesAgree reports whether every left hoof stands on the left of every right one, as
// seen from the body above it: the horse's left is on the right where it comes toward the
// camera.
func sidesAgree(marks []ProposedMark, view traj.View) bool {
	_, body := leading(view)
	at := map[int]ProposedMark{}
	for _, m := range marks {
		if m.Landmark == body {
			at[m.Frame] = m
		}
	}
	most := map[traj.Side]float64{traj.Left: math.Inf(-1), traj.Right: math.Inf(-1)}
	least := map[traj.Side]float64{traj.Left: math.Inf(1), traj.Right: math.Inf(1)}
	for _, m := range marks {
		b, seen := at[m.Frame]
		if !m.Landmark.IsHoof() || !seen || m.Y <= b.Y {
			continue
		}
		leftward := (m.X - b.X) / (m.Y - b.Y)
		if view == traj.Away {
			leftward = -leftward
		}
		side := m.Landmark.Side()
		most[side], least[side] = max(most[side], leftward), min(least[side], leftward)
	}
	return least[traj.Left] > most[traj.Right]
}
