package plots

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"

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

// StrideByStride draws differences between the sides stride by stride, and returns for
// each stride the part of the figure that belongs to it.
func StrideByStride(rows []StrideRow) (*Figure, []Box, error) {
	const name = "stride-by-stride"
	strides := 0
	var shown []StrideRow
	for _, r := range rows {
		any := false
		for _, v := range append(append([]float64(nil), r.Before...), r.Now...) {
			any = any || finite(v)
		}
		if any {
			shown, strides = append(shown, r), max(strides, len(r.Now))
		}
	}
	if len(shown) == 0 || strides == 0 {
		return nil, nil, &NoDataError{Figure: name, Reason: "no difference between the sides was measured in these strides"}
	}
	const width, rowHeight, foot, margin = 330 * vg.Length(1), 92, 16, 6
	compared := shown[0].Before != nil
	var panels []*plot.Plot
	var share []float64
	for i, r := range shown {
		share = append(share, 1)
		panels = append(panels, stridePanel(r, strides, i == len(shown)-1))
	}
	share[len(share)-1] += 0.2 // It has the axis.
	legend := []legendEntry{
		{text: "points left", mark: glyphOf(traj.Left)}, {text: "points right", mark: glyphOf(traj.Right)},
	}
	note := fmt.Sprintf("n = %s. Up is to the right side. Single strides, without intervals: one alone shows little. Grey band: tolerance.", count(strides, "stride"))
	if compared {
		open := glyph(styleOf(traj.Middle), true)
		legend = append(legend, legendEntry{text: "open: before, filled: now", mark: &open})
	}
	figure := composition{
		name: name, title: "Stride by stride", width: width, notes: []string{note}, legend: legend, height: rowHeight*vg.Length(len(shown)) + foot,
		body: func(dc draw.Canvas) { stack(dc, panels, share, 3) },
	}.figure()
	// Where the strides are drawn depends on how wide the labels are.
	left, right := dataEdges(draw.NewCanvas(new(recorder.Canvas), width-2*margin, rowHeight), panels)
	step := (right - left).Points() / float64(strides)
	height := float64(rowHeight*len(shown) + foot)
	var boxes []Box
	for i := range strides {
		boxes = append(boxes, Box{margin + left.Points() + step*float64(i), figure.Height.Points() - margin - height, step, height})
	}
	return figure, boxes, nil
}

func glyphOf(side traj.Side) *draw.GlyphStyle {
	g := glyph(styleOf(side), false)
	return &g
}

// stridePanel draws one measure.
func stridePanel(r StrideRow, strides int, last bool) *plot.Plot {
	d, _ := metrics.Define(r.Name)
	scale, unit := d.Say(r.Unit, 1)
	sign := towardRight(r.Name)
	title := map[metrics.Name]string{
		metrics.HeadLowDifference: "head", metrics.CroupLowDifference: "croup", metrics.StepLengthFore: "fore step", metrics.StepLengthHind: "hind step",
	}[r.Name]
	xTitle := ""
	if last {
		xTitle = "Stride"
	}
	p := newPanel(xTitle, title+", "+shortUnit(unit))
	p.X.Min, p.X.Max = 0.5, float64(strides)+0.5
	var ticked []plot.Tick
	for i := range strides {
		label := ""
		if last {
			label = fmt.Sprint(i + 1)
		}
		ticked = append(ticked, plot.Tick{Value: float64(i + 1), Label: label})
	}
	p.X.Tick.Marker = plot.ConstantTicks(ticked)
	p.Y.Tick.Marker = ticks{most: 4}
	y := newExtent()
	y.add(0, 1.1*r.Tolerance*scale, -1.1*r.Tolerance*scale)
	for _, v := range append(append([]float64(nil), r.Before...), r.Now...) {
		y.add(sign * v * scale)
	}
	reach := math.Max(math.Abs(y.low), math.Abs(y.high))
	y.add(reach, -reach)
	y.set(&p.Y, 0.08)
	p.Add(artist(func(s sheet) {
		if t := r.Tolerance * scale; t > 0 {
			s.band(bandColor, []float64{p.X.Min, p.X.Max}, []float64{-t, -t}, []float64{t, t})
		}
		s.grid(true, false)
		s.across(zeroLine, 0)
		put := func(values []float64, shift float64, open bool) {
			for i, v := range values {
				v *= sign * scale
				if !finite(v) {
					continue
				}
				side := traj.Right
				if v < 0 {
					side = traj.Left
				}
				at := float64(i+1) + shift
				s.c.StrokeLine2(draw.LineStyle{Color: styleOf(side).color, Width: 1, Dashes: styleOf(side).dashes}, s.x(at), s.y(0), s.x(at), s.y(v))
				s.mark(glyph(styleOf(side), open), at, v)
			}
		}
		if r.Before == nil {
			put(r.Now, 0, false)
			return
		}
		put(r.Before, -0.12, true)
		put(r.Now, 0.12, false)
	}))
	return p
}
