package metrics

import (
	"math"
	"math/rand/v2"
	"testing"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// eventErrors returns found minus true landing and leaving, ms, of everything
// timed, how many true events inside the clip were not found, and the errors in
// units of their stated spread.
func eventErrors(t *testing.T, h artificial, run *Run) (on, off, z []float64, missed int) {
	t.Helper()
	last := h.duration() - 1/h.fps
	for _, c := range h.truth() {
		for _, leaving := range []bool{false, true} {
			want := c.on
			if leaving {
				want = c.off
			}
			if want < 0.05 || want > last-0.05 {
				continue
			}
			found := false
			for _, g := range run.Contacts {
				got, sd := g.On, g.OnSD
				if leaving {
					got, sd = g.Off, g.OffSD
				}
				if g.Limb != c.limb || sd < 0 || math.Abs(got-want) > 0.1 {
					continue
				}
				found = true
				e := 1000 * (got - want)
				z = append(z, (got-want)/sd)
				if leaving {
					off = append(off, e)
				} else {
					on = append(on, e)
				}
			}
			if !found {
				missed++
			}
		}
	}
	return on, off, z, missed
}

func absolute(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}

// Instants of a horse in formulas, whose hooves land and leave by profiles that
// timing does not know. The goal at 60 frames a second and 0.2 px of noise is
// half of the landings within 8 ms, from 5 to 20 m. Where hooves leave without
// any speed, or lift along the line of sight (racing), no method can see the
// instant itself; those rows bound how wrong it may then be.
func TestEventsOfArtificialHorse(t *testing.T) {
	for _, c := range []struct {
		name    string
		on, off float64 // Half of the errors are smaller, ms.
		change  func(*artificial)
	}{
		{"sound", 8, 8, func(h *artificial) {}},
		{"no noise", 2, 3, func(h *artificial) { h.noise = 0.001 }},
		{"smooth landing", 10, 20, func(h *artificial) { h.hard = 0 }},
		{"hard landing", 4, 6, func(h *artificial) { h.hard = 1 }},
		{"away", 8, 8, func(h *artificial) { h.view = traj.Away }},
		{"30 frames/s", 9, 12, func(h *artificial) { h.fps = 30 }},
		{"240 frames/s", 4, 8, func(h *artificial) { h.fps = 240; h.strides = 4 }},
		{"uneven frame times", 8, 8, func(h *artificial) { h.jitter = 0.8 }},
		{"noise 0.5 px", 12, 14, func(h *artificial) { h.noise = 0.5 }},
		{"noise 0.5 px said to be 0.1", 12, 14, func(h *artificial) { h.noise = 0.5; h.spread = 0.1 }},
		{"from 15 to 30 m", 12, 10, func(h *artificial) { h.near = 15 }},
		{"pace", 8, 8, func(h *artificial) { h.gait = traj.Pace }},
		{"walk", 8, 8, func(h *artificial) {
			h.gait = traj.Walk
			h.period, h.length = 1.1, 1.7
			h.duty = [4]float64{0.62, 0.62, 0.62, 0.62}
			h.flight = [4]float64{0.08, 0.08, 0.08, 0.08}
		}},
		{"racing trot", 20, 25, func(h *artificial) {
			h.period, h.length, h.strides = 0.455, 5.45, 4
			h.duty = [4]float64{0.242, 0.242, 0.257, 0.257}
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := sound()
			c.change(&h)
			run, err := Measure(h.tracks(), h.options())
			if err != nil {
				t.Fatal(err)
			}
			on, off, z, missed := eventErrors(t, h, run)
			t.Logf("%-27s timed %2d of %2d | on: median %+5.1f, half within %4.1f, 95 %% within %5.1f ms | off: median %+5.1f, half within %4.1f, 95 %% within %5.1f ms | spread of error over its stated one %.2f",
				c.name, len(on)+len(off), len(on)+len(off)+missed, signal.Median(on), signal.Median(absolute(on)), signal.Quantile(absolute(on), 0.95),
				signal.Median(off), signal.Median(absolute(off)), signal.Quantile(absolute(off), 0.95), signal.RobustSD(z))
			if v := signal.Median(absolute(on)); !(v < c.on) {
				t.Errorf("half of the landings are off by %.1f ms or more, want %g", v, c.on)
			}
			if v := signal.Median(absolute(off)); !(v < c.off) {
				t.Errorf("half of the leavings are off by %.1f ms or more, want %g", v, c.off)
			}
			if n := len(on) + len(off); missed > n/4 {
				t.Errorf("%d of %d instants were not timed", missed, n+missed)
			}
			if s := signal.RobustSD(z); s > 1.6 {
				t.Errorf("errors are %.2f times as wide as stated", s)
			}
		})
	}
}

// Tracks as optical flow leaves them: error that wanders from frame to frame
// (lag-one correlation 0.9, 0.4 px), single mismatches of up to 15 px in one
// frame of a hundred, and short losses. Stances are still found one for one,
// and steps and instants stay within what is stated.
func TestRoughTracks(t *testing.T) {
	h := sound()
	h.near, h.strides, h.ahead[1] = 4, 5, 0.05
	set := h.tracks()
	r := rand.New(rand.NewPCG(8, 8))
	for k := range set.Tracks {
		var ex, ey float64
		const rho = 0.9
		for i := range set.Tracks[k].Samples {
			p := &set.Tracks[k].Samples[i]
			w := 0.4 * math.Sqrt(1-rho*rho)
			ex, ey = rho*ex+w*r.NormFloat64(), rho*ey+w*r.NormFloat64()
			p.X, p.Y, p.SD = p.X+ex, p.Y+ey, 0.45
			switch v := r.Float64(); {
			case v < 0.01:
				p.X, p.Y = p.X+15*(2*r.Float64()-1), p.Y+15*(2*r.Float64()-1)
			case v < 0.02:
				*p = traj.Gone()
			}
		}
	}
	run, err := Measure(set, h.options())
	if err != nil {
		t.Fatal(err)
	}
	on, off, z, missed := eventErrors(t, h, run)
	t.Logf("landings within %.1f, leavings within %.1f ms (half of them); %d of %d missed; errors %.2f times their spread", signal.Median(absolute(on)), signal.Median(absolute(off)), missed, missed+len(on)+len(off), signal.RobustSD(z))
	if signal.Median(absolute(on)) > 12 || signal.Median(absolute(off)) > 15 || missed > 12 || signal.RobustSD(z) > 1.6 {
		t.Error("rough tracks are timed too badly")
	}
	stances := 0
	for _, c := range h.truth() {
		if c.on > 0.1 && c.off < h.duration()-0.1 {
			n := 0
			for _, g := range run.Contacts {
				if g.Limb == c.limb && math.Min(g.Off, c.off)-math.Max(g.On, c.on) > 0.5*(c.off-c.on) {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%s stance at %.2f s was found %d times", c.limb, c.on, n)
			}
			stances++
		}
	}
	if stances < 15 {
		t.Fatalf("only %d stances to find", stances)
	}
	_, _, v, sd, n := values(run, StepLengthFore)
	if math.Abs(v-0.10) > 4*sd/math.Sqrt(float64(n)) || sd > 0.08 {
		t.Errorf("step difference %.3f ± %.3f m of %d strides, want 0.100", v, sd, n)
	}
	_, _, v, sd, n = values(run, HeadLowDifference)
	if math.Abs(v) > 4*sd/math.Sqrt(float64(n)) || n < 3 {
		t.Errorf("an even head nods by %.1f ± %.1f mm (%d strides)", v, sd, n)
	}
}
