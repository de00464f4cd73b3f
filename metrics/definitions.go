package metrics

import (
	"cmp"
	"slices"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// Name is a measure's name in files. It carries no unit.
type Name string

// The measures. Formula, unit, evidence, source, what each needs and what it does not mean
// are in MEASURES.md under its name. Here: what it is, and what a positive value says.
// Differences are right − left in the horse's own sides.
const (
	StrideDuration  Name = "stride_duration"  // From one hoof-on of the reference limb to its next.
	StrideFrequency Name = "stride_frequency" // Strides a second.
	Speed           Name = "speed"            // Stride length over stride duration.
	StrideLength    Name = "stride_length"    // From one placement of the reference limb to its next.

	StepLengthFore Name = "step_length_fore" // From the other limb's placement to its own. Positive: the left step is shorter.
	StepLengthHind Name = "step_length_hind"
	StepTimingFore Name = "step_timing_fore" // When the right limb lands between two of the left, % of the stride. Above 50: late.
	StepTimingHind Name = "step_timing_hind"

	// Lowest height in the stance of the right limb less that in the left one's, and highest
	// after either: of fores for head and withers, of hinds for the croup. Positive: higher
	// over the right.
	HeadLowDifference     Name = "head_low_difference"
	HeadHighDifference    Name = "head_high_difference"
	WithersLowDifference  Name = "withers_low_difference"
	WithersHighDifference Name = "withers_high_difference"
	CroupLowDifference    Name = "croup_low_difference"
	CroupHighDifference   Name = "croup_high_difference"

	HipExcursion       Name = "hip_excursion"        // Range of each hip's height over the stride. Positive: the right one moves more.
	HeadFirstHarmonic  Name = "head_first_harmonic"  // Amplitude of the head's movement once a stride.
	HeadSecondHarmonic Name = "head_second_harmonic" // The same twice a stride.
	HeadHarmonicShare  Name = "head_harmonic_share"  // Of the former in both; 0: the head moves alike over both fores.

	// How long each limb stands and swings, and the share of standing in both. Positive:
	// longer on the right.
	StanceDurationFore Name = "stance_duration_fore"
	StanceDurationHind Name = "stance_duration_hind"
	SwingDurationFore  Name = "swing_duration_fore"
	SwingDurationHind  Name = "swing_duration_hind"
	DutyFactorFore     Name = "duty_factor_fore"
	DutyFactorHind     Name = "duty_factor_hind"

	// The swinging hoof's largest departure from the chord between its placements, outward and
	// inward. Positive: more on the right.
	LateralArcFore Name = "lateral_arc_fore"
	LateralArcHind Name = "lateral_arc_hind"
	MedialArcFore  Name = "medial_arc_fore"
	MedialArcHind  Name = "medial_arc_hind"
	// Standard deviations over the run, without what measuring adds. Positive: the right varies more.
	PlacementSpreadFore  Name = "placement_spread_fore"
	PlacementSpreadHind  Name = "placement_spread_hind"
	StepLengthSpreadFore Name = "step_length_spread_fore"
	StepLengthSpreadHind Name = "step_length_spread_hind"

	ShoulderExcursion Name = "shoulder_excursion" // Range of the height of each shoulder's point over the stride. Positive: the right one moves more.
	ShoulderLift      Name = "shoulder_lift"      // Its height in mid-swing of the limb less that in mid-stance.
	ShoulderRoll      Name = "shoulder_roll"      // Range of the roll of the line between the points of the shoulders.
	ChestSway         Name = "chest_sway"         // Largest departure to each side of its mean over the stride. Positive: further right.
	CroupSway         Name = "croup_sway"
	HeadSway          Name = "head_sway"       // Beside the chest (where that was not seen, the withers).
	HeadToSide        Name = "head_to_side"    // Mean place of the head beside those. Positive: to the right.
	BaseWidthFore     Name = "base_width_fore" // From left to right placements, across the line; negative: the limbs cross.
	BaseWidthHind     Name = "base_width_hind"
	QuartersToSide    Name = "quarters_to_side" // Midline of the hind placements beside that of the fore. Positive: to the right.
	LineDrift         Name = "line_drift"       // How far the line of travel goes to the right in 10 m along the lane.
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

	hind     Name            // In the table: the same measure of the hinds.
	compares bool            // The one value compares the sides: its distance from even is what counts.
	even     float64         // The value in an even horse.
	less     bool            // Of the sides, the one with less is the uneven one: the shorter step.
	kind     string          // Of the sign it is; empty: it points to no limb.
	from     []traj.Landmark // Marks of the body that it is taken from; nil: from hooves.
	words    string          // What a deviation from even says, in both tenses, for phrase.
}

// Even returns the value of d in an even horse and whether there is one: whether
// the measure compares the sides, so that its distance from even is what counts.
func (d Definition) Even() (value float64, compares bool) { return d.even, d.compares || d.Sided }

// TowardRight returns 1 where a positive deviation from even is shown to the right, else −1:
// where the side that has less is the uneven one.
func (d Definition) TowardRight() float64 {
	if d.less {
		return -1
	}
	return 1
}

// definitions is the table of measures. Without other words a row's Evidence is Description,
// and it needs geometry.LevelHeight.
//
// Kind groups those that show the same thing: two of one kind are not two witnesses. Which
// way a sign points:
//
//   - Head, withers and croup: the trunk is carried higher over the sore limb (Pfau et al.
//     2018, Equine Vet J 50:117–123; Buchner et al. 1996, Equine Vet J 28:71–76).
//   - Hip: the hip of the sore limb moves more up and down (common practice).
//   - Step: a limb that is brought less forward lands nearer to the opposite placement, so
//     its own step is the shorter one (common practice; a shortened cranial phase in Clayton
//     1986, J Equine Vet Sci, one horse).
//   - Timing: the shorter step takes less time (common practice). It supports the others
//     and decides nothing.
var definitions = withHinds([]Definition{
	{Name: StrideDuration, Title: "Stride duration", Unit: "s", Decimals: 3, Evidence: Established, Needs: geometry.LevelNone},
	{Name: StrideFrequency, Title: "Stride frequency", Unit: "Hz", Decimals: 2, Evidence: Established, Needs: geometry.LevelNone},
	{Name: Speed, Title: "Speed", Unit: "m/s", Decimals: 2, Evidence: Established},
	{Name: StrideLength, Title: "Stride length", Unit: "m", Decimals: 2, Evidence: Established},

	{Name: StepLengthFore, hind: StepLengthHind, Title: "Step length, fore", Unit: "m", Decimals: 3, Girdle: Fore, Evidence: Suggested, Sided: true, Positive: true, RatioUnit: ofStride,
		kind: "step", less: true, words: "the {other} {girdle}'s step [is|was] {how} shorter than the {this}'s"},
	{Name: StepTimingFore, hind: StepTimingHind, Title: "Step timing, fore (50 % is even)", Unit: "%", Decimals: 1, Girdle: Fore, Evidence: Suggested, Needs: geometry.LevelNone,
		kind: "timing", compares: true, even: 50, less: true, words: "the right {girdle} [lands|landed] {how} of the stride too {when} after the left"},
	{Name: HeadLowDifference, Title: "Head low-point difference", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		kind: "head", compares: true, from: onHead, words: "the head [is|was] carried {how} higher over the {this} fore"},
	{Name: HeadHighDifference, Title: "Head high-point difference", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		kind: "head", compares: true, from: onHead, words: "the head [rises|rose] {how} higher after the {this} fore's stance"},
	{Name: WithersLowDifference, Title: "Withers low-point difference", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		kind: "withers", compares: true, from: onWithers, words: "the withers [are|were] carried {how} higher over the {this} fore"},
	{Name: WithersHighDifference, Title: "Withers high-point difference", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		kind: "withers", compares: true, from: onWithers, words: "the withers [rise|rose] {how} higher after the {this} fore's stance"},
	{Name: CroupLowDifference, Title: "Croup low-point difference", Unit: "mm", Girdle: Hind, Evidence: Established, RatioUnit: ofRange,
		kind: "croup", compares: true, from: onCroup, words: "the croup [is|was] carried {how} higher over the {this} hind"},
	{Name: CroupHighDifference, Title: "Croup high-point difference", Unit: "mm", Girdle: Hind, Evidence: Established, RatioUnit: ofRange,
		kind: "croup", compares: true, from: onCroup, words: "the croup [rises|rose] {how} higher after the {this} hind's stance"},
	{Name: HipExcursion, Title: "Hip excursion", Unit: "mm", Girdle: Hind, Evidence: Established, Sided: true,
		kind: "hip", from: onHips, words: "the {this} hip [moves|moved] {how} more up and down than the {other}"},
	{Name: HeadFirstHarmonic, Title: "Head movement once a stride", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		from: onHead},
	{Name: HeadSecondHarmonic, Title: "Head movement twice a stride", Unit: "mm", Girdle: Fore, Evidence: Established, RatioUnit: ofRange,
		from: onHead},
	{Name: HeadHarmonicShare, Title: "Share of the once-a-stride part", Unit: "%", Girdle: Fore, Evidence: Established, Needs: geometry.LevelNone,
		from: onHead},

	{Name: StanceDurationFore, hind: StanceDurationHind, Title: "Stance duration, fore", Unit: "s", Decimals: 3, Girdle: Fore, Sided: true, Positive: true, Needs: geometry.LevelNone,
		words: "the {this} {girdle} [stands|stood] {how} longer than the {other}"},
	{Name: SwingDurationFore, hind: SwingDurationHind, Title: "Swing duration, fore", Unit: "s", Decimals: 3, Girdle: Fore, Sided: true, Positive: true, Needs: geometry.LevelNone,
		words: "the {this} {girdle} [swings|swung] {how} longer than the {other}"},
	{Name: DutyFactorFore, hind: DutyFactorHind, Title: "Duty factor, fore", Unit: "%", Decimals: 1, Girdle: Fore, Sided: true, Positive: true, Needs: geometry.LevelNone,
		words: "the {this} {girdle} [is|was] on the ground for {how} of the stride more than the {other}"},
	{Name: LateralArcFore, hind: LateralArcHind, Title: "Lateral arc, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Sided: true,
		words: "the {this} {girdle} [swings|swung] {how} further outward than the {other}"},
	{Name: MedialArcFore, hind: MedialArcHind, Title: "Medial arc, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Sided: true,
		words: "the {this} {girdle} [swings|swung] {how} further inward than the {other}"},
	{Name: PlacementSpreadFore, hind: PlacementSpreadHind, Title: "Spread of placements, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Sided: true, PerRun: true,
		words: "the {this} {girdle}'s placements [vary|varied] sideways by {how} more than the {other}'s"},
	{Name: StepLengthSpreadFore, hind: StepLengthSpreadHind, Title: "Spread of step lengths, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Sided: true, PerRun: true,
		words: "the {this} {girdle}'s steps [vary|varied] in length by {how} more than the {other}'s"},

	{Name: ShoulderExcursion, Title: "Shoulder excursion", Unit: "mm", Girdle: Fore, Sided: true,
		less: true, from: onShoulders, words: "the {this} point of the shoulder [moves|moved] {how} more up and down than the {other}"},
	{Name: ShoulderLift, Title: "Shoulder lifted by the swing", Unit: "mm", Girdle: Fore, Sided: true,
		less: true, from: onShoulders, words: "the swing of the limb [lifts|lifted] the {other} point of the shoulder {how} less than the {this}"},
	{Name: ShoulderRoll, Title: "Roll of the shoulders", Unit: "°", Decimals: 1, Girdle: Fore, from: onShoulders},
	{Name: ChestSway, Title: "Chest sway to each side", Unit: "mm", Girdle: Fore, Sided: true,
		from: onChest, words: "the chest [swings|swung] {how} further to the {this} than to the {other}"},
	{Name: CroupSway, Title: "Croup sway to each side", Unit: "mm", Girdle: Hind, Sided: true,
		from: onCroup, words: "the croup [swings|swung] {how} further to the {this} than to the {other}"},
	{Name: HeadSway, Title: "Head swing to each side", Unit: "mm", Girdle: Fore, Sided: true,
		from: onHead, words: "the head [swings|swung] {how} further to the {this} than to the {other}"},
	{Name: HeadToSide, Title: "Head carried to a side", Unit: "cm", Decimals: 1, Girdle: Fore,
		compares: true, from: onHead, words: "the head [is|was] carried {how} to the {this}"},
	{Name: BaseWidthFore, hind: BaseWidthHind, Title: "Base width, fore", Unit: "cm", Decimals: 1, Girdle: Fore},
	{Name: QuartersToSide, Title: "Quarters beside the forehand", Unit: "cm", Decimals: 1,
		compares: true, words: "the quarters [go|went] {how} to the {this} of the forehand"},
	{Name: LineDrift, Title: "Drift of the line of travel in 10 m", Unit: "cm", PerRun: true, Needs: geometry.LevelMetric,
		compares: true, words: "the line of travel [drifts|drifted] {how} to the {this} in 10 m"},
})

// Units of what has no length.
const (
	ofStride = "% of stride length"
	ofRange  = "% of range"
)

// LowAndHigh returns the measures of the low and the high points of head, withers or croup;
// empty names for other marks.
func LowAndHigh(l traj.Landmark) [2]Name {
	return map[traj.Landmark][2]Name{
		traj.Head:    {HeadLowDifference, HeadHighDifference},
		traj.Withers: {WithersLowDifference, WithersHighDifference},
		traj.Croup:   {CroupLowDifference, CroupHighDifference},
	}[l]
}

// Marks of the body.
var (
	onHead      = []traj.Landmark{traj.Head}
	onWithers   = []traj.Landmark{traj.Withers}
	onCroup     = []traj.Landmark{traj.Croup}
	onChest     = []traj.Landmark{traj.Chest}
	onHips      = []traj.Landmark{traj.LeftHip, traj.RightHip}
	onShoulders = []traj.Landmark{traj.LeftShoulder, traj.RightShoulder}
)

// withHinds returns the table with every measure of the hinds behind that of the fores.
func withHinds(table []Definition) (out []Definition) {
	for _, d := range table {
		d.Evidence, d.Needs = cmp.Or(d.Evidence, Description), cmp.Or(d.Needs, geometry.LevelHeight)
		out = append(out, d)
		if d.hind != "" {
			d.Name, d.Girdle, d.Title = d.hind, Hind, strings.Replace(d.Title, ", fore", ", hind", 1)
			out = append(out, d)
		}
	}
	return out
}

// Definitions lists every measure in the order in which tables show them.
// What each one means, and where it comes from, is in MEASURES.md.
func Definitions() []Definition { return slices.Clone(definitions) }

// defined has the definitions by name: they are asked for in inner loops.
var defined = func() map[Name]Definition {
	out := map[Name]Definition{}
	for _, d := range definitions {
		out[d.Name] = d
	}
	return out
}()

// Define returns the definition of measure n and whether there is one.
func Define(n Name) (Definition, bool) {
	d, known := defined[n]
	return d, known
}

// ShoulderAndTrunk lists the measures of shoulder and trunk in the order of Definitions.
func ShoulderAndTrunk() []Name {
	return []Name{ShoulderExcursion, ShoulderLift, ShoulderRoll, ChestSway, CroupSway, HeadSway, HeadToSide,
		BaseWidthFore, BaseWidthHind, QuartersToSide, LineDrift}
}
