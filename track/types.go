package track

import (
	"context"
	"errors"
	"fmt"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Source delivers the frames of a clip in order.
type Source interface {
	// Size returns width and height of the upright picture, px. It does not change.
	Size() (width, height int)
	// Next returns the next frame's luma, row by row, and its time in seconds.
	// The pixels are valid until the next call. After the last frame it returns io.EOF.
	Next(ctx context.Context) (pixels []byte, timeS float64, err error)
}

// Open opens the clip at its first frame. A Source that also is an io.Closer is
// closed by whoever opened it.
type Open func(ctx context.Context) (Source, error)

// Mark is a landmark clicked by a person in one frame.
type Mark struct {
	Frame    int
	Landmark traj.Landmark
	X, Y     float64 // px; ignored where not Visible.
	Visible  bool    // False: the person says that it cannot be seen in this frame.
	SD       float64 // How far the click may be off, px; 0: as the marks of one hoof say.
}

// at returns where the mark lies, px.
func (m Mark) at() flow.Point { return flow.Point{X: m.X, Y: m.Y} }

// sameAs reports whether two marks are of one landmark in one frame.
func (m Mark) sameAs(o Mark) bool { return m.Landmark == o.Landmark && m.Frame == o.Frame }

// Options sets a run. The zero value is right for phone clips.
type Options struct {
	// View says which way the horse goes; empty means toward the camera.
	View traj.View
	// Model is what is taken as known beforehand; the zero value means errormodel.Usual.
	Model errormodel.Model
	// Gait says how long a hoof may stand; empty means as at a walk.
	Gait traj.Gait
	// ReferenceFrame is the frame to whose picture coordinates Motions lead:
	// where the ground marks were clicked. 0 is the first frame.
	ReferenceFrame int
	// ScratchDir holds the scratch file during the run; empty means the system's
	// directory for temporary files.
	ScratchDir string
	// Progress, where set, is called from one goroutine at a time with what is
	// being done and how far it is. total is 0 while it is unknown.
	Progress func(stage string, done, total int)
}

// Result is what tracking found.
type Result struct {
	Set    *traj.Set
	Losses []Loss   // Ordered by landmark, then by frame.
	Advice []Advice // Best first; empty where another mark wins nothing.
	Notes  []string // What a reader of the result should know, in sentences.
}

// Loss is a span of frames in which a landmark was not seen.
type Loss struct {
	Landmark    traj.Landmark
	First, Last int    // Frames, both inclusive.
	Bridged     bool   // Whether a motion model fills it.
	Cause       string // In words: "left the picture".
}

// Advice says which landmark to mark in which frame.
type Advice struct {
	Landmark traj.Landmark
	Frame    int
	Wins     int    // Frames that the mark may bring back or check.
	Reason   string // In words.
}

// ErrNoMarks is returned where no mark is visible.
var ErrNoMarks = errors.New("no visible mark")

// MarkError is a mark that does not fit the clip.
type MarkError struct {
	Mark   Mark
	Reason string
}

// Error names the mark and what is wrong with it.
func (e *MarkError) Error() string {
	return fmt.Sprintf("mark %s in frame %d at (%.1f, %.1f): %s", e.Mark.Landmark, e.Mark.Frame, e.Mark.X, e.Mark.Y, e.Reason)
}
