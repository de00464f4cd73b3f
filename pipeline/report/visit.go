package report

import (
	"fmt"
	"io"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// Visit is the page of all runs of one visit.
type Visit struct {
	Header     Header
	Date       time.Time
	Facts      []Fact // Reason, surface, shoeing, who led, what is followed: in the order given.
	Summary    *metrics.Summary
	Runs       []RunRow
	Records    []VisitRecords
	Figures    []Figure
	Provenance Provenance
}

// Fact is a name and a value as a person wrote it.
type Fact struct{ Name, Value string }

// RunRow is one clip of the visit.
type RunRow struct {
	Clip     string
	Link     string // To the clip's page, relative to this one.
	View     traj.View
	Level    geometry.Level
	Strides  int
	Score    *metrics.Estimate
	Finding  string
	Problems []string // Short.
	Failed   string   // Why it was not measured; empty where it was.
}

// VisitRecords is one kind of record of the visit.
type VisitRecords struct {
	Title string // "Soreness on palpation".
	Note  string
	Items []RecordItem
}

// RecordItem is what was written of one region or item.
type RecordItem struct{ Region, Text string }

type runView struct {
	Clip, Link, View, Level, Strides string
	Score                            cell
	Finding                          string
	Problems                         []string
	Failed                           string
}

type visitView struct {
	Date    string
	Facts   []Fact
	Finding findingView
	Tables  measureTables
	Runs    []runView
	Records []VisitRecords
}

// WriteVisit writes the page of one visit.
func WriteVisit(w io.Writer, v Visit) error {
	shown, missing, err := viewFigures(v.Figures)
	if err != nil {
		return err
	}
	summary := v.Summary
	if summary == nil {
		summary = &metrics.Summary{Limb: metrics.LimbFinding{Sentence: "no clip of this visit was measured"}}
	}
	view := visitView{Date: date(v.Date), Facts: v.Facts, Finding: viewFinding(summary), Tables: tables(summary), Records: v.Records}
	for _, r := range v.Runs {
		view.Runs = append(view.Runs, runView{
			Clip: r.Clip, Link: relative(r.Link), View: string(r.View), Level: string(r.Level), Strides: fmt.Sprint(r.Strides),
			Score: estimateCell(r.Score, 2), Finding: sentence(r.Finding), Problems: r.Problems, Failed: sentence(r.Failed),
		})
	}
	title := "visit of " + date(v.Date)
	if v.Header.Horse != "" {
		title = v.Header.Horse + ": " + title
	}
	return write(w, "visit", page{
		Title: sentenceCase(title), Header: v.Header, Shown: shown, Missing: missing,
		Cautions: Cautions(), Glossary: glossary(), Provenance: v.Provenance, View: view,
	})
}

// sentenceCase gives a title its capital without a full stop.
func sentenceCase(s string) string {
	t := []rune(sentence(s + "."))
	return string(t[:len(t)-1])
}
