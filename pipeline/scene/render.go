package scene

import (
	"math"
)

// gammaOut and gammaIn are the transfer between linear light and code values,
// a plain power of 1/2.2, so that a change of exposure scales code values.
const gamma = 2.2

var encodeTable, decodeTable = gammaTables()

func gammaTables() (enc [4097]float32, dec [1025]float32) {
	for i := range enc {
		// Indexed by the square root of the light: finer where it is dark.
		x := float64(i) / 4096 * 1.3
		enc[i] = float32(math.Pow(x*x, 1/gamma))
	}
	for i := range dec {
		dec[i] = float32(math.Pow(float64(i)/1024*1.3, gamma))
	}
	return enc, dec
}

func encode(v float32) float32 {
	if v <= 0 {
		return 0
	}
	x := float32(math.Sqrt(float64(v))) * (4096 / 1.3)
	if x >= 4096 {
		return encodeTable[4096]
	}
	i := int(x)
	return encodeTable[i] + (encodeTable[i+1]-encodeTable[i])*(x-float32(i))
}

func decode(v float32) float32 {
	if v <= 0 {
		return 0
	}
	x := v * (1024 / 1.3)
	if x >= 1024 {
		return decodeTable[1024]
	}
	i := int(x)
	return decodeTable[i] + (decodeTable[i+1]-decodeTable[i])*(x-float32(i))
}

// coded turns encoded red, green, blue in [0, 1] into BT.709 luma and chroma in
// 8-bit code values of limited range.
func coded(r, g, b float32) (y, cb, cr float32) {
	l := 0.2126*r + 0.7152*g + 0.0722*b
	return 16 + 219*l, 128 + 224*(b-l)/1.8556, 128 + 224*(r-l)/1.5748
}

func uncoded(y, cb, cr float32) (r, g, b float32) {
	l := (y - 16) / 219
	b = l + (cb-128)/224*1.8556
	r = l + (cr-128)/224*1.5748
	g = (l - 0.2126*r - 0.0722*b) / 0.7152
	return r, g, b
}

// picture is one frame in float code values, chroma at half size.
type picture struct {
	w, h      int
	y, cb, cr []float32
}

func newPicture(w, h int) *picture {
	return &picture{w, h, make([]float32, w*h), make([]float32, w*h/4), make([]float32, w*h/4)}
}

// copy takes over a part of q, a picture of the same size. The part's corners are even.
func (p *picture) copy(q *picture, b box) {
	if b.empty() {
		return
	}
	for y := b.y0; y < b.y1; y++ {
		i, j := y*p.w+b.x0, y*p.w+b.x1
		copy(p.y[i:j], q.y[i:j])
	}
	for y := b.y0 / 2; y < b.y1/2; y++ {
		i, j := (y*p.w+b.x0)/2, (y*p.w+b.x1)/2
		copy(p.cb[i:j], q.cb[i:j])
		copy(p.cr[i:j], q.cr[i:j])
	}
}

// paintStill draws the yard as seen from e into p, with many samples a pixel.
// step is the size of a pixel of p in pixels of e, (ox, oy) the place of p's
// first pixel there.
func (y *yard) paintStill(p *picture, e *eye, step, ox, oy float64) {
	px := step / e.f
	bands(p.h/2, func(from, to int) {
		for row := from; row < to; row++ {
			for col := range p.w / 2 {
				var sum colour
				for k := range 4 {
					u, v := 2*col+k&1, 2*row+k>>1
					c := y.sample(e, (float64(u))*step+ox, float64(v)*step+oy, step, px)
					r, g, b := encode(c.r), encode(c.g), encode(c.b)
					p.y[v*p.w+u], _, _ = coded(r, g, b)
					sum = sum.add(colour{r, g, b})
				}
				i := row*(p.w/2) + col
				_, p.cb[i], p.cr[i] = coded(sum.r/4, sum.g/4, sum.b/4)
			}
		}
	})
}

// sample averages the light over a pixel: the farther the ground, the more
// samples along it.
func (y *yard) sample(e *eye, u, v, step, px float64) colour {
	across := 2
	if step < 1 {
		across = 1 // The pixels of a finer layer are averaged again when it is read.
	}
	d := e.ray(u, v)
	rows := across
	if d.z < 0 {
		dist := -e.c.z / d.z
		if dist < 60 {
			rows += int(math.Min(4, 1500/e.f*step*dist*0.35))
		}
	}
	var sum colour
	for i := range rows {
		for j := range across {
			du := (float64(j)+0.5)/float64(across) - 0.5
			dv := (float64(i)+0.5)/float64(rows) - 0.5
			sum = sum.add(y.look(e.c, e.ray(u+du*step, v+dv*step), px*1.2/float64(across), px*1.2/float64(rows)))
		}
	}
	return sum.mul(1 / float32(rows*across))
}

