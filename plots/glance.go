package plots

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// SideBar is a value with its 95 % interval in multiples of its tolerance; positive is to
// the right.
type SideBar struct {
	Value, Low, High float64
	Counts           bool // Beyond tolerance: the one case in which a bar is drawn.
	Pale             bool // Another limb explains it: drawn pale, as no finding of its own.
	Open             bool // The interval is too long to say anything: drawn hollow and dashed.
}

// Sizes of a row's bar, points.
const (
	barWidth  = 196
	barReach  = 4.0 // Multiples of the tolerance at the edges; what is beyond is drawn as an arrow.
	barSpace  = 8   // At each edge, for an arrow.
	barSingle = 19
	barTight  = 14
	barDouble = 21
	barThird  = 8.5 // A visit of three.
	barMore   = 7.4 // A visit of more.
)

// barArea returns the part of a row that has the bars: right of the words for visits.
func barArea(c draw.Canvas, visits []string) draw.Canvas {
	c.Min.X += barsWide(visits) - barWidth
	return c
}

func barX(c draw.Canvas, v float64) vg.Length {
	half := (c.Max.X-c.Min.X)/2 - barSpace
	return (c.Min.X+c.Max.X)/2 + half*vg.Length(math.Max(-barReach, math.Min(barReach, v))/barReach)
}

// barsWide returns how wide a row is, with the words for its visits.
func barsWide(visits []string) vg.Length {
	wide, words := vg.Length(barWidth), vg.Length(0)
	for _, v := range visits {
		words = max(words, visitStyle(true).Width(v)+7)
	}
	return wide + words
}

// lineOf returns how high each of three or more visits is drawn.
func lineOf(visits int) vg.Length {
	if visits > 3 {
		return barMore
	}
	return barThird
}

// visitStyle is how the word for a visit is set.
func visitStyle(last bool) text.Style {
	if last {
		return bold(lettering(7, inkColor))
	}
	return lettering(7, softInkColor)
}

// GlanceOptions says how rows are drawn.
type GlanceOptions struct {
	Visits []string // Words for the visits, the latest last; empty for one alone.
	Tight  bool     // Less high.
}

// GlanceBar draws one row of a first page: a value around even with its interval, the
// tolerance as a band; of several visits one below the other, one for each of the words in
// opts. Nil is not measured. label says in words what is drawn.
func GlanceBar(bars []*SideBar, opts GlanceOptions, label string) *Figure {
	height := vg.Length(barSingle)
	switch n := len(opts.Visits); {
	case n > 2:
		height = lineOf(n) * vg.Length(n)
	case n > 0:
		height = barDouble
	case opts.Tight:
		height = barTight
	}
	return &Figure{
		Name: "bar", Title: label, Description: "Grey band: tolerance. Line: 95 % interval.", Width: barsWide(opts.Visits), Height: height,
		paint: func(all draw.Canvas) {
			c := barArea(all, opts.Visits)
			c.FillPolygon(bandColor, box(barX(c, -1), c.Min.Y, barX(c, 1), c.Max.Y))
			c.StrokeLine2(draw.LineStyle{Color: zeroColor, Width: 0.9}, barX(c, 0), c.Min.Y, barX(c, 0), c.Max.Y)
			if len(opts.Visits) == 0 {
				drawSideBar(c, bars[0], (c.Min.Y+c.Max.Y)/2, 4)
				return
			}
			first, apart, half := c.Max.Y-5.5, vg.Length(barDouble-2*5.5), vg.Length(3.2)
			if n := len(opts.Visits); n > 2 {
				first, apart, half = c.Max.Y-lineOf(n)/2, lineOf(n), lineOf(n)/3
			}
			for i, b := range bars {
				if b == nil {
					continue
				}
				y := first - apart*vg.Length(i)
				c.FillText(visitStyle(i == len(bars)-1), vg.Point{X: all.Min.X, Y: y + 4}, opts.Visits[i])
				drawSideBar(c, b, y, half)
			}
		},
	}
}

// drawSideBar draws a value at height y. Only what counts gets a bar, so that nobody sees a
// difference where none is claimed; a sign in the middle's look names no side.
func drawSideBar(c draw.Canvas, b *SideBar, y, half vg.Length) {
	if b == nil || !finite(b.Value) {
		return
	}
	look, line := styleOf(traj.Middle), draw.LineStyle{Color: inkColor, Width: 0.9}
	look.color = softInkColor
	x := barX(c, b.Value)
	switch {
	case b.Counts:
		look = styleOf(traj.Right)
		if b.Value < 0 {
			look = styleOf(traj.Left)
		}
		from := barX(c, 0)
		if b.Pale {
			look.color = paler(look.color)
		}
		drawBar(c, look, vg.Rectangle{Min: vg.Point{X: min(from, x), Y: y - half}, Max: vg.Point{X: max(from, x), Y: y + half}}, true, true)
	case b.Open:
		line.Color, line.Dashes = softInkColor, []vg.Length{2.2, 1.8}
	}
	if finite(b.Low, b.High) {
		c.StrokeLine2(line, barX(c, b.Low), y, barX(c, b.High), y)
		line.Dashes = nil
		for _, e := range []float64{b.Low, b.High} {
			barEnd(c, e, y, line)
		}
	}
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: look.color, Radius: 3.4, Shape: mark{shape: look.shape, open: b.Open}}, vg.Point{X: x, Y: y})
}

