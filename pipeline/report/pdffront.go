package report

import (
	"bytes"
	"fmt"
	"math"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of a first page, points.
const (
	leadSize    = 16
	legendSize  = 7
	stillHeight = 128 // At most.
	stillGap    = 8
)

// front sets the first page: it fits on one sheet unless much was written down.
func (s *sheet) front(p *Page) {
	f := p.front
	s.flow(plain(f.sentence), textStyle{size: leadSize, bold: true}, sideMargin, contentWidth)
	s.gap(4)
	legend := textStyle{size: legendSize, soft: true}
	if len(f.rows.rows) > 0 {
		s.table(&f.rows)
		s.gap(-5)
		s.flow(plain(f.legend), legend, sideMargin, contentWidth)
		s.gap(6)
	}
	switch {
	case len(f.stills) > 0:
		s.stills(f.stills)
		s.flow(plain(f.note), legend, sideMargin, contentWidth)
		s.gap(6)
	case f.why != "":
		s.flow(plain(f.why), legend, sideMargin, contentWidth)
		s.gap(6)
	}
	s.beside(f.figures)
	if len(f.noted.rows) > 0 {
		s.table(&f.noted)
		s.gap(-3)
	}
	if len(f.next) > 0 {
		text := []span{{text: "Next time: ", strong: true}}
		for _, n := range f.next {
			text = append(text, span{text: n + " "})
		}
		s.flow(text, textStyle{size: tableSize}, sideMargin, contentWidth)
		s.gap(4)
	}
	s.need(4 * legend.line())
	s.pdf.SetDrawColor(0x8c, 0x8c, 0x8c)
	s.pdf.SetLineWidth(0.5)
	s.pdf.Line(sideMargin, s.y, sideMargin+contentWidth, s.y)
	s.gap(2)
	s.flow(plain(shortCautions), legend, sideMargin, contentWidth)
}

// stills sets pictures side by side at one height, each with its title below.
func (s *sheet) stills(stills []Still) {
	wide := 0.0 // Of all together, as multiples of their height.
	for _, still := range stills {
		wide += float64(still.Width) / float64(still.Height)
	}
	height := math.Min(stillHeight, (contentWidth-stillGap*float64(len(stills)-1))/wide)
	title := textStyle{size: tableSize, bold: true}
	s.need(height + title.line() + 3)
	x := float64(sideMargin)
	for _, still := range stills {
		s.pictures++
		name := fmt.Sprintf("picture %d", s.pictures)
		s.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(still.JPEG))
		width := height * float64(still.Width) / float64(still.Height)
		s.pdf.ImageOptions(name, x, s.y, width, height, false, fpdf.ImageOptions{}, 0, "")
		for _, l := range s.wrap(plain(still.Title), title, width)[:1] {
			s.line(l, title, x, s.y+height+2)
		}
		x += width + stillGap
	}
	s.gap(height + title.line() + 3)
}

// beside sets figures side by side, as many as fit into a row.
func (s *sheet) beside(figures []figureView) {
	const gap = 9
	for i := 0; i < len(figures); {
		width, height, n := 0.0, 0.0, 0
		for i+n < len(figures) && figures[i+n].drawing != nil {
			w := figures[i+n].drawing.Width.Points()
			if n > 0 && width+gap+w > contentWidth+1 {
				break
			}
			if n > 0 {
				width += gap
			}
			width += w
			height = math.Max(height, figures[i+n].drawing.Height.Points())
			n++
		}
		if n == 0 {
			s.figure(&figures[i])
			i++
			continue
		}
		s.need(height + 4)
		x := float64(sideMargin)
		scale := math.Min(1, contentWidth/width)
		for _, f := range figures[i : i+n] {
			s.draw(f.drawing, x, s.y, scale)
			x += f.drawing.Width.Points()*scale + gap
		}
		s.gap(height*scale + 4)
		i += n
	}
}
