package track

import (
	"testing"

	"jogstrip/track/traj"
)

// A hind lands in the print of the fore of its side. Where the two seem to be one stance the
// beginning of a hind's is taken off and the end of a fore's, up to what a person marked there.
func TestHindLandsInThePrintOfAFore(t *testing.T) {
	const usual = 14.0 / 60 // s.
	var times []float64
	for f := range 120 {
		times = append(times, float64(f)/60)
	}
	marked := func(l traj.Landmark, frame int) []seed {
		return []seed{{Mark: Mark{Frame: frame, Landmark: l, Visible: true}}}
	}
	for _, tt := range []struct {
		name        string
		hoof        traj.Landmark
		from, to    int // The stance.
		seeds       []seed
		first, last int // What is left of it, to a frame: times are rounded.
	}{
		{"as long as usual", traj.RightHind, 57, 70, nil, 57, 70},
		{"a fifth longer than usual", traj.RightHind, 54, 70, nil, 54, 70},
		{"a hind comes where a fore stood", traj.RightHind, 38, 70, nil, 56, 70},
		{"marked before it is usual", traj.RightHind, 38, 70, marked(traj.RightHind, 40), 40, 70},
		{"marked at its end", traj.RightHind, 38, 70, marked(traj.RightHind, 65), 56, 70},
		{"another hoof is marked", traj.RightHind, 38, 70, marked(traj.LeftHind, 40), 56, 70},
		{"a hind comes where a fore stands", traj.LeftFore, 38, 70, nil, 38, 52},
		{"a fore marked after it is usual", traj.LeftFore, 38, 70, marked(traj.LeftFore, 60), 38, 60},
	} {
		s := &standing{model: &known, landmark: tt.hoof, before: tt.from - 1, after: tt.to + 1, marked: -1}
		for f := tt.from; f <= tt.to; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		s.cutLong(times, usual, tt.seeds)
		if early, late := s.first()-tt.first, tt.last-s.last(); early < 0 || early > 1 || late < 0 || late > 1 {
			t.Errorf("%s: stands in frames %d to %d, want %d to %d", tt.name, s.first(), s.last(), tt.first, tt.last)
		}
		if (s.before < 0) != (tt.first != tt.from) || (s.after < 0) != (tt.last != tt.to) {
			t.Errorf("%s: seen without it in frames %d and %d: an end that was taken off is not known", tt.name, s.before, s.after)
		}
	}
}
