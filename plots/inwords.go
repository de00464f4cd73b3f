package plots

import (
	"slices"

	"jogstrip/metrics"
	"jogstrip/plots/said"
)

// inWords returns a copy of a comparison in the units in which people say its measures:
// steps in centimetres, times of one limb in milliseconds.
func inWords(c *metrics.Comparison) *metrics.Comparison {
	out := *c
	out.Before, out.After = summaryInWords(c.Before), summaryInWords(c.After)
	out.Changes = slices.Clone(c.Changes)
	for i := range out.Changes {
		ch := &out.Changes[i]
		d, _ := metrics.Define(ch.Name)
		unit := ch.Unit
		ch.Before, ch.After, ch.Change = estimateInWords(d, unit, ch.Before), estimateInWords(d, unit, ch.After), estimateInWords(d, unit, ch.Change)
		ch.Smallest, ch.Unit = said.In(d, unit, ch.Smallest)
	}
	return &out
}

// summaryInWords is inWords for one visit.
func summaryInWords(s metrics.Summary) metrics.Summary {
	s.Results = slices.Clone(s.Results)
	for i := range s.Results {
		r := &s.Results[i]
		d, _ := metrics.Define(r.Name)
		unit := r.Unit
		r.Left, r.Right, r.Value = estimateInWords(d, unit, r.Left), estimateInWords(d, unit, r.Right), estimateInWords(d, unit, r.Value)
		r.Tolerance, r.Unit = said.In(d, unit, r.Tolerance)
	}
	return s
}

func estimateInWords(d metrics.Definition, unit string, e *metrics.Estimate) *metrics.Estimate {
	if e == nil {
		return nil
	}
	scaled, _ := said.Scaled(d, unit, *e)
	return &scaled
}
