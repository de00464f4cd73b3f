package scene

import (
	"math"
	"math/rand/v2"
	"sort"

	"jogstrip/track/traj"
)

// Sides and limbs as array indices.
const (
	left  = 0
	right = 1
)

// Limbs in the order of traj: left fore, right fore, left hind, right hind.
const (
	lf = iota
	rf
	lh
	rh
)

var limbNames = [4]traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind}

func sideOf(limb int) int         { return limb & 1 }
func isHind(limb int) bool        { return limb >= lh }
func outward(l int) float64       { return [2]float64{1, -1}[sideOf(l)] } // Sign of l (track) outward.
func girdleOf(limb int) int       { return limb >> 1 }                    // 0 fore, 1 hind.
func limbOf(girdle, side int) int { return girdle<<1 | side }

// gait holds the even, sound pattern of a gait.
type gait struct {
	stride, length     float64 // s, m.
	dutyFore, dutyHind float64
	hindPhase          [2]float64 // Hoof-on of LH and RH as share of the stride, LF being 0 and RF 0.5.
	pairOf             [2]int     // The hind limb paired with LF and RF; −1 where the gait has no pairs.
	pairMS             float64    // Hind hoof-on − paired fore hoof-on of the even horse.
	low, high          float64    // When the trunk is lowest and highest after a hoof-on, share of the stride.
	head, withers      float64    // Half ranges, mm.
	croup, roll        float64    // Half range, mm; rise of each hip by pelvic roll, mm.
	flight             [2]float64 // Toe, cm.
	breakover          float64    // Hoof angle at hoof-off, degrees.
}

var gaits = map[traj.Gait]gait{
	traj.Trot: {0.72, 2.5, 0.40, 0.37, [2]float64{0.5, 0}, [2]int{rh, lh}, -10, 0.195, 0.445, 28, 38, 42, 14, [2]float64{13, 11}, 52},
	traj.Pace: {0.70, 2.52, 0.40, 0.37, [2]float64{0, 0.5}, [2]int{lh, rh}, -12, 0.195, 0.445, 20, 26, 28, 22, [2]float64{12, 10}, 50},
	// At the walk the trunk vaults: it is lowest while both limbs of a girdle bear
	// weight and highest about mid-stance.
	traj.Walk: {1.10, 1.76, 0.63, 0.62, [2]float64{0.75, 0.25}, [2]int{-1, -1}, 0, 0.07, 0.32, 30, 12, 16, 20, [2]float64{9, 8}, 45},
}

// Arcs of the even horse, cm, fore and hind.
var (
	evenLateral = [2]float64{1.0, 1.2}
	evenMedial  = [2]float64{1.4, 0.8}
)

// fall is one stance of one limb, in track coordinates: the toe at (s, l).
type fall struct {
	on, heelOff, off float64
	s, l             float64
	// The swing that follows.
	flight, lateral, medial float64 // cm.
}

// knot is a low or high point of a body height, metres about the mean.
type knot struct{ t, z float64 }

// applied are the settings put into the motion; they differ from what was asked
// for by what is needed for the measured means to be right.
type applied struct {
	stepDiff   [2]float64 // m, per girdle.
	timingFore float64    // Share of the stride.
	timingHind float64
	pair       [2]float64 // s, side of the fore.
	stance     [4]float64 // s.
	offset     [4]float64 // m outward.
	lateral    [4]float64 // cm.
	medial     [4]float64
	flight     [4]float64
	low, high  [3]float64 // Head, withers, croup; m, right − left.
	hip        float64    // m.
	strideTime float64    // s.
}

// motion is the moving horse and camera of a scene.
type motion struct {
	scene    Scene
	gait     gait
	set      applied
	falls    [4][]fall
	knots    [3][]knot // Head, withers, croup.
	t0       float64   // Hoof-on of the left fore's stride number 0.
	end      float64   // Length of the clip, s.
	origin   vec       // Lane position of s = 0, l = 0.
	fwd, lft vec       // Unit vectors of s and l in the lane.
	weave    []wave
	drift    []wave
	shake    *shake
	folk     folk
	k        float64 // Body scale, 1 at 1.60 m.
}

