package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// commonSide is into how many cells a patch is divided along each side to tell what its
// marks have in common.
const commonSide = 16

// commonLook is what the marks of one landmark of the body show alike: the animal. What
// differs from mark to mark is ground beside it, or what passes in front: a handler, a rope.
type commonLook struct {
	// value is how bright each cell is, row by row, grey levels less the median of the patch;
	// NaN where most marks do not tell.
	value []float64
	// limit is by how many grey levels a cell may differ and still show the same.
	limit []float64
}

// fewestLooks is how many marks must show a landmark for most of them to be right where
// one is covered.
const fewestLooks = 3

// commonLooks returns what the marks of each landmark of the body have in common, for those
// with enough of them. Seen from in front the head turns, so that its marks have less in common.
func (c *clip) commonLooks(seeds []seed) (map[traj.Landmark]*commonLook, error) {
	looks := map[traj.Landmark][][]float64{}
	var buffer []byte
	var plane flow.Plane
	for _, s := range seeds {
		if !s.Visible || s.Landmark.IsHoof() || s.Landmark == traj.Head && c.grows {
			continue
		}
		w, _ := c.patch(&s)
		g, o, read, err := c.spool.region(s.Frame, rectAround(s.at(), w, 6), buffer)
		if buffer = read; err != nil {
			return nil, err
		}
		plane.Fill(g, o.X, o.Y, halvings(w.Size()))
		looks[s.Landmark] = append(looks[s.Landmark], cellsOf(plane, s.at(), w, nil))
	}
	out := map[traj.Landmark]*commonLook{}
	for l, all := range looks {
		if len(all) >= fewestLooks {
			out[l] = commonOf(all, c.model.CommonLimit)
		}
	}
	return out, nil
}

// commonOf returns what looks at one patch have in common; a cell may differ by limit grey
// levels, or as much as it mostly does.
func commonOf(looks [][]float64, limit float64) *commonLook {
	cells := commonSide * commonSide
	out := &commonLook{value: make([]float64, cells), limit: make([]float64, cells)}
	spare := make([]float64, cells)
	bright := make([]float64, len(looks)) // Each look's own brightness.
	for k, look := range looks {
		bright[k] = middle(look, spare, 1)
	}
	values := make([]float64, len(looks))
	for i := range cells {
		known := 0
		for k, look := range looks {
			if values[k] = look[i] - bright[k]; !math.IsNaN(values[k]) {
				known++
			}
		}
		out.value[i] = middle(values, spare, 1)
		if 2*known <= len(looks) {
			out.value[i] = math.NaN()
		}
		for k, v := range values {
			values[k] = math.Abs(v - out.value[i])
		}
		// 1.4826 times the median size is the standard deviation of a normal distribution.
		out.limit[i] = max(limit, 3*1.4826*middle(values, spare, 1))
	}
	return out
}

// cellsOf returns how bright each cell of the patch w around at is in plane, row by row; NaN
// where plane does not reach. out's memory is used where it is large enough.
func cellsOf(plane flow.Plane, at flow.Point, w flow.Window, out []float64) []float64 {
	out = out[:0]
	for j := range commonSide {
		y := at.Y - w.Up + (float64(j)+0.5)/commonSide*(w.Up+w.Down)
		row := int(math.Floor((y-plane.Y0)/plane.Step + 0.5))
		for i := range commonSide {
			x := at.X - w.Left + (float64(i)+0.5)/commonSide*(w.Left+w.Right)
			column := int(math.Floor((x-plane.X0)/plane.Step + 0.5))
			v := math.NaN()
			if row >= 0 && row < plane.Height && column >= 0 && column < plane.Width {
				v = float64(plane.Pix[row*plane.Width+column])
			}
			out = append(out, v)
		}
	}
	return out
}

// middle returns the median of those of values that are numbers, NaN where fewer than least
// are. It sorts them in spare.
func middle[F float32 | float64](values, spare []F, least int) F {
	spare = spare[:0]
	for _, v := range values {
		if !math.IsNaN(float64(v)) {
			spare = append(spare, v)
		}
	}
	if len(spare) < least {
		return F(math.NaN())
	}
	slices.Sort(spare)
	return spare[len(spare)/2]
}

// weigh turns a look, in its own memory, into how surely each cell shows what the marks have
// in common, 0 to 1. Light and shade move all cells alike.
func (l *commonLook) weigh(look []float64) []float64 {
	var room [commonSide * commonSide]float64
	for i, v := range look {
		look[i] = v - l.value[i]
	}
	shade := middle(look, room[:], 1)
	for i, d := range look {
		d = (d - shade) / l.limit[i]
		if look[i] = 1 / (1 + sq(sq(d))); math.IsNaN(d) {
			look[i] = 0
		}
	}
	return look
}
