package track_test

import (
	"testing"

	"jogstrip/track"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// A head that something hides is looked for where it can have gone meanwhile: another one that
// looks alike, a few heads aside, is left alone, and the head itself is taken up again.
func TestALostHeadIsNotAnothers(t *testing.T) {
	look := texture(41, 110, 14)
	const hidden, back = 12, 30
	head := func(f int) flow.Point { return flow.Point{X: 120 + 0.15*float64(f), Y: 90} }
	m := &movie{width: 320, height: 200, frames: 60, noise: 1.5, seed: 9, background: texture(2, 120, 8), sprites: []sprite{
		{radius: 16, grey: look, at: func(int) flow.Point { return flow.Point{X: 165, Y: 92} }},
		{radius: 16, grey: look, at: head, absent: func(f int) bool { return f >= hidden && f < back }},
	}}
	at := head(0)
	r := run(t, m, track.Mark{Frame: 0, Landmark: traj.Head, X: at.X, Y: at.Y, Visible: true, SD: 0.3})
	again := 0
	for f, s := range r.Set.Track(traj.Head).Samples {
		if !s.Status.Seen() {
			continue
		}
		if d := (flow.Point{X: s.X, Y: s.Y}).Dist(head(f)); d > 3 || f > hidden+1 && f < back {
			t.Errorf("frame %d: seen %.0f px from the head", f, d)
		}
		if f >= back {
			again++
		}
	}
	if again < 20 {
		t.Errorf("after it came back it is seen in %d of 30 frames", again)
	}
}
