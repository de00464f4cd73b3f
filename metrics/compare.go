package metrics

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/stats"
	"jogstrip/track/traj"
)

// Circumstances is what is known of a visit beside its clips.
type Circumstances struct {
	Date    string // As it is to be shown; empty: "at the first visit" and "at the second visit".
	Surface string // Empty: not recorded.
	Shoeing string // Empty: not recorded.
	Ridden  bool   // Else led.
}

// CompareOptions says how two visits are compared.
type CompareOptions struct {
	Summary SummaryOptions
	// Followed is the one measure declared beforehand as what is to change: recorded in
	// the earlier visit before the later one's clips were measured. Its verdict is not
	// corrected for the number of measures. Empty: the strongest that counts leads.
	Followed Name
	// Afterwards is a measure that was chosen later: it is treated as all others, which
	// the comparison says.
	Afterwards    Name
	Before, After Circumstances
}

const (
	changeP      = 0.05
	speedMayVary = 0.10 // Share of the mean speed.
)

// Compare sets two visits of one horse beside each other. A change counts where its 95 %
// interval, which holds how the horse differs from day to day, excludes none; better means
// more even, whatever the sign (MEASURES.md, "Before and after"). Only views that both visits
// have are compared, nothing where there is a Barrier, and no measure where view or calibration
// level differ. The error is that of Summarise, or says that Followed is no measure.
func Compare(before, after []Run, opts CompareOptions) (*Comparison, error) {
	b, err := Summarise(before, opts.Summary)
	if err != nil {
		return nil, fmt.Errorf("compare visits: before: %w", err)
	}
	a, err := Summarise(after, opts.Summary)
	if err != nil {
		return nil, fmt.Errorf("compare visits: after: %w", err)
	}
	return CompareSummed(b, a, opts)
}

// CompareSummed is Compare for visits that have been summed up. Both should have
// been with opts.Summary; one that was not is summed up again.
func CompareSummed(before, after *Summed, opts CompareOptions) (*Comparison, error) {
	for _, n := range []Name{opts.Followed, opts.Afterwards} {
		if _, ok := Define(n); !ok && n != "" {
			return nil, fmt.Errorf("compare visits: followed measure %q: no such measure", n)
		}
	}
	table := cmp.Or(opts.Summary.Tolerances, defaultTable())
	before, after = before.with(before.runs, opts.Summary), after.with(after.runs, opts.Summary)
	out := &Comparison{Before: *before.Summary, After: *after.Summary}
	out.Barriers = barriersOf(out, opts)
	for _, b := range out.Barriers {
		out.Reasons = append(out.Reasons, b.Reason)
	}
	barrier, briefs := strings.Join(out.Reasons, "; "), [2]string{before.brief, after.brief}
	out.Reasons = append(out.Reasons, limits(out, opts)...)

	if b, a := ofViews(before.runs, after.Views), ofViews(after.runs, before.Views); len(b) > 0 {
		before, after = before.with(b, opts.Summary), after.with(a, opts.Summary)
	}
	df := make([]float64, len(definitions))
	for i, d := range definitions {
		row, _ := table.Lookup(d.Name)
		x, y := before.all[i], after.all[i]
		c, freedom := changeOf(x, y, before.runs, after.runs, row, opts, barrier)
		// In the view both visits have, a measure may be missing that one of them
		// has from another.
		if full := out.Before.Lookup(d.Name); !x.ok && full.Value != nil {
			c.Before, c.Reason = full.Value, "not measured at the second visit from the view that shows it"
		} else if full := out.After.Lookup(d.Name); !y.ok && full.Value != nil {
			c.After, c.Reason = full.Value, "not measured at the first visit from the view that shows it"
		}
		out.Changes, df[i] = append(out.Changes, c), freedom
	}
	out.Score = scoreChange(before, after, barrier)
	decide(out, df, opts)
	headline(out, briefs, opts)
	return out, nil
}

// with returns the summary of some of the visit's runs; itself where nothing differs.
func (v *Summed) with(runs []Run, opts SummaryOptions) *Summed {
	if len(runs) == len(v.runs) && opts == v.opts {
		return v
	}
	return sum(runs, opts)
}

