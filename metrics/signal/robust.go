package signal

import (
	"math"
	"slices"
)

// Median returns the median of x, NaN where x is empty. It leaves x as it was.
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// Quantile returns the q-quantile of x with linear interpolation between order
// statistics, NaN where x is empty. It leaves x as it was.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(x))
	below, part := math.Modf(q * float64(len(s)-1))
	i := int(below)
	return s[i] + part*(s[min(i+1, len(s)-1)]-s[i])
}

// Finite reports whether v is a number and not infinite.
func Finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// RobustSD returns 1.4826 times the median absolute deviation from the median,
// which is the standard deviation where x is normal.
func RobustSD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return 1.4826 * Median(d)
}
