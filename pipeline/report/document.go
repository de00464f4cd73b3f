package report

import (
	"fmt"
	"html/template"
	"io"
	"slices"
	"time"

	"jogstrip/plots"
)

// Page is one page, made once and written in either form: what stands on it
// cannot differ between the two.
type Page struct {
	title      string
	header     Header
	date       time.Time // Of what the page is about; zero is not known.
	under      []span    // The line below the title.
	filmed     bool      // It shows a film.
	front      *front    // The first page; nil on pages that have none.
	sections   []section
	caution    []string
	terms      []term // Words explained; none on pages that use few.
	provenance Provenance
}

// HTML writes the page as one self-contained file.
func (p *Page) HTML(w io.Writer) error { return writeHTML(w, p) }

// PDF writes what is handed over as a document for paper: the first page, or all of a
// page that has none. The same page gives the same bytes.
func (p *Page) PDF(w io.Writer) error {
	if p.front == nil {
		return p.Details(w)
	}
	return writePDF(w, p, true)
}

// Details writes what follows the first page as a document for paper.
func (p *Page) Details(w io.Writer) error { return writePDF(w, p, false) }

// section is a part of a page. One without a title belongs to what stands
// before it.
type section struct {
	title  string
	id     string // For links within the page; empty where none leads here.
	first  bool   // The finding: what is read before everything else.
	boxed  bool   // The cautions.
	blocks []block
	terms  []term
}

// block is one thing in a section; exactly one field is set.
type block struct {
	heading string
	text    []span
	list    [][]span
	table   *table
	figure  *figureView
	footage *shownFootage
}

// span is a piece of running text.
type span struct {
	text   string
	link   string // Relative to the page; only in HTML, for a PDF travels alone.
	strong bool
}

// table is a table with a header row; the first cell of a row names it.
type table struct {
	caption string
	note    string
	facts   bool // Narrow, a name and what is known of it.
	wide    bool // May be wider than a small screen.
	glance  bool // The rows of a first page.
	dense   bool // Of these, rows of two lines.
	compact bool // Set small.
	quiet   bool // Its caption is for those who don't see it.
	head    []string
	rows    []tableRow
	// headFigure stands in the header of the second column, in place of its word.
	headFigure *figureView
}

type tableRow struct {
	counts bool // To be noticed: beyond tolerance, or changed.
	cells  []tableCell
}

type tableCell struct {
	text   []span
	under  string // A second line: a unit or an interval.
	number bool
	words  bool // Says in words why the row counts.
	code   bool
	soft   bool // Not what the eye should catch first.
	across int  // Columns it takes; 0 is one.
	figure *figureView
	thumb  []byte // A small JPEG beside the text; on the screen only.
}

// figureView is a figure made ready: the picture for HTML, the drawing for paper.
type figureView struct {
	label   string // Title and what it shows, in words.
	picture template.HTML
	drawing *plots.Figure // Nil where only a picture was given.
}

func plain(s string) []span { return []span{{text: s}} }

func paragraph(s string) block { return block{text: plain(s)} }

func textCell(s string) tableCell { return tableCell{text: plain(s)} }

// orCell is textCell with another word where nothing was written.
func orCell(s, nothing string) tableCell {
	if s == "" {
		s = nothing
	}
	return textCell(s)
}

func countCell(n int) tableCell { return tableCell{text: plain(fmt.Sprint(n)), number: true} }

func valueCell(c cell) tableCell {
	return tableCell{text: plain(c.Value), under: c.Interval, number: true}
}

// nameCell names a row by a title over a unit.
func nameCell(title, unit string) tableCell { return tableCell{text: plain(title), under: unit} }

func linkCell(s, link string) tableCell { return tableCell{text: []span{{text: s, link: link}}} }

func (s *section) add(b ...block) { s.blocks = append(s.blocks, b...) }

// paragraphs adds every text that is not empty.
func (s *section) paragraphs(texts ...string) {
	for _, t := range texts {
		if t != "" {
			s.add(paragraph(t))
		}
	}
}

// list adds a list under a heading, or nothing where there is nothing to list.
func (s *section) list(heading string, items []string) {
	if len(items) == 0 {
		return
	}
	if heading != "" {
		s.add(block{heading: heading})
	}
	var b block
	for _, i := range items {
		b.list = append(b.list, plain(i))
	}
	s.add(b)
}

// table adds t where it has rows.
func (s *section) table(t table) {
	if len(t.rows) > 0 {
		s.add(block{table: &t})
	}
}

func sentences(texts []string) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = sentence(t)
	}
	return out
}

// figures makes the section of all figures, and of those that could not be
// drawn.
func figures(all []Figure) (section, error) {
	shown, missing, err := viewFigures(all)
	if err != nil {
		return section{}, err
	}
	s := section{title: "Figures"}
	for i := range shown {
		s.add(block{figure: &shown[i]})
	}
	s.list("Not drawn", missing)
	return s, nil
}

// build adds what has content.
func (p *Page) build(sections ...section) {
	for _, s := range sections {
		if len(s.blocks) > 0 {
			p.sections = append(p.sections, s)
			p.filmed = p.filmed || slices.ContainsFunc(s.blocks, func(b block) bool { return b.footage != nil })
		}
	}
}

// all returns the sections of the page in their order, with those that every
// page ends with.
func (p *Page) all() []section {
	out := append([]section(nil), p.sections...)
	cautions := section{title: "Before you act on this", boxed: true}
	cautions.list("", p.caution)
	out = append(out, cautions)
	if len(p.terms) > 0 {
		out = append(out, section{title: "Words", terms: p.terms})
	}
	return append(out, p.provenance.section(p.header.Printed))
}

// section says where the numbers come from.
func (p Provenance) section(printed time.Time) section {
	s := section{title: "Where these numbers come from"}
	text := "The program did not give its version."
	if p.Program != "" {
		text = "Measured by " + p.Program
		for _, t := range p.Tools {
			text += ", " + t.Name + " " + t.Version
		}
		text += "."
	}
	text += " The same files give the same numbers."
	if day := date(printed); day != "" {
		text += " Page written on " + day + "."
	}
	s.add(paragraph(text))
	t := table{caption: "What was measured, with its SHA-256", facts: true, wide: true, head: []string{"What", "SHA-256"}}
	for _, i := range p.Inputs {
		t.rows = append(t.rows, tableRow{cells: []tableCell{textCell(i.Name), {text: plain(i.SHA256), code: true}}})
	}
	s.table(t)
	return s
}

// titled puts the horse's name before a title.
func titled(horse, title string) string {
	if horse == "" {
		return title
	}
	return horse + ": " + title
}

// orWord returns text, or instead where it is empty.
func orWord(text, instead string) string {
	if text == "" {
		return instead
	}
	return text
}
