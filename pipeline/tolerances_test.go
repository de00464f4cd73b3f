package pipeline_test

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/metrics"
	"jogstrip/pipeline"
)

// visitsWith puts visits of two runs, a week apart, whose heads go to and fro by step mm
// from one day to the next, and returns their folders.
func visitsWith(t *testing.T, horse string, count int, step float64) []string {
	t.Helper()
	var out []string
	for i := range count {
		folder := filepath.Join(horse, fmt.Sprintf("2026-0%d-%02d", 1+i/4, 1+7*(i%4)))
		for k := range 2 {
			put(t, folder, fmt.Sprintf("toward-%d.mp4", k+1), 20+step*float64(i%2), -0.05-0.01*float64(i%3))
		}
		out = append(out, folder)
	}
	return out
}

func headRow(t *testing.T, folder string) metrics.Result {
	t.Helper()
	v, err := pipeline.LoadVisit(context.Background(), folder)
	if err != nil {
		t.Fatal(err)
	}
	s, err := metrics.Summarise(v.Runs(), metrics.SummaryOptions{Tolerances: v.Around.Tolerances, Resamples: 100})
	if err != nil {
		t.Fatal(err)
	}
	return *s.Lookup(metrics.HeadLowDifference)
}

// The horse's own visits come before the yard's, these before the table, and what the
// yard wrote before all. A treatment between visits ends the series.
func TestOwnVisitsReplaceTolerances(t *testing.T) {
	yard := t.TempDir()
	horses := filepath.Join(yard, "horses")
	write(t, filepath.Join(yard, "yard.toml"), "name = \"Test\"\n")
	few := visitsWith(t, filepath.Join(horses, "juniper"), 3, 4)
	if r := headRow(t, few[0]); r.OwnTolerance || r.Tolerance != 13 || !strings.Contains(r.ToleranceSource, "Hardeman") {
		t.Errorf("three visits: %+v, want the table's", r)
	}
	visitsWith(t, filepath.Join(horses, "rowan"), 5, 7)
	r := headRow(t, few[0])
	if !r.OwnTolerance || r.ToleranceSource != "this yard's own visits of 2 horses without treatment between them, n = 8" {
		t.Errorf("eight visits in the yard: %+v", r)
	}
	all := visitsWith(t, filepath.Join(horses, "juniper"), 7, 4)
	first, last := all[0], all[6]
	r = headRow(t, last)
	// Days differ by 4 mm to and fro: SD 2.14; t(0.975, 6) is 2.447.
	if !r.OwnTolerance || r.ToleranceSource != "this horse's own visits without treatment between them, n = 7" || r.Tolerance < 2.447*1.2 || r.Tolerance > 2.447*3.5 {
		t.Errorf("seven visits of the horse: %+v", r)
	}
	if again := headRow(t, last); cmp.Diff(r, again) != "" {
		t.Errorf("the same folder gives another result:\n%s", cmp.Diff(r, again))
	}

	t.Run("comparison", func(t *testing.T) {
		c, err := pipeline.CompareVisits(context.Background(), first, last, pipeline.CompareOptions{Resamples: 100})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []metrics.Summary{c.Before, c.After} {
			if h := s.Lookup(metrics.HeadLowDifference); !h.OwnTolerance || h.Tolerance != r.Tolerance {
				t.Errorf("%+v, want both visits by the later one's tolerances", h)
			}
		}
	})
	t.Run("measure by measure", func(t *testing.T) {
		v, err := pipeline.LoadVisit(context.Background(), last)
		if err != nil {
			t.Fatal(err)
		}
		if h, _ := v.Around.Tolerances.Lookup(metrics.StepLengthFore); !h.Own {
			t.Errorf("step length stays with the table: %+v", h)
		}
		if h, _ := v.Around.Tolerances.Lookup(metrics.CroupLowDifference); h.Own {
			t.Errorf("a measure nobody measured was replaced: %+v", h)
		}
	})
	t.Run("a damaged result elsewhere", func(t *testing.T) {
		write(t, filepath.Join(first, "toward-9.out", "result.json"), "{")
		if again := headRow(t, last); cmp.Diff(r, again) != "" {
			t.Errorf("it changes the tolerance:\n%s", cmp.Diff(r, again))
		}
	})
	t.Run("a treatment between visits", func(t *testing.T) {
		page := filepath.Join(all[3], "visit.toml")
		write(t, page, "[[treatment]]\nwhat = \"massage\"\n")
		if r := headRow(t, last); strings.Contains(r.ToleranceSource, "this horse's") {
			t.Errorf("four visits before it and three after: %+v", r)
		}
		write(t, page, "")
	})
	t.Run("the yard's own table wins", func(t *testing.T) {
		write(t, filepath.Join(yard, "tolerances.toml"), `schema = "tolerances/1"
[[measure]]
name = "head_low_difference"
unit = "mm"
tolerance = 11
weight = 1
source = "measured here in spring"
`)
		r := headRow(t, last)
		if r.OwnTolerance || r.Tolerance != 11 || r.ToleranceSource != "measured here in spring" {
			t.Errorf("%+v, want what the yard wrote", r)
		}
	})
}

// Loose clips have no horse whose visits could be told: they keep the table.
func TestLooseClipsKeepTheTable(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "clips")
	for i := range 12 {
		put(t, folder, fmt.Sprintf("run-%d.mp4", i), 20+float64(i), 0)
	}
	if r := headRow(t, folder); r.OwnTolerance {
		t.Errorf("%+v, want the table's", r)
	}
}
