package track

import (
	"slices"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Somebody passes before the left shoulder, whose patch goes with him; or the right one's
// does. What the others do not bear out is dropped, the rest stays, marks always.
func TestBreastIsHeldTogether(t *testing.T) {
	landmarks := []traj.Landmark{traj.Head, traj.Chest, traj.LeftShoulder, traj.RightShoulder}
	places := []flow.Point{{X: 200, Y: 50}, {X: 200, Y: 300}, {X: 250, Y: 290}, {X: 150, Y: 290}}
	const side, frames, at = 60, 10, 5
	for _, c := range []struct {
		name  string
		moved map[traj.Landmark]flow.Point
		lost  []traj.Landmark // Not followed in that frame.
		drops []traj.Landmark
	}{
		{"nothing is astray", nil, nil, nil},
		{"the swing lifts a shoulder by 3 cm", map[traj.Landmark]flow.Point{traj.LeftShoulder: {Y: -10}}, nil, nil},
		{"the head nods and swings", map[traj.Landmark]flow.Point{traj.Head: {X: 6, Y: 20}}, nil, nil},
		{"left with the handler", map[traj.Landmark]flow.Point{traj.LeftShoulder: {X: 15, Y: 5}}, nil, []traj.Landmark{traj.LeftShoulder}},
		{"left a little with the handler", map[traj.Landmark]flow.Point{traj.LeftShoulder: {X: 11}}, nil, []traj.Landmark{traj.LeftShoulder}},
		{"left with the handler, the chest hidden", map[traj.Landmark]flow.Point{traj.LeftShoulder: {X: 15, Y: 5}}, []traj.Landmark{traj.Chest}, []traj.Landmark{traj.LeftShoulder}},
		{"right with the handler, the chest hidden", map[traj.Landmark]flow.Point{traj.RightShoulder: {X: -15}}, []traj.Landmark{traj.Chest}, []traj.Landmark{traj.RightShoulder}},
		{"two with the handler", map[traj.Landmark]flow.Point{traj.Chest: {X: 40}, traj.LeftShoulder: {X: 40}}, nil, []traj.Landmark{traj.Chest, traj.LeftShoulder, traj.RightShoulder}},
		{"one alone", nil, []traj.Landmark{traj.Chest, traj.LeftShoulder}, []traj.Landmark{traj.RightShoulder}},
	} {
		clip := &clip{model: &known, times: make([]float64, frames)}
		sweep := make([][]estimate, len(landmarks))
		for i, l := range landmarks {
			clip.marks = append(clip.marks, Mark{Frame: 0, Landmark: l, X: places[i].X, Y: places[i].Y, Visible: true})
			size := float64(side)
			if l == traj.Chest {
				size *= chestWide
			}
			for f := range frames {
				sweep[i] = append(sweep[i], estimate{at: places[i], size: size, variance: 0.3, seen: true, marked: f == 0})
			}
			d := c.moved[l]
			sweep[i][at].at.X += d.X
			sweep[i][at].at.Y += d.Y
			sweep[i][at].seen = !slices.Contains(c.lost, l)
		}
		clip.hold(landmarks, sweep)
		for i, l := range landmarks {
			want := !slices.Contains(c.lost, l) && !slices.Contains(c.drops, l)
			if got := sweep[i][at].seen; got != want {
				t.Errorf("%s: %s stays: %v, want %v", c.name, l, got, want)
			}
			if !sweep[i][0].seen || !sweep[i][at+1].seen {
				t.Errorf("%s: %s is dropped in other frames", c.name, l)
			}
		}
	}
}
