package metrics

import (
	"fmt"
	"math"
	"strings"
)

func dateWords(opts CompareOptions) (before, after string) {
	before, after = "at the first visit", "at the second visit"
	if opts.Before.Date != "" {
		before = "on " + opts.Before.Date
	}
	if opts.After.Date != "" {
		after = "on " + opts.After.Date
	}
	return before, after
}

var verdictWords = map[Verdict]string{
	Improved: "Improved", Worse: "Worse", NoChange: "No measurable change", Changed: "Changed", NotJudged: "Described without a verdict",
}

func changeSentence(d Definition, c *Change, tolerance float64, opts CompareOptions) string {
	e, hasEven := d.Even()
	before, after := dateWords(opts)
	by, unit := d.said(c.Unit, opts.Summary.Lengths)
	most := d.MostDecimals(unit)
	decimals := DecimalsOf(most, *c.Before.scaled(by), *c.After.scaled(by), *c.Judged.scaled(by))
	write := func(v float64) string { return trimNumber(by*v, decimals) }
	then := phrase(d, unit, by*(c.Before.Value-e), decimals, past)
	now := phrase(d, unit, by*(c.After.Value-e), decimals, past)
	var b strings.Builder
	if hasEven && tolerance > 0 && math.Abs(c.After.Value-e) <= tolerance && c.Verdict != NoChange {
		now += ", within its tolerance"
	}
	fmt.Fprintf(&b, "%s: %s, %s; %s, %s.", verdictWords[c.Verdict], before, then, after, now)
	interval := "95 % interval"
	if c.widened() {
		interval += ", widened for the measures judged together:"
	}
	fmt.Fprintf(&b, " Change %s %s (%s %s to %s); smallest that counts %s %s.",
		write(c.Change.Value), unit, interval, write(c.Judged.Low), write(c.Judged.High), trimNumber(by*c.SmallestJudged(), most), unit)
	switch {
	case c.Verdict == Changed && hasEven:
		b.WriteString(" The difference went over to the other side without becoming clearly smaller or larger.")
	case c.Verdict == NoChange && c.counts():
		b.WriteString(" Both lay within what a sound horse shows from run to run.")
	case c.Verdict == NoChange && c.clear():
		b.WriteString(" With so many measures looked at, a change of this size comes up by chance too often to count.")
	}
	return b.String()
}

func scoreSentence(c *Change, opts CompareOptions) string {
	before, after := dateWords(opts)
	words := map[Verdict]string{Improved: "More even", Worse: "Less even", NoChange: "No measurable change"}
	return fmt.Sprintf("%s: asymmetry score %.1f %s, %.1f %s (%s). Change %+.1f (95 %% interval %.1f to %.1f); smallest that counts %.1f.",
		words[c.Verdict], c.Before.Value, before, c.After.Value, after, ScoreScale, c.Change.Value, c.Change.Low, c.Change.High, c.Smallest)
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// headline sets the verdict and the sentence a trainer wants first: those of the measure
// declared beforehand, else of the strongest that counts; both where the declared one shows
// nothing. The score is said beside it and never leads. Briefs are the findings of both visits.
func headline(c *Comparison, briefs [2]string, opts CompareOptions) {
	var followed, strongest *Change
	for i := range c.Changes {
		ch := &c.Changes[i]
		switch {
		case ch.Followed:
			followed = ch
		case ch.Verdict != Improved && ch.Verdict != Worse && ch.Verdict != Changed:
		case strongest == nil || rank(ch) < rank(strongest):
			strongest = ch
		}
	}
	said := func(ch *Change) bool { return ch != nil && ch.Verdict != NoChange && ch.Verdict != NotComparable }
	lead := &Change{Verdict: NoChange, Sentence: "No measurable change in any measure by itself."}
	switch {
	case said(followed):
		lead = followed
	case strongest != nil:
		lead = strongest
	case followed != nil && followed.Verdict != NotComparable:
		lead = followed
	case c.Score.Verdict == NotComparable:
		lead = c.Score
	}
	c.Verdict = lead.Verdict
	if lead.Verdict == NotComparable {
		c.Sentence = "The two visits cannot be compared: " + lead.Reason + "."
		return
	}
	before, after := dateWords(opts)
	c.Sentence = lead.Sentence
	if followed != nil && lead != followed {
		d, _ := Define(followed.Name)
		c.Sentence += fmt.Sprintf(" Of the measure declared beforehand (%s): %s.", titleWords(d), followed.Verdict)
	}
	if !said(lead) && c.Score.Verdict != NotComparable && c.Scored() {
		c.Sentence += " " + c.Score.Sentence
	}
	c.Sentence += fmt.Sprintf(" %s: %s. %s: %s.", upperFirst(before), past.of(briefs[0]), upperFirst(after), past.of(briefs[1]))
	if said(lead) || said(c.Score) {
		c.Sentence += " A change after a treatment does not show that the treatment did it."
	}
}

// rank orders changes that count: established ones first, the surer first.
func rank(c *Change) float64 {
	if d, _ := Define(c.Name); d.Evidence == Established {
		return c.Holm
	}
	return 1 + c.Holm
}
