package pipeline

import (
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// A stance that is marked is not proposed again, also where it seems to last into the
// swing: its middle then lies far from the mark, with the hoof in the air.
func TestAMarkedStanceIsNotProposedAgain(t *testing.T) {
	const rate, frames = 60, 180
	p := &proposer{marks: &record.Marks{View: traj.Toward}, set: &traj.Set{}, run: &metrics.Run{}}
	samples := make([]traj.Sample, frames)
	for f := range samples {
		p.times = append(p.times, float64(f)/rate)
		samples[f] = traj.Sample{X: 100, Y: 100, SD: 0.3, Status: traj.Tracked}
	}
	p.set.Tracks = []traj.Track{{Landmark: traj.RightFore, Samples: samples}}
	p.run.Contacts = []metrics.Contact{
		{Limb: traj.RightFore, On: 0.35, Off: 1.1, OnSD: 0.02, OffSD: 0.02}, // Marked at its beginning; it left the ground at 0.6 s.
		{Limb: traj.RightFore, On: 1.6, Off: 1.9, OnSD: 0.02, OffSD: 0.02},
	}
	got := p.free(traj.RightFore, []float64{0.4})
	if len(got) != 1 || p.times[got[0]] < 1.6 || p.times[got[0]] > 1.9 {
		t.Errorf("proposed are frames %v; the one stance that is not marked lasts from 1.6 to 1.9 s", got)
	}
}
