package track

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Where the right hoof is the mirror image of the left one, registering the two tells how
// their clicks differ; a hoof that looks otherwise tells nothing.
func TestPairUp(t *testing.T) {
	const side = 200
	for _, c := range []struct {
		name  string
		alike bool
		lower float64 // How much lower on the hoof the left one was clicked, px.
	}{
		{"mirror images, clicked alike", true, 0},
		{"mirror images, the left one clicked lower", true, 1.5},
		{"mirror images, the left one clicked higher", true, -2},
		{"one has a white sock", false, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			clip := &clip{model: &known, hands: newHands(), width: side, height: side, times: []float64{0, 1}}
			var err error
			if clip.spool, err = newSpool(t.TempDir(), 1<<24, 1<<20); err != nil {
				t.Fatal(err)
			}
			defer clip.spool.close()
			left := hoofPicture(t, 1, side)
			right := left
			if !c.alike {
				right = hoofPicture(t, 2, side)
			}
			right.Pix = slices.Clone(right.Pix)
			for y := range side {
				slices.Reverse(right.Pix[y*side : (y+1)*side])
			}
			for _, g := range []flow.Gray{left, right} {
				if err := clip.spool.add(g, image.Rect(0, 0, side, side)); err != nil {
					t.Fatal(err)
				}
			}
			body := &trunk{at: make([]flow.Point, 2), size: []float64{100, 100}}
			fo := newFollower(clip, traj.LeftFore, 1)
			ps := &pairSearch{pair: fores, st: &stander{clip: clip, model: clip.model, fo: fo}}
			for i, at := range []flow.Point{{X: 90, Y: 110 + c.lower}, {X: side - 1 - 90, Y: 110}} {
				m := seed{Mark: Mark{Frame: i, Landmark: ps.pair[i], X: at.X, Y: at.Y, Visible: true, SD: 1}, size: 40}
				if ps.models[i], err = clip.modelAt(fo, body, m); err != nil {
					t.Fatal(err)
				}
			}
			if err := clip.pairUp([]*pairSearch{ps}); err != nil {
				t.Fatal(err)
			}
			if !c.alike {
				if len(clip.pairs) > 0 {
					t.Errorf("unlike hooves are paired: %+v", clip.pairs)
				}
				return
			}
			if len(clip.pairs) != 1 {
				t.Fatalf("%d pairs, want 1", len(clip.pairs))
			}
			if p := clip.pairs[0]; math.Abs(p.DownPX-c.lower) > 0.1 || !(p.SDPX > 0 && p.SDPX < 1) {
				t.Errorf("%+v: want %.1f px down", p, c.lower)
			}
		})
	}
}

// hoofPicture returns a picture with as much detail as a hoof has.
func hoofPicture(t *testing.T, seed uint64, side int) flow.Gray {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	coarse := flow.Gray{Pix: make([]byte, 40*40), Width: 40, Height: 40, Stride: 40}
	for i := range coarse.Pix {
		coarse.Pix[i] = byte(60 + rng.IntN(140))
	}
	g, err := flow.Resize(coarse, side, side)
	if err != nil {
		t.Fatal(err)
	}
	return g
}