// barriersOf returns in which conditions the visits differ so that nothing may be compared.
func barriersOf(c *Comparison, opts CompareOptions) (out []Barrier) {
	differs := func(what Condition, before, after, how string) {
		out = append(out, Barrier{what, before, after, fmt.Sprintf("%s (%s, then %s)", how, before, after)})
	}
	if b, a := string(c.Before.Gait), string(c.After.Gait); b != a {
		differs(GaitDiffers, b, a, "the gait differs")
	}
	if !shareView(c) { // Each has one of the two.
		out = append(out, Barrier{ViewDiffers, string(c.Before.Views[0]), string(c.After.Views[0]), "the horse was filmed from different views"})
	}
	if b, a := strings.TrimSpace(opts.Before.Surface), strings.TrimSpace(opts.After.Surface); b != "" && a != "" && !strings.EqualFold(b, a) {
		differs(SurfaceDiffers, b, a, "the surface differs")
	}
	// A rider moves the horse's mass about: in rising trot alone the two diagonals load and
	// move unlike each other (Roepstorff et al. 2009, Equine Vet J 41:292-296; from memory).
	presented := map[bool]string{false: "led", true: "ridden"}
	if b, a := opts.Before.Ridden, opts.After.Ridden; b != a {
		differs(PresentationDiffers, presented[b], presented[a], "the horse was presented differently")
	}
	if b, a := c.Before.Lookup(Speed).Value, c.After.Lookup(Speed).Value; b != nil && a != nil {
		v, w := opts.Summary.Lengths.Format(b.Value, "m/s", 2), opts.Summary.Lengths.Format(a.Value, "m/s", 2)
		if difference := math.Abs(a.Value-b.Value) / (0.5 * (b.Value + a.Value)); difference > speedMayVary {
			out = append(out, Barrier{SpeedDiffers, v, w, fmt.Sprintf("speed differs by %.0f %% (%s, then %s; at most %.0f %% is allowed)",
				100*difference, v, w, 100*speedMayVary)})
		}
	}
	return out
}

// shareView reports whether both visits have a view.
func shareView(c *Comparison) bool {
	return slices.ContainsFunc(c.Before.Views, func(v traj.View) bool { return slices.Contains(c.After.Views, v) })
}

// limits returns what limits the comparison without forbidding it.
func limits(c *Comparison, opts CompareOptions) (out []string) {
	if strings.TrimSpace(opts.Before.Surface) == "" || strings.TrimSpace(opts.After.Surface) == "" {
		out = append(out, "the surface was not recorded at both visits: compare only if it was the same")
	}
	if x, y := strings.TrimSpace(opts.Before.Shoeing), strings.TrimSpace(opts.After.Shoeing); x != "" && y != "" && !strings.EqualFold(x, y) {
		out = append(out, fmt.Sprintf("the shoeing changed (%s, then %s): a change in movement may come from it", x, y))
	}
	if c.Before.Lookup(Speed).Value == nil || c.After.Lookup(Speed).Value == nil {
		out = append(out, "speed was not measured at both visits: compare only if it was the same")
	}
	if len(c.Before.Views) != len(c.After.Views) && shareView(c) {
		out = append(out, "only the view that both visits have is compared")
	}
	if b, a := c.Before.Levels, c.After.Levels; !slices.Equal(b, a) {
		out = append(out, fmt.Sprintf("the calibration level differs (%s, then %s): what needs it is not compared", joinLevels(b), joinLevels(a)))
	}
	if d, ok := Define(opts.Afterwards); ok && opts.Afterwards != opts.Followed {
		out = append(out, titleWords(d)+" was chosen as the measure to follow afterwards: only what the earlier visit recorded before the later clips were measured counts as declared beforehand, so it is corrected for the number of measures as all others")
	}
	return out
}

// ofViews returns the runs that were filmed in one of the views.
func ofViews(runs []Run, views []traj.View) []Run {
	return slices.DeleteFunc(slices.Clone(runs), func(r Run) bool { return !slices.Contains(views, r.View) })
}

