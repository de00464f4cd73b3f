package track_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// The spread of a position is as large as its error: errors over spread have a
// standard deviation of 0.8 to 1.25. Clicks are off by half a pixel and say so, as
// a person's are; six people click each clip, as the error of a click is common to
// all frames that hang on it. The limits hold for all positions together, and the
// upper one for every part. From behind the spread is
// larger than the errors of these clips: that of the croup along its level outline
// allows for coats against which the tail is seen to sway, and that of a hoof for
// how it tilts.
func TestSpreadIsTrue(t *testing.T) {
	const click = 0.5 // px.
	pools := map[string][]float64{}
	for _, tt := range []struct {
		name       string
		view       traj.View
		start, end float64
		seed       uint64
	}{
		{"toward", traj.Toward, 9.5, 5, 51},
		{"away", traj.Away, 5.4, 9.6, 52},
	} {
		s := scene.Scene{Seed: tt.seed, View: tt.view}
		s.Camera.Width, s.Camera.Height = 1280, 720
		s.Motion.StartM, s.Motion.EndM = tt.start, tt.end
		r := render(t, "spread-"+tt.name, s)
		n := len(r.Times)
		for person := range uint64(6) {
			marks := r.marks([]int{n / 6, n / 2, 5 * n / 6})
			rng := rand.New(rand.NewPCG(person, tt.seed))
			for i := range marks {
				m := &marks[i]
				m.X, m.Y, m.SD = m.X+click*rng.NormFloat64(), m.Y+click*rng.NormFloat64(), click
			}
			res := r.track(t, marks)
			for i := range res.Set.Tracks {
				tr := &res.Set.Tracks[i]
				points := r.Points(tr.Landmark)
				for f, p := range tr.Samples {
					if p.Status != traj.Tracked {
						continue
					}
					part := tt.name + ", body"
					if tr.Landmark.IsHoof() {
						part = tt.name + ", hooves at the ends of stances"
						if r.stands(tr.Landmark, f) {
							part = tt.name + ", hooves in stance"
						}
					}
					pools[part] = append(pools[part], (p.X-points[f].X)/p.SD, (p.Y-points[f].Y)/p.SpreadY())
				}
			}
		}
	}
	var all []float64
	for _, part := range []string{"toward, body", "toward, hooves in stance", "toward, hooves at the ends of stances", "away, body", "away, hooves in stance", "away, hooves at the ends of stances"} {
		sd, within := normalised(pools[part])
		t.Logf("%-25s %3d positions: errors over spread have SD %.2f, %.0f %% lie within 1.96", part, len(pools[part])/2, sd, within)
		if strings.Contains(part, "ends") {
			// The hoof comes down or rolls there already: no normal error has its size.
			if within < 80 {
				t.Errorf("%s: %.0f %% lie within 1.96 spreads, want 80 or more", part, within)
			}
			continue
		}
		if sd > 1.25 {
			t.Errorf("%s: errors over spread have SD %.2f, want 1.25 or less", part, sd)
		}
		all = append(all, pools[part]...)
	}
	sd, within := normalised(all)
	t.Logf("%-25s %3d positions: errors over spread have SD %.2f, %.0f %% lie within 1.96", "all", len(all)/2, sd, within)
	if !(sd >= 0.8 && sd <= 1.25) {
		t.Errorf("errors over spread have SD %.2f, want 0.8 to 1.25", sd)
	}
}

// normalised returns the root mean square of errors over spread and the share,
// percent, that 95 % intervals would hold.
func normalised(x []float64) (sd, within float64) {
	for _, v := range x {
		sd += v * v
		if math.Abs(v) <= 1.96 {
			within++
		}
	}
	n := float64(len(x))
	return math.Sqrt(sd / n), 100 * within / n
}
