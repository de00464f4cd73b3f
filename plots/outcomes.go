package plots

import "jogstrip/metrics"

// SummaryFigures draws the figures of one visit's page.
func SummaryFigures(s *metrics.Summary) ([]Outcome, error) {
	f, err := ScoreComponents(s)
	return OutcomeOf("Asymmetry score and its components", f, err)
}

// OutcomeOf makes a list of one from a figure function's answer. The title
// stands where the figure could not be drawn.
func OutcomeOf(title string, f *Figure, err error) ([]Outcome, error) {
	o, err := outcome(title, f, err)
	if err != nil {
		return nil, err
	}
	return []Outcome{o}, nil
}