// box is a range of pixels, ends exclusive.
type box struct{ x0, y0, x1, y1 int }

func (b box) empty() bool { return b.x1 <= b.x0 || b.y1 <= b.y0 }

// painter renders frames. One painter serves one goroutine.
type painter struct {
	m     *motion
	yard  *yard
	body  *body
	still *picture // The background on a tripod.
	layer *layer   // The background in the hand.
	out   *picture
	begun bool   // out holds a picture.
	bytes []byte // The background's, where pictures without noise are laid over them.
	view  func(t float64) eye

	// Of one pass over the region.
	region  box
	depth   []float32 // 1/depth, 0 nothing.
	which   []int32   // Triangle.
	shade   []uint8   // In shadow.
	acc     []colour
	once    []stroke // Where surfaces are painted once a pixel.
	hits    []uint16
	shadows []uint16

	sx, sy, sz []float32 // Projected vertices, with 1/depth.
	gx, gy, gz []float32 // Their shadows.
	light      []colour
	line       [2][]float32 // Rows kept while sharpening.
}

// stroke is what a pixel's middle shows: which part of the body, −1 none, and its light.
type stroke struct {
	part int32
	c    colour
}

// pass is one sample of every pixel: its place in the pixel and its time.
type pass struct{ dx, dy, t float64 }

// passesOf spreads n samples over pixel and exposure (−½ to ½ each). They come
// in pairs of one instant at opposite places, so place and time are
// uncorrelated and the mean place is the pixel's centre.
func passesOf(n int) []pass {
	n += n & 1
	out := make([]pass, 0, n)
	half := n / 2
	for i := range half {
		t := (float64(i)+0.5)/float64(half) - 0.5
		// The R2 sequence fills the square evenly.
		x := math.Mod(0.5+0.7548776662466927*float64(i+1), 1) - 0.5
		y := math.Mod(0.5+0.5698402909980532*float64(i+1), 1) - 0.5
		out = append(out, pass{x, y, t}, pass{-x, -y, t})
	}
	return out
}

