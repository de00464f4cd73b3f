package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Sizes of the paper, points (1/72 inch). The page is A4; what is printed stays
// within 178 × 259 mm in its middle, so that it comes out whole on Letter too.
const (
	paperWidth   = 595.28
	paperHeight  = 841.89
	sideMargin   = 45
	edgeMargin   = 54 // Above the first line and below the footer.
	contentWidth = paperWidth - 2*sideMargin
	footerHeight = 24
	contentEnd   = paperHeight - edgeMargin - footerHeight
	fullHeight   = contentEnd - edgeMargin
)

// Sizes of text, points, and the height of a line as a share of them.
const (
	bodySize  = 9.5
	tableSize = 8
	smallSize = 7.5
	titleSize = 17
	firstSize = 11
	leading   = 1.36
)

// figureWidth is how wide figures are drawn at most.
const figureWidth = 425

// writePDF sets a part of the page on paper: the sheet that is handed over, or the details. Nothing is written where it fails.
func writePDF(w io.Writer, p *Page, handed bool) error {
	s, err := newSheet(p, !handed && len(p.provenance.Inputs) > 0)
	if err != nil {
		return fmt.Errorf("write PDF of %q: %w", p.title, err)
	}
	if handed {
		s.handed(p, s.fittingSize(p))
	} else {
		s.newPage()
		s.titleBlock(p, handed)
		s.details(p)
	}
	if s.lacking {
		s.gap(8)
		s.flow([]span{{text: fmt.Sprintf("%c stands for a letter that the typeface of this file lacks; the page on the screen shows it.", missingRune)}}, textStyle{size: smallSize, soft: true}, sideMargin, contentWidth)
	}
	s.footers(p)
	var raw bytes.Buffer
	if err := s.pdf.Output(&raw); err != nil {
		return fmt.Errorf("write PDF of %q: %w", p.title, err)
	}
	if _, err := w.Write(dated(raw.Bytes(), p.date)); err != nil {
		return fmt.Errorf("write PDF of %q: %w", p.title, err)
	}
	return nil
}

// pdfDate finds the dates of a PDF's information dictionary.
var pdfDate = regexp.MustCompile(`/(Creation|Mod)Date \(D:[0-9]{14}\)`)

// dated leaves the dates out of a PDF where none is known: the writer would
// take them from the clock, and the same page must give the same bytes. Blanks
// keep the offsets of what follows.
func dated(pdf []byte, day time.Time) []byte {
	if !day.IsZero() {
		return pdf
	}
	return pdfDate.ReplaceAllFunc(pdf, func(found []byte) []byte { return bytes.Repeat([]byte(" "), len(found)) })
}

// details sets all that follows a first page. What a film shows, which paper can't, stands
// with the figures.
func (s *sheet) details(p *Page) {
	filmed := func(part section) bool {
		return slices.ContainsFunc(part.blocks, func(b block) bool { return b.footage != nil })
	}
	var films, order []section
	for _, part := range p.all() {
		switch {
		case filmed(part):
			films = append(films, part)
			continue
		case part.boxed || slices.ContainsFunc(part.blocks, func(b block) bool { return b.figure != nil }):
			order, films = append(order, films...), nil
		}
		order = append(order, part)
	}
	for _, part := range order {
		s.section(part)
	}
}

// titleBlock writes what stands above the first section; on the sheet to hand over the
// title gives way to its sentence.
func (s *sheet) titleBlock(p *Page, sheet bool) {
	letterhead := p.header.Letterhead
	if sheet && len(letterhead) > 0 { // Room is scarce there.
		letterhead = []string{strings.Join(letterhead, " · ")}
	}
	for _, line := range letterhead {
		s.flow(plain(line), textStyle{size: smallSize + 0.5, soft: true}, sideMargin, contentWidth)
	}
	if len(p.header.Letterhead) > 0 {
		s.gap(6)
	}
	size := float64(titleSize)
	if sheet {
		size = firstSize
	}
	s.flow(plain(p.title), textStyle{size: size, bold: true}, sideMargin, contentWidth)
	if len(p.under) > 0 && !sheet {
		s.gap(1)
		s.flow(p.under, textStyle{size: bodySize, soft: true}, sideMargin, contentWidth)
	}
	s.gap(6)
}

