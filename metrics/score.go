package metrics

import (
	"math"
	"math/rand/v2"
	"sort"
	"strings"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"

	"jogstrip/metrics/stats"
	"jogstrip/track/traj"
)

// part is one component of the score before weighting.
type part struct {
	m      measured
	mean   stats.MeanEstimate
	weight float64   // Not yet a share.
	ratio  float64   // Deviation from even over tolerance.
	se     float64   // Of the ratio; its square is the bias of the ratio's.
	draws  []float64 // How far the ratio may be off, with the tails of Student's t; index: resample.
	noise  []float64 // The same draws without the tails.
}

// score returns the asymmetry score
//
//	√(Σ w·max(0, (d/t)² − (se/t)²)), Σw = 1
//
// over the measures that have a weight, a tolerance and a value: d the
// deviation from even, t the tolerance, se the standard error (the plain one,
// whose square is unbiased). Squaring turns noise into score; taking se² off
// removes that on average. It returns nil
// where no component was measured.
//
// The interval inverts the two-level bootstrap (grid bootstrap, Hansen 1999,
// Rev Econ Stat 81:594–607; from memory): the lower end is the score a horse
// would need for a sum of squares as large as the measured one to come up in
// 2.5 % of visits, the upper end the score for one as small. A plain percentile
// interval cannot do this, because noise only ever adds to a sum of squares.
func (v *Summed) score() *Score {
	var parts []part
	var missing []Name
	same := true // Whether statements about the horse rest on the same means.
	for _, m := range v.all {
		if m.tolerance.Weight <= 0 {
			continue
		}
		if !m.ok || m.tolerance.Tolerance <= 0 {
			missing = append(missing, m.def.Name)
			continue
		}
		parts = append(parts, newPart(m, m.here))
		same = same && m.here.Groups > 1
	}
	if len(parts) == 0 {
		return nil
	}
	drawParts(parts, v.runs, v.opts)
	found := scoreOf(parts)
	if same {
		v.scores.keep(parts, found)
	}
	s := *found
	s.Missing = missing
	for _, p := range parts {
		s.Strides = max(s.Strides, p.mean.Values)
		s.Runs = max(s.Runs, p.mean.Groups)
	}
	return &s
}

// wideScore returns the score over parts that rest on the visit's wide means.
// A visit is compared with the one before and the one after it, mostly over the
// same parts, and resampling is what costs.
func (v *Summed) wideScore(parts []part) *Score {
	if s := v.scores.find(parts); s != nil {
		return s
	}
	drawParts(parts, v.runs, v.opts)
	s := scoreOf(parts)
	v.scores.keep(parts, s)
	return s
}

// scoreMemory keeps the scores of one visit by the names of their parts.
type scoreMemory struct {
	mutex sync.Mutex
	known map[string]*Score
}

func partNames(parts []part) string {
	var names []string
	for _, p := range parts {
		names = append(names, string(p.m.def.Name))
	}
	return strings.Join(names, " ")
}

func (m *scoreMemory) keep(parts []part, s *Score) {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	if m.known == nil {
		m.known = map[string]*Score{}
	}
	m.known[partNames(parts)] = s
}

func (m *scoreMemory) find(parts []part) *Score {
	m.mutex.Lock()
	defer m.mutex.Unlock()
	return m.known[partNames(parts)]
}

func newPart(m measured, mean stats.MeanEstimate) part {
	e, _ := m.def.Even()
	t := m.tolerance.Tolerance
	return part{m: m, mean: mean, weight: m.tolerance.Weight, ratio: (mean.Value - e) / t, se: mean.PlainSE / t}
}

// scoreOf computes the score from parts whose draws are made.
func scoreOf(parts []part) *Score {
	var total float64
	for _, p := range parts {
		total += p.weight
	}
	out := &Score{}
	var sum, observed float64
	direction := make([]float64, len(parts))
	var length, rawLength float64
	for i, p := range parts {
		w := p.weight / total
		unbiased := math.Max(0, p.ratio*p.ratio-p.se*p.se)
		limb, _ := pointsTo(p.m.def.Name, p.ratio)
		out.Components = append(out.Components, Component{
			Name: p.m.def.Name, Weight: w, Ratio: p.ratio, Part: w * unbiased, Side: limb.Side(),
		})
		sum += w * unbiased
		observed += w * p.ratio * p.ratio
		direction[i] = math.Copysign(math.Sqrt(unbiased), p.ratio)
		length += w * unbiased
		rawLength += w * p.ratio * p.ratio
	}
	if length == 0 {
		length = rawLength
		for i, p := range parts {
			direction[i] = p.ratio
		}
	}
	if length == 0 {
		length = 1
		direction[0] = math.Sqrt(total / parts[0].weight)
	}

	// A sum of squares under the score s and draw b is s² + 2·s·cross + noise. The
	// tails of few strides keep the lower end honest and would pull the upper one
	// down, which therefore takes the noise without them.
	n := len(parts[0].draws)
	cross := make([]float64, n)
	wide := make([]float64, n)
	noise := make([]float64, n)
	for i, p := range parts {
		w, u := p.weight/total, direction[i]/math.Sqrt(length)
		for b, d := range p.draws {
			cross[b] += w * u * d
			wide[b] += w * d * d
			noise[b] += w * p.noise[b] * p.noise[b]
		}
	}
	share := func(s, q float64, noise []float64) float64 {
		var above float64
		for b := range cross {
			if s*s+2*s*cross[b]+noise[b] >= q {
				above++
			}
		}
		return above / float64(n)
	}
	out.Value = math.Sqrt(sum)
	out.Low = solveRising(observed, func(s float64) float64 { return share(s, observed, wide) - 0.025 })
	// A horse cannot be more even than even: a sum of squares below what noise
	// gives at least half the time says no more than one at that level.
	sortedNoise := append([]float64(nil), noise...)
	sort.Float64s(sortedNoise)
	q := math.Max(observed, stats.Quantile(0.5, sortedNoise))
	out.High = solveRising(q, func(s float64) float64 { return share(s, q, noise) - 0.975 })
	out.Low = math.Min(out.Low, out.Value)
	out.High = math.Max(out.High, out.Value)
	out.SE = (out.High - out.Low) / (2 * stats.Z95)
	return out
}

