package track_test

import (
	"math"
	"testing"

	"jogstrip/track"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Two limbs that look alike stand and swing by turns; in swing each goes behind
// or in front of the other to its far side and comes back to its own place. One
// that is lost while it is covered must not be taken up again where the other
// stands. As horses do, they go on by more than the length of a hoof in a stride.
func TestAlikeLimbsThatCrossAreNotSwapped(t *testing.T) {
	for i, tt := range []struct {
		apart, across, rise, frames, phase float64
		marked                             []int
	}{
		{29, 2.3, 3.3, 44, 0.52, []int{0, 53}},
		{29, 1.5, 4, 40, 0.1, []int{6, 50}},
		{24, 1.9, 5, 46, 0.3, []int{2, 50}},
	} {
		limb1 := func(y, side, phase float64) func(f int) flow.Point {
			return func(f int) flow.Point {
				k, u := math.Modf(float64(f)/tt.frames + phase)
				v := max(0, 2*u-1) // How far through the swing.
				return flow.Point{
					X: 180 + side*tt.apart*(1-2*tt.across*math.Pow(math.Sin(math.Pi*v), 2)),
					Y: y + 16*(k+v) - 3*tt.rise*math.Sin(math.Pi*v),
				}
			}
		}
		look := texture(uint64(26+i), 105, 13)
		a, b := limb1(150, 1, tt.phase), limb1(152, -1, tt.phase+0.5)
		head := func(f int) flow.Point {
			return flow.Point{X: 180 + 4*math.Sin(float64(f)/6), Y: 40 + 3*math.Cos(float64(f)/6)}
		}
		m := &movie{width: 360, height: 220, frames: 56, noise: 1.5, seed: 4, background: texture(1, 120, 7),
			sprites: append(append(limb(look, a), limb(look, b)...), sprite{radius: 20, grey: texture(77, 110, 12), at: head})}
		paths := map[traj.Landmark]func(f int) flow.Point{traj.LeftFore: a, traj.RightFore: b, traj.Head: head}
		var marks []track.Mark
		for _, f := range tt.marked {
			for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.Head} {
				p := paths[l](f)
				marks = append(marks, track.Mark{Frame: f, Landmark: l, X: p.X, Y: p.Y, Visible: true, SD: 0.05})
			}
		}
		r := run(t, m, marks...)
		seen, wrong := 0, 0
		for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore} {
			for f, s := range r.Set.Track(l).Samples {
				if s.Status != traj.Tracked {
					continue
				}
				seen++
				q := flow.Point{X: s.X, Y: s.Y}
				if d := q.Dist(paths[l](f)); d > 3 {
					wrong++
					t.Errorf("pair %d, %s, frame %d: seen at (%.1f, %.1f) ± %.2f px, truly at (%.1f, %.1f), its opposite at (%.1f, %.1f)",
						i, l, f, s.X, s.Y, s.SD, paths[l](f).X, paths[l](f).Y, paths[l.Opposite()](f).X, paths[l.Opposite()](f).Y)
				}
			}
		}
		t.Logf("pair %d: seen %d, more than 3 px off %d", i, seen, wrong)
	}
}
