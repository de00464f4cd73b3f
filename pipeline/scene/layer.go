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
}

func newLayer(m *motion, y *yard) *layer {
	c := &m.scene.Camera
	still := *m
	still.shake = nil
	l := &layer{m: m, yard: y, e: still.eyeAt(0), step: 0.5}
	// Room for four standard deviations of shake and the shift near the camera.
	margin := 4.5*rad(c.ShakeDeg)*c.FocalPX*1.5 + 40
	l.ox, l.oy = -margin, -margin
	w := int(math.Ceil((float64(c.Width)+2*margin)/l.step/2)) * 2
	h := int(math.Ceil((float64(c.Height)+2*margin)/l.step/2)) * 2
	l.p = newPicture(w, h)
	y.paintStill(l.p, &l.e, l.step, l.ox, l.oy)
	m.propsOn(y, l.p, &l.e, l.step, l.ox, l.oy)
	return l
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
		for y := 0; y < out.h; y++ {
			when := at
			if c.ReadoutS > 0 {
				when += ((float64(y)+0.5)/float64(out.h) - 0.5) * c.ReadoutS
			}
			e := m.eyeAt(when)
			l.row(out, &e, y, k == 0, share)
		}
	}
}

// row adds one row of the background seen from e.
func (l *layer) row(out *picture, e *eye, y int, first bool, share float32) {
	w := out.w
	chroma := y&1 == 0
	// The horizon cuts the row where the view meets the backdrop's foot; for each
	// pixel the plane is found from its ray.
	d := e.ray(0, float64(y))
	step := e.r.mul(1 / e.f)
	foot := vec{0, l.yard.backdrop, 0}
	inv := 1 / l.step
	for x := range w {
		var p vec
		ground := false
		if d.z < 0 {
			t := -e.c.z / d.z
			p = e.c.add(d.mul(t))
			ground = p.y < l.yard.backdrop
		}
		if !ground {
			p = e.c.add(d.mul((foot.y - e.c.y) / d.y))
		}
		u, v, _ := l.e.project(p)
		fx, fy := (u-l.ox)*inv, (v-l.oy)*inv
		i := y*w + x
		if first {
			out.y[i] = 0
		}
		out.y[i] += share * bilinear(l.p.y, l.p.w, l.p.h, fx, fy)
		if chroma && x&1 == 0 {
			j := y/2*(w/2) + x/2
			if first {
				out.cb[j], out.cr[j] = 0, 0
			}
			// The chroma sample is the middle of four pixels.
			cx, cy := fx/2+0.25, fy/2+0.25
			out.cb[j] += share * bilinear(l.p.cb, l.p.w/2, l.p.h/2, cx, cy)
			out.cr[j] += share * bilinear(l.p.cr, l.p.w/2, l.p.h/2, cx, cy)
		}
		d = d.add(step)
	}
}

func bilinear(v []float32, w, h int, x, y float64) float32 {
	x = math.Max(0, math.Min(float64(w)-1.001, x))
	y = math.Max(0, math.Min(float64(h)-1.001, y))
	ix, iy := int(x), int(y)
	fx, fy := float32(x-float64(ix)), float32(y-float64(iy))
	i := iy*w + ix
	a := v[i] + (v[i+1]-v[i])*fx
	b := v[i+w] + (v[i+w+1]-v[i+w])*fx
	return a + (b-a)*fy
}

// props draws what stands in the yard into the still picture.
func (m *motion) props(y *yard, p *picture) {
	e := m.eyeAt(0)
	m.propsOn(y, p, &e, 1, 0, 0)
}

func (m *motion) propsOn(*yard, *picture, *eye, float64, float64, float64) {}