// Stations of the body along s from the withers, metres at 1.60 m.
const (
	headAhead   = 0.93  // Forehead.
	croupBehind = -0.86 // Highest point of the croup.
	hipBehind   = -0.78
	hipWide     = 0.246
	hipBelow    = 0.150 // Below the croup.
	foreStand   = 0.16  // Toe at the middle of the stance.
	hindStand   = -0.98
	hoofLength  = 0.125 // Toe to heel.
)

const (
	headHeight    = 1.675
	withersHeight = 1.60
	croupHeight   = 1.585
)

func newMotion(s Scene) *motion {
	m := &motion{scene: s, gait: gaits[s.Gait], k: s.Horse.HeightM / 1.60}
	distance := math.Abs(s.Motion.EndM - s.Motion.StartM)
	m.end = distance / s.Motion.SpeedMPS
	sign := s.View.LeftSign() // +1 toward.
	angle := rad(s.Motion.LineAngleDeg)
	sa, ca := math.Sincos(angle)
	m.fwd = vec{-sign * sa, -sign * ca, 0}
	m.lft = vec{-m.fwd.y, m.fwd.x, 0}
	middle := vec{s.Motion.LineOffsetM, (s.Motion.StartM + s.Motion.EndM) / 2, 0}
	m.origin = middle.sub(m.fwd.mul(distance / 2))

	rng := m.rng(1)
	m.t0 = -rng.Float64() * s.Motion.StrideS
	m.weave = []wave{
		{s.Motion.WeaveM * 0.8, (0.12 + 0.05*rng.Float64()), rng.Float64() * 2 * math.Pi},
		{s.Motion.WeaveM * 0.4, (0.25 + 0.1*rng.Float64()), rng.Float64() * 2 * math.Pi},
	}
	m.drift = []wave{
		{s.Motion.HeadDriftMM / 1000 * 0.8, 0.15 + 0.08*rng.Float64(), rng.Float64() * 2 * math.Pi},
		{s.Motion.HeadDriftMM / 1000 * 0.4, 0.3 + 0.1*rng.Float64(), rng.Float64() * 2 * math.Pi},
	}
	m.folk = newFolk(m)
	if s.Camera.Hand {
		m.shake = newShake(m.rng(2), rad(s.Camera.ShakeDeg), s.Camera.ShakeMM/1000)
	}
	return m
}

func (m *motion) rng(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(m.scene.Seed, 0x6a09e667f3bcc908+stream))
}

// lane takes track coordinates to the lane frame.
func (m *motion) lane(s, l, z float64) vec {
	return vec{m.origin.x + m.fwd.x*s + m.lft.x*l, m.origin.y + m.fwd.y*s + m.lft.y*l, z}
}

func sum(ws []wave, t float64) (y float64) {
	for _, w := range ws {
		y += w.amp * math.Sin(2*math.Pi*w.freq*t+w.phase)
	}
	return y
}

// path returns the withers' way along and sideways from the line at time t,
// without the sway of the trunk inside a stride.
func (m *motion) path(t float64) (s, l float64) {
	return m.scene.Motion.SpeedMPS * t, sum(m.weave, t)
}

// build lays out footfalls and body heights from m.set. Chance is drawn in the
// same order every time, so corrections do not reshuffle it.
func (m *motion) build(v Variation) {
	rng := m.rng(3)
	gauss := func(sd float64) float64 { return rng.NormFloat64() * sd }
	m.layFalls(v, gauss)
	m.layHeights(v, gauss)
}

// phase is how long after the left fore's hoof-on a limb's is due, s.
func (m *motion) phase(limb int) float64 {
	g, T := m.gait, m.set.strideTime
	side := sideOf(limb)
	var phase float64
	switch {
	case limb == lf:
	case limb == rf:
		phase = m.set.timingFore * T
	default:
		phase = g.hindPhase[side] * T
		// The hinds follow the fore they belong to.
		for foreSide, hind := range g.pairOf {
			if hind == limb {
				phase = m.set.pair[foreSide]
				if foreSide == right {
					phase += m.set.timingFore * T
				}
			}
		}
		phase += []float64{-0.5, 0.5}[side] * m.set.timingHind * T
	}
	return phase
}

