package stats

import (
	"cmp"
	"math"
	"slices"
)

// Holm returns the p values corrected for their number by Holm's step-down
// method (Holm 1979, Scand J Stat 6:65–70), index: as p. Rejecting those at
// most 0.05 keeps the chance of even one false claim at 5 % whatever their
// dependence. NaN stays NaN and does not count.
func Holm(p []float64) []float64 {
	out, order := rising(p)
	var highest float64
	for rank, i := range order {
		highest = math.Max(highest, math.Min(1, float64(len(order)-rank)*p[i]))
		out[i] = highest
	}
	return out
}

// HolmLevels returns at which level Holm's method decides each of p, of all of which the
// chance of even one false claim shall be at most level, index: as p. One is rejected
// exactly where it is below its own: the smallest is held against level over their number,
// the next against level over one less, and so on; from the first that is not rejected on
// none is, and the rest share that one's. NaN stays NaN and does not count.
func HolmLevels(p []float64, level float64) []float64 {
	out, order := rising(p)
	left, rejecting := len(order), true
	for _, i := range order {
		out[i] = level / float64(left)
		if rejecting = rejecting && p[i] < out[i]; rejecting {
			left--
		}
	}
	return out
}

// rising returns the indices of p from the smallest up, without those of NaN, and room for a
// result a value, NaN where p is.
func rising(p []float64) (out []float64, order []int) {
	out = make([]float64, len(p))
	for i, v := range p {
		if math.IsNaN(v) {
			out[i] = math.NaN()
			continue
		}
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(p[a], p[b]) })
	return out, order
}
