package metrics

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// What pairs of marks say of the clicks is a regression with a normal prior. For one mark a
// side it can be worked out by hand: the difference of two clicks of variance 1 has variance
// 2, and each takes half of what is told of it.
func TestClicksByPairs(t *testing.T) {
	const click, per, sd, mirror = 1.0, 200.0, 0.5, 0.0025
	one := clicked{per: [4][]float64{{per}, {per}, {per}, {per}}}
	one.pairs = []pairedMarks{{limb: [2]int{0, 1}, down: 2 / per, sd: sd / per}}
	mean, cov := one.down(click, mirror)
	noise := sq(sd) + sq(mirror*per) // px².
	told := 2 / (2 + noise)          // Share of the difference that is believed.
	for i, want := range []float64{told, -told, 0, 0} {
		if math.Abs(mean.AtVec(i)-want) > 1e-12 {
			t.Errorf("click %d lies %.3f px down, want %.3f", i, mean.AtVec(i), want)
		}
	}
	difference := mat.NewVecDense(4, []float64{1, -1, 0, 0})
	if got, want := mat.Inner(difference, cov, difference), 2*noise/(2+noise); math.Abs(got-want) > 1e-12 {
		t.Errorf("variance of the difference %.4f px², want %.4f", got, want)
	}
	sum := mat.NewVecDense(4, []float64{1, 1, 0, 0})
	if got := mat.Inner(sum, cov, sum); math.Abs(got-2) > 1e-12 {
		t.Errorf("variance of the sum %.4f px²: pairs say nothing of it, want 2", got)
	}
}

// Pairs narrow the difference between left and right, hardly any of them widens it again, and
// what they leave is a covariance. They say nothing of a girdle without pairs.
func TestClicksByPairsProperties(t *testing.T) {
	m := clicked{per: [4][]float64{{100, 150, 250}, {120, 180}, {90}, {90}}}
	difference := mat.NewVecDense(7, []float64{1. / 3, 1. / 3, 1. / 3, -0.5, -0.5, 0, 0})
	_, cov := m.down(1, 0.0025)
	before := mat.Inner(difference, cov, difference)
	for i := range 3 {
		for j := range 2 {
			m.pairs = append(m.pairs, pairedMarks{limb: [2]int{0, 1}, mark: [2]int{i, j}, down: 0.01, sd: 0.4 / m.per[1][j]})
			_, cov = m.down(1, 0.0025)
			now := mat.Inner(difference, cov, difference)
			if i+j == 0 && now >= before || now > before*1.2 || now <= 0 {
				t.Errorf("with %d pairs the variance of the difference goes from %.3f to %.3f px²", len(m.pairs), before, now)
			}
			before = now
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(cov, false) || eigen.Values(nil)[0] < -1e-12 {
		t.Errorf("no covariance: eigenvalues %v", eigen.Values(nil))
	}
	if math.Abs(cov.At(5, 5)-1) > 1e-12 || cov.At(0, 5) != 0 {
		t.Error("pairs of fores say something of the hinds")
	}
}
