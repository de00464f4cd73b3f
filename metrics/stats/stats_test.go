package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !scalar.EqualWithinAbsOrRel(got, want, tol, tol) && !(math.IsNaN(got) && math.IsNaN(want)) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// meanOf returns the mean of one run's values.
func meanOf(t *testing.T, x []float64) float64 {
	t.Helper()
	m, err := GroupMean([]Group{{Values: x}}, MeanOptions{GroupDF: math.Inf(1)})
	if err != nil {
		t.Fatal(err)
	}
	return m.Value
}

// Univariate data sets of the NIST Statistical Reference Datasets whose values
// are given by their construction. NumAcc1 is 10000001, 10000003, 10000002;
// NumAcc2 is 1.2 and then 1.1, 1.3 in turn, 1001 values; NumAcc3 and NumAcc4 are
// the same around 1000000.2 and 10000000.2. Certified values: NumAcc1 10000002,
// 1; NumAcc2 1.2, 0.1; NumAcc3 1000000.2, 0.1; NumAcc4 10000000.2, 0.1 (means as published, construction and the rest from
// memory and checked by hand).
func TestNISTUnivariate(t *testing.T) {
	alternating := func(mean float64) []float64 {
		x := []float64{mean}
		for i := 0; i < 500; i++ {
			x = append(x, mean-0.1, mean+0.1)
		}
		return x
	}
	for _, c := range []struct {
		name     string
		x        []float64
		mean, sd float64
		sdTol    float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 1e-14},
		{"NumAcc2", alternating(1.2), 1.2, 0.1, 1e-13},
		{"NumAcc3", alternating(1000000.2), 1000000.2, 0.1, 1e-9},
		// The data themselves hold 0.1 to 2e-9 only in float64.
		{"NumAcc4", alternating(10000000.2), 10000000.2, 0.1, 1e-7},
	} {
		t.Run(c.name, func(t *testing.T) {
			near(t, "mean", meanOf(t, c.x), c.mean, 1e-15)
			sd, _ := SEM([][]float64{c.x})
			near(t, "SD", sd, c.sd, c.sdTol)
		})
	}
}
