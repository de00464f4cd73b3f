package glance

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// Row answers one question about the horse.
type Row struct {
	Question string
	Subject  string // What it asks about, inside a sentence: "the length of the fore steps".
	// Measure is the one that answers: of several the clearest.
	Measure metrics.Name
	// Before is the earlier visit's, of a comparison; Now that of the visit, or of the
	// later one. Nil where it was not measured.
	Before, Now *Bar
	Between     []*Bar // Of a history: the visits between those two, in order of time.
	Words       string // What is seen, three to six words; or why nothing is.
	Note        string // What it tells beside that; mostly empty.
	// Fits is said before anything else: "fits the right hind"; empty where no hind is named or
	// the row has nothing to do with it.
	Fits    string
	Verdict metrics.Verdict // Of a comparison; empty where there is none.
	Change  string          // Of a comparison: the change with half its 95 % interval, "38 ± 17 mm"; empty where it says nothing.
	Counts  bool            // Beyond tolerance, or changed.
	// Leans is "smaller" or "larger" where the change does not count and its own interval
	// leaves out none.
	Leans    string
	Followed bool     // Of a comparison: the measure that was named beforehand.
	Missing  bool     // Words is the reason why nothing was measured.
	Unmarked []string // Landmarks that were not marked and would have been needed.
	Runs     int      // How many runs measured it, of the visit or the later one.
	// Enough is how many runs like these would settle the question, by what they showed;
	// 0 where it is settled.
	Enough int
}

// Bar is a value with its 95 % interval in multiples of its tolerance; positive is to
// the right, see the package comment.
type Bar struct {
	Value, Low, High float64
	Says             Says
	// Explained is of what another limb than the bar's makes uneven: no finding of its own.
	Explained bool
}

// Says is what a value and its interval together allow to be said of left and right.
type Says int

// What can be said. An interval of up to twice the tolerance hides no difference that
// would be called uneven with fewer strides; a longer one might.
const (
	Unsettled  Says = iota // The interval reaches beyond twice the tolerance: uneven or even, both are possible.
	EvenSoFar              // It leaves the tolerance band, by at most as much again.
	EvenSurely             // All of it lies within the tolerance.
	Uneven                 // It leaves out even, and the value is beyond the tolerance.
)

// saysOf tells what a deviation from even with its interval allows to be said.
func saysOf(value, low, high, tolerance float64) Says {
	reach := math.Max(math.Abs(low), math.Abs(high))
	switch {
	case (low > 0 || high < 0) && math.Abs(value) > tolerance:
		return Uneven
	case reach <= tolerance:
		return EvenSurely
	case reach <= 2*tolerance:
		return EvenSoFar
	}
	return Unsettled
}

// enough returns how many runs like the n that gave this bar would settle it, if its value
// stays: until the interval leaves out even or lies within twice the tolerance. An
// interval narrows with the root of the number of runs.
func (b *Bar) enough(n int) int {
	if b == nil || n < 1 || b.Says != Unsettled {
		return 0
	}
	half := (b.High - b.Low) / 2
	aim := math.Max(2-math.Abs(b.Value), math.Abs(b.Value))
	return max(n+1, int(math.Ceil(float64(n)*(half/aim)*(half/aim))))
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
		{"Quarters", []metrics.Name{metrics.QuartersToSide}, true},
		{"Shoulder and trunk", []metrics.Name{metrics.ShoulderLift, metrics.HeadToSide, metrics.ChestSway, metrics.CroupSway, metrics.HeadSway}, true},
	}
}

// subject names what a question asks about inside a sentence.
func subject(question string) string {
	switch question {
	case "Head", "Withers":
		return "the " + lowerFirst(question)
	case "Step length, fore":
		return "the length of the fore steps"
	case "Step length, hind":
		return "the length of the hind steps"
	case "Step timing":
		return "the timing of steps"
	case "Quarters":
		return "where the quarters go"
	}
	return lowerFirst(question)
}

// besideHind says, where signs point to a hind, what a bar has to do with it, and why head
// and withers are uneven as well, which it marks as explained: a reader who sees their bars
// over a fore would take them for a fore's. A hind makes the head nod as the fore of its
// side does, and the withers the other way (Pfau et al. 2018, Equine Vet J 50:117–123).
func (r *Row) besideHind(l metrics.LimbFinding, b *Bar) {
	if !l.Limb.IsHind() || b == nil || b.Says != Uneven {
		return
	}
	same := (b.Value > 0) == (l.Limb.Side() == traj.Right)
	why := ""
	switch {
	case r.ofHind() && same:
	case r.Question == "Head" && same:
		why = "the head nods with it"
	case r.Question == "Withers" && !same:
		why = "withers the other way"
	case r.Measure == metrics.ShoulderLift && !same:
		// Twice what the trunk is carried higher is in it (MEASURES.md).
		why = "goes with the withers"
	default:
		return
	}
	r.Fits, b.Explained = "fits the "+l.Limb.Words(), why != ""
	if why != "" {
		r.Note = why
	}
}

