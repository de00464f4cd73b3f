package stats

import (
	"math"
	"sort"
)

// Holm returns the p values corrected for their number by Holm's step-down
// method (Holm 1979, Scand J Stat 6:65–70), index: as p. Rejecting those at
// most 0.05 keeps the chance of even one false claim at 5 % whatever their
// dependence. NaN stays NaN and does not count.
func Holm(p []float64) []float64 {
	out := make([]float64, len(p))
	var order []int
	for i, v := range p {
		if math.IsNaN(v) {
			out[i] = math.NaN()
			continue
		}
		order = append(order, i)
	}
	sort.SliceStable(order, func(a, b int) bool { return p[order[a]] < p[order[b]] })
	var highest float64
	for rank, i := range order {
		highest = math.Max(highest, math.Min(1, float64(len(order)-rank)*p[i]))
		out[i] = highest
	}
	return out
}
