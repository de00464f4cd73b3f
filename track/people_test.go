package track_test

import (
	"math"
	"testing"

	"jogstrip/track"
	"jogstrip/track/traj"
)

// A real clip: the head of a woman who walks over a lawn, turns and goes away
// from the camera (people-walking.avi, 10 frames/s, from the OpenCV examples).
// She is marked once and followed to the end; the path back from there must
// agree with the path there within the spread that both report. The mark was
// read from the picture of the frame, enlarged five times.
func TestPersonWalkingAway(t *testing.T) {
	const first, last, marked = 620, 690, 640
	open := people(t, first, last)
	at := func(f int, x, y float64) track.Mark {
		return track.Mark{Frame: f - first, Landmark: traj.Head, X: x, Y: y, Visible: true, SD: 0.5}
	}
	there, err := track.Run(t.Context(), open, []track.Mark{at(marked, 357, 402)}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	head := there.Set.Track(traj.Head)
	seen, end := 0, -1
	for f, s := range head.Samples {
		if s.Status.Seen() {
			seen++
			end = f
		}
	}
	if seen < 45 {
		t.Fatalf("followed through %d of %d frames, want 45 or more; losses %v", seen, len(there.Set.Times), there.Losses)
	}
	s := head.Samples[end]
	back, err := track.Run(t.Context(), open, []track.Mark{at(end+first, s.X, s.Y)}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// Near the mark the first path is sure; the way back has the whole way behind it.
	returned := back.Set.Track(traj.Head)
	var both, within int
	for f := range head.Samples {
		a, b := head.Samples[f], returned.Samples[f]
		if !a.Status.Seen() || !b.Status.Seen() {
			continue
		}
		both++
		d, spread := math.Hypot(a.X-b.X, a.Y-b.Y), math.Hypot(a.SD, b.SD)
		if d < 3*spread+1 {
			within++
		}
		if f%6 == 0 {
			t.Logf("frame %d: there and back differ by %.2f px, spread %.2f px", f+first, d, spread)
		}
	}
	t.Logf("seen in %d of %d frames to frame %d; there and back in %d, of these %d agree within three spreads and a pixel", seen, len(there.Set.Times), end+first, both, within)
	if both < 15 || 20*within < 19*both {
		t.Errorf("%d frames seen there and back, %d agree: want 15 or more, 95 %% of them", both, within)
	}
	if there.Set.Motions != nil {
		t.Errorf("the camera stands still, yet a shake of %.2f px is reported", there.Set.ShakeRMS)
	}
}
