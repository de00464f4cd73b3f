package record

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/fsx"
	"jogstrip/track/traj"
)

// MarksSchema is the schema field of a marks file.
const MarksSchema = "jogstrip-marks/1"

// A marks file larger than this is not read.
const marksLimit = 8 << 20

// Marks is what a person clicked on one clip.
type Marks struct {
	Schema      string                     `json:"schema"`
	Clip        string                     `json:"clip,omitempty"`
	View        traj.View                  `json:"view"`
	Gait        traj.Gait                  `json:"gait"`
	Note        string                     `json:"note,omitempty"`
	Picture     Picture                    `json:"picture"`
	WithersM    float64                    `json:"withers_m,omitempty"`
	Calibration *geometry.CalibrationInput `json:"calibration,omitempty"`
	Marks       []Mark                     `json:"marks"`
}

// Picture is the size of an upright picture, px.
type Picture struct {
	Width  int `json:"width"`
	Height int `json:"height"`
}

// Mark is one landmark in one frame.
type Mark struct {
	Frame    int           `json:"frame"`
	Landmark traj.Landmark `json:"landmark"`
	// X and Y are nil where Hidden.
	X *float64 `json:"x,omitempty"`
	Y *float64 `json:"y,omitempty"`
	// Hidden: looked for and not visible in this frame.
	Hidden bool `json:"hidden,omitempty"`
	// Proposed: the program found the place, and a person looked at it and confirmed it.
	Proposed bool `json:"proposed,omitempty"`
}

// At returns a mark on a visible landmark.
func At(frame int, landmark traj.Landmark, x, y float64) Mark {
	return Mark{Frame: frame, Landmark: landmark, X: &x, Y: &y}
}

// Hidden returns a mark that says a landmark is not visible.
func Hidden(frame int, landmark traj.Landmark) Mark {
	return Mark{Frame: frame, Landmark: landmark, Hidden: true}
}

// MarksPath returns where the marks of the clip at path are kept.
func MarksPath(clip string) string { return stem(clip) + ".marks.json" }

// OutPath returns the folder that holds the results of the clip at path.
func OutPath(clip string) string { return stem(clip) + ".out" }

func stem(clip string) string { return strings.TrimSuffix(clip, filepath.Ext(clip)) }

// ReadMarks reads and checks the marks file at path. That it fits its clip is
// checked by Fit.
func ReadMarks(path string) (*Marks, error) {
	data, err := fsx.ReadFile(path, marksLimit)
	if err != nil {
		return nil, fmt.Errorf("read marks: %w", err)
	}
	return ParseMarks(path, data)
}

// ParseMarks is ReadMarks for bytes at hand; path only serves errors.
func ParseMarks(path string, data []byte) (*Marks, error) {
	if err := conform(path, data, "marks-1", MarksSchema); err != nil {
		return nil, err
	}
	m := new(Marks)
	if err := json.Unmarshal(data, m); err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	type key struct {
		frame    int
		landmark traj.Landmark
	}
	seen := make(map[key]bool, len(m.Marks))
	for i, k := range m.Marks {
		at := key{k.Frame, k.Landmark}
		if seen[at] {
			return nil, fmt.Errorf("read %s: marks.%d: %s is marked twice in frame %d; once is allowed", path, i, k.Landmark, k.Frame)
		}
		seen[at] = true
	}
	return m, nil
}

// Fit checks that the marks belong to a clip of the given picture size and
// number of frames. Errors name every mark that does not.
func (m *Marks) Fit(path string, width, height, frames int) error {
	if m.Picture.Width != width || m.Picture.Height != height {
		return fmt.Errorf("read %s: marks were clicked on a picture of %d × %d px, the clip's is %d × %d: they belong to another clip", path, m.Picture.Width, m.Picture.Height, width, height)
	}
	var problems []error
	for i, k := range m.Marks {
		if k.Frame >= frames {
			problems = append(problems, fmt.Errorf("read %s: marks.%d.frame is %d, the clip has frames 0 to %d", path, i, k.Frame, frames-1))
			continue
		}
		if k.Hidden {
			continue
		}
		if *k.X < -0.5 || *k.Y < -0.5 || *k.X > float64(width)-0.5 || *k.Y > float64(height)-0.5 {
			problems = append(problems, fmt.Errorf("read %s: marks.%d (%s, frame %d) is at %.1f, %.1f, outside the picture of %d × %d px", path, i, k.Landmark, k.Frame, *k.X, *k.Y, width, height))
		}
	}
	if c := m.Calibration; c != nil && c.Frame >= frames {
		problems = append(problems, fmt.Errorf("read %s: calibration.frame is %d, the clip has frames 0 to %d", path, c.Frame, frames-1))
	}
	return errors.Join(problems...)
}

// Landmarks returns which landmarks are visible in at least one frame, in the
// order of traj.Landmarks.
func (m *Marks) Landmarks() []traj.Landmark {
	var out []traj.Landmark
	for _, l := range traj.Landmarks() {
		if slices.ContainsFunc(m.Marks, func(k Mark) bool { return k.Landmark == l && !k.Hidden }) {
			out = append(out, l)
		}
	}
	return out
}

// WriteMarks checks m and replaces the file at path with it.
func WriteMarks(path string, m *Marks) error {
	copied := *m
	copied.Schema = MarksSchema
	if copied.Marks == nil {
		copied.Marks = []Mark{}
	}
	copied.Marks = slices.Clone(copied.Marks)
	order := traj.Landmarks()
	slices.SortStableFunc(copied.Marks, func(a, b Mark) int {
		if a.Frame != b.Frame {
			return a.Frame - b.Frame
		}
		return slices.Index(order, a.Landmark) - slices.Index(order, b.Landmark)
	})
	data, err := json.MarshalIndent(&copied, "", " ")
	if err != nil {
		return fmt.Errorf("write marks %s: %w", path, err)
	}
	if _, err := ParseMarks(path, data); err != nil {
		return fmt.Errorf("write marks: what would be written can't be read: %w", err)
	}
	return fsx.WriteFile(path, append(data, '\n'))
}
