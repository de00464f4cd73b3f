package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a 95 % interval with the standard error.
type Interval struct {
	Low, High float64
	SE        float64 // Standard deviation of the resampled statistic.
}

// Bootstrap resamples x with replacement and returns the percentile and the
// BCa interval (Efron 1987, J Am Stat Assoc 82:171–185) of the statistic. The
// input is sorted first, so its order does not matter. It returns an error for
// fewer than two values or resamples and where the statistic is not finite.
func Bootstrap(x []float64, statistic func([]float64) float64, resamples int, seed uint64) (percentile, bca Interval, err error) {
	if len(x) < 2 {
		return Interval{}, Interval{}, fmt.Errorf("bootstrap: %w", ErrTooFew)
	}
	if resamples < 2 {
		return Interval{}, Interval{}, fmt.Errorf("bootstrap: %d resamples, at least 2 are needed", resamples)
	}
	x = sorted(x)
	rng := rand.New(rand.NewPCG(seed, 0x6a6f67))
	draw := make([]float64, len(x))
	values := make([]float64, resamples)
	for b := range values {
		for i := range draw {
			draw[i] = x[rng.IntN(len(x))]
		}
		values[b] = statistic(draw)
	}
	jack := make([]float64, len(x))
	for i := range x {
		draw = append(append(draw[:0], x[:i]...), x[i+1:]...)
		jack[i] = statistic(draw)
	}
	return intervals(values, statistic(x), jack)
}

func intervals(values []float64, observed float64, jack []float64) (percentile, bca Interval, err error) {
	for _, v := range append(append([]float64{observed}, values...), jack...) {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Interval{}, Interval{}, fmt.Errorf("bootstrap: the statistic is not finite")
		}
	}
	se := SD(values)
	sort.Float64s(values)
	percentile = Interval{Quantile(0.025, values), Quantile(0.975, values), se}
	if se == 0 {
		return percentile, percentile, nil
	}

	var below float64
	for _, v := range values {
		switch {
		case v < observed:
			below++
		case v == observed:
			below += 0.5
		}
	}
	share := math.Min(math.Max(below, 0.5), float64(len(values))-0.5) / float64(len(values))
	z0 := distuv.UnitNormal.Quantile(share)
	mean := Mean(jack)
	var cube, square float64
	for _, v := range jack {
		d := mean - v
		cube += d * d * d
		square += d * d
	}
	var acceleration float64
	if square > 0 {
		acceleration = cube / (6 * math.Pow(square, 1.5))
	}
	at := func(p float64) float64 {
		z := z0 + distuv.UnitNormal.Quantile(p)
		return Quantile(distuv.UnitNormal.CDF(z0+z/(1-acceleration*z)), values)
	}
	return percentile, Interval{at(0.025), at(0.975), se}, nil
}

// TwoLevel draws runs and then strides within runs. It visits each resample
// with the drawn strides, index: drawn run, drawn stride of it; the slices are
// reused. Runs are drawn within their stratum, so every resample has as many
// runs of each as there are. Strides is the number of strides of each run,
// strata the stratum of each run (nil: all one).
func TwoLevel(strides, strata []int, resamples int, seed uint64, visit func(resample int, runs []int, drawn [][]int)) {
	if strata != nil && len(strata) != len(strides) {
		panic(lengthMismatch)
	}
	members := map[int][]int{}
	var names []int
	for r := range strides {
		s := 0
		if strata != nil {
			s = strata[r]
		}
		if members[s] == nil {
			names = append(names, s)
		}
		members[s] = append(members[s], r)
	}
	sort.Ints(names)
	rng := rand.New(rand.NewPCG(seed, 0x7374726964))
	runs := make([]int, 0, len(strides))
	drawn := make([][]int, len(strides))
	for b := 0; b < resamples; b++ {
		runs = runs[:0]
		for _, s := range names {
			for range members[s] {
				runs = append(runs, members[s][rng.IntN(len(members[s]))])
			}
		}
		for k, r := range runs {
			drawn[k] = drawn[k][:0]
			for i := 0; i < strides[r]; i++ {
				drawn[k] = append(drawn[k], rng.IntN(strides[r]))
			}
		}
		visit(b, runs, drawn)
	}
}

// TwoLevelPercentile returns the plain two-level bootstrap interval of the mean
// of all run means. With few runs it is too narrow, because runs drawn with
// replacement differ less than runs do; it is here so that the study can show
// by how much. It returns an error where there are no values.
func TwoLevelPercentile(groups []Group, resamples int, seed uint64) (Interval, error) {
	var values [][]float64
	var counts []int
	for _, i := range canonical(groups) {
		values = append(values, sorted(groups[i].Values))
		counts = append(counts, len(groups[i].Values))
	}
	if len(values) == 0 {
		return Interval{}, ErrTooFew
	}
	out := make([]float64, resamples)
	TwoLevel(counts, nil, resamples, seed, func(b int, runs []int, drawn [][]int) {
		for k, r := range runs {
			var sum float64
			for _, i := range drawn[k] {
				sum += values[r][i]
			}
			out[b] += sum / float64(len(drawn[k])) / float64(len(runs))
		}
	})
	sort.Float64s(out)
	return Interval{Quantile(0.025, out), Quantile(0.975, out), SD(out)}, nil
}
