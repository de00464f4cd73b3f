package geometry

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"jogstrip/track/errormodel"
)

var usual = errormodel.Usual().Camera

// rectangle returns the four corners of a rectangle as c sees them.
func rectangle(c Camera, x0, y0, w, l float64) ([4]Point, bool) {
	var p [4]Point
	for i, q := range [4][2]float64{{x0 - w/2, y0}, {x0 + w/2, y0}, {x0 + w/2, y0 + l}, {x0 - w/2, y0 + l}} {
		var ok bool
		if p[i], ok = c.Project(q[0], q[1], 0); !ok {
			return p, false
		}
	}
	return p, true
}

func TestMetricFindsTheCamera(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := randomCamera(rt)
		p, ok := rectangle(c, rapid.Float64Range(-1, 1).Draw(rt, "aside"), 6, 2, 10)
		if !ok {
			rt.Skip("behind the camera")
		}
		got, err := Calibrate(CalibrationInput{Ground: &GroundMarks{Points: p, WidthM: 2, LengthM: 10}}, 1920, 1080, usual)
		if err != nil {
			if strings.Contains(err.Error(), "too small or too far") || strings.Contains(err.Error(), "on one line") {
				rt.Skip("seen too flat") // A low camera: refused with a reason.
			}
			rt.Fatal(err)
		}
		if math.Abs(got.Camera.F-c.F) > 1e-4*c.F {
			rt.Fatalf("focal length %g, want %g", got.Camera.F, c.F)
		}
		_, _, h := c.Centre()
		if math.Abs(got.HeightM()-h) > 1e-4 {
			rt.Fatalf("height %g, want %g", got.HeightM(), h)
		}
		if got.ResidualPX > 1e-4 {
			rt.Fatalf("residual %g px of perfect clicks", got.ResidualPX)
		}
		// Lengths on the ground are those of the lane.
		q0, _ := c.Project(-0.3, 8, 0)
		q1, _ := c.Project(0.4, 12, 0)
		x0, y0, _ := got.Camera.GroundPoint(q0)
		x1, y1, _ := got.Camera.GroundPoint(q1)
		if math.Abs(x1-x0-0.7) > 1e-4 || math.Abs(y1-y0-4) > 1e-3 {
			rt.Fatalf("a step of (0.7, 4) m measures (%g, %g)", x1-x0, y1-y0)
		}
	})
}

