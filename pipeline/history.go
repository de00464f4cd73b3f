package pipeline

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/plots"
)

// HorseHistory is a horse's visits and where their page lies.
type HorseHistory struct {
	Folder   string
	Visits   int
	Finding  string
	Problems []string
}

// History writes one page about all visits of the horse at folder. A visit
// that cannot be read is named in Problems and left out.
func History(ctx context.Context, folder string, opts CompareOptions) (*HorseHistory, error) {
	folders, err := Visits(folder)
	if err != nil {
		return nil, err
	}
	if len(folders) == 0 {
		return nil, fmt.Errorf("history of %s: there is no visit folder (named yyyy-mm-dd)", folder)
	}
	out := &HorseHistory{Folder: filepath.Join(folder, "history.out")}
	page := report.History{}
	var points []plots.HistoryPoint
	var first, last *Visit
	var before *Visit
	for _, path := range folders {
		v, err := LoadVisit(ctx, path)
		if err != nil {
			out.Problems = append(out.Problems, err.Error())
			continue
		}
		out.Problems = append(out.Problems, v.Problems...)
		page.Header = header(v.Around)
		if f := v.Around.Visit.Followed; f != "" && !slices.Contains(page.Followed, f) {
			page.Followed = append(page.Followed, f)
		}
		point, row, err := historyEntry(v, before, out.Folder, opts)
		if err != nil {
			out.Problems = append(out.Problems, err.Error())
			continue
		}
		points, page.Visits = append(points, point), append(page.Visits, row)
		if len(v.Results) > 0 {
			before = v
			if first == nil {
				first = v
			} else {
				last = v
			}
		}
	}
	out.Visits = len(page.Visits)
	if out.Visits == 0 {
		return nil, fmt.Errorf("history of %s: no visit can be read: %s", folder, strings.Join(out.Problems, "; "))
	}
	if last != nil {
		c, err := metrics.Compare(first.Runs(), last.Runs(), compareSettings(first, last, opts))
		if err == nil {
			page.Finding = c.Sentence
		}
	}
	out.Finding = page.Finding
	page.Provenance = provenance(opts.Program, nil)
	if err := mayReplace(out.Folder, ReportFile); err != nil {
		return nil, err
	}
	return out, makeFolder(out.Folder, func(f *files) error {
		figure, err := plots.History(points, plots.HistoryOptions{Followed: page.Followed})
		page.Figures = f.figures(plots.OutcomeOf("All visits", figure, err))
		f.page(page)
		return nil
	})
}

func historyEntry(v, before *Visit, from string, opts CompareOptions) (plots.HistoryPoint, report.HistoryVisit, error) {
	point := plots.HistoryPoint{Date: day(v.Around.Folder)}
	row := report.HistoryVisit{Date: point.Date}
	if len(v.Results) > 0 {
		summary, err := v.Summary(opts.Resamples)
		if err != nil {
			return point, row, err
		}
		point.Summary, row.Summary = summary, summary
		if before != nil {
			c, err := metrics.Compare(before.Runs(), v.Runs(), compareSettings(before, v, opts))
			if err != nil {
				return point, row, err
			}
			row.Since = string(c.Verdict)
		}
	}
	if page := filepath.Join(v.Around.Folder, visitOut, ReportFile); exists(page) {
		row.Link = relativeLink(from, page)
	}
	var felt, treated []string
	for _, p := range v.Around.Visit.Palpation {
		point.Soreness = append(point.Soreness, plots.Soreness{Region: regionWords(p), Grade: float64(p.Soreness)})
		felt = append(felt, regionWords(p)+" "+sorenessWords(p.Soreness))
	}
	for _, t := range v.Around.Visit.Treatment {
		point.Treatments = append(point.Treatments, t.What)
		treated = append(treated, treatmentWords(t))
	}
	row.Soreness, row.Treatment, row.Function = strings.Join(felt, "; "), strings.Join(treated, "; "), functionWords(v.Around.Visit.Function)
	return point, row, nil
}

func functionWords(f record.Function) string {
	var out []string
	for _, p := range [][2]string{{"barn", f.Barn}, {"field", f.Field}, {"work", f.Work}} {
		if p[1] != "" {
			out = append(out, p[0]+": "+p[1])
		}
	}
	return strings.Join(out, "; ")
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func measureTitle(n metrics.Name) string {
	d, known := metrics.Define(n)
	if !known {
		return ""
	}
	return d.Title
}
