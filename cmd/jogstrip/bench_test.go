package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// BenchmarkBatchOverAnUpToDateYard is the second batch over 1,000 measured
// clips, as a process of its own. Goal: under 5 s.
func BenchmarkBatchOverAnUpToDateYard(b *testing.B) {
	scenetest.NeedFFmpeg(b)
	yard := yardOfMeasuredClips(b, 1000)
	batch := func() {
		out, err := jogstrip(b, "batch", yard, "--no-video").CombinedOutput()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != exitPartly || !strings.Contains(string(out), " 0 to measure") {
			b.Fatalf("%v\n%s", err, out[:min(len(out), 2000)])
		}
	}
	batch() // Fills the memory of hashes, as the batch that measured would have.
	b.ResetTimer()
	for range b.N {
		batch()
	}
}

// yardOfMeasuredClips measures one small clip and returns a yard of count
// horses that have that same clip, marks and results in one visit each.
func yardOfMeasuredClips(t testing.TB, count int) string {
	t.Helper()
	root := t.TempDir()
	const day = "2026-03-02"
	seed := filepath.Join(root, "seed", day)
	if err := os.MkdirAll(seed, 0o755); err != nil {
		t.Fatal(err)
	}
	clip := filepath.Join(seed, "toward-1.mp4")
	scenetest.Coded(t, clip, "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "60", "-c:v", "libx264", "-pix_fmt", "yuv420p")
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 192, Height: 144}}
	for i, l := range traj.Landmarks() {
		marks.Marks = append(marks.Marks, record.At(0, l, 30+12*float64(i), 70))
	}
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	if out, err := jogstrip(t, "batch", filepath.Join(root, "seed"), "--no-video").CombinedOutput(); err == nil || !strings.Contains(string(out), "1 to look at again") {
		t.Fatalf("%v\n%s", err, out)
	}
	yard := filepath.Join(root, "yard")
	for i := range count {
		copyFolder(t, seed, filepath.Join(yard, "horses", fmt.Sprintf("h%04d", i), day))
	}
	return yard
}

// copyFolder copies a visit, the visit's own page last, since it must not be
// older than what it is made of.
func copyFolder(t testing.TB, from, to string) {
	t.Helper()
	var files []string
	err := filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			files = append(files, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	slices.SortStableFunc(files, func(a, b string) int {
		return strings.Count(a, "visit.out") - strings.Count(b, "visit.out")
	})
	for _, path := range files {
		rel, _ := filepath.Rel(from, path)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(os.MkdirAll(filepath.Dir(filepath.Join(to, rel)), 0o755), os.WriteFile(filepath.Join(to, rel), data, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
}
