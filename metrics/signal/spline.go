package signal

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/mat"
)

// Spline is a natural cubic spline: cubic between its knots, straight outside
// them.
type Spline struct {
	t, f  []float64 // Knots and values.
	cubic interp.NaturalCubic
}

// SmoothingSpline returns the function f that minimises Σ w·(y − f(t))² + lambda·∫ f″² (Reinsch
// 1967, Numerische Mathematik 10:177); lambda 0 interpolates. A nil w means weights of 1. The
// error: times do not increase strictly, or what is given is not finite, or less than 3 samples.
func SmoothingSpline(t, y, w []float64, lambda float64) (*Spline, error) {
	if w == nil {
		w = slices.Repeat([]float64{1}, len(t))
	}
	if err := checkSeries(t, y, w); err != nil {
		return nil, fmt.Errorf("smoothing spline: %w", err)
	}
	if !(lambda >= 0 && lambda <= math.MaxFloat64) {
		return nil, fmt.Errorf("smoothing spline: lambda %g is not a finite number ≥ 0", lambda)
	}
	q, a := smoothing(t, w, lambda)
	m := len(q)
	rhs := mat.NewVecDense(m, nil)
	for i := range m {
		rhs.SetVec(i, q[i][0]*y[i]+q[i][1]*y[i+1]+q[i][2]*y[i+2])
	}
	var c mat.BandCholesky
	if !c.Factorize(a) {
		return nil, fmt.Errorf("smoothing spline: the times are too close together")
	}
	var gamma mat.VecDense
	if err := c.SolveVecTo(&gamma, rhs); err != nil && gamma.Len() != m {
		return nil, fmt.Errorf("smoothing spline: %w", err)
	}
	s := &Spline{t: slices.Clone(t), f: slices.Clone(y)}
	for j := range m {
		for k := range 3 {
			s.f[j+k] -= lambda * q[j][k] * gamma.AtVec(j) / w[j+k]
		}
	}
	if err := s.cubic.Fit(s.t, s.f); err != nil {
		return nil, fmt.Errorf("smoothing spline: %w", err)
	}
	return s, nil
}

// smoothing returns Q (n × m, three bands: column j has rows j, j+1, j+2) of the smoothing problem
// and, with its R (m, tridiagonal), R + lambda·Qᵀ·W⁻¹·Q.
func smoothing(t, w []float64, lambda float64) (q [][3]float64, a *mat.SymBandDense) {
	m := len(t) - 2
	q = make([][3]float64, m)
	for j := range m {
		h0, h1 := t[j+1]-t[j], t[j+2]-t[j+1]
		q[j] = [3]float64{1 / h0, -1/h0 - 1/h1, 1 / h1}
	}
	band := min(2, m-1)
	a = mat.NewSymBandDense(m, band, nil)
	for i := range m {
		for j := i; j <= min(i+band, m-1); j++ {
			var v float64
			for k := j; k <= i+2; k++ {
				v += q[i][k-i] * q[j][k-j] / w[k]
			}
			v *= lambda
			switch j {
			case i:
				v += (t[i+1] - t[i] + (t[i+2] - t[i+1])) / 3
			case i + 1:
				v += (t[i+2] - t[i+1]) / 6
			}
			a.SetSymBand(i, j, v)
		}
	}
	return q, a
}

func checkSeries(t, y, w []float64) error {
	if len(t) != len(y) || len(t) != len(w) {
		panic("signal: slice lengths differ")
	}
	if len(t) < 3 {
		return fmt.Errorf("too few samples: %d, at least 3 are needed", len(t))
	}
	for i := range t {
		if !Finite(t[i]) || !Finite(y[i]) || !Finite(w[i]) || w[i] <= 0 || i > 0 && t[i] <= t[i-1] {
			return fmt.Errorf("sample %d is (%g, %g) with weight %g after one at %g", i, t[i], y[i], w[i], t[max(0, i-1)])
		}
	}
	return nil
}

// At returns the spline's value at x.
func (s *Spline) At(x float64) float64 {
	inside := max(s.t[0], min(x, s.t[len(s.t)-1]))
	return s.cubic.Predict(inside) + (x-inside)*s.cubic.PredictDerivative(inside)
}