// layFalls lays out the footfalls.
func (m *motion) layFalls(v Variation, gauss func(sd float64) float64) {
	T := m.set.strideTime
	n0, n1 := -4, int(math.Ceil((m.end-m.t0)/T))+4
	for limb := range m.falls {
		side, gd := sideOf(limb), girdleOf(limb)
		phase := m.phase(limb)
		stand := []float64{foreStand, hindStand}[gd] * m.k
		falls := m.falls[limb][:0]
		for n := n0; n <= n1; n++ {
			on := m.t0 + float64(n)*T + phase + gauss(v.TimingMS/1000)
			length := m.set.stance[limb] + gauss(v.TimingMS/1000)
			f := fall{on: on, off: on + length}
			f.heelOff = on + length*[]float64{0.77, 0.75}[gd]
			mid := m.t0 + float64(n)*T + phase + m.set.stance[limb]/2
			s, l := m.path(mid)
			f.s = s + stand + []float64{-0.25, 0.25}[side]*m.set.stepDiff[gd] + gauss(v.StepCM/100)
			f.l = l + outward(limb)*m.set.offset[limb] + gauss(v.SidewaysCM/100)
			f.flight = m.set.flight[limb] + gauss(v.PathCM)
			f.lateral = m.set.lateral[limb] + gauss(v.PathCM)
			f.medial = m.set.medial[limb] + gauss(v.PathCM)
			falls = append(falls, f)
		}
		m.falls[limb] = falls
	}
}

// layHeights lays out the body heights, which follow the footfalls of their girdle.
func (m *motion) layHeights(v Variation, gauss func(sd float64) float64) {
	g, T := m.gait, m.set.strideTime
	for b := range m.knots {
		ks := m.knots[b][:0]
		gd := []int{0, 0, 1}[b]
		half := []float64{g.head, g.withers, g.croup}[b] / 1000 * m.k
		sd := []float64{v.HeadMM, v.TrunkMM, v.TrunkMM}[b] / 1000
		lag := []float64{0.02, 0, 0.005}[b] * T
		for side := range 2 {
			limb := limbOf(gd, side)
			sign := []float64{-0.5, 0.5}[side]
			for _, f := range m.falls[limb] {
				ks = append(ks,
					knot{f.on + g.low*T + lag, -half + sign*m.set.low[b] + gauss(sd)},
					knot{f.on + g.high*T + lag, half + sign*m.set.high[b] + gauss(sd)})
			}
		}
		sort.Slice(ks, func(i, j int) bool { return ks[i].t < ks[j].t })
		m.knots[b] = ks
	}
}

// height returns body height b (head, withers, croup) about its mean: half
// waves of a cosine from knot to knot.
func (m *motion) height(b int, t float64) float64 {
	ks := m.knots[b]
	i := sort.Search(len(ks), func(i int) bool { return ks[i].t > t })
	if i == 0 {
		return ks[0].z
	}
	if i == len(ks) {
		return ks[i-1].z
	}
	p, q := ks[i-1], ks[i]
	x := (t - p.t) / (q.t - p.t)
	return lerp(p.z, q.z, 0.5-0.5*math.Cos(math.Pi*x))
}

func (m *motion) headZ(t float64) float64 { return m.nodZ(t) + sum(m.drift, t) }

// nodZ is headZ without the slow rise and fall of its carriage, which measures of the
// stride leave out.
func (m *motion) nodZ(t float64) float64 { return headHeight*m.k + m.height(0, t) }

func (m *motion) withersZ(t float64) float64 { return withersHeight*m.k + m.height(1, t) }

func (m *motion) croupZ(t float64) float64 { return croupHeight*m.k + m.height(2, t) }

