package track_test

import (
	"testing"

	"jogstrip/pipeline/scene"
	"jogstrip/track"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// A horse that plaits sets each hoof down across the midline, so in the picture
// left and right limb change sides at every step and hide each other. A hoof that
// is said to be seen must always lie nearer to itself than to its opposite (or
// within 3 px, as they may lie on one another in the picture).
// Beside it, from one mark of each hoof, forward–backward agreement alone.
func TestPlaitingLimbsKeepTheirSides(t *testing.T) {
	for _, tt := range []struct {
		name       string
		view       traj.View
		start, end float64
		gait       traj.Gait
		across     float64 // How far across the midline each hoof lands, cm.
		seed       uint64
	}{
		{"trot toward", traj.Toward, 8.5, 5, traj.Trot, 5, 31},
		{"trot toward, on the midline", traj.Toward, 8.5, 5, traj.Trot, 0, 41},
		{"walk toward, on the midline", traj.Toward, 7.5, 5, traj.Walk, 0, 41},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene.Scene{Seed: tt.seed, View: tt.view, Gait: tt.gait}
			s.Camera.Width, s.Camera.Height = 1280, 720
			s.Motion.StartM, s.Motion.EndM = tt.start, tt.end
			inward := -9 - tt.across // An even horse's hooves land nine centimetres outward.
			s.Asymmetry.PlacementForeCM = scene.Sides{Left: inward, Right: inward}
			s.Asymmetry.PlacementHindCM = scene.Sides{Left: inward, Right: inward}
			r := render(t, "plaiting", s)
			crossed := 0
			left, right := r.Points(traj.LeftFore), r.Points(traj.RightFore)
			for f := range left {
				if tt.view.LeftSign()*(left[f].X-right[f].X) < 0 {
					crossed++
				}
			}
			if 5*crossed < len(left) {
				t.Fatalf("the forelimbs are crossed in %d of %d frames, want a fifth or more", crossed, len(left))
			}
			n := len(r.Times)
			trap := r.agreement(t, r.marks([]int{n / 2}))
			if trap.off3 == 0 {
				t.Error("agreement alone lets no bad point through: this is no trap")
			}
			for _, wanted := range [][]int{{n / 2}, {n / 6, n / 2, 5 * n / 6}} {
				res := r.track(t, r.marks(wanted))
				var ours tally
				swapped := 0
				for i := range res.Set.Tracks {
					tr := &res.Set.Tracks[i]
					if !tr.Landmark.IsHoof() {
						continue
					}
					own, other := r.Points(tr.Landmark), r.Points(tr.Landmark.Opposite())
					at := func(f int) flow.Point { return flow.Point{X: own[f].X, Y: own[f].Y} }
					across := func(f int) flow.Point { return flow.Point{X: other[f].X, Y: other[f].Y} }
					for f, p := range tr.Samples {
						if p.Status != traj.Tracked {
							continue
						}
						q := flow.Point{X: p.X, Y: p.Y}
						ours.add(q.Dist(at(f)))
						if d := q.Dist(at(f)); d > 3 && d > q.Dist(across(f)) {
							swapped++
							t.Errorf("%s, frame %d: seen at (%.1f, %.1f) ± %.2f px, truly at (%.1f, %.1f), and its opposite at (%.1f, %.1f)",
								tr.Landmark, f, p.X, p.Y, p.SD, own[f].X, own[f].Y, other[f].X, other[f].Y)
						}
					}
				}
				t.Logf("%d marked frames, hooves crossed in %d of %d: nearer to the opposite hoof in %d of %d frames in which a hoof is seen; more than 3 px (5 px) off: %d (%d); agreement alone %d (%d) of %d it believes",
					len(wanted), crossed, n, swapped, ours.claimed, ours.off3, ours.off5, trap.off3, trap.off5, trap.claimed)
				if 8*ours.claimed < n {
					t.Errorf("hooves are seen in %d frames of %d: too few to judge by", ours.claimed, n)
				}
			}
		})
	}
}

// agreement tells what forward–backward agreement alone makes of the marks of hooves.
func (r *rendered) agreement(t *testing.T, marks []track.Mark) (c tally) {
	t.Helper()
	var frames []flow.Gray
	for _, pix := range r.film.frames {
		frames = append(frames, flow.Gray{Width: r.film.width, Height: r.film.height, Stride: r.film.width, Pix: pix})
	}
	byFrame := map[int][]track.Mark{}
	for _, m := range marks {
		if m.Landmark.IsHoof() {
			byFrame[m.Frame] = append(byFrame[m.Frame], m)
		}
	}
	for _, together := range byFrame {
		c.join(plain(t, frames, together, func(i, f int) flow.Point {
			p := r.Points(together[i].Landmark)[f]
			return flow.Point{X: p.X, Y: p.Y}
		}))
	}
	return c
}
