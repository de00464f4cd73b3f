package geometry

import "math"

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
	forward := unit([3]float64{vanish.X - cx, vanish.Y - cy, focal})
	// The camera's rows are level, so its x axis has no part along the vertical,
	// and the vertical is square to the lane: it lies in the plane x = 0 turned
	// to be square to forward.
	up := unit([3]float64{0, -forward[2], forward[1]})
	right := cross(forward, up)
	var c Camera
	c.F, c.CX, c.CY = focal, cx, cy
	for i := range 3 {
		c.R[i] = [3]float64{right[i], forward[i], up[i]}
		c.T[i] = -height * up[i]
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
	p := [3]float64{x, y, z}
	q := c.T
	for i := range 3 {
		for j := range 3 {
			q[i] += c.R[i][j] * p[j]
		}
	}
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

func unit(v [3]float64) [3]float64 {
	n := math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	return [3]float64{v[0] / n, v[1] / n, v[2] / n}
}

func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// turn returns the rotation by the vector w, whose length is the angle in
// radians (Rodrigues' formula).
func turn(w [3]float64) [3][3]float64 {
	a := math.Sqrt(w[0]*w[0] + w[1]*w[1] + w[2]*w[2])
	if a < 1e-15 {
		return [3][3]float64{{1, -w[2], w[1]}, {w[2], 1, -w[0]}, {-w[1], w[0], 1}}
	}
	k := unit(w)
	s, c := math.Sincos(a)
	v := 1 - c
	return [3][3]float64{
		{c + k[0]*k[0]*v, k[0]*k[1]*v - k[2]*s, k[0]*k[2]*v + k[1]*s},
		{k[1]*k[0]*v + k[2]*s, c + k[1]*k[1]*v, k[1]*k[2]*v - k[0]*s},
		{k[2]*k[0]*v - k[1]*s, k[2]*k[1]*v + k[0]*s, c + k[2]*k[2]*v},
	}
}

func product(a, b [3][3]float64) [3][3]float64 {
	var out [3][3]float64
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return out
}
