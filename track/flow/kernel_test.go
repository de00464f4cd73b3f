package flow

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// texture returns a picture of smooth random bumps.
func texture(w, h int, seed uint64) Gray {
	rng := rand.New(rand.NewPCG(seed, 7))
	coarse := make([]float64, (w/6+3)*(h/6+3))
	for i := range coarse {
		coarse[i] = 255 * rng.Float64()
	}
	g := Gray{Width: w, Height: h, Stride: w + 5, Pix: make([]byte, (w+5)*h)}
	for y := range h {
		for x := range w {
			u, v := float64(x)/6, float64(y)/6
			i, j := int(u), int(v)
			u, v = u-float64(i), v-float64(j)
			c := coarse[j*(w/6+3)+i:]
			d := coarse[(j+1)*(w/6+3)+i:]
			g.Pix[y*g.Stride+x] = byte((1-v)*((1-u)*c[0]+u*c[1]) + v*((1-u)*d[0]+u*d[1]))
		}
	}
	return g
}

// The vector loops give what the formulas, written plainly in double precision,
// give; for counts that fill their lanes and such that do not.
func TestLookIsTheFormula(t *testing.T) {
	p := NewPlane(texture(90, 70, 1), 10, 20, 0)
	q := NewPlane(texture(90, 70, 1), 11, 19, 0)
	for _, side := range []float64{4, 7, 12.5, 20} {
		tm, err := NewTemplate(p, Point{52, 50}, Window{side, side, side, side}, func(x, y float64) float64 {
			return math.Exp(-((x-52)*(x-52) + (y-50)*(y-50)) / (side * side))
		})
		if err != nil {
			t.Fatal(err)
		}
		for _, pose := range []Pose{{Point{52, 50}, 1, 0}, {Point{50.3, 51.7}, 1.1, 0.2}, {Point{21, 30}, 0.9, -0.1}} {
			want, good := plainLook(tm, q, pose)
			var got fit
			sin, cos := math.Sincos(pose.Angle)
			if ok := tm.look(&q, pose, sin, cos, make([]float32, 2*padded(tm.count)), &got); ok != good {
				t.Fatalf("side %g at %v: good %v, want %v", side, pose, ok, good)
			}
			if !good {
				continue
			}
			near := func(what string, a, b, size float64) {
				if !(math.Abs(a-b) <= 2e-4*size) {
					t.Errorf("side %g at %v: %s %g, want %g", side, pose, what, a, b)
				}
			}
			near("correlation", float64(got.ncc), want.ncc, 1)
			near("gain", float64(got.gain), want.gain, want.gain)
			near("agreement", float64(got.agree), want.agree, want.agree)
			near("squares", float64(got.square), want.square, want.square)
			for i := range want.h {
				near("matrix", float64(got.h[i]), want.h[i], want.size[i])
			}
			for i := range want.b {
				near("right side", float64(got.b[i]), want.b[i], want.bSize[i])
			}
		}
	}
}

type plainFit struct {
	ncc, gain, agree, square float64
	h, size                  [21]float64
	b, bSize                 [6]float64
}

