package table_test

import (
	"encoding/csv"
	"errors"
	"io"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/table"
)

// rows reads a table into one map a row, by column.
func rows(t *testing.T, write func(io.Writer) error) []map[string]string {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(text(write))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range all[1:] {
		row := map[string]string{}
		for i, cell := range r {
			row[all[0][i]] = cell
		}
		out = append(out, row)
	}
	return out
}

// holds compares some cells of a row.
func holds(t *testing.T, row map[string]string, want map[string]string) {
	t.Helper()
	for name, w := range want {
		if got, there := row[name]; !there || got != w {
			t.Errorf("column %s is %q (there: %v), want %q", name, got, there, w)
		}
	}
}

// visits are one that was measured and one that was only felt.
func visits() []table.Visit {
	grade := 2
	summary := &metrics.Summary{
		Runs: 3, Strides: 19, Limb: metrics.LimbFinding{Sentence: "signs point to the left fore"},
		Score: &metrics.Score{Estimate: metrics.Estimate{Value: 2.5, Low: 1.25, High: 4}, Runs: 3, Strides: 18},
		Results: []metrics.Result{
			{
				Name: metrics.StepLengthFore, Unit: "m", Runs: 3, Strides: 17, Beyond: true, Tolerance: 0.04, ToleranceSource: "common practice",
				Value: &metrics.Estimate{Value: -0.1, Low: -0.125, High: -0.075}, Left: &metrics.Estimate{Value: 1.3, Low: 1.25, High: 1.35},
				Right: &metrics.Estimate{Value: 1.2, Low: 1.15, High: 1.25}, SymmetryIndex: &metrics.Estimate{Value: -8, Low: -10, High: -6},
			},
			{Name: metrics.HipExcursion, Unit: "mm", Reason: "not marked: left point of hip"},
		},
	}
	return []table.Visit{
		{
			Name: "2026-03-06", Date: "2026-03-06", Summary: summary, Since: "improved", Reason: "short on the left\nsince Monday", Surface: "=sand", Shoeing: "barefoot",
			Presented: "led", Followed: "step_length_fore", Treatment: "massage", Motion: "left fore forward: less", Barn: "stiff", Field: "moves off", Work: "short",
			VetGrade: &grade, GradedBy: "Dr. Oak", NextCheck: "2026-04-03", Notes: "-",
		},
		{Name: "2026-03-20", Date: "2026-03-20", Soreness: []table.Soreness{
			{Region: "triceps", Side: "left", Grade: 3, Pressure: 2.5, PressureUnit: "kg/cm2", Behaviour: "ears back", Note: "@night"},
			{Region: "poll", Grade: 0},
		}},
	}
}

func TestHistory(t *testing.T) {
	got := rows(t, func(w io.Writer) error { return table.History(w, visits()) })
	if len(got) != 3 {
		t.Fatalf("%d rows, want the score and two measures of the one visit that was measured", len(got))
	}
	holds(t, got[0], map[string]string{"visit": "2026-03-06", "measure": "asymmetry_score", "unit": "", "value": "2.50000", "value_low": "1.25000", "value_high": "4.00000", "left": "", "beyond_tolerance": "", "strides": "18"})
	holds(t, got[1], map[string]string{
		"date": "2026-03-06", "measure": "step_length_fore", "unit": "m", "value": "-0.10000", "value_low": "-0.12500", "value_high": "-0.07500", "left": "1.30000", "left_high": "1.35000",
		"right": "1.20000", "right_low": "1.15000", "symmetry_index_percent": "-8.00000", "symmetry_index_percent_low": "-10.00000", "tolerance": "0.04000",
		"tolerance_source": "common practice", "beyond_tolerance": "true", "strides": "17", "runs": "3", "not_measurable": "",
	})
	holds(t, got[2], map[string]string{"measure": "hip_excursion", "value": "", "tolerance": "", "beyond_tolerance": "", "not_measurable": "not marked: left point of hip"})
}

func TestVisits(t *testing.T) {
	got := rows(t, func(w io.Writer) error { return table.Visits(w, visits()) })
	if len(got) != 2 {
		t.Fatalf("%d rows for two visits", len(got))
	}
	holds(t, got[0], map[string]string{
		"visit": "2026-03-06", "strides": "19", "runs": "3", "asymmetry_score": "2.50000", "asymmetry_score_high": "4.00000", "since_the_visit_before": "improved",
		"finding": "signs point to the left fore", "followed": "step_length_fore", "shoeing": "barefoot", "presented": "led", "treatment": "massage",
		"range_of_motion": "left fore forward: less", "function_barn": "stiff", "function_field": "moves off", "function_work": "short", "vet_grade_aaep": "2", "graded_by": "Dr. Oak", "next_check": "2026-04-03",
		"reason":  "short on the left since Monday", // On one line.
		"surface": " =sand",                         // No formula for a spreadsheet.
		"notes":   " -",
	})
	holds(t, got[1], map[string]string{"visit": "2026-03-20", "strides": "", "runs": "", "asymmetry_score": "", "finding": "", "vet_grade_aaep": "", "reason": ""})
}

