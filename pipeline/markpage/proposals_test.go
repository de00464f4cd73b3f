package markpage

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
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

// telling keeps by which clips marks are proposed.
type telling struct{ by []string }

func (p *telling) Propose(_ context.Context, _ string, _ traj.View, like []Marked) ([]Proposal, string, error) {
	for _, l := range like {
		p.by = append(p.by, filepath.Join(filepath.Base(filepath.Dir(l.Clip)), filepath.Base(l.Clip)))
	}
	return []Proposal{{Frame: 1, Landmark: traj.LeftFore, X: 10, Y: 10, SD: 1}}, "", nil
}

// Marks are proposed by clips of the same visit and view, and by no others: on another day a
// horse is not found surely enough again.
func TestProposalsGoByTheVisit(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	clip := filepath.Join(dir, "a.mp4")
	plainClip(t, clip, "96x64", "30", "4")
	mark := func(rel string, view traj.View) {
		t.Helper()
		m := &record.Marks{View: view, Gait: traj.Trot, Picture: record.Picture{Width: 96, Height: 64}}
		for i, side := range []traj.Side{traj.Left, traj.Right, traj.Left, traj.Right, traj.Left, traj.Right} {
			m.Marks = append(m.Marks, record.At(i/2, leadingHoof(view, side), 20+float64(i), 40))
		}
		if err := record.WriteMarks(record.MarksPath(filepath.Join(dir, rel)), m); err != nil {
			t.Fatal(err)
		}
	}
	const before, now = "horses/bramble/2026-03-02/", "horses/bramble/2026-03-30/"
	for _, rel := range []string{before + "toward-1.mp4", now + "away-1.mp4", now + "toward-1.mp4", now + "toward-2.mp4"} {
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(rel)), 0o755); err != nil {
			t.Fatal(err)
		}
		copyFile(t, clip, filepath.Join(dir, rel))
	}
	p := new(telling)
	s, err := Listen(Options{Folder: dir, Proposer: p})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	asked := func() (by, from string) {
		t.Helper()
		p.by = nil
		w := ask(s, "GET", "/api/proposals?clip="+now+"toward-1.mp4", nil, nil)
		var answer proposalsAnswer
		if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil || w.Code != 200 {
			t.Fatalf("%d %s, %v", w.Code, w.Body, err)
		}
		return strings.Join(p.by, ", "), answer.From
	}
	mark(before+"toward-1.mp4", traj.Toward)
	mark(now+"away-1.mp4", traj.Away)
	if by, from := asked(); by != "" || from != "" {
		t.Errorf("by %q, told as %q; nothing of the visit is like it", by, from)
	}
	mark(now+"toward-2.mp4", traj.Toward)
	if by, from := asked(); by != "2026-03-30/toward-2.mp4" || from != "toward-2.mp4" {
		t.Errorf("by %q, told as %q; want the visit's clip of this view alone", by, from)
	}
}
