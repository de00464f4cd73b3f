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

// SmoothingSpline returns the function f that minimises
// Σ w·(y − f(t))² + lambda·∫ f″² (Reinsch 1967, Numerische Mathematik 10:177).
// Times must increase strictly; a nil w means weights of 1. Lambda 0
// interpolates.
func SmoothingSpline(t, y, w []float64, lambda float64) (*Spline, error) {
	if err := checkSeries(t, y, w, 3); err != nil {
		return nil, fmt.Errorf("smoothing spline: %w", err)
	}
	if !(lambda >= 0) || math.IsInf(lambda, 0) {
		return nil, fmt.Errorf("smoothing spline: lambda %g is not a finite number ≥ 0", lambda)
	}
	m := len(t) - 2
	weight := func(i int) float64 {
		if w == nil {
			return 1
		}
		return w[i]
	}
	// Q (n × m, three bands: column j has rows j, j+1, j+2) and R (m, tridiagonal) of
	// the smoothing problem; a = R + lambda·Qᵀ·W⁻¹·Q.
	q := make([][3]float64, m)
	for j := range m {
		h0, h1 := t[j+1]-t[j], t[j+2]-t[j+1]
		q[j] = [3]float64{1 / h0, -1/h0 - 1/h1, 1 / h1}
	}
	band := min(2, m-1)
	a := mat.NewSymBandDense(m, band, nil)
	rhs := mat.NewVecDense(m, nil)
	for i := range m {
		for j := i; j <= min(i+band, m-1); j++ {
			var v float64
			for k := j; k <= i+2; k++ {
				v += q[i][k-i] * q[j][k-j] / weight(k)
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
			s.f[j+k] -= lambda * q[j][k] * gamma.AtVec(j) / weight(j+k)
		}
	}
	if err := s.cubic.Fit(s.t, s.f); err != nil {
		return nil, fmt.Errorf("smoothing spline: %w", err)
	}
	return s, nil
}

func checkSeries(t, y, w []float64, least int) error {
	if len(t) != len(y) || (w != nil && len(w) != len(t)) {
		panic("signal: slice lengths differ")
	}
	if len(t) < least {
		return fmt.Errorf("too few samples: %d, at least %d are needed", len(t), least)
	}
	for i := range t {
		if math.IsNaN(t[i]) || math.IsInf(t[i], 0) || math.IsNaN(y[i]) || math.IsInf(y[i], 0) {
			return fmt.Errorf("sample %d is (%g, %g)", i, t[i], y[i])
		}
		if i > 0 && !(t[i] > t[i-1]) {
			return fmt.Errorf("times do not increase at sample %d", i)
		}
		if w != nil && (!(w[i] > 0) || math.IsInf(w[i], 0)) {
			return fmt.Errorf("weight %d is %g", i, w[i])
		}
	}
	return nil
}

// At returns the spline's value at x.
func (s *Spline) At(x float64) float64 {
	inside := max(s.t[0], min(x, s.t[len(s.t)-1]))
	return s.cubic.Predict(inside) + (x-inside)*s.cubic.PredictDerivative(inside)
}

// goldenSection returns where f, which has one minimum in [lo, hi], is lowest.
func goldenSection(f func(float64) float64, lo, hi, tol float64) float64 {
	r := (math.Sqrt(5) - 1) / 2
	x1, x2 := hi-r*(hi-lo), lo+r*(hi-lo)
	f1, f2 := f(x1), f(x2)
	for hi-lo > tol {
		if f1 <= f2 {
			hi, x2, f2 = x2, x1, f1
			x1 = hi - r*(hi-lo)
			f1 = f(x1)
		} else {
			lo, x1, f1 = x1, x2, f2
			x2 = lo + r*(hi-lo)
			f2 = f(x2)
		}
	}
	return (lo + hi) / 2
}
