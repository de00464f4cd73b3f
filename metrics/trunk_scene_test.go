package metrics_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// trunkScene is a horse with chance in how its trunk and head are carried, filmed as the
// film guide asks.
func trunkScene(seed uint64) (scene.Scene, *rand.Rand) {
	rng := rand.New(rand.NewPCG(seed, 17))
	s := scene.Scene{Seed: seed, View: traj.Toward, Yard: scene.Yard{MarksWidthM: 2, MarksLengthM: 10, MarksNearM: 6}}
	if seed%2 == 1 {
		s.View = traj.Away
	}
	s.Camera.HeightM, s.Camera.PitchDeg = 2, 8
	s.Variation.Free = true
	s.Horse.Markers, s.Horse.Points = true, true
	s.Motion.LineAngleDeg, s.Motion.LineOffsetM = rng.NormFloat64(), 0.2*rng.NormFloat64()
	wide, quarters := 3*rng.NormFloat64(), 2*rng.NormFloat64()
	s.Asymmetry = scene.Asymmetry{
		HeadSideCM: 4 * rng.NormFloat64(), ChestSwayMM: 4 * rng.NormFloat64(), CroupSwayMM: 4 * rng.NormFloat64(),
		ShoulderLiftMM: 10 * rng.NormFloat64(), HipExcursionMM: 8 * rng.NormFloat64(),
		PlacementForeCM: scene.Sides{Left: wide, Right: wide}, PlacementHindCM: scene.Sides{Left: quarters, Right: -quarters},
	}
	return s, rng
}

// Of measures of the trunk, intervals of one run hold the truth of its own strides.
// Marks of the head and the trunk lie beside the middle as people set them.
func TestTrunkIntervalsHold(t *testing.T) {
	runs := map[bool]int{false: 16, true: 24}[metrics.Thorough]
	inside, all := map[metrics.Name]int{}, map[metrics.Name]int{}
	errors, widths := map[metrics.Name]float64{}, map[metrics.Name]float64{}
	for seed := range uint64(runs) {
		s, rng := trunkScene(seed)
		truth, err := scene.Simulate(s)
		if err != nil {
			t.Fatal(err)
		}
		set := truth.TrackSet(scene.TrackOptions{SD: 0.4, Seed: seed, Landmarks: append(scene.Usual(s.View), shoulders[s.View]...)})
		for i := range set.Tracks {
			// People set a mark beside the middle, and click 0.4 px beside a hoof at 5 m.
			l, eye := set.Tracks[i].Landmark, truth.Eye(0)
			aside := 0.010 * rng.NormFloat64()
			if l.IsHoof() {
				aside = 0.4 * 5 / eye.FocalPX * rng.NormFloat64()
			}
			for f := range set.Tracks[i].Samples {
				set.Tracks[i].Samples[f].X += aside * eye.FocalPX / (truth.Points(l)[f].Lane[1] - eye.Position[1])
			}
		}
		set.ClickPX = 0.4
		run, err := metrics.Measure(set, metrics.Options{View: s.View, Gait: traj.Trot, Reference: traj.LeftFore, Calibration: truth.Calibration(geometry.LevelMetric, 0, scene.ClickOptions{SD: 0.4, Seed: seed})})
		if err != nil {
			t.Fatal(err)
		}
		sum, err := metrics.Summarise([]metrics.Run{*run}, metrics.SummaryOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range sum.Results {
			m := truth.Measure(r.Name)
			series := run.Lookup(r.Name)
			if r.Value == nil || m == nil {
				continue
			}
			var want, n float64
			for _, o := range series.Observations {
				for _, w := range m.Observations {
					if !math.IsNaN(w.Value) && (math.Abs(w.Time-o.Time) < 0.1 || len(m.Observations) == 1) {
						want, n = want+w.Value, n+1
					}
				}
			}
			if n == 0 {
				continue
			}
			all[r.Name]++
			if r.Value.Low <= want/n && want/n <= r.Value.High {
				inside[r.Name]++
			}
			errors[r.Name] += math.Pow(r.Value.Value-want/n, 2)
			widths[r.Name] += (r.Value.High - r.Value.Low) / 2
		}
	}
	for _, n := range append(metrics.ShoulderAndTrunk(), metrics.HipExcursion) {
		count := float64(all[n])
		t.Logf("%-18s %2d of %2d inside, rms error %.3f, mean half-width %.3f", n, inside[n], all[n], math.Sqrt(errors[n]/count), widths[n]/count)
		// By chance fewer than five in six of 12 do once in 50, of 8 once in 17; the seeds are fixed.
		if count < 8 || float64(inside[n]) < count*5/6 {
			t.Errorf("%s: %d of %d intervals hold the truth", n, inside[n], all[n])
		}
	}
}

var shoulders = map[traj.View][]traj.Landmark{traj.Toward: {traj.LeftShoulder, traj.RightShoulder}}
