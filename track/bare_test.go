package track

import (
	"math/rand/v2"
	"testing"
)

// A hoof is told from the bare ground by what differs from it, whatever light lies on
// it; and it is still where it was, gone where the ground shows.
func TestHoofAgainstBareGround(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	ground := make(grid, gridSide*gridRows)
	for k := range ground {
		ground[k] = float32(120 + 4*rng.NormFloat64())
	}
	isHoof := func(k int) bool { // As wide as a third of the grid, above the mark.
		i, j := k%gridSide, k/gridSide
		return i >= 8 && i < 16 && j >= 6 && j < gridRows-groundRows
	}
	look := func(shade float32, hoof bool) grid {
		g := make(grid, len(ground))
		for k, v := range ground {
			g[k] = v + shade + float32(rng.NormFloat64())
			if hoof && isHoof(k) {
				g[k] = 60 + shade + float32(rng.NormFloat64())
			}
		}
		return g
	}
	for _, shade := range []float32{0, -18, 12} {
		key := look(shade, true)
		weights, share := hoofPixels(key, ground, nil, known.StillLimit)
		wrong := 0
		for k, w := range weights {
			if (w > 0) != isHoof(k) {
				wrong++
			}
		}
		if wrong > 12 || share < known.LeastShare {
			t.Errorf("shade %.0f: %d of %d samples are told wrong, share %.2f", shade, wrong, len(weights), share)
		}
		if s := keeps(key, look(shade, true), weights, 0, known.StillLimit); s < 0.95 {
			t.Errorf("shade %.0f: a hoof that stands keeps %.2f of itself", shade, s)
		}
		bare := look(shade, false)
		if s := keeps(key, bare, weights, 0, known.StillLimit); s > known.GoneShare {
			t.Errorf("shade %.0f: a hoof that left keeps %.2f of itself", shade, s)
		}
		then, _ := shadeOf(key, ground)
		if s := bottomShare(bare, ground, weights, known.StillLimit, then); s < known.LiftedShare {
			t.Errorf("shade %.0f: %.2f of the lowest part looks bare once the hoof has left", shade, s)
		}
		if s := bottomShare(look(shade, true), ground, weights, known.StillLimit, then); s > 0.2 {
			t.Errorf("shade %.0f: %.2f of the lowest part looks bare under a hoof that stands", shade, s)
		}
	}
}
