package demo

import (
	"math"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// carryClicks moves the hooves' tracks by the errors of their marks, as tracking does: an
// offset on the hoof from every mark, from those of its own size the more.
func carryClicks(set *traj.Set, truth *scene.Truth, marks *record.Marks) {
	type click struct{ scale, dx, dy float64 }
	clicks := map[traj.Landmark][]click{}
	size := func(l traj.Landmark, f int) float64 {
		p := truth.Points(l)[f].Lane
		return 1500 / math.Hypot(math.Hypot(p[0], p[1]), truth.Eye(f).Position[2])
	}
	for _, m := range marks.Marks {
		if tr := set.Track(m.Landmark); tr != nil && m.Landmark.IsHoof() && tr.Samples[m.Frame].Status == traj.Tracked {
			tr.Samples[m.Frame].Status = traj.Marked
			p := truth.Points(m.Landmark)[m.Frame]
			clicks[m.Landmark] = append(clicks[m.Landmark], click{size(m.Landmark, m.Frame), *m.X - p.X, *m.Y - p.Y})
		}
	}
	for i := range set.Tracks {
		tr := &set.Tracks[i]
		for f := range tr.Samples {
			here := size(tr.Landmark, f)
			var dx, dy, weights float64
			for _, c := range clicks[tr.Landmark] {
				w := c.scale * c.scale * math.Pow(min(here/c.scale, c.scale/here), errormodel.Usual().Click.Nearest)
				dx, dy, weights = dx+w*c.dx/c.scale, dy+w*c.dy/c.scale, weights+w
			}
			if weights > 0 {
				tr.Samples[f].X += here * dx / weights
				tr.Samples[f].Y += here * dy / weights
			}
		}
	}
}

// What the film check expects of the demo's clips is what measuring them then states, and
// how far off it is: the standard error of a run's step difference. The demo's horse
// repeats its strides better than is taken for usual, which measuring sees and the check
// cannot, so the check may expect up to half as much again. The lower phone gives more.
func TestFilmCheckAgreesWithWhatIsMeasured(t *testing.T) {
	sum := map[float64]*[3]float64{1.2: {}, 2: {}} // Mean squares: off, stated, expected.
	for _, height := range []float64{1.2, 2} {
		for run := range 3 {
			s := scene.Scene{Seed: uint64(1006 + 10*run), View: traj.Toward, Asymmetry: scene.ShortFore(traj.Left, visits[0].severity)}
			s.Camera.HeightM, s.Camera.PitchDeg = height, 8
			if height < 2 {
				s.Camera.PitchDeg = 3
			}
			truth, err := scene.Simulate(s)
			if err != nil {
				t.Fatal(err)
			}
			marks := Clicked(truth, s, "toward.mp4", Clicking{})
			set := truth.TrackSet(scene.TrackOptions{SD: 0.3, Seed: s.Seed})
			set.ClickPX = clickSD
			carryClicks(set, truth, marks)
			measured, err := metrics.Measure(set, metrics.Options{View: marks.View, Gait: marks.Gait, Calibration: *marks.Calibration})
			if err != nil {
				t.Fatal(err)
			}
			m := measured.Lookup(metrics.StepLengthFore).OfRun
			if m == nil {
				t.Fatalf("%g m, run %d: no step difference", height, run)
			}
			cal, err := geometry.Calibrate(*marks.Calibration, truth.Width, truth.Height, errormodel.Usual().Camera)
			if err != nil {
				t.Fatal(err)
			}
			u, ok := film.SetUpOf(marks, cal)
			if !ok {
				t.Fatal("the left fore is not marked")
			}
			u.ClickPX = clickSD
			expected, _ := u.StepSE()
			t.Logf("%g m, run %d: %.1f cm off by %+.1f, ±%.1f stated, ±%.1f expected by the check", height, run, 100*m.Value, 100*m.Value-9, 100*m.SE, 100*expected)
			sum[height][0] += sq(m.Value-0.09) / 3
			sum[height][1] += sq(m.SE) / 3
			sum[height][2] += sq(expected) / 3
		}
		off, stated, expected := math.Sqrt(sum[height][0]), math.Sqrt(sum[height][1]), math.Sqrt(sum[height][2])
		if stated > 1.1*expected || stated < 0.6*expected || off > 1.6*expected {
			t.Errorf("%g m: off by %.1f cm, ±%.1f stated, ±%.1f expected by the check", height, 100*off, 100*stated, 100*expected)
		}
	}
	if sum[1.2][1] < sq(1.2)*sum[2][1] || sum[1.2][2] < sq(1.2)*sum[2][2] {
		t.Errorf("a phone at 1.2 m is expected to do, or does, as well as one at 2 m: %v", sum)
	}
}

func sq(x float64) float64 { return x * x }
