package table

import (
	"io"
	"strconv"
	"strings"

	"jogstrip/metrics"
)

// Visit is one visit as the tables of a comparison and of a history take it.
type Visit struct {
	Name    string           // The visit folder's name.
	Date    string           // yyyy-mm-dd; empty is not known.
	Summary *metrics.Summary // Nil where nothing was measured.
	Since   string           // Verdict against the measured visit before; empty where there is none.

	// What people wrote down; empty is not recorded.
	Reason, Surface, Shoeing, Presented, Followed string
	Soreness                                      []Soreness
	Treatment, Motion                             string
	Barn, Field, Work                             string // Function.
	VetGrade                                      *int   // AAEP, 0 to 5, as a veterinarian gave it.
	GradedBy, NextCheck, Notes                    string
}

// Soreness is what was felt in one region.
type Soreness struct {
	Region, Side string // Side is left, right or empty for the middle.
	Grade        int    // 0 to 4.
	Pressure     float64
	PressureUnit string
	Behaviour    string
	Note         string
}

// Names of the tables, as the dictionary gives them.
const (
	changesFile  = "changes.csv"
	historyFile  = "history.csv"
	visitsFile   = "visits.csv"
	sorenessFile = "soreness.csv"
)

// said makes a cell of what a person wrote: on one line, and where a spreadsheet
// would take it for a formula, with a space before it.
func said(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if text != "" && strings.ContainsRune("=+-@", rune(text[0])) {
		return " " + text
	}
	return text
}

// dayColumns name the visit that a row is of.
func dayColumns(visit func(i int) *Visit) []column {
	return []column{
		{"visit", "", "Name of the visit's folder.", func(i int) string { return visit(i).Name }},
		{"date", "", "Day of the visit, yyyy-mm-dd.", func(i int) string { return visit(i).Date }},
	}
}

// estimateColumns are a value and its interval.
func estimateColumns(name, unit, meaning string, pick func(i int) *metrics.Estimate) []column {
	part := func(of func(*metrics.Estimate) float64) func(int) string {
		return func(i int) string {
			e := pick(i)
			if e == nil {
				return ""
			}
			return Number(of(e), 5)
		}
	}
	return []column{
		{name, unit, meaning, part(func(e *metrics.Estimate) float64 { return e.Value })},
		{name + "_low", unit, "Lower end of its 95 % interval.", part(func(e *metrics.Estimate) float64 { return e.Low })},
		{name + "_high", unit, "Upper end of its 95 % interval.", part(func(e *metrics.Estimate) float64 { return e.High })},
	}
}

// History writes a row per visit and measure, the asymmetry score among them.
func History(w io.Writer, visits []Visit) error {
	rows, columns := historyColumns(visits)
	return write(w, rows, columns)
}

func historyColumns(visits []Visit) (rows int, columns []column) {
	type row struct {
		visit  *Visit
		result metrics.Result
	}
	var all []row
	for i := range visits {
		v := &visits[i]
		if v.Summary == nil {
			continue
		}
		if s := v.Summary.Score; s != nil {
			all = append(all, row{v, metrics.Result{Name: metrics.ScoreName, Value: &s.Estimate, Strides: s.Strides, Runs: s.Runs, Tolerance: 1}})
		}
		for _, r := range v.Summary.Results {
			all = append(all, row{v, r})
		}
	}
	columns = append(dayColumns(func(i int) *Visit { return all[i].visit }),
		column{"measure", "", "Name of the measure as in MEASURES.md, or asymmetry_score.", func(i int) string { return string(all[i].result.Name) }},
		column{"unit", "", "Unit of the numbers in this row.", func(i int) string { return all[i].result.Unit }})
	columns = append(columns, estimateColumns("value", "as in unit", "Right minus left for measures of two sides, else the value itself.", func(i int) *metrics.Estimate { return all[i].result.Value })...)
	columns = append(columns, estimateColumns("left", "as in unit", "The horse's left.", func(i int) *metrics.Estimate { return all[i].result.Left })...)
	columns = append(columns, estimateColumns("right", "as in unit", "The horse's right.", func(i int) *metrics.Estimate { return all[i].result.Right })...)
	columns = append(columns, estimateColumns("symmetry_index_percent", "%", "100 (right - left) / half of (right + left); lengths and durations only.", func(i int) *metrics.Estimate { return all[i].result.SymmetryIndex })...)
	return len(all), append(columns,
		column{"tolerance", "as in unit", "Difference the same sound horse shows from run to run.", func(i int) string {
			if all[i].result.Tolerance <= 0 {
				return ""
			}
			return Number(all[i].result.Tolerance, 5)
		}},
		column{"tolerance_source", "", "Where the tolerance comes from.", func(i int) string { return all[i].result.ToleranceSource }},
		column{"beyond_tolerance", "", "true where the interval leaves out even and the value is beyond the tolerance.", func(i int) string {
			if all[i].result.Value == nil || all[i].result.Name == metrics.ScoreName {
				return ""
			}
			return strconv.FormatBool(all[i].result.Beyond)
		}},
		column{"strides", "", "Number of strides.", func(i int) string { return strconv.Itoa(all[i].result.Strides) }},
		column{"runs", "", "Number of runs.", func(i int) string { return strconv.Itoa(all[i].result.Runs) }},
		column{"not_measurable", "", "Why there is no value.", func(i int) string { return all[i].result.Reason }})
}

// Visits writes a row per visit: its score and what people wrote down.
func Visits(w io.Writer, visits []Visit) error {
	return write(w, len(visits), visitColumns(visits))
}

