package plots

import (
	"cmp"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"slices"

	"git.sr.ht/~sbinet/gg"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// dotsPerInch is the resolution of PNG output: sharp on paper at the size of
// half a page, and still small.
const dotsPerInch = 150

// writePNG draws paint in the given size and writes it as a PNG picture.
func writePNG(w io.Writer, width, height vg.Length, paint func(vgdraw.Canvas)) error {
	c := newPNGCanvas(width, height)
	paint(vgdraw.New(c))
	// Denser files take as long to pack as figures to draw.
	packer := png.Encoder{CompressionLevel: png.BestSpeed}
	return packer.Encode(w, paletted(c.picture))
}

// pngCanvas draws as the raster canvas of gonum/plot does, but upright text in a way
// that costs less.
type pngCanvas struct {
	*vgimg.Canvas
	picture *image.RGBA
	states  []pngState // The last is in force.
	faces   map[font.Font]xfont.Face
}

type pngState struct {
	colour color.Color
	turned bool // Turned, moved or scaled.
}

func newPNGCanvas(width, height vg.Length) *pngCanvas {
	picture := newSheet(width, height)
	return &pngCanvas{
		Canvas: rasterCanvas(picture), picture: picture, states: []pngState{{colour: color.Black}}, faces: map[font.Font]xfont.Face{},
	}
}

// newSheet returns a picture of the given size.
func newSheet(width, height vg.Length) *image.RGBA {
	dots := func(l vg.Length) int { return int(l.Dots(dotsPerInch) + 0.5) }
	return image.NewRGBA(image.Rect(0, 0, dots(width), dots(height)))
}

// rasterCanvas returns gonum/plot's canvas on m, which it would else copy and which it
// makes white.
func rasterCanvas(m *image.RGBA) *vgimg.Canvas {
	context := gg.NewContextForRGBA(m)
	context.SetLineCapButt()
	context.InvertY()
	return vgimg.NewWith(vgimg.UseImageWithContext(m, context), vgimg.UseDPI(dotsPerInch))
}

func (c *pngCanvas) state() *pngState { return &c.states[len(c.states)-1] }

// Push keeps the state for Pop.
func (c *pngCanvas) Push() {
	c.states = append(c.states, *c.state())
	c.Canvas.Push()
}

// Pop goes back to the state that Push kept.
func (c *pngCanvas) Pop() {
	c.states = c.states[:len(c.states)-1]
	c.Canvas.Pop()
}

// SetColor sets the colour of what is drawn next; nil means black.
func (c *pngCanvas) SetColor(clr color.Color) {
	if clr == nil {
		clr = color.Black
	}
	c.state().colour = clr
	c.Canvas.SetColor(clr)
}

// Rotate turns what is drawn next.
func (c *pngCanvas) Rotate(t float64) { c.state().turned = true; c.Canvas.Rotate(t) }

// Translate moves what is drawn next.
func (c *pngCanvas) Translate(p vg.Point) { c.state().turned = true; c.Canvas.Translate(p) }

// Scale scales what is drawn next.
func (c *pngCanvas) Scale(x, y float64) { c.state().turned = true; c.Canvas.Scale(x, y) }

// FillString draws str with the left end of its base line at p.
func (c *pngCanvas) FillString(f font.Face, p vg.Point, str string) {
	if c.state().turned || f.Font.Size == 0 {
		c.Canvas.FillString(f, p, str)
		return
	}
	face := c.faces[f.Font]
	if face == nil {
		face = f.FontFace(dotsPerInch)
		c.faces[f.Font] = face
	}
	at := func(dots float64) fixed.Int26_6 { return fixed.Int26_6(math.Round(dots * 64)) }
	d := xfont.Drawer{
		Dst: c.picture, Src: image.NewUniform(c.state().colour), Face: face,
		Dot: fixed.Point26_6{X: at(p.X.Dots(dotsPerInch)), Y: at(float64(c.picture.Rect.Dy()) - p.Y.Dots(dotsPerInch))},
	}
	d.DrawString(str)
}

// mostColours is how many colours are looked at; a picture with more, of which there
// is none among figures, is written as it is.
const mostColours = 1 << 14

// Of the 256 colours of a file so many are the most frequent; the others are such as
// lie farther than alikeColours from those.
const (
	flatColours  = 128
	alikeColours = 12
)

// paletted returns m, which must be opaque, in 256 of its colours; what else it has,
// shades on the rims of lines and letters, takes the nearest of them. Files of it are
// a third as large, and faster made.
func paletted(m *image.RGBA) image.Image {
	t := colours{slots: make([]int32, 2*mostColours)}
	runs, ok := t.runs(m)
	if !ok {
		return m
	}
	becomes, palette := t.palette()
	out := image.NewPaletted(image.Rect(0, 0, m.Rect.Dx(), m.Rect.Dy()), palette)
	at := 0
	for _, r := range runs {
		for to := at + int(r.pixels); at < to; at++ {
			out.Pix[at] = becomes[r.colour]
		}
	}
	return out
}

// pixelRun is pixels of one colour side by side in a row.
type pixelRun struct{ colour, pixels int32 }

// runs returns m row by row as runs of its colours, which it counts; false where they are
// too many.
func (t *colours) runs(m *image.RGBA) ([]pixelRun, bool) {
	runs := make([]pixelRun, 0, 1<<16)
	for y := range m.Rect.Dy() {
		row := m.Pix[y*m.Stride:][:4*m.Rect.Dx()]
		for x := 0; x < len(row); {
			from, k := x, rgb(row[x:])
			for x += 4; x < len(row) && rgb(row[x:]) == k; x += 4 {
			}
			i := t.index(k)
			if i == mostColours {
				return nil, false
			}
			n := int32(x-from) / 4
			t.pixels[i] += n
			runs = append(runs, pixelRun{i, n})
		}
	}
	return runs, true
}

// palette chooses the colours that are kept, and says by its number what each becomes.
func (t *colours) palette() (becomes []uint8, palette color.Palette) {
	order := make([]int, len(t.rgb)) // The most frequent first.
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(t.pixels[b], t.pixels[a]), cmp.Compare(t.rgb[a], t.rgb[b]))
	})
	becomes = make([]uint8, len(t.rgb))
	var kept []uint32
	keep := func(k uint32) uint8 {
		kept = append(kept, k)
		return uint8(len(kept) - 1)
	}
	near := map[uint32]uint8{} // By the upper five bits of each primary: what lies so close goes alike.
	for n, i := range order {
		k := t.rgb[i]
		if n < flatColours || len(order) <= 256 {
			becomes[i] = keep(k)
			continue
		}
		to, known := near[k&0xf8f8f8]
		if !known {
			var off int32
			if to, off = nearest(kept, k); off > alikeColours*alikeColours && len(kept) < 256 {
				to = keep(k)
			}
			near[k&0xf8f8f8] = to
		}
		becomes[i] = to
	}
	for _, k := range kept {
		palette = append(palette, color.RGBA{byte(k), byte(k >> 8), byte(k >> 16), 255})
	}
	return becomes, palette
}

