package metrics

import (
	"testing"

	"jogstrip/track/traj"
)

// Marks 5 to 8 m away are asked for where fewer than two of a leading hoof are there, in
// a frame in which it stands, and no longer once they are made.
func TestNearMarks(t *testing.T) {
	h := sound()
	set := h.tracks()
	run, err := Measure(set, h.options())
	if err != nil {
		t.Fatal(err)
	}
	count := map[traj.Landmark]int{}
	for _, a := range NearMarks(run, set) {
		count[a.Limb]++
		stands := false
		for _, s := range set.Stances {
			stands = stands || s.Landmark == a.Limb && a.Frame >= s.First && a.Frame <= s.Last
		}
		if !stands {
			t.Errorf("the %s does not stand in frame %d", a.Limb, a.Frame)
		}
		set.Track(a.Limb).Samples[a.Frame].Status = traj.Marked
	}
	if len(count) != 2 || count[traj.LeftFore] == 0 || count[traj.RightFore] == 0 {
		t.Errorf("asked for: %v", count)
	}
	if again := NearMarks(run, set); len(again) != 0 {
		t.Errorf("asked for again: %v", again)
	}
}
