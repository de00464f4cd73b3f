package scene

import "math"

// colour is linear red, green, blue; 1 is white in full light.
type colour struct{ r, g, b float32 }

func (c colour) mul(k float32) colour { return colour{c.r * k, c.g * k, c.b * k} }
func (c colour) add(d colour) colour  { return colour{c.r + d.r, c.g + d.g, c.b + d.b} }
func (c colour) tint(d colour) colour { return colour{c.r * d.r, c.g * d.g, c.b * d.b} }
func mix(a, b colour, t float32) colour {
	return colour{a.r + (b.r-a.r)*t, a.g + (b.g-a.g)*t, a.b + (b.b-a.b)*t}
}

// paints of a coat: body, lower limbs, mane.
type paints struct {
	body, points, mane, muzzle colour
	dapple                     float32
}

var coats = map[Coat]paints{
	Bay:      {colour{0.20, 0.085, 0.036}, colour{0.034, 0.026, 0.022}, colour{0.018, 0.014, 0.012}, colour{0.05, 0.03, 0.022}, 0.10},
	Grey:     {colour{0.50, 0.50, 0.50}, colour{0.22, 0.22, 0.23}, colour{0.55, 0.54, 0.52}, colour{0.17, 0.16, 0.16}, 0.35},
	Black:    {colour{0.026, 0.023, 0.022}, colour{0.020, 0.018, 0.018}, colour{0.014, 0.013, 0.013}, colour{0.03, 0.025, 0.022}, 0.15},
	Chestnut: {colour{0.30, 0.115, 0.042}, colour{0.26, 0.10, 0.038}, colour{0.36, 0.17, 0.07}, colour{0.20, 0.085, 0.045}, 0.08},
}

