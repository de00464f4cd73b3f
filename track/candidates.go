package track

import (
	"cmp"
	"context"
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
)

// Where nobody marked a hoof it is looked for around where the trunk says that hooves stand:
// what looks like one and stays in one place for a few looks is a stance.

// candidate is a place where a hoof of the pair may stand in one frame.
type candidate struct {
	frame  int
	at     flow.Point
	steady flow.Point
	score  float64
	size   float64
	side   int // Of the appearance that is like it.
}

// lookEveryS is how often stances are looked for, s.
const lookEveryS = 0.05

// interpolated returns what the models, of which there must be one, give in frame f: in between
// those marked before and after it. Of several marked in one frame the first counts.
func interpolated(models []model, times []float64, f int, value func(m *model) float64) float64 {
	var all []valueAt
	for i := range models {
		all = append(all, valueAt{models[i].frame, value(&models[i])})
	}
	slices.SortStableFunc(all, func(a, b valueAt) int { return a.frame - b.frame })
	return along(slices.CompactFunc(all, func(a, b valueAt) bool { return a.frame == b.frame }), times, f)
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
	if size < st.model.LeastHoof {
		return nil, nil
	}
	in := st.searched(expectedAt(t, models, f), size)
	return st.lookIn(f, in, [2][]model{nearest(models[0], t, f), nearest(models[1], t, f)}, size)
}

// lookIn returns the places in a part of frame f that look most like models in the given size, px.
func (st *stander) lookIn(f int, in bounds, models [2][]model, size float64) ([]candidate, error) {
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
		for _, m := range models[side] {
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

func (b bounds) contain(p flow.Point) bool {
	return p.X >= b.left && p.X <= b.right && p.Y >= b.top && p.Y <= b.bottom
}

// searched returns where hooves are looked for around where they are expected.
func (st *stander) searched(expected [2]flow.Point, size float64) bounds {
	a, b := expected[0], expected[1]
	across, down := st.model.SearchAcross*size, st.model.SearchDown*size
	return bounds{left: min(a.X, b.X) - across, right: max(a.X, b.X) + across, top: min(a.Y, b.Y) - down, bottom: max(a.Y, b.Y) + down}
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
	l, ok, err := st.fo.like(0, field, m.appearance, rel, 6)
	if err != nil || !ok {
		return nil, err
	}
	width, height := field.picture.Width-l.Width+1, field.picture.Height-l.Height+1
	var out []candidate
	for range 3 {
		p, at := l.best(in.contain)
		if p.score < st.model.LookNCC {
			break
		}
		for y := max(p.y-height/3, 0); y <= min(p.y+height/3, l.Height-1); y++ {
			for x := max(p.x-width/3, 0); x <= min(p.x+width/3, l.Width-1); x++ {
				l.Score[y*l.Width+x] = -1
			}
		}
		out = append(out, candidate{at: at, score: p.score, size: size})
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
		return slices.ContainsFunc(all, func(s *standing) bool {
			return f >= s.first()-1 && f <= s.last()+1 && s.mean().Dist(p) < 0.5*size
		})
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
		if s == nil || taken((s.first()+s.last())/2, s.mean(), s.size) || slices.ContainsFunc(known, s.isAlso) {
			continue
		}
		all = append(all, s)
	}
	return all, nil
}

// staying looks for the pair's hooves every lookEveryS and returns, of those that stay in one
// place for a few looks, the likest, and others some time before or after.
func (st *stander) staying(ctx context.Context, t *trunk, models [2][]model) ([]candidate, error) {
	n := len(st.clip.times)
	if n < 2 {
		return nil, nil
	}
	every := max(1, int(st.clip.rate()*lookEveryS+0.5))
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
		for _, g := range joined(open, hits) {
			if f-g[len(g)-1].frame > 3*every {
				best = append(best, st.likestOf(g)...)
			} else {
				next = append(next, g)
			}
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

// joined adds to every group the first of hits, of a later frame, that lies where it does.
func joined(groups [][]candidate, hits []candidate) [][]candidate {
	for i, g := range groups {
		last := g[len(g)-1]
		if k := slices.IndexFunc(hits, func(h candidate) bool { return h.together(last) }); k >= 0 {
			groups[i] = append(g, hits[k])
		}
	}
	return groups
}

// together reports whether h lies where o does on the ground.
func (h candidate) together(o candidate) bool { return h.steady.Dist(o.steady) < 0.3*h.size }

// likestOf returns the likest of a group, and others some time before or after; none where it was
// seen in too few frames.
func (st *stander) likestOf(group []candidate) []candidate {
	if len(group) < st.model.LooksAlike { // Each is of another frame.
		return nil
	}
	times := st.clip.times
	likest(group)
	var chosen []candidate
	for _, h := range group {
		if !slices.ContainsFunc(chosen, func(o candidate) bool { return math.Abs(times[o.frame]-times[h.frame]) < st.model.LooksApartS }) {
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
	if err != nil || s == nil {
		return nil, err
	}
	s.cutEndless(c.times, c.pace, nil)
	if s.endless || s.ground || len(s.seen) < st.model.Fewest || s.lasts(c.times) < st.model.BriefS {
		return nil, nil
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

// describe says how much a stance looks like the marks of either side and how far
// it lies from where their hooves are expected.
func (st *stander) describe(s *standing, w flow.Window, t *trunk, models [2][]model) (err error) {
	c := st.clip
	s.mark = s.mean()
	middle := s.seen[len(s.seen)/2]
	p, ok := c.unsteady(middle.frame, middle.steady)
	if !ok {
		return nil
	}
	expected := expectedAt(t, models, middle.frame)
	vague := t.sd[middle.frame] / s.size
	s.offSD = flow.Point{X: math.Hypot(c.pace.OffAcross, vague), Y: math.Hypot(c.pace.OffDown, vague)}
	for side := range models {
		var r relocation
		if r, s.like[side], err = st.byMarks(middle.frame, p, w, models[side]); err != nil {
			return err
		}
		if r.from != nil && s.like[side] >= max(s.like[0], s.like[1]) {
			s.mark = c.steady(middle.frame, r.At)
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
