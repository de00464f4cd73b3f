package metrics

import (
	"cmp"
	"math"
	"math/rand/v2"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"jogstrip/metrics/signal"
	"jogstrip/metrics/stats"
)

// ScoreScale says how a score is read.
const ScoreScale = "0 is even, 1 as uneven as a sound horse may look"

const tooLittle = "too little was seen"

// NoScore stands in the place of a score where TooLittleSeen.
const NoScore = "no score: " + tooLittle

// TooLittleSeen reports whether a finding, as its sentence, is that too little was seen to call
// the horse even or uneven. A score is 0 then, which would read as even.
func TooLittleSeen(finding string) bool { return strings.Contains(finding, tooLittle) }

// Scored reports whether both visits saw enough for a score to be shown.
func (c *Comparison) Scored() bool {
	return !TooLittleSeen(c.Before.Limb.Sentence) && !TooLittleSeen(c.After.Limb.Sentence)
}

// part is one component of the score before weighting.
type part struct {
	m      measured
	ratio  float64 // Deviation from even over tolerance.
	se     float64 // Of the ratio.
	plain  float64 // The same without what few values and unknown variances add.
	df     float64
	weight float64 // Not yet a share.
}

// newPart returns the part of m with its mean. A variance between days, in the unit of
// the tolerance table and worth tableDF degrees of freedom, is added where statements go
// beyond the day.
func newPart(m measured, mean stats.MeanEstimate, day float64) part {
	e, _ := m.def.Even()
	t := m.tolerance.Tolerance
	p := part{m: m, ratio: (mean.Value - e) / t, se: mean.SE / t, plain: mean.PlainSE / t, df: mean.DF}
	if day > 0 {
		u, v := sq(p.se), sq(day/t)
		p.df = stats.Satterthwaite(stats.Variance{Value: u, DF: p.df}, stats.Variance{Value: v, DF: tableDF})
		p.se, p.plain = math.Sqrt(u+v), math.Sqrt(sq(p.plain)+v)
	}
	p.weight = m.tolerance.Weight / (1 + sq(p.se))
	return p
}

// counts reports whether the component's interval excludes even.
func (p part) counts() bool { return stats.TwoSidedP(p.ratio/p.se, p.df) < changeP }

// score returns the asymmetry score (MEASURES.md)
//
//	√(Σ w·(r² − se²)), Σw = 1, over the components whose interval excludes even
//
// of the measures that have a weight, a tolerance and a value: r the deviation from even over
// the tolerance, se its standard error, w the table's weight over 1 + se². Nil: there is none.
func (v *Summed) score() *Score {
	var parts []part
	var missing []Name
	for _, m := range v.all {
		if m.tolerance.Weight <= 0 {
			continue
		}
		if !m.ok || m.tolerance.Tolerance <= 0 {
			missing = append(missing, m.def.Name)
			continue
		}
		parts = append(parts, newPart(m, m.here, 0))
	}
	if len(parts) == 0 {
		return nil
	}
	s := v.scoreOf(parts)
	s.Missing = missing
	for _, p := range parts {
		s.Strides, s.Runs = max(s.Strides, p.m.result.Strides), max(s.Runs, p.m.result.Runs)
	}
	return s
}

// scoreOf computes the score of parts, and its interval: that of √(Σ w·r²) of the true
// deviations.
//
// The interval inverts tests on the sum of squares q = Σ w·r² as measured (Neyman's
// construction): a horse of score s has deviations in the direction of those measured, and
// noise is drawn. A score cannot be below 0, so the 5 % that the interval may miss pass from
// its lower end alone at 0 to both ends alike above the noise.
func (v *Summed) scoreOf(parts []part) *Score {
	out := &Score{}
	var total, sum, q, level float64
	for _, p := range parts {
		total += p.weight
	}
	for i := range parts {
		p := &parts[i]
		p.weight /= total
		c := Component{Name: p.m.def.Name, Weight: p.weight, Ratio: p.ratio}
		if p.counts() {
			c.Part, c.Side = p.weight*math.Max(0, sq(p.ratio)-sq(p.plain)), p.m.def.pointsTo(p.ratio).Side()
		}
		out.Components = append(out.Components, c)
		sum += c.Part
		q += p.weight * sq(p.ratio)
		level += p.weight * sq(p.plain)
	}
	out.Value = math.Sqrt(sum)

	cross, noise := v.noise(parts, q)
	// More is the share of horses of score s that would show a sum above q.
	more := func(s float64) float64 {
		var n float64
		for b := range cross {
			if s*s+2*s*cross[b]+noise[b] >= q {
				n++
			}
		}
		return n / float64(len(cross))
	}
	upper := func(s float64) float64 { return changeP / 2 * math.Min(1, s/(2*math.Sqrt(level))) }
	out.Low = solveRising(q, func(s float64) float64 { return more(s) - (changeP - upper(s)) })
	out.High = solveRising(q, func(s float64) float64 { return more(s) - (1 - upper(s)) })
	out.Low, out.High = math.Min(out.Low, out.Value), math.Max(out.High, out.Value)
	out.SE = (out.High - out.Low) / (2 * stats.Z95)
	return out
}

// noise draws what noise adds to the sum of squares of a horse of score s in the direction
// of the deviations measured, of whose squares q is the sum: 2·s·cross + noise, index: draw.
// A component's noise has the tails of Student's t, as its variance is an estimate.
func (v *Summed) noise(parts []part, q float64) (cross, noise []float64) {
	draws := cmp.Or(v.opts.Resamples, defaultResamples)
	rng := rand.New(rand.NewPCG(v.opts.Seed, 0x74))
	cross, noise = make([]float64, draws), make([]float64, draws)
	for b := range draws {
		for _, p := range parts {
			e := p.plain * rng.NormFloat64()
			if p.df < 1e6 {
				// One draw of a variance near zero must not stand for all.
				e *= math.Min(6, math.Sqrt(p.df/distuv.ChiSquared{K: p.df, Src: rng}.Rand()))
			}
			if q > 0 {
				cross[b] += p.weight * p.ratio / math.Sqrt(q) * e
			}
			noise[b] += p.weight * sq(e)
		}
	}
	return cross, noise
}

// solveRising returns where f, rising, passes zero on the scores from 0; 0 where it
// starts above.
func solveRising(observed float64, f func(float64) float64) float64 {
	if f(0) >= 0 {
		return 0
	}
	high := math.Sqrt(observed) + 1
	for i := 0; f(high) < 0 && i < 60; i++ {
		high *= 2
	}
	return signal.Zero(0, high, f)
}
