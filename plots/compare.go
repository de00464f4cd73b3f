package plots

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// mostPairs is how many measures BeforeAfter picks when none are named.
const mostPairs = 6

// pair is one panel of BeforeAfter.
type pair struct {
	title     string
	unit      string
	change    metrics.Change
	decimals  int
	even      float64
	tolerance float64 // 0 for none.
	sides     []pairSide
}

type pairSide struct {
	side          traj.Side
	before, after metrics.Estimate
}

// BeforeAfter draws measures of two visits side by side, each with its change,
// interval and verdict. Sided measures show left and right; the change is that
// of right − left. names picks the measures; none picks the score, what was
// followed, and the established ones, six at most.
func BeforeAfter(c *metrics.Comparison, names ...metrics.Name) (*Figure, error) {
	const name = "before-after"
	c = c.Said(lengths.Metric) // What was said in inches before stays so.
	pairs := pickPairs(c, names)
	if len(pairs) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no measure was measured at both visits"}
	}
	const columns = 3
	var panels []*plot.Plot
	hasSides := false
	for _, k := range pairs {
		panels = append(panels, k.panel())
		hasSides = hasSides || len(k.sides) > 1
	}
	rows := (len(pairs) + columns - 1) / columns
	const headHeight, rowHeight = 50, 190
	open := glyph(styleOf(traj.Middle), true)
	legend := append(seriesLegend(hasSides), legendEntry{text: "open: before, filled: after", mark: &open})
	return composition{
		name:  name,
		title: "Before and after",
		notes: []string{fmt.Sprintf("Before: %s in %s; after: %s in %s. Whiskers: 95 %% intervals. Grey band: within the tolerance around even. The line above each panel gives the change (after − before) with the interval that the verdict goes by: 95 %%, wider where measures are judged together.",
			count(c.Before.Strides, "stride"), count(c.Before.Runs, "run"), count(c.After.Strides, "stride"), count(c.After.Runs, "run"))},
		legend: legend,
		height: rowHeight*vg.Length(rows) + 8*vg.Length(rows-1),
		body: func(dc draw.Canvas) {
			const gap = 12
			width := (dc.Max.X - dc.Min.X - gap*(columns-1)) / columns
			for i, p := range panels {
				left := dc.Min.X + (width+gap)*vg.Length(i%columns)
				top := dc.Max.Y - (rowHeight+8)*vg.Length(i/columns)
				area := part(dc, left, top-rowHeight, left+width, top)
				pairs[i].head(area)
				p.Draw(draw.Crop(area, 0, 0, 0, -headHeight))
			}
		},
	}.figure(), nil
}

// pickPairs builds the panels of the named measures, or of those that matter most.
func pickPairs(c *metrics.Comparison, names []metrics.Name) []pair {
	var out []pair
	if len(names) == 0 {
		out, names = scorePair(c), mainMeasures(c)
	}
	for _, n := range names {
		for _, ch := range c.Changes {
			if ch.Name == n && ch.Before != nil && ch.After != nil {
				out = append(out, measurePair(c, ch))
			}
		}
	}
	return out[:min(len(out), max(mostPairs, len(names)))]
}

// scorePair returns the panel of the score, if both visits have one.
func scorePair(c *metrics.Comparison) []pair {
	score := c.Score
	if score == nil || score.Before == nil || score.After == nil || !c.Scored() {
		return nil
	}
	return []pair{{
		title: "Asymmetry score", change: *score, decimals: 2, tolerance: 1,
		sides: []pairSide{{traj.Middle, *score.Before, *score.After}},
	}}
}

// mainMeasures returns the measures that matter most: those that are followed, then the
// established ones that compare left with right.
func mainMeasures(c *metrics.Comparison) []metrics.Name {
	var followed, others []metrics.Name
	for _, ch := range c.Changes {
		d, _ := metrics.Define(ch.Name)
		_, compares := d.Even()
		switch {
		case ch.Followed:
			followed = append(followed, ch.Name)
		case compares && d.Evidence != metrics.Description:
			others = append(others, ch.Name)
		}
	}
	return append(followed, others...)
}

