package track

import (
	"cmp"
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// appearance is what a landmark looked like in one frame.
type appearance struct {
	template *flow.Template
	frame    int
	at       flow.Point
	scale    float64 // The follower's scale in that frame.
	angle    float64
	variance float64 // Of the landmark's position in it, px².
	// patch holds the pixels around it, for search and for resizing; only for
	// marked appearances.
	patch   flow.Gray
	origin  image.Point
	window  flow.Window // px, in the frame it was taken from.
	resized map[int]*flow.Template
	weigh   func(x, y float64) float64
}

// relocation is a place found by old appearances.
type relocation struct {
	flow.Registration
	variance float64
	click    float64     // The part of the variance that the mark's own error is, px².
	from     *appearance // The most alike of them; nil where none was found.
}

// agrees reports whether two places of one landmark lie no farther apart than both may be off.
func (r *relocation) agrees(o relocation) bool {
	return r.At.Dist(o.At) <= 0.2+2.5*math.Sqrt(r.variance+o.variance)
}

// agreed puts together the places that several appearances found. Their marks
// were clicked one by one, so the errors of the clicks are independent; that the
// landmark looks otherwise from here than it did where it was marked moves all of
// them alike. One that contradicts the surest is left out.
func agreed(found []relocation) relocation {
	if len(found) == 0 {
		return relocation{}
	}
	surest := slices.MinFunc(found, func(a, b relocation) int { return cmp.Compare(a.variance, b.variance) })
	best := slices.MaxFunc(found, func(a, b relocation) int { return cmp.Compare(a.NCC, b.NCC) })
	var at flow.Point
	var sum, clicks, rest float64
	for _, r := range found {
		if !r.agrees(surest) {
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

// How many marked appearances a place is compared with. Patches of the outline are large, and
// more than two say no more of them (fit set).
const (
	mostAnchors        = 4
	mostOutlineAnchors = 2
)

// bestAnchors returns the appearances that tell most of the place at pose.
func (fo *follower) bestAnchors(anchors []*appearance, pose flow.Pose, size float64) []*appearance {
	most := mostAnchors
	if onOutline(fo.landmark) {
		most = mostOutlineAnchors
	}
	if len(anchors) <= most {
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
	out := make([]*appearance, most)
	for i := range out {
		out[i] = all[i].appearance
	}
	return out
}

// relocate looks for the marked appearances of a landmark of the body near pose. It
// returns the best that fits and lies where the spread allows. A hoof in the air is turned,
// even where it looks much as it was marked. home is where its home appearance was found, nil
// where it was not.
func (fo *follower) relocate(plane flow.Plane, pose flow.Pose, variance, size float64, home *relocation) (relocation, error) {
	if fo.landmark.IsHoof() {
		return relocation{}, nil
	}
	alike := fo.model.AnchorNCC
	if onOutline(fo.landmark) && fo.landmark != traj.Croup {
		alike = fo.model.OutlineNCC
	}
	var all []relocation
	for _, m := range fo.bestAnchors(fo.anchors, pose, size) {
		var r relocation
		var ok bool
		if m == fo.home && home != nil {
			r, ok = *home, true
		} else {
			var err error
			if r, ok, err = fo.anchor(m, plane, pose, size, alike); err != nil {
				return relocation{}, err
			}
		}
		// The farther it would jump, the more alike it must be.
		d := r.At.Dist(pose.At)
		if ok && r.NCC >= alike+0.08*ramp(d/size, 0.01, 0.08) && r.Agree >= 0.55 && d <= 1+3*math.Sqrt(variance+r.variance) {
			all = append(all, r)
		}
	}
	return agreed(all), nil
}

// anchor registers a marked appearance, resized to the distance, in plane. It gives up
// early what will not come to be as alike as it must be; 0 asks for nothing.
func (fo *follower) anchor(m *appearance, plane flow.Plane, pose flow.Pose, size, alike float64) (relocation, bool, error) {
	rel := pose.Scale / m.scale
	if rel > 3 || rel < 0.33 {
		return relocation{}, false, nil
	}
	t, ratio, err := fo.resized(m, rel)
	if err != nil || t == nil {
		return relocation{}, false, err
	}
	r := t.Register(plane, flow.Pose{At: pose.At, Scale: rel / ratio}, flow.RegisterOptions{ScaleSD: 0.04, AngleSD: 0.06, Hopeless: max(0, alike-fo.model.FarOff)})
	if !r.OK {
		return relocation{Registration: r}, false, nil
	}
	r.Scale *= ratio
	return relocation{r, fo.carried(m, rel, size) + fo.spreadOf(r, fo.near(size)), m.variance * sq(rel), m}, true, nil
}

// carried is the variance, px², with which the mark of m is known on its patch
// where that appears rel times as large, size px: its own error scales with the
// distance, and seen from another distance and angle the patch is not quite the same.
func (fo *follower) carried(m *appearance, rel, size float64) float64 {
	size = fo.near(size)
	change := 0.01 * size * math.Abs(math.Log(rel))
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
	g, err := flow.Resize(m.patch, width, height)
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