// solveRising returns where f, rising, passes zero on the scores from 0; 0 where it
// starts above. The draws have heavy tails with few strides, so the search
// widens until it encloses the zero.
func solveRising(observed float64, f func(float64) float64) float64 {
	if f(0) >= 0 {
		return 0
	}
	high := math.Sqrt(observed) + 1
	for i := 0; f(high) < 0 && i < 60; i++ {
		high *= 2
	}
	var low float64
	for i := 0; i < 60; i++ {
		mid := (low + high) / 2
		if f(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// drawParts fills in each part's draws: how far its ratio may be off, index:
// resample. Runs and strides are drawn once for all parts, so measures of the
// same stride keep their correlation. Runs drawn with replacement differ less
// than runs do and few strides know little of their own spread; the draws are
// therefore stretched to the part's standard error and its Student's t. Runs are
// in the order of canonicalRuns.
func drawParts(parts []part, runs []Run, opts SummaryOptions) {
	resamples := opts.Resamples
	if resamples <= 0 {
		resamples = defaultResamples
	}
	tables := make([][][]float64, len(parts)) // Index: part, run, stride; NaN where not seen.
	counts := make([]int, len(runs))
	strata := make([]int, len(runs))
	for i := range tables {
		tables[i] = make([][]float64, len(runs))
	}
	for r, run := range runs {
		if run.View == traj.Away {
			strata[r] = 1
		}
		counts[r] = fillTable(tables, parts, r, run)
	}
	for i := range parts {
		parts[i].draws = make([]float64, resamples)
	}
	stats.TwoLevel(counts, strata, resamples, opts.Seed, func(b int, drawnRuns []int, drawn [][]int) {
		for i := range parts {
			parts[i].draws[b] = resampledMean(tables[i], parts[i].mean, drawnRuns, drawn)
		}
	})
	rng := rand.New(rand.NewPCG(opts.Seed, 0x74))
	for i := range parts {
		stretch(&parts[i], rng)
	}
}

// fillTable writes one run's strides into the tables and returns their number.
func fillTable(tables [][][]float64, parts []part, r int, run Run) int {
	var strides []Observation
	seen := map[int]bool{}
	for _, p := range parts {
		s := run.Lookup(p.m.def.Name)
		if s == nil || s.Unit != p.m.sample.unit {
			continue
		}
		for _, o := range s.Observations {
			if !math.IsNaN(o.Value) && !seen[o.Stride] {
				seen[o.Stride] = true
				strides = append(strides, o)
			}
		}
	}
	strides = byTime(strides)
	place := map[int]int{}
	for k, o := range strides {
		place[o.Stride] = k
	}
	for i, p := range parts {
		row := make([]float64, len(strides))
		for k := range row {
			row[k] = math.NaN()
		}
		if s := run.Lookup(p.m.def.Name); s != nil && s.Unit == p.m.sample.unit {
			for _, o := range s.Observations {
				if !math.IsNaN(o.Value) {
					row[place[o.Stride]] = o.Value
				}
			}
		}
		tables[i][r] = row
	}
	return len(strides)
}

// resampledMean returns the weighted mean over the drawn strides of the drawn
// runs, or the plain estimate where none of them was seen.
func resampledMean(table [][]float64, m stats.MeanEstimate, runs []int, drawn [][]int) float64 {
	var sum, weights float64
	for k, r := range runs {
		var s, n float64
		for _, i := range drawn[k] {
			if v := table[r][i]; !math.IsNaN(v) {
				s += v
				n++
			}
		}
		if n > 0 && m.GroupWeights[r] > 0 {
			sum += m.GroupWeights[r] * s / n
			weights += m.GroupWeights[r]
		}
	}
	if weights == 0 {
		return m.Value
	}
	return sum / weights
}

// stretch brings the draws to the part's standard error and Student's t.
func stretch(p *part, rng *rand.Rand) {
	mean, sd := stats.Mean(p.draws), stats.SD(p.draws)
	chi := distuv.ChiSquared{K: p.mean.DF, Src: rng}
	p.noise = make([]float64, len(p.draws))
	for b := range p.draws {
		z := rng.NormFloat64()
		if sd > 1e-12*math.Abs(mean) && sd > 0 {
			z = (p.draws[b] - mean) / sd
		}
		scale := 1.0
		if p.mean.DF < 1e6 {
			scale = math.Sqrt(p.mean.DF / chi.Rand())
		}
		p.noise[b] = z * p.se
		p.draws[b] = p.noise[b] * scale
	}
}
