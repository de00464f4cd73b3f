package metrics

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// target is a combination of fixed effects and of what the strides of the run did.
type target struct {
	fixed  []float64 // Index: fixed effect.
	stride []float64 // Index: 2·footfall along, 2·footfall + 1 left. Of stride(i).
	smooth []float64 // Index: footfall. Of the spline part of the advance.
}

func (f *runFit) target() target {
	_, columns := f.x.Dims()
	return target{make([]float64, columns), make([]float64, 2*len(f.falls)), make([]float64, len(f.falls))}
}

// add adds w times the place of footfall i along or left (0 or 1).
func (f *runFit) add(t *target, i, direction int, w float64) {
	for c := range t.fixed {
		t.fixed[c] += w * f.x.At(2*i+direction, c)
	}
	t.stride[2*i+direction] += w
	if direction == 0 {
		t.smooth[i] += w
	}
}

// sum returns the sum of footfalls' places along or left (direction 0 or 1), each times its weight.
func (f *runFit) sum(falls []int, direction int, weights ...float64) target {
	t := f.target()
	for q, i := range falls {
		f.add(&t, i, direction, weights[q])
	}
	return t
}

// predict returns the best value of t and its standard deviation, metres. The variances
// behind it are estimates from so many footfalls, so it is stretched to what Student's t
// makes of a 95 % interval.
func (f *runFit) predict(t target) (value, sd float64) {
	n := len(f.falls)
	cov := mat.NewVecDense(2*n, nil) // Between the random part and what was seen.
	var self float64
	for i := range n {
		for d, s := range [2]int{alongSD, leftSD} {
			if w := t.stride[2*i+d]; w != 0 {
				v := math.Exp(2 * f.theta[s])
				cov.SetVec(2*i+d, cov.AtVec(2*i+d)+w*v)
				self += w * w * v
			}
		}
		for j := range n {
			if t.smooth[j] == 0 {
				continue
			}
			k := math.Exp(2*f.theta[speedSD]) * f.wander(i, j)
			cov.SetVec(2*i, cov.AtVec(2*i)+t.smooth[j]*k)
			self += t.smooth[i] * t.smooth[j] * k
		}
	}
	fixed := mat.NewVecDense(len(t.fixed), t.fixed)
	value = mat.Dot(fixed, f.beta) + mat.Dot(cov, f.solved)
	var vc, left mat.VecDense
	vc.MulVec(f.inverse, cov)
	left.MulVec(f.x.T(), &vc)
	left.SubVec(fixed, &left)
	variance := self - mat.Dot(cov, &vc) + mat.Inner(&left, f.betaCov, &left)
	sd = f.stretch * math.Sqrt(max(0, variance))
	if sum := floats.Sum(t.smooth); math.Abs(sum) < 1e-9 {
		// A length is as wrong as the ground marks' own are; a place is told from the camera.
		sd = math.Hypot(sd, f.prior.Camera.TapeShare*value)
	}
	return value, sd
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

// whose is which of two questions a mean answers: how the horse goes, of which the
// run's strides are a sample, or how it went in these.
type whose int

const (
	ofHorse whose = iota
	ofRun
)

// meanOf adds w times limb k's mean along or left of the line (direction 0 or 1).
func (f *runFit) meanOf(t *target, k, direction int, w float64, who whose) {
	t.fixed[f.limbs[k]+direction] += w
	if who == ofHorse {
		return
	}
	n := 0.0
	for i, p := range f.falls {
		if p.limb == k && !f.wild(i) {
			n++
		}
	}
	for i, p := range f.falls {
		if p.limb == k && !f.wild(i) {
			t.stride[2*i+direction] += w / n
		}
	}
}

// advance adds w times the run's mean advance a beat.
func (f *runFit) advance(t *target, w float64) {
	first, last := 0, 0
	for i, p := range f.falls {
		if p.beat < f.falls[first].beat {
			first = i
		}
		if p.beat > f.falls[last].beat {
			last = i
		}
	}
	t.fixed[0] += w
	t.smooth[last] += w / (2 * f.half)
	t.smooth[first] -= w / (2 * f.half)
}

// bow returns by how much the run bulges to the left between its ends, and the spread
// of that.
func (f *runFit) bow() (left, sd float64) {
	if !f.bowed {
		return 0, math.Inf(1)
	}
	t := f.target()
	t.fixed[len(t.fixed)-1] = -1
	return f.predict(t)
}

// asSeen returns how far left of its line footfall i was seen, without what drift and
// bow of the run make of its beat, and the variance of that from its own place in the
// picture.
func (f *runFit) asSeen(i int) (left, variance float64) {
	left = f.y.AtVec(2*i + 1)
	for c := f.driftTerm(); c < f.beta.Len(); c++ {
		left -= f.x.At(2*i+1, c) * f.beta.AtVec(c)
	}
	return left, max(0, f.own(f.theta, i)[1][1]/f.worse[i]-math.Exp(2*f.theta[leftSD]))
}

// sharedVariance returns the variance that clicks and camera give a sum of what was seen
// of the footfalls, with weights as target.stride has them. Clicks are off as the marks tell:
// across the line one run's placements say next to nothing of it.
func (f *runFit) sharedVariance(weights *mat.VecDense) float64 {
	return mat.Inner(weights, f.parts[0], weights) + sq(f.click)*mat.Inner(weights, f.parts[2], weights)
}
