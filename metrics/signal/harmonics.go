package signal

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Harmonics is a periodic function fitted by least squares:
// Mean + Σ Cos[k]·cos(2π(k+1)(t−Start)/Period) + Sin[k]·sin(…).
type Harmonics struct {
	Start, Period float64 // s.
	Mean          float64
	Cos, Sin      []float64 // Index: harmonic − 1.
	// ResidualSD is the root mean square of the weighted residuals over their
	// degrees of freedom, in units of the standard deviations given.
	ResidualSD float64

	cov *mat.SymDense // Of Mean, Cos[0], Sin[0], Cos[1], …, for the standard deviations given.
}

// FitHarmonics fits harmonics 1…count of the given period to the samples,
// weighted by 1/sd². It needs at least two samples more than coefficients and
// samples that cover the period (no gap longer than a third of it).
func FitHarmonics(t, x, sd []float64, start, period float64, count int) (*Harmonics, error) {
	if len(t) != len(x) || len(t) != len(sd) {
		panic("signal: slice lengths differ")
	}
	if !(period > 0) || count < 1 {
		return nil, fmt.Errorf("fit harmonics: period %g s, %d harmonics", period, count)
	}
	p := 1 + 2*count
	if len(t) < p+2 {
		return nil, fmt.Errorf("fit harmonics: too few samples: %d for %d coefficients", len(t), p)
	}
	a := mat.NewDense(len(t), p, nil)
	b := mat.NewVecDense(len(t), nil)
	row := make([]float64, p)
	last := math.Inf(-1)
	for i := range t {
		if !(sd[i] > 0) || math.IsNaN(x[i]) || math.IsInf(x[i], 0) || math.IsNaN(t[i]) {
			return nil, fmt.Errorf("fit harmonics: sample %d is (%g, %g ± %g)", i, t[i], x[i], sd[i])
		}
		if i > 0 && t[i]-last > period/3 {
			return nil, fmt.Errorf("fit harmonics: a third of the period is missing at %.3f s", last)
		}
		last = t[i]
		harmonicRow(row, 2*math.Pi*(t[i]-start)/period)
		for k, v := range row {
			a.Set(i, k, v/sd[i])
		}
		b.SetVec(i, x[i]/sd[i])
	}
	if t[len(t)-1]-t[0] < period*2/3 {
		return nil, fmt.Errorf("fit harmonics: a third of the period is missing")
	}
	n := mat.NewSymDense(p, nil)
	n.SymOuterK(1, a.T())
	var c mat.Cholesky
	if !c.Factorize(n) || c.Cond() > 1e10 {
		return nil, fmt.Errorf("fit harmonics: the samples do not determine %d harmonics", count)
	}
	var g, q mat.VecDense
	g.MulVec(a.T(), b)
	if err := c.SolveVecTo(&q, &g); err != nil {
		return nil, fmt.Errorf("fit harmonics: %w", err)
	}
	h := &Harmonics{Start: start, Period: period, Mean: q.AtVec(0), Cos: make([]float64, count), Sin: make([]float64, count), cov: mat.NewSymDense(p, nil)}
	if err := c.InverseTo(h.cov); err != nil {
		return nil, fmt.Errorf("fit harmonics: %w", err)
	}
	for k := range count {
		h.Cos[k], h.Sin[k] = q.AtVec(1+2*k), q.AtVec(2+2*k)
	}
	var r mat.VecDense
	r.MulVec(a, &q)
	r.SubVec(b, &r)
	h.ResidualSD = math.Sqrt(mat.Dot(&r, &r) / float64(len(t)-p))
	return h, nil
}

func harmonicRow(row []float64, angle float64) {
	row[0] = 1
	for k := 1; 2*k < len(row); k++ {
		row[2*k], row[2*k-1] = math.Sincos(float64(k) * angle)
	}
}

// At returns the function's value at t and its first derivative.
func (h *Harmonics) At(t float64) (value, slope float64) {
	w := 2 * math.Pi / h.Period
	value = h.Mean
	for k := range h.Cos {
		f := float64(k+1) * w
		s, c := math.Sincos(f * (t - h.Start))
		value += h.Cos[k]*c + h.Sin[k]*s
		slope += f * (h.Sin[k]*c - h.Cos[k]*s)
	}
	return value, slope
}

// Amplitude returns the amplitude and phase of harmonic k ≥ 1, such that its
// part is amplitude·cos(2πk(t−Start)/Period + phase), radians.
func (h *Harmonics) Amplitude(k int) (amplitude, phase float64) {
	c, s := h.Cos[k-1], h.Sin[k-1]
	return math.Hypot(c, s), math.Atan2(-s, c)
}

// AmplitudeSD returns the standard deviation of the amplitude of harmonic k for
// the standard deviations given to the fit.
func (h *Harmonics) AmplitudeSD(k int) float64 {
	i, j := 2*k-1, 2*k
	a := math.Hypot(h.Cos[k-1], h.Sin[k-1])
	if a == 0 {
		return math.Sqrt(h.cov.At(i, i)/2 + h.cov.At(j, j)/2)
	}
	u, v := h.Cos[k-1]/a, h.Sin[k-1]/a
	return math.Sqrt(max(0, u*u*h.cov.At(i, i)+2*u*v*h.cov.At(i, j)+v*v*h.cov.At(j, j)))
}

// MeanSD returns the standard deviation of Mean for the standard deviations given to
// the fit.
func (h *Harmonics) MeanSD() float64 { return math.Sqrt(max(0, h.cov.At(0, 0))) }

// DifferenceSD returns the standard deviation of At(t1) − At(t0) for the
// standard deviations given to the fit.
func (h *Harmonics) DifferenceSD(t1, t0 float64) float64 {
	p := 1 + 2*len(h.Cos)
	r1, r0 := make([]float64, p), make([]float64, p)
	harmonicRow(r1, 2*math.Pi*(t1-h.Start)/h.Period)
	harmonicRow(r0, 2*math.Pi*(t0-h.Start)/h.Period)
	d := mat.NewVecDense(p, nil)
	for k := range p {
		d.SetVec(k, r1[k]-r0[k])
	}
	return math.Sqrt(max(0, mat.Inner(d, h.cov, d)))
}

// Lowest returns where and how low the function's lowest local minimum inside
// [lo, hi] is. It returns false where there is none; the lowest value is then
// at one of the ends, which it returns.
func (h *Harmonics) Lowest(lo, hi float64) (at, value float64, local bool) {
	return h.extreme(lo, hi, 1)
}

// Highest is Lowest for maxima.
func (h *Harmonics) Highest(lo, hi float64) (at, value float64, local bool) {
	return h.extreme(lo, hi, -1)
}

func (h *Harmonics) extreme(lo, hi, sign float64) (at, value float64, local bool) {
	f := func(t float64) float64 { v, _ := h.At(t); return sign * v }
	// Twelve points to the shortest period cannot miss a minimum.
	n := max(4, int(math.Ceil((hi-lo)/h.Period*12*float64(len(h.Cos)))))
	step := (hi - lo) / float64(n)
	best := math.Inf(1)
	for i := 1; i < n; i++ {
		t := lo + float64(i)*step
		if f(t) <= f(t-step) && f(t) <= f(t+step) {
			x := goldenSection(f, t-step, t+step, 1e-9*h.Period)
			if v := f(x); v < best {
				best, at, local = v, x, true
			}
		}
	}
	if !local {
		at = lo
		if f(hi) < f(lo) {
			at = hi
		}
		best = f(at)
	}
	return at, sign * best, local
}