func visitColumns(visits []Visit) []column {
	text := func(pick func(v *Visit) string) func(int) string {
		return func(i int) string { return said(pick(&visits[i])) }
	}
	number := func(pick func(s *metrics.Summary) int) func(int) string {
		return func(i int) string {
			if visits[i].Summary == nil {
				return ""
			}
			return strconv.Itoa(pick(visits[i].Summary))
		}
	}
	columns := append(dayColumns(func(i int) *Visit { return &visits[i] }),
		column{"strides", "", "Number of strides measured; empty where nothing was.", number(func(s *metrics.Summary) int { return s.Strides })},
		column{"runs", "", "Number of runs measured.", number(func(s *metrics.Summary) int { return s.Runs })})
	columns = append(columns, estimateColumns("asymmetry_score", "", metrics.ScoreScale+".", func(i int) *metrics.Estimate {
		if s := visits[i].Summary; s != nil && s.Score != nil {
			return &s.Score.Estimate
		}
		return nil
	})...)
	return append(columns,
		column{"since_the_visit_before", "", "Verdict against the measured visit before.", text(func(v *Visit) string { return v.Since })},
		column{"finding", "", "Where the signs point, in words.", text(func(v *Visit) string {
			if v.Summary == nil {
				return ""
			}
			return v.Summary.Limb.Sentence
		})},
		column{"followed", "", "Measure declared beforehand as what is to change.", text(func(v *Visit) string { return v.Followed })},
		column{"reason", "", "Why the horse was seen, as written down.", text(func(v *Visit) string { return v.Reason })},
		column{"surface", "", "As written down.", text(func(v *Visit) string { return v.Surface })},
		column{"shoeing", "", "As written down.", text(func(v *Visit) string { return v.Shoeing })},
		column{"presented", "", "led or ridden; empty is led.", text(func(v *Visit) string { return v.Presented })},
		column{"treatment", "", "Treatments of this visit, as written down.", text(func(v *Visit) string { return v.Treatment })},
		column{"range_of_motion", "", "How freely each limb was moved by hand, as written down.", text(func(v *Visit) string { return v.Motion })},
		column{"function_barn", "", "How the horse does in the barn, as written down.", text(func(v *Visit) string { return v.Barn })},
		column{"function_field", "", "In the field.", text(func(v *Visit) string { return v.Field })},
		column{"function_work", "", "At work.", text(func(v *Visit) string { return v.Work })},
		column{"vet_grade_aaep", "", "Lameness grade, 0 to 5, as a veterinarian gave it; never derived from measures.", text(func(v *Visit) string {
			if v.VetGrade == nil {
				return ""
			}
			return strconv.Itoa(*v.VetGrade)
		})},
		column{"graded_by", "", "Who gave the grade.", text(func(v *Visit) string { return v.GradedBy })},
		column{"next_check", "", "When the horse is to be seen again, yyyy-mm-dd.", text(func(v *Visit) string { return v.NextCheck })},
		column{"notes", "", "As written down.", text(func(v *Visit) string { return v.Notes })})
}

// Palpation writes a row per visit and region that was felt.
func Palpation(w io.Writer, visits []Visit) error {
	rows, columns := palpationColumns(visits)
	return write(w, rows, columns)
}

func palpationColumns(visits []Visit) (rows int, columns []column) {
	type row struct {
		visit *Visit
		Soreness
	}
	var all []row
	for i := range visits {
		for _, s := range visits[i].Soreness {
			all = append(all, row{&visits[i], s})
		}
	}
	return len(all), append(dayColumns(func(i int) *Visit { return all[i].visit }),
		column{"region", "", "Where it was felt.", func(i int) string { return said(all[i].Region) }},
		column{"side", "", "The horse's left or right; empty is the middle.", func(i int) string { return all[i].Side }},
		column{"soreness_grade", "", "0 none to 4 not to be touched.", func(i int) string { return strconv.Itoa(all[i].Grade) }},
		column{"pressure", "as in pressure_unit", "Pressure at which the horse reacted; empty where none was measured.", func(i int) string {
			if all[i].Pressure <= 0 {
				return ""
			}
			return Number(all[i].Pressure, 2)
		}},
		column{"pressure_unit", "", "N or kg/cm2.", func(i int) string { return all[i].PressureUnit }},
		column{"behaviour", "", "What the horse did under the hand, as written down.", func(i int) string { return said(all[i].Behaviour) }},
		column{"note", "", "As written down.", func(i int) string { return said(all[i].Note) }})
}

// entry is a column of a file, for its dictionary.
type entry struct {
	file string
	column
}

func entries(file string, columns []column) []entry {
	var out []entry
	for _, c := range columns {
		out = append(out, entry{file, c})
	}
	return out
}

// dictionary writes a row per column.
func dictionary(w io.Writer, all ...[]entry) error {
	var rows []entry
	for _, e := range all {
		rows = append(rows, e...)
	}
	return write(w, len(rows), []column{
		{"file", "", "", func(i int) string { return rows[i].file }},
		{"column", "", "", func(i int) string { return rows[i].name }},
		{"unit", "", "", func(i int) string { return rows[i].unit }},
		{"meaning", "", "", func(i int) string { return rows[i].meaning }},
	})
}

// HistoryDictionary writes a row per column of the tables that History, Visits
// and Palpation write.
func HistoryDictionary(w io.Writer) error {
	_, measures := historyColumns(nil)
	_, felt := palpationColumns(nil)
	return dictionary(w, entries(historyFile, measures), entries(visitsFile, visitColumns(nil)), entries(sorenessFile, felt))
}

// ChangesDictionary writes a row per column of the tables that Changes, Visits
// and Palpation write.
func ChangesDictionary(w io.Writer) error {
	_, felt := palpationColumns(nil)
	return dictionary(w, entries(changesFile, changeColumns(nil)), entries(visitsFile, visitColumns(nil)), entries(sorenessFile, felt))
}
