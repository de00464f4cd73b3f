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
	var panels []*plot.Plot
	var share []float64
	var counts []string
	for _, g := range girdles {
		here := ofGirdle(all, g.girdle)
		if len(here) == 0 {
			continue
		}
		for _, side := range bothSides {
			if n := len(ofSide(here, side)); n > 0 {
				counts = append(counts, fmt.Sprintf("%d %s %s", n, side, g.girdle))
			}
		}
		p := placementPanel(here)
		x.set(&p.X, 0.03)
		p.Y.Label.Text = capital(string(g.girdle)) + " hooves, " + sideUnit
		panels, share = append(panels, p), append(share, 1)
	}
	panels[len(panels)-1].X.Label.Text = "Along the line of travel, " + unit + " (the horse goes to the right)"
	notes := []string{
		capital(where(r)) + ". Seen from above; zero is the line of travel, which is the placements’ own midline; up is the horse’s left. The two axes differ in scale. Whiskers: 95 % interval of each placement; level lines: mean per side (n = " + strings.Join(counts, ", ") + ").",
	}
	if said := in.saidAcross(); said != "" {
		notes = append(notes, said)
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

// saidAcross says what placements tell across the line: how wide each pair is set and how the
// quarters go; empty where neither was measured.
func (in RunInput) saidAcross() string {
	var said []string
	for _, m := range []struct {
		name            metrics.Name
		words, negative string
	}{
		{metrics.BaseWidthFore, "base width, fore", "the limbs cross"}, {metrics.BaseWidthHind, "base width, hind", "the limbs cross"},
		{metrics.QuartersToSide, "quarters to the right of the forehand", "to its left"},
	} {
		r := in.result(m.name)
		if r == nil || r.Value == nil {
			continue
		}
		text := m.words + " " + shortText(*r.Value, in.Lengths.Decimals(1, "cm")) + " " + r.Unit
		if r.Value.Low < 0 {
			text += " (negative: " + m.negative + ")"
		}
		said = append(said, text)
	}
	if said == nil {
		return ""
	}
	return "Mean with 95 % interval: " + strings.Join(said, "; ") + "."
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

// ofSide returns how far left of the line the hooves of one side were set down.
func ofSide(here []placed, side traj.Side) (left []float64) {
	for _, p := range here {
		if p.limb.Side() == side {
			left = append(left, p.left)
		}
	}
	return left
}

func placementPanel(here []placed) *plot.Plot {
	y := newExtent()
	y.add(0)
	for _, p := range here {
		y.add(p.left, p.left-1.96*p.leftSD, p.left+1.96*p.leftSD)
	}
	p := newPanel("", "")
	p.Y.Tick.Marker = ticks{most: 6}
	y.set(&p.Y, 0.1)
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.across(draw.LineStyle{Color: inkColor, Width: 0.9}, 0)
		for _, side := range bothSides {
			if mean, _, _, n := meanInterval(ofSide(here, side)); n > 0 {
				s.across(styleOf(side).line(), mean)
			}
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
