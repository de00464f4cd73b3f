package record_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

func example() *record.Marks {
	row := 410.5
	return &record.Marks{
		Schema: record.MarksSchema, Clip: "toward-1.mp4", View: traj.Toward, Gait: traj.Trot,
		Picture:     record.Picture{Width: 1920, Height: 1080},
		WithersM:    1.58,
		Calibration: &geometry.CalibrationInput{Frame: 3, Height: &geometry.CameraHeight{HeightM: 1.2, FocalPX: 1500, Horizon: geometry.Horizon{RowPX: &row}}},
		Marks: []record.Mark{
			record.At(120, traj.LeftFore, 1010.25, 700.5),
			record.At(120, traj.Head, 960, 300),
			{Frame: 121, Landmark: traj.RightHind, Hidden: true},
		},
	}
}

func TestMarksSurviveWritingAndReading(t *testing.T) {
	path := filepath.Join(t.TempDir(), "toward-1.marks.json")
	want := example()
	if err := record.WriteMarks(path, want); err != nil {
		t.Fatal(err)
	}
	got, err := record.ReadMarks(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestMarksErrorsNameFieldValueAndAllowed(t *testing.T) {
	base := `{"schema":"jogstrip-marks/1","view":"toward","gait":"trot","picture":{"width":1920,"height":1080},"marks":[{"frame":1,"landmark":"head","x":5,"y":6}]}`
	edit := func(old, new string) string { return strings.Replace(base, old, new, 1) }
	tests := []struct {
		name, text string
		want       []string // Words the error must hold.
	}{
		{"empty file", "", []string{"JSON"}},
		{"cut off", base[:80], []string{"JSON"}},
		{"not an object", "[]", []string{"object"}},
		{"no schema", edit(`"schema":"jogstrip-marks/1",`, ""), []string{"schema", "missing", "jogstrip-marks/1"}},
		{"later version", edit("marks/1", "marks/2"), []string{"jogstrip-marks/2", "another version"}},
		{"other kind", edit("jogstrip-marks/1", "jogstrip-result/1"), []string{"jogstrip-result/1", "must be"}},
		{"unknown view", edit("toward", "sideways"), []string{"view", "sideways", "toward", "away"}},
		{"unknown landmark", edit(`"head"`, `"elbow"`), []string{"marks.0.landmark", "elbow", "left-fore"}},
		{"missing gait", edit(`"gait":"trot",`, ""), []string{"gait"}},
		{"negative frame", edit(`"frame":1`, `"frame":-1`), []string{"marks.0.frame", "-1", "0"}},
		{"fractional frame", edit(`"frame":1`, `"frame":1.5`), []string{"marks.0.frame", "1.5"}},
		{"mark without place", edit(`,"x":5,"y":6`, ""), []string{"marks.0"}},
		{"hidden mark with a place", edit(`"x":5`, `"hidden":true,"x":5`), []string{"marks.0"}},
		{"unknown field", edit(`"marks":`, `"marsk":1,"marks":`), []string{"marsk"}},
		{"twice in a frame", edit(`[{`, `[{"frame":1,"landmark":"head","x":1,"y":1},{`), []string{"marks.1", "head", "twice", "frame 1"}},
		{"two calibrations", edit(`"marks":`, `"calibration":{"frame":0,"horizon":{"row_px":3},"height":{"camera_height_m":1,"focal_px":900,"horizon":{"row_px":3}}},"marks":`), []string{"calibration"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := record.ParseMarks("a.marks.json", []byte(tt.text))
			if err == nil {
				t.Fatal("no error")
			}
			for _, word := range append(tt.want, "a.marks.json") {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("error lacks %q: %v", word, err)
				}
			}
		})
	}
	if _, err := record.ParseMarks("a.marks.json", []byte(base)); err != nil {
		t.Errorf("the unedited text: %v", err)
	}
}

func TestFit(t *testing.T) {
	outside := example()
	outside.Marks = append(outside.Marks, record.At(120, traj.RightFore, 1920.5, 20))
	late := example()
	late.Marks = append(late.Marks, record.At(500, traj.RightFore, 20, 20))
	tests := []struct {
		name                  string
		marks                 *record.Marks
		width, height, frames int
		want                  string // Empty: fits.
	}{
		{"fits", example(), 1920, 1080, 300, ""},
		{"other size", example(), 1080, 1920, 300, "another clip"},
		{"outside the picture", outside, 1920, 1080, 300, "marks.3 (right-fore, frame 120) is at 1920.5, 20.0"},
		{"after the end", late, 1920, 1080, 300, "marks.3 (right-fore) is in frame 500, and the clip has frames 0 to 299"},
		{"calibration after the end", example(), 1920, 1080, 2, "marks.0 (left-fore) is in frame 120 (and 3 more like it), and the clip has frames 0 to 1"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			err := tt.marks.Fit("a.marks.json", tt.width, tt.height, tt.frames)
			switch {
			case tt.want == "" && err != nil:
				t.Error(err)
			case tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)):
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
}

func FuzzMarks(f *testing.F) {
	path := filepath.Join(f.TempDir(), "seed.marks.json")
	if err := record.WriteMarks(path, example()); err != nil {
		f.Fatal(err)
	}
	seed, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(seed)
	f.Add([]byte(`{"schema":"jogstrip-marks/1"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := record.ParseMarks("x", data)
		if err != nil {
			return
		}
		// What is accepted can be written and read again unchanged.
		out := filepath.Join(t.TempDir(), "x.marks.json")
		if err := record.WriteMarks(out, m); err != nil {
			t.Fatalf("accepted, then refused to write: %v", err)
		}
		again, err := record.ReadMarks(out)
		if err != nil {
			t.Fatalf("wrote what can't be read: %v", err)
		}
		if len(again.Marks) != len(m.Marks) {
			t.Fatalf("%d marks became %d", len(m.Marks), len(again.Marks))
		}
		_ = m.Fit("x", 1920, 1080, 10)
	})
}
