package pipeline_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// plainMarks are marks on a clip of 192 × 144 px with ground marks of so many metres.
func plainMarks(width, length float64) *record.Marks {
	camera := geometry.LevelCamera(150, 95.5, 71.5, 1.3, geometry.Point{X: 95.5, Y: 60})
	g := &geometry.GroundMarks{WidthM: width, LengthM: length, ClickSD: 0.05}
	for i, p := range [4][2]float64{{-1.25, 4}, {1.25, 4}, {1.25, 12}, {-1.25, 12}} {
		g.Points[i], _ = camera.Project(p[0], p[1], 0)
	}
	m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 192, Height: 144}, Calibration: &geometry.CalibrationInput{Ground: g}}
	m.Marks = append(m.Marks, record.At(5, traj.LeftFore, 110, 110), record.At(5, traj.RightFore, 80, 110), record.At(5, traj.Head, 95, 50))
	return m
}

// What other clips of the visit say of the camera is doubted as long as they say it: a
// result is made anew when that changes, and is left out of the visit meanwhile. Clips
// that lie loose in a folder have nothing to do with each other.
func TestOtherClipsOfTheVisit(t *testing.T) {
	ctx := context.Background()
	visit := filepath.Join(t.TempDir(), "2026-05-01")
	path := filepath.Join(visit, "toward-1.mp4")
	write(t, path, "")
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "40", "-c:v", "libx264", "-pix_fmt", "yuv420p")
	marked := func(name string, m *record.Marks) {
		t.Helper()
		if err := record.WriteMarks(filepath.Join(visit, name), m); err != nil {
			t.Fatal(err)
		}
	}
	doubted := func() bool {
		t.Helper()
		r, err := record.ReadResult(record.OutPath(path))
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range r.Doubts {
			if d.Kind == doubt.Others {
				return true
			}
		}
		return false
	}
	opts := pipeline.MeasureOptions{NoVideo: true, Resamples: 200}
	measure := func() {
		t.Helper()
		if _, err := pipeline.MeasureClip(ctx, path, opts); err != nil {
			t.Fatal(err)
		}
		if done, why, err := pipeline.UpToDate(ctx, path, opts, nil); !done || err != nil {
			t.Errorf("just measured, and not up to date: %s %v", why, err)
		}
	}
	marked("toward-1.marks.json", plainMarks(2.5, 8))
	marked("toward-2.marks.json", plainMarks(2.5, 8))
	measure()
	if doubted() {
		t.Error("doubted although the other clip saw the same camera")
	}
	marked("toward-2.marks.json", plainMarks(2.5, 9))
	if done, why, err := pipeline.UpToDate(ctx, path, opts, nil); done || err != nil || !strings.Contains(why, "other clips of the visit") {
		t.Errorf("%v %q %v", done, why, err)
	}
	measure()
	if !doubted() {
		t.Error("not doubted although the other clip saw another camera")
	}
	v, err := pipeline.LoadVisit(ctx, visit)
	if err != nil || len(v.Results) != 0 || len(v.Problems) == 0 || !strings.Contains(strings.Join(v.Problems, " "), "toward-1.mp4") {
		t.Errorf("visit: %+v %v", v, err)
	}
	right := plainMarks(2.5, 8)
	right.Confirmed = []string{doubt.Others}
	marked("toward-1.marks.json", right)
	measure()
	r, err := record.ReadResult(record.OutPath(path))
	if err != nil || r.Doubted() {
		t.Errorf("confirmed, and doubted nevertheless: %+v %v", r.Doubts, err)
	}
}

// A clip that is alone in its visit is held against the horse's visits before it, not
// against later ones; and marks that were set on a clip of another length are asked about.
func TestAClipAloneInItsVisit(t *testing.T) {
	horse := t.TempDir()
	write(t, filepath.Join(horse, "horse.toml"), "name = \"Juniper\"\n")
	path := filepath.Join(horse, "2026-05-01", "toward-1.mp4")
	write(t, path, "")
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "40", "-c:v", "libx264", "-pix_fmt", "yuv420p")
	for _, tt := range []struct {
		visit  string  // Of the other clip's marks.
		length float64 // Of its rectangle.
		frames int     // Of the clip on which this one's marks were set.
		kind   string
	}{
		{"2026-04-01", 8, 40, ""},
		{"2026-04-01", 9, 0, doubt.Others},
		{"2026-06-01", 9, 0, ""},
		{"2026-04-01", 8, 41, doubt.OtherClip},
	} {
		own := plainMarks(2.5, 8)
		own.Frames = tt.frames
		other := filepath.Join(horse, tt.visit, "toward-1.marks.json")
		write(t, other, "")
		if err := errors.Join(record.WriteMarks(record.MarksPath(path), own), record.WriteMarks(other, plainMarks(2.5, tt.length))); err != nil {
			t.Fatal(err)
		}
		r, err := pipeline.MeasureClip(t.Context(), path, pipeline.MeasureOptions{NoVideo: true, Resamples: 200})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, d := range r.Doubts {
			if d.Severity != record.Remark && (d.Kind == doubt.Others || d.Kind == doubt.OtherClip) {
				got = d.Kind
			}
		}
		if got != tt.kind {
			t.Errorf("marks of %s with length %g, set on %d frames: doubted is %q, want %q: %+v", tt.visit, tt.length, tt.frames, got, tt.kind, r.Doubts)
		}
		if err := os.RemoveAll(filepath.Dir(other)); err != nil {
			t.Fatal(err)
		}
	}
}

// A clip that is refused has no results, and says why.
func TestRefusedClipsLeaveNoNumber(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "a.mp4")
	scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "40", "-c:v", "libx264", "-pix_fmt", "yuv420p")
	m := plainMarks(19, 61)
	if err := record.WriteMarks(record.MarksPath(path), m); err != nil {
		t.Fatal(err)
	}
	_, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true})
	if !errors.Is(err, pipeline.ErrRefused) || !strings.Contains(err.Error(), "a.mp4") || !strings.Contains(err.Error(), "m above the ground") {
		t.Errorf("%v", err)
	}
	if _, err := record.ReadResult(record.OutPath(path)); err == nil {
		t.Error("a result is there")
	}
}
