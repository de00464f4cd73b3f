package flow_test

import (
	"bytes"
	"encoding/binary"
	"image"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"jogstrip/track/flow"
)

// shared returns the path of a file of outside data, or skips the test.
func shared(t *testing.T, name string) string {
	t.Helper()
	root := os.Getenv("JOGSTRIP_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	path := filepath.Join(root, "data", name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("SKIPPED: outside data %s is not here; set JOGSTRIP_SHARED", path)
	}
	return path
}

func readGray(t *testing.T, path string) flow.Gray {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	m, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	b := m.Bounds()
	g := flow.Gray{Width: b.Dx(), Height: b.Dy(), Stride: b.Dx(), Pix: make([]byte, b.Dx()*b.Dy())}
	for y := range g.Height {
		for x := range g.Width {
			r, gr, bl, _ := m.At(b.Min.X+x, b.Min.Y+y).RGBA()
			g.Pix[y*g.Width+x] = byte((0.299*float64(r)+0.587*float64(gr)+0.114*float64(bl))/257 + 0.5)
		}
	}
	return g
}

// readFlow reads a .flo file: "PIEH", width, height, then u and v as float32.
func readFlow(t *testing.T, path string) (w, h int, uv []float32) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(b, []byte("PIEH")) {
		t.Fatalf("%s: not a .flo file", path)
	}
	w, h = int(binary.LittleEndian.Uint32(b[4:])), int(binary.LittleEndian.Uint32(b[8:]))
	uv = make([]float32, 2*w*h)
	for i := range uv {
		uv[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[12+4*i:]))
	}
	return w, h, uv
}

// Published truth: Middlebury optical flow set, RubberWhale (Baker et al. 2011,
// IJCV 92:1–31). Plain Lucas–Kanade with OpenCV's default settings and the
// refined points run on the same corners. Points that the refinement rejects count
// for neither; how many and how wrong plain is there is printed. Where a window
// straddles two surfaces that move apart, it follows one and the corner may lie on
// the other: there the largest errors of both are, at the same corners, and the
// refinement, which follows its surface more closely, is often the farther one.
// Away from such borders the largest of both is at a dark spot at (486, 367) that
// stands nearly still in the pictures, against the published flow. So the maximum
// is a single point's, is printed, and is no criterion; how many points are more
// than 1 px and 3 px off is.
func TestAccuracyMiddlebury(t *testing.T) {
	a := readGray(t, shared(t, "flow/rubberwhale1.png"))
	b := readGray(t, shared(t, "flow/rubberwhale2.png"))
	w, h, uv := readFlow(t, shared(t, "flow/Middlebury_flow_gt.flo"))
	if w != a.Width || h != a.Height {
		t.Fatalf("flow is %d×%d, picture %d×%d", w, h, a.Width, a.Height)
	}
	corners, err := flow.Features(a, 1500, 0.01, 5)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := flow.Follow(a, b, corners, nil, usual)
	if err != nil {
		t.Fatal(err)
	}
	refined := refine(t, a, b, corners)
	// both holds the errors of plain and of refined at the points that both keep,
	// inside those of them whose window of 21 px moves as one, within 0.5 px.
	var all, dropped []float64
	var both, inside [2][]float64
	worst := -1
	for i, c := range corners {
		truth, known := trueFlow(uv, w, h, int(math.Round(c.X)), int(math.Round(c.Y)))
		if !known || !plain[i].OK {
			continue
		}
		end := c.Add(truth)
		all = append(all, plain[i].Dist(end))
		if !refined[i].OK {
			dropped = append(dropped, plain[i].Dist(end))
			continue
		}
		if worst < 0 || refined[i].Dist(end) > slices.Max(both[1]) {
			worst = i
		}
		asOne := movesAsOne(uv, w, h, c, 10, 0.5)
		for k, d := range []float64{plain[i].Dist(end), refined[i].Dist(end)} {
			both[k] = append(both[k], d)
			if asOne {
				inside[k] = append(inside[k], d)
			}
		}
	}
	q := func(x []float64, p float64) float64 {
		x = slices.Sorted(slices.Values(x))
		return x[int(p*float64(len(x)-1))]
	}
	mean := func(x []float64) (s float64) {
		for _, v := range x {
			s += v
		}
		return s / float64(len(x))
	}
	above := func(x []float64, most float64) (n int) {
		for _, v := range x {
			if v > most {
				n++
			}
		}
		return n
	}
	t.Logf("%-38s points   mean  median     p90     p95     p99     max   over 1 px  3 px", "end-point error, px")
	for _, r := range []struct {
		name string
		x    []float64
	}{
		{"plain, all points", all}, {"plain, points that refined rejects", dropped},
		{"plain, points that refined keeps", both[0]}, {"refined", both[1]},
		{"plain, of these away from borders", inside[0]}, {"refined, of these away from borders", inside[1]},
	} {
		t.Logf("%-38s %6d %6.3f  %6.3f  %6.3f  %6.3f  %6.3f  %6.3f      %6d %5d", r.name, len(r.x), mean(r.x), q(r.x, .5), q(r.x, .9), q(r.x, .95), q(r.x, .99), q(r.x, 1), above(r.x, 1), above(r.x, 3))
	}
	t.Logf("refined keeps %d of the %d points that plain keeps (%.1f %%); away from borders %d", len(both[1]), len(all), 100*float64(len(both[1]))/float64(len(all)), len(inside[1]))
	c := corners[worst]
	truth, _ := trueFlow(uv, w, h, int(math.Round(c.X)), int(math.Round(c.Y)))
	t.Logf("its worst point: (%.0f, %.0f), true flow (%.2f, %.2f); plain says (%.2f, %.2f), refined (%.2f, %.2f); the window moves as one: %v",
		c.X, c.Y, truth.X, truth.Y, plain[worst].X-c.X, plain[worst].Y-c.Y, refined[worst].X-c.X, refined[worst].Y-c.Y, movesAsOne(uv, w, h, c, 10, 0.5))
	if len(both[1]) < len(all)*9/10 {
		t.Errorf("refined keeps %d of %d points, want 90 %% or more", len(both[1]), len(all))
	}
	if mean(dropped) < mean(both[0]) {
		t.Errorf("where refined rejects, plain is %.3f px off, and %.3f px where it keeps: it rejects the better points", mean(dropped), mean(both[0]))
	}
	for _, part := range []struct {
		name string
		x    [2][]float64
		p    []float64
	}{{"all kept points", both, []float64{0.5, 0.9, 0.95}}, {"away from borders", inside, []float64{0.5, 0.9, 0.95, 0.99}}} {
		for _, p := range part.p {
			if q(part.x[1], p) >= q(part.x[0], p) {
				t.Errorf("%s, quantile %.2f: refined %.3f px is no better than plain %.3f px on the same points", part.name, p, q(part.x[1], p), q(part.x[0], p))
			}
		}
		if mean(part.x[1]) >= mean(part.x[0]) {
			t.Errorf("%s, mean: refined %.3f px is no better than plain %.3f px", part.name, mean(part.x[1]), mean(part.x[0]))
		}
		for _, most := range []float64{1, 3} {
			if above(part.x[1], most) > above(part.x[0], most) {
				t.Errorf("%s: refined is more than %.0f px off at %d points, plain at %d", part.name, most, above(part.x[1], most), above(part.x[0], most))
			}
		}
	}
}

