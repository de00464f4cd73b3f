package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/track/traj"
)

// ResultSchema is the schema field of a result file.
const ResultSchema = "jogstrip-result/1"

const resultLimit = 64 << 20

// ResultFile is the name of the result file inside a clip's out folder.
const ResultFile = "result.json"

// Result is everything measured on one clip. It holds no date and no path of
// the machine: the same inputs give the same bytes.
type Result struct {
	Schema   string           `json:"schema"`
	Program  Program          `json:"program"`
	Inputs   Inputs           `json:"inputs"`
	Clip     ClipFacts        `json:"clip"`
	Tracking Tracking         `json:"tracking"`
	Problems []string         `json:"problems,omitempty"` // What limits the numbers, in sentences.
	Doubts   []Doubt          `json:"doubts,omitempty"`   // What the numbers themselves contradict; see package doubt.
	Run      metrics.Run      `json:"run"`
	Summary  *metrics.Summary `json:"summary,omitempty"` // Of this run alone.
	// Declared is the measure that each earlier visit's page named as followed when this
	// clip was measured, by the visit folder's name: what counts as declared beforehand.
	Declared map[string]metrics.Name `json:"declared_before,omitempty"`
}

// Program says what measured.
type Program struct {
	Version   string `json:"version"`
	Measuring int    `json:"measuring_version"` // Rises whenever numbers may change.
	OpenCV    string `json:"opencv"`
	FFmpeg    string `json:"ffmpeg"`
}

// Inputs identifies what was measured, so that a later run can tell whether the
// result still holds.
type Inputs struct {
	ClipSHA256     string `json:"clip_sha256"`
	MarksSHA256    string `json:"marks_sha256"`
	SettingsSHA256 string `json:"settings_sha256"`
	// ErrorModelSHA256 is that of the error model's names and values.
	ErrorModelSHA256 string `json:"error_model_sha256,omitempty"`
	// WithersM is the horse's height as its page had it, m, which lengths of the body
	// depend on; 0 was not known.
	WithersM  float64 `json:"withers_m,omitempty"`
	Resamples int     `json:"resamples,omitempty"` // Of the bootstrap, where another number than the built-in one was asked for.
}

// ClipFacts says how the clip was filmed.
type ClipFacts struct {
	File     string `json:"file"`
	Codec    string `json:"codec"`
	BitDepth int    `json:"bit_depth"`
	Width    int    `json:"width_px"`
	Height   int    `json:"height_px"`
	Rotation int    `json:"rotation_deg"`
	// Mirrored: players exchange left and right of what is stored, and so does the program.
	Mirrored bool `json:"mirrored,omitempty"`
	// PixelAspect is the width of a stored pixel over its height where that is not 1; the
	// picture that was measured has square pixels.
	PixelAspect    float64 `json:"pixel_aspect,omitempty"`
	FrameRate      float64 `json:"frame_rate_hz"`    // As it was filmed.
	Slowed         float64 `json:"slowed,omitempty"` // By how much the clip plays slower than it was filmed, where it does; times are the true ones.
	VariableRate   bool    `json:"variable_frame_rate,omitempty"`
	Frames         int     `json:"frames"`
	PromisedFrames int     `json:"promised_frames"`
	DurationS      float64 `json:"duration_s"`
	// DamagedFrames is how many frames could not be decoded whole: decoded with errors,
	// predicted from such frames, or missing. Nothing is followed in them.
	DamagedFrames   int           `json:"damaged_frames,omitempty"`
	DecodeErrors    []DecodeError `json:"decode_errors,omitempty"` // Every frame in which decoding told of errors.
	ShakePX         float64       `json:"shake_rms_px"`
	ResidualShakePX float64       `json:"residual_shake_rms_px"`
}

