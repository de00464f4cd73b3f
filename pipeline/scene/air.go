package scene

import "math"

// blade says how high the grass stands before a place, as a share of the highest: a
// few wide tufts of narrow blades, fixed to the ground.
func blade(x, y float32) float32 {
	tuft := 0.35 + 0.65*step32(-0.5, 0.3, noise2(x*7+31, y*5))
	return tuft * (0.2 + 0.8*step32(-0.6, 0.6, noise2(x*110, y*9)))
}

// darkness is the share of the light that the horse's shadow takes at a pixel: less
// where the ground lies in shade already.
func (y *yard) darkness(e *eye, px, py float64) float32 {
	d := e.ray(px, py)
	if d.z >= 0 {
		return y.l.shadow
	}
	k := -e.c.z / d.z
	lit := y.shade.lit(float32(e.c.x+d.x*k), float32(e.c.y+d.y*k))
	s := y.l.shadow
	return lit * s / (1 - s + lit*s)
}

// contactShadows darkens the ground under hooves that are near it, from which they
// keep the sky's light.
func (p *painter) contactShadows(t float64) {
	e := p.view(t)
	for limb := range p.m.falls {
		h := p.m.hoofAt(limb, t)
		deep := 0.62 * math.Exp(-h.z/0.05)
		if deep < 0.03 {
			continue
		}
		k := p.m.k
		at := p.m.lane(h.s-0.062*k, h.l, 0)
		x, y, z := e.project(at)
		if z < 0.5 {
			continue
		}
		reach := 0.17 * k
		rx := reach * e.f / z
		b := box{max(0, int(x-rx)), max(0, int(y-rx)), min(p.out.w, int(x+rx)+2), min(p.out.h, int(y+rx)+2)}
		for py := b.y0; py < b.y1; py++ {
			for px := b.x0; px < b.x1; px++ {
				d := e.ray(float64(px), float64(py))
				if d.z >= 0 {
					continue
				}
				q := e.c.add(d.mul(-e.c.z / d.z)).sub(at)
				r2 := (q.x*q.x + q.y*q.y) / (0.085 * 0.085 * k * k)
				if r2 > 4 {
					continue
				}
				i := py*p.out.w + px
				p.out.y[i] = 16 + (p.out.y[i]-16)*float32(math.Pow(1-deep*math.Exp(-r2*1.1), 1/gamma))
			}
		}
	}
}

// dust draws the puffs that landing hooves raise.
func (p *painter) dust(t float64) {
	c := colour{0.36, 0.30, 0.23}.tint(p.yard.ground)
	er, eg, eb := encode(c.r), encode(c.g), encode(c.b)
	ly, lcb, lcr := coded(er, eg, eb)
	e := p.view(t)
	for limb := range p.m.falls {
		for n, f := range p.m.falls[limb] {
			for _, raised := range [2]struct{ from, strength float64 }{{f.on, 1}, {f.off, 0.7}} {
				age := t - raised.from
				if age < 0 || age > 0.45 {
					continue
				}
				radius := 0.07 + 0.35*math.Sqrt(age/0.45)*0.6
				x, y, z := e.project(p.m.lane(f.s-0.05-0.2*age, f.l, 0.25*radius+0.1*age))
				if z < 0.5 {
					continue
				}
				p.puff(puff{
					x: x, y: y, r: radius * e.f / z,
					thick: float32(p.m.scene.Yard.Dust) * float32(raised.strength*0.95*math.Exp(-age/0.2)*math.Min(1, age/0.02)),
					near:  float32(1 / math.Max(0.3, z-0.22)), // It spreads before the hoof, too.
					ly:    ly, lcb: lcb, lcr: lcr,
					seed: [3]float32{float32(n) * 3, float32(limb), float32(age) * 5},
				})
			}
		}
	}
}

// puff is a cloud of dust in the picture.
type puff struct {
	x, y, r      float64 // Its middle and radius, px.
	thick        float32
	near         float32 // Over the distance; what is nearer hides it.
	ly, lcb, lcr float32 // Its colour as coded.
	seed         [3]float32
}

