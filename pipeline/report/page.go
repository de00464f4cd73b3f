package report

import (
	"bytes"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"

	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/report/stepping"
)

//go:embed templates/page.tmpl
var templateFiles embed.FS

//go:embed templates/style.css
var styleSheet string

// templates parses the embedded template once; it does not change.
var templates = sync.OnceValues(func() (*template.Template, error) {
	return template.New("").ParseFS(templateFiles, "templates/page.tmpl")
})

// Header is what stands on every page.
type Header struct {
	Letterhead []string       // Name and address of the practice or yard, a line each.
	Horse      string         // Empty on pages about more than one horse.
	Printed    time.Time      // The day the page was written; zero leaves it out.
	PDF        string         // The sheet to hand over, as PDF, relative to this page; empty where there is none.
	Details    string         // The details as PDF, likewise.
	Lengths    lengths.System // How the page's readers read lengths; numbers are given in the measures' units.
}

// Provenance says where the numbers come from, so that they can be had again.
type Provenance struct {
	Program string // "jogstrip 0.3.0".
	Tools   []Tool
	Inputs  []Input
}

// Tool is a program or library that took part.
type Tool struct{ Name, Version string }

// Input is a file or set of settings that was measured, with its hash.
type Input struct {
	Name   string
	SHA256 string // In hexadecimal.
}

// writeHTML fills the template into w. Nothing is written where it fails.
func writeHTML(w io.Writer, p *Page) error {
	t, err := templates()
	if err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "page", p.view()); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	return nil
}

// The template sees exported names only; these are the page's own.
type (
	pageView struct {
		Style      template.CSS
		Title      string
		Letterhead []string
		PDF        string
		PDFName    string
		Details    string
		Under      []spanView
		Front      *frontView
		Sections   []sectionView
		Script     template.JS // Of pages that show a film.
		Policy     string
	}
	sectionView struct {
		Title, ID, Class string
		Blocks           []blockView
		Terms            []term
	}
	blockView struct {
		Heading string
		Text    []spanView
		List    [][]spanView
		Table   *tableView
		Picture template.HTML
		Footage *footageView
	}
	spanView struct {
		Text, Link string
		Strong     bool
	}
	tableView struct {
		Caption, Note string
		Class         string
		Quiet         bool
		Wide          bool
		Head          []headView
		Rows          []rowView
	}
	headView struct {
		Text    string
		Picture template.HTML // Above the text, which then is for those who do not see it.
	}
	rowView struct {
		Counts bool
		Cells  []cellView
	}
	cellView struct {
		Text                []spanView
		Under               string
		Number, Words, Code bool
		Soft                bool
		Whole               bool // Too short to be broken.
		Across              int
		Picture             template.HTML
		Thumb               template.URL
	}
)

func (p *Page) view() pageView {
	v := pageView{Style: template.CSS(styleSheet), Title: valid(p.title), PDF: relative(p.header.PDF), PDFName: p.header.PDF, Details: relative(p.header.Details), Under: spanViews(p.under), Front: p.front.view()}
	v.Policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
	if p.filmed {
		v.Script, v.Policy = template.JS(stepping.Script), v.Policy+"; media-src 'self' file:; script-src "+stepping.Source()
	}
	for _, line := range p.header.Letterhead {
		v.Letterhead = append(v.Letterhead, valid(line))
	}
	for _, s := range p.all() {
		one := sectionView{Title: s.title, ID: s.id, Terms: s.terms}
		switch {
		case s.first:
			one.Class = "finding"
		case s.boxed:
			one.Class = "cautions"
		}
		for _, b := range s.blocks {
			one.Blocks = append(one.Blocks, b.view())
		}
		v.Sections = append(v.Sections, one)
	}
	return v
}

// valid takes out bytes that are no UTF-8: file names may hold such, a page must
// not.
func valid(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

func spanViews(spans []span) []spanView {
	var out []spanView
	for _, s := range spans {
		out = append(out, spanView{valid(s.text), s.link, s.strong})
	}
	return out
}

func (b block) view() blockView {
	v := blockView{Heading: b.heading, Text: spanViews(b.text)}
	for _, item := range b.list {
		v.List = append(v.List, spanViews(item))
	}
	if b.footage != nil {
		v.Footage = b.footage.view
	}
	if b.figure != nil {
		v.Picture = b.figure.picture
	}
	if b.table != nil {
		v.Table = b.table.view()
	}
	return v
}

func (t *table) view() *tableView {
	v := &tableView{Caption: valid(t.caption), Note: valid(t.note), Wide: t.wide, Quiet: t.quiet}
	switch {
	case t.facts:
		v.Class = "facts"
	case t.glance && t.headFigure == nil:
		v.Class = "glance unanswered"
	case t.glance:
		v.Class = "glance"
	case t.compact:
		v.Class = "compact"
	}
	for i, text := range t.head {
		h := headView{Text: text}
		if i == 1 && t.headFigure != nil {
			h.Picture = t.headFigure.picture
		}
		v.Head = append(v.Head, h)
	}
	for _, r := range t.rows {
		row := rowView{Counts: r.counts}
		for i, c := range r.cells {
			cell := cellView{Text: spanViews(c.text), Under: c.under, Number: c.number, Words: c.words, Code: c.code, Soft: c.soft, Across: c.across}
			cell.Whole = t.wide && len(c.text) == 1 && (len(c.text[0].text) < 12 || i == 0 && len(c.text[0].text) < 18)
			if len(c.thumb) > 0 {
				cell.Thumb = dataURL(c.thumb)
			}
			if c.figure != nil {
				cell.Picture = c.figure.picture
			}
			row.Cells = append(row.Cells, cell)
		}
		v.Rows = append(v.Rows, row)
	}
	return v
}

// dataURL puts a JPEG into the page.
func dataURL(jpeg []byte) template.URL {
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpeg))
}

// spread writes a track's spread, or a dash where it is not known.
func spread(sd float64) string {
	if sd <= 0 {
		return "–"
	}
	return number(sd, 2)
}
