package pipeline_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/pipeline"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// bytesRead returns how much this process has read so far.
func bytesRead(t *testing.T) (n int64) {
	t.Helper()
	data, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscanf(string(data), "rchar: %d", &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// TestClipIsDecodedOnce measures how much of the clip is read and counts which
// programs are started: what measuring costs is what decoding costs, so a second
// pass over the clip must not creep in.
func TestClipIsDecodedOnce(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "toward-1.mp4")
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60,noise=alls=60:allf=t", "-frames:v", "60", "-c:v", "libx264", "-crf", "10", "-pix_fmt", "yuv420p")
	stat, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	size := stat.Size()
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 192, Height: 144}}
	for i, l := range traj.Landmarks() {
		marks.Marks = append(marks.Marks, record.At(0, l, 30+10*float64(i), 70))
	}
	if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
		t.Fatal(err)
	}
	log := filepath.Join(folder, "started")
	watched := filepath.Join(folder, "bin")
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		real, err := exec.LookPath(name)
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(watched, name), fmt.Sprintf("#!/bin/sh\necho \"%s $*\" >>'%s'\nexec '%s' \"$@\"\n", name, log, real))
		if err := os.Chmod(filepath.Join(watched, name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", watched+string(os.PathListSeparator)+os.Getenv("PATH"))
	for _, tt := range []struct {
		name    string
		noVideo bool
		started int // Programs.
	}{
		{"numbers alone", true, 0},
		{"with the video: the small copy and the video itself are encoded", false, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := os.WriteFile(log, nil, 0o644); err != nil {
				t.Fatal(err)
			}
			before := bytesRead(t)
			result, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: tt.noVideo})
			if err != nil {
				t.Fatal(err)
			}
			// For its checksum, its times and its pictures; a video is made of another file.
			if passes := float64(bytesRead(t)-before) / float64(size); tt.noVideo && (passes < 2.9 || passes > 3.5) {
				t.Errorf("the clip was read %.2f times, want 3", passes)
			}
			text, err := os.ReadFile(log)
			if err != nil {
				t.Fatal(err)
			}
			if started := strings.Count(string(text), "\n"); started != tt.started || strings.Contains(string(text), path) {
				t.Errorf("started:\n%s\nwant %d programs, none on the clip", text, tt.started)
			}
			version, err := exec.Command("ffmpeg", "-version").Output()
			if err != nil {
				t.Fatal(err)
			}
			if words := strings.Fields(string(version)); result.Program.FFmpeg != words[2] {
				t.Errorf("FFmpeg's version in the result is %q, want %q", result.Program.FFmpeg, words[2])
			}
		})
	}
}
