// Package overlay draws what was measured onto the pictures of a clip: every
// mark with a short trail, which hoof stands, and what was not seen. It knows
// no files; it draws on planar YUV pictures (see clip.Planes).
package overlay

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/basicfont"
	"golang.org/x/image/math/fixed"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// How long a trail reaches back, s.
const trail = 0.4

// Painter draws the frames of one clip. It is read only once made.
type Painter struct {
	set      *traj.Set
	contacts []metrics.Contact
}

// New returns a painter of tracks and hoof contacts. contacts may be empty.
func New(set *traj.Set, contacts []metrics.Contact) *Painter {
	return &Painter{set: set, contacts: contacts}
}

// Draw paints frame index onto p. scale is the size of one of p's pixels in
// the clip's own pixels. Frames the tracks do not have are left as they are.
func (o *Painter) Draw(index int, p clip.Planes, scale float64) {
	if index >= len(o.set.Times) {
		return
	}
	now := o.set.Times[index]
	var unseen []string
	for _, t := range o.set.Tracks {
		o.trail(p, t, index, scale)
	}
	for _, t := range o.set.Tracks {
		s := t.Samples[index]
		if s.Status == traj.Lost {
			unseen = append(unseen, t.Landmark.Words())
			continue
		}
		c := plots.SideColor(t.Landmark.Side())
		x, y := (s.X+0.5)/scale-0.5, (s.Y+0.5)/scale-0.5
		if !(x > -50 && y > -50 && x < float64(p.Width+50) && y < float64(p.Height+50)) {
			continue
		}
		radius := max(5, float64(p.Height)/110)
		outline(p, t.Landmark.Side(), x, y, radius+1.5, 2.2, color.NRGBA{0xff, 0xff, 0xff, 0xff}, s.Status == traj.Bridged)
		outline(p, t.Landmark.Side(), x, y, radius, 2.2, c, s.Status == traj.Bridged)
		if s.Status == traj.Across {
			// How high it is, is known to within this only.
			high := min(max(s.SDY/scale, radius+2), 4*radius)
			line(p, x, y-high, x, y+high, 1.5, c)
		}
		if o.stands(t.Landmark, now) {
			bar(p, x-2*radius, x+2*radius, y+radius+3, 3, c)
		}
		label(p, Short(t.Landmark), int(x+radius+4), int(y)+4, c)
	}
	label(p, fmt.Sprintf("%.3f s   frame %d", now, index), 8, 18, plots.SideColor(traj.Middle))
	if len(unseen) > 0 {
		label(p, "not seen: "+strings.Join(unseen, ", "), 8, 36, plots.SideColor(traj.Middle))
	}
	label(p, "circle = horse's left, triangle = horse's right, upright line = height unsure, broken outline = not seen, bridged", 8, p.Height-8, plots.SideColor(traj.Middle))
}

// Short returns the letters by which a landmark is labelled in a picture.
func Short(l traj.Landmark) string {
	if side, part, ok := strings.Cut(string(l), "-"); ok {
		return strings.ToUpper(side[:1]) + " " + part // "L hip"
	}
	return string(l)
}

func (o *Painter) stands(l traj.Landmark, now float64) bool {
	for _, c := range o.contacts {
		if c.Limb == l && c.On <= now && now < c.Off {
			return true
		}
	}
	return false
}

func (o *Painter) trail(p clip.Planes, t traj.Track, index int, scale float64) {
	c := plots.SideColor(t.Landmark.Side())
	for f := index; f > 0 && o.set.Times[index]-o.set.Times[f] < trail; f-- {
		a, b := t.Samples[f-1], t.Samples[f]
		if a.Status == traj.Lost || b.Status == traj.Lost {
			continue
		}
		line(p, a.X/scale, a.Y/scale, b.X/scale, b.Y/scale, 1.5, c)
	}
}

// blend mixes colour c into the pixel at x, y. Chroma is shared by four pixels
// and takes a quarter of the mix from each.
func blend(p clip.Planes, x, y int, c color.NRGBA, alpha float64) {
	if x < 0 || y < 0 || x >= p.Width || y >= p.Height || alpha <= 0 {
		return
	}
	full, cb, cr := color.RGBToYCbCr(c.R, c.G, c.B)
	luma := 16 + float64(full)*219/255
	i := y*p.Width + x
	p.Y[i] = uint8(float64(p.Y[i])*(1-alpha) + luma*alpha + 0.5)
	if x/2 < p.Width/2 && y/2 < p.Height/2 {
		j := (y/2)*(p.Width/2) + x/2
		p.U[j] = uint8(float64(p.U[j])*(1-alpha/2) + float64(cb)*alpha/2 + 0.5)
		p.V[j] = uint8(float64(p.V[j])*(1-alpha/2) + float64(cr)*alpha/2 + 0.5)
	}
}

