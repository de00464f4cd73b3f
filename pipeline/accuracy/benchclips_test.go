//go:build study

package accuracy_test

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// TestBenchClips renders the clips that scripts/bench measures into the folder
// that JOGSTRIP_BENCH_CLIPS names, with marks beside them. What is there already
// is kept.
func TestBenchClips(t *testing.T) {
	folder := os.Getenv("JOGSTRIP_BENCH_CLIPS")
	if folder == "" {
		t.Skip("JOGSTRIP_BENCH_CLIPS names no folder")
	}
	for _, c := range []struct {
		name      string
		view      traj.View
		from      float64 // Farthest distance, m; 0 means the renderer's.
		camera    scene.Camera
		distances int
	}{
		{"toward-1080p60", traj.Toward, 0, scene.Camera{}, 1},
		{"away-1080p60", traj.Away, 0, scene.Camera{}, 2},
		{"toward-2160p60", traj.Toward, 15, scene.Camera{Width: 3840, Height: 2160}, 1},
	} {
		path := filepath.Join(folder, c.name+".mp4")
		marks := record.MarksPath(path)
		if _, err := os.Stat(marks); !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		s := scene.Scene{Seed: 41, View: c.view, Camera: c.camera}
		s.Horse.Markers = true
		if c.view == traj.Toward {
			s.Motion.StartM = c.from
		} else {
			s.Motion.EndM = c.from
		}
		truth, err := scene.Render(context.Background(), s, path, "", nil)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if err := record.WriteMarks(marks, demo.Clicked(truth, s, filepath.Base(path), demo.Clicking{Distances: c.distances})); err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: %d frames", c.name, len(truth.Times))
	}
}
