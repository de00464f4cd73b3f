package glance

import (
	"cmp"
	"math"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// MostWords is how many words each sentence of a first page may have.
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

// saying is how a measure is told in few words. {how} stands for by how much it deviates,
// {side} for the side to which, as the package comment says, {limb} for fore or hind, {when} for
// late or early.
type saying struct {
	short  string // In three to six words.
	clause string // As part of a sentence, in the past tense.
	even   string // That it was even, for the middle of a sentence.
	now    string // After even: how it is uneven; empty: as short.
}

var sayings = map[metrics.Name]saying{
	metrics.HeadLowDifference:     carried("the head", "was"),
	metrics.HeadHighDifference:    risen("the head", "was"),
	metrics.WithersLowDifference:  carried("the withers", "were"),
	metrics.WithersHighDifference: risen("the withers", "were"),
	metrics.CroupLowDifference:    carried("the croup", "was"),
	metrics.CroupHighDifference:   risen("the croup", "was"),
	metrics.HipExcursion: {"{side} hip moves {how} more", "the {side} hip moved {how} more than the other",
		"the hips moved alike", "the {side} moves {how} more"},
	metrics.StepLengthFore:    step,
	metrics.StepLengthHind:    step,
	metrics.StepTimingFore:    timing,
	metrics.StepTimingHind:    timing,
	metrics.QuartersToSide:    {short: "quarters {how} to the {side}", clause: "the quarters went {how} to the {side} of the forehand"},
	metrics.ShoulderExcursion: {short: "{side} shoulder moves {how} less", clause: "the {side} shoulder moved {how} less than the other"},
	metrics.ShoulderLift:      {short: "{side} shoulder lifted {how} less", clause: "the {side} shoulder moved {how} less than the other"},
	metrics.HeadToSide:        {short: "head {how} to the {side}", clause: "the head was carried {how} to the {side}"},
	metrics.ChestSway:         {short: "chest swings {how} further {side}", clause: "the chest swung {how} further to the {side}"},
	metrics.CroupSway:         {short: "croup swings {how} further {side}", clause: "the croup swung {how} further to the {side}"},
	metrics.HeadSway:          {short: "head swings {how} further {side}", clause: "the head swung {how} further to the {side}"},
}

var (
	step = saying{"{side} step {how} shorter", "the {side} {limb}’s step was {how} short",
		"the {limb} steps were equal", "the {side} is {how} short"}
	timing = saying{short: "right lands {how} {when}", clause: "the right {limb} landed {how} {when}", even: "the {limb} steps were even in time"}
)

// carried is how a low-point difference of a part of the body is told; was is "was" or "were".
func carried(part, was string) saying {
	return saying{"{how} higher over {side} {limb}", part + " " + was + " {how} higher over the {side} {limb}",
		part + " " + was + " even", "{how} higher over the {side} {limb}"}
}

// risen is the same of a high-point difference.
func risen(part, was string) saying {
	return saying{"rises {how} more after {side} {limb}", part + " rose {how} more after the {side} {limb}",
		part + " " + was + " even", "rising {how} more after the {side} {limb}"}
}

// tell fills a saying's words with what was measured.
func tell(words string, n metrics.Name, unit string, e metrics.Estimate) string {
	dev, when := deviation(n, e.Value), "early"
	if dev > 0 {
		when = "late"
	}
	return strings.NewReplacer("{how}", amount(n, unit, e), "{side}", sideOf(n, dev), "{limb}", girdle(n), "{when}", when).Replace(words)
}

// short says in three to six words which side differs and by how much.
func short(n metrics.Name, unit string, e metrics.Estimate) string {
	return tell(cmp.Or(sayings[n].short, "{side} larger by {how}"), n, unit, e)
}

// clause is short as part of a sentence, in the past tense.
func clause(n metrics.Name, unit string, e metrics.Estimate) string {
	return tell(cmp.Or(sayings[n].clause, lowerFirst(titleWords(n))+" differed by {how}"), n, unit, e)
}

// evenThen says that a measure was even, for the middle of a sentence.
func evenThen(n metrics.Name) string {
	return strings.ReplaceAll(cmp.Or(sayings[n].even, lowerFirst(titleWords(n))+" was even"), "{limb}", girdle(n))
}

// unevenNow says after evenThen how a measure is uneven: "39 mm higher over the right fore".
func unevenNow(n metrics.Name, unit string, e metrics.Estimate) string {
	return tell(cmp.Or(sayings[n].now, sayings[n].short, "{side} larger by {how}"), n, unit, e)
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

// Entitled returns the name of a visit with how it was filmed, as Apart has it: "6 March, on
// sand, led".
func Entitled(name string, filmed []string) string {
	return strings.Join(append([]string{name}, filmed...), ", ")
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
