package report

import (
	"fmt"
	"io"
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

type batchMeasuredView struct {
	Horse, Visit, Clip, Link string
	Strides                  int
	Score                    cell
	Finding                  string
}

type batchSection struct {
	ID, Title, Intro, None string
	Items                  []BatchItem
}

type batchView struct {
	Folder   string
	When     string
	First    string
	Stopped  string
	Notes    []string
	Measured []batchMeasuredView
	Kept     []batchMeasuredView
	Sections []batchSection
}

// WriteBatch writes the morning page.
func WriteBatch(w io.Writer, b Batch) error {
	v := batchView{Folder: b.Folder, Stopped: sentence(b.Stopped)}
	if !b.Started.IsZero() {
		v.When = b.Started.Format("2 January 2006, 15:04")
		if !b.Finished.IsZero() {
			v.When += " to " + b.Finished.Format("2 January 2006, 15:04")
		}
	}
	var parts []string
	add := func(n int, what string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, what))
		}
	}
	add(len(b.NeedMarks), "without marks")
	add(len(b.SecondLook), "to look at again")
	add(len(b.Failed), "failed")
	add(len(b.NotReached), "not reached")
	v.First = count(len(b.Measured), "clip") + " measured"
	if kept := b.Unchanged + len(b.Kept); kept > 0 {
		v.First += fmt.Sprintf(", %d unchanged since last time", kept)
	}
	if len(parts) == 0 {
		v.First += "; nothing needs you."
	} else {
		v.First += "; " + strings.Join(parts, ", ") + "."
	}
	for _, n := range b.Notes {
		v.Notes = append(v.Notes, sentence(n))
	}
	v.Measured, v.Kept = measuredViews(b.Measured), measuredViews(b.Kept)
	section := func(id, title, intro, none string, items []BatchItem) {
		s := batchSection{ID: id, Title: title, Intro: intro, None: none}
		for _, i := range items {
			i.Link, i.Reason = relative(i.Link), sentence(i.Reason)
			s.Items = append(s.Items, i)
		}
		v.Sections = append(v.Sections, s)
	}
	section("look", "Needs a second look", "These clips were measured, but something limits the numbers.", "No clip needs a second look.", b.SecondLook)
	section("marks", "Needs marks", "These clips have no marks yet and were not measured.", "Every clip has marks.", b.NeedMarks)
	section("failed", "Failed", "These clips could not be measured. The others are not affected.", "No clip failed.", b.Failed)
	if len(b.NotReached) > 0 {
		section("not-reached", "Not reached", "These clips wait for the next batch.", "", b.NotReached)
	}
	title := "Batch"
	if !b.Started.IsZero() {
		title += " of " + date(b.Started)
	}
	return write(w, "batch", page{Title: title, Header: b.Header, Cautions: Cautions(), Provenance: b.Provenance, View: v})
}

func measuredViews(measured []BatchMeasured) []batchMeasuredView {
	var views []batchMeasuredView
	for _, m := range measured {
		views = append(views, batchMeasuredView{m.Horse, m.Visit, m.Clip, relative(m.Link), m.Strides, estimateCell(m.Score, 2), sentence(m.Finding)})
	}
	return views
}
