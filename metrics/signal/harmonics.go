package signal

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Harmonics is a periodic function fitted by least squares. Its coefficients are those of
// 1, cos a, sin a, cos 2a, sin 2a, …, a = 2π(t−Start)/Period.
type Harmonics struct {
	Start, Period float64 // s.
	*LinearFit
}

// mostHarmonics is how many harmonics are fitted at most.
const mostHarmonics = 4

// FitHarmonics fits harmonics of the given period to the samples, weighted by 1/sd²: up to
// four, as many as the samples and the longest gap between them determine. It returns nil
// where those are not even two, or where a sample is no number.
func FitHarmonics(t, x, sd []float64, start, period float64) *Harmonics {
	n := len(t)
	if n < 9 || !(period > 0) {
		return nil
	}
	// The function repeats, so the gap from the last sample round to the first counts too.
	gap := t[0] + period - t[n-1]
	for i := 1; i < n; i++ {
		gap = max(gap, t[i]-t[i-1])
	}
	count := min(mostHarmonics, (n-3)/3, int(period/(2*gap)+1e-6))
	if count < 2 {
		return nil
	}
	terms := make([][]float64, n)
	for i := range t {
		if !(sd[i] > 0) || math.IsNaN(x[i]+t[i]) || math.IsInf(x[i], 0) {
			return nil
		}
		terms[i] = harmonicTerms(count, 2*math.Pi*(t[i]-start)/period)
	}
	fit, err := FitLinear(terms, x, sd, 0)
	if err != nil {
		return nil
	}
	return &Harmonics{start, period, fit}
}

func harmonicTerms(count int, angle float64) []float64 {
	terms := make([]float64, 1+2*count)
	terms[0] = 1
	for k := 1; k <= count; k++ {
		terms[2*k], terms[2*k-1] = math.Sincos(float64(k) * angle)
	}
	return terms
}

// count returns how many harmonics h has.
func (h *Harmonics) count() int { return len(h.Coefficients) / 2 }

// terms returns the terms of h at t.
func (h *Harmonics) terms(t float64) []float64 {
	return harmonicTerms(h.count(), 2*math.Pi*(t-h.Start)/h.Period)
}

// At returns the function's value at t and its first derivative.
func (h *Harmonics) At(t float64) (value, slope float64) {
	return h.LinearFit.At(h.terms(t)), h.slope(t)
}

// slope returns the function's first derivative at t. Extremes are looked for by it alone.
func (h *Harmonics) slope(t float64) (slope float64) {
	angle := 2 * math.Pi * (t - h.Start) / h.Period
	for k := 1; k <= h.count(); k++ {
		sin, cos := math.Sincos(float64(k) * angle)
		slope += 2 * math.Pi * float64(k) / h.Period * (h.Coefficients[2*k]*cos - h.Coefficients[2*k-1]*sin)
	}
	return slope
}

// Mean returns the function's mean and its standard deviation for those given to the fit.
func (h *Harmonics) Mean() (mean, sd float64) {
	return h.Coefficients[0], h.SD(append([]float64{1}, make([]float64, 2*h.count())...))
}

// Amplitude returns the amplitude of harmonic k ≥ 1 and its standard deviation for those
// given to the fit.
func (h *Harmonics) Amplitude(k int) (amplitude, sd float64) {
	c, s := h.Coefficients[2*k-1], h.Coefficients[2*k]
	amplitude = math.Hypot(c, s)
	terms := make([]float64, len(h.Coefficients))
	terms[2*k-1], terms[2*k] = c/amplitude, s/amplitude
	if amplitude == 0 {
		terms[2*k-1], terms[2*k] = math.Sqrt2/2, math.Sqrt2/2
	}
	return amplitude, h.SD(terms)
}

// DifferenceSD returns the standard deviation of At(t1) − At(t0) for the
// standard deviations given to the fit.
func (h *Harmonics) DifferenceSD(t1, t0 float64) float64 {
	terms := h.terms(t1)
	floats.Sub(terms, h.terms(t0))
	return h.SD(terms)
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
	rises := func(t float64) float64 { return sign * h.slope(t) }
	var turns []float64
	// Twelve points to the shortest period cannot miss a minimum.
	n := max(4, int(math.Ceil((hi-lo)/h.Period*12*float64(h.count()))))
	from := rises(lo)
	for i := range n {
		t0, t1 := lo+(hi-lo)*float64(i)/float64(n), lo+(hi-lo)*float64(i+1)/float64(n)
		to := rises(t1)
		if from < 0 && to >= 0 {
			turns = append(turns, Zero(t0, t1, rises))
		}
		from = to
	}
	if local = len(turns) > 0; !local {
		turns = []float64{lo, hi}
	}
	value = math.Inf(1)
	for _, t := range turns {
		if v, _ := h.At(t); sign*v < value {
			at, value = t, sign*v
		}
	}
	return at, sign * value, local
}

// Zero returns where f, rising, passes zero between low and high, to 2⁻⁴⁰ of what lies
// between them.
func Zero(low, high float64, f func(float64) float64) float64 {
	for range 40 {
		if mid := (low + high) / 2; f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}
