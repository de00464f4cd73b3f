package geometry

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Camera is a pinhole camera with square pixels in the lane frame. A lane
// point P is at R·P + T in camera coordinates (x right, y down, z forward) and
// at (CX + F·x/z, CY + F·y/z) in the picture.
type Camera struct {
	F      float64       // Focal length, px.
	CX, CY float64       // Principal point, px.
	R      [3][3]float64 // Row-major rotation from the lane to the camera.
	T      [3]float64    // Translation, metres (at LevelRatio: camera heights).
}

// LevelCamera returns the camera at height metres above the lane's origin that
// looks along the lane with its rows level, such that lane directions vanish at
// the picture position vanish. It is the general form of the Z-row law
// Y = F·height/(row − horizon): exact for a pitched camera as well.
func LevelCamera(focal, cx, cy, height float64, vanish Point) Camera {
	// The lane's direction in camera coordinates is the ray of its vanishing point.
	forward := r3.Unit(r3.Vec{X: vanish.X - cx, Y: vanish.Y - cy, Z: focal})
	// The camera's rows are level, so its x axis has no part along the vertical,
	// and the vertical is square to the lane: it lies in the plane x = 0 turned
	// to be square to forward.
	up := r3.Unit(r3.Vec{Y: -forward.Z, Z: forward.Y})
	c := Camera{F: focal, CX: cx, CY: cy, R: axes(r3.Cross(forward, up), forward, up)}
	for i := range 3 {
		c.T[i] = -height * c.R[i][2]
	}
	return c
}

// Centre returns the camera's position in the lane frame, metres.
func (c Camera) Centre() (x, y, z float64) {
	t := c.back(c.T)
	return -t[0], -t[1], -t[2]
}

// Project returns where the lane point (x, y, z) appears. It returns false for
// a point that is not in front of the camera.
func (c Camera) Project(x, y, z float64) (Point, bool) {
	q := c.seen([3]float64{x, y, z})
	if q[2] <= 1e-9 {
		return Point{math.NaN(), math.NaN()}, false
	}
	return Point{c.CX + c.F*q[0]/q[2], c.CY + c.F*q[1]/q[2]}, true
}

// Ray returns the direction, in the lane frame, of everything that appears at
// p. Its length is that of one metre along the optical axis.
func (c Camera) Ray(p Point) [3]float64 {
	return c.back([3]float64{(p.X - c.CX) / c.F, (p.Y - c.CY) / c.F, 1})
}

// GroundPoint returns the point of the ground that appears at p, metres. It
// returns false for a position on or above the horizon.
func (c Camera) GroundPoint(p Point) (x, y float64, ok bool) {
	cx, cy, cz := c.Centre()
	d := c.Ray(p)
	if !(cz > 0) || !(d[2] < -1e-9) {
		return math.NaN(), math.NaN(), false
	}
	s := -cz / d[2]
	return cx + s*d[0], cy + s*d[1], true
}

// AtDepth returns the point at distance y along the lane that appears at p:
// its position across and its height over the ground, metres. It returns false
// where the ray does not meet that depth in front of the camera.
func (c Camera) AtDepth(p Point, y float64) (x, z float64, ok bool) {
	cx, cy, cz := c.Centre()
	d := c.Ray(p)
	if math.Abs(d[1]) < 1e-9 {
		return math.NaN(), math.NaN(), false
	}
	s := (y - cy) / d[1]
	if !(s > 0) {
		return math.NaN(), math.NaN(), false
	}
	return cx + s*d[0], cz + s*d[2], true
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
	// Rows where the ray's upward part is zero.
	up := [3]float64{c.R[0][2], c.R[1][2], c.R[2][2]}
	return c.CY - c.F*up[2]/up[1]
}

// TiltAcross returns the angle, degrees, between the picture's rows and the
// ground across the lane, positive where the ground falls to the picture's
// right. It is the lane's crossfall only if the camera was level.
func (c Camera) TiltAcross() float64 {
	return math.Asin(max(-1, min(1, c.R[0][2]))) * 180 / math.Pi
}

// seen returns R·p + T.
func (c Camera) seen(p [3]float64) [3]float64 {
	for i := range 3 {
		for j := range 3 {
			c.T[i] += c.R[i][j] * p[j]
		}
	}
	return c.T
}

// back returns Rᵀ·v.
func (c Camera) back(v [3]float64) [3]float64 {
	var out [3]float64
	for i := range 3 {
		for j := range 3 {
			out[i] += c.R[j][i] * v[j]
		}
	}
	return out
}

// turned returns c with its rotation followed by one about the axis w by its length,
// radians.
func (c Camera) turned(w r3.Vec) Camera {
	by := r3.NewRotation(r3.Norm(w), w)
	for j := range 3 {
		v := by.Rotate(r3.Vec{X: c.R[0][j], Y: c.R[1][j], Z: c.R[2][j]})
		c.R[0][j], c.R[1][j], c.R[2][j] = v.X, v.Y, v.Z
	}
	return c
}

// axes returns the rotation whose columns are the lane's axes in camera coordinates.
func axes(x, y, z r3.Vec) [3][3]float64 {
	return [3][3]float64{{x.X, y.X, z.X}, {x.Y, y.Y, z.Y}, {x.Z, y.Z, z.Z}}
}
