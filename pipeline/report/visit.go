package report

import (
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/glance"
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
	Felt       []FeltBeside
	Front      Front
	Films      []Footage // Runs with their marks drawn on them, stride by stride.
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

// FeltBeside is what hands felt on a pair of limbs beside what was measured of it.
type FeltBeside struct {
	Limbs    string // "Forehand".
	Felt     string
	Measured string
	Together string // Whether both found the same side, a sentence.
}

// RecordItem is what was written of one region or item.
type RecordItem struct{ Region, Text string }

// runsTogether says of how many runs a visit's page is.
func runsTogether(runs int) string {
	if runs == 1 {
		return "The one run of this visit."
	}
	return "All runs of one visit together."
}

// Page makes the page of one visit.
func (v Visit) Page() (*Page, error) {
	pictures, err := figures(v.Figures)
	if err != nil {
		return nil, err
	}
	summary := v.Summary.Said(v.Header.Lengths)
	if summary == nil {
		summary = &metrics.Summary{Limb: metrics.LimbFinding{Sentence: "no clip of this visit was measured"}}
	}
	title := "visit of " + date(v.Date)
	if v.Date.IsZero() {
		title = "visit"
	}
	p := &Page{title: sentenceCase(titled(v.Header.Horse, title)), header: v.Header, date: v.Date, under: plain(runsTogether(summary.Runs)),
		caution: Cautions(), terms: glossary(), provenance: v.Provenance}
	facts := table{caption: "The visit", facts: true}
	for _, f := range v.Facts {
		facts.rows = append(facts.rows, tableRow{cells: []tableCell{textCell(f.Name), textCell(f.Value)}})
	}
	var about section
	about.table(facts)
	if p.front, err = newFront(glance.OfSummary(summary), false, v.Front, part{title: leftRight, rows: glance.Rows(summary), visits: []*metrics.Summary{summary}}); err != nil {
		return nil, err
	}
	films, err := footageSection("Stride by stride, on film", v.Films)
	if err != nil {
		return nil, err
	}
	p.build(films)
	p.build(findingSections(summary, false)...)
	p.build(about, runsSection(v.Runs), feltSection(v.Felt), recordsSection(v.Records), measuresSection(summary, false), pictures, sourcesSection(summary))
	return p, nil
}

func runsSection(runs []RunRow) section {
	s := section{title: "The runs"}
	t := table{caption: "Every clip of the visit", wide: true, head: []string{"Clip", "View", "Calibration", "Strides", "Score", "Finding and limits"}}
	for _, r := range runs {
		row := tableRow{cells: []tableCell{linkCell(r.Clip, relative(r.Link))}}
		if r.Failed != "" {
			row.cells = append(row.cells, tableCell{text: plain("not measured"), across: 4}, textCell(sentence(r.Failed)))
		} else {
			found := strings.TrimSpace(sentence(r.Finding) + " " + strings.Join(sentences(r.Problems), " "))
			row.cells = append(row.cells, textCell(string(r.View)), textCell(string(r.Level)), countCell(r.Strides), valueCell(scoreCell(r.Score, r.Finding)), textCell(found))
		}
		t.rows = append(t.rows, row)
	}
	s.table(t)
	return s
}

func feltSection(felt []FeltBeside) section {
	s := section{title: "Hands and film"}
	if len(felt) == 0 {
		return s
	}
	s.add(paragraph("What hands found, beside what was measured of the same limbs and lies beyond its tolerance. Film points to the limb that steps shorter, over which head or croup is carried higher, whose hip moves more or whose shoulder is lifted less. That both find the same side, or do not, does not say why: soreness may be the cause of a movement, come from it, or have nothing to do with it."))
	t := table{caption: "Felt and measured", wide: true, head: []string{"Limbs", "Hands found", "Beyond tolerance on film", "Together"}}
	for _, f := range felt {
		t.rows = append(t.rows, tableRow{cells: []tableCell{textCell(f.Limbs), textCell(f.Felt), textCell(f.Measured), textCell(f.Together)}})
	}
	s.table(t)
	return s
}

func recordsSection(records []VisitRecords) section {
	s := section{title: "Felt, treated, and seen at work"}
	if len(records) == 0 {
		return s
	}
	s.add(paragraph("As written down at the visit; not measured by the program."))
	for _, r := range records {
		t := table{caption: r.Title, note: r.Note, facts: true, head: []string{"What or where", "Noted"}}
		for _, i := range r.Items {
			t.rows = append(t.rows, tableRow{cells: []tableCell{textCell(i.Region), textCell(i.Text)}})
		}
		s.table(t)
	}
	return s
}

// sentenceCase gives a title its capital without a full stop.
func sentenceCase(s string) string {
	t := []rune(sentence(s + "."))
	return string(t[:len(t)-1])
}
