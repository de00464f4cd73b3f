package metrics

import (
	"encoding/json"
	"math"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// Evidence tells how far a measure is known to matter.
type Evidence string

// The kinds of evidence.
const (
	Established Evidence = "established" // Shown to go with lameness in published work.
	Suggested   Evidence = "suggested"   // Some published work and the trade say so: compared and scored, names no limb.
	Description Evidence = "description" // Seen and reported; not shown to identify a lame limb.
)

// Girdle is the pair of limbs a measure belongs to; empty: the whole horse.
type Girdle string

// The girdles.
const (
	Fore Girdle = "fore"
	Hind Girdle = "hind"
)

// Observation is one stride's value of one measure.
type Observation struct {
	Stride int     // Index into Run.Strides.
	Time   float64 // Start of the stride, s.
	Left   float64 // NaN for measures without sides and for a side not seen.
	Right  float64
	Value  float64 // Right − left for sided measures, else the value; NaN where a side is missing.
	SD     float64 // Standard deviation of Value from tracking and geometry; same unit. With one side seen, √2 times that side's.
}

type observationJSON struct {
	Stride int      `json:"stride"`
	Time   float64  `json:"time_s"`
	Left   *float64 `json:"left,omitempty"`
	Right  *float64 `json:"right,omitempty"`
	Value  *float64 `json:"value,omitempty"`
	SD     *float64 `json:"sd,omitempty"`
}

// MarshalJSON writes NaN, which JSON cannot hold, by leaving the field out.
func (o Observation) MarshalJSON() ([]byte, error) {
	return json.Marshal(observationJSON{o.Stride, o.Time, number(o.Left), number(o.Right), number(o.Value), number(o.SD)})
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (o *Observation) UnmarshalJSON(b []byte) error {
	*o = Observation{Left: math.NaN(), Right: math.NaN(), Value: math.NaN(), SD: math.NaN()}
	j := observationJSON{Left: &o.Left, Right: &o.Right, Value: &o.Value, SD: &o.SD}
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	o.Stride, o.Time = j.Stride, j.Time
	return nil
}

func number(x float64) *float64 {
	if !signal.Finite(x) {
		return nil
	}
	return &x
}

// Series is one measure over the strides of one run.
type Series struct {
	Name         Name          `json:"name"`
	Unit         string        `json:"unit"` // The definition's, or its RatioUnit at geometry.LevelRatio.
	Observations []Observation `json:"observations,omitempty"`
	// Reason says why nothing was measured, in words for the report; empty where something was.
	Reason string `json:"not_measurable,omitempty"`
	// CommonSD is the part of the error that all observations of the run share
	// (calibration), as standard deviation of Value; it does not average out.
	CommonSD float64 `json:"common_sd,omitempty"`
	// SideCommonSD is the same of Left and of Right, each for itself.
	SideCommonSD float64 `json:"common_side_sd,omitempty"`
	// OfRun and OfHorse are means from the model of the run or of its rhythm: of its own strides, and of
	// the horse, of which they are a sample. Nil where observations are averaged.
	OfRun   *Mean `json:"mean_of_run,omitempty"`
	OfHorse *Mean `json:"mean_of_horse,omitempty"`
}

// Mean is a mean with its standard error, in the unit of its series; the sides' fields
// are 0 for measures without sides.
type Mean struct {
	Value   float64 `json:"value"`
	SE      float64 `json:"se"`
	Left    float64 `json:"left,omitempty"`
	LeftSE  float64 `json:"left_se,omitempty"`
	Right   float64 `json:"right,omitempty"`
	RightSE float64 `json:"right_se,omitempty"`
}

// Contact is one stance of one hoof.
type Contact struct {
	Limb  traj.Landmark `json:"limb"`
	On    float64       `json:"on_s"`
	Off   float64       `json:"off_s"`
	OnSD  float64       `json:"on_sd_s"` // Negative where the instant lies outside the clip or in a gap: not measured.
	OffSD float64       `json:"off_sd_s"`
	// Placement in the lane frame, metres (geometry.LevelRatio: in camera heights); only where Placed.
	X      float64 `json:"x_m"`
	Y      float64 `json:"y_m"`
	XSD    float64 `json:"x_sd_m"`
	YSD    float64 `json:"y_sd_m"`
	Placed bool    `json:"placed"`
	// PictureX and PictureY are the stabilised picture position, px.
	PictureX float64 `json:"picture_x_px"`
	PictureY float64 `json:"picture_y_px"`
}

// Stride is from one hoof-on of the reference limb to its next.
type Stride = contact.Stride

// Line is the line of travel in the lane frame: through (X, Y) in direction
// (DX, DY), a unit vector that points the way the horse goes.
type Line struct {
	X  float64 `json:"x_m"`
	Y  float64 `json:"y_m"`
	DX float64 `json:"dx"`
	DY float64 `json:"dy"`
}

// Along returns how far along the line, and how far to its left, a point of the lane lies,
// in the lane's unit.
func (l Line) Along(x, y float64) (along, left float64) {
	dx, dy := x-l.X, y-l.Y
	return dx*l.DX + dy*l.DY, dy*l.DX - dx*l.DY
}

// Signal is a body landmark's height over time, for plots and signals.csv.
// Index: frame, as Times of the track set. NaN where not measured.
type Signal struct {
	Landmark traj.Landmark
	Unit     string    // "mm", or "%" of its own range where there is no length.
	Height   []float64 // With slow drift removed: about 0 on average.
	SD       []float64
}

// HoofPath is a hoof's path through one swing, for plots: the departure from
// the chord between its placements. Index: sample over the swing.
type HoofPath struct {
	Limb     traj.Landmark
	Progress []float64 // From 0 at hoof-off to 1 at hoof-on.
	Outward  []float64 // cm, lateral positive.
}

// Run is everything measured on one clip.
type Run struct {
	View      traj.View      `json:"view"`
	Gait      traj.Gait      `json:"gait"`
	Level     geometry.Level `json:"level"`
	Reference traj.Landmark  `json:"reference_limb"`
	Contacts  []Contact      `json:"contacts"`
	Strides   []Stride       `json:"strides"`
	Line      *Line          `json:"line_of_travel,omitempty"`
	Series    []Series       `json:"series"` // In the order of Definitions.
	Notes     []string       `json:"notes,omitempty"`
	Signals   []Signal       `json:"-"`
	Paths     []HoofPath     `json:"-"`
	// NearestM and FarthestM bound the distances at which hooves were placed, metres.
	NearestM  float64 `json:"nearest_m,omitempty"`
	FarthestM float64 `json:"farthest_m,omitempty"`
	// FocalPX and CameraHeightM are the calibration's, where it knows them.
	FocalPX       float64 `json:"focal_px,omitempty"`
	CameraHeightM float64 `json:"camera_height_m,omitempty"`
}

// Lookup returns the series of measure n, or nil.
func (r *Run) Lookup(n Name) *Series {
	return firstOf(r.Series, func(s *Series) bool { return s.Name == n })
}

// firstOf returns the first element of a list that is wanted, or nil.
func firstOf[T any](list []T, wanted func(*T) bool) *T {
	for i := range list {
		if wanted(&list[i]) {
			return &list[i]
		}
	}
	return nil
}

// Estimate is a value with its 95 % interval.
type Estimate struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	SE    float64 `json:"se"`
}

// Result is one measure over a visit (or over one run).
type Result struct {
	Name    Name   `json:"name"`
	Unit    string `json:"unit"`
	Strides int    `json:"strides"`
	Runs    int    `json:"runs"`
	// Left and Right are nil for measures without sides.
	Left  *Estimate `json:"left,omitempty"`
	Right *Estimate `json:"right,omitempty"`
	// Value is right − left for sided measures, else the value itself.
	Value *Estimate `json:"value,omitempty"`
	// SymmetryIndex, %, only for positive quantities.
	SymmetryIndex *Estimate `json:"symmetry_index_percent,omitempty"`
	Tolerance     float64   `json:"tolerance,omitempty"` // 0 where the table has none.
	OwnTolerance  bool      `json:"own_tolerance,omitempty"`
	// ToleranceSource is where the tolerance comes from: a publication, "common
	// practice", what the yard wrote, or own repeat runs; empty where there is none.
	ToleranceSource string `json:"tolerance_source,omitempty"`
	// Beyond is whether the interval of Value excludes even and the value is beyond the tolerance.
	Beyond      bool   `json:"beyond_tolerance"`
	ThisRunOnly bool   `json:"this_run_only,omitempty"` // The interval holds for one run, not for the horse on that day.
	Reason      string `json:"not_measurable,omitempty"`
}

// Component is one measure's part in the asymmetry score.
type Component struct {
	Name   Name      `json:"name"`
	Weight float64   `json:"weight"` // Share of the weight present; sums to 1 over the components.
	Ratio  float64   `json:"ratio"`  // Value over tolerance, signed.
	Part   float64   `json:"part"`   // What it adds under the root.
	Side   traj.Side `json:"side"`   // The side the sign points to as uneven; empty where it names none.
}

// Score is the asymmetry score; ScoreScale says how it is read.
type Score struct {
	Estimate
	Components []Component `json:"components"`
	Missing    []Name      `json:"missing,omitempty"`
	Side       traj.Side   `json:"side,omitempty"` // Of the limb the finding names; empty where it names none.
	Strides    int         `json:"strides"`
	Runs       int         `json:"runs"`
}

// LimbFinding says where the signs point, never what is wrong.
type LimbFinding struct {
	Limb traj.Landmark `json:"limb,omitempty"` // Empty: no side, or undecided.
	// Sentence is the finding in words: "signs point to the right fore: …".
	Sentence  string   `json:"sentence"`
	Agree     []string `json:"agree,omitempty"`
	Disagree  []string `json:"disagree,omitempty"`
	Undecided bool     `json:"undecided,omitempty"` // Asymmetry is there, but fore and hind cannot be told apart.
	Even      bool     `json:"even,omitempty"`
}

// Summary is one visit: all its runs of one gait together.
type Summary struct {
	Gait    traj.Gait        `json:"gait"`
	Views   []traj.View      `json:"views"`
	Levels  []geometry.Level `json:"levels"`
	Runs    int              `json:"runs"`
	Strides int              `json:"strides"`
	Results []Result         `json:"results"` // In the order of Definitions.
	Score   *Score           `json:"score,omitempty"`
	Limb    LimbFinding      `json:"limb"`
	Notes   []string         `json:"notes,omitempty"` // What the reader must know of how runs were taken together.
}

// Lookup returns the result of measure n, or nil.
func (s *Summary) Lookup(n Name) *Result {
	return firstOf(s.Results, func(r *Result) bool { return r.Name == n })
}

// Verdict is what a comparison says of one measure.
type Verdict string

// The verdicts.
const (
	Improved      Verdict = "improved"
	Worse         Verdict = "worse"
	NoChange      Verdict = "no measurable change"
	Changed       Verdict = "changed"    // Went over to the other side without becoming more or less even.
	NotJudged     Verdict = "not judged" // Of measures that are only described.
	NotComparable Verdict = "not comparable"
)

// Change is one measure before and after.
type Change struct {
	Name   Name      `json:"name"`
	Unit   string    `json:"unit"`
	Before *Estimate `json:"before,omitempty"`
	After  *Estimate `json:"after,omitempty"`
	Change *Estimate `json:"change,omitempty"` // After − before, of Value, by itself.
	// Judged is Change, nil where that is, with the interval that the verdict goes by: wider where several
	// measures are judged together, so that a change counts only where it leaves out none.
	Judged   *Estimate `json:"change_as_judged,omitempty"`
	Smallest float64   `json:"smallest_change"`  // The smallest change that counts, before correction.
	OwnMDC   bool      `json:"from_own_repeats"` // How days differ came from own visits, not from the table.
	P        float64   `json:"p"`                // Two-sided, before correction.
	Holm     float64   `json:"p_corrected"`      // After Holm's correction; as P for the followed measure.
	Followed bool      `json:"followed"`         // Declared beforehand; not corrected.
	Verdict  Verdict   `json:"verdict"`
	Reason   string    `json:"reason,omitempty"` // Why not comparable.
	Sentence string    `json:"sentence"`         // In plain words.
}

// Condition is one under which visits are filmed and which must be the same for both.
type Condition string

// The conditions.
const (
	GaitDiffers         Condition = "gait"
	ViewDiffers         Condition = "view"
	SurfaceDiffers      Condition = "surface"
	PresentationDiffers Condition = "presentation"
	SpeedDiffers        Condition = "speed"
)

// Barrier is a condition that differs, so that nothing of two visits is compared. Before and
// After are a traj.Gait, a traj.View, the surface as recorded, "led" or "ridden", or the
// speed with its unit.
type Barrier struct {
	Condition     Condition
	Before, After string
	Reason        string // As Reasons has it: "the surface differs (sand, then tarmac)".
}

// Comparison is two visits beside each other.
type Comparison struct {
	Before   Summary  `json:"before"`
	After    Summary  `json:"after"`
	Changes  []Change `json:"changes"`
	Score    *Change  `json:"score,omitempty"`
	Verdict  Verdict  `json:"verdict"`  // Of the followed measure, else of the strongest that counts.
	Sentence string   `json:"sentence"` // What a trainer wants first.
	// Reasons says why nothing is compared, as Barriers has it, then what limits the comparison.
	Reasons  []string  `json:"reasons,omitempty"`
	Barriers []Barrier `json:"-"`
}
