package pipeline_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/record"
)

// What can't be taken together with the rest of a visit is left out and named.
func TestVisitLeavesOut(t *testing.T) {
	for _, tt := range []struct {
		name  string
		wrong func(t *testing.T, visit string)
		words []string
	}{
		{"a film under a second name", func(t *testing.T, visit string) {
			data, err := os.ReadFile(filepath.Join(visit, "toward-2.out", "result.json"))
			if err != nil {
				t.Fatal(err)
			}
			text := strings.Replace(string(data), hash(t, filepath.Join(visit, "toward-2.mp4")), hash(t, filepath.Join(visit, "toward-1.mp4")), 1)
			write(t, filepath.Join(visit, "toward-2.out", "result.json"), text)
		}, []string{"toward-2.mp4", "same film as toward-1.mp4", "once"}},
		{"results whose clip was deleted", func(t *testing.T, visit string) {
			if err := os.Remove(filepath.Join(visit, "toward-3.mp4")); err != nil {
				t.Fatal(err)
			}
		}, []string{"toward-3.out", "toward-3.mp4 is gone"}},
		{"other marks than were measured", func(t *testing.T, visit string) {
			write(t, filepath.Join(visit, "toward-1.marks.json"), `{"schema":"jogstrip-marks/1" }`)
		}, []string{"toward-1.mp4", "marks have changed"}},
		{"no marks any more", func(t *testing.T, visit string) {
			if err := os.Remove(filepath.Join(visit, "toward-1.marks.json")); err != nil {
				t.Fatal(err)
			}
		}, []string{"toward-1.mp4", "marks", "gone"}},
		{"a results folder that was copied", func(t *testing.T, visit string) {
			if err := os.Rename(filepath.Join(visit, "toward-1.out"), filepath.Join(visit, "toward-9.out")); err != nil {
				t.Fatal(err)
			}
		}, []string{"toward-9.out", "toward-1.mp4", "another name"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			visit := filepath.Join(t.TempDir(), "thistle", "2026-05-01")
			for i := 1; i <= 3; i++ {
				put(t, visit, fmt.Sprintf("toward-%d.mp4", i), 45, -0.1)
			}
			tt.wrong(t, visit)
			v, err := pipeline.LoadVisit(context.Background(), visit)
			if err != nil {
				t.Fatal(err)
			}
			if len(v.Results) != 2 || len(v.Problems) != 1 {
				t.Fatalf("%d results, problems %q", len(v.Results), v.Problems)
			}
			for _, w := range tt.words {
				if !strings.Contains(v.Problems[0], w) {
					t.Errorf("%q lacks %q", v.Problems[0], w)
				}
			}
		})
	}
	t.Run("another height of the horse, which lengths of the body depend on", func(t *testing.T) {
		horse := filepath.Join(t.TempDir(), "thistle")
		put(t, filepath.Join(horse, "2026-05-01"), "toward-1.mp4", 45, -0.1)
		write(t, filepath.Join(horse, "horse.toml"), "withers_m = 1.5\n")
		v, err := pipeline.LoadVisit(context.Background(), filepath.Join(horse, "2026-05-01"))
		if err != nil || len(v.Results) != 0 || len(v.Problems) != 1 || !strings.Contains(v.Problems[0], "height") {
			t.Errorf("%+v %v", v, err)
		}
	})
}

