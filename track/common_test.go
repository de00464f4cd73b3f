package track

import (
	"image"
	"math"
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Three marks show one animal. Who passes in front of it at one of them, or later, is told
// apart from it; the light may change.
func TestWhatMarksHaveInCommon(t *testing.T) {
	look := func(light float32, covered int) []float64 { // The first columns are covered.
		p := flow.Plane{Pix: make([]float32, 96*96), Width: 96, Height: 96, Step: 1}
		for y := range 96 {
			for x := range 96 {
				v := 90 + 40*math.Sin(float64(x)/9)*math.Cos(float64(y)/7)
				if x < covered {
					v = 230
				}
				p.Pix[y*96+x] = float32(v) + light
			}
		}
		return cellsOf(p, flow.Point{X: 48, Y: 48}, flow.Window{Left: 48, Right: 47, Up: 48, Down: 47}, nil)
	}
	common := commonOf([][]float64{look(0, 0), look(10, 0), look(-20, 40)}, 20)
	for _, covered := range []int{0, 40} {
		weights := common.weigh(look(30, covered))
		for j := range commonSide {
			for i := range commonSide {
				x := (float64(i) + 0.5) * 95 / commonSide
				animal := x > float64(covered)
				if w := weights[j*commonSide+i]; animal && w < 0.8 || !animal && w > 0.2 {
					t.Fatalf("%d columns covered: cell (%d, %d) counts %.2f", covered, i, j, w)
				}
			}
		}
	}
}

// A cell that most marks do not reach, at the rim of the picture, says nothing.
func TestCommonLookOutsideThePicture(t *testing.T) {
	nothing := make([]float64, commonSide*commonSide)
	for i := range nothing {
		nothing[i] = math.NaN()
	}
	common := commonOf([][]float64{nothing, nothing, nothing, nothing}, 20)
	for i, w := range common.weigh(make([]float64, commonSide*commonSide)) {
		if w != 0 {
			t.Fatalf("cell %d counts %g where nothing is known", i, w)
		}
	}
}

// Of every landmark of the body three marks tell what they have in common: a rope hangs across
// chest and shoulder, a handler's arm passes them. From in front the head turns; from behind it
// does not show its face, and there is wood or wall beyond it.
func TestThreeMarksOfTheChestTellWhatTheyHaveInCommon(t *testing.T) {
	spool, err := newSpool(t.TempDir(), 1<<20, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := spool.close(); err != nil {
			t.Error(err)
		}
	}()
	usual := errormodel.Usual()
	c := &clip{model: &usual.Tracking, width: 160, height: 120, spool: spool}
	var seeds []seed
	for f := range 3 {
		g := flow.Gray{Pix: make([]byte, 160*120), Width: 160, Height: 120, Stride: 160}
		if err := spool.add(g, image.Rect(0, 0, 160, 120)); err != nil {
			t.Fatal(err)
		}
		for _, l := range []traj.Landmark{traj.Chest, traj.LeftShoulder, traj.Head} {
			seeds = append(seeds, seed{Mark: Mark{Frame: f, Landmark: l, X: 80, Y: 60, Visible: true}, size: 30})
		}
	}
	alone := append(seeds[:len(seeds):len(seeds)], seed{Mark: Mark{Landmark: traj.RightShoulder, X: 80, Y: 60, Visible: true}, size: 30})
	for _, comes := range []bool{true, false} {
		c.grows = comes
		common, err := c.commonLooks(alone)
		if err != nil {
			t.Fatal(err)
		}
		for l, want := range map[traj.Landmark]bool{traj.Chest: true, traj.LeftShoulder: true, traj.RightShoulder: false, traj.Head: !comes} {
			if got := common[l] != nil; got != want {
				t.Errorf("%s, comes %v: told %v, want %v", l, comes, got, want)
			}
		}
	}
}
