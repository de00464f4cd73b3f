package flow

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// settled returns the homography that takes the inliers of from to those of to with the least
// sum of squared distances, found by Gauss and Newton's method from h; h where they tell none.
func settled(h [9]float64, from, to []Point, inliers []bool) [9]float64 {
	a, b := framed(from, inliers), framed(to, inliers)
	// Between coordinates of size one: b·h·a⁻¹.
	g, ok := normalised(product(b.matrix(), product(h, a.inverse())))
	if !ok {
		return h
	}
	var square [64]float64
	var step [8]float64
	normal := blas64.Symmetric{Uplo: blas.Upper, N: 8, Stride: 8, Data: square[:]}
	began := pull(g, a, b, from, to, inliers, &square, &step)
	sum := began
	for range 20 {
		u, ok := lapack64.Potrf(normal)
		if !ok {
			return h
		}
		lapack64.Potrs(u, blas64.General{Rows: 8, Cols: 1, Stride: 1, Data: step[:]})
		floats.Add(g[:8], step[:])
		largest := floats.Norm(step[:], math.Inf(1))
		if sum = pull(g, a, b, from, to, inliers, &square, &step); largest < 1e-12 {
			break
		}
	}
	out, ok := normalised(product(b.inverse(), product(g, a.matrix())))
	if !ok || !(sum <= began*(1+1e-9)) {
		return h
	}
	return out
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

// pull returns the sum of squared distances that g leaves, and the normal equations of its first
// eight numbers, the ninth being 1: the upper half of square, row by row, and pulled.
func pull(g [9]float64, a, b framing, from, to []Point, inliers []bool, square *[64]float64, pulled *[8]float64) (sum float64) {
	*square, *pulled = [64]float64{}, [8]float64{}
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
