package plots

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math/rand/v2"
	"testing"
)

// What the standard library's decoder, which knows nothing of the encoder, reads
// back is the picture, pixel by pixel.
func TestWritePNG(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for name, size := range map[string]image.Point{"one pixel": {1, 1}, "wide": {300, 2}, "high": {3, 200}, "square": {64, 64}} {
		t.Run(name, func(t *testing.T) {
			m := image.NewRGBA(image.Rectangle{Max: size})
			draw.Draw(m, m.Rect, image.White, image.Point{}, draw.Src)
			for range size.X * size.Y / 3 {
				m.SetRGBA(r.IntN(size.X), r.IntN(size.Y), color.RGBA{uint8(r.Uint32()), uint8(r.Uint32()), uint8(r.Uint32()), 0xff})
			}
			var b bytes.Buffer
			if err := writePNG(&b, m); err != nil {
				t.Fatal(err)
			}
			got, err := png.Decode(&b)
			if err != nil {
				t.Fatal(err)
			}
			if got.Bounds() != m.Bounds() {
				t.Fatalf("size %v, want %v", got.Bounds(), m.Bounds())
			}
			for y := range size.Y {
				for x := range size.X {
					if a, b := color.RGBAModel.Convert(got.At(x, y)), m.RGBAAt(x, y); a != b {
						t.Fatalf("pixel (%d, %d) is %v, want %v", x, y, a, b)
					}
				}
			}
		})
	}
}

func TestWritePNGRefuses(t *testing.T) {
	m := image.NewRGBA(image.Rect(0, 0, 2, 2)) // Transparent.
	if err := writePNG(&bytes.Buffer{}, m); err == nil {
		t.Error("a picture that is not opaque was written")
	}
	if err := writePNG(&bytes.Buffer{}, &image.RGBA{}); err == nil {
		t.Error("an empty picture was written")
	}
	draw.Draw(m, m.Rect, image.White, image.Point{}, draw.Src)
	if err := writePNG(full{}, m); !errors.Is(err, errFull) {
		t.Errorf("the writer's error came back as %v", err)
	}
}

var errFull = errors.New("disk full")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }
