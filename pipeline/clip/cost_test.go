package clip_test

import (
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"jogstrip/pipeline/clip"
)

// textured makes a clip of so many frames.
func textured(t testing.TB, size string, frames int) *clip.Info {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.mp4")
	run(t, append(moving(size, frames, "", "-c:v", "libx264", "-preset", "ultrafast", "-crf", "26", "-pix_fmt", "yuv420p"), path)...)
	info, err := clip.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// Frames pass by Go's memory: however long a clip is, reading it must leave
// nothing for the collector.
func TestFramesCostNoGoMemory(t *testing.T) {
	const frames = 150
	ctx := context.Background()
	r, err := clip.Open(ctx, textured(t, "640x360", frames))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var before, after runtime.MemStats
	const settled = 20
	for n := range frames {
		if _, _, err := r.Next(ctx); err != nil {
			t.Fatal(err)
		}
		if n == settled {
			runtime.ReadMemStats(&before)
		}
	}
	runtime.ReadMemStats(&after)
	count, bytes := after.Mallocs-before.Mallocs, after.TotalAlloc-before.TotalAlloc
	t.Logf("%d allocations, %d bytes for %d frames of %d bytes", count, bytes, frames-settled-1, 640*360)
	// The runtime itself allocates now and then.
	if count > frames/2 || bytes > 640*360/2 {
		t.Errorf("%d allocations of %d bytes altogether", count, bytes)
	}
}

// resident returns the process's memory in use, bytes, its open files and its
// threads.
func resident(t *testing.T) (memory, files, threads int) {
	t.Helper()
	statm, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Fatal(err)
	}
	pages, err := strconv.Atoi(strings.Fields(string(statm))[1])
	if err != nil {
		t.Fatal(err)
	}
	for folder, n := range map[string]*int{"/proc/self/fd": &files, "/proc/self/task": &threads} {
		entries, err := os.ReadDir(folder)
		if err != nil {
			t.Fatal(err)
		}
		*n = len(entries)
	}
	return pages * os.Getpagesize(), files, threads
}

// Whatever ends a reader, its pictures, files and threads go with it.
func TestReadersLeaveNothingBehind(t *testing.T) {
	info := textured(t, "640x360", 12)
	cut := *info
	data, err := os.ReadFile(info.Path)
	if err != nil {
		t.Fatal(err)
	}
	cut.Path = filepath.Join(t.TempDir(), "cut.mp4")
	if err := os.WriteFile(cut.Path, data[:len(data)/2], 0o644); err != nil {
		t.Fatal(err)
	}
	read := func(info *clip.Info, frames int) {
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		r, err := clip.Open(ctx, info)
		if err != nil {
			t.Fatal(err)
		}
		for n := 0; n < frames; n++ {
			if _, _, err := r.Next(ctx); err != nil {
				if !errors.Is(err, io.EOF) && !errors.Is(err, clip.ErrNoPicture) {
					t.Fatal(err)
				}
				break
			}
		}
		if frames == 3 {
			cancel() // And Close while it is decoding ahead.
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
	}
	rounds := func(n int) {
		for range n {
			read(info, 1000)
			read(info, 3)
			read(info, 0)
			read(&cut, 1000)
			if _, err := clip.Probe(context.Background(), cut.Path); !errors.Is(err, clip.ErrNoPicture) {
				t.Fatal(err)
			}
		}
	}
	rounds(15)
	_, files, threads := resident(t)
	// The system hands out memory in pieces of many pictures, now and then: what is left
	// behind shows every time.
	grown := math.MaxInt
	for range 4 {
		before, _, _ := resident(t)
		rounds(15)
		after, _, _ := resident(t)
		if grown = min(grown, after-before); grown < 2<<20 {
			break
		}
	}
	_, nowFiles, nowThreads := resident(t)
	t.Logf("memory grew by %d KiB", grown>>10)
	// One picture of each round would be 3.4 MB.
	if grown >= 2<<20 || nowFiles > files || nowThreads > threads+8 {
		t.Errorf("memory grew by %d KiB, files from %d to %d, threads from %d to %d", grown>>10, files, nowFiles, threads, nowThreads)
	}
}

// BenchmarkRead tells what a frame costs; see cmd/jogstrip for whole clips.
func BenchmarkRead(b *testing.B) {
	for _, size := range []string{"1920x1080", "3840x2160"} {
		b.Run(size, func(b *testing.B) {
			info := textured(b, size, 60)
			b.SetBytes(int64(info.Width * info.Height))
			b.ReportAllocs()
			b.ResetTimer()
			for n := 0; n < b.N; {
				r, err := clip.Open(b.Context(), info)
				if err != nil {
					b.Fatal(err)
				}
				for ; n < b.N; n++ {
					if _, _, err := r.Next(b.Context()); err != nil {
						break
					}
				}
				if err := r.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
