package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"jogstrip/metrics/geometry"
	"jogstrip/track/errormodel"
)

// footfall is one stance as the model of a run takes it.
type footfall struct {
	limb int     // Index of limbs.
	beat float64 // In strides.
	at   geometry.Point
	sd   [2]float64 // Of the picture place, px, as tracking states it.
}

// runFit is the model of one run fitted to its footfalls: where each hoof landed,
// along the line of travel (forward) and to its left, metres,
//
//	along(i) = advance(beat) + lead(limb) + stride(i)
//	left(i)  = place(limb) + bow·((beat − middle)/half)² + stride(i)
//	seen(i)  = true(i) + J(i)·(picture error + hoof offset(limb)·F/Z) + camera
//
// The advance is a straight line and a smoothing spline as a random effect. MEASURES.md ("The
// model of a run") has the priors, how it is fitted, and the sources.
type runFit struct {
	falls    []footfall
	limbs    [4]int // Index of the limb's two fixed effects, along and left; −1 where it has none.
	line     Line
	drift    int  // The fixed effect of the drift to the left a beat; behind it that of the bow, if any.
	bowed    bool // Whether there is one.
	first    int  // The first and the last footfall in beats.
	last     int
	middle   float64 // Between them, beats.
	half     float64 // Beats from the middle to either end.
	theta    []float64
	worse    []float64 // Index: footfall. Its own variance over that of the others, where it lies far off.
	beta     *mat.VecDense
	betaCov  *mat.Dense // Of beta.
	x        *mat.Dense
	solved   *mat.VecDense // V⁻¹(y − Xβ).
	inverse  *mat.SymDense // V⁻¹.
	y        *mat.VecDense
	jacobian [][2][2]float64  // (along, left) by picture (x, y).
	offsets  [][2][2]float64  // What a metre on the hoof across the line of sight makes. Index: footfall, across or up, (along, left).
	cameras  *mat.Dense       // Columns: one standard deviation of the camera each.
	shared   [2]*mat.SymDense // Covariance of footfalls' offsets on the hoof for clicks of 1 px: across, down.
	below    []float64        // Mean of the offset down the picture, metres on the hoof. Index: footfall.
	click    float64          // How far clicks are off along each axis, px, as the marks of the clip tell.
	unit     float64          // Metres a unit of length is worth.
	prior    errormodel.Model
	stretch  float64          // Of standard deviations.
	parts    [3]*mat.SymDense // Of V: the cameras; the advance's wander; the offsets; each but for its variance.
}

// The variance parameters, as logarithms.
const (
	alongSD = iota
	leftSD
	speedSD
	statedShare
	clickOff
	parameters
)

func (f *runFit) priors() [parameters]float64 {
	return [parameters]float64{
		alongSD: math.Log(f.prior.Run.StrideAlongM / f.unit), leftSD: math.Log(f.prior.Run.StrideAcrossM / f.unit), speedSD: math.Log(f.prior.Run.SpeedM / f.unit),
		statedShare: math.Log(f.prior.Run.StatedShare), clickOff: math.Log(f.click),
	}
}

// fitRun fits the model; nil where the footfalls are too few for it. The camera's
// variants are those of geometry.Calibration.
func fitRun(falls []footfall, cam geometry.Camera, variants []geometry.Camera, toward bool, marks clicked, scale, unit float64, prior errormodel.Model) *runFit {
	f := &runFit{falls: falls, click: prior.Click.PriorPX * scale, unit: unit, prior: prior}
	if !f.start(cam, variants, toward, marks) {
		return nil
	}
	// Far-off placements first, at the spreads expected beforehand, so that they do not
	// make all others look uncertain.
	for range 12 {
		if !f.solve() || !f.doubt() {
			break
		}
	}
	for range 2 {
		if !f.maximise() || !f.solve() {
			return nil
		}
		if !f.doubt() {
			break
		}
	}
	if !f.solve() {
		return nil
	}
	return f
}

// start fits the model at the spreads expected beforehand and sets the line of travel.
func (f *runFit) start(cam geometry.Camera, variants []geometry.Camera, toward bool, marks clicked) bool {
	if !f.startLine(cam, toward) {
		return false
	}
	f.offsetsOf(cam, marks)
	start := f.priors()
	f.theta, f.worse = start[:], slices.Repeat([]float64{1}, len(f.falls))
	for range 2 { // The line's direction, then everything in its frame.
		if !f.design(cam, variants) || !f.solve() {
			return false
		}
		f.turn()
	}
	return f.design(cam, variants) && f.solve()
}