func plainLook(t *Template, p Plane, pose Pose) (f plainFit, good bool) {
	part := func(k, i int) float64 { return float64(t.parts[k*t.stride+i]) }
	c, s := pose.Scale*math.Cos(pose.Angle)/p.Step, pose.Scale*math.Sin(pose.Angle)/p.Step
	values, weights := make([]float64, t.count), make([]float64, t.count)
	var sw, si, sii, st, stt, sit float64
	for i := range t.count {
		u, v := part(0, i), part(1, i)
		x, y := (pose.At.X-p.X0)/p.Step+c*u-s*v, (pose.At.Y-p.Y0)/p.Step+s*u+c*v
		if !(x >= 0 && y >= 0 && x < float64(p.Width-1) && y < float64(p.Height-1)) {
			continue
		}
		k := int(y)*p.Width + int(x)
		fx, fy := x-math.Floor(x), y-math.Floor(y)
		q := func(d int) float64 { return float64(p.Pix[k+d]) }
		values[i] = (1-fy)*((1-fx)*q(0)+fx*q(1)) + fy*((1-fx)*q(p.Width)+fx*q(p.Width+1))
		weights[i] = part(5, i)
		w, tv := weights[i], part(2, i)
		sw, si, sii = sw+w, si+w*values[i], sii+w*values[i]*values[i]
		st, stt, sit = st+w*tv, stt+w*tv*tv, sit+w*values[i]*tv
	}
	if sw < 0.6*t.weight {
		return f, false
	}
	vi, vt := sii-si*si/sw, stt-st*st/sw
	f.ncc, f.gain = (sit-si*st/sw)/math.Sqrt(vi*vt), math.Sqrt(vi/vt)
	offset := si/sw - f.gain*st/sw
	var off float64
	for i, w := range weights {
		off += w * math.Abs((values[i]-offset)/f.gain-part(2, i))
	}
	sigma := max(1.25*off/sw, 0.2)
	for i, w := range weights {
		r := (values[i]-offset)/f.gain - part(2, i)
		k := 1 / (1 + r*r/(6.25*sigma*sigma))
		k *= k * w
		f.agree += k
		f.square += k * r * r
		gx, gy, u, v := part(3, i), part(4, i), part(0, i), part(1, i)
		j := [6]float64{gx, gy, gx*u + gy*v, gy*u - gx*v, part(2, i), 1}
		n := 0
		for a := range j {
			for b := a; b < 6; b++ {
				f.h[n] += k * j[a] * j[b]
				f.size[n] += k * math.Abs(j[a]*j[b])
				n++
			}
			f.b[a] += k * j[a] * r
			f.bSize[a] += k * math.Abs(j[a]*r)
		}
	}
	return f, true
}

// Registration costs no memory, however often it is called.
func TestRegisterAllocatesNothing(t *testing.T) {
	p := NewPlane(texture(90, 70, 1), 0, 0, 0)
	tm, err := NewTemplate(p, Point{45, 35}, Window{15, 15, 15, 15}, nil)
	if err != nil {
		t.Fatal(err)
	}
	start := Pose{At: Point{46, 34}, Scale: 1.02, Angle: 0.02}
	if r := tm.Register(p, start, RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05}); !r.OK || r.At.Dist(Point{45, 35}) > 0.05 {
		t.Fatalf("registered at %v (OK %v)", r.At, r.OK)
	}
	if n := testing.AllocsPerRun(100, func() { tm.Register(p, start, RegisterOptions{ScaleSD: 0.05, AngleSD: 0.05}) }); n > 1 {
		t.Errorf("%v allocations a call, want none", n)
	}
}

func TestShrinkIsTheMean(t *testing.T) {
	g := texture(67, 41, 3)
	for factor := 1; factor <= 9; factor++ {
		out, err := Shrink(g, factor, Gray{})
		if err != nil {
			t.Fatal(err)
		}
		if out.Width != 67/factor || out.Height != 41/factor {
			t.Fatalf("by %d: %d×%d", factor, out.Width, out.Height)
		}
		for y := range out.Height {
			for x := range out.Width {
				sum := 0
				for j := range factor {
					for i := range factor {
						sum += int(g.Pix[(y*factor+j)*g.Stride+x*factor+i])
					}
				}
				if want := byte((sum + factor*factor/2) / (factor * factor)); out.Pix[y*out.Stride+x] != want {
					t.Fatalf("by %d at (%d, %d): %d, want %d", factor, x, y, out.Pix[y*out.Stride+x], want)
				}
			}
		}
	}
}

