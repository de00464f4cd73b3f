package metrics

import (
	_ "embed"
	"fmt"
	"math"
	"slices"

	"github.com/BurntSushi/toml"

	"jogstrip/metrics/stats"
)

//go:embed tolerances.toml
var defaultTolerances []byte

// tableDF is how many degrees of freedom the run-to-run variation of the table
// is worth for one horse. With 10 the intervals keep their coverage where
// horses differ as horsesDiffer says (STUDY.md).
const tableDF = 10

// minRepeatDF is how many degrees of freedom repeat runs must give before they
// replace a row of the table: with 6 a standard deviation is known to about 30 %.
const minRepeatDF = 6

// Tolerance is what is known of one measure's ordinary variation.
type Tolerance struct {
	Name Name   `toml:"name" json:"name"`
	Unit string `toml:"unit" json:"unit"` // The definition's unit.
	// Tolerance is the difference between sides (for measures without sides: the
	// difference of the value) that the same sound horse shows from run to run.
	// It is read as a 95 % bound: 1.96 standard deviations of a run.
	Tolerance float64 `toml:"tolerance" json:"tolerance"`
	// SideTolerance is the same for the value of one side alone; 0: not known.
	SideTolerance float64 `toml:"side_tolerance" json:"side_tolerance,omitempty"`
	// RatioTolerance is Tolerance in the definition's RatioUnit; 0: not known.
	RatioTolerance float64 `toml:"ratio_tolerance" json:"ratio_tolerance,omitempty"`
	// StrideSD is how strides usually differ within a run, measuring error
	// included; it plans filming and decides nothing. 0: not known.
	StrideSD float64 `toml:"stride_sd" json:"stride_sd,omitempty"`
	// Weight is the measure's share in the asymmetry score; 0: none.
	Weight float64 `toml:"weight" json:"weight"`
	// Source says where the tolerance comes from.
	Source string `toml:"source" json:"source"`
	// Written is whether the yard wrote this row itself: it differs from the
	// default table's. Such a row is never replaced.
	Written bool `toml:"-" json:"-"`
	// Own is whether the yard's own repeat runs replaced the table's figure.
	Own bool `toml:"-" json:"own,omitempty"`
	// RunSD is the variation between runs beyond what strides explain, one
	// standard deviation, from own repeats; 0: Tolerance/1.96.
	RunSD float64 `toml:"-" json:"run_sd,omitempty"`
	// DF is the degrees of freedom of own repeats; 0: the table's.
	DF float64 `toml:"-" json:"df,omitempty"`
}

// runSD returns the standard deviation between runs and what it is worth.
func (t Tolerance) runSD() (sd, df float64) {
	switch {
	case t.RunSD > 0:
		return t.RunSD, t.DF
	case t.Tolerance > 0:
		return t.Tolerance / stats.Z95, tableDF
	}
	return 0, 0
}

// inUnit returns t for values in unit: the definition's or its RatioUnit. Where
// the table knows nothing in that unit, only the weight is left.
func (t Tolerance) inUnit(unit string) Tolerance {
	if unit == t.Unit {
		return t
	}
	t.Unit, t.Tolerance, t.SideTolerance, t.StrideSD = unit, t.RatioTolerance, 0, 0
	t.RunSD, t.DF, t.Own = 0, 0, false
	if !t.Written {
		t.Source = sharesSource
	}
	return t
}

// sharesSource is the source of every RatioTolerance of the default table:
// published figures are lengths.
const sharesSource = "common practice"

// ToleranceTable is the tolerances of all measures. It is not changed after
// parsing.
type ToleranceTable struct {
	Rows []Tolerance // In the order of Definitions; a measure may be absent.
}

// Lookup returns the row of measure n and whether there is one.
func (t *ToleranceTable) Lookup(n Name) (Tolerance, bool) {
	for _, r := range t.Rows {
		if r.Name == n {
			return r, true
		}
	}
	return Tolerance{Name: n}, false
}

// DefaultTolerances returns the table that comes with the program.
func DefaultTolerances() (*ToleranceTable, error) {
	return parseTolerances("tolerances.toml", defaultTolerances, &ToleranceTable{})
}

