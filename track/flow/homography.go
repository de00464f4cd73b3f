package flow

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// fitting is memory that fits of homographies use one after the other.
type fitting struct {
	normal *mat.SymDense
	right  *mat.VecDense
	chol   mat.Cholesky
	step   mat.VecDense
}

func newFitting() *fitting {
	return &fitting{normal: mat.NewSymDense(8, nil), right: mat.NewVecDense(8, nil)}
}

// settled returns the homography that takes the inliers of from to those of to with the least
// sum of squared distances, found by Gauss and Newton's method from h; h where they tell none.
func (f *fitting) settled(h [9]float64, from, to []Point, inliers []bool, hand Hand) [9]float64 {
	a, b := framed(from, inliers), framed(to, inliers)
	noise := 0.0
	if hand != (Hand{}) {
		a = framing{hand.Middle, hand.Focal}
		b, noise = a, noiseOf(h, from, to, inliers)/sq(hand.Focal)
	}
	// Between coordinates of size one: b·h·a⁻¹.
	g, ok := normalised(product(b.matrix(), product(h, a.inverse())))
	if !ok {
		return h
	}
	pulled := func() float64 {
		return pull(g, a, b, from, to, inliers, f.normal, f.right) + noise*hand.pull(g, noise, f.normal, f.right)
	}
	began := pulled()
	sum := began
	for range 20 {
		if !f.chol.Factorize(f.normal) || f.chol.SolveVecTo(&f.step, f.right) != nil {
			return h
		}
		for i := range 8 {
			g[i] += f.step.AtVec(i)
		}
		sum = pulled()
		if mat.Norm(&f.step, math.Inf(1)) < 1e-12 {
			break
		}
	}
	out, ok := normalised(product(b.inverse(), product(g, a.matrix())))
	if !ok || !(sum <= began*(1+1e-9)) {
		return h
	}
	return out
}

// Hand is what is known of a camera that a hand holds before any point is seen: it turns, and
// hardly moves. The zero value knows nothing.
//
// A camera of focal length 1 that turns by small angles moves what lies at (x, y) to
// (x + u + r·y + x·(u·x + v·y), y + v − r·x + y·(u·x + v·y)) but for terms of higher order
// (Hartley and Zisserman, Multiple View Geometry, section 8.4, from memory): the same u and v
// that move the middle of the picture also tilt it. Points that lie in one part of the picture
// hardly tell the tilt, and it moves what lies far from them.
type Hand struct {
	Middle     Point   // Of the picture, px.
	Focal      float64 // px.
	FocalShare float64 // Standard deviation of Focal, share of it.
	// Moves is how much the picture is tilted (in units of 1/Focal), stretched or slanted (as a
	// share) beyond what turning does, one standard deviation: the camera moves a little, too,
	// and the ground lies near.
	Moves float64
}

// pull adds to the normal equations how far g, in units of the focal length, may be from what a
// turn makes, times noise, the variance of a point along each axis. It returns the sum of squares,
// in standard deviations.
func (hand Hand) pull(g [9]float64, noise float64, normal *mat.SymDense, right *mat.VecDense) (sum float64) {
	if hand == (Hand{}) {
		return 0
	}
	// A focal length enters squared.
	tilt := [2]float64{math.Hypot(hand.Moves, 2*hand.FocalShare*g[2]), math.Hypot(hand.Moves, 2*hand.FocalShare*g[5])}
	for _, term := range []struct {
		i, j          int // What is added up of g,
		sign          float64
		turn, between float64 // what that is after a turn, and how far off it may be.
	}{
		{6, 2, 1, 0, tilt[0]}, {7, 5, 1, 0, tilt[1]},
		{0, 4, -1, (g[5]*g[5] - g[2]*g[2]) / 2, hand.Moves}, {1, 3, 1, -g[2] * g[5], hand.Moves},
	} {
		off, weight := term.turn-g[term.i]-term.sign*g[term.j], noise/sq(term.between)
		normal.SetSym(term.i, term.i, normal.At(term.i, term.i)+weight)
		normal.SetSym(term.j, term.j, normal.At(term.j, term.j)+weight)
		normal.SetSym(term.i, term.j, normal.At(term.i, term.j)+term.sign*weight)
		right.SetVec(term.i, right.AtVec(term.i)+weight*off)
		right.SetVec(term.j, right.AtVec(term.j)+term.sign*weight*off)
		sum += sq(off / term.between)
	}
	return sum
}

