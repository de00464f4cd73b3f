package signal

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// LinearFit is a sum of known terms, each times a coefficient, fitted by weighted least
// squares.
type LinearFit struct {
	Coefficients []float64
	// ResidualSD is the root mean square of the weighted residuals over their degrees of
	// freedom, in units of the standard deviations given.
	ResidualSD float64

	cov *mat.SymDense // Of the coefficients, for the standard deviations given.
}

// FitLinear fits the samples x, weighted by 1/sd². Index of terms: sample, term. Each
// coefficient is pulled to 0 by the share pull of what the samples know of it, which
// settles those that they leave open. It returns an error where they do not determine the
// coefficients.
func FitLinear(terms [][]float64, x, sd []float64, pull float64) (*LinearFit, error) {
	n, p := len(x), len(terms[0])
	design, values := mat.NewDense(n, p, nil), mat.NewVecDense(n, nil)
	for i, row := range terms {
		into := design.RawRowView(i)
		for k, v := range row {
			into[k] = v / sd[i]
		}
		values.SetVec(i, x[i]/sd[i])
	}
	var normal mat.SymDense
	normal.SymOuterK(1, design.T())
	for k := range p {
		normal.SetSym(k, k, normal.At(k, k)*(1+pull))
	}
	var chol mat.Cholesky
	if !chol.Factorize(&normal) || chol.Cond() > 1e10 {
		return nil, errors.New("the samples do not determine the coefficients")
	}
	var g, q, r mat.VecDense
	g.MulVec(design.T(), values)
	f := &LinearFit{cov: mat.NewSymDense(p, nil)}
	if err := errors.Join(chol.SolveVecTo(&q, &g), chol.InverseTo(f.cov)); err != nil {
		return nil, err
	}
	r.MulVec(design, &q)
	r.SubVec(values, &r)
	f.Coefficients, f.ResidualSD = q.RawVector().Data, math.Sqrt(mat.Dot(&r, &r)/float64(n-p))
	return f, nil
}

// At returns the sum for the given terms.
func (f *LinearFit) At(terms []float64) float64 { return floats.Dot(f.Coefficients, terms) }

// SD returns the standard deviation of At(terms) for the standard deviations given to the
// fit.
func (f *LinearFit) SD(terms []float64) float64 {
	v := mat.NewVecDense(len(terms), terms)
	return math.Sqrt(max(0, mat.Inner(v, f.cov, v)))
}
