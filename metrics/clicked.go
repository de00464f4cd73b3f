package metrics

import (
	"math"

	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics/geometry"
)

// clicked is what is known of the clicks on the hooves beforehand.
type clicked struct {
	per   [4][]float64 // How many px a metre across the line of sight is worth at each mark. Index: limb, mark.
	pairs []pairedMarks
}

// pairedMarks is how a mark of a left hoof and one of the right hoof that is its mirror image
// differ: how far down on the hoof the left one lies from the right one, metres.
type pairedMarks struct {
	limb     [2]int // Left, right.
	mark     [2]int // Which of the limb's marks, likewise.
	down, sd float64
}

// first returns where limb k's clicks begin in a list of all.
func (m *clicked) first(k int) int {
	n := 0
	for _, c := range m.per[:k] {
		n += len(c)
	}
	return n
}

// shares returns what each click makes of the offset on the hoof, metres a px, of a limb at a
// footfall where a metre is worth p px: it goes by all marks of the limb, by those with more
// px a metre the more and by those of another size the less. Index: click.
func (m *clicked) shares(limb int, p, nearest float64) *mat.VecDense {
	out := mat.NewVecDense(m.first(len(m.per)), nil)
	first, sum := m.first(limb), 0.0
	for i, c := range m.per[limb] {
		w := c * c * math.Pow(min(p/c, c/p), nearest)
		out.SetVec(first+i, w/c)
		sum += w
	}
	if sum > 0 {
		out.ScaleVec(1/sum, out)
	}
	return out
}

// down returns what the pairs say of how far down each click lies: its mean, px, and the
// covariance that is left, px² for clicks of 1 px. Clicks are off by so many px beforehand;
// all pairs of a girdle are off by mirror together, metres on the hoof. Pairs share the
// pictures they are registered from, so that together they tell no more than as many as
// there are marks would. It is a linear regression with a normal prior.
func (m *clicked) down(click, mirror float64) (mean *mat.VecDense, cov *mat.SymDense) {
	n, q := m.first(len(m.per)), len(m.pairs)
	mean, cov = mat.NewVecDense(max(n, 1), nil), mat.NewSymDense(max(n, 1), nil)
	for i := range n {
		cov.SetSym(i, i, 1)
	}
	if q == 0 || click <= 0 {
		return mean, cov
	}
	h, d, v := mat.NewDense(q, n, nil), mat.NewVecDense(q, nil), mat.NewSymDense(q, nil)
	for i, p := range m.pairs {
		for side, sign := range [2]float64{1, -1} {
			k := p.limb[side]
			h.Set(i, m.first(k)+p.mark[side], sign/m.per[k][p.mark[side]])
		}
		d.SetVec(i, p.down/click)
		same := 0
		for j, o := range m.pairs {
			if o.limb == p.limb {
				same++
				v.SetSym(i, j, sq(mirror/click))
			}
		}
		most := max(len(m.per[p.limb[0]]), len(m.per[p.limb[1]]))
		v.SetSym(i, i, v.At(i, i)+sq(p.sd/click)*max(1, float64(same)/float64(most)))
	}
	var hht mat.SymDense
	hht.SymOuterK(1, h)
	v.AddSym(v, &hht)
	u, ok := lapack64.Potrf(v.RawSymmetric())
	if !ok {
		return mean, cov
	}
	gain := mat.DenseCopyOf(h) // Transposed: V⁻¹H.
	lapack64.Potrs(u, gain.RawMatrix())
	mean.MulVec(gain.T(), d)
	mean.ScaleVec(click, mean)
	var told mat.Dense
	told.Mul(h.T(), gain)
	less := symmetric(&told)
	less.ScaleSym(-1, less)
	cov.AddSym(cov, less)
	return mean, cov
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