// puff draws a cloud.
func (p *painter) puff(d puff) {
	b := box{max(0, int(d.x-d.r)) &^ 1, max(0, int(d.y-0.6*d.r)) &^ 1, min(p.out.w, int(d.x+d.r)+2) &^ 1, min(p.out.h, int(d.y+0.6*d.r)+2) &^ 1}
	for py := b.y0; py < b.y1; py++ {
		for px := b.x0; px < b.x1; px++ {
			u, v := (float32(px)-float32(d.x))/float32(d.r), (float32(py)-float32(d.y))/float32(0.6*d.r)
			out := u*u + v*v
			if out >= 1 || p.hides(px, py, d.near) {
				continue
			}
			k := d.thick * (1 - out) * (1 - out) * (0.65 + 0.5*noise3(u*2.5+d.seed[0], v*2.5+d.seed[1], d.seed[2]))
			if k <= 0 {
				continue
			}
			i := py*p.out.w + px
			p.out.y[i] += (d.ly - p.out.y[i]) * k
			if px&1 == 0 && py&1 == 0 {
				j := py/2*(p.out.w/2) + px/2
				p.out.cb[j] += (d.lcb - p.out.cb[j]) * k
				p.out.cr[j] += (d.lcr - p.out.cr[j]) * k
			}
		}
	}
}

// hides reports whether something at a pixel stands before what is that near.
func (p *painter) hides(px, py int, near float32) bool {
	if px < p.region.x0 || px >= p.region.x1 || py < p.region.y0 || py >= p.region.y1 {
		return false
	}
	return p.depth[(py-p.region.y0)*(p.region.x1-p.region.x0)+px-p.region.x0] > near
}

// whiteBalance turns the picture's red up and its blue down and back, slowly.
func (p *painter) whiteBalance(t float64) {
	a := p.m.scene.Camera.WhiteDrift
	g := a * (math.Sin(2*math.Pi*0.17*t+float64(p.m.scene.Seed%7)) + 0.3*math.Sin(2*math.Pi*0.53*t))
	kr, kb := float32(math.Pow(1+g, 1/gamma)-1), float32(math.Pow(1-g, 1/gamma)-1)
	o := p.out
	half := o.w / 2
	for y := range o.h / 2 {
		for x := range half {
			j := y*half + x
			i := 2*y*o.w + 2*x
			cb, cr := o.cb[j], o.cr[j]
			mean := (o.y[i] + o.y[i+1] + o.y[i+o.w] + o.y[i+o.w+1]) / 4
			r, _, b := uncoded(mean, cb, cr)
			// What red and blue gain changes luma by their weights.
			dr, db := kr*r, kb*b
			dl := 0.2126*dr + 0.0722*db
			d := 219 * dl
			o.y[i] += d
			o.y[i+1] += d
			o.y[i+o.w] += d
			o.y[i+o.w+1] += d
			o.cb[j] += 224 * (db - dl) / 1.8556
			o.cr[j] += 224 * (dr - dl) / 1.5748
		}
	}
}

// sharpen adds k times what a pixel differs from the mean of the nine around it.
func (p *painter) sharpen(k float32) {
	o := p.out
	w := o.w
	for i := range p.line {
		p.line[i] = grow(p.line[i], w)
	}
	above, here := p.line[0], p.line[1]
	copy(above, o.y[:w])
	for y := 1; y < o.h-1; y++ {
		row := o.y[y*w : y*w+w]
		below := o.y[(y+1)*w : (y+2)*w]
		copy(here, row)
		for x := 1; x < w-1; x++ {
			sum := above[x-1] + above[x] + above[x+1] + here[x-1] + here[x] + here[x+1] + below[x-1] + below[x] + below[x+1]
			row[x] = here[x] + k*(here[x]-sum/9)
		}
		above, here = here, above
	}
}
