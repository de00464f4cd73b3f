package track

import (
	"image"
	"math"
	"slices"

	"jogstrip/track/flow"
)

// movement tells, frame by frame, in which part of the picture something moves,
// so that only that part is kept. It compares coarse cells with those a tenth
// of a second earlier, after shifting them by the background's motion.
type movement struct {
	width, height int
	lag           int // Frames.
	recent        []coarse
	diff          []uint16
	histogram     [256 * cellSide * cellSide]int32 // Of diff.
	boxes         []image.Rectangle                // Of the latest frames, picture pixels.
	held          image.Rectangle
}

// cellSide is the side of a cell, pixels of the reduced picture.
const cellSide = 4

type coarse struct {
	cells         []uint16 // Sums of the pixels.
	width, height int
}

// How long a part of the picture is kept after movement in it, seconds.
const keepForS = 0.5

// add returns the part of the picture to keep of the next frame. small is the
// reduced picture, at its shift (reduced pixels) against the first frame; rate
// is frames a second.
func (m *movement) add(small flow.Gray, shift flow.Point, rate float64) image.Rectangle {
	whole := image.Rect(0, 0, m.width, m.height)
	if m.width <= 640 {
		return whole
	}
	m.lag = max(1, int(math.Round(0.1*rate)))
	var spare coarse
	if len(m.recent) > m.lag {
		spare, m.recent = m.recent[0], m.recent[1:]
	}
	c := cells(small, shift, spare)
	m.recent = append(m.recent, c)
	if len(m.recent) <= m.lag {
		return whole
	}
	differences := m.differences(c)
	box := flow.Changed(differences, c.width, c.height, m.limit())
	if !box.Empty() {
		per := float64(m.width) / float64(small.Width) * cellSide
		sx, sy := shift.X/cellSide, shift.Y/cellSide
		w, h := 0.25*float64(box.Dx())+3, 0.25*float64(box.Dy())+3
		box = image.Rect(int((float64(box.Min.X)-w-sx)*per), int((float64(box.Min.Y)-h-sy)*per),
			int((float64(box.Max.X)+w-sx)*per), int((float64(box.Max.Y)+h-sy)*per)).Intersect(whole)
	}
	m.boxes = append(m.boxes, box)
	if keep := int(math.Ceil(keepForS*rate)) + 1; len(m.boxes) > keep {
		m.boxes = m.boxes[len(m.boxes)-keep:]
	}
	union := image.Rectangle{}
	for _, b := range m.boxes {
		union = union.Union(b)
	}
	// A horse that stands still is still there.
	if !union.Empty() {
		m.held = union
	}
	if m.held.Empty() {
		return whole
	}
	return m.held
}

// differences returns how far the latest cells c differ from those of lag frames ago.
func (m *movement) differences(c coarse) []uint16 {
	old := m.recent[len(m.recent)-1-m.lag]
	clear(m.histogram[:])
	m.diff = slices.Grow(m.diff[:0], len(c.cells))[:len(c.cells)]
	flow.Differences(c.cells, old.cells, m.diff, m.histogram[:])
	return m.diff
}

// limit returns from which difference on something moves: far above their median, which a
// histogram tells without sorting.
func (m *movement) limit() uint16 {
	middle, run := 0, 0
	for middle < len(m.histogram)-1 {
		if run += int(m.histogram[middle]); run > len(m.diff)/2 {
			break
		}
		middle++
	}
	return uint16(max(3*cellSide*cellSide, 6*middle))
}

// cells returns the sums of the pixels of g's cells, shifted to the nearest pixel. spare's
// memory is used where it is large enough.
func cells(g flow.Gray, shift flow.Point, spare coarse) coarse {
	const side = cellSide
	c := coarse{width: g.Width / side, height: g.Height / side}
	n := c.width * c.height
	c.cells = slices.Grow(spare.cells[:0], n)[:n]
	dx, dy := int(math.Round(shift.X)), int(math.Round(shift.Y))
	// Cells from first to last lie inside the picture whole.
	first := min(max((dx+side-1)/side, 0), c.width)
	last := min(max((g.Width+dx)/side, first), c.width)
	for y := range c.height {
		out := c.cells[y*c.width:][:c.width]
		from, to := first, last
		if top := y*side - dy; top < 0 || top+side > g.Height || flow.Sums(g, first*side-dx, top, side, out[first:last]) != nil {
			from, to = c.width, c.width // Rows beyond the picture: cell by cell.
		}
		for x := range c.width {
			if x >= from && x < to {
				continue
			}
			out[x] = 0
			for j := range side {
				row := g.Pix[min(max(y*side+j-dy, 0), g.Height-1)*g.Stride:]
				for i := range side {
					out[x] += uint16(row[min(max(x*side+i-dx, 0), g.Width-1)])
				}
			}
		}
	}
	return c
}
