package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Z95 is the normal deviate of a two-sided 95 % interval.
const Z95 = 1.959963984540054

// Agreement is how far two methods measuring the same things differ.
type Agreement struct {
	Bias         float64 // Mean of first − second.
	SD           float64 // Of the differences.
	Lower, Upper float64 // Limits of agreement: Bias ± 1.96·SD.
	BiasLow      float64 // 95 % interval of the bias.
	BiasHigh     float64
}

// LimitsOfAgreement returns the 95 % limits of agreement between a and b
// (Bland & Altman 1986, Lancet 327:307–310), index: subject. It returns an
// error for fewer than two pairs and panics if the lengths differ.
func LimitsOfAgreement(a, b []float64) (Agreement, error) {
	if len(a) != len(b) {
		panic(lengthMismatch)
	}
	if len(a) < 2 {
		return Agreement{}, fmt.Errorf("limits of agreement: %d pairs, at least 2 are needed", len(a))
	}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	bias, sd := Mean(d), SD(d)
	n := float64(len(d))
	half := TQuantile(0.975, n-1) * sd / math.Sqrt(n)
	return Agreement{bias, sd, bias - Z95*sd, bias + Z95*sd, bias - half, bias + half}, nil
}

// SEM returns the standard error of measurement from repeats: the square root
// of the mean square within subjects, and its degrees of freedom. Index of
// repeats: subject, repeat; subjects may have any number of repeats, those
// with fewer than two add nothing. NaN and 0 where none has two.
func SEM(repeats [][]float64) (sem, df float64) {
	var ss float64
	for _, x := range repeats {
		if len(x) < 2 {
			continue
		}
		ss += sumSquares(x)
		df += float64(len(x) - 1)
	}
	if df == 0 {
		return math.NaN(), 0
	}
	return math.Sqrt(ss / df), df
}

// MDC95 returns the smallest change between two single measurements that is
// not ordinary variation: 1.96·√2·SEM (Weir 2005, J Strength Cond Res
// 19:231–240; formula from memory).
func MDC95(sem float64) float64 { return 1.96 * math.Sqrt2 * sem }

// Reliability holds the intraclass correlations of Shrout & Fleiss 1979
// (Psychol Bull 86:420–428) for single ratings and for the mean of all raters.
type Reliability struct {
	ICC11, ICC21, ICC31 float64 // One rating.
	ICC1k, ICC2k, ICC3k float64 // Mean of the k ratings.
}

// ICC returns the intraclass correlations of ratings, index: target, rater.
// It returns an error unless there are at least two targets, two raters and as
// many ratings in every row.
func ICC(ratings [][]float64) (Reliability, error) {
	n := len(ratings)
	if n < 2 || len(ratings[0]) < 2 {
		return Reliability{}, fmt.Errorf("intraclass correlation: at least 2 targets and 2 raters are needed")
	}
	k := len(ratings[0])
	var all []float64
	rows := make([]float64, n)
	columns := make([]float64, k)
	for i, r := range ratings {
		if len(r) != k {
			return Reliability{}, fmt.Errorf("intraclass correlation: row %d has %d ratings, want %d", i, len(r), k)
		}
		all = append(all, r...)
		rows[i] = Mean(r)
		for j, v := range r {
			columns[j] += v / float64(n)
		}
	}
	fn, fk := float64(n), float64(k)
	total := sumSquares(all)
	between := fk * sumSquares(rows)
	judges := fn * sumSquares(columns)
	bms := between / (fn - 1)
	wms := (total - between) / (fn * (fk - 1))
	jms := judges / (fk - 1)
	ems := (total - between - judges) / ((fn - 1) * (fk - 1))
	return Reliability{
		ICC11: (bms - wms) / (bms + (fk-1)*wms),
		ICC21: (bms - ems) / (bms + (fk-1)*ems + fk*(jms-ems)/fn),
		ICC31: (bms - ems) / (bms + (fk-1)*ems),
		ICC1k: (bms - wms) / bms,
		ICC2k: (bms - ems) / (bms + (jms-ems)/fn),
		ICC3k: (bms - ems) / bms,
	}, nil
}

// TQuantile returns the p-quantile of Student's t with df degrees of freedom;
// an infinite or very large df gives the normal deviate.
func TQuantile(p, df float64) float64 {
	if df > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// TwoSidedP returns the two-sided p of a t statistic with df degrees of
// freedom.
func TwoSidedP(t, df float64) float64 {
	if math.IsNaN(t) {
		return math.NaN()
	}
	t = math.Abs(t)
	if math.IsInf(t, 1) {
		return 0
	}
	if df > 1e6 {
		return 2 * distuv.UnitNormal.Survival(t)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(t)
}
