package plots

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// HistoryPoint is one visit of a horse in its history.
type HistoryPoint struct {
	Date time.Time
	// Summary is the visit's measures; nil where nothing was measured.
	Summary *metrics.Summary
	// Soreness felt at the visit, region by region. A region that is absent was
	// not felt; grade 0 was felt and not sore.
	Soreness []Soreness
	// Treatments given at the visit, as short names.
	Treatments []string
}

// Soreness is the palpation grade of one region.
type Soreness struct {
	Region string
	Grade  float64 // From 0, not sore, to Worst.
	Worst  float64 // The scale’s end; 0 means 4.
}

// HistoryOptions chooses what a history shows.
type HistoryOptions struct {
	// Followed measures get a panel each, under the score; none means the score alone.
	Followed []metrics.Name
}

// History draws a horse's visits on one date axis: the asymmetry score and the
// followed measures with their intervals, and under them soreness and
// treatments. Points need not be in order.
func History(points []HistoryPoint, opts HistoryOptions) (*Figure, error) {
	const name = "history"
	points = byDate(points)
	if len(points) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "there is no visit yet"}
	}
	axis := newVisitDates(points)
	dates, dense := axis.dates, axis.dense
	var panels []*plot.Plot
	var share []float64
	add := func(p *plot.Plot, height float64) {
		p.X.Min, p.X.Max = axis.low, axis.high
		p.X.Tick.Marker = axis.ticks(false)
		panels, share = append(panels, p), append(share, height)
	}
	const lineHeight = 105.0
	hasSides := false

	if p, ok := scorePanel(points, dates, dense); ok {
		add(p, lineHeight)
	}
	for _, n := range opts.Followed {
		if p, sided, ok := measurePanel(points, dates, n, dense); ok {
			add(p, lineHeight)
			hasSides = hasSides || sided
		}
	}
	measured := len(panels)
	if p, height, ok := sorenessPanel(points, dates, dense); ok {
		add(p, height)
	}
	if p, height, ok := treatmentPanel(points, dates, dense); ok {
		add(p, height)
	}
	if len(panels) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no visit holds a measure, a soreness or a treatment"}
	}
	axis.label(panels)
	share[len(share)-1] += 14
	total := 0.0
	for _, s := range share {
		total += s
	}
	return composition{
		name:   name,
		title:  "History: measures, soreness and treatment on one date axis",
		notes:  []string{historyNote(len(points), dense, measured < len(panels))},
		legend: seriesLegend(hasSides),
		height: vg.Length(total) + 8*vg.Length(len(panels)-1),
		body:   func(c draw.Canvas) { stack(c, panels, share, 8) },
	}.figure(), nil
}

// byDate returns a copy of visits in the order of their dates, in metres.
func byDate(points []HistoryPoint) []HistoryPoint {
	points = slices.Clone(points)
	for i := range points {
		if points[i].Summary != nil {
			s := *points[i].Summary.Said(lengths.Metric)
			points[i].Summary = &s
		}
	}
	slices.SortStableFunc(points, func(a, b HistoryPoint) int { return a.Date.Compare(b.Date) })
	return points
}

// visitDates is the date axis of a history: each visit's day, where the axis ends, and
// what its ticks say.
type visitDates struct {
	dates     []float64 // Days.
	low, high float64
	dense     bool // More visits than have room for a sign each.
}

func newVisitDates(points []HistoryPoint) visitDates {
	day := func(t time.Time) float64 {
		y, m, d := t.Date()
		return float64(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix()) / 86400
	}
	x := newExtent()
	var dates []float64
	for _, p := range points {
		dates = append(dates, day(p.Date))
	}
	x.add(dates...)
	if x.high-x.low < 14 {
		middle := (x.low + x.high) / 2
		x.low, x.high = middle-7, middle+7
	}
	margin := 0.04 * (x.high - x.low)
	return visitDates{dates, x.low - margin, x.high + margin, len(points) > mostApart}
}

// ticks are those of one panel; bare ones have no labels.
func (v *visitDates) ticks(bare bool) plot.Ticker {
	if v.dense {
		return calendarTicks{bare: bare}
	}
	return dateTicks{dates: v.dates, bare: bare}
}

// label puts the dates' labels under the lowest panel alone.
func (v *visitDates) label(panels []*plot.Plot) {
	for _, p := range panels[:len(panels)-1] {
		p.X.Tick.Marker = v.ticks(true)
	}
	panels[len(panels)-1].X.Label.Text = "Date of the visit"
	if v.dense {
		panels[len(panels)-1].X.Label.Text = "Date"
	}
}

