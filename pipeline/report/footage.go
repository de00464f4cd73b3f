package report

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html/template"
	"strings"

	"jogstrip/plots"
)

//go:embed templates/film.js
var filmScript string

// scriptHash names the page's own script for its content security policy: no other runs.
func scriptHash() string {
	sum := sha256.Sum256([]byte(filmScript))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// Footage is a film shown on the page, with the strides that can be gone to.
type Footage struct {
	Title    string
	File     string // Relative to the page.
	Words    string // What it shows, in sentences.
	Rate     float64
	Width    int
	Height   int
	Sections []FootageSection
	// Strides draws them, one after the other; Boxes are their parts of it, in the order of
	// the sections' moments. Nil where nothing was measured in them.
	Strides *plots.Figure
	Boxes   []plots.Box
}

// FootageSection is a part of a film.
type FootageSection struct {
	Title   string
	Moments []FootageMoment
}

// FootageMoment is a stride: where it begins and ends in the film, s.
type FootageMoment struct{ From, To float64 }

// footageView is footage made ready for HTML.
type footageView struct {
	Title, File, Words string
	Width, Height      int
	Data               string // For the script, as JSON.
	Picture            template.HTML
}

// picture returns the drawing with a part to click for each stride.
func (f *Footage) picture() (template.HTML, error) {
	if f.Strides == nil {
		return "", nil
	}
	var svg bytes.Buffer
	if err := f.Strides.SVG(&svg); err != nil {
		return "", fmt.Errorf("draw %s: %w", f.Strides.Name, err)
	}
	picture, err := clean(svg.Bytes())
	if err != nil {
		return "", fmt.Errorf("draw %s: %w", f.Strides.Name, err)
	}
	var moments []FootageMoment
	for _, s := range f.Sections {
		moments = append(moments, s.Moments...)
	}
	var parts strings.Builder
	for i, b := range f.Boxes[:min(len(f.Boxes), len(moments))] {
		fmt.Fprintf(&parts, `<rect class="moment" data-at="%.4f" x="%.2f" y="%.2f" width="%.2f" height="%.2f"><title>Stride %d on film</title></rect>`,
			moments[i].From, b.X, b.Y, b.Width, b.Height, i+1)
	}
	body := strings.TrimSuffix(strings.TrimSpace(string(picture)), "</svg>")
	// Its parts can be chosen: it is no single picture to those who don't see it.
	body = strings.Replace(body, `role="img"`, `role="group"`, 1)
	return template.HTML(body + parts.String() + "</svg>"), nil
}

func (f *Footage) view() (*footageView, error) {
	v := &footageView{Title: f.Title, File: relative(f.File), Words: f.Words, Width: f.Width, Height: f.Height}
	type section struct {
		Title string       `json:"title"`
		At    [][2]float64 `json:"at"`
	}
	data := struct {
		Rate     float64   `json:"rate"`
		Sections []section `json:"sections"`
	}{Rate: f.Rate}
	for _, s := range f.Sections {
		one := section{Title: s.Title}
		for _, m := range s.Moments {
			one.At = append(one.At, [2]float64{m.From, m.To})
		}
		data.Sections = append(data.Sections, one)
	}
	text, err := json.Marshal(data)
	if err != nil {
		return nil, fmt.Errorf("show film %s: %w", f.File, err)
	}
	v.Data = string(text)
	v.Picture, err = f.picture()
	return v, err
}

// footageSection shows films.
func footageSection(title string, films []Footage) (section, error) {
	s := section{title: title, id: "film"}
	for i := range films {
		v, err := films[i].view()
		if err != nil {
			return section{}, err
		}
		s.add(block{footage: &shownFootage{view: v, drawing: films[i].Strides}})
	}
	return s, nil
}

type shownFootage struct {
	view    *footageView
	drawing *plots.Figure
}
