package track

import (
	"testing"

	"jogstrip/track/traj"
)

// A hind lands in the print of the fore of its side. Where the two seem to be one stance its
// beginning is taken off, unless the opposite hind was in the air or a person marked it there.
func TestHindLandsInThePrintOfAFore(t *testing.T) {
	var times []float64
	for f := range 120 {
		times = append(times, float64(f)/60)
	}
	stance := func(l traj.Landmark, first, last int) *standing {
		s := &standing{model: &known, landmark: l, before: first - 1, after: last + 1, marked: -1}
		for f := first; f <= last; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		return s
	}
	for _, tt := range []struct {
		name     string
		first    int // Of the right hind's second stance, which ends in frame 70.
		opposite int // Where the left hind's stance of 14 frames begins.
		seeds    []seed
		want     int // Its first frame afterwards, or the next: times are rounded.
	}{
		{"as long as usual", 57, 38, nil, 57},
		{"begins as the fore stands", 38, 38, nil, 57},
		{"the opposite hind stands before it", 38, 12, nil, 38},
		{"marked at its beginning", 38, 38, []seed{{Mark: Mark{Frame: 40, Landmark: traj.RightHind, Visible: true}}}, 38},
		{"marked at its end", 38, 38, []seed{{Mark: Mark{Frame: 65, Landmark: traj.RightHind, Visible: true}}}, 57},
	} {
		s := stance(traj.RightHind, tt.first, 70)
		all := []*standing{stance(traj.RightHind, 15, 28), stance(traj.LeftHind, tt.opposite, tt.opposite+13), s, stance(traj.LeftHind, 76, 89)}
		s.afterPrint(times, all, tt.seeds)
		if late := s.first() - tt.want; late < 0 || late > 1 || (s.before == -1) != (tt.want != tt.first) {
			t.Errorf("%s: stands from frame %d on, after frame %d; want %d", tt.name, s.first(), s.before, tt.want)
		}
	}
}
