package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// StepLength draws every stride's step length by side.
func StepLength(in RunInput) (*Figure, error) {
	const name = "step-length"
	var panels []*plot.Plot
	var share []float64
	var summary []string
	reason, units := "no step length was measured", ""
	for _, g := range girdles {
		series := in.Run.Lookup(g.step)
		if series == nil {
			continue
		}
		if len(series.Observations) == 0 {
			if series.Reason != "" {
				reason = series.Reason
			}
			continue
		}
		p, unit, said := stepPanel(series, in.result(g.step))
		if p == nil {
			continue
		}
		units, panels, share, summary = unit, append(panels, p), append(share, 1), append(summary, said...)
	}
	if len(panels) == 0 {
		return nil, &NoDataError{Figure: name, Reason: reason}
	}
	panels[len(panels)-1].X.Label.Text = "Stride number, in the order of the clip"
	return composition{
		name:  name,
		title: "Step length of every stride, by side",
		notes: []string{
			capital(where(in.Run)) + ". A step is named for the hoof that lands. Thin level line and band: mean with 95 % interval, this run only.",
			"Mean, " + units + " (95 % interval): " + strings.Join(summary, "; ") + ".",
		},
		legend: sidesLegend("left", "right"),
		height: 45 + 125*vg.Length(len(panels)),
		body:   func(c draw.Canvas) { stack(c, panels, share, 8) },
	}.figure(), nil
}

// stepPanel draws one girdle's steps, and returns their unit and what they come to in
// words; nil where there is nothing to draw.
func stepPanel(series *metrics.Series, result *metrics.Result) (p *plot.Plot, unit string, summary []string) {
	def, _ := metrics.Define(series.Name)
	scale, unit := def.Say(series.Unit)
	if result != nil {
		one := &metrics.Summary{Results: []metrics.Result{*result}}
		result = &one.Said(lengths.Metric).Results[0]
	}
	var number []float64
	steps := map[traj.Side][]float64{}
	for _, o := range series.Observations {
		number = append(number, float64(o.Stride+1))
		steps[traj.Left], steps[traj.Right] = append(steps[traj.Left], scale*o.Left), append(steps[traj.Right], scale*o.Right)
	}
	means, summary := stepMeans(steps, result, def, unit)
	y, x := newExtent(), newExtent()
	x.add(number...)
	y.add(slices.Concat(steps[traj.Left], steps[traj.Right])...)
	for _, m := range means {
		y.add(m.Low, m.High)
	}
	if y.empty() {
		return nil, unit, nil
	}
	p = newPanel("", capital(string(def.Girdle))+" step length, "+unit)
	p.X.Min, p.X.Max = x.low-0.5, x.high+0.5
	p.X.Tick.Marker = wholeTicks{}
	p.Y.Tick.Marker = ticks{most: 6}
	y.set(&p.Y, 0.1)
	p.Add(artist(func(s sheet) {
		s.grid(true, false)
		s.bands(means)
		for _, m := range means {
			sty := styleOf(m.side).line()
			sty.Width = 0.9
			s.across(sty, m.Value)
		}
		for _, side := range bothSides {
			s.line(styleOf(side).line(), number, steps[side])
		}
		for i := range number {
			for _, side := range bothSides {
				s.mark(glyph(styleOf(side), false), number[i], steps[side][i])
			}
		}
	}))
	return p, unit, summary
}

// sideMean is the mean of one side with its 95 % interval.
type sideMean struct {
	side traj.Side
	metrics.Estimate
}

// bands lays the interval of every mean across the panel.
func (s sheet) bands(means []sideMean) {
	for _, m := range means {
		s.bandAcross(styleOf(m.side).band(), m.Low, m.High)
	}
}

// stepMeans returns the mean step of either side, for which the result's estimate stands
// where there is one, and says both and their difference in words.
func stepMeans(steps map[traj.Side][]float64, result *metrics.Result, def metrics.Definition, unit string) (means []sideMean, said []string) {
	decimals := def.MostDecimals(unit)
	for _, side := range bothSides {
		m := sideMean{side: side}
		var n int
		if m.Value, m.Low, m.High, n = meanInterval(steps[side]); n == 0 {
			continue
		}
		if e := sideEstimate(result, side); e != nil {
			m.Estimate = *e
		}
		means = append(means, m)
		said = append(said, fmt.Sprintf("%s %s %s, n = %d", side, def.Girdle, shortText(m.Estimate, decimals), n))
	}
	if result != nil && result.Value != nil {
		said = append(said, "difference right − left "+shortText(*result.Value, decimals))
	}
	return means, said
}

// wholeTicks marks whole numbers only.
type wholeTicks struct{}

// Ticks implements plot.Ticker.
func (wholeTicks) Ticks(low, high float64) []plot.Tick {
	step := math.Max(1, roundStep((high-low)/14))
	var out []plot.Tick
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		out = append(out, plot.Tick{Value: v, Label: number(v, 0)})
	}
	return out
}

// sideEstimate returns the estimate of one side, or nil.
func sideEstimate(r *metrics.Result, s traj.Side) *metrics.Estimate {
	switch {
	case r == nil:
		return nil
	case s == traj.Left:
		return r.Left
	case s == traj.Right:
		return r.Right
	}
	return r.Value
}
