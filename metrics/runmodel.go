package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/stats"
	"jogstrip/track/errormodel"
)

// footfall is one stance as the model of a run takes it.
type footfall struct {
	limb int     // Index of limbs.
	beat float64 // In strides.
	at   geometry.Point
	sd   [2]float64 // Of the picture place, px, as tracking states it.
}

// limbTerms are the fixed effects of a limb: along and to the left.
const limbTerms = 2

// runFit is the model of one run fitted to its footfalls: where each hoof landed,
// along the line of travel (forward) and to its left, metres,
//
//	along(i) = advance(beat) + lead(limb) + stride(i)
//	left(i)  = place(limb) + bow·((beat − middle)/half)² + stride(i)
//	seen(i)  = true(i) + J(i)·(picture error + hoof offset(limb)·F/Z) + camera
//
// The advance is a straight line and a smoothing spline (Wahba 1978, J R Stat Soc B
// 40:364–372, as a random effect), stride(i) is normal, an offset has a prior from the
// clicks, the camera one from the ground marks. The variances are those of highest
// restricted likelihood (Patterson & Thompson 1971, Biometrika 58:545–554) under the
// priors of errormodel.Run; sources from memory. Fixed effects are generalised least squares,
// random ones best linear unbiased predictions with their full covariance
// (Henderson 1975, Biometrics 31:423–447).
type runFit struct {
	falls    []footfall
	limbs    [4]int // Index of the limb's first fixed effect, −1 where it has none.
	line     Line
	bowed    bool // Whether there is a fixed effect for the bow.
	middle   float64
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
	prior = prior.OrUsual()
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
	f.theta = start[:]
	f.worse = make([]float64, len(f.falls))
	for i := range f.worse {
		f.worse[i] = 1
	}
	for range 2 { // The line's direction, then everything in its frame.
		if !f.design(cam, variants) || !f.solve() {
			return false
		}
		f.turn()
	}
	return f.design(cam, variants) && f.solve()
}

// offsetsOf sets what is known of the offsets on the hooves beforehand.
func (f *runFit) offsetsOf(cam geometry.Camera, marks clicked) {
	mean, down := marks.down(f.click, f.prior.Click.MirrorM/f.unit)
	n := len(f.falls)
	f.shared = [2]*mat.SymDense{mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)}
	f.below = make([]float64, n)
	shares := make([]*mat.VecDense, n)
	for i, p := range f.falls {
		shares[i] = marks.shares(p.limb, perMetre(cam, p.at), f.prior.Click.Nearest)
		f.below[i] = mat.Dot(shares[i], mean)
	}
	for i := range n {
		for j := i; j < n; j++ {
			f.shared[0].SetSym(i, j, mat.Dot(shares[i], shares[j]))
			f.shared[1].SetSym(i, j, mat.Inner(shares[i], down, shares[j]))
		}
	}
}

