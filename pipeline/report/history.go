package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
)

// History is the page of all visits of one horse.
type History struct {
	Header   Header
	Finding  string         // In plain words, above everything; empty leaves it to the table.
	Followed []metrics.Name // Shown visit by visit.
	// Comparison is of the first measured visit with the last, on the days Compared; nil
	// where fewer than two were measured.
	Comparison *metrics.Comparison
	Compared   [2]time.Time
	// Between are measured visits between those two that can be compared with the first,
	// in order of time: the first page shows the last of them, too.
	Between    []HistoryVisit
	Front      Front
	Visits     []HistoryVisit // In order of time.
	Figures    []Figure
	Provenance Provenance
}

// HistoryVisit is one visit in a history.
type HistoryVisit struct {
	Date      time.Time
	Link      string           // To the visit's page, relative to this one.
	Summary   *metrics.Summary // Nil where nothing was measured.
	Since     string           // Verdict against the visit before, in words; empty where there is none.
	Shoeing   string
	Soreness  string
	Treatment string
	Function  string
}

// notRecorded stands where a person wrote nothing down.
const notRecorded = "not recorded"

// Page makes the history page of one horse.
func (h History) Page() (*Page, error) {
	h.Comparison = h.Comparison.Said(h.Header.Lengths)
	h.Visits = slices.Clone(h.Visits)
	for i := range h.Visits {
		h.Visits[i].Summary = h.Visits[i].Summary.Said(h.Header.Lengths)
	}
	pictures, err := figures(h.Figures)
	if err != nil {
		return nil, err
	}
	p := &Page{title: "History", header: h.Header, under: plain("All visits of one horse, oldest first."),
		caution: Cautions(), terms: glossary(), provenance: h.Provenance}
	if h.Header.Horse != "" {
		p.title = titled(h.Header.Horse, "history")
	}
	if n := len(h.Visits); n > 0 {
		p.date = h.Visits[n-1].Date
	}
	finding := section{title: "Finding in full", first: true}
	finding.add(paragraph(orWord(sentence(h.Finding), count(len(h.Visits), "visit")+" so far.")))

	measured := table{caption: "Measured", note: "In brackets: 95 % intervals", wide: true, head: []string{"Visit", "Asymmetry score"}}
	units := make([]string, len(h.Followed))
	for i, n := range h.Followed {
		units[i] = h.unit(n)
		title := define(n).Title
		if define(n).Sided {
			title += ", right − left"
		}
		measured.head = append(measured.head, title+", "+units[i])
	}
	measured.head = append(measured.head, "Since the visit before", "Finding")
	noted := table{caption: "Written down", note: "Not measured by the program", wide: true, head: []string{"Visit", "Shoeing", "Soreness", "Treatment", "Function"}}
	for _, v := range h.Visits {
		measured.rows = append(measured.rows, v.measuredRow(h.Followed, units))
		noted.rows = append(noted.rows, tableRow{cells: []tableCell{
			textCell(date(v.Date)), orCell(v.Shoeing, notRecorded), orCell(v.Soreness, notRecorded), orCell(v.Treatment, notRecorded), orCell(v.Function, notRecorded),
		}})
	}
	visits := section{title: "The visits"}
	visits.table(measured)
	visits.table(noted)
	visits.table(h.trunkTable())
	if err := h.first(p); err != nil {
		return nil, err
	}
	p.build(finding, visits, pictures)
	for _, v := range slices.Backward(h.Visits) {
		if v.Summary != nil {
			p.build(sourcesSection(v.Summary))
			break
		}
	}
	return p, nil
}

// trunkVisits is how many visits the table of shoulder and trunk shows at the most: what
// fits across a page.
const trunkVisits = 5

// trunkTable puts shoulder and trunk of the visits beside each other: the last of them,
// and only what was measured at one.
func (h History) trunkTable() table {
	var shown []HistoryVisit
	for _, v := range h.Visits {
		if v.Summary != nil {
			shown = append(shown, v)
		}
	}
	shown = shown[max(0, len(shown)-trunkVisits):]
	t := table{caption: "Shoulder and trunk", note: "Described, without a verdict. Differences are right − left; positive is to the right. In brackets: 95 % intervals", wide: true, head: []string{"Measure"}}
	for _, v := range shown {
		t.head = append(t.head, date(v.Date))
	}
	for _, n := range metrics.ShoulderAndTrunk() {
		row, seen := tableRow{cells: []tableCell{nameCell(define(n).Title, h.unit(n))}}, false
		for _, v := range shown {
			c := cell{Value: "–"}
			if r := v.Summary.Lookup(n); r != nil && r.Value != nil {
				c, seen = measuredCells(define(n), r.Unit, r.Value)[0], true
			}
			row.cells = append(row.cells, valueCell(c))
		}
		if seen {
			t.rows = append(t.rows, row)
		}
	}
	return t
}

