package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// sumSquares returns the sum of squared deviations from the mean.
func sumSquares(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	return stat.Variance(x, nil) * float64(len(x)-1)
}

// SymmetryIndex returns 100·(right − left)/(½·(right + left)), in percent
// (Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther 10:172–176). It
// is defined for positive quantities only: for values that may be negative or
// near zero it grows without bound. It returns NaN where a side is negative or
// both are zero.
func SymmetryIndex(left, right float64) float64 {
	if !(left >= 0) || !(right >= 0) || left+right == 0 {
		return math.NaN()
	}
	return 100 * (right - left) / (0.5 * (right + left))
}
