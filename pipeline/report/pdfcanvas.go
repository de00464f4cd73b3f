package report

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"

	"codeberg.org/go-pdf/fpdf"
	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/plots"
)

// draw draws a figure with its upper left corner at (x, y), as lines and
// letters, not as dots.
func (s *sheet) draw(f *plots.Figure, x, y, scale float64) {
	if s.trial {
		return
	}
	c := &canvas{sheet: s, now: state{
		// A figure's own y grows upward, from its lower left corner.
		transform: affine{scale, 0, 0, -scale, x, y + scale*f.Height.Points()},
		color:     color.NRGBA{A: 0xff},
	}}
	vg.Initialize(c)
	f.Draw(draw.NewCanvas(c, f.Width, f.Height))
	s.pdf.SetAlpha(1, "Normal")
	s.pdf.SetDashPattern(nil, 0)
	s.pdf.SetLineCapStyle("butt")
	s.current = textStyle{}
}

// affine takes a point to (a·x + c·y + e, b·x + d·y + f).
type affine struct{ a, b, c, d, e, f float64 }

// after returns the map that does inner first, then m.
func (m affine) after(inner affine) affine {
	return affine{
		m.a*inner.a + m.c*inner.b, m.b*inner.a + m.d*inner.b,
		m.a*inner.c + m.c*inner.d, m.b*inner.c + m.d*inner.d,
		m.a*inner.e + m.c*inner.f + m.e, m.b*inner.e + m.d*inner.f + m.f,
	}
}

func (m affine) point(p vg.Point) (x, y float64) {
	px, py := p.X.Points(), p.Y.Points()
	return m.a*px + m.c*py + m.e, m.b*px + m.d*py + m.f
}

// scale returns by how much lengths grow.
func (m affine) scale() float64 { return math.Sqrt(math.Abs(m.a*m.d - m.b*m.c)) }

// state is what Push keeps.
type state struct {
	transform affine
	color     color.NRGBA
	width     vg.Length
	dashes    []vg.Length
	offset    vg.Length
}

// canvas lets figures be drawn on a sheet. Places are worked out here, so that
// the sheet's own state stays as it is.
type canvas struct {
	sheet *sheet
	now   state
	saved []state
}

var _ vg.Canvas = (*canvas)(nil)

// SetLineWidth implements vg.Canvas.
func (c *canvas) SetLineWidth(w vg.Length) { c.now.width = w }

// SetLineDash implements vg.Canvas.
func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.now.dashes, c.now.offset = pattern, offset
}

// SetColor implements vg.Canvas.
func (c *canvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.now.color = color.NRGBAModel.Convert(clr).(color.NRGBA)
}

// Rotate implements vg.Canvas.
func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.now.transform = c.now.transform.after(affine{cos, sin, -sin, cos, 0, 0})
}

// Translate implements vg.Canvas.
func (c *canvas) Translate(p vg.Point) {
	c.now.transform = c.now.transform.after(affine{1, 0, 0, 1, p.X.Points(), p.Y.Points()})
}

// Scale implements vg.Canvas.
func (c *canvas) Scale(x, y float64) {
	c.now.transform = c.now.transform.after(affine{x, 0, 0, y, 0, 0})
}

// Push implements vg.Canvas.
func (c *canvas) Push() { c.saved = append(c.saved, c.now) }

// Pop implements vg.Canvas.
func (c *canvas) Pop() {
	c.now = c.saved[len(c.saved)-1]
	c.saved = c.saved[:len(c.saved)-1]
}

// Stroke implements vg.Canvas.
func (c *canvas) Stroke(p vg.Path) {
	if c.now.width <= 0 || len(p) == 0 {
		return
	}
	pdf, scale, ink := c.sheet.pdf, c.now.transform.scale(), c.now.color
	pdf.SetDrawColor(int(ink.R), int(ink.G), int(ink.B))
	pdf.SetAlpha(float64(ink.A)/255, "Normal")
	pdf.SetLineWidth(c.now.width.Points() * scale)
	dashes := make([]float64, len(c.now.dashes))
	for i, d := range c.now.dashes {
		dashes[i] = d.Points() * scale
	}
	pdf.SetDashPattern(dashes, c.now.offset.Points()*scale)
	c.path(p)
	pdf.DrawPath("D")
}

// Fill implements vg.Canvas.
func (c *canvas) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	pdf, ink := c.sheet.pdf, c.now.color
	pdf.SetFillColor(int(ink.R), int(ink.G), int(ink.B))
	pdf.SetAlpha(float64(ink.A)/255, "Normal")
	c.path(p)
	pdf.DrawPath("F")
}

