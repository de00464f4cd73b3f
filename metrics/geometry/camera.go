package geometry

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is a pinhole camera with square pixels in the lane frame. A lane
// point (x, y, z) is at T + x·X + y·Y + z·Z in camera coordinates (x right, y down, z
// forward) and at (CX + F·x/z, CY + F·y/z) in the picture.
type Camera struct {
	F       float64 // Focal length, px.
	CX, CY  float64 // Principal point, px.
	X, Y, Z r3.Vec  // The lane's axes: unit vectors, square to each other.
	T       r3.Vec  // The lane's origin, metres (at LevelRatio: camera heights).
}

// LevelCamera returns the camera at height metres above the lane's origin that looks along the
// lane with its rows level, such that lane directions vanish at the picture position vanish.
func LevelCamera(focal, cx, cy, height float64, vanish Point) Camera {
	// The lane's direction in camera coordinates is the ray of its vanishing point. The vertical
	// is square to it, and to the camera's x axis, as its rows are level.
	forward := r3.Unit(r3.Vec{X: vanish.X - cx, Y: vanish.Y - cy, Z: focal})
	up := r3.Unit(r3.Vec{Y: -forward.Z, Z: forward.Y})
	return Camera{F: focal, CX: cx, CY: cy, X: r3.Cross(forward, up), Y: forward, Z: up, T: r3.Scale(-height, up)}
}

// Centre returns the camera's position in the lane frame, metres.
func (c Camera) Centre() (x, y, z float64) {
	t := c.back(c.T)
	return -t.X, -t.Y, -t.Z
}

// Project returns where the lane point (x, y, z) appears. It returns false for
// a point that is not in front of the camera.
func (c Camera) Project(x, y, z float64) (Point, bool) {
	q := c.seen(r3.Vec{X: x, Y: y, Z: z})
	if q.Z <= 1e-9 {
		return Point{math.NaN(), math.NaN()}, false
	}
	return Point{c.CX + c.F*q.X/q.Z, c.CY + c.F*q.Y/q.Z}, true
}

// ray returns the direction, in the lane frame, of everything that appears at
// p. Its length is that of one metre along the optical axis.
func (c Camera) ray(p Point) r3.Vec {
	return c.back(r3.Vec{X: (p.X - c.CX) / c.F, Y: (p.Y - c.CY) / c.F, Z: 1})
}

// GroundPoint returns the point of the ground that appears at p, metres. It
// returns false for a position on or above the horizon.
func (c Camera) GroundPoint(p Point) (x, y float64, ok bool) {
	cx, cy, cz := c.Centre()
	d := c.ray(p)
	if !(cz > 0) || !(d.Z < -1e-9) {
		return math.NaN(), math.NaN(), false
	}
	s := -cz / d.Z
	return cx + s*d.X, cy + s*d.Y, true
}

// AtDepth returns the point at distance y along the lane that appears at p:
// its position across and its height over the ground, metres. It returns false
// where the ray does not meet that depth in front of the camera.
func (c Camera) AtDepth(p Point, y float64) (x, z float64, ok bool) {
	cx, cy, cz := c.Centre()
	d := c.ray(p)
	s := (y - cy) / d.Y
	if math.Abs(d.Y) < 1e-9 || !(s > 0) {
		return math.NaN(), math.NaN(), false
	}
	return cx + s*d.X, cz + s*d.Z, true
}

// GroundJacobian returns the derivatives of the ground point at p by the
// picture position: [[∂x/∂px, ∂x/∂py], [∂y/∂px, ∂y/∂py]], metres per px.
func (c Camera) GroundJacobian(p Point) [2][2]float64 {
	const h = 0.01 // px; the map is smooth over far more than this.
	var j [2][2]float64
	for k, d := range [2]Point{{h, 0}, {0, h}} {
		x1, y1, _ := c.GroundPoint(Point{p.X + d.X, p.Y + d.Y})
		x0, y0, _ := c.GroundPoint(Point{p.X - d.X, p.Y - d.Y})
		j[0][k] = (x1 - x0) / (2 * h)
		j[1][k] = (y1 - y0) / (2 * h)
	}
	return j
}

// HorizonRow returns the row of the horizon in the picture's middle column, px.
func (c Camera) HorizonRow() float64 {
	return c.CY - c.F*c.Z.Z/c.Z.Y // Where the ray's upward part is zero.
}

// TiltAcross returns the angle, degrees, between the picture's rows and the
// ground across the lane, positive where the ground falls to the picture's
// right. It is the lane's crossfall only if the camera was level.
func (c Camera) TiltAcross() float64 {
	return math.Asin(max(-1, min(1, c.Z.X))) * 180 / math.Pi
}

// seen returns the lane point p in camera coordinates.
func (c Camera) seen(p r3.Vec) r3.Vec {
	return r3.Add(r3.Add(r3.Add(c.T, r3.Scale(p.X, c.X)), r3.Scale(p.Y, c.Y)), r3.Scale(p.Z, c.Z))
}

// back returns a direction of camera coordinates in the lane frame.
func (c Camera) back(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(c.X, v), Y: r3.Dot(c.Y, v), Z: r3.Dot(c.Z, v)}
}

// turned returns c with its rotation followed by one about the axis w by its length,
// radians.
func (c Camera) turned(w r3.Vec) Camera {
	by := r3.NewRotation(r3.Norm(w), w)
	c.X, c.Y, c.Z = by.Rotate(c.X), by.Rotate(c.Y), by.Rotate(c.Z)
	return c
}
