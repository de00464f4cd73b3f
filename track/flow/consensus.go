package flow

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// How a homography is looked for: at most so many samples, or as many as it takes for one of
// them to be of pairs that all agree, with this confidence.
const (
	mostSamples = 500
	confidence  = 0.999
)

// consensus returns the homography that takes from to to with the least sum of squared
// distances, each counted as threshold (px) at most, and which pairs lie within threshold of
// it. It is looked for through random samples of four pairs (Fischler and Bolles 1981); what is
// better than all before is fitted to the pairs that agree with it (Chum, Matas and Kittler
// 2003). Chance begins anew at every call, so that equal pairs give an equal homography
// with every release of OpenCV, whose own search ends elsewhere in each. ok is false where
// no four pairs tell one.
func consensus(from, to []Point, threshold float64) (h [9]float64, inliers []bool, ok bool) {
	n := len(from)
	chance := rand.New(rand.NewPCG(1, 2))
	solve := four{a: framed(from, nil), b: framed(to, nil)}
	least, turns := math.Inf(1), mostSamples
	inliers = make([]bool, n)
	fitted := make([]bool, n) // The pairs that h was fitted to.
	for turn := 0; turn < turns; turn++ {
		g, tells := solve.through(from, to, sampleOf(chance, n))
		if !tells {
			continue
		}
		loss := lossOf(g, from, to, threshold, least)
		if !(loss < least) {
			continue
		}
		count := within(g, from, to, threshold, inliers)
		clear(fitted)
		if count >= 8 {
			better := settled(g, from, to, inliers)
			if l := lossOf(better, from, to, threshold, loss); l < loss {
				g, loss = better, l
				copy(fitted, inliers)
				count = within(g, from, to, threshold, inliers)
			}
		}
		h, ok, least = g, true, loss
		// How likely a sample is of pairs that all agree.
		clean := math.Pow(float64(count)/float64(n), 4)
		turns = min(mostSamples, int(math.Ceil(math.Log(1-confidence)/math.Log1p(-min(clean, 1-1e-9)))))
	}
	if !ok {
		return h, nil, false
	}
	// As long as fitting it to the pairs within reach takes it nearer.
	for within(h, from, to, threshold, inliers) >= 8 && !slices.Equal(inliers, fitted) {
		g := settled(h, from, to, inliers)
		copy(fitted, inliers)
		loss := lossOf(g, from, to, threshold, least)
		if !(loss < least) {
			break
		}
		h, least = g, loss
	}
	return h, inliers, true
}

// sampleOf returns four of n numbers.
func sampleOf(chance *rand.Rand, n int) (four [4]int) {
	for i := 0; i < len(four); {
		four[i] = chance.IntN(n)
		if !slices.Contains(four[:i], four[i]) {
			i++
		}
	}
	return four
}

// four finds homographies through four pairs, between coordinates of size one.
type four struct {
	a, b   framing
	rows   [64]float64 // 8 × 8.
	right  [8]float64
	pivots [8]int
}

// through returns the homography through four pairs; it is not ok where they don't tell one.
// What four pairs give that hardly tell one fits no others. (mat.LU would estimate how hardly,
// which takes most of its time.)
func (f *four) through(from, to []Point, pairs [4]int) (h [9]float64, ok bool) {
	for i, k := range pairs {
		p, q := f.a.in(from[k]), f.b.in(to[k])
		copy(f.rows[16*i:], []float64{p.X, p.Y, 1, 0, 0, 0, -q.X * p.X, -q.X * p.Y})
		copy(f.rows[16*i+8:], []float64{0, 0, 0, p.X, p.Y, 1, -q.Y * p.X, -q.Y * p.Y})
		f.right[2*i], f.right[2*i+1] = q.X, q.Y
	}
	rows := blas64.General{Rows: 8, Cols: 8, Stride: 8, Data: f.rows[:]}
	if !lapack64.Getrf(rows, f.pivots[:]) {
		return h, false
	}
	lapack64.Getrs(blas.NoTrans, rows, blas64.General{Rows: 8, Cols: 1, Stride: 1, Data: f.right[:]}, f.pivots[:])
	g := [9]float64{8: 1}
	copy(g[:], f.right[:])
	return normalised(product(f.b.inverse(), product(g, f.a.matrix())))
}

// squared returns the square of how far h takes p from q, px².
func squared(h *[9]float64, p, q Point) float64 {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	dx, dy := (h[0]*p.X+h[1]*p.Y+h[2])/w-q.X, (h[3]*p.X+h[4]*p.Y+h[5])/w-q.Y
	return dx*dx + dy*dy
}

// lossOf returns the sum of squared distances that h leaves, each threshold at most (Torr and
// Zisserman 2000), or what it comes to when it reaches enough.
func lossOf(h [9]float64, from, to []Point, threshold, enough float64) (loss float64) {
	for i, p := range from {
		loss += min(squared(&h, p, to[i]), threshold*threshold)
		if !(loss < enough) {
			break
		}
	}
	return loss
}

// within marks and counts the pairs within threshold of h.
func within(h [9]float64, from, to []Point, threshold float64, inliers []bool) (count int) {
	for i, p := range from {
		inliers[i] = squared(&h, p, to[i]) <= threshold*threshold
		if inliers[i] {
			count++
		}
	}
	return count
}
