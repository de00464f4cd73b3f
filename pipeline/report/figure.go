package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"html"
	"html/template"
	"io"
	"strings"

	"jogstrip/plots"
)

// Figure is a picture for a page, or the reason why there is none.
type Figure struct {
	Title       string
	Description string // What it shows, in words; used where the SVG has none.
	SVG         []byte // One svg element; empty where Reason is given.
	// Drawing is the same picture for paper; where it is nil, a PDF says in words
	// what it shows.
	Drawing *plots.Figure
	Reason  string // Why there is no picture, in words without a full stop.
}

// ErrFigure is what errors.Is finds where a figure is not an SVG this package
// puts into a page.
var ErrFigure = errors.New("not a harmless SVG")

// harmless are the elements and attributes a figure may have.
var (
	harmlessElements = words("svg g path text tspan title desc rect circle ellipse line polyline polygon")
	harmlessAttr     = words("xmlns width height viewBox role aria-label transform style d x y x1 y1 x2 y2 cx cy r rx ry points " +
		"fill fill-opacity stroke stroke-opacity stroke-width stroke-dasharray stroke-dashoffset stroke-linecap stroke-linejoin " +
		"font-family font-size font-weight font-style text-anchor textLength lengthAdjust")
)

func words(s string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(s) {
		m[w] = true
	}
	return m
}

// clean reads an SVG and writes it anew from harmless parts only. An element
// or attribute outside the list is an error, not silently dropped: a figure
// that lost parts would lie.
func clean(svg []byte) (template.HTML, error) {
	d := xml.NewDecoder(bytes.NewReader(svg))
	var w harmlessWriter
	for {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return "", fmt.Errorf("read figure: %w: %w", ErrFigure, err)
		}
		if err := w.write(tok); err != nil {
			return "", fmt.Errorf("read figure: %w: %w", ErrFigure, err)
		}
	}
	if w.roots != 1 {
		return "", fmt.Errorf("read figure: %w: %w", ErrFigure, errRoots)
	}
	return template.HTML(w.out.String()), nil
}

var errRoots = errors.New("want one svg element")

// harmlessWriter writes the parts of an SVG that are harmless.
type harmlessWriter struct {
	out   strings.Builder
	depth int // Elements that are open.
	roots int // Elements that were opened while none was.
}

// write writes one part; the error says why it can't.
func (w *harmlessWriter) write(tok xml.Token) error {
	switch t := tok.(type) {
	case xml.StartElement:
		return w.start(t)
	case xml.EndElement:
		w.depth--
		w.out.WriteString("</" + t.Name.Local + ">")
	case xml.CharData:
		if w.depth > 0 {
			w.out.WriteString(html.EscapeString(string(t)))
		}
	case xml.Comment, xml.ProcInst:
		// Carry nothing a reader sees.
	default:
		return errors.New("a directive")
	}
	return nil
}

func (w *harmlessWriter) start(t xml.StartElement) error {
	name := t.Name.Local
	if !harmlessElements[name] {
		return fmt.Errorf("element %q", name)
	}
	if w.depth == 0 {
		if w.roots++; name != "svg" || w.roots > 1 {
			return errRoots
		}
	}
	w.depth++
	w.out.WriteString("<" + name)
	for _, a := range t.Attr {
		if !harmlessAttr[a.Name.Local] || a.Name.Space != "" || dangerous(a.Value) {
			return fmt.Errorf("attribute %s=%q", a.Name.Local, a.Value)
		}
		fmt.Fprintf(&w.out, ` %s="%s"`, a.Name.Local, html.EscapeString(a.Value))
	}
	w.out.WriteString(">")
	return nil
}

// dangerous reports whether an attribute's value could fetch or run something.
func dangerous(v string) bool {
	v = strings.ToLower(v)
	for _, s := range []string{"url(", "javascript:", "expression(", "@import", `\`} {
		if strings.Contains(v, s) {
			return true
		}
	}
	return false
}

// viewFigures makes figures ready and says why the others are missing.
func viewFigures(figures []Figure) (shown []figureView, missing []string, err error) {
	for _, f := range figures {
		if len(f.SVG) == 0 {
			missing = append(missing, f.Title+": "+f.Reason+".")
			continue
		}
		picture, err := clean(f.SVG)
		if err != nil {
			return nil, nil, fmt.Errorf("put figure %q into the page: %w", f.Title, err)
		}
		label := strings.TrimSpace(f.Title + ". " + f.Description)
		if !strings.Contains(string(picture[:strings.Index(string(picture), ">")]), "aria-label=") {
			picture = template.HTML(`<svg role="img" aria-label="`+html.EscapeString(label)+`"`) + picture[len("<svg"):]
		}
		shown = append(shown, figureView{label: label, picture: picture, drawing: f.Drawing})
	}
	return shown, missing, nil
}
