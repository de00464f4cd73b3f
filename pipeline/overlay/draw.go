package overlay

import (
	"image"
	"image/color"
	"math"
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"jogstrip/pipeline/clip"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// NewPlanes returns a grey picture; its sides are made even.
func NewPlanes(width, height int) clip.Planes {
	width, height = width&^1, height&^1
	p := clip.Planes{Width: width, Height: height, Y: make([]byte, width*height), U: make([]byte, width*height/4), V: make([]byte, width*height/4)}
	Fill(p, 0, 0, width, height, color.NRGBA{0x60, 0x60, 0x60, 0xff})
	return p
}

// Fill paints a rectangle.
func Fill(p clip.Planes, x0, y0, x1, y1 int, c color.NRGBA) {
	full, cb, cr := color.RGBToYCbCr(c.R, c.G, c.B)
	luma := byte(16 + (int(full)*219+127)/255)
	for y := max(0, y0); y < min(p.Height, y1); y++ {
		for x := max(0, x0); x < min(p.Width, x1); x++ {
			p.Y[y*p.Width+x] = luma
		}
	}
	for y := max(0, y0) / 2; y < min(p.Height, y1)/2; y++ {
		for x := max(0, x0) / 2; x < min(p.Width, x1)/2; x++ {
			p.U[y*(p.Width/2)+x], p.V[y*(p.Width/2)+x] = cb, cr
		}
	}
}

// Line draws a line of the given width; dash, where positive, is the length of its dashes
// and of the gaps between, px.
func Line(p clip.Planes, x0, y0, x1, y1, width, dash float64, c color.NRGBA) {
	length := math.Hypot(x1-x0, y1-y0)
	if dash <= 0 || math.IsNaN(length) {
		line(p, x0, y0, x1, y1, width, c)
		return
	}
	for from := 0.0; from < length; from += 2 * dash {
		a, b := from/length, math.Min(1, (from+dash)/length)
		line(p, x0+a*(x1-x0), y0+a*(y1-y0), x0+b*(x1-x0), y0+b*(y1-y0), width, c)
	}
}

// Mark draws a side's sign around a place: a circle, a triangle or a square.
func Mark(p clip.Planes, side traj.Side, x, y, radius float64) {
	outline(p, side, x, y, radius+1.2, 1.8, color.NRGBA{0xff, 0xff, 0xff, 0xff}, false)
	outline(p, side, x, y, radius, 1.8, plots.SideColor(side), false)
}

// typeface holds the typeface at the sizes in use.
var typeface = struct {
	sync.Mutex
	parsed *opentype.Font
	faces  map[float64]font.Face
}{faces: map[float64]font.Face{}}

// Text writes text on a pale ground with its left upper corner at x, y, in letters of the
// given size, px.
func Text(p clip.Planes, text string, x, y int, size float64, ink color.NRGBA) {
	typeface.Lock()
	defer typeface.Unlock()
	write(p, face(size), text, x, y, ink)
}

// TextRight is Text with its right upper corner at x, y.
func TextRight(p clip.Planes, text string, x, y int, size float64, ink color.NRGBA) {
	typeface.Lock()
	defer typeface.Unlock()
	f := face(size)
	write(p, f, text, x-font.MeasureString(f, text).Ceil()-6, y, ink)
}

// face returns the typeface in a size; typeface is locked.
func face(size float64) font.Face {
	if typeface.parsed == nil {
		var err error
		if typeface.parsed, err = opentype.Parse(liberationsansbold.TTF); err != nil {
			panic("overlay: the embedded typeface: " + err.Error())
		}
	}
	face := typeface.faces[size]
	if face == nil {
		var err error
		if face, err = opentype.NewFace(typeface.parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingFull}); err != nil {
			panic("overlay: the embedded typeface: " + err.Error())
		}
		typeface.faces[size] = face
	}
	return face
}

func write(p clip.Planes, face font.Face, text string, x, y int, ink color.NRGBA) {
	m := face.Metrics()
	width, height := font.MeasureString(face, text).Ceil(), (m.Ascent + m.Descent).Ceil()
	for py := y; py < y+height+2; py++ {
		for px := x; px < x+width+6; px++ {
			blend(p, px, py, color.NRGBA{0xff, 0xff, 0xff, 0xff}, 0.8)
		}
	}
	mask := image.NewAlpha(image.Rect(0, 0, width+1, height+1))
	d := font.Drawer{Dst: mask, Src: image.NewUniform(color.Alpha{255}), Face: face, Dot: fixed.Point26_6{Y: m.Ascent}}
	d.DrawString(text)
	for my := range height + 1 {
		for mx := range width + 1 {
			if a := mask.AlphaAt(mx, my).A; a > 0 {
				blend(p, x+3+mx, y+1+my, ink, float64(a)/255)
			}
		}
	}
}