// design fills the model in the line's frame.
func (f *runFit) design(cam geometry.Camera, variants []geometry.Camera) bool {
	n := len(f.falls)
	columns := f.drift + 1
	if f.bowed {
		columns++
	}
	f.x = mat.NewDense(2*n, columns, nil)
	f.y = mat.NewVecDense(2*n, nil)
	f.cameras = mat.NewDense(2*n, max(1, len(variants)/2), nil)
	f.jacobian = make([][2][2]float64, n)
	f.offsets = make([][2][2]float64, n)
	for i, p := range f.falls {
		gx, gy, ok := cam.GroundPoint(p.at)
		if !ok {
			return false
		}
		along, left := f.line.Along(gx, gy)
		u, limb := p.beat-f.middle, f.limbs[p.limb]
		f.x.Set(2*i, 0, u)
		f.x.Set(2*i, limb, 1)
		f.x.Set(2*i+1, limb+1, 1)
		f.x.Set(2*i+1, f.drift, u)
		if f.bowed {
			f.x.Set(2*i+1, f.drift+1, sq(u/f.half)-1.0/3)
		}
		j, per := cam.GroundJacobian(p.at), perMetre(cam, p.at)
		for c := range 2 {
			f.jacobian[i][0][c] = f.line.DX*j[0][c] + f.line.DY*j[1][c]
			f.jacobian[i][1][c] = f.line.DX*j[1][c] - f.line.DY*j[0][c]
			f.offsets[i][c] = [2]float64{per * f.jacobian[i][0][c], per * f.jacobian[i][1][c]}
		}
		f.y.SetVec(2*i, along-f.below[i]*f.offsets[i][1][0])
		f.y.SetVec(2*i+1, left-f.below[i]*f.offsets[i][1][1])
		for c := 0; c+1 < len(variants); c += 2 {
			x1, y1, ok1 := variants[c].GroundPoint(p.at)
			x0, y0, ok0 := variants[c+1].GroundPoint(p.at)
			if !ok1 || !ok0 {
				return false
			}
			a1, l1 := f.line.Along(x1, y1)
			a0, l0 := f.line.Along(x0, y0)
			f.cameras.Set(2*i, c/2, (a1-a0)/2)
			f.cameras.Set(2*i+1, c/2, (l1-l0)/2)
		}
	}
	f.prepare()
	return true
}

// prepare sets the parts of V that do not depend on theta but for a factor.
func (f *runFit) prepare() {
	n := len(f.falls)
	for q := range f.parts {
		f.parts[q] = mat.NewSymDense(2*n, nil)
	}
	f.parts[0].SymOuterK(1, f.cameras)
	for i := range n {
		for j := i; j < n; j++ {
			f.parts[1].SetSym(2*i, 2*j, f.wander(i, j))
			across, down := f.shared[0].At(i, j), f.shared[1].At(i, j)
			for a := range 2 {
				for b := range 2 {
					if i == j && b < a {
						continue
					}
					f.parts[2].SetSym(2*i+a, 2*j+b, across*f.offsets[i][0][a]*f.offsets[j][0][b]+down*f.offsets[i][1][a]*f.offsets[j][1][b])
				}
			}
		}
	}
}

// variance returns V, the covariance of what is seen about the fixed effects.
func (f *runFit) variance(theta []float64) *mat.SymDense {
	var v, offsets mat.SymDense
	v.ScaleSym(math.Exp(2*theta[speedSD]), f.parts[1])
	v.AddSym(f.parts[0], &v)
	offsets.ScaleSym(math.Exp(2*theta[clickOff]), f.parts[2])
	v.AddSym(&v, &offsets)
	for i := range f.falls {
		own := f.own(theta, i)
		for a := range 2 {
			for b := a; b < 2; b++ {
				v.SetSym(2*i+a, 2*i+b, v.At(2*i+a, 2*i+b)+own[a][b])
			}
		}
	}
	return &v
}

