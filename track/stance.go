package track

import (
	"context"
	"fmt"
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// seed is where a sweep starts or starts anew: a person's mark, or a stance in
// which a hoof was found again.
type seed struct {
	Mark
	found  bool
	stands bool    // Known to stand still in this frame.
	size   float64 // Side of the patch, px; 0 where it follows from the marks.
}

// trunk is where the body is and how large it looks in every frame: the scale
// by which appearances are resized and the place from which hooves are expected.
type trunk struct {
	at   []flow.Point
	size []float64 // px, of the landmark's patch; only ratios matter. 0 where it is not known.
}

// trunkOf returns the trunk by the body landmark seen in most frames, or nil.
func trunkOf(landmarks []traj.Landmark, forward, backward [][]estimate) *trunk {
	var best *trunk
	most := 0
	for i, l := range landmarks {
		if l.IsHoof() {
			continue
		}
		a, b := forward[i], backward[i]
		// The two sweeps measure size from different marks: bring them together.
		var ratios []float64
		for f := range a {
			if a[f].seen && b[f].seen {
				ratios = append(ratios, a[f].size/b[f].size)
			}
		}
		ratio := 1.0
		if len(ratios) > 0 {
			slices.Sort(ratios)
			ratio = ratios[len(ratios)/2]
		}
		t := &trunk{at: make([]flow.Point, len(a)), size: make([]float64, len(a))}
		n := 0
		for f := range a {
			switch {
			case a[f].seen && b[f].seen:
				k := a[f].variance / (a[f].variance + b[f].variance)
				t.at[f] = mix(a[f].at, b[f].at, k)
				t.size[f] = (1-k)*a[f].size + k*b[f].size*ratio
			case a[f].seen:
				t.at[f], t.size[f] = a[f].at, a[f].size
			case b[f].seen:
				t.at[f], t.size[f] = b[f].at, b[f].size*ratio
			default:
				continue
			}
			n++
		}
		if n > most {
			best, most = t, n
		}
	}
	return best
}

// grows reports whether the horse comes nearer through the clip.
func (t *trunk) grows() bool {
	first, last := 0.0, 0.0
	for _, size := range t.size {
		if size > 0 && first == 0 {
			first = size
		}
		if size > 0 {
			last = size
		}
	}
	return last > first
}

// How far from where it is expected a stance may lie, in sides of the hoof's
// patch, across and down the picture: less than half the way to the other limbs.
const (
	stanceAcross = 0.6
	stanceDown   = 0.75
	stanceNCC    = 0.90
	leastHoof    = 12.0 // px: side of the patch; one hoof looks like another where it is smaller.
	stanceHits   = 3    // In how many looked-at frames it must stand still.
	stanceS      = 0.05
	// From behind, where the outline of a hoof keeps its place while it comes
	// down, longer than that lasts.
	stanceBehindS = 0.08
)

// model is a hoof's appearance in a stance, and where it stood from the trunk.
type model struct {
	*appearance
	frame  int
	offset flow.Point // From the trunk, in units of the trunk's size.
	ratio  float64    // Side of the patch over the trunk's size.
}

// finder looks for the stances of one hoof through the whole clip.
type finder struct {
	clip   *clip
	trunk  *trunk
	fo     *follower // Lends its resizing of appearances.
	models []model
}

// hit is the hoof found in one frame, as it looks in stance.
type hit struct {
	frame    int
	at       flow.Point
	steady   flow.Point // In the coordinates of frame 0.
	variance float64
	ncc      float64
	size     float64
	off      float64 // Distance from where it was expected, in sides of the patch.
}

// stance is a run of hits in one place.
type stance struct {
	landmark traj.Landmark
	hits     []hit
	counted  bool // Which of its pair it is, is known by counting from a marked one.
}

// mean returns the mean place of the hits.
func (s *stance) mean() flow.Point {
	var p flow.Point
	for _, h := range s.hits {
		p = p.Add(h.steady)
	}
	return flow.Point{X: p.X / float64(len(s.hits)), Y: p.Y / float64(len(s.hits))}
}

// lasts returns how long the stance was seen, s. times is by frame.
func (s *stance) lasts(times []float64) float64 {
	return times[s.hits[len(s.hits)-1].frame] - times[s.hits[0].frame]
}

// middle returns the time halfway through the stance.
func (s *stance) middle(times []float64) float64 {
	return (times[s.hits[0].frame] + times[s.hits[len(s.hits)-1].frame]) / 2
}

func (s *stance) ncc() float64 {
	var sum float64
	for _, h := range s.hits {
		sum += h.ncc
	}
	return sum / float64(len(s.hits))
}

// find returns the stances of the hoof, in order of time.
func (fi *finder) find(ctx context.Context) ([]stance, error) {
	n := len(fi.clip.times)
	if len(fi.models) == 0 || n < 2 {
		return nil, nil
	}
	rate := float64(n-1) / fi.clip.times[n-1]
	every := max(1, int(rate/30+0.5))
	var all []stance
	var open []stance
	var buf []byte
	for f := 0; f < n; f += every {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		hits, b, err := fi.look(f, buf)
		buf = b
		if err != nil {
			return nil, err
		}
		var next []stance
		for _, s := range open {
			last := s.hits[len(s.hits)-1]
			grown := false
			for k, h := range hits {
				if h.steady.Dist(s.mean()) < 0.3+0.012*h.size && math.Abs(h.size/last.size-1) < 0.12 {
					s.hits = append(s.hits, h)
					hits = slices.Delete(hits, k, k+1)
					grown = true
					break
				}
			}
			if !grown && f-last.frame > 2*every {
				all = append(all, s)
				continue
			}
			next = append(next, s)
		}
		open = next
		for _, h := range hits {
			open = append(open, stance{landmark: fi.fo.landmark, hits: []hit{h}})
		}
	}
	all = append(all, open...)
	least := stanceS
	if !fi.clip.grows {
		least = stanceBehindS
	}
	all = slices.DeleteFunc(all, func(s stance) bool {
		return len(s.hits) < stanceHits || s.lasts(fi.clip.times) < least
	})
	slices.SortStableFunc(all, func(a, b stance) int { return a.hits[0].frame - b.hits[0].frame })
	return all, nil
}

// look returns where in frame f the hoof may stand: the best places of every model.
func (fi *finder) look(f int, buf []byte) ([]hit, []byte, error) {
	if fi.trunk.size[f] == 0 {
		return nil, buf, nil
	}
	var hits []hit
	// The two models marked nearest to the distance here.
	var order [2]model
	var off [2]float64
	near := 0
	for _, m := range fi.models {
		d := math.Abs(math.Log(fi.trunk.size[f] / fi.trunk.size[m.frame]))
		switch {
		case near == 0 || d < off[0]:
			order[1], off[1] = order[0], off[0]
			order[0], off[0] = m, d
		case near == 1 || d < off[1]:
			order[1], off[1] = m, d
		}
		near = min(near+1, 2)
	}
	for _, m := range order[:near] {
		size := fi.trunk.size[f] * m.ratio
		rel := size / m.window.Size()
		if size < leastHoof || rel > 4 || rel < 0.25 {
			continue
		}
		expected := fi.trunk.at[f].Add(flow.Point{X: m.offset.X * fi.trunk.size[f], Y: m.offset.Y * fi.trunk.size[f]})
		w := m.window.Scaled(rel)
		rect := image.Rect(
			int(expected.X-w.Left-(stanceAcross+0.3)*size), int(expected.Y-w.Up-(stanceDown+0.3)*size),
			int(expected.X+w.Right+(stanceAcross+0.3)*size)+1, int(expected.Y+w.Down+(stanceDown+0.3)*size)+1)
		g, o, b, err := fi.clip.spool.region(f, rect, buf)
		buf = b
		if err != nil {
			return nil, buf, err
		}
		if g.Width < 12 || g.Height < 12 {
			continue
		}
		field, err := fi.fo.areaFor(g, o, size)
		if err != nil {
			return nil, buf, err
		}
		template, mark, ok, err := field.like(m.appearance, fi.clip.engine, rel, 6)
		if err != nil {
			return nil, buf, err
		}
		if !ok {
			continue
		}
		tw, th := template.Width, template.Height
		s, err := fi.fo.correlate(0, field.picture, template)
		if err != nil {
			return nil, buf, err
		}
		half := halvings(size)
		plane := flow.NewPlane(g, o.X, o.Y, half)
		for range 3 {
			p := bestPlace(s, 0, func(x, y int) bool {
				q := field.where(x, y, mark)
				return math.Abs(q.X-expected.X) < stanceAcross*size && math.Abs(q.Y-expected.Y) < stanceDown*size
			})
			if p.score < 0.6 {
				break
			}
			// Do not come back to this peak.
			for y := max(p.y-th/3, 0); y <= min(p.y+th/3, s.Height-1); y++ {
				for x := max(p.x-tw/3, 0); x <= min(p.x+tw/3, s.Width-1); x++ {
					s.Score[y*s.Width+x] = -1
				}
			}
			r, ok, err := fi.fo.anchor(m.appearance, plane, flow.Pose{At: field.where(p.x, p.y, mark), Scale: rel * m.scale}, size, stanceNCC)
			if err != nil {
				return nil, buf, err
			}
			if !ok || r.NCC < stanceNCC || r.Agree < 0.55 {
				continue
			}
			if err := fi.refine(&r, plane, size); err != nil {
				return nil, buf, err
			}
			d := r.At.Sub(expected)
			if math.Abs(d.X) > stanceAcross*size || math.Abs(d.Y) > stanceDown*size || math.Abs(math.Log(r.Scale/rel)) > 0.2 {
				continue
			}
			h := hit{frame: f, at: r.At, steady: fi.clip.steady(f, r.At), variance: r.variance, ncc: r.NCC, size: r.Scale * m.window.Size(), off: math.Hypot(math.Hypot(d.X, d.Y)/size, 4*math.Log(r.Scale/rel))}
			double := false
			for k := range hits {
				if hits[k].at.Dist(h.at) < 0.3*size {
					double = true
					if h.ncc > hits[k].ncc {
						hits[k] = h
					}
				}
			}
			if !double {
				hits = append(hits, h)
			}
		}
	}
	return hits, buf, nil
}

// refine places a hit by the other marks of the hoof too.
func (fi *finder) refine(hit *relocation, plane flow.Plane, size float64) error {
	all := []relocation{*hit}
	pose := flow.Pose{At: hit.At, Scale: hit.Scale * hit.from.scale}
	var others []*appearance
	for _, m := range fi.models {
		if m.appearance != hit.from {
			others = append(others, m.appearance)
		}
	}
	for _, m := range fi.fo.bestAnchors(others, pose, size) {
		r, ok, err := fi.fo.anchor(m, plane, pose, size, 0)
		if err != nil {
			return err
		}
		if ok && r.NCC >= hoofNCC && r.Agree >= 0.55 {
			all = append(all, r)
		}
	}
	best := agreed(all)
	hit.At, hit.variance, hit.click = best.At, best.variance, best.click
	return nil
}

// reachedS is how far from a mark in swing a stance is taken to be reached, s.
const reachedS = 0.6

// modelsOf returns what a hoof looks like in stance: standing are its marks in
// frames in which it stood still, reached the stances to which the first sweeps
// followed it from a mark in swing without a break.
func (c *clip) modelsOf(fo *follower, t *trunk, marks []seed, forward, backward []estimate) (standing, reached []model, err error) {
	for _, m := range marks {
		if m.Landmark != fo.landmark || !m.Visible || t.size[m.Frame] == 0 {
			continue
		}
		if c.stands(forward, backward, m.Frame) {
			if !c.standsBetween(forward, backward, m.Frame) {
				// At the edge of a stance the hoof may still be coming down or have
				// begun to tilt.
				m.SD = math.Hypot(m.SD, 0.015*m.size)
			}
			a, err := c.modelAt(fo, t, m)
			if err != nil {
				return nil, nil, err
			}
			standing = append(standing, a...)
			continue
		}
		// Marked in swing: the middle of the nearest stance that was reached from
		// the mark without a break.
		for _, dir := range []int{1, -1} {
			es := forward
			if dir < 0 {
				es = backward
			}
			first, last := -1, -1
			for f := m.Frame + dir; f >= 0 && f < len(es) && es[f].seen && !es[f].marked; f += dir {
				if math.Abs(c.times[f]-c.times[m.Frame]) > reachedS {
					break
				}
				if c.stands(es, es, f) {
					if first < 0 {
						first = f
					}
					last = f
				} else if first >= 0 {
					break
				}
			}
			if first < 0 || t.size[(first+last)/2] == 0 || math.Abs(c.times[last]-c.times[first]) < 0.06 {
				continue
			}
			f := (first + last) / 2
			s := seed{Mark: Mark{Frame: f, Landmark: fo.landmark, X: es[f].at.X, Y: es[f].at.Y, Visible: true, SD: math.Sqrt(es[f].variance)}}
			if m.size > 0 {
				s.size = m.size * t.size[f] / t.size[m.Frame]
			}
			a, err := c.modelAt(fo, t, s)
			if err != nil {
				return nil, nil, err
			}
			reached = append(reached, a...)
		}
	}
	slices.SortStableFunc(reached, func(a, b model) int { return a.frame - b.frame })
	return standing, reached, nil
}

// modelAt returns the model that seed s gives, or none where its patch is of no use.
func (c *clip) modelAt(fo *follower, t *trunk, s seed) ([]model, error) {
	fo.anchors, fo.started, s.stands = nil, false, true
	if err := fo.start(s); err != nil {
		return nil, err
	}
	if len(fo.anchors) == 0 {
		return nil, nil
	}
	a := fo.anchors[0]
	a.scale = a.window.Size() // The same measure for all models, wherever they were marked.
	size := t.size[s.Frame]
	d := a.at.Sub(t.at[s.Frame])
	return []model{{appearance: a, frame: s.Frame, ratio: a.window.Size() / size, offset: flow.Point{X: d.X / size, Y: d.Y / size}}}, nil
}

// mirrored returns the stance of the opposite limb as that of l: hooves of a pair
// are mirror images but for light and shape, which cost some of the certainty.
// own are l's marks, which say on which side of the trunk it goes.
func (c *clip) mirrored(m model, t *trunk, own []seed) (model, bool) {
	g := m.patch
	flipped := flow.Gray{Width: g.Width, Height: g.Height, Stride: g.Width, Pix: make([]byte, g.Width*g.Height)}
	for y := range g.Height {
		for x := range g.Width {
			flipped.Pix[y*g.Width+g.Width-1-x] = g.Pix[y*g.Stride+x]
		}
	}
	var across []weighted
	for _, s := range own {
		if s.Visible && t.size[s.Frame] > 0 {
			across = append(across, weighted{(s.X - t.at[s.Frame].X) / t.size[s.Frame], 1})
		}
	}
	if len(across) == 0 {
		return model{}, false
	}
	// The patch is turned about the mark's own column, so the origin moves.
	axis := 2 * m.at.X
	origin := image.Pt(int(math.Round(axis))-m.origin.X-(g.Width-1), m.origin.Y)
	at := flow.Point{X: float64(origin.X+g.Width-1) - (m.at.X - float64(m.origin.X)), Y: m.at.Y}
	a := &appearance{
		at: at, scale: m.scale, patch: flipped, origin: origin, resized: map[int]*flow.Template{},
		window:   flow.Window{Left: m.window.Right, Right: m.window.Left, Up: m.window.Up, Down: m.window.Down},
		variance: m.variance + math.Pow(0.03*m.window.Size(), 2),
		weigh:    func(x, y float64) float64 { return m.weigh(m.at.X-(x-at.X), y) },
	}
	template, err := flow.NewTemplate(flow.NewPlane(flipped, origin.X, origin.Y, halvings(a.window.Size())), at, a.window, a.weigh)
	if err != nil {
		return model{}, false
	}
	a.template = template
	return model{appearance: a, frame: m.frame, ratio: m.ratio, offset: flow.Point{X: median(across), Y: m.offset.Y}}, true
}

// stands reports whether the landmark stands still around frame f: whether it
// was followed from there for a twentieth of a second, in one direction at
// least, without leaving its place. (In late swing a hoof that goes away from
// the camera moves as little as a third of a pixel a frame.)
func (c *clip) stands(forward, backward []estimate, f int) bool {
	here := forward[f]
	if !here.seen {
		here = backward[f]
	}
	if !here.seen {
		return false
	}
	for _, es := range [][]estimate{forward, backward} {
		if c.stillToward(es, here, f, -1) || c.stillToward(es, here, f, 1) {
			return true
		}
	}
	return false
}

// standsBetween reports whether the landmark, which stands in frame f, stood
// before it and stands after it.
func (c *clip) standsBetween(forward, backward []estimate, f int) bool {
	return c.stillToward(forward, forward[f], f, 1) && c.stillToward(backward, backward[f], f, -1)
}

// stillToward reports whether es keeps to the place here for a twentieth of a
// second from frame f in direction dir of time.
func (c *clip) stillToward(es []estimate, here estimate, f, dir int) bool {
	n := 0
	for g := f + dir; g >= 0 && g < len(es) && (n < 2 || math.Abs(c.times[g]-c.times[f]) < 0.051); g += dir {
		if !es[g].seen || c.moved(f, g, here.at, es[g].at) > 0.2+0.01*here.size {
			return false
		}
		n++
	}
	return n > 1
}

// seedsOf turns stances into seeds: three frames of each from well inside it, at
// the place that all its frames together give. At its ends the hoof may be
// tilted already while its outline still keeps the place.
func (c *clip) seedsOf(stances []stance) []seed {
	var out []seed
	for _, s := range stances {
		xs, ys := make([]weighted, len(s.hits)), make([]weighted, len(s.hits))
		variance := math.Inf(1)
		for i, h := range s.hits {
			xs[i], ys[i] = weighted{h.steady.X, 1}, weighted{h.steady.Y, 1}
			variance = min(variance, h.variance)
		}
		place := flow.Point{X: median(xs), Y: median(ys)}
		for _, i := range slices.Compact([]int{len(s.hits) / 4, len(s.hits) / 2, (3*len(s.hits) - 1) / 4}) {
			h := s.hits[i]
			at := place
			if c.toFirst != nil {
				back, ok := invert(c.toFirst[h.frame])
				if !ok {
					continue
				}
				at.X, at.Y = back.Apply(place.X, place.Y)
			}
			out = append(out, seed{
				Mark:  Mark{Frame: h.frame, Landmark: s.landmark, X: at.X, Y: at.Y, Visible: true, SD: math.Sqrt(variance)},
				found: true, size: h.size,
			})
		}
	}
	return out
}

// cost is how little a stance fits: unlike, far from where it is expected, short.
func (s *stance) cost() float64 {
	var off float64
	for _, h := range s.hits {
		off += h.off
	}
	return 3*(1-s.ncc()) + 0.3*off/float64(len(s.hits)) - 0.01*float64(min(len(s.hits), 10))
}

// settle decides between stances that contradict each other: of one limb in two
// places at one time, or of two limbs in one place. What cannot be decided is
// dropped. Of a stance found as that of a fore and of a hind it is taken to be the
// pair's that goes in front, unless counting speaks for the other alone: the pair
// behind looks alike, and is hidden there.
func (c *clip) settle(all []stance) []stance {
	drop := make([]bool, len(all))
	overlap := func(a, b *stance) bool {
		return a.hits[0].frame <= b.hits[len(b.hits)-1].frame && b.hits[0].frame <= a.hits[len(a.hits)-1].frame
	}
	for i := range all {
		for j := i + 1; j < len(all); j++ {
			a, b := &all[i], &all[j]
			if !overlap(a, b) {
				continue
			}
			near := a.hits[0].steady.Dist(b.hits[0].steady) < 0.35*min(a.hits[0].size, b.hits[0].size)
			if a.landmark != b.landmark && !near {
				continue
			}
			ca, cb := a.cost(), b.cost()
			front := c.turnsInSight(a.landmark)
			switch {
			case a.landmark.IsFore() != b.landmark.IsFore() && a.counted == b.counted:
				drop[i], drop[j] = !front, front
			case a.landmark.IsFore() != b.landmark.IsFore():
				drop[i], drop[j] = b.counted, a.counted
			case math.Abs(ca-cb) < 0.02:
				drop[i], drop[j] = true, true
			case ca < cb:
				drop[j] = true
			default:
				drop[i] = true
			}
		}
	}
	return without(all, drop)
}

// longStance is how much longer than the usual one of its pair a stance may be.
const longStance = 1.3

// shorten cuts stances that last much longer than is usual of their pair down to
// that length, where they look most alike: another hoof has come to the place
// before it was left, as hinds do to the prints of fores. times is by frame.
func shorten(stances []stance, times []float64) []stance {
	var usual [2]float64
	for pair := range usual {
		var all []float64
		for i := range stances {
			if stances[i].landmark.IsHind() == (pair == 1) {
				all = append(all, stances[i].lasts(times))
			}
		}
		if slices.Sort(all); len(all) > 2 {
			usual[pair] = all[len(all)/2]
		}
	}
	for i := range stances {
		s := &stances[i]
		most := usual[0]
		if s.landmark.IsHind() {
			most = usual[1]
		}
		if most == 0 || s.lasts(times) < longStance*most {
			continue
		}
		var best stance
		for from := range s.hits {
			part := stance{landmark: s.landmark, hits: s.hits[from:]}
			for len(part.hits) > stanceHits && part.lasts(times) > most+1e-9 {
				part.hits = part.hits[:len(part.hits)-1]
			}
			if len(part.hits) < stanceHits || part.lasts(times) < 0.7*most {
				break
			}
			if best.hits == nil || part.ncc() > best.ncc() {
				best = part
			}
		}
		if best.hits != nil {
			*s = best
		}
	}
	return stances
}

// without returns the stances whose drop is not set. Index of drop: stance.
func without(stances []stance, drop []bool) []stance {
	var out []stance
	for i, s := range stances {
		if !drop[i] {
			out = append(out, s)
		}
	}
	return out
}

// inRhythm drops stances that do not fit the stride: a limb stands once in every
// stride, at much the same moment of it. stances are of all limbs.
func inRhythm(stances []stance, times []float64) []stance {
	byLimb := map[traj.Landmark][]int{}
	var limbs []traj.Landmark
	for i, s := range stances {
		if byLimb[s.landmark] == nil {
			limbs = append(limbs, s.landmark)
		}
		byLimb[s.landmark] = append(byLimb[s.landmark], i)
	}
	var gaps []float64
	for _, l := range limbs {
		slices.SortStableFunc(byLimb[l], func(a, b int) int { return stances[a].hits[0].frame - stances[b].hits[0].frame })
		for k := 1; k < len(byLimb[l]); k++ {
			gaps = append(gaps, stances[byLimb[l][k]].middle(times)-stances[byLimb[l][k-1]].middle(times))
		}
	}
	if len(gaps) == 0 {
		return stances
	}
	slices.Sort(gaps)
	stride := gaps[len(gaps)/2]
	drop := make([]bool, len(stances))
	for _, l := range limbs {
		for {
			// Of two that follow each other too soon, the less sure one goes.
			var alive []int
			for _, i := range byLimb[l] {
				if !drop[i] {
					alive = append(alive, i)
				}
			}
			worst := -1
			for k := 1; k < len(alive); k++ {
				a, b := alive[k-1], alive[k]
				if stances[b].middle(times)-stances[a].middle(times) > 0.8*stride {
					continue
				}
				loser := a
				if stances[b].cost() > stances[a].cost() {
					loser = b
				}
				if worst < 0 || stances[loser].cost() > stances[worst].cost() {
					worst = loser
				}
			}
			if worst < 0 {
				break
			}
			drop[worst] = true
		}
	}
	return without(stances, drop)
}

// findStances finds all hooves' stances through the clip, as seeds for the
// second sweeps, and what each hoof looks like where it was marked standing.
// t must not be nil.
func (c *clip) findStances(ctx context.Context, landmarks []traj.Landmark, windows windowsOf, t *trunk, seeds []seed, forward, backward [][]estimate) (found []seed, known map[traj.Landmark][]*appearance, err error) {
	// Hooves are looked at one by one, so several at once.
	<-c.hands
	defer func() { c.hands <- struct{}{} }()
	standing, reached := make([][]model, len(landmarks)), make([][]model, len(landmarks))
	followers := make([]*follower, len(landmarks))
	if err := c.hands.together(len(landmarks), func(i int) (err error) {
		followers[i] = &follower{clip: c, landmark: landmarks[i], dir: 1, windows: windows, scores: make([]flow.Scores, 1)}
		if standing[i], reached[i], err = c.modelsOf(followers[i], t, seeds, forward[i], backward[i]); err != nil {
			return fmt.Errorf("look at the marks of %s: %w", landmarks[i], err)
		}
		return nil
	}); err != nil {
		return nil, nil, err
	}
	known = map[traj.Landmark][]*appearance{}
	for i, l := range landmarks {
		for _, m := range standing[i] {
			known[l] = append(known[l], m.appearance)
		}
	}
	stances := make([][]stance, len(landmarks))
	if err := c.hands.together(len(landmarks), func(i int) (err error) {
		l := landmarks[i]
		models := standing[i]
		if other := slices.Index(landmarks, l.Opposite()); len(models) == 0 && other >= 0 {
			own := slices.DeleteFunc(slices.Clone(seeds), func(s seed) bool { return s.Landmark != l })
			for _, m := range standing[other] {
				if m, ok := c.mirrored(m, t, own); ok {
					models = append(models, m)
				}
			}
		}
		if len(models) == 0 {
			models = reached[i]
		}
		fi := &finder{clip: c, trunk: t, fo: followers[i], models: models}
		if stances[i], err = fi.find(ctx); err != nil {
			return fmt.Errorf("find the stances of %s: %w", l, err)
		}
		return nil
	}); err != nil {
		return nil, nil, err
	}
	all := slices.Concat(stances...)
	return c.seedsOf(shorten(inRhythm(c.settle(alternate(all, seeds, c.times)), c.times), c.times)), known, nil
}
