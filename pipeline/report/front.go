package report

import (
	"bytes"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/glance"
	"jogstrip/plots"
)

// Front is what a report's first page shows beside its numbers.
type Front struct {
	// Visits are words for the visits that the page sets beside each other, in order of time;
	// empty: before and now.
	Visits     []string
	Stills     []Still // Side by side, in this order.
	StillsNote string  // What they show and how they were chosen.
	StillsWhy  string  // Why there are none; empty where there are some.
	Steps      Figure  // Where the feet are set down; without a picture it is left out.
	Felt       Figure  // What hands felt; likewise.
	// Course is what became of the horse from visit to visit, of a history, or what else
	// changed between two visits; in sentences.
	Course      string
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

// Noted is what a person wrote down of one thing, at one visit or at several.
type Noted struct {
	What  string
	Texts []string // One a visit, in order of time; empty where nothing was.
}

// front is a first page, made ready.
type front struct {
	sentence string
	rows     []table // One, or one for each of two visits that cannot be compared.
	legend   []string
	stills   []Still
	note     string
	why      string
	steps    *figureView // Nil where there is none.
	felt     *figureView
	narrow   *figureView // What hands felt for a narrow screen; nil: the same.
	noted    table
	next     []string
	course   string
	caution  string
}

// rowsLegend explains the rows of a first page, a sentence or two a line. On which side a bar
// goes stands in words beside it.
var rowsLegend = []string{
	"Grey band: what sound horses show. Bar: more uneven than that, toward the side that is named beside it.",
	"Thin line: where the true value lies 19 times in 20. Even: all of it is in the band. Roughly even: it reaches a little out. Dashed: too uncertain to say.",
}

// changesLegend explains what a comparison's rows have beside that.
const changesLegend = "±: what chance and ordinary days can make. Only a larger change counts. Wider for measures judged together, narrower for one chosen before filming."

// paleLegend explains bars that another limb explains.
const paleLegend = "Pale bar: no finding of its own; it fits the limb that is named beside it."

// legendOf explains what the tables of a page show.
func legendOf(parts []part) []string {
	out, pale := slices.Clone(rowsLegend), false
	var rows []glance.Row
	var visits []*metrics.Summary
	for _, p := range parts {
		rows, visits = append(rows, p.rows...), append(visits, p.visits...)
		if p.compared {
			out = append(out, changesLegend)
		}
	}
	for _, r := range rows {
		for _, b := range append([]*glance.Bar{r.Before, r.Now}, r.Between...) {
			pale = pale || b != nil && b.Explained
		}
	}
	if pale {
		out = append(out, paleLegend)
	}
	return append(out, glance.Carried(rows, visits...)...)
}

// noCause stands right below the sentence of visits that are compared.
const noCause = "A change after a treatment does not show that the treatment did it."

// leftRight is the title of the rows of a first page.
const leftRight = "Left against right"

// part is one table of a first page: of a visit, or of two beside each other.
type part struct {
	title    string
	rows     []glance.Row
	visits   []*metrics.Summary // That the rows are of.
	compared bool
	days     []string // Of a history: its visits, one below the other.
	tight    bool     // One of two tables, which share the page.
}

// newFront makes the first page of a report. compared tells whether the page is about two
// visits.
func newFront(sentence string, compared bool, f Front, parts ...part) (*front, error) {
	out := &front{sentence: sentence, stills: f.Stills, note: f.StillsNote, why: f.StillsWhy, next: f.NextFilming, course: f.Course}
	var of []*metrics.Summary
	for _, p := range parts {
		t, barred, err := p.table()
		if err != nil {
			return nil, err
		}
		if barred {
			out.legend = legendOf(parts)
		}
		out.rows, of = append(out.rows, t), append(of, p.visits...)
		if p.compared {
			out.course = strings.TrimSpace(noCause + " " + f.Course)
		}
	}
	if !drawsLevels(of) {
		out.note = ""
	}
	out.caution = glance.Mislead(sentence, of...)
	for figure, into := range map[*Figure]**figureView{&f.Steps: &out.steps, &f.Felt: &out.felt} {
		shown, _, err := viewFigures([]Figure{*figure})
		if err != nil {
			return nil, err
		}
		if len(shown) > 0 {
			*into = &shown[0]
		}
	}
	if d := f.Felt.Drawing; d != nil && d.Narrow != nil {
		var err error
		if out.narrow, err = viewDrawing(d.Narrow); err != nil {
			return nil, err
		}
	}
	var shown []string
	if compared {
		shown = f.Visits
		if len(shown) == 0 {
			shown = []string{"before", "now"}
		}
	}
	out.noted = notedTable(f.Noted, shown)
	return out, nil
}

// drawsLevels reports whether pictures of the visits have the levels that a note explains: of
// clips without lengths they have none.
func drawsLevels(visits []*metrics.Summary) bool {
	return slices.ContainsFunc(visits, func(s *metrics.Summary) bool {
		return slices.ContainsFunc(s.Levels, func(l geometry.Level) bool { return l.AtLeast(geometry.LevelHeight) })
	})
}

// table makes the rows; barred tells whether any has a bar.
func (p part) table() (t table, barred bool, err error) {
	visits := p.days
	if p.compared && len(visits) == 0 {
		visits = []string{"before", "now"}
	}
	axis, err := viewDrawing(plots.GlanceAxis(visits))
	if err != nil {
		return t, false, err
	}
	last := "What is seen"
	switch {
	case len(p.days) > 0:
		last = "First to last, with its 95 % interval"
	case p.compared:
		last = "What changed, with its 95 % interval"
	}
	t = table{caption: p.title, glance: true, dense: p.compared || p.tight, quiet: p.title == leftRight, head: []string{"Question", "Left, even, right", last}, headFigure: axis}
	for _, r := range p.rows {
		row := tableRow{counts: r.Counts && !r.Explained(), cells: []tableCell{textCell(r.Question)}}
		if r.Followed {
			row.cells[0].under = "chosen before filming"
		}
		if r.Missing || r.Now == nil && r.Before == nil {
			row.cells = append(row.cells, tableCell{text: plain(sentenceCase(r.Words)), soft: true, across: 2})
			t.rows = append(t.rows, row)
			continue
		}
		picture, err := viewDrawing(plots.GlanceBar(sideBars(r, len(visits)), plots.GlanceOptions{Visits: visits, Tight: p.tight}, r.Question+": "+r.Words))
		if err != nil {
			return t, false, err
		}
		row.cells = append(row.cells, tableCell{figure: picture}, p.said(r))
		t.rows = append(t.rows, row)
		barred = true
	}
	if !barred { // Nothing was measured: there is only why.
		t.head, t.headFigure, t.rows = []string{"Question", "Why there is no answer"}, nil, p.unanswered()
	}
	return t, barred, nil
}

// unanswered lists why there are no answers, each reason once with the questions.
func (p part) unanswered() []tableRow {
	var reasons []string
	questions := map[string][]string{}
	for _, r := range p.rows {
		if questions[r.Words] == nil {
			reasons = append(reasons, r.Words)
		}
		questions[r.Words] = append(questions[r.Words], r.Question)
	}
	var out []tableRow
	for _, r := range reasons {
		out = append(out, tableRow{cells: []tableCell{textCell(strings.Join(questions[r], " · ")), {text: plain(sentenceCase(r)), soft: true}}})
	}
	return out
}

// said puts a row in words; of a comparison its verdict with the change stands first.
func (p part) said(r glance.Row) tableCell {
	c := tableCell{text: []span{{text: sentenceCase(r.Words), strong: r.Counts && r.Note != ""}}, under: r.Note, words: true}
	if r.Fits != "" {
		fits := sentenceCase(r.Fits)
		if r.Explained() {
			fits += ": " + r.Note
		}
		c.text, c.under = []span{{text: fits, strong: r.Counts && !r.Explained()}}, r.Words
	}
	if !p.compared || r.Verdict == "" || r.Verdict == metrics.NotJudged {
		return c
	}
	verdict, by := sentenceCase(string(r.Verdict)), ": "
	if r.Counts {
		by = " by "
	}
	if r.Verdict == metrics.Improved { // As the sentence above says it.
		verdict = "Better"
	}
	if r.Change != "" {
		verdict += by + r.Change
	}
	c.text, c.under = []span{{text: verdict, strong: r.Counts}}, r.Words
	if r.Fits != "" {
		c.under += "; " + r.Fits
	}
	return c
}

// notedTable puts what was written down of one visit, or of those named, into a table.
func notedTable(noted []Noted, visits []string) table {
	if len(noted) == 0 {
		return table{}
	}
	t := table{caption: "Written down, not measured", head: []string{"Written down", "This visit"}, compact: true, quiet: true}
	if len(visits) > 0 {
		t.head = t.head[:1]
		for _, v := range visits {
			t.head = append(t.head, sentenceCase(v))
		}
	}
	for _, n := range noted {
		row := tableRow{cells: []tableCell{textCell(n.What)}}
		for _, text := range n.Texts {
			row.cells = append(row.cells, orCell(text, "not noted"))
		}
		t.rows = append(t.rows, row)
	}
	return t
}

// sideBars returns a row's bars, of the visits shown, the latest last.
func sideBars(r glance.Row, visits int) []*plots.SideBar {
	if visits == 0 {
		return []*plots.SideBar{sideBar(r.Now)}
	}
	out := []*plots.SideBar{sideBar(r.Before)}
	for _, b := range r.Between {
		out = append(out, sideBar(b))
	}
	return append(out, sideBar(r.Now))
}

func sideBar(b *glance.Bar) *plots.SideBar {
	if b == nil {
		return nil
	}
	return &plots.SideBar{Value: b.Value, Low: b.Low, High: b.High, Counts: b.Says == glance.Uneven, Open: b.Says == glance.Unsettled, Pale: b.Explained}
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
const shortCautions = "This describes movement and names no disease; a veterinarian diagnoses. " +
	"A horse that is clearly lame at the walk is not trotted up: call the vet. Hard hat, gloves and boots; touching a sore place can draw a kick or a bite. " +
	"Who may treat, and with what, is set by local law and the rules of the sport."

// The template sees exported names only.
type frontView struct {
	Sentence string
	Course   string
	Caution  string
	Rows     []*tableView
	Legend   []string
	Stills   []stillView
	Note     string
	Why      string
	Steps    template.HTML
	Felt     template.HTML
	Narrow   template.HTML
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
	v := &frontView{Sentence: valid(f.sentence), Course: valid(f.course), Caution: f.caution, Note: f.note, Why: f.why, Next: f.next, Cautions: shortCautions}
	for i := range f.rows {
		if len(f.rows[i].rows) > 0 {
			v.Rows, v.Legend = append(v.Rows, f.rows[i].view()), f.legend
		}
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
	if f.narrow != nil {
		v.Narrow = f.narrow.picture
	}
	if len(f.noted.rows) > 0 {
		v.Noted = f.noted.view()
	}
	return v
}
