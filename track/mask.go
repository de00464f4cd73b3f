package track

import (
	"bytes"
	"image"
	"math"

	"jogstrip/track/flow"
)

// What of a patch is looked at: what is not the empty lane, and less toward its rim.

// weigh is the rim's weight, times how surely each pixel of plane shows the landmark and
// nothing else: not the empty lane, and what its marks have in common. It holds until the
// next call with v. share is the part that is not the empty lane.
func (fo *follower) weigh(f int, plane flow.Plane, halvings int, at flow.Point, w flow.Window, v *veil) (weigh func(x, y float64) float64, share float64) {
	apart, share := fo.apart(f, plane, halvings, at, w, v)
	common := fo.clip.common[fo.landmark]
	if common == nil {
		return apart, share
	}
	v.cells = common.weigh(cellsOf(plane, at, w, v.cells))
	cells := v.cells
	left, top, wide, high := at.X-w.Left, at.Y-w.Up, w.Left+w.Right, w.Up+w.Down
	return func(x, y float64) float64 {
		i, j := int(commonSide*(x-left)/wide), int(commonSide*(y-top)/high)
		if x < left || y < top || i >= commonSide || j >= commonSide {
			return 0
		}
		return apart(x, y) * cells[j*commonSide+i]
	}, share
}

// apart is the rim's weight, times how surely each pixel of plane is not the empty
// lane. It holds until the next call with v.
func (fo *follower) apart(f int, plane flow.Plane, halvings int, at flow.Point, w flow.Window, v *veil) (weigh func(x, y float64) float64, share float64) {
	rim := newRim(at, w)
	if fo.unmasked {
		return rim.at, 1
	}
	// Only the patch is looked at: it, and what rounding and widening take in.
	pad := 4*plane.Step + w.Size()/flowSide
	plane = plane.Crop(
		int((at.X-w.Left-pad-plane.X0)/plane.Step), int((at.Y-w.Up-pad-plane.Y0)/plane.Step),
		int((at.X+w.Right+pad-plane.X0)/plane.Step)+1, int((at.Y+w.Down+pad-plane.Y0)/plane.Step)+1, v.part)
	v.part = plane.Pix
	mask := fo.clip.foreground(f, plane, halvings, v)
	if mask == nil {
		return rim.at, 1
	}
	m := masked{plane, mask, rim}
	return m.weigh(v), m.share(at, w, v)
}

// masked is a part of a frame with how surely each of its pixels is not the empty lane.
type masked struct {
	flow.Plane
	mask []float32
	rim  rim
}

func (m *masked) column(x float64) int { return int(math.Floor((x-m.X0)/m.Step + 0.5)) }
func (m *masked) row(y float64) int    { return int(math.Floor((y-m.Y0)/m.Step + 0.5)) }

// weigh returns the rim's weight times the mask's. It holds until the next call with v.
func (m masked) weigh(v *veil) func(x, y float64) float64 {
	v.across, v.down = v.across[:0], v.down[:0]
	for i := range m.Width {
		v.across = append(v.across, m.rim.across(m.X0+m.Step*float64(i)))
	}
	for j := range m.Height {
		v.down = append(v.down, m.rim.down(m.Y0+m.Step*float64(j)))
	}
	across, down := v.across, v.down
	return func(x, y float64) float64 {
		i, j := m.column(x), m.row(y)
		if i < 0 || j < 0 || i >= m.Width || j >= m.Height {
			return 0
		}
		sure := float64(m.mask[j*m.Width+i])
		switch {
		case sure == 0:
			return 0
		case x == m.X0+m.Step*float64(i) && y == m.Y0+m.Step*float64(j): // As nearly always.
			return across[i] * down[j] * sure
		}
		return m.rim.at(x, y) * sure
	}
}

// share returns which part of the patch w around at, by the rim's weight, is not the empty lane.
func (m *masked) share(at flow.Point, w flow.Window, v *veil) float64 {
	// Columns of the patch, as of the plane, with their share of the rim's weight.
	first := at.X - w.Left
	v.columns = v.columns[:0]
	for x := first; x <= at.X+w.Right; x = first + m.Step*float64(len(v.columns)) {
		v.columns = append(v.columns, m.rim.across(x))
	}
	var sum, all float64
	for y := at.Y - w.Up; y <= at.Y+w.Down; y += m.Step {
		d, j := m.rim.down(y), m.row(y)
		var shown, whole float64 // Of this row.
		for k, a := range v.columns {
			whole += a
			if i := m.column(first + m.Step*float64(k)); i >= 0 && i < m.Width && j >= 0 && j < m.Height {
				shown += a * float64(m.mask[j*m.Width+i])
			}
		}
		sum += d * shown
		all += d * whole
	}
	return sum / all
}

// rim is how much a pixel of a patch counts by its place alone: less toward the rim.
type rim struct{ cx, cy, rx, ry float64 }

func newRim(at flow.Point, w flow.Window) rim {
	return rim{at.X + (w.Right-w.Left)/2, at.Y + (w.Down-w.Up)/2, 0.75 * (w.Left + w.Right) / 2, 0.75 * (w.Up + w.Down) / 2}
}

// across and down are its two factors, which whole columns and rows share.
func (r rim) across(x float64) float64 { return bell((x - r.cx) / r.rx) }

func (r rim) down(y float64) float64 { return bell((y - r.cy) / r.ry) }

func (r rim) at(x, y float64) float64 { return r.across(x) * r.down(y) }

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
