package markpage

import (
	"context"
	"encoding/json"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// Ground marks that no phone and no person can have given are doubted while they are
// typed, not after the night.
func TestGroundMarksAreDoubtedWhileTheyAreGiven(t *testing.T) {
	s, err := Listen(Options{Folder: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	camera := geometry.LevelCamera(1500, 959.5, 539.5, 1.2, geometry.Point{X: 959.5, Y: 480})
	var points [4]geometry.Point
	for i, p := range [4][2]float64{{-1.25, 4}, {1.25, 4}, {1.25, 12}, {-1.25, 12}} {
		points[i], _ = camera.Project(p[0], p[1], 0)
	}
	for _, tt := range []struct {
		name          string
		width, length float64
		doubted       string
	}{
		{"as it is", 2.5, 8, ""},
		{"feet for metres", 8.2, 26.2, "m above the ground"},
		{"width 5.2 for 2.5", 5.2, 8, "focal length"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			body, err := json.Marshal(map[string]any{"width": 1920, "height": 1080, "calibration": geometry.CalibrationInput{Ground: &geometry.GroundMarks{Points: points, WidthM: tt.width, LengthM: tt.length}}})
			if err != nil {
				t.Fatal(err)
			}
			answer := ask(s, http.MethodPost, "/api/calibrate", strings.NewReader(string(body)), nil)
			var grid gridAnswer
			if err := json.Unmarshal(answer.Body.Bytes(), &grid); err != nil {
				t.Fatalf("%d %s: %v", answer.Code, answer.Body, err)
			}
			said := strings.Join(grid.Notes, " ")
			if grid.Error != "" || (tt.doubted == "") != (said == "") || !strings.Contains(said, tt.doubted) {
				t.Errorf("error %q, notes %q", grid.Error, said)
			}
		})
	}
}

// What a person confirms stands in the marks and nothing else of them changes; what is
// no doubt can't be confirmed.
func TestConfirmedDoubtsStandInTheMarks(t *testing.T) {
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "a.mp4"), "64x48", "30", "10")
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 64, Height: 48}, Note: "kept", FilmedFPS: 240, Marks: []record.Mark{record.At(3, traj.Head, 10, 12)}}
	file := filepath.Join(dir, "a.marks.json")
	if err := record.WriteMarks(file, marks); err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, tt := range []struct {
		query string
		want  int
	}{
		{"clip=a.mp4&kind=sides", 200}, {"clip=a.mp4&kind=sides", 200}, {"clip=a.mp4&kind=other+clips", 200},
		{"clip=a.mp4&kind=everything", 400}, {"clip=a.mp4", 400}, {"clip=b.mp4&kind=sides", 404},
	} {
		if answer := ask(s, http.MethodPost, "/api/confirm?"+tt.query, nil, nil); answer.Code != tt.want {
			t.Errorf("%s: %d %s, want %d", tt.query, answer.Code, answer.Body, tt.want)
		}
	}
	got, err := record.ReadMarks(file)
	if err != nil || !slices.Equal(got.Confirmed, []string{"sides", "other clips"}) || got.Note != "kept" || got.FilmedFPS != 240 || len(got.Marks) != 1 {
		t.Errorf("%+v %v", got, err)
	}
}

// doubting doubts the sides until a person confirms them.
type doubting struct{ *pretendMeasurer }

func (m doubting) Look(ctx context.Context, clip string) (*Look, error) {
	look, err := m.pretendMeasurer.Look(ctx, clip)
	if err != nil || look == nil {
		return look, err
	}
	marks, err := record.ReadMarks(record.MarksPath(clip))
	if err == nil && !slices.Contains(marks.Confirmed, "sides") {
		look.Doubts = []LookDoubt{{"sides", "Both fores land across the midline.", "Look whether left and right are swapped."}}
	}
	return look, err
}

// The second look asks about what is doubted, and a click says that it is so.
func TestTheSecondLookAsksAboutDoubts(t *testing.T) {
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "a.mp4"), "640x360", "30", "30")
	file := filepath.Join(dir, "a.marks.json")
	if err := record.WriteMarks(file, &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 640, Height: 360}, Marks: []record.Mark{record.At(3, traj.LeftFore, 300, 300)}}); err != nil {
		t.Fatal(err)
	}
	m := doubting{&pretendMeasurer{frames: 30}}
	if err := m.Measure(t.Context(), filepath.Join(dir, "a.mp4"), func(Progress) {}); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, m)
	b := openBrowser(t, 1200, 800, false)
	b.open(s, "look", "a.mp4")
	b.Wait(`document.querySelector('.doubt')?.textContent.includes('Both fores land across the midline. Look whether')`)
	if !eval[bool](b, `document.querySelector('#check-sides') !== null && document.querySelector('#best-advice') === null`) {
		t.Error("more marks are asked for while left and right may be swapped")
	}
	b.Click(".doubt .confirm")
	b.Wait(`document.querySelector('.finding') !== null && document.querySelector('.doubt') === null && document.querySelector('#best-advice') !== null`)
	got, err := record.ReadMarks(file)
	if err != nil || !slices.Equal(got.Confirmed, []string{"sides"}) {
		t.Errorf("%+v %v", got, err)
	}
	b.Silent()
}
