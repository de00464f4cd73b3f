package plots

import (
	"cmp"
	"fmt"
	"image/color"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/track/traj"
)

// Felt is the soreness that hands found in one region.
type Felt struct {
	Region string
	Side   traj.Side // traj.Middle is drawn on both.
	Grades []int     // One a visit, in order of time; one below 0 was not written down.
}

// sorest returns the highest grade; below 0 where none was written down.
func (f Felt) sorest() int { return slices.Max(append([]int{-1}, f.Grades...)) }

// FeltHorse draws what hands found on the two sides of a horse. visits are words for those
// that have grades; empty for one visit. Regions that the drawing doesn't have are left to
// words. A side of which nothing was written down says that it was not checked.
func FeltHorse(felt []Felt, visits []string) (*Figure, error) {
	const name = "felt"
	placed := slices.DeleteFunc(slices.Clone(felt), func(f Felt) bool {
		_, known := regionPlaces[f.Region]
		return !known || f.sorest() < 0
	})
	if len(placed) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no soreness was written down for a region that the drawing has"}
	}
	note := "soreness: 0 none … 4 not to be touched"
	if len(visits) > 0 {
		note += "; " + strings.Join(visits, " → ")
	}
	if len(visits) > 2 {
		note += "; – " + notChecked
	}
	var words []string
	var sides [2]feltSide
	high := vg.Length(horseHeight * feltScale)
	tall := high // Of the taller side.
	for _, f := range placed {
		words = append(words, strings.TrimSpace(string(f.Side)+" "+f.Region)+" "+grades(f, visits))
	}
	other := map[traj.Side]traj.Side{traj.Left: traj.Right, traj.Right: traj.Left}
	for i, side := range []traj.Side{traj.Left, traj.Right} {
		of := func(all []Felt) []Felt {
			return slices.DeleteFunc(slices.Clone(all), func(f Felt) bool { return f.Side == other[side] })
		}
		sides[i] = newFeltSide(side, of(placed))
		sides[i].blank = !slices.ContainsFunc(of(felt), func(f Felt) bool { return f.sorest() >= 0 })
		tall = max(tall, sides[i].tall())
	}
	heading := func(c draw.Canvas) {
		c.FillText(bold(lettering(noteSize, inkColor)), vg.Point{X: c.Min.X, Y: c.Max.Y - 1}, "What hands felt")
	}
	small := lettering(feltText, softInkColor)
	wide := Figure{
		Name: name, Title: "What hands felt",
		Description: "Soreness on the two sides of the horse, " + note + ": " + strings.Join(words, "; ") + ".",
		Width:       feltWidth, Height: 16 + tall,
		paint: func(c draw.Canvas) {
			heading(c)
			c.FillText(small, vg.Point{X: c.Max.X - 12 - small.Width(note), Y: c.Max.Y - 2}, note)
			for i, s := range sides {
				s.draw(c, c.Min.X+vg.Length(i)*feltWidth/2, c.Max.Y-14, tall)
			}
		},
	}
	// The right side below the left.
	narrow, lines := wide, wrap(note, small, feltWidth/2)
	top := 16 + feltLine*vg.Length(len(lines))
	narrow.Name, narrow.Width, narrow.Height = name+"-narrow", feltWidth/2, top
	for _, s := range sides {
		narrow.Height += max(high, s.tall()) + feltGap
	}
	narrow.paint = func(c draw.Canvas) {
		heading(c)
		for i, line := range lines {
			c.FillText(small, vg.Point{X: c.Min.X, Y: c.Max.Y - 13 - feltLine*vg.Length(i)}, line)
		}
		y := c.Max.Y - top
		for _, s := range sides {
			s.draw(c, c.Min.X, y, max(high, s.tall()))
			y -= max(high, s.tall()) + feltGap
		}
	}
	wide.Narrow = &narrow
	return &wide, nil
}

// Sizes of the drawing of what hands felt, points.
const (
	feltWidth  = 500
	feltScale  = 0.37
	feltColumn = (feltWidth/2 - horseWidth*feltScale) / 2 // Of words, on both sides of a horse.
	feltText   = 7
	feltLine   = 8.2
	feltBox    = 9
	feltGap    = 6 // Between a side and the other below it.
)

// notChecked stands for a place that hands did not go to at a visit.
const notChecked = "not checked"

// grades writes a place's grades in words.
func grades(f Felt, visits []string) string {
	one := func(g int) string {
		if g < 0 {
			return notChecked
		}
		return fmt.Sprint(g)
	}
	var out []string
	for i, g := range f.Grades {
		text := one(g)
		if i < len(visits) {
			text = visits[i] + " " + text
		}
		out = append(out, text)
	}
	return strings.Join(out, ", ")
}