// noiseOf returns the variance of the inliers along each axis about h, px².
func noiseOf(h [9]float64, from, to []Point, inliers []bool) float64 {
	sum, n := 0.0, 0
	for i, in := range inliers {
		if in {
			sum, n = sum+squared(&h, from[i], to[i]), n+1
		}
	}
	return sum / math.Max(1, float64(2*n-8))
}

// normalised returns h divided by its last number; it is not ok where that is too near 0.
func normalised(h [9]float64) (_ [9]float64, ok bool) {
	last := h[8]
	if math.Abs(last) < 1e-9 {
		return h, false
	}
	for i := range h {
		h[i] /= last
	}
	return h, true
}

// pull returns the sum of squared distances that g leaves, and writes the normal equations of
// its first eight numbers, the ninth being 1, into normal and right. It is worked out in
// arrays: a frame has hundreds of points.
func pull(g [9]float64, a, b framing, from, to []Point, inliers []bool, normal *mat.SymDense, right *mat.VecDense) (sum float64) {
	var square [64]float64
	var pulled [8]float64
	for k, in := range inliers {
		if !in {
			continue
		}
		p, q := a.in(from[k]), b.in(to[k])
		w := g[6]*p.X + g[7]*p.Y + g[8]
		x, y := (g[0]*p.X+g[1]*p.Y+g[2])/w, (g[3]*p.X+g[4]*p.Y+g[5])/w
		across := [8]float64{p.X / w, p.Y / w, 1 / w, 0, 0, 0, -x * p.X / w, -x * p.Y / w}
		down := [8]float64{0, 0, 0, p.X / w, p.Y / w, 1 / w, -y * p.X / w, -y * p.Y / w}
		dx, dy := q.X-x, q.Y-y
		for i := range 8 {
			for j := i; j < 8; j++ {
				square[8*i+j] += across[i]*across[j] + down[i]*down[j]
			}
			pulled[i] += dx*across[i] + dy*down[i]
		}
		sum += dx*dx + dy*dy
	}
	copy(normal.RawSymmetric().Data, square[:])
	copy(right.RawVector().Data, pulled[:])
	return sum
}

// framing shifts and shrinks points so that they lie about 0, a distance of 1 away.
type framing struct {
	centre Point
	size   float64
}

// framed frames the inliers among points; nil: all of them.
func framed(points []Point, inliers []bool) framing {
	var f framing
	n := 0.0
	for k, p := range points {
		if inliers == nil || inliers[k] {
			f.centre = f.centre.Add(p)
			n++
		}
	}
	f.centre = Point{f.centre.X / n, f.centre.Y / n}
	for k, p := range points {
		if inliers == nil || inliers[k] {
			f.size += p.Dist(f.centre) / n
		}
	}
	f.size = max(f.size, 1e-9)
	return f
}

func (f framing) in(p Point) Point {
	return Point{(p.X - f.centre.X) / f.size, (p.Y - f.centre.Y) / f.size}
}

func (f framing) matrix() [9]float64 {
	return [9]float64{1 / f.size, 0, -f.centre.X / f.size, 0, 1 / f.size, -f.centre.Y / f.size, 0, 0, 1}
}

func (f framing) inverse() [9]float64 {
	return [9]float64{f.size, 0, f.centre.X, 0, f.size, f.centre.Y, 0, 0, 1}
}

// product returns a·b.
func product(a, b [9]float64) (out [9]float64) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[3*i+j] += a[3*i+k] * b[3*k+j]
			}
		}
	}
	return out
}
func sq(x float64) float64 { return x * x }
