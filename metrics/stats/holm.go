package stats

import (
	"slices"

	"gonum.org/v1/gonum/floats"
)

// Holm returns the p values corrected for their number by Holm's step-down method (Holm
// 1979, Scand J Stat 6:65–70), and at which level the method decides each of them where the
// chance of even one false claim among all, whatever their dependence, shall be at most
// level. Index of both: as p. A value is rejected exactly where its corrected one is below
// level, and it itself below its own: the smallest is held against level over their number,
// the next against level over one less, and so on; from the first that is not rejected on
// none is, and the rest share that one's.
func Holm(p []float64, level float64) (corrected, levels []float64) {
	corrected, levels = make([]float64, len(p)), make([]float64, len(p))
	order := make([]int, len(p))
	floats.Argsort(slices.Clone(p), order)
	highest, left, rejecting := 0.0, len(p), true
	for rank, i := range order {
		highest = max(highest, min(1, float64(len(p)-rank)*p[i]))
		corrected[i], levels[i] = highest, level/float64(left)
		if rejecting = rejecting && p[i] < levels[i]; rejecting {
			left--
		}
	}
	return corrected, levels
}
