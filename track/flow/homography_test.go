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
	best := newFitting().settled(truth, from, to, in, Hand{})
	for _, off := range []float64{3e-4, 3e-2} {
		for range 20 {
			start := truth
			for i := range 8 {
				start[i] *= 1 + off/1000*rng.NormFloat64()
			}
			start[2], start[5] = start[2]+off*rng.NormFloat64(), start[5]+off*rng.NormFloat64()
			got := newFitting().settled(start, from, to, in, Hand{})
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
	got := newFitting().settled(h, line, line, in, Hand{})
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
		h, in, ok := newFitting().consensus(from, to, 0.75)
		if !ok {
			t.Fatalf("seed %d: none found", seed)
		}
		for i := range from {
			if own := i%5 < 2; own == in[i] && math.Sqrt(squared(&truth, from[i], to[i])) > 1.5 == own {
				t.Errorf("seed %d: pair %d is %.2f px off and taken as agreeing: %v", seed, i, math.Sqrt(squared(&truth, from[i], to[i])), in[i])
			}
		}
		if g, _, _ := newFitting().consensus(from, to, 0.75); g != h {
			t.Errorf("seed %d: %v, then %v", seed, h, g)
		}
	}
}

// A hand turns the camera, and corners are found in the upper left ninth of the picture only.
// Least squares alone leave the lower right corner to the noise; what a hand does holds it. Where
// corners lie all over the picture it changes next to nothing, though the focal length is
// another than the nominal one.
func TestAHandHoldsWhatCornersDoNotTell(t *testing.T) {
	const noise, width, height = 0.2, 640, 360
	hand := Hand{Middle: Point{(width - 1) / 2, (height - 1) / 2}, Focal: 0.8 * width, FocalShare: 0.2, Moves: 0.005}
	for _, focal := range []float64{0.65 * width, 0.8 * width, width} {
		for _, c := range []struct {
			name       string
			right, low float64 // Where corners end.
			most       float64 // Of what is left with the hand, over what is left without.
		}{{"a ninth of the picture", width / 3, height / 3, 0.75}, {"all of it", width, height, 1.02}} {
			rng := rand.New(rand.NewPCG(6, uint64(focal)))
			var plain, held float64
			for range 200 {
				h := turned(focal, hand.Middle, 0.008*rng.NormFloat64(), 0.008*rng.NormFloat64(), 0.008*rng.NormFloat64())
				var from, to []Point
				for range 40 {
					p := Point{c.right * rng.Float64(), c.low * rng.Float64()}
					q := apply(h, p)
					from, to = append(from, p), append(to, q.Add(Point{noise * rng.NormFloat64(), noise * rng.NormFloat64()}))
				}
				far := Point{width, height}
				for sum, hand := range map[*float64]Hand{&plain: {}, &held: hand} {
					got, _, ok, err := Homography(from, to, 0.75, hand)
					if err != nil || !ok {
						t.Fatalf("ok %v, %v", ok, err)
					}
					*sum += sq(apply(got, far).Dist(apply(h, far)))
				}
			}
			t.Logf("focal length %.0f px, corners in %s: the far corner is %.2f px off, %.2f px with a hand", focal, c.name, math.Sqrt(plain/200), math.Sqrt(held/200))
			if held > sq(c.most)*plain {
				t.Errorf("focal length %.0f px, corners in %s: the far corner is %.2f px off with a hand, %.2f px without", focal, c.name, math.Sqrt(held/200), math.Sqrt(plain/200))
			}
		}
	}
}

// turned returns what turning a camera by small angles about its upright, level and own axis
// does to its picture: K·R·K⁻¹ (Hartley and Zisserman, from memory).
func turned(focal float64, middle Point, pan, tilt, roll float64) [9]float64 {
	rotation := func(i, j int, angle float64) [9]float64 {
		r := [9]float64{0: 1, 4: 1, 8: 1}
		r[4*i], r[4*j] = math.Cos(angle), math.Cos(angle)
		r[3*i+j], r[3*j+i] = -math.Sin(angle), math.Sin(angle)
		return r
	}
	f := framing{middle, focal}
	h, _ := normalised(product(f.inverse(), product(product(rotation(0, 2, pan), product(rotation(1, 2, tilt), rotation(0, 1, roll))), f.matrix())))
	return h
}

func apply(h [9]float64, p Point) Point {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return Point{(h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w}
}