// DecodeError is what decoding told of one frame.
type DecodeError struct {
	Frame int     `json:"frame"` // -1 where it can't be said which.
	TimeS float64 `json:"time_s"`
	Count int     `json:"errors"`
	Said  string  `json:"said,omitempty"` // The first, in FFmpeg's words.
}

// Tracking says how well every mark was followed.
type Tracking struct {
	Landmarks []LandmarkFacts `json:"landmarks"`
	Losses    []Loss          `json:"losses,omitempty"`
	Advice    []Advice        `json:"advice,omitempty"`
	Notes     []string        `json:"notes,omitempty"`
}

// LandmarkFacts counts the frames of one landmark.
type LandmarkFacts struct {
	Landmark traj.Landmark `json:"landmark"`
	Marked   int           `json:"frames_marked"`
	Tracked  int           `json:"frames_tracked"`
	Across   int           `json:"frames_across"` // Followed while it turns: its place across the picture holds, its height does not.
	Bridged  int           `json:"frames_bridged"`
	Lost     int           `json:"frames_lost"`
	MedianSD float64       `json:"median_sd_px"`
}

// Loss is a span of frames in which a landmark was not seen.
type Loss struct {
	Landmark traj.Landmark `json:"landmark"`
	First    int           `json:"first_frame"`
	Last     int           `json:"last_frame"`
	FromS    float64       `json:"from_s"`
	ToS      float64       `json:"to_s"`
	Bridged  bool          `json:"bridged,omitempty"`
	Cause    string        `json:"cause"`
}

// Advice says which landmark to mark in which frame to win most.
type Advice struct {
	Landmark traj.Landmark `json:"landmark"`
	Frame    int           `json:"frame"`
	TimeS    float64       `json:"time_s"`
	Wins     int           `json:"wins_frames"`
	Reason   string        `json:"reason"`
}

// MarshalResult returns the bytes of a result file.
func MarshalResult(r *Result) ([]byte, error) {
	copied := *r
	copied.Schema = ResultSchema
	data, err := json.MarshalIndent(&copied, "", " ")
	if err != nil {
		return nil, fmt.Errorf("write result of %s: %w", r.Clip.File, err)
	}
	return append(data, '\n'), nil
}

// ReadResult reads the result file at path, or in the out folder at path.
func ReadResult(path string) (*Result, error) {
	if filepath.Ext(path) != ".json" {
		path = filepath.Join(path, ResultFile)
	}
	data, err := fsx.ReadFile(path, resultLimit)
	if err != nil {
		return nil, fmt.Errorf("read result: %w", err)
	}
	return ParseResult(path, data)
}

// ParseResult is ReadResult for bytes at hand; path only serves errors.
func ParseResult(path string, data []byte) (*Result, error) {
	data = withoutMark(data)
	r := new(Result)
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	err := decoder.Decode(r)
	whole := err == nil && len(bytes.TrimSpace(data[decoder.InputOffset():])) == 0
	if !whole || r.Schema != ResultSchema {
		return nil, badResult(path, data, err)
	}
	if !r.Run.View.Valid() {
		return nil, outOfRange(path, "run.view", r.Run.View, "toward or away")
	}
	if !r.Run.Gait.Valid() {
		return nil, outOfRange(path, "run.gait", r.Run.Gait, "walk, trot or pace")
	}
	return r, nil
}

// badResult says what is wrong with a file that is no result of this version;
// err is what decoding met. The schema is looked at first: of a file of another
// kind or version the fields tell nothing.
func badResult(path string, data []byte, err error) error {
	var head struct {
		Schema any `json:"schema"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return notJSON(path, data, err)
	}
	if err := version(path, head.Schema, ResultSchema); err != nil {
		return err
	}
	var wrong *json.UnmarshalTypeError
	if errors.As(err, &wrong) {
		return fmt.Errorf("read %s: field %s is a %s, must be a %s", path, wrong.Field, wrong.Value, wrong.Type)
	}
	return fmt.Errorf("read %s: %w", path, err)
}
