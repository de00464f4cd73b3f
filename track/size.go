package track

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// How large the horse looks, and how large patches are.

// sizeBody gives every mark of the body the side of its patch, by how high above the
// hooves it lies: above those marked before and after it, in between. With marks at
// several distances it also says how the horse grows in the picture.
func (c *clip) sizeBody(seeds []seed) {
	var hooves []valueAt
	for _, s := range c.below(seeds, func(s seed) bool { return s.Visible }) {
		hooves = append(hooves, valueAt{s.Frame, s.Y})
	}
	var all []sight
	for i, s := range seeds {
		if !s.Visible || s.Landmark.IsHoof() || len(hooves) == 0 {
			continue
		}
		if high := along(hooves, c.times, s.Frame) - s.Y; high > 0 {
			all = append(all, sight{i, s.Landmark, s.Frame, high})
		}
	}
	c.looks = c.looksBy(all)
	for _, h := range all {
		s := &seeds[h.seed]
		if c.looks != nil && c.looks[s.Frame] > 0 {
			h.high = c.looks[s.Frame] * tall(all, s.Landmark, c.looks)
		}
		w, _ := c.window(s.Landmark, s.Frame)
		extent, _ := c.extent(s.Frame)
		s.size = min(max(w.Size()*min(max(h.high/extent, 0.2), 5), 16), 700)
	}
}

// heightOf returns about how high a landmark of the body lies above the ground, metres, in
// a horse of 1.6 m at the withers (common practice).
func heightOf(l traj.Landmark) float64 {
	switch l {
	case traj.Withers, traj.Croup:
		return 1.6
	case traj.LeftHip, traj.RightHip:
		return 1.4
	case traj.Chest, traj.LeftShoulder, traj.RightShoulder:
		return 1.1
	}
	return 1.7
}

// below returns the marks of hooves that count and that say where the ground below the
// trunk is: those of the pair in front, whose marks alone lie at one distance from it, and of
// the other pair where fewer than two are marked in front.
func (c *clip) below(seeds []seed, counts func(s seed) bool) []seed {
	var pairs [2][]seed // Behind, in front.
	for _, s := range seeds {
		if !s.Landmark.IsHoof() || !counts(s) {
			continue
		}
		i := 0
		if c.turnsInSight(s.Landmark) {
			i = 1
		}
		pairs[i] = append(pairs[i], s)
	}
	if len(pairs[1]) >= 2 || len(pairs[1]) >= len(pairs[0]) {
		return pairs[1]
	}
	return pairs[0]
}

// sight is how high, px, a landmark of the body lies above the hooves in a frame.
type sight struct {
	seed     int
	landmark traj.Landmark
	frame    int
	high     float64
}

// tall returns how high a landmark lies above the hooves in units of looks: the median over
// its marks.
func tall(all []sight, l traj.Landmark, looks []float64) float64 {
	var v []float64
	for _, h := range all {
		if h.landmark == l && looks[h.frame] > 0 {
			v = append(v, h.high/looks[h.frame])
		}
	}
	return median(v)
}

// looksBy returns how large the horse looks in every frame, in units of its own: it goes at
// an even speed, so that one over it changes evenly in time. It is 0 in frames too far from
// the marks to say, and nil where these tell of one distance only.
func (c *clip) looksBy(all []sight) []float64 {
	var times, inverse []float64
	for _, h := range all {
		times, inverse = append(times, c.times[h.frame]), append(inverse, heightOf(h.landmark)/h.high)
	}
	if len(all) < 2 || times[len(times)-1]-times[0] < c.model.LeastBetweenS {
		return nil
	}
	a, b := stat.LinearRegression(times, inverse, nil, false)
	nearest := slices.Min(inverse)
	out := make([]float64, len(c.times))
	for f, t := range c.times {
		if v := a + b*t; v > nearest/2 {
			out[f] = 1 / v
		}
	}
	return out
}

// sizeHooves gives every mark of a hoof the side of its patch: as wide as a hoof is,
// by how far below the landmark of the body it lies.
func (c *clip) sizeHooves(seeds []seed, t *trunk) {
	for i := range seeds {
		s := &seeds[i]
		if !s.Visible || !s.Landmark.IsHoof() || t.size[s.Frame] == 0 {
			continue
		}
		if high := s.Y - t.at[s.Frame].Y; high > 0 {
			s.size = min(max(2*c.model.HoofHalf*high/heightOf(t.landmark), 10), 160)
		}
	}
}

// patch returns the patch around s and whether its size is known: its own, or from the marks
// of its frame.
func (c *clip) patch(s *seed) (w flow.Window, known bool) {
	w, known = c.window(s.Landmark, s.Frame)
	if s.size > 0 {
		return w.Scaled(s.size / w.Size()), true
	}
	return w, known
}

// chestWide is how many times as wide as a small patch of the body, some 20 cm, the chest's is: to
// the outlines of both shoulders, some 30 cm from its middle, and a little beyond.
const chestWide = 3.2

// window returns the patch around landmark l as marked in frame f, a share of the
// height between the highest and the lowest mark of that frame, and whether these tell it.
func (c *clip) window(l traj.Landmark, f int) (flow.Window, bool) {
	extent, known := c.extent(f)
	if l.IsHoof() {
		r := min(max(0.048*extent, 7), 60)
		// The hoof stands above its mark; below it lies ground.
		return flow.Window{Left: r, Right: r, Up: 1.7 * r, Down: 0.35 * r}, known
	}
	r := min(max(0.06*extent, 8), 80)
	switch l {
	case traj.Croup:
		// The whole of the hindquarters, whose flanks tell where it is across the
		// picture; above the croup the head sways far in front of it.
		return flow.Window{Left: 3.6 * r, Right: 3.6 * r, Up: 0.25 * r, Down: 6.5 * r}, known
	case traj.Chest:
		// The breast has no pattern of its own on most coats; the outlines of the shoulders on both
		// sides tell where it is across the picture, whatever the muzzle does that nods before it.
		return flow.Window{Left: chestWide * r, Right: chestWide * r, Up: r, Down: 2 * r}, known
	case traj.LeftHip:
		return flow.Window{Left: 1.0 * r, Right: 6.2 * r, Up: 1.8 * r, Down: 5.0 * r}, known
	case traj.RightHip:
		return flow.Window{Left: 6.2 * r, Right: 1.0 * r, Up: 1.8 * r, Down: 5.0 * r}, known
	}
	return flow.Window{Left: r, Right: r, Up: r, Down: r}, known
}

// extent returns the height, px, between the highest and the lowest mark of frame f,
// or what it is in an ordinary clip where they are not those of body and hooves; known
// says which.
func (c *clip) extent(f int) (px float64, known bool) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, m := range c.marks {
		if m.Visible && m.Frame == f {
			low, high = min(low, m.Y), max(high, m.Y)
		}
	}
	if !(high-low > 0.05*float64(c.height)) {
		return 0.35 * float64(c.height), false
	}
	return high - low, true
}
