package metrics_test

import (
	"fmt"
	"math"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// What is measured on the renderer's sound and lame horse lies where published
// work puts horses led in hand. The bands marked "from memory" are of low trust.
func TestMeasuredFiguresLieInPublishedBands(t *testing.T) {
	type band struct {
		n        metrics.Name
		low, top float64
		source   string
	}
	trot := []band{
		{metrics.StrideDuration, 0.68, 0.794 + 2*0.0137, "in hand 0.68–0.78 s (from memory); Swedish Warmbloods 794 (13.7) ms, Holmström et al. 1994 (authors and year from memory)"},
		{metrics.StrideLength, 2.4, 2.8, "in hand 2.4–2.8 m (from memory)"},
		{metrics.Speed, 3, 4, "treadmill trot 3.5 m/s, Buchner et al. 1996, Equine Vet J 28:71–76"},
	}
	bands := map[traj.Gait][]band{
		traj.Trot: trot,
		traj.Walk: {
			{metrics.StrideDuration, 0.95, 1.25, "about 1.1 s (from memory)"},
			{metrics.StrideLength, 1.5, 2, "1.5–2.0 m (from memory)"},
			{metrics.Speed, 1.3, 1.9, "treadmill walk 1.6 m/s, Buchner et al. 1996"},
		},
		// Led in hand the pace is a trot in lateral pairs; no band of its own is published.
		traj.Pace: {
			{metrics.StrideDuration, 0.65, 0.83, "as the trot"},
			{metrics.Speed, 3, 4.2, "as the trot"},
		},
	}
	duty := map[traj.Gait][2]float64{
		traj.Trot: {36, 47}, // In hand 38–45 % (from memory), and what an instant's error of 8 ms adds.
		traj.Pace: {34, 49},
		traj.Walk: {52, 68}, // At the walk every hoof stands for more than half the stride (textbook).
	}
	for _, gait := range []traj.Gait{traj.Trot, traj.Walk, traj.Pace} {
		for _, lame := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s, lame %v", gait, lame), func(t *testing.T) {
				s := scene.Scene{Seed: 41, Gait: gait, Yard: scene.Yard{MarksWidthM: 2.5, MarksLengthM: 8, MarksNearM: 5.5}}
				s.Motion.StartM = 18
				if lame {
					s.Asymmetry = scene.ShortFore(traj.Right, 1)
				}
				truth, err := scene.Simulate(s)
				if err != nil {
					t.Fatal(err)
				}
				run, err := metrics.Measure(truth.TrackSet(scene.TrackOptions{SD: 0.2, Seed: 5}), metrics.Options{View: traj.Toward, Gait: gait,
					Calibration: truth.Calibration(geometry.LevelMetric, len(truth.Times)/2, scene.ClickOptions{Seed: 3})})
				if err != nil {
					t.Fatal(err)
				}
				sum, err := metrics.Summarise([]metrics.Run{*run}, metrics.SummaryOptions{Resamples: 100})
				if err != nil {
					t.Fatal(err)
				}
				for _, b := range bands[gait] {
					r := sum.Lookup(b.n)
					if r.Value == nil || r.Value.Value < b.low || r.Value.Value > b.top {
						t.Errorf("%s is %+v, band %g to %g: %s", b.n, r.Value, b.low, b.top, b.source)
					}
				}
				if r := sum.Lookup(metrics.DutyFactorFore); r.Left == nil || r.Left.Value < duty[gait][0] || r.Left.Value > duty[gait][1] {
					t.Errorf("duty factor of the left fore is %+v, band %v", r.Left, duty[gait])
				}
				if gait == traj.Walk {
					return // The nod of the walk is not measured.
				}
				nod := sum.Lookup(metrics.HeadLowDifference).Value
				// 13 mm lies between measurements of sound horses (Hardeman et al. 2019, Equine
				// Vet J, 10.1111/evj.13075), tens of mm are clear lameness (from memory). Pfau et
				// al. 2018, Equine Vet J 50:117–123: positive is a right-fore pattern.
				switch {
				case nod == nil:
					t.Error("the nod was not measured")
				case !lame && math.Abs(nod.Value) > 13:
					t.Errorf("a sound horse nods by %.0f mm", nod.Value)
				case lame && (nod.Value < 20 || nod.Value > 80):
					t.Errorf("a horse lame on the right fore has a low-point difference of %.0f mm", nod.Value)
				}
			})
		}
	}
}
