package ui

import (
	"encoding/json"
	"io"
	"time"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
)

// jsonLines writes one JSON object a line.
type jsonLines struct {
	encoder *json.Encoder
	now     func() time.Time
	told    map[string]time.Time // Of each clip's progress.
}

// NewJSON returns a printer of JSON lines. Every line has "time" and "type";
// FORMATS.md of package batch lists the types. A clip's progress is told once a
// second at most.
func NewJSON(out io.Writer, now func() time.Time) Printer {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	return &jsonLines{encoder: encoder, now: now, told: map[string]time.Time{}}
}

type jsonEvent struct {
	Time   string          `json:"time"`
	Type   batch.EventKind `json:"type"`
	Folder string          `json:"folder,omitempty"`
	Share  *batch.Share    `json:"share,omitempty"`
	Clip   string          `json:"clip,omitempty"`
	Reason string          `json:"reason,omitempty"`
	Text   string          `json:"text,omitempty"`
	Stage  string          `json:"stage,omitempty"`
	Done   *int            `json:"done,omitempty"`
	Total  *int            `json:"total,omitempty"`
	Result *batch.Entry    `json:"result,omitempty"`
	Totals *batch.Totals   `json:"totals,omitempty"`
	Page   string          `json:"page,omitempty"`
	Error  string          `json:"error,omitempty"`
}

func (p *jsonLines) Event(e batch.Event) {
	now := p.now()
	j := jsonEvent{Time: now.UTC().Format(time.RFC3339Nano), Type: e.Kind, Clip: fsx.EscapeName(e.Clip)}
	switch e.Kind {
	case batch.EventStart:
		j.Folder = e.Folder
		if e.Share.Count > 1 {
			j.Share = &e.Share
		}
	case batch.EventNote:
		j.Text = e.Text
	case batch.EventPlan:
		if now.Sub(p.told[""]) < time.Second && e.Done < e.Total {
			return
		}
		p.told[""] = now
		j.Done, j.Total = &e.Done, &e.Total
	case batch.EventPlanned:
		j.Totals, j.Total = &e.Totals, &e.Total
	case batch.EventBegin, batch.EventLater:
		j.Reason = e.Text
	case batch.EventProgress:
		if now.Sub(p.told[e.Clip]) < time.Second {
			return
		}
		p.told[e.Clip] = now
		j.Stage, j.Done, j.Total = e.Stage, &e.Done, &e.Total
	case batch.EventClip:
		delete(p.told, e.Clip)
		shown := e.Entry.Shown()
		j.Clip, j.Result = "", &shown
	case batch.EventEnd:
		j.Totals, j.Page, j.Text, j.Error = &e.Totals, e.Page, e.Text, e.Error
	}
	_ = p.encoder.Encode(j) // Nobody to tell: this is where telling goes.
}

func (p *jsonLines) Close() {}
