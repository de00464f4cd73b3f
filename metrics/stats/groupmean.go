package stats

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// ErrTooFew is returned where the values carry no information on their own
// spread.
var ErrTooFew = errors.New("too few values for an interval")

// Group is the values of one run.
type Group struct {
	Values []float64 // Index: value. NaN is not allowed.
	SDs    []float64 // Known error of each value, one standard deviation; nil or 0: none known.
	// CommonSD is the known error that all values of the group share.
	CommonSD float64
}

// MeanOptions says what is known beforehand.
type MeanOptions struct {
	// GroupSD is how much groups usually differ, one standard deviation; 0: not known.
	GroupSD float64
	// GroupDF is how many degrees of freedom that knowledge is worth; 0: none. Infinite
	// with a GroupSD of 0 asks for the mean of just these groups, the only one that has an
	// interval where there is one group and nothing is known beforehand.
	GroupDF float64
	// NeighbourCorrelation is the correlation between neighbouring values of a
	// group that comes from how they are computed; 0: independent.
	NeighbourCorrelation float64
	// ValueSD is how much values of one group differ at the least beyond their known errors.
	// It keeps the few values known best from standing for all; the width of the interval
	// comes from the values. 0: not known.
	ValueSD float64
	// KnownWithin says that the SDs are all there is to know of the spread within
	// a group, so that single values have an interval too.
	KnownWithin bool
}

// MeanEstimate is a mean with its 95 % interval.
type MeanEstimate struct {
	Value, Low, High float64
	SE               float64
	DF               float64 // High − Value = t(0.975, DF)·SE.
	PlainSE          float64 // Without what few values and unknown variances add: its square is unbiased.
	Values, Groups   int
}

// GroupMean returns the precision-weighted mean of all groups and its 95 %
// interval.
//
// Each value is weighted by 1/(s² + e²), e its known error and s the spread within groups
// beyond the known errors, which makes the weighted sum of squares equal to its degrees of
// freedom (Paule & Mandel 1982, J Res Natl Bur Stand 87:377–385; from memory) and is at least
// ValueSD. Where the values scatter less than that, the variance of a group's mean shrinks by
// the ratio (Birge 1932, Phys Rev 40:207–227; from memory).
//
// Each group mean is weighted by w = 1/(g² + c² + k·v), g the usual spread of groups, c its
// common error, v the variance of its mean and k what few values cost:
// (t(0.975, degrees of freedom within)/t(0.975, ν))², at least 1. The half-width is
//
//	t(0.975, ν + groups − 1)·√(q/Σw),  q = (ν + Σ w·(group mean − mean)²)/(ν + groups − 1)
//
// with ν the degrees of freedom of what was known beforehand, and never below what the known
// errors alone demand. Without prior knowledge it is that of Hartung & Knapp 2001 (Stat Med
// 20:1771–1782) and Sidik & Jonkman 2002 (Stat Med 21:3153–3159), with one group Student's;
// both from memory. It keeps its coverage with one to four groups, where resampling cannot
// (metrics/STUDY.md). DF is how heavy the tails are (see Satterthwaite), for p values beyond
// the interval's 5 %.
//
// Groups without values are skipped. The error is ErrTooFew where no group has two values and
// neither KnownWithin nor two groups help.
func GroupMean(groups []Group, o MeanOptions) (MeanEstimate, error) {
	ordered := inOrder(groups)
	out := MeanEstimate{Groups: len(ordered)}
	for _, g := range ordered {
		out.Values += len(g.values)
	}
	withinDF := out.Values - out.Groups
	withinKnown := withinDF > 0 || o.KnownWithin
	if out.Groups == 0 || !withinKnown && out.Groups < 2 {
		return MeanEstimate{}, ErrTooFew
	}

	within := spreadWithin(ordered, withinDF, o)
	c := combination{prior: Variance{o.GroupSD * o.GroupSD, o.GroupDF}}
	if o.GroupDF == 0 {
		c.prior = Variance{0, math.Inf(1)}
	}
	// Without knowledge of how groups differ several groups must tell it alone.
	c.alone = out.Groups > 1 && (o.GroupDF == 0 || !withinKnown)
	stretch := 1.0 // What few values cost: k above.
	if !c.alone && !o.KnownWithin {
		stretch = math.Max(1, math.Pow(TQuantile(0.975, float64(withinDF))/TQuantile(0.975, c.prior.DF), 2))
	}
	spreadDF := math.Inf(1)
	if !o.KnownWithin && withinDF > 0 {
		spreadDF = float64(withinDF)
	}
	for _, g := range ordered {
		mean, variance, floor := within.mean(g, o)
		common := g.commonSD * g.commonSD
		w := 1.0 // How much groups differ decides how much their own precision matters.
		if !c.alone {
			w = 1 / math.Max(c.prior.Value+common+stretch*variance, math.SmallestNonzeroFloat32)
		}
		c.parts = append(c.parts, part{mean, w, c.prior.Value + common + variance})
		c.sumW += w
		c.sumFloor += 1 / (common + floor)
		c.tailDF += Satterthwaite(c.prior, Variance{common, math.Inf(1)}, Variance{variance, spreadDF}) / float64(out.Groups)
	}
	c.estimate(&out)
	return out, nil
}

