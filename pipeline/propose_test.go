package pipeline

import (
	"slices"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// following proposes in a clip of so many seconds in which hooves are followed all along.
func following(view traj.View, seconds int, hooves ...traj.Landmark) *proposer {
	const rate = 60
	p := &proposer{marks: &record.Marks{View: view}, set: &traj.Set{}, run: &metrics.Run{}}
	samples := make([]traj.Sample, seconds*rate)
	for f := range samples {
		p.times = append(p.times, float64(f)/rate)
		samples[f] = traj.Sample{X: 100, Y: 100, SD: 0.3, Status: traj.Tracked}
	}
	for _, l := range hooves {
		p.set.Tracks = append(p.set.Tracks, traj.Track{Landmark: l, Samples: samples})
	}
	return p
}

// Where a hoof seems to stand long before it lands, the stance that is proposed is still
// one in which it stands.
func TestAProposedStanceIsNotBeforeLanding(t *testing.T) {
	p := following(traj.Away, 4, traj.LeftHind, traj.RightHind)
	landed := map[traj.Landmark][]float64{traj.LeftHind: {0.1, 0.8, 1.5, 2.2}, traj.RightHind: {0.45, 1.15, 1.85, 2.55}}
	const stance, early = 0.2, 0.25
	for limb, times := range landed {
		for i, at := range times {
			c := metrics.Contact{Limb: limb, On: at, Off: at + stance, OnSD: 0.05, OffSD: 0.05}
			if limb == traj.RightHind && i > 1 {
				c.On -= early
			}
			p.run.Contacts = append(p.run.Contacts, c)
		}
	}
	for limb, times := range landed {
		got := p.free(limb, nil)
		if len(got) != len(times) {
			t.Fatalf("%s: frames %v", limb, got)
		}
		for i, f := range got {
			if at := p.times[f]; at < times[i] || at > times[i]+stance {
				t.Errorf("%s: frame %d at %.3f s is proposed; it stands from %.3f s", limb, f, at, times[i])
			}
		}
	}
}

// A stance that is marked is not proposed again, also where it seems to last into the
// swing: its middle then lies far from the mark, with the hoof in the air.
func TestAMarkedStanceIsNotProposedAgain(t *testing.T) {
	p := following(traj.Toward, 3, traj.RightFore)
	p.run.Contacts = []metrics.Contact{
		{Limb: traj.RightFore, On: 0.35, Off: 1.1, OnSD: 0.02, OffSD: 0.02}, // Marked at its beginning; it left the ground at 0.6 s.
		{Limb: traj.RightFore, On: 1.6, Off: 1.9, OnSD: 0.02, OffSD: 0.02},
	}
	got := p.free(traj.RightFore, []float64{0.4})
	if len(got) != 1 || p.times[got[0]] < 1.6 || p.times[got[0]] > 1.9 {
		t.Errorf("proposed are frames %v; the one stance that is not marked lasts from 1.6 to 1.9 s", got)
	}
}

// A hoof is proposed where it stands on its own side of the body, as marks show it; one that
// has drifted to the other side's place, and one without a body above it, is left out, with
// what else is proposed in its frame.
func TestProposedHoovesStandOnTheirSide(t *testing.T) {
	marks := &record.Marks{View: traj.Toward, Marks: []record.Mark{
		record.At(10, traj.LeftFore, 106, 200), record.At(10, traj.Head, 100, 100),
		record.At(20, traj.RightFore, 96, 200), record.At(20, traj.Head, 100, 100),
	}}
	at := func(frame int, l traj.Landmark, x, y float64) ProposedMark {
		return ProposedMark{Frame: frame, Landmark: l, X: x, Y: y}
	}
	found := []ProposedMark{
		at(30, traj.LeftFore, 205, 300), at(30, traj.Head, 200, 200), // Where left hooves stand.
		at(40, traj.RightFore, 203, 300), at(40, traj.Head, 200, 200), // Nearer to where left ones do.
		at(50, traj.RightFore, 196, 300), // No body to see it by.
	}
	got := onTheirSides(found, marks)
	if len(got) != 2 || got[0].Frame != 30 || got[1].Frame != 30 {
		t.Errorf("proposed are %v", got)
	}
}

// Who marks the points of the shoulders is offered them in further frames, where they are
// surely followed; nobody else is.
func TestWhatIsMarkedOfTheBodyIsProposed(t *testing.T) {
	marked := []traj.Landmark{traj.LeftFore, traj.Head, traj.LeftShoulder, traj.RightShoulder}
	for _, c := range []struct {
		marked, want []traj.Landmark
	}{
		{marked, []traj.Landmark{traj.LeftFore, traj.Head, traj.LeftShoulder}},
		{marked[:2], []traj.Landmark{traj.LeftFore, traj.Head}},
	} {
		p := following(traj.Toward, 3, marked...)
		vague := &p.set.Tracks[len(p.set.Tracks)-1] // The right shoulder lies in the shadow.
		vague.Samples = slices.Clone(vague.Samples)
		for f := range vague.Samples {
			vague.Samples[f].SD = 3
		}
		for _, l := range c.marked {
			p.marks.Marks = append(p.marks.Marks, record.At(30, l, 100, 100))
		}
		p.run.Contacts = []metrics.Contact{
			{Limb: traj.LeftFore, On: 0.35, Off: 0.65, OnSD: 0.02, OffSD: 0.02},
			{Limb: traj.LeftFore, On: 1.6, Off: 1.9, OnSD: 0.02, OffSD: 0.02},
		}
		var got []traj.Landmark
		for _, m := range p.more() {
			got = append(got, m.Landmark)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("marked %v: proposed are %v, want %v", c.marked, got, c.want)
		}
	}
}
