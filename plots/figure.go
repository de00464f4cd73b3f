package plots

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"image/color"
	"io"
	"regexp"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"
)

// ErrNoData is what errors.Is finds in the error of a figure for which there
// is nothing to draw.
var ErrNoData = errors.New("nothing to draw")

// NoDataError says why a figure could not be drawn.
type NoDataError struct {
	Figure string // The figure's name, as in Figure.Name.
	Reason string // In words for a report, without a full stop: "no hind hoof was marked".
}

// Error returns the name and the reason.
func (e *NoDataError) Error() string { return fmt.Sprintf("draw %s: %s", e.Figure, e.Reason) }

// Is reports whether target is ErrNoData.
func (e *NoDataError) Is(target error) bool { return target == ErrNoData }

// Figure is a drawing of fixed size that can be written in several formats.
type Figure struct {
	Name        string    // A file name without extension: "head-height".
	Title       string    // As drawn above the figure.
	Description string    // What it shows, in words, for those who do not see it.
	Width       vg.Length // Points, 1/72 inch.
	Height      vg.Length
	Narrow      *Figure // The same for a screen as narrow as a phone's; nil: this one will do.

	paint func(draw.Canvas) // On a white ground.
}

// Draw draws the figure on c, which should be Width × Height in size.
func (f *Figure) Draw(c draw.Canvas) {
	c.SetColor(color.White)
	c.Fill(c.Rectangle.Path())
	f.paint(c)
}

// PNG writes the figure as a PNG picture at 150 dots per inch, in 256 of its colours.
func (f *Figure) PNG(w io.Writer) error {
	if err := writePNG(w, f.Width, f.Height, f.paint); err != nil {
		return fmt.Errorf("write %s as PNG: %w", f.Name, err)
	}
	return nil
}

// SVG writes the figure as one svg element that can stand alone as a file or
// be put into an HTML page: it has no XML declaration, fetches nothing, holds
// no script and carries its description for screen readers.
func (f *Figure) SVG(w io.Writer) error {
	c := &svgCanvas{Canvas: vgsvg.NewWith(vgsvg.UseWH(f.Width, f.Height))}
	f.Draw(draw.New(c))
	var raw bytes.Buffer
	if _, err := c.WriteTo(&raw); err != nil {
		return fmt.Errorf("write %s as SVG: %w", f.Name, err)
	}
	body := raw.String()
	start := strings.Index(body, "<svg")
	end := strings.Index(body[max(start, 0):], ">")
	if start < 0 || end < 0 {
		return fmt.Errorf("write %s as SVG: the canvas gave no svg element", f.Name)
	}
	body = c.fitted(body[start+end+1:])
	body = strings.ReplaceAll(body, "font-family:Liberation Sans;", "font-family:'Liberation Sans',Arial,Helvetica,sans-serif;")
	// "none" is not a value of font-variant in SVG 1.1 viewers.
	body = strings.ReplaceAll(body, "font-variant:none;", "")
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" width="%.5gpt" height="%.5gpt" viewBox="0 0 %.5g %.5g" role="img" aria-label="%s">
<title>%s</title>
<desc>%s</desc>%s`,
		f.Width.Points(), f.Height.Points(), f.Width.Points(), f.Height.Points(),
		html.EscapeString(f.Title+". "+f.Description), html.EscapeString(f.Title), html.EscapeString(f.Description), body)
	if err != nil {
		return fmt.Errorf("write %s as SVG: %w", f.Name, err)
	}
	return nil
}

// svgCanvas notes how wide each piece of text is meant to be: a browser without this
// drawing's typeface takes another, whose letters may be wider by a fifth and would run over
// what stands beside them.
type svgCanvas struct {
	*vgsvg.Canvas
	widths []vg.Length
}

// FillString draws str.
func (c *svgCanvas) FillString(f font.Face, at vg.Point, str string) {
	c.widths = append(c.widths, f.Width(str))
	c.Canvas.FillString(f, at, str)
}

// fitted says of each piece of text in an SVG's body how wide it is.
func (c *svgCanvas) fitted(body string) string {
	const text = "<text "
	parts := strings.Split(body, text)
	for i, w := range c.widths {
		if w > 0 && i+1 < len(parts) {
			parts[i+1] = fmt.Sprintf(`textLength="%.5g" lengthAdjust="spacingAndGlyphs" `, w.Points()) + parts[i+1]
		}
	}
	return strings.Join(parts, text)
}

// pdfDates finds the two dates the PDF writer takes from the clock.
var pdfDates = regexp.MustCompile(`/(Creation|Mod)Date \(D:[0-9]{14}\)`)

// PDF writes the figure as a one-page PDF of the figure's size.
func (f *Figure) PDF(w io.Writer) error {
	c := pdfCanvas{Canvas: vgpdf.New(f.Width, f.Height)}
	f.Draw(draw.NewCanvas(c, f.Width, f.Height))
	var raw bytes.Buffer
	if _, err := c.WriteTo(&raw); err != nil {
		return fmt.Errorf("write %s as PDF: %w", f.Name, err)
	}
	// A fixed date of the same length keeps the file's offsets and makes its
	// bytes a function of the figure alone.
	out := pdfDates.ReplaceAll(raw.Bytes(), []byte("/${1}Date (D:20000101000000)"))
	if _, err := w.Write(out); err != nil {
		return fmt.Errorf("write %s as PDF: %w", f.Name, err)
	}
	return nil
}

// pdfCanvas corrects three things of the PDF canvas: it takes text in the
// Windows-1252 code page, not UTF-8; it takes colours not multiplied by their
// opacity; and several fonts would be written in random order.
type pdfCanvas struct {
	*vgpdf.Canvas
}

// FillString draws str, in the regular font only.
func (c pdfCanvas) FillString(f font.Face, at vg.Point, str string) {
	f = plainFace(f)
	c.Canvas.FillString(f, at, windows1252(str))
}

// SetColor sets the colour of what is drawn next.
func (c pdfCanvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.Canvas.SetColor(straightColor{color.NRGBAModel.Convert(clr).(color.NRGBA)})
}

// straightColor gives its components without multiplying them by the opacity.
type straightColor struct{ c color.NRGBA }

// RGBA implements color.Color.
func (s straightColor) RGBA() (r, g, b, a uint32) {
	wide := func(v uint8) uint32 { return uint32(v)<<8 | uint32(v) }
	return wide(s.c.R), wide(s.c.G), wide(s.c.B), wide(s.c.A)
}

// windows1252 turns text into the bytes of that code page. Characters it
// lacks become the nearest it has.
func windows1252(s string) string {
	out := make([]byte, 0, len(s))
	for _, r := range s {
		switch {
		case r < 0x80 || r >= 0xa0 && r <= 0xff:
			out = append(out, byte(r))
		case r == '–' || r == '−':
			out = append(out, 0x96)
		case r == '—':
			out = append(out, 0x97)
		case r == '’':
			out = append(out, 0x92)
		case r == '…':
			out = append(out, 0x85)
		case r == '√':
			out = append(out, "root"...)
		default:
			out = append(out, '?')
		}
	}
	return string(out)
}
