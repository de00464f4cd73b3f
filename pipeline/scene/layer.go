package scene

import "math"

// layer is the background of a handheld clip, drawn once from the camera's mean
// place at twice the resolution and read through the camera's motion: one plane
// for the ground, one for the backdrop, each exact under rotation and shift.
type layer struct {
	m    *motion
	yard *yard
	e    eye // Mean camera.
	p    *picture
	step float64
	ox   float64
	oy   float64
	// Where the lens distorts: the direction of every pixel, right and down of the
	// axis over the distance along it. Else nil.
	right, down []float32
}

func newLayer(m *motion, y *yard) *layer {
	c := &m.scene.Camera
	still := *m
	still.shake = nil
	l := &layer{m: m, yard: y, e: still.eyeAt(0), step: 0.5}
	// Room for four standard deviations of shake and the shift near the camera.
	margin := 4.5*rad(c.ShakeDeg)*c.FocalPX*1.5 + 40
	if c.K1 != 0 {
		margin += l.directions(c)
	}
	l.ox, l.oy = -margin, -margin
	w := int(math.Ceil((float64(c.Width)+2*margin)/l.step/2)) * 2
	h := int(math.Ceil((float64(c.Height)+2*margin)/l.step/2)) * 2
	l.p = newPicture(w, h)
	y.paintStill(l.p, &l.e, l.step, l.ox, l.oy)
	m.props(y, l.p, &l.e, l.step, l.ox, l.oy)
	return l
}

// directions fills in the direction of every pixel and makes the layer's own camera
// one without distortion. It returns how far the picture then reaches beyond its
// frame, px.
func (l *layer) directions(c *Camera) (beyond float64) {
	l.right, l.down = make([]float32, c.Width*c.Height), make([]float32, c.Width*c.Height)
	for y := range c.Height {
		for x := range c.Width {
			a, b := (float64(x)-l.e.cx)/l.e.f, (float64(y)-l.e.cy)/l.e.f
			k := straighten(c.K1, math.Hypot(a, b))
			l.right[y*c.Width+x], l.down[y*c.Width+x] = float32(a*k), float32(b*k)
		}
	}
	l.e.k1 = 0
	return math.Max(0, l.e.f*math.Abs(float64(l.right[0]))-l.e.cx)
}

// draw fills out with the background of the frame with time stamp t.
func (l *layer) draw(out *picture, m *motion, t, exposure float64) {
	c := &m.scene.Camera
	// Samples over the exposure where shake blurs.
	e0, e1 := m.eyeAt(t-exposure/2), m.eyeAt(t+exposure/2)
	q := l.e.c.add(l.e.w.mul(10))
	x0, y0, _ := e0.project(q)
	x1, y1, _ := e1.project(q)
	n := 1 + int(math.Min(7, math.Hypot(x1-x0, y1-y0)/0.6))
	share := 1 / float32(n)
	for k := range n {
		at := t + ((float64(k)+0.5)/float64(n)-0.5)*exposure
		e := m.eyeAt(at)
		for y := range out.h {
			if c.ReadoutS > 0 {
				e = m.eyeAt(at + ((float64(y)+0.5)/float64(out.h)-0.5)*c.ReadoutS)
			}
			if l.right != nil {
				l.bentRow(out, &e, y, k == 0, share)
			} else {
				l.row(out, &e, y, k == 0, share)
			}
		}
	}
}

// row adds one row of the background seen from e. Along a row the place in the
// layer is a ratio of linear functions of x, one for each plane.
func (l *layer) row(out *picture, e *eye, y int, first bool, share float32) {
	w := out.w
	d0 := e.ray(0, float64(y))
	d1 := d0.add(e.r.mul(float64(w) / e.f)) // One picture width on.
	shift := e.c.sub(l.e.c)
	back := l.yard.backdrop - e.c.y
	// Homogeneous vector from the layer's camera to where a view meets a plane.
	onGround := func(d vec) vec { return d.mul(e.c.z).sub(shift.mul(d.z)) }
	onBackdrop := func(d vec) vec { return d.mul(back).add(shift.mul(d.y)) }
	inv := 1 / l.step
	type ratio struct{ u, v, w, du, dv, dw float64 }
	linear := func(q func(vec) vec) ratio {
		at := func(d vec) (u, v, w float64) {
			h := q(d)
			w = h.dot(l.e.w)
			return (l.e.f*h.dot(l.e.r) + (l.e.cx-l.ox)*w) * inv, (l.e.f*h.dot(l.e.d) + (l.e.cy-l.oy)*w) * inv, w
		}
		u0, v0, w0 := at(d0)
		u1, v1, w1 := at(d1)
		n := 1 / float64(w)
		return ratio{u0, v0, w0, (u1 - u0) * n, (v1 - v0) * n, (w1 - w0) * n}
	}
	planes := [2]ratio{linear(onBackdrop), linear(onGround)}
	// The ground is seen where this is positive: before the backdrop and below.
	g0, g1 := -back*d0.z-e.c.z*d0.y, -back*d1.z-e.c.z*d1.y
	dg := (g1 - g0) / float64(w)
	chroma := y&1 == 0
	line := out.y[y*w : y*w+w]
	for x := range line {
		fx := float64(x)
		p := &planes[0]
		if g0+dg*fx > 0 {
			p = &planes[1]
		}
		k := 1 / (p.w + p.dw*fx)
		u, v := float32((p.u+p.du*fx)*k), float32((p.v+p.dv*fx)*k)
		l.put(out, line, x, y, u, v, first, chroma, share)
	}
}

