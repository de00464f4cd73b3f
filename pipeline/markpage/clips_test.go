package markpage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
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

func TestMain(m *testing.M) {
	code := pagetest.Main(m)
	if err := yards.end(); err != nil {
		fmt.Fprintln(os.Stderr, "end the servers that tests shared:", err)
		code = max(code, 1)
	}
	os.Exit(code)
}

// clipYard is a yard of one visit with the rendered clip, and the server before it.
type clipYard struct {
	server     *Server
	dir, visit string
	stop       func()
}

// yards are those that tests use one after the other: what costs most at a clip's page is
// making its pictures.
var yards sharedYards

type sharedYards struct {
	mu        sync.Mutex
	free, all []*clipYard
}

// oneClip returns a server before a visit with the rendered clip, toward-1.mp4, which nobody
// has marked, and the truth about it. What the test puts into the visit is removed when it
// ends; what it would change of the server itself needs a server of its own (serve).
func oneClip(t testing.TB) (s *Server, visit string, truth *scene.Truth) {
	t.Helper()
	clip, truth := renderedClip(t)
	y, err := yards.take(t, clip)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := y.tidy(); err != nil {
			t.Error(err)
		}
		if !t.Failed() {
			yards.give(y)
		}
	})
	return y.server, y.visit, truth
}

func (s *sharedYards) take(t testing.TB, clip string) (*clipYard, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := len(s.free); n > 0 {
		y := s.free[n-1]
		s.free = s.free[:n-1]
		return y, y.tidy() // Once more: a page that was closed may have had its last word.
	}
	dir, err := os.MkdirTemp("", "jogstrip-yard-")
	if err != nil {
		return nil, err
	}
	y := &clipYard{dir: dir, visit: filepath.Join(dir, filepath.FromSlash(visitFolder))}
	if err := os.MkdirAll(y.visit, 0o755); err != nil {
		return nil, err
	}
	copyFile(t, clip, filepath.Join(y.visit, "toward-1.mp4"))
	if y.server, err = Listen(Options{Folder: dir}); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- y.server.Serve(ctx) }()
	y.stop = func() { cancel(); <-ended }
	s.all = append(s.all, y)
	return y, nil
}

func (s *sharedYards) give(y *clipYard) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.free = append(s.free, y)
}

// end ends all servers.
func (s *sharedYards) end() (err error) {
	for _, y := range s.all {
		y.stop()
		err = errors.Join(err, os.RemoveAll(y.dir))
	}
	return err
}

// tidy removes all but the clip from the visit.
func (y *clipYard) tidy() error {
	entries, err := os.ReadDir(y.visit)
	for _, e := range entries {
		if e.Name() != "toward-1.mp4" {
			err = errors.Join(err, os.RemoveAll(filepath.Join(y.visit, e.Name())))
		}
	}
	return err
}

// yard makes a yard folder with one visit that holds copies of a clip, or none.
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