// strideAngle is the phase of the stride, 0 at a hoof-on of the left hind.
func (m *motion) strideAngle(t float64) float64 {
	fs := m.falls[lh]
	i := sort.Search(len(fs), func(i int) bool { return fs[i].on > t })
	i = min(max(i, 1), len(fs)-1)
	p, q := fs[i-1].on, fs[i].on
	return 2 * math.Pi * (t - p) / (q - p)
}

// roll is the roll of the pelvis, radians, positive: the right side is up. The
// hip of the swinging limb drops a little; the second harmonic, in step with
// the croup, is what makes one hip move farther than the other.
func (m *motion) roll(t float64) float64 {
	a := m.strideAngle(t)
	first := m.gait.roll / 1000 * m.k * math.Cos(a-2*math.Pi*m.gait.low)
	second := -m.set.hip * math.Cos(2*(a-2*math.Pi*m.gait.low))
	return -(first - second) / (hipWide * m.k)
}

// hoof is the pose of a hoof: its toe at the ground edge in track coordinates
// and its pitch, radians, heel up positive.
type hoof struct {
	s, l, z, pitch float64
	swing          float64 // 0 to 1 through swing; −1 in stance.
	load           float64 // 0 to 1 to 0 through stance; 0 in swing.
	outward        float64 // Departure from the chord, m, outward positive.
}

// Progress through swing: a quick start, nearly constant speed, braking, a
// small overshoot and retraction before landing. Peak speed is about twice that
// of the horse, as stated in the trade press after Clayton.
var swingProfiles = [2]profile{newProfile(0.20, 0.30, 0.925, 0.010), newProfile(0.24, 0.26, 0.94, 0.007)}

type profile struct {
	table     [257]float64
	turn, out float64
}

func newProfile(up, down, turn, out float64) profile {
	p := profile{turn: turn, out: out}
	const fine = 4096
	var c float64
	cum := make([]float64, fine+1)
	for i := 1; i <= fine; i++ {
		x := (float64(i) - 0.5) / fine
		c += smooth(x/up) * smooth((1-x)/down) * (1 + 0.12*x)
		cum[i] = c
	}
	for i := range p.table {
		p.table[i] = cum[i*fine/256] / c
	}
	return p
}

func (p *profile) at(x float64) float64 {
	if x >= p.turn {
		return 1 + p.out*(1-smooth((x-p.turn)/(1-p.turn)))
	}
	y := x / p.turn * 256
	i := min(int(y), 255)
	return (1 + p.out) * lerp(p.table[i], p.table[i+1], y-float64(i))
}

// hermite interpolates (x, y, slope) rows.
func hermite(ks [][3]float64, x float64) float64 {
	for i := 1; i < len(ks); i++ {
		if x <= ks[i][0] || i == len(ks)-1 {
			p, q := ks[i-1], ks[i]
			h := q[0] - p[0]
			t := (x - p[0]) / h
			t2, t3 := t*t, t*t*t
			return (2*t3-3*t2+1)*p[1] + (t3-2*t2+t)*h*p[2] + (-2*t3+3*t2)*q[1] + (t3-t2)*h*q[2]
		}
	}
	return 0
}

// Toe height over swing, the highest point being 1: a quick lift, a dip while
// the limb passes, a small rise before landing. It lands at some 0.5 m/s at the trot (from
// memory: published speeds at impact are 0.4 to 1 m/s).
var toeLift = [2][][3]float64{
	{{0, 0, 0}, {0.10, 0.50, 6}, {0.27, 1, 0}, {0.62, 0.52, -0.9}, {0.84, 0.40, -0.6}, {1, 0, -1.6}},
	{{0, 0, 0}, {0.12, 0.50, 5.2}, {0.32, 1, 0}, {0.65, 0.55, -1.3}, {0.85, 0.29, -1.5}, {1, 0, -2.4}},
}

// bump is a smooth hill from 0 at 0 to 1 at peak and back to 0 at 1.
func bump(x, peak float64) float64 {
	if x <= 0 || x >= 1 {
		return 0
	}
	// Warp so that the peak lies in the middle, then a squared sine.
	e := math.Log(0.5) / math.Log(peak)
	s := math.Sin(math.Pi * math.Pow(x, e))
	return s * s
}