// barEnd ends an interval's line, with an arrow where it leaves the row.
func barEnd(c draw.Canvas, end float64, y vg.Length, line draw.LineStyle) {
	x := barX(c, end)
	if math.Abs(end) <= barReach {
		c.StrokeLine2(line, x, y-2.2, x, y+2.2)
		return
	}
	d := vg.Length(math.Copysign(4, end))
	c.StrokeLine2(line, x, y, x+d, y)
	c.StrokeLine2(line, x+d, y, x+d/3, y+2)
	c.StrokeLine2(line, x+d, y, x+d/3, y-2)
}

// GlanceAxis draws what stands above the bars: which side is where. visits are those of the
// rows.
func GlanceAxis(visits []string) *Figure {
	return &Figure{
		Name: "axis", Title: "To the left: the horse’s left", Description: "In the middle: even. To the right: the horse’s right.", Width: barsWide(visits), Height: 13,
		paint: func(all draw.Canvas) {
			c := barArea(all, visits)
			sty := bold(lettering(tickSize, inkColor))
			y := c.Min.Y + 10.5
			put := func(x vg.Length, text string) { c.FillText(sty, vg.Point{X: x, Y: y}, text) }
			put(c.Min.X+16, "left")
			put((c.Min.X+c.Max.X)/2-sty.Width("even")/2, "even")
			put(c.Max.X-20-sty.Width("right"), "right")
			c.DrawGlyphNoClip(glyph(styleOf(traj.Left), false), vg.Point{X: c.Min.X + 9, Y: y - 4.2})
			c.DrawGlyphNoClip(glyph(styleOf(traj.Right), false), vg.Point{X: c.Max.X - 9, Y: y - 4.2})
		},
	}
}

// steps is what one visit shows of where a pair of feet is set down, in Unit.
type steps struct {
	word         string // "before", "now", or a day; empty for one visit.
	left, right  metrics.Estimate
	apart        metrics.Estimate // right − left, as the row beside the drawing has it.
	most         int              // Decimals that it is written with at most.
	sure         bool             // The difference is beyond the tolerance, its interval leaves out even.
	base         float64          // How wide the pair is set, in the unit of the steps; NaN is not known.
	unit, girdle string
}

// stepsOf returns the steps of a pair of feet of a visit; ok is false where they were not
// measured.
func stepsOf(word string, girdle int, s *metrics.Summary) (steps, bool) {
	g := girdles[girdle]
	s = s.Said(lengths.Metric) // What was said in inches before stays so.
	r := s.Lookup(g.step)
	if r == nil || r.Left == nil || r.Right == nil || !(r.Left.Value > 0) || !(r.Right.Value > 0) {
		return steps{}, false
	}
	out := steps{word: word, left: *r.Left, right: *r.Right, apart: metrics.Estimate{Value: r.Right.Value - r.Left.Value}, unit: r.Unit, girdle: string(g.girdle), sure: r.Beyond, base: math.NaN()}
	if d, ok := metrics.Define(g.step); ok {
		out.most = d.MostDecimals(r.Unit)
	}
	if r.Value != nil {
		out.apart = *r.Value
	}
	if b := s.Lookup(g.base); b != nil && b.Value != nil && b.Unit == r.Unit {
		out.base = b.Value.Value
	}
	return out, true
}

// stepsShown picks the pair of feet that is drawn, of one visit or of two: the fores,
// unless the hinds alone are uneven or the fores were not measured.
func stepsShown(before, now *metrics.Summary, words [2]string) []steps {
	var best []steps
	rank := 0
	for girdle := range girdles {
		var all []steps
		beyond := false
		for _, v := range []struct {
			word string
			s    *metrics.Summary
		}{{words[0], before}, {words[1], now}} {
			if v.s == nil {
				continue
			}
			if before == nil {
				v.word = ""
			}
			if s, ok := stepsOf(v.word, girdle, v.s); ok {
				all = append(all, s)
				beyond = beyond || v.s.Lookup(girdles[girdle].step).Beyond
			}
		}
		r := 2 * len(all)
		if beyond {
			r++
		}
		if r > rank {
			best, rank = all, r
		}
	}
	return best
}

