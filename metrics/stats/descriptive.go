package stats

import "math"

// mean returns the arithmetic mean of x. It uses two passes, so that values
// far from zero keep their last digits.
func mean(x []float64) float64 {
	n := float64(len(x))
	var sum float64
	for _, v := range x {
		sum += v
	}
	m := sum / n
	var rest float64
	for _, v := range x {
		rest += v - m
	}
	return m + rest/n
}

// sumSquares returns the sum of squared deviations from the mean, with the
// correction for the rounding of the mean (Chan, Golub & LeVeque 1983, The
// American Statistician 37:242–247; from memory).
func sumSquares(x []float64) float64 {
	m := mean(x)
	var ss, s float64
	for _, v := range x {
		d := v - m
		ss += d * d
		s += d
	}
	return ss - s*s/float64(len(x))
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
