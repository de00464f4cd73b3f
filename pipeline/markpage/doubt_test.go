package markpage

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
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
