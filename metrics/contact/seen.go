package contact

import (
	"math"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// rounding is by how much two spans of time may differ by rounding alone, s, so that
// nothing hangs on where a clip's clock starts.
const rounding = 1e-7

// leastSD is the least spread of a sample that is believed, px.
const leastSD = 0.02

// Shutter is how the camera exposes its pictures: row by row.
type Shutter struct {
	// ReadoutS is the time from the picture's first row to its last, s; 0 means not
	// known, and nothing is corrected. The clip's time stamps are taken as those of the
	// middle row.
	ReadoutS float64
	// Rotation is by how many degrees clockwise (0, 90, 180 or 270) the recorded
	// picture was turned to stand upright: it says where the recorded rows lie.
	Rotation int
}

// Delay returns how much later than the frame's time stamp the picture was exposed at
// p, s.
func (o Shutter) Delay(set *traj.Set, p traj.Sample) float64 {
	if o.ReadoutS == 0 {
		return 0
	}
	x, y := (p.X+0.5)/float64(set.Width), (p.Y+0.5)/float64(set.Height)
	row := [4]float64{y, 1 - x, 1 - y, x}[o.Rotation/90]
	return o.ReadoutS * (max(0, min(1, row)) - 0.5)
}

// Seen is what was really seen of one landmark, at the instants at which its row was
// exposed.
type Seen struct {
	Landmark traj.Landmark
	T        []float64 // s.
	X, Y     []float64 // px.
	SD       []float64 // px.
	All      []Sample  // Of hooves: those, and those that are sure across the picture only, in the order of time.
	Frame    float64   // Median time between frames, s.
	across   []Sample
}

// Sample is one sample of a landmark with the spread of either axis. Where a hoof turns
// while it is followed, its place down the picture wanders: what a frame adds to that is
// in its spread, and little beside the hoof's own movement.
type Sample struct{ T, X, Y, XSD, YSD float64 }

// See takes what was seen of a landmark from raw (for the row at which it was exposed)
// and still (stabilised) tracks; nil where it was not marked.
func See(raw, still *traj.Set, l traj.Landmark, shutter Shutter) *Seen {
	r, s := raw.Track(l), still.Track(l)
	if r == nil || s == nil {
		return nil
	}
	h := &Seen{Landmark: l}
	var gaps []float64
	for i := 1; i < len(raw.Times); i++ {
		gaps = append(gaps, raw.Times[i]-raw.Times[i-1])
	}
	h.Frame = signal.Median(gaps)
	for i, p := range s.Samples {
		if !p.Status.Followed() || math.IsNaN(p.X) || math.IsNaN(p.Y) {
			continue
		}
		t := raw.Times[i] + shutter.Delay(raw, r.Samples[i])
		if p.Status == traj.Across {
			h.across = append(h.across, Sample{t, p.X, p.Y, max(p.SD, leastSD), max(p.SDY, leastSD)})
			continue
		}
		if k := len(h.T); k > 0 && t <= h.T[k-1] {
			continue // A readout longer than the frame: cannot happen in a sound clip.
		}
		h.T, h.X, h.Y, h.SD = append(h.T, t), append(h.X, p.X), append(h.Y, p.Y), append(h.SD, max(p.SD, leastSD))
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
		if h.T[i+1]-h.T[i-1] > 3*h.Frame+rounding {
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
	// Single wild samples (a mismatch, not movement) get a spread as large as their jump.
	for i := 1; i < n-1; i++ {
		dx := h.X[i] - signal.Median(window(h.X, i, 2))
		dy := h.Y[i] - signal.Median(window(h.Y, i, 2))
		back := math.Hypot(h.X[i+1]-h.X[i-1], h.Y[i+1]-h.Y[i-1])
		if d := math.Hypot(dx, dy); d > 8*h.SD[i] && d > 3*back {
			h.SD[i] = math.Hypot(h.SD[i], d)
		}
	}
	for i := range h.across {
		h.across[i].XSD *= k
		h.across[i].YSD *= k
	}
	h.merge()
}

// merge puts all samples in the order of time.
func (h *Seen) merge() {
	across := h.across
	k := 0
	for i, t := range h.T {
		for ; k < len(across) && across[k].T < t; k++ {
			h.All = append(h.All, across[k])
		}
		h.All = append(h.All, Sample{t, h.X[i], h.Y[i], h.SD[i], h.SD[i]})
	}
	h.All = append(h.All, across[k:]...)
}

func window(x []float64, i, half int) []float64 {
	return x[max(0, i-half):min(len(x), i+half+1)]
}

// from returns the first sample at or after t.
func (h *Seen) from(t float64) int {
	i := 0
	for i < len(h.T) && h.T[i] < t {
		i++
	}
	return i
}
