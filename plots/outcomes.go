package plots

import (
	"errors"

	"jogstrip/metrics"
)

// Outcome is a figure, or the reason why there is none.
type Outcome struct {
	Name   string
	Title  string
	Figure *Figure // Nil where it could not be drawn.
	Reason string  // Why not, in words without a full stop; empty where there is a figure.
}

// attempt is a figure that is to be drawn.
type attempt struct {
	title string
	draw  func() (*Figure, error)
}

// drawn returns what comes of attempts; errors other than ErrNoData pass through.
func drawn(attempts []attempt) (out []Outcome, err error) {
	for _, a := range attempts {
		f, err := a.draw()
		var none *NoDataError
		switch {
		case errors.As(err, &none):
			out = append(out, Outcome{Name: none.Figure, Title: a.title, Reason: none.Reason})
		case err != nil:
			return nil, err
		default:
			out = append(out, Outcome{Name: f.Name, Title: f.Title, Figure: f})
		}
	}
	return out, nil
}

// SummaryFigures draws the figures of one visit's page.
func SummaryFigures(s *metrics.Summary) ([]Outcome, error) {
	return drawn([]attempt{scoreFigure(s)})
}

func scoreFigure(s *metrics.Summary) attempt {
	return attempt{"Asymmetry score and its components", func() (*Figure, error) { return ScoreComponents(s) }}
}

// ComparisonFigures draws the figures of a comparison, in the order of a page.
func ComparisonFigures(c *metrics.Comparison, names ...metrics.Name) ([]Outcome, error) {
	return drawn([]attempt{
		{"Before and after", func() (*Figure, error) { return BeforeAfter(c, names...) }},
		{"What changed, and by how much", func() (*Figure, error) { return Changes(c) }},
	})
}

// OutcomeOf makes a list of one from a figure function's answer. The title
// stands where the figure could not be drawn.
func OutcomeOf(title string, f *Figure, err error) ([]Outcome, error) {
	return drawn([]attempt{{title, func() (*Figure, error) { return f, err }}})
}
