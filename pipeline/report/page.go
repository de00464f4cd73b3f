package report

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"sync"
	"time"

	"jogstrip/track/traj"
)

//go:embed templates/*.tmpl
var templateFiles embed.FS

//go:embed templates/style.css
var styleSheet string

// templates parses the embedded templates once; they do not change.
var templates = sync.OnceValues(func() (*template.Template, error) {
	return template.New("").Funcs(template.FuncMap{
		"sentence": sentence,
		"date":     date,
		"count":    count,
		"limb":     traj.Landmark.Words,
		"spread":   spread,
		"sides":    func(caption, note string, rows []measureRow) sidesTable { return sidesTable{caption, note, rows} },
		"changes":  func(caption, note string, rows []changeRow) changesTable { return changesTable{caption, note, rows} },
		"one":      func(r *changeRow) []changeRow { return []changeRow{*r} },
		"named":    func(name string, v visitedView) namedVisit { return namedVisit{name, v} },
	}).ParseFS(templateFiles, "templates/*.tmpl")
})

// Header is what stands on every page.
type Header struct {
	Letterhead []string  // Name and address of the practice or yard, a line each.
	Horse      string    // Empty on pages about more than one horse.
	Printed    time.Time // The day the page was written; zero leaves it out.
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

// page is what the base template takes.
type page struct {
	Style      template.CSS
	Title      string
	Header     Header
	Shown      []figureView
	Missing    []figureView
	Cautions   []string
	Glossary   []term
	Provenance Provenance
	View       any
}

// write fills the named template into w. Nothing is written where it fails.
func write(w io.Writer, name string, p page) error {
	t, err := templates()
	if err != nil {
		return fmt.Errorf("write %s page: %w", name, err)
	}
	p.Style = template.CSS(styleSheet)
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, p); err != nil {
		return fmt.Errorf("write %s page: %w", name, err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write %s page: %w", name, err)
	}
	return nil
}

// Arguments of the templates that draw one table.
type (
	sidesTable struct {
		Caption, Note string
		Rows          []measureRow
	}
	changesTable struct {
		Caption, Note string
		Rows          []changeRow
	}
	namedVisit struct {
		Name  string
		Visit visitedView
	}
)

// spread writes a track's spread, or a dash where it is not known.
func spread(sd float64) string {
	if sd <= 0 {
		return "–"
	}
	return number(sd, 2)
}
