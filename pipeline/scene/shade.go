package scene

import "math"

// shade is what keeps the sun from the lane: a tree's crown and the edge of a roof.
// The zero value lets all of it through.
type shade struct {
	on               bool
	roof             float32 // A roof shades what lies beyond this distance...
	tilt             float32 // ...more by this much per metre to the right...
	roofDeep         float32 // ...for so many metres.
	crown, crownDeep float32 // A tree shades from here, for so many metres.
	seed             float32
	soft             float32
}

func newShade(m *motion, l *lights) shade {
	if !m.scene.Yard.Shade {
		return shade{}
	}
	rng := m.rng(11)
	s := shade{on: true, soft: float32(0.06 + 0.5*l.penumbra), seed: float32(rng.Float64() * 90)}
	near, far := math.Min(m.scene.Motion.StartM, m.scene.Motion.EndM), math.Max(m.scene.Motion.StartM, m.scene.Motion.EndM)
	s.crown = float32(near + (far-near)*(0.05+0.5*rng.Float64()))
	s.crownDeep = float32(2.5 + 4*rng.Float64())
	s.roof = float32(near + (far-near)*(0.45+0.5*rng.Float64()))
	s.roofDeep = float32(2 + 4*rng.Float64())
	s.tilt = float32(rng.Float64()*0.8 - 0.4)
	return s
}

// lit is the share of the sun that reaches the ground at (x, y).
func (s *shade) lit(x, y float32) float32 {
	if !s.on {
		return 1
	}
	k := float32(1)
	d := y - s.roof - s.tilt*x
	if d > -1 && d < s.roofDeep+1 {
		k *= 1 - step32(-s.soft, s.soft, d)*(1-step32(s.roofDeep-s.soft, s.roofDeep+s.soft, d))
	}
	in := step32(s.crown-0.6, s.crown+0.8, y+0.5*noise2(x*0.9, s.seed)) * (1 - step32(s.crown+s.crownDeep-0.8, s.crown+s.crownDeep+0.6, y+0.5*noise2(x*1.1, s.seed+7)))
	if in > 0 {
		n := noise2(x*1.7+s.seed, y*1.5) + 0.7*noise2(x*4.1, y*3.7+s.seed) + 0.45*noise2(x*9.3+s.seed, y*8.7)
		k *= 1 - in*0.9*step32(-0.15-s.soft, 0.15+s.soft, 0.35-n)
	}
	return k
}
