package plots

import (
	"cmp"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/track/traj"
)

// pageWidth is the width of every figure: the text width of A4 and of Letter
// with 20 mm margins.
const pageWidth = 480 * vg.Length(1)

// composition is a figure before its size is known: a title, notes under it,
// a legend row, and a body.
type composition struct {
	name        string
	title       string
	notes       []string // Each starts a line of its own.
	legend      []legendEntry
	description string    // Added to title and notes for those who do not see the figure.
	width       vg.Length // 0 means pageWidth.
	height      vg.Length
	body        func(draw.Canvas)
}

// figure sets the composition.
func (k composition) figure() *Figure {
	const margin = 6
	title := bold(lettering(titleSize, inkColor))
	note := lettering(noteSize, softInkColor)
	k.width = cmp.Or(k.width, pageWidth)
	width := k.width - 2*margin
	var lines []string
	for _, n := range k.notes {
		lines = append(lines, wrap(n, note, width)...)
	}
	titleLines := wrap(k.title, title, width)
	const titleLine, noteLine, legendRow = 14, 11.5, 15
	header := vg.Length(margin) + titleLine*vg.Length(len(titleLines)) + noteLine*vg.Length(len(lines)) + 5
	if len(k.legend) > 0 {
		header += legendRow
	}
	total := header + k.height + margin
	paint := func(c draw.Canvas) {
		y := c.Max.Y - margin
		for _, l := range titleLines {
			c.FillText(title, vg.Point{X: c.Min.X + margin, Y: y}, l)
			y -= titleLine
		}
		y -= 1
		for _, l := range lines {
			c.FillText(note, vg.Point{X: c.Min.X + margin, Y: y}, l)
			y -= noteLine
		}
		if len(k.legend) > 0 {
			y -= 2
			drawLegend(c, k.legend, vg.Point{X: c.Min.X + margin, Y: y - legendRow/2})
		}
		k.body(draw.Crop(c, margin, -margin, margin, -header))
	}
	return &Figure{
		Name:        k.name,
		Title:       k.title,
		Description: strings.TrimSpace(k.description + " " + strings.Join(k.notes, " ")),
		Width:       k.width,
		Height:      total,
		paint:       paint,
	}
}

