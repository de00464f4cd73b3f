package scene

import "math"

// leader is the handler of a hard scene: goes in steps of its own beside the horse's
// near shoulder, and for part of the time before its near fore; a rope hangs and
// swings between hand and chin.
func (b *body) leader(f frame) {
	m, t := b.m, f.b
	k := m.k
	// How far the handler has drifted before the limbs, 0 to 1.
	cross := before(f.t, m.folk.leadPhase)
	c := vec{t.s + lerp(0.75, 1.45*k, cross), t.l + lerp(0.80, 0.19, cross), 0}
	neck := b.person(f.t, c, m.folk.cadence, m.folk.step, 0)
	// The right arm holds the rope, the left swings.
	hand := vec{c.x - 0.12, c.y - 0.34, 1.12 + 0.03*math.Sin(f.stride)}
	if cross > 0.3 {
		hand.y = c.y - lerp(0.34, 0.22, cross)
	}
	b.arm(neck, -1, hand)
	b.arm(neck, 1, vec{c.x + 0.2*math.Sin(f.t*9), c.y + 0.27, 0.98})
	chin := vec{t.headS + 0.10*k, t.headL + 0.02, t.head - 0.36*k}
	swing := 0.07 * math.Sin(f.t*7.3+1)
	b.rope([]vec{hand, hand.lerp(chin, 0.25).add(vec{0, swing * 0.6, -0.13}), hand.lerp(chin, 0.5).add(vec{0, swing, -0.18}), hand.lerp(chin, 0.8).add(vec{0, swing * 0.5, -0.10}), chin})
	// What is left of the rope hangs from the hand in a loop.
	low := hand.add(vec{0.05, -0.02 + 1.3*swing, -0.55})
	b.rope([]vec{hand, hand.lerp(low, 0.5).add(vec{0.04, -0.04, 0}), low, low.add(vec{-0.06, 0.05, 0.12}), hand.add(vec{-0.05, 0.06, -0.15}), hand.add(vec{-0.01, 0.01, -0.02})})
	// Reins from the bit over the neck.
	for _, side := range []float64{1, -1} {
		bit := vec{t.headS + 0.03*k, t.headL + side*0.065*k, t.head - 0.27*k}
		crest := vec{t.s + 0.30*k, t.l + side*0.10*k, t.withers + 0.02*k}
		sag := bit.lerp(crest, 0.5).add(vec{0, side * 0.10 * k, (-0.22 + 0.02*math.Sin(2*f.stride+side)) * k})
		b.begin(matLeather, -1)
		b.loft(tube([]vec{bit, bit.lerp(sag, 0.6).add(vec{0, 0, -0.03 * k}), sag, sag.lerp(crest, 0.5).add(vec{0, 0, -0.03 * k}), crest}, [][2]float64{{0.008, 0.008}, {0.008, 0.008}, {0.008, 0.008}, {0.008, 0.008}, {0.008, 0.008}}, vec{0, 1, 0}), 5)
		b.end()
	}
}

// driver is a second person who follows at the right quarters and for part of the
// time goes between them and the camera.
func (b *body) driver(f frame) {
	m, t := b.m, f.b
	cross := before(f.t, m.folk.drivePhase)
	c := vec{t.s - lerp(2.3, 2.0, cross)*m.k, t.l - lerp(0.95, 0.14, cross), 0}
	neck := b.person(f.t, c, m.folk.cadence*1.07, m.folk.step*0.95, 0.3)
	b.arm(neck, 1, vec{c.x + 0.35, c.y + 0.25, 1.15})
	b.arm(neck, -1, vec{c.x + 0.2*math.Sin(f.t*9+2), c.y - 0.27, 0.98})
}

// folk is how the people of a scene go.
type folk struct {
	cadence, step         float64 // Steps of one foot a second; metres from a foot's place to its next.
	leadPhase, drivePhase float64
}

func newFolk(m *motion) folk {
	rng := m.rng(13)
	v := m.scene.Motion.SpeedMPS
	step := 1.25 + 0.25*v + 0.2*rng.Float64() // A person's stride grows with speed.
	return folk{cadence: v / step, step: step, leadPhase: rng.Float64(), drivePhase: rng.Float64()}
}

