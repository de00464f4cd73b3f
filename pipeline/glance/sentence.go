package glance

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// howOften goes with every limb that is named; the figure and its source are metrics'.
const howOften = "; such signs mislead in three horses of ten"

// maybeChance goes with what looks changed and does not count.
const maybeChance = ", but that may be chance or day-to-day variation"

// sure goes with every change that counts.
const sure = ", a change beyond day-to-day variation"

// Doubted is the sentence of a clip that a person must look at first.
const Doubted = "A person must look at this clip again before its numbers count; what to look at stands below."

// OfSummary says of a visit, or of one run, what was found and how sure that is.
func OfSummary(s *metrics.Summary) string {
	if s == nil || s.Strides == 0 && s.Score == nil && !measuredAny(s) {
		return "Nothing could be measured, so nothing can be said of left and right; the reasons stand below."
	}
	intro := ""
	if s.Runs == 1 {
		intro = "In this one run "
	}
	begin := func(text string) string {
		if intro == "" {
			return strings.ToUpper(text[:1]) + text[1:]
		}
		return intro + text
	}
	clear := strongest(s)
	switch l := s.Limb; {
	case l.Limb != "":
		return fitted(begin("signs point to the "+l.Limb.Words()), seenIn(s, l.Limb), howOften)
	case l.Even && clear != nil:
		// What is no sign of a limb may still be uneven, and stands so in the rows.
		return fitted(begin("no sign points to a limb, but "+clause(clear.Name, clear.Unit, *clear.Value)), ", more than a sound horse shows")
	case l.Even:
		open, missing := unanswered(Rows(s))
		if len(open) > 0 {
			base := begin("no unevenness was found")
			named, counted := notSettled(open, missing)
			if Words(base+named) > MostWords {
				named = counted
			}
			return fitted(base, named)
		}
		return fitted(begin("the horse is even: no difference between left and right is larger than a sound horse shows"), notMeasured(missing))
	case l.Undecided && undecidedSide(l) != "":
		return fitted(begin(fmt.Sprintf("the horse is uneven on the %s, beyond what a sound horse shows", undecidedSide(l))), untold(l, s.Runs == 1))
	case l.Undecided:
		return fitted(begin("the horse is uneven in front and behind"), "; what was measured does not settle which limb came first")
	case len(l.Disagree) > 0:
		return fitted(begin("the horse is uneven, but some signs point to the left and some to the right: no side is named"))
	case clear != nil:
		return fitted(begin(clause(clear.Name, clear.Unit, *clear.Value)+", more than a sound horse shows"), "; that alone names no limb")
	case !measuredSides(s):
		return fitted(begin("nothing that compares left and right could be measured; the reasons stand below"))
	}
	return fitted(begin("no difference between left and right is certain, but too few strides were measured to call the horse even"))
}

// OfOneOfTwo is OfSummary without the caution, which a page of two visits has once for both.
func OfOneOfTwo(s *metrics.Summary) string { return strings.Replace(OfSummary(s), howOften, "", 1) }

// measuredAny reports whether any measure has a value.
func measuredAny(s *metrics.Summary) bool {
	return slices.ContainsFunc(s.Results, func(r metrics.Result) bool { return r.Value != nil || r.Left != nil || r.Right != nil })
}

// measuredSides reports whether any measure that compares the sides has a value.
func measuredSides(s *metrics.Summary) bool {
	return slices.ContainsFunc(s.Results, func(r metrics.Result) bool {
		_, sides := define(r.Name).Even()
		return sides && r.Value != nil
	})
}

// strongest returns the result furthest beyond its tolerance of those whose evidence is
// more than a description; nil where none is.
func strongest(s *metrics.Summary) *metrics.Result {
	var best *metrics.Result
	for i := range s.Results {
		r := &s.Results[i]
		d := define(r.Name)
		if _, sides := d.Even(); !sides || d.Evidence == metrics.Description || !r.Beyond || r.Value == nil {
			continue
		}
		if best == nil || ratio(r) > ratio(best) {
			best = r
		}
	}
	return best
}