// MostBetween is how many visits the first page shows between the first and the last.
const MostBetween = 2

// shortDay names a visit's day beside a bar: "20 Mar", with the year where they differ.
func (h History) shortDay(day time.Time) string {
	if h.Compared[0].Year() == h.Compared[1].Year() {
		return day.Format("2 Jan")
	}
	return day.Format("2 Jan 06")
}

// first makes the first page: the first measured visit beside the last, and the last of
// those between.
func (h History) first(p *Page) (err error) {
	switch c := h.Comparison; {
	case c != nil:
		parts := comparedParts(c, h.Compared[0], h.Compared[1])
		if between := h.Between[max(0, len(h.Between)-MostBetween):]; len(between) > 0 && len(parts) == 1 {
			summaries := []*metrics.Summary{}
			parts[0].days = []string{h.shortDay(h.Compared[0])}
			for _, v := range between {
				summaries = append(summaries, v.Summary.Said(h.Header.Lengths))
				parts[0].visits = append(parts[0].visits, v.Summary)
				parts[0].days = append(parts[0].days, h.shortDay(v.Date))
			}
			parts[0].days = append(parts[0].days, h.shortDay(h.Compared[1]))
			parts[0].rows = glance.HistoryRows(c, summaries)
		}
		said := glance.OfComparison(c, h.Compared[0])
		if h.measured() > 2 { // Which two, the sentence of a comparison need not say.
			said = strings.Replace(said, "The two visits cannot", "First and last cannot", 1)
		}
		shown := h.Front
		shown.Course = strings.TrimSpace(shown.Course + " " + differs(c))
		p.front, err = newFront(said, true, shown, parts...)
	default:
		said, shown := "No visit has been measured yet.", part{title: leftRight}
		for _, v := range h.Visits {
			if v.Summary != nil {
				said, shown.rows, shown.visits = glance.OfSummary(v.Summary), glance.Rows(v.Summary), []*metrics.Summary{v.Summary}
			}
		}
		p.front, err = newFront(said, false, h.Front, shown)
	}
	return err
}

// measured returns how many visits were measured.
func (h History) measured() int {
	n := 0
	for _, v := range h.Visits {
		if v.Summary != nil {
			n++
		}
	}
	return n
}

// unit returns the unit that the measure was first given in.
func (h History) unit(n metrics.Name) string {
	for _, v := range h.Visits {
		if v.Summary == nil {
			continue
		}
		if r := v.Summary.Lookup(n); r != nil && r.Value != nil {
			return saidUnit(define(n), r.Unit)
		}
	}
	return saidUnit(define(n), define(n).Unit)
}

func (v HistoryVisit) measuredRow(followed []metrics.Name, units []string) tableRow {
	name := linkCell(date(v.Date), relative(v.Link))
	score, found := cell{Value: "–"}, "Not measured."
	if s := v.Summary; s != nil {
		found = sentence(s.Limb.Sentence)
		name.under = fmt.Sprintf("%s in %s", count(s.Strides, "stride"), count(s.Runs, "run"))
		if s.Score != nil {
			score = scoreCell(&s.Score.Estimate, s.Limb.Sentence)
		}
	}
	cells := []tableCell{name, valueCell(score)}
	for i, n := range followed {
		c := cell{Value: "–"}
		if v.Summary != nil {
			if r := v.Summary.Lookup(n); r != nil && r.Value != nil {
				c = measuredCells(define(n), r.Unit, r.Value)[0]
				if in := saidUnit(define(n), r.Unit); in != units[i] {
					c.Value += " " + in
				}
			}
		}
		cells = append(cells, valueCell(c))
	}
	return tableRow{cells: append(cells, orCell(v.Since, "–"), textCell(found))}
}
