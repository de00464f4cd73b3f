package main

import (
	"context"
	"math"
	"os/exec"
	"path/filepath"
	"testing"

	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// After one left and one right stance the others are proposed: on the right side,
// while the hoof stands, and where it really is. The clip is a check, not a
// sealed one: it is looked at while developing.
func TestProposedMarksAreWhereTheHoofStands(t *testing.T) {
	clip, _, truth := filmedFrom(t, 16)
	p := &clipProposer{command: func(ctx context.Context, clip, like string) *exec.Cmd { return jogstrip(t, proposeArgs(clip, like)...) }}
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 960, Height: 540}}
	middle := len(truth.Times) * 2 / 3
	marked := map[int]bool{}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore} {
		f := middleOfStance(truth, l, middle)
		marked[f] = true
		for _, k := range []traj.Landmark{l, traj.Head} {
			q := truth.Points(k)[f]
			marks.Marks = append(marks.Marks, record.At(f, k, math.Round(q.X), math.Round(q.Y)))
		}
	}
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	found, reason, err := p.Propose(t.Context(), clip, traj.Toward, []markpage.Marked{{Clip: clip, Marks: marks}})
	if err != nil {
		t.Fatal(err)
	}
	sides, within, hooves := map[traj.Side]int{}, 0, 0
	for _, m := range found {
		q := truth.Points(m.Landmark)[m.Frame]
		far := math.Hypot(m.X-q.X, m.Y-q.Y)
		if far <= 2 {
			within++
		} else {
			t.Logf("%s in frame %d is proposed %.1f px away", m.Landmark, m.Frame, far)
		}
		if !m.Landmark.IsHoof() {
			continue
		}
		hooves++
		sides[m.Landmark.Side()]++
		other := truth.Points(m.Landmark.Opposite())[m.Frame]
		if math.Hypot(m.X-other.X, m.Y-other.Y) < far {
			t.Errorf("%s in frame %d sits on the other side's hoof", m.Landmark, m.Frame)
		}
		stands := false
		for _, c := range truth.Contacts {
			stands = stands || c.Limb == m.Landmark && c.On <= truth.Times[m.Frame] && truth.Times[m.Frame] <= c.Off
		}
		if !stands {
			t.Errorf("%s in frame %d is in the air", m.Landmark, m.Frame)
		}
		if marked[m.Frame] {
			t.Errorf("frame %d is marked already", m.Frame)
		}
	}
	t.Logf("%d marks proposed, %d within 2 px; %d hooves on the left, %d on the right; %s", len(found), within, sides[traj.Left], sides[traj.Right], reason)
	if sides[traj.Left] == 0 || sides[traj.Right] == 0 || sides[traj.Left] > 2 || sides[traj.Right] > 2 {
		t.Errorf("proposed on the left %d, on the right %d; one or two each are wanted", sides[traj.Left], sides[traj.Right])
	}
	if 10*within < 8*len(found) {
		t.Errorf("%d of %d lie within 2 px", within, len(found))
	}
	// By another clip's marks, too; package pipeline tests how well.
	copied := filepath.Join(filepath.Dir(clip), "toward-2.mp4")
	copyFile(t, clip, copied)
	found, reason, err = p.Propose(t.Context(), copied, traj.Toward, []markpage.Marked{{Clip: clip, Marks: marks}})
	if err != nil || len(found) < 6 {
		t.Errorf("by another clip: %v, %q, %v", found, reason, err)
	}
}
