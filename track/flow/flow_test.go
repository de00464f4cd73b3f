package flow_test

import (
	"encoding/binary"
	"errors"
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"gocv.io/x/gocv"

	"jogstrip/track/flow"
)

// waves renders an analytic pattern shifted by (dx, dy) and scaled about (cx, cy).
func waves(w, h int, dx, dy, scale float64, noise float64) flow.Gray {
	rng := rand.New(rand.NewPCG(3, uint64(1000*dx)))
	g := flow.Gray{Width: w, Height: h, Stride: w, Pix: make([]byte, w*h)}
	cx, cy := float64(w)/2, float64(h)/2
	for y := range h {
		for x := range w {
			u, v := (float64(x)-dx-cx)/scale, (float64(y)-dy-cy)/scale
			s := 120 + 30*math.Sin(0.31*u+0.2*v) + 25*math.Cos(0.17*u-0.37*v) + 15*math.Sin(0.6*u+0.5*math.Sin(0.2*v)) + noise*rng.NormFloat64()
			g.Pix[y*w+x] = byte(min(max(math.Round(s), 0), 255))
		}
	}
	return g
}

// usual is what OpenCV takes where nothing else is said.
var usual = flow.FlowOptions{Window: 21, Levels: 3}

// Whatever OpenCV would answer with an exception comes back as an error.
func TestBadInputIsAnError(t *testing.T) {
	good := waves(64, 48, 0, 0, 1, 0)
	short := good
	short.Pix = good.Pix[:100]
	small := waves(32, 48, 0, 0, 1, 0)
	p := []flow.Point{{X: 20, Y: 20}}
	nan := []flow.Point{{X: math.NaN(), Y: 20}}
	for _, tt := range []struct {
		name string
		call func() error
		want error
	}{
		{"flow: no picture", func() error { _, err := flow.Follow(flow.Gray{}, good, p, nil, usual); return err }, flow.ErrEmpty},
		{"flow: too few pixels", func() error { _, err := flow.Follow(good, short, p, nil, usual); return err }, flow.ErrSize},
		{"flow: two sizes", func() error { _, err := flow.Follow(good, small, p, nil, usual); return err }, flow.ErrSize},
		{"flow: not a number", func() error { _, err := flow.Follow(good, good, nan, nil, usual); return err }, flow.ErrNumber},
		{"flow: guesses missing", func() error { _, err := flow.Follow(good, good, p, []flow.Point{}, usual); return err }, flow.ErrSize},
		{"flow: tiny window", func() error { _, err := flow.Follow(good, good, p, nil, flow.FlowOptions{Window: 1}); return err }, nil},
		{"features: no picture", func() error { _, err := flow.Features(flow.Gray{}, 10, 0.01, 3); return err }, flow.ErrEmpty},
		{"features: quality", func() error { _, err := flow.Features(good, 10, math.NaN(), 3); return err }, nil},
		{"match: template larger", func() error { _, err := flow.Match(small, good, flow.Scores{}); return err }, flow.ErrTooSmall},
		{"match: no template", func() error { _, err := flow.Match(small, flow.Gray{}, flow.Scores{}); return err }, flow.ErrEmpty},
		{"homography: two lengths", func() error { _, _, _, err := flow.Homography(p, nil, 1); return err }, flow.ErrSize},
		{"resize: to nothing", func() error { _, err := flow.Resize(good, 0, 5); return err }, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.call()
			if err == nil || tt.want != nil && !errors.Is(err, tt.want) {
				t.Errorf("error %v, want %v", err, tt.want)
			}
		})
	}
}

func TestEmptyAndFlatPicturesHoldNothing(t *testing.T) {
	flat := flow.Gray{Width: 64, Height: 48, Stride: 64, Pix: make([]byte, 64*48)}
	if f, err := flow.Features(flat, 10, 0.01, 3); err != nil || len(f) != 0 {
		t.Errorf("features of a flat picture: %v, %v", f, err)
	}
	if f, err := flow.Follow(flat, flat, nil, nil, usual); err != nil || len(f) != 0 {
		t.Errorf("flow of no points: %v, %v", f, err)
	}
	far := []flow.Point{{X: -500, Y: 3}, {X: 1e5, Y: 1e5}}
	f, err := flow.Follow(waves(64, 48, 0, 0, 1, 0), waves(64, 48, 0, 0, 1, 0), far, nil, usual)
	if err != nil || f[0].OK || f[1].OK {
		t.Errorf("points outside the picture: %v, %v", f, err)
	}
	s, err := flow.Match(flat, waves(9, 9, 0, 0, 1, 0), flow.Scores{})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range s.Score {
		if v != -1 {
			t.Fatalf("score %v where the picture is flat, want -1", v)
		}
	}
	if _, err := flow.NewTemplate(flow.NewPlane(flat, 0, 0, 0), flow.Point{X: 20, Y: 20}, flow.Window{Left: 8, Right: 8, Up: 8, Down: 8}, nil); !errors.Is(err, flow.ErrNoTexture) {
		t.Errorf("template of a flat patch: %v, want ErrNoTexture", err)
	}
}

