package metrics

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/metrics/signal"
	"jogstrip/metrics/stats"
	"jogstrip/track/traj"
)

// SummaryOptions says how runs are taken together.
type SummaryOptions struct {
	Tolerances *ToleranceTable // Nil means those of tolerances.toml.
	Resamples  int             // Draws behind the score's interval; 0 means 2000.
	Lengths    lengths.System  // In which sentences write lengths; numbers stay in the measures' units.
	Seed       uint64          // Of the draws; 0 is a seed like any other.
}

const defaultResamples = 2000

// Summarise takes all runs of one visit and one gait together.
//
// Each measure's value is the precision-weighted mean over strides and runs of both views, its
// 95 % interval that of stats.GroupMean with how runs usually differ by the tolerance table.
// With one run the interval holds for that run only, which the result says. The order of runs
// and of observations does not matter. The error: there are no runs, or gaits differ.
func Summarise(runs []Run, opts SummaryOptions) (*Summed, error) {
	if len(runs) == 0 {
		return nil, errors.New("summarise runs: there are none")
	}
	for _, r := range runs[1:] {
		if r.Gait != runs[0].Gait {
			return nil, fmt.Errorf("summarise runs: gaits differ (%s and %s); each gait has its own summary", runs[0].Gait, r.Gait)
		}
	}
	return sum(canonicalRuns(runs), opts), nil
}

// Summed is a visit summed up, and kept so that it can be compared with other
// visits without being summed up again. It may be used by several goroutines.
type Summed struct {
	*Summary
	opts  SummaryOptions
	runs  []Run      // In the order of canonicalRuns.
	all   []measured // Index: measure, as in Definitions.
	brief string     // Of the finding.
}

// sum sums up runs that are in the order of canonicalRuns.
func sum(runs []Run, opts SummaryOptions) *Summed {
	table := cmp.Or(opts.Tolerances, defaultTable())
	s := &Summary{Gait: runs[0].Gait, Runs: len(runs)}
	s.Views = inSome(runs, func(r Run) traj.View { return r.View }, traj.Toward, traj.Away)
	s.Levels = inSome(runs, func(r Run) geometry.Level { return r.Level }, geometry.LevelMetric, geometry.LevelHeight, geometry.LevelRatio, geometry.LevelNone)
	for _, r := range runs {
		s.Strides += len(r.Strides)
	}

	out := &Summed{Summary: s, opts: opts, runs: runs}
	for _, d := range definitions {
		row, _ := table.Lookup(d.Name)
		m := measureAll(runs, d, row)
		m.lengths = opts.Lengths
		out.all = append(out.all, m)
		s.Results = append(s.Results, m.result)
	}
	s.Score = out.score()
	found := findLimb(out.all, s.Gait)
	s.Limb, out.brief = found.said(), found.brief
	if s.Score != nil {
		s.Score.Side = s.Limb.Limb.Side()
	}
	s.Notes = summaryNotes(out.all, runs)
	return out
}

// inSome returns those values that some run has.
func inSome[T comparable](runs []Run, of func(Run) T, values ...T) []T {
	return slices.DeleteFunc(values, func(v T) bool {
		return !slices.ContainsFunc(runs, func(r Run) bool { return of(r) == v })
	})
}

// measured is one measure over a visit with all that statements are made of.
type measured struct {
	def       Definition
	tolerance Tolerance // In the unit of the result.
	sample    sample
	result    Result
	// here is the mean of these runs as reported; wide includes how runs differ
	// even where there is one run, and is what statements about the horse rest on.
	here, wide stats.MeanEstimate
	ok         bool           // Whether here and wide hold something.
	lengths    lengths.System // In which sentences are written.
	wideOK     bool           // Whether wide includes how runs differ.
}

// deviation returns how far the value is from even, in the measure's unit.
func (m measured) deviation() float64 {
	e, _ := m.def.Even()
	return m.wide.Value - e
}