// historyNote says how the figure is read; more is whether panels of soreness or
// treatment stand below those of measures.
func historyNote(visits int, dense, more bool) string {
	note := fmt.Sprintf("n = %s. Whiskers: 95 %% intervals. Grey band: within the tolerance around even.", count(visits, "visit"))
	if dense {
		note = fmt.Sprintf("n = %s, too many for a sign each. Shaded: 95 %% intervals. Grey band: within the tolerance around even.", count(visits, "visit"))
	}
	switch {
	case !more:
	case dense:
		note += " Soreness: the higher and darker the bar, the sorer, up to grade 4; a stroke at the foot: felt and not sore. Treatment: a stroke each."
	default:
		note += " Numbers in squares: soreness grade; the darker, the sorer; no square: not felt. Triangles: treatments."
	}
	return note
}

// mostApart is how many visits have room for a sign each, and for a square with a grade.
const mostApart = 30

// scorePanel draws the score over the visits.
func scorePanel(points []HistoryPoint, dates []float64, dense bool) (*plot.Plot, bool) {
	est := make([]*metrics.Estimate, len(points))
	some := false
	for i, p := range points {
		if p.Summary != nil && p.Summary.Score != nil && !metrics.TooLittleSeen(p.Summary.Limb.Sentence) {
			est[i] = &p.Summary.Score.Estimate
			some = true
		}
	}
	if !some {
		return nil, false
	}
	p := newPanel("", "Asymmetry score")
	y := newExtent()
	y.add(0, 1.1)
	addEstimates(y, est)
	y.set(&p.Y, 0.05)
	p.Y.Min = 0
	p.Y.Tick.Marker = ticks{most: 5}
	p.Add(artist(func(s sheet) {
		s.bandAcross(bandColor, 0, 1)
		s.grid(true, false)
		drawSeries(s, dates, est, styleOf(traj.Middle), 0, dense)
	}))
	return p, true
}

// measurePanel draws one measure over the visits: left and right of sided
// measures whose two sides were measured, else the value.
func measurePanel(points []HistoryPoint, dates []float64, n metrics.Name, dense bool) (panel *plot.Plot, sided, ok bool) {
	value := make([]*metrics.Estimate, len(points))
	left := make([]*metrics.Estimate, len(points))
	right := make([]*metrics.Estimate, len(points))
	unit, tolerance := "", 0.0
	for i, p := range points {
		if p.Summary == nil {
			continue
		}
		r := p.Summary.Lookup(n)
		// One panel has one unit; a visit measured in another is left out.
		if r == nil || r.Value == nil || (unit != "" && r.Unit != unit) {
			continue
		}
		unit, tolerance = r.Unit, math.Max(tolerance, r.Tolerance)
		value[i], left[i], right[i] = r.Value, r.Left, r.Right
		ok = true
		sided = sided || (r.Left != nil && r.Right != nil)
	}
	if !ok {
		return nil, false, false
	}
	def, _ := metrics.Define(n)
	p := newPanel("", strings.Join(wrap(titleOf(n)+", "+unit, lettering(labelSize, inkColor), 92), "\n"))
	p.Y.Tick.Marker = ticks{most: 5}
	y := newExtent()
	even, compares := def.Even()
	difference := compares && !sided
	if sided {
		addEstimates(y, left)
		addEstimates(y, right)
	} else {
		addEstimates(y, value)
	}
	if difference {
		y.add(even-tolerance, even+tolerance)
	}
	y.set(&p.Y, 0.08)
	p.Add(artist(func(s sheet) {
		if difference && tolerance > 0 {
			s.bandAcross(bandColor, even-tolerance, even+tolerance)
		}
		s.grid(true, false)
		if difference {
			s.across(zeroLine, even)
		}
		if sided {
			drawSeries(s, dates, left, styleOf(traj.Left), -1.6, dense)
			drawSeries(s, dates, right, styleOf(traj.Right), 1.6, dense)
			return
		}
		drawSeries(s, dates, value, styleOf(traj.Middle), 0, dense)
	}))
	return p, sided, true
}

func addEstimates(e *extent, est []*metrics.Estimate) {
	for _, v := range est {
		if v != nil {
			e.add(v.Value, v.Low, v.High)
		}
	}
}

// drawSeries draws a series of estimates, each with its sign or, where they lie dense, as
// a line in a band of their intervals with a few signs that tell its side.
func drawSeries(s sheet, dates []float64, est []*metrics.Estimate, sty sideStyle, shift vg.Length, dense bool) {
	if !dense {
		drawEstimates(s, dates, est, sty, shift)
		return
	}
	var at, v, low, high []float64
	for i, e := range est {
		if e != nil {
			at, v, low, high = append(at, dates[i]), append(v, e.Value), append(low, e.Low), append(high, e.High)
		}
	}
	s.band(sty.band(), at, low, high)
	line := sty.line()
	line.Width = 1
	s.line(line, at, v)
	const signs = 12
	for i := range at {
		// The sides take turns, so that neither hides the other.
		turn := 0
		if sty.shape == triangle {
			turn = len(at) / signs / 2
		}
		if every := max(1, len(at)/signs); i%every == turn%every {
			g := glyph(sty, false)
			g.Radius = 2.6
			s.mark(g, at[i], v[i])
		}
	}
}

