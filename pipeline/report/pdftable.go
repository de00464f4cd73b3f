package report

import (
	"math"
	"strings"
)

// Space around the text of a table's cell, points.
const (
	cellGap = 7   // Between columns.
	cellPad = 2.4 // Above and below.
)

// tablePlan is a table laid out for paper: how wide its columns are and into
// which lines its text breaks.
type tablePlan struct {
	style   textStyle
	caption []textLine
	note    []textLine
	head    *plannedRow // Nil where there is none.
	rows    []plannedRow
	widths  []float64
	keep    bool // Short enough to stay on one page.
	middle  bool // Text stands in the middle of a row's height.
}

type plannedRow struct {
	cells []plannedCell
}

type plannedCell struct {
	column int
	lines  []textLine
	under  []textLine
	style  textStyle
	figure *figureView // Drawn in place of lines.
}

// height returns how tall the cell is, points.
func (c *plannedCell) height() float64 {
	if c.figure != nil {
		return c.figure.drawing.Height.Points()
	}
	return float64(len(c.lines)+len(c.under)) * c.style.line()
}

// height returns how tall the row is, points.
func (r *plannedRow) height() float64 {
	tallest := 0.0
	for _, c := range r.cells {
		tallest = math.Max(tallest, c.height())
	}
	return tallest + 2*cellPad
}

func (p *tablePlan) captionHeight() float64 {
	return float64(len(p.caption)+len(p.note))*textStyle{size: tableSize + 0.5}.line() + 6
}

func (p *tablePlan) headHeight() float64 {
	if p.head == nil {
		return 0
	}
	return p.head.height()
}

func (p *tablePlan) height() float64 {
	h := p.captionHeight() + p.headHeight() + 8
	for i := range p.rows {
		h += p.rows[i].height()
	}
	return h
}

// least returns the height of what must stay together: all of a short table,
// else caption, header and the first two rows.
func (p *tablePlan) least() float64 {
	if p.keep {
		return p.height()
	}
	h := p.captionHeight() + p.headHeight()
	for i := range min(len(p.rows), 2) {
		h += math.Min(p.rows[i].height(), fullHeight/4)
	}
	return h
}

// plan lays a table out, once.
func (s *sheet) plan(t *table) *tablePlan {
	if p, known := s.plans[t]; known {
		return p
	}
	p := &tablePlan{style: textStyle{size: tableSize}, middle: t.glance}
	label := textStyle{size: tableSize + 0.5, bold: true}
	if !t.quiet {
		p.caption = s.wrap(plain(t.caption), label, contentWidth)
	}
	if t.note != "" {
		label.bold = false
		p.note = s.wrap(plain(t.note), label, contentWidth)
	}
	// A table of many columns is set smaller before its words are broken.
	sizes := []float64{tableSize, 7.2, 6.5, 5.8}
	switch {
	case t.dense:
		sizes = append([]float64{8.2}, sizes...)
	case t.glance:
		sizes = append([]float64{bodySize}, sizes...)
	case t.compact:
		sizes = []float64{7.5, 6.5, 5.8}
	}
	for _, size := range sizes {
		p.style.size = size
		if s.columns(p, t) {
			break
		}
	}
	if len(t.head) > 0 {
		head := tableRow{}
		for _, h := range t.head {
			head.cells = append(head.cells, textCell(h))
		}
		if t.headFigure != nil {
			head.cells[1] = tableCell{figure: t.headFigure}
		}
		row := s.planRow(p, head, true)
		p.head = &row
	}
	for _, r := range t.rows {
		p.rows = append(p.rows, s.planRow(p, r, false))
	}
	p.keep = p.height() <= fullHeight/3
	s.plans[t] = p
	return p
}

// cellStyle returns how the cell is set; column 0 names the row.
func cellStyle(base textStyle, t *table, r tableRow, column int, head bool) textStyle {
	c := r.cells[column]
	base.bold = head || r.counts && (column == 0 || c.words && c.under == "")
	base.soft = !head && (c.soft || t != nil && t.facts && column == 0)
	if c.code {
		base.mono = true
		base.size *= 0.85
	}
	return base
}

