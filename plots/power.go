package plots

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// PowerCurve is the chance to see a difference, against its true size, for one
// way to film.
type PowerCurve struct {
	Label string // "4 runs".
	// Difference is the true size, in the unit of the panel's axis. Index: point.
	Difference []float64
	// Chance is 0 to 1; NaN where not known. Index: point.
	Chance []float64
	// At and Seen are points found by simulation, drawn as marks; empty: the
	// curve's own points are marked. Index: point.
	At, Seen []float64
}

// PowerPanel is the curves of one measure.
type PowerPanel struct {
	Title  string // Above the panel; it may wrap.
	XTitle string // With unit.
	YTitle string // With unit; the axis is in %.
	// Asked is the difference a reader asks for, drawn as an upright line; 0: none.
	Asked float64
	// Tolerance is drawn as grey ground from 0; 0: none.
	Tolerance float64
	Curves    []PowerCurve // At most six, so that dash and mark tell them apart.
}

// mostCurves is how many curves dash and mark tell apart.
const mostCurves = 6

// Power draws how likely differences are seen: panels in two columns, filled
// row by row. A curve is told from the others by its mark and dash, not by
// colour. A panel with more than six curves is a programmer's error and
// returned as one.
func Power(title string, panels []PowerPanel, notes ...string) (*Figure, error) {
	const name = "power"
	if len(panels) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no power was computed"}
	}
	var columns [2][]*plot.Plot
	var says []string
	for i, in := range panels {
		if len(in.Curves) > mostCurves {
			return nil, fmt.Errorf("draw %s: %d curves in panel %q, at most %d can be told apart", name, len(in.Curves), in.Title, mostCurves)
		}
		columns[i%2] = append(columns[i%2], powerPanel(in))
		says = append(says, powerWords(in))
	}
	const panelHeight, gap = 172, 10
	rows := len(columns[0])
	return composition{
		name:        name,
		title:       title,
		notes:       notes,
		description: strings.Join(says, " "),
		height:      panelHeight*vg.Length(rows) + gap*vg.Length(rows-1),
		body: func(c draw.Canvas) {
			half := (c.Max.X - c.Min.X) / 2
			for k, column := range columns {
				if len(column) == 0 {
					continue
				}
				part := draw.Crop(c, half*vg.Length(k)+6*vg.Length(k), half*vg.Length(k-1)-6*vg.Length(1-k), 0, 0)
				// The last panel of an odd number keeps its row's height.
				missing := rows - len(column)
				part.Min.Y += vg.Length(missing) * (panelHeight + gap)
				share := make([]float64, len(column))
				for i := range share {
					share[i] = 1
				}
				stack(part, column, share, gap)
			}
		},
	}.figure(), nil
}

func powerPanel(in PowerPanel) *plot.Plot {
	p := newPanel(in.XTitle, in.YTitle)
	p.Title.Text = strings.Join(wrap(in.Title, lettering(labelSize, inkColor), pageWidth/2-30), "\n")
	p.Title.TextStyle.Font = lettering(labelSize, inkColor).Font
	p.Title.TextStyle.Color = inkColor
	p.Title.Padding = 4
	p.Y.Min, p.Y.Max = 0, 103
	p.Y.Tick.Marker = ticks{most: 6}
	x := newExtent()
	for _, k := range in.Curves {
		x.add(k.Difference...)
		x.add(k.At...)
	}
	x.set(&p.X, 0.02)
	p.Add(artist(func(s sheet) {
		if in.Tolerance > 0 {
			to := math.Min(in.Tolerance, p.X.Max)
			s.band(bandColor, []float64{math.Max(0, p.X.Min), to}, []float64{0, 0}, []float64{p.Y.Max, p.Y.Max})
		}
		s.grid(true, false)
		s.across(draw.LineStyle{Color: softInkColor, Width: 0.8, Dashes: []vg.Length{1.5, 2}}, 80)
		if in.Asked > 0 {
			s.updown(draw.LineStyle{Color: softInkColor, Width: 0.9, Dashes: []vg.Length{1.5, 2}}, in.Asked)
		}
		for i, k := range in.Curves {
			s.line(powerLine(i), k.Difference, percent(k.Chance))
		}
		for i, k := range in.Curves {
			at, seen := k.At, k.Seen
			if len(at) == 0 {
				at, seen = k.Difference, k.Chance
			}
			for j, v := range percent(seen) {
				s.mark(powerMark(i), at[j], v)
			}
		}
		powerLegend(s, in.Curves)
	}))
	return p
}

func percent(share []float64) []float64 {
	out := make([]float64, len(share))
	for i, v := range share {
		out[i] = 100 * v
	}
	return out
}

// powerLegend lists the curves in the lower right corner, where rising curves
// leave room, the highest one first as they lie in the panel.
func powerLegend(s sheet, curves []PowerCurve) {
	sty := lettering(tickSize, inkColor)
	sty.YAlign = draw.YCenter
	const row, sample = 11, 22
	var width vg.Length
	for _, k := range curves {
		width = max(width, sty.Width(k.Label))
	}
	left := s.c.Max.X - width - sample - 10
	ground := vg.Rectangle{Min: vg.Point{X: left - 3, Y: s.c.Min.Y + 2}, Max: vg.Point{X: s.c.Max.X - 1, Y: s.c.Min.Y + 3 + row*vg.Length(len(curves))}}
	s.c.SetColor(color.White)
	s.c.Fill(ground.Path())
	for i, k := range curves {
		y := s.c.Min.Y + 2 + row*(vg.Length(i)+0.5)
		s.c.StrokeLine2(powerLine(i), left, y, left+sample, y)
		s.c.DrawGlyphNoClip(powerMark(i), vg.Point{X: left + sample/2, Y: y})
		s.c.FillText(sty, vg.Point{X: left + sample + 5, Y: y + 0.8}, k.Label)
	}
}

// The curves are grey: the two colours belong to left and right.
var powerLooks = [mostCurves]struct {
	grey   uint8
	dashes []vg.Length
	mark   mark
}{
	{0x80, []vg.Length{1.5, 2}, mark{shape: circle, open: true}},
	{0x6a, []vg.Length{4, 2}, mark{shape: triangle, open: true}},
	{0x55, []vg.Length{8, 2}, mark{shape: square, open: true}},
	{0x40, []vg.Length{8, 2, 1.5, 2}, mark{shape: circle}},
	{0x2b, nil, mark{shape: triangle}},
	{0x10, []vg.Length{12, 2}, mark{shape: square}},
}

func powerGrey(i int) color.NRGBA {
	g := powerLooks[i].grey
	return color.NRGBA{R: g, G: g, B: g, A: 0xff}
}

func powerLine(i int) draw.LineStyle {
	return draw.LineStyle{Color: powerGrey(i), Width: 1.3, Dashes: powerLooks[i].dashes}
}

func powerMark(i int) draw.GlyphStyle {
	return draw.GlyphStyle{Color: powerGrey(i), Radius: 2.6, Shape: powerLooks[i].mark}
}

// powerWords says, for those who do not see the panel, what each curve reaches.
func powerWords(in PowerPanel) string {
	var curves []string
	for _, k := range in.Curves {
		at, seen := k.Difference, k.Chance
		reached := "never"
		for j := range at {
			if seen[j] >= 0.8 {
				reached = "at " + strings.TrimSuffix(number(at[j], 1), ".0")
				break
			}
		}
		curves = append(curves, k.Label+" "+reached)
	}
	return fmt.Sprintf("%s: 80 %% is reached with %s (%s).", in.Title, joinComma(curves), strings.ToLower(in.XTitle))
}
