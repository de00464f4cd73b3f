package plots

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// placed is a placement relative to the line of travel.
type placed struct {
	limb            traj.Landmark
	along, left     float64 // m along the line; cm (or % of a camera height) to the horse's left of it; in inches: ft and in.
	alongSD, leftSD float64
}

// Placement draws where the hooves were set down, seen from above, relative to
// the line of travel. The horse goes to the right of the page; its left is up.
func Placement(in RunInput) (*Figure, error) {
	const name = "hoof-placement"
	r := in.Run
	if r.Line == nil {
		reason := "no line of travel could be fitted"
		if r.Level == geometry.LevelNone {
			reason = "placements need a calibrated clip (ground marks, camera height or horizon)"
		}
		return nil, &NoDataError{Figure: name, Reason: reason}
	}
	unit, sideUnit := lengthUnit(r.Level), "cm"
	if unit != "m" {
		sideUnit = "% of a camera height"
	}
	long, across := in.Lengths.Of(1, unit), in.Lengths.Of(100, sideUnit)
	unit, sideUnit = in.Lengths.Unit(unit), in.Lengths.Unit(sideUnit)
	all := placedOn(*r.Line, r.Contacts, long, across)
	if len(all) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no placement was measured"}
	}
	x := newExtent()
	for _, p := range all {
		x.add(p.along, p.along-1.96*p.alongSD, p.along+1.96*p.alongSD)
	}
	digits := in.Lengths.Decimals(1, "cm")
	var panels []*plot.Plot
	var share []float64
	var summary []string
	for _, g := range girdles {
		here := ofGirdle(all, g.girdle)
		if len(here) == 0 {
			continue
		}
		means, said := placementMeans(here, g.girdle, in.result(g.offset), sideUnit == in.Lengths.Unit("cm"), digits)
		p := placementPanel(here, means)
		x.set(&p.X, 0.03)
		p.Y.Label.Text = capital(string(g.girdle)) + " hooves, " + sideUnit
		panels, share, summary = append(panels, p), append(share, 1), append(summary, said...)
	}
	panels[len(panels)-1].X.Label.Text = "Along the line of travel, " + unit + " (the horse goes to the right)"
	notes := []string{
		capital(where(r)) + ". Seen from above; zero is the line of travel, up is the horse’s left. The two axes differ in scale. Whiskers: 95 % interval of each placement; lines and bands: mean per side with 95 % interval.",
		"Outward of the line, " + sideUnit + ": " + strings.Join(summary, "; ") + ". Negative: lands across the midline.",
	}
	return composition{
		name:   name,
		title:  "Hoof placement from above, with the line of travel",
		notes:  notes,
		legend: sidesLegend("left", "right"),
		height: 45 + 125*vg.Length(len(panels)),
		body:   func(c draw.Canvas) { stack(c, panels, share, 8) },
	}.figure(), nil
}

// placedOn returns the placements relative to the line, along it from the first; long and
// across are how many of the figure's units a metre is in either direction.
func placedOn(l metrics.Line, contacts []metrics.Contact, long, across float64) []placed {
	var all []placed
	first := math.Inf(1)
	for _, c := range contacts {
		if !c.Placed || !finite(c.X, c.Y) {
			continue
		}
		along, left := l.Along(c.X, c.Y)
		p := placed{
			limb:    c.Limb,
			along:   long * along,
			left:    across * left,
			alongSD: long * math.Hypot(c.XSD*l.DX, c.YSD*l.DY),
			leftSD:  across * math.Hypot(c.XSD*l.DY, c.YSD*l.DX),
		}
		first = math.Min(first, p.along)
		all = append(all, p)
	}
	for i := range all {
		all[i].along -= first
	}
	return all
}

func ofGirdle(all []placed, g metrics.Girdle) (here []placed) {
	left, right := girdleHooves(g)
	for _, p := range all {
		if p.limb == left || p.limb == right {
			here = append(here, p)
		}
	}
	return here
}

// sideMean is the mean of one side with its 95 % interval.
type sideMean struct {
	side traj.Side
	metrics.Estimate
}

// placementMeans returns the mean of either side, up the page, and says it in words,
// outward. Where the result is in the figure's unit its estimate stands for the mean.
func placementMeans(here []placed, g metrics.Girdle, result *metrics.Result, inUnit bool, digits int) (means []sideMean, said []string) {
	left, right := girdleHooves(g)
	for _, limb := range []traj.Landmark{left, right} {
		var v []float64
		for _, p := range here {
			if p.limb == limb {
				v = append(v, p.left)
			}
		}
		m := sideMean{side: limb.Side()}
		var n int
		m.Value, m.Low, m.High, n = meanInterval(v)
		if n == 0 {
			continue
		}
		outward := m.turned()
		if e := sideEstimate(result, limb.Side()); e != nil && inUnit {
			outward = sideMean{m.side, *e}
			m = outward.turned()
		}
		means = append(means, m)
		said = append(said, fmt.Sprintf("%s %s, n = %d", limb.Words(), shortText(outward.Estimate, digits), n))
	}
	return means, said
}

// turned takes a mean to the horse's left to one outward, and back.
func (m sideMean) turned() sideMean {
	if m.side == traj.Right {
		m.Value, m.Low, m.High = -m.Value, -m.High, -m.Low
	}
	return m
}

func placementPanel(here []placed, means []sideMean) *plot.Plot {
	y := newExtent()
	y.add(0)
	for _, m := range means {
		y.add(m.Low, m.High)
	}
	for _, p := range here {
		y.add(p.left, p.left-1.96*p.leftSD, p.left+1.96*p.leftSD)
	}
	p := newPanel("", "")
	p.Y.Tick.Marker = ticks{most: 6}
	y.set(&p.Y, 0.1)
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.bands(means)
		s.across(draw.LineStyle{Color: inkColor, Width: 0.9}, 0)
		for _, m := range means {
			s.across(styleOf(m.side).line(), m.Value)
		}
		for _, h := range here {
			sty := styleOf(h.limb.Side())
			s.upright(sty.whisker(), h.along, h.left-1.96*h.leftSD, h.left+1.96*h.leftSD)
			s.level(sty.whisker(), h.left, h.along-1.96*h.alongSD, h.along+1.96*h.alongSD)
		}
		for _, h := range here {
			s.mark(glyph(styleOf(h.limb.Side()), false), h.along, h.left)
		}
	}))
	return p
}

// bands lays the interval of every mean across the panel.
func (s sheet) bands(means []sideMean) {
	for _, m := range means {
		s.bandAcross(styleOf(m.side).band(), m.Low, m.High)
	}
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
