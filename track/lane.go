package track

import (
	"bytes"
	"errors"
	"image"
	"math"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// movement tells, frame by frame, in which part of the picture something moves,
// so that only that part is kept. It compares coarse cells with those a tenth
// of a second earlier, after shifting them by the background's motion.
type movement struct {
	width, height int
	small         int // Side of a cell, pixels of the reduced picture.
	lag           int // Frames.
	recent        []coarse
	diff          []uint16
	histogram     []int32           // Of diff.
	boxes         []image.Rectangle // Of the latest frames, picture pixels.
	held          image.Rectangle
}

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
	m.small = 4
	m.lag = max(1, int(math.Round(0.1*rate)))
	var spare coarse
	if len(m.recent) > m.lag {
		spare, m.recent = m.recent[0], m.recent[1:]
	}
	c := cells(small, m.small, shift, spare)
	m.recent = append(m.recent, c)
	if len(m.recent) <= m.lag {
		return whole
	}
	old := m.recent[len(m.recent)-1-m.lag]
	// A histogram tells the median without sorting.
	side := m.small * m.small
	if m.histogram == nil {
		m.histogram = make([]int32, 256*side)
	}
	clear(m.histogram)
	if cap(m.diff) < len(c.cells) {
		m.diff = make([]uint16, len(c.cells))
	}
	m.diff = m.diff[:len(c.cells)]
	flow.Differences(c.cells, old.cells, m.diff, m.histogram)
	middle, run := 0, 0
	for middle < len(m.histogram)-1 {
		if run += int(m.histogram[middle]); run > len(m.diff)/2 {
			break
		}
		middle++
	}
	limit := uint16(max(3*side, 6*middle))
	box := flow.Changed(m.diff, c.width, c.height, limit)
	if !box.Empty() {
		per := float64(m.width) / float64(small.Width) * float64(m.small)
		sx, sy := shift.X/float64(m.small), shift.Y/float64(m.small)
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

// cells returns the sums of small's squares of the given side, at most 16,
// shifted to the nearest pixel. spare's memory is used where it is large enough.
func cells(g flow.Gray, side int, shift flow.Point, spare coarse) coarse {
	c := coarse{width: g.Width / side, height: g.Height / side}
	if cap(spare.cells) < c.width*c.height {
		spare.cells = make([]uint16, c.width*c.height)
	}
	c.cells = spare.cells[:c.width*c.height]
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

// lane is the picture of the lane without the horse: the mean of what was seen
// at each place while nothing moved there, in the coordinates of frame 0.
type lane struct {
	width, height int
	mean          *flow.Mean
	deviation     [64]int // Histogram of the differences to the mean, grey levels.
	picture       []byte
	noise         float64 // Grey levels, of one pixel.
}

func newLane(width, height int) *lane {
	return &lane{width: width, height: height, mean: flow.NewMean(width, height)}
}

// add takes a frame in the coordinates of frame 0, leaving out the part where
// something moves and what is black, which the warped frame does not show.
func (l *lane) add(g flow.Gray, moving image.Rectangle, warped bool) error {
	for y := range l.height {
		row := g.Pix[y*g.Stride:][:l.width]
		left, right := l.width, l.width
		if y >= moving.Min.Y && y < moving.Max.Y && !moving.Empty() {
			left, right = min(max(moving.Min.X, 0), l.width), min(max(moving.Max.X, 0), l.width)
		}
		if err := errors.Join(l.span(0, y, row[:left], warped), l.span(right, y, row[right:], warped)); err != nil {
			return err
		}
	}
	return nil
}

// sampled is how many pixels lie from one whose noise is looked at to the next.
const sampled = 97

func (l *lane) span(x, y int, row []byte, warped bool) error {
	if err := l.mean.Add(x, y, row, warped); err != nil {
		return err
	}
	// After adding, which has brought all of it near: against the mean of the others.
	at := y*l.width + x
	for i := (sampled - at%sampled) % sampled; i < len(row); i += sampled {
		if n := int(l.mean.Count[at+i]) - 1; n > 2 && !(warped && row[i] == 0) {
			d := int(row[i]) - int((uint32(l.mean.Sum[at+i])-uint32(row[i]))/uint32(n))
			l.deviation[min(max(d, -d), 63)]++
		}
	}
	return nil
}

// see adds a frame that motion m takes to frame 0.
func (l *lane) see(e *flow.Engine, g flow.Gray, moving image.Rectangle, m traj.Motion) error {
	d := shiftOf(m, l.width, l.height)
	a, b := shiftOf(multiply(m, traj.Motion{1, 0, -float64(l.width) / 3, 0, 1, -float64(l.height) / 3, 0, 0, 1}), l.width, l.height), flow.Point{X: -float64(l.width) / 3, Y: -float64(l.height) / 3}
	if math.Hypot(d.X, d.Y) < 0.3 && a.Dist(b) < 0.3 {
		return l.add(g, moving, false)
	}
	w, err := e.Warp(g, m, l.width, l.height)
	if err != nil {
		return err
	}
	moving = moving.Add(image.Pt(int(math.Round(d.X)), int(math.Round(d.Y)))).Inset(-16)
	return l.add(w, moving, true)
}

// finish makes the picture and frees what it was made from.
func (l *lane) finish() {
	l.picture = l.mean.Picture()
	l.mean.Sum = nil
	total, run := 0, 0
	for _, n := range l.deviation {
		total += n
	}
	for d, n := range l.deviation {
		if total > 0 && 2*(run+n) >= total {
			// The median of |d|, interpolated in its bin; 1.4826 makes it a standard deviation.
			l.noise = 1.4826 * (float64(d) - 0.5 + float64(total-2*run)/float64(2*n))
			break
		}
		run += n
	}
	l.noise = max(l.noise, 0.7)
	if total < 100 {
		l.noise = 3
	}
}

// veil is memory for what foreground works out. The zero value is right.
type veil struct {
	behind    []byte
	part      []float32  // Of the plane that is looked at.
	plane     flow.Plane // Of behind.
	raw, wide []float32
	// The rim's weights of the plane's columns and rows, and of the patch's columns.
	across, down, columns []float64
	cells                 []float64
}

// foreground returns, for every pixel of plane (a part of frame f), how surely
// it does not show the empty lane, from 0 to 1; nil where the lane is unknown. It
// lies in v's memory, and holds until the next call with v.
func (c *clip) foreground(f int, plane flow.Plane, halvings int, v *veil) []float32 {
	if c.lane == nil || plane.Width == 0 {
		return nil
	}
	l := c.lane
	// The part of the lane's picture behind the plane: a shift is enough for so
	// small a part.
	mx := plane.X0 + plane.Step*float64(plane.Width)/2
	my := plane.Y0 + plane.Step*float64(plane.Height)/2
	dx, dy := 0.0, 0.0
	if c.toFirst != nil {
		x, y := c.toFirst[f].Apply(mx, my)
		if !(flow.Point{X: x, Y: y}).Finite() {
			return nil
		}
		dx, dy = x-mx, y-my
	}
	x0 := int(math.Round(plane.X0 - (plane.Step-1)/2 + dx))
	y0 := int(math.Round(plane.Y0 - (plane.Step-1)/2 + dy))
	w, h := plane.Width*int(plane.Step), plane.Height*int(plane.Step)
	if cap(v.behind) < w*h {
		v.behind = make([]byte, w*h)
	}
	behind := flow.Gray{Width: w, Height: h, Stride: w, Pix: v.behind[:w*h]}
	known := image.Rect(0, 0, l.width, l.height).Intersect(image.Rect(x0, y0, x0+w, y0+h))
	if known.Dx() != w || known.Dy() != h {
		clear(behind.Pix)
	}
	for y := known.Min.Y; y < known.Max.Y; y++ {
		copy(behind.Pix[(y-y0)*w+known.Min.X-x0:], l.picture[y*l.width+known.Min.X:y*l.width+known.Max.X])
	}
	v.plane.Fill(behind, 0, 0, halvings)
	b := v.plane
	if b.Width != plane.Width || b.Height != plane.Height {
		return nil
	}
	// Smoothing takes noise down to 3/8 of it; halving halves it again. Where the
	// lane has edges, a little misplacement shows as a difference.
	noise := 0.375 * l.noise / plane.Step * math.Sqrt(1.1)
	slack := 0.15
	if c.toFirst != nil {
		slack = 0.6
	}
	raw, err := flow.Unlike(plane, b, 3*noise+1.5, slack/2, v.raw)
	if err != nil {
		return nil
	}
	v.raw = raw
	// What was never seen without the horse counts as the horse.
	for y := range plane.Height {
		l.unseen(raw[y*plane.Width:][:plane.Width], x0, y0+y*int(plane.Step), int(plane.Step))
	}
	// The outline belongs to what moves: widen by one pixel.
	v.wide = flow.Widen(raw, plane.Width, plane.Height, v.wide)
	return v.wide
}

// unseen sets those of row to 1 whose squares of the lane, of the given side and
// side by side from (x0, y0) on, nothing was ever seen of.
func (l *lane) unseen(row []float32, x0, y0, side int) {
	whole := x0 >= 0 && y0 >= 0 && x0+len(row)*side <= l.width && y0+side <= l.height
	if whole && bytes.IndexByte(l.mean.Count[y0*l.width+x0:][:len(row)*side], 0) < 0 {
		return // The usual case, told fast: the first line of every square was seen.
	}
	for x := range row {
		seen := false
		for v := max(y0, 0); v < min(y0+side, l.height) && !seen; v++ {
			for u := max(x0+x*side, 0); u < min(x0+(x+1)*side, l.width) && !seen; u++ {
				seen = l.mean.Count[v*l.width+u] > 0
			}
		}
		if !seen {
			row[x] = 1
		}
	}
}

// shiftOf returns how far motion m moves the middle of a picture.
func shiftOf(m traj.Motion, width, height int) flow.Point {
	x, y := float64(width)/2, float64(height)/2
	u, v := m.Apply(x, y)
	return flow.Point{X: u - x, Y: v - y}
}