// ToleranceSource returns the default table as it is written, with its
// comments, for a yard to copy and edit.
func ToleranceSource() []byte { return append([]byte(nil), defaultTolerances...) }

// ParseTolerances reads a yard's table. Rows it has replace those of the
// default table, rows it does not have keep them, so a yard writes down only
// what it changes. A row that differs from the default one in anything, be it the
// source alone, counts as written by the yard. The error names the file, the measure, the field, the value
// and what is allowed.
func ParseTolerances(name string, b []byte) (*ToleranceTable, error) {
	base, err := DefaultTolerances()
	if err != nil {
		return nil, err
	}
	table, err := parseTolerances(name, b, base)
	if err != nil {
		return nil, err
	}
	for i, r := range table.Rows {
		was, _ := base.Lookup(r.Name)
		table.Rows[i].Written = r != was
	}
	return table, nil
}

func parseTolerances(file string, b []byte, base *ToleranceTable) (*ToleranceTable, error) {
	var doc struct {
		Schema   string      `toml:"schema"`
		Measures []Tolerance `toml:"measure"`
	}
	meta, err := toml.Decode(string(b), &doc)
	if err != nil {
		return nil, fmt.Errorf("read tolerances %s: %w", file, err)
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return nil, fmt.Errorf("read tolerances %s: unknown field %q; allowed are schema and, under [[measure]], name, unit, tolerance, side_tolerance, ratio_tolerance, stride_sd, weight and source", file, unknown[0].String())
	}
	const schema = "tolerances/1"
	if doc.Schema != schema {
		return nil, fmt.Errorf("read tolerances %s: schema is %q, want %q", file, doc.Schema, schema)
	}
	rows := map[Name]Tolerance{}
	for i, r := range doc.Measures {
		if err := checkTolerance(r); err != nil {
			return nil, fmt.Errorf("read tolerances %s: measure %d (%q): %w", file, i+1, r.Name, err)
		}
		if _, twice := rows[r.Name]; twice {
			return nil, fmt.Errorf("read tolerances %s: measure %d (%q): listed twice", file, i+1, r.Name)
		}
		rows[r.Name] = r
	}
	out := &ToleranceTable{}
	for _, d := range Definitions() {
		if r, ok := rows[d.Name]; ok {
			out.Rows = append(out.Rows, r)
		} else if r, ok := base.Lookup(d.Name); ok {
			out.Rows = append(out.Rows, r)
		}
	}
	return out, nil
}

func checkTolerance(r Tolerance) error {
	d, ok := Define(r.Name)
	if !ok {
		return fmt.Errorf("no such measure; the names are those of MEASURES.md")
	}
	if r.Unit != d.Unit {
		return fmt.Errorf("unit is %q, want %q", r.Unit, d.Unit)
	}
	if !(r.Tolerance > 0) || math.IsInf(r.Tolerance, 0) {
		return fmt.Errorf("tolerance is %v, want a number above 0", r.Tolerance)
	}
	for _, f := range []struct {
		name  string
		value float64
	}{{"side_tolerance", r.SideTolerance}, {"ratio_tolerance", r.RatioTolerance}, {"stride_sd", r.StrideSD}, {"weight", r.Weight}} {
		if !(f.value >= 0) || math.IsInf(f.value, 0) {
			return fmt.Errorf("%s is %v, want 0 or more", f.name, f.value)
		}
	}
	if r.Weight > 0 {
		if _, ok := d.Even(); !ok {
			return fmt.Errorf("weight is %v, want 0: the measure has no even value that a score could start from", r.Weight)
		}
	}
	if r.Source == "" {
		return fmt.Errorf(`source is empty, want where the tolerance comes from, or "common practice"`)
	}
	return nil
}

// Even returns the value of d in an even horse and whether there is one: whether
// the measure compares the sides, so that its distance from even is what counts.
func (d Definition) Even() (value float64, compares bool) {
	switch d.Name {
	case StepTimingFore, StepTimingHind:
		return 50, true
	case HeadLowDifference, HeadHighDifference, WithersLowDifference, WithersHighDifference,
		CroupLowDifference, CroupHighDifference:
		return 0, true
	}
	return 0, d.Sided
}