// Registration finds a known shift and scale, and its spread is true: over many
// shifts with noise, error over spread has a standard deviation near 1.
func TestRegisterFindsShiftAndScale(t *testing.T) {
	const w, h = 96, 96
	rng := rand.New(rand.NewPCG(5, 5))
	var sum, norm float64
	const n = 60
	for range n {
		dx, dy, scale := 4*rng.Float64()-2, 4*rng.Float64()-2, 1+0.06*rng.Float64()-0.03
		a, b := waves(w, h, 0, 0, 1, 2.5), waves(w, h, dx, dy, scale, 2.5)
		mark := flow.Point{X: w / 2, Y: h / 2}
		tm, err := flow.NewTemplate(flow.NewPlane(a, 0, 0, 0), mark, flow.Window{Left: 15, Right: 15, Up: 15, Down: 15}, nil)
		if err != nil {
			t.Fatal(err)
		}
		r := tm.Register(flow.NewPlane(b, 0, 0, 0), flow.Pose{At: mark, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05})
		if !r.OK || r.NCC < 0.9 || math.Abs(r.Scale-scale) > 0.01 {
			t.Fatalf("shift (%.2f, %.2f), scale %.3f: %+v", dx, dy, scale, r)
		}
		if hoping := tm.Register(flow.NewPlane(b, 0, 0, 0), flow.Pose{At: mark, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05, Hopeless: 0.6}); hoping != r {
			t.Fatalf("ready to give up: %+v, want %+v", hoping, r)
		}
		ex, ey := r.At.X-mark.X-dx, r.At.Y-mark.Y-dy
		sum += (ex*ex + ey*ey) / 2
		norm += (ex*ex + ey*ey) / (2 * r.SD * r.SD)
	}
	t.Logf("error %.4f px rms, over its spread %.2f", math.Sqrt(sum/n), math.Sqrt(norm/n))
	if rms := math.Sqrt(sum / n); rms > 0.06 {
		t.Errorf("error %.3f px rms, want 0.06 or less", rms)
	}
	if q := math.Sqrt(norm / n); q < 0.5 || q > 1.5 {
		t.Errorf("error over spread %.2f, want 0.5 to 1.5", q)
	}
}

