package plots

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// ScoreComponents draws what the asymmetry score is made of: each component's
// deviation as a multiple of its tolerance, to the side to which it points, with its
// interval, its weight and what it adds.
func ScoreComponents(s *metrics.Summary) (*Figure, error) {
	const name = "score-components"
	if s.Score == nil || len(s.Score.Components) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no component of the asymmetry score could be measured"}
	}
	rows := scoreRows(s)
	p := newPanel("To the left or to the right,\nin multiples of its tolerance (95 % interval)", "")
	x := newExtent()
	x.add(-1.2, 1.2)
	var labels []string
	for _, r := range rows {
		x.add(r.Ratio)
		if r.hasRange {
			x.add(r.low, r.high)
		}
		labels = append(labels, titleOf(r.Name))
	}
	x.set(&p.X, 0.04)
	nameRows(p, labels)
	const column = 118
	p.Add(artist(func(sh sheet) { drawScore(sh, rows) }))
	score := "Score " + estimateText(s.Score.Estimate, "", 2)
	if metrics.TooLittleSeen(s.Limb.Sentence) {
		score = capital(metrics.NoScore)
	}
	notes := []string{
		fmt.Sprintf("%s; %s, %s. %s.", score, count(s.Score.Strides, "stride"), count(s.Score.Runs, "run"), metrics.ScoreScale),
		"Grey band: within tolerance. At the right: each component’s weight, what it adds to the square of the score, and the side its sign points to as uneven.",
	}
	if len(s.Score.Missing) > 0 {
		var missing []string
		for _, n := range s.Score.Missing {
			missing = append(missing, titleOf(n))
		}
		notes = append(notes, "Not measurable and so not part of the score: "+strings.Join(missing, "; ")+".")
	}
	return composition{
		name:   name,
		title:  "Asymmetry score and its components",
		notes:  notes,
		legend: append(sidesLegend("points to the left", "points to the right"), sideLegend(styleOf(traj.Middle), "names no side")),
		height: 40 + 22*vg.Length(len(rows)),
		body:   func(c draw.Canvas) { p.Draw(draw.Crop(c, 0, -column, 0, 0)) },
	}.figure(), nil
}

// scoreRow is a component of the score, positive to the right, with its interval.
type scoreRow struct {
	metrics.Component
	low, high float64 // In multiples of the tolerance.
	hasRange  bool
}

// scoreRows returns the components of the score, those that add most first.
func scoreRows(s *metrics.Summary) []scoreRow {
	parts := slices.Clone(s.Score.Components)
	slices.SortStableFunc(parts, func(a, b metrics.Component) int { return cmp.Compare(b.Part, a.Part) })
	var rows []scoreRow
	for _, k := range parts {
		r := scoreRow{Component: k}
		d, _ := metrics.Define(k.Name)
		right := d.TowardRight()
		if m := s.Lookup(k.Name); m != nil && m.Value != nil && m.Tolerance > 0 {
			even, _ := d.Even()
			r.low, r.high, r.hasRange = right*(m.Value.Low-even)/m.Tolerance, right*(m.Value.High-even)/m.Tolerance, true
		}
		r.Ratio *= right
		rows = append(rows, r)
	}
	return rows
}

// drawScore draws a row a component, with its weight and part at the right.
func drawScore(sh sheet, rows []scoreRow) {
	sh.multiples()
	txt := lettering(tickSize, inkColor)
	txt.YAlign = draw.YCenter
	for i, r := range rows {
		at := float64(len(rows) - 1 - i)
		sty := styleOf(r.Side)
		stem := sty.line()
		stem.Width = 3
		if finite(r.Ratio) {
			sh.c.StrokeLine2(stem, sh.x(0), sh.y(at), sh.x(r.Ratio), sh.y(at))
		}
		if r.hasRange {
			sh.level(draw.LineStyle{Color: inkColor, Width: 0.9}, at, r.low, r.high)
		}
		sh.mark(glyph(sty, false), r.Ratio, at)
		side := ""
		if r.Side != traj.Middle {
			side = ", " + string(r.Side)
		}
		sh.c.FillText(txt, vg.Point{X: sh.c.Max.X + 8, Y: sh.y(at) + 1},
			fmt.Sprintf("weight %s, adds %s%s", number(r.Weight, 2), number(r.Part, 2), side))
	}
}
