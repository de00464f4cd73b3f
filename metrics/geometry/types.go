package geometry

// Level says what a clip's calibration supports.
type Level string

// The calibration levels, most capable first.
const (
	LevelMetric Level = "metric" // Four ground marks of a known rectangle: everything, in metres.
	LevelHeight Level = "height" // Camera height, focal length and horizon: everything, in metres, wider.
	LevelRatio  Level = "ratio"  // Horizon only: ratios and times, lengths as a share of the own stride.
	LevelNone   Level = "none"   // Nothing: times and the rhythm of head and croup.
)

// Point is a position in the picture, px (see package traj).
type Point struct {
	X float64 `json:"x"`
	Y float64 `json:"y"`
}

// CalibrationInput is what a person gave to calibrate one clip. Points are in
// the picture coordinates of frame Frame. At most one of the pointers is set;
// none means LevelNone.
type CalibrationInput struct {
	Frame   int           `json:"frame"`
	Ground  *GroundMarks  `json:"ground,omitempty"`
	Height  *CameraHeight `json:"height,omitempty"`
	Horizon *Horizon      `json:"horizon,omitempty"`
}

// GroundMarks is a rectangle of known size on the ground.
type GroundMarks struct {
	// Points are near left, near right, far right, far left, as seen in the picture.
	Points [4]Point `json:"points"`
	// WidthM is the side across the lane, LengthM the side along it, in metres.
	WidthM  float64 `json:"width_m"`
	LengthM float64 `json:"length_m"`
	// ClickSD is how far a click may be off, px, one standard deviation; 0 means
	// what the error model says.
	ClickSD float64 `json:"click_sd_px,omitempty"`
}

// CameraHeight calibrates from how the camera stood. Exactly one of FocalPX and
// FieldOfViewDeg (horizontal) is given.
type CameraHeight struct {
	HeightM        float64 `json:"camera_height_m"`
	FocalPX        float64 `json:"focal_px,omitempty"`
	FieldOfViewDeg float64 `json:"field_of_view_deg,omitempty"`
	Horizon        Horizon `json:"horizon"`
}

// Horizon is the picture row of the horizon: given as such, or as two lane
// edges (each two points) whose vanishing point lies on it.
type Horizon struct {
	RowPX *float64     `json:"row_px,omitempty"`
	Edges *[2][2]Point `json:"edges,omitempty"`
}