// sample is one measure's values.
type sample struct {
	groups   [3][]stats.Group // Of the value, of the left and of the right side. Index of each: run.
	modelled bool             // Each run's value is one from the model of the run.
	here     [3][2]float64    // Of the last run, if modelled: as groups, then mean and standard error.
	strides  int              // Behind modelled values.
	leftOut  int              // Runs left out because their unit is another.
	levels   []geometry.Level // Of the runs in which it was seen, each once.
	views    []traj.View
}

// unitOf returns the unit in which most can be said: the definition's where any
// run has it, else its RatioUnit.
func unitOf(runs []Run, d Definition) string {
	unit := d.Unit
	for _, r := range runs {
		if s := r.Lookup(d.Name); s != nil && len(s.Observations) > 0 {
			if s.Unit == d.Unit {
				return d.Unit
			}
			unit = s.Unit
		}
	}
	return unit
}

func gather(runs []Run, d Definition, unit string) sample {
	var out sample
	for _, r := range runs {
		var of [3]stats.Group
		switch s := r.Lookup(d.Name); {
		case s == nil:
		case len(s.Observations) > 0 && s.Unit != unit:
			out.leftOut++
		case s.OfHorse != nil:
			for q, m := range s.OfHorse.parts() {
				add(&of[q], m[0], m[1])
			}
			out.modelled, out.here = true, s.OfRun.parts()
			out.strides += len(s.Observations)
		default:
			of = s.groups(d.Sided)
		}
		if len(of[0].Values) == 0 && len(of[1].Values) > 0 && len(of[2].Values) > 0 {
			// Each side was seen, in strides of its own: the difference of their means is
			// one value of the run.
			l, lv := meanOf(of[1])
			r, rv := meanOf(of[2])
			add(&of[0], r-l, math.Hypot(math.Sqrt(lv), math.Sqrt(rv)))
		}
		if len(of[0].Values) > 0 {
			out.levels, out.views = append(out.levels, r.Level), append(out.views, r.View)
		}
		for q, g := range of {
			out.groups[q] = append(out.groups[q], g)
		}
	}
	out.levels, out.views = distinct(out.levels), distinct(out.views)
	return out
}

// groups returns the observations as sample.groups has them, of one run.
func (s *Series) groups(sided bool) (of [3]stats.Group) {
	for _, o := range s.Observations {
		add(&of[0], o.Value, o.SD)
		if sided { // The error of a difference is that of two sides alike.
			add(&of[1], o.Left, o.SD/math.Sqrt2)
			add(&of[2], o.Right, o.SD/math.Sqrt2)
		}
	}
	of[0].CommonSD, of[1].CommonSD, of[2].CommonSD = s.CommonSD, s.SideCommonSD, s.SideCommonSD
	return of
}

func distinct[T ~string](x []T) []T { return slices.Compact(slices.Sorted(slices.Values(x))) }

// parts returns the value, the left and the right side, each with its standard error.
func (m *Mean) parts() [3][2]float64 {
	return [3][2]float64{{m.Value, m.SE}, {m.Left, m.LeftSE}, {m.Right, m.RightSE}}
}

// meanOf returns the mean of a group's values and the variance that their own errors
// leave of it.
func meanOf(g stats.Group) (mean, variance float64) {
	n := float64(len(g.Values))
	for i, v := range g.Values {
		mean += v / n
		variance += sq(g.SDs[i]) / (n * n)
	}
	return mean, variance
}

// add adds a value and its standard deviation to g where there is one.
func add(g *stats.Group, value, sd float64) {
	if signal.Finite(value) {
		g.Values, g.SDs = append(g.Values, value), append(g.SDs, sd)
	}
}

// neighbourCorrelation is the correlation of neighbouring strides' step lengths and timings
// that comes from sharing a hoof-on: of three hoof-ons L, R, L' a stride's value is
// R − ½(L + L'), and the next stride begins with L'. With independent hoof-ons it is
// (½·½)/(1 + ¼ + ¼).
const neighbourCorrelation = 1.0 / 6

