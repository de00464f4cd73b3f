package report

import (
	"fmt"
	"io"
	"time"

	"jogstrip/metrics"
)

// History is the page of all visits of one horse.
type History struct {
	Header     Header
	Finding    string // In plain words, above everything; empty leaves it to the table.
	Followed   []metrics.Name
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
	Soreness  string
	Treatment string
	Function  string
}

type historyRow struct {
	Date, Link                               string
	Finding                                  string
	Score                                    cell
	Followed                                 []cell
	Since, Soreness, Treatment, Function, In string
}

type historyView struct {
	Finding  string
	Followed []string // Column titles with units.
	Rows     []historyRow
}

// WriteHistory writes the history page of one horse.
func WriteHistory(w io.Writer, h History) error {
	shown, missing, err := viewFigures(h.Figures)
	if err != nil {
		return err
	}
	v := historyView{Finding: sentence(h.Finding)}
	if v.Finding == "" {
		v.Finding = fmt.Sprintf("%s so far.", count(len(h.Visits), "visit"))
	}
	units := make([]string, len(h.Followed))
	for i, n := range h.Followed {
		units[i] = define(n).Unit
		for _, visit := range h.Visits {
			if visit.Summary == nil {
				continue
			}
			if r := visit.Summary.Lookup(n); r != nil && r.Value != nil {
				units[i] = r.Unit
				break
			}
		}
		title := define(n).Title
		if define(n).Sided {
			title += ", right − left"
		}
		v.Followed = append(v.Followed, title+", "+units[i])
	}
	for _, visit := range h.Visits {
		row := historyRow{
			Date: date(visit.Date), Link: relative(visit.Link), Score: cell{Value: "–"}, Since: visit.Since,
			Soreness: visit.Soreness, Treatment: visit.Treatment, Function: visit.Function, Finding: "Not measured.",
		}
		if s := visit.Summary; s != nil {
			row.Finding = sentence(s.Limb.Sentence)
			row.In = fmt.Sprintf("%s in %s", count(s.Strides, "stride"), count(s.Runs, "run"))
			if s.Score != nil {
				row.Score = estimateCell(&s.Score.Estimate, 2)
			}
		}
		for i, n := range h.Followed {
			c := cell{Value: "–"}
			if visit.Summary != nil {
				if r := visit.Summary.Lookup(n); r != nil && r.Value != nil {
					c = estimateCell(r.Value, decimals(define(n), r.Unit))
					if r.Unit != units[i] {
						c.Value += " " + r.Unit
					}
				}
			}
			row.Followed = append(row.Followed, c)
		}
		v.Rows = append(v.Rows, row)
	}
	title := "History"
	if h.Header.Horse != "" {
		title = h.Header.Horse + ": history"
	}
	return write(w, "history", page{
		Title: title, Header: h.Header, Shown: shown, Missing: missing,
		Cautions: Cautions(), Glossary: glossary(), Provenance: h.Provenance, View: v,
	})
}