// section sets one part of the page.
func (s *sheet) section(part section) {
	switch {
	case part.first:
		s.finding(part)
		return
	case part.boxed:
		s.box(part)
		return
	}
	if part.title != "" {
		s.heading(part.title, s.leastHeight(part, 0))
	}
	for i, b := range part.blocks {
		s.block(b, s.leastHeight(part, i+1))
	}
	if len(part.terms) > 0 {
		s.termList(part.terms)
	}
}

// finding sets the part that is read before everything else, with a line at
// its side.
func (s *sheet) finding(part section) {
	const indent = 12
	style := textStyle{size: firstSize, bold: true}
	s.need(3 * firstSize * leading)
	page, top := s.pdf.PageNo(), s.y
	s.flow(plain(part.title), style, sideMargin+indent, contentWidth-indent)
	s.pdf.Bookmark(s.show(part.title), 0, top)
	for i, b := range part.blocks {
		s.gap(3)
		style := textStyle{size: bodySize}
		if i == 0 {
			style.size = firstSize
		}
		if len(b.list) > 0 {
			s.bullets(b.list, sideMargin+indent, contentWidth-indent)
			continue
		}
		s.flow(b.text, style, sideMargin+indent, contentWidth-indent)
	}
	if s.pdf.PageNo() != page {
		top = edgeMargin
	}
	s.pdf.SetFillColor(0x3c, 0x3c, 0x3c)
	s.pdf.Rect(sideMargin, top, 3, s.y-top+2, "F")
	s.gap(10)
}

// box sets the cautions, whole and framed.
func (s *sheet) box(part section) {
	const pad = 9
	height := 2*pad + firstSize*leading + 3
	for _, b := range part.blocks {
		height += s.listHeight(b.list, contentWidth-2*pad)
	}
	s.gap(10)
	s.need(height)
	top := s.y
	s.gap(pad)
	s.pdf.Bookmark(s.show(part.title), 0, top)
	s.flow(plain(part.title), textStyle{size: firstSize, bold: true}, sideMargin+pad, contentWidth-2*pad)
	s.gap(3)
	for _, b := range part.blocks {
		s.bullets(b.list, sideMargin+pad, contentWidth-2*pad)
	}
	s.gap(pad - 3)
	s.pdf.SetDrawColor(0x8c, 0x8c, 0x8c)
	s.pdf.SetLineWidth(0.75)
	s.pdf.Rect(sideMargin, top, contentWidth, s.y-top, "D")
	s.gap(6)
}

// heading sets the title of a section, never at the foot of a page: least is
// the height of what must follow it there.
func (s *sheet) heading(title string, least float64) {
	style := textStyle{size: 12.5, bold: true}
	lines := s.wrap(plain(title), style, contentWidth)
	height := float64(len(lines))*style.line() + 6
	if s.y > edgeMargin {
		s.gap(13)
	}
	s.need(height + least)
	s.pdf.Bookmark(s.show(title), 0, s.y)
	s.lines(lines, style, sideMargin)
	s.across(s.y+1.5, contentWidth, 0.75, 0x8c)
	s.gap(6)
}

// block sets one thing; least is the height of what must follow a heading.
func (s *sheet) block(b block, least float64) {
	switch {
	case b.heading != "":
		style := textStyle{size: 10.5, bold: true}
		s.gap(7)
		s.need(style.line() + 3 + least)
		s.flow(plain(b.heading), style, sideMargin, contentWidth)
		s.gap(3)
	case len(b.text) > 0:
		s.flow(b.text, textStyle{size: bodySize}, sideMargin, contentWidth)
		s.gap(4)
	case len(b.list) > 0:
		s.bullets(b.list, sideMargin, contentWidth)
		s.gap(3)
	case b.table != nil:
		s.table(b.table)
	case b.figure != nil:
		s.figure(b.figure)
	case b.footage != nil:
		v := b.footage.view
		if v.Title != "" {
			s.block(block{heading: v.Title}, 3*bodySize*leading)
		}
		s.block(paragraph(v.Words), 0)
		for i, drawing := range b.footage.drawings {
			if title := v.Pictures[i].Title; title != "" {
				s.block(block{heading: title}, drawing.Height.Points())
			}
			s.figure(&figureView{drawing: drawing})
		}
	}
}