// rgb returns the colour of the opaque pixel that begins at p[0]: red lowest.
func rgb(p []byte) uint32 { return binary.LittleEndian.Uint32(p) }

// colours numbers colours in the order in which they are first met.
type colours struct {
	slots  []int32 // Number of a colour plus 1, by its hash; 0 where there is none.
	rgb    []uint32
	pixels []int32
}

// index returns k's number, or mostColours where there would be too many.
func (t *colours) index(k uint32) int32 {
	for h := k * 2654435769 >> 17; ; h = (h + 1) % uint32(len(t.slots)) {
		switch i := t.slots[h] - 1; {
		case i < 0 && len(t.rgb) == mostColours:
			return mostColours
		case i < 0:
			t.rgb, t.pixels = append(t.rgb, k), append(t.pixels, 0)
			t.slots[h] = int32(len(t.rgb))
			return int32(len(t.rgb)) - 1
		case t.rgb[i] == k:
			return i
		}
	}
}

// nearest returns which of some colours lies nearest to k, and the square of how far.
func nearest(some []uint32, k uint32) (uint8, int32) {
	best, least := 0, int32(3*256*256)
	for i, o := range some {
		r, g, b := int32(o&255)-int32(k&255), int32(o>>8&255)-int32(k>>8&255), int32(o>>16&255)-int32(k>>16&255)
		if d := r*r + g*g + b*b; d < least {
			best, least = i, d
		}
	}
	return uint8(best), least
}