// startLine lays a first line through the footfalls: its direction is set by turn.
func (f *runFit) startLine(cam geometry.Camera, toward bool) bool {
	n := len(f.falls)
	var x, y float64
	first, last := math.Inf(1), math.Inf(-1)
	f.limbs = [4]int{-1, -1, -1, -1}
	next := 1 // The advance a beat comes first.
	seen := 0
	for _, p := range f.falls {
		gx, gy, ok := cam.GroundPoint(p.at)
		if !ok {
			return false
		}
		x, y = x+gx, y+gy
		first, last = min(first, p.beat), max(last, p.beat)
		if f.limbs[p.limb] < 0 {
			f.limbs[p.limb] = next
			next += limbTerms
			seen++
		}
	}
	if n < seen+2 || last-first < 0.9 {
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

// design fills the model in the line's frame.
func (f *runFit) design(cam geometry.Camera, variants []geometry.Camera) bool {
	n := len(f.falls)
	columns := 2 // Advance a beat, drift to the left a beat.
	for _, k := range f.limbs {
		if k >= 0 {
			columns += limbTerms
		}
	}
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
		f.designRow(i)
		j := cam.GroundJacobian(p.at)
		for c := range 2 {
			f.jacobian[i][0][c] = f.line.DX*j[0][c] + f.line.DY*j[1][c]
			f.jacobian[i][1][c] = f.line.DX*j[1][c] - f.line.DY*j[0][c]
		}
		per := perMetre(cam, p.at)
		for c := range 2 {
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

// designRow sets what the fixed effects make of footfall i.
func (f *runFit) designRow(i int) {
	_, columns := f.x.Dims()
	u := f.falls[i].beat - f.middle
	limb := f.limbs[f.falls[i].limb]
	f.x.Set(2*i, 0, u)
	f.x.Set(2*i, limb, 1)
	f.x.Set(2*i+1, limb+1, 1)
	if f.bowed {
		f.x.Set(2*i+1, columns-1, sq(u/f.half)-1.0/3)
	}
	f.x.Set(2*i+1, f.driftTerm(), u)
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
	n := 2 * len(f.falls)
	v := mat.NewSymDense(n, nil)
	to, cameras, wander, offsets := v.RawSymmetric(), f.parts[0].RawSymmetric(), f.parts[1].RawSymmetric(), f.parts[2].RawSymmetric()
	a, b := math.Exp(2*theta[speedSD]), math.Exp(2*theta[clickOff])
	for i := range n {
		for j := i * (n + 1); j < (i+1)*n; j++ { // The upper triangle.
			to.Data[j] = cameras.Data[j] + a*wander.Data[j] + b*offsets.Data[j]
		}
	}
	for i := range f.falls {
		own := f.own(theta, i)
		for a := range 2 {
			for b := a; b < 2; b++ {
				v.SetSym(2*i+a, 2*i+b, v.At(2*i+a, 2*i+b)+own[a][b])
			}
		}
	}
	return v
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
		}
	}
	c[0][0] += math.Exp(2 * theta[alongSD])
	c[1][1] += math.Exp(2 * theta[leftSD])
	for a := range 2 {
		for b := range 2 {
			c[a][b] *= f.worse[i]
		}
	}
	return c
}

// normal is the model's normal equations at some theta.
type normal struct {
	value float64      // −2·log of the restricted likelihood times the priors.
	v     mat.Cholesky // V.
	vx    mat.Dense    // V⁻¹X.
	xvx   mat.Cholesky // X'V⁻¹X.
	beta  mat.VecDense // The fixed effects.
}

// at sets up the normal equations at theta; its value is infinite where V is no
// covariance.
func (f *runFit) at(theta []float64) *normal {
	n := &normal{value: math.Inf(1)}
	var vy, xy mat.VecDense
	if !n.v.Factorize(f.variance(theta)) || !solved(n.v.SolveTo(&n.vx, f.x)) || !solved(n.v.SolveVecTo(&vy, f.y)) {
		return n
	}
	var cross mat.Dense
	cross.Mul(f.x.T(), &n.vx)
	xy.MulVec(n.vx.T(), f.y)
	if !n.xvx.Factorize(symmetric(&cross)) || !solved(n.xvx.SolveVecTo(&n.beta, &xy)) {
		return n
	}
	value := n.v.LogDet() + n.xvx.LogDet() + mat.Dot(f.y, &vy) - mat.Dot(&n.beta, &xy)
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

// solved reports whether err is none, or a warning of a large condition number, which the
// scales of metres and of what is hardly known give by themselves.
func solved(err error) bool {
	c, ok := err.(mat.Condition)
	return err == nil || ok && !math.IsInf(float64(c), 0)
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
	var inverse, betaCov mat.SymDense
	if math.IsInf(n.value, 1) || !solved(n.v.InverseTo(&inverse)) || !solved(n.xvx.InverseTo(&betaCov)) {
		return false
	}
	f.beta = &n.beta
	var r mat.VecDense
	r.MulVec(f.x, f.beta)
	r.SubVec(f.y, &r)
	f.solved = new(mat.VecDense)
	f.solved.MulVec(&inverse, &r)
	f.inverse = &inverse
	f.betaCov = mat.DenseCopyOf(&betaCov)
	return true
}

// turn sets the line of travel: midway between left and right of each girdle that has
// both, and midway between those, in the direction of the mean advance.
func (f *runFit) turn() {
	advance, drift := f.beta.AtVec(0), f.beta.AtVec(f.driftTerm())
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

func (f *runFit) driftTerm() int {
	_, columns := f.x.Dims()
	if f.bowed {
		return columns - 2
	}
	return columns - 1
}

// both reports whether both limbs of girdle g were placed.
func (f *runFit) both(g int) bool { return f.limbs[2*g] >= 0 && f.limbs[2*g+1] >= 0 }

// pairs returns of how many girdles both limbs were placed.
func (f *runFit) pairs() (n int) {
	for g := range 2 {
		if f.both(g) {
			n++
		}
	}
	return n
}

// midline returns the weight of each limb's mean place in the line of travel.
func (f *runFit) midline() (w [4]float64) {
	pairs, seen := float64(f.pairs()), 0.0
	for _, k := range f.limbs {
		if k >= 0 {
			seen++
		}
	}
	for k := range w {
		switch {
		case pairs > 0 && f.both(k/2):
			w[k] = 1 / (2 * pairs)
		case pairs == 0 && f.limbs[k] >= 0:
			w[k] = 1 / seen
		}
	}
	return w
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
