package film

import (
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// marksOn sets the ground marks and the fores on a rendered clip, every eighth frame, and
// says where a fore cannot be seen.
func marksOn(truth *scene.Truth) *record.Marks {
	last := len(truth.Times) - 1
	ground := &geometry.GroundMarks{WidthM: 2.5, LengthM: 8}
	for i, m := range truth.Marks {
		ground.Points[i].X, ground.Points[i].Y, _ = truth.Eye(last).Project(m[0], m[1], 0)
	}
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Calibration: &geometry.CalibrationInput{Frame: last, Ground: ground}, Picture: record.Picture{Width: truth.Width, Height: truth.Height}}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore} {
		for k := 0; k <= last; k += 8 {
			p := truth.Points(l)[k]
			mark := record.At(k, l, p.X, p.Y)
			if !p.Visible {
				mark = record.Mark{Frame: k, Landmark: l, Hidden: true}
			}
			marks.Marks = append(marks.Marks, mark)
		}
	}
	return marks
}

// What is wrong with how a rendered horse is filmed is told, each in its own item: a hand's
// shake, a camera that is turned, a wide lens, noise, a handler's legs before a limb. Of a
// clip without all that nothing is.
func TestWhatHarmsARenderedClipIsTold(t *testing.T) {
	t.Parallel()
	type finding struct {
		item  string
		want  Verdict
		words string
	}
	for _, tt := range []struct {
		name     string
		change   func(s *scene.Scene)
		findings []finding
	}{
		{"nothing", func(*scene.Scene) {}, []finding{
			{Shake, Good, ""}, {Level, Good, "0.0°"}, {Lens, Good, "can’t be told"}, {Noise, Good, ""}, {Blur, Good, "swinging limbs"}, {Limbs, Good, "left fore was in sight in 12 of 12"}, {Marks, Good, ""},
			{Direction, Good, "coming toward the camera"}, {GroundMarks, Good, "all four are marked in frame"},
		}},
		{"filmed from the hand", func(s *scene.Scene) { s.Camera.Hand = true }, []finding{
			{Shake, Usable, "0.19 %"}, {Noise, NotKnown, "the camera moves"}, {Direction, NotKnown, ""},
		}},
		{"turned, wide, grainy, led from before the horse", func(s *scene.Scene) {
			s.Camera.RollDeg, s.Camera.NoiseSD, s.Horse.Leads = 4, 5, true
			s.Camera.FocalShare, s.Camera.K1 = 0.4, -0.15
		}, []finding{
			{Level, Usable, "4."}, {Lens, Usable, "bend straight lines"}, {Noise, Usable, ""}, {Limbs, Good, "left fore was in sight in 10 of 12"}, {Marks, Usable, "not that of a phone’s main lens"},
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := scene.Scene{Seed: 21, Motion: scene.Motion{StartM: 15}, Camera: scene.Camera{Width: 960, Height: 540, FPS: 30}}
			tt.change(&s)
			path := filepath.Join(t.TempDir(), "toward.mp4")
			truth := scenetest.Render(t, s, path)
			info, err := clip.Probe(t.Context(), path)
			if err != nil {
				t.Fatal(err)
			}
			report := check(t, info, Options{Marks: marksOn(truth)})
			for _, f := range tt.findings {
				if i := report.Item(f.item); i == nil || i.Verdict != f.want || !strings.Contains(i.Found, f.words) {
					t.Errorf("%s: %+v; want %s with %q", f.item, i, f.want, f.words)
				}
			}
		})
	}
}
