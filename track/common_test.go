package track

import (
	"math"
	"testing"

	"jogstrip/track/flow"
)

// Four marks show one animal. Who passes in front of it at one of them, or later, is told
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
	common := commonOf([][]float64{look(0, 0), look(10, 0), look(-20, 40), look(5, 0)}, 20)
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