// measurePair returns the panel of a measure that both visits have: its two sides where it has
// them.
func measurePair(c *metrics.Comparison, ch metrics.Change) pair {
	d, _ := metrics.Define(ch.Name)
	even, compares := d.Even()
	k := pair{title: titleOf(ch.Name), unit: ch.Unit, change: ch, decimals: decimalsOf(ch.Name, ch.Unit), even: even}
	b, a := c.Before.Lookup(ch.Name), c.After.Lookup(ch.Name)
	if hasBothSides(b) && hasBothSides(a) {
		k.sides = []pairSide{{traj.Left, *b.Left, *a.Left}, {traj.Right, *b.Right, *a.Right}}
		return k
	}
	k.sides = []pairSide{{traj.Middle, *ch.Before, *ch.After}}
	if compares && a != nil {
		k.tolerance = a.Tolerance
	}
	return k
}

func hasBothSides(r *metrics.Result) bool { return r != nil && r.Left != nil && r.Right != nil }

// head writes a panel's title, change and verdict at the top of area.
func (k pair) head(area draw.Canvas) {
	width := area.Max.X - area.Min.X
	y := area.Max.Y
	title := k.title
	if len(k.sides) > 1 {
		title += ", right − left"
	}
	// A title of one line stands on the second, next to its change.
	heading := bold(lettering(noteSize, inkColor))
	lines := fit(wrap(title, heading, width), 2)
	y -= 11 * vg.Length(2-len(lines))
	for _, l := range lines {
		area.FillText(heading, vg.Point{X: area.Min.X, Y: y}, l)
		y -= 11
	}
	y = area.Max.Y - 23
	plain := lettering(noteSize, inkColor)
	if e := k.change.Judged; e != nil {
		area.FillText(plain, vg.Point{X: area.Min.X, Y: y}, "change "+shortText(*e, k.decimals)+suffix(k.unit))
		y -= 11
	}
	area.FillText(plain, vg.Point{X: area.Min.X, Y: y}, string(k.change.Verdict))
}

func suffix(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

// fit keeps at most n lines.
func fit(lines []string, n int) []string { return lines[:min(n, len(lines))] }

// panel draws the pair.
func (k pair) panel() *plot.Plot {
	unit := k.unit
	if unit == "" {
		unit = "score"
	}
	p := newPanel("", unit)
	p.X.Min, p.X.Max = -0.5, 1.5
	p.X.Tick.Marker = plot.ConstantTicks([]plot.Tick{{Value: 0, Label: "before"}, {Value: 1, Label: "after"}})
	p.Y.Tick.Marker = ticks{most: 5}
	y := newExtent()
	for _, s := range k.sides {
		y.add(s.before.Value, s.before.Low, s.before.High, s.after.Value, s.after.Low, s.after.High)
	}
	if len(k.sides) == 1 {
		y.add(k.even)
	}
	if k.tolerance > 0 {
		y.add(k.even + k.tolerance)
		if k.unit != "" {
			y.add(k.even - k.tolerance)
		}
	}
	y.set(&p.Y, 0.06)
	p.Add(artist(func(s sheet) {
		if k.tolerance > 0 {
			low := k.even - k.tolerance
			if k.unit == "" {
				low = 0
			}
			s.bandAcross(bandColor, low, k.even+k.tolerance)
		}
		s.grid(true, false)
		if len(k.sides) == 1 {
			s.across(zeroLine, k.even)
		}
		for i, e := range k.sides {
			sty := styleOf(e.side)
			shift := 0.0
			if len(k.sides) > 1 {
				shift = -0.07 + 0.14*float64(i)
			}
			s.line(sty.line(), []float64{shift, 1 + shift}, []float64{e.before.Value, e.after.Value})
			s.upright(sty.whisker(), shift, e.before.Low, e.before.High)
			s.upright(sty.whisker(), 1+shift, e.after.Low, e.after.High)
			s.mark(glyph(sty, true), shift, e.before.Value)
			s.mark(glyph(sty, false), 1+shift, e.after.Value)
		}
	}))
	return p
}

// Changes draws the change of every measure that is judged between two visits in multiples
// of the smallest change that counts, with interval and verdict. Those that are described
// only are too many to be read in one figure; tables have them.
func Changes(c *metrics.Comparison) (*Figure, error) {
	const name = "changes"
	c = c.Said(lengths.Metric) // What was said in inches before stays so.
	rows := judged(c)
	if len(rows) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no measure that is judged has both a change and a smallest change that counts"}
	}
	p := newPanel("Change (after − before), in multiples\nof the smallest change that counts", "")
	x := newExtent()
	x.add(-1.2, 1.2)
	var labels []string
	for i, r := range rows {
		e, smallest := r.Judged, r.SmallestJudged()
		x.add(e.Value/smallest, e.Low/smallest, e.High/smallest)
		label := "Asymmetry score"
		if c.Score == nil || i > 0 || r.Name != c.Score.Name {
			label = titleOf(r.Name)
		}
		if r.Followed {
			label += " (followed)"
		}
		labels = append(labels, label)
	}
	// A single wild interval must not squeeze the rest; what leaves the frame
	// is drawn up to its edge and the number beside it is complete.
	x.low, x.high = math.Max(x.low, -8), math.Min(x.high, 8)
	x.set(&p.X, 0.04)
	nameRows(p, labels)
	const column = 150
	p.Add(artist(func(s sheet) { drawChanges(s, rows, column) }))
	filled, open := glyph(styleOf(traj.Middle), false), glyph(styleOf(traj.Middle), true)
	return composition{
		name:  name,
		title: "What changed, and by how much",
		notes: []string{fmt.Sprintf("Before: %s in %s; after: %s in %s. Whiskers: 95 %% intervals, wider where measures are judged together; inside the grey band a change is too small to count. At the right: the change in its own unit with its interval, and the verdict.",
			count(c.Before.Strides, "stride"), count(c.Before.Runs, "run"), count(c.After.Strides, "stride"), count(c.After.Runs, "run"))},
		legend: []legendEntry{{text: "change that counts", mark: &filled}, {text: "no measurable change", mark: &open}},
		height: 40 + 27*vg.Length(len(rows)),
		body:   func(dc draw.Canvas) { p.Draw(draw.Crop(dc, 0, -column, 0, 0)) },
	}.figure(), nil
}

