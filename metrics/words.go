package metrics

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"jogstrip/track/traj"
)

// pointsTo returns the limb to which a deviation from even points, and whether
// the measure points to one at all. The signs:
//
//   - Head, withers and croup: the value in right stance minus that in left
//     stance; the trunk is carried higher over the sore limb, so positive points
//     right (Pfau et al. 2018, Equine Vet J 50:117–123; Buchner et al. 1996,
//     Equine Vet J 28:71–76). Croup: over the right hind.
//   - Hip excursion: the hip of the sore limb moves more up and down; positive
//     points right (common practice).
//   - Step length: a limb that is brought less forward lands nearer to the
//     opposite placement, so its own step is the shorter one; negative points
//     right (common practice; a shortened cranial phase in Clayton 1986, J
//     Equine Vet Sci, one horse).
//   - Step timing: the shorter step takes less time; below 50 % points right
//     (common practice). It supports the others and decides nothing.
//
// Measures that only describe point nowhere.
func pointsTo(n Name, deviation float64) (traj.Landmark, bool) {
	right := deviation > 0
	switch n {
	case StepLengthFore, StepLengthHind, StepTimingFore, StepTimingHind:
		right = !right
	case HeadLowDifference, HeadHighDifference, WithersLowDifference, WithersHighDifference,
		CroupLowDifference, CroupHighDifference, HipExcursion:
	default:
		return "", false
	}
	if deviation == 0 || math.IsNaN(deviation) {
		return "", false
	}
	d, _ := Define(n)
	switch {
	case d.Girdle == Fore && right:
		return traj.RightFore, true
	case d.Girdle == Fore:
		return traj.LeftFore, true
	case right:
		return traj.RightHind, true
	}
	return traj.LeftHind, true
}

func sideWords(right bool) (this, other string) {
	if right {
		return "right", "left"
	}
	return "left", "right"
}

func girdleWord(g Girdle) string {
	if g == Whole {
		return ""
	}
	return " " + string(g)
}

// amount writes a value's size with its unit, lengths of steps in centimetres.
func amount(d Definition, unit string, value float64) string {
	v, u, decimals := inWords(d, unit, value)
	return trimNumber(math.Abs(v), decimals) + " " + u
}

// inWords returns value in the unit in which people say it.
func inWords(d Definition, unit string, value float64) (float64, string, int) {
	value, unit = d.Say(unit, value)
	return value, unit, d.MostDecimals(unit)
}

func trimNumber(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// phrase says in words what a measure shows: which side, which way, how much.
// Deviation is from even, in unit; for measures without an even value it is the
// value itself.
func phrase(d Definition, unit string, deviation float64) string {
	right := deviation > 0
	this, other := sideWords(right)
	how := amount(d, unit, deviation)
	girdle := girdleWord(d.Girdle)
	if _, sides := d.Even(); sides && strings.Trim(how[:strings.IndexByte(how, ' ')], "0.") == "" {
		return fmt.Sprintf("left and right are alike (%s)", titleWords(d))
	}
	switch d.Name {
	case HeadLowDifference:
		return fmt.Sprintf("the head is carried %s higher over the %s fore", how, this)
	case HeadHighDifference:
		return fmt.Sprintf("the head rises %s higher after the %s fore's stance", how, this)
	case WithersLowDifference:
		return fmt.Sprintf("the withers are carried %s higher over the %s fore", how, this)
	case WithersHighDifference:
		return fmt.Sprintf("the withers rise %s higher after the %s fore's stance", how, this)
	case CroupLowDifference:
		return fmt.Sprintf("the croup is carried %s higher over the %s hind", how, this)
	case CroupHighDifference:
		return fmt.Sprintf("the croup rises %s higher after the %s hind's stance", how, this)
	case HipExcursion:
		return fmt.Sprintf("the %s hip moves %s more up and down than the %s", this, how, other)
	case StepLengthFore, StepLengthHind:
		short, long := sideWords(!right)
		return fmt.Sprintf("the %s%s's step is %s shorter than the %s's", short, girdle, how, long)
	case StepTimingFore, StepTimingHind:
		when := "late"
		if !right {
			when = "early"
		}
		return fmt.Sprintf("the right%s lands %s of the stride too %s after the left", girdle, how, when)
	case PlacementOffsetFore, PlacementOffsetHind:
		return fmt.Sprintf("the %s%s lands %s further outward than the %s", this, girdle, how, other)
	case LateralArcFore, LateralArcHind:
		return fmt.Sprintf("the %s%s swings %s further outward than the %s", this, girdle, how, other)
	case MedialArcFore, MedialArcHind:
		return fmt.Sprintf("the %s%s swings %s further inward than the %s", this, girdle, how, other)
	case FlightHeightFore, FlightHeightHind:
		return fmt.Sprintf("the %s%s is lifted %s higher than the %s", this, girdle, how, other)
	case StanceDurationFore, StanceDurationHind:
		return fmt.Sprintf("the %s%s stands %s longer than the %s", this, girdle, how, other)
	case SwingDurationFore, SwingDurationHind:
		return fmt.Sprintf("the %s%s swings %s longer than the %s", this, girdle, how, other)
	case DutyFactorFore, DutyFactorHind:
		return fmt.Sprintf("the %s%s is on the ground for %s of the stride more than the %s", this, girdle, how, other)
	case PairTiming:
		return fmt.Sprintf("the hind of the %s fore's pair lands %s later than that of the %s", this, how, other)
	case PlacementSpreadFore, PlacementSpreadHind:
		return fmt.Sprintf("the %s%s's placements vary sideways by %s more than the %s's", this, girdle, how, other)
	case ShoulderExcursion:
		return fmt.Sprintf("the %s point of the shoulder moves %s more up and down than the %s", this, how, other)
	case ShoulderLift:
		return fmt.Sprintf("the swing of the limb lifts the %s point of the shoulder %s less than the %s", other, how, this)
	case ChestSway, CroupSway, HeadSway:
		what, _, _ := strings.Cut(titleWords(d), " ")
		return fmt.Sprintf("the %s swings %s further to the %s than to the %s", what, how, this, other)
	case HeadToSide:
		return fmt.Sprintf("the head is carried %s to the %s", how, this)
	case QuartersToSide:
		return fmt.Sprintf("the quarters go %s to the %s of the forehand", how, this)
	case LineDrift:
		return fmt.Sprintf("the line of travel drifts %s to the %s in 10 m", how, this)
	case StepLengthSpreadFore, StepLengthSpreadHind:
		return fmt.Sprintf("the %s%s's steps vary in length by %s more than the %s's", this, girdle, how, other)
	}
	return fmt.Sprintf("%s is %s", titleWords(d), how)
}

// titleWords returns a title for the middle of a sentence, without its gloss.
func titleWords(d Definition) string {
	title, _, _ := strings.Cut(d.Title, " (")
	return strings.ToLower(title[:1]) + title[1:]
}

// say returns the phrase of a measured value with its interval, as tables show it.
func say(m measured) string {
	e, _ := m.def.Even()
	by, unit := m.def.said(m.result.Unit, m.lengths)
	d := by * (m.result.Value.Value - e)
	low, high := by*(m.result.Value.Low-e), by*(m.result.Value.High-e)
	if d < 0 {
		low, high = -high, -low
	}
	decimals := m.def.MostDecimals(unit)
	return fmt.Sprintf("%s (95 %% interval %s to %s %s)", phrase(m.def, unit, d), trimNumber(low, decimals), trimNumber(high, decimals), unit)
}

// joinPhrases joins phrases as a sentence does.
func joinPhrases(s []string) string { return strings.Join(s, "; ") }
