package report

import (
	"strings"
	"sync"
	"time"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

// missingRune stands, for every reader to see, where the typeface has no
// letter.
const missingRune = '□'

// textStyle is how a piece of text is set.
type textStyle struct {
	size float64 // Points.
	bold bool
	soft bool // Grey: not what the eye should catch first.
	mono bool
}

// line returns the height of one line, points.
func (t textStyle) line() float64 { return t.size * leading }

func (t textStyle) family() (family, style string) {
	switch {
	case t.mono:
		return "mono", ""
	case t.bold:
		return "sans", "B"
	}
	return "sans", ""
}

// sheet is a document in the making: where it stands on the page, and what it
// is written with. Lengths are points, y grows downward.
type sheet struct {
	pdf      *fpdf.Fpdf
	y        float64
	current  textStyle // As last set; the zero value forces it to be set anew.
	lacking  bool      // A letter had to be replaced.
	plans    map[*table]*tablePlan
	pictures int  // Drawn so far.
	pages    int  // Begun so far.
	trial    bool // Nothing is drawn: only how far down the page it would reach is worked out.
}

// newSheet begins a document, whose first page newPage begins; sums tells whether it holds check sums.
func newSheet(p *Page, sums bool) (*sheet, error) {
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: paperWidth, Ht: paperHeight}})
	pdf.SetMargins(sideMargin, edgeMargin, sideMargin)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetLang("en")
	pdf.SetProducer("jogstrip", false)
	// Some date must be given, or the clock is asked; where none is known it is
	// taken out again.
	day := p.date
	if day.IsZero() {
		day = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	pdf.SetCreationDate(day)
	pdf.SetModificationDate(day)
	pdf.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	if sums {
		pdf.AddUTF8FontFromBytes("mono", "", liberationmonoregular.TTF)
	}
	s := &sheet{pdf: pdf, plans: map[*table]*tablePlan{}}
	pdf.SetTitle(s.show(p.title), true)
	return s, pdf.Error()
}

func (s *sheet) newPage() {
	s.pages++
	if !s.trial {
		s.pdf.AddPage()
	}
	s.y = edgeMargin
	s.current = textStyle{}
}

// gap leaves height free, but not at the top of a page.
func (s *sheet) gap(height float64) {
	s.y += height
}

// need begins a new page where less than height is left on this one.
func (s *sheet) need(height float64) {
	if s.y+height > contentEnd && s.y > edgeMargin {
		s.newPage()
	}
}

func (s *sheet) set(t textStyle) {
	if s.current == t {
		return
	}
	s.current = t
	family, style := t.family()
	s.pdf.SetFont(family, style, t.size)
	if t.soft {
		s.pdf.SetTextColor(0x4d, 0x4d, 0x4d)
	} else {
		s.pdf.SetTextColor(0x1a, 0x1a, 0x1a)
	}
}

// width returns how wide text is, points.
func (s *sheet) width(text string, t textStyle) float64 {
	s.set(t)
	return s.pdf.GetStringWidth(text)
}

// across draws a line from the left margin.
func (s *sheet) across(y, long, width float64, grey int) {
	if s.trial {
		return
	}
	s.pdf.SetDrawColor(grey, grey, grey)
	s.pdf.SetLineWidth(width)
	s.pdf.Line(sideMargin, y, sideMargin+long, y)
}

// text sets text with its line's top at y. It must have gone through show.
func (s *sheet) text(x, y float64, text string, t textStyle) {
	if s.trial {
		return
	}
	s.set(t)
	s.pdf.Text(x, y+0.82*t.line(), text)
}

// flow sets running text and goes on to the next page where this one is full.
func (s *sheet) flow(spans []span, t textStyle, x, width float64) {
	s.lines(s.wrap(spans, t, width), t, x)
}

func (s *sheet) lines(lines []textLine, t textStyle, x float64) {
	for _, l := range lines {
		s.need(t.line())
		s.line(l, t, x, s.y)
		s.y += t.line()
	}
}

func (s *sheet) line(l textLine, t textStyle, x, y float64) {
	for _, r := range l {
		style := t
		style.bold = style.bold || r.strong
		s.text(x, y, r.text, style)
		x += s.width(r.text, style)
	}
}

// textLine is one line as it is set, in pieces of one style each.
type textLine []span

// wrap breaks text into lines no wider than width. A word that is wider is
// broken where it must be; a space that must not break stays in its word.
func (s *sheet) wrap(spans []span, t textStyle, width float64) []textLine {
	b := lineBreaker{sheet: s, width: width}
	for _, sp := range spans {
		b.addSpan(sp, t)
	}
	if len(b.current) > 0 {
		b.end()
	}
	return b.lines
}