// wander is the covariance of the spline part of the advance at two footfalls, but for
// its variance: that of an integrated Wiener process from the first beat.
func (f *runFit) wander(i, j int) float64 {
	a, b := f.falls[i].beat-f.middle+f.half, f.falls[j].beat-f.middle+f.half
	m, l := min(a, b), max(a, b)
	return m * m * (3*l - m) / 6
}

// own is the covariance of what belongs to footfall i alone: its stride and its place
// in the picture.
func (f *runFit) own(theta []float64, i int) (c [2][2]float64) {
	p := f.falls[i]
	share := math.Exp(2 * theta[statedShare])
	for a := range 2 {
		for b := range 2 {
			for q := range 2 {
				c[a][b] += share * sq(p.sd[q]) * f.jacobian[i][a][q] * f.jacobian[i][b][q]
			}
			if a == b {
				c[a][a] += math.Exp(2 * theta[alongSD+a])
			}
			c[a][b] *= f.worse[i]
		}
	}
	return c
}

// normal is the model's normal equations at some theta.
type normal struct {
	value float64           // −2·log of the restricted likelihood times the priors.
	v     blas64.Triangular // Cholesky factor of V.
	xvx   blas64.Triangular // Of X'V⁻¹X.
	beta  *mat.VecDense     // The fixed effects.
}

// Factors are LAPACK's own: mat.Cholesky also estimates condition numbers, which takes half as
// long again and would only warn, as the scales of metres and of what is hardly known give large
// ones by themselves.

// column returns v as a matrix of one column.
func column(v *mat.VecDense) blas64.General {
	return blas64.General{Rows: v.Len(), Cols: 1, Stride: 1, Data: v.RawVector().Data}
}

// logDet returns the logarithm of the determinant of the matrix with Cholesky factor u.
func logDet(u blas64.Triangular) (sum float64) {
	for i := range u.N {
		sum += 2 * math.Log(u.Data[i*u.Stride+i])
	}
	return sum
}

// at sets up the normal equations at theta; its value is infinite where V is no
// covariance.
func (f *runFit) at(theta []float64) *normal {
	n := &normal{value: math.Inf(1)}
	var ok bool
	if n.v, ok = lapack64.Potrf(f.variance(theta).RawSymmetric()); !ok {
		return n
	}
	vx, vy := mat.DenseCopyOf(f.x), mat.VecDenseCopyOf(f.y) // V⁻¹X and V⁻¹y.
	lapack64.Potrs(n.v, vx.RawMatrix())
	lapack64.Potrs(n.v, column(vy))
	var cross mat.Dense
	var xy mat.VecDense
	cross.Mul(f.x.T(), vx)
	xy.MulVec(vx.T(), f.y)
	if n.xvx, ok = lapack64.Potrf(symmetric(&cross).RawSymmetric()); !ok {
		return n
	}
	n.beta = mat.VecDenseCopyOf(&xy)
	lapack64.Potrs(n.xvx, column(n.beta))
	value := logDet(n.v) + logDet(n.xvx) + mat.Dot(f.y, vy) - mat.Dot(n.beta, &xy)
	for k, m := range f.priors() {
		doubt := f.prior.Run.Doubt
		if k == clickOff {
			doubt = f.prior.Click.Doubt
		}
		value += sq((theta[k] - m) / doubt)
	}
	if !math.IsNaN(value) {
		n.value = value
	}
	return n
}

// symmetric returns a matrix that is symmetric but for rounding as one that is.
func symmetric(a *mat.Dense) *mat.SymDense {
	n, _ := a.Dims()
	out := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			out.SetSym(i, j, (a.At(i, j)+a.At(j, i))/2)
		}
	}
	return out
}

// maximise sets theta to what is likeliest.
func (f *runFit) maximise() bool {
	value := func(theta []float64) float64 { return f.at(theta).value }
	problem := optimize.Problem{Func: value, Grad: func(gradient, theta []float64) {
		fd.Gradient(gradient, value, theta, &fd.Settings{Formula: fd.Central, Step: 1e-3})
	}}
	result, err := optimize.Minimize(problem, f.theta, &optimize.Settings{GradientThreshold: 1e-3, MajorIterations: 40}, &optimize.BFGS{})
	if result == nil || err != nil && math.IsInf(result.F, 0) {
		return false
	}
	f.theta = slices.Clone(result.X)
	return true
}