func TestSumsOfSquares(t *testing.T) {
	g := texture(300, 40, 4)
	for _, side := range []int{1, 4, 5, 16} {
		out := make([]uint16, 280/side)
		if err := Sums(g, 7, 3, side, out); err != nil {
			t.Fatal(err)
		}
		for k, got := range out {
			var want uint16
			for j := range side {
				for i := range side {
					want += uint16(g.Pix[(3+j)*g.Stride+7+k*side+i])
				}
			}
			if got != want {
				t.Fatalf("side %d, square %d: %d, want %d", side, k, got, want)
			}
		}
	}
	if Sums(g, 7, 30, 16, make([]uint16, 2)) == nil || Sums(g, -1, 0, 4, make([]uint16, 2)) == nil || Sums(g, 200, 0, 4, make([]uint16, 26)) == nil {
		t.Error("squares beyond the rim were added up")
	}
}

// Patches are found where the picture was moved to, to a hundredth of a pixel.
func TestPatchesFollowAShift(t *testing.T) {
	a := waving(0, 0)
	points := []Point{{40, 40}, {60.4, 44.8}, {90, 60}, {2, 2}}
	p, err := NewPatches(a, points, 15)
	if err != nil {
		t.Fatal(err)
	}
	for _, move := range []Point{{0, 0}, {0.37, -0.61}, {-1.2, 0.9}} {
		found, err := p.Find(waving(move.X, move.Y), points, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, f := range found {
			if i == 3 {
				if f.OK {
					t.Error("a point at the rim was found")
				}
				continue
			}
			if d := f.Dist(points[i].Add(move)); !f.OK || d > 0.02 {
				t.Errorf("moved by %v: point %d is %.3f px off (OK %v)", move, i, d, f.OK)
			}
		}
	}
	if n := testing.AllocsPerRun(20, func() { _, _ = p.Find(a, points, make([]Found, 0, 4)) }); n > 2 {
		t.Errorf("%v allocations a frame, want at most 2", n)
	}
}

func waving(dx, dy float64) Gray {
	g := Gray{Width: 120, Height: 90, Stride: 120, Pix: make([]byte, 120*90)}
	for y := range g.Height {
		for x := range g.Width {
			u, v := float64(x)-dx, float64(y)-dy
			g.Pix[y*120+x] = byte(math.Round(120 + 40*math.Sin(0.41*u+0.2*v) + 40*math.Cos(0.27*u-0.43*v)))
		}
	}
	return g
}

// The vectors do what plain loops do.
func TestDifferencesAndChanged(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	const width, height = 37, 23
	for round := range 40 {
		a, b := make([]uint16, width*height), make([]uint16, width*height)
		for i := range a {
			a[i], b[i] = uint16(r.IntN(4000)), uint16(r.IntN(4000))
			if r.IntN(40) > round {
				b[i] = a[i]
			}
		}
		got, histogram := make([]uint16, len(a)), make([]int32, 3000)
		Differences(a, b, got, histogram)
		want, counts := make([]uint16, len(a)), make([]int32, 3000)
		for i := range a {
			d := max(a[i], b[i]) - min(a[i], b[i])
			want[i] = d
			counts[min(d, 2999)]++
		}
		if !slices.Equal(got, want) || !slices.Equal(histogram, counts) {
			t.Fatal("differences or their histogram are wrong")
		}
		box := image.Rectangle{}
		for y := 1; y+1 < height; y++ {
			for x := 1; x+1 < width; x++ {
				n := 0
				for j := -1; j <= 1; j++ {
					for i := -1; i <= 1; i++ {
						if want[(y+j)*width+x+i] > 900 {
							n++
						}
					}
				}
				if n >= 3 {
					box = box.Union(image.Rect(x-1, y-1, x+2, y+2))
				}
			}
		}
		if got := Changed(want, width, height, 900); got != box {
			t.Fatalf("changed %v, want %v", got, box)
		}
	}
	if got := Changed(make([]uint16, 100), 10, 10, 0); !got.Empty() {
		t.Errorf("changed %v where nothing did", got)
	}
}

// Small templates are multiplied out, large ones handed to OpenCV: both give the plain
// correlation, and nothing where the picture is flat.
func TestMatch(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	g := Gray{Width: 161, Height: 121, Stride: 170, Pix: make([]byte, 170*121)}
	for y := range g.Height {
		for x := range g.Width {
			g.Pix[y*g.Stride+x] = byte(x / 81 * 80)
			if x > 80 && x < 120 || x > 140 {
				g.Pix[y*g.Stride+x] += byte(r.IntN(90))
			}
		}
	}
	for _, size := range []struct {
		w, h  int
		close float64
	}{{9, 7, 1e-6}, {33, 20, 1e-6}, {mostDirect / 60, 60, 1e-6}, {mostDirect/60 + 1, 60, 1e-5}} {
		template := g.Crop(image.Rect(83, 11, 83+size.w, 11+size.h))
		out, err := Match(g, template, Scores{})
		if err != nil {
			t.Fatal(err)
		}
		flat := 0
		for y := range out.Height {
			for x := range out.Width {
				want, ok := plainNCC(g.Crop(image.Rect(x, y, x+size.w, y+size.h)), template)
				if !ok {
					want = -1
					flat++
				}
				if got := float64(out.Score[y*out.Width+x]); !(math.Abs(got-want) <= size.close) {
					t.Fatalf("template of %d×%d at (%d, %d): %g, want %g", size.w, size.h, x, y, got, want)
				}
			}
		}
		if flat == 0 || flat == len(out.Score) {
			t.Fatalf("%d of %d places are flat: the test shows nothing", flat, len(out.Score))
		}
	}
}

// plainNCC correlates two pictures of one size; ok is false where a is flat.
func plainNCC(a, b Gray) (ncc float64, ok bool) {
	var sa, sb, saa, sbb, sab float64
	for y := range a.Height {
		for x := range a.Width {
			u, v := float64(a.Pix[y*a.Stride+x]), float64(b.Pix[y*b.Stride+x])
			sa, sb, saa, sbb, sab = sa+u, sb+v, saa+u*u, sbb+v*v, sab+u*v
		}
	}
	n := float64(a.Width * a.Height)
	va, vb := saa/n-sa/n*sa/n, sbb/n-sb/n*sb/n
	return (sab/n - sa/n*sb/n) / math.Sqrt(va*vb), va >= 1
}

// What was filled before leaves nothing behind.
func TestFilledAnew(t *testing.T) {
	big, small := texture(90, 70, 1), texture(41, 33, 2)
	var p Plane
	var tm Template
	for _, halvings := range []int{0, 1, 2} {
		p.Fill(big, 3, 4, 0)
		if err := tm.Fill(p, Point{45, 40}, Window{30, 30, 25, 25}, nil); err != nil {
			t.Fatal(err)
		}
		p.Fill(small, 5, 6, halvings)
		want := NewPlane(small, 5, 6, halvings)
		if p.Width != want.Width || p.X0 != want.X0 || p.Step != want.Step || !slices.Equal(p.Pix, want.Pix) {
			t.Fatalf("plane after %d halvings differs from a new one", halvings)
		}
		at, w := Point{25, 22}, Window{12, 12, 9, 9}
		weight := func(x, y float64) float64 { return 0.5 + 0.5*math.Sin(x*y) }
		fresh, err := NewTemplate(want, at, w, weight)
		again := tm.Fill(p, at, w, weight)
		if (err == nil) != (again == nil) {
			t.Fatalf("template: %v, anew %v", err, again)
		}
		if err != nil {
			continue
		}
		start := Pose{At: Point{25.4, 21.8}, Scale: 1.01}
		if a, b := fresh.Register(want, start, RegisterOptions{ScaleSD: 0.05}), tm.Register(p, start, RegisterOptions{ScaleSD: 0.05}); a != b {
			t.Fatalf("registered %+v, anew %+v", a, b)
		}
	}
}
