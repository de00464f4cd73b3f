package scene

import "math"

type vec struct{ x, y, z float64 }

func (a vec) add(b vec) vec             { return vec{a.x + b.x, a.y + b.y, a.z + b.z} }
func (a vec) sub(b vec) vec             { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }
func (a vec) mul(k float64) vec         { return vec{a.x * k, a.y * k, a.z * k} }
func (a vec) dot(b vec) float64         { return a.x*b.x + a.y*b.y + a.z*b.z }
func (a vec) lerp(b vec, t float64) vec { return a.add(b.sub(a).mul(t)) }
func (a vec) norm() float64             { return math.Sqrt(a.dot(a)) }
func (a vec) unit() vec {
	n := a.norm()
	if n == 0 {
		return vec{0, 0, 1}
	}
	return a.mul(1 / n)
}
func (a vec) cross(b vec) vec {
	return vec{a.y*b.z - a.z*b.y, a.z*b.x - a.x*b.z, a.x*b.y - a.y*b.x}
}

func lerp(a, b, t float64) float64 { return a + (b-a)*t }

func clamp01(x float64) float64 { return math.Max(0, math.Min(1, x)) }

// smooth is the cubic step: 0 below 0, 1 above 1, level at both ends.
func smooth(x float64) float64 {
	x = clamp01(x)
	return x * x * (3 - 2*x)
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }
