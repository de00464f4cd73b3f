package track

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// trunk is where the body is and how large it looks in every frame: the scale
// by which appearances are resized and the place from which hooves are expected.
type trunk struct {
	times    []float64 // Of the frames.
	landmark traj.Landmark
	at       []flow.Point
	size     []float64 // px, of the landmark's patch; only ratios matter. 0 where it is not known.
	sd       []float64 // px, of at across the picture where it is told by the way alone; else 0.
}

// trunkOf returns the trunk by the body landmark seen in most frames, or nil.
func trunkOf(landmarks []traj.Landmark, forward, backward [][]estimate, m *errormodel.Tracking) *trunk {
	var best *trunk
	most := 0
	for i, l := range landmarks {
		if t, n := trunkBy(l, forward[i], backward[i], m); n > most {
			best, most = t, n
		}
	}
	return best
}

// trunkBy returns the trunk by landmark l, which the sweeps a and b followed, and in how many
// frames it is known.
func trunkBy(l traj.Landmark, a, b []estimate, m *errormodel.Tracking) (t *trunk, n int) {
	vague := m.VagueTrunk
	if l.IsHindquarters() {
		vague *= m.CroupShare
	}
	known := func(e estimate) bool { return e.seen && math.Sqrt(e.variance) < vague*e.size }
	// The two sweeps measure size from different marks: bring them together.
	var ratios []float64
	for f := range a {
		if a[f].seen && b[f].seen {
			ratios = append(ratios, a[f].size/b[f].size)
		}
	}
	ratio := 1.0
	if len(ratios) > 0 {
		ratio = middle(ratios, nil, 1)
	}
	t = &trunk{landmark: l, at: make([]flow.Point, len(a)), size: make([]float64, len(a)), sd: make([]float64, len(a))}
	for f := range a {
		switch {
		case known(a[f]) && known(b[f]):
			k := a[f].variance / (a[f].variance + b[f].variance)
			t.at[f] = mix(a[f].at, b[f].at, k)
			t.size[f], t.sd[f] = (1-k)*a[f].size+k*b[f].size*ratio, math.Sqrt(min(a[f].variance, b[f].variance))
		case known(a[f]):
			t.at[f], t.size[f], t.sd[f] = a[f].at, a[f].size, math.Sqrt(a[f].variance)
		case known(b[f]):
			t.at[f], t.size[f], t.sd[f] = b[f].at, b[f].size*ratio, math.Sqrt(b[f].variance)
		default:
			continue
		}
		n++
	}
	return t, n
}

// fill says where the trunk is and how large it looks in frames in which its landmark
// was not followed, from those around: its size is one over a distance that changes
// evenly. strays is how fast it leaves the way it went, sides of its patch a second.
func (t *trunk) fill(times []float64, leadS, strays float64) {
	t.times = times
	var known []int
	for f, size := range t.size {
		if size > 0 {
			known = append(known, f)
		}
	}
	if len(known) == 0 {
		return
	}
	for i, b := range known[1:] {
		for f := known[i] + 1; f < b; f++ {
			t.between(f, known[i], b, strays)
		}
	}
	// Beyond the ends it goes on as it went over the nearest second.
	for _, dir := range []int{-1, 1} {
		end := known[0]
		if dir > 0 {
			end = known[len(known)-1]
		}
		other := end
		for _, f := range known {
			if d := float64(dir) * (times[end] - times[f]); d > 0.3 && d < 1 && (other == end || d > float64(dir)*(times[end]-times[other])) {
				other = f
			}
		}
		for f := end + dir; other != end && f >= 0 && f < len(times) && math.Abs(times[f]-times[end]) < leadS; f += dir {
			t.between(f, end, other, strays)
		}
	}
}

