package track

import (
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
)

// place is a pixel of a map of correlation.
type place struct {
	x, y  int
	score float64
}

// bestPlace returns the place with the highest score of those that allowed (nil: all) says.
func bestPlace(s flow.Scores, allowed func(x, y int) bool) place {
	p := place{score: -1}
	for y := range s.Height {
		for x := range s.Width {
			if v := float64(s.Score[y*s.Width+x]); v > p.score && (allowed == nil || allowed(x, y)) {
				p = place{x, y, v}
			}
		}
	}
	return p
}

// rival returns the highest score farther from p than apart, pixels.
func rival(s flow.Scores, p place, apart float64) float64 {
	best := -1.0
	for y := range s.Height {
		for x := range s.Width {
			v := float64(s.Score[y*s.Width+x])
			if v > best && math.Hypot(float64(x-p.x), float64(y-p.y)) > apart {
				best = v
			}
		}
	}
	return best
}

// peaks returns the places that score higher than all beside them.
func peaks(s flow.Scores) (out []place) {
	at := func(x, y int) float32 { return s.Score[y*s.Width+x] }
	for y := 1; y < s.Height-1; y++ {
		for x := 1; x < s.Width-1; x++ {
			v := at(x, y)
			if v > at(x-1, y) && v >= at(x+1, y) && v > at(x, y-1) && v >= at(x, y+1) &&
				v > at(x-1, y-1) && v >= at(x+1, y+1) && v > at(x+1, y-1) && v >= at(x-1, y+1) {
				out = append(out, place{x: x, y: y, score: float64(v)})
			}
		}
	}
	return out
}

// searchSide is the side of a patch, px, to which a larger one is shrunk where it is
// looked for: correlating costs its fourth power.
const searchSide = 20.0

// searchClosely is for how many frames a lost landmark is searched for in each; then in
// every second one.
const searchClosely = 12

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
	a.picture, err = flow.Resize(g, max(int(float64(g.Width)*a.small+0.5), 1), max(int(float64(g.Height)*a.small+0.5), 1))
	return a, err
}

// likeness says how much each place of an area looks like an appearance.
type likeness struct {
	flow.Scores
	area *area
	mark flow.Point // From a place, pixels.
}

// where returns the place in the frame at which the mark lies if the appearance lies at pixel
// (x, y). Outer rims of pixels coincide, whatever their size.
func (l *likeness) where(x, y int) flow.Point {
	a := l.area
	return flow.Point{
		X: float64(a.part.Min.X) + (float64(x)+l.mark.X)*float64(a.part.Dx())/float64(a.picture.Width) - 0.5,
		Y: float64(a.part.Min.Y) + (float64(y)+l.mark.Y)*float64(a.part.Dy())/float64(a.picture.Height) - 0.5,
	}
}

// best returns where it looks most like it among those places of the frame that are allowed.
func (l *likeness) best(allowed func(p flow.Point) bool) (best place, at flow.Point) {
	best = bestPlace(l.Scores, func(x, y int) bool { return allowed(l.where(x, y)) })
	return best, l.where(best.x, best.y)
}

// like says how much the area looks like appearance m at rel times its size; ok is false where
// that has fewer than least pixels along a side, or is larger than the area. What it says holds
// until the next call with the same room; rooms may be used at once.
func (fo *follower) like(room int, a *area, m *appearance, rel float64, least int) (l likeness, ok bool, err error) {
	inner := rectAround(m.at, m.window, 0).Sub(m.origin)
	from := m.patch.Crop(inner)
	width, height := int(float64(from.Width)*rel*a.small+0.5), int(float64(from.Height)*rel*a.small+0.5)
	if from.Width < least || from.Height < least || width < least || height < least || width > a.picture.Width || height > a.picture.Height {
		return l, false, nil
	}
	part, err := flow.Resize(from, width, height)
	if err != nil {
		return l, false, err
	}
	l = likeness{area: a, mark: flow.Point{
		X: (m.at.X - float64(m.origin.X) - float64(max(inner.Min.X, 0)) + 0.5) * float64(width) / float64(from.Width),
		Y: (m.at.Y - float64(m.origin.Y) - float64(max(inner.Min.Y, 0)) + 0.5) * float64(height) / float64(from.Height),
	}}
	l.Scores, err = fo.correlate(room, a.picture, part)
	return l, err == nil, err
}

