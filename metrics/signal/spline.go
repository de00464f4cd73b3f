package signal

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// Spline is a natural cubic spline: cubic between its knots, straight outside
// them.
type Spline struct {
	t, f, g []float64 // Knots, values and second derivatives (0 at the ends).
	// Edf is the effective number of parameters the data determined.
	Edf float64
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
	p := newReinsch(t, y, w)
	s, _, err := p.solve(lambda)
	return s, err
}

func checkSeries(t, y, w []float64, least int) error {
	if len(t) != len(y) || (w != nil && len(w) != len(t)) {
		panic("signal: slice lengths differ")
	}
	if len(t) < least {
		return fmt.Errorf("%w: %d, at least %d are needed", errShort, len(t), least)
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

// reinsch holds the banded matrices of the smoothing problem: Q (n × n−2, three
// bands) and R (n−2, tridiagonal).
type reinsch struct {
	t, y, w []float64
	q       [][3]float64 // Column j of Q has rows j, j+1, j+2.
	r       *mat.SymBandDense
}

func newReinsch(t, y, w []float64) *reinsch {
	n := len(t)
	p := &reinsch{t: t, y: y, w: w, q: make([][3]float64, n-2), r: mat.NewSymBandDense(n-2, min(2, n-3), nil)}
	if w == nil {
		p.w = make([]float64, n)
		for i := range p.w {
			p.w[i] = 1
		}
	}
	for j := range n - 2 {
		h0, h1 := t[j+1]-t[j], t[j+2]-t[j+1]
		p.q[j] = [3]float64{1 / h0, -1/h0 - 1/h1, 1 / h1}
		p.r.SetSymBand(j, j, (h0+h1)/3)
		if j+1 < n-2 {
			p.r.SetSymBand(j, j+1, h1/6)
		}
	}
	return p
}

// solve returns the spline for lambda and its weighted residual sum of squares.
func (p *reinsch) solve(lambda float64) (*Spline, float64, error) {
	n, m := len(p.t), len(p.t)-2
	band := min(2, m-1)
	a := mat.NewSymBandDense(m, band, nil)
	qwq := func(i, j int) float64 { // (Qᵀ·W⁻¹·Q)[i][j], i ≤ j.
		var s float64
		for k := j; k <= i+2; k++ {
			s += p.q[i][k-i] * p.q[j][k-j] / p.w[k]
		}
		return s
	}
	for i := range m {
		for j := i; j <= min(i+band, m-1); j++ {
			a.SetSymBand(i, j, p.r.At(i, j)+lambda*qwq(i, j))
		}
	}
	var c mat.BandCholesky
	if !c.Factorize(a) {
		return nil, 0, fmt.Errorf("smoothing spline: the times are too close together")
	}
	rhs := mat.NewVecDense(m, nil)
	for j := range m {
		rhs.SetVec(j, p.q[j][0]*p.y[j]+p.q[j][1]*p.y[j+1]+p.q[j][2]*p.y[j+2])
	}
	var gamma mat.VecDense
	if err := c.SolveVecTo(&gamma, rhs); err != nil && gamma.Len() != m {
		return nil, 0, fmt.Errorf("smoothing spline: %w", err)
	}
	s := &Spline{t: append([]float64(nil), p.t...), f: append([]float64(nil), p.y...), g: make([]float64, n)}
	for j := range m {
		g := gamma.AtVec(j)
		s.g[j+1] = g
		for k := range 3 {
			s.f[j+k] -= lambda * p.q[j][k] * g / p.w[j+k]
		}
	}
	var rss float64
	for i := range n {
		d := p.y[i] - s.f[i]
		rss += p.w[i] * d * d
	}
	// Trace of the smoother: n − lambda·tr(A⁻¹·Qᵀ·W⁻¹·Q).
	s.Edf = float64(n)
	if lambda > 0 {
		e := mat.NewVecDense(m, nil)
		var x mat.VecDense
		for j := range m {
			e.Zero()
			for i := max(0, j-2); i <= min(m-1, j+2); i++ {
				e.SetVec(i, qwq(min(i, j), max(i, j)))
			}
			x.Reset()
			if err := c.SolveVecTo(&x, e); err != nil && x.Len() != m {
				return nil, 0, fmt.Errorf("smoothing spline: %w", err)
			}
			s.Edf -= lambda * x.AtVec(j)
		}
	}
	return s, rss, nil
}

// At returns the spline's value and its first and second derivative at x.
func (s *Spline) At(x float64) (value, first, second float64) {
	n := len(s.t)
	slope := func(i int) (left, right float64) { // At both ends of interval i.
		h := s.t[i+1] - s.t[i]
		d := (s.f[i+1] - s.f[i]) / h
		return d - h*(2*s.g[i]+s.g[i+1])/6, d + h*(s.g[i]+2*s.g[i+1])/6
	}
	switch {
	case x <= s.t[0]:
		d, _ := slope(0)
		return s.f[0] + d*(x-s.t[0]), d, 0
	case x >= s.t[n-1]:
		_, d := slope(n - 2)
		return s.f[n-1] + d*(x-s.t[n-1]), d, 0
	}
	i := sort.SearchFloat64s(s.t, x) - 1
	if i < 0 {
		i = 0
	}
	h := s.t[i+1] - s.t[i]
	a, b := (s.t[i+1]-x)/h, (x-s.t[i])/h
	value = a*s.f[i] + b*s.f[i+1] + ((a*a*a-a)*s.g[i]+(b*b*b-b)*s.g[i+1])*h*h/6
	first = (s.f[i+1]-s.f[i])/h + ((1-3*a*a)*s.g[i]+(3*b*b-1)*s.g[i+1])*h/6
	return value, first, a*s.g[i] + b*s.g[i+1]
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
