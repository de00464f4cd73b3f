package plots

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/track/traj"
)

// Felt is the soreness that hands found in one region; a grade below 0 was not written
// down.
type Felt struct {
	Region      string
	Side        traj.Side // traj.Middle is drawn on both.
	Before, Now int       // Of one visit Now alone; Before is then below 0.
}

// FeltHorse draws what hands found on the two sides of a horse. compared tells whether
// spots show two visits. Regions that the drawing doesn't have are left to words.
func FeltHorse(felt []Felt, compared bool) (*Figure, error) {
	const name = "felt"
	placed := slices.DeleteFunc(slices.Clone(felt), func(f Felt) bool {
		_, known := regionPlaces[f.Region]
		return !known || f.Before < 0 && f.Now < 0
	})
	if len(placed) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no soreness was written down for a region that the drawing has"}
	}
	const width, scale = 264, 0.47
	note := "0 none … 4 not to be touched"
	if compared {
		note += ", before → now"
	}
	var words []string
	for _, f := range placed {
		words = append(words, strings.TrimSpace(string(f.Side)+" "+f.Region)+" "+grades(f, compared))
	}
	return &Figure{
		Name: name, Title: "What hands felt",
		Description: "Soreness on the two sides of the horse, " + note + ": " + strings.Join(words, "; ") + ".",
		Width:       width, Height: 14 + horseHeight*scale,
		paint: func(c draw.Canvas) {
			title, small := bold(lettering(noteSize, inkColor)), lettering(7, softInkColor)
			c.FillText(title, vg.Point{X: c.Min.X, Y: c.Max.Y - 1}, "What hands felt")
			c.FillText(small, vg.Point{X: c.Max.X - small.Width(note), Y: c.Max.Y - 2}, note)
			other := map[traj.Side]traj.Side{traj.Left: traj.Right, traj.Right: traj.Left}
			for i, side := range []traj.Side{traj.Left, traj.Right} {
				d := horseDrawing{c: c, side: side, scale: scale, left: c.Min.X + vg.Length(i)*width/2 + 4, top: c.Max.Y - 12}
				d.horse()
				here := d.labels(slices.DeleteFunc(slices.Clone(placed), func(f Felt) bool { return f.Side == other[side] }), compared)
				for _, l := range here {
					if l.y != l.at.Y {
						c.StrokeLine2(draw.LineStyle{Color: inkColor, Width: 0.6}, l.at.X, l.at.Y, l.at.X, l.y)
					}
				}
				for _, l := range here {
					d.grade(l)
				}
				name := bold(lettering(7.5, styleOf(side).color))
				c.FillText(name, vg.Point{X: d.at(160, 0).X - name.Width(string(side))/2, Y: d.at(0, 168).Y}, string(side))
			}
		},
	}, nil
}

func grades(f Felt, compared bool) string {
	one := func(g int) string {
		if g < 0 {
			return "–"
		}
		return fmt.Sprint(g)
	}
	if !compared {
		return one(f.Now)
	}
	return one(f.Before) + "→" + one(f.Now)
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

// label is where the grades of a place are written.
type label struct {
	felt Felt
	at   vg.Point // The place itself.
	text string
	y    vg.Length // Of the label's middle.
	w    vg.Length // Half its width.
}

const labelHalf = 4.9 // Half a label's height, points.

// labels places the grades at their places, those that would lie on each other moved up or
// down until they don't.
func (d horseDrawing) labels(felt []Felt, compared bool) []label {
	sty := bold(lettering(7.2, inkColor))
	var out []label
	for _, f := range felt {
		p := regionPlaces[f.Region]
		l := label{felt: f, at: d.at(p[0], p[1]), text: grades(f, compared)}
		l.y, l.w = l.at.Y, sty.Width(l.text)/2+2.4
		free := func(y vg.Length) bool {
			return !slices.ContainsFunc(out, func(o label) bool {
				return vg.Length(math.Abs(float64(y-o.y))) < 2*labelHalf+1 && vg.Length(math.Abs(float64(l.at.X-o.at.X))) < l.w+o.w+1
			})
		}
		for step := vg.Length(0); step < 60; step += 1.5 {
			if free(l.at.Y + step) {
				l.y = l.at.Y + step
				break
			}
			if free(l.at.Y - step) {
				l.y = l.at.Y - step
				break
			}
		}
		out = append(out, l)
	}
	return out
}

// grade writes the grades of a place, darker the sorer it was at its worst.
func (d horseDrawing) grade(l label) {
	sty := bold(lettering(7.2, inkColor))
	worst := max(l.felt.Before, l.felt.Now)
	fill := []color.NRGBA{{0xff, 0xff, 0xff, 0xff}, {0xf3, 0xe3, 0xb4, 0xff}, {0xe4, 0xbc, 0x62, 0xff}, {0x9c, 0x5a, 0x1c, 0xff}, {0x5a, 0x1c, 0x1c, 0xff}}[max(0, min(4, worst))]
	if worst >= 3 {
		sty.Color = color.White
	}
	box := vg.Rectangle{Min: vg.Point{X: l.at.X - l.w, Y: l.y - labelHalf}, Max: vg.Point{X: l.at.X + l.w, Y: l.y + labelHalf}}
	d.c.SetColor(fill)
	d.c.Fill(box.Path())
	d.c.SetLineStyle(draw.LineStyle{Color: inkColor, Width: 0.6})
	d.c.Stroke(box.Path())
	d.c.FillText(sty, vg.Point{X: l.at.X - sty.Width(l.text)/2, Y: l.y + 4.1}, l.text)
}