// leastHeight returns how much of what begins with block i must stay on one
// page with a heading before it.
func (s *sheet) leastHeight(part section, i int) float64 {
	if i >= len(part.blocks) {
		if len(part.terms) > 0 {
			return 3 * bodySize * leading
		}
		return 0
	}
	b := part.blocks[i]
	switch {
	case b.heading != "":
		return 10.5*leading + 10 + s.leastHeight(part, i+1)
	case len(b.text) > 0:
		// A line of text alone under a heading is no content; what it
		// introduces stays with it.
		height := float64(len(s.wrap(b.text, textStyle{size: bodySize}, contentWidth)))*bodySize*leading + 4
		if i+1 < len(part.blocks) {
			height += s.leastHeight(part, i+1)
		}
		return math.Min(height, fullHeight/2)
	case len(b.list) > 0:
		return math.Min(s.listHeight(b.list[:1], contentWidth), fullHeight/3)
	case b.table != nil:
		return s.plan(b.table).least()
	case b.figure != nil:
		return figureHeight(b.figure)
	case b.footage != nil:
		return 3 * bodySize * leading
	}
	return 0
}

const bulletIndent = 11

func (s *sheet) bullets(items [][]span, x, width float64) {
	style := textStyle{size: bodySize}
	for _, item := range items {
		lines := s.wrap(item, style, width-bulletIndent)
		s.need(math.Min(float64(len(lines)), 4) * style.line())
		s.text(x+2, s.y, "•", style)
		s.lines(lines, style, x+bulletIndent)
		s.gap(1.5)
	}
}

func (s *sheet) listHeight(items [][]span, width float64) float64 {
	style := textStyle{size: bodySize}
	height := 0.0
	for _, item := range items {
		height += float64(len(s.wrap(item, style, width-bulletIndent)))*style.line() + 1.5
	}
	return height
}

// termList sets words beside their meanings.
func (s *sheet) termList(terms []term) {
	name, meaning := textStyle{size: bodySize, bold: true}, textStyle{size: bodySize}
	column := 0.0
	for _, t := range terms {
		column = math.Max(column, s.width(s.show(t.Word), name))
	}
	column = math.Min(column+14, contentWidth/2)
	for _, t := range terms {
		left, right := s.wrap(plain(t.Word), name, column-8), s.wrap(plain(t.Meaning), meaning, contentWidth-column)
		s.need(float64(max(len(left), len(right))) * meaning.line())
		top := s.y
		s.lines(left, name, sideMargin)
		bottom := s.y
		s.y = top
		s.lines(right, meaning, sideMargin+column)
		s.y = math.Max(s.y, bottom) + 2
	}
}

func figureHeight(f *figureView) float64 {
	if f.drawing == nil {
		return 3 * bodySize * leading
	}
	return f.drawing.Height.Points()*figureScale(f) + 10
}

func figureScale(f *figureView) float64 {
	scale := math.Min(1, figureWidth/f.drawing.Width.Points())
	// The highest still stands below its section's heading.
	const headed = 60
	return math.Min(scale, (fullHeight-headed)/f.drawing.Height.Points())
}

// figure draws a picture, or says in words what it would show.
func (s *sheet) figure(f *figureView) {
	if f.drawing == nil {
		s.flow(plain(f.label), textStyle{size: bodySize, soft: true}, sideMargin, contentWidth)
		s.gap(6)
		return
	}
	s.need(figureHeight(f))
	s.draw(f.drawing, sideMargin, s.y, figureScale(f))
	s.gap(figureHeight(f))
}

// footers writes, at the foot of every page, what it is about and its number.
func (s *sheet) footers(p *Page) {
	var about []string
	if p.header.Horse != "" {
		about = append(about, p.header.Horse)
	}
	if title := strings.TrimPrefix(p.title, p.header.Horse+": "); title != "" {
		about = append(about, title)
	}
	if day := date(p.date); day != "" && !strings.Contains(p.title, day) {
		about = append(about, day)
	}
	style := textStyle{size: smallSize, soft: true}
	last := s.pdf.PageNo()
	for n := 1; n <= last; n++ {
		s.pdf.SetPage(n)
		s.current = textStyle{}
		number := fmt.Sprintf("page %d of %d", n, last)
		y := paperHeight - edgeMargin - style.line()
		room := contentWidth - s.width(number, style) - 20
		s.across(y-3, contentWidth, 0.5, 0xd0)
		if lines := s.wrap(plain(strings.Join(about, " · ")), style, room); len(lines) > 0 {
			s.line(lines[0], style, sideMargin, y)
		}
		s.text(sideMargin+contentWidth-s.width(number, style), y, number, style)
	}
}