// columns shares the width among the columns: every one gets its longest word
// and, as far as there is room, its whole text. It reports whether no word had
// to be broken.
func (s *sheet) columns(p *tablePlan, t *table) bool {
	n := len(t.head)
	for _, r := range t.rows {
		n = max(n, len(r.cells))
	}
	w := columnWidths{make([]float64, n), make([]float64, n)}
	w.takeHead(s, p, t)
	w.takeRows(s, p, t)
	return w.share(p, t)
}

// columnWidths is what each column needs at least, where its text is broken, and at
// most, where it is not.
type columnWidths struct{ least, most []float64 }

// take widens a column for a text; whole is whether it must not be broken.
func (w *columnWidths) take(s *sheet, column int, text string, style textStyle, whole bool) {
	text = s.show(text)
	longest := 0.0
	for _, word := range splitWords(text) {
		longest = math.Max(longest, s.width(word, style))
	}
	all := s.width(text, style)
	if whole {
		longest = all
	}
	w.least[column] = math.Max(w.least[column], longest)
	w.most[column] = math.Max(w.most[column], all)
}

func (w *columnWidths) takeHead(s *sheet, p *tablePlan, t *table) {
	for i, h := range t.head {
		if i == 1 && t.headFigure != nil {
			w.least[i] = t.headFigure.drawing.Width.Points()
			w.most[i] = w.least[i]
			continue
		}
		w.take(s, i, h, textStyle{size: p.style.size, bold: true}, false)
		// A header may take several lines; the column need not be as wide.
		w.most[i] = math.Min(w.most[i], math.Max(w.least[i], 60))
	}
}

func (w *columnWidths) takeRows(s *sheet, p *tablePlan, t *table) {
	for _, r := range t.rows {
		column := 0
		for i, c := range r.cells {
			if c.figure != nil {
				column++
				continue
			}
			style := cellStyle(p.style, t, r, i, false)
			text := ""
			for _, sp := range c.text {
				text += sp.text
			}
			if c.across <= 1 {
				// A hash may be broken, a number may not.
				if c.code {
					w.most[column] = math.Max(w.most[column], s.width(text, style))
					w.least[column] = math.Max(w.least[column], 80)
				} else {
					// A number is never broken, nor a short name such as a date.
					w.take(s, column, text, style, c.number && len(text) < 24 || i == 0 && len(text) < 18)
				}
				// An interval is not broken, words below a number may be.
				w.take(s, column, c.under, style, c.number && strings.HasPrefix(c.under, "("))
			}
			column += max(c.across, 1)
		}
	}
}

// share gives each column its part of the page. It returns false where not even the
// least that they need has room.
func (w *columnWidths) share(p *tablePlan, t *table) bool {
	n := len(w.least)
	room := contentWidth - cellGap*float64(n-1)
	var sumLeast, sumMost float64
	for i := range n {
		// A word longer than this, such as a file name, is broken.
		w.least[i] = math.Min(w.least[i], room/2.5)
		w.most[i] = math.Max(w.most[i], w.least[i])
		sumLeast, sumMost = sumLeast+w.least[i], sumMost+w.most[i]
	}
	p.widths = make([]float64, n)
	switch {
	case sumMost <= room:
		copy(p.widths, w.most)
		if !t.facts {
			// A wide table fills the page, as on the screen.
			for i := range n {
				p.widths[i] += (room - sumMost) / float64(n)
			}
			if t.headFigure != nil { // The bars keep their width.
				p.widths[n-1] += p.widths[1] - w.most[1]
				p.widths[1] = w.most[1]
			}
		}
	case sumLeast <= room:
		for i := range n {
			p.widths[i] = w.least[i] + (room-sumLeast)*(w.most[i]-w.least[i])/(sumMost-sumLeast)
		}
	default:
		for i := range n {
			p.widths[i] = w.least[i] * room / sumLeast
		}
		return false
	}
	return true
}

func splitWords(text string) []string {
	var out []string
	start := 0
	for i, r := range text {
		if r == ' ' {
			out = append(out, text[start:i])
			start = i + 1
		}
	}
	return append(out, text[start:])
}

