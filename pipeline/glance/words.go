package glance

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// MostWords is how many words the sentence of a first page may have.
const MostWords = 25

// define returns a measure's definition; one that is missing is named by itself.
func define(n metrics.Name) metrics.Definition {
	if d, ok := metrics.Define(n); ok {
		return d
	}
	return metrics.Definition{Name: n, Title: string(n), Decimals: 2}
}

// deviation returns how far a value is from even, in the measure's unit.
func deviation(n metrics.Name, v float64) float64 {
	e, _ := define(n).Even()
	return v - e
}

// amount writes the size of a deviation: "11 cm".
func amount(n metrics.Name, unit string, e metrics.Estimate) string {
	d := define(n)
	value, u := d.SayEstimate(unit, e)
	even, _ := d.Even()
	if unit == d.Unit {
		value.Value -= even
	}
	text := strconv.FormatFloat(math.Abs(value.Value), 'f', value.Supports(d.MostDecimals(u)), 64)
	return text + "\u00a0" + spoken(u)
}

// spoken writes a unit as it is said in a few words, kept on one line with its number.
func spoken(unit string) string {
	switch unit {
	case "% of stride length":
		unit = "% of stride"
	case "% of range":
		unit = "% of its range"
	}
	return strings.ReplaceAll(unit, " ", "\u00a0")
}

// sideOf returns the side to which a deviation points, as the package comment says.
func sideOf(n metrics.Name, deviation float64) string {
	if deviation*define(n).TowardRight() > 0 {
		return "right"
	}
	return "left"
}

func girdle(n metrics.Name) string {
	if define(n).Girdle == metrics.Hind {
		return "hind"
	}
	return "fore"
}

// short says in three to six words which side differs and by how much.
func short(n metrics.Name, unit string, e metrics.Estimate) string {
	dev := deviation(n, e.Value)
	side, how := sideOf(n, dev), amount(n, unit, e)
	switch n {
	case metrics.HeadLowDifference, metrics.WithersLowDifference, metrics.CroupLowDifference:
		return fmt.Sprintf("%s higher over %s %s", how, side, girdle(n))
	case metrics.HeadHighDifference, metrics.WithersHighDifference, metrics.CroupHighDifference:
		return fmt.Sprintf("rises %s more after %s %s", how, side, girdle(n))
	case metrics.HipExcursion:
		return fmt.Sprintf("%s hip moves %s more", side, how)
	case metrics.StepLengthFore, metrics.StepLengthHind:
		return fmt.Sprintf("%s step %s shorter", side, how)
	case metrics.StepTimingFore, metrics.StepTimingHind:
		if dev > 0 {
			return fmt.Sprintf("right lands %s late", how)
		}
		return fmt.Sprintf("right lands %s early", how)
	case metrics.PlacementOffsetFore, metrics.PlacementOffsetHind:
		return fmt.Sprintf("%s lands %s further out", side, how)
	case metrics.ShoulderExcursion:
		return fmt.Sprintf("%s shoulder moves %s less", side, how)
	case metrics.ShoulderLift:
		return fmt.Sprintf("%s shoulder lifted %s less", side, how)
	case metrics.HeadToSide:
		return fmt.Sprintf("head %s to the %s", how, side)
	case metrics.ChestSway, metrics.CroupSway, metrics.HeadSway:
		return fmt.Sprintf("%s swings %s further %s", part(n), how, side)
	}
	return fmt.Sprintf("%s larger by %s", side, how)
}

// clause is short as part of a sentence, in the past tense.
func clause(n metrics.Name, unit string, e metrics.Estimate) string {
	dev := deviation(n, e.Value)
	side, how, limb := sideOf(n, dev), amount(n, unit, e), girdle(n)
	body := "head"
	switch n {
	case metrics.WithersLowDifference, metrics.WithersHighDifference:
		body = "withers"
	case metrics.CroupLowDifference, metrics.CroupHighDifference:
		body = "croup"
	}
	switch n {
	case metrics.HeadLowDifference, metrics.WithersLowDifference, metrics.CroupLowDifference:
		was := "was"
		if body == "withers" {
			was = "were"
		}
		return fmt.Sprintf("the %s %s %s higher over the %s %s", body, was, how, side, limb)
	case metrics.HeadHighDifference, metrics.WithersHighDifference, metrics.CroupHighDifference:
		return fmt.Sprintf("the %s rose %s more after the %s %s", body, how, side, limb)
	case metrics.HipExcursion:
		return fmt.Sprintf("the %s hip moved %s more than the other", side, how)
	case metrics.StepLengthFore, metrics.StepLengthHind:
		return fmt.Sprintf("the %s %s’s step was %s short", side, limb, how)
	case metrics.StepTimingFore, metrics.StepTimingHind:
		when := "late"
		if dev < 0 {
			when = "early"
		}
		return fmt.Sprintf("the right %s landed %s %s", limb, how, when)
	case metrics.PlacementOffsetFore, metrics.PlacementOffsetHind:
		return fmt.Sprintf("the %s %s landed %s further out", side, limb, how)
	case metrics.ShoulderExcursion, metrics.ShoulderLift:
		return fmt.Sprintf("the %s shoulder moved %s less than the other", side, how)
	case metrics.HeadToSide:
		return fmt.Sprintf("the head was carried %s to the %s", how, side)
	case metrics.ChestSway, metrics.CroupSway, metrics.HeadSway:
		return fmt.Sprintf("the %s swung %s further to the %s", part(n), how, side)
	}
	return fmt.Sprintf("%s differed by %s", lowerFirst(titleWords(n)), how)
}

