package track

import (
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// At the trot diagonal limbs stand together, at the pace those of one side (Hildebrand M
// 1965, Science 150:701): a hind seen standing while the fore stands that is down when it is
// up is another hoof.
func TestStancesBehindKeepTime(t *testing.T) {
	of := func(l traj.Landmark, first, last int) *standing {
		s := &standing{landmark: l, marked: -1}
		for f := first; f <= last; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		return s
	}
	model := errormodel.Usual().Tracking
	for _, tt := range []struct {
		name string
		gait traj.Gait
		hind traj.Landmark
		mark int // A frame in which the hind is marked; -1 is none.
		kept bool
	}{
		{"trot, with its diagonal", traj.Trot, traj.RightHind, -1, true},
		{"trot, with its own side", traj.Trot, traj.LeftHind, -1, false},
		{"trot, with its own side, but marked in it", traj.Trot, traj.LeftHind, 25, true},
		{"trot, with its own side, marked elsewhere", traj.Trot, traj.LeftHind, 60, false},
		{"pace, with its own side", traj.Pace, traj.LeftHind, -1, true},
		{"pace, with its diagonal", traj.Pace, traj.RightHind, -1, false},
		{"walk", traj.Walk, traj.LeftHind, -1, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := &clip{times: make([]float64, 100), grows: true, model: &model}
			for f := range c.times {
				c.times[f] = float64(f) / 60
			}
			if tt.mark >= 0 {
				c.marks = []Mark{{Landmark: tt.hind, Frame: tt.mark, Visible: true}}
			}
			got := c.inTime([]*standing{of(traj.LeftFore, 20, 38), of(traj.RightFore, 42, 60), of(tt.hind, 22, 36)}, tt.gait)
			if kept := len(got) == 3; kept != tt.kept {
				t.Errorf("kept %v, want %v", kept, tt.kept)
			}
		})
	}
}
