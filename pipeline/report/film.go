package report

import (
	"fmt"
	"math"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// Film says how a clip was filmed and followed.
type Film struct {
	File           string
	Codec          string
	Width, Height  int     // Of the upright picture, px.
	FrameRate      float64 // Mean, frames a second; 0 is not known.
	VariableRate   bool
	Frames         int
	PromisedFrames int // As the file's own table says; 0 is not known. More than Frames: the clip breaks off.
	Duration       float64
	View           traj.View
	Gait           traj.Gait
	Level          geometry.Level
	// NearestM and FarthestM bound the distances of the measured placements; 0 is not known.
	NearestM, FarthestM float64
	// FocalPX and CameraHeightM are the calibration's; 0 is not known.
	FocalPX, CameraHeightM float64
	ShakePX                float64 // Background motion before stabilising, px, root mean square.
	ResidualPX             float64 // What stabilising left, px; NaN is not measured.
	Marks                  []MarkFacts
	Problems               []string // What is wrong with the clip, in sentences.
	Lengths                lengths.System
}

// length writes a length that is in unit as the page's readers read it.
func (f Film) length(v float64, unit string) string { return f.Lengths.Format(v, unit, 1) }

// MarkFacts says how well one landmark was followed.
type MarkFacts struct {
	Landmark traj.Landmark
	Marked   int // Frames a person marked.
	Seen     int // Frames it was followed in, marked ones included.
	Across   int // Of a hoof in the air: seen, its place across the picture known, its height not.
	Bridged  int // Short losses filled by a motion model.
	Lost     int
	MedianSD float64 // Spread, px; 0 is not known.
}

// fact is a row of a two-column table.
type fact struct{ Name, Value string }

// facts lists how the clip was filmed.
func (f Film) facts() []fact {
	var out []fact
	add := func(name, value string) {
		if value != "" {
			out = append(out, fact{name, value})
		}
	}
	add("File", f.File)
	if f.Width > 0 {
		add("Picture", fmt.Sprintf("%d × %d px", f.Width, f.Height))
	}
	if f.FrameRate > 0 {
		rate := number(f.FrameRate, 1) + " frames a second"
		if f.VariableRate {
			rate += ", variable (every frame’s own time is used)"
		}
		add("Frame rate", rate)
	}
	if f.Frames > 0 {
		frames := fmt.Sprintf("%s s, %s", number(f.Duration, 1), count(f.Frames, "frame"))
		if f.PromisedFrames > f.Frames {
			frames += fmt.Sprintf(" of %d: the clip breaks off", f.PromisedFrames)
		}
		add("Length", frames)
	}
	add("Codec", f.Codec)
	switch f.View {
	case traj.Toward:
		add("View", "coming toward the camera")
	case traj.Away:
		add("View", "going away from the camera")
	}
	add("Gait", string(f.Gait))
	add("Calibration", levelWords(f.Level))
	if f.FarthestM > 0 {
		add("Measured distance", f.length(f.NearestM, "m")+" to "+f.length(f.FarthestM, "m")+" from the camera")
	}
	if f.ShakePX > 0 {
		shake := number(f.ShakePX, 1) + " px"
		if !math.IsNaN(f.ResidualPX) {
			shake += fmt.Sprintf("; %s px left after stabilising", number(f.ResidualPX, 2))
		}
		add("Camera shake (root mean square)", shake)
	} else {
		add("Camera shake", "none found: the camera stood still")
	}
	return out
}

// levelWords says what a calibration level is.
func levelWords(l geometry.Level) string {
	switch l {
	case geometry.LevelMetric:
		return "metric: four ground marks of a known rectangle"
	case geometry.LevelHeight:
		return "height: camera height, focal length and horizon"
	case geometry.LevelRatio:
		return "ratio: horizon only"
	case geometry.LevelNone:
		return "none"
	}
	return ""
}

// limits says, from how the clip was filmed, how far its numbers can be
// trusted. Every sentence follows from a figure of the clip.
func (f Film) limits() []string {
	var out []string
	switch f.Level {
	case geometry.LevelMetric:
		out = append(out, "Four ground marks give all lengths. A wrong width or length of the rectangle scales every length alike; differences between the sides keep their sign and their share.")
	case geometry.LevelHeight:
		out = append(out, "Lengths rest on the camera height and focal length that were given. A wrong height scales every length alike; a wrong horizon does not cancel between the sides. Intervals are wider than with ground marks.")
	case geometry.LevelRatio:
		out = append(out, "With the horizon alone there are no metres: lengths are given as a share of the horse’s own stride, heights as a share of their own range.")
	case geometry.LevelNone:
		out = append(out, "Without calibration only times and the rhythm of head and croup can be measured; no length, no height, no placement.")
	}
	if f.FrameRate > 0 {
		// A uniform error within one frame T: T/√12 for one event, T/√6 for an interval.
		t := 1000 / f.FrameRate
		out = append(out, fmt.Sprintf("One frame lasts %s ms. An instant known to the frame alone has a standard deviation of %s ms, a time between two such instants %s ms; the intervals in the tables hold what was reached.",
			number(t, 1), number(t/math.Sqrt(12), 1), number(t/math.Sqrt(6), 1)))
	}
	if f.FocalPX > 0 && f.FarthestM > 0 {
		txt := fmt.Sprintf("At the nearest measured placement (%s) one pixel is %s across, at the farthest (%s) %s.",
			f.length(f.NearestM, "m"), f.length(1000*f.NearestM/f.FocalPX, "mm"), f.length(f.FarthestM, "m"), f.length(1000*f.FarthestM/f.FocalPX, "mm"))
		if f.CameraHeightM > 0 {
			// The depth of a ground point from its row: dY/dv = Y²/(f·H).
			depth := func(y float64) string { return f.length(100*y*y/(f.FocalPX*f.CameraHeightM), "cm") }
			txt += fmt.Sprintf(" Along the lane one pixel is %s there and %s here: far strides count less, and their intervals show it.", depth(f.NearestM), depth(f.FarthestM))
		}
		out = append(out, txt)
		if f.ShakePX > 0 && !math.IsNaN(f.ResidualPX) {
			middle := (f.NearestM + f.FarthestM) / 2
			out = append(out, fmt.Sprintf("What stabilising left of the shake is %s at %s. A tripod or a fence post removes it.",
				f.length(1000*f.ResidualPX*middle/f.FocalPX, "mm"), f.length(middle, "m")))
		}
	}
	if f.ShakePX > 0 && math.IsNaN(f.ResidualPX) {
		out = append(out, "The camera moved and what stabilising left of it could not be measured: read small differences with care.")
	}
	if f.PromisedFrames > f.Frames && f.Frames > 0 {
		out = append(out, fmt.Sprintf("The file promises %d frames and holds %d that can be read; what comes after was not measured.", f.PromisedFrames, f.Frames))
	}
	for _, m := range f.Marks {
		all := m.Seen + m.Across + m.Bridged + m.Lost
		if all == 0 || m.Lost == 0 {
			continue
		}
		share := 100 * float64(m.Lost) / float64(all)
		if share >= 1 {
			out = append(out, fmt.Sprintf("The %s mark was lost in %s %% of the frames; strides there are left out. Marking it in one more frame may bring them back.", m.Landmark.Words(), number(share, 0)))
		}
	}
	out = append(out, "Rows of a phone’s picture are exposed one after the other, which shifts an instant at the bottom of the picture against one at its top by up to one frame; and a lens bends lines near the edges, which is not corrected. Both matter least where the horse stays in the middle of the picture.")
	return out
}
