package ui

import (
	"fmt"
	"io"
	"time"

	"jogstrip/pipeline/batch"
)

// plain writes a line for everything that lasts.
type plain struct {
	out io.Writer
	now func() time.Time
}

// NewPlain returns a printer of plain lines: one for every clip that is begun or
// done, none for clips that are up to date.
func NewPlain(out io.Writer, now func() time.Time) Printer { return &plain{out, now} }

func (p *plain) Event(e batch.Event) {
	if text := lasting(e); text != "" {
		fmt.Fprintf(p.out, "%s %s\n", p.now().Format("15:04:05"), text)
	}
	if e.Kind == batch.EventBegin {
		fmt.Fprintf(p.out, "%s %s: measuring (%s)\n", p.now().Format("15:04:05"), oneLine(e.Clip), oneLine(e.Text))
	}
}

func (p *plain) Close() {}

// lasting returns the line of an event that is worth keeping, or "".
func lasting(e batch.Event) string {
	switch e.Kind {
	case batch.EventStart:
		text := "batch over " + oneLine(e.Folder)
		if s := e.Share.String(); s != "" {
			text += fmt.Sprintf(", share %s (from %s)", s, e.Share.From)
		}
		return text
	case batch.EventNote:
		return "note: " + oneLine(e.Text)
	case batch.EventPlanned:
		return planLine(e)
	case batch.EventLater:
		return fmt.Sprintf("%s: later (%s)", oneLine(e.Clip), oneLine(e.Text))
	case batch.EventClip:
		if e.Entry.Outcome == batch.UpToDate {
			return ""
		}
		return clipLine(e.Entry)
	case batch.EventEnd:
		text := totalsLine(e.Totals)
		if e.Text != "" {
			text += "; " + oneLine(e.Text)
		}
		if e.Page != "" {
			text += "\nmorning page: " + oneLine(e.Page)
		}
		return text
	}
	return ""
}