// meanOptions reads what the table knows. Strides are taken to differ by at
// least as much as runs do: a run is made of strides.
func meanOptions(d Definition, t Tolerance) stats.MeanOptions {
	sd, df := t.runSD()
	o := stats.MeanOptions{GroupSD: sd, GroupDF: df, ValueSD: sd, KnownWithin: d.PerRun}
	if d.kind == "step" || d.kind == "timing" {
		o.NeighbourCorrelation = neighbourCorrelation
	}
	return o
}

func measureAll(runs []Run, d Definition, row Tolerance) measured {
	unit := unitOf(runs, d)
	m := measured{def: d, tolerance: row.inUnit(unit), sample: gather(runs, d, unit)}
	m.result = Result{Name: d.Name, Unit: unit, Tolerance: m.tolerance.Tolerance, OwnTolerance: m.tolerance.Own}
	r := &m.result
	if r.Tolerance > 0 {
		r.ToleranceSource = m.tolerance.Source
	}

	o := meanOptions(d, m.tolerance)
	o.KnownWithin = o.KnownWithin || m.sample.modelled
	side := meanOptions(d, Tolerance{Tolerance: m.tolerance.SideTolerance})
	side.NeighbourCorrelation, side.KnownWithin = 0, o.KnownWithin
	m.here, m.wide, m.ok = m.sample.means(0, o)
	for q, to := range [2]**Estimate{&r.Left, &r.Right} {
		if !d.Sided {
			break
		}
		if mean, _, seen := m.sample.means(1+q, side); seen {
			*to = toEstimate(mean)
		}
	}
	if r.Left != nil && r.Right != nil && m.ok {
		// One page, one number: the sides differ by what their difference is said to be.
		shift := (m.here.Value - (r.Right.Value - r.Left.Value)) / 2
		r.Left.move(-shift)
		r.Right.move(shift)
	}
	if !m.ok {
		r.Reason = whyMissing(runs, m)
		return m
	}
	_, known := m.tolerance.runSD()
	m.wideOK = m.here.Groups > 1 || known > 0
	r.Strides, r.Runs = m.here.Values, m.here.Groups
	if m.sample.modelled {
		r.Strides = m.sample.strides
	}
	r.ThisRunOnly = m.here.Groups == 1
	r.Value = toEstimate(m.here)
	if d.Positive {
		r.SymmetryIndex = symmetryIndex(r)
	}
	if e, ok := d.Even(); ok && r.Tolerance > 0 {
		excludes := r.Value.Low > e || r.Value.High < e
		r.Beyond = excludes && math.Abs(r.Value.Value-e) > r.Tolerance
	}
	return m
}

func (e *Estimate) move(by float64) { e.Value, e.Low, e.High = e.Value+by, e.Low+by, e.High+by }

// means returns the mean of one of the sample's groups as reported, and with how runs
// differ in it. One run's interval holds for its own strides: how strides differ is then no
// error of their mean, how well each was measured is. It is that of the model of the run
// where that gives it.
func (s *sample) means(of int, o stats.MeanOptions) (here, wide stats.MeanEstimate, ok bool) {
	wide, err := stats.GroupMean(s.groups[of], o)
	if err != nil {
		return here, wide, false
	}
	if wide.Groups > 1 {
		return wide, wide, true
	}
	value, se := s.here[of][0], s.here[of][1]
	if !s.modelled {
		value, se = wide.Value, 0
		for _, g := range s.groups[of] {
			if len(g.Values) > 0 { // The one.
				_, known := meanOf(g)
				se = math.Sqrt(known + sq(g.CommonSD))
			}
		}
		if se == 0 && wide.Values < 2 {
			// One value and no known error: there is nothing an interval could rest on.
			return wide, wide, false
		}
	}
	if se > 0 {
		here = wide
		here.Value, here.SE, here.PlainSE, here.DF = value, se, se, math.Inf(1)
		here.Low, here.High = value-stats.Z95*se, value+stats.Z95*se
		return here, wide, true
	}
	o.GroupSD, o.GroupDF = 0, math.Inf(1) // How runs differ does not enter.
	here, err = stats.GroupMean(s.groups[of], o)
	return here, wide, err == nil
}