// ThereAndBack gives what two calls of OpenCV's own function on the pictures do, bit by bit, however the
// points are divided; Flow gives the first of them with its residuals.
func TestThereAndBack(t *testing.T) {
	a, b := waves(200, 150, 0, 0, 1, 2), waves(200, 150, 2.3, -1.1, 1.01, 2)
	var points, guess []flow.Point
	for y := 2; y < a.Height; y += 9 {
		for x := 2; x < a.Width; x += 11 {
			points = append(points, flow.Point{X: float64(x) + 0.25, Y: float64(y)})
			guess = append(guess, flow.Point{X: float64(x) + 1, Y: float64(y) - 30*float64(x%2)}) // Half of them astray.
		}
	}
	for _, opts := range []flow.FlowOptions{usual, {Window: 9, Levels: 3}, {Window: 31, Levels: -1}} {
		there := plainFlow(t, a, b, points, guess, opts)
		flowed, err := flow.Follow(a, b, points, guess, opts)
		if err != nil {
			t.Fatal(err)
		}
		ends := make([]flow.Point, len(there))
		lost := 0
		for i, f := range there {
			ends[i] = points[i]
			if f.OK {
				ends[i] = f.Point
			} else {
				lost++
			}
		}
		back := plainFlow(t, b, a, ends, points, opts)
		var gotThere, gotBack []flow.Found
		for from, to := 0, 7; from < len(points); from, to = to, min(2*to, len(points)) {
			x, y, err := flow.ThereAndBack(a, b, points[from:to], guess[from:to], opts)
			if err != nil {
				t.Fatal(err)
			}
			gotThere, gotBack = append(gotThere, x...), append(gotBack, y...)
		}
		if lost == 0 || lost == len(points) {
			t.Fatalf("%d of %d points lost: the test shows nothing", lost, len(points))
		}
		for i := range points {
			if want, got := there[i], flowed[i]; want.OK != got.OK || want.OK && want != got {
				t.Fatalf("windows of %d: point %d: %+v, want %+v", opts.Window, i, got, want)
			}
			for _, pair := range [][2]flow.Found{{there[i], gotThere[i]}, {back[i], gotBack[i]}} {
				want, got := pair[0], pair[1]
				want.Residual = 0
				if want.OK != got.OK || want.OK && want != got {
					t.Fatalf("windows of %d: point %d: %+v, want %+v", opts.Window, i, got, want)
				}
			}
		}
	}
	if _, _, err := flow.ThereAndBack(a, b, []flow.Point{{X: math.NaN()}}, nil, usual); !errors.Is(err, flow.ErrNumber) {
		t.Errorf("not a number: %v", err)
	}
	if _, _, err := flow.ThereAndBack(a, b, points, guess[:3], usual); !errors.Is(err, flow.ErrSize) {
		t.Errorf("guesses missing: %v", err)
	}
	if there, back, err := flow.ThereAndBack(a, b, nil, nil, usual); len(there)+len(back) > 0 || err != nil {
		t.Errorf("no points: %v, %v, %v", there, back, err)
	}
	if _, _, err := flow.ThereAndBack(a, waves(199, 150, 0, 0, 1, 0), points, nil, usual); !errors.Is(err, flow.ErrSize) {
		t.Errorf("two sizes: %v", err)
	}
}

// plainFlow is OpenCV's optical flow as gocv calls it.
func plainFlow(t *testing.T, prev, next flow.Gray, points, guess []flow.Point, opts flow.FlowOptions) []flow.Found {
	t.Helper()
	mat := func(rows, columns int, kind gocv.MatType, raw []byte) gocv.Mat {
		m, err := gocv.NewMatFromBytes(rows, columns, kind, raw)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { m.Close() })
		return m
	}
	places := func(points []flow.Point) gocv.Mat {
		var raw []byte
		for _, p := range points {
			raw = binary.NativeEndian.AppendUint32(raw, math.Float32bits(float32(p.X)))
			raw = binary.NativeEndian.AppendUint32(raw, math.Float32bits(float32(p.Y)))
		}
		return mat(len(points), 1, gocv.MatTypeCV32FC2, raw)
	}
	from, to := places(points), places(guess)
	status, residual := gocv.NewMat(), gocv.NewMat()
	defer status.Close()
	defer residual.Close()
	window, levels := opts.Window, max(opts.Levels, 0)
	gocv.CalcOpticalFlowPyrLKWithParams(mat(prev.Height, prev.Width, gocv.MatTypeCV8UC1, prev.Pix), mat(next.Height, next.Width, gocv.MatTypeCV8UC1, next.Pix),
		from, to, &status, &residual, image.Pt(window, window), levels, gocv.NewTermCriteria(gocv.Count+gocv.EPS, 30, 0.01), gocv.OptflowUseInitialFlow, 1e-4)
	out := make([]flow.Found, len(points))
	for i := range out {
		v := to.GetVecfAt(i, 0)
		p := flow.Point{X: float64(v[0]), Y: float64(v[1])}
		inside := p.X >= 0 && p.Y >= 0 && p.X <= float64(next.Width-1) && p.Y <= float64(next.Height-1)
		out[i] = flow.Found{Point: p, OK: status.GetUCharAt(i, 0) == 1 && inside, Residual: float64(residual.GetFloatAt(i, 0))}
	}
	return out
}

// TestRegisterGivesUp has a template and pictures that do not show it.
func TestRegisterGivesUp(t *testing.T) {
	mark := flow.Point{X: 48, Y: 48}
	tm, err := flow.NewTemplate(flow.NewPlane(waves(96, 96, 0, 0, 1, 2.5), 0, 0, 0), mark, flow.Window{Left: 15, Right: 15, Up: 15, Down: 15}, nil)
	if err != nil {
		t.Fatal(err)
	}
	went := 0
	for turn := range 12 {
		other := flow.NewPlane(waves(96, 96, 31+7*float64(turn), 17, 1.7, 2.5), 0, 0, 0)
		if r := tm.Register(other, flow.Pose{At: mark, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05}); r.OK && r.NCC < 0.6 {
			went++ // To the end.
		}
		if r := tm.Register(other, flow.Pose{At: mark, Scale: 1}, flow.RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05, Hopeless: 0.6}); r.OK && r.NCC < 0.6 {
			t.Errorf("picture %d: %+v", turn, r)
		}
	}
	if went == 0 {
		t.Error("without giving up none comes to an end: the test shows nothing")
	}
}

