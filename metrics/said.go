package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"jogstrip/metrics/lengths"
)

// Say returns by what values in unit are multiplied in the unit in which people say the
// measure, and that unit: lengths of steps in centimetres, times of one limb in milliseconds.
func (d Definition) Say(unit string) (by float64, in string) {
	switch {
	case unit == "m" && d.Sided:
		return 100, "cm"
	case unit == "s" && d.Sided:
		return 1000, "ms"
	}
	return 1, unit
}

// SayEstimate returns an estimate as Say has it.
func (d Definition) SayEstimate(unit string, e Estimate) (Estimate, string) {
	by, in := d.Say(unit)
	return *e.scaled(by), in
}

// MostDecimals returns how many decimals the measure is written with at most in a unit in
// which it is said.
func (d Definition) MostDecimals(unit string) int {
	if _, metric := d.Say(d.Unit); metric != unit && lengths.Inches.Unit(metric) == unit {
		return lengths.Inches.Decimals(d.MostDecimals(metric), metric)
	}
	switch unit {
	case "ms":
		return 0
	case d.Unit:
		return d.Decimals
	case "":
		return 2
	}
	return 1 // Of a length in centimetres as well.
}

// Decimals is DecimalsOf for one estimate.
func (e Estimate) Decimals(most int) int { return DecimalsOf(most, e) }

// DecimalsOf returns with how many decimals estimates beside each other are written, at most
// most: as many as the widest interval supports, and more where an end would else read as
// zero although the interval leaves zero out, which is what a verdict rests on. Whole numbers
// are never rounded further.
func DecimalsOf(most int, beside ...Estimate) int {
	decimals := most
	for _, e := range beside {
		decimals = min(decimals, e.Supports(most))
	}
	for _, e := range beside {
		near := math.Max(e.Low, -e.High) // Positive where zero is left out.
		for near > 0 && decimals < most && math.Round(near*math.Pow(10, float64(decimals))) == 0 {
			decimals++
		}
	}
	return decimals
}

// Supports returns how many decimals the interval supports: the last digit is worth no more
// than half of the interval's half-width.
func (e Estimate) Supports(most int) int {
	half := (e.High - e.Low) / 2
	if math.IsNaN(half) || math.IsInf(half, 0) || half <= 0 {
		return most
	}
	for d := range most {
		if math.Pow(10, -float64(d)) <= half/2 {
			return d
		}
	}
	return most
}

func (e *Estimate) scaled(by float64) *Estimate {
	if e == nil {
		return nil
	}
	return &Estimate{Value: by * e.Value, Low: by * e.Low, High: by * e.High, SE: by * e.SE}
}

// said returns by what values of a measure in unit are multiplied, and the unit that they
// then have, for people who read lengths in a system.
func (d Definition) said(unit string, in lengths.System) (by float64, to string) {
	by, to = d.Say(unit)
	return in.Of(by, to), in.Unit(to)
}

// Said returns a copy of the summary for people who read lengths in a system: values,
// intervals and tolerances in the units in which measures are said. Sentences stay as they
// are; SummaryOptions.Lengths decides how they are written.
func (s *Summary) Said(in lengths.System) *Summary {
	if s == nil {
		return nil
	}
	out := *s
	out.Results = slices.Clone(s.Results)
	for i := range out.Results {
		r := &out.Results[i]
		d, _ := Define(r.Name)
		by, to := d.said(r.Unit, in)
		r.Left, r.Right, r.Value = r.Left.scaled(by), r.Right.scaled(by), r.Value.scaled(by)
		r.Tolerance, r.Unit = by*r.Tolerance, to
	}
	return &out
}

// Said is as that of Summary.
func (c *Comparison) Said(in lengths.System) *Comparison {
	if c == nil {
		return nil
	}
	out := *c
	out.Before, out.After = *c.Before.Said(in), *c.After.Said(in)
	out.Changes = slices.Clone(c.Changes)
	for i := range out.Changes {
		ch := &out.Changes[i]
		d, _ := Define(ch.Name)
		by, to := d.said(ch.Unit, in)
		ch.Before, ch.After, ch.Change = ch.Before.scaled(by), ch.After.scaled(by), ch.Change.scaled(by)
		ch.Judged = ch.Judged.scaled(by)
		ch.Smallest, ch.Unit = by*ch.Smallest, to
	}
	return &out
}

// Said is as that of Summary, for the single values and the heights over time. Placements
// and distances stay in metres, paths in centimetres.
func (r *Run) Said(in lengths.System) *Run {
	if r == nil {
		return nil
	}
	out := *r
	out.Series = slices.Clone(r.Series)
	for i := range out.Series {
		s := &out.Series[i]
		d, _ := Define(s.Name)
		by, to := d.said(s.Unit, in)
		s.Unit, s.CommonSD, s.SideCommonSD = to, by*s.CommonSD, by*s.SideCommonSD
		s.Observations = slices.Clone(s.Observations)
		for k := range s.Observations {
			o := &s.Observations[k]
			o.Left, o.Right, o.Value, o.SD = by*o.Left, by*o.Right, by*o.Value, by*o.SD
		}
		s.OfRun, s.OfHorse = s.OfRun.scaled(by), s.OfHorse.scaled(by)
	}
	out.Signals = slices.Clone(r.Signals)
	for i := range out.Signals {
		s := &out.Signals[i]
		s.Height, s.SD = slices.Clone(s.Height), slices.Clone(s.SD)
		floats.Scale(in.Of(1, s.Unit), s.Height)
		floats.Scale(in.Of(1, s.Unit), s.SD)
		s.Unit = in.Unit(s.Unit)
	}
	return &out
}

func (m *Mean) scaled(by float64) *Mean {
	if m == nil {
		return nil
	}
	return &Mean{by * m.Value, by * m.SE, by * m.Left, by * m.LeftSE, by * m.Right, by * m.RightSE}
}
