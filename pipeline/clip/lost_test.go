package clip_test

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"jogstrip/pipeline/clip"
)

// ffmpegs returns the decoders that this process has started.
func ffmpegs(t *testing.T) []int {
	t.Helper()
	var out []int
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range stats {
		data, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		fields := strings.Fields(string(data))
		if len(fields) > 3 && fields[1] == "(ffmpeg)" && fields[3] == strconv.Itoa(os.Getpid()) {
			if pid, err := strconv.Atoi(fields[0]); err == nil {
				out = append(out, pid)
			}
		}
	}
	return out
}

// large is a clip whose frames don't fit into pipes, so that its decoder still
// runs when it is killed.
func large(t *testing.T) *clip.Info {
	t.Helper()
	path := filepath.Join(t.TempDir(), "large.mp4")
	run(t, "-v", "error", "-y", "-f", "lavfi", "-i", "testsrc2=size=1280x720:rate=60:duration=1", "-c:v", "libx264", "-preset", "ultrafast", path)
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// A decoder that is killed is not a clip that breaks off: the clip must be
// measured again, not believed to be short.
func TestKilledDecoderIsNoBrokenClip(t *testing.T) {
	ctx := context.Background()
	r, err := clip.Open(ctx, large(t))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, _, err := r.Next(ctx); err != nil {
		t.Fatal(err)
	}
	for _, pid := range ffmpegs(t) {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	for {
		_, _, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			t.Fatal("the clip is said to have ended")
		}
		if err != nil {
			if !errors.Is(err, clip.ErrDecoderLost) {
				t.Errorf("error is %v", err)
			}
			return
		}
	}
}

func TestKilledDecoderSpoilsARemake(t *testing.T) {
	info := large(t)
	target := filepath.Join(t.TempDir(), "out.mp4")
	err := clip.Remake(context.Background(), info, target, clip.RemakeOptions{}, func(index int, _ clip.Planes, _ float64) {
		if index != 3 {
			return
		}
		for _, pid := range ffmpegs(t) {
			cmdline, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "cmdline"))
			if err == nil && !strings.Contains(string(cmdline), "libx264") { // The encoder lives on.
				if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
					t.Error(err)
				}
			}
		}
	})
	if !errors.Is(err, clip.ErrDecoderLost) {
		t.Errorf("error is %v", err)
	}
}

// The disk is full at every point of writing in turn: no video that lacks its
// end is taken for a whole one.
func TestFullDiskSpoilsARemake(t *testing.T) {
	path := counting(t, "a.mp4", "", "-c:v", "libx264")
	info, err := clip.Probe(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	whole := filepath.Join(t.TempDir(), "whole.mp4")
	nothing := func(int, clip.Planes, float64) {}
	if err := clip.Remake(ctx, info, whole, clip.RemakeOptions{}, nothing); err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	disk := t.TempDir()
	if err := syscall.Mount("jogstrip-test", disk, "tmpfs", 0, "size=1m"); err != nil {
		t.Skipf("NOT TESTED: a small disk can't be mounted (%v); run as root", err)
	}
	defer func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	}()
	target := filepath.Join(disk, "a.mp4")
	for room := 0; room <= len(want)+8192; room += 4096 {
		ballast := make([]byte, max(0, 1<<20-room))
		if err := os.WriteFile(filepath.Join(disk, "ballast"), ballast, 0o644); err != nil {
			t.Fatal(err)
		}
		err := clip.Remake(ctx, info, target, clip.RemakeOptions{}, nothing)
		if err == nil {
			got, readErr := os.ReadFile(target)
			if readErr != nil || string(got) != string(want) {
				t.Errorf("with room for %d of %d bytes: %d bytes are taken for whole (%v)", room, len(want), len(got), readErr)
			}
		} else if !strings.Contains(err.Error(), "o space left on device") {
			t.Errorf("with room for %d bytes the error does not say why: %v", room, err)
		}
		if err := errors.Join(os.RemoveAll(target), os.Remove(filepath.Join(disk, "ballast"))); err != nil {
			t.Fatal(err)
		}
	}
}