// judged returns the changes that have both a verdict and a smallest change that counts, that
// of the score first.
func judged(c *metrics.Comparison) []metrics.Change {
	var rows []metrics.Change
	if c.Score != nil && c.Score.Change != nil && c.Score.Smallest > 0 && c.Scored() {
		rows = append(rows, *c.Score)
	}
	for _, ch := range c.Changes {
		if ch.Change != nil && ch.Smallest > 0 && finite(ch.Change.Value) && ch.Verdict != metrics.NotJudged {
			rows = append(rows, ch)
		}
	}
	return rows
}

// drawChanges draws a row a change, with its number and verdict in a column at the right.
func drawChanges(s sheet, rows []metrics.Change, column vg.Length) {
	s.multiples()
	sty := styleOf(traj.Middle)
	txt := lettering(tickSize, inkColor)
	txt.YAlign = draw.YCenter
	for i, r := range rows {
		at := float64(len(rows) - 1 - i)
		e, smallest := r.Judged, r.SmallestJudged()
		inside := func(v float64) float64 { return math.Max(s.p.X.Min, math.Min(s.p.X.Max, v/smallest)) }
		s.level(sty.whisker(), at, inside(e.Low), inside(e.High))
		counts := r.Verdict == metrics.Improved || r.Verdict == metrics.Worse || r.Verdict == metrics.Changed
		s.mark(glyph(sty, !counts), inside(e.Value), at)
		d := decimalsOf(r.Name, r.Unit)
		if r.Unit == "" {
			d = 2
		}
		writeColumn(s, txt, at, shortText(*e, d)+suffix(shortUnit(r.Unit)), string(r.Verdict), column)
	}
}

// shortUnit shortens units too long for a narrow column.
func shortUnit(u string) string {
	if len(u) > 4 && u[0] == '%' {
		return "%"
	}
	return u
}

// writeColumn writes two short lines beside a row, to the right of the panel.
func writeColumn(s sheet, sty text.Style, at float64, first, second string, width vg.Length) {
	y := s.y(at)
	s.c.FillText(sty, vg.Point{X: s.c.Max.X + 8, Y: y + 6}, fit(wrap(first, sty, width+40), 1)[0])
	s.c.FillText(sty, vg.Point{X: s.c.Max.X + 8, Y: y - 4}, second)
}