// bentRow is row for a lens that distorts.
func (l *layer) bentRow(out *picture, e *eye, y int, first bool, share float32) {
	w := out.w
	shift := e.c.sub(l.e.c)
	back := l.yard.backdrop - e.c.y
	inv := 1 / l.step
	// The homogeneous place in the layer is linear in the direction (right, down, 1).
	type linear struct{ r, d, w float32 }
	type place struct{ u, v, w linear }
	of := func(q func(vec) vec) place {
		at := func(d vec) (u, v, w float64) {
			h := q(d)
			w = h.dot(l.e.w)
			return (l.e.f*h.dot(l.e.r) + (l.e.cx-l.ox)*w) * inv, (l.e.f*h.dot(l.e.d) + (l.e.cy-l.oy)*w) * inv, w
		}
		ru, rv, rw := at(e.r)
		du, dv, dw := at(e.d)
		wu, wv, ww := at(e.w)
		return place{linear{float32(ru), float32(du), float32(wu)}, linear{float32(rv), float32(dv), float32(wv)}, linear{float32(rw), float32(dw), float32(ww)}}
	}
	planes := [2]place{
		of(func(d vec) vec { return d.mul(back).add(shift.mul(d.y)) }),
		of(func(d vec) vec { return d.mul(e.c.z).sub(shift.mul(d.z)) }),
	}
	// The ground is seen where this is positive.
	ground := linear{float32(-back*e.r.z - e.c.z*e.r.y), float32(-back*e.d.z - e.c.z*e.d.y), float32(-back*e.w.z - e.c.z*e.w.y)}
	chroma := y&1 == 0
	line := out.y[y*w : y*w+w]
	for x := range line {
		a, b := l.right[y*w+x], l.down[y*w+x]
		p := &planes[0]
		if ground.r*a+ground.d*b+ground.w > 0 {
			p = &planes[1]
		}
		k := 1 / (p.w.r*a + p.w.d*b + p.w.w)
		u, v := (p.u.r*a+p.u.d*b+p.u.w)*k, (p.v.r*a+p.v.d*b+p.v.w)*k
		l.put(out, line, x, y, u, v, first, chroma, share)
	}
}

// put adds the layer's value at (u, v) to pixel x of a row.
func (l *layer) put(out *picture, line []float32, x, y int, u, v float32, first, chroma bool, share float32) {
	value := share * bilinear(l.p.y, l.p.w, l.p.h, u, v)
	if first {
		line[x] = value
	} else {
		line[x] += value
	}
	if !chroma || x&1 != 0 {
		return
	}
	j := y/2*(out.w/2) + x/2
	// Half a pixel on: the middle of the four pixels that share the value.
	cu, cv := (u-0.5)/2+0.5, (v-0.5)/2+0.5
	cb, cr := share*bilinear(l.p.cb, l.p.w/2, l.p.h/2, cu, cv), share*bilinear(l.p.cr, l.p.w/2, l.p.h/2, cu, cv)
	if first {
		out.cb[j], out.cr[j] = cb, cr
	} else {
		out.cb[j] += cb
		out.cr[j] += cr
	}
}

// bilinear reads a plane between its pixels. At twice the resolution of the
// picture its softening is slight and the same in all directions.
func bilinear(v []float32, w, h int, x, y float32) float32 {
	x, y = max(0, min(float32(w)-1.01, x)), max(0, min(float32(h)-1.01, y))
	ix, iy := int(x), int(y)
	fx, fy := x-float32(ix), y-float32(iy)
	i := iy*w + ix
	p, q := v[i:i+2:i+2], v[i+w:i+w+2:i+w+2]
	a := p[0] + (p[1]-p[0])*fx
	b := q[0] + (q[1]-q[0])*fx
	return a + (b-a)*fy
}

// props draws what stands in the yard into a picture seen from e; step and
// place as for paintStill.
func (m *motion) props(y *yard, p *picture, e *eye, step, ox, oy float64) {
	if len(y.marks) == 0 {
		return
	}
	v := *e
	v.f, v.cx, v.cy = e.f/step, (e.cx-ox)/step, (e.cy-oy)/step
	still := *m
	still.scene.Camera.ReadoutS = 0
	pt := &painter{m: &still, yard: y, body: newCones(&still, y.marks), out: p, view: func(float64) eye { return v }}
	pt.draw(0, passesOf(16))
}