// feltSide is one side of the horse with the words beside it: those of places nearer the
// head on one hand, nearer the tail on the other, as the drawing shows them from above to
// below.
type feltSide struct {
	side    traj.Side
	blank   bool       // Nothing was written down of it.
	columns [2][]label // At the head, at the tail.
}

// label is what stands beside the drawing of one place.
type label struct {
	felt  Felt
	place [2]float64
	lines []string
}

func (l label) height() vg.Length { return vg.Length(len(l.lines))*feltLine + feltBox + 4 }

func newFeltSide(side traj.Side, felt []Felt) feltSide {
	out := feltSide{side: side}
	sty := lettering(feltText, inkColor)
	for _, f := range felt {
		p := regionPlaces[f.Region]
		column := 0
		if p[0] > horseWidth/2 {
			column = 1
		}
		out.columns[column] = append(out.columns[column], label{f, p, wrap(f.Region, sty, feltColumn-8)})
	}
	for i := range out.columns {
		slices.SortStableFunc(out.columns[i], func(a, b label) int { return cmp.Compare(a.place[1], b.place[1]) })
	}
	return out
}

// tall returns how high the higher of its columns is.
func (s feltSide) tall() vg.Length {
	var most vg.Length
	for _, column := range s.columns {
		var h vg.Length
		for _, l := range column {
			h += l.height()
		}
		most = max(most, h)
	}
	return most
}

// draw draws the side with its words into half the figure, from left and top on.
func (s feltSide) draw(c draw.Canvas, left, top, tall vg.Length) {
	d := horseDrawing{c: c, side: s.side, scale: feltScale, left: left + feltColumn, top: top}
	d.horse()
	name := bold(lettering(7.5, styleOf(s.side).color))
	c.FillText(name, vg.Point{X: d.at(160, 0).X - name.Width(string(s.side))/2, Y: d.at(0, 168).Y}, string(s.side))
	if s.blank {
		sty := lettering(feltText, softInkColor)
		c.FillText(sty, vg.Point{X: left + feltColumn - 4 - sty.Width(notChecked), Y: d.at(0, 60).Y}, notChecked)
	}
	for i, column := range s.columns {
		// The head is at the left on the left side, at the right on the right one.
		atLeft := (i == 0) == (s.side == traj.Left)
		y := top
		rest := tall
		for _, l := range column {
			rest -= l.height()
		}
		for _, l := range column {
			// As near to the place's height as those before and after it allow.
			aim := d.at(l.place[0], l.place[1]).Y + l.height()/2
			if down := min(y-aim, rest); down > 0 {
				y, rest = y-down, rest-down
			}
			s.label(d, l, left, y, atLeft)
			y -= l.height()
		}
	}
}

// label writes one place's name and grades below y, with a line to the place.
func (s feltSide) label(d horseDrawing, l label, left, y vg.Length, atLeft bool) {
	sty := lettering(feltText, inkColor)
	x := left
	if !atLeft {
		x = left + feltWidth/2 - feltColumn + 8
	}
	at := d.at(l.place[0], l.place[1])
	// From the column's edge: on a screen without the typeface words are wider.
	from := vg.Point{X: x - 2, Y: y - feltLine/2 - 1}
	if atLeft {
		from.X = left + feltColumn - 3
	}
	d.c.StrokeLine2(draw.LineStyle{Color: inkColor, Width: 0.5}, from.X, from.Y, at.X, at.Y)
	spot := draw.GlyphStyle{Color: inkColor, Radius: 3.2, Shape: mark{shape: circle}}
	d.c.DrawGlyphNoClip(spot, at)
	spot.Color, spot.Radius = gradeColors[max(0, min(4, l.felt.sorest()))], 2.5
	d.c.DrawGlyphNoClip(spot, at)
	for _, line := range l.lines {
		d.c.FillText(sty, vg.Point{X: x, Y: y}, line)
		y -= feltLine
	}
	y -= 0.5
	missing := notChecked
	if len(l.felt.Grades) > 2 { // Too many to be written in full.
		missing = " – "
	}
	for i, g := range l.felt.Grades {
		if i > 0 {
			d.arrow(x+3, y-feltBox/2)
			x += 14
		}
		x = d.grade(x, y, g, missing)
		if g < 0 && missing == notChecked { // Room for a wider typeface, as above.
			x += 5
		}
	}
}