// before is how far somebody stands in the way: 0 for most of the time, 1 for about
// a fifth of every 3.1 seconds.
func before(t, phase float64) float64 {
	x := 0.5 + 0.5*math.Cos(2*math.Pi*(t/3.1+phase))
	return smooth((x - 0.55) / 0.4)
}

// person draws trunk, head and legs of somebody at c and returns the neck. Feet
// stand on the ground while they bear weight.
func (b *body) person(t float64, c vec, cadence, step, phase float64) (neck vec) {
	side := vec{0, 1, 0}
	p := t*cadence + phase
	bob := 0.03 * math.Sin(4*math.Pi*p)
	hip := c.add(vec{0, 0, 0.93 + bob})
	neck = c.add(vec{0.07, 0, 1.47 + bob})
	b.begin(matShirt, -1)
	b.loft(tube([]vec{hip, hip.lerp(neck, 0.3), hip.lerp(neck, 0.7), hip.lerp(neck, 0.93), neck}, [][2]float64{{0.17, 0.11}, {0.16, 0.105}, {0.205, 0.12}, {0.195, 0.095}, {0.07, 0.06}}, side), 14)
	b.end()
	b.begin(matSkin, -1)
	b.loft(tube([]vec{neck.add(vec{0, 0, -0.04}), neck.add(vec{0, 0, 0.05}), neck.add(vec{0.02, 0, 0.08}), neck.add(vec{0.035, 0, 0.13}), neck.add(vec{0.03, 0, 0.20}), neck.add(vec{0.02, 0, 0.26})}, [][2]float64{{0.06, 0.06}, {0.055, 0.055}, {0.056, 0.075}, {0.073, 0.098}, {0.080, 0.102}, {0.06, 0.07}}, side), 12)
	b.end()
	b.begin(matHat, -1)
	b.loft(tube([]vec{neck.add(vec{0.03, 0, 0.21}), neck.add(vec{0.03, 0, 0.25}), neck.add(vec{0.025, 0, 0.31}), neck.add(vec{0.02, 0, 0.335})}, [][2]float64{{0.095, 0.125}, {0.093, 0.115}, {0.07, 0.09}, {0.02, 0.02}}, side), 12)
	b.end()
	const stance = 0.42
	for i, sgn := range []float64{1, -1} {
		x := p + 0.5*float64(i)
		x -= math.Floor(x)
		// From half a step's stance before the hip to half behind; then forward through the air.
		reach := step * stance
		var along, lift, tip float64
		if x < stance {
			along = reach * (0.5 - x/stance)
			tip = math.Max(0, x/stance-0.7) / 0.3
		} else {
			y := (x - stance) / (1 - stance)
			along = reach * (smooth(y) - 0.5)
			lift = math.Sin(math.Pi * math.Pow(y, 0.8))
			tip = 1 - smooth(y*1.4)
		}
		ankle := c.add(vec{along - 0.12*lift, sgn * 0.09, 0.08 + 0.20*lift + 0.06*tip})
		th := hip.add(vec{0, sgn * 0.085, -0.03})
		knee := two(th, ankle, 0.46, 0.45, 1)
		knee.y = th.y
		b.begin(matTrousers, -1)
		b.loft(tube([]vec{th, th.lerp(knee, 0.5), knee, knee.lerp(ankle, 0.4), ankle}, [][2]float64{{0.095, 0.10}, {0.082, 0.085}, {0.062, 0.065}, {0.06, 0.065}, {0.045, 0.05}}, side), 10)
		b.end()
		down := 0.05 * tip
		b.begin(matBoot, -1)
		b.loft(tube([]vec{ankle.add(vec{-0.07, 0, -0.03}), ankle.add(vec{0.02, 0, -0.03}), ankle.add(vec{0.12, 0, -0.045 - down}), ankle.add(vec{0.17, 0, -0.06 - down})}, [][2]float64{{0.035, 0.045}, {0.045, 0.055}, {0.045, 0.03}, {0.02, 0.015}}, side), 8)
		b.end()
	}
	return neck
}

