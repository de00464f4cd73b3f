package main

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/scene/scenetest"
)

// What another process tells of a clip is what Probe itself finds, errors too.
func TestProbeAsideTellsWhatProbeFinds(t *testing.T) {
	dir := t.TempDir()
	good := filepath.Join(dir, "good \xff.mp4")
	scenetest.Coded(t, good, "-f", "lavfi", "-i", "testsrc2=size=64x48:rate=30,setpts=PTS+0.4/TB", "-frames:v", "5", "-c:v", "libx264", "-pix_fmt", "yuv420p", "-fps_mode", "passthrough")
	bad := filepath.Join(dir, "bad \xff.mp4")
	if err := os.WriteFile(bad, []byte("no clip"), 0o644); err != nil {
		t.Fatal(err)
	}
	command := func(_ context.Context, path string) *exec.Cmd { return jogstrip(t, "probe", "--", path) }
	for _, path := range []string{good, bad, filepath.Join(dir, "absent.mp4")} {
		want, wantErr := clip.Probe(t.Context(), path)
		got, err := clip.ProbeAside(t.Context(), path, command)
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(clip.Info{})); diff != "" {
			t.Errorf("%q (-here +aside):\n%s", path, diff)
		}
		if (err == nil) != (wantErr == nil) || err != nil && (err.Error() != wantErr.Error() || errors.Is(err, clip.ErrNoPicture) != errors.Is(wantErr, clip.ErrNoPicture)) {
			t.Errorf("%q: %v, want %v", path, err, wantErr)
		}
	}
}

// A clip that brings down the process that reads it costs no more than that.
func TestProbeAsideOutlivesItsProcess(t *testing.T) {
	for _, script := range []string{"kill -SEGV $$", "echo '{\"Info\":'", "exit 0"} {
		info, err := clip.ProbeAside(t.Context(), "/yard/a.mp4", func(ctx context.Context, _ string) *exec.Cmd { return exec.CommandContext(ctx, "sh", "-c", script) })
		if info != nil || err == nil || !strings.Contains(err.Error(), "/yard/a.mp4") {
			t.Errorf("%s: %v, %v", script, info, err)
		}
	}
}
