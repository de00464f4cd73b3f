package scene

import (
	"math"
	"os"
)

// lights is how a scene is lit.
type lights struct {
	toSun        vec
	sun, sky     colour
	shadow       float32 // Share of the light that a shadow takes.
	penumbra     float64 // Spread of the sun's direction.
	zenith, haze colour
}

func lightsOf(l Light) lights {
	switch l {
	case Overcast:
		return lights{vec{0.15, -0.2, 1}.unit(), colour{0.38, 0.38, 0.38}, colour{0.72, 0.74, 0.78}, 0.34, 0.55, colour{0.62, 0.66, 0.72}, colour{0.78, 0.80, 0.82}}
	case Dusk:
		return lights{vec{0.1, -0.3, 1}.unit(), colour{0.05, 0.05, 0.055}, colour{0.20, 0.22, 0.27}, 0.25, 0.6, colour{0.14, 0.18, 0.30}, colour{0.40, 0.34, 0.33}}
	}
	return lights{vec{0.55, -0.62, 0.80}.unit(), colour{0.98, 0.92, 0.80}, colour{0.40, 0.45, 0.54}, 0.62, 0.03, colour{0.22, 0.40, 0.78}, colour{0.62, 0.72, 0.86}}
}

// on returns the light on a surface with the given normal.
func (l *lights) on(n vec) colour {
	s := float32(math.Max(0, n.dot(l.toSun)))
	a := float32(0.62 + 0.38*n.z)
	return l.sky.mul(a).add(l.sun.mul(s))
}

// yard paints everything that stands still: the ground plane and a backdrop, an
// upright plane behind it with grass, fence, trees and sky.
type yard struct {
	s        *Scene
	l        lights
	ground   colour // Light on the ground.
	backdrop float64
	marks    [][2]float64
	shade    shade
	photos   *photos
	scenic   scenic
}

func newYard(m *motion) *yard {
	s := &m.scene
	fillTables()
	y := &yard{s: s, l: lightsOf(s.Yard.Light)}
	y.ground = y.l.on(vec{0, 0, 1})
	y.backdrop = math.Max(34, math.Max(s.Motion.StartM, s.Motion.EndM)+8)
	if w := s.Yard.MarksWidthM; w > 0 {
		y0, y1 := s.Yard.MarksNearM, s.Yard.MarksNearM+s.Yard.MarksLengthM
		y.marks = [][2]float64{{-w / 2, y0}, {w / 2, y0}, {w / 2, y1}, {-w / 2, y1}}
	}
	y.shade = newShade(m, &y.l)
	if s.Yard.Photos {
		y.scenic = newScenic(m)
		y.photos = loadPhotos(Photographs(), y.scenic.photo, os.Stderr)
	}
	return y
}

const laneHalf = 1.9

// look returns the light from a direction seen from c; a sample covers an angle
// of wide × high.
func (y *yard) look(c vec, d vec, wide, high float64) colour {
	if d.z < 0 {
		t := -c.z / d.z
		p := c.add(d.mul(t))
		if p.y < y.backdrop {
			dist := t * d.norm()
			across := dist * wide
			along := dist * high * dist / c.z
			if y.photos != nil || y.shade.on {
				return y.floor(float32(p.x), float32(p.y), float32(across), float32(along))
			}
			return y.soil(float32(p.x), float32(p.y), float32(across), float32(along)).tint(y.ground)
		}
	}
	t := (y.backdrop - c.y) / d.y
	p := c.add(d.mul(t))
	if y.photos != nil {
		return y.view(float32(p.x), float32(p.z), float32(t*math.Max(wide, high)))
	}
	return y.scenery(float32(p.x), float32(p.z), float32(t*math.Max(wide, high)))
}

// soil is the albedo of the ground; a sample covers across × along metres.
func (y *yard) soil(x, v, across, along float32) colour {
	foot := max(across, along*0.7)
	edge := 0.12*noise2(x*0.9+40, v*0.9) + 0.05*noise2(x*4, v*4)
	grass := step32(laneHalf-0.06, laneHalf+0.10, abs32(x)+edge)
	n := 1 + 0.10*noise2(x*0.8, v*0.8+9) + 0.09*noise2(x*2.7+5, v*2.7)
	if grass < 1 {
		// Sand with gravel: grains of many sizes, stones, two worn tracks.
		m := n
		for _, o := range [...][2]float32{{7, 0.10}, {19, 0.16}, {47, 0.22}, {110, 0.24}, {240, 0.16}} {
			if f := fade(o[0], foot); f > 0 {
				m += o[1] * f * noise2(x*o[0], v*o[0]+o[0])
			}
		}
		if f := fade(26, foot); f > 0 {
			s := noise2(x*26+3, v*26+17)
			m += f * (0.55*step32(0.55, 0.75, s) - 0.40*step32(0.55, 0.8, -s))
		}
		track := abs32(abs32(x)-0.75) - 0.17 + 0.05*noise2(x*2, v*0.7)
		m *= 1 - 0.10*(1-step32(-0.1, 0.12, track))
		if y.s.Yard.TyreTracks {
			// Slanted treads every 9 cm in two prints side by side.
			in := 1 - step32(0.10, 0.12, abs32(abs32(x)-0.14))
			_, tread := floor32((v + abs32(x)*0.5) / 0.09)
			m *= 1 - 0.45*in*step32(0.2, 0.3, abs32(tread-0.5))*fade(11, along)
		}
		c := colour{0.33, 0.265, 0.185}
		if y.s.Yard.DarkLane {
			c = colour{0.075, 0.060, 0.046}
		}
		if m < 0.15 {
			m = 0.15
		}
		sand := c.mul(m)
		sand = y.chalk(sand, x, v, across, along)
		if grass <= 0 {
			return sand
		}
		return mix(sand, y.grass(x, v, n, foot), grass)
	}
	return y.grass(x, v, n, foot)
}