// drawEstimates draws a series of estimates; shift moves it sideways, points,
// so that two series at one date do not hide each other.
func drawEstimates(s sheet, dates []float64, est []*metrics.Estimate, sty sideStyle, shift vg.Length) {
	var at, v []float64
	perPoint := (s.p.X.Max - s.p.X.Min) / float64(s.c.Max.X-s.c.Min.X)
	for i, e := range est {
		if e != nil {
			at, v = append(at, dates[i]+perPoint*float64(shift)), append(v, e.Value)
			s.upright(sty.whisker(), at[len(at)-1], e.Low, e.High)
		}
	}
	s.line(sty.line(), at, v)
	for i := range at {
		s.mark(glyph(sty, false), at[i], v[i])
	}
}

// sorenessPanel draws a row per region and a square per visit with its grade, height points high.
func sorenessPanel(points []HistoryPoint, dates []float64, dense bool) (p *plot.Plot, height float64, ok bool) {
	regions := soreRegions(points)
	if len(regions) == 0 {
		return nil, 0, false
	}
	p, height = rowPanel("Soreness", regions)
	p.Add(artist(func(s sheet) {
		s.grid(true, false)
		wide := (s.c.Max.X - s.c.Min.X) / vg.Length(len(points)) / 2
		for i, v := range points {
			for _, g := range v.Soreness {
				row := float64(len(regions) - 1 - slices.Index(regions, g.Region))
				at := vg.Point{X: s.x(dates[i]), Y: s.y(row)}
				if dense {
					gradeBar(s, at, wide, gradeShare(g))
				} else {
					gradeSquare(s, at, g.Grade, gradeShare(g))
				}
			}
		}
	}))
	return p, height, true
}

// soreRegions lists the regions that were graded, in the order of first sight.
func soreRegions(points []HistoryPoint) []string {
	var regions []string
	for _, p := range points {
		for _, s := range p.Soreness {
			if !slices.Contains(regions, s.Region) {
				regions = append(regions, s.Region)
			}
		}
	}
	return regions
}

// gradeShare returns a grade as a share of the worst there is, 0 to 1.
func gradeShare(g Soreness) float64 {
	worst := g.Worst
	if worst <= 0 {
		worst = 4
	}
	return math.Max(0, math.Min(1, g.Grade/worst))
}

// gradeHalf is half the size of a grade's sign.
const gradeHalf = 6.5

// gradeBar draws a grade among many visits: a bar as high as its share, wide to each side of at.
func gradeBar(s sheet, at vg.Point, wide vg.Length, share float64) {
	grey := uint8(170 - 110*share) // Without an outline it must stand out from white.
	foot := at.Y - gradeHalf
	s.c.FillPolygon(color.NRGBA{R: grey, G: grey, B: grey, A: 0xff}, box(at.X-wide, foot, at.X+wide, foot+max(0.8, vg.Length(share)*2*gradeHalf)))
}

// gradeSquare draws a grade as a square, the darker the worse, with its number.
func gradeSquare(s sheet, at vg.Point, grade, share float64) {
	grey := uint8(250 - 150*share)
	square := box(at.X-gradeHalf, at.Y-gradeHalf, at.X+gradeHalf, at.Y+gradeHalf)
	fill := neutralColor
	fill.R, fill.G, fill.B = grey, grey, grey
	s.c.FillPolygon(fill, square)
	s.c.StrokeLines(draw.LineStyle{Color: softInkColor, Width: 0.7}, append(square, square[0]))
	ink := inkColor
	if share > 0.9 {
		ink.R, ink.G, ink.B = 0xff, 0xff, 0xff
	}
	txt := lettering(tickSize, ink)
	txt.XAlign, txt.YAlign = draw.XCenter, draw.YCenter
	digits := 0
	if grade != math.Trunc(grade) {
		digits = 1
	}
	s.c.FillText(txt, vg.Point{X: at.X, Y: at.Y + 0.8}, number(grade, digits))
}

