package scene

import (
	"math"
)

// material tells how a surface is painted.
type material uint8

const (
	matCoat material = iota
	matHead
	matHoof
	matMane
	matLeather
	matBall
	matCone
	matShirt
	matTrousers
	matSkin
	matBoot
	matHat
	matRope
	matEar
	matFeather
)

// patch is a run of triangles of one material.
type patch struct {
	mat          material
	limb         int // Which limb, −1 elsewhere: socks and hooves need it.
	first, last  int // Triangles.
	vfirst, vend int // Vertices.
}

// body is the mesh of everything that moves. Its topology and the rest
// positions, on which the texture is painted, are made once; pose moves the
// vertices.
type body struct {
	m      *motion
	pos    []vec // Lane frame.
	normal []vec
	rest   []vec // Where the vertex is on the horse at rest, m at 1.60 m height.
	tris   [][3]int32
	mat    []uint8 // Index: triangle; index into patches.
	parts  []patch
	fur    *photo // Nil where noise paints the hair.
	paints paints // Of the horse's coat.
	rest32 [][3]float32

	resting bool // The first pose lays down topology and rest positions.
	fixed   bool // Stands still: pose changes nothing.
	next    int
	cur     patch
}

// ring is one cross-section of a loft: centre, half axes, and how narrow its
// top is (0 an ellipse, 1 a ridge).
type ring struct {
	c          vec
	ax, ay     vec // Unit vectors to the left and "up" of the cross-section.
	a, up, low float64
	ridge      float64
}

func newBody(m *motion) *body {
	b := &body{m: m, resting: true, paints: coats[m.scene.Horse.Coat]}
	b.shape(standing(m))
	b.rested(1 / m.k)
	return b
}

// newCones returns a body of the four cones that stand outside the ground marks.
func newCones(m *motion, marks [][2]float64) *body {
	b := &body{m: m, resting: true, fixed: true}
	for _, k := range marks {
		x := k[0] + math.Copysign(0.42, k[0])
		foot := vec{x, k[1], 0}
		up := func(z float64) vec { return foot.add(vec{0, 0, z}) }
		b.begin(matCone, -1)
		b.loft(tube([]vec{up(0), up(0.025), up(0.03), up(0.14), up(0.24), up(0.36), up(0.37)}, [][2]float64{{0.145, 0.145}, {0.14, 0.14}, {0.105, 0.105}, {0.078, 0.078}, {0.054, 0.054}, {0.026, 0.026}, {0.012, 0.012}}, vec{1, 0, 0}), 18)
		b.end()
	}
	b.rested(1)
	return b
}

// rested ends the first pose: what it laid down, scaled, is the rest position.
func (b *body) rested(scale float64) {
	b.rest = make([]vec, len(b.pos))
	b.rest32 = make([][3]float32, len(b.pos))
	for i, p := range b.pos {
		q := p.mul(scale)
		b.rest[i], b.rest32[i] = q, [3]float32{float32(q.x), float32(q.y), float32(q.z)}
	}
	b.resting = false
	b.normal = make([]vec, len(b.pos))
}

func (b *body) begin(mat material, limb int) {
	b.cur = patch{mat: mat, limb: limb, first: len(b.tris), vfirst: b.next}
}

func (b *body) end() {
	if b.resting {
		b.cur.last, b.cur.vend = len(b.tris), b.next
		b.turnOut(b.tris[b.cur.first:])
		b.parts = append(b.parts, b.cur)
		for len(b.mat) < len(b.tris) {
			b.mat = append(b.mat, uint8(len(b.parts)-1))
		}
	}
}

// turnOut turns the triangles of a closed surface so that their normals point
// out of it: the volume they span is then positive.
func (b *body) turnOut(tris [][3]int32) {
	var volume float64
	o := b.pos[tris[0][0]]
	for _, t := range tris {
		volume += b.pos[t[0]].sub(o).dot(b.pos[t[1]].sub(o).cross(b.pos[t[2]].sub(o)))
	}
	if volume < 0 {
		for i, t := range tris {
			tris[i] = [3]int32{t[0], t[2], t[1]}
		}
	}
}

func (b *body) vertex(p vec) int32 {
	if b.resting {
		b.pos = append(b.pos, p)
	} else {
		b.pos[b.next] = p
	}
	b.next++
	return int32(b.next - 1)
}

func (b *body) tri(i, j, k int32) {
	if b.resting {
		b.tris = append(b.tris, [3]int32{i, j, k})
	}
}