// ofHind reports whether a row asks about the hinds.
func (r *Row) ofHind() bool {
	return r.Question == "Croup and hips" || r.Question == "Step length, hind"
}

// Explained reports whether another limb explains all that the row has uneven.
func (r *Row) Explained() bool {
	explained := false
	for _, b := range append([]*Bar{r.Before, r.Now}, r.Between...) {
		if b != nil && b.Says == Uneven && !b.Explained {
			return false
		}
		explained = explained || b != nil && b.Explained
	}
	return explained
}

// hindFirst puts the questions about the hinds before the others where a hind is named: what
// it does in front is then read after it.
func hindFirst(rows []Row, l metrics.LimbFinding) {
	if l.Limb.IsHind() {
		putFirst(rows, (*Row).ofHind)
	}
}

// putFirst puts those rows that leads says before the others, in the order they are in.
func putFirst(rows []Row, leads func(*Row) bool) {
	rank := func(r Row) int {
		if leads(&r) {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(rows, func(a, b Row) int { return rank(a) - rank(b) })
}

// MostRows is how many rows are read at a glance.
const MostRows = 7

// fewEnough leaves out rows above MostRows: those of questions that are optional, or whose
// measures are only described, and that show nothing uneven. The details have them.
func fewEnough(rows []Row) []Row {
	quiet := func(r Row) bool {
		return !r.Counts && !r.Followed && (r.Before == nil || r.Before.Says != Uneven) && (r.Now == nil || r.Now.Says != Uneven)
	}
	for _, question := range []string{"Withers", "Shoulder and trunk", "Quarters"} {
		if len(rows) > MostRows {
			rows = slices.DeleteFunc(rows, func(r Row) bool { return r.Question == question && quiet(r) })
		}
	}
	return rows
}

// bar returns an estimate as a bar, or nil where it can't be drawn.
func bar(n metrics.Name, e *metrics.Estimate, tolerance float64) *Bar {
	if e == nil || !(tolerance > 0) || math.IsNaN(e.Value) {
		return nil
	}
	of := func(v float64) float64 { return define(n).TowardRight() * deviation(n, v) / tolerance }
	b := &Bar{Value: of(e.Value), Low: of(e.Low), High: of(e.High)}
	if b.Low > b.High {
		b.Low, b.High = b.High, b.Low
	}
	b.Says = saysOf(b.Value, b.Low, b.High, 1)
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
		row := rowOf(q, r)
		row.besideHind(s.Limb, row.Now)
		if row.Note == "" && row.Counts && define(row.Measure).Evidence == metrics.Description {
			row.Note = notJudged
		}
		out = append(out, row)
	}
	hindFirst(out, s.Limb)
	return fewEnough(out)
}

func rowOf(q question, r *metrics.Result) Row {
	row := Row{Question: q.words, Subject: subject(q.words)}
	if r == nil || r.Value == nil {
		row.Missing = true
		row.Words = "not measured"
		if r != nil {
			row.Measure = r.Name
		}
		if r != nil && r.Reason != "" {
			row.Words += ": " + plainReason(r.Reason, 1)
			row.Unmarked = unmarked(r.Reason)
		}
		return row
	}
	row.Measure, row.Now, row.Counts, row.Runs = r.Name, bar(r.Name, r.Value, r.Tolerance), r.Beyond, r.Runs
	row.Enough = row.Now.enough(r.Runs)
	row.Words = shows(r.Name, r.Unit, r.Value, row.Now)
	if row.Now != nil && row.Now.Says == Unsettled {
		row.Words += ": too few strides"
	}
	return row
}

// Words of rows that claim nothing.
const (
	unsettled  = "not settled"
	evenSoFar  = "roughly even"
	evenSurely = "even"
)

// shows says in a few words what an estimate shows: nothing is claimed below the tolerance
// or where the interval holds even. b is its bar.
func shows(n metrics.Name, unit string, e *metrics.Estimate, b *Bar) string {
	if e == nil {
		return "not measured"
	}
	if b == nil {
		return "no tolerance is known"
	}
	switch b.Says {
	case Uneven:
		return short(n, unit, *e)
	case EvenSurely:
		return evenSurely
	case EvenSoFar:
		return evenSoFar
	}
	return unsettled
}

// ComparedRows answers the questions for two visits beside each other, that of the followed
// measure first.
func ComparedRows(c *metrics.Comparison) []Row {
	var out []Row
	for _, q := range questions() {
		ch := clearestChange(c, q.measures)
		if q.optional && (ch == nil || ch.Before == nil && ch.After == nil) {
			continue
		}
		row := comparedRow(c, q, ch)
		row.besideHind(c.Before.Limb, row.Before)
		row.besideHind(c.After.Limb, row.Now)
		out = append(out, row)
	}
	hindFirst(out, c.After.Limb)
	out = fewEnough(out)
	putFirst(out, func(r *Row) bool { return r.Followed })
	return out
}

// HistoryRows answers the questions for the visits of a horse: as ComparedRows for the
// first and the last, with bars of those between.
func HistoryRows(c *metrics.Comparison, between []*metrics.Summary) []Row {
	rows := ComparedRows(c)
	for i := range rows {
		r := &rows[i]
		r.Words = strings.Replace(r.Words, bothTimes, "first and last", 1)
		r.Words = strings.Replace(r.Words, "at the second visit", "at the last visit", 1)
		if r.Missing {
			r.Words = strings.Replace(r.Words, "at either visit", "at "+notAt(r.Question, between)+" visit", 1)
			continue
		}
		for _, s := range between {
			var b *Bar
			if m := s.Lookup(r.Measure); m != nil {
				b = bar(r.Measure, m.Value, sharedTolerance(c, r.Measure))
			}
			r.besideHind(s.Limb, b)
			r.Between = append(r.Between, b)
		}
	}
	return rows
}

// notAt says at which visits a question that had no answer at the first and the last was not
// measured.
func notAt(words string, between []*metrics.Summary) string {
	for _, q := range questions() {
		for _, s := range between {
			if r := clearest(s, q.measures); q.words == words && r != nil && r.Value != nil {
				return "the first and the last"
			}
		}
	}
	if len(between) == 0 {
		return "either"
	}
	return "any"
}

// sharedTolerance returns the larger of a measure's tolerances at two visits: bars beside
// each other have one scale.
func sharedTolerance(c *metrics.Comparison, n metrics.Name) float64 {
	tolerance := 0.0
	for _, s := range []*metrics.Summary{&c.Before, &c.After} {
		if r := s.Lookup(n); r != nil {
			tolerance = math.Max(tolerance, r.Tolerance)
		}
	}
	return tolerance
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
	row := Row{Question: q.words, Subject: subject(q.words)}
	if ch == nil || ch.Before == nil && ch.After == nil {
		row.Missing, row.Words = true, "not measured"
		if ch != nil && ch.Reason != "" {
			row.Words = plainReason(ch.Reason, 1)
		}
		return row
	}
	a := c.After.Lookup(ch.Name)
	tolerance := sharedTolerance(c, ch.Name)
	row.Measure, row.Verdict, row.Counts, row.Followed = ch.Name, ch.Verdict, says(ch.Verdict), ch.Followed
	row.Before, row.Now = bar(ch.Name, ch.Before, tolerance), bar(ch.Name, ch.After, tolerance)
	if a != nil {
		row.Runs, row.Enough = a.Runs, row.Now.enough(a.Runs)
	}
	before, after := shows(ch.Name, ch.Unit, ch.Before, row.Before), shows(ch.Name, ch.Unit, ch.After, row.Now)
	switch {
	case ch.Before == nil:
		row.Words = "before not measured; now " + after
	case ch.After == nil:
		row.Words = "before " + before + "; now not measured"
	case ch.Verdict == metrics.NotComparable:
		row.Words = plainReason(ch.Reason, 1)
		if row.Words == "" {
			row.Words = "not comparable"
		}
	case says(ch.Verdict):
		row.Words, row.Change = fromTo(ch, row.Before, row.Now), plusMinus(ch)
	case ch.Verdict == metrics.NotJudged && row.Before != nil && row.Now != nil && (row.Before.Says == Uneven || row.Now.Says == Uneven):
		row.Words, row.Note = fromTo(ch, row.Before, row.Now), notJudged
		if row.Before.Says == Unsettled || row.Now.Says == Unsettled {
			row.Words = before + "; now " + after
		}
	case WhyNoChange(ch) != "":
		row.Words, row.Change, row.Leans = WhyNoChange(ch), plusMinus(ch), leans(row.Before, row.Now)
		if row.Leans != "" && ch.Holm >= changeP {
			row.Words = "looks " + row.Leans + ", but may be chance"
		}
	case before == after && before == unsettled:
		row.Words = unsettled + ", " + bothTimes + ": too few strides"
	case row.Before != nil && row.Now != nil && row.Before.Says == Uneven && row.Now.Says == Uneven:
		row.Words, row.Change = fromTo(ch, row.Before, row.Now), plusMinus(ch)
	case row.Before.even() && row.Now.even():
		row.Words = evenSurely + ", " + bothTimes
	case row.Before.roughlyEven() && row.Now.roughlyEven():
		row.Words = evenSoFar + ", " + bothTimes
	default:
		row.Words = before + "; now " + after
	}
	if ch.Verdict == metrics.NoChange {
		row.Change = plusMinus(ch)
	}
	return row
}

// notJudged stands beside what is uneven and only described.
const notJudged = "not judged: whether it goes with lameness is not known"

// leans says which of two bars is the longer, where both go to one side; else nothing.
func leans(b, a *Bar) string {
	switch {
	case b == nil || a == nil || b.Value*a.Value <= 0:
		return ""
	case math.Abs(a.Value) < math.Abs(b.Value):
		return "smaller"
	}
	return "larger"
}

// changeP is the level at which a change counts after correction, as metrics has it.
const changeP = 0.05

// WhyNoChange says why a change does not count whose own interval leaves out none; empty
// of others.
func WhyNoChange(ch *metrics.Change) string {
	switch {
	case ch.Verdict != metrics.NoChange || ch.Change == nil || ch.Change.Low <= 0 && ch.Change.High >= 0:
		return ""
	case ch.Holm >= changeP:
		return "one of many measures: may be chance"
	}
	return "small " + bothTimes + ", as in sound horses"
}

// plusMinus writes a change with half the interval that its verdict goes by, "38 ± 17 mm", so
// that a reader sees why one change counts and another of the same size does not; empty
// where there is none.
func plusMinus(ch *metrics.Change) string {
	if ch.Change == nil || ch.Verdict == metrics.NotJudged {
		return ""
	}
	d := define(ch.Name)
	e, unit := d.SayEstimate(ch.Unit, *ch.Judged)
	decimals := e.Decimals(d.MostDecimals(unit))
	half := (e.High - e.Low) / 2
	if math.IsNaN(half) || math.IsInf(half, 0) {
		return ""
	}
	write := func(decimals int) (value, around string) {
		return strconv.FormatFloat(math.Abs(e.Value), 'f', decimals, 64), strconv.FormatFloat(half, 'f', decimals, 64)
	}
	value, around := write(decimals)
	for more := 1; value == around && more <= 2; more++ { // Digits that tell which is larger.
		value, around = write(decimals + more)
	}
	return value + "\u00a0±\u00a0" + around + "\u00a0" + spoken(unit)
}

// fromTo says how a measure changed: "43 mm higher over left fore, now 5 mm". b and a are its
// bars before and now. A value whose bar settles nothing is said to, beside a change that is settled.
func fromTo(ch *metrics.Change, b, a *Bar) string {
	if b.even() && !a.even() {
		return evenSurely + "; now " + short(ch.Name, ch.Unit, *ch.After)
	}
	before := short(ch.Name, ch.Unit, *ch.Before)
	if b != nil && b.Says == Unsettled {
		before += " (" + unsettled + ")"
	}
	return before + ", now " + now(ch, a)
}

// even reports whether a bar lies within the tolerance.
func (b *Bar) even() bool { return b != nil && b.Says == EvenSurely }

// roughlyEven reports whether a bar shows nothing that would be called uneven.
func (b *Bar) roughlyEven() bool { return b != nil && (b.Says == EvenSurely || b.Says == EvenSoFar) }

// bothTimes is said of two visits.
const bothTimes = "both times"

// now says how large the later value is beside the earlier: "1 cm", "2 cm the other way",
// "even" where all of its bar lies within the tolerance.
func now(ch *metrics.Change, bar *Bar) string {
	if bar.even() {
		return evenSurely
	}
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

// Carried says once in the field's words why a head or a croup that is carried higher over a
// limb puts that limb in doubt, for rows of visits that show it. Where fore and hind were not
// told apart a head speaks for either.
func Carried(rows []Row, visits ...*metrics.Summary) []string {
	uneven := func(body ...metrics.Name) bool {
		return slices.ContainsFunc(rows, func(r Row) bool {
			return slices.Contains(body, r.Measure) && slices.ContainsFunc(append([]*Bar{r.Before, r.Now}, r.Between...), func(b *Bar) bool {
				return b != nil && b.Says == Uneven && !b.Explained
			})
		})
	}
	var out []string
	if uneven(metrics.HeadLowDifference, metrics.HeadHighDifference) {
		doubt := "The head is carried higher while a sore fore stands and rises more after it: the fore that is named is the one to look at"
		if slices.ContainsFunc(visits, func(s *metrics.Summary) bool { return s.Limb.Undecided }) {
			doubt += ", or the hind of its side"
		}
		out = append(out, doubt+".")
	}
	if uneven(metrics.CroupLowDifference, metrics.CroupHighDifference) {
		out = append(out, "The croup is carried higher while a sore hind stands or rises more after it: the hind that is named is the one in doubt.")
	}
	return out
}