// evenThen says that a measure was even, for the middle of a sentence.
func evenThen(n metrics.Name) string {
	switch n {
	case metrics.HeadLowDifference, metrics.HeadHighDifference:
		return "the head was even"
	case metrics.WithersLowDifference, metrics.WithersHighDifference:
		return "the withers were even"
	case metrics.CroupLowDifference, metrics.CroupHighDifference:
		return "the croup was even"
	case metrics.HipExcursion:
		return "the hips moved alike"
	case metrics.StepLengthFore, metrics.StepLengthHind:
		return fmt.Sprintf("the %s steps were equal", girdle(n))
	case metrics.StepTimingFore, metrics.StepTimingHind:
		return fmt.Sprintf("the %s steps were even in time", girdle(n))
	}
	return lowerFirst(titleWords(n)) + " was even"
}

// unevenNow says after evenThen how a measure is uneven: "39 mm higher over the right fore".
func unevenNow(n metrics.Name, unit string, e metrics.Estimate) string {
	dev := deviation(n, e.Value)
	side, how, limb := sideOf(n, dev), amount(n, unit, e), girdle(n)
	switch n {
	case metrics.HeadLowDifference, metrics.WithersLowDifference, metrics.CroupLowDifference:
		return fmt.Sprintf("%s higher over the %s %s", how, side, limb)
	case metrics.HeadHighDifference, metrics.WithersHighDifference, metrics.CroupHighDifference:
		return fmt.Sprintf("rising %s more after the %s %s", how, side, limb)
	case metrics.HipExcursion:
		return fmt.Sprintf("the %s moves %s more", side, how)
	case metrics.StepLengthFore, metrics.StepLengthHind:
		return fmt.Sprintf("the %s is %s short", side, how)
	}
	return short(n, unit, e)
}

// part is the part of the horse that a measure's title begins with.
func part(n metrics.Name) string {
	word, _, _ := strings.Cut(lowerFirst(titleWords(n)), " ")
	return word
}

// titleWords returns a measure's title without its gloss.
func titleWords(n metrics.Name) string {
	title, _, _ := strings.Cut(define(n).Title, " (")
	return title
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// notMarked begins a reason that names landmarks.
const notMarked = "not marked: "

// unmarked returns the landmarks that a reason names as not marked.
func unmarked(reason string) []string {
	what, cut := strings.CutPrefix(withoutBrackets(reason), notMarked)
	if !cut {
		return nil
	}
	what, _, _ = strings.Cut(what, "; ")
	return strings.Split(strings.TrimSuffix(what, "."), ", ")
}

// plainReason takes what stands in brackets out of a reason, and all but its first parts.
func plainReason(reason string, parts int) string {
	reason = withoutBrackets(reason)
	if what, cut := strings.CutPrefix(reason, notMarked); cut {
		what = strings.ReplaceAll(what, ", ", " or ")
		reason = what + " not marked in the clip"
	}
	if strings.HasPrefix(reason, "one run gives one value") {
		reason = "takes more than one run"
	}
	if strings.HasPrefix(reason, "needs lengths") {
		reason = "needs the four marks on the ground"
	}
	all := strings.Split(strings.TrimSuffix(strings.TrimSpace(reason), "."), "; ")
	return strings.Join(all[:min(parts, len(all))], " and ")
}

// withoutBrackets takes out round brackets with what stands in them, and those in them.
func withoutBrackets(s string) string {
	var b strings.Builder
	depth := 0
	for _, r := range s {
		switch {
		case r == '(':
			depth++
		case r == ')':
			depth = max(0, depth-1)
		case depth == 0:
			b.WriteRune(r)
		}
	}
	return strings.Join(strings.Fields(strings.NewReplacer(" ;", ";", " ,", ",", " .", ".").Replace(b.String())), " ")
}

// Apart says of each of two visits how it was filmed, in the conditions that keep them from
// being compared: "on sand" and "led".
func Apart(c *metrics.Comparison) (before, after []string) {
	for _, b := range c.Barriers {
		before, after = append(before, filmed(b.Condition, b.Before)), append(after, filmed(b.Condition, b.After))
	}
	return before, after
}

func filmed(c metrics.Condition, value string) string {
	switch c {
	case metrics.GaitDiffers:
		return "at the " + value
	case metrics.ViewDiffers:
		return Way(traj.View(value))
	case metrics.SurfaceDiffers:
		return "on " + value
	case metrics.SpeedDiffers:
		return "at " + value
	}
	return value // Led, ridden.
}

// Way says which way the horse goes.
func Way(v traj.View) string {
	if v == traj.Away {
		return "away from the camera"
	}
	return "toward the camera"
}

// whyApart says why two visits can't be compared, with what differs where that is short.
func whyApart(c *metrics.Comparison) string {
	const most = MostWords - 11 // The sentence around it has so many.
	before, after := Apart(c)
	var names []string
	for _, b := range c.Barriers {
		names = append(names, "the "+string(b.Condition))
	}
	text := And(before) + " before, " + And(after) + " now"
	switch {
	case len(names) == 0:
		return "too little was measured alike at both"
	case Words(text) <= most:
		return text
	case len(names) == 1:
		return names[0] + " differs"
	}
	return And(names) + " differ"
}

// Words counts the words of a text as a reader does: what stands between blanks.
func Words(text string) int { return len(strings.Fields(text)) }

// fitted ends a sentence and puts those of more before its end that leave it within
// MostWords.
func fitted(base string, more ...string) string {
	for _, m := range more {
		if Words(base+m) <= MostWords {
			base += m
		}
	}
	words := strings.Fields(base)
	if len(words) > MostWords {
		base = strings.TrimRight(strings.Join(words[:MostWords-1], " "), ",;:") + " …"
	}
	return strings.TrimSuffix(base, ".") + "."
}

// And joins "a", "a and b", "a, b and c".
func And(s []string) string {
	switch len(s) {
	case 0:
		return ""
	case 1:
		return s[0]
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}
