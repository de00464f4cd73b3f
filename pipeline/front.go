package pipeline

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// feltFigure draws what hands felt at visits, which words name; of one there are none.
func feltFigure(visits []*record.Visit, words []string) ([]plots.Outcome, error) {
	var all []plots.Felt
	for at, v := range visits {
		for _, p := range v.Palpation {
			i := slices.IndexFunc(all, func(f plots.Felt) bool { return f.Region == p.Region && f.Side == p.Side })
			if i < 0 {
				i = len(all)
				all = append(all, plots.Felt{Region: p.Region, Side: p.Side, Grades: slices.Repeat([]int{-1}, len(visits))})
			}
			all[i].Grades[at] = p.Soreness
		}
	}
	figure, err := plots.FeltHorse(all, words)
	return plots.OutcomeOf("What hands felt", figure, err)
}

// notedBeside puts what was done and how the horse does at visits beside each other.
func notedBeside(visits ...*record.Visit) []report.Noted {
	treated := func(v *record.Visit) string {
		var out []string
		for _, t := range v.Treatment {
			out = append(out, t.What)
		}
		return strings.Join(out, "; ")
	}
	var out []report.Noted
	for _, x := range []struct {
		what string
		of   func(*record.Visit) string
	}{
		{gradeTitle, gradeWords},
		{"Treatment", treated},
		{"In the barn", func(v *record.Visit) string { return v.Function.Barn }},
		{"In the field", func(v *record.Visit) string { return v.Function.Field }},
		{"At work", func(v *record.Visit) string { return v.Function.Work }},
	} {
		out = append(out, noted(x.what, x.of, visits)...)
	}
	return out
}

// noted has what visits say of one thing; it is empty where none says anything.
func noted(what string, of func(*record.Visit) string, visits []*record.Visit) []report.Noted {
	n := report.Noted{What: what}
	for _, v := range visits {
		n.Texts = append(n.Texts, of(v))
	}
	if strings.Join(n.Texts, "") == "" {
		return nil
	}
	return []report.Noted{n}
}

// elsewhere lists soreness in words of which the drawing knows no place.
func elsewhere(visits ...*record.Visit) []report.Noted {
	known := map[string]bool{}
	for _, part := range record.PalpationRegions() {
		for _, r := range part.Regions {
			known[r.Name] = true
		}
	}
	felt := func(v *record.Visit) string {
		var out []string
		for _, p := range v.Palpation {
			if !known[p.Region] {
				out = append(out, regionWords(p)+" "+sorenessWords(p.Soreness))
			}
		}
		return strings.Join(out, "; ")
	}
	return noted("Felt elsewhere", felt, visits)
}

// frontFigures writes the figures of a first page: steps from above, of one visit or of
// two, which words name, and what hands felt and wrote down at visits, which front.Visits
// names.
func (f *files) frontFigures(front *report.Front, before, now *metrics.Summary, words [2]string, visits ...*record.Visit) {
	steps, err := plots.Footfalls(before, now, words)
	for _, figure := range f.drawn(plots.OutcomeOf("Steps from above", steps, err)) {
		front.Steps = figure
	}
	if len(visits) == 0 {
		return
	}
	for _, figure := range f.drawn(feltFigure(visits, front.Visits)) {
		front.Felt = figure
	}
	front.Noted = append(elsewhere(visits...), notedBeside(visits...)...)
}

// vetFirst says what must wait for a veterinarian by what was written down at a visit.
func vetFirst(v *record.Visit) (out []string) {
	if v.MustNotTrot() {
		out = append(out, record.NoTrot)
	}
	var spots []string
	for _, p := range v.NotToBeTouched() {
		spots = append(spots, regionWords(p))
	}
	if len(spots) > 0 {
		out = append(out, "Felt as not to be touched: "+strings.Join(spots, "; ")+". "+record.NoTreatment)
	}
	return out
}

// advice says first what must wait for a veterinarian, then why one is asked for, then what
// comes next, as nextRuns or nextCompared say it.
func advice(v *Visit, ask, next []string) []string {
	return slices.Concat(vetFirst(&v.Around.Visit), ask, next)
}

// nextRuns says what to film next time, and when: what this visit left open, and what would
// settle it. A horse that must not trot is not filmed.
func nextRuns(s *metrics.Summary, v *Visit) []string {
	if v.Around.Visit.MustNotTrot() {
		return append(lookAgain(v), nextCheck(v)...)
	}
	out := append(openRows(s, v), lookAgain(v)...)
	if len(out) == 0 {
		out = append(out, fmt.Sprintf("Nothing was left open: %d runs each way%s compare with this visit.", metrics.LeastRuns, alike(s, v)))
	} else {
		out = append(out, fmt.Sprintf("Film again%s.", alike(s, v)))
	}
	return append(out, nextCheck(v)...)
}

// nextCompared says what to film after two visits were set beside each other.
func nextCompared(c *metrics.Comparison, b, a *Visit) []string {
	x, y := glance.Apart(c)
	if c.Verdict != metrics.NotComparable || len(x) == 0 || a.Around.Visit.MustNotTrot() {
		return nextRuns(&c.After, a)
	}
	film := fmt.Sprintf("To compare, film again %s as on %s, or %s as on %s.", glance.And(x), shortDay(b), glance.And(y), shortDay(a))
	return slices.Concat([]string{film}, openRows(&c.After, a), lookAgain(a), nextCheck(a))
}