// Footfalls draws, seen from above and to scale, where a pair of feet is set down on
// average over one stride: of one visit (before is nil) or of two, which words name.
func Footfalls(before, now *metrics.Summary, words [2]string) (*Figure, error) {
	const name, width = "placements", 212
	all := stepsShown(before, now, words)
	if len(all) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no step length was measured"}
	}
	longest, told := 0.0, []string{}
	for _, s := range all {
		longest = math.Max(longest, s.left.Value+s.right.Value)
		left, right := s.say()
		told = append(told, strings.TrimSpace(fmt.Sprintf("%s left %s step %s, right %s", s.word, s.girdle, left, right)))
	}
	const lane = 44
	title := fmt.Sprintf("Steps from above, %s feet", all[0].girdle)
	return &Figure{
		Name: name, Title: title, Description: "Mean of all strides, to scale along the line of travel; the horse goes to the right. " + strings.Join(told, "; ") + ".",
		Width: width, Height: 14 + lane*vg.Length(max(len(all), 2)),
		paint: func(c draw.Canvas) {
			const way = "horse goes →"
			head, small := bold(lettering(noteSize, inkColor)), lettering(7, softInkColor)
			c.FillText(head, vg.Point{X: c.Min.X, Y: c.Max.Y - 1}, title)
			c.FillText(small, vg.Point{X: c.Max.X - 7 - small.Width(way), Y: c.Max.Y - 2}, way)
			for i, s := range all {
				s.draw(c, c.Max.Y-14-lane*(vg.Length(i)+0.5), longest)
			}
		},
	}, nil
}

// say writes the lengths of both steps so that they differ by what the row says, with as many
// digits as that has: each rounded by itself they would not.
func (s steps) say() (left, right string) {
	unit := s.unit
	if unit != "cm" && unit != "in" {
		unit = "%"
	}
	decimals := s.apart.Supports(s.most)
	round := func(v float64) float64 {
		by := math.Pow(10, float64(decimals))
		return math.Round(v*by) / by
	}
	l := round(s.left.Value)
	return number(l, decimals) + " " + unit, number(l+round(s.apart.Value), decimals) + " " + unit
}

func (s steps) draw(c draw.Canvas, y vg.Length, longest float64) {
	start := c.Min.X + 34
	scale := (c.Max.X - 10 - start) / vg.Length(longest)
	x := func(v float64) vg.Length { return start + vg.Length(v)*scale }
	line := draw.LineStyle{Color: zeroColor, Width: 0.7}
	c.StrokeLine2(line, c.Min.X+26, y, c.Max.X, y)
	note := lettering(7.5, inkColor)
	if s.word != "" {
		c.FillText(bold(note), vg.Point{X: c.Min.X, Y: y + 4}, s.word)
	}
	// Either side of the pair's midline: to scale with the steps where known, else as usual.
	total := s.left.Value + s.right.Value
	up := vg.Length(6)
	if finite(s.base) {
		up = vg.Length(total*math.Max(-0.05, math.Min(0.065, s.base/2/total))) * scale
	}
	even := draw.LineStyle{Color: softInkColor, Width: 0.6, Dashes: []vg.Length{1.5, 1.5}}
	c.StrokeLine2(even, x(total/2), y-13, x(total/2), y+13)
	leftFoot, rightFoot := glyph(styleOf(traj.Left), false), glyph(styleOf(traj.Right), false)
	leftFoot.Radius, rightFoot.Radius = 4, 4
	c.DrawGlyphNoClip(rightFoot, vg.Point{X: x(0), Y: y - up})
	c.DrawGlyphNoClip(leftFoot, vg.Point{X: x(s.left.Value), Y: y + up})
	c.DrawGlyphNoClip(rightFoot, vg.Point{X: x(total), Y: y - up})
	dimension := func(from, to float64, at vg.Length, side traj.Side, text string) {
		sty := styleOf(side)
		l := draw.LineStyle{Color: sty.color, Width: 1.1, Dashes: sty.dashes}
		c.StrokeLine2(l, x(from), at, x(to), at)
		for _, e := range []float64{from, to} {
			c.StrokeLine2(draw.LineStyle{Color: sty.color, Width: 1.1}, x(e), at-2, x(e), at+2)
		}
		middle := (x(from) + x(to)) / 2
		w := note.Width(text)
		gapLeft, gapRight := middle-w/2-2, middle+w/2+2
		c.FillPolygon(whiteColor, box(gapLeft, at-4, gapRight, at+4))
		c.FillText(note, vg.Point{X: middle - w/2, Y: at + 4.2}, text)
	}
	left, right := s.say()
	dimension(0, s.left.Value, y+15, traj.Left, "left "+left)
	dimension(s.left.Value, total, y-15, traj.Right, "right "+right)
	// Whoever reads "even" alone takes the steps to be so.
	beside := "lands here if even"
	if !s.sure { // The picture shows means; how sure they are stands with them.
		beside = "no difference shown"
	}
	c.FillText(lettering(6.5, softInkColor), vg.Point{X: x(total/2) + 3, Y: y - 1.5}, beside)
}