// seenIn says which parts of the horse show the signs of a named limb.
func seenIn(s *metrics.Summary, limb traj.Landmark) string {
	var parts []string
	for _, p := range []struct {
		word  string
		names []metrics.Name
	}{
		{"head", []metrics.Name{metrics.HeadLowDifference, metrics.HeadHighDifference}},
		{"withers", []metrics.Name{metrics.WithersLowDifference, metrics.WithersHighDifference}},
		{"croup", []metrics.Name{metrics.CroupLowDifference, metrics.CroupHighDifference}},
		{"hips", []metrics.Name{metrics.HipExcursion}},
		{"steps", []metrics.Name{metrics.StepLengthFore, metrics.StepLengthHind}},
	} {
		if slices.ContainsFunc(p.names, func(n metrics.Name) bool {
			r := s.Lookup(n)
			if r == nil || !r.Beyond || r.Value == nil {
				return false
			}
			// The head and withers may name the hind of the same side.
			same := (girdle(n) == "hind") == limb.IsHind() || p.word == "head"
			return same && sideOf(n, deviation(n, r.Value.Value)) == string(limb.Side())
		}) {
			parts = append(parts, p.word)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return ", seen in " + And(parts)
}

// unanswered returns which questions were measured and are not settled, and how many were not
// measured.
func unanswered(rows []Row) (open []string, missing int) {
	for _, r := range rows {
		switch {
		case r.Missing:
			missing++
		case r.Now != nil && r.Now.Says == Unsettled:
			open = append(open, r.Subject)
		}
	}
	return open, missing
}

// notSettled says which of the questions are not settled, of two at most, and how many were not
// measured; and, shorter, how many are not settled.
func notSettled(subjects []string, missing int) (named, counted string) {
	counted = fmt.Sprintf("; of the questions below %d are not settled", len(subjects))
	switch len(subjects) {
	case 1:
		named = "; " + subjects[0] + " is not settled"
	case 2:
		named = "; " + And(subjects) + " are not settled"
	}
	if missing > 0 {
		counted += fmt.Sprintf(", %d not measured", missing)
	}
	switch {
	case named == "":
		named = counted
	case missing == 1:
		named += ", 1 question not measured"
	case missing > 1:
		named += fmt.Sprintf(", %d questions not measured", missing)
	}
	return named, counted
}

// notMeasured says how many questions have no answer; nothing where all have one.
func notMeasured(missing int) string {
	switch missing {
	case 0:
		return ""
	case 1:
		return "; 1 question was not measured"
	}
	return fmt.Sprintf("; %d questions were not measured", missing)
}

// Mislead is the caution that a page has below its sentence where signs point to a limb or a
// side at one of the visits and the sentence doesn't have it; else it is empty, also of a doubted
// clip, whose page names none.
func Mislead(sentence string, visits ...*metrics.Summary) string {
	if sentence == Doubted {
		return ""
	}
	for _, s := range visits {
		if Named(s.Limb) != "" && !strings.Contains(sentence, howOften) {
			return "Signs that point to a limb or a side mislead in three horses of ten."
		}
	}
	return ""
}

// untold says why fore and hind cannot be told apart; short leaves the reason out.
func untold(l metrics.LimbFinding, short bool) string {
	if side := undecidedSide(l); short {
		return fmt.Sprintf("; a %s hind can cause the same", side)
	}
	if strings.Contains(l.Sentence, "was marked") {
		return "; fore or hind cannot be told without withers and croup"
	}
	return "; withers and croup do not settle fore or hind"
}

// undecidedSide returns the side to which signs point where fore and hind cannot be told
// apart; empty where no one side is meant.
func undecidedSide(l metrics.LimbFinding) traj.Side {
	for _, side := range []traj.Side{traj.Left, traj.Right} {
		if strings.HasPrefix(l.Sentence, "signs point to the "+string(side)+" side") {
			return side
		}
	}
	return ""
}

// findingSide returns the side that a finding names, or "".
func findingSide(l metrics.LimbFinding) traj.Side {
	if l.Limb != "" {
		return l.Limb.Side()
	}
	return undecidedSide(l)
}

// Named returns what signs point to: "left fore", "left side", "fore and hind" where they are
// seen in both and no side is; or "".
func Named(l metrics.LimbFinding) string {
	side := undecidedSide(l)
	switch {
	case l.Limb != "":
		return l.Limb.Words()
	case side != "":
		return string(side) + " side"
	case l.Undecided:
		return "fore and hind"
	}
	return ""
}

// Lead returns the change that a comparison's first page leads with: of those with its
// verdict the followed one, else the clearest, established measures first. It is nil where the score or nothing
// decides.
func Lead(c *metrics.Comparison) *metrics.Change {
	var lead *metrics.Change
	for i := range c.Changes {
		ch := &c.Changes[i]
		if ch.Verdict == c.Verdict && ch.Change != nil && ch.Before != nil && ch.After != nil && (lead == nil || clearness(ch) > clearness(lead)) {
			lead = ch
		}
	}
	if c.Score != nil && c.Score.Sentence != "" && strings.HasPrefix(c.Sentence, c.Score.Sentence) {
		return nil
	}
	return lead
}

// pointsNow says to which limb the later visit points, for the end of a sentence; empty
// where to none.
func pointsNow(c *metrics.Comparison) string {
	limb := c.After.Limb.Limb
	switch {
	case limb == "":
		return ""
	case c.Verdict == metrics.Improved:
		return "; signs still point to the " + limb.Words()
	}
	return "; signs point to the " + limb.Words()
}

// surely says how sure a change is and, in shorter words so that both have room, to which
// limb the later visit points.
func surely(c *metrics.Comparison) []string {
	points := pointsNow(c)
	if points == "" {
		return []string{sure}
	}
	return []string{", beyond day-to-day variation", points}
}

// leadBars returns the bars of a change before and now.
func leadBars(c *metrics.Comparison, ch *metrics.Change) (b, a *Bar) {
	t := sharedTolerance(c, ch.Name)
	return bar(ch.Name, ch.Before, t), bar(ch.Name, ch.After, t)
}

// clearness is how many times a change is as large as half its interval; any established
// measure stands above the others, and the followed one above all.
func clearness(ch *metrics.Change) float64 {
	const most = 1e6
	clear := most
	if ch.Followed {
		return 3 * most
	}
	if half := (ch.Change.High - ch.Change.Low) / 2; half > 0 {
		clear = math.Min(most, math.Abs(ch.Change.Value)/half)
	}
	if define(ch.Name).Evidence == metrics.Established {
		clear += most
	}
	return clear
}

// leaning says how what is uneven at both visits looks beside before, where no change counts
// and the page's bars yet grow or shrink alike: "smaller", "larger"; else empty. One
// of the changes at least has to leave out none by itself.
func leaning(c *metrics.Comparison) string {
	smaller, larger, clear := 0, 0, false
	for _, row := range ComparedRows(c) {
		if row.Before == nil || row.Now == nil || row.Before.Says != Uneven || row.Now.Says != Uneven || define(row.Measure).Evidence == metrics.Description {
			continue
		}
		if math.Abs(row.Now.Value) < math.Abs(row.Before.Value) {
			smaller++
		} else {
			larger++
		}
		clear = clear || row.Leans != ""
	}
	switch {
	case clear && larger == 0:
		return "smaller"
	case clear && smaller == 0:
		return "larger"
	}
	return ""
}

// OfComparison says what changed from the visit of the day before and how sure that is;
// a zero day is not known. What was chosen beforehand comes first.
func OfComparison(c *metrics.Comparison, before time.Time) string {
	return chosen(c) + changed(c, before)
}

// chosen says of the measure chosen beforehand that it could not be compared, or shows no change
// where another does; else it is empty, as what follows says it.
func chosen(c *metrics.Comparison) string {
	for _, ch := range c.Changes {
		switch {
		case !ch.Followed || says(ch.Verdict) || c.Verdict == metrics.NotComparable:
		case ch.Verdict == metrics.NotComparable:
			return titleWords(ch.Name) + ", chosen beforehand: cannot be compared. "
		case says(c.Verdict):
			return titleWords(ch.Name) + ", chosen beforehand: no measurable change. "
		}
	}
	return ""
}

// fewRuns says which visit has a single run, behind the first word of a sentence: its interval
// takes how runs differ from what is usual.
func fewRuns(c *metrics.Comparison) string {
	switch b, a := c.Before.Runs == 1, c.After.Runs == 1; {
	case b && a:
		return ", from one run each"
	case b:
		return ", from one run then"
	case a:
		return ", from one run now"
	}
	return ""
}

// changed is OfComparison for what leads.
func changed(c *metrics.Comparison, before time.Time) string {
	on, since := "before", "since then"
	if !before.IsZero() {
		day := before.Format("2\u00a0January")
		on, since = "on "+day, "since "+day
	}
	lead := Lead(c)
	switch c.Verdict {
	case metrics.NotComparable:
		return fitted("The two visits cannot be compared: "+whyApart(c), "; each is shown by itself")
	case metrics.Improved, metrics.Worse:
		word := "Better"
		if c.Verdict == metrics.Worse {
			word = "Worse"
		}
		word += fewRuns(c)
		if lead == nil {
			if c.Score == nil || c.Score.Before == nil || c.Score.After == nil {
				return fitted(word + " than " + on + sure)
			}
			switch side := findingSide(c.After.Limb); {
			case c.After.Limb.Even:
				word += ", and even now"
			case side != "" && c.Verdict == metrics.Improved:
				word += ", still uneven on the " + string(side)
			case side != "":
				word += ", uneven on the " + string(side)
			}
			base := fmt.Sprintf("%s: the asymmetry score was %.1f %s, now %.1f", word, c.Score.Before.Value, on, c.Score.After.Value)
			if scale := ", where 0 is even"; Words(base+scale+sure) <= MostWords {
				base += scale
			}
			return fitted(base, sure)
		}
		b, a := leadBars(c, lead)
		if b.even() && !a.even() {
			return fitted(fmt.Sprintf("%s: %s %s, now %s", word, evenThen(lead.Name), on, unevenNow(lead.Name, lead.Unit, *lead.After)), surely(c)...)
		}
		return fitted(fmt.Sprintf("%s: %s %s, now %s", word, clause(lead.Name, lead.Unit, *lead.Before), on, now(lead, a)), surely(c)...)
	case metrics.Changed:
		if lead == nil {
			return fitted("Changed" + fewRuns(c) + " since the visit before, without becoming more or less even" + sure)
		}
		return fitted(fmt.Sprintf("Changed%s: %s %s, now %s", fewRuns(c), clause(lead.Name, lead.Unit, *lead.Before), on, now(lead, nil)), "; neither better nor worse")
	}
	return unchanged(c, since)
}

// unchanged is the sentence of two visits between which nothing counts.
func unchanged(c *metrics.Comparison, since string) string {
	base := "No measurable change " + since
	followed := base + " in what is followed" + fewRuns(c)
	base += fewRuns(c)
	b, a := c.Before.Limb, c.After.Limb
	side := undecidedSide(a)
	seen := leaning(c)
	switch {
	case a.Limb != "" && a.Limb == b.Limb && seen != "":
		return fitted(base+": signs still point to the "+a.Limb.Words(), "; they look "+seen+maybeChance)
	case a.Limb != "" && a.Limb == b.Limb:
		return fitted(base+": signs still point to the "+a.Limb.Words(), "; smaller changes than day-to-day variation cannot be seen")
	case a.Limb != "":
		return fitted(followed+"; signs point to the "+a.Limb.Words(), howOften)
	case side != "" && side == undecidedSide(b) && seen != "":
		return fitted(base+fmt.Sprintf(": still uneven on the %s, fore or hind", side), "; it looks "+seen+maybeChance)
	case side != "" && side == undecidedSide(b):
		return fitted(base+fmt.Sprintf(": still uneven on the %s, fore or hind", side), "; smaller changes than day-to-day variation cannot be seen")
	case a.Limb == "" && side == "" && Named(b) != "":
		return fitted(base+": signs pointed to the "+Named(b)+" then, to no limb now", maybeChance)
	case a.Even && b.Even && strongest(&c.Before) == nil && strongest(&c.After) == nil:
		return fitted(base + ": left and right were even then and are even now")
	}
	return fitted(base + ": what differs is within chance and day-to-day variation")
}
