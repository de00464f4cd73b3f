package scene

import (
	"math"
	"testing"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

func TestSettingsAppearInTruth(t *testing.T) {
	const tol = 0.01
	s := Scene{Seed: 3, Asymmetry: Asymmetry{
		StepLengthForeCM: -8, StepLengthHindCM: 3, StepTimingForePercent: 1.5,
		StanceForeMS: Sides{Right: -15}, StanceHindMS: Sides{Left: 10},
		PairTimingMS:    Sides{Left: 12, Right: -8},
		PlacementForeCM: Sides{Left: 3, Right: -12}, PlacementHindCM: Sides{Right: 4},
		LateralArcForeCM: Sides{Right: 5}, MedialArcForeCM: Sides{Left: 6}, LateralArcHindCM: Sides{Left: 3},
		FlightForeCM: Sides{Right: -4}, FlightHindCM: Sides{Left: 3},
		HeadLowMM: 30, HeadHighMM: -12, WithersLowMM: 5, WithersHighMM: -3, CroupLowMM: 8, CroupHighMM: 6,
		HipExcursionMM: 15,
	}}
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		for _, g := range []traj.Gait{traj.Walk, traj.Trot, traj.Pace} {
			t.Run(string(v)+" "+string(g), func(t *testing.T) {
				s := s
				s.View, s.Gait = v, g
				tr, err := Simulate(s)
				if err != nil {
					t.Fatal(err)
				}
				want := map[metrics.Name]float64{
					metrics.StepLengthFore: -0.08, metrics.StepLengthHind: 0.03, metrics.StepTimingFore: 51.5,
					metrics.StanceDurationFore: -0.015, metrics.StanceDurationHind: -0.010, metrics.PairTiming: -20,
					TrunkPlacementFore: -15, TrunkPlacementHind: 4,
					metrics.LateralArcFore: 5, metrics.MedialArcFore: -6, metrics.LateralArcHind: -3,
					metrics.FlightHeightFore: -4, metrics.FlightHeightHind: -3,
					metrics.HeadLowDifference: 30, metrics.HeadHighDifference: -12, metrics.WithersLowDifference: 5,
					metrics.WithersHighDifference: -3, metrics.CroupLowDifference: 8, metrics.CroupHighDifference: 6, metrics.HipExcursion: 15,
				}
				if g == traj.Walk {
					delete(want, metrics.PairTiming)
				}
				for n, w := range want {
					if got := tr.Mean(n); !(math.Abs(got-w) <= tol) {
						t.Errorf("%s is %.4f, want %g", n, got, w)
					}
				}
				t.Logf("%d strides", len(tr.Strides))
			})
		}
	}
}