// wrap breaks txt into lines that fit into width.
func wrap(txt string, sty text.Style, width vg.Length) []string {
	var lines []string
	line := ""
	// Not strings.Fields: a space that must not break stays inside its word.
	for _, word := range strings.Split(txt, " ") {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if line != "" && sty.Width(longer) > width {
			lines = append(lines, line)
			line = word
			continue
		}
		line = longer
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// legendEntry explains one look.
type legendEntry struct {
	text  string
	line  *draw.LineStyle
	mark  *draw.GlyphStyle
	hatch *sideStyle // A bar filled as stance bars are.
}

// sideLegend explains left and right with line and mark.
func sideLegend(s sideStyle, txt string) legendEntry {
	l, g := s.line(), glyph(s, false)
	return legendEntry{text: txt, line: &l, mark: &g}
}

// sidesLegend explains left and right.
func sidesLegend(left, right string) []legendEntry {
	return []legendEntry{sideLegend(styleOf(traj.Left), left), sideLegend(styleOf(traj.Right), right)}
}

// seriesLegend explains a score or a difference, and the sides where they are drawn.
func seriesLegend(sides bool) []legendEntry {
	legend := []legendEntry{sideLegend(styleOf(traj.Middle), "score or difference")}
	if sides {
		legend = append(sidesLegend("left", "right"), legend...)
	}
	return legend
}

func glyph(s sideStyle, open bool) draw.GlyphStyle {
	return draw.GlyphStyle{Color: s.color, Radius: 3.2, Shape: mark{shape: s.shape, open: open}}
}

func drawLegend(c draw.Canvas, entries []legendEntry, at vg.Point) {
	sty := lettering(noteSize, inkColor)
	sty.YAlign = draw.YCenter
	x := at.X
	const sample = 26
	for _, e := range entries {
		if e.hatch != nil {
			drawBar(c, *e.hatch, vg.Rectangle{Min: vg.Point{X: x, Y: at.Y - 4}, Max: vg.Point{X: x + sample, Y: at.Y + 4}}, true, true)
		}
		if e.line != nil {
			c.StrokeLine2(*e.line, x, at.Y, x+sample, at.Y)
		}
		if e.mark != nil {
			c.DrawGlyphNoClip(*e.mark, vg.Point{X: x + sample/2, Y: at.Y})
		}
		c.FillText(sty, vg.Point{X: x + sample + 5, Y: at.Y + 1}, e.text)
		x += sample + 5 + sty.Width(e.text) + 16
	}
}

// box returns the corners of a rectangle, from the lower left one round.
func box(left, bottom, right, top vg.Length) []vg.Point {
	return []vg.Point{{X: left, Y: bottom}, {X: right, Y: bottom}, {X: right, Y: top}, {X: left, Y: top}}
}

// part returns a part of a canvas.
func part(c draw.Canvas, left, bottom, right, top vg.Length) draw.Canvas {
	c.Rectangle = vg.Rectangle{Min: vg.Point{X: left, Y: bottom}, Max: vg.Point{X: right, Y: top}}
	return c
}

// newPanel returns a plot with axis titles and the package's looks.
func newPanel(xTitle, yTitle string) *plot.Plot {
	p := plot.New()
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = lettering(labelSize, inkColor).Font
		a.Label.TextStyle.Color = inkColor
		a.Label.Padding = 2
		a.Tick.Label.Font = lettering(tickSize, inkColor).Font
		a.Tick.Label.Color = inkColor
		a.Tick.Length = 3
		a.Tick.Color = zeroColor
		a.Color = zeroColor
		a.Padding = 0
		a.Tick.Marker = ticks{}
	}
	p.Y.Label.Padding = 4
	p.X.Label.Text, p.Y.Label.Text = xTitle, yTitle
	p.BackgroundColor = nil
	return p
}

// nameRows gives a panel a row a label, the first on top at len(labels) − 1, the last at 0.
func nameRows(p *plot.Plot, labels []string) {
	p.Y.Min, p.Y.Max = -0.6, float64(len(labels))-0.4
	var t []plot.Tick
	for i, l := range labels {
		t = append(t, plot.Tick{Value: float64(len(labels) - 1 - i), Label: l})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(t)
	p.Y.Tick.Length = 0
}

// artist draws onto a panel's data area; it implements plot.Plotter.
type artist func(s sheet)

// Plot implements plot.Plotter.
func (a artist) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	a(sheet{c: c, x: x, y: y, p: p})
}

// sheet is a panel's data area in data coordinates.
type sheet struct {
	c    draw.Canvas
	x, y func(float64) vg.Length
	p    *plot.Plot
}

// finite reports whether all of v can be drawn.
func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// line draws ys over xs, broken where either is not finite.
func (s sheet) line(sty draw.LineStyle, xs, ys []float64) {
	for _, r := range finiteRuns(xs, ys) {
		pts := make([]vg.Point, 0, r[1]-r[0])
		for i := r[0]; i < r[1]; i++ {
			pts = append(pts, vg.Point{X: s.x(xs[i]), Y: s.y(ys[i])})
		}
		if len(pts) < 2 {
			continue
		}
		s.c.StrokeLines(sty, s.c.ClipLinesXY(pts)...)
	}
}

// finiteRuns returns the half-open index ranges in which every series is finite.
func finiteRuns(series ...[]float64) [][2]int {
	var runs [][2]int
	start := -1
	n := len(series[0])
	for i := 0; i <= n; i++ {
		ok := i < n
		for _, v := range series {
			ok = ok && finite(v[i])
		}
		switch {
		case ok && start < 0:
			start = i
		case !ok && start >= 0:
			runs = append(runs, [2]int{start, i})
			start = -1
		}
	}
	return runs
}

// band fills between low and high over xs, broken where not finite.
func (s sheet) band(fill color.Color, xs, low, high []float64) {
	for _, r := range finiteRuns(xs, low, high) {
		var pts []vg.Point
		for i := r[0]; i < r[1]; i++ {
			pts = append(pts, vg.Point{X: s.x(xs[i]), Y: s.y(high[i])})
		}
		for i := r[1] - 1; i >= r[0]; i-- {
			pts = append(pts, vg.Point{X: s.x(xs[i]), Y: s.y(low[i])})
		}
		s.c.FillPolygon(fill, s.c.ClipPolygonXY(pts))
	}
}

// bandAcross fills what lies between two heights, through the whole panel.
func (s sheet) bandAcross(fill color.Color, low, high float64) {
	s.band(fill, []float64{s.p.X.Min, s.p.X.Max}, []float64{low, low}, []float64{high, high})
}

// bandUpright fills from the bottom of the panel to its top.
func (s sheet) bandUpright(fill color.Color, from, to float64) {
	s.band(fill, []float64{from, to}, []float64{s.p.Y.Min, s.p.Y.Min}, []float64{s.p.Y.Max, s.p.Y.Max})
}

// multiples lays out a panel of what is told in multiples of a bound, which the grey band
// shows, to both sides of zero.
func (s sheet) multiples() {
	s.bandUpright(bandColor, -1, 1)
	s.grid(false, true)
	s.updown(zeroLine, 0)
}

// mark draws a glyph at a position.
func (s sheet) mark(g draw.GlyphStyle, x, y float64) {
	if finite(x, y) {
		s.c.DrawGlyphNoClip(g, vg.Point{X: s.x(x), Y: s.y(y)})
	}
}

// upright draws a vertical interval with end caps.
func (s sheet) upright(sty draw.LineStyle, x, low, high float64) {
	if !finite(x, low, high) {
		return
	}
	at := s.x(x)
	a, b := s.y(low), s.y(high)
	s.c.StrokeLine2(sty, at, a, at, b)
	s.c.StrokeLine2(sty, at-2.2, a, at+2.2, a)
	s.c.StrokeLine2(sty, at-2.2, b, at+2.2, b)
}

// level draws a horizontal interval with end caps.
func (s sheet) level(sty draw.LineStyle, y, low, high float64) {
	if !finite(y, low, high) {
		return
	}
	at := s.y(y)
	a, b := s.x(low), s.x(high)
	s.c.StrokeLine2(sty, a, at, b, at)
	s.c.StrokeLine2(sty, a, at-2.2, a, at+2.2)
	s.c.StrokeLine2(sty, b, at-2.2, b, at+2.2)
}

// across draws a horizontal line through the whole panel.
func (s sheet) across(sty draw.LineStyle, y float64) {
	if at := s.y(y); finite(y) && s.c.ContainsY(at) {
		s.c.StrokeLine2(sty, s.c.Min.X, at, s.c.Max.X, at)
	}
}

// updown draws a vertical line through the whole panel.
func (s sheet) updown(sty draw.LineStyle, x float64) {
	if at := s.x(x); finite(x) && s.c.ContainsX(at) {
		s.c.StrokeLine2(sty, at, s.c.Min.Y, at, s.c.Max.Y)
	}
}

// grid draws lines at the major ticks.
func (s sheet) grid(horizontal, vertical bool) {
	sty := draw.LineStyle{Color: gridColor, Width: 0.6}
	if horizontal {
		for _, t := range s.p.Y.Tick.Marker.Ticks(s.p.Y.Min, s.p.Y.Max) {
			if !t.IsMinor() {
				s.across(sty, t.Value)
			}
		}
	}
	if vertical {
		for _, t := range s.p.X.Tick.Marker.Ticks(s.p.X.Min, s.p.X.Max) {
			if !t.IsMinor() {
				s.updown(sty, t.Value)
			}
		}
	}
}

var zeroLine = draw.LineStyle{Color: zeroColor, Width: 0.8}

// ticks places marks at round values and writes the true minus sign.
type ticks struct {
	most int // The most marks wanted; 0 means 7.
}

// Ticks implements plot.Ticker.
func (t ticks) Ticks(low, high float64) []plot.Tick {
	most := cmp.Or(t.most, 7)
	if !finite(low, high) || high <= low {
		return nil
	}
	step := roundStep((high - low) / float64(most))
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []plot.Tick
	// Counted, because adding a step to a huge value may not change it.
	first := math.Ceil(low/step - 1e-9)
	for i := 0; i <= most+1; i++ {
		v := (first + float64(i)) * step
		if v > high+1e-9*step {
			break
		}
		out = append(out, plot.Tick{Value: v, Label: number(v, decimals)})
	}
	return out
}

// roundStep returns the smallest of 1, 2, 5 times a power of ten that is at
// least atLeast.
func roundStep(atLeast float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(atLeast)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*power >= atLeast*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

// number writes v with a true minus sign, never as minus zero, and as a dash
// where there is none.
func number(v float64, decimals int) string {
	if !finite(v) {
		return "–"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// extent collects the range of what is drawn.
type extent struct{ low, high float64 }

func newExtent() *extent { return &extent{math.Inf(1), math.Inf(-1)} }

func (e *extent) add(v ...float64) {
	for _, x := range v {
		if finite(x) {
			e.low, e.high = math.Min(e.low, x), math.Max(e.high, x)
		}
	}
}

// empty reports whether nothing finite was added.
func (e *extent) empty() bool { return e.low > e.high }

// leastSize is the smallest extent that shows more than rounding.
const leastSize = 1e-9

// set gives the axis the extent and a margin, share of its size.
func (e *extent) set(a *plot.Axis, margin float64) {
	if e.empty() {
		a.Min, a.Max = 0, 1
		return
	}
	size := e.high - e.low
	if size < leastSize*math.Max(1, math.Abs(e.high)) {
		// Rounding, of which labels would be wider than the page.
		size = math.Max(math.Abs(e.high)*0.1, 1e-3)
	}
	a.Min, a.Max = e.low-margin*size, e.high+margin*size
}

// dataEdges returns where the data areas of panels on c begin and end: the widest axis
// decides.
func dataEdges(c draw.Canvas, panels []*plot.Plot) (left, right vg.Length) {
	left, right = c.Min.X, c.Max.X
	for _, p := range panels {
		d := p.DataCanvas(c)
		left, right = max(left, d.Min.X), min(right, d.Max.X)
	}
	return left, right
}

// stack draws panels under each other with their data areas aligned. share
// gives each one's part of the height.
func stack(c draw.Canvas, panels []*plot.Plot, share []float64, gap vg.Length) {
	left, right := dataEdges(c, panels)
	total := 0.0
	for _, s := range share {
		total += s
	}
	height := c.Max.Y - c.Min.Y - gap*vg.Length(len(panels)-1)
	top := c.Max.Y
	for i, p := range panels {
		h := height * vg.Length(share[i]/total)
		strip := part(c, c.Min.X, top-h, c.Max.X, top)
		d := p.DataCanvas(strip)
		p.Draw(draw.Crop(strip, left-d.Min.X, right-d.Max.X, 0, 0))
		top -= h + gap
	}
}