// solve fits the fixed effects at theta.
func (f *runFit) solve() bool {
	n := f.at(f.theta)
	if math.IsInf(n.value, 1) {
		return false
	}
	inverse, ok := lapack64.Potri(n.v)
	betaCov, ok1 := lapack64.Potri(n.xvx)
	if !ok || !ok1 {
		return false
	}
	f.beta, f.inverse = n.beta, mat.NewSymDense(inverse.N, inverse.Data)
	f.betaCov = mat.DenseCopyOf(mat.NewSymDense(betaCov.N, betaCov.Data))
	var r mat.VecDense
	r.MulVec(f.x, f.beta)
	r.SubVec(f.y, &r)
	f.solved = new(mat.VecDense)
	f.solved.MulVec(f.inverse, &r)
	return true
}

// target is a combination of fixed effects and of what the strides of the run did.
type target struct {
	fixed  []float64 // Index: fixed effect.
	stride []float64 // Index: 2·footfall along, 2·footfall + 1 left. Of stride(i).
	smooth []float64 // Index: as stride. Of the spline part of the advance.
}

func (f *runFit) target() target {
	return target{make([]float64, f.beta.Len()), make([]float64, 2*len(f.falls)), make([]float64, 2*len(f.falls))}
}

// sum returns the sum of footfalls' places along or left (direction 0 or 1), each times its weight.
func (f *runFit) sum(falls []int, direction int, weights ...float64) target {
	t := f.target()
	for q, i := range falls {
		row, w := 2*i+direction, weights[q]
		floats.AddScaled(t.fixed, w, f.x.RawRowView(row))
		t.stride[row] += w
		if direction == 0 {
			t.smooth[row] += w
		}
	}
	return t
}

// predict returns the best value of t and its standard deviation, metres. The variances
// behind it are estimates from so many footfalls, so it is stretched to what Student's t
// makes of a 95 % interval.
func (f *runFit) predict(t target) (value, sd float64) {
	var cov mat.VecDense // Between the random part and what was seen.
	smooth := mat.NewVecDense(len(t.smooth), t.smooth)
	cov.MulVec(f.parts[1], smooth)
	cov.ScaleVec(math.Exp(2*f.theta[speedSD]), &cov)
	self := mat.Dot(smooth, &cov)
	for i, w := range t.stride {
		v := math.Exp(2 * f.theta[alongSD+i%2])
		cov.SetVec(i, cov.AtVec(i)+w*v)
		self += w * w * v
	}
	fixed := mat.NewVecDense(len(t.fixed), t.fixed)
	value = mat.Dot(fixed, f.beta) + mat.Dot(&cov, f.solved)
	var vc, left mat.VecDense
	vc.MulVec(f.inverse, &cov)
	left.MulVec(f.x.T(), &vc)
	left.SubVec(fixed, &left)
	variance := self - mat.Dot(&cov, &vc) + mat.Inner(&left, f.betaCov, &left)
	sd = f.stretch * math.Sqrt(max(0, variance))
	if sum := floats.Sum(t.smooth); math.Abs(sum) < 1e-9 {
		// A length is as wrong as the ground marks' own are; a place is told from the camera.
		sd = math.Hypot(sd, f.prior.Camera.TapeShare*value)
	}
	return value, sd
}

// whose is which of two questions a mean answers: how the horse goes, of which the
// run's strides are a sample, or how it went in these.
type whose int

const (
	ofHorse whose = iota
	ofRun
)

// meanOf adds w times limb k's mean along the line.
func (f *runFit) meanOf(t *target, k int, w float64, who whose) {
	t.fixed[f.limbs[k]] += w
	if who == ofHorse {
		return
	}
	var falls []int
	for i, p := range f.falls {
		if p.limb == k && !f.wild(i) {
			falls = append(falls, i)
		}
	}
	for _, i := range falls {
		t.stride[2*i] += w / float64(len(falls))
	}
}

// advance adds w times the run's mean advance a beat.
func (f *runFit) advance(t *target, w float64) {
	t.fixed[0] += w
	t.smooth[2*f.last] += w / (2 * f.half)
	t.smooth[2*f.first] -= w / (2 * f.half)
}
