package report

import (
	"fmt"
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
}

// BatchItem is a clip that needs something.
type BatchItem struct {
	Horse, Visit, Clip string
	Link               string
	Reason             string
	Next               string // What to do about it; shown as it is, for it may be a command.
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
	p.build(first,
		itemsSection("look", "Needs a second look", "These clips were measured, but something limits the numbers.", "No clip needs a second look.", b.SecondLook),
		itemsSection("marks", "Needs marks", "These clips have no marks yet and were not measured.", "Every clip has marks.", b.NeedMarks),
		itemsSection("failed", "Failed", "These clips could not be measured. The others are not affected.", "No clip failed.", b.Failed),
		itemsSection("not-reached", "Not reached", "These clips wait for the next batch.", "", b.NotReached))

	measured := section{title: "Measured", id: "measured"}
	measured.table(measuredTable("Measured", "Score with 95 % interval: 0 is even, 1 as uneven as ordinary run-to-run variation", b.Measured))
	if len(b.Measured) == 0 {
		measured.add(paragraph("No clip was measured."))
	}
	kept := section{title: "Unchanged since last time", id: "kept"}
	kept.table(measuredTable("Unchanged", "Their clips, marks and settings are the same, so their results still hold", b.Kept))
	p.build(measured, kept)
	return p, nil
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

func itemsSection(id, title, intro, none string, items []BatchItem) section {
	s := section{title: title, id: id}
	if len(items) == 0 {
		s.paragraphs(none)
		return s
	}
	s.add(paragraph(intro))
	t := table{caption: title + ": " + count(len(items), "clip"), wide: true, head: []string{"Clip", "Horse", "Visit", "Why", "What to do"}}
	for _, i := range items {
		t.rows = append(t.rows, tableRow{cells: []tableCell{
			linkCell(i.Clip, relative(i.Link)), textCell(i.Horse), textCell(i.Visit), textCell(sentence(i.Reason)), textCell(i.Next),
		}})
	}
	s.table(t)
	return s
}

func measuredTable(title, note string, measured []BatchMeasured) table {
	t := table{caption: title + ": " + count(len(measured), "clip"), note: note, wide: true, head: []string{"Clip", "Horse", "Visit", "Strides", "Score", "Finding"}}
	for _, m := range measured {
		t.rows = append(t.rows, tableRow{cells: []tableCell{
			linkCell(m.Clip, relative(m.Link)), textCell(m.Horse), textCell(m.Visit), countCell(m.Strides), valueCell(estimateCell(m.Score, 2)), textCell(sentence(m.Finding)),
		}})
	}
	return t
}
