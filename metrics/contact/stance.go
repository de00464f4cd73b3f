package contact

import (
	"math"
	"sort"

	"jogstrip/metrics/signal"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Stance is one stance of a hoof.
type Stance struct {
	// On and Off are when it landed and left. A negative standard deviation: not timed,
	// and the instant is that of the first or last frame in which it was seen standing.
	On, Off, OnSD, OffSD float64
	X, Y                 float64 // Place in the picture.
	XSD, YSD             float64
	Samples              int  // From how many samples the place was taken.
	StartsClip, EndsClip bool // The clip begins or ends inside it.
	Cycle                int  // Its place in the grid of beats.

	from, to      int        // Samples of the hoof, to exclusive; once it is placed, those that tell its place.
	reached, left [2]float64 // Landing and leaving, however vague, and the standard deviation of that, s.
	beat          int        // Steps of the pair since its first stance; -1 where that is not known.
}

// OnTimed reports whether the landing was timed.
func (s *Stance) OnTimed() bool { return s.OnSD >= 0 }

// OffTimed reports whether the leaving was timed.
func (s *Stance) OffTimed() bool { return s.OffSD >= 0 }

// Leaves returns when the hoof leaves the ground, however vaguely that is known, and the
// standard deviation of it, s.
func (s *Stance) Leaves() (at, sd float64) { return s.left[0], s.left[1] }

// Reaches returns the same of its landing.
func (s *Stance) Reaches() (at, sd float64) { return s.reached[0], s.reached[1] }

// stancesOf takes a hoof's stances as tracking saw them. A landing lies between the last
// frame in which the place was seen without the hoof and the first in which it stands,
// and a leaving in the same way; what hides the place makes the instant vague, or leaves
// it untimed. usual is how long stances last, s.
func stancesOf(set *traj.Set, h *Seen, usual float64, m errormodel.Contact) []Stance {
	times := set.Times
	var out []Stance
	for _, s := range set.Stances {
		if s.Landmark != h.Landmark {
			continue
		}
		first, last := times[s.First], times[s.Last]
		c := Stance{
			On: first, Off: last, OnSD: -1, OffSD: -1, beat: s.Beat,
			reached: [2]float64{first, m.HiddenS}, left: [2]float64{last, m.HiddenS},
			from: sort.SearchFloat64s(h.T, first-h.Frame/4), to: sort.SearchFloat64s(h.T, last+h.Frame/2),
			StartsClip: s.First == 0, EndsClip: s.Last == len(times)-1,
		}
		if c.to-c.from < 2 {
			continue
		}
		lasts := max(last-first, usual) // What was seen may be a moment of it.
		if s.Before >= 0 {
			c.reached = instant(first, times[s.Before], math.Hypot(m.LandingShape*lasts, m.BehindS), h.Frame)
			if c.reached[1] <= m.WorstLandingS {
				c.On, c.OnSD = c.Reaches()
			}
		}
		if s.After >= 0 {
			c.left = instant(last, times[s.After], m.LeavingShape*lasts, h.Frame)
			if c.left[1] <= m.WorstLeavingS {
				c.Off, c.OffSD = c.Leaves()
			}
		}
		out = append(out, c)
	}
	return out
}

// usualOf returns how long the stances of a clip last that were seen from end to end, s: the
// median; 0 where there is none.
func usualOf(set *traj.Set) float64 {
	var whole []float64
	for _, s := range set.Stances {
		if s.Before >= 0 && s.After >= 0 {
			whole = append(whole, set.Times[s.Last]-set.Times[s.First])
		}
	}
	if len(whole) == 0 {
		return 0
	}
	return signal.Median(whole)
}

// instant returns when a hoof that stands in a frame at seen and is gone in one at gone
// landed or left, and the standard deviation of that, s. Mostly it moved within the next
// frame; that it was gone is often told later only, once it has moved a good way.
func instant(seen, gone, shape, frame float64) [2]float64 {
	gap := math.Abs(gone - seen)
	off := math.Copysign(min(gap, frame)/2+max(0, gap-frame)/4, gone-seen)
	return [2]float64{seen + off, math.Hypot(gap/math.Sqrt(12), shape)}
}

// place fills the picture position of every stance: the robust weighted mean of its
// middle part, two standard deviations away from landing slide and breakover. The spread
// allows for noise that is correlated from frame to frame.
func place(h *Seen, stances []Stance, m errormodel.Contact) {
	var product, square float64
	for i := range stances {
		s := &stances[i]
		from := sort.SearchFloat64s(h.T, s.On+2*m.LandingShape*(s.Off-s.On)-Rounding)
		to := sort.SearchFloat64s(h.T, s.Off-2*m.LeavingShape*(s.Off-s.On)-Rounding)
		if to-from >= 3 {
			s.from, s.to = from, to
		}
		x, y, sd := h.X[s.from:s.to], h.Y[s.from:s.to], h.SD[s.from:s.to]
		s.X, s.Y, s.Samples = robustMean(x, sd), robustMean(y, sd), len(x)
		for k := range len(x) - 1 {
			for _, v := range [2][2]float64{{x[k] - s.X, x[k+1] - s.X}, {y[k] - s.Y, y[k+1] - s.Y}} {
				a, b := v[0]/sd[k], v[1]/sd[k+1]
				if math.Abs(a) < 5 && math.Abs(b) < 5 {
					product += a * b
					square += (a*a + b*b) / 2
				}
			}
		}
	}
	rho := 0.0 // Correlation of one sample with the next.
	if square > 0 {
		rho = max(0, min(0.9, product/square))
	}
	for i := range stances {
		s := &stances[i]
		s.XSD = meanSD(h.X[s.from:s.to], h.SD[s.from:s.to], s.X, rho)
		s.YSD = meanSD(h.Y[s.from:s.to], h.SD[s.from:s.to], s.Y, rho)
	}
}

// robustMean is the mean with weights 1/sd², samples beyond three standard deviations
// from it weighed down (Huber's weights, starting at the median).
func robustMean(x, sd []float64) float64 {
	m := signal.Median(x)
	for range 20 {
		var sw, sx float64
		for i, v := range x {
			w := 1 / (sd[i] * sd[i])
			if z := math.Abs(v-m) / sd[i]; z > 3 {
				w *= 3 / z
			}
			sw += w
			sx += w * v
		}
		next := sx / sw
		if math.Abs(next-m) < 1e-9 {
			return next
		}
		m = next
	}
	return m
}

// meanSD is the standard deviation of a weighted mean of samples with lag-one
// correlation rho, widened where the samples scatter more than they should. Where they
// scatter less, the rest of their stated spread is taken as an error that all of them
// share: a tracker that holds on to the wrong spot of the hoof does so all through the
// stance.
func meanSD(x, sd []float64, mean, rho float64) float64 {
	var sw, chi float64
	n := float64(len(x))
	for i, v := range x {
		sw += 1 / (sd[i] * sd[i])
		chi += (v - mean) * (v - mean) / (sd[i] * sd[i])
	}
	// The sum of correlations up to the number of samples there are.
	corr, r := 1.0, rho
	for j := 1.0; j < n; j++ {
		corr += 2 * (1 - j/n) * r
		r *= rho
	}
	k, shared := 1.0, 0.0
	if n > 3 {
		k = max(1, chi/(n-1))
		// Seldom is a scatter of n samples less than this part of what it should be by chance.
		chance := 1 - 2*math.Sqrt(2/(n-1))
		shared = max(0, chance-chi/(n-1)) * n / sw
	}
	return math.Sqrt(k*corr/sw + shared)
}