// changeOf returns the change of one measure, without its verdict, and its degrees of freedom.
func changeOf(x, y measured, before, after []Run, row Tolerance, opts CompareOptions, barrier string) (c Change, df float64) {
	// A measure seen from one view at one visit and from two at the other is
	// compared in the view both have.
	if vx, vy := x.sample.views, y.sample.views; x.ok && y.ok && !slices.Equal(vx, vy) {
		if b, a := ofViews(ofViews(before, vx), vy), ofViews(ofViews(after, vx), vy); len(b) > 0 && len(a) > 0 {
			x, y = measureAll(b, x.def, row), measureAll(a, y.def, row)
		} else if barrier == "" {
			barrier = "the horse was filmed from different views"
		}
	}

	c = Change{Name: x.def.Name, Unit: x.result.Unit, Before: x.result.Value, After: y.result.Value, P: 1, Holm: 1,
		Followed: x.def.Name == opts.Followed, Verdict: NotComparable}
	switch {
	case !x.ok && !y.ok:
		c.Reason = "not measured at either visit: " + y.result.Reason
	case !x.ok:
		c.Reason = "not measured at the first visit: " + x.result.Reason
	case !y.ok:
		c.Reason = "not measured at the second visit: " + y.result.Reason
	default:
		c.Reason = cmp.Or(barrier, unlike(x, y))
	}
	if c.Reason != "" {
		return c, 0
	}
	c.Before, c.After = toEstimate(x.wide), toEstimate(y.wide)
	d, p, df := difference(x.wide, y.wide, x.tolerance.daySD())
	c.Change, c.P, c.Smallest, c.OwnMDC = &d, p, (d.High-d.Low)/2, x.tolerance.Own
	c.Judged, c.Verdict = c.Change, "" // Decided once all p values are known.
	return c, df
}

// unlike returns why two values of a measure cannot be set against each other; empty where
// they can.
func unlike(x, y measured) string {
	levels, then := x.sample.levels, y.sample.levels
	switch {
	case x.result.Unit != y.result.Unit:
		return fmt.Sprintf("the calibration gives other units (%s, then %s)", x.result.Unit, y.result.Unit)
	case x.def.Needs != geometry.LevelNone && !slices.Equal(levels, then):
		return fmt.Sprintf("the calibration level differs (%s, then %s)", joinLevels(levels), joinLevels(then))
	case !x.wideOK || !y.wideOK:
		return "one run and no tolerance: how runs differ is not known"
	}
	return ""
}

// difference returns second − first with its 95 % interval, its two-sided p and its degrees
// of freedom (Welch 1947). day is how the same horse differs from day to day, one standard
// deviation: both days differ by that much from what is usual for the horse.
func difference(first, second stats.MeanEstimate, day float64) (e Estimate, p, df float64) {
	u, v, d := sq(first.SE), sq(second.SE), 2*sq(day)
	e.Value, e.SE = second.Value-first.Value, math.Sqrt(u+v+d)
	df = stats.Satterthwaite(stats.Variance{Value: u, DF: first.DF}, stats.Variance{Value: v, DF: second.DF}, stats.Variance{Value: d, DF: tableDF})
	if p = stats.TwoSidedP(e.Value/e.SE, df); math.IsNaN(p) {
		p = 1 // None, and none is known exactly.
	}
	return e.at(changeP, df), p, df
}

// at returns the estimate with the interval that leaves out zero exactly where its p is
// below level.
func (e Estimate) at(level, df float64) Estimate {
	half := stats.TQuantile(1-level/2, df) * e.SE
	e.Low, e.High = e.Value-half, e.Value+half
	return e
}

func joinLevels(l []geometry.Level) string {
	var s []string
	for _, x := range l {
		s = append(s, string(x))
	}
	return strings.Join(s, " and ")
}

// scoreChange compares the score over the components that both visits have, with the
// same weights. The interval of the change is taken from those of the two scores (Zou &
// Donner 2008, Stat Med 27:1693–1702; from memory), which need not be even and hold how
// the horse differs from day to day.
func scoreChange(before, after *Summed, barrier string) *Change {
	c := &Change{Name: ScoreName, P: 1, Holm: 1, Verdict: NotComparable, Reason: barrier}
	var pb, pa []part
	var dropped []string
	for i := range before.all {
		x, y := before.all[i], after.all[i]
		if x.tolerance.Weight <= 0 {
			continue
		}
		if !x.ok || !y.ok || !(x.tolerance.Tolerance > 0) || !slices.Equal(x.sample.views, y.sample.views) || unlike(x, y) != "" {
			if x.ok || y.ok {
				dropped = append(dropped, x.def.Title)
			}
			continue
		}
		p, q := newPart(x, x.wide, x.tolerance.daySD()), newPart(y, y.wide, x.tolerance.daySD())
		p.weight = math.Min(p.weight, q.weight)
		q.weight = p.weight
		pb, pa = append(pb, p), append(pa, q)
	}
	if c.Reason == "" && len(pb) == 0 {
		c.Reason = "no component of the score was measured alike at both visits"
	}
	if c.Reason != "" {
		return c
	}
	x, y := before.scoreOf(pb), after.scoreOf(pa)
	c.Before, c.After = &x.Estimate, &y.Estimate
	value := y.Value - x.Value
	low := value - math.Hypot(y.Value-y.Low, x.High-x.Value)
	high := value + math.Hypot(y.High-y.Value, x.Value-x.Low)
	c.Change = &Estimate{Value: value, Low: low, High: high, SE: (high - low) / (2 * stats.Z95)}
	c.Judged, c.Verdict = c.Change, ""
	// The end of the interval that faces no change decides.
	c.Smallest = value - low
	if value < 0 {
		c.Smallest = high - value
	}
	if c.Smallest > 0 {
		c.P = stats.TwoSidedP(value/c.Smallest*stats.Z95, math.Inf(1))
		c.Holm = c.P
	}
	if len(dropped) > 0 {
		c.Reason = "the scores compared leave out what was not measured alike at both visits: " + strings.Join(dropped, ", ")
	}
	return c
}

