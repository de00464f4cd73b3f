package scene

import (
	"math"
	"sync"
)

// Value noise: random values on a lattice, joined smoothly. The tables come
// from a fixed generator, so every build draws the same world.

var (
	permutation [256]uint8
	lattice     [256]float32
	scattered   [256]float32 // The lattice's values in the order of the permutation.
	gaussTable  [1 << 16]float32
)

// fillTables computes the tables, the first time it is called; whatever draws calls
// it first. They never change.
var fillTables = sync.OnceFunc(func() {
	x := uint64(0x9e3779b97f4a7c15)
	next := func() uint64 {
		x += 0x9e3779b97f4a7c15
		z := x
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	for i := range 256 {
		permutation[i] = uint8(i)
		lattice[i] = float32(next()>>11)/(1<<52) - 1
	}
	for i := 255; i > 0; i-- {
		j := int(next() % uint64(i+1))
		permutation[i], permutation[j] = permutation[j], permutation[i]
	}
	for i, j := range permutation {
		scattered[i] = lattice[j]
	}
	for i := range gaussTable {
		// The sum of twelve uniform numbers has variance 1 and is as good as normal here.
		var s float64
		for range 12 {
			s += float64(next()>>11) / (1 << 53)
		}
		gaussTable[i] = float32(s - 6)
	}
})

// floor32 returns the whole number at or below x and what x is above it. Whether rounding
// toward zero went up is as good as chance, so the sign bit says it instead of a branch.
func floor32(x float32) (int32, float32) {
	i := int32(x)
	i += -int32(math.Float32bits(float32(i)-x)) >> 31
	return i, x - float32(i)
}

func ease32(t float32) float32 { return t * t * (3 - 2*t) }

// noise3 is value noise in [−1, 1] with period 1 between lattice points.
func noise3(x, y, z float32) float32 {
	ix, fx := floor32(x)
	iy, fy := floor32(y)
	iz, fz := floor32(z)
	fx, fy, fz = ease32(fx), ease32(fy), ease32(fz)
	x0, x1 := uint8(ix), uint8(ix+1)
	y0, y1 := uint8(iy), uint8(iy+1)
	z0, z1 := uint8(iz), uint8(iz+1)
	a, b := permutation[x0], permutation[x1]
	aa, ab := permutation[a+y0], permutation[a+y1]
	ba, bb := permutation[b+y0], permutation[b+y1]
	p0, q0, r0, s0 := scattered[aa+z0], scattered[ba+z0], scattered[ab+z0], scattered[bb+z0]
	p1, q1, r1, s1 := scattered[aa+z1], scattered[ba+z1], scattered[ab+z1], scattered[bb+z1]
	u0, v0 := p0+(q0-p0)*fx, r0+(s0-r0)*fx
	u1, v1 := p1+(q1-p1)*fx, r1+(s1-r1)*fx
	w0, w1 := u0+(v0-u0)*fy, u1+(v1-u1)*fy
	return w0 + (w1-w0)*fz
}

// noise2 is value noise in the plane.
func noise2(x, y float32) float32 {
	ix, fx := floor32(x)
	iy, fy := floor32(y)
	fx, fy = ease32(fx), ease32(fy)
	a, b := permutation[uint8(ix)], permutation[uint8(ix+1)]
	y0, y1 := uint8(iy), uint8(iy+1)
	p, q := scattered[a+y0], scattered[b+y0]
	r, s := scattered[a+y1], scattered[b+y1]
	u, w := p+(q-p)*fx, r+(s-r)*fx
	return u + (w-u)*fy
}

// fade is the share of a texture of the given frequency (periods/m) left where
// a sample covers footprint metres: all below a quarter period, none above
// three quarters.
func fade(frequency, footprint float32) float32 {
	x := (0.75 - frequency*footprint) * 2
	if x <= 0 {
		return 0
	}
	if x >= 1 {
		return 1
	}
	return ease32(x)
}