// loft joins rings of n vertices and closes both ends.
func (b *body) loft(rings []ring, n int) {
	start := int32(b.next)
	for _, r := range rings {
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			x, y := r.a*c, r.up*s
			if s < 0 {
				y = r.low * s
			} else {
				x *= 1 - r.ridge*s*s
			}
			b.vertex(r.c.add(r.ax.mul(x)).add(r.ay.mul(y)))
		}
	}
	m := int32(n)
	if b.resting {
		for i := range int32(len(rings) - 1) {
			for k := range m {
				p, q := start+i*m+k, start+i*m+(k+1)%m
				b.tri(p, q, p+m)
				b.tri(q, q+m, p+m)
			}
		}
	}
	for e, r := range []ring{rings[0], rings[len(rings)-1]} {
		c := b.vertex(r.c.add(r.ay.mul((r.up - r.low) / 2)))
		base := start
		if e == 1 {
			base += int32(len(rings)-1) * m
		}
		for k := range m {
			if e == 0 {
				b.tri(c, base+(k+1)%m, base+k)
			} else {
				b.tri(c, base+k, base+(k+1)%m)
			}
		}
	}
}

// tube lofts a round limb along joints with radii (sideways, fore and aft).
func tube(points []vec, radii [][2]float64, side vec) []ring {
	rings := make([]ring, len(points))
	for i, p := range points {
		d := points[min(i+1, len(points)-1)].sub(points[max(i-1, 0)]).unit()
		ay := d.cross(side).unit()
		ax := ay.cross(d).unit()
		rings[i] = ring{c: p, ax: ax, ay: ay, a: radii[i][0], up: radii[i][1], low: radii[i][1]}
	}
	return rings
}

// frame is what shape needs to know of one instant.
type frame struct {
	b      trunk
	hooves [4]hoof
	t      float64
	stride float64 // Phase.
}

func (m *motion) frameAt(t float64) frame {
	f := frame{b: m.trunkAt(t), t: t, stride: m.strideAngle(t)}
	for limb := range f.hooves {
		f.hooves[limb] = m.hoofAt(limb, t)
	}
	return f
}

// standing is the horse at rest, on which the texture is laid out.
func standing(m *motion) frame {
	k := m.k
	f := frame{b: trunk{withers: withersHeight * k, croup: croupHeight * k, head: headHeight * k, headS: headAhead * k}}
	for limb := range f.hooves {
		gd := girdleOf(limb)
		f.hooves[limb] = hoof{s: []float64{foreStand, hindStand}[gd] * k, l: outward(limb) * 0.10 * k, swing: -1}
	}
	return f
}

// pose moves the mesh to time t.
func (b *body) pose(t float64) {
	if b.fixed {
		return
	}
	b.next = 0
	b.shape(b.m.frameAt(t))
	m := b.m
	for i, p := range b.pos {
		b.pos[i] = m.lane(p.x, p.y, p.z)
	}
}

// normals computes vertex normals from the triangles' areas.
func (b *body) normals() {
	clear(b.normal)
	for _, t := range b.tris {
		p, q, r := b.pos[t[0]], b.pos[t[1]], b.pos[t[2]]
		n := q.sub(p).cross(r.sub(p))
		for _, i := range t {
			b.normal[i] = b.normal[i].add(n)
		}
	}
	for i, n := range b.normal {
		b.normal[i] = n.unit()
	}
}

// Outline of the trunk: place along s, top, bottom, half width, ridge; metres at 1.60 m.
var trunkOutline = [][5]float64{
	{0.455, 1.13, 1.04, 0.05, 0},
	{0.445, 1.20, 0.98, 0.12, 0},
	{0.41, 1.27, 0.93, 0.175, 0},
	{0.34, 1.36, 0.87, 0.215, 0},
	{0.24, 1.45, 0.83, 0.235, 0.25},
	{0.12, 1.55, 0.80, 0.245, 0.45},
	{0.00, 1.60, 0.785, 0.255, 0.55},
	{-0.12, 1.575, 0.765, 0.27, 0.45},
	{-0.26, 1.525, 0.755, 0.285, 0.25},
	{-0.42, 1.505, 0.765, 0.295, 0.12},
	{-0.58, 1.515, 0.80, 0.29, 0.12},
	{-0.70, 1.55, 0.86, 0.275, -0.20},
	{-0.78, 1.572, 0.91, 0.268, -0.35},
	{-0.86, 1.585, 0.95, 0.262, -0.30},
	{-0.98, 1.565, 0.98, 0.262, -0.15},
	{-1.10, 1.51, 1.00, 0.25, 0.0},
	{-1.20, 1.43, 1.03, 0.215, 0.12},
	{-1.27, 1.34, 1.08, 0.16, 0},
	{-1.30, 1.27, 1.14, 0.09, 0},
}

