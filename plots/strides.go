package plots

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// StrideRow is a measure over the strides that a film shows; the value at which both sides
// are alike is taken off. NaN is not measured.
type StrideRow struct {
	Name      metrics.Name
	Unit      string
	Tolerance float64   // 0 is not known.
	Before    []float64 // Of a film of two visits; else nil.
	Now       []float64
}

// Box is a part of a figure, points from its left upper corner.
type Box struct{ X, Y, Width, Height float64 }

// Sizes of the drawing of strides, points.
const (
	stridesWidth  = 330
	stridesMargin = 6  // As around every composition.
	stridesGutter = 26 // Left of the columns: the strides' numbers.
	stridesGap    = 16 // Between columns.
	stridesHead   = 26 // Above the strides: what is measured, and which side is where.
	stridesFoot   = 14 // Below them: sizes.
	stridesHigh   = 150
)

// StrideByStride draws differences between the sides stride by stride, from the first down
// to the last, a column for each measure with left and right where they are on a first page.
// It returns for each stride the part of the figure that belongs to it.
func StrideByStride(rows []StrideRow) (*Figure, []Box, error) {
	const name = "stride-by-stride"
	strides := 0
	var shown []StrideRow
	for _, r := range rows {
		if r.measured() {
			shown, strides = append(shown, r), max(strides, len(r.Now))
		}
	}
	if len(shown) == 0 || strides == 0 {
		return nil, nil, &NoDataError{Figure: name, Reason: "no difference between the sides was measured in these strides"}
	}
	compared := shown[0].Before != nil
	legend := []legendEntry{
		{text: "points left", mark: glyphOf(traj.Left)}, {text: "points right", mark: glyphOf(traj.Right)},
	}
	note := fmt.Sprintf("n = %s, the first on top. Single strides, without intervals: one alone shows little. Grey band: tolerance.", count(strides, "stride"))
	if compared {
		open := glyph(styleOf(traj.Middle), true)
		legend = append(legend, legendEntry{text: "open: before, filled: now", mark: &open})
	}
	high := vg.Length(math.Max(11, math.Min(22, stridesHigh/float64(strides))))
	height := stridesHead + high*vg.Length(strides) + stridesFoot
	figure := composition{
		name: name, title: "Stride by stride", width: stridesWidth, notes: []string{note}, legend: legend, height: height,
		body: func(dc draw.Canvas) {
			number := lettering(tickSize, inkColor)
			for i := range strides {
				text := fmt.Sprint(i + 1)
				y := dc.Max.Y - stridesHead - high*(vg.Length(i)+0.5)
				dc.FillText(number, vg.Point{X: dc.Min.X + 12 - number.Width(text), Y: y + 5.5}, text)
			}
			wide := (dc.Max.X - dc.Min.X - stridesGutter - stridesGap*vg.Length(len(shown)-1)) / vg.Length(len(shown))
			for i, r := range shown {
				left := dc.Min.X + stridesGutter + (wide+stridesGap)*vg.Length(i)
				r.draw(part(dc, left, dc.Min.Y, left+wide, dc.Max.Y), high)
			}
		},
	}.figure()
	top := (figure.Height - height - stridesMargin + stridesHead).Points()
	var boxes []Box
	for i := range strides {
		boxes = append(boxes, Box{stridesMargin, top + high.Points()*float64(i), stridesWidth - 2*stridesMargin, high.Points()})
	}
	return figure, boxes, nil
}

func (r StrideRow) measured() bool {
	return slices.ContainsFunc(slices.Concat(r.Before, r.Now), func(v float64) bool { return finite(v) })
}

func glyphOf(side traj.Side) *draw.GlyphStyle {
	g := glyph(styleOf(side), false)
	return &g
}

// title names the measure and its unit.
func (r StrideRow) title(unit string) string {
	words := map[metrics.Name]string{
		metrics.HeadLowDifference: "head", metrics.CroupLowDifference: "croup", metrics.StepLengthFore: "fore step", metrics.StepLengthHind: "hind step",
	}[r.Name]
	return words + ", " + shortUnit(unit)
}

// draw draws one measure down a column, each stride as high as given.
func (r StrideRow) draw(c draw.Canvas, high vg.Length) {
	d, _ := metrics.Define(r.Name)
	scale, unit := d.Say(r.Unit)
	tolerance := r.Tolerance * scale
	scale *= d.TowardRight()
	reach := 1.1 * tolerance
	for _, v := range slices.Concat(r.Before, r.Now) {
		if finite(v) {
			reach = math.Max(reach, math.Abs(v*scale))
		}
	}
	if reach < leastSize {
		reach = 1
	}
	reach *= 1.12
	middle, half := (c.Min.X+c.Max.X)/2, (c.Max.X-c.Min.X)/2
	x := func(v float64) vg.Length { return middle + half*vg.Length(v/reach) }
	top, bottom := c.Max.Y-stridesHead, c.Min.Y+stridesFoot

	head, small := bold(lettering(labelSize, inkColor)), lettering(7.5, softInkColor)
	title := r.title(unit)
	c.FillText(head, vg.Point{X: middle - head.Width(title)/2, Y: c.Max.Y}, title)
	c.FillText(small, vg.Point{X: c.Min.X, Y: c.Max.Y - 13}, "left")
	c.FillText(small, vg.Point{X: c.Max.X - small.Width("right"), Y: c.Max.Y - 13}, "right")
	if tolerance > 0 {
		c.FillPolygon(bandColor, box(x(-tolerance), bottom, x(tolerance), top))
	}
	// At least two fifths of the reach and at most all of it lie between five marks: one stands on
	// each side of 0.
	for _, t := range (ticks{most: 5}).Ticks(-reach, reach) {
		style := draw.LineStyle{Color: gridColor, Width: 0.6}
		if t.Value == 0 {
			style = zeroLine
		}
		c.StrokeLine2(style, x(t.Value), bottom, x(t.Value), top)
		// The side is told by its place: sizes have no sign.
		text := strings.TrimPrefix(t.Label, "−")
		c.FillText(small, vg.Point{X: x(t.Value) - small.Width(text)/2, Y: bottom - 3}, text)
	}
	at := func(v float64, stride int, shift vg.Length) vg.Point {
		return vg.Point{X: x(v), Y: top - high*(vg.Length(stride)+0.5) + shift}
	}
	if r.Before == nil {
		drawVisit(c, r.Now, scale, false, func(v float64, i int) vg.Point { return at(v, i, 0) })
		return
	}
	drawVisit(c, r.Before, scale, true, func(v float64, i int) vg.Point { return at(v, i, high*0.18) })
	drawVisit(c, r.Now, scale, false, func(v float64, i int) vg.Point { return at(v, i, -high*0.18) })
}

// drawVisit draws one visit's values, each times scale, from stride to stride, with the sign
// of the side to which each points.
func drawVisit(c draw.Canvas, values []float64, scale float64, open bool, at func(v float64, stride int) vg.Point) {
	path := draw.LineStyle{Color: softInkColor, Width: 0.7}
	if open {
		path.Dashes = []vg.Length{2, 2}
	}
	for i := range values {
		if i > 0 && finite(values[i-1], values[i]) {
			c.StrokeLines(path, []vg.Point{at(values[i-1]*scale, i-1), at(values[i]*scale, i)})
		}
	}
	for i, v := range values {
		if !finite(v) {
			continue
		}
		side := traj.Right
		if v*scale < 0 {
			side = traj.Left
		}
		c.DrawGlyphNoClip(glyph(styleOf(side), open), at(v*scale, i))
	}
}
