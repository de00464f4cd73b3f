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

// visitWith puts three runs whose heads differ by step mm from one to the next.
func visitWith(t *testing.T, folder string, step float64) {
	t.Helper()
	for i := range 3 {
		put(t, folder, fmt.Sprintf("toward-%d.mp4", i+1), 20+step*float64(i-1), -0.05)
	}
}

func headRow(t *testing.T, folder string) metrics.Result {
	t.Helper()
	v, err := pipeline.LoadVisit(context.Background(), folder)
	if err != nil {
		t.Fatal(err)
	}
	s, err := v.Summary(100)
	if err != nil {
		t.Fatal(err)
	}
	return *s.Lookup(metrics.HeadLowDifference)
}

// The horse's own repeat runs come before the yard's, these before the table,
// and what the yard wrote before all.
func TestOwnRepeatRunsReplaceTolerances(t *testing.T) {
	yard := t.TempDir()
	horses := filepath.Join(yard, "horses")
	write(t, filepath.Join(yard, "yard.toml"), "name = \"Test\"\n")
	first := filepath.Join(horses, "juniper", "2026-03-02")
	visitWith(t, first, 4)
	if r := headRow(t, first); r.OwnTolerance || r.Tolerance != 13 || !strings.Contains(r.ToleranceSource, "Hardeman") {
		t.Errorf("one visit of three runs: %+v, want the table's", r)
	}
	// Two degrees of freedom a visit.
	visitWith(t, filepath.Join(horses, "rowan", "2026-03-03"), 7)
	visitWith(t, filepath.Join(horses, "rowan", "2026-03-10"), 7)
	r := headRow(t, first)
	if !r.OwnTolerance || r.ToleranceSource != "this yard's own repeat runs of 2 horses, n = 9 at 3 visits" {
		t.Errorf("three visits in the yard: %+v", r)
	}
	last := filepath.Join(horses, "juniper", "2026-03-16")
	visitWith(t, filepath.Join(horses, "juniper", "2026-03-09"), 4)
	visitWith(t, last, 4)
	r = headRow(t, last)
	// A run differs by 4 mm and by its ten strides' 4 mm/√10; t(0.975, 6) is 2.447.
	if !r.OwnTolerance || r.ToleranceSource != "this horse's own repeat runs, n = 9 at 3 visits" || r.Tolerance < 2.447*3 || r.Tolerance > 2.447*6 {
		t.Errorf("three visits of the horse: %+v", r)
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
		write(t, filepath.Join(horses, "juniper", "2026-03-02", "toward-9.out", "result.json"), "{")
		if again := headRow(t, last); cmp.Diff(r, again) != "" {
			t.Errorf("it changes the tolerance:\n%s", cmp.Diff(r, again))
		}
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