// shape writes every vertex, track coordinates, for one instant.
func (b *body) shape(f frame) {
	horse, k := b.m.scene.Horse, b.m.k
	place := b.trunk(f.b)
	h := b.headOf(f.b)
	neck := b.neck(f.b, h)
	b.head(h)
	b.ears(h)
	b.forelockAndMane(f, h, neck)
	if horse.LongTail {
		b.longTail(f, place)
	} else {
		b.tail(f, place)
	}
	for limb := range 4 {
		b.limb(f, limb, place)
	}
	if horse.Feather {
		for limb := range 4 {
			b.feather(f, limb)
		}
	}
	// The points of the hips stand out of the pelvis.
	for side := range 2 {
		b.begin(matCoat, -1)
		b.ellipsoid(b.m.hipOf(f.b, side, -0.04*k), vec{0.09 * k, 0.04 * k, 0.05 * k})
		b.end()
	}
	if horse.Points {
		for side := range 2 {
			b.begin(matCoat, -1)
			b.ellipsoid(b.m.shoulderOf(f.b, side, f.t, -0.03*k), vec{0.045 * k, 0.05 * k, 0.06 * k})
			b.end()
		}
	}
	if !horse.NoBridle {
		b.headpiece(f.b)
	}
	if horse.Markers {
		b.markers(f)
	}
	switch {
	case horse.Leads:
		b.leader(f)
	case horse.Handler:
		b.handler(f)
	}
	if horse.Driven {
		b.driver(f)
	}
}

// To the left and forward, track coordinates.
var lft, fwd = vec{0, 1, 0}, vec{1, 0, 0}

// placing says where the trunk's cross-section at s is, at scale 1 behind the withers: its
// middle, its axes to the left and up, and by how much it is raised.
type placing = func(s float64) (c vec, ax, ay vec, dz float64)

// trunk writes the trunk, which withers and croup carry; the pelvis rolls.
func (b *body) trunk(t trunk) placing {
	k := b.m.k
	place := func(s float64) (c vec, ax, ay vec, dz float64) {
		// s is at scale 1; weight of the hindquarters.
		w := clamp01(s / croupBehind)
		dz = lerp(t.withers-withersHeight*k, t.croup-croupHeight*k, w)
		l := lerp(t.l, t.croupL, w)
		roll := -t.roll * smooth((w-0.45)/0.5) // Left up is positive about s.
		sr, cr := math.Sincos(roll)
		return vec{t.s + s*k, l, 0}, vec{0, cr, sr}, vec{0, -sr, cr}, dz
	}
	rings := make([]ring, 0, 32)
	for _, o := range trunkOutline {
		c, ax, ay, dz := place(o[0])
		mid := lerp(o[1], o[2], 0.52)
		c.z = mid*k + dz
		rings = append(rings, ring{c: c, ax: ax, ay: ay, a: o[3] * k, up: (o[1] - mid) * k, low: (mid - o[2]) * k, ridge: o[4]})
	}
	b.begin(matCoat, -1)
	b.loft(rings, 28)
	b.end()
	return place
}

// headAxes is where the head is: its poll and its forehead, and the directions in which
// the face runs down and forward from the poll, and out of the forehead.
type headAxes struct{ poll, forehead, down, out vec }

func (b *body) headOf(t trunk) headAxes {
	sp, cp := math.Sincos(t.headPitch)
	turn := func(v vec) vec { return vec{v.x*cp + v.z*sp, v.y, v.z*cp - v.x*sp} }
	return headAxes{b.m.pollOf(t), vec{t.headS, t.headL, t.head}, turn(vec{0.60, 0, -0.80}), turn(vec{0.80, 0, 0.60})}
}

// neck writes the neck from the trunk to the poll and returns its rings.
func (b *body) neck(t trunk, h headAxes) (rings []ring) {
	k := b.m.k
	base := vec{t.s + 0.17*k, t.l, 1.29*k + t.withers - withersHeight*k}
	top := h.poll.add(h.down.mul(0.05 * k)).add(h.out.mul(-0.075 * k))
	for _, r := range [][4]float64{{0, 0.31, 0.150, 0.3}, {0.2, 0.26, 0.130, 0.45}, {0.4, 0.215, 0.108, 0.5}, {0.6, 0.18, 0.092, 0.5}, {0.8, 0.15, 0.083, 0.45}, {0.93, 0.13, 0.080, 0.3}, {1.0, 0.10, 0.075, 0}} {
		x := r[0]
		c := base.lerp(top, x)
		c.z += 0.05 * k * math.Sin(math.Pi*x)
		// The cross-section turns from nearly upright at the base to across the neck.
		d := top.sub(base).unit()
		d = d.add(fwd.mul(0.4 * (1 - x))).unit()
		ay := d.cross(lft).mul(1).unit()
		if ay.z < 0 {
			ay = ay.mul(-1)
		}
		rings = append(rings, ring{c: c, ax: lft, ay: ay, a: r[2] * k, up: r[1] * k, low: r[1] * k, ridge: r[3]})
	}
	b.begin(matCoat, -1)
	b.loft(rings, 18)
	b.end()
	return rings
}

