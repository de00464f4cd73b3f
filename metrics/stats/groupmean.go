package stats

import (
	"errors"
	"math"
	"sort"
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
	// GroupDF is how many degrees of freedom that knowledge is worth; 0: none.
	GroupDF float64
	// NeighbourCorrelation is the correlation between neighbouring values of a
	// group that comes from how they are computed; 0: independent.
	NeighbourCorrelation float64
	// WithinOnly asks for the mean of just these groups: how groups differ does
	// not enter. It is the only interval one group alone supports without GroupSD.
	WithinOnly bool
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
	GroupMeans       []float64 // Index: group, in the order given.
	GroupSEs         []float64 // Error of each group's mean, its common error included, how groups differ not.
	PriorDF          float64   // The part of DF that was known beforehand or comes from the spread within.
	GroupWeights     []float64 // Sum 1.
	StrideSD         float64   // Spread of values within groups, pooled; NaN where unknown.
}

// GroupMean returns the precision-weighted mean of all groups and its 95 %
// interval.
//
// Each value is weighted by 1/(s² + e²), s the spread within groups beyond the
// known errors e; each group mean by w = 1/(g² + c² + k·v), g the usual spread of
// groups, c its common error, v the variance of its mean and k what few values
// cost: (t(0.975, degrees of freedom within)/t(0.975, ν))², at least 1. The
// half-width is
//
//	t(0.975, ν + groups − 1)·√(q/Σw),  q = (ν + Σ w·(group mean − mean)²)/(ν + groups − 1)
//
// with ν the degrees of freedom of what was known beforehand. Without prior
// knowledge this is the interval of Hartung & Knapp 2001 (Stat Med
// 20:3875–3889) and Sidik & Jonkman 2002 (Stat Med 21:3153–3159), with one group
// and WithinOnly Student's; both from memory. It is closed, so it does not jitter
// with a seed, and it keeps its coverage with one to four groups, where
// resampling two or three groups cannot: see the study in STUDY.md beside
// package metrics.
//
// The half-width is never below what the known errors alone demand. DF is how
// heavy the tails are (Satterthwaite 1946, Biometrics Bull 2:110–114), for
// p values beyond the interval's 5 %.
//
// Groups without values are skipped. The error is ErrTooFew where no group has
// two values and neither KnownWithin nor two groups help.
func GroupMean(groups []Group, o MeanOptions) (MeanEstimate, error) {
	order := canonical(groups)
	var n, withinDF int
	for _, i := range order {
		n += len(groups[i].Values)
		withinDF += len(groups[i].Values) - 1
	}
	r := len(order)
	if r == 0 {
		return MeanEstimate{}, ErrTooFew
	}
	withinKnown := withinDF > 0 || o.KnownWithin
	if !withinKnown && (r < 2 || o.WithinOnly) {
		return MeanEstimate{}, ErrTooFew
	}

	stride := strideVariance(groups, order, withinDF)
	out := MeanEstimate{
		Values: n, Groups: r, StrideSD: math.NaN(),
		GroupMeans:   nanSlice(len(groups)),
		GroupSEs:     nanSlice(len(groups)),
		GroupWeights: make([]float64, len(groups)),
	}
	if withinDF > 0 {
		out.StrideSD = math.Sqrt(stride.total)
	}

	means := make([]float64, r)
	variances := make([]float64, r) // Of the group means, within.
	floors := make([]float64, r)    // The same from the known errors alone.
	for k, i := range order {
		means[k], variances[k], floors[k] = withinMean(groups[i], stride, o)
		out.GroupMeans[i] = means[k]
		out.GroupSEs[i] = math.Hypot(math.Sqrt(variances[k]), groups[i].CommonSD)
	}

	groupVariance := o.GroupSD * o.GroupSD
	prior := o.GroupDF
	if o.WithinOnly || o.GroupDF == 0 {
		groupVariance, prior = 0, math.Inf(1)
	}
	// Without knowledge of how groups differ several groups must tell it alone.
	alone := r > 1 && !o.WithinOnly && (o.GroupDF == 0 || !withinKnown)
	stretch := 1.0
	if !alone && !o.KnownWithin {
		stretch = math.Max(1, math.Pow(TQuantile(0.975, float64(withinDF))/TQuantile(0.975, prior), 2))
	}
	weights := make([]float64, r)
	plain := make([]float64, r)
	var sumW, sumFloor, tailDF float64
	for k, i := range order {
		common := groups[i].CommonSD * groups[i].CommonSD
		t := math.Max(groupVariance+common+stretch*variances[k], math.SmallestNonzeroFloat32)
		plain[k] = groupVariance + common + variances[k]
		if alone {
			// How much groups differ decides how much their own precision matters.
			t = 1
		}
		weights[k] = 1 / t
		sumW += weights[k]
		if f := common + floors[k]; f > 0 {
			sumFloor += 1 / f
		} else {
			sumFloor = math.Inf(1)
		}
		tailDF += satterthwaite(groupVariance, prior, common, variances[k], withinDF, o.KnownWithin) / float64(r)
	}
	for k, i := range order {
		out.Value += weights[k] / sumW * means[k]
		out.GroupWeights[i] = weights[k] / sumW
	}
	var q, plainQ, plainVariance float64
	for k := range means {
		d := means[k] - out.Value
		q += weights[k] * d * d
		plainVariance += weights[k] * weights[k] / (sumW * sumW) * plain[k]
		if plain[k] > 0 {
			plainQ += d * d / plain[k]
		}
	}

	between := float64(r - 1)
	df := prior + between
	switch {
	case alone:
		q, df = q/between, between
		out.DF = between
		plainVariance = q / sumW
	case math.IsInf(prior, 1):
		q = 1
		out.DF, out.PriorDF = tailDF, tailDF
	default:
		q = (prior + q) / df
		plainVariance *= (prior + plainQ) / df
		out.DF, out.PriorDF = tailDF+between, tailDF
	}
	half := math.Max(TQuantile(0.975, df)*math.Sqrt(q/sumW), Z95*math.Sqrt(1/sumFloor))
	out.Low, out.High = out.Value-half, out.Value+half
	out.SE = half / TQuantile(0.975, out.DF)
	out.PlainSE = math.Min(math.Sqrt(plainVariance), out.SE)
	return out, nil
}

