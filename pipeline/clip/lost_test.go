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

// ffmpegs returns the ffmpeg children of this process.
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

// large is a clip that does not fit into pipes and buffers, so that reading it is
// still under way when something happens.
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

// unreadable makes every further read of the clip by this process fail, as a
// drive does that stops answering: what its file was open as is a folder now.
func unreadable(t *testing.T, path string) {
	t.Helper()
	links, err := filepath.Glob("/proc/self/fd/*")
	if err != nil {
		t.Fatal(err)
	}
	folder, err := os.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	found := false
	for _, link := range links {
		if target, err := os.Readlink(link); err != nil || target != path {
			continue
		}
		fd, err := strconv.Atoi(filepath.Base(link))
		if err != nil {
			t.Fatal(err)
		}
		if err := syscall.Dup3(int(folder.Fd()), fd, syscall.O_CLOEXEC); err != nil {
			t.Fatal(err)
		}
		found = true
	}
	if !found {
		t.Fatalf("%s is not open", path)
	}
}

// toItsEnd reads on and returns why there was an end.
func toItsEnd(ctx context.Context, r *clip.Reader) error {
	for {
		if _, _, err := r.Next(ctx); err != nil {
			return err
		}
	}
}

// A drive that stops answering is not a clip that breaks off: the clip must be
// measured again, not believed to be short.
func TestFailingDriveIsNoBrokenClip(t *testing.T) {
	ctx := context.Background()
	info := large(t)
	r, err := clip.Open(ctx, info)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, _, err := r.Next(ctx); err != nil {
		t.Fatal(err)
	}
	unreadable(t, info.Path)
	if err := toItsEnd(ctx, r); !errors.Is(err, clip.ErrDecoderLost) || !errors.Is(err, syscall.EISDIR) || errors.Is(err, io.EOF) {
		t.Errorf("error is %v", err)
	}
}

// small opens a clip so that a copy of it goes to a file in dir.
func small(t *testing.T, info *clip.Info, dir string) *clip.Reader {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "small.mkv"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	r, err := clip.OpenWith(context.Background(), info, clip.OpenOptions{Small: f})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Close() })
	return r
}

// Where the small copy cannot be had, the clip is not said to have ended.
func TestKilledEncoderSpoilsASmallCopy(t *testing.T) {
	ctx := context.Background()
	r := small(t, large(t), t.TempDir())
	if _, _, err := r.Next(ctx); err != nil {
		t.Fatal(err)
	}
	for _, pid := range ffmpegs(t) {
		if err := syscall.Kill(pid, syscall.SIGKILL); err != nil {
			t.Fatal(err)
		}
	}
	if err := toItsEnd(ctx, r); !errors.Is(err, clip.ErrDecoderLost) {
		t.Errorf("error is %v", err)
	}
}

func TestFullDiskSpoilsASmallCopy(t *testing.T) {
	r := small(t, large(t), smallDisk(t, "size=64k"))
	if err := toItsEnd(context.Background(), r); !errors.Is(err, clip.ErrDecoderLost) || !strings.Contains(err.Error(), "temporary files is full") {
		t.Errorf("error is %v", err)
	}
}

// Whoever gives up half-way leaves no child behind, and waits for none.
func TestCloseEndsASmallCopy(t *testing.T) {
	r := small(t, large(t), t.TempDir())
	if _, _, err := r.Next(context.Background()); err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if left := ffmpegs(t); len(left) > 0 {
		t.Errorf("processes %v are left", left)
	}
}

// smallDisk returns a folder on a disk of its own.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	disk := t.TempDir()
	if err := syscall.Mount("jogstrip-test", disk, "tmpfs", 0, size); err != nil {
		t.Skipf("NOT TESTED: a small disk can't be mounted (%v); run as root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(disk, 0); err != nil {
			t.Error(err)
		}
	})
	return disk
}

func TestFailingDriveSpoilsARemake(t *testing.T) {
	info := large(t)
	target := filepath.Join(t.TempDir(), "out.mp4")
	err := clip.Remake(context.Background(), info, target, clip.RemakeOptions{}, func(index int, _ clip.Planes, _ float64) {
		if index == 3 {
			unreadable(t, info.Path)
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
	disk := smallDisk(t, "size=1m")
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