func toEstimate(m stats.MeanEstimate) *Estimate {
	return &Estimate{Value: m.Value, Low: m.Low, High: m.High, SE: m.SE}
}

// symmetryIndex returns 100·(right − left)/(½·(right + left)), in percent (Robinson, Herzog
// & Nigg 1987, J Manipulative Physiol Ther 10:172–176), and the difference's interval in the
// same: the error of the sides' mean is small beside it. Nil where a side is negative or not
// there, or both are zero.
func symmetryIndex(r *Result) *Estimate {
	if r.Left == nil || r.Right == nil || !(r.Left.Value >= 0 && r.Right.Value >= 0 && r.Left.Value+r.Right.Value > 0) {
		return nil
	}
	return r.Value.scaled(200 / (r.Left.Value + r.Right.Value))
}

// whyMissing says why a measure has no value.
func whyMissing(runs []Run, m measured) string {
	var values [3]int // As the sample's groups.
	for q, groups := range m.sample.groups {
		for _, g := range groups {
			values[q] += len(g.Values)
		}
	}
	switch seen, left, right := values[0], values[1], values[2]; {
	case seen == 1 && max(left, right) > 1:
		return "one run gives one value of it: film more runs"
	case seen == 1:
		return "seen in one stride only: at least two are needed for an interval"
	case seen > 1:
		return "one run gives one value of it, without a known error: no interval can be given"
	case m.def.Sided && left > 0 && right == 0:
		return "only the left side was seen"
	case m.def.Sided && right > 0 && left == 0:
		return "only the right side was seen"
	case m.def.Sided && right > 0:
		return "the left side was seen in one run and the right one in another"
	}
	var reasons []string
	for _, r := range runs {
		if s := r.Lookup(m.def.Name); s != nil && s.Reason != "" {
			reasons = append(reasons, s.Reason)
		}
	}
	if len(reasons) == 0 {
		return "not measured in any run"
	}
	return strings.Join(distinct(reasons), "; ")
}

func summaryNotes(all []measured, runs []Run) []string {
	var out []string
	if len(runs) == 1 {
		out = append(out, fmt.Sprintf("One run was measured: the intervals hold for that run only. The horse may move differently in the next one, so a sign counts only where it would still stand if this horse’s runs differed as runs usually do. Film at least %d runs each way.", LeastRuns))
	}
	var left []string
	own := map[string][]string{}
	for _, m := range all {
		if m.sample.leftOut > 0 {
			left = append(left, m.def.Title)
		}
		if m.tolerance.Own && m.ok {
			own[m.tolerance.Source] = append(own[m.tolerance.Source], m.def.Title)
		}
	}
	if len(left) > 0 {
		out = append(out, "Runs whose calibration gives shares only were left out where other runs give lengths: "+strings.Join(left, "; ")+".")
	}
	for _, source := range slices.Sorted(maps.Keys(own)) {
		out = append(out, fmt.Sprintf("Tolerances from %s, in place of the table's: %s. All others are from the table.", source, strings.Join(own[source], "; ")))
	}
	return out
}

// canonicalRuns returns the runs in an order that depends on what they hold only, so that
// neither rounding nor the draws depend on the order in which clips were listed.
func canonicalRuns(runs []Run) []Run {
	values, order, out := make([][]float64, len(runs)), make([]int, len(runs)), make([]Run, len(runs))
	for i := range runs {
		values[i], order[i] = runs[i].values(), i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(runs[a].View, runs[b].View), slices.Compare(values[a], values[b]))
	})
	for i, k := range order {
		out[i] = runs[k]
	}
	return out
}

// values returns every value that was measured, by measure and time.
func (r *Run) values() (out []float64) {
	byTime := func(a, b Observation) int {
		return cmp.Or(cmp.Compare(a.Time, b.Time), cmp.Compare(a.Stride, b.Stride))
	}
	for _, d := range definitions {
		if s := r.Lookup(d.Name); s != nil {
			for _, o := range slices.SortedStableFunc(slices.Values(s.Observations), byTime) {
				if !math.IsNaN(o.Value) {
					out = append(out, o.Value)
				}
			}
		}
	}
	return out
}