// lineBreaker sets words one after the other and begins a new line where one is full.
type lineBreaker struct {
	sheet   *sheet
	width   float64 // Of a full line, points.
	lines   []textLine
	current textLine
	at      float64 // How far the current line reaches, points.
	space   bool    // A space comes before the next word.
}

func (b *lineBreaker) addSpan(sp span, t textStyle) {
	t.bold = t.bold || sp.strong
	blank := b.sheet.width(" ", t)
	for i, word := range strings.Split(b.sheet.show(sp.text), " ") {
		b.space = b.space || i > 0
		if word != "" {
			b.addWord(word, sp.strong, t, blank)
		}
	}
}

// addWord sets a word and, where one is due, the space before it.
func (b *lineBreaker) addWord(word string, strong bool, t textStyle, blank float64) {
	w := b.sheet.width(word, t)
	switch due := b.space && b.at > 0; {
	case due && b.at+blank+w > b.width:
		b.end()
	case due:
		b.put(" ", strong, blank)
	}
	b.space = false
	word, w = b.addWide(word, strong, t, w)
	if b.at > 0 && b.at+w > b.width {
		b.end()
	}
	if word != "" {
		b.put(word, strong, w)
	}
}

// addWide sets as many full lines of a word as it is too wide for, and returns the rest with its
// width. Every line holds a letter at least.
func (b *lineBreaker) addWide(word string, strong bool, t textStyle, w float64) (string, float64) {
	for w > b.width-b.at && w > b.width {
		head := b.sheet.fitting(word, t, b.width-b.at)
		if head == "" && b.at > 0 {
			b.end()
			continue
		}
		if head == "" {
			head = string([]rune(word)[:1])
		}
		b.put(head, strong, 0)
		b.end()
		word = word[len(head):]
		w = b.sheet.width(word, t)
	}
	return word, w
}

// put sets text on the current line.
func (b *lineBreaker) put(text string, strong bool, w float64) {
	if n := len(b.current); n > 0 && b.current[n-1].strong == strong {
		b.current[n-1].text += text
	} else {
		b.current = append(b.current, span{text: text, strong: strong})
	}
	b.at += w
}

// end ends the current line.
func (b *lineBreaker) end() {
	b.lines = append(b.lines, b.sheet.ordered(b.current))
	b.current, b.at, b.space = nil, 0, false
}

// fitting returns as much of the word as fits into width.
func (s *sheet) fitting(word string, t textStyle, width float64) string {
	w := 0.0
	for i, r := range word {
		if w += s.width(string(r), t); w > width {
			return word[:i]
		}
	}
	return word
}

// ordered brings letters that are written from right to left into the order in
// which they stand on the line.
func (s *sheet) ordered(l textLine) textLine {
	for i, r := range l {
		l[i].text = visual(r.text)
	}
	return l
}

// visual returns text in the order in which its letters stand from left to
// right (Unicode Standard Annex 9).
func visual(text string) string {
	rightToLeft := func(r rune) bool {
		p, _ := bidi.LookupRune(r)
		return p.Class() == bidi.R || p.Class() == bidi.AL
	}
	if !strings.ContainsFunc(text, rightToLeft) {
		return text
	}
	var paragraph bidi.Paragraph
	if _, err := paragraph.SetString(text, bidi.DefaultDirection(bidi.LeftToRight)); err != nil {
		return text
	}
	order, err := paragraph.Order()
	if err != nil {
		return text
	}
	var b strings.Builder
	for i := range order.NumRuns() {
		run := order.Run(i)
		if run.Direction() == bidi.RightToLeft {
			b.WriteString(bidi.ReverseString(run.String()))
		} else {
			b.WriteString(run.String())
		}
	}
	return b.String()
}

// typeface tells which letters the embedded typefaces have; all three have the
// same.
var typeface = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(liberationsansregular.TTF) })

// show returns text as it can be printed: composed letters, and a box for every
// letter that the typeface lacks.
func (s *sheet) show(text string) string {
	ascii := true
	for i := range len(text) {
		if text[i] < 0x20 || text[i] >= 0x7f {
			ascii = false
			break
		}
	}
	if ascii {
		return text
	}
	face, err := typeface()
	if err != nil {
		s.pdf.SetErrorf("read the typeface: %v", err)
		return ""
	}
	var buffer sfnt.Buffer
	var b strings.Builder
	for _, r := range norm.NFC.String(text) {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			b.WriteByte(' ')
			continue
		case r == '\u200b' || r == '\u200e' || r == '\u200f' || r == '\u00ad' || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069':
			// Marks that steer the setting of text and have no shape.
			continue
		}
		// The PDF writer knows the first 65,536 characters only.
		if glyph, err := face.GlyphIndex(&buffer, r); err != nil || glyph == 0 || r > 0xffff || unicode.IsControl(r) {
			r = missingRune
			s.lacking = true
		}
		b.WriteRune(r)
	}
	return b.String()
}
