package metrics

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/stats"
)

// startLine lays a first line through the footfalls: its direction is set by turn.
func (f *runFit) startLine(cam geometry.Camera, toward bool) bool {
	n := len(f.falls)
	var x, y float64
	f.limbs = [4]int{-1, -1, -1, -1}
	f.drift = 1 // The advance a beat comes first, then the limbs.
	seen := 0
	for i, p := range f.falls {
		gx, gy, ok := cam.GroundPoint(p.at)
		if !ok {
			return false
		}
		x, y = x+gx, y+gy
		if p.beat < f.falls[f.first].beat {
			f.first = i
		}
		if p.beat > f.falls[f.last].beat {
			f.last = i
		}
		if f.limbs[p.limb] < 0 {
			f.limbs[p.limb] = f.drift
			f.drift += 2
			seen++
		}
	}
	if n < seen+2 {
		return false
	}
	first, last := f.falls[f.first].beat, f.falls[f.last].beat
	if last-first < 0.9 {
		return false
	}
	f.middle, f.half = (first+last)/2, (last-first)/2
	f.stretch = stats.Stretch(max(3, float64(n-seen-1)))
	f.bowed = n >= seen+5 && f.half > 1.2
	f.line = Line{X: x / float64(n), Y: y / float64(n), DY: 1}
	if toward {
		f.line.DY = -1
	}
	return true
}

// turn sets the line of travel: midway between left and right of each girdle that has
// both, and midway between those, in the direction of the mean advance.
func (f *runFit) turn() {
	advance, drift := f.beta.AtVec(0), f.beta.AtVec(f.drift)
	if advance <= 0 {
		return
	}
	var left float64
	for k, w := range f.midline() {
		if w > 0 {
			left += w * f.beta.AtVec(f.limbs[k]+1)
		}
	}
	s := math.Hypot(advance, drift)
	c, d := advance/s, drift/s
	l := f.line
	// The left of the line is (−DY, DX).
	f.line = Line{X: l.X - left*l.DY, Y: l.Y + left*l.DX, DX: c*l.DX - d*l.DY, DY: c*l.DY + d*l.DX}
}

// both reports whether both limbs of girdle g were placed.
func (f *runFit) both(g int) bool { return f.limbs[2*g] >= 0 && f.limbs[2*g+1] >= 0 }

// paired reports whether both limbs of any girdle were placed.
func (f *runFit) paired() bool { return f.both(0) || f.both(1) }

// midline returns the weight of each limb's mean place in the line of travel: those of girdles
// of which both were placed, where there are any, weigh alike.
func (f *runFit) midline() (w [4]float64) {
	n := 0.0
	for k, at := range f.limbs {
		if at >= 0 && (!f.paired() || f.both(k/2)) {
			w[k], n = 1, n+1
		}
	}
	floats.Scale(1/n, w[:])
	return w
}

// place returns where footfall i was in the lane, and the spreads of that.
func (f *runFit) place(i int) (x, y, xSD, ySD float64) {
	var v, sd [2]float64
	for d := range 2 {
		v[d], sd[d] = f.predict(f.sum([]int{i}, d, 1))
	}
	l := f.line
	return l.X + v[0]*l.DX - v[1]*l.DY, l.Y + v[0]*l.DY + v[1]*l.DX,
		math.Hypot(sd[0]*l.DX, sd[1]*l.DY), math.Hypot(sd[0]*l.DY, sd[1]*l.DX)
}

// bow returns by how much the run bulges to the left between its ends, and the spread
// of that.
func (f *runFit) bow() (left, sd float64) {
	if !f.bowed {
		return 0, math.Inf(1)
	}
	t := f.target()
	t.fixed[f.drift+1] = -1
	return f.predict(t)
}

// asSeen returns how far left of its line footfall i was seen, without what drift and
// bow of the run make of its beat, and the variance of that from its own place in the
// picture.
func (f *runFit) asSeen(i int) (left, variance float64) {
	bends := floats.Dot(f.x.RawRowView(2*i + 1)[f.drift:], f.beta.RawVector().Data[f.drift:])
	return f.y.AtVec(2*i+1) - bends, max(0, f.own(f.theta, i)[1][1]/f.worse[i]-math.Exp(2*f.theta[leftSD]))
}

// sharedVariance returns the variance that clicks and camera give a sum of what was seen
// of the footfalls, with weights as target.stride has them. Clicks are off as the marks tell:
// across the line one run's placements say next to nothing of it.
func (f *runFit) sharedVariance(weights *mat.VecDense) float64 {
	return mat.Inner(weights, f.parts[0], weights) + sq(f.click)*mat.Inner(weights, f.parts[2], weights)
}

// doubt sets how much the placements that lie far from where the others put them count
// and reports whether that changed: their own variance grows until they lie where one
// in FarOffP does.
// The distance is that from the fit without them.
func (f *runFit) doubt() bool {
	// The squared distance in spreads is χ² with two degrees of freedom, whose tail is
	// exp(−x/2).
	farOff := -2 * math.Log(f.prior.Run.FarOffP)
	// P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹.
	var vx, part, p mat.Dense
	vx.Mul(f.inverse, f.x)
	part.Mul(&vx, f.betaCov)
	p.Mul(&part, vx.T())
	p.Sub(f.inverse, &p)
	changed := false
	for i := range f.falls {
		block := [2][2]float64{{p.At(2*i, 2*i), p.At(2*i, 2*i+1)}, {p.At(2*i+1, 2*i), p.At(2*i+1, 2*i+1)}}
		if block[0][0] < 1e-9 || block[1][1] < 1e-9 {
			continue // Nothing else says where it should be.
		}
		// Where the others put it: e is how far off it lies, apart the covariance of that.
		apart := inverse2(block)
		a, b := f.solved.AtVec(2*i), f.solved.AtVec(2*i+1)
		e := [2]float64{apart[0][0]*a + apart[0][1]*b, apart[1][0]*a + apart[1][1]*b}
		own := f.own(f.theta, i)
		distance := func(worse float64) float64 {
			var c [2][2]float64
			for q := range 2 {
				for s := range 2 {
					c[q][s] = apart[q][s] + (worse/f.worse[i]-1)*own[q][s]
				}
			}
			c = inverse2(c)
			return e[0]*e[0]*c[0][0] + 2*e[0]*e[1]*c[0][1] + e[1]*e[1]*c[1][1]
		}
		worse := 1.0
		for distance(worse) > farOff && worse < 1e8 {
			worse *= 1.3
		}
		changed = changed || math.Abs(math.Log(worse/f.worse[i])) > 0.3
		f.worse[i] = worse
	}
	return changed
}

func inverse2(a [2][2]float64) [2][2]float64 {
	det := a[0][0]*a[1][1] - a[0][1]*a[1][0]
	return [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[1][0] / det, a[0][0] / det}}
}

// wild reports whether footfall i is none of this run.
func (f *runFit) wild(i int) bool { return f.worse[i] > f.prior.Run.WildBy }
