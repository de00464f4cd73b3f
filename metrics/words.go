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

func trimNumber(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// phrase says in words what a measure shows: which side, which way, how much.
// Deviation is from even, in unit, one in which the measure is said, and is written with
// decimals; for measures without an even value it is the value itself.
func phrase(d Definition, unit string, deviation float64, decimals int) string {
	right := deviation > 0
	this, other := sideWords(right)
	how := trimNumber(math.Abs(deviation), decimals) + " " + unit
	girdle := girdleWord(d.Girdle)
	if _, sides := d.Even(); sides && strings.Trim(how[:strings.IndexByte(how, ' ')], "0.") == "" {
		return fmt.Sprintf("left and right are alike (%s)", titleWords(d))
	}
	when := "late"
	if !right {
		when = "early"
	}
	text := wording[d.Name]
	if text == "" {
		text = "{title} is {how}"
	}
	what, _, _ := strings.Cut(titleWords(d), " ")
	return strings.NewReplacer("{this}", this, "{other}", other, "{how}", how, " {girdle}", girdle, "{when}", when, "{what}", what, "{title}", titleWords(d)).Replace(text)
}

// wording says what a deviation from even shows: {this} is the side to which it points,
// {how} its amount.
var wording = func() map[Name]string {
	out := map[Name]string{}
	for _, p := range []struct {
		text  string
		names []Name
	}{
		{"the head is carried {how} higher over the {this} fore", []Name{HeadLowDifference}},
		{"the head rises {how} higher after the {this} fore's stance", []Name{HeadHighDifference}},
		{"the withers are carried {how} higher over the {this} fore", []Name{WithersLowDifference}},
		{"the withers rise {how} higher after the {this} fore's stance", []Name{WithersHighDifference}},
		{"the croup is carried {how} higher over the {this} hind", []Name{CroupLowDifference}},
		{"the croup rises {how} higher after the {this} hind's stance", []Name{CroupHighDifference}},
		{"the {this} hip moves {how} more up and down than the {other}", []Name{HipExcursion}},
		{"the {other} {girdle}'s step is {how} shorter than the {this}'s", []Name{StepLengthFore, StepLengthHind}},
		{"the right {girdle} lands {how} of the stride too {when} after the left", []Name{StepTimingFore, StepTimingHind}},
		{"the {this} {girdle} lands {how} further outward than the {other}", []Name{PlacementOffsetFore, PlacementOffsetHind}},
		{"the {this} {girdle} swings {how} further outward than the {other}", []Name{LateralArcFore, LateralArcHind}},
		{"the {this} {girdle} swings {how} further inward than the {other}", []Name{MedialArcFore, MedialArcHind}},
		{"the {this} {girdle} is lifted {how} higher than the {other}", []Name{FlightHeightFore, FlightHeightHind}},
		{"the {this} {girdle} stands {how} longer than the {other}", []Name{StanceDurationFore, StanceDurationHind}},
		{"the {this} {girdle} swings {how} longer than the {other}", []Name{SwingDurationFore, SwingDurationHind}},
		{"the {this} {girdle} is on the ground for {how} of the stride more than the {other}", []Name{DutyFactorFore, DutyFactorHind}},
		{"the hind of the {this} fore's pair lands {how} later than that of the {other}", []Name{PairTiming}},
		{"the {this} {girdle}'s placements vary sideways by {how} more than the {other}'s", []Name{PlacementSpreadFore, PlacementSpreadHind}},
		{"the {this} {girdle}'s steps vary in length by {how} more than the {other}'s", []Name{StepLengthSpreadFore, StepLengthSpreadHind}},
		{"the {this} point of the shoulder moves {how} more up and down than the {other}", []Name{ShoulderExcursion}},
		{"the swing of the limb lifts the {other} point of the shoulder {how} less than the {this}", []Name{ShoulderLift}},
		{"the {what} swings {how} further to the {this} than to the {other}", []Name{ChestSway, CroupSway, HeadSway}},
		{"the head is carried {how} to the {this}", []Name{HeadToSide}},
		{"the quarters go {how} to the {this} of the forehand", []Name{QuartersToSide}},
		{"the line of travel drifts {how} to the {this} in 10 m", []Name{LineDrift}},
	} {
		for _, n := range p.names {
			out[n] = p.text
		}
	}
	return out
}()

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
	decimals := Estimate{Low: low, High: high}.Decimals(m.def.MostDecimals(unit))
	return fmt.Sprintf("%s (95 %% interval %s to %s %s)", phrase(m.def, unit, d, decimals), trimNumber(low, decimals), trimNumber(high, decimals), unit)
}

// joinPhrases joins phrases as a sentence does.
func joinPhrases(s []string) string { return strings.Join(s, "; ") }