// arrow draws a short arrow to the right from x on.
func (d horseDrawing) arrow(x, y vg.Length) {
	line := draw.LineStyle{Color: inkColor, Width: 0.7}
	d.c.StrokeLine2(line, x, y, x+8, y)
	d.c.StrokeLine2(line, x+8, y, x+5.5, y+1.8)
	d.c.StrokeLine2(line, x+8, y, x+5.5, y-1.8)
}

// gradeColors are light to dark, the sorer the darker, in a colour that is no side's.
var gradeColors = [5]color.NRGBA{{0xff, 0xff, 0xff, 0xff}, {0xe9, 0xdc, 0xec, 0xff}, {0xc7, 0xa2, 0xce, 0xff}, {0x87, 0x48, 0x93, 0xff}, {0x48, 0x12, 0x55, 0xff}}

// grade writes a grade, or what stands where there is none, with its upper left at x, y and
// returns where it ends.
func (d horseDrawing) grade(x, y vg.Length, grade int, missing string) vg.Length {
	if grade < 0 {
		sty := lettering(feltText, softInkColor)
		d.c.FillText(sty, vg.Point{X: x, Y: y}, missing)
		return x + sty.Width(missing)
	}
	box := vg.Rectangle{Min: vg.Point{X: x, Y: y - feltBox}, Max: vg.Point{X: x + feltBox, Y: y}}
	d.c.SetColor(gradeColors[min(4, grade)])
	d.c.Fill(box.Path())
	d.c.SetLineStyle(draw.LineStyle{Color: inkColor, Width: 0.5})
	d.c.Stroke(box.Path())
	sty := bold(lettering(feltText, inkColor))
	if grade >= 3 {
		sty.Color = color.White
	}
	text := fmt.Sprint(grade)
	d.c.FillText(sty, vg.Point{X: x + (feltBox-sty.Width(text))/2, Y: y - 0.7}, text)
	return x + feltBox
}

// horseDrawing places the horse's drawing on a canvas.
type horseDrawing struct {
	c         draw.Canvas
	side      traj.Side
	scale     vg.Length
	left, top vg.Length
}

func (d horseDrawing) at(x, y float64) vg.Point {
	if d.side == traj.Right {
		x = horseWidth - x
	}
	return vg.Point{X: d.left + vg.Length(x)*d.scale, Y: d.top - vg.Length(y)*d.scale}
}

func (d horseDrawing) horse() {
	far, near, edge := color.NRGBA{0xd6, 0xd3, 0xcc, 0xff}, color.NRGBA{0xec, 0xea, 0xe5, 0xff}, color.NRGBA{0x6e, 0x6a, 0x62, 0xff}
	for _, p := range horseFar {
		d.c.SetColor(far)
		d.c.Fill(d.path(p, true))
	}
	body := d.path(horseOutline, true)
	d.c.SetColor(near)
	d.c.Fill(body)
	d.c.SetLineStyle(draw.LineStyle{Color: edge, Width: 0.7})
	d.c.Stroke(body)
	d.c.SetLineStyle(draw.LineStyle{Color: edge, Width: 0.4})
	for _, p := range horseLines {
		d.c.Stroke(d.path(p, false))
	}
	ground := draw.LineStyle{Color: edge, Width: 0.6}
	a, b := d.at(14, 210), d.at(248, 210)
	d.c.StrokeLine2(ground, a.X, a.Y, b.X, b.Y)
}

// path goes smoothly through points (Catmull and Rom's curve as cubic ones, from memory),
// with a corner where a point says so.
func (d horseDrawing) path(points []outlinePoint, closed bool) vg.Path {
	n := len(points)
	get := func(i int) outlinePoint {
		if closed {
			return points[(i+n)%n]
		}
		return points[max(0, min(n-1, i))]
	}
	var p vg.Path
	p.Move(d.at(points[0].x, points[0].y))
	last := n
	if !closed {
		last--
	}
	for i := range last {
		p0, p1, p2, p3 := get(i-1), get(i), get(i+1), get(i+2)
		c1, c2 := p1, p2
		if !p1.corner {
			c1.x, c1.y = p1.x+(p2.x-p0.x)/6, p1.y+(p2.y-p0.y)/6
		}
		if !p2.corner {
			c2.x, c2.y = p2.x-(p3.x-p1.x)/6, p2.y-(p3.y-p1.y)/6
		}
		p.CubeTo(d.at(c1.x, c1.y), d.at(c2.x, c2.y), d.at(p2.x, p2.y))
	}
	if closed {
		p.Close()
	}
	return p
}