func (c *canvas) path(p vg.Path) {
	pdf := c.sheet.pdf
	var fromX, fromY float64
	for _, part := range p {
		x, y := c.now.transform.point(part.Pos)
		switch part.Type {
		case vg.MoveComp:
			pdf.MoveTo(x, y)
		case vg.LineComp:
			pdf.LineTo(x, y)
		case vg.CurveComp:
			x1, y1 := c.now.transform.point(part.Control[0])
			x2, y2 := x1, y1
			if len(part.Control) == 2 {
				x2, y2 = c.now.transform.point(part.Control[1])
			} else {
				// A quadratic curve as a cubic one.
				x2, y2 = x+2*(x1-x)/3, y+2*(y1-y)/3
				x1, y1 = fromX+2*(x1-fromX)/3, fromY+2*(y1-fromY)/3
			}
			pdf.CurveBezierCubicTo(x1, y1, x2, y2, x, y)
		case vg.ArcComp:
			x, y = c.arc(part)
		case vg.CloseComp:
			pdf.ClosePath()
			continue
		}
		fromX, fromY = x, y
	}
}

// arc draws an arc as cubic curves of a quarter turn at most, with a line to
// its begin, and returns its end. The control points lie 4/3·tan(φ/4) of the
// radius from the ends (Goldapp 1991, Comput Aided Geom Des 8:227–238; from
// memory).
func (c *canvas) arc(part vg.PathComp) (x, y float64) {
	pieces := max(1, int(math.Ceil(math.Abs(part.Angle)/(math.Pi/2))))
	step := part.Angle / float64(pieces)
	k := vg.Length(4.0 / 3 * math.Tan(step/4))
	at := func(angle float64) (on, along vg.Point) {
		sin, cos := math.Sincos(angle)
		r := part.Radius
		return vg.Point{X: part.Pos.X + r*vg.Length(cos), Y: part.Pos.Y + r*vg.Length(sin)}, vg.Point{X: -r * vg.Length(sin), Y: r * vg.Length(cos)}
	}
	from, along := at(part.Start)
	x, y = c.now.transform.point(from)
	c.sheet.pdf.LineTo(x, y)
	for i := range pieces {
		to, next := at(part.Start + float64(i+1)*step)
		x1, y1 := c.now.transform.point(vg.Point{X: from.X + k*along.X, Y: from.Y + k*along.Y})
		x2, y2 := c.now.transform.point(vg.Point{X: to.X - k*next.X, Y: to.Y - k*next.Y})
		x, y = c.now.transform.point(to)
		c.sheet.pdf.CurveBezierCubicTo(x1, y1, x2, y2, x, y)
		from, along = to, next
	}
	return x, y
}

// FillString implements vg.Canvas.
func (c *canvas) FillString(f font.Face, at vg.Point, text string) {
	size := f.Font.Size.Points() * c.now.transform.scale()
	if size == 0 {
		return
	}
	pdf, ink := c.sheet.pdf, c.now.color
	style := ""
	if f.Font.Weight >= stdfont.WeightBold {
		style = "B"
	}
	pdf.SetFont("sans", style, size)
	pdf.SetTextColor(int(ink.R), int(ink.G), int(ink.B))
	pdf.SetAlpha(float64(ink.A)/255, "Normal")
	x, y := c.now.transform.point(at)
	text = visual(c.sheet.show(text))
	// Degrees, counter-clockwise as seen; the sheet's y grows downward.
	angle := -math.Atan2(c.now.transform.b, c.now.transform.a) * 180 / math.Pi
	if math.Abs(angle) < 1e-6 {
		pdf.Text(x, y, text)
		return
	}
	pdf.TransformBegin()
	pdf.TransformRotate(angle, x, y)
	pdf.Text(x, y, text)
	pdf.TransformEnd()
}

// DrawImage implements vg.Canvas.
func (c *canvas) DrawImage(r vg.Rectangle, img image.Image) {
	var data bytes.Buffer
	pdf := c.sheet.pdf
	if err := png.Encode(&data, img); err != nil {
		pdf.SetError(err)
		return
	}
	c.sheet.pictures++
	name := fmt.Sprintf("picture %d", c.sheet.pictures)
	pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, &data)
	x, y := c.now.transform.point(vg.Point{X: r.Min.X, Y: r.Max.Y})
	right, bottom := c.now.transform.point(vg.Point{X: r.Max.X, Y: r.Min.Y})
	pdf.ImageOptions(name, x, y, right-x, bottom-y, false, fpdf.ImageOptions{}, 0, "")
}
