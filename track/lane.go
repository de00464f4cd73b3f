package track

import (
	"image"
	"math"
	"slices"

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
	boxes         []image.Rectangle // Of the latest frames, picture pixels.
	held          image.Rectangle
}

type coarse struct {
	cells         []float32
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
	c := cells(small, m.small, shift)
	m.lag = max(1, int(math.Round(0.1*rate)))
	m.recent = append(m.recent, c)
	if len(m.recent) > m.lag+1 {
		m.recent = m.recent[1:]
	}
	if len(m.recent) <= m.lag {
		return whole
	}
	old := m.recent[0]
	diff := make([]float32, len(c.cells))
	for i := range diff {
		diff[i] = float32(math.Abs(float64(c.cells[i] - old.cells[i])))
	}
	sorted := slices.Clone(diff)
	slices.Sort(sorted)
	limit := max(3, 6*sorted[len(sorted)/2])
	box := image.Rectangle{}
	for y := 1; y+1 < c.height; y++ {
		for x := 1; x+1 < c.width; x++ {
			n := 0
			for j := -1; j <= 1; j++ {
				for i := -1; i <= 1; i++ {
					if diff[(y+j)*c.width+x+i] > limit {
						n++
					}
				}
			}
			if n >= 3 {
				box = box.Union(image.Rect(x-1, y-1, x+2, y+2))
			}
		}
	}
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

// cells returns the means of small's squares of the given side, shifted to the
// nearest pixel.
func cells(g flow.Gray, side int, shift flow.Point) coarse {
	c := coarse{width: g.Width / side, height: g.Height / side}
	c.cells = make([]float32, c.width*c.height)
	dx, dy := int(math.Round(shift.X)), int(math.Round(shift.Y))
	for y := range c.height {
		for x := range c.width {
			sum := 0
			for j := range side {
				row := min(max(y*side+j-dy, 0), g.Height-1) * g.Stride
				for i := range side {
					sum += int(g.Pix[row+min(max(x*side+i-dx, 0), g.Width-1)])
				}
			}
			c.cells[y*c.width+x] = float32(sum) / float32(side*side)
		}
	}
	return c
}

// lane is the picture of the lane without the horse: the mean of what was seen
// at each place while nothing moved there, in the coordinates of frame 0.
type lane struct {
	width, height int
	sum           []uint16
	count         []uint8
	deviation     [64]int // Histogram of the differences to the mean, grey levels.
	picture       []byte
	noise         float64 // Grey levels, of one pixel.
}

const mostLane = 250 // So that neither sum nor count can run over.

func newLane(width, height int) *lane {
	return &lane{width: width, height: height, sum: make([]uint16, width*height), count: make([]uint8, width*height)}
}

// add takes a frame in the coordinates of frame 0, leaving out the part where
// something moves and what is black, which the warped frame does not show.
func (l *lane) add(g flow.Gray, moving image.Rectangle, warped bool) {
	for y := range l.height {
		row := g.Pix[y*g.Stride : y*g.Stride+l.width]
		l.span(y*l.width, row[:clampInt(moving.Min.X, 0, l.width, y >= moving.Min.Y && y < moving.Max.Y)], warped)
		if y >= moving.Min.Y && y < moving.Max.Y && moving.Max.X < l.width {
			at := max(moving.Max.X, 0)
			l.span(y*l.width+at, row[at:], warped)
		}
	}
}

// see adds a frame that motion m takes to frame 0.
func (l *lane) see(e *flow.Engine, g flow.Gray, moving image.Rectangle, m traj.Motion) error {
	d := shiftOf(m, l.width, l.height)
	a, b := shiftOf(multiply(m, traj.Motion{1, 0, -float64(l.width) / 3, 0, 1, -float64(l.height) / 3, 0, 0, 1}), l.width, l.height), flow.Point{X: -float64(l.width) / 3, Y: -float64(l.height) / 3}
	if math.Hypot(d.X, d.Y) < 0.3 && a.Dist(b) < 0.3 {
		l.add(g, moving, false)
		return nil
	}
	w, err := e.Warp(g, m, l.width, l.height)
	if err != nil {
		return err
	}
	moving = moving.Add(image.Pt(int(math.Round(d.X)), int(math.Round(d.Y)))).Inset(-16)
	l.add(w, moving, true)
	return nil
}

// clampInt bounds x where it applies, and is high elsewhere.
func clampInt(x, low, high int, applies bool) int {
	if !applies {
		return high
	}
	return min(max(x, low), high)
}

func (l *lane) span(at int, row []byte, warped bool) {
	sum, count := l.sum[at:at+len(row)], l.count[at:at+len(row)]
	for i, v := range row {
		if count[i] >= mostLane || warped && v == 0 {
			continue
		}
		if count[i] > 2 && (at+i)%97 == 0 {
			d := int(v) - int(sum[i])/int(count[i])
			l.deviation[min(max(d, -d), 63)]++
		}
		sum[i] += uint16(v)
		count[i]++
	}
}

// finish makes the picture and frees what it was made from.
func (l *lane) finish() {
	l.picture = make([]byte, len(l.sum))
	for i, c := range l.count {
		if c > 0 {
			l.picture[i] = byte((int(l.sum[i]) + int(c)/2) / int(c))
		}
	}
	l.sum = nil
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

// foreground returns, for every pixel of plane (a part of frame f), how surely
// it does not show the empty lane, from 0 to 1; nil where the lane is unknown.
func (c *clip) foreground(f int, plane flow.Plane, halvings int) []float32 {
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
		u, v := c.toFirst[f].Apply(mx, my)
		if !(flow.Point{X: u, Y: v}).Finite() {
			return nil
		}
		dx, dy = u-mx, v-my
	}
	x0 := int(math.Round(plane.X0 - (plane.Step-1)/2 + dx))
	y0 := int(math.Round(plane.Y0 - (plane.Step-1)/2 + dy))
	w, h := plane.Width*int(plane.Step), plane.Height*int(plane.Step)
	behind := flow.Gray{Width: w, Height: h, Stride: w, Pix: make([]byte, w*h)}
	known := make([]bool, plane.Width*plane.Height)
	for y := range h {
		sy := y0 + y
		if sy < 0 || sy >= l.height {
			continue
		}
		for x := range w {
			sx := x0 + x
			if sx < 0 || sx >= l.width {
				continue
			}
			behind.Pix[y*w+x] = l.picture[sy*l.width+sx]
			if l.count[sy*l.width+sx] > 0 {
				known[min(y/int(plane.Step), plane.Height-1)*plane.Width+min(x/int(plane.Step), plane.Width-1)] = true
			}
		}
	}
	b := flow.NewPlane(behind, 0, 0, halvings)
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
	raw := make([]float32, len(plane.Pix))
	for y := range plane.Height {
		for x := range plane.Width {
			i := y*plane.Width + x
			if !known[i] {
				raw[i] = 1
				continue
			}
			gx := b.Pix[y*b.Width+min(x+1, b.Width-1)] - b.Pix[y*b.Width+max(x-1, 0)]
			gy := b.Pix[min(y+1, b.Height-1)*b.Width+x] - b.Pix[max(y-1, 0)*b.Width+x]
			limit := 3*noise + 1.5 + slack*math.Hypot(float64(gx), float64(gy))/2
			d := math.Abs(float64(plane.Pix[i] - b.Pix[i]))
			raw[i] = float32(min(max((d-limit)/limit, 0), 1))
		}
	}
	// The outline belongs to what moves: widen by one pixel.
	out := make([]float32, len(raw))
	for y := range plane.Height {
		for x := range plane.Width {
			var v float32
			for j := max(y-1, 0); j <= min(y+1, plane.Height-1); j++ {
				for i := max(x-1, 0); i <= min(x+1, plane.Width-1); i++ {
					v = max(v, raw[j*plane.Width+i])
				}
			}
			out[y*plane.Width+x] = v
		}
	}
	return out
}

// shiftOf returns how far motion m moves the middle of a picture.
func shiftOf(m traj.Motion, width, height int) flow.Point {
	x, y := float64(width)/2, float64(height)/2
	u, v := m.Apply(x, y)
	return flow.Point{X: u - x, Y: v - y}
}
