package report

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
)

// Batch is the page of the morning after: what was measured overnight and what
// needs a person.
type Batch struct {
	Header     Header
	Folder     string
	Started    time.Time
	Finished   time.Time
	Stopped    string // Why it ended early; empty where it ran to the end.
	Unchanged  int    // Clips whose results still held and were not measured again.
	Measured   []BatchMeasured
	SecondLook []BatchItem // Measured, but something needs a person.
	NeedMarks  []BatchItem
	Failed     []BatchItem
	// Kept lists clips whose results still held, with links to them; they count
	// as Unchanged does and Unchanged is then 0.
	Kept       []BatchMeasured
	Changes    []BatchChange
	NotReached []BatchItem // The batch ended before their turn, or another run held them.
	Notes      []string    // What to know of the whole, in sentences.
	Provenance Provenance
}

// BatchMeasured is a clip that was measured.
type BatchMeasured struct {
	Horse, Visit, Clip string
	Link               string // To the clip's page, relative to this one.
	Strides            int
	Score              *metrics.Estimate
	Finding            string
	Picture            []byte // A small JPEG; empty where there is none.
}

// BatchChange is a visit that was measured this night beside the one before it.
type BatchChange struct {
	Horse, Visit string
	Link         string // To the visit's page, relative to this one.
	Sentence     string
	Counts       bool // Something changed.
	Picture      []byte
}

// BatchItem is a clip that needs something.
type BatchItem struct {
	Horse, Visit, Clip string
	Link               string
	Reason             string
	Next               string // What to do about it; shown as it is, for it may be a command.
	Picture            []byte
}

// Page makes the morning page.
func (b Batch) Page() (*Page, error) {
	p := &Page{title: "Batch", header: b.Header, date: b.Started, caution: Cautions(), provenance: b.Provenance}
	if !b.Started.IsZero() {
		p.title += " of " + date(b.Started)
	}
	under := ""
	if b.Folder != "" {
		under = "Folder " + b.Folder
	}
	if !b.Started.IsZero() {
		under += "; " + b.Started.Format("2 January 2006, 15:04")
		if !b.Finished.IsZero() {
			under += " to " + b.Finished.Format("2 January 2006, 15:04")
		}
	}
	p.under = plain(under)

	first := section{title: "This morning", first: true}
	first.add(paragraph(b.inShort()))
	if b.Stopped != "" {
		first.add(paragraph("The batch ended early: " + sentence(b.Stopped) + " What was measured until then is kept; the same command goes on from there."))
	}
	first.list("", sentences(b.Notes))
	p.build(first, b.needsYou(), b.changed(),
		itemsSection("not-reached", "Not reached", "These clips wait for the next batch.", b.NotReached))

	uneven, others := b.byUneven()
	measured := section{title: "Measured", id: "measured"}
	if len(b.Measured) == 0 {
		measured.add(paragraph("No clip was measured."))
	}
	measured.table(measuredTable("Measured, and uneven beyond what a sound horse shows", "The score with its 95 % interval: "+metrics.ScoreScale, uneven))
	measured.table(measuredTable("Measured, nothing certain beyond tolerance", "", others))
	kept := section{title: "Unchanged since last time", id: "kept"}
	kept.table(measuredTable("Unchanged", "Their clips, marks and settings are the same, so their results still hold", b.Kept))
	p.build(measured, kept)
	return p, nil
}

// byUneven parts what was measured: clips whose score's interval leaves out even first, the
// most uneven first.
func (b Batch) byUneven() (uneven, others []BatchMeasured) {
	for _, m := range b.Measured {
		if m.Score != nil && m.Score.Low > 0 {
			uneven = append(uneven, m)
		} else {
			others = append(others, m)
		}
	}
	slices.SortStableFunc(uneven, func(x, y BatchMeasured) int { return cmp.Compare(y.Score.Value, x.Score.Value) })
	return uneven, others
}