// Visits that show no change of one horse are refused, and the order of dates is put
// right.
func TestCompareChecksWhatItIsGiven(t *testing.T) {
	yard := t.TempDir()
	write(t, filepath.Join(yard, "yard.toml"), "name = \"Hill\"\n")
	visit := func(horse, date string) string { return filepath.Join(yard, "horses", horse, date) }
	for _, horse := range []string{"thistle", "sorrel", "other"} {
		for i, date := range []string{"2026-05-01", "2026-06-01", "2026-06-01-2", "2026-06-01-10"} {
			for run := 1; run <= 2; run++ {
				put(t, visit(horse, date), fmt.Sprintf("toward-%d.mp4", run), 45-10*float64(i), -0.1)
			}
		}
	}
	write(t, filepath.Join(yard, "horses", "sorrel", "horse.toml"), "name = \"Sorrel\"\n")
	write(t, filepath.Join(yard, "horses", "other", "horse.toml"), "name = \"Sorrel\"\n")
	compare := func(before, after string, opts pipeline.CompareOptions) (*pipeline.Compared, error) {
		opts.Resamples = 200
		return pipeline.CompareVisits(t.Context(), before, after, opts)
	}
	for _, tt := range []struct{ name, before, after, want string }{
		{"the same visit twice", visit("thistle", "2026-05-01"), visit("thistle", "2026-05-01"), "given twice"},
		{"the same, spelt differently", visit("thistle", "2026-05-01"), visit("thistle", "../thistle/2026-05-01/"), "given twice"},
		{"the same clip", filepath.Join(visit("thistle", "2026-05-01"), "toward-1.out"), filepath.Join(visit("thistle", "2026-05-01"), "toward-1.mp4"), "same film"},
		{"another horse", visit("thistle", "2026-05-01"), visit("sorrel", "2026-06-01"), "two horses, thistle (before) and Sorrel (after)"},
		{"two horses of one name", visit("other", "2026-05-01"), visit("sorrel", "2026-06-01"), "Sorrel in other (before) and Sorrel in sorrel (after)"},
	} {
		if c, err := compare(tt.before, tt.after, pipeline.CompareOptions{}); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v %v, want %q", tt.name, c, err, tt.want)
		}
	}
	t.Run("two horses that were asked for", func(t *testing.T) {
		c, err := compare(visit("thistle", "2026-05-01"), visit("sorrel", "2026-06-01"), pipeline.CompareOptions{OtherHorse: true})
		if err != nil {
			t.Fatal(err)
		}
		page, err := os.ReadFile(filepath.Join(c.Folder, pipeline.ReportFile))
		if err != nil {
			t.Fatal(err)
		}
		for _, text := range []string{string(page), strings.Join(c.Notes, " ")} {
			if !strings.Contains(text, "thistle (before) and Sorrel (after)") {
				t.Error("the page, or a note, does not name both")
			}
		}
	})
	for _, tt := range [][2]string{{"2026-06-01", "2026-05-01"}, {"2026-06-01-2", "2026-06-01"}, {"2026-06-01-10", "2026-06-01-2"}} {
		c, err := compare(visit("thistle", tt[0]), visit("thistle", tt[1]), pipeline.CompareOptions{})
		if err != nil || len(c.Notes) != 1 || !strings.Contains(c.Notes[0], tt[1]+" is compared as before") || filepath.Base(filepath.Dir(c.Folder)) != tt[0] {
			t.Errorf("%v: %+v %v", tt, c, err)
		}
		right, err := compare(visit("thistle", tt[1]), visit("thistle", tt[0]), pipeline.CompareOptions{})
		if err != nil || len(right.Notes) != 0 || right.Sentence != c.Sentence {
			t.Errorf("in order: %v %v", right, err)
		}
	}
}

// The same film under three names is one run on the visit's page.
func TestVisitPageCountsAFilmOnce(t *testing.T) {
	visit := filepath.Join(t.TempDir(), "thistle", "2026-05-01")
	for i := 1; i <= 3; i++ {
		put(t, visit, fmt.Sprintf("toward-%d.mp4", i), 45, -0.1)
	}
	first := hash(t, filepath.Join(visit, "toward-1.mp4"))
	for i := 2; i <= 3; i++ {
		path := filepath.Join(visit, fmt.Sprintf("toward-%d.out", i), record.ResultFile)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		write(t, path, strings.Replace(string(data), hash(t, filepath.Join(visit, fmt.Sprintf("toward-%d.mp4", i))), first, 1))
	}
	v, _, err := pipeline.VisitPage(t.Context(), visit, pipeline.MeasureOptions{Resamples: 200})
	if err != nil {
		t.Fatal(err)
	}
	s, err := metrics.Summarise(v.Runs(), metrics.SummaryOptions{Tolerances: v.Around.Tolerances, Resamples: 200})
	if err != nil || s.Runs != 1 || s.Strides != 10 {
		t.Errorf("%d strides in %d runs, %v", s.Strides, s.Runs, err)
	}
	page, err := os.ReadFile(filepath.Join(visit, "visit.out", pipeline.ReportFile))
	if err != nil || strings.Count(string(page), "same film as toward-1.mp4") != 2 {
		t.Errorf("the page does not say so: %v", err)
	}
}
