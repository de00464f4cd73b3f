package report

import (
	"fmt"
	"io"
	"time"

	"jogstrip/metrics"
)

// Comparison is the page of two visits beside each other.
type Comparison struct {
	Header     Header
	Before     Visited
	After      Visited
	Comparison *metrics.Comparison
	Figures    []Figure
	Records    []RecordSection // Palpation, treatment, function: what both visits wrote down.
	Provenance Provenance
}

// Visited names a visit.
type Visited struct {
	Date time.Time
	Link string // To the visit's page; empty leaves it out.
	Note string // "before treatment", surface, shoeing: in a few words.
}

// RecordSection is one kind of record of two visits, side by side.
type RecordSection struct {
	Title string // "Soreness on palpation".
	Note  string // The scale, or who felt.
	Rows  []RecordRow
}

// RecordRow is one region or item at both visits.
type RecordRow struct {
	Region string
	Before string // Empty: not recorded.
	After  string
}

type changeRow struct {
	Title    string
	Unit     string
	Followed bool
	Before   cell
	After    cell
	Change   cell
	Smallest cell // Its second line says where it comes from, if not from the table.
	Verdict  string
	Counts   bool // The verdict is a change.
	Sentence string
}

type comparisonView struct {
	Verdict   string
	Sentence  string
	Before    visitedView
	After     visitedView
	Score     *changeRow
	Followed  []changeRow
	Changes   []changeRow
	Described []changeRow
	Apart     []changeRow // Not comparable.
	Reasons   []string
	Records   []RecordSection
	Limits    []string
}

type visitedView struct {
	Date    string
	Link    string
	Note    string
	Limb    string
	Score   string
	Strides string
}

func viewVisited(v Visited, s *metrics.Summary) visitedView {
	out := visitedView{Date: date(v.Date), Link: relative(v.Link), Note: v.Note, Limb: sentence(s.Limb.Sentence), Score: "not measured"}
	if s.Score != nil {
		out.Score = inText(s.Score.Estimate, "", 2)
	}
	out.Strides = fmt.Sprintf("%s in %s", count(s.Strides, "stride"), count(s.Runs, "run"))
	return out
}

func changeRowOf(c metrics.Change, title string, dec int) changeRow {
	row := changeRow{
		Title: title, Unit: c.Unit, Followed: c.Followed,
		Before: estimateCell(c.Before, dec), After: estimateCell(c.After, dec), Change: estimateCell(c.Change, dec),
		Verdict: string(c.Verdict), Sentence: sentence(c.Sentence),
		Counts: c.Verdict == metrics.Improved || c.Verdict == metrics.Worse || c.Verdict == metrics.Changed,
	}
	row.Smallest = cell{Value: "–"}
	if c.Smallest > 0 {
		row.Smallest.Value = number(c.Smallest, dec)
		if c.OwnMDC {
			row.Smallest.Interval = "own repeats"
		}
	}
	if c.Verdict == metrics.NotComparable {
		row.Sentence = sentence(c.Reason)
	}
	return row
}

// WriteComparison writes the comparison of two visits as one HTML page.
func WriteComparison(w io.Writer, c Comparison) error {
	shown, missing, err := viewFigures(c.Figures)
	if err != nil {
		return err
	}
	m := c.Comparison
	if m == nil {
		return fmt.Errorf("write comparison page: no comparison given")
	}
	v := comparisonView{
		Verdict: sentence(string(m.Verdict)), Sentence: sentence(m.Sentence),
		Before: viewVisited(c.Before, &m.Before), After: viewVisited(c.After, &m.After),
		Reasons: m.Reasons, Records: c.Records,
	}
	if m.Score != nil {
		row := changeRowOf(*m.Score, "Asymmetry score", 2)
		v.Score = &row
	}
	for _, ch := range m.Changes {
		d := define(ch.Name)
		if ch.Before == nil && ch.After == nil {
			continue
		}
		row := changeRowOf(ch, d.Title, decimals(d, ch.Unit))
		switch {
		case ch.Verdict == metrics.NotComparable:
			v.Apart = append(v.Apart, row)
		case ch.Followed:
			v.Followed = append(v.Followed, row)
		case d.Evidence == metrics.Established:
			v.Changes = append(v.Changes, row)
		default:
			v.Described = append(v.Described, row)
		}
	}
	if m.Before.Runs == 1 || m.After.Runs == 1 {
		v.Limits = append(v.Limits, "One of the visits has a single run: its interval holds for that run, not for the horse on that day. Two runs or more per view make a comparison.")
	}
	title := fmt.Sprintf("%s and %s compared", date(c.Before.Date), date(c.After.Date))
	if c.Header.Horse != "" {
		title = c.Header.Horse + ": " + title
	}
	return write(w, "comparison", page{
		Title: title, Header: c.Header, Shown: shown, Missing: missing,
		Cautions: Cautions(), Glossary: glossary(), Provenance: c.Provenance, View: v,
	})
}
