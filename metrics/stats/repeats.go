package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Z95 is the normal deviate of a two-sided 95 % interval.
const Z95 = 1.959963984540054

// SEM returns the standard error of measurement from repeats: the square root of the mean
// square within subjects, and its degrees of freedom. Index of repeats: subject, repeat.
// Subjects with fewer than two add nothing; NaN and 0 where none has two.
func SEM(repeats [][]float64) (sem, df float64) {
	var ss float64
	for _, x := range repeats {
		ss += sumSquares(x)
		df += float64(max(0, len(x)-1))
	}
	return math.Sqrt(ss / df), df
}

// sumSquares returns the sum of squared deviations from the mean.
func sumSquares(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	return stat.Variance(x, nil) * float64(len(x)-1)
}

// Stretch returns by how much a standard error that is known with df degrees of freedom is
// stretched so that 1.96 of it make Student's 95 % interval.
func Stretch(df float64) float64 { return TQuantile(0.975, df) / Z95 }

// TQuantile returns the p-quantile, p 0.5 or more, of Student's t with df degrees of freedom;
// an infinite or very large df gives the normal deviate.
func TQuantile(p, df float64) float64 {
	if df > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	// Newton's method from below the quantile, where the distribution is concave, comes
	// closer with every step. It takes a third of the time of inverting the incomplete
	// beta function, and a comparison needs thousands. It begins with the first term by
	// which Student's quantile lies above the normal one (Abramowitz & Stegun 26.7.5;
	// from memory).
	z := distuv.UnitNormal.Quantile(p)
	q := z + (z*z*z+z)/(4*df)
	for range 100 {
		step := (p - t.CDF(q)) / t.Prob(q)
		q += step
		if !(step > 1e-12*q) {
			break
		}
	}
	return q
}

// TwoSidedP returns the two-sided p of a t statistic with df degrees of freedom; NaN of NaN.
func TwoSidedP(t, df float64) float64 {
	t = math.Abs(t)
	switch {
	case math.IsNaN(t):
		return t
	case math.IsInf(t, 1):
		return 0
	case df > 1e6:
		return 2 * distuv.UnitNormal.Survival(t)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(t)
}
