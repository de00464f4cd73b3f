package flow

import (
	"fmt"
	"image"
	"math"
)

// Refined follows points as Flow does, checks each by following it back, and
// refines its position by registering the patch around it with free scale and
// angle and a robust weight per pixel. Points whose two directions disagree by
// more than half a pixel, whose patch is dissimilar (NCC below 0.8) or whose
// refinement departs by more than a pixel come back with OK false.
func (e *Engine) Refined(prev, next Gray, points []Point, opts FlowOptions) ([]Found, error) {
	there, err := e.Flow(prev, next, points, nil, opts)
	if err != nil {
		return nil, fmt.Errorf("refine: %w", err)
	}
	ends := make([]Point, len(there))
	for i, f := range there {
		ends[i] = points[i]
		if f.OK {
			ends[i] = f.Point
		}
	}
	back, err := e.Flow(next, prev, ends, nil, opts)
	if err != nil {
		return nil, fmt.Errorf("refine: follow back: %w", err)
	}
	half := float64(opts.Window) / 2
	if opts.Window == 0 {
		half = 10.5
	}
	half *= 0.8
	for i := range there {
		f := &there[i]
		if !f.OK || !back[i].OK || back[i].Dist(points[i]) > 0.5 {
			f.OK = false
			continue
		}
		a := around(prev, points[i], half+4)
		b := around(next, f.Point, half+6)
		sigma := 0.6 * half
		t, err := NewTemplate(a, points[i], Window{half, half, half, half}, func(x, y float64) float64 {
			dx, dy := (x-points[i].X)/sigma, (y-points[i].Y)/sigma
			return math.Exp(-(dx*dx + dy*dy) / 2)
		})
		if err != nil {
			f.OK = false
			continue
		}
		r := t.Register(b, Pose{At: f.Point, Scale: 1}, RegisterOptions{ScaleSD: 0.02, AngleSD: 0.02})
		if !r.OK || r.NCC < 0.8 || r.At.Dist(f.Point) > 1 {
			f.OK = false
			continue
		}
		f.Point = r.At
	}
	return there, nil
}

// around returns the plane of the square of the given half side around c.
func around(g Gray, c Point, half float64) Plane {
	r := image.Rect(int(math.Floor(c.X-half)), int(math.Floor(c.Y-half)), int(math.Ceil(c.X+half))+1, int(math.Ceil(c.Y+half))+1)
	r = r.Intersect(image.Rect(0, 0, g.Width, g.Height))
	return NewPlane(g.Crop(r), r.Min.X, r.Min.Y, 0)
}
