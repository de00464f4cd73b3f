package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
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
	Schema  string    `json:"schema"`
	Clip    string    `json:"clip,omitempty"`
	View    traj.View `json:"view"`
	Gait    traj.Gait `json:"gait"`
	Note    string    `json:"note,omitempty"`
	Picture Picture   `json:"picture"`
	// Frames is how many frames the clip has on which the marks were set; 0 is not known.
	Frames int `json:"frames,omitempty"`
	// Turned is how players turned the stored picture when the marks were set, as
	// clip.Info.Turned tells it; empty is not known.
	Turned      string                     `json:"turned,omitempty"`
	WithersM    float64                    `json:"withers_m,omitempty"`
	Calibration *geometry.CalibrationInput `json:"calibration,omitempty"`
	// FilmedFPS is at how many frames a second the clip was filmed where it is slow
	// motion and does not say so itself; 0 leaves its times as they are.
	FilmedFPS float64 `json:"filmed_fps,omitempty"`
	// Confirmed holds the kinds of doubts that a person has looked at and found
	// unfounded. A doubt that says that nothing may be measured is not among them.
	Confirmed []string `json:"confirmed,omitempty"`
	Marks     []Mark   `json:"marks"`
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

// MarksPath returns where the marks of the clip at path are kept.
func MarksPath(clip string) string { return stem(clip) + ".marks.json" }

// OutPath returns the folder that holds the results of the clip at path.
func OutPath(clip string) string { return stem(clip) + ".out" }

func stem(clip string) string { return strings.TrimSuffix(clip, filepath.Ext(clip)) }

// ReadMarks reads and checks the marks file at path. That it fits its clip is
// checked by Fit.
func ReadMarks(path string) (*Marks, error) {
	m, _, err := ReadMarksHashed(path)
	return m, err
}

// ReadMarksHashed is ReadMarks and returns the SHA-256 of the very bytes that it read,
// in hexadecimal: a file that is replaced meanwhile is one or the other.
func ReadMarksHashed(path string) (m *Marks, sum string, err error) {
	data, err := fsx.ReadFile(path, marksLimit)
	if err != nil {
		return nil, "", fmt.Errorf("read marks: %w", err)
	}
	if m, err = ParseMarks(path, data); err != nil {
		return nil, "", err
	}
	hash := sha256.Sum256(data)
	return m, hex.EncodeToString(hash[:]), nil
}

// ParseMarks is ReadMarks for bytes at hand; path only serves errors.
func ParseMarks(path string, data []byte) (*Marks, error) {
	data = withoutMark(data)
	if err := conform(path, data, "marks-1", MarksSchema); err != nil {
		return nil, err
	}
	m := new(Marks)
	var wrong *json.UnmarshalTypeError
	if err := json.Unmarshal(data, m); errors.As(err, &wrong) {
		return nil, fmt.Errorf("read %s: %s is the %s, which is too large to be meant", path, wrong.Field, shortened(wrong.Value))
	} else if err != nil {
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

// shortened keeps a number that was written with hundreds of digits to a few.
func shortened(text string) string {
	const most = 30
	if len(text) > most {
		return text[:most] + "…"
	}
	return text
}

// Fit checks that the marks belong to a clip of the given picture size and
// number of frames. The error names the first mark that does not and counts the others.
func (m *Marks) Fit(path string, width, height, frames int) error {
	if m.Picture.Width != width || m.Picture.Height != height {
		return fmt.Errorf("read %s: marks were clicked on a picture of %d × %d px, the clip's is %d × %d: they belong to another clip", path, m.Picture.Width, m.Picture.Height, width, height)
	}
	var late, outside []string
	for i, k := range m.Marks {
		switch {
		case k.Frame >= frames:
			late = append(late, fmt.Sprintf("marks.%d (%s) is in frame %d", i, k.Landmark, k.Frame))
		case k.Hidden:
		case *k.X < -0.5 || *k.Y < -0.5 || *k.X > float64(width)-0.5 || *k.Y > float64(height)-0.5:
			outside = append(outside, fmt.Sprintf("marks.%d (%s, frame %d) is at %s, %s", i, k.Landmark, k.Frame, place(*k.X), place(*k.Y)))
		}
	}
	if c := m.Calibration; c != nil && c.Frame >= frames {
		late = append(late, fmt.Sprintf("calibration is in frame %d", c.Frame))
	}
	var problems []error
	if len(late) > 0 {
		problems = append(problems, fmt.Errorf("read %s: %s, and the clip has frames 0 to %d: it broke off (copy it from the phone again), or the marks belong to another clip", path, firstOf(late), frames-1))
	}
	if len(outside) > 0 {
		problems = append(problems, fmt.Errorf("read %s: %s, outside the picture of %d × %d px: the marks belong to another clip, or a number is mistyped", path, firstOf(outside), width, height))
	}
	return errors.Join(problems...)
}

// firstOf returns the first of the problems and how many more there are.
func firstOf(problems []string) string {
	switch n := len(problems) - 1; n {
	case 0:
		return problems[0]
	case 1:
		return problems[0] + " (and one more like it)"
	default:
		return fmt.Sprintf("%s (and %d more like it)", problems[0], n)
	}
}

// place writes a coordinate with tenths, or shortly where it can't be one.
func place(x float64) string {
	if math.Abs(x) > 1e6 {
		return strconv.FormatFloat(x, 'g', 4, 64)
	}
	return strconv.FormatFloat(x, 'f', 1, 64)
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