// satterthwaite returns the degrees of freedom of a sum of a variance between
// groups, a known one and a variance within.
func satterthwaite(between, betweenDF, known, within float64, withinDF int, withinKnown bool) float64 {
	var bottom float64
	if between > 0 {
		bottom += between * between / betweenDF
	}
	if within > 0 && !withinKnown && withinDF > 0 {
		bottom += within * within / float64(withinDF)
	}
	if bottom == 0 {
		return math.Inf(1)
	}
	total := between + known + within
	return total * total / bottom
}

type variance struct {
	total  float64 // Of values around their group mean, all sources.
	excess float64 // Beyond the known errors.
}

func strideVariance(groups []Group, order []int, df int) variance {
	if df <= 0 {
		return variance{}
	}
	var ss, known float64
	for _, i := range order {
		g := groups[i]
		x := sorted(g.Values)
		ss += sumSquares(x)
		// The mean takes its share of each group's known error.
		var e float64
		for _, s := range sortedSDs(g) {
			e += s * s
		}
		known += e * float64(len(x)-1) / float64(len(x))
	}
	total := ss / float64(df)
	return variance{total: total, excess: math.Max(0, total-known/float64(df))}
}

// withinMean returns a group's weighted mean, its variance and the variance the
// known errors alone would give it.
func withinMean(g Group, stride variance, o MeanOptions) (mean, variance, floor float64) {
	n := len(g.Values)
	index := make([]int, n)
	for i := range index {
		index[i] = i
	}
	sort.Slice(index, func(a, b int) bool { return less(g, index[a], g, index[b]) })
	excess := stride.excess
	if o.KnownWithin {
		excess = 0
	}
	var largest float64
	for _, i := range index {
		largest = math.Max(largest, excess+g.sd(i)*g.sd(i))
	}
	var sumW, sumY, sumFloor, spread float64
	for _, i := range index {
		e := g.sd(i)
		// A value said to be a thousand times better than another is not believed.
		v := math.Max(excess+e*e, 1e-6*largest)
		w := 1.0
		if v > 0 {
			w = 1 / v
		}
		sumW += w
		sumY += w * g.Values[i]
		spread += w * w * v
		if e > 0 {
			sumFloor += 1 / (e * e)
		} else {
			sumFloor = math.Inf(1)
		}
	}
	mean = sumY / sumW
	variance = spread / (sumW * sumW)
	if !o.KnownWithin && stride.total > 0 && stride.excess == 0 {
		// The values scatter less than their known errors say: trust the scatter,
		// the floor of the interval takes care of the rest.
		variance = math.Min(variance, stride.total/float64(n))
	}
	if rho := o.NeighbourCorrelation; rho != 0 && n > 1 {
		f := float64(n)
		variance *= (1 + 2*rho*(f-1)/f) / (1 - 2*rho/f)
	}
	return mean, variance, 1 / sumFloor
}

func (g Group) sd(i int) float64 {
	if g.SDs == nil {
		return 0
	}
	s := g.SDs[i]
	if !(s > 0) || math.IsInf(s, 0) {
		return 0
	}
	return s
}

func sortedSDs(g Group) []float64 {
	s := make([]float64, len(g.Values))
	for i := range s {
		s[i] = g.sd(i)
	}
	sort.Float64s(s)
	return s
}

func less(a Group, i int, b Group, j int) bool {
	if a.Values[i] != b.Values[j] {
		return a.Values[i] < b.Values[j]
	}
	return a.sd(i) < b.sd(j)
}

// canonical returns the indices of the groups that have values, in an order
// that depends on their content only, so that sums round alike however the
// input is ordered.
func canonical(groups []Group) []int {
	var order []int
	keys := make([][]float64, len(groups))
	for i, g := range groups {
		if len(g.Values) == 0 {
			continue
		}
		order = append(order, i)
		keys[i] = append(sorted(g.Values), append(sortedSDs(g), g.CommonSD)...)
	}
	sort.SliceStable(order, func(a, b int) bool {
		x, y := keys[order[a]], keys[order[b]]
		for k := 0; k < len(x) && k < len(y); k++ {
			if x[k] != y[k] {
				return x[k] < y[k]
			}
		}
		return len(x) < len(y)
	})
	return order
}

func nanSlice(n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = math.NaN()
	}
	return s
}