func step32(a, b, x float32) float32 {
	t := (x - a) / (b - a)
	if t <= 0 {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return ease32(t)
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// headCoordinates are the head at rest: from the poll along the face, out of
// the middle of the head towards the face, to the left.
func headCoordinates(x, y, z float32) (u, v, w float32) {
	dx, dz := x-headAhead, z-headHeight
	u = dx*0.60 - dz*0.80 + foreheadU
	v = dx*0.80 + dz*0.60
	return u, v, y
}

// paint is the albedo of a surface at a rest position, for a sample that covers
// foot metres.
func (b *body) paint(p *patch, x, y, z, foot float32) colour {
	h, c := &b.m.scene.Horse, &b.paints
	switch p.mat {
	case matCoat, matEar:
		return b.coat(c, h, p, x, y, z, foot)
	case matHead:
		return face(c, h, p, x, y, z, foot)
	case matHoof:
		return horn(h, p, x, y, z, foot)
	case matFeather:
		n := 1 + 0.5*fade(120, foot)*noise3(x*120, y*120, z*18) + 0.25*noise3(x*20, y*20, z*9)
		k := mix(c.points, c.body, 0.25)
		if h.Socks[p.limb] {
			k = colour{0.55, 0.52, 0.46}
		}
		// Splashed from below.
		return mix(k, colour{0.17, 0.135, 0.10}, 0.5*step32(0.09, 0.0, z)).mul(n)
	case matMane:
		n := 1 + 0.55*fade(70, foot)*noise3(x*70, y*70, z*8) + 0.3*noise3(x*11, y*11, z*5)
		return c.mane.mul(n)
	case matLeather:
		return colour{0.035, 0.02, 0.012}.mul(1 + 0.4*fade(60, foot)*noise3(x*60, y*60, z*60))
	case matBall:
		return colour{0.85, 0.85, 0.83}
	case matCone:
		if z > 0.15 && z < 0.25 {
			return colour{0.75, 0.75, 0.74}
		}
		return colour{0.72, 0.13, 0.02}.mul(1 + 0.15*fade(60, foot)*noise3(x*60, y*60, z*60))
	case matShirt:
		return colour{0.05, 0.09, 0.20}.mul(1 + 0.25*fade(20, foot)*noise3(x*20, y*20, z*8))
	case matTrousers:
		return colour{0.10, 0.09, 0.075}.mul(1 + 0.2*fade(25, foot)*noise3(x*25, y*25, z*10))
	case matSkin:
		return colour{0.42, 0.26, 0.19}
	case matBoot:
		return colour{0.03, 0.024, 0.02}
	case matHat:
		return colour{0.03, 0.03, 0.033}
	case matRope:
		return colour{0.5, 0.42, 0.1}
	}
	return colour{}
}

// horn is a hoof: dark, ringed, streaked down the wall, dusty in patches.
func horn(h *Horse, p *patch, x, y, z, foot float32) colour {
	wall := colour{0.085, 0.072, 0.060}
	if h.Socks[p.limb] {
		wall = colour{0.20, 0.16, 0.12}
	}
	dusty, seam := float32(0.75), float32(0.6)
	switch h.Hooves {
	case DarkHorn:
		wall, dusty, seam = colour{0.036, 0.030, 0.026}, 0.30, 0
	case LightHorn:
		wall = colour{0.30, 0.24, 0.17}
	}
	n := 1 + 0.45*fade(110, foot)*noise3(x*20, y*20, z*110)
	n += 0.45 * fade(80, foot) * noise3(x*80, y*80, z*12)
	k := wall.mul(n)
	dust := step32(0.0, 0.75, noise3(x*38+7, y*38, z*45)*fade(38, foot)+0.15-z*3)
	k = mix(k, colour{0.26, 0.21, 0.155}, dusty*dust)
	// The coronet is a pale seam, the ground edge dark.
	k = mix(k, colour{0.10, 0.085, 0.07}, step32(0.058, 0.068, z)*seam)
	return k
}

// hair adds the hair's texture to brightness n: of a photograph of fur that lies
// down the body, or of noise.
func (b *body) hair(n, x, y, z, foot float32) float32 {
	if b.fur != nil {
		// Hair lies along the limb; round it the picture turns with the surface.
		return n + 0.42*(b.fur.strewn(x*0.8+y*0.6, z, 0.42, foot)-1) + 0.10*noise3(x*1.7, y*1.9, z*1.6)
	}
	if f := fade(55, foot); f > 0 {
		n += 0.20 * f * noise3(x*55, y*55, z*40)
	}
	if f := fade(170, foot); f > 0 {
		n += 0.18 * f * noise3(x*170, y*170, z*90)
	}
	return n
}

func (b *body) coat(c *paints, h *Horse, p *patch, x, y, z, foot float32) colour {
	body := c.body
	// Hair, muscle shading and dapples.
	n := 1 + 0.14*noise3(x*5, y*5, z*5)
	if f := fade(16, foot); f > 0 {
		n += c.dapple * f * noise3(x*16+3, y*16, z*16)
	}
	n = b.hair(n, x, y, z, foot)
	if p.mat == matEar {
		return mix(body, c.points, 0.5).mul(n)
	}
	k := body
	if p.limb >= 0 {
		top := float32(0.50)
		edge := 0.06 * noise3(x*9, y*9, z*9)
		k = mix(c.points, body, step32(top-0.06, top+0.10, z+edge))
		if h.Socks[p.limb] {
			k = mix(colour{0.62, 0.60, 0.56}, k, step32(0.21, 0.235, z+0.25*edge))
		}
		// Chestnut-like blemishes and mud on the lower limb: something to hold on to.
		if low, f := 1-step32(0.25, 0.55, z), fade(24, foot); low > 0 && f > 0 {
			mud := step32(0.25, 0.6, noise3(x*24+11, y*24, z*24)*f) * low
			k = mix(k, colour{0.17, 0.135, 0.10}, 0.5*mud)
		}
	} else if z < 0.95 {
		// The belly is lighter.
		k = k.mul(1 + 0.25*(0.95-z))
	}
	return k.mul(n)
}

func face(c *paints, h *Horse, p *patch, x, y, z, foot float32) colour {
	u, v, w := headCoordinates(x, y, z)
	n := 1 + 0.10*noise3(x*9, y*9, z*9)
	if f := fade(40, foot); f > 0 {
		n += 0.20 * f * noise3(x*40+5, y*40, z*40)
	}
	if f := fade(130, foot); f > 0 {
		n += 0.18 * f * noise3(x*130, y*130, z*130)
	}
	k := mix(c.body, c.muzzle, step32(0.40, 0.56, u))
	k = k.mul(n)
	soft := foot * 0.5
	if soft < 0.002 {
		soft = 0.002
	}
	in := func(d float32) float32 { return 1 - step32(-soft, soft, d) }
	front := v > -0.03
	if front && !h.Plain {
		// A star between the eyes that trails into a short strip.
		edge := 0.010*noise3(x*60, y*60, z*60) + 0.006*noise3(x*25+3, y*25, z*25)
		star := abs32(u-foreheadU)/1.35 + abs32(w) - 0.034
		strip := abs32(w-0.004) - 0.010
		if u < foreheadU || u > 0.36 {
			strip = 1
		}
		if strip < star {
			star = strip
		}
		k = mix(k, colour{0.70, 0.68, 0.63}.mul(0.9+0.1*n), in(star+edge*0.6))
	}
	// Eyes and nostrils.
	eu, ev := (u-0.225)/0.024, (v+0.055)/0.020
	if abs32(w) > 0.06 {
		k = mix(k, colour{0.008, 0.006, 0.006}, in((float32(math.Sqrt(float64(eu*eu+ev*ev)))-1)*0.02))
		k = mix(k, k.mul(0.5), in((float32(math.Sqrt(float64(eu*eu+ev*ev)))-1.7)*0.02)*0.7)
	}
	nu, nw := (u-0.565)/0.026, (abs32(w)-0.036)/0.013
	if front {
		k = mix(k, colour{0.010, 0.008, 0.008}, in((float32(math.Sqrt(float64(nu*nu+nw*nw)))-1)*0.015))
	}
	if !h.NoBridle {
		leather := colour{0.030, 0.017, 0.010}.mul(1 + 0.4*fade(80, foot)*noise3(x*80, y*80, z*80))
		band := abs32(u-0.105) - 0.012
		if d := abs32(u-0.40) - 0.014; d < band {
			band = d
		}
		// Cheekpieces from the browband to the noseband.
		if u > 0.1 && u < 0.42 && abs32(w) > 0.03 {
			if d := abs32(v+0.045+(u-0.1)*0.02) - 0.009; d < band {
				band = d
			}
		}
		k = mix(k, leather, in(band))
		// A pale stitched line on the browband.
		k = mix(k, colour{0.5, 0.42, 0.3}, in(abs32(u-0.105)-0.003)*0.7*fade(150, foot)*step32(-0.2, 0.2, noise3(w*150, 0.5, 0.5)))
	}
	return k
}
