package flow

import (
	"errors"
	"fmt"
	"image"
	"math"
)

// Errors for data that OpenCV would answer with an exception.
var (
	ErrEmpty    = errors.New("picture is empty")
	ErrTooSmall = errors.New("picture is too small")
	ErrSize     = errors.New("sizes differ")
	ErrNumber   = errors.New("position is not a finite number")
)

// Gray is a rectangle of 8-bit luma. Pixel (x, y) is Pix[y*Stride+x].
type Gray struct {
	Pix           []byte
	Width, Height int
	Stride        int
}

// Point is a position, px.
type Point struct{ X, Y float64 }

// Add returns p + q.
func (p Point) Add(q Point) Point { return Point{p.X + q.X, p.Y + q.Y} }

// Sub returns p − q.
func (p Point) Sub(q Point) Point { return Point{p.X - q.X, p.Y - q.Y} }

// Dist returns the distance between p and q.
func (p Point) Dist(q Point) float64 { return math.Hypot(p.X-q.X, p.Y-q.Y) }

// Finite reports whether both coordinates are finite and small enough for the
// single precision in which OpenCV takes them.
func (p Point) Finite() bool {
	const most = 1e6
	return math.Abs(p.X) < most && math.Abs(p.Y) < most // False for NaN.
}

// Check returns an error where g cannot be handed to OpenCV.
func (g Gray) Check() error {
	if g.Width <= 0 || g.Height <= 0 || len(g.Pix) == 0 {
		return ErrEmpty
	}
	if g.Stride < g.Width || len(g.Pix) < (g.Height-1)*g.Stride+g.Width {
		return fmt.Errorf("%w: %d bytes for %d×%d with rows of %d", ErrSize, len(g.Pix), g.Width, g.Height, g.Stride)
	}
	return nil
}

// Crop returns the part of g inside r (in g's coordinates), sharing its pixels.
// What lies outside g is cut off.
func (g Gray) Crop(r image.Rectangle) Gray {
	r = r.Intersect(image.Rect(0, 0, g.Width, g.Height))
	if r.Empty() {
		return Gray{}
	}
	return Gray{Pix: g.Pix[r.Min.Y*g.Stride+r.Min.X:], Width: r.Dx(), Height: r.Dy(), Stride: g.Stride}
}

// packed returns the pixels without gaps between rows.
func (g Gray) packed() []byte {
	if g.Stride == g.Width {
		return g.Pix[:g.Width*g.Height]
	}
	out := make([]byte, g.Width*g.Height)
	g.Pack(out)
	return out
}

// Pack copies the pixels to out without gaps between rows.
func (g Gray) Pack(out []byte) {
	for y := range g.Height {
		copy(out[y*g.Width:(y+1)*g.Width], g.Pix[y*g.Stride:])
	}
}