// head writes the head: rings along the face, u from the poll.
func (b *body) head(h headAxes) {
	k := b.m.k
	var rings []ring
	// u, towards the face, towards the jaw, half width.
	for _, r := range [][4]float64{{-0.01, 0.02, 0.08, 0.05}, {0.02, 0.04, 0.13, 0.082}, {0.08, 0.052, 0.17, 0.098}, {0.145, 0.058, 0.19, 0.108}, {0.20, 0.056, 0.19, 0.106}, {0.26, 0.048, 0.165, 0.090}, {0.33, 0.042, 0.125, 0.073}, {0.41, 0.038, 0.10, 0.060}, {0.48, 0.036, 0.09, 0.056}, {0.54, 0.034, 0.085, 0.058}, {0.585, 0.026, 0.07, 0.052}, {0.61, 0.005, 0.045, 0.032}} {
		// The line of the forehead passes the landmark at u = 0.2265.
		c := h.forehead.add(h.down.mul((r[0] - foreheadU) * k)).add(h.out.mul(-foreheadV * k))
		rings = append(rings, ring{c: c, ax: lft, ay: h.out, a: r[3] * k, up: (r[1]) * k, low: r[2] * k, ridge: 0.12})
	}
	b.begin(matHead, -1)
	b.loft(rings, 20)
	b.end()
}

func (b *body) ears(h headAxes) {
	k := b.m.k
	for _, sgn := range []float64{1, -1} {
		foot := h.poll.add(h.down.mul(0.025 * k)).add(vec{0, sgn * 0.055 * k, 0}).add(h.out.mul(-0.015 * k))
		tip := foot.add(h.down.mul(-0.155 * k)).add(vec{0, sgn * 0.025 * k, 0}).add(h.out.mul(0.035 * k))
		pts := []vec{foot, foot.lerp(tip, 0.35), foot.lerp(tip, 0.75), tip}
		b.begin(matEar, -1)
		b.loft(tube(pts, [][2]float64{{0.026 * k, 0.022 * k}, {0.034 * k, 0.022 * k}, {0.022 * k, 0.014 * k}, {0.004 * k, 0.004 * k}}, lft), 8)
		b.end()
	}
}

// forelockAndMane writes the forelock over the poll and the mane along the crest on the right.
func (b *body) forelockAndMane(f frame, h headAxes, neck []ring) {
	k := b.m.k
	b.begin(matMane, -1)
	lock := []ring{}
	for _, x := range [][3]float64{{-0.05, 0.035, 0.02}, {0.0, 0.045, 0.035}, {0.06, 0.04, 0.02}, {0.13, 0.02, 0.012}} {
		c := h.poll.add(h.down.mul(x[0] * k)).add(h.out.mul((0.0 + 0.012) * k))
		lock = append(lock, ring{c: c, ax: lft, ay: h.out, a: x[1] * k, up: x[2] * k, low: x[2] * k})
	}
	b.loft(lock, 8)
	b.end()
	b.begin(matMane, -1)
	mane := []ring{}
	for i, r := range neck {
		if i == len(neck)-1 {
			break
		}
		flap := 0.012 * k * math.Sin(2*f.stride+float64(i))
		c := r.c.add(r.ay.mul(r.up * 0.86)).add(vec{0, -0.035*k + flap, 0})
		mane = append(mane, ring{c: c, ax: lft, ay: r.ay, a: 0.045 * k, up: 0.05*k + 0.14*r.up, low: 0.12 * k, ridge: 0.6})
	}
	b.loft(mane, 8)
	b.end()
}

func (b *body) tail(f frame, place placing) {
	k := b.m.k
	c, _, _, dz := place(-1.205)
	dock := vec{c.x, c.y, 1.40*k + dz}
	swing := 0.05 * k * math.Sin(f.stride+0.8)
	pts := []vec{dock, dock.add(vec{-0.07 * k, 0, -0.02 * k}), dock.add(vec{-0.12 * k, swing * 0.3, -0.16 * k}), dock.add(vec{-0.13 * k, swing * 0.6, -0.40 * k}), dock.add(vec{-0.115 * k, swing, -0.66 * k}), dock.add(vec{-0.10 * k, swing * 1.3, -0.88 * k})}
	b.begin(matMane, -1)
	b.loft(tube(pts, [][2]float64{{0.045 * k, 0.04 * k}, {0.055 * k, 0.05 * k}, {0.075 * k, 0.06 * k}, {0.095 * k, 0.07 * k}, {0.08 * k, 0.06 * k}, {0.02 * k, 0.02 * k}}, lft), 12)
	b.end()
}

// headpiece writes the headpiece of the bridle, which runs over the poll behind the ears.
func (b *body) headpiece(t trunk) {
	k := b.m.k
	top := b.m.headpieceOf(t)
	pts := []vec{}
	for _, x := range []float64{-1, -0.75, -0.4, 0, 0.4, 0.75, 1} {
		pts = append(pts, top.add(vec{0.05 * k * x * x, 0.088 * k * x, -0.10*k*math.Pow(math.Abs(x), 2.6) - 0.008*k}))
	}
	radii := make([][2]float64, len(pts))
	for i := range radii {
		radii[i] = [2]float64{0.017 * k, 0.008 * k}
	}
	b.begin(matLeather, -1)
	b.loft(tube(pts, radii, fwd), 8)
	b.end()
}