// coverage turns a distance from a stroke's centre line into opacity.
func coverage(distance, width float64) float64 {
	return math.Min(1, math.Max(0, width/2+0.5-distance))
}

func outline(p clip.Planes, side traj.Side, x, y, r, width float64, c color.NRGBA, broken bool) {
	if side == traj.Right {
		top, left, right := point{x, y - 1.2*r}, point{x - 1.1*r, y + 0.8*r}, point{x + 1.1*r, y + 0.8*r}
		for _, e := range [][2]point{{top, left}, {left, right}, {right, top}} {
			if broken {
				e = [2]point{mix(e[0], e[1], 0.2), mix(e[0], e[1], 0.5)}
			}
			line(p, e[0].x, e[0].y, e[1].x, e[1].y, width, c)
		}
		return
	}
	if side == traj.Middle {
		a, b, d, e := point{x - r, y - r}, point{x + r, y - r}, point{x + r, y + r}, point{x - r, y + r}
		for _, s := range [][2]point{{a, b}, {b, d}, {d, e}, {e, a}} {
			if broken {
				s = [2]point{mix(s[0], s[1], 0.2), mix(s[0], s[1], 0.5)}
			}
			line(p, s[0].x, s[0].y, s[1].x, s[1].y, width, c)
		}
		return
	}
	reach := int(r + width + 2)
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			px, py := math.Floor(x)+float64(dx), math.Floor(y)+float64(dy)
			ox, oy := px-x, py-y
			if broken && math.Sin(6*math.Atan2(oy, ox)) < 0 {
				continue
			}
			blend(p, int(px), int(py), c, coverage(math.Abs(math.Hypot(ox, oy)-r), width))
		}
	}
}

type point struct{ x, y float64 }

func mix(a, b point, t float64) point { return point{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)} }

func line(p clip.Planes, x0, y0, x1, y1, width float64, c color.NRGBA) {
	length := math.Hypot(x1-x0, y1-y0)
	if math.IsNaN(length) || length > float64(p.Width+p.Height) {
		return
	}
	reach := width/2 + 1
	for y := int(math.Min(y0, y1) - reach); y <= int(math.Max(y0, y1)+reach)+1; y++ {
		for x := int(math.Min(x0, x1) - reach); x <= int(math.Max(x0, x1)+reach)+1; x++ {
			t := 0.0
			if length > 0 {
				t = ((float64(x)-x0)*(x1-x0) + (float64(y)-y0)*(y1-y0)) / (length * length)
				t = math.Min(1, math.Max(0, t))
			}
			d := math.Hypot(float64(x)-x0-t*(x1-x0), float64(y)-y0-t*(y1-y0))
			blend(p, x, y, c, coverage(d, width))
		}
	}
}

func bar(p clip.Planes, x0, x1, y, height float64, c color.NRGBA) {
	for dy := 0.0; dy < height; dy++ {
		for x := x0; x <= x1; x++ {
			blend(p, int(x), int(y+dy), c, 1)
		}
	}
}

// label writes text on a pale ground, so that it reads on any picture.
func label(p clip.Planes, text string, x, y int, ink color.NRGBA) {
	face := basicfont.Face7x13
	width := font.MeasureString(face, text).Ceil()
	if x+width+3 > p.Width {
		x = p.Width - width - 3
	}
	x, y = max(x, 2), min(max(y, 12), p.Height-4)
	for py := y - 11; py < y+4; py++ {
		for px := x - 2; px < x+width+2; px++ {
			blend(p, px, py, color.NRGBA{0xff, 0xff, 0xff, 0xff}, 0.75)
		}
	}
	mask := image.NewAlpha(image.Rect(0, 0, width+1, 16))
	d := font.Drawer{Dst: mask, Src: image.NewUniform(color.Alpha{255}), Face: face, Dot: fixed.P(0, 12)}
	d.DrawString(text)
	for my := range 16 {
		for mx := range width {
			if a := mask.AlphaAt(mx, my).A; a > 0 {
				blend(p, x+mx, y-12+my, ink, float64(a)/255)
			}
		}
	}
}