// refine follows points as Follow does, checks each by following it back, and
// refines its position by registering the patch around it with free scale and
// angle and a robust weight per pixel. Points whose two directions disagree by
// more than half a pixel, whose patch is dissimilar (NCC below 0.8) or whose
// refinement departs by more than a pixel come back with OK false.
func refine(t *testing.T, prev, next flow.Gray, points []flow.Point) []flow.Found {
	t.Helper()
	there, err := flow.Follow(prev, next, points, nil, usual)
	if err != nil {
		t.Fatal(err)
	}
	ends := make([]flow.Point, len(there))
	for i, f := range there {
		ends[i] = points[i]
		if f.OK {
			ends[i] = f.Point
		}
	}
	back, err := flow.Follow(next, prev, ends, nil, usual)
	if err != nil {
		t.Fatal(err)
	}
	const half = 0.8 * 10.5 // Of OpenCV's window.
	for i := range there {
		f := &there[i]
		if !f.OK || !back[i].OK || back[i].Dist(points[i]) > 0.5 {
			f.OK = false
			continue
		}
		a := around(prev, points[i], half+4)
		b := around(next, f.Point, half+6)
		const sigma = 0.6 * half
		template, err := flow.NewTemplate(a, points[i], flow.Window{half, half, half, half}, func(x, y float64) float64 {
			dx, dy := (x-points[i].X)/sigma, (y-points[i].Y)/sigma
			return math.Exp(-(dx*dx + dy*dy) / 2)
		})
		if err != nil {
			f.OK = false
			continue
		}
		r := template.Register(b, flow.Pose{At: f.Point, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.02, AngleSD: 0.02})
		if !r.OK || r.NCC < 0.8 || r.At.Dist(f.Point) > 1 {
			f.OK = false
			continue
		}
		f.Point = r.At
	}
	return there
}

// around returns the plane of the square of the given half side around c.
func around(g flow.Gray, c flow.Point, half float64) flow.Plane {
	r := image.Rect(int(math.Floor(c.X-half)), int(math.Floor(c.Y-half)), int(math.Ceil(c.X+half))+1, int(math.Ceil(c.Y+half))+1)
	r = r.Intersect(image.Rect(0, 0, g.Width, g.Height))
	return flow.NewPlane(g.Crop(r), r.Min.X, r.Min.Y, 0)
}

// trueFlow returns the published flow at a pixel and whether it is known there.
func trueFlow(uv []float32, w, h, x, y int) (flow.Point, bool) {
	if x < 0 || y < 0 || x >= w || y >= h {
		return flow.Point{}, false
	}
	k := 2 * (y*w + x)
	u, v := float64(uv[k]), float64(uv[k+1])
	return flow.Point{X: u, Y: v}, math.Abs(u) < 1e3 && math.Abs(v) < 1e3
}

// movesAsOne reports whether the published flow within half px of c is known
// throughout and within most px of that at c.
func movesAsOne(uv []float32, w, h int, c flow.Point, half int, most float64) bool {
	cx, cy := int(math.Round(c.X)), int(math.Round(c.Y))
	at, known := trueFlow(uv, w, h, cx, cy)
	for y := max(cy-half, 0); known && y <= min(cy+half, h-1); y++ {
		for x := max(cx-half, 0); known && x <= min(cx+half, w-1); x++ {
			var p flow.Point
			if p, known = trueFlow(uv, w, h, x, y); p.Dist(at) > most {
				return false
			}
		}
	}
	return known
}