// ScoreName stands for the asymmetry score where a measure's name is expected.
const ScoreName Name = "asymmetry_score"

// decide gives every comparable change its verdict. Two families share the 5 % between them,
// each corrected by Holm's method: the established measures that compare the sides, and the
// suggested ones. The measure declared beforehand and the score stand alone, what is only
// described gets no verdict. df: the changes' degrees of freedom.
func decide(c *Comparison, df []float64, opts CompareOptions) {
	const families = 2
	for _, evidence := range [families]Evidence{Established, Suggested} {
		var family []*Change
		var p, freedom []float64
		for i := range c.Changes {
			ch := &c.Changes[i]
			d, _ := Define(ch.Name)
			if _, sides := d.Even(); ch.Verdict == "" && !ch.Followed && sides && d.Evidence == evidence {
				family, p, freedom = append(family, ch), append(p, ch.P), append(freedom, df[i])
			}
		}
		corrected, levels := stats.Holm(p, changeP/families)
		for i, ch := range family {
			ch.Holm, ch.Verdict = math.Min(1, families*corrected[i]), judged
			if e := *ch.Change; e.SE > 0 {
				e = e.at(levels[i], freedom[i])
				ch.Judged = &e
			}
		}
	}
	for i := range c.Changes {
		ch := &c.Changes[i]
		d, _ := Define(ch.Name)
		switch {
		case ch.Verdict == NotComparable:
			ch.Sentence = "not comparable: " + ch.Reason
			continue
		case ch.Followed:
			ch.Holm = ch.P
		case ch.Verdict != judged:
			ch.Holm, ch.Verdict = ch.P, NotJudged
		}
		tolerance := c.Before.Lookup(ch.Name).Tolerance
		if ch.Verdict != NotJudged {
			ch.Verdict = verdict(d, ch, tolerance)
		}
		ch.Sentence = changeSentence(d, ch, tolerance, opts)
	}
	if c.Score.Verdict == NotComparable {
		c.Score.Sentence = "not comparable: " + c.Score.Reason
		return
	}
	switch {
	case !c.Score.counts():
		c.Score.Verdict = NoChange
	case c.Score.Change.Value < 0:
		c.Score.Verdict = Improved
	default:
		c.Score.Verdict = Worse
	}
	c.Score.Sentence = scoreSentence(c.Score, opts)
}

// judged marks a change of a family until it has its verdict.
const judged Verdict = "judged"

// clear reports whether the change would count if it were judged alone.
func (c *Change) clear() bool {
	return (c.Change.Low > 0 || c.Change.High < 0) && math.Abs(c.Change.Value) > c.Smallest
}

func (c *Change) counts() bool { return c.Holm < changeP && c.clear() }

func verdict(d Definition, c *Change, tolerance float64) Verdict {
	if !c.counts() {
		return NoChange
	}
	e, ok := d.Even()
	if !ok {
		return Changed
	}
	b, a := math.Abs(c.Before.Value-e), math.Abs(c.After.Value-e)
	if b <= tolerance && a <= tolerance {
		return NoChange
	}
	// On one side of even the size changes as the value does, and counts as that does. Through
	// even it changes less.
	switch size := a - b; {
	case math.Abs(size) <= c.Smallest:
		return Changed
	case size < 0:
		return Improved
	}
	return Worse
}

// SmallestJudged returns the smallest change that counts as the verdict goes: half of the
// interval of Judged where that was widened, else Smallest.
func (c *Change) SmallestJudged() float64 {
	if c.widened() {
		return (c.Judged.High - c.Judged.Low) / 2
	}
	return c.Smallest
}

// widened reports whether other measures are judged with this one.
func (c *Change) widened() bool {
	return c.Change != nil && *c.Judged != *c.Change
}
