package scene

import (
	"flag"
	"math"
	"testing"

	"pgregory.net/rapid"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// Any mixture of settings inside what a horse can do is met, whatever the seed,
// view and gait.
func TestAnySettingsAreMet(t *testing.T) {
	// Each draw finds a whole motion: fewer of them than by default.
	checks := flag.Lookup("rapid.checks")
	before := checks.Value.String()
	if err := flag.Set("rapid.checks", "40"); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = flag.Set("rapid.checks", before) }()
	rapid.Check(t, func(r *rapid.T) {
		f := func(name string, most float64) float64 { return rapid.Float64Range(-most, most).Draw(r, name) }
		s := Scene{
			Seed: rapid.Uint64().Draw(r, "seed"),
			View: rapid.SampledFrom([]traj.View{traj.Toward, traj.Away}).Draw(r, "view"),
			Gait: rapid.SampledFrom([]traj.Gait{traj.Walk, traj.Trot, traj.Pace}).Draw(r, "gait"),
			Asymmetry: Asymmetry{
				StepLengthForeCM: f("step", 12), HeadLowMM: f("head low", 30), HeadHighMM: f("head high", 30),
				CroupLowMM: f("croup low", 12), HipExcursionMM: f("hip", 20),
				PlacementForeCM:  Sides{Left: f("placement left", 12), Right: f("placement right", 12)},
				LateralArcHindCM: Sides{Left: math.Abs(f("arc", 8))}, FlightForeCM: Sides{Right: f("flight", 4)},
				StanceForeMS: Sides{Right: f("stance", 20)}, StepTimingForePercent: f("timing", 2),
			},
		}
		if s.View == traj.Toward {
			s.Motion.StartM = 16
		} else {
			s.Motion.EndM = 16
		}
		m, err := solve(s)
		if err != nil {
			r.Fatal(err)
		}
		tr := &Truth{}
		tr.Measures = m.measures(tr).list
		a := s.Asymmetry
		for n, w := range map[metrics.Name]float64{
			metrics.StepLengthFore: a.StepLengthForeCM / 100, metrics.HeadLowDifference: a.HeadLowMM, metrics.HeadHighDifference: a.HeadHighMM,
			metrics.CroupLowDifference: a.CroupLowMM, metrics.HipExcursion: a.HipExcursionMM,
			TrunkPlacementFore: a.PlacementForeCM.Right - a.PlacementForeCM.Left, metrics.LateralArcHind: -a.LateralArcHindCM.Left,
			FlightHeightFore: a.FlightForeCM.Right, metrics.StanceDurationFore: a.StanceForeMS.Right / 1000,
			metrics.StepTimingFore: 50 + a.StepTimingForePercent,
		} {
			if got := tr.Mean(n); !(math.Abs(got-w) <= 0.02) {
				r.Errorf("%s is %.4f, want %.4f", n, got, w)
			}
		}
	})
}
