package geometry

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

const tol = 1e-9

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s = %.10g, want %.10g ± %g", what, got, want, tol)
	}
}

// The table of rows and depths for f = 1500 px and a level camera 1.2 m over
// the ground: Z = f·H/(v − v0), depth change per row Z²/(f·H), width of a pixel
// Z/f, and what half a degree of unseen tilt does (computed from the closed
// form).
func TestRowLaw(t *testing.T) {
	c := LevelCamera(1500, 960, 540, 1.2, Point{960, 540})
	for _, w := range []struct{ depth, row, across, perRow, tilt float64 }{
		{5, 360, 3.33, 0.014, 0.19},
		{10, 180, 6.67, 0.056, 0.78},
		{15, 120, 10, 0.125, 1.84},
		{20, 90, 13.33, 0.222, 3.40},
		{30, 60, 20, 0.5, 8.37},
	} {
		p := Point{960, 540 + w.row}
		_, y, ok := c.GroundPoint(p)
		if !ok {
			t.Fatalf("row %g is not on the ground", p.Y)
		}
		near(t, "depth", y, w.depth, tol)
		j := c.GroundJacobian(p)
		xSD, ySD := math.Hypot(j[0][0], j[0][1]), math.Hypot(j[1][0], j[1][1])
		near(t, "mm across per px", 1000/1500.0*w.depth, w.across, 0.005)
		near(t, "x spread per px", 1000*xSD, w.across, 0.005)
		near(t, "depth per row", ySD, w.perRow, 0.0005)
		// Pitched by half a degree nobody knows of, everything appears f·tan ½° lower or higher.
		_, wrong, _ := c.GroundPoint(Point{960, p.Y - 1500*math.Tan(0.5*math.Pi/180)})
		near(t, "error from half a degree", wrong-w.depth, w.tilt, 0.005)
	}
}

// Pitched down by φ: Z = f·H/(f·sin φ + (v − v0)·cos φ) is the depth along the
// optical axis.
func TestPitchedRowLaw(t *testing.T) {
	const f, h, phi = 1500, 1.2, 8 * math.Pi / 180
	c := LevelCamera(f, 960, 540, h, Point{960, 540 - f*math.Tan(phi)})
	for _, row := range []float64{-100, 0, 50, 300, 500} {
		x, y, ok := c.GroundPoint(Point{960 + 200, 540 + row})
		if !ok {
			t.Fatalf("row %g is not on the ground", row)
		}
		d := f*math.Sin(phi) + row*math.Cos(phi)
		near(t, "axial depth", y*math.Cos(phi)+h*math.Sin(phi), f*h/d, 1e-9)
		near(t, "across", x, 200*h/d, 1e-9)
	}
}

// randomCamera draws a camera a person might hold: 0.4 to 2.5 m high, some
// degrees off level and off the lane's direction.
func randomCamera(t *rapid.T) Camera {
	deg := math.Pi / 180
	f := rapid.Float64Range(800, 4000).Draw(t, "focal")
	c := LevelCamera(f, 959.5, 539.5, rapid.Float64Range(0.4, 2.5).Draw(t, "height"), Point{959.5, 539.5})
	pitch := rapid.Float64Range(-4, 15).Draw(t, "pitch") * deg
	yaw := rapid.Float64Range(-10, 10).Draw(t, "yaw") * deg
	roll := rapid.Float64Range(-4, 4).Draw(t, "roll") * deg
	x, y, z := c.Centre()
	c = c.turned(r3.Vec{Y: yaw}).turned(r3.Vec{X: pitch}).turned(r3.Vec{Z: roll})
	c.T = r3.Vec{}
	c.T = r3.Scale(-1, c.seen(r3.Vec{X: x, Y: y, Z: z}))
	return c
}

func TestProjectionAndItsInverses(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := randomCamera(rt)
		x := rapid.Float64Range(-2, 2).Draw(rt, "x")
		y := rapid.Float64Range(3, 40).Draw(rt, "y")
		z := rapid.Float64Range(0, 2.2).Draw(rt, "z")
		p, ok := c.Project(x, y, z)
		if !ok {
			rt.Skip("behind the camera")
		}
		gx, gz, ok := c.AtDepth(p, y)
		if !ok || math.Abs(gx-x) > 1e-7 || math.Abs(gz-z) > 1e-7 {
			rt.Fatalf("AtDepth gives (%g, %g), want (%g, %g)", gx, gz, x, z)
		}
		p, _ = c.Project(x, y, 0)
		gx, gy, ok := c.GroundPoint(p)
		if !ok || math.Abs(gx-x) > 1e-7 || math.Abs(gy-y) > 1e-6 {
			rt.Fatalf("GroundPoint gives (%g, %g), want (%g, %g)", gx, gy, x, y)
		}
		// Nothing on or over the horizon is on the ground.
		if _, _, ok := c.GroundPoint(Point{c.CX, c.HorizonRow() - 1e-3}); ok {
			rt.Fatal("a point over the horizon has a ground point")
		}
		if _, _, ok := c.GroundPoint(Point{c.CX, c.HorizonRow() + 1}); !ok {
			rt.Fatal("a point under the horizon has no ground point")
		}
	})
}

func TestTiltAcross(t *testing.T) {
	// The lane's ground falls to the right by 2°, the camera is level: turned about
	// its axis against the ground.
	c := LevelCamera(1500, 960, 540, 1.3, Point{960, 540})
	c = c.turned(r3.Vec{Z: 2 * math.Pi / 180})
	near(t, "tilt", c.TiltAcross(), 2, 1e-9)
	// Right of the axis the ground is lower in the picture: its row is larger.
	left, _ := c.Project(-1, 10, 0)
	right, _ := c.Project(1, 10, 0)
	if right.Y <= left.Y {
		t.Errorf("ground that falls to the right appears at row %g left and %g right", left.Y, right.Y)
	}
}