// alike says how a visit must be filmed to be compared with this one: " on gravel, at the
// trot, at the same speed".
func alike(s *metrics.Summary, v *Visit) string {
	text := ""
	if ground := v.Around.Visit.Surface; ground != "" {
		text = " on " + ground + ","
	} else {
		text = " on the same ground, noted down,"
	}
	if v.Around.Visit.Presented == record.Ridden {
		text += " ridden"
	}
	if s.Gait != "" {
		text += " at the " + string(s.Gait)
	}
	return strings.TrimSuffix(text, ",") + ", at the same speed"
}

// nextCheck says when the visit's page plans the next one.
func nextCheck(v *Visit) []string {
	next, err := time.Parse(time.DateOnly, v.Around.Visit.NextCheck)
	if err != nil || v.Around.Visit.NextCheckBefore(day(v.Around.Folder)) {
		return nil
	}
	return []string{"Next check: " + next.Format("2 January 2006") + "."}
}

// lookAgain names clips that a person must look at before they count.
func lookAgain(v *Visit) []string {
	if n := len(v.Problems); n > 0 {
		return []string{fmt.Sprintf("Look again at %s of this visit: left out until then.", counted(n, "clip"))}
	}
	return nil
}

// mostRuns is how many runs a horse is asked to do in one view; more tire it, and change
// its gait.
const mostRuns = 8

// openRows says for the questions of a first page that were not answered, or not settled,
// what would do it: marks, ground marks, or so many runs.
func openRows(s *metrics.Summary, v *Visit) []string {
	count := map[traj.View]int{}
	runs := v.Runs()
	for _, r := range runs {
		count[r.View]++
	}
	out := groundMarks(runs...)
	rows := glance.Rows(s)
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		out = append(out, moreRuns(rows, view, count[view])...)
	}
	return append(out, markToo(s, rows, count)...)
}

// groundMarks asks for those where a run has none.
func groundMarks(runs ...metrics.Run) []string {
	if !slices.ContainsFunc(runs, func(r metrics.Run) bool { return r.Level == "none" || r.Level == "ratio" }) {
		return nil
	}
	return []string{"Lay four cones or chalk crosses on the ground, as the film guide shows, and mark them in the clip: without them there are no lengths."}
}

// markToo asks for marks without which rows were not measured; count has the runs of each
// view.
func markToo(s *metrics.Summary, rows []glance.Row, count map[traj.View]int) []string {
	var unmarked []string
	for _, r := range rows {
		if count[viewOf(r)] > 0 {
			unmarked = append(unmarked, r.Unmarked...)
		}
	}
	if w := s.Lookup(metrics.WithersLowDifference); s.Limb.Undecided && (w == nil || w.Value == nil) {
		unmarked = append(unmarked, "withers")
	}
	slices.Sort(unmarked)
	if unmarked = slices.Compact(unmarked); len(unmarked) == 0 {
		return nil
	}
	return []string{"Mark the " + glance.And(unmarked) + " in the clip, too."}
}

// moreRuns says how many runs would settle what a view shows, of which there were n.
func moreRuns(rows []glance.Row, view traj.View, n int) []string {
	if n == 0 {
		return []string{fmt.Sprintf("Film %d runs %s, too: without them %s not known.", metrics.LeastRuns, glance.Way(view), missed(view))}
	}
	var open, beyond []string // Within reach of more runs, and not.
	enough := metrics.LeastRuns
	for _, r := range rows {
		switch {
		case viewOf(r) != view || r.Enough == 0:
		case r.Enough > mostRuns:
			beyond = append(beyond, r.Subject)
		default:
			open, enough = append(open, r.Subject), max(enough, r.Enough)
		}
	}
	var out []string
	switch {
	case n < metrics.LeastRuns: // What so few leave open, more of them show first.
		out = append(out, fmt.Sprintf("Film %d runs %s, not %s.", metrics.LeastRuns, glance.Way(view), numeral(n)))
	case len(open) > 0:
		out = append(out, fmt.Sprintf("Film about %d runs %s, not %s, to settle %s.", enough, glance.Way(view), numeral(n), glance.And(open)))
	}
	if len(beyond) > 0 && n >= metrics.LeastRuns {
		out = append(out, fmt.Sprintf("%s would take more than %d runs to settle; marks in frames in which the horse is near the camera help, too.", capital(glance.And(beyond)), mostRuns))
	}
	return out
}

// viewOf returns the view that shows a row's measure best.
func viewOf(r glance.Row) traj.View {
	if d, ok := metrics.Define(r.Measure); ok && d.Girdle == metrics.Hind {
		return traj.Away
	}
	return traj.Toward
}

// missed says what a view shows that the other does not.
func missed(v traj.View) string {
	if v == traj.Away {
		return "croup, hips and hind steps are"
	}
	return "the head’s nod and the fore steps are"
}

// capital writes the first letter large.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// numeral writes how many there were.
func numeral(n int) string {
	if words := []string{"none", "one", "two", "three", "four"}; n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}
