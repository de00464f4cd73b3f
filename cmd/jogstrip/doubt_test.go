package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// uneven is a small clip of a horse that is uneven on its right fore, with the marks
// that a careful person sets.
func uneven(t *testing.T, dir string, view traj.View) (clip string, marks *record.Marks) {
	t.Helper()
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		t.Skip("SKIPPED: ffmpeg is not installed (Debian: apt install ffmpeg)")
	}
	s := scene.Scene{Seed: 4, View: view, Asymmetry: scene.ShortFore(traj.Right, 1)}
	s.Camera.Width, s.Camera.Height = 960, 540
	s.Motion.StartM, s.Motion.EndM = 14, 5
	clip = filepath.Join(dir, string(view)+"-1.mp4")
	truth, err := scene.Render(t.Context(), s, clip, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	return clip, demo.Clicked(truth, s, filepath.Base(clip), demo.Clicking{Distances: 2})
}

// opposite swaps left and right in marks.
func opposite(m *record.Marks) {
	for i := range m.Marks {
		m.Marks[i].Landmark = m.Marks[i].Landmark.Opposite()
	}
}

// What is done wrong by mistake is noticed by the program as people call it: it
// says so, names no limb, and ends with an exit code that scripts see.
func TestMistakesAreNoticed(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "2026-05-04")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	clip, right := uneven(t, folder, traj.Toward)
	kept := filepath.Join(t.TempDir(), "right.marks.json")
	if err := record.WriteMarks(kept, right); err != nil {
		t.Fatal(err)
	}
	write := func(m *record.Marks) {
		t.Helper()
		if err := record.WriteMarks(record.MarksPath(clip), m); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		name string
		do   func(m *record.Marks)
		exit int
		says string // Empty: nothing of a doubt.
	}{
		{"as it is", func(*record.Marks) {}, exitGood, ""},
		{"left and right swapped", opposite, exitPartly, "Both fores land across the midline"},
		{"the other view", func(m *record.Marks) { m.View = traj.Away }, exitFatal, "it goes toward the camera"},
		{"the other view with its sides", func(m *record.Marks) { m.View = traj.Away; opposite(m) }, exitFatal, "it goes toward the camera"},
		{"feet for metres", func(m *record.Marks) {
			m.Calibration.Ground.WidthM /= 0.3048
			m.Calibration.Ground.LengthM /= 0.3048
		}, exitFatal, "feet"},
		{"another gait", func(m *record.Marks) { m.Gait = traj.Walk }, exitPartly, "gait"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			marks, err := record.ReadMarks(kept)
			if err != nil {
				t.Fatal(err)
			}
			tt.do(marks)
			write(marks)
			out, err := jogstrip(t, "measure", "--no-video", "--resamples", "200", clip).CombinedOutput()
			code := 0
			var exit *exec.ExitError
			if errors.As(err, &exit) {
				code = exit.ExitCode()
			} else if err != nil {
				t.Fatal(err)
			}
			t.Logf("%s", out)
			if code != tt.exit || !strings.Contains(string(out), tt.says) {
				t.Errorf("exit code %d, want %d; said %q", code, tt.exit, tt.says)
			}
		})
	}
}
