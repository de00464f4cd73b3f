package contact

import (
	"math"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// Rounding is by how much two spans of time may differ by rounding alone, s, so that
// nothing hangs on where a clip's clock starts.
const Rounding = 1e-7

// leastSD is the least spread of a sample that is believed, px.
const leastSD = 0.02

// Seen is what was really seen of one landmark.
type Seen struct {
	Landmark traj.Landmark
	T        []float64 // s.
	X, Y     []float64 // px.
	SD       []float64 // px.
	Frames   []int     // In which each was seen.
	All      []Sample  // Those, and those that are sure across the picture only.
	Frame    float64   // Median time between frames, s.
}

// Sample is one sample of a landmark with the spread of either axis. Where a hoof turns
// while it is followed, its place down the picture wanders: what a frame adds to that is
// in its spread, and little beside the hoof's own movement.
type Sample struct{ T, X, Y, XSD, YSD float64 }

// See takes what was seen of a landmark from stabilised tracks; nil where it was not
// marked.
func See(set *traj.Set, l traj.Landmark) *Seen {
	tr := set.Track(l)
	if tr == nil {
		return nil
	}
	var gaps []float64
	for i := 1; i < len(set.Times); i++ {
		gaps = append(gaps, set.Times[i]-set.Times[i-1])
	}
	h := &Seen{Landmark: l, Frame: signal.Median(gaps)}
	for i, p := range tr.Samples {
		if !p.Status.Followed() || math.IsNaN(p.X) || math.IsNaN(p.Y) {
			continue
		}
		t, sd := set.Times[i], max(p.SD, leastSD)
		if p.Status == traj.Across {
			h.All = append(h.All, Sample{t, p.X, p.Y, sd, max(p.SDY, leastSD)})
			continue
		}
		h.All = append(h.All, Sample{t, p.X, p.Y, sd, sd})
		h.T, h.X, h.Y, h.SD = append(h.T, t), append(h.X, p.X), append(h.Y, p.Y), append(h.SD, sd)
		h.Frames = append(h.Frames, i)
	}
	return h
}

// widen widens the spreads to the noise really there.
func (h *Seen) widen() {
	n := len(h.T)
	// A sample against the straight line between its neighbours: in stance that is
	// noise alone, so a low quantile tells the noise.
	var r []float64
	for i := 1; i < n-1; i++ {
		a := (h.T[i] - h.T[i-1]) / (h.T[i+1] - h.T[i-1])
		if h.T[i+1]-h.T[i-1] > 3*h.Frame+Rounding {
			continue
		}
		s := h.SD[i] * math.Sqrt(1+a*a+(1-a)*(1-a))
		for _, v := range [][]float64{h.X, h.Y} {
			r = append(r, math.Abs(v[i]-v[i-1]*(1-a)-v[i+1]*a)/s)
		}
	}
	k := 1.0
	if len(r) > 10 {
		k = max(1, min(5, signal.Quantile(r, 0.3)/0.3853)) // The 30 % quantile of |N(0, 1)|.
	}
	for i := range h.SD {
		h.SD[i] *= k
	}
	for i := range h.All {
		h.All[i].XSD *= k
		h.All[i].YSD *= k
	}
}
