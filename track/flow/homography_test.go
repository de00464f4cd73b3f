package flow

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestHomographySettlesInOnePlace begins 0.0003 px off and a hundred times as far, and ends
// where no small step makes the sum of squares less.
func TestHomographySettlesInOnePlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	truth := [9]float64{1.01, 0.02, 12, -0.015, 0.99, -7, 2e-6, -1e-6, 1}
	apply := func(h [9]float64, p Point) Point {
		w := h[6]*p.X + h[7]*p.Y + h[8]
		return Point{(h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w}
	}
	var from, to []Point
	in := make([]bool, 120)
	for i := range in {
		p := Point{1920 * rng.Float64(), 1080 * rng.Float64()}
		q := apply(truth, p).Add(Point{0.3 * rng.NormFloat64(), 0.3 * rng.NormFloat64()})
		if in[i] = i%6 > 0; !in[i] {
			q = q.Add(Point{50, 20})
		}
		from, to = append(from, p), append(to, q)
	}
	sum := func(h [9]float64) (s float64) {
		for i, p := range from {
			if in[i] {
				d := apply(h, p).Dist(to[i])
				s += d * d
			}
		}
		return s
	}
	best := settled(truth, from, to, in)
	for _, off := range []float64{3e-4, 3e-2} {
		for range 20 {
			start := truth
			for i := range 8 {
				start[i] *= 1 + off/1000*rng.NormFloat64()
			}
			start[2], start[5] = start[2]+off*rng.NormFloat64(), start[5]+off*rng.NormFloat64()
			got := settled(start, from, to, in)
			for _, p := range from {
				if d := apply(got, p).Dist(apply(best, p)); d > 1e-8 {
					t.Fatalf("begun %g px off: ends %g px apart", off, d)
				}
			}
		}
	}
	least := sum(best)
	for i := range 8 {
		for _, d := range []float64{1e-7, -1e-7} {
			h := best
			h[i] += d * max(1, math.Abs(h[i]))
			if sum(h) < least {
				t.Errorf("number %d moved by %g: %.12g, less than %.12g", i, d, sum(h), least)
			}
		}
	}
	if least >= sum(truth) {
		t.Errorf("sum of squares %g, of the true one %g", least, sum(truth))
	}
}

// Points on a line tell no homography: what was found stays.
func TestHomographyOfALineStays(t *testing.T) {
	var line []Point
	in := make([]bool, 20)
	for i := range in {
		in[i] = true
		line = append(line, Point{10 * float64(i), 5 * float64(i)})
	}
	h := [9]float64{1, 0, 0, 0, 1, 0, 0, 0, 1}
	got := settled(h, line, line, in)
	if !(mat.Norm(mat.NewDense(3, 3, got[:]), 2) < 1e3) {
		t.Errorf("%v", got)
	}
}

// Among pairs of which two in five go their own way the others are found, and equal pairs
// tell the same to the last digit.
func TestConsensusFindsWhatAgrees(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(5, seed))
		truth := [9]float64{1.01, 0.02, 12, -0.015, 0.99, -7, 2e-6, -1e-6, 1}
		var from, to []Point
		for i := range 200 {
			p := Point{640 * rng.Float64(), 360 * rng.Float64()}
			w := truth[6]*p.X + truth[7]*p.Y + truth[8]
			q := Point{(truth[0]*p.X+truth[1]*p.Y+truth[2])/w + 0.1*rng.NormFloat64(), (truth[3]*p.X+truth[4]*p.Y+truth[5])/w + 0.1*rng.NormFloat64()}
			if i%5 < 2 {
				q = Point{640 * rng.Float64(), 360 * rng.Float64()}
			}
			from, to = append(from, p), append(to, q)
		}
		h, in, ok := consensus(from, to, 0.75)
		if !ok {
			t.Fatalf("seed %d: none found", seed)
		}
		for i := range from {
			if own := i%5 < 2; own == in[i] && math.Sqrt(squared(&truth, from[i], to[i])) > 1.5 == own {
				t.Errorf("seed %d: pair %d is %.2f px off and taken as agreeing: %v", seed, i, math.Sqrt(squared(&truth, from[i], to[i])), in[i])
			}
		}
		if g, _, _ := consensus(from, to, 0.75); g != h {
			t.Errorf("seed %d: %v, then %v", seed, h, g)
		}
	}
}