// search looks for a lost landmark in frame g.
func (fo *follower) search(g int, growth float64, claimed []flow.Point) error {
	fo.gone++
	known, told := fo.told(g-fo.dir, g)
	if told {
		growth = known
	}
	fo.pose.Scale *= growth
	if fo.landmark.IsHoof() || len(fo.anchors) == 0 {
		return nil
	}
	if p, ok := fo.clip.unsteady(g, fo.clip.steady(g-fo.dir, fo.pose.At)); ok {
		fo.pose.At = p // The camera moves meanwhile.
	}
	dt := math.Abs(fo.clip.times[len(fo.clip.times)-1]) / float64(max(len(fo.clip.times)-1, 1))
	if float64(fo.gone)*dt > fo.model.SearchForS || fo.cause == markedHidden && fo.gone < 2 {
		return nil
	}
	if fo.gone > searchClosely && fo.gone%2 == 0 {
		return nil // What is gone for so long is not back for one frame only.
	}
	size := fo.size()
	w := fo.base.Scaled(fo.pose.Scale)
	reach := min(size*(0.5+fo.model.SearchStrays*float64(fo.gone)*dt), 3*size)
	rect := rectAround(fo.pose.At, w, reach+size/2)
	b, o, buf, err := fo.clip.spool.region(g, rect, fo.bufB)
	fo.bufB = buf
	if err != nil || b.Width < 12 || b.Height < 12 {
		return err
	}
	fo.planeB.Fill(b, o.X, o.Y, halvings(size))
	// Where it may lie is looked for in a smaller picture; registration says where it does.
	field, err := fo.areaFor(b, o, size)
	if err != nil {
		return err
	}
	places, alike, err := fo.mayLie(&field, size, reach, claimed)
	if err != nil {
		return err
	}
	best, err := fo.likestAnchor(places, alike, size)
	if err != nil || best.from == nil {
		return err
	}
	pose := flow.Pose{At: best.At, Scale: best.Scale * best.from.scale}
	if told {
		pose.Scale = fo.pose.Scale
	}
	fo.found(g, pose, best.variance)
	return nil
}

// likestAnchor registers the anchors that may be alike at their places and returns the one that
// is most so, if any is alike enough.
func (fo *follower) likestAnchor(places []flow.Point, alike []bool, size float64) (best relocation, err error) {
	for i, m := range fo.anchors {
		if !alike[i] {
			continue
		}
		r, ok, err := fo.anchor(m, fo.planeB, flow.Pose{At: places[i], Scale: fo.pose.Scale}, size, fo.model.AnchorNCC)
		if err != nil {
			return best, err
		}
		if ok && r.NCC >= fo.model.AnchorNCC && r.Agree > 0.55 && (best.from == nil || r.NCC > best.NCC) {
			best = r
		}
	}
	return best, nil
}

// mayLie returns where each anchor may lie in the field within reach of where the landmark
// is expected, px, and whether it clearly looks like it there; not where one of claimed lies.
func (fo *follower) mayLie(field *area, size, reach float64, claimed []flow.Point) (places []flow.Point, alike []bool, err error) {
	for len(fo.scores) < len(fo.anchors) {
		fo.scores = append(fo.scores, flow.Scores{})
	}
	places, alike = make([]flow.Point, len(fo.anchors)), make([]bool, len(fo.anchors))
	err = fo.clip.hands.together(len(fo.anchors), func(i int) (err error) {
		m := fo.anchors[i]
		rel := fo.pose.Scale / m.scale
		if rel > 3 || rel < 0.33 {
			return nil
		}
		l, ok, err := fo.like(i, field, m, rel, 8)
		if err != nil || !ok {
			return err
		}
		p, at := l.best(func(q flow.Point) bool {
			return q.Dist(fo.pose.At) <= reach && !slices.ContainsFunc(claimed, func(c flow.Point) bool { return q.Dist(c) < 0.5*size })
		})
		places[i] = at
		alike[i] = p.score >= fo.model.SearchNCC && p.score-rival(l.Scores, p, 0.35*size*field.small) >= fo.model.SearchMargin
		return nil
	})
	return places, alike, err
}

// found goes on from where the landmark was found again in frame g.
func (fo *follower) found(g int, pose flow.Pose, variance float64) {
	w := fo.base.Scaled(pose.Scale)
	weigh := fo.weigh(fo.planeB, pose.At, w, &fo.cells)
	t, err := flow.NewTemplate(fo.planeB, pose.At, w, weigh)
	if err != nil {
		return
	}
	fo.pose, fo.lastScale, fo.velocity = pose, 0, flow.Point{}
	fo.variance = variance
	fo.quality = 0.6
	fo.gone = 0
	fo.on, fo.cause = true, ""
	fo.key, fo.keyTurn = appearance{template: t, frame: g, at: pose.At, scale: pose.Scale, variance: fo.variance}, 0
}