// treatmentPanel draws a row per treatment and a mark per visit, height points high.
func treatmentPanel(points []HistoryPoint, dates []float64, dense bool) (p *plot.Plot, height float64, ok bool) {
	var kinds []string
	for _, p := range points {
		for _, t := range p.Treatments {
			if !slices.Contains(kinds, t) {
				kinds = append(kinds, t)
			}
		}
	}
	if len(kinds) == 0 {
		return nil, 0, false
	}
	others := ""
	if kinds, others = mostUsed(kinds, points); others != "" {
		kinds = append(kinds, others)
	}
	p, height = rowPanel("Treatment", kinds)
	g := draw.GlyphStyle{Color: neutralColor, Radius: 4, Shape: mark{shape: triangle}}
	p.Add(artist(func(s sheet) {
		s.grid(true, false)
		for i, v := range points {
			for _, t := range v.Treatments {
				k := slices.Index(kinds, t)
				if k < 0 {
					k = len(kinds) - 1
				}
				row := float64(len(kinds) - 1 - k)
				if dense {
					at := s.x(dates[i])
					s.c.StrokeLine2(draw.LineStyle{Color: neutralColor, Width: 0.9}, at, s.y(row-0.34), at, s.y(row+0.34))
					continue
				}
				s.mark(g, dates[i], row)
			}
		}
	}))
	return p, height, true
}

// mostKinds is how many treatments have a row of their own.
const mostKinds = 10

// mostUsed keeps the treatments that were given most, in their order; others names the row
// of the rest and is empty where there are none.
func mostUsed(kinds []string, points []HistoryPoint) (kept []string, others string) {
	if len(kinds) <= mostKinds {
		return kinds, ""
	}
	given := map[string]int{}
	for _, p := range points {
		for _, t := range p.Treatments {
			given[t]++
		}
	}
	order := slices.Clone(kinds)
	slices.SortStableFunc(order, func(a, b string) int { return given[b] - given[a] })
	rare := order[mostKinds-1:]
	return slices.DeleteFunc(slices.Clone(kinds), func(k string) bool { return slices.Contains(rare, k) }), fmt.Sprintf("%d others", len(rare))
}

// rowPanel returns a panel with a named row per label, the first on top, and how high it is,
// points. Rows are as high as the name with the most lines; what is longer still is cut.
func rowPanel(title string, labels []string) (p *plot.Plot, height float64) {
	const wide, mostLines = 150, 4
	p = newPanel("", title)
	names, most := make([]string, len(labels)), 1
	for i, l := range labels {
		lines := wrap(l, lettering(tickSize, inkColor), wide)
		if len(lines) > mostLines {
			lines = append(lines[:mostLines-1], strings.Join(lines[mostLines-1:], " "))
		}
		for k := range lines {
			lines[k] = shorten(lines[k], wide)
		}
		names[i], most = strings.Join(lines, "\n"), max(most, len(lines))
	}
	nameRows(p, names)
	return p, 22 + float64(len(labels))*(6+10*float64(most))
}

// shorten cuts txt to width and marks the cut.
func shorten(txt string, width vg.Length) string {
	sty := lettering(tickSize, inkColor)
	if sty.Width(txt) <= width {
		return txt
	}
	r := []rune(txt)
	for len(r) > 1 && sty.Width(string(r)+"…") > width {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// dateTicks marks the visits; where labels would touch, the later one is left
// out and its mark stays.
type dateTicks struct {
	dates []float64
	bare  bool // Marks without labels.
}

// Ticks implements plot.Ticker.
func (t dateTicks) Ticks(low, high float64) []plot.Tick {
	const apart = 0.17 // Share of the axis a label needs.
	var out []plot.Tick
	last := math.Inf(-1)
	for _, d := range t.dates {
		// A label of one space keeps the mark a major one.
		label := " "
		if !t.bare && (d-last)/(high-low) >= apart {
			label = time.Unix(int64(d)*86400, 0).UTC().Format(time.DateOnly)
			last = d
		}
		out = append(out, plot.Tick{Value: d, Label: label})
	}
	return out
}

// calendarTicks marks months or years: of many visits no single one has room for a label.
type calendarTicks struct {
	bare bool // Marks without labels.
}

// Ticks implements plot.Ticker.
func (t calendarTicks) Ticks(low, high float64) []plot.Tick {
	const most = 6
	from, to := time.Unix(int64(low*86400), 0).UTC(), time.Unix(int64(high*86400), 0).UTC()
	months := int(12*(to.Year()-from.Year())) + int(to.Month()) - int(from.Month())
	step, format := 120, "2006"
	for _, s := range []int{1, 2, 3, 6, 12, 24, 60} {
		if months/s <= most {
			step = s
			break
		}
	}
	if step < 12 {
		format = "Jan 2006"
	}
	var out []plot.Tick
	for m := 0; ; m += step {
		day := time.Date(from.Year(), time.Month(1+m), 1, 0, 0, 0, 0, time.UTC)
		at := float64(day.Unix()) / 86400
		if at > high {
			return out
		}
		label := " " // Keeps the mark a major one.
		if !t.bare {
			label = day.Format(format)
		}
		if at >= low {
			out = append(out, plot.Tick{Value: at, Label: label})
		}
	}
}
