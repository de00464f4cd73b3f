package glance

import (
	"math"
	"strings"

	"jogstrip/metrics"
)

// Row answers one question about the horse.
type Row struct {
	Question string
	// Measure is the one that answers: of several the clearest.
	Measure metrics.Name
	// Before is the earlier visit's, of a comparison; Now that of the visit, or of the
	// later one. Nil where it was not measured.
	Before, Now *Bar
	Words       string          // What is seen, three to six words; or why nothing is.
	Verdict     metrics.Verdict // Of a comparison; empty where there is none.
	Counts      bool            // Beyond tolerance, or changed.
	Missing     bool            // Words is the reason why nothing was measured.
}

// Bar is a value with its 95 % interval in multiples of its tolerance; positive is to
// the right, see the package comment.
type Bar struct {
	Value, Low, High float64
}

// question is one row with the measures that may answer it.
type question struct {
	words    string
	measures []metrics.Name
	optional bool // Left out where none was measured.
}

func questions() []question {
	return []question{
		{"Head", []metrics.Name{metrics.HeadLowDifference, metrics.HeadHighDifference}, false},
		{"Withers", []metrics.Name{metrics.WithersLowDifference, metrics.WithersHighDifference}, true},
		{"Croup and hips", []metrics.Name{metrics.CroupLowDifference, metrics.CroupHighDifference, metrics.HipExcursion}, false},
		{"Step length, fore", []metrics.Name{metrics.StepLengthFore}, false},
		{"Step length, hind", []metrics.Name{metrics.StepLengthHind}, false},
		{"Step timing", []metrics.Name{metrics.StepTimingFore, metrics.StepTimingHind}, false},
		{"Where the feet land", []metrics.Name{metrics.PlacementOffsetFore, metrics.PlacementOffsetHind}, false},
		{"Shoulder and trunk", []metrics.Name{metrics.ShoulderLift, metrics.HeadToSide, metrics.ChestSway, metrics.CroupSway, metrics.HeadSway}, true},
	}
}

// bar returns an estimate as a bar, or nil where it can't be drawn.
func bar(n metrics.Name, e *metrics.Estimate, tolerance float64) *Bar {
	if e == nil || !(tolerance > 0) || math.IsNaN(e.Value) {
		return nil
	}
	of := func(v float64) float64 { return towardRight(n) * deviation(n, v) / tolerance }
	b := &Bar{of(e.Value), of(e.Low), of(e.High)}
	if b.Low > b.High {
		b.Low, b.High = b.High, b.Low
	}
	return b
}

// ratio returns the size of a result in multiples of its tolerance; 0 where there is none.
func ratio(r *metrics.Result) float64 {
	if r == nil || r.Value == nil || r.Tolerance <= 0 {
		return 0
	}
	return math.Abs(deviation(r.Name, r.Value.Value)) / r.Tolerance
}

// clearest returns the result that answers: the one that is furthest beyond its
// tolerance, else the first that was measured, else the first there is. It may be nil.
func clearest(s *metrics.Summary, names []metrics.Name) *metrics.Result {
	var best, measured, any *metrics.Result
	for _, n := range names {
		r := s.Lookup(n)
		switch {
		case r == nil:
			continue
		case r.Beyond && (best == nil || ratio(r) > ratio(best)):
			best = r
		}
		if r.Value != nil && measured == nil {
			measured = r
		}
		if any == nil {
			any = r
		}
	}
	switch {
	case best != nil:
		return best
	case measured != nil:
		return measured
	}
	return any
}

// Rows answers the questions for one visit or one run.
func Rows(s *metrics.Summary) []Row {
	var out []Row
	for _, q := range questions() {
		r := clearest(s, q.measures)
		if q.optional && (r == nil || r.Value == nil) {
			continue
		}
		out = append(out, rowOf(q, r))
	}
	return out
}

func rowOf(q question, r *metrics.Result) Row {
	row := Row{Question: q.words}
	if r == nil || r.Value == nil {
		row.Missing = true
		row.Words = "not measured"
		if r != nil && r.Reason != "" {
			row.Words += ": " + plainReason(r.Reason, 1)
		}
		return row
	}
	row.Measure, row.Now, row.Counts = r.Name, bar(r.Name, r.Value, r.Tolerance), r.Beyond
	row.Words = shows(r)
	return row
}

// unsettled begins the words of a row whose interval is too wide to say anything.
const unsettled = "not settled"

// shows says in a few words what a result shows: nothing is claimed below the tolerance or
// where the interval holds even.
func shows(r *metrics.Result) string {
	if r == nil || r.Value == nil {
		return "not measured"
	}
	even, _ := define(r.Name).Even()
	holdsEven := r.Value.Low <= even && even <= r.Value.High
	switch {
	case r.Beyond:
		return short(r.Name, r.Unit, *r.Value)
	case r.Tolerance <= 0:
		return "no tolerance is known"
	case !wide(r):
		return "even, within tolerance"
	case holdsEven:
		return unsettled + ": too few strides"
	}
	return "small; not settled"
}

