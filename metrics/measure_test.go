package metrics

import (
	"math"
	"testing"

	"jogstrip/track/traj"
)

// values returns the means over strides of left, right and value and the root
// mean square of the stated spreads.
func values(r *Run, n Name) (left, right, value, sd float64, count int) {
	s := r.Lookup(n)
	mean := func(get func(Observation) float64) float64 {
		var sum, k float64
		for _, o := range s.Observations {
			if v := get(o); !math.IsNaN(v) {
				sum += v
				k++
			}
		}
		return sum / k
	}
	left = mean(func(o Observation) float64 { return o.Left })
	right = mean(func(o Observation) float64 { return o.Right })
	value = mean(func(o Observation) float64 { return o.Value })
	sd = math.Sqrt(mean(func(o Observation) float64 { return o.SD * o.SD }))
	return left, right, value, sd, len(s.Observations)
}

func uneven() artificial {
	h := sound()
	h.near, h.strides = 4, 5
	h.phase = [4]float64{0, 0.02, -0.01, 0.01}
	h.duty = [4]float64{0.42, 0.38, 0.4, 0.41}
	h.ahead = [4]float64{0, 0.05, -0.02, 0.02}
	h.offset = [4]float64{0.11, 0.07, 0.1, 0.1}
	h.arc = [4]float64{0.02, 0.05, -0.02, 0}
	h.flight = [4]float64{0.12, 0.09, 0.11, 0.11}
	h.head = [3]float64{0.012, math.Pi, 0.03}
	h.croup = [3]float64{0.006, math.Pi / 2, 0.028}
	h.hip = [2]float64{0.07, 0.09}
	h.noise = 0.1
	return h
}

func TestMeasuresOfArtificialHorse(t *testing.T) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		h := uneven()
		h.view = view
		run, err := Measure(h.tracks(), h.options())
		if err != nil {
			t.Fatal(err)
		}
		t.Log(view, run.Reference, len(run.Strides), run.FocalPX, run.CameraHeightM, run.NearestM, run.FarthestM, *run.Line)
		for _, s := range run.Series {
			if s.Reason != "" {
				t.Logf("%-24s %s", s.Name, s.Reason)
				continue
			}
			l, r, v, sd, n := values(run, s.Name)
			t.Logf("%-24s n %2d left %8.3f right %8.3f value %8.3f ± %7.3f common %7.4f %s", s.Name, n, l, r, v, sd, s.CommonSD, s.Unit)
		}
		for _, n := range run.Notes {
			t.Log(n)
		}
	}
}