// TestHomographyIsNearlyAsGoodAsCanBe fits noisy points among which another thing
// moves. Eight numbers fitted by least squares to 2n coordinates with noise s leave an
// error of s·√(8/n) at the points, on average (theory of least squares); nothing does
// better.
func TestHomographyIsNearlyAsGoodAsCanBe(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	h := [9]float64{1.001, 0.0005, 0.5, -0.0004, 1.0007, -0.3, 1e-7, 2e-7, 1}
	apply := func(h [9]float64, p flow.Point) flow.Point {
		w := h[6]*p.X + h[7]*p.Y + h[8]
		return flow.Point{X: (h[0]*p.X + h[1]*p.Y + h[2]) / w, Y: (h[3]*p.X + h[4]*p.Y + h[5]) / w}
	}
	const points, trials = 280, 60
	for _, noise := range []float64{0.05, 0.15, 0.3} {
		for _, other := range []int{0, 28, 84} { // Points on what moves.
			var sum float64
			for range trials {
				var from, to []flow.Point
				for i := range points {
					p := flow.Point{X: 640 * rng.Float64(), Y: 360 * rng.Float64()}
					q := apply(h, p).Add(flow.Point{X: noise * rng.NormFloat64(), Y: noise * rng.NormFloat64()})
					if i < other {
						q = q.Add(flow.Point{X: 2 + 1.5*rng.NormFloat64(), Y: 1 + 1.5*rng.NormFloat64()})
					}
					from, to = append(from, p), append(to, q)
				}
				got, _, ok, err := flow.Homography(from, to, 0.75)
				if err != nil || !ok {
					t.Fatalf("ok %v, %v", ok, err)
				}
				for _, p := range from {
					d := apply(got, p).Dist(apply(h, p))
					sum += d * d / points
				}
			}
			off, best := math.Sqrt(sum/trials), noise*math.Sqrt(8/float64(points-other))
			t.Logf("noise %.2f px, %d of %d points elsewhere: off by %.4f px, least squares %.4f", noise, other, points, off, best)
			if off > 1.75*best { // Some of what moves lies within the threshold and pulls.
				t.Errorf("noise %.2f px, %d of %d points elsewhere: off by %.4f px, least squares %.4f", noise, other, points, off, best)
			}
		}
	}
}

// TestHomographyOfLittle has points that tell no homography.
func TestHomographyOfLittle(t *testing.T) {
	line, spot, few := make([]flow.Point, 40), make([]flow.Point, 40), make([]flow.Point, 9)
	rng := rand.New(rand.NewPCG(8, 2))
	wild, wilder := make([]flow.Point, 40), make([]flow.Point, 40)
	for i := range line {
		line[i], spot[i] = flow.Point{X: 10 * float64(i), Y: 5 * float64(i)}, flow.Point{X: 7, Y: 9}
		wild[i], wilder[i] = flow.Point{X: 640 * rng.Float64(), Y: 360 * rng.Float64()}, flow.Point{X: 640 * rng.Float64(), Y: 360 * rng.Float64()}
	}
	copy(few, wild)
	for _, c := range []struct {
		name     string
		from, to []flow.Point
		ok       bool
	}{{"one place", spot, spot, false}, {"nothing agrees", wild, wilder, false}, {"none", nil, nil, false}, {"few", few, few, true}, {"many", wild, wild, true}} {
		h, _, ok, err := flow.Homography(c.from, c.to, 0.75)
		if err != nil || ok != c.ok {
			t.Errorf("%s: ok %v, want %v; %v", c.name, ok, c.ok, err)
		}
		if ok && math.Abs(h[0]/h[8]-1)+math.Abs(h[2]/h[8]) > 1e-3 {
			t.Errorf("%s: %v of points that stand still", c.name, h)
		}
	}
	// A line tells a homography along itself only; whatever comes is finite.
	if h, _, _, err := flow.Homography(line, line, 0.75); err != nil || math.IsNaN(h[0]) {
		t.Errorf("a line: %v, %v", h, err)
	}
}
