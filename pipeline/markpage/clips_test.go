package markpage

import (
	"os"
	"path/filepath"
	"testing"

	"jogstrip/pipeline/markpage/pagetest"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// renderedClip returns a small rendered clip of a horse that comes toward the
// camera, and the truth about it.
func renderedClip(t testing.TB) (string, *scene.Truth) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "toward.mp4")
	return path, scenetest.Render(t, scene.Scene{
		Seed: 11, View: traj.Toward,
		Motion: scene.Motion{StartM: 8.5, EndM: 5},
		Camera: scene.Camera{Width: 960, Height: 540, FPS: 30},
	}, path)
}

func TestMain(m *testing.M) { os.Exit(pagetest.Main(m)) }

// yard makes a yard folder with one visit that holds copies of a clip.
func yard(t testing.TB, clip string, names ...string) (dir, visit string) {
	t.Helper()
	dir = t.TempDir()
	visit = filepath.Join(dir, "horses", "bramble", "2026-03-02")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		copyFile(t, clip, filepath.Join(visit, n))
	}
	return dir, visit
}

func copyFile(t testing.TB, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// plainClip makes a clip without a horse.
func plainClip(t testing.TB, path, size string, rate, frames string) {
	t.Helper()
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size="+size+":rate="+rate, "-frames:v", frames, "-c:v", "libx264", "-preset", "ultrafast", "-g", "60", "-pix_fmt", "yuv420p")
}
