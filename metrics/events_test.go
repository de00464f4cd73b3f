package metrics

import (
	"math"
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
