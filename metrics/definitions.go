package metrics

import (
	"sync"

	"jogstrip/metrics/geometry"
)

// Name is a measure's name in files. It carries no unit.
type Name string

// The measures, in the order of Definitions, which says in what unit and with what
// evidence. Formula, source, what each needs and what it does not mean are in MEASURES.md
// under its name. Here: what it is, and what a positive value says. Differences are
// right − left in the horse's own sides.
const (
	StrideDuration  Name = "stride_duration"  // From one hoof-on of the reference limb to its next.
	StrideFrequency Name = "stride_frequency" // Strides a second.
	Speed           Name = "speed"            // Stride length over stride duration.
	StrideLength    Name = "stride_length"    // From one placement of the reference limb to its next, along the line of travel.

	// From the other limb's placement to the next of the limb that the step is named for,
	// along the line of travel. Positive: the left limb's step is shorter.
	StepLengthFore Name = "step_length_fore"
	StepLengthHind Name = "step_length_hind"
	// When the right limb lands between two landings of the left one, as share of the stride.
	// Even is 50 %; above it the right one lands late.
	StepTimingFore Name = "step_timing_fore"
	StepTimingHind Name = "step_timing_hind"

	// Lowest height in the stance of the right limb less that in the left one's, and highest
	// height after either. Positive: carried, or risen, higher over the right limb: the fore
	// for head and withers, the hind for the croup.
	HeadLowDifference     Name = "head_low_difference"
	HeadHighDifference    Name = "head_high_difference"
	WithersLowDifference  Name = "withers_low_difference"
	WithersHighDifference Name = "withers_high_difference"
	CroupLowDifference    Name = "croup_low_difference"
	CroupHighDifference   Name = "croup_high_difference"

	HipExcursion Name = "hip_excursion" // From lowest to highest of each hip over the stride. Positive: the right one moves more.

	// Amplitudes of the head's movement once and twice a stride, and the share of the former
	// in the sum of both: 0 % where the head moves alike over both fores.
	HeadFirstHarmonic  Name = "head_first_harmonic"
	HeadSecondHarmonic Name = "head_second_harmonic"
	HeadHarmonicShare  Name = "head_harmonic_share"

	// How long each limb stands and swings, and the share of standing in both together.
	// Positive: longer on the right.
	StanceDurationFore Name = "stance_duration_fore"
	StanceDurationHind Name = "stance_duration_hind"
	SwingDurationFore  Name = "swing_duration_fore"
	SwingDurationHind  Name = "swing_duration_hind"
	DutyFactorFore     Name = "duty_factor_fore"
	DutyFactorHind     Name = "duty_factor_hind"

	// By how much the hind of each diagonal (in pace: lateral) pair lands after its fore, the
	// side being the fore's. Positive: the right fore's hind lands later.
	PairTiming Name = "pair_timing"

	// How far outward of the line of travel each limb lands; negative: across the midline.
	// Positive difference: the right lands further outward.
	PlacementOffsetFore Name = "placement_offset_fore"
	PlacementOffsetHind Name = "placement_offset_hind"
	// The largest departure of the swinging hoof from the chord between its placements,
	// outward and inward, and its highest point over stance. Positive: more on the right.
	LateralArcFore   Name = "lateral_arc_fore"
	LateralArcHind   Name = "lateral_arc_hind"
	MedialArcFore    Name = "medial_arc_fore"
	MedialArcHind    Name = "medial_arc_hind"
	FlightHeightFore Name = "flight_height_fore"
	FlightHeightHind Name = "flight_height_hind"
	// Standard deviations over the run of placement offset and step length, without what
	// measuring adds. Positive: the right varies more.
	PlacementSpreadFore  Name = "placement_spread_fore"
	PlacementSpreadHind  Name = "placement_spread_hind"
	StepLengthSpreadFore Name = "step_length_spread_fore"
	StepLengthSpreadHind Name = "step_length_spread_hind"

	// Of the points of the shoulders: from lowest to highest over the stride; height in the
	// middle of the limb's swing less that in the middle of its stance; range of the roll of
	// the line between them. Positive: the right one moves, or is lifted, more.
	ShoulderExcursion Name = "shoulder_excursion"
	ShoulderLift      Name = "shoulder_lift"
	ShoulderRoll      Name = "shoulder_roll"
	// Largest departure to each side of its own mean over the stride; of the head, beside the
	// chest (where that was not seen, the withers). Positive: further to the right.
	ChestSway Name = "chest_sway"
	CroupSway Name = "croup_sway"
	HeadSway  Name = "head_sway"

	HeadToSide     Name = "head_to_side"     // Mean place of the head beside the chest (or the withers). Positive: to the right.
	BaseWidthFore  Name = "base_width_fore"  // Between the placements of left and right, across the line of travel; negative: the limbs cross.
	BaseWidthHind  Name = "base_width_hind"  // The same of the hinds.
	QuartersToSide Name = "quarters_to_side" // Midline of the hind placements beside that of the fore ones. Positive: to the right.
	LineDrift      Name = "line_drift"       // How far the line of travel goes to the side in 10 m along the lane. Positive: to the right.
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

// Definitions lists every measure in the order in which tables show them.
// What each one means, and where it comes from, is in MEASURES.md.
func Definitions() []Definition {
	const (
		metric = geometry.LevelHeight // Both calibrated levels give metres.
		ratio  = geometry.LevelRatio
		none   = geometry.LevelNone
		share  = "% of stride length"
		ranges = "% of range"
	)
	return []Definition{
		{Name: StrideDuration, Title: "Stride duration", Unit: "s", Decimals: 3, Evidence: Established, Needs: none},
		{Name: StrideFrequency, Title: "Stride frequency", Unit: "Hz", Decimals: 2, Evidence: Established, Needs: none},
		{Name: Speed, Title: "Speed", Unit: "m/s", Decimals: 2, Evidence: Established, Needs: metric},
		{Name: StrideLength, Title: "Stride length", Unit: "m", Decimals: 2, Evidence: Established, Needs: metric},

		{Name: StepLengthFore, Title: "Step length, fore", Unit: "m", Decimals: 3, Girdle: Fore, Evidence: Suggested, Sided: true, Positive: true, Needs: metric, RatioUnit: share},
		{Name: StepLengthHind, Title: "Step length, hind", Unit: "m", Decimals: 3, Girdle: Hind, Evidence: Suggested, Sided: true, Positive: true, Needs: metric, RatioUnit: share},
		{Name: StepTimingFore, Title: "Step timing, fore (50 % is even)", Unit: "%", Decimals: 1, Girdle: Fore, Evidence: Suggested, Needs: none},
		{Name: StepTimingHind, Title: "Step timing, hind (50 % is even)", Unit: "%", Decimals: 1, Girdle: Hind, Evidence: Suggested, Needs: none},
		{Name: HeadLowDifference, Title: "Head low-point difference", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: HeadHighDifference, Title: "Head high-point difference", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: WithersLowDifference, Title: "Withers low-point difference", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: WithersHighDifference, Title: "Withers high-point difference", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: CroupLowDifference, Title: "Croup low-point difference", Unit: "mm", Decimals: 0, Girdle: Hind, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: CroupHighDifference, Title: "Croup high-point difference", Unit: "mm", Decimals: 0, Girdle: Hind, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: HipExcursion, Title: "Hip excursion", Unit: "mm", Decimals: 0, Girdle: Hind, Evidence: Established, Sided: true, Needs: metric},
		{Name: HeadFirstHarmonic, Title: "Head movement once a stride", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: HeadSecondHarmonic, Title: "Head movement twice a stride", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: metric, RatioUnit: ranges},
		{Name: HeadHarmonicShare, Title: "Share of the once-a-stride part", Unit: "%", Decimals: 0, Girdle: Fore, Evidence: Established, Needs: none},

		{Name: StanceDurationFore, Title: "Stance duration, fore", Unit: "s", Decimals: 3, Girdle: Fore, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: StanceDurationHind, Title: "Stance duration, hind", Unit: "s", Decimals: 3, Girdle: Hind, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: SwingDurationFore, Title: "Swing duration, fore", Unit: "s", Decimals: 3, Girdle: Fore, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: SwingDurationHind, Title: "Swing duration, hind", Unit: "s", Decimals: 3, Girdle: Hind, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: DutyFactorFore, Title: "Duty factor, fore", Unit: "%", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: DutyFactorHind, Title: "Duty factor, hind", Unit: "%", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, Positive: true, Needs: none},
		{Name: PairTiming, Title: "Hind after paired fore", Unit: "ms", Decimals: 0, Evidence: Description, Sided: true, Needs: none},
		{Name: PlacementOffsetFore, Title: "Placement outward of the line, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: PlacementOffsetHind, Title: "Placement outward of the line, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, Needs: metric},
		{Name: LateralArcFore, Title: "Lateral arc, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: LateralArcHind, Title: "Lateral arc, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, Needs: metric},
		{Name: MedialArcFore, Title: "Medial arc, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: MedialArcHind, Title: "Medial arc, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, Needs: metric},
		{Name: FlightHeightFore, Title: "Flight height, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, Positive: true, Needs: metric},
		{Name: FlightHeightHind, Title: "Flight height, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, Positive: true, Needs: metric},
		{Name: PlacementSpreadFore, Title: "Spread of placements, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, PerRun: true, Needs: metric},
		{Name: PlacementSpreadHind, Title: "Spread of placements, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, PerRun: true, Needs: metric},
		{Name: StepLengthSpreadFore, Title: "Spread of step lengths, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Sided: true, PerRun: true, Needs: metric},
		{Name: StepLengthSpreadHind, Title: "Spread of step lengths, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Sided: true, PerRun: true, Needs: metric},

		{Name: ShoulderExcursion, Title: "Shoulder excursion", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: ShoulderLift, Title: "Shoulder lifted by the swing", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: ShoulderRoll, Title: "Roll of the shoulders", Unit: "°", Decimals: 1, Girdle: Fore, Evidence: Description, Needs: metric},
		{Name: ChestSway, Title: "Chest sway to each side", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: CroupSway, Title: "Croup sway to each side", Unit: "mm", Decimals: 0, Girdle: Hind, Evidence: Description, Sided: true, Needs: metric},
		{Name: HeadSway, Title: "Head swing to each side", Unit: "mm", Decimals: 0, Girdle: Fore, Evidence: Description, Sided: true, Needs: metric},
		{Name: HeadToSide, Title: "Head carried to a side", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Needs: metric},
		{Name: BaseWidthFore, Title: "Base width, fore", Unit: "cm", Decimals: 1, Girdle: Fore, Evidence: Description, Needs: metric},
		{Name: BaseWidthHind, Title: "Base width, hind", Unit: "cm", Decimals: 1, Girdle: Hind, Evidence: Description, Needs: metric},
		{Name: QuartersToSide, Title: "Quarters beside the forehand", Unit: "cm", Decimals: 1, Evidence: Description, Needs: metric},
		{Name: LineDrift, Title: "Drift of the line of travel in 10 m", Unit: "cm", Decimals: 0, Evidence: Description, PerRun: true, Needs: geometry.LevelMetric},
	}
}

// defined has the definitions by name: they are asked for in inner loops.
var defined = sync.OnceValue(func() map[Name]Definition {
	out := map[Name]Definition{}
	for _, d := range Definitions() {
		out[d.Name] = d
	}
	return out
})

// Define returns the definition of measure n and whether there is one.
func Define(n Name) (Definition, bool) {
	d, known := defined()[n]
	return d, known
}