// Twice the lengths said of the same picture make all lengths twice as large
// and leave angles and the focal length alone.
func TestMetricScales(t *testing.T) {
	c := LevelCamera(1500, 959.5, 539.5, 1.3, Point{980, 430})
	p, _ := rectangle(c, 0.2, 5, 2, 10)
	a, err := Calibrate(CalibrationInput{Ground: &GroundMarks{Points: p, WidthM: 2, LengthM: 10}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Calibrate(CalibrationInput{Ground: &GroundMarks{Points: p, WidthM: 4, LengthM: 20}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "height", b.HeightM(), 2*a.HeightM(), 1e-6)
	near(t, "focal length", b.Camera.F, a.Camera.F, 1e-4)
	near(t, "tilt", b.Camera.TiltAcross(), a.Camera.TiltAcross(), 1e-6)
}

// Over many sets of clicks the errors of ground points are as large as stated.
func TestCalibrationSpreadIsHonest(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	c := LevelCamera(1500, 959.5, 539.5, 1.3, Point{970, 440})
	clean, _ := rectangle(c, 0, 5, 2, 10)
	row := 440.0
	for _, level := range []struct {
		name string
		draw func() CalibrationInput
	}{
		{"four marks", func() CalibrationInput {
			g := GroundMarks{Points: clean, WidthM: 2, LengthM: 10, ClickSD: 0.7}
			for i := range g.Points {
				g.Points[i].X += 0.7 * r.NormFloat64()
				g.Points[i].Y += 0.7 * r.NormFloat64()
			}
			return CalibrationInput{Ground: &g}
		}},
		{"camera height", func() CalibrationInput {
			h := row + 1500*usual.RowDeg*math.Pi/180*r.NormFloat64()
			return CalibrationInput{Height: &CameraHeight{HeightM: 1.3 + usual.HeightM*r.NormFloat64(), FocalPX: 1500 * (1 + usual.FocalShare*r.NormFloat64()), Horizon: Horizon{RowPX: &h}}}
		}},
		{"edges", func() CalibrationInput {
			e := [2][2]Point{{clean[0], clean[3]}, {clean[1], clean[2]}}
			for i := range 2 {
				for j := range 2 {
					e[i][j].X += usual.ClickPX * r.NormFloat64()
					e[i][j].Y += usual.ClickPX * r.NormFloat64()
				}
			}
			return CalibrationInput{Height: &CameraHeight{HeightM: 1.3 + usual.HeightM*r.NormFloat64(), FocalPX: 1500 * (1 + usual.FocalShare*r.NormFloat64()), Horizon: Horizon{Edges: &e}}}
		}},
	} {
		t.Run(level.name, func(t *testing.T) {
			// Length of a stride from 12 m to 9.5 m.
			a, _ := c.Project(0.1, 12, 0)
			b, _ := c.Project(0.1, 9.5, 0)
			length := func(c Camera) float64 {
				_, y0, _ := c.GroundPoint(a)
				_, y1, _ := c.GroundPoint(b)
				return y0 - y1
			}
			const n = 400
			var errs, stated float64
			inside := 0
			for range n {
				cal, err := Calibrate(level.draw(), 1920, 1080, usual)
				if err != nil {
					t.Fatal(err)
				}
				var v float64
				vs := cal.Variants()
				for i := 0; i+1 < len(vs); i += 2 {
					d := (length(vs[i]) - length(vs[i+1])) / 2
					v += d * d
				}
				e := length(cal.Camera) - 2.5
				errs += e * e / n
				stated += v / n
				if math.Abs(e) < 1.96*math.Sqrt(v) {
					inside++
				}
			}
			t.Logf("%s: error of a 2.5 m length %.1f mm, stated %.1f mm, %.1f %% inside the 95 %% interval", level.name, 1000*math.Sqrt(errs), 1000*math.Sqrt(stated), 100*float64(inside)/n)
			if share := float64(inside) / n; share < 0.91 || share > 0.995 {
				t.Errorf("%.1f %% of errors lie inside the 95 %% interval", 100*share)
			}
		})
	}
}

func TestHeightAndRatio(t *testing.T) {
	c := LevelCamera(1500, 959.5, 539.5, 1.3, Point{959.5, 440})
	row := 440.0
	h, err := Calibrate(CalibrationInput{Height: &CameraHeight{HeightM: 1.3, FocalPX: 1500, Horizon: Horizon{RowPX: &row}}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	p, _ := c.Project(0.4, 11, 0)
	x, y, _ := h.Camera.GroundPoint(p)
	near(t, "x", x, 0.4, 1e-9)
	near(t, "y", y, 11, 1e-9)
	fov := 2 * math.Atan(960/1500.0) * 180 / math.Pi
	h, err = Calibrate(CalibrationInput{Height: &CameraHeight{HeightM: 1.3, FieldOfViewDeg: fov, Horizon: Horizon{RowPX: &row}}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "focal length", h.Camera.F, 1500, 1e-9)
	if h.FocalSD < 100 {
		t.Errorf("a field of view gives the focal length to %g px; video crops are larger than that", h.FocalSD)
	}
	// With the horizon alone ratios along the lane are right whatever the focal length.
	p0, _ := c.Project(0.1, 14, 0)
	p1, _ := c.Project(0.1, 12.6, 0)
	p2, _ := c.Project(0.1, 11.5, 0)
	r, err := Calibrate(CalibrationInput{Horizon: &Horizon{RowPX: &row}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	_, y0, _ := r.Camera.GroundPoint(p0)
	_, y1, _ := r.Camera.GroundPoint(p1)
	_, y2, _ := r.Camera.GroundPoint(p2)
	near(t, "step over stride", (y0-y1)/(y0-y2), 1.4/2.5, 2e-3)
	// Lane edges and their row say the same.
	e, _ := rectangle(c, 0.3, 5, 2, 10)
	edges := [2][2]Point{{e[0], e[3]}, {e[1], e[2]}}
	r2, err := Calibrate(CalibrationInput{Horizon: &Horizon{Edges: &edges}}, 1920, 1080, usual)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "horizon", r2.Camera.HorizonRow(), 440, 1e-6)
}

func TestCalibrateRefuses(t *testing.T) {
	c := LevelCamera(1500, 959.5, 539.5, 1.3, Point{959.5, 440})
	good, _ := rectangle(c, 0, 5, 2, 10)
	row := 440.0
	marks := func(change func(g *GroundMarks)) CalibrationInput {
		g := GroundMarks{Points: good, WidthM: 2, LengthM: 10}
		change(&g)
		return CalibrationInput{Ground: &g}
	}
	for _, w := range []struct {
		name string
		in   CalibrationInput
		says string
	}{
		{"two kinds", CalibrationInput{Ground: &GroundMarks{}, Horizon: &Horizon{}}, "only one"},
		{"no width", marks(func(g *GroundMarks) { g.WidthM = 0 }), "must be positive"},
		{"NaN length", marks(func(g *GroundMarks) { g.LengthM = math.NaN() }), "must be positive"},
		{"NaN click", marks(func(g *GroundMarks) { g.Points[2].X = math.NaN() }), "ground mark 3 has no position"},
		{"far first", marks(func(g *GroundMarks) { g.Points = [4]Point{good[3], good[2], good[1], good[0]} }), "near left, near right"},
		{"right first", marks(func(g *GroundMarks) { g.Points = [4]Point{good[1], good[0], good[3], good[2]} }), "near left, near right"},
		{"crossed over", marks(func(g *GroundMarks) { g.Points = [4]Point{good[0], good[1], good[3], good[2]} }), "near left, near right"},
		{"one line", marks(func(g *GroundMarks) {
			g.Points[3] = Point{(good[0].X + good[2].X) / 2, (good[0].Y + good[2].Y) / 2}
		}), "one line"},
		{"no horizon", marks(func(g *GroundMarks) {
			// A rectangle seen from straight above has no perspective to calibrate from.
			g.Points = [4]Point{{500, 900}, {700, 900}, {700, 300}, {500, 300}}
		}), "no camera sees"},
		{"lengths swapped", marks(func(g *GroundMarks) { g.WidthM, g.LengthM = 10, 2 }), "check both lengths"},
		{"far too small", marks(func(g *GroundMarks) {
			g.Points, _ = rectangle(c, 0, 40, 1, 3)
			g.WidthM, g.LengthM = 1, 3
		}), "too small or too far"},
		{"negative height", CalibrationInput{Height: &CameraHeight{HeightM: -1, FocalPX: 1500, Horizon: Horizon{RowPX: &row}}}, "camera height"},
		{"no focal length", CalibrationInput{Height: &CameraHeight{HeightM: 1, Horizon: Horizon{RowPX: &row}}}, "focal length"},
		{"both focal lengths", CalibrationInput{Height: &CameraHeight{HeightM: 1, FocalPX: 1500, FieldOfViewDeg: 60, Horizon: Horizon{RowPX: &row}}}, "not both"},
		{"no horizon at all", CalibrationInput{Horizon: &Horizon{}}, "horizon is missing"},
		{"parallel edges", CalibrationInput{Horizon: &Horizon{Edges: &[2][2]Point{{{100, 900}, {100, 500}}, {{700, 900}, {700, 500}}}}}, "parallel"},
		{"edges meet below", CalibrationInput{Horizon: &Horizon{Edges: &[2][2]Point{{{100, 500}, {200, 900}}, {{700, 500}, {600, 900}}}}}, "meet below"},
	} {
		t.Run(w.name, func(t *testing.T) {
			_, err := Calibrate(w.in, 1920, 1080, usual)
			if err == nil || !strings.Contains(err.Error(), w.says) {
				t.Errorf("error is %v, want one that says %q", err, w.says)
			}
		})
	}
	if _, err := Calibrate(CalibrationInput{}, 0, 10, usual); err == nil {
		t.Error("a picture without width is accepted")
	}
	if c, err := Calibrate(CalibrationInput{}, 1920, 1080, usual); err != nil || c.Level != LevelNone || c.HeightM() != 0 {
		t.Errorf("nothing given: %v, %v", c, err)
	}
}

// OpenCV's solvers (findHomography, solvePnP) are asked about the same clicks.
// The test needs Python with cv2 (Debian: python3-opencv).
func TestAgainstOpenCV(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import cv2, numpy").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED, not compared with OpenCV: %v: %s", err, strings.TrimSpace(string(out)))
	}
	r := rand.New(rand.NewPCG(9, 1))
	type question struct {
		World, Picture [4]Point
		F              float64
	}
	var qs []question
	var cals []*Calibration
	for i := range 20 {
		c := LevelCamera(1200+100*float64(i), 959.5, 539.5, 0.8+0.08*float64(i), Point{959.5 + 20*r.NormFloat64(), 450 + 20*r.NormFloat64()})
		c = c.turned(r3.Vec{Z: 0.02 * r.NormFloat64()})
		c.T = r3.Scale(-(0.8 + 0.08*float64(i)), c.Z)
		p, _ := rectangle(c, 0.1, 5, 2, 10)
		for k := range p {
			p[k].X += 0.5 * r.NormFloat64()
			p[k].Y += 0.5 * r.NormFloat64()
		}
		cal, err := Calibrate(CalibrationInput{Ground: &GroundMarks{Points: p, WidthM: 2, LengthM: 10}}, 1920, 1080, usual)
		if err != nil {
			t.Fatal(err)
		}
		cals = append(cals, cal)
		qs = append(qs, question{[4]Point{{-1, 0}, {1, 0}, {1, 10}, {-1, 10}}, p, cal.Camera.F})
	}
	in, err := json.Marshal(qs)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", `
import cv2, json, sys, numpy as np
out = []
for q in json.load(sys.stdin):
    w = np.array([[p['x'], p['y']] for p in q['World']], dtype=float)
    p = np.array([[p['x'], p['y']] for p in q['Picture']], dtype=float)
    H, _ = cv2.findHomography(p, w)
    probe = cv2.perspectiveTransform(np.array([[[950.0, 700.0]]]), H)[0, 0]
    K = np.array([[q['F'], 0, 959.5], [0, q['F'], 539.5], [0, 0, 1]])
    o = np.hstack([w, np.zeros((4, 1))])
    ok, rvec, tvec = cv2.solvePnP(o, p, K, None, flags=cv2.SOLVEPNP_IPPE)
    rvec, tvec = cv2.solvePnPRefineLM(o, p, K, None, rvec, tvec, criteria=(3, 200, 1e-15))
    R, _ = cv2.Rodrigues(rvec)
    c = (-R.T @ tvec).ravel()
    proj, _ = cv2.projectPoints(o, rvec, tvec, K, None)
    out.append(dict(probe=list(probe), R=R.ravel().tolist(), c=c.tolist(), rss=float(((proj[:, 0] - p) ** 2).sum())))
print(json.dumps(out))
`)
	cmd.Stdin = strings.NewReader(string(in))
	raw, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("%v: %s", err, exit.Stderr)
		}
		t.Fatal(err)
	}
	var answers []struct {
		Probe, R, C []float64
		RSS         float64 `json:"rss"`
	}
	if err := json.Unmarshal(raw, &answers); err != nil {
		t.Fatal(err)
	}
	for i, a := range answers {
		// The pose for our focal length is theirs.
		c := cals[i].Camera
		for k, axis := range []r3.Vec{c.X, c.Y, c.Z} {
			for r, v := range []float64{axis.X, axis.Y, axis.Z} {
				near(t, fmt.Sprintf("camera %d R[%d][%d]", i, r, k), v, a.R[3*r+k], 1e-5)
			}
		}
		near(t, "height", cals[i].HeightM(), a.C[2], 1e-4)
		near(t, "squared distances", 4*cals[i].ResidualPX*cals[i].ResidualPX, a.RSS, 1e-5)
		// The plain homography passes exactly through all four clicks; ours gives way to
		// the known principal point, so a probe differs by no more than clicks do.
		x, y, _ := cals[i].Camera.GroundPoint(Point{950, 700})
		x0, y0, _ := cals[i].Camera.GroundPoint(qs[i].Picture[0])
		x1, y1, _ := cals[i].Camera.GroundPoint(qs[i].Picture[1])
		near(t, "probe x", x-(x0+x1)/2, a.Probe[0], 0.02)
		near(t, "probe y", y-(y0+y1)/2, a.Probe[1], 0.1)
	}
}

func ExampleCalibrate() {
	row := 540.0
	c, err := Calibrate(CalibrationInput{Height: &CameraHeight{HeightM: 1.2, FocalPX: 1500, Horizon: Horizon{RowPX: &row}}}, 1921, 1081, usual)
	if err != nil {
		fmt.Println(err)
		return
	}
	x, y, _ := c.Camera.GroundPoint(Point{960, 540 + 180})
	fmt.Printf("%.2f m across, %.2f m away\n", x, y)
	// Output: 0.00 m across, 10.00 m away
}

// What a lens does that bends straight lines, where film and ground marks are as the film
// guide asks: the marks fit as well as without (so they can't tell of it), and what is
// measured near the middle of the picture hardly changes. K1 of Brown's model (1971):
// −0.05 is a phone's main lens uncorrected or worse, −0.15 three times as much.
func TestLensDistortionHardlyMatters(t *testing.T) {
	const f, cx, cy = 1500.0, 959.5, 539.5
	for _, height := range []float64{1.2, 2} {
		camera := LevelCamera(f, cx, cy, height, Point{X: cx, Y: cy - f*math.Tan((7.5*height-7)*math.Pi/180)})
		for _, k1 := range []float64{-0.15, -0.05, 0.05, 0.1} {
			bent := func(x, y, z float64) Point {
				p, _ := camera.Project(x, y, z)
				u, v := (p.X-cx)/f, (p.Y-cy)/f
				r := 1 + k1*(u*u+v*v)
				return Point{X: cx + f*u*r, Y: cy + f*v*r}
			}
			g := GroundMarks{WidthM: 2.5, LengthM: 8}
			for i, p := range [4][2]float64{{-1.25, 5}, {1.25, 5}, {1.25, 13}, {-1.25, 13}} {
				g.Points[i] = bent(p[0], p[1], 0)
			}
			c, err := Calibrate(CalibrationInput{Ground: &g}, 1920, 1080, errormodel.Usual().Camera)
			if err != nil {
				t.Fatal(err)
			}
			step, difference := 0.0, 0.0
			for _, aside := range []float64{0, 0.3} { // The line on which the horse goes, m from the camera's.
				at := func(k int) float64 {
					_, y, _ := c.Camera.GroundPoint(bent(aside+0.09*float64(1-2*(k%2)), 5+1.25*float64(k), 0))
					return y
				}
				sum := 0.0
				const steps = 8
				for k := range steps {
					off := at(k+1) - at(k) - 1.25
					step = max(step, math.Abs(off))
					sum += off * float64(1-2*(k%2))
				}
				difference = max(difference, math.Abs(2*sum/steps))
			}
			rises := func(y float64) float64 {
				_, low, _ := c.Camera.AtDepth(bent(0, y, 1.6), y)
				_, high, _ := c.Camera.AtDepth(bent(0, y, 1.65), y)
				return (high - low) / 0.05
			}
			nod := max(math.Abs(rises(6)-1), math.Abs(rises(14)-1))
			corner := math.Abs(k1) * (cx*cx + cy*cy) / (f * f) * math.Hypot(cx, cy)
			t.Logf("camera %.1f m high, k1 %+.2f (%.0f px in the corner): marks miss by %.2f px, steps are off by up to %.1f cm, their difference by %.1f cm, what goes up and down by %.1f %%",
				height, k1, corner, c.ResidualPX, 100*step, 100*difference, 100*nod)
			if c.ResidualPX > 0.1 {
				t.Errorf("k1 %g: the marks miss by %.2f px", k1, c.ResidualPX)
			}
			if step > 0.01 || difference > 0.005 || nod > 0.02 {
				t.Errorf("k1 %g: a step is off by %.3f m, the difference of steps by %.4f m, movement up and down by %.3f of itself", k1, step, difference, nod)
			}
		}
	}
}
