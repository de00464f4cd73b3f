package flow

import (
	"fmt"
	"image"
	"math"
	"slices"
)

// Shrink averages squares of factor × factor pixels of g into out, which it
// returns; out's memory is used where it is large enough. Pixel (x, y) of the
// result has its centre at (factor·x + (factor−1)/2, …) of g; what is left at
// the right and lower rims is dropped. factor is from 1 to 64.
func Shrink(g Gray, factor int, out Gray) (Gray, error) {
	if err := g.Check(); err != nil {
		return Gray{}, fmt.Errorf("shrink picture: %w", err)
	}
	if factor < 1 || factor > 64 {
		return Gray{}, fmt.Errorf("shrink picture: factor %d: must be from 1 to 64", factor)
	}
	w, h := g.Width/factor, g.Height/factor
	if w == 0 || h == 0 {
		return Gray{}, fmt.Errorf("shrink picture: %w: %d×%d by %d", ErrTooSmall, g.Width, g.Height, factor)
	}
	if cap(out.Pix) < w*h {
		out.Pix = make([]byte, w*h)
	}
	out = Gray{Pix: out.Pix[:w*h], Width: w, Height: h, Stride: w}
	shrink(g, factor, out)
	return out, nil
}

// Sums fills out with the sums of squares of g that lie side by side, the first
// with its top-left pixel at (x, y). side is from 1 to 16.
func Sums(g Gray, x, y, side int, out []uint16) error {
	if err := g.Check(); err != nil {
		return fmt.Errorf("add up squares: %w", err)
	}
	if len(out) == 0 {
		return nil
	}
	if side < 1 || side > 16 || x < 0 || y < 0 || x+side*len(out) > g.Width || y+side > g.Height {
		return fmt.Errorf("add up %d squares of %d from (%d, %d): %w", len(out), side, x, y, ErrSize)
	}
	sums(g, x, y, side, out)
	return nil
}

// Differences fills out with how far a and b differ, cell by cell, and counts in
// histogram how often each difference comes. All but histogram have one length;
// what lies beyond the shortest is left out. A difference beyond the end of
// histogram counts as its last.
func Differences(a, b, out []uint16, histogram []int32) {
	n := min(len(a), len(b), len(out))
	if n > 0 && len(histogram) > 0 {
		differences(a[:n], b[:n], out[:n], histogram)
	}
}

// Changed returns the bounds of those squares of 3 × 3 cells in which three or
// more lie above limit. Index of cells: y·width + x.
func Changed(cells []uint16, width, height int, limit uint16) image.Rectangle {
	if width < 3 || height < 3 || len(cells) < width*height {
		return image.Rectangle{}
	}
	return changed(cells, width, height, limit)
}

// Patches are small squares of one picture that are looked for in others. It
// differs from Flow in that what is known of the squares is worked out once, and
// that a first estimate must be right to about a pixel.
type Patches struct {
	side  int
	at    []Point // Index: patch.
	list  []patch
	parts []float32 // Of every patch that can be found: values and gradients in x and y, each padded.
}

// settleSteps bounds the steps of one patch; two or three are usual.
const settleSteps = 6

// NewPatches takes the squares of the given side, an odd number of pixels from 3
// to 63, around points of g, of which it keeps nothing. Points too near the rim
// and those whose square holds no texture are never found.
func NewPatches(g Gray, points []Point, side int) (*Patches, error) {
	if err := g.Check(); err != nil {
		return nil, fmt.Errorf("take patches: %w", err)
	}
	if side < 3 || side > 63 || side%2 == 0 {
		return nil, fmt.Errorf("take patches: side of %d px: must be odd, from 3 to 63", side)
	}
	n, half := padded(side*side), side/2
	p := &Patches{side: side, at: slices.Clone(points), list: make([]patch, len(points)), parts: make([]float32, 0, 3*n*len(points))}
	for k, at := range points {
		p.list[k] = newPatch(-1, 0, 0, 0)
		if !at.Finite() {
			return nil, fmt.Errorf("take patches: point %d: %w", k, ErrNumber)
		}
		x0, y0 := int(math.Round(at.X))-half, int(math.Round(at.Y))-half
		if x0 < 1 || y0 < 1 || x0+side >= g.Width || y0+side >= g.Height {
			continue
		}
		parts := p.parts[len(p.parts) : len(p.parts)+3*n]
		clear(parts)
		var xx, xy, yy float32
		for j := range side {
			for i := range side {
				c := (y0+j)*g.Stride + x0 + i
				// Scharr's kernel, whose error with direction is least.
				pix := func(d int) float32 { return float32(g.Pix[c+d]) }
				s := g.Stride
				gx := (3*(pix(1-s)-pix(-1-s)) + 10*(pix(1)-pix(-1)) + 3*(pix(1+s)-pix(-1+s))) / 32
				gy := (3*(pix(s-1)-pix(-s-1)) + 10*(pix(s)-pix(-s)) + 3*(pix(s+1)-pix(1-s))) / 32
				m := j*side + i
				parts[m], parts[n+m], parts[2*n+m] = pix(0), gx, gy
				xx += gx * gx
				xy += gx * gy
				yy += gy * gy
			}
		}
		weakest := (float64(xx+yy) - math.Hypot(float64(xx-yy), 2*float64(xy))) / 2
		if weakest >= 0.25*float64(side*side) {
			p.list[k] = newPatch(len(p.parts), xx, xy, yy)
			p.parts = p.parts[:len(p.parts)+3*n]
		}
	}
	return p, nil
}

// Find looks for every patch in g, from where guess puts its point (index: as
// the points of NewPatches). found's memory is used where it is large enough.
func (p *Patches) Find(g Gray, guess []Point, found []Found) ([]Found, error) {
	if err := g.Check(); err != nil {
		return nil, fmt.Errorf("find patches: %w", err)
	}
	if len(guess) != len(p.list) {
		return nil, fmt.Errorf("find patches: %w: %d patches, %d guesses", ErrSize, len(p.list), len(guess))
	}
	if g.Width <= p.side || g.Height <= p.side {
		return nil, fmt.Errorf("find patches: %w: %d×%d", ErrTooSmall, g.Width, g.Height)
	}
	found = found[:0]
	if len(p.list) == 0 {
		return found, nil
	}
	lent := borrow(3 * len(p.list))
	defer room.Put(lent)
	places, left := (*lent)[:2*len(p.list)], (*lent)[2*len(p.list):]
	// The square lies on whole pixels, the point may not.
	half := float64(p.side / 2)
	off := func(k int) Point {
		return Point{math.Round(p.at[k].X) - half - p.at[k].X, math.Round(p.at[k].Y) - half - p.at[k].Y}
	}
	for k := range p.list {
		from := guess[k].Add(off(k))
		if !guess[k].Finite() {
			from = Point{math.NaN(), math.NaN()} // Outside every picture.
		}
		places[2*k], places[2*k+1] = float32(from.X), float32(from.Y)
	}
	p.settle(g, places, left)
	for k := range p.list {
		f := Found{Point: guess[k]}
		if left[k] >= 0 {
			f = Found{Point: Point{float64(places[2*k]), float64(places[2*k+1])}.Sub(off(k)), OK: true, Residual: float64(left[k])}
		}
		found = append(found, f)
	}
	return found, nil
}
