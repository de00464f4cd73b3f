package pipeline

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/plots"
)

// VisitPage sums up the measured clips of the visit at folder on one page and
// returns the visit. A visit without measured clips gets no page; written tells.
func VisitPage(ctx context.Context, folder string, opts MeasureOptions) (visit *Visit, written bool, err error) {
	v, err := LoadVisit(ctx, folder)
	if err != nil {
		return nil, false, err
	}
	if len(v.Results) == 0 {
		return v, false, nil
	}
	sum, err := metrics.Summarise(v.Runs(), v.summing(opts.Resamples))
	if err != nil {
		return v, false, fmt.Errorf("sum up visit %s: %w", v.Folder, err)
	}
	summary := sum.Summary
	earlier, err := visitsBefore(ctx, v)
	if err != nil {
		return v, false, err
	}
	page := report.Visit{Header: header(v.Around), Date: day(v.Around.Folder), Facts: visitFacts(v.Around), Summary: summary, Records: visitRecords(&v.Around.Visit), Felt: feltBeside(&v.Around.Visit, summary)}
	rows, inputs := visitRuns(v)
	page.Runs = rows
	page.Provenance = provenance(opts.Program, inputs)
	target := filepath.Join(v.Around.Folder, visitOut)
	if err := mayReplace(target, ReportFile); err != nil {
		return v, false, err
	}
	_, _, release, err := hold(folder, "folder") // Nobody clears up meanwhile.
	if err != nil {
		return v, false, err
	}
	defer func() { err = errors.Join(err, release()) }()
	err = makeFolder(target, func(f *files) error {
		page.Figures = f.figures(plots.SummaryFigures(summary.Said(v.Around.Yard.Lengths)))
		record := &v.Around.Visit
		page.Front.NextFilming = advice(v, askVet(summary.Limb, earlier), nextRuns(summary, v))
		f.frontFigures(&page.Front, nil, summary.Said(v.Around.Yard.Lengths), [2]string{}, record)
		page.Films = f.visitFilms(v)
		visitStills(&page.Front, v, summary)
		f.page(page)
		return nil
	})
	if err != nil {
		return v, false, fmt.Errorf("write page of visit %s: %w", folder, err)
	}
	return v, true, nil
}

// visitRuns lists the clips of a visit, and from what its page is made.
func visitRuns(v *Visit) (rows []report.RunRow, inputs []report.Input) {
	for _, r := range v.Results {
		row := report.RunRow{
			Clip: r.Clip.File, Link: "../" + filepath.Base(r.Folder) + "/" + ReportFile, View: r.Run.View, Level: r.Run.Level,
			Strides: len(r.Run.Strides), Problems: r.Problems,
		}
		if r.Result.Summary != nil {
			row.Finding = r.Result.Summary.Limb.Sentence
			if r.Result.Summary.Score != nil {
				row.Score = &r.Result.Summary.Score.Estimate
			}
		}
		rows = append(rows, row)
		inputs = append(inputs, report.Input{Name: r.Clip.File, SHA256: r.Inputs.ClipSHA256})
	}
	for _, name := range v.Unmeasured {
		rows = append(rows, report.RunRow{Clip: fsx.EscapeName(name), Failed: "not measured yet"})
	}
	for _, problem := range v.Problems {
		rows = append(rows, report.RunRow{Clip: "a result", Failed: problem})
	}
	return rows, inputs
}

func visitFacts(around *Surroundings) []report.Fact {
	v := &around.Visit
	next := v.NextCheck
	if v.NextCheckBefore(day(around.Folder)) {
		next += " (before the visit: not used)"
	}
	var out []report.Fact
	for _, f := range []report.Fact{
		{Name: "Reason", Value: v.Reason}, {Name: "Surface", Value: v.Surface}, {Name: "Shoeing", Value: v.Shoeing},
		{Name: "Presented", Value: v.Presented}, {Name: "Followed", Value: measureTitle(v.Followed)},
		{Name: gradeTitle, Value: gradeWords(v)}, {Name: "Next check", Value: next}, {Name: "Notes", Value: v.Notes},
	} {
		if f.Value != "" {
			out = append(out, f)
		}
	}
	return out
}

func visitRecords(v *record.Visit) []report.VisitRecords {
	felt := report.VisitRecords{Title: palpationTitle, Note: palpationNote()}
	for _, p := range v.Palpation {
		felt.Items = append(felt.Items, report.RecordItem{Region: regionWords(p), Text: palpationWords(p)})
	}
	moved := report.VisitRecords{Title: motionTitle}
	for _, m := range v.Motion {
		moved.Items = append(moved.Items, report.RecordItem{Region: motionPlace(m), Text: motionWords(m)})
	}
	treated := report.VisitRecords{Title: treatmentTitle}
	for i, t := range v.Treatment {
		treated.Items = append(treated.Items, report.RecordItem{Region: fmt.Sprintf("treatment %d", i+1), Text: treatmentWords(t)})
	}
	function := report.VisitRecords{Title: functionTitle}
	for _, item := range []report.RecordItem{{Region: "In the barn", Text: v.Function.Barn}, {Region: "In the field", Text: v.Function.Field}, {Region: "At work", Text: v.Function.Work}} {
		if item.Text != "" {
			function.Items = append(function.Items, item)
		}
	}
	var out []report.VisitRecords
	for _, r := range []report.VisitRecords{felt, moved, treated, function} {
		if len(r.Items) > 0 {
			out = append(out, r)
		}
	}
	return out
}
