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
	"jogstrip/track/traj"
)

// TestClipIsDecodedOnce counts the programs that measuring starts: what it costs
// is what decoding costs, so a second pass over the clip must not creep in.
func TestClipIsDecodedOnce(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "toward-1.mp4")
	if out, err := exec.Command("ffmpeg", "-v", "error", "-nostdin", "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "60", "-c:v", "libx264", "-pix_fmt", "yuv420p", path).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 192, Height: 144}}
	for i, l := range traj.Landmarks() {
		marks.Marks = append(marks.Marks, record.At(0, l, 30+12*float64(i), 70))
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
		name           string
		noVideo        bool
		probes, others int // Programs started: ffprobe, and ffmpeg not on the clip.
	}{
		{"numbers alone", true, 1, 0},
		{"with the video: from the small copy, encoded", false, 1, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if err := os.RemoveAll(log); err != nil {
				t.Fatal(err)
			}
			result, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: tt.noVideo})
			if err != nil {
				t.Fatal(err)
			}
			text, err := os.ReadFile(log)
			if err != nil {
				t.Fatal(err)
			}
			probes, decodes, others := 0, 0, 0
			for _, l := range strings.Split(strings.TrimSpace(string(text)), "\n") {
				switch {
				case strings.HasPrefix(l, "ffprobe "):
					probes++
				case strings.Contains(l, path):
					decodes++
				default:
					others++
				}
			}
			if probes != tt.probes || decodes != 1 || others != tt.others {
				t.Errorf("started:\n%s\nwant ffprobe %d times, ffmpeg on the clip once and %d times besides", text, tt.probes, tt.others)
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
