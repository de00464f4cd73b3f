package metrics

import (
	"fmt"
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

func TestEventsOfArtificialHorse(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*artificial)
	}{
		{"sound", func(h *artificial) {}},
		{"perfect", func(h *artificial) { h.noise = 0.001 }},
		{"smooth landing", func(h *artificial) { h.hard = 0 }},
		{"hard landing", func(h *artificial) { h.hard = 1 }},
		{"away", func(h *artificial) { h.view = traj.Away }},
		{"30 fps", func(h *artificial) { h.fps = 30 }},
		{"240 fps", func(h *artificial) { h.fps = 240 }},
		{"jitter", func(h *artificial) { h.jitter = 0.8 }},
		{"noise 0.5", func(h *artificial) { h.noise = 0.5 }},
		{"noise 0.5 said 0.1", func(h *artificial) { h.noise = 0.5; h.spread = 0.1 }},
		{"far", func(h *artificial) { h.near = 15 }},
		{"pace", func(h *artificial) { h.gait = traj.Pace }},
		{"walk", func(h *artificial) {
			h.gait = traj.Walk
			h.period, h.length = 1.1, 1.7
			h.duty = [4]float64{0.62, 0.62, 0.62, 0.62}
			h.flight = [4]float64{0.08, 0.08, 0.08, 0.08}
		}},
		{"racing", func(h *artificial) {
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
			t.Logf("%-18s n %3d missed %2d | on: median %+6.1f, |.| median %5.1f p95 %5.1f ms | off: median %+6.1f, |.| median %5.1f p95 %5.1f ms | spread of error/SD %.2f",
				c.name, len(on)+len(off), missed, signal.Median(on), signal.Median(absolute(on)), signal.Quantile(absolute(on), 0.95),
				signal.Median(off), signal.Median(absolute(off)), signal.Quantile(absolute(off), 0.95), signal.RobustSD(z))
			for _, n := range run.Notes {
				_ = fmt.Sprint(n)
			}
		})
	}
}
