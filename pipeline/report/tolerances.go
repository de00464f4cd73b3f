package report

import (
	"slices"
	"strings"

	"jogstrip/metrics"
)

const (
	toleranceHeading = "Where tolerances come from"
	ownReplaces      = "in place of the table"
)

// toleranceSources says where the tolerances of what was measured come from, own
// visits first and then in the order of the measures.
func toleranceSources(s *metrics.Summary) []string {
	type source struct {
		words  string
		own    bool
		titles []string
	}
	var all []source
	for _, r := range s.Results {
		if r.Value == nil || r.Tolerance <= 0 || r.ToleranceSource == "" {
			continue
		}
		i := slices.IndexFunc(all, func(x source) bool { return x.words == r.ToleranceSource && x.own == r.OwnTolerance })
		if i < 0 {
			i = len(all)
			all = append(all, source{words: r.ToleranceSource, own: r.OwnTolerance})
		}
		all[i].titles = append(all[i].titles, lowerFirst(define(r.Name).Title))
	}
	slices.SortStableFunc(all, func(a, b source) int {
		switch {
		case a.own == b.own:
			return 0
		case a.own:
			return -1
		}
		return 1
	})
	var out []string
	for _, x := range all {
		words := strings.TrimSuffix(x.words, ".")
		if x.own {
			words = "from " + words + ", " + ownReplaces
		}
		out = append(out, sentence(words+": "+strings.Join(x.titles, "; ")))
	}
	return out
}

// sourcesSection says it at the end of a page.
func sourcesSection(s *metrics.Summary) section {
	out := section{title: toleranceHeading}
	out.list("", toleranceSources(s))
	return out
}

// ownRepeats is the short form that stands in a table's cell.
func ownRepeats(r metrics.Result) string {
	if _, n, ok := strings.Cut(r.ToleranceSource, ", "); ok {
		return "own visits, " + n
	}
	return "own visits"
}
