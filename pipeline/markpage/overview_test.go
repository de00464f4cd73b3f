package markpage

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// The box of what moves holds the horse, from the head to the hooves, and shows
// which way it goes; the picture is zoomed to it.
func TestTheHorseIsInItsBox(t *testing.T) {
	clip, truth := renderedClip(t)
	v, err := makeOverview(t.Context(), probed(t, clip))
	if err != nil {
		t.Fatal(err)
	}
	if v.Seen != traj.Toward {
		t.Errorf("the horse is seen to go %q, it comes toward the camera", v.Seen)
	}
	in, all := 0, 0
	for i, f := range v.Frames {
		b := v.Boxes[i]
		if b == nil {
			t.Errorf("frame %d: nothing is seen to move", f)
			continue
		}
		room := 0.2 * math.Max(b.X1-b.X0, b.Y1-b.Y0) // As the page leaves around it.
		for _, l := range []traj.Landmark{traj.Head, traj.LeftFore, traj.RightFore} {
			p := point(truth, l, f)
			all++
			if p.X > b.X0-room && p.X < b.X1+room && p.Y > b.Y0-3*room && p.Y < b.Y1+room {
				in++
			} else {
				t.Logf("frame %d: %s at %.0f, %.0f lies outside %+v", f, l, p.X, p.Y, *b)
			}
		}
	}
	// A box that is too small costs a person one key, so not every one must hold.
	if float64(in) < 0.9*float64(all) {
		t.Errorf("%d of %d landmarks lie in the part of the picture that is zoomed to", in, all)
	}
}

// textured returns a picture of noise as rough as ground, moved by (dx, dy) px.
func textured(seed uint64, w, h int, dx, dy float64) *image.Gray {
	r := rand.New(rand.NewPCG(seed, 1))
	const n = 24
	type wave struct{ kx, ky, phase, amplitude float64 }
	waves := make([]wave, n)
	for i := range waves {
		waves[i] = wave{r.NormFloat64() * 0.35, r.NormFloat64() * 0.35, r.Float64() * 2 * math.Pi, 9}
	}
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := 128.0
			for _, k := range waves {
				v += k.amplitude * math.Sin(k.kx*(float64(x)-dx)+k.ky*(float64(y)-dy)+k.phase)
			}
			out.Pix[y*out.Stride+x] = uint8(math.Max(0, math.Min(255, v)))
		}
	}
	return out
}

// Ground marks are taken over where the picture lies as it did, to half a pixel,
// and not where it has moved, however little, or where they are hidden.
func TestStillThere(t *testing.T) {
	t.Parallel()
	const w, h = 480, 270
	marks := []geometry.Point{{X: 100, Y: 220}, {X: 380, Y: 220}, {X: 300, Y: 120}, {X: 180, Y: 120}}
	before := textured(3, w, h, 0, 0)
	same := func() *image.Gray {
		p := *before
		p.Pix = slices.Clone(before.Pix)
		return &p
	}
	cover := func(p *image.Gray, x0, y0, x1, y1 int) *image.Gray {
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				p.Pix[y*p.Stride+x] = uint8(40 + (x*7+y*13)%9)
			}
		}
		return p
	}
	for _, tt := range []struct {
		name string
		now  *image.Gray
		ok   bool
	}{
		{"the same", same(), true},
		{"a fifth of a pixel", textured(3, w, h, 0.2, 0.1), true},
		{"a pixel", textured(3, w, h, 1, 0), false},
		{"two pixels down", textured(3, w, h, 0, 2), false},
		{"far", textured(3, w, h, 30, 8), false},
		{"another place", textured(4, w, h, 0, 0), false},
		{"a horse before it", cover(same(), 200, 40, 260, 260), true},
		{"a mark hidden", cover(same(), 60, 190, 140, 260), true},
		{"two marks hidden", cover(same(), 60, 90, 230, 260), false},
		{"plain", image.NewGray(image.Rect(0, 0, w, h)), false},
	} {
		all := likeness{marks: marks, frame: -1}
		if ok := all.with(before, tt.now, 7); ok != tt.ok || ok && all.frame != 7 {
			t.Errorf("%s: moved by %.2f px, %+v", tt.name, all.far, all)
		}
	}
	// What one picture hides another one shows; a picture that has moved shows nothing.
	all := likeness{marks: marks, frame: -1}
	for i, tt := range []struct {
		now *image.Gray
		ok  bool
	}{
		{cover(same(), 60, 90, 230, 260), false},
		{textured(3, w, h, 0, 2), false},
		{cover(same(), 250, 90, 420, 260), true},
	} {
		if all.with(before, tt.now, i) != tt.ok {
			t.Errorf("picture %d: %+v", i, all)
		}
	}
	if all.frame != 0 {
		t.Errorf("the calibration is taken over into frame %d", all.frame)
	}
	// And it is told how far: to a tenth of a pixel.
	if moved, _, err := stillThere(before, textured(3, w, h, 0.3, 0), marks); err != nil || math.Abs(moved-0.3) > 0.1 {
		t.Errorf("moved by 0.3 px: %.2f, %v", moved, err)
	}
}
