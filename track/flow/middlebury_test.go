package flow_test

import (
	"bytes"
	"encoding/binary"
	"image"
	_ "image/png"
	"math"
	"os"
	"path/filepath"
	"sort"
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
// refined points run on the same corners.
func TestAccuracyMiddlebury(t *testing.T) {
	a := readGray(t, shared(t, "flow/rubberwhale1.png"))
	b := readGray(t, shared(t, "flow/rubberwhale2.png"))
	w, h, uv := readFlow(t, shared(t, "flow/Middlebury_flow_gt.flo"))
	if w != a.Width || h != a.Height {
		t.Fatalf("flow is %d×%d, picture %d×%d", w, h, a.Width, a.Height)
	}
	e := flow.New()
	corners, err := e.Features(a, 1500, 0.01, 5)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := e.Flow(a, b, corners, nil, flow.FlowOptions{})
	if err != nil {
		t.Fatal(err)
	}
	refined, err := e.Refined(a, b, corners, flow.FlowOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var errPlain, errRefined, errBoth []float64
	for i, c := range corners {
		k := 2 * (int(math.Round(c.Y))*w + int(math.Round(c.X)))
		u, v := float64(uv[k]), float64(uv[k+1])
		if math.Abs(u) > 1e3 || math.Abs(v) > 1e3 || !plain[i].OK {
			continue
		}
		truth := c.Add(flow.Point{X: u, Y: v})
		errPlain = append(errPlain, plain[i].Dist(truth))
		if refined[i].OK {
			errRefined = append(errRefined, refined[i].Dist(truth))
			errBoth = append(errBoth, plain[i].Dist(truth))
		}
	}
	q := func(x []float64, p float64) float64 {
		sort.Float64s(x)
		return x[int(p*float64(len(x)-1))]
	}
	mean := func(x []float64) (s float64) {
		for _, v := range x {
			s += v
		}
		return s / float64(len(x))
	}
	t.Logf("end-point error, px            points   mean  median     p90     p95     max")
	for _, r := range []struct {
		name string
		x    []float64
	}{{"plain, all points", errPlain}, {"plain, points refined keeps", errBoth}, {"refined", errRefined}} {
		t.Logf("%-30s %6d %6.3f  %6.3f  %6.3f  %6.3f  %6.3f", r.name, len(r.x), mean(r.x), q(r.x, .5), q(r.x, .9), q(r.x, .95), q(r.x, 1))
	}
	if len(errRefined) < len(errPlain)*6/10 {
		t.Errorf("refined keeps %d of %d points, want 60 %% or more", len(errRefined), len(errPlain))
	}
	for _, p := range []float64{0.5, 0.9, 0.95} {
		if q(errRefined, p) >= q(errBoth, p) {
			t.Errorf("quantile %.2f: refined %.3f px is no better than plain %.3f px on the same points", p, q(errRefined, p), q(errBoth, p))
		}
	}
	if mean(errRefined) >= mean(errBoth) {
		t.Errorf("mean: refined %.3f px is no better than plain %.3f px", mean(errRefined), mean(errBoth))
	}
}