func TestPalpation(t *testing.T) {
	got := rows(t, func(w io.Writer) error { return table.Palpation(w, visits()) })
	if len(got) != 2 {
		t.Fatalf("%d rows for two places", len(got))
	}
	holds(t, got[0], map[string]string{"visit": "2026-03-20", "region": "triceps", "side": "left", "soreness_grade": "3", "pressure": "2.50", "pressure_unit": "kg/cm2", "behaviour": "ears back", "note": " @night"})
	holds(t, got[1], map[string]string{"region": "poll", "side": "", "soreness_grade": "0", "pressure": "", "note": ""})
}

func TestChanges(t *testing.T) {
	c := &metrics.Comparison{
		Score: &metrics.Change{Name: metrics.ScoreName, Verdict: metrics.Improved, Before: &metrics.Estimate{Value: 3}, After: &metrics.Estimate{Value: 1}, Change: &metrics.Estimate{Value: -2, Low: -3, High: -1}, Judged: &metrics.Estimate{Value: -2, Low: -3, High: -1}, P: 0.001, Holm: 0.001, Smallest: 1},
		Changes: []metrics.Change{
			{Name: metrics.HeadLowDifference, Unit: "mm", Followed: true, Verdict: metrics.NoChange, Change: &metrics.Estimate{Value: 2, Low: -8, High: 12}, Judged: &metrics.Estimate{Value: 2, Low: -8, High: 12}, P: 0.7, Holm: 0.75},
			{Name: metrics.Speed, Unit: "m/s", Verdict: metrics.NotComparable, Reason: "speed was not measured"},
		},
	}
	got := rows(t, func(w io.Writer) error { return table.Changes(w, c) })
	if len(got) != 3 {
		t.Fatalf("%d rows, want the score and two measures", len(got))
	}
	holds(t, got[0], map[string]string{"measure": "asymmetry_score", "before": "3.00000", "after": "1.00000", "change": "-2.00000", "change_low": "-3.00000", "change_high": "-1.00000", "smallest_change_that_counts": "1.00000", "verdict": "improved", "followed": "false"})
	holds(t, got[1], map[string]string{"measure": "head_low_difference", "before": "", "p": "0.70000", "p_holm": "0.75000", "followed": "true", "smallest_change_that_counts": ""})
	holds(t, got[2], map[string]string{"change": "", "p": "", "p_holm": "", "verdict": "not comparable", "why": "speed was not measured"})
}

// Every column of the tables of a history and of a comparison has a meaning, once.
func TestDictionariesOfVisits(t *testing.T) {
	tables := map[string]func(io.Writer) error{
		"history.csv":  func(w io.Writer) error { return table.History(w, visits()) },
		"changes.csv":  func(w io.Writer) error { return table.Changes(w, &metrics.Comparison{}) },
		"visits.csv":   func(w io.Writer) error { return table.Visits(w, visits()) },
		"soreness.csv": func(w io.Writer) error { return table.Palpation(w, visits()) },
	}
	for name, d := range map[string]struct {
		write func(io.Writer) error
		files []string
	}{
		"history":    {table.HistoryDictionary, []string{"history.csv", "visits.csv", "soreness.csv"}},
		"comparison": {table.ChangesDictionary, []string{"changes.csv", "visits.csv", "soreness.csv"}},
	} {
		described := map[string]int{}
		for _, r := range rows(t, d.write) {
			if r["meaning"] != "" {
				described[r["file"]+":"+r["column"]]++
			}
		}
		columns := 0
		for _, file := range d.files {
			header, _, _ := strings.Cut(text(tables[file]), "\n")
			for _, column := range strings.Split(header, ",") {
				columns++
				if described[file+":"+column] != 1 {
					t.Errorf("%s: column %s of %s is described %d times", name, column, file, described[file+":"+column])
				}
			}
		}
		if len(described) != columns {
			t.Errorf("%s: %d columns are described, the tables have %d", name, len(described), columns)
		}
	}
}

// full is a disk on which nothing more has room.
type full struct{}

var errFull = errors.New("no space left on device")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestAFullDiskIsSaid(t *testing.T) {
	many := make([]table.Visit, 2000) // More than is kept in memory before it is written.
	for i := range many {
		many[i] = visits()[0]
	}
	for name, write := range map[string]func(io.Writer) error{
		"few":  func(w io.Writer) error { return table.Visits(w, visits()) },
		"many": func(w io.Writer) error { return table.Visits(w, many) },
	} {
		if err := write(full{}); !errors.Is(err, errFull) {
			t.Errorf("%s rows: error %v", name, err)
		}
	}
}

// A unit that has no ending of its own still makes a name that every program takes.
func TestColumnOfAnotherUnit(t *testing.T) {
	if got := table.Column("load", "N/kg²"); got != "load_n_kg_" {
		t.Errorf("column %q", got)
	}
}
