package accuracy_test

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// filmed renders a scene into folder, marks it as a careful person would and
// measures it as a user would. The truth stays in memory.
func filmed(t *testing.T, folder, name string, s scene.Scene) (*scene.Truth, *record.Result, string) {
	t.Helper()
	path := filepath.Join(folder, name+".mp4")
	truth := scenetest.Render(t, s, path)
	if err := record.WriteMarks(record.MarksPath(path), demo.Clicked(truth, s, name+".mp4", demo.Clicking{})); err != nil {
		t.Fatal(err)
	}
	result, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true})
	if err != nil {
		t.Fatal(err)
	}
	return truth, result, record.OutPath(path)
}

func lane(seed uint64, view traj.View) scene.Scene {
	s := scene.Scene{Seed: seed, View: view}
	s.Horse.Markers = true
	if view == traj.Toward {
		s.Motion.StartM, s.Motion.EndM = 17, 4.7
	} else {
		s.Motion.StartM, s.Motion.EndM = 5.4, 17
	}
	return s
}

// TestAccuracy holds a metric-level 1080p60 tripod clip toward the camera to
// what the README promises, against the renderer's truth.
func TestAccuracy(t *testing.T) {
	s := lane(31, traj.Toward)
	s.Asymmetry = scene.ShortFore(traj.Left, 1)
	truth, result, out := filmed(t, t.TempDir(), "toward-1", s)
	f, err := accuracy.Compare(out, truth)
	if err != nil {
		t.Fatal(err)
	}
	t.Log(accuracy.Header())
	t.Log(f.Row("lame left fore, toward, tripod"))
	t.Log(pipeline.Finding(result))
	for _, limit := range []struct {
		what      string
		got, most float64
		unit      string
	}{
		{"head low-point difference", f.HeadLow, 5, "mm"},
		{"head high-point difference", f.HeadHigh, 5, "mm"},
		{"step-length difference, fore", f.StepFore, 3.3, "cm"}, // A third of what the horse was made to have.
		{"base width, fore", f.WidthFore, 1.5, "cm"},
		{"hoof-on, median", f.On, 40, "ms"}, // It seems to stand before it does.
	} {
		if !(math.Abs(limit.got) <= limit.most) {
			t.Errorf("%s is %.2f %s off, at most %g is allowed", limit.what, limit.got, limit.unit, limit.most)
		}
	}
	if len(f.Outside) > 2 { // Of a dozen intervals of 95 % one may, and those of the head hang together.
		t.Errorf("true values lie outside their intervals: %s", f.Outside)
	}
	if result.Summary.Limb.Limb.Side() == traj.Right {
		t.Errorf("the wrong side: %s", result.Summary.Limb.Sentence)
	}
}

// TestSoundHorseIsNotCalledUneven renders an even horse with the same code.
func TestSoundHorseIsNotCalledUneven(t *testing.T) {
	s := lane(32, traj.Toward)
	s.Camera.Width, s.Camera.Height = 1280, 720
	_, result, _ := filmed(t, t.TempDir(), "toward-1", s)
	t.Log(pipeline.Finding(result))
	if l := result.Summary.Limb; l.Limb != "" || l.Undecided {
		t.Errorf("a sound horse was said to be uneven: %s", l.Sentence)
	}
	for _, r := range result.Summary.Results {
		if d, _ := metrics.Define(r.Name); r.Beyond && d.Evidence == metrics.Established {
			t.Errorf("%s is said to be beyond its tolerance: %+v", r.Name, r.Value)
		}
	}
}

// TestInstantsAtTheWalk renders a walk toward the camera: hooves come down slowly
// and roll over the toe for long, and the spread of the instants says so.
func TestInstantsAtTheWalk(t *testing.T) {
	s := lane(9019, traj.Toward)
	s.Gait, s.Motion.StartM, s.Motion.EndM = traj.Walk, 10.5, 5.5
	s.Camera.Width, s.Camera.Height = 1280, 720
	truth, result, _ := filmed(t, t.TempDir(), "toward-1", s)
	var on, off []float64 // Errors over stated spread.
	for _, c := range result.Run.Contacts {
		for _, k := range truth.Contacts {
			if k.Limb != c.Limb || math.Abs(k.On-c.On) > 0.1 {
				continue
			}
			if c.OnSD >= 0 {
				on = append(on, (c.On-k.On)/c.OnSD)
			}
			if c.OffSD >= 0 {
				off = append(off, (c.Off-k.Off)/c.OffSD)
			}
		}
	}
	for _, part := range []struct {
		what  string
		z     []float64
		least int
	}{{"landings", on, 4}, {"leavings", off, 1}} {
		square := 0.0
		for _, z := range part.z {
			square += z * z / float64(len(part.z))
		}
		t.Logf("%d %s: errors over spread %.2f", len(part.z), part.what, part.z)
		if len(part.z) < part.least || math.Sqrt(square) > 1.25 {
			t.Errorf("%d %s, whose errors are %.2f times their spread: want %d or more, 1.25 times or less", len(part.z), part.what, math.Sqrt(square), part.least)
		}
	}
}
