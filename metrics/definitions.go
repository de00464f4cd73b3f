package metrics

import (
	"sync"

	"jogstrip/metrics/geometry"
)

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
