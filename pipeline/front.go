package pipeline

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// feltFigure draws what hands felt at a visit, or at two; before is nil for one.
func feltFigure(before, now *record.Visit) ([]plots.Outcome, error) {
	var all []plots.Felt
	add := func(v *record.Visit, put func(*plots.Felt, int)) {
		for _, p := range v.Palpation {
			i := slices.IndexFunc(all, func(f plots.Felt) bool { return f.Region == p.Region && f.Side == p.Side })
			if i < 0 {
				i = len(all)
				all = append(all, plots.Felt{Region: p.Region, Side: p.Side, Before: -1, Now: -1})
			}
			put(&all[i], p.Soreness)
		}
	}
	if before != nil {
		add(before, func(f *plots.Felt, grade int) { f.Before = grade })
	}
	add(now, func(f *plots.Felt, grade int) { f.Now = grade })
	figure, err := plots.FeltHorse(all, before != nil)
	return plots.OutcomeOf("What hands felt", figure, err)
}

// notedBeside puts what was done and how the horse does beside each other; before is nil
// for one visit.
func notedBeside(before, now *record.Visit) []report.Noted {
	treated := func(v *record.Visit) string {
		var out []string
		for _, t := range v.Treatment {
			out = append(out, t.What)
		}
		return strings.Join(out, "; ")
	}
	pick := func(of func(*record.Visit) string) (b, n string) {
		if before != nil {
			b = of(before)
		}
		return b, of(now)
	}
	var out []report.Noted
	for _, x := range []struct {
		what string
		of   func(*record.Visit) string
	}{
		{"Done", treated},
		{"In the barn", func(v *record.Visit) string { return v.Function.Barn }},
		{"In the field", func(v *record.Visit) string { return v.Function.Field }},
		{"At work", func(v *record.Visit) string { return v.Function.Work }},
	} {
		if b, n := pick(x.of); b != "" || n != "" {
			out = append(out, report.Noted{What: x.what, Before: b, Now: n})
		}
	}
	return out
}

// elsewhere lists soreness in words of which the drawing knows no place.
func elsewhere(before, now *record.Visit) []report.Noted {
	known := map[string]bool{}
	for _, part := range record.PalpationRegions() {
		for _, r := range part.Regions {
			known[r.Name] = true
		}
	}
	felt := func(v *record.Visit) string {
		if v == nil {
			return ""
		}
		var out []string
		for _, p := range v.Palpation {
			if !known[p.Region] {
				out = append(out, regionWords(p)+" "+sorenessWords(p.Soreness))
			}
		}
		return strings.Join(out, "; ")
	}
	b, n := felt(before), felt(now)
	if b == "" && n == "" {
		return nil
	}
	return []report.Noted{{What: "Felt elsewhere", Before: b, Now: n}}
}

// frontFigures writes the figures of a first page: steps from above, and what hands felt.
func (f *files) frontFigures(front *report.Front, before, now *metrics.Summary, compared bool, feltBefore, feltNow *record.Visit) {
	if !compared {
		before = nil
	}
	steps, err := plots.Footfalls(before, now)
	for _, figure := range f.figures(plots.OutcomeOf("Steps from above", steps, err)) {
		front.Steps = figure
	}
	if feltNow == nil {
		return
	}
	for _, figure := range f.figures(feltFigure(feltBefore, feltNow)) {
		front.Felt = figure
	}
}

// nextFilming says what to film next time: what this visit lacked.
func nextFilming(s *metrics.Summary, v *Visit) []string {
	var out []string
	runs, next := v.Runs(), v.Around.Visit.NextCheck
	count := map[traj.View]int{}
	for _, r := range runs {
		count[r.View]++
	}
	var lacking []string
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		if n := count[v]; n < metrics.LeastRuns {
			lacking = append(lacking, fmt.Sprintf("%d runs %s, this time there %s", metrics.LeastRuns, wayWords(v), numeral(n)))
		}
	}
	if len(lacking) > 0 {
		out = append(out, "Film "+strings.Join(lacking, "; ")+".")
	} else {
		out = append(out, fmt.Sprintf("Film %d runs each way again.", metrics.LeastRuns))
	}
	if w := s.Lookup(metrics.WithersLowDifference); s.Limb.Undecided && (w == nil || w.Value == nil) {
		out = append(out, "Mark the withers if they can be seen: they tell fore from hind.")
	}
	for _, r := range runs {
		if r.Level == "none" || r.Level == "ratio" {
			out = append(out, "Lay out and mark the four ground marks: without them there are no lengths.")
			break
		}
	}
	out = append(out, "Same ground, gait and speed.")
	if n := len(v.Problems); n > 0 {
		out = append(out, fmt.Sprintf("Look again at %s: left out until then.", counted(n, "clip")))
	}
	if day, err := time.Parse(time.DateOnly, next); err == nil {
		out = append(out, "Next check: "+day.Format("2 January 2006")+".")
	}
	return out
}

// numeral writes how many there were.
func numeral(n int) string {
	if words := []string{"were none", "was one", "were two"}; n < len(words) {
		return words[n]
	}
	return fmt.Sprintf("were %d", n)
}