func (b *body) markers(f frame) {
	k, t := b.m.k, f.b
	spots := []vec{{t.s, t.l, t.withers + ballRadius}, {t.s + croupBehind*k, t.croupL, t.croup + ballRadius}, b.m.hipOf(t, left, ballRadius), b.m.hipOf(t, right, ballRadius)}
	if b.m.scene.Horse.Points {
		spots = append(spots, b.m.shoulderOf(t, left, f.t, ballRadius), b.m.shoulderOf(t, right, f.t, ballRadius))
	}
	for _, p := range spots {
		b.begin(matBall, -1)
		b.ball(p, ballRadius)
		b.end()
	}
}

// Where the forehead landmark lies on the head: from the poll along the face,
// and how far the middle of the head is behind it.
const (
	foreheadU = 0.2085
	foreheadV = 0.05487
)

func (b *body) ball(p vec, r float64) { b.ellipsoid(p, vec{r, r, r}) }

// ellipsoid has half axes r along s, l and z.
func (b *body) ellipsoid(p, r vec) {
	rings := make([]ring, 7)
	for i := range rings {
		a := math.Pi * (float64(i) + 0.35) / 6.7
		s, c := math.Sincos(a)
		rings[i] = ring{c: p.add(vec{-r.x * c, 0, 0}), ax: vec{0, 1, 0}, ay: vec{0, 0, 1}, a: r.y * s, up: r.z * s, low: r.z * s}
	}
	b.loft(rings, 10)
}

// two solves two bones from a to c of lengths l1, l2 in the plane of s and z;
// bend +1 puts the joint forward. Lengths too short are stretched.
func two(a, c vec, l1, l2, bend float64) vec {
	d := c.sub(a)
	n := math.Hypot(d.x, d.z)
	x := 0.5 * (n + (l1*l1-l2*l2)/n)
	h2 := l1*l1 - x*x
	h := 0.0
	if h2 > 0 && n < l1+l2 {
		h = math.Sqrt(h2)
	} else {
		x = n * l1 / (l1 + l2)
	}
	ux, uz := d.x/n, d.z/n
	// Perpendicular that points forward (positive s) for a limb hanging down.
	px, pz := -uz, ux
	return vec{a.x + ux*x + px*h*bend, 0, a.z + uz*x + pz*h*bend}
}

// lower is a limb from the fetlock down, on which what is above has to stand.
type lower struct {
	hoof        hoof
	forward, up vec // The hoof's axes.
	toe         vec
	coronet     vec
	past        vec // Along the pastern, upward.
	fetlock     vec
	fold        float64 // How far the limb is free to fold: 0 straight, 1 free, for the fore.
}

// limb shapes one limb down to the hoof.
func (b *body) limb(f frame, limb int, place placing) {
	w := lowerLimb(f.hooves[limb], b.m.k)
	if isHind(limb) {
		b.hindlimb(limb, &w, place)
	} else {
		b.forelimb(limb, &w, place)
	}
	b.hoof(limb, &w)
}

// lowerLimb lays out hoof, pastern and fetlock.
func lowerLimb(h hoof, k float64) lower {
	w := lower{hoof: h}
	sp, cp := math.Sincos(h.pitch)
	w.forward, w.up = vec{cp, 0, -sp}, vec{sp, 0, cp}
	w.toe = vec{h.s, h.l, h.z}
	w.coronet = w.toe.add(w.forward.mul(-0.078 * k)).add(w.up.mul(0.066 * k))
	// Pastern slopes back from the hoof; it sinks under load and folds in swing.
	slope := rad(52 - 15*h.load)
	if h.swing >= 0 {
		slope = rad(52 + 26*math.Sin(math.Pi*math.Min(1, h.swing*1.25)))
	}
	ss, cs := math.Sincos(slope)
	w.past = w.forward.mul(-cs).add(w.up.mul(ss))
	w.fetlock = w.coronet.add(w.past.mul(0.125 * k))
	if h.swing >= 0 {
		w.fold = smooth(h.swing/0.18) * smooth((1-h.swing)/0.12)
	}
	return w
}

