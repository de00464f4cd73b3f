package markpage

import (
	"context"
	"fmt"
	"net/http/httptest"
	"path/filepath"
	"sync/atomic"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// counting counts how often marks are proposed, and fails when told to.
type counting struct {
	asked atomic.Int32
	fail  atomic.Bool
}

func (c *counting) Propose(_ context.Context, _ string, _ traj.View, _ []Marked) ([]Proposal, string, error) {
	if n := c.asked.Add(1); c.fail.Load() {
		return nil, "", fmt.Errorf("the %dth time it fails", n)
	}
	return []Proposal{{Frame: 1, Landmark: traj.LeftFore, X: 10, Y: 10, SD: 1}}, "", nil
}

// What is proposed for a clip is worked out once, until what it depends on changes; a
// failure is tried again.
func TestProposalsAreWorkedOutOnce(t *testing.T) {
	t.Parallel()
	clip := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, clip, "96x64", "30", "4")
	dir, visit := yard(t, clip, "toward-1.mp4", "toward-2.mp4")
	c := new(counting)
	s, err := Listen(Options{Folder: dir, Proposer: c})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	mark := func(name string, x float64) {
		t.Helper()
		m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 96, Height: 64}}
		for i, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftFore, traj.RightFore, traj.LeftFore, traj.RightFore} {
			m.Marks = append(m.Marks, record.At(i/2, l, x+float64(i), 40))
		}
		if err := record.WriteMarks(record.MarksPath(filepath.Join(visit, name)), m); err != nil {
			t.Fatal(err)
		}
	}
	want := func(code int, asked int32) {
		t.Helper()
		var w *httptest.ResponseRecorder
		for range 3 {
			if w = ask(s, "GET", "/api/proposals?clip="+visitFolder+"/toward-2.mp4", nil, nil); w.Code != code {
				t.Fatalf("%d %s", w.Code, w.Body)
			}
			if code != 200 {
				break
			}
		}
		if n := c.asked.Load(); n != asked {
			t.Errorf("worked out %d times, want %d", n, asked)
		}
	}
	mark("toward-1.mp4", 20)
	want(200, 1)
	mark("toward-1.mp4", 21)
	want(200, 2)
	mark("toward-1.mp4", 22)
	c.fail.Store(true)
	want(422, 3)
	c.fail.Store(false)
	want(200, 4)
	plainClip(t, filepath.Join(visit, "toward-2.mp4"), "96x64", "30", "5")
	want(200, 5)
}
