package markpage

import (
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

var rendered struct {
	once  sync.Once
	dir   string
	truth *scene.Truth
	err   error
}

// renderedClip returns a small rendered clip of a horse that comes toward the
// camera, and the truth about it. It is made once.
func renderedClip(t testing.TB) (string, *scene.Truth) {
	t.Helper()
	needFFmpeg(t)
	rendered.once.Do(func() {
		rendered.dir, rendered.err = os.MkdirTemp("", "markpage-test-")
		if rendered.err != nil {
			return
		}
		rendered.truth, rendered.err = scene.Render(t.Context(), scene.Scene{
			Seed: 11, View: traj.Toward,
			Motion: scene.Motion{StartM: 8.5, EndM: 5},
			Camera: scene.Camera{Width: 960, Height: 540, FPS: 30},
		}, filepath.Join(rendered.dir, "toward.mp4"), "", nil)
	})
	if rendered.err != nil {
		t.Fatal(rendered.err)
	}
	return filepath.Join(rendered.dir, "toward.mp4"), rendered.truth
}

func TestMain(m *testing.M) {
	code := m.Run()
	if rendered.dir != "" {
		_ = os.RemoveAll(rendered.dir)
	}
	os.Exit(code)
}

func needFFmpeg(t testing.TB) {
	t.Helper()
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skipf("SKIPPED: %s is not installed (Debian: apt install ffmpeg)", name)
		}
	}
}

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
	needFFmpeg(t)
	out, err := exec.Command("ffmpeg", "-v", "error", "-y", "-f", "lavfi", "-i", "testsrc2=size="+size+":rate="+rate, "-frames:v", frames, "-c:v", "libx264", "-preset", "ultrafast", "-g", "60", "-pix_fmt", "yuv420p", path).CombinedOutput()
	if err != nil {
		t.Fatalf("make clip: %v: %s", err, out)
	}
}
