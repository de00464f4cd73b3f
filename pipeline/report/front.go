package report

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/plots"
)

// Front is what a report's first page shows beside its numbers.
type Front struct {
	Stills      []Still  // Side by side, in this order.
	StillsNote  string   // What they show and how they were chosen.
	StillsWhy   string   // Why there are none; empty where there are some.
	Steps       Figure   // Where the feet are set down; without a picture it is left out.
	Felt        Figure   // What hands felt; likewise.
	Course      []string // Of a history: each visit and what became of it, in a few words.
	Noted       []Noted  // What was done, and how the horse does.
	NextFilming []string // What to film next time, in sentences.
}

// Still is a picture cut from a clip.
type Still struct {
	Title         string // "before, 2 March".
	Alt           string // What it shows, in words.
	JPEG          []byte
	Width, Height int // px.
}

// Noted is what a person wrote down of one thing, at one visit or at two.
type Noted struct {
	What   string
	Before string
	Now    string
}

// front is a first page, made ready.
type front struct {
	sentence string
	rows     table
	legend   string
	stills   []Still
	note     string
	why      string
	steps    *figureView // Nil where there is none.
	felt     *figureView
	noted    table
	next     []string
	course   string
}

// rowsLegend explains the rows of a first page.
const rowsLegend = "A bar goes to the side whose step is shorter, over which head, withers or croup stay higher, whose hip moves more, whose shoulder is lifted less, which lands further out, or to which head and trunk go. " +
	"Grey band: what a sound horse shows from day to day. Thin line: the 95 % interval; where it crosses the middle, no side is shown."

// newFront makes the first page of a report. compared tells whether rows show two visits.
func newFront(sentence string, rows []glance.Row, compared bool, f Front) (*front, error) {
	out := &front{sentence: sentence, legend: rowsLegend, stills: f.Stills, note: f.StillsNote, why: f.StillsWhy, next: f.NextFilming, course: strings.Join(f.Course, " → ")}
	axis, err := viewDrawing(plots.GlanceAxis(compared))
	if err != nil {
		return nil, err
	}
	last := "What is seen"
	if compared {
		last = "What was seen, and is seen now"
	}
	out.rows = table{caption: "Left against right", glance: true, head: []string{"Question", "Left, even, right", last}, headFigure: axis}
	barred := false
	for _, r := range rows {
		row := tableRow{counts: r.Counts, cells: []tableCell{textCell(r.Question)}}
		if r.Missing || r.Now == nil && r.Before == nil {
			row.cells = append(row.cells, tableCell{text: plain(sentenceCase(r.Words)), soft: true, across: 2})
			out.rows.rows = append(out.rows.rows, row)
			continue
		}
		picture, err := viewDrawing(plots.GlanceBar(sideBar(r.Before, r.Counts || r.Verdict == metrics.Worse), sideBar(r.Now, r.Counts), compared, r.Question+": "+r.Words))
		if err != nil {
			return nil, err
		}
		said := tableCell{text: plain(sentenceCase(r.Words)), words: true}
		if compared && r.Verdict != "" && r.Verdict != metrics.NotJudged {
			said.text = []span{{text: sentenceCase(string(r.Verdict)), strong: r.Counts}}
			said.under = r.Words
		}
		row.cells = append(row.cells, tableCell{figure: picture}, said)
		out.rows.rows = append(out.rows.rows, row)
		barred = true
	}
	if !barred { // Nothing was measured: there is only why.
		out.rows.head, out.rows.headFigure, out.legend = []string{"Question", "Why there is no answer"}, nil, ""
		for i := range out.rows.rows {
			out.rows.rows[i].cells[1].across = 0
		}
	}
	for figure, into := range map[*Figure]**figureView{&f.Steps: &out.steps, &f.Felt: &out.felt} {
		shown, _, err := viewFigures([]Figure{*figure})
		if err != nil {
			return nil, err
		}
		if len(shown) > 0 {
			*into = &shown[0]
		}
	}
	if len(f.Noted) > 0 {
		out.noted = table{caption: "Written down, not measured", head: []string{"Written down", "This visit"}, compact: true}
		if compared {
			out.noted.head = []string{"Written down", "Before", "Now"}
		}
		for _, n := range f.Noted {
			row := tableRow{cells: []tableCell{textCell(n.What)}}
			if compared {
				row.cells = append(row.cells, orCell(n.Before, "–"))
			}
			out.noted.rows = append(out.noted.rows, tableRow{cells: append(row.cells, orCell(n.Now, "–"))})
		}
	}
	return out, nil
}

func sideBar(b *glance.Bar, counts bool) *plots.SideBar {
	if b == nil {
		return nil
	}
	beyond := b.Value > 1 && b.Low > 0 || b.Value < -1 && b.High < 0
	return &plots.SideBar{Value: b.Value, Low: b.Low, High: b.High, Counts: counts && beyond || beyond}
}

// viewDrawing makes a drawing ready that package plots has just made.
func viewDrawing(f *plots.Figure) (*figureView, error) {
	var svg bytes.Buffer
	if err := f.SVG(&svg); err != nil {
		return nil, fmt.Errorf("draw %s: %w", f.Name, err)
	}
	shown, _, err := viewFigures([]Figure{{Title: f.Title, Description: f.Description, SVG: svg.Bytes(), Drawing: f}})
	if err != nil {
		return nil, err
	}
	return &shown[0], nil
}

// shortCautions stand on a first page; the details have them at length.
const shortCautions = "This describes movement and names no disease; a veterinarian diagnoses. A change after a treatment does not show that the treatment did it. " +
	"A horse that is clearly lame at the walk is not trotted up: call the vet. Hard hat, gloves and boots; touching a sore place can draw a kick or a bite. " +
	"Who may treat, and with what, is set by local law and the rules of the sport."

// The template sees exported names only.
type frontView struct {
	Sentence string
	Course   string
	Rows     *tableView
	Legend   string
	Stills   []stillView
	Note     string
	Why      string
	Steps    template.HTML
	Felt     template.HTML
	Noted    *tableView
	Next     []string
	Cautions string
}

type stillView struct {
	Title, Alt    string
	URL           template.URL
	Width, Height int
}

func (f *front) view() *frontView {
	if f == nil {
		return nil
	}
	v := &frontView{Sentence: valid(f.sentence), Course: valid(f.course), Note: f.note, Why: f.why, Next: f.next, Cautions: shortCautions}
	if len(f.rows.rows) > 0 {
		v.Rows, v.Legend = f.rows.view(), f.legend
	}
	for _, s := range f.stills {
		v.Stills = append(v.Stills, stillView{s.Title, s.Alt, dataURL(s.JPEG), s.Width, s.Height})
	}
	if f.steps != nil {
		v.Steps = f.steps.picture
	}
	if f.felt != nil {
		v.Felt = f.felt.picture
	}
	if len(f.noted.rows) > 0 {
		v.Noted = f.noted.view()
	}
	return v
}