// forelimb shapes a fore from the shoulder to the coronet.
func (b *body) forelimb(limb int, w *lower, place placing) {
	k, out := b.m.k, outward(limb)
	c, _, _, dz := place(0.10)
	pivot := vec{c.x, c.y, 1.42*k + dz}
	const l1, l2 = 0.425, 0.275
	es := lerp(pivot.x, w.fetlock.x, (1.42-0.90)/(1.42-0.17))
	dx := w.fetlock.x - es
	reach := (l1 + l2) * 0.9985 * k
	straight := w.fetlock.z + math.Sqrt(math.Max(0.2*reach*reach, reach*reach-dx*dx))
	free := math.Min(straight, 0.885*k+dz)
	elbow := vec{es, 0, lerp(straight, free, w.fold)}
	carpus := two(elbow, w.fetlock, l1*k, l2*k, 1)
	lat := func(z float64) float64 {
		x := clamp01((z - w.fetlock.z) / (0.90*k + dz - w.fetlock.z))
		return lerp(w.hoof.l, c.y+out*0.135*k, math.Pow(x, 1.15))
	}
	elbow.y = c.y + out*0.135*k
	carpus.y = lat(carpus.z)
	shoulder := vec{lerp(pivot.x, es, 0.35) + 0.13*k, c.y + out*0.12*k, 1.17*k + dz}
	upperArm := shoulder.lerp(elbow, 0.55)
	b.begin(matCoat, limb)
	pts := []vec{shoulder.add(vec{-0.05 * k, 0, 0.12 * k}), shoulder.add(vec{-0.02 * k, 0, 0.06 * k}), shoulder, upperArm, elbow, elbow.lerp(carpus, 0.3), elbow.lerp(carpus, 0.62), elbow.lerp(carpus, 0.86), carpus, carpus.lerp(w.fetlock, 0.16), carpus.lerp(w.fetlock, 0.5), carpus.lerp(w.fetlock, 0.82), w.fetlock, w.fetlock.lerp(w.coronet, 0.45), w.coronet.add(w.past.mul(0.012 * k))}
	rd := scaleRadii(k, [][2]float64{{0.03, 0.05}, {0.065, 0.085}, {0.082, 0.10}, {0.09, 0.115}, {0.084, 0.105}, {0.068, 0.085}, {0.052, 0.062}, {0.045, 0.05}, {0.047, 0.05}, {0.037, 0.042}, {0.029, 0.034}, {0.031, 0.037}, {0.038, 0.043}, {0.031, 0.035}, {0.044, 0.046}})
	b.loft(tube(pts, rd, vec{0, 1, 0}), 12)
	b.end()
}

// hindlimb shapes a hind from the hip to the coronet.
func (b *body) hindlimb(limb int, w *lower, place placing) {
	k, out := b.m.k, outward(limb)
	c, ax, _, dz := place(-1.0)
	hip := vec{c.x, 0, 1.18*k + dz + ax.z*out*0.16*k}
	const femur, tibia, cannon = 0.395, 0.43, 0.345
	knee := two(hip, w.fetlock, (femur+cannon)*k, tibia*k, 1)
	a := knee.sub(hip).mul(1 / (femur + cannon))
	stifle := hip.add(a.mul(femur))
	hock := w.fetlock.sub(a.mul(cannon))
	lat := func(z float64) float64 {
		x := clamp01((z - w.fetlock.z) / (1.0*k + dz - w.fetlock.z))
		return lerp(w.hoof.l, c.y+out*0.155*k, smoothHalf(x))
	}
	hip.y = c.y + out*0.13*k
	stifle.y = c.y + out*0.165*k
	hock.y = lat(hock.z)
	thigh := hip.lerp(stifle, 0.55)
	b.begin(matCoat, limb)
	pts := []vec{hip.add(vec{0, 0, 0.10 * k}), hip, thigh, stifle.add(vec{-0.05 * k, 0, 0}), stifle.lerp(hock, 0.3), stifle.lerp(hock, 0.62), stifle.lerp(hock, 0.86), hock, hock.lerp(w.fetlock, 0.15), hock.lerp(w.fetlock, 0.5), hock.lerp(w.fetlock, 0.84), w.fetlock, w.fetlock.lerp(w.coronet, 0.45), w.coronet.add(w.past.mul(0.012 * k))}
	rd := scaleRadii(k, [][2]float64{{0.09, 0.14}, {0.115, 0.21}, {0.118, 0.20}, {0.105, 0.165}, {0.078, 0.11}, {0.052, 0.068}, {0.044, 0.055}, {0.046, 0.062}, {0.037, 0.046}, {0.030, 0.036}, {0.032, 0.038}, {0.038, 0.043}, {0.031, 0.035}, {0.044, 0.046}})
	b.loft(tube(pts, rd, vec{0, 1, 0}), 12)
	b.end()
}