// chalk draws the crosses on the four ground marks.
func (y *yard) chalk(sand colour, x, v, across, along float32) colour {
	for _, k := range y.marks {
		dx, dy := abs32(x-float32(k[0])), abs32(v-float32(k[1]))
		if dx > 1 || dy > 2 {
			continue
		}
		in := func(d, half, soft float32) float32 { return 1 - step32(half-soft, half+soft, d) }
		sx, sy := across*0.5+0.004, along*0.5+0.004
		bar := in(dx, 0.30, sx) * in(dy, 0.045, sy)
		post := in(dx, 0.03, sx) * in(dy, 0.45, sy)
		if post > bar {
			bar = post
		}
		if bar > 0 {
			sand = mix(sand, colour{0.80, 0.80, 0.78}, bar*(0.92+0.08*noise2(x*90, v*90)))
		}
	}
	return sand
}

func (y *yard) grass(x, v, n, foot float32) colour {
	for _, o := range [...][2]float32{{5, 0.22}, {14, 0.25}, {38, 0.34}, {90, 0.30}} {
		if f := fade(o[0], foot); f > 0 {
			n += o[1] * f * noise2(x*o[0]*1.3+2, v*o[0]*0.6)
		}
	}
	if n < 0.2 {
		n = 0.2
	}
	dry := step32(0.1, 0.7, noise2(x*0.6+70, v*0.35))
	return mix(colour{0.085, 0.140, 0.035}, colour{0.20, 0.17, 0.07}, 0.6*dry).mul(n)
}

// scenery is the light from the backdrop at x across and z up.
func (y *yard) scenery(x, z, foot float32) colour {
	up := z / 30
	if up > 1 {
		up = 1
	}
	sky := mix(y.l.haze, y.l.zenith, up)
	cloud := step32(0.0, 1.3, noise2(x*0.035+3, z*0.09)+0.5*noise2(x*0.11+5, z*0.25)+0.3*noise2(x*0.29, z*0.6)+0.15*noise2(x*0.9, z*1.7))
	sky = mix(sky, y.l.haze.mul(1.25), 0.8*cloud)
	light := y.l.on(vec{0, -0.8, 0.6})
	soft := foot*0.7 + 0.01
	edge := func(d float32) float32 { return step32(-soft, soft, d) }
	// Trees: a far row and a near hedge.
	far := 5.2 + 1.7*noise2(x*0.11, 3) + 1.0*noise2(x*0.37, 9)
	far += 0.55*noise2(x*1.3, z*0.35) + 0.30*noise2(x*3.4, z*1.5)*fade(3.4, foot) + 0.16*noise2(x*9, z*7)*fade(9, foot)
	// Turned, so that the noise's lattice does not show.
	u, v := 0.8*x+0.6*z, 0.8*z-0.6*x
	n := 1 + 0.40*noise2(u*0.55, v*0.6) + 0.35*noise2(v*1.9, u*1.7)*fade(1.9, foot) + 0.45*noise2(u*5.3, v*4.8)*fade(5.3, foot) + 0.45*noise2(v*14, u*13)*fade(14, foot)
	n *= 0.72 + 0.10*min(z, 6)*0.5
	c := mix(colour{0.060, 0.088, 0.030}.mul(max(0.15, n)).tint(light), y.l.haze, 0.08)
	c = mix(c, sky, edge(z-far))
	hedge := 1.75 + 0.25*noise2(x*0.7, 50) + 0.12*noise2(x*3.1, z*3)
	h := 1 + 0.4*noise2(u*2.1+9, v*2.2) + 0.45*noise2(v*7, u*7)*fade(7, foot) + 0.3*noise2(u*18, v*18)*fade(18, foot)
	c = mix(colour{0.040, 0.070, 0.022}.mul(h).tint(light), c, edge(z-hedge))
	// A fence of posts and rails.
	wood := colour{0.24, 0.20, 0.155}.mul(1 + 0.25*noise2(x*3, z*25)*fade(25, foot)).tint(light)
	for _, r := range [...]float32{0.55, 0.95, 1.35} {
		c = mix(wood, c, edge(abs32(z-r-0.01*noise2(x*0.8, r*9))-0.05))
	}
	px := x/2.4 + 0.07*noise2(x*0.1, 7)
	ip, fp := floor32(px)
	_ = ip
	post := abs32(fp-0.5)*2.4 - 0.06
	if z < 1.5 {
		c = mix(wood.mul(0.85), c, edge(post))
	}
	// Long grass at its foot.
	tuft := 0.25 + 0.10*noise2(x*2.3, 4) + 0.12*noise2(x*9, 2)*fade(9, foot)
	c = mix(y.grass(x, z*3, 1, foot).tint(light), c, edge(z-tuft))
	return c
}