// inBrief is shows with nothing but what is seen.
func inBrief(r *metrics.Result) string {
	first, _, _ := strings.Cut(shows(r), ",")
	first, _, _ = strings.Cut(first, ":")
	return first
}

// wide reports whether the interval reaches beyond twice the tolerance, so that a
// difference worth the name might not have shown.
func wide(r *metrics.Result) bool {
	even, _ := define(r.Name).Even()
	return math.Max(r.Value.High-even, even-r.Value.Low) > 2*r.Tolerance
}

// ComparedRows answers the questions for two visits beside each other.
func ComparedRows(c *metrics.Comparison) []Row {
	var out []Row
	for _, q := range questions() {
		ch := clearestChange(c, q.measures)
		if q.optional && (ch == nil || ch.Before == nil && ch.After == nil) {
			continue
		}
		out = append(out, comparedRow(c, q, ch))
	}
	return out
}

func says(v metrics.Verdict) bool {
	return v == metrics.Improved || v == metrics.Worse || v == metrics.Changed
}

// clearestChange returns the change that answers: the followed one, else the surest that
// counts, else that of the measure that was clearest before, or after.
func clearestChange(c *metrics.Comparison, names []metrics.Name) *metrics.Change {
	var best *metrics.Change
	rank := func(ch *metrics.Change) float64 {
		switch {
		case ch.Followed:
			return 4
		case says(ch.Verdict):
			return 3 + 0.5*(1-ch.Holm)
		case ch.Before != nil && ch.After != nil:
			b, a := c.Before.Lookup(ch.Name), c.After.Lookup(ch.Name)
			if b != nil && b.Beyond || a != nil && a.Beyond {
				return 2.5
			}
			return 2
		case ch.Before != nil || ch.After != nil:
			return 1
		}
		return 0
	}
	for _, n := range names {
		for i := range c.Changes {
			if ch := &c.Changes[i]; ch.Name == n && (best == nil || rank(ch) > rank(best)) {
				best = ch
			}
		}
	}
	return best
}

func comparedRow(c *metrics.Comparison, q question, ch *metrics.Change) Row {
	row := Row{Question: q.words}
	if ch == nil || ch.Before == nil && ch.After == nil {
		row.Missing, row.Words = true, "not measured"
		if ch != nil && ch.Reason != "" {
			row.Words = plainReason(ch.Reason, 1)
		}
		return row
	}
	b, a := c.Before.Lookup(ch.Name), c.After.Lookup(ch.Name)
	tolerance := 0.0
	for _, r := range []*metrics.Result{b, a} {
		if r != nil && r.Tolerance > tolerance {
			tolerance = r.Tolerance
		}
	}
	row.Measure, row.Verdict, row.Counts = ch.Name, ch.Verdict, says(ch.Verdict)
	row.Before, row.Now = bar(ch.Name, ch.Before, tolerance), bar(ch.Name, ch.After, tolerance)
	switch {
	case ch.Before == nil:
		row.Words = "before not measured; now " + shows(a)
	case ch.After == nil:
		row.Words = "before " + shows(b) + "; now not measured"
	case c.Verdict == metrics.NotComparable:
		// Why stands above; each visit is shown by itself.
		row.Words = inBrief(b) + "; now " + inBrief(a)
	case ch.Verdict == metrics.NotComparable:
		row.Words = plainReason(ch.Reason, 1)
		if row.Words == "" {
			row.Words = "not comparable"
		}
	case says(ch.Verdict):
		row.Words = short(ch.Name, ch.Unit, *ch.Before) + ", now " + now(ch)
	case b != nil && b.Beyond, a != nil && a.Beyond:
		row.Words = short(ch.Name, ch.Unit, *ch.Before) + ", now " + now(ch) + ": too unsure to count"
		if ch.Verdict == metrics.NotJudged {
			row.Words = short(ch.Name, ch.Unit, *ch.Before) + ", now " + now(ch) + ": described, not judged"
		}
	case b != nil && a != nil && (wide(b) || wide(a)):
		row.Words = unsettled + ": too few strides"
	default:
		row.Words = "even, both times"
	}
	return row
}

// now says how large the later value is beside the earlier: "1 cm", "2 cm the other way".
func now(ch *metrics.Change) string {
	how := amount(ch.Name, ch.Unit, *ch.After)
	if deviation(ch.Name, ch.Before.Value)*deviation(ch.Name, ch.After.Value) < 0 && !zero(how) {
		return how + " the other way"
	}
	return how
}

// zero reports whether an amount is written as nothing.
func zero(how string) bool {
	for _, r := range how {
		switch {
		case r >= '1' && r <= '9':
			return false
		case r == ' ':
			return true
		}
	}
	return true
}