// hoof shapes a hoof from the ground ring to the coronet, closed by the sole.
func (b *body) hoof(limb int, w *lower) {
	k := b.m.k
	b.begin(matHoof, limb)
	lft := vec{0, 1, 0}
	hr := []ring{
		{c: w.toe.add(w.forward.mul(-0.0625 * k)), ax: lft, ay: w.forward, a: 0.061 * k, up: 0.0625 * k, low: 0.0625 * k},
		{c: w.toe.add(w.forward.mul(-0.0655 * k)).add(w.up.mul(0.018 * k)), ax: lft, ay: w.forward, a: 0.0585 * k, up: 0.0585 * k, low: 0.060 * k},
		{c: w.toe.add(w.forward.mul(-0.071 * k)).add(w.up.mul(0.042 * k)), ax: lft, ay: w.forward, a: 0.053 * k, up: 0.052 * k, low: 0.054 * k},
		{c: w.toe.add(w.forward.mul(-0.077 * k)).add(w.up.mul(0.066 * k)), ax: lft, ay: w.forward, a: 0.047 * k, up: 0.046 * k, low: 0.048 * k},
		{c: w.toe.add(w.forward.mul(-0.078 * k)).add(w.up.mul(0.074 * k)), ax: lft, ay: w.forward, a: 0.040 * k, up: 0.040 * k, low: 0.042 * k},
	}
	b.loft(hr, 16)
	b.end()
}

func smoothHalf(x float64) float64 { return lerp(x, smooth(x), 0.5) }

func scaleRadii(k float64, r [][2]float64) [][2]float64 {
	for i := range r {
		r[i][0] *= k
		r[i][1] *= k
	}
	return r
}

// handler is a person who walks or runs at the horse's left shoulder.
func (b *body) handler(f frame) {
	t := f.b
	side := vec{0, 1, 0}
	c := vec{t.s + 0.55, t.l + 0.78, 0}
	bob := 0.03 * math.Sin(2*f.stride)
	hip := c.add(vec{0, 0, 0.95 + bob})
	neckP := c.add(vec{0.06, 0, 1.48 + bob})
	b.begin(matShirt, -1)
	b.loft(tube([]vec{hip, hip.lerp(neckP, 0.3), hip.lerp(neckP, 0.7), hip.lerp(neckP, 0.93), neckP}, [][2]float64{{0.17, 0.11}, {0.16, 0.105}, {0.205, 0.12}, {0.195, 0.095}, {0.07, 0.06}}, side), 14)
	b.end()
	b.begin(matSkin, -1)
	b.loft(tube([]vec{neckP.add(vec{0, 0, -0.04}), neckP.add(vec{0, 0, 0.05}), neckP.add(vec{0.02, 0, 0.08}), neckP.add(vec{0.035, 0, 0.13}), neckP.add(vec{0.03, 0, 0.20}), neckP.add(vec{0.02, 0, 0.26})}, [][2]float64{{0.06, 0.06}, {0.055, 0.055}, {0.056, 0.075}, {0.073, 0.098}, {0.080, 0.102}, {0.06, 0.07}}, side), 12)
	b.end()
	b.begin(matHat, -1)
	b.loft(tube([]vec{neckP.add(vec{0.03, 0, 0.21}), neckP.add(vec{0.03, 0, 0.25}), neckP.add(vec{0.025, 0, 0.31}), neckP.add(vec{0.02, 0, 0.335})}, [][2]float64{{0.095, 0.125}, {0.093, 0.115}, {0.07, 0.09}, {0.02, 0.02}}, side), 12)
	b.end()
	for i, sgn := range []float64{1, -1} {
		ph := f.stride + float64(i)*math.Pi
		sw := 0.42 * math.Sin(ph)
		lift := math.Max(0, math.Cos(ph))
		ankle := c.add(vec{sw, sgn * 0.09, 0.08 + 0.16*lift})
		ankle.x -= 0.18 * lift
		th := hip.add(vec{0, sgn * 0.085, -0.03})
		knee := two(th, ankle, 0.46, 0.45, 1)
		knee.y = th.y
		b.begin(matTrousers, -1)
		b.loft(tube([]vec{th, th.lerp(knee, 0.5), knee, knee.lerp(ankle, 0.4), ankle}, [][2]float64{{0.095, 0.10}, {0.082, 0.085}, {0.062, 0.065}, {0.06, 0.065}, {0.045, 0.05}}, side), 10)
		b.end()
		b.begin(matBoot, -1)
		b.loft(tube([]vec{ankle.add(vec{-0.07, 0, -0.03}), ankle.add(vec{0.02, 0, -0.03}), ankle.add(vec{0.12, 0, -0.05}), ankle.add(vec{0.17, 0, -0.06})}, [][2]float64{{0.035, 0.045}, {0.045, 0.055}, {0.045, 0.03}, {0.02, 0.015}}, side), 8)
		b.end()
		// The right arm holds the rope, the left swings.
		sh := neckP.add(vec{-0.02, sgn * 0.185, -0.075})
		hand := c.add(vec{0.15 - 0.3*sw, 0.24, 0.95})
		if sgn < 0 {
			hand = vec{t.s + 0.80, t.l + 0.42, 1.25}
		}
		elbow := two(sh, hand, 0.29, 0.28, -1)
		elbow.y = lerp(sh.y, hand.y, 0.4) + sgn*0.03
		b.begin(matShirt, -1)
		b.loft(tube([]vec{sh.add(vec{0, -sgn * 0.03, 0.045}), sh, sh.lerp(elbow, 0.5), elbow, elbow.lerp(hand, 0.9)}, [][2]float64{{0.02, 0.03}, {0.058, 0.062}, {0.052, 0.055}, {0.045, 0.045}, {0.032, 0.034}}, side), 8)
		b.end()
		b.begin(matSkin, -1)
		b.loft(tube([]vec{elbow.lerp(hand, 0.88), hand, hand.add(hand.sub(elbow).unit().mul(0.06))}, [][2]float64{{0.03, 0.03}, {0.04, 0.03}, {0.02, 0.015}}, side), 8)
		b.end()
		if sgn < 0 {
			chin := vec{t.headS + 0.12*b.m.k, t.headL + 0.03, t.head - 0.33*b.m.k}
			sag := hand.lerp(chin, 0.5).add(vec{0, 0, -0.06})
			b.begin(matRope, -1)
			b.loft(tube([]vec{hand, hand.lerp(sag, 0.5).add(vec{0, 0, -0.015}), sag, sag.lerp(chin, 0.5).add(vec{0, 0, -0.015}), chin}, [][2]float64{{0.009, 0.009}, {0.009, 0.009}, {0.009, 0.009}, {0.009, 0.009}, {0.009, 0.009}}, side), 6)
			b.end()
		}
	}
}

