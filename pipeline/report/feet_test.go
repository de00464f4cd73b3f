package report

import (
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
)

// What is said of base width is said of the whole interval.
func TestBaseWords(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      string
	}{
		{-5, -1, "The fores cross: each lands on the other's side, by 3.0 cm (95 % interval 1.0 to 5.0)."},
		{-3, 3, "0.0 cm apart, centre to centre (95 % interval -3.0 to 3.0): on one line."},
		{4, 8, "narrow, less than a hoof's width."},
		{14, 22, "neither narrow nor wide."},
		{37, 41, "wide, with room for two hooves between them."},
		{8, 16, "(95 % interval 8.0 to 16.0)."},
	} {
		s := &metrics.Summary{Results: []metrics.Result{
			{Name: metrics.BaseWidthFore, Unit: "cm", Value: &metrics.Estimate{Value: (c.low + c.high) / 2, Low: c.low, High: c.high}},
		}}
		got := baseWords(s)
		if len(got) != 1 || !strings.HasSuffix(got[0], c.want) {
			t.Errorf("%g to %g: %q, want %q", c.low, c.high, got, c.want)
		}
		// In inches the same is said of the same widths.
		_, metric, _ := strings.Cut(got[0], "):")
		_, inches, _ := strings.Cut(baseWords(s.Said(lengths.Inches))[0], "):")
		if metric != inches {
			t.Errorf("%g to %g cm: %q, in inches %q", c.low, c.high, metric, inches)
		}
	}
}
