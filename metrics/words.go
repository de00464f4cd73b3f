package metrics

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"jogstrip/track/traj"
)

// pointsTo returns the limb to which a deviation from even points, empty where it points to
// none.
func (d Definition) pointsTo(deviation float64) traj.Landmark {
	if d.kind == "" || deviation == 0 || math.IsNaN(deviation) {
		return ""
	}
	limb := 0
	if deviation*d.TowardRight() > 0 {
		limb = 1
	}
	if d.Girdle == Hind {
		limb += 2
	}
	return limbs[limb]
}

func trimNumber(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return s
}

// phrase says in its definition's words what a measure shows: {this} is the side to which it
// deviates, {how} by how much. Deviation is from even, for measures without an even value the
// value itself, in a unit in which the measure is said.
func phrase(d Definition, unit string, deviation float64, decimals int, when tense) string {
	this, other, soon := "left", "right", "early"
	if deviation > 0 {
		this, other, soon = "right", "left", "late"
	}
	number := trimNumber(math.Abs(deviation), decimals)
	if _, sides := d.Even(); sides && strings.Trim(number, "0.") == "" {
		return when.of(fmt.Sprintf("left and right [are|were] alike (%s)", titleWords(d)))
	}
	text := when.of(cmp.Or(d.words, titleWords(d)+" [is|was] {how}"))
	return strings.NewReplacer("{this}", this, "{other}", other, "{how}", number+" "+unit, "{girdle}", string(d.Girdle), "{when}", soon).Replace(text)
}

// tense is which of the words in brackets a text is told with: [is|was].
type tense string

const (
	present tense = "$1"
	past    tense = "$2"
)

var inBothTenses = regexp.MustCompile(`\[(.*?)\|(.*?)\]`)

func (t tense) of(text string) string { return inBothTenses.ReplaceAllString(text, string(t)) }

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
	return fmt.Sprintf("%s (95 %% interval %s to %s %s)", phrase(m.def, unit, d, decimals, present), trimNumber(low, decimals), trimNumber(high, decimals), unit)
}

// joinPhrases joins phrases as a sentence does.
func joinPhrases(s []string) string { return strings.Join(s, "; ") }