// Repeat is the runs of one horse at one visit.
type Repeat struct {
	Horse string // Any name that tells the horses apart.
	Runs  []Run
}

// OwnTolerances returns table with every row replaced for which repeat runs say
// enough: 6 degrees of freedom or more, runs minus visits, over visits with at
// least two runs. The horse's own come first, then those of all horses; a row
// that the yard wrote itself stays. A nil table means the default one.
//
// How runs of one visit differ does not depend on how even the horse is, so
// visits before and after a treatment count alike. Runs measured far less
// precisely than the best are left out. Runs of one day leave out how a horse
// differs from day to day.
//
// The tolerance becomes t(0.975)·SD, SD that of a run within a visit, and the row
// says Own. What other horses show is worth no more for this one than the table
// is. The order of repeats does not matter. It returns an error where the
// default table does not parse.
func OwnTolerances(repeats []Repeat, horse string, table *ToleranceTable) (*ToleranceTable, error) {
	table, err := orDefault(table)
	if err != nil {
		return nil, fmt.Errorf("own tolerances: %w", err)
	}
	var own []Repeat
	for _, r := range repeats {
		if r.Horse == horse {
			own = append(own, r)
		}
	}
	out := &ToleranceTable{}
	for _, row := range table.Rows {
		if !row.Written {
			d, _ := Define(row.Name)
			replaced := ownTolerance(d, row, own)
			if !replaced.Own {
				replaced = ownTolerance(d, row, repeats)
			}
			row = replaced
		}
		out.Rows = append(out.Rows, row)
	}
	return out, nil
}

func ownTolerance(d Definition, row Tolerance, repeats []Repeat) Tolerance {
	type visit struct {
		horse  string
		means  []float64
		errors []float64 // Of the means. Index: as means.
		within float64   // The sum of their squares.
	}
	var all []visit
	best := math.Inf(1)
	for _, v := range repeats {
		o := meanOptions(d, Tolerance{})
		o.ValueSD, _ = row.runSD()
		m, err := stats.GroupMean(gather(v.Runs, d, d.Unit).value, o)
		if err != nil || m.Groups < 2 {
			continue
		}
		one := visit{horse: v.Horse}
		for i, x := range m.GroupMeans {
			if e := m.GroupSEs[i]; !math.IsNaN(x) && !math.IsNaN(e) {
				one.means, one.errors = append(one.means, x), append(one.errors, e)
				if e > 0 {
					best = math.Min(best, e)
				}
			}
		}
		all = append(all, one)
	}
	var visits []visit
	horses := map[string]bool{}
	for _, v := range all {
		// A fore step seen from behind tells of its measuring, not of the horse.
		var kept visit
		for i, e := range v.errors {
			if e <= farLess*best {
				kept.means = append(kept.means, v.means[i])
				kept.within += e * e
			}
		}
		if len(kept.means) > 1 {
			slices.Sort(kept.means)
			visits = append(visits, kept)
			horses[v.horse] = true
		}
	}
	slices.SortFunc(visits, func(a, b visit) int { return slices.Compare(a.means, b.means) })
	var means [][]float64
	var within, runs float64
	for _, v := range visits {
		means = append(means, v.means)
		within += v.within
		runs += float64(len(v.means))
	}
	sem, df := stats.SEM(means)
	if df < minRepeatDF || !(sem > 0) {
		return row
	}
	row.Tolerance = stats.TQuantile(0.975, df) * sem
	// Strides explain part of how run means differ. What is left may come out as
	// nothing by chance; a third is kept so that runs never count as alike.
	row.RunSD = math.Max(math.Sqrt(math.Max(0, sem*sem-within/runs)), sem/3)
	row.DF, row.Own = df, true
	whose := "this horse's own repeat runs"
	if len(horses) > 1 {
		row.DF = math.Min(df, tableDF)
		whose = fmt.Sprintf("this yard's own repeat runs of %d horses", len(horses))
	}
	row.Source = fmt.Sprintf("%s, n = %.0f at %d visits", whose, runs, len(visits))
	return row
}

func orDefault(t *ToleranceTable) (*ToleranceTable, error) {
	if t != nil {
		return t, nil
	}
	return DefaultTolerances()
}