// combination combines the means of groups.
type combination struct {
	prior    Variance // Between groups, as known beforehand.
	alone    bool     // Whether groups must tell alone how they differ.
	parts    []part
	sumW     float64 // Of the weights.
	sumFloor float64 // Of the weights that known errors alone would give.
	tailDF   float64 // Mean of the groups' degrees of freedom.
}

// part is a group's mean with its weight and its variance, without what few values cost.
type part struct{ mean, weight, plain float64 }

// estimate sets the mean of all and its interval.
func (c *combination) estimate(out *MeanEstimate) {
	for _, p := range c.parts {
		out.Value += p.weight / c.sumW * p.mean
	}
	var q, plainQ, plainVariance float64
	for _, p := range c.parts {
		d := p.mean - out.Value
		q += p.weight * d * d
		plainVariance += p.weight * p.weight / (c.sumW * c.sumW) * p.plain
		if p.plain > 0 {
			plainQ += d * d / p.plain
		}
	}
	between := float64(len(c.parts)) - 1
	df := c.prior.DF + between
	switch {
	case c.alone:
		q, df = q/between, between
		out.DF = between
		plainVariance = q / c.sumW
	case math.IsInf(c.prior.DF, 1):
		q = 1
		out.DF = c.tailDF
	default:
		q = (c.prior.DF + q) / df
		plainVariance *= (c.prior.DF + plainQ) / df
		out.DF = c.tailDF + between
	}
	half := math.Max(TQuantile(0.975, df)*math.Sqrt(q/c.sumW), Z95*math.Sqrt(1/c.sumFloor))
	out.Low, out.High = out.Value-half, out.Value+half
	out.SE = half / TQuantile(0.975, out.DF)
	out.PlainSE = math.Min(math.Sqrt(plainVariance), out.SE)
}

// Variance is a variance and how many degrees of freedom it is known with, infinite where it
// is known exactly.
type Variance struct{ Value, DF float64 }

// Satterthwaite returns the degrees of freedom of a sum of independent variances
// (Satterthwaite 1946, Biometrics Bull 2:110–114), infinite where all are known.
func Satterthwaite(parts ...Variance) float64 {
	var total, bottom float64
	for _, p := range parts {
		total += p.Value
		if p.Value > 0 {
			bottom += p.Value * p.Value / p.DF
		}
	}
	if bottom == 0 {
		return math.Inf(1)
	}
	return total * total / bottom
}

// within is how values differ within groups.
type within struct {
	groups []group
	excess float64 // Variance beyond the known errors, which the weights take.
	scale  float64 // Variance found over that of the weights; 1 where excess was found from the values.
}

