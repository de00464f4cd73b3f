package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html/template"
	"strings"

	"jogstrip/plots"
)

// Footage is a film shown on the page, with the strides that can be gone to.
type Footage struct {
	Title    string
	File     string // Relative to the page.
	Words    string // What it shows: its caption.
	Note     string // What explains it, on the page of a comparison among the notes.
	Rate     float64
	Width    int
	Height   int
	Sections []FootageSection
}

// FootageSection is a part of a film.
type FootageSection struct {
	Title   string
	Moments []FootageMoment
	// Strides draws its moments, one after the other; Boxes are their parts of the drawing.
	// Nil where nothing was measured in them.
	Strides *plots.Figure
	Boxes   []plots.Box
}

// FootageMoment is a stride: where it begins and ends in the film, s.
type FootageMoment struct{ From, To float64 }

// footageView is footage made ready for HTML.
type footageView struct {
	Title, File, Words string
	Choose             string // How a stride is gone to; not on paper.
	Width, Height      int
	Data               string // For the script, as JSON.
	Pictures           []strideView
}

// strideView is the drawing of a section's strides.
type strideView struct {
	Title   string // Empty where the film has one section.
	Picture template.HTML
}

// picture returns the drawing with a part to click for each stride; first is the number of
// the section's first moment in the film.
func (s *FootageSection) picture(first int) (template.HTML, error) {
	var svg bytes.Buffer
	if err := s.Strides.SVG(&svg); err != nil {
		return "", fmt.Errorf("draw %s: %w", s.Strides.Name, err)
	}
	picture, err := clean(svg.Bytes())
	if err != nil {
		return "", fmt.Errorf("draw %s: %w", s.Strides.Name, err)
	}
	var parts strings.Builder
	for i, b := range s.Boxes[:min(len(s.Boxes), len(s.Moments))] {
		fmt.Fprintf(&parts, `<rect class="moment" data-moment="%d" x="%.2f" y="%.2f" width="%.2f" height="%.2f"><title>Stride %d on film</title></rect>`,
			first+i, b.X, b.Y, b.Width, b.Height, i+1)
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
	first := 0
	for i := range f.Sections {
		s := &f.Sections[i]
		one := section{Title: s.Title}
		for _, m := range s.Moments {
			one.At = append(one.At, [2]float64{m.From, m.To})
		}
		data.Sections = append(data.Sections, one)
		if s.Strides != nil {
			v.Choose = "Choose a stride in the figure to see it on film."
			shown := strideView{}
			if len(f.Sections) > 1 {
				shown.Title = s.Title
			}
			var err error
			if shown.Picture, err = s.picture(first); err != nil {
				return nil, err
			}
			v.Pictures = append(v.Pictures, shown)
		}
		first += len(s.Moments)
	}
	text, err := json.Marshal(data)
	if err != nil {
		return nil, fmt.Errorf("show film %s: %w", f.File, err)
	}
	v.Data = string(text)
	return v, nil
}

// footageSection shows films.
func footageSection(title string, films []Footage) (section, error) {
	s := section{title: title, id: "film"}
	for i := range films {
		v, err := films[i].view()
		if err != nil {
			return section{}, err
		}
		shown := &shownFootage{view: v}
		for _, part := range films[i].Sections {
			if part.Strides != nil {
				shown.drawings = append(shown.drawings, part.Strides)
			}
		}
		s.add(block{footage: shown})
	}
	return s, nil
}

type shownFootage struct {
	view     *footageView
	drawings []*plots.Figure
}
