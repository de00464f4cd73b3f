package signal

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
)

// Harmonics is a periodic function fitted by least squares:
// Mean + Σ Cos[k]·cos(2π(k+1)(t−Start)/Period) + Sin[k]·sin(…).
type Harmonics struct {
	Start, Period float64 // s.
	Mean          float64
	Cos, Sin      []float64 // Index: harmonic − 1.
	ResidualSD    float64   // As of LinearFit.

	fit *LinearFit // Terms: 1, cos, sin, cos of twice, …
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
	terms := make([][]float64, len(t))
	last := math.Inf(-1)
	for i := range t {
		if !(sd[i] > 0) || math.IsNaN(x[i]) || math.IsInf(x[i], 0) || math.IsNaN(t[i]) {
			return nil, fmt.Errorf("fit harmonics: sample %d is (%g, %g ± %g)", i, t[i], x[i], sd[i])
		}
		if i > 0 && t[i]-last > period/3 {
			return nil, fmt.Errorf("fit harmonics: a third of the period is missing at %.3f s", last)
		}
		last = t[i]
		terms[i] = harmonicTerms(count, 2*math.Pi*(t[i]-start)/period)
	}
	if t[len(t)-1]-t[0] < period*2/3 {
		return nil, fmt.Errorf("fit harmonics: a third of the period is missing")
	}
	fit, err := FitLinear(terms, x, sd, 0)
	if err != nil {
		return nil, fmt.Errorf("fit %d harmonics: %w", count, err)
	}
	h := &Harmonics{Start: start, Period: period, Mean: fit.Coefficients[0], ResidualSD: fit.ResidualSD, fit: fit}
	for k := range count {
		h.Cos, h.Sin = append(h.Cos, fit.Coefficients[1+2*k]), append(h.Sin, fit.Coefficients[2+2*k])
	}
	return h, nil
}

func harmonicTerms(count int, angle float64) []float64 {
	terms := make([]float64, 1+2*count)
	terms[0] = 1
	for k := 1; k <= count; k++ {
		terms[2*k], terms[2*k-1] = math.Sincos(float64(k) * angle)
	}
	return terms
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
	c, s := h.Cos[k-1], h.Sin[k-1]
	a := math.Hypot(c, s)
	if a == 0 {
		c, s, a = 1, 1, math.Sqrt2
	}
	terms := make([]float64, 1+2*len(h.Cos))
	terms[2*k-1], terms[2*k] = c/a, s/a
	return h.fit.SD(terms)
}

// MeanSD returns the standard deviation of Mean for the standard deviations given to
// the fit.
func (h *Harmonics) MeanSD() float64 {
	return h.fit.SD(append([]float64{1}, make([]float64, 2*len(h.Cos))...))
}

// DifferenceSD returns the standard deviation of At(t1) − At(t0) for the
// standard deviations given to the fit.
func (h *Harmonics) DifferenceSD(t1, t0 float64) float64 {
	terms := harmonicTerms(len(h.Cos), 2*math.Pi*(t1-h.Start)/h.Period)
	floats.Sub(terms, harmonicTerms(len(h.Cos), 2*math.Pi*(t0-h.Start)/h.Period))
	return h.fit.SD(terms)
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