// group is a Group in an order that depends on its content only, so that sums round alike
// however the input is ordered.
type group struct {
	values   []known
	commonSD float64
}

// known is a value, its known error, one standard deviation, and what the weights take as
// that, squared.
type known struct{ value, sd, error float64 }

func (k known) compare(o known) int {
	return cmp.Or(cmp.Compare(k.value, o.value), cmp.Compare(k.sd, o.sd))
}

// inOrder returns the groups that have values, in an order that depends on their content
// only as well.
func inOrder(groups []Group) []group {
	var out []group
	for _, g := range groups {
		if len(g.Values) == 0 {
			continue
		}
		o := group{commonSD: g.CommonSD}
		for k, v := range g.Values {
			x := known{value: v}
			if g.SDs != nil && g.SDs[k] > 0 && !math.IsInf(g.SDs[k], 0) {
				x.sd, x.error = g.SDs[k], g.SDs[k]*g.SDs[k]
			}
			o.values = append(o.values, x)
		}
		slices.SortFunc(o.values, known.compare)
		out = append(out, o)
	}
	slices.SortFunc(out, func(a, b group) int {
		return cmp.Or(slices.CompareFunc(a.values, b.values, known.compare), cmp.Compare(a.commonSD, b.commonSD))
	})
	return out
}

func spreadWithin(groups []group, df int, o MeanOptions) within {
	w := within{groups: groups, scale: 1}
	var ss, largest float64
	for _, g := range groups {
		values := make([]float64, len(g.values))
		for i, k := range g.values {
			values[i], largest = k.value, math.Max(largest, k.error)
		}
		ss += sumSquares(values)
	}
	// A value said to be a thousand times better than another is not believed.
	const believed = 1e-6
	for _, g := range groups {
		for i := range g.values {
			g.values[i].error = math.Max(g.values[i].error, believed*largest)
		}
	}
	least := o.ValueSD * o.ValueSD
	switch {
	case o.KnownWithin || df <= 0:
	case largest == 0:
		total := ss / float64(df) // Variance of values around their group's mean, all sources.
		if w.excess = math.Max(least, total); w.excess > 0 {
			w.scale = total / w.excess
		}
	default:
		w.solve(least, float64(df))
	}
	return w
}

// solve sets excess, at least the given variance, so that the weighted sum of
// squares is its degrees of freedom, and scale to what is left of it. The sum
// falls with excess and is convex, so Newton's steps from below never pass the
// solution.
func (w *within) solve(least, df float64) {
	w.excess = least
	for range 100 {
		var q, slope float64
		for _, g := range w.groups {
			mean, _ := w.weighted(g.values)
			for _, k := range g.values {
				d, v := k.value-mean, w.excess+k.error
				q += d * d / v
				slope += d * d / (v * v)
			}
		}
		w.scale = q / df
		step := (q - df) / slope
		if !(step > 1e-13*w.excess) {
			return
		}
		w.excess += step
	}
}

// weighted returns a group's weighted mean and the sum of weights.
func (w *within) weighted(g []known) (mean, sum float64) {
	var rest float64
	for _, k := range g {
		v := 1.0
		if x := w.excess + k.error; x > 0 {
			v = 1 / x
		}
		sum += v
		rest += v * (k.value - g[0].value)
	}
	return g[0].value + rest/sum, sum
}

// mean returns the weighted mean of a group, its variance and the variance the known errors
// alone would give it.
func (w *within) mean(g group, o MeanOptions) (mean, variance, floor float64) {
	mean, sum := w.weighted(g.values)
	variance = w.scale / sum
	if w.excess == 0 && g.values[0].error == 0 {
		variance = 0
	}
	var sumFloor float64
	for _, k := range g.values {
		sumFloor += 1 / (k.sd * k.sd)
	}
	if rho, f := o.NeighbourCorrelation, float64(len(g.values)); rho != 0 && f > 1 {
		variance *= (1 + 2*rho*(f-1)/f) / (1 - 2*rho/f)
	}
	return mean, variance, 1 / sumFloor
}
