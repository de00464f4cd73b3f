package main

import (
	"bytes"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// uneven is a small clip of a horse that is uneven on its right fore, with the marks
// that a careful person sets.
func uneven(t *testing.T, dir string, view traj.View) (clip string, marks *record.Marks) {
	t.Helper()
	s := scene.Scene{Seed: 4, View: view, Asymmetry: scene.ShortFore(traj.Right, 1)}
	s.Camera.Width, s.Camera.Height = 960, 540
	s.Motion.StartM, s.Motion.EndM = 14, 5
	clip = filepath.Join(dir, string(view)+"-1.mp4")
	truth := scenetest.Render(t, s, clip)
	return clip, demo.Clicked(truth, s, filepath.Base(clip), demo.Clicking{Distances: 2})
}

// opposite swaps left and right in marks.
func opposite(m *record.Marks) {
	for i := range m.Marks {
		m.Marks[i].Landmark = m.Marks[i].Landmark.Opposite()
	}
}

// measured returns the value of a measure in the results of a clip.
func measured(t *testing.T, clip string, n metrics.Name) float64 {
	t.Helper()
	r, err := record.ReadResult(record.OutPath(clip))
	if err != nil {
		t.Fatal(err)
	}
	v := r.Summary.Lookup(n)
	if v == nil || v.Value == nil {
		t.Fatalf("no %s", n)
	}
	return v.Value.Value
}

// mirrored writes a copy of an MP4 file whose display matrix exchanges left and right
// (ISO/IEC 14496-12, 8.3.2).
func mirrored(t *testing.T, clip, out string) string {
	t.Helper()
	data, err := os.ReadFile(clip)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte("tkhd"))
	if at < 0 {
		t.Fatal("no track header")
	}
	binary.BigEndian.PutUint32(data[at+44:], 0xFFFF0000)
	if err := os.WriteFile(out, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return out
}

// upended writes a copy of an MP4 file whose display matrix turns it by half a turn.
func upended(t *testing.T, clip, out string) string {
	t.Helper()
	data, err := os.ReadFile(mirrored(t, clip, out))
	if err != nil {
		t.Fatal(err)
	}
	binary.BigEndian.PutUint32(data[bytes.Index(data, []byte("tkhd"))+60:], 0xFFFF0000)
	if err := os.WriteFile(out, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return out
}

// What is done wrong by mistake is noticed by the program as people call it: it
// says so, names no limb, and ends with an exit code that scripts see. What can be put
// right is put right.
func TestMistakesAreNoticed(t *testing.T) {
	visit := filepath.Join(t.TempDir(), "2026-05-04")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	clip, right := uneven(t, visit, traj.Toward)
	kept := filepath.Join(t.TempDir(), "right.marks.json")
	// The marks of another run with the camera at the same place, as they should be.
	for _, path := range []string{kept, filepath.Join(visit, "toward-2.marks.json")} {
		if err := record.WriteMarks(path, right); err != nil {
			t.Fatal(err)
		}
	}
	slow := func(name, times string) string {
		t.Helper()
		out := filepath.Join(visit, name)
		if text, err := exec.Command("ffmpeg", "-v", "error", "-itsscale", times, "-i", clip, "-c", "copy", out).CombinedOutput(); err != nil {
			t.Fatalf("ffmpeg: %v: %s", err, text)
		}
		return out
	}
	ground := func(m *record.Marks) *geometry.GroundMarks { return m.Calibration.Ground }
	const few = "200"
	var asItIs [2]float64
	for _, tt := range []struct {
		name string
		clip func() string // Nil: the clip as it is.
		do   func(m *record.Marks)
		exit int
		says string
	}{
		{"as it is", nil, func(*record.Marks) {}, exitGood, "point to the right"},
		{"left and right swapped", nil, opposite, exitPartly, "Both fores land across the midline"},
		{"the other view", nil, func(m *record.Marks) { m.View = traj.Away }, exitFatal, "it goes toward the camera"},
		{"feet for metres", nil, func(m *record.Marks) { ground(m).WidthM /= 0.3048; ground(m).LengthM /= 0.3048 }, exitFatal, "With feet taken for metres it fits"},
		{"width 3 for 2.5 m", nil, func(m *record.Marks) { ground(m).WidthM = 3 }, exitPartly, "Its rectangle is given as 2.5 × 8 m"},
		{"length 9 for 8 m", nil, func(m *record.Marks) { ground(m).LengthM = 9 }, exitPartly, "Its rectangle is given as 2.5 × 8 m"},
		{"walk for trot", nil, func(m *record.Marks) { m.Gait = traj.Walk }, exitPartly, "a led horse walks at"},
		{"slow motion", func() string { return slow("slow-1.mp4", "4") }, func(*record.Marks) {}, exitPartly, "slow motion?"},
		{"a little slow motion", func() string { return slow("slow-3.mp4", "1.8") }, func(*record.Marks) {}, exitPartly, "times slower than it was filmed"},
		{"slow motion of which the rate is given", func() string { return slow("slow-2.mp4", "4") }, func(m *record.Marks) { m.FilmedFPS = 60 }, exitGood, "it plays 4 times slower than it was filmed, 60 frames a second"},
		{"pixels that are not square", func() string {
			wide := filepath.Join(visit, "wide-1.mp4")
			scenetest.Recoded(t, clip, wide, "-vf", "scale=720:540,setsar=4/3", "-crf", "16", "-preset", "ultrafast")
			return wide
		}, func(*record.Marks) {}, exitGood, "point to the right"},
		{"a picture that stands on its head", nil, func(m *record.Marks) {
			for i := range m.Marks {
				*m.Marks[i].X, *m.Marks[i].Y = float64(m.Picture.Width-1)-*m.Marks[i].X, float64(m.Picture.Height-1)-*m.Marks[i].Y
			}
			m.Calibration = nil
		}, exitFatal, "the picture stands on its head"},
		{"a clip that was turned over since it was marked", func() string { return upended(t, clip, filepath.Join(visit, "over-1.mp4")) }, func(m *record.Marks) { m.Turned = "0" }, exitPartly, "turned the clip’s picture by 0°, and now by 180°"},
		{"a mirrored picture", func() string { return mirrored(t, clip, filepath.Join(visit, "front-1.mp4")) }, func(m *record.Marks) {
			for i := range m.Marks {
				*m.Marks[i].X = float64(m.Picture.Width-1) - *m.Marks[i].X
			}
			p := &ground(m).Points
			for i := range p {
				p[i].X = float64(m.Picture.Width-1) - p[i].X
			}
			p[0], p[1], p[2], p[3] = p[1], p[0], p[3], p[2]
		}, exitPartly, "show it mirrored"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			marks, err := record.ReadMarks(kept)
			if err != nil {
				t.Fatal(err)
			}
			path := clip
			if tt.clip != nil {
				path = tt.clip()
			}
			marks.Clip = ""
			tt.do(marks)
			if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
				t.Fatal(err)
			}
			out, err := jogstrip(t, "measure", "--no-video", "--resamples", few, path).CombinedOutput()
			code := 0
			var exit *exec.ExitError
			if errors.As(err, &exit) {
				code = exit.ExitCode()
			} else if err != nil {
				t.Fatal(err)
			}
			if code != tt.exit || !strings.Contains(string(out), tt.says) {
				t.Errorf("exit code %d, want %d; said\n%s\nwant %q", code, tt.exit, out, tt.says)
			}
			// Whoever filmed at 240 frames a second is not told to film at 60.
			if strings.Contains(string(out), "slow motion?") && strings.Contains(string(out), "Film at 60") {
				t.Errorf("of a clip that may be slow motion it says at which rate it was filmed:\n%s", out)
			}
			if code != exitGood && strings.Contains(string(out), "point to the") {
				t.Errorf("a limb or a side is named:\n%s", out)
			}
			if code == exitPartly {
				page, err := os.ReadFile(filepath.Join(record.OutPath(path), "report.html"))
				if err != nil {
					t.Fatal(err)
				}
				for _, word := range []string{"higher over the left", "higher over the right", "point to the", "right step", "left step"} {
					if strings.Contains(string(page), word) {
						t.Errorf("the report says %q", word)
					}
				}
			}
			if code == exitGood {
				// Whatever was put right, the horse is the same; three strides of a small picture
				// that was coded again leave some percent of the speed open.
				head, speed := measured(t, path, metrics.HeadLowDifference), measured(t, path, metrics.Speed)
				if tt.clip == nil {
					asItIs = [2]float64{head, speed}
				}
				if math.Abs(head-asItIs[0]) > 6 || math.Abs(speed/asItIs[1]-1) > 0.12 {
					t.Errorf("head low-point difference %.1f mm, speed %.2f m/s; as it is they are %.1f", head, speed, asItIs)
				}
			}
			if tt.clip != nil {
				if err := os.Remove(record.MarksPath(path)); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}
