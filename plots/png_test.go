package plots

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"

	"gonum.org/v1/plot/vg/draw"
)

// TestPNGShowsWhatTheRasterCanvasDraws compares with gonum/plot's own raster canvas:
// shortcuts and the 256 colours may shade a rim, no more.
func TestPNGShowsWhatTheRasterCanvasDraws(t *testing.T) {
	for _, f := range samples(t) {
		t.Run(f.Name, func(t *testing.T) {
			got := pictureOf(t, f)
			want := newSheet(f.Width, f.Height)
			f.Draw(draw.New(rasterCanvas(want)))
			if got.Bounds() != want.Bounds() {
				t.Fatalf("picture of %v, want %v", got.Bounds(), want.Bounds())
			}
			type pair struct{ want, got color.RGBA }
			pairs, all, same := map[pair]int{}, map[color.RGBA]int{}, map[color.RGBA]int{}
			each(want, func(x, y int) {
				pairs[pair{color.RGBAModel.Convert(want.At(x, y)).(color.RGBA), color.RGBAModel.Convert(got.At(x, y)).(color.RGBA)}]++
			})
			var sum float64
			for p, n := range pairs {
				d := max(apartBy(p.want.R, p.got.R), apartBy(p.want.G, p.got.G), apartBy(p.want.B, p.got.B))
				if d > 40 {
					t.Errorf("%d pixels of %v are %v", n, p.want, p.got)
				}
				sum += float64(n * d)
				all[p.want] += n
				if d <= 3 {
					same[p.want] += n
				}
			}
			if mean := sum / float64(want.Bounds().Dx()*want.Bounds().Dy()); mean > 0.3 {
				t.Errorf("off by %.2f of 255 on average", mean)
			}
			for c, n := range all {
				if n > 3000 && 20*same[c] < 19*n {
					t.Errorf("a colour of %d pixels, %v, is kept in %d", n, c, same[c])
				}
			}
		})
	}
}

// pictureOf returns f as its PNG shows it.
func pictureOf(t *testing.T, f *Figure) image.Image {
	t.Helper()
	var b bytes.Buffer
	if err := f.PNG(&b); err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func each(m image.Image, do func(x, y int)) {
	for y := m.Bounds().Min.Y; y < m.Bounds().Max.Y; y++ {
		for x := m.Bounds().Min.X; x < m.Bounds().Max.X; x++ {
			do(x, y)
		}
	}
}

func apartBy(a, b uint8) int { return max(int(a)-int(b), int(b)-int(a)) }

// TestPalette has a picture of more colours than fit into one.
func TestPalette(t *testing.T) {
	m := image.NewRGBA(image.Rect(0, 0, 300, 300))
	each(m, func(x, y int) { m.SetRGBA(x, y, color.RGBA{uint8(x), uint8(y), uint8(x ^ y), 255}) })
	if got := paletted(m); got != image.Image(m) {
		t.Error("a picture of 65,536 colours was put into 256")
	}
	for y := range 300 {
		for x := range 300 {
			m.SetRGBA(x, y, color.RGBA{uint8(x), 10, 20, 255})
		}
	}
	got, ok := paletted(m).(*image.Paletted)
	if !ok || len(got.Palette) != 256 {
		t.Fatal("a picture of 256 colours was not put into a palette of them")
	}
	each(m, func(x, y int) {
		if got.At(x, y) != m.At(x, y) {
			t.Fatalf("(%d, %d) is %v, want %v", x, y, got.At(x, y), m.At(x, y))
		}
	})
}
