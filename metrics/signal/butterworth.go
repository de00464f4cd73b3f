package signal

import (
	"errors"
	"fmt"
	"math"
)

// Section is a recursive filter of second order,
// y[n] = B0·x[n] + B1·x[n−1] + B2·x[n−2] − A1·y[n−1] − A2·y[n−2].
type Section struct {
	B0, B1, B2, A1, A2 float64
}

// ButterworthTwoPass returns the low-pass of second order whose gain at cutoff
// is 1/√2 after a pass forward and one backward: the warped cut-off is divided
// by (√2 − 1)^¼ (Winter's correction, applied to the warped frequency so that it
// holds at every rate).
func ButterworthTwoPass(cutoff, rate float64) (Section, error) {
	if !(cutoff > 0) || !(rate > 0) || !(cutoff < rate/2) {
		return Section{}, fmt.Errorf("butterworth: cut-off %g Hz must lie between 0 and half the rate %g Hz", cutoff, rate)
	}
	return fromWarped(math.Tan(math.Pi*cutoff/rate) / math.Pow(math.Sqrt2-1, 0.25)), nil
}

func fromWarped(w float64) Section {
	d := 1 + math.Sqrt2*w + w*w
	b := w * w / d
	return Section{B0: b, B1: 2 * b, B2: b, A1: 2 * (w*w - 1) / d, A2: (1 - math.Sqrt2*w + w*w) / d}
}

// padding is how many samples a run is extended by at each end.
const padding = 9

// ZeroPhase passes the uniformly sampled x forward and backward through s and
// returns the result, without delay, in dst (allocated where nil). Each run of
// valid samples is filtered by itself and extended at its ends by point
// reflection, so that a level or a slope passes unchanged; samples that are
// not valid come out NaN. A nil mask means that all are valid. Runs too short
// to filter (fewer than 4 samples) are copied. NaN or an infinity in a valid
// place is an error. ZeroPhase panics if the lengths differ.
func ZeroPhase(dst, x []float64, valid []bool, s Section) ([]float64, error) {
	if dst == nil {
		dst = make([]float64, len(x))
	}
	if len(dst) != len(x) || (valid != nil && len(valid) != len(x)) {
		panic("signal: slice lengths differ")
	}
	ok := func(i int) bool { return valid == nil || valid[i] }
	for i, v := range x {
		if ok(i) && (math.IsNaN(v) || math.IsInf(v, 0)) {
			return nil, fmt.Errorf("filter: sample %d is %g but marked valid", i, v)
		}
	}
	for i := 0; i < len(x); {
		if !ok(i) {
			dst[i] = math.NaN()
			i++
			continue
		}
		end := i
		for end < len(x) && ok(end) {
			end++
		}
		s.bothWays(dst[i:end], x[i:end])
		i = end
	}
	return dst, nil
}

func (s Section) bothWays(dst, x []float64) {
	n := len(x)
	if n < 4 {
		copy(dst, x)
		return
	}
	pad := min(padding, n-1)
	ext := make([]float64, n+2*pad)
	for i := range pad {
		ext[i] = 2*x[0] - x[pad-i]
		ext[n+pad+i] = 2*x[n-1] - x[n-2-i]
	}
	copy(ext[pad:], x)
	s.pass(ext)
	reverse(ext)
	s.pass(ext)
	reverse(ext)
	copy(dst, ext[pad:pad+n])
}

// pass filters x in place, starting in the steady state of its first sample.
func (s Section) pass(x []float64) {
	// Direct form II transposed; the steady state for a constant input c is
	// z1 = c·(1 − B0), z2 = c·(B2 − A2) because the gain at 0 Hz is 1.
	z1, z2 := x[0]*(1-s.B0), x[0]*(s.B2-s.A2)
	for i, v := range x {
		y := s.B0*v + z1
		z1 = s.B1*v - s.A1*y + z2
		z2 = s.B2*v - s.A2*y
		x[i] = y
	}
}

func reverse(x []float64) {
	for i, j := 0, len(x)-1; i < j; i, j = i+1, j-1 {
		x[i], x[j] = x[j], x[i]
	}
}

// errShort is returned where there are too few samples for a method.
var errShort = errors.New("too few samples")