func (s *sheet) planRow(p *tablePlan, r tableRow, head bool) plannedRow {
	var out plannedRow
	column := 0
	for i, c := range r.cells {
		style := cellStyle(p.style, nil, r, i, head)
		across := max(c.across, 1)
		width := cellGap * float64(across-1)
		for k := range across {
			width += p.widths[column+k]
		}
		// Rounding must not break what was measured to fit.
		width += 0.01
		cell := plannedCell{column: column, style: style}
		if c.figure != nil && c.figure.drawing != nil {
			cell.figure = c.figure
		} else {
			cell.lines = s.wrap(c.text, style, width)
		}
		if c.under != "" {
			cell.under = s.wrap(plain(c.under), textStyle{size: style.size, soft: true}, width)
		}
		out.cells = append(out.cells, cell)
		column += across
	}
	return out
}

// table sets a table; where it goes over a page's end its header stands above
// the rest again.
func (s *sheet) table(t *table) {
	p := s.plan(t)
	s.gap(5)
	s.need(p.least())
	label := textStyle{size: tableSize + 0.5, bold: true}
	s.lines(p.caption, label, sideMargin)
	label.bold, label.soft = false, true
	s.lines(p.note, label, sideMargin)
	s.gap(3)
	s.tableHead(p)
	for i := range p.rows {
		s.tableRow(p, &p.rows[i])
	}
	s.gap(8)
}

func (s *sheet) tableHead(p *tablePlan) {
	if p.head == nil {
		s.rule(p, s.y, 0.5, 0xd0)
		return
	}
	// Headers of different heights stand on one line.
	height := p.head.height()
	for _, c := range p.head.cells {
		if c.figure != nil {
			s.draw(c.figure.drawing, s.columnX(p, c.column), s.y+height-cellPad-c.height(), 1)
			continue
		}
		y := s.y + height - cellPad - float64(len(c.lines))*c.style.line()
		for _, l := range c.lines {
			s.line(l, c.style, s.columnX(p, c.column), y)
			y += c.style.line()
		}
	}
	s.y += height
	s.rule(p, s.y, 1, 0x4d)
}

// tableRow sets one row. A row that is taller than what is left goes to the
// next page whole, or, where it is taller than a page, line by line.
func (s *sheet) tableRow(p *tablePlan, r *plannedRow) {
	done := 0 // Lines set so far.
	for {
		left := r.remaining(done)
		if s.y+left <= contentEnd {
			s.rowLines(p, r, done, math.MaxInt)
			s.y += left
			s.rule(p, s.y, 0.5, 0xd0)
			return
		}
		fits := int((contentEnd - s.y - 2*cellPad) / p.style.line())
		// Moving a short row whole reads better than splitting it.
		if left <= fullHeight/3 || fits < 3 {
			fits = 0
		}
		if fits > 0 {
			s.rowLines(p, r, done, fits)
			done += fits
		}
		s.newPage()
		s.tableHead(p)
	}
}

// remaining returns the height of the row's lines from line done on.
func (r *plannedRow) remaining(done int) float64 {
	tallest := 0.0
	for _, c := range r.cells {
		if c.figure != nil {
			tallest = math.Max(tallest, c.height())
		}
		tallest = math.Max(tallest, float64(max(0, len(c.lines)+len(c.under)-done))*c.style.line())
	}
	return tallest + 2*cellPad
}

// rowLines sets count lines of every cell, from line first on.
func (s *sheet) rowLines(p *tablePlan, r *plannedRow, first, count int) {
	room := r.height() - 2*cellPad
	for _, c := range r.cells {
		x, y := s.columnX(p, c.column), s.y+cellPad
		if p.middle && count > len(c.lines)+len(c.under) {
			y += (room - c.height()) / 2
		}
		if c.figure != nil && first == 0 {
			s.draw(c.figure.drawing, x, y, 1)
			continue
		}
		for i := range len(c.lines) + len(c.under) {
			if i < first || i-first >= count {
				continue
			}
			if i < len(c.lines) {
				s.line(c.lines[i], c.style, x, y)
			} else {
				s.line(c.under[i-len(c.lines)], textStyle{size: c.style.size, soft: true}, x, y)
			}
			y += c.style.line()
		}
	}
}

func (s *sheet) columnX(p *tablePlan, column int) float64 {
	x := float64(sideMargin)
	for i := range column {
		x += p.widths[i] + cellGap
	}
	return x
}

func (s *sheet) rule(p *tablePlan, y, width float64, grey int) {
	end := s.columnX(p, len(p.widths)) - cellGap
	s.across(y, end-sideMargin, width, grey)
}
