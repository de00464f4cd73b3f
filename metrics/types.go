package metrics

import (
	"encoding/json"
	"math"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
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

// Girdle is the pair of limbs a measure belongs to.
type Girdle string

// The girdles.
const (
	Fore  Girdle = "fore"
	Hind  Girdle = "hind"
	Whole Girdle = "" // The whole horse.
)

// Name is a measure's name in files. It carries no unit.
type Name string

// The measures, in the order of Definitions: formula, sign, unit and source, as in
// MEASURES.md, where what each needs and does not mean stands too. On and off are
// the instants of hoof-on and hoof-off, Y the place of a placement along the line of
// travel, T the stride duration, L and R the horse’s own sides.
const (
	// StrideDuration: T = hoof-on of the reference limb to its next; where a hoof-on was
	// not timed, the instant at which the rhythm of all limbs puts it, with that
	// instant's spread. Sign: None. Unit: s. Source: Standard; in trot in hand about
	// 0.7–0.8 s (Holmstrom et al. 1994, Swedish Warmbloods: 794 ms; authors and year
	// from memory).
	StrideDuration Name = "stride_duration"

	// StrideFrequency: 1/T. Sign: None. Unit: Hz. Source: As stride duration.
	StrideFrequency Name = "stride_frequency"

	// Speed: (Y of the next placement − Y of this one)/T, of the reference limb, else of
	// another limb of which both placements were seen. Sign: None. Unit: m/s. Source:
	// Standard; keep it equal on repeats, since horses are called sound more often at
	// higher speed (Starke et al. 2013, Vet J).
	Speed Name = "speed"

	// StrideLength: Y of the next placement − Y of this one, of the reference limb, else
	// of another limb of which both were seen. Sign: None. Unit: m. Source: Drevemo et al.
	// 1980, Equine Vet J 12:60–65: varies by about 2 % within a horse (Standardbreds at
	// some 12 m/s; no figure for a trot in hand was found).
	StrideLength Name = "stride_length"

	// StepLengthFore: left = Y(L) − Y(R before it), right = Y(R) − Y(L before it), along
	// the line of travel; difference R − L. Mean over the run from the model of the run
	// (below). Sign: Negative: the right limb's step is shorter. A sign that by itself
	// names no limb. Unit: m; at level ratio % of stride length. Source: Shortened steps
	// and a shortened cranial phase: Clayton 1986, J Equine Vet Sci (one horse); which
	// limb a short step points to is common practice.
	StepLengthFore Name = "step_length_fore"
	// StepLengthHind is StepLengthFore of the hindlimbs.
	StepLengthHind Name = "step_length_hind"

	// StepTimingFore: 100·(on(R) − on(L))/T from L to R to the next L. Sign: 50 % is even;
	// below 50 % the right limb lands early, its step takes less time. A sign that by
	// itself names no limb. Unit: %. Source: Rhythm of the trot; the direction is common
	// practice and not settled by published work.
	StepTimingFore Name = "step_timing_fore"
	// StepTimingHind is StepTimingFore of the hindlimbs.
	StepTimingHind Name = "step_timing_hind"

	// HeadLowDifference: height of the head at its minimum in right-fore stance − that
	// in left-fore stance. Sign: Positive: carried higher over the right fore; a
	// right-fore pattern. Unit: mm; at level ratio % of its own range. Source: Pfau et
	// al. 2018, Equine Vet J 50:117–123 (sign); Buchner et al. 1996, Equine Vet J
	// 28:71–76 (that the trunk is kept higher in lame stance); variation between
	// measurements: Hardeman et al. 2019, Equine Vet J, 10.1111/evj.13075.
	HeadLowDifference Name = "head_low_difference"

	// HeadHighDifference: height of the head at its maximum after right-fore stance −
	// that after left-fore stance. Sign: Positive: rises higher after the right fore's
	// stance; a right-fore pattern. Unit: mm; at level ratio % of its own range. Source:
	// Pfau et al. 2018, Equine Vet J 50:117–123 (sign); Buchner et al. 1996, Equine Vet
	// J 28:71–76 (that the trunk is kept higher in lame stance); variation between
	// measurements: Hardeman et al. 2019, Equine Vet J, 10.1111/evj.13075.
	HeadHighDifference Name = "head_high_difference"

	// WithersLowDifference is HeadLowDifference of the withers.
	WithersLowDifference Name = "withers_low_difference"
	// WithersHighDifference is HeadHighDifference of the withers.
	WithersHighDifference Name = "withers_high_difference"

	// CroupLowDifference is HeadLowDifference of the croup, over the hindlimbs.
	CroupLowDifference Name = "croup_low_difference"
	// CroupHighDifference is HeadHighDifference of the croup, after the hindlimbs.
	CroupHighDifference Name = "croup_high_difference"

	// HipExcursion: highest − lowest point of each hip over the stride; difference R −
	// L. Sign: Positive: the right hip moves more up and down; counts as a sign of the
	// right hind. Unit: mm. Source: Hip hike is common practice; that vertical pelvic
	// movement goes with hindlimb lameness is established (croup, above).
	HipExcursion Name = "hip_excursion"

	// HeadFirstHarmonic: amplitude A1 of the head's movement at stride frequency
	// (least-squares Fourier fit). Sign: None: an amplitude. Unit: mm; at level ratio %
	// of its own range. Source: Pfau et al. 2018 (first harmonic as amount and phase of
	// asymmetry); Peham 1996, Audigie 2002 (from memory).
	HeadFirstHarmonic Name = "head_first_harmonic"

	// HeadSecondHarmonic: amplitude A2 at twice the stride frequency: the even part.
	// Sign: None: an amplitude. Unit: mm; at level ratio % of its own range. Source: As
	// above.
	HeadSecondHarmonic Name = "head_second_harmonic"

	// HeadHarmonicShare: 100·A1/(A1 + A2). Sign: None; 0 % is a head that moves alike
	// over both forelimbs. Unit: %. Source: As above.
	HeadHarmonicShare Name = "head_harmonic_share"

	// StanceDurationFore: off − on of each limb; difference R − L. Sign: Positive:
	// longer on the right. Unit: s. Source: Standard definition; single instants are
	// known to about 26 ms at the very best (Starke & Clayton 2015, PeerJ 3:e783, in a
	// laboratory).
	StanceDurationFore Name = "stance_duration_fore"
	// StanceDurationHind is StanceDurationFore of the hindlimbs.
	StanceDurationHind Name = "stance_duration_hind"

	// SwingDurationFore: next on − off of each limb; difference R − L. Sign: Positive:
	// longer on the right. Unit: s. Source: Standard definition; single instants are
	// known to about 26 ms at the very best (Starke & Clayton 2015, PeerJ 3:e783, in a
	// laboratory).
	SwingDurationFore Name = "swing_duration_fore"
	// SwingDurationHind is SwingDurationFore of the hindlimbs.
	SwingDurationHind Name = "swing_duration_hind"

	// DutyFactorFore: 100·stance/(stance + swing) of each limb; difference R − L. Sign:
	// Positive: longer on the right. Unit: %. Source: Standard definition; single
	// instants are known to about 26 ms at the very best (Starke & Clayton 2015, PeerJ
	// 3:e783, in a laboratory).
	DutyFactorFore Name = "duty_factor_fore"
	// DutyFactorHind is DutyFactorFore of the hindlimbs.
	DutyFactorHind Name = "duty_factor_hind"

	// PairTiming: 1000·(on(hind) − on(fore)) of each diagonal pair (in pace: lateral
	// pair), the side being the fore's; difference R − L. Sign: Each side: positive when
	// the hind lands after its fore. Difference: positive when that of the right fore's
	// pair is the later one. Unit: ms. Source: Hind first, together and fore first all
	// occur in sound horses: Hobbs, Bertram & Clayton 2016, PeerJ 4:e2190.
	PairTiming Name = "pair_timing"

	// PlacementOffsetFore: distance of each placement from the line of travel, outward
	// positive; difference R − L. Sign: Each side: negative lands across the midline
	// (plaiting). Difference: positive when the right lands further outward. Unit: cm.
	// Source: In induced lameness inconsistent and contradictory: Adams & Stashak, 7th
	// ed., p. 135.
	PlacementOffsetFore Name = "placement_offset_fore"
	// PlacementOffsetHind is PlacementOffsetFore of the hindlimbs.
	PlacementOffsetHind Name = "placement_offset_hind"

	// LateralArcFore: largest outward departure of the hoof from the chord between its
	// two placements; difference R − L. Sign: Positive: the right swings further
	// outward. Unit: cm. Source: Not objectively studied as a sign of particular
	// lameness: Adams & Stashak, 7th ed., p. 135.
	LateralArcFore Name = "lateral_arc_fore"
	// LateralArcHind is LateralArcFore of the hindlimbs.
	LateralArcHind Name = "lateral_arc_hind"

	// MedialArcFore: largest inward departure of the hoof from the chord between its two
	// placements; difference R − L. Sign: Positive: the right swings further inward.
	// Unit: cm. Source: Not objectively studied as a sign of particular lameness: Adams
	// & Stashak, 7th ed., p. 135.
	MedialArcFore Name = "medial_arc_fore"
	// MedialArcHind is MedialArcFore of the hindlimbs.
	MedialArcHind Name = "medial_arc_hind"

	// FlightHeightFore: highest point of the hoof mark over its height in stance;
	// difference R − L. Sign: Positive: the right is lifted higher. Unit: cm. Source:
	// Objective measurements have not confirmed what is read from the hoof's path: Adams
	// & Stashak, 7th ed., p. 135.
	FlightHeightFore Name = "flight_height_fore"
	// FlightHeightHind is FlightHeightFore of the hindlimbs.
	FlightHeightHind Name = "flight_height_hind"

	// PlacementSpreadFore: standard deviation over the run of each limb's placement
	// offset, measuring error taken off; difference R − L. Sign: Positive: the right
	// varies more. Unit: cm. Source: Common practice.
	PlacementSpreadFore Name = "placement_spread_fore"
	// PlacementSpreadHind is PlacementSpreadFore of the hindlimbs.
	PlacementSpreadHind Name = "placement_spread_hind"

	// StepLengthSpreadFore: standard deviation over the run of each limb's step length,
	// measuring error taken off; difference R − L. Sign: Positive: the right varies
	// more. Unit: cm. Source: Common practice.
	StepLengthSpreadFore Name = "step_length_spread_fore"
	// StepLengthSpreadHind is StepLengthSpreadFore of the hindlimbs.
	StepLengthSpreadHind Name = "step_length_spread_hind"

	// ShoulderExcursion: highest − lowest point of each point of the shoulder over the
	// stride; difference R − L. Sign: Positive: the right one moves more up and down.
	// Unit: mm. Source: Common practice.
	ShoulderExcursion Name = "shoulder_excursion"
	// ShoulderLift: height of each point of the shoulder half a stride after the middle of
	// its limb's stance (in the middle of its swing) − that in the middle of its stance;
	// difference R − L. Sign: Positive: the right one is
	// lifted more. Unit: mm. Source: Common practice.
	ShoulderLift Name = "shoulder_lift"
	// ShoulderRoll: range over the stride of the roll of the line between the points of
	// the shoulders. Sign: None. Unit: °. Source: Common practice.
	ShoulderRoll Name = "shoulder_roll"

	// ChestSway: largest departure of the chest to each side of its own mean over the
	// stride, square to the line of travel; difference R − L. Sign: Positive: it swings
	// further to the right. Unit: mm. Source: Common practice.
	ChestSway Name = "chest_sway"
	// CroupSway: largest departure of the croup to each side of its own mean over the
	// stride, square to the line of travel; difference R − L. Sign: Positive: it swings
	// further to the right. Unit: mm. Source: Common practice.
	CroupSway Name = "croup_sway"

	// HeadSway: largest departure of the head to each side of its own mean over the
	// stride, beside the chest (where that was not seen, the withers); difference R −
	// L. Sign: Positive: it swings further to the right. Unit: mm. Source: Common
	// practice.
	HeadSway Name = "head_sway"
	// HeadToSide: mean over the stride of how far the head is to the right of the chest
	// (where that was not seen, the withers), square to the line of travel. Sign:
	// Positive: carried to the right. Unit: cm. Source: Common practice.
	HeadToSide Name = "head_to_side"

	// BaseWidthFore: distance across the line of travel from the right limb's
	// placements to the left one's, centre to centre, of every stride. Sign: Positive; negative: the limbs cross, each lands on the
	// other's side. Unit: cm. Source: Common practice.
	BaseWidthFore Name = "base_width_fore"
	// BaseWidthHind is BaseWidthFore of the hindlimbs.
	BaseWidthHind Name = "base_width_hind"

	// QuartersToSide: how far the midline of the hind placements of a stride is to the
	// right of that of its fore placements, square to the line of travel. Sign: Positive: the
	// quarters go to the right of the forehand. Unit: cm. Source: Common practice.
	QuartersToSide Name = "quarters_to_side"

	// LineDrift: how far the line of travel goes to the horse's right in 10 m along the
	// lane of the ground marks, from the model of the run (below). Sign: Positive: it
	// drifts to the right. Unit: cm. Source: Common practice.
	LineDrift Name = "line_drift"
)

// Definition describes one measure for tables, plots and files.
type Definition struct {
	Name     Name
	Title    string // As a table shows it: "Step length, fore".
	Unit     string // "m", "cm", "mm", "s", "ms", "%", "Hz", "m/s", "°".
	Decimals int    // How many a table shows.
	Girdle   Girdle
	Evidence Evidence
	// Sided measures have a left and a right value and difference = right − left;
	// the others have one value a stride, which may itself be a difference.
	Sided bool
	// Positive quantities get a symmetry index beside their difference.
	Positive bool
	// PerRun measures have one value a run instead of one a stride.
	PerRun bool
	// Needs is the lowest level at which the measure exists in Unit.
	Needs geometry.Level
	// RatioUnit is the unit in which it exists at geometry.LevelRatio ("% of stride length");
	// empty where it does not.
	RatioUnit string
}

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
	if math.IsNaN(x) || math.IsInf(x, 0) {
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
	// OfRun and OfHorse are means from the model of the run: of its own strides, and of
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
	Stride   int
	Progress []float64 // From 0 at hoof-off to 1 at hoof-on.
	Outward  []float64 // cm, lateral positive.
	Height   []float64 // cm above stance.
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
	for i := range r.Series {
		if r.Series[i].Name == n {
			return &r.Series[i]
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
	Beyond bool `json:"beyond_tolerance"`
	// ThisRunOnly says that one run was measured: the interval holds for that run, not for the horse on that day.
	ThisRunOnly bool   `json:"this_run_only,omitempty"`
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

// Score is the asymmetry score: 0 is even, 1 as uneven as ordinary
// run-to-run variation.
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
	for i := range s.Results {
		if s.Results[i].Name == n {
			return &s.Results[i]
		}
	}
	return nil
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
	// Judged is Change with the interval that the verdict goes by: wider where several
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

// Comparison is two visits beside each other.
type Comparison struct {
	Before   Summary  `json:"before"`
	After    Summary  `json:"after"`
	Changes  []Change `json:"changes"`
	Score    *Change  `json:"score,omitempty"`
	Verdict  Verdict  `json:"verdict"`  // Of the followed measure, else of the strongest that counts.
	Sentence string   `json:"sentence"` // What a trainer wants first.
	Reasons  []string `json:"reasons,omitempty"`
}