// needsYou lists the clips that need a person, worst first.
func (b Batch) needsYou() section {
	s := section{title: "Needs you", id: "needs-you"}
	t := table{caption: count(len(b.Failed)+len(b.NeedMarks)+len(b.SecondLook), "clip") + " to look at", wide: true, head: []string{"Clip", "What", "Horse", "Visit", "Why", "What to do"}}
	for _, kind := range []struct {
		word  string
		items []BatchItem
	}{{"failed", b.Failed}, {"look again", b.SecondLook}, {"no marks", b.NeedMarks}} {
		for _, i := range kind.items {
			if kind.word == "look again" && i.Link != "" { // The clip's page says all of it.
				i.Reason, _, _ = strings.Cut(i.Reason, ". ")
			}
			t.rows = append(t.rows, i.row(kind.word))
		}
	}
	if len(t.rows) == 0 {
		s.add(paragraph("Nothing needs you: no clip failed, none wants a second look, and every clip has marks."))
	}
	s.table(t)
	return s
}

// row is an item's row; kind says what it is, or is empty.
func (i BatchItem) row(kind string) tableRow {
	name := linkCell(i.Clip, relative(i.Link))
	name.thumb = i.Picture
	cells := []tableCell{name}
	if kind != "" {
		cells = append(cells, tableCell{text: plain(kind), words: true})
	}
	return tableRow{counts: kind == "failed", cells: append(cells, textCell(i.Horse), textCell(i.Visit), textCell(sentence(i.Reason)), textCell(i.Next))}
}

// changed lists the visits of this night beside those before them, changes first.
func (b Batch) changed() section {
	s := section{title: "Compared with the visit before", id: "changed"}
	t := table{caption: count(len(b.Changes), "visit"), wide: true, head: []string{"Visit", "Horse", "Since the visit before"}}
	all := slices.Clone(b.Changes)
	slices.SortStableFunc(all, func(x, y BatchChange) int {
		switch {
		case x.Counts == y.Counts:
			return 0
		case x.Counts:
			return -1
		}
		return 1
	})
	for _, c := range all {
		name := linkCell(c.Visit, relative(c.Link))
		name.thumb = c.Picture
		t.rows = append(t.rows, tableRow{counts: c.Counts, cells: []tableCell{name, textCell(c.Horse), {text: plain(c.Sentence), words: true}}})
	}
	s.table(t)
	return s
}

// inShort says in a sentence what the night brought.
func (b Batch) inShort() string {
	var parts []string
	for _, n := range []struct {
		n    int
		what string
	}{{len(b.NeedMarks), "without marks"}, {len(b.SecondLook), "to look at again"}, {len(b.Failed), "failed"}, {len(b.NotReached), "not reached"}} {
		if n.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n.n, n.what))
		}
	}
	text := count(len(b.Measured), "clip") + " measured"
	if kept := b.Unchanged + len(b.Kept); kept > 0 {
		text += fmt.Sprintf(", %d unchanged since last time", kept)
	}
	if len(parts) == 0 {
		return text + "; nothing needs you."
	}
	return text + "; " + strings.Join(parts, ", ") + "."
}

func itemsSection(id, title, intro string, items []BatchItem) section {
	s := section{title: title, id: id}
	if len(items) == 0 {
		return s
	}
	s.add(paragraph(intro))
	t := table{caption: title + ": " + count(len(items), "clip"), wide: true, head: []string{"Clip", "Horse", "Visit", "Why", "What to do"}}
	for _, i := range items {
		t.rows = append(t.rows, i.row(""))
	}
	s.table(t)
	return s
}

func measuredTable(title, note string, measured []BatchMeasured) table {
	t := table{caption: title + ": " + count(len(measured), "clip"), note: note, wide: true, head: []string{"Clip", "Horse", "Visit", "Strides", "Score", "Finding"}}
	for _, m := range measured {
		name := linkCell(m.Clip, relative(m.Link))
		name.thumb = m.Picture
		t.rows = append(t.rows, tableRow{cells: []tableCell{
			name, textCell(m.Horse), textCell(m.Visit), countCell(m.Strides), valueCell(scoreCell(m.Score, m.Finding)), textCell(sentence(inOneLine(m.Finding))),
		}})
	}
	return t
}

// inOneLine takes the grounds off a finding: the clip's page has them. Why no side is
// named stays, for that alone says nothing.
func inOneLine(finding string) string {
	finding = strings.TrimPrefix(finding, "no side: ")
	for _, end := range []string{":", "; ", ". "} {
		finding, _, _ = strings.Cut(finding, end)
	}
	return finding
}
