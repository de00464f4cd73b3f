package track

import (
	"errors"
	"image"
	"math"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

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

// shiftOf returns how far motion m moves the middle of a picture.
func shiftOf(m traj.Motion, width, height int) flow.Point {
	x, y := float64(width)/2, float64(height)/2
	u, v := m.Apply(x, y)
	return flow.Point{X: u - x, Y: v - y}
}
