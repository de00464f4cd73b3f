package scene

import (
	"image"
	"image/color"
	"image/png"
	"os"
	"testing"
)

// still renders one frame of a scene without encoding it.
func still(t testing.TB, s Scene, at float64) (*motion, *picture) {
	t.Helper()
	m, err := solve(s)
	if err != nil {
		t.Fatal(err)
	}
	return m, m.newPainters(1)[0].frame(at)
}

func savePNG(t testing.TB, p *picture, path string) {
	img := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	for y := range p.h {
		for x := range p.w {
			j := y/2*(p.w/2) + x/2
			r, g, b := uncoded(p.y[y*p.w+x], p.cb[j], p.cr[j])
			q := func(v float32) uint8 { return uint8(max(0, min(255, v*255+0.5))) }
			img.Set(x, y, color.RGBA{q(r), q(g), q(b), 255})
		}
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, img); err != nil {
		t.Fatal(err)
	}
}