func grow[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

// frame renders the frame with time stamp t.
func (p *painter) frame(t float64) *picture {
	c := &p.m.scene.Camera
	if p.layer != nil {
		p.layer.draw(p.out, p.m, t, c.ExposureS)
	} else {
		p.restore()
	}
	if p.yard.photos != nil {
		p.contactShadows(t)
	}
	p.draw(t, passesOf(p.samplesFor(t)))
	if p.m.scene.Yard.Dust > 0 {
		p.dust(t)
	}
	if a := c.ExposureDrift; a != 0 {
		g := float32(math.Pow(1+a*math.Sin(2*math.Pi*0.23*t+1)+0.4*a*math.Sin(2*math.Pi*0.71*t), 1/gamma))
		for i, v := range p.out.y {
			p.out.y[i] = 16 + (v-16)*g
		}
		for i := range p.out.cb {
			p.out.cb[i] = 128 + (p.out.cb[i]-128)*g
			p.out.cr[i] = 128 + (p.out.cr[i]-128)*g
		}
	}
	if c.WhiteDrift != 0 {
		p.whiteBalance(t)
	}
	if c.Sharpen != 0 {
		p.sharpen(float32(c.Sharpen))
	}
	return p.out
}

// restore brings back the background where the last picture covered it.
func (p *painter) restore() {
	part := p.region
	if !p.begun || p.unquiet() {
		part = box{0, 0, p.out.w, p.out.h}
	}
	p.begun = true
	p.out.copy(p.still, part)
}

// unquiet says whether more changes from frame to frame than what the horse and its shadow
// cover.
func (p *painter) unquiet() bool {
	c, y := &p.m.scene.Camera, &p.m.scene.Yard
	return p.layer != nil || p.yard.photos != nil || y.Dust > 0 || c.ExposureDrift != 0 || c.WhiteDrift != 0 || c.Sharpen != 0
}

// samplesFor says how many samples a pixel needs so that blur has no steps.
func (p *painter) samplesFor(t float64) int {
	c := &p.m.scene.Camera
	if c.Samples > 0 {
		return c.Samples + c.Samples&1
	}
	// The hooves move farthest.
	far := 0.0
	for _, n := range limbNames {
		a, b := p.m.point(n, t-c.ExposureS/2), p.m.point(n, t+c.ExposureS/2)
		e0, e1 := p.m.eyeAt(t-c.ExposureS/2), p.m.eyeAt(t+c.ExposureS/2)
		x0, y0, _ := e0.project(a)
		x1, y1, _ := e1.project(b)
		far = math.Max(far, math.Hypot(x1-x0, y1-y0))
	}
	n := int(math.Ceil(math.Min(40, math.Max(8, far*1.2))))
	return n + n&1
}

// draw draws the body over the background in p.out.
func (p *painter) draw(t float64, passes []pass) {
	b := p.body
	c := &p.m.scene.Camera
	nv := len(b.pos)
	p.sx, p.sy, p.sz = grow(p.sx, nv), grow(p.sy, nv), grow(p.sz, nv)
	p.gx, p.gy, p.gz = grow(p.gx, nv), grow(p.gy, nv), grow(p.gz, nv)
	p.light = grow(p.light, nv)

	p.region = p.reach(t)
	if p.region.empty() {
		return
	}
	w, h := p.region.x1-p.region.x0, p.region.y1-p.region.y0
	n := w * h
	p.depth, p.which, p.shade = grow(p.depth, n), grow(p.which, n), grow(p.shade, n)
	p.acc, p.hits, p.shadows = grow(p.acc, n), grow(p.hits, n), grow(p.shadows, n)
	clear(p.acc)
	clear(p.hits)
	clear(p.shadows)
	p.once = p.once[:0]
	if c.PaintOnce {
		p.paintMiddles(t)
	}
	for i, s := range passes {
		at := t + s.t*c.ExposureS
		if i == 0 || s.t != passes[i-1].t || c.ReadoutS > 0 {
			b.pose(at)
			if !c.PaintOnce {
				b.normals()
				p.lightVertices()
			}
		}
		p.projectAll(at, s)
		clear(p.depth)
		clear(p.shade)
		p.raster()
		p.rasterShadow()
		p.shadeSamples()
	}
	p.compose(t, len(passes))
}

// reach is the region that horse and shadow can touch during the exposure.
func (p *painter) reach(t float64) box {
	c := &p.m.scene.Camera
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	half := c.ExposureS/2 + c.ReadoutS/2
	for _, at := range []float64{t - half, t, t + half} {
		p.body.pose(at)
		e := p.view(at)
		take := func(q vec) {
			x, y, z := e.project(q)
			if z < 0.2 {
				return
			}
			x0, x1 = math.Min(x0, x), math.Max(x1, x)
			y0, y1 = math.Min(y0, y), math.Max(y1, y)
		}
		for _, q := range p.body.pos {
			take(q)
			take(p.shadowOf(q, 0, 0))
			if p.yard.l.penumbra > 0.1 {
				take(p.shadowOf(q, 0.5, 0.5))
				take(p.shadowOf(q, -0.5, 0.5))
				take(p.shadowOf(q, 0.5, -0.5))
				take(p.shadowOf(q, -0.5, -0.5))
			}
		}
		if half == 0 {
			break
		}
	}
	r := box{int(x0) - 4, int(y0) - 4, int(x1) + 6, int(y1) + 6}
	if x1 < x0 {
		return box{}
	}
	r.x0, r.y0 = max(0, r.x0)&^1, max(0, r.y0)&^1
	r.x1, r.y1 = (min(p.out.w, r.x1)+1)&^1, (min(p.out.h, r.y1)+1)&^1
	return r
}

// shadowOf is where a point's shadow falls on the ground; dx and dy spread the
// sun.
func (p *painter) shadowOf(q vec, dx, dy float64) vec {
	l := p.yard.l
	d := vec{l.toSun.x + dx*l.penumbra, l.toSun.y + dy*l.penumbra, l.toSun.z}
	k := math.Max(0, q.z) / d.z
	return vec{q.x - d.x*k, q.y - d.y*k, 0}
}

func (p *painter) lightVertices() {
	b := p.body
	for i, n := range b.normal {
		l := p.yard.l.on(n)
		if p.yard.shade.on {
			g := p.shadowOf(b.pos[i], 0, 0)
			half := p.yard.l
			half.sun = half.sun.mul(p.yard.shade.lit(float32(g.x), float32(g.y)))
			l = half.on(n)
		}
		// Under the belly and between the limbs less of the sky is seen.
		z := b.rest[i].z
		if z < 1.0 && n.z < 0 {
			l = l.mul(float32(1 + 0.45*n.z))
		}
		p.light[i] = l
	}
}

// projectAll projects the posed mesh for one pass. With a rolling shutter every
// vertex is posed for the time of its row.
func (p *painter) projectAll(at float64, s pass) {
	b := p.body
	c := &p.m.scene.Camera
	e := p.view(at)
	put := func(i int, q vec, xs, ys, zs []float32, e *eye) {
		x, y, z := e.project(q)
		if z < 0.2 {
			zs[i] = 0
			return
		}
		xs[i], ys[i], zs[i] = float32(x-s.dx-float64(p.region.x0)), float32(y-s.dy-float64(p.region.y0)), float32(1/z)
	}
	if c.ReadoutS == 0 {
		for i, q := range b.pos {
			put(i, q, p.sx, p.sy, p.sz, &e)
			put(i, p.shadowOf(q, 2*s.dx, 2*s.dy), p.gx, p.gy, p.gz, &e)
		}
		return
	}
	// Three poses over the read-out; positions in between follow a parabola.
	var poses [3][]vec
	var eyes [3]eye
	for k := range 3 {
		u := at + (float64(k)/2-0.5)*c.ReadoutS
		b.pose(u)
		poses[k] = append([]vec(nil), b.pos...)
		eyes[k] = p.view(u)
	}
	between := func(pos func(k int) vec) (x, y, z float64) {
		var xs, ys, zs [3]float64
		for k := range 3 {
			xs[k], ys[k], zs[k] = eyes[k].project(pos(k))
		}
		r := clamp01((ys[1] + 0.5) / float64(c.Height))
		for range 3 {
			a, bb, cc := (2*r-1)*(r-1), 4*r*(1-r), r*(2*r-1)
			x = a*xs[0] + bb*xs[1] + cc*xs[2]
			y = a*ys[0] + bb*ys[1] + cc*ys[2]
			z = a*zs[0] + bb*zs[1] + cc*zs[2]
			r = clamp01((y + 0.5) / float64(c.Height))
		}
		return x, y, z
	}
	set := func(i int, x, y, z float64, xs, ys, zs []float32) {
		if z < 0.2 {
			zs[i] = 0
			return
		}
		xs[i], ys[i], zs[i] = float32(x-s.dx-float64(p.region.x0)), float32(y-s.dy-float64(p.region.y0)), float32(1/z)
	}
	for i := range b.pos {
		x, y, z := between(func(k int) vec { return poses[k][i] })
		set(i, x, y, z, p.sx, p.sy, p.sz)
		x, y, z = between(func(k int) vec { return p.shadowOf(poses[k][i], 2*s.dx, 2*s.dy) })
		set(i, x, y, z, p.gx, p.gy, p.gz)
	}
}

// raster fills depth and which with the nearest triangle of every pixel.
func (p *painter) raster() {
	w, h := p.region.x1-p.region.x0, p.region.y1-p.region.y0
	for ti, t := range p.body.tris {
		a, b, c := t[0], t[1], t[2]
		z0, z1, z2 := p.sz[a], p.sz[b], p.sz[c]
		if z0 == 0 || z1 == 0 || z2 == 0 {
			continue
		}
		x0, y0, x1, y1, x2, y2 := p.sx[a], p.sy[a], p.sx[b], p.sy[b], p.sx[c], p.sy[c]
		area := (x1-x0)*(y2-y0) - (x2-x0)*(y1-y0)
		// Seen from behind, a closed surface's near side hides it. Sampling may find it where
		// two triangles of that side meet, so that pictures painted in full keep it.
		if area == 0 || area > 0 && p.m.scene.Camera.PaintOnce {
			continue
		}
		top, bottom, lft, rgt, ok := span(x0, y0, x1, y1, x2, y2, w, h)
		if !ok {
			continue
		}
		inv := 1 / area
		// Barycentric weights and 1/depth are linear in the picture.
		w0x, w1x := (y1-y2)*inv, (y2-y0)*inv
		w0y, w1y := (x2-x1)*inv, (x0-x2)*inv
		zx, zy := w0x*(z0-z2)+w1x*(z1-z2), w0y*(z0-z2)+w1y*(z1-z2)
		rising := w0x >= 0 && w1x >= 0
		for y := top; y <= bottom; y++ {
			fy := float32(y)
			w0 := (float32(lft)-x2)*w0x + (fy-y2)*w0y
			w1 := (float32(lft)-x2)*w1x + (fy-y2)*w1y
			z := z2 + (float32(lft)-x2)*zx + (fy-y2)*zy
			depth, which := p.depth[y*w+lft:y*w+rgt+1], p.which[y*w+lft:y*w+rgt+1]
			which = which[:len(depth)]
			for x, d := range depth {
				if w0 >= 0 && w1 >= 0 && w0+w1 <= 1 {
					if z > d {
						depth[x] = z
						which[x] = int32(ti)
					}
				} else if beyond(w0, w1, w0x, w1x, rising) {
					break
				}
				w0 += w0x
				w1 += w1x
				z += zx
			}
		}
	}
}

// beyond reports that no pixel further to the right of one outside a triangle can lie in
// it: one of its weights is past its bound and never comes back.
func beyond(w0, w1, w0x, w1x float32, rising bool) bool {
	return w0 < 0 && w0x <= 0 || w1 < 0 && w1x <= 0 || rising && w0+w1 > 1
}

func span(x0, y0, x1, y1, x2, y2 float32, w, h int) (top, bottom, lft, rgt int, ok bool) {
	lx, hx, ly, hy := min(x0, x1, x2), max(x0, x1, x2), min(y0, y1, y2), max(y0, y1, y2)
	if hx < 0 || hy < 0 || lx > float32(w-1) || ly > float32(h-1) {
		return
	}
	lft, top = 0, 0
	if lx > 0 {
		lft = int(lx)
		if float32(lft) < lx {
			lft++
		}
	}
	if ly > 0 {
		top = int(ly)
		if float32(top) < ly {
			top++
		}
	}
	rgt, bottom = min(int(hx), w-1), min(int(hy), h-1)
	return top, bottom, lft, rgt, lft <= rgt && top <= bottom
}

func (p *painter) rasterShadow() {
	w, h := p.region.x1-p.region.x0, p.region.y1-p.region.y0
	for _, t := range p.body.tris {
		a, b, c := t[0], t[1], t[2]
		if p.gz[a] == 0 || p.gz[b] == 0 || p.gz[c] == 0 {
			continue
		}
		x0, y0, x1, y1, x2, y2 := p.gx[a], p.gy[a], p.gx[b], p.gy[b], p.gx[c], p.gy[c]
		area := (x1-x0)*(y2-y0) - (x2-x0)*(y1-y0)
		// Half of the closed surface casts the whole shadow.
		if area <= 0 {
			continue
		}
		top, bottom, lft, rgt, ok := span(x0, y0, x1, y1, x2, y2, w, h)
		if !ok {
			continue
		}
		inv := 1 / area
		w0x, w1x := (y1-y2)*inv, (y2-y0)*inv
		w0y, w1y := (x2-x1)*inv, (x0-x2)*inv
		rising := w0x >= 0 && w1x >= 0
		for y := top; y <= bottom; y++ {
			fy := float32(y)
			w0 := (float32(lft)-x2)*w0x + (fy-y2)*w0y
			w1 := (float32(lft)-x2)*w1x + (fy-y2)*w1y
			shade := p.shade[y*w+lft : y*w+rgt+1]
			for x := range shade {
				if w0 >= 0 && w1 >= 0 && w0+w1 <= 1 {
					shade[x] = 1
				} else if beyond(w0, w1, w0x, w1x, rising) {
					break
				}
				w0 += w0x
				w1 += w1x
			}
		}
	}
}

// paintMiddles paints the middle of every pixel at time t, for samples of the same part
// to take over.
func (p *painter) paintMiddles(t float64) {
	p.once = grow(p.once, len(p.depth))
	p.body.pose(t)
	p.body.normals()
	p.lightVertices()
	p.projectAll(t, pass{})
	clear(p.depth)
	p.raster()
	s := p.shading()
	for i, z := range p.depth {
		p.once[i].part = -1
		if z != 0 {
			c, _ := s.sample(i, z)
			p.once[i] = stroke{int32(p.body.mat[p.which[i]]), c}
		}
	}
}

// shadeSamples adds the light of this pass's samples.
func (p *painter) shadeSamples() {
	s := p.shading()
	for i, z := range p.depth {
		if z == 0 {
			p.shadows[i] += uint16(p.shade[i])
			continue
		}
		if i < len(p.once) && p.once[i].part == int32(p.body.mat[p.which[i]]) {
			p.acc[i] = p.acc[i].add(p.once[i].c)
			p.hits[i]++
		} else if c, ok := s.sample(i, z); ok {
			p.acc[i] = p.acc[i].add(c)
			p.hits[i]++
		}
	}
}

// shading is what all samples of a pass have in common.
type shading struct {
	*painter
	w      uint32  // Width of the region.
	f      float32 // Focal length, px.
	blades float64 // Height of grass, m.
}

func (p *painter) shading() shading {
	return shading{p, uint32(p.region.x1 - p.region.x0), float32(p.view(0).f), p.m.scene.Yard.GrassCM / 100}
}

// sample returns the light of what pixel i shows at 1/depth z. It is not ok where a
// blade of grass stands before it.
func (p *shading) sample(i int, z float32) (c colour, ok bool) {
	b := p.body
	x, y := float32(uint32(i)%p.w), float32(uint32(i)/p.w)
	ti := p.which[i]
	t := b.tris[ti]
	i0, i1, i2 := t[0], t[1], t[2]
	x0, y0, x1, y1, x2, y2 := p.sx[i0], p.sy[i0], p.sx[i1], p.sy[i1], p.sx[i2], p.sy[i2]
	inv := 1 / ((x1-x0)*(y2-y0) - (x2-x0)*(y1-y0))
	w0 := ((x1-x)*(y2-y) - (x2-x)*(y1-y)) * inv
	w1 := ((x2-x)*(y0-y) - (x0-x)*(y2-y)) * inv
	w2 := 1 - w0 - w1
	// Perspective: weights over depth.
	w0, w1, w2 = w0*p.sz[i0]/z, w1*p.sz[i1]/z, w2*p.sz[i2]/z
	if blades := p.blades; blades > 0 && b.parts[b.mat[ti]].limb >= 0 {
		q := b.pos[i0].mul(float64(w0)).add(b.pos[i1].mul(float64(w1))).add(b.pos[i2].mul(float64(w2)))
		if q.z < blades && blade(float32(q.x), float32(q.y)) > float32(q.z/blades) {
			return c, false // The ground's picture stays.
		}
	}
	r0, r1, r2 := &b.rest32[i0], &b.rest32[i1], &b.rest32[i2]
	rx := w0*r0[0] + w1*r1[0] + w2*r2[0]
	ry := w0*r0[1] + w1*r1[1] + w2*r2[1]
	rz := w0*r0[2] + w1*r1[2] + w2*r2[2]
	l := p.light[i0].mul(w0).add(p.light[i1].mul(w1)).add(p.light[i2].mul(w2))
	return b.paint(&b.parts[b.mat[ti]], rx, ry, rz, 1/(z*p.f)).tint(l), true
}

// compose lays the gathered samples over the background.
func (p *painter) compose(t float64, n int) {
	r := p.region
	w := r.x1 - r.x0
	o := p.out
	inv := 1 / float32(n)
	dark := p.yard.l.shadow * inv
	var e eye
	if p.yard.shade.on {
		e = p.view(t)
	}
	for y := r.y0; y < r.y1; y += 2 {
		for x := r.x0; x < r.x1; x += 2 {
			i := (y-r.y0)*w + x - r.x0
			any := p.hits[i] | p.hits[i+1] | p.hits[i+w] | p.hits[i+w+1] | p.shadows[i] | p.shadows[i+1] | p.shadows[i+w] | p.shadows[i+w+1]
			if any == 0 {
				continue
			}
			ci := y/2*(o.w/2) + x/2
			cb, cr := o.cb[ci], o.cr[ci]
			var sum colour
			for k := range 4 {
				j := i + k&1 + (k>>1)*w
				oi := (y+k>>1)*o.w + x + k&1
				er, eg, eb := uncoded(o.y[oi], cb, cr)
				if p.hits[j] == 0 && p.shadows[j] == 0 {
					sum = sum.add(colour{er, eg, eb})
					continue
				}
				dark := dark
				if p.yard.shade.on && p.shadows[j] > 0 {
					dark = p.yard.darkness(&e, float64(x+k&1), float64(y+k>>1)) * inv
				}
				left := 1 - float32(p.hits[j])*inv - float32(p.shadows[j])*dark
				c := colour{decode(er), decode(eg), decode(eb)}.mul(left).add(p.acc[j].mul(inv))
				er, eg, eb = encode(c.r), encode(c.g), encode(c.b)
				o.y[oi], _, _ = coded(er, eg, eb)
				sum = sum.add(colour{er, eg, eb})
			}
			_, o.cb[ci], o.cr[ci] = coded(sum.r/4, sum.g/4, sum.b/4)
		}
	}
}
