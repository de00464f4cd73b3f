package plots

import (
	"image/color"

	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/track/traj"
)

// The colours. Left and right differ by more than a third of the grey scale;
// both stand out from white by 3:1 or more, as lines and marks need (WCAG 2.1,
// success criterion 1.4.11, from memory).
var (
	leftColor    = color.NRGBA{R: 0x14, G: 0x3d, B: 0x73, A: 0xff}
	rightColor   = color.NRGBA{R: 0xcf, G: 0x78, B: 0x00, A: 0xff}
	neutralColor = color.NRGBA{R: 0x3c, G: 0x3c, B: 0x3c, A: 0xff}
	inkColor     = color.NRGBA{R: 0x1a, G: 0x1a, B: 0x1a, A: 0xff}
	softInkColor = color.NRGBA{R: 0x4d, G: 0x4d, B: 0x4d, A: 0xff}
	gridColor    = color.NRGBA{R: 0xe3, G: 0xe3, B: 0xe3, A: 0xff}
	zeroColor    = color.NRGBA{R: 0x8c, G: 0x8c, B: 0x8c, A: 0xff}
	bandColor    = color.NRGBA{R: 0xee, G: 0xee, B: 0xee, A: 0xff}
	whiteColor   = color.NRGBA{R: 0xff, G: 0xff, B: 0xff, A: 0xff}
)

// SideColor returns the colour of a side of the horse: the same in figures
// and in pictures with marks drawn on them.
func SideColor(s traj.Side) color.NRGBA { return styleOf(s).color }

// sideStyle is how one side is drawn.
type sideStyle struct {
	color  color.NRGBA
	dashes []vg.Length
	shape  shape
}

// styleOf returns the style of a side; traj.Middle gives the neutral one.
func styleOf(s traj.Side) sideStyle {
	switch s {
	case traj.Left:
		return sideStyle{color: leftColor, shape: circle}
	case traj.Right:
		return sideStyle{color: rightColor, dashes: []vg.Length{6, 2.5}, shape: triangle}
	}
	return sideStyle{color: neutralColor, shape: square}
}

// line returns the style of a main line of the side.
func (s sideStyle) line() draw.LineStyle {
	return draw.LineStyle{Color: s.color, Width: 1.7, Dashes: s.dashes}
}

// whisker returns the style of an interval of the side: solid, for dashes
// would eat short ones.
func (s sideStyle) whisker() draw.LineStyle {
	return draw.LineStyle{Color: s.color, Width: 1.1}
}

// faint returns the style of single strides behind a mean.
func (s sideStyle) faint() draw.LineStyle {
	return draw.LineStyle{Color: withAlpha(s.color, 0x50), Width: 0.6, Dashes: s.dashes}
}

// band returns the fill of an interval around a line.
func (s sideStyle) band() color.NRGBA { return withAlpha(s.color, 0x38) }

func withAlpha(c color.NRGBA, a uint8) color.NRGBA {
	c.A = a
	return c
}

// shape is the outline of a mark.
type shape int

const (
	circle shape = iota
	triangle
	square
)

// mark draws shapes, filled or open; it implements draw.GlyphDrawer.
type mark struct {
	shape shape
	open  bool
}

// DrawGlyph implements draw.GlyphDrawer.
func (m mark) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, at vg.Point) {
	outline := func(r vg.Length) vg.Path {
		var p vg.Path
		switch m.shape {
		case triangle:
			p.Move(vg.Point{X: at.X, Y: at.Y + 1.15*r})
			p.Line(vg.Point{X: at.X - 1.1*r, Y: at.Y - 0.8*r})
			p.Line(vg.Point{X: at.X + 1.1*r, Y: at.Y - 0.8*r})
		case square:
			r *= 0.85
			p.Move(vg.Point{X: at.X - r, Y: at.Y - r})
			p.Line(vg.Point{X: at.X + r, Y: at.Y - r})
			p.Line(vg.Point{X: at.X + r, Y: at.Y + r})
			p.Line(vg.Point{X: at.X - r, Y: at.Y + r})
		default:
			// A circle of four cubic curves: arcs are drawn differently by the
			// canvases, curves alike. The constant is 4/3·(√2 − 1).
			k := 0.5522847498 * r
			p.Move(vg.Point{X: at.X + r, Y: at.Y})
			p.CubeTo(vg.Point{X: at.X + r, Y: at.Y + k}, vg.Point{X: at.X + k, Y: at.Y + r}, vg.Point{X: at.X, Y: at.Y + r})
			p.CubeTo(vg.Point{X: at.X - k, Y: at.Y + r}, vg.Point{X: at.X - r, Y: at.Y + k}, vg.Point{X: at.X - r, Y: at.Y})
			p.CubeTo(vg.Point{X: at.X - r, Y: at.Y - k}, vg.Point{X: at.X - k, Y: at.Y - r}, vg.Point{X: at.X, Y: at.Y - r})
			p.CubeTo(vg.Point{X: at.X + k, Y: at.Y - r}, vg.Point{X: at.X + r, Y: at.Y - k}, vg.Point{X: at.X + r, Y: at.Y})
		}
		p.Close()
		return p
	}
	if m.open {
		c.SetColor(color.White)
		c.Fill(outline(sty.Radius))
		c.SetLineStyle(draw.LineStyle{Color: sty.Color, Width: 1.2})
		c.Stroke(outline(sty.Radius))
		return
	}
	c.SetColor(sty.Color)
	c.Fill(outline(sty.Radius))
}

// Fonts.

var plainFont = font.Font{Typeface: "Liberation", Variant: "Sans"}

// plainFace returns the regular face in the size of f.
func plainFace(f font.Face) font.Face {
	return font.DefaultCache.Lookup(plainFont, f.Font.Size)
}

// lettering returns a text style, points, left aligned on its top.
func lettering(size vg.Length, clr color.Color) text.Style {
	return text.Style{
		Color:   clr,
		Font:    font.From(plainFont, size),
		XAlign:  draw.XLeft,
		YAlign:  draw.YTop,
		Handler: plot.DefaultTextHandler,
	}
}

// bold returns the style in bold.
func bold(s text.Style) text.Style {
	s.Font.Weight = stdfont.WeightBold
	return s
}

// Sizes of text, points.
const (
	titleSize = 11
	labelSize = 9
	tickSize  = 8.5
	noteSize  = 8.5
)

// paler returns a colour two thirds of the way to white.
func paler(c color.NRGBA) color.NRGBA {
	light := func(v uint8) uint8 { return uint8((int(v) + 2*255) / 3) }
	return color.NRGBA{light(c.R), light(c.G), light(c.B), c.A}
}