// flat is the mesh as one camera sees it. Whether the mesh hides a landmark is asked of
// some dozen landmarks in every frame; each vertex is projected once for all of them.
type flat struct {
	b        *body
	eye      *eye
	vertices []pixel
	extents  []extent // Index: part.
}

// pixel is a place in the picture and its depth.
type pixel struct{ x, y, depth float64 }

// extent is what a part covers of the picture at most, and the depth of its nearest vertex.
type extent struct{ loX, hiX, loY, hiY, nearest float64 }

// flatten projects the mesh as it is posed. It uses the memory of an earlier picture.
func (b *body) flatten(e *eye, used *flat) *flat {
	v := used
	if v == nil {
		v = &flat{vertices: make([]pixel, len(b.pos)), extents: make([]extent, len(b.parts))}
	}
	v.b, v.eye = b, e
	for i, part := range b.parts {
		if part.mat == matRope {
			continue
		}
		k := extent{loX: math.Inf(1), hiX: math.Inf(-1), loY: math.Inf(1), hiY: math.Inf(-1), nearest: math.Inf(1)}
		for j := part.vfirst; j < part.vend; j++ {
			x, y, z := e.project(b.pos[j])
			v.vertices[j] = pixel{x, y, z}
			k.loX, k.hiX = min(k.loX, x), max(k.hiX, x)
			k.loY, k.hiY = min(k.loY, y), max(k.hiY, y)
			k.nearest = min(k.nearest, z)
		}
		v.extents[i] = k
	}
	return v
}

// hides reports whether a triangle of the mesh lies before point p by more than
// the thickness of what carries a landmark.
func (v *flat) hides(p vec) bool {
	x, y, depth := v.eye.project(p)
	const own = 0.03
	for i, part := range v.b.parts {
		if part.mat == matRope || !v.extents[i].covers(x, y, depth-own) {
			continue
		}
		for _, t := range v.b.tris[part.first:part.last] {
			if z, ok := v.depthAt(t, x, y); ok && z < depth-own {
				return true
			}
		}
	}
	return false
}

// covers reports whether the extent holds (x, y) and some of its part is nearer than depth.
func (k *extent) covers(x, y, depth float64) bool {
	return k.loX <= x && k.hiX >= x && k.loY <= y && k.hiY >= y && k.nearest < depth
}

// depthAt returns how deep a triangle lies at (x, y), where it covers that place and is
// before the camera.
func (v *flat) depthAt(t [3]int32, x, y float64) (depth float64, ok bool) {
	a, b, c := v.vertices[t[0]], v.vertices[t[1]], v.vertices[t[2]]
	if a.depth < 0.05 || b.depth < 0.05 || c.depth < 0.05 {
		return 0, false
	}
	area := (b.x-a.x)*(c.y-a.y) - (c.x-a.x)*(b.y-a.y)
	if area == 0 {
		return 0, false
	}
	w0 := ((b.x-x)*(c.y-y) - (c.x-x)*(b.y-y)) / area
	w1 := ((c.x-x)*(a.y-y) - (a.x-x)*(c.y-y)) / area
	w2 := 1 - w0 - w1
	if w0 < 0 || w1 < 0 || w2 < 0 {
		return 0, false
	}
	return 1 / (w0/a.depth + w1/b.depth + w2/c.depth), true
}