// arm draws an arm from the shoulder of somebody's neck to a hand, sgn +1 the left one.
func (b *body) arm(neck vec, sgn float64, hand vec) {
	side := vec{0, 1, 0}
	sh := neck.add(vec{-0.02, sgn * 0.185, -0.075})
	elbow := two(sh, hand, 0.29, 0.28, -1)
	elbow.y = lerp(sh.y, hand.y, 0.4) + sgn*0.03
	b.begin(matShirt, -1)
	b.loft(tube([]vec{sh.add(vec{0, -sgn * 0.03, 0.045}), sh, sh.lerp(elbow, 0.5), elbow, elbow.lerp(hand, 0.9)}, [][2]float64{{0.02, 0.03}, {0.058, 0.062}, {0.052, 0.055}, {0.045, 0.045}, {0.032, 0.034}}, side), 8)
	b.end()
	b.begin(matSkin, -1)
	b.loft(tube([]vec{elbow.lerp(hand, 0.88), hand, hand.add(hand.sub(elbow).unit().mul(0.06))}, [][2]float64{{0.03, 0.03}, {0.04, 0.03}, {0.02, 0.015}}, side), 8)
	b.end()
}

func (b *body) rope(points []vec) {
	radii := make([][2]float64, len(points))
	for i := range radii {
		radii[i] = [2]float64{0.010, 0.010}
	}
	b.begin(matRope, -1)
	b.loft(tube(points, radii, vec{0, 1, 0}), 6)
	b.end()
}

// longTail hangs from the dock to the hocks and swings, its strands one after another.
func (b *body) longTail(f frame, place placing) {
	k := b.m.k
	c, _, _, dz := place(-1.205)
	for i := range 4 {
		lag := 0.45 * float64(i)
		aside := (float64(i) - 1.5) * 0.028 * k
		swing := (0.13*math.Sin(f.stride+0.8-0.5*lag) + 0.05*math.Sin(f.t*2.3+lag)) * k
		back := 0.03 * math.Sin(2*f.stride+lag) * k
		dock := vec{c.x, c.y + aside*0.3, 1.40*k + dz}
		long := []float64{0.95, 0.99, 0.88, 0.92}[i]
		pts := make([]vec, 0, 7)
		for _, x := range [...]float64{0, 0.07, 0.22, 0.46, 0.70, 0.88, 1} {
			// Out over the quarters, then down; the end trails behind the rest.
			pts = append(pts, dock.add(vec{(-0.14*math.Sqrt(math.Min(1, x/0.16))+0.02*x)*k - back*x, aside*(0.4+x) + swing*math.Pow(x, 1.5), -long * k * (x - 0.06*math.Sqrt(x))}))
		}
		b.begin(matMane, -1)
		b.loft(tube(pts, scaleRadii(k, [][2]float64{{0.028, 0.028}, {0.034, 0.034}, {0.044, 0.040}, {0.050, 0.044}, {0.044, 0.036}, {0.030, 0.022}, {0.006, 0.005}}), vec{0, 1, 0}), 10)
		b.end()
	}
}

// feather hangs locks of hair from the pastern over the hoof.
func (b *body) feather(f frame, limb int) {
	k := b.m.k
	h := f.hooves[limb]
	sp, cp := math.Sincos(h.pitch)
	fwd, up := vec{cp, 0, -sp}, vec{sp, 0, cp}
	toe := vec{h.s, h.l, h.z}
	middle := toe.add(fwd.mul(-0.078 * k))
	const locks = 15
	for j := range locks {
		a := 2 * math.Pi * (float64(j) + 0.3) / locks
		s, c := math.Sincos(a)
		// Front locks are short and leave the toe free in part; the ones behind sweep the ground.
		front := 0.5 + 0.5*c
		end := lerp(0.008, 0.030, front) + 0.010*math.Sin(float64(j)*2.4+float64(limb))
		wave := 0.010 * math.Sin(2*f.stride+float64(j))
		if h.swing >= 0 {
			wave -= 0.03 * math.Sin(math.Pi*h.swing)
		}
		out := func(r, z float64) vec {
			return middle.add(fwd.mul(c * r * k)).add(vec{0, s * r * k, 0}).add(up.mul(z * k))
		}
		root := out(0.036, 0.125).add(fwd.mul(-0.028 * k))
		pts := []vec{root, out(0.056, 0.085), out(0.066, 0.05), out(0.070, end).add(fwd.mul(wave * k))}
		b.begin(matFeather, limb)
		b.loft(tube(pts, scaleRadii(k, [][2]float64{{0.017, 0.012}, {0.023, 0.013}, {0.020, 0.011}, {0.004, 0.003}}), vec{0, 1, 0}), 6)
		b.end()
	}
}