func (m *motion) hoofAt(limb int, t float64) hoof {
	fs := m.falls[limb]
	i := sort.Search(len(fs), func(i int) bool { return fs[i].on > t }) - 1
	i = min(max(i, 0), len(fs)-2)
	f, next := fs[i], fs[i+1]
	gd := girdleOf(limb)
	over := rad(m.gait.breakover)
	if t <= f.off {
		h := hoof{s: f.s, l: f.l, swing: -1}
		x := clamp01((t - f.on) / (f.off - f.on))
		h.load = math.Sin(math.Pi * x)
		if t > f.heelOff {
			y := (t - f.heelOff) / (f.off - f.heelOff)
			h.pitch = over * y * y
		}
		return h
	}
	x := clamp01((t - f.off) / (next.on - f.off))
	swing := next.on - f.off
	h := hoof{swing: x}
	g := swingProfiles[gd].at(x)
	h.s, h.l = lerp(f.s, next.s, g), lerp(f.l, next.l, g)
	// Slope of the pitch at hoof-off, per swing, continues the breakover's.
	slope := math.Min(2*over/(f.off-f.heelOff)*swing, rad(700))
	h.pitch = hermite([][3]float64{{0, over, slope}, {0.17, over + rad(42), 0}, {0.5, rad(38), -rad(190)}, {0.84, -rad(9), 0}, {1, 0, 0}}, x)
	h.z = f.flight / 100 * liftOf(gd, x)
	if h.pitch < 0 { // The heel is the lower end then: it is what comes down.
		h.z -= hoofLength * m.k * math.Sin(h.pitch)
	}
	h.outward = f.outward(x)
	dir := math.Hypot(next.s-f.s, next.l-f.l)
	// Across the chord, not across the line.
	cs, cl := (next.s-f.s)/dir, (next.l-f.l)/dir
	h.s -= cl * outward(limb) * h.outward
	h.l += cs * outward(limb) * h.outward
	return h
}

// liftOf is the height of the toe at x of the swing as a share of the highest.
func liftOf(girdle int, x float64) float64 { return math.Max(0, hermite(toeLift[girdle], x)) }

// outward is the departure from the chord at x of the swing, m: medial while
// the hoof passes the opposite limb, lateral after that.
func (f fall) outward(x float64) float64 {
	return f.lateral/100*bump(x, 0.60) - f.medial/100*bump(x, 0.30)
}

// hoofPoint returns the landmark of a hoof in lane coordinates: the toe at the
// ground edge toward the camera, the heel away from it.
func (m *motion) hoofPoint(h hoof) vec {
	if m.scene.View == traj.Toward {
		return m.lane(h.s, h.l, h.z)
	}
	sp, cp := math.Sincos(h.pitch)
	n := hoofLength * m.k
	return m.lane(h.s-n*cp, h.l, h.z+n*sp)
}

// trunk is the pose of the trunk at one instant, track coordinates.
type trunk struct {
	s, l                 float64 // Withers.
	withers, croup, head float64 // Heights.
	croupL, headS, headL float64
	roll                 float64
	headPitch            float64 // Change from standing, radians.
}

func (m *motion) trunkAt(t float64) trunk {
	s, l := m.path(t)
	a := m.strideAngle(t)
	b := trunk{s: s, l: l, withers: m.withersZ(t), croup: m.croupZ(t), head: m.headZ(t), roll: m.roll(t)}
	chest, croup, head := m.sway(a)
	b.l += chest
	b.croupL = l + croup
	b.headS = s + headAhead*m.k + 0.006*m.k*math.Sin(2*a+1)
	b.headL = sum(m.weave, t+0.15) + head
	b.headPitch = rad(1.5) * math.Sin(2*a+0.5)
	return b
}