// Cut fills dst with the piece of src whose left upper corner is at (x, y); each pixel of
// dst is step pixels of src wide. What lies outside src is grey.
func Cut(dst, src clip.Planes, x, y, step float64) {
	cut(dst.Y, dst.Width, dst.Height, src.Y, src.Width, src.Height, x, y, step, 0x60)
	cut(dst.U, dst.Width/2, dst.Height/2, src.U, src.Width/2, src.Height/2, x/2, y/2, step, 0x80)
	cut(dst.V, dst.Width/2, dst.Height/2, src.V, src.Width/2, src.Height/2, x/2, y/2, step, 0x80)
}

// cut is Cut for one plane: between pixels by straight lines, over as many samples as a
// pixel covers.
func cut(dst []byte, dw, dh int, src []byte, sw, sh int, x, y, step float64, outside byte) {
	per := 1
	if step > 1.25 {
		per = 2
	}
	one := float64(per)
	// Columns are alike in every row.
	type column struct {
		at     int
		weight int // Of the next pixel, of 256; negative: outside.
	}
	columns := make([]column, dw*per)
	for i := range columns {
		sx := x + (float64(i)+0.5)/one*step - 0.5
		c := column{int(math.Floor(sx)), 0}
		c.weight = int(256 * (sx - float64(c.at)))
		if c.at < 0 || c.at+1 >= sw {
			c.weight = -1
		}
		columns[i] = c
	}
	// Rows of src between its pixels, times 256, the two that were used last: neighbours
	// share them.
	var lines [2][]int
	numbers := [2]int{-1, -1}
	line := func(r int) []int {
		k := r & 1
		if numbers[k] == r {
			return lines[k]
		}
		numbers[k] = r
		if lines[k] == nil {
			lines[k] = make([]int, len(columns))
		}
		l, from := lines[k], src[r*sw:(r+1)*sw]
		for i, c := range columns {
			if c.weight < 0 {
				l[i] = int(outside) << 8
				continue
			}
			l[i] = int(from[c.at])*(256-c.weight) + int(from[c.at+1])*c.weight
		}
		return l
	}
	sums := make([]int, len(columns))
	for j := range dh {
		clear(sums)
		for v := range per {
			sy := y + (float64(j*per+v)+0.5)/one*step - 0.5
			r := int(math.Floor(sy))
			if r < 0 || r+1 >= sh {
				for i := range sums {
					sums[i] += int(outside) << 16
				}
				continue
			}
			w := int(256 * (sy - float64(r)))
			top, bottom := line(r), line(r+1)
			bottom = bottom[:len(top)]
			for i, a := range top {
				sums[i] += a*(256-w) + bottom[i]*w
			}
		}
		row := dst[j*dw : (j+1)*dw]
		if per == 1 {
			for i, sum := range sums {
				row[i] = byte((sum + 1<<15) >> 16)
			}
			continue
		}
		for i := range row {
			row[i] = byte(((sums[2*i]+sums[2*i+1])/4 + 1<<15) >> 16)
		}
	}
}

// Picture turns planes into a picture as JPEG has it.
func Picture(p clip.Planes) *image.YCbCr {
	m := image.NewYCbCr(image.Rect(0, 0, p.Width, p.Height), image.YCbCrSubsampleRatio420)
	full := func(v, low, range_ int) byte { return byte(max(0, min(255, (v-low)*255/range_))) }
	for y := range p.Height {
		for x := range p.Width {
			m.Y[y*m.YStride+x] = full(int(p.Y[y*p.Width+x]), 16, 219)
		}
	}
	w := p.Width / 2
	for y := range p.Height / 2 {
		for x := range w {
			m.Cb[y*m.CStride+x] = byte(max(0, min(255, 128+(int(p.U[y*w+x])-128)*255/224)))
			m.Cr[y*m.CStride+x] = byte(max(0, min(255, 128+(int(p.V[y*w+x])-128)*255/224)))
		}
	}
	return m
}

// Paste puts a piece into a picture with its left upper corner at x, y, which are even.
func Paste(into, p clip.Planes, x, y int) {
	for row := range min(p.Height, into.Height-y) {
		copy(into.Y[(y+row)*into.Width+x:], p.Y[row*p.Width:(row+1)*p.Width])
	}
	w, iw := p.Width/2, into.Width/2
	for row := range min(p.Height, into.Height-y) / 2 {
		copy(into.U[(y/2+row)*iw+x/2:], p.U[row*w:(row+1)*w])
		copy(into.V[(y/2+row)*iw+x/2:], p.V[row*w:(row+1)*w])
	}
}
