package metrics

import (
	"cmp"
	_ "embed"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/BurntSushi/toml"

	"jogstrip/metrics/stats"
)

//go:embed tolerances.toml
var defaultTolerances []byte

const (
	// tableDF is how many degrees of freedom the run-to-run variation of the table is worth for
	// one horse. With 10 the intervals keep their coverage where horses differ (SD of the
	// logarithm 0.4; STUDY.md).
	tableDF = 10
	// minRepeatDF is how many degrees of freedom own visits must give before they replace a row
	// of the table: with 6 a standard deviation is known to about 30 %.
	minRepeatDF = 6
	// ofDay is the share of the table's variance that a day makes; the rest is made by runs of
	// one day. The published figures are of measurements on different days and hold both; how
	// they divide is not published, so each gets half.
	ofDay = 0.5
)

// Tolerance is what is known of one measure's ordinary variation.
type Tolerance struct {
	Name Name   `toml:"name" json:"name"`
	Unit string `toml:"unit" json:"unit"` // The definition's unit.
	// Tolerance is by how much the difference between sides (without sides: the value) of the
	// same sound horse differs from one measurement to the next, as 95 % bound.
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
	// Own is whether the yard's own visits replaced the table's figure.
	Own bool `toml:"-" json:"own,omitempty"`
}

// runSD returns how runs of one day differ, one standard deviation, and what it is worth.
func (t Tolerance) runSD() (sd, df float64) {
	if t.Tolerance > 0 {
		return t.Tolerance / stats.Z95 * math.Sqrt(1-ofDay), tableDF
	}
	return 0, 0
}

// daySD returns how the same horse differs from day to day, one standard deviation.
func (t Tolerance) daySD() float64 { return t.Tolerance / stats.Z95 * math.Sqrt(ofDay) }

// inUnit returns t for values in unit: the definition's or its RatioUnit. Where
// the table knows nothing in that unit, only the weight is left.
func (t Tolerance) inUnit(unit string) Tolerance {
	if unit == t.Unit {
		return t
	}
	t.Unit, t.Tolerance, t.SideTolerance, t.StrideSD = unit, t.RatioTolerance, 0, 0
	t.Own = false
	if !t.Written {
		t.Source = sharesSource
	}
	return t
}

// sharesSource is the source of every RatioTolerance of the default table: published figures are lengths.
const sharesSource = "common practice"

// ToleranceTable is the tolerances of all measures. It is not changed after parsing.
type ToleranceTable struct {
	Rows []Tolerance // In the order of Definitions; a measure may be absent.
}

// Lookup returns the row of measure n and whether there is one.
func (t *ToleranceTable) Lookup(n Name) (Tolerance, bool) {
	if r := firstOf(t.Rows, func(r *Tolerance) bool { return r.Name == n }); r != nil {
		return *r, true
	}
	return Tolerance{Name: n}, false
}

// defaultTable reads the table once: whatever is summed up asks for it. It panics where the
// file beside it is no table.
var defaultTable = sync.OnceValue(func() *ToleranceTable {
	table, err := parseTolerances("tolerances.toml", defaultTolerances, &ToleranceTable{})
	if err != nil {
		panic("metrics: " + err.Error())
	}
	return table
})

// ParseTolerances reads a yard's table, whose rows replace those of the default table. A row
// that differs from the default one in anything, be it the source alone, counts as written by
// the yard. The error names the file, the measure, the field, the value and what is allowed.
func ParseTolerances(name string, b []byte) (*ToleranceTable, error) {
	base := defaultTable()
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
	for _, d := range definitions {
		if r, ok := rows[d.Name]; ok {
			out.Rows = append(out.Rows, r)
		} else if r, ok := base.Lookup(d.Name); ok {
			out.Rows = append(out.Rows, r)
		}
	}
	return out, nil
}

func checkTolerance(r Tolerance) error {
	d, known := Define(r.Name)
	_, even := d.Even()
	switch {
	case !known:
		return fmt.Errorf("no such measure; the names are those of MEASURES.md; take the row out")
	case r.Unit != d.Unit:
		return fmt.Errorf("unit is %q, want %q", r.Unit, d.Unit)
	case !(r.Tolerance > 0) || math.IsInf(r.Tolerance, 0):
		return fmt.Errorf("tolerance is %v, want a number above 0", r.Tolerance)
	case r.Weight > 0 && !even:
		return fmt.Errorf("weight is %v, want 0: the measure has no even value that a score could start from", r.Weight)
	case r.Source == "":
		return fmt.Errorf(`source is empty, want where the tolerance comes from, or "common practice"`)
	}
	for i, v := range [4]float64{r.SideTolerance, r.RatioTolerance, r.StrideSD, r.Weight} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return fmt.Errorf("%s is %v, want 0 or more", [4]string{"side_tolerance", "ratio_tolerance", "stride_sd", "weight"}[i], v)
		}
	}
	return nil
}

// Repeat is one visit of a horse.
type Repeat struct {
	Horse string // Any name that tells the horses apart.
	// Series is the same for visits between which the horse was not treated.
	Series string
	Runs   []Run
}

// OwnTolerances returns table, nil the default one, with every row replaced for which the
// yard's own visits say enough: visits on different days without a treatment between them, with
// 6 degrees of freedom or more (visits less series), the horse's own first, then those of all
// horses. A row that the yard wrote itself stays. The tolerance becomes t(0.975)·SD, SD that of
// a visit's mean within its series, and the row says Own. The order of visits does not matter.
func OwnTolerances(visits []Repeat, horse string, table *ToleranceTable) *ToleranceTable {
	// The visits of each series, in the horse's own and in all.
	own, all := map[string][]Repeat{}, map[string][]Repeat{}
	for _, v := range visits {
		if len(v.Runs) == 0 {
			continue
		}
		series := v.Horse + "\x00" + v.Series
		all[series] = append(all[series], v)
		if v.Horse == horse {
			own[series] = all[series]
		}
	}
	out := &ToleranceTable{}
	for _, row := range cmp.Or(table, defaultTable()).Rows {
		for _, of := range [2]map[string][]Repeat{own, all} {
			if replaced, ok := ownTolerance(row, of); ok {
				row = replaced
				break
			}
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// ownTolerance returns a row as visits tell it, and whether they tell enough. Key: series.
func ownTolerance(row Tolerance, visits map[string][]Repeat) (own Tolerance, ok bool) {
	most := -len(visits)
	for _, of := range visits {
		most += len(of)
	}
	if row.Written || most < minRepeatDF {
		return row, false // Whatever was measured in them.
	}
	d, _ := Define(row.Name)
	horses := map[string]bool{}
	var series [][]float64
	count := 0
	for _, of := range visits {
		var means []float64
		for _, v := range of {
			if m := measureAll(v.Runs, d, row); m.ok && m.result.Unit == row.Unit {
				means = append(means, m.wide.Value)
				horses[v.Horse] = true
			}
		}
		if len(means) > 1 {
			slices.Sort(means)
			series = append(series, means)
			count += len(means)
		}
	}
	slices.SortFunc(series, slices.Compare)
	sem, df := stats.SEM(series)
	if df < minRepeatDF || !(sem > 0) {
		return row, false
	}
	row.Tolerance, row.Own = stats.TQuantile(0.975, df)*sem, true
	whose := "this horse's own visits"
	if len(horses) > 1 {
		whose = fmt.Sprintf("this yard's own visits of %d horses", len(horses))
	}
	row.Source = fmt.Sprintf("%s without treatment between them, n = %d", whose, count)
	return row, true
}
