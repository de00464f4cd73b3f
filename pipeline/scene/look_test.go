//go:build study

package scene

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"strconv"
	"testing"

	"jogstrip/track/traj"
)

// TestLook writes frames of hard scenes as pictures into JOGSTRIP_LOOK, for a person
// to look at: JOGSTRIP_SEED is the first of four seeds.
func TestLook(t *testing.T) {
	folder := os.Getenv("JOGSTRIP_LOOK")
	if folder == "" {
		t.Skip("JOGSTRIP_LOOK is not set")
	}
	first, _ := strconv.Atoi(os.Getenv("JOGSTRIP_SEED"))
	n, _ := strconv.Atoi(os.Getenv("JOGSTRIP_N"))
	for seed := uint64(first); seed < uint64(first+max(n, 1)); seed++ {
		view := []traj.View{traj.Toward, traj.Away}[seed%2]
		m, err := solve(Hard(seed, view))
		if err != nil {
			t.Fatal(err)
		}
		p := new(Renderer).painters(m, 1)[0]
		for _, share := range []float64{0.5, 0.92} {
			if view == traj.Away {
				share = 1 - share
			}
			o := p.frame(share * m.end)
			img := image.NewRGBA(image.Rect(0, 0, o.w, o.h))
			for y := range o.h {
				for x := range o.w {
					j := y/2*(o.w/2) + x/2
					r, g, b := uncoded(o.y[y*o.w+x], o.cb[j], o.cr[j])
					to := func(v float32) uint8 { return uint8(max(0, min(255, v*255))) }
					img.Set(x, y, color.RGBA{to(r), to(g), to(b), 255})
				}
			}
			f, err := os.Create(fmt.Sprintf("%s/%s-%d-%02.0f.png", folder, view, seed, 100*share))
			if err != nil {
				t.Fatal(err)
			}
			if err := png.Encode(f, img); err != nil {
				t.Fatal(err)
			}
			f.Close()
		}
	}
}
