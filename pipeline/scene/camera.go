package scene

import (
	"math"
	"math/rand/v2"
)

// eye is the camera at one instant: where it is, and its right, down and
// forward axes in the lane frame.
type eye struct {
	c           vec
	r, d, w     vec
	f, cx, cy   float64
	k1          float64 // Radial distortion, see Camera.K1.
	width, high int
}

// project returns the picture position of a lane point and its depth along the
// optical axis; the position is meaningless where depth is not positive.
func (e *eye) project(p vec) (x, y, depth float64) {
	q := p.sub(e.c)
	z := q.dot(e.w)
	k := e.f / z
	if e.k1 != 0 {
		a, b := q.dot(e.r)/z, q.dot(e.d)/z
		k *= distort(e.k1, math.Hypot(a, b))
	}
	return e.cx + k*q.dot(e.r), e.cy + k*q.dot(e.d), z
}

// ray returns the direction, lane frame, not normalised, through a picture position.
func (e *eye) ray(x, y float64) vec {
	a, b := (x-e.cx)/e.f, (y-e.cy)/e.f
	if e.k1 != 0 {
		k := straighten(e.k1, math.Hypot(a, b))
		a, b = a*k, b*k
	}
	return e.w.add(e.r.mul(a)).add(e.d.mul(b))
}

// distort is how many times farther from the middle of the picture the lens shows
// a direction at tangent r from its axis. Where a barrel would fold the picture
// back, far outside it, it goes on in a straight line.
func distort(k1, r float64) float64 {
	if k1 < 0 {
		if end := math.Sqrt(0.25 / -k1); r > end {
			return (end*(1+k1*end*end) + 0.25*(r-end)) / r
		}
	}
	return 1 + k1*r*r
}

// straighten undoes distort: the tangent over what the lens shows, at distance d
// from the middle in focal lengths.
func straighten(k1, d float64) float64 {
	if d == 0 {
		return 1
	}
	r := d
	for range 6 { // Newton's rule; the slope of r·(1 + k1·r²) is 1 + 3·k1·r².
		if k1 < 0 {
			if end := math.Sqrt(0.25 / -k1); r > end {
				r = end + (d-end*(1+k1*end*end))/0.25
				continue
			}
		}
		r -= (r*(1+k1*r*r) - d) / (1 + 3*k1*r*r)
	}
	return r / d
}

type wave struct{ amp, freq, phase float64 }

// shake is a camera in a hand: sums of sines for three angles and three offsets.
type shake struct{ waves [6][]wave }

func newShake(rng *rand.Rand, angleRMS, offsetRMS float64) *shake {
	s := &shake{}
	for i := range s.waves {
		rms := angleRMS
		lo, hi := 0.3, 9.0
		if i >= 3 {
			rms, lo, hi = offsetRMS, 0.2, 1.5
		}
		const n = 9
		var power float64
		ws := make([]wave, n)
		for k := range ws {
			f := lo * math.Pow(hi/lo, (float64(k)+rng.Float64())/n)
			a := math.Pow(f, -0.9)
			ws[k] = wave{a, f, rng.Float64() * 2 * math.Pi}
			power += a * a / 2
		}
		for k := range ws {
			ws[k].amp *= rms / math.Sqrt(power)
		}
		s.waves[i] = ws
	}
	return s
}

func (s *shake) at(t float64) (v [6]float64) {
	for i, ws := range s.waves {
		for _, w := range ws {
			v[i] += w.amp * math.Sin(2*math.Pi*w.freq*t+w.phase)
		}
	}
	return v
}

// eyeAt returns the camera at time t.
func (m *motion) eyeAt(t float64) eye {
	c := &m.scene.Camera
	e := eye{f: c.FocalPX, cx: float64(c.Width-1) / 2, cy: float64(c.Height-1) / 2, k1: c.K1, width: c.Width, high: c.Height}
	var v [6]float64
	if m.shake != nil {
		v = m.shake.at(t)
	}
	yaw, pitch, roll := v[0], rad(c.PitchDeg)+v[1], rad(c.RollDeg)+v[2]
	e.c = vec{v[3], v[4], c.HeightM + v[5]}
	sy, cy := math.Sincos(yaw)
	sp, cp := math.Sincos(pitch)
	e.w = vec{sy * cp, cy * cp, -sp}
	r0 := vec{cy, -sy, 0}
	d0 := e.w.cross(r0)
	sr, cr := math.Sincos(roll)
	e.r = r0.mul(cr).add(d0.mul(sr))
	e.d = d0.mul(cr).sub(r0.mul(sr))
	return e
}