// between says where the trunk is in frame f by frames a and b.
func (t *trunk) between(f, a, b int, strays float64) {
	u := (t.times[f] - t.times[a]) / (t.times[b] - t.times[a])
	inverse := (1-u)/t.size[a] + u/t.size[b]
	if !(inverse > 0) {
		return
	}
	size := 1 / inverse
	if k := size / t.size[a]; k > 1.5 || k < 0.67 {
		return
	}
	t.at[f], t.size[f] = mix(t.at[a], t.at[b], u), size
	near := min(math.Abs(t.times[f]-t.times[a]), math.Abs(t.times[f]-t.times[b]))
	t.sd[f] = max(t.sd[a], t.sd[b]) + strays*near*size
}

// bySight makes the trunk's size how high it lies above the ground, px, by the marks of
// hooves: the horse goes at an even speed, so that one over it changes evenly, and what
// the marks are off that is shared out in between. A patch's own scale, which is told
// where there are too few marks, drifts. It must be filled before.
func (c *clip) bySight(t *trunk, seeds []seed) {
	var all []valueAt // How high, px.
	for _, s := range c.below(seeds, func(s seed) bool { return s.Visible && s.stands && t.size[s.Frame] > 0 }) {
		if h := s.Y - t.at[s.Frame].Y; h > 0 {
			all = append(all, valueAt{s.Frame, h})
		}
	}
	if len(all) < 2 {
		return
	}
	var times, inverses []float64
	for _, h := range all {
		times, inverses = append(times, t.times[h.frame]), append(inverses, 1/h.value)
	}
	if stat.PopStdDev(times, nil) < 0.14 { // Marks within 0.3 s of each other.
		return
	}
	first, slope := stat.LinearRegression(times, inverses, nil, false)
	even := func(f int) float64 { return 1 / (first + slope*t.times[f]) }
	var parts []valueAt
	for _, h := range all {
		parts = append(parts, valueAt{h.frame, math.Log(h.value / even(h.frame))})
	}
	for f := range t.size {
		e := even(f)
		if t.size[f] == 0 {
			continue
		}
		if !(e > 0) || e > 4*all[0].value && e > 4*all[len(all)-1].value {
			t.size[f] = 0
			continue
		}
		off := along(parts, t.times, f)
		if math.IsNaN(off) {
			off = 0
		}
		t.size[f] = e * math.Exp(off)
	}
	c.byPath(t, seeds, even)
}

// byPath says where the trunk is in frames in which nothing of the body was followed: a
// horse goes straight on at an even speed, so that its place, over how large it looks,
// changes evenly in time. It goes by the frames of the marks of standing hooves, from which
// these are looked for. height returns how large the horse looks in a frame, px.
func (c *clip) byPath(t *trunk, seeds []seed, height func(f int) float64) {
	centre := flow.Point{X: float64(c.width) / 2, Y: float64(c.height) / 2}
	var times, x, y []float64
	for _, s := range seeds {
		if h := height(s.Frame); s.Visible && s.stands && t.size[s.Frame] > 0 && h > 0 {
			p := c.steady(s.Frame, t.at[s.Frame]).Sub(centre)
			times, x, y = append(times, t.times[s.Frame]), append(x, p.X/h), append(y, p.Y/h)
		}
	}
	if len(times) < 4 {
		return
	}
	ax, bx := stat.LinearRegression(times, x, nil, false)
	ay, by := stat.LinearRegression(times, y, nil, false)
	mean, spread := stat.PopMeanStdDev(times, nil)
	var rest float64 // Sum of squares of what the lines leave across the picture.
	for i := range times {
		rest += sq(x[i] - ax - bx*times[i])
	}
	n := float64(len(times))
	sd := math.Sqrt(rest / (n - 2))
	for f := range t.size {
		h := height(f)
		if t.size[f] > 0 || !(h > 0) {
			continue
		}
		off := sd * math.Sqrt(1/n+sq((t.times[f]-mean)/spread)/n)
		if off > c.model.PathSD {
			continue
		}
		p, ok := c.unsteady(f, flow.Point{X: h * (ax + bx*t.times[f]), Y: h * (ay + by*t.times[f])}.Add(centre))
		if !ok {
			continue
		}
		t.at[f], t.size[f], t.sd[f] = p, h, math.Hypot(off, sd)*h
	}
}
