package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
)

// median returns the median, of an even number the lower of the two in the middle. It sorts v.
func median(v []float64) float64 {
	slices.Sort(v)
	return v[(len(v)-1)/2]
}

// amidst returns the median of points along each axis.
func amidst(points []flow.Point) flow.Point {
	xs, ys := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		xs[i], ys[i] = p.X, p.Y
	}
	return flow.Point{X: median(xs), Y: median(ys)}
}

func mix(a, b flow.Point, k float64) flow.Point {
	return flow.Point{X: a.X + k*(b.X-a.X), Y: a.Y + k*(b.Y-a.Y)}
}

// valueAt is what is known in one frame.
type valueAt struct {
	frame int
	value float64
}

// along returns in frame f what is told in others, in the order of frames: in between those
// before and after it, in the proportion of the times; NaN where nothing is.
func along(all []valueAt, times []float64, f int) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	k := slices.IndexFunc(all, func(t valueAt) bool { return t.frame >= f })
	switch {
	case k < 0:
		return all[len(all)-1].value
	case k == 0 || all[k].frame == f:
		return all[k].value
	}
	a, b := all[k-1], all[k]
	u := (times[f] - times[a.frame]) / (times[b.frame] - times[a.frame])
	return (1-u)*a.value + u*b.value
}

func sq(x float64) float64 { return x * x }

// ramp rises from 0 at low to 1 at high.
func ramp(x, low, high float64) float64 { return min(max((x-low)/(high-low), 0), 1) }

// parallel returns the variance of the best mean of two values with variances a and b.
func parallel(a, b float64) float64 {
	if a+b == 0 {
		return 0
	}
	return a * b / (a + b)
}