// sway returns how far chest, croup and head are to the left of the horse's path at
// angle a of the stride, m. A part twice a stride lets the trunk swing further to one
// side than to the other; it is kept below a quarter of the part once a stride, beyond
// which a side would have two furthest points.
func (m *motion) sway(a float64) (chest, croup, head float64) {
	uneven := func(once, a, mm float64) float64 {
		d := mm / 1000
		return max(once*m.k, 2*math.Abs(d))*math.Sin(a) + d/2*math.Cos(2*a)
	}
	y := m.scene.Asymmetry
	return uneven(0.008, a, y.ChestSwayMM), uneven(0.012, a+0.6, y.CroupSwayMM), 0.010*m.k*math.Sin(a+2) - y.HeadSideCM/100
}

// point returns the lane position of landmark l at time t.
func (m *motion) point(l traj.Landmark, t float64) vec {
	for limb, n := range limbNames {
		if n == l {
			return m.hoofPoint(m.hoofAt(limb, t))
		}
	}
	b := m.trunkAt(t)
	k := m.k
	ball := 0.0
	if m.scene.Horse.Markers {
		ball = ballRadius
	}
	switch l {
	case traj.Head:
		if m.scene.View == traj.Toward {
			return m.lane(b.headS, b.headL, b.head)
		}
		p := m.headpieceOf(b)
		return m.lane(p.x, p.y, p.z)
	case traj.Withers:
		return m.lane(b.s, b.l, b.withers+ball)
	case traj.Croup:
		return m.lane(b.s+croupBehind*k, b.croupL, b.croup+ball)
	case traj.Chest:
		c := chestPoint.mul(k)
		return m.lane(b.s+c.x, b.l, b.withers+c.z-withersHeight*k)
	}
	side := left
	if l.Side() == traj.Right {
		side = right
	}
	if l == traj.LeftShoulder || l == traj.RightShoulder {
		p := m.shoulderOf(b, side, t, ball)
		return m.lane(p.x, p.y, p.z)
	}
	p := m.hipOf(b, side, ball)
	return m.lane(p.x, p.y, p.z)
}

const ballRadius = 0.022

// chestPoint is the middle of the breast on the trunk's front.
var chestPoint = vec{0.455, 0, 1.085}

// shoulderPoint is the left point of the shoulder on the trunk's front; a limb that
// swings forward lifts it, on either side by so much on average.
var shoulderPoint = vec{0.43, 0.145, 1.09}

const shoulderLift = 0.020

// shoulderOf returns the point of the shoulder at t in track coordinates, lifted off the
// skin by out.
func (m *motion) shoulderOf(b trunk, side int, t, out float64) vec {
	p := shoulderPoint.mul(m.k)
	sign := []float64{1, -1}[side]
	lift := 0.0
	if h := m.hoofAt(limbOf(0, side), t); h.swing >= 0 {
		lift = (shoulderLift*m.k - sign*m.scene.Asymmetry.ShoulderLiftMM/2000) * bump(h.swing, 0.55)
	}
	return vec{b.s + p.x + out, b.l + sign*(p.y+0.3*out), b.withers + p.z - withersHeight*m.k + lift}
}

// hipOf returns the point of the hip in track coordinates, lifted off the skin
// by out.
func (m *motion) hipOf(b trunk, side int, out float64) vec {
	sign := []float64{1, -1}[side]
	w := hipWide*m.k + out
	sr, cr := math.Sincos(b.roll)
	// Positive roll lifts the right side, so the left (sign +1) drops.
	return vec{b.s + hipBehind*m.k, b.croupL + sign*w*cr, b.croup - hipBelow*m.k - sign*w*sr}
}

// pollOf returns the top of the head behind the ears, track coordinates. It
// keeps its place on the head, so it nods as the forehead does.
func (m *motion) pollOf(b trunk) vec {
	sp, cp := math.Sincos(b.headPitch)
	o := pollFromForehead
	return vec{b.headS + m.k*(o.x*cp+o.z*sp), b.headL, b.head + m.k*(o.z*cp-o.x*sp)}
}

var pollFromForehead = vec{-0.195, 0, 0.115}

// headpieceOf returns the top of the bridle's headpiece, the head's landmark
// from behind, track coordinates.
func (m *motion) headpieceOf(b trunk) vec {
	p := m.pollOf(b)
	return vec{p.x - 0.02*m.k, p.y, p.z + 0.045*m.k}
}
