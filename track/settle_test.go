package track

import (
	"slices"
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// From behind a hoof comes down along the line of sight: it seems to be a part of its height
// beside its place before it stands. From in front it leaves so, and a hind may land in its
// print.
func TestSettle(t *testing.T) {
	down := []float64{5, 3, 1.5, 0.1, 0, -0.1, 0, 0.1, 0, 0, 0.1, 0} // Height above its place by frame, px.
	still := []float64{0.1, 0, -0.1, 0, 0.1, 0, 0, 0.1, 0, 0}
	one := []float64{0, 0, 2, 0, 0.1, -0.1, 0, 0.1, 0, 0, 0.1, 0} // A single frame was misread.
	for _, c := range []struct {
		name        string
		height      []float64
		comes       bool
		first, last int // Frames that are left.
		before      int
		after       int
	}{
		{"comes down from behind", down, false, 3, 11, 2, -1},
		{"leaves in front", reversed(down), true, 0, 8, -1, 9},
		{"stands all the time", still, false, 0, 9, -1, -1},
		{"stands all the time, from in front", still, true, 0, 9, -1, -1},
		{"one frame misread", one, false, 0, 11, -1, -1},
		{"too little is left", []float64{4, 4, 0, 0}, false, 0, 3, -1, -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			model := errormodel.Usual().Tracking
			s := &standing{model: &model, size: 20, before: -1, after: -1}
			for f, h := range c.height {
				s.seen = append(s.seen, stood{frame: f, steady: flow.Point{X: 100, Y: 200 - h}, ncc: 1, sd: 0.1})
			}
			s.settle(c.comes)
			if s.first() != c.first || s.last() != c.last || s.before != c.before || s.after != c.after {
				t.Errorf("stands in frames %d to %d, seen without in %d and %d, want %d to %d, %d and %d", s.first(), s.last(), s.before, s.after, c.first, c.last, c.before, c.after)
			}
		})
	}
}

// A fore and the hind that lands beside its print are seen as one: the hoof that is marked in them is
// left, whichever way the horse goes.
func TestRestOfTwoInOnePrint(t *testing.T) {
	const usual = 16.0 / 60 // s.
	for _, tt := range []struct {
		hoof        traj.Landmark
		comes       bool
		first, last int // Frames that are left: the fore stands in 0 to 15, the hind in 16 to 31.
	}{
		{traj.LeftFore, true, 0, 15},
		{traj.LeftHind, true, 16, 31},
		{traj.LeftHind, false, 16, 31},
		{traj.LeftFore, false, 0, 15},
	} {
		model := errormodel.Usual().Tracking
		c := &clip{model: &model, grows: tt.comes, slower: 1}
		s := &standing{model: &model, landmark: tt.hoof, size: 20, before: -1, after: -1}
		for f := range 32 {
			c.times = append(c.times, float64(f)/60)
			at := flow.Point{X: 100, Y: 200 + 0.1*float64(f%2)}
			if f > 15 {
				at.Y -= 3
			}
			s.seen = append(s.seen, stood{frame: f, steady: at, ncc: 1, sd: 0.1})
		}
		c.rest(s, usual)
		if s.first() != tt.first || s.last() != tt.last {
			t.Errorf("%s, comes %v: stands in frames %d to %d, want %d to %d", tt.hoof, tt.comes, s.first(), s.last(), tt.first, tt.last)
		}
	}
}

// From behind the heel is marked. As it leaves the hoof seems to rise, or looks otherwise; a
// limb that passes in front of it for a moment is no such thing.
func TestHeelRises(t *testing.T) {
	stands := []stood{{}, {}, {}, {}, {}, {}, {}, {}, {}}
	up := func(px float64) stood { return stood{steady: flow.Point{Y: -px}} }
	like := func(ncc float64) stood { return stood{ncc: ncc} }
	covered := stood{ncc: 0.6, sd: 2}
	for _, c := range []struct {
		name string
		end  []stood // After nine frames in which it stands.
		left int     // How many of these are left.
		// How many frames after the last of them it is seen to have left; 0: as was known before.
		after int
		// How many after them are followed while the heel rises.
		rising int
	}{
		{"stands", []stood{{}, {}}, 2, 1, 0},
		{"the heel rises", []stood{{}, up(2), up(4)}, 1, 1, 2},
		{"the last frame shows it", []stood{{}, {}, up(2)}, 2, 1, 1},
		{"it looks otherwise", []stood{{}, like(0.9), like(0.8)}, 1, 1, 0},
		{"a limb passes", []stood{{}, covered, covered, {}, {}}, 5, 1, 0},
		{"a limb passes and hides its end", []stood{{}, covered, covered}, 1, 0, 0},
		{"a limb passes, and the heel has risen", []stood{{}, covered, covered, up(2)}, 1, 3, 0},
		{"one frame misread", []stood{{}, up(2), {}, {}}, 4, 1, 0},
		{"it sinks into the sand", []stood{up(-2), up(-2)}, 2, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			model := errormodel.Usual().Tracking
			s := &standing{model: &model, size: 20, before: -1, after: 40}
			for f, p := range append(slices.Clone(stands), c.end...) {
				p.frame, p.steady.Y = f, p.steady.Y+200
				if p.ncc == 0 {
					p.ncc = 0.99
				}
				s.seen = append(s.seen, p)
			}
			s.rises()
			after := 40
			if c.after > 0 {
				after = s.last() + c.after
			}
			if got := len(s.seen) - len(stands); got != c.left || s.after != after {
				t.Errorf("%d frames of the end are left, seen to have left in frame %d, want %d and %d", got, s.after, c.left, after)
			}
			if len(s.rising) != c.rising {
				t.Errorf("in %d frames the heel rises, want %d", len(s.rising), c.rising)
			}
		})
	}
}

func reversed(v []float64) []float64 {
	var out []float64
	for i := len(v) - 1; i >= 0; i-- {
		out = append(out, v[i])
	}
	return out
}
