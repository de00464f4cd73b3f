package report

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// Sizes of a first page, points.
const (
	leadSize    = 16
	legendSize  = 7
	stillHeight = 150
	stillGap    = 8
)

// pictureSize is by how much pictures of a first page are drawn smaller, where that saves a
// sheet.
type pictureSize struct{ stills, felt float64 }

// pictureSizes are tried in this order.
func pictureSizes() []pictureSize {
	return []pictureSize{{1, 1}, {0.95, 1}, {0.9, 1}, {0.85, 1}, {0.8, 1}, {0.75, 1}, {0.7, 1}, {0.65, 1}, {0.65, 0.9}, {0.65, 0.8}, {0.6, 0.8}, {0.5, 0.8}, {0.45, 0.7}, {0.45, 0.6}}
}

// fittingSize returns the size at which all is on one sheet; the first where none is.
func (s *sheet) fittingSize(p *Page) pictureSize {
	s.trial = true
	defer func() { s.trial = false }()
	for _, size := range pictureSizes() {
		s.pages = 0
		if s.handed(p, size); s.pages == 1 {
			return size
		}
	}
	return pictureSizes()[0]
}

// handed sets the sheet that is handed over.
func (s *sheet) handed(p *Page, size pictureSize) {
	s.newPage()
	s.titleBlock(p, true)
	s.front(p, size)
}

// front sets the first page with its pictures in the given size: it fits on one sheet unless
// much was written down.
func (s *sheet) front(p *Page, size pictureSize) {
	f := p.front
	s.flow(plain(f.sentence), textStyle{size: leadSize, bold: true}, sideMargin, contentWidth)
	s.gap(4)
	if text := strings.TrimSpace(f.course + " " + f.caution); text != "" {
		s.flow(plain(text), textStyle{size: tableSize}, sideMargin, contentWidth)
		s.gap(2)
	}
	legend := textStyle{size: legendSize, soft: true}
	for i := range f.rows {
		if len(f.rows[i].rows) > 0 {
			s.table(&f.rows[i])
			s.gap(-5)
		}
	}
	if len(f.rows) > 0 {
		for _, line := range f.legend {
			s.flow(plain(line), legend, sideMargin, contentWidth)
		}
		s.gap(6)
	}
	s.shown(f, size.stills*stillHeight)
	switch {
	case len(f.stills) > 0:
		s.flow(plain(f.note), legend, sideMargin, contentWidth)
		s.gap(6)
	case f.why != "":
		s.flow(plain(f.why), legend, sideMargin, contentWidth)
		s.gap(6)
	}
	s.felt(f, size.felt)
	if len(f.next) > 0 {
		text := []span{{text: "Next: ", strong: true}}
		for _, n := range f.next {
			text = append(text, span{text: n + " "})
		}
		s.flow(text, textStyle{size: tableSize}, sideMargin, contentWidth)
		s.gap(4)
	}
	s.need(3*legend.line() + 2)
	s.across(s.y, contentWidth, 0.5, 0x8c)
	s.gap(2)
	s.flow(plain(shortCautions), legend, sideMargin, contentWidth)
}

// shown sets pictures side by side at one height, each with its title below, and where the
// feet are set down beside them.
func (s *sheet) shown(f *front, stillHeight float64) {
	wide := 0.0 // Of all pictures together, as multiples of their height.
	for _, still := range f.stills {
		wide += float64(still.Width) / float64(still.Height)
	}
	title := textStyle{size: tableSize, bold: true}
	drawn := f.steps != nil && f.steps.drawing != nil
	room, height, scale := float64(contentWidth), 0.0, 1.0
	if drawn {
		if wide > 0 {
			scale = math.Min(1, (stillHeight+title.line())/f.steps.drawing.Height.Points())
		}
		room -= scale*f.steps.drawing.Width.Points() + stillGap
		height = scale * f.steps.drawing.Height.Points()
	}
	if wide > 0 {
		still := math.Min(stillHeight, (room-stillGap*float64(len(f.stills)-1))/wide)
		s.need(math.Max(still+title.line(), height) + 3)
		x := float64(sideMargin)
		for _, p := range f.stills {
			width := still * float64(p.Width) / float64(p.Height)
			s.picture(p.JPEG, x, s.y, width, still)
			for _, l := range s.wrap(plain(p.Title), title, width)[:1] {
				s.line(l, title, x, s.y+still+2)
			}
			x += width + stillGap
		}
		height = math.Max(height, still+title.line())
	}
	if drawn {
		s.need(height + 3)
		x := float64(sideMargin)
		if wide > 0 {
			x += contentWidth - scale*f.steps.drawing.Width.Points()
		}
		s.draw(f.steps.drawing, x, s.y+(height-scale*f.steps.drawing.Height.Points())/2, scale)
	} else if f.steps != nil {
		s.figure(f.steps)
	}
	if height > 0 {
		s.gap(height + 5)
	}
}

// picture sets a JPEG.
func (s *sheet) picture(data []byte, x, y, width, height float64) {
	if s.trial {
		return
	}
	s.pictures++
	name := fmt.Sprintf("picture %d", s.pictures)
	s.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(data))
	s.pdf.ImageOptions(name, x, y, width, height, false, fpdf.ImageOptions{}, 0, "")
}

// felt sets what hands felt, and below it what was written down.
func (s *sheet) felt(f *front, scale float64) {
	switch {
	case f.felt != nil && f.felt.drawing != nil:
		height := scale * f.felt.drawing.Height.Points()
		s.need(height + 4)
		s.draw(f.felt.drawing, sideMargin, s.y, scale)
		s.gap(height + 4)
	case f.felt != nil:
		s.figure(f.felt)
	}
	if len(f.noted.rows) > 0 {
		s.gap(-5)
		s.table(&f.noted)
		s.gap(-4)
	}
}
