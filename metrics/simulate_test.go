package metrics

import (
	"math"
	"math/rand/v2"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// horse is the truth behind simulated runs, measure by measure.
type horse struct {
	mean     map[Name]float64 // Value: right − left where sided. A measure that is absent is not simulated.
	strideSD map[Name]float64 // 0: the table's.
	runSD    map[Name]float64 // 0: the table's.
	errorSD  map[Name]float64 // Known error of a value; 0: none.
	commonSD map[Name]float64
	far      float64 // Error of the farthest stride over that of the nearest; 0: as errorSD, 0.5 to 1.5 times at random.
	tail     bool    // Strides scatter with heavy tails (Student's t with 5 degrees of freedom) instead of normally.
	shared   float64 // Correlation between measures of one stride and of one run, 0 to 1.
}

// runs simulates a visit at the level of Series: strides scatter within runs,
// runs within the visit. It returns what is true of each run's own strides too (of
// steps: of the run), index: run.
func (h horse) runs(rng *rand.Rand, gait traj.Gait, views []traj.View, strides int) ([]Run, []map[Name]float64) {
	table := defaultTable()
	var out []Run
	var truths []map[Name]float64
	for _, view := range views {
		run := Run{View: view, Gait: gait, Level: geometry.LevelMetric, Reference: traj.LeftFore}
		for i := 0; i < strides; i++ {
			run.Strides = append(run.Strides, Stride{Start: 0.7 * float64(i), End: 0.7 * float64(i+1)})
		}
		truth := map[Name]float64{}
		common := make([]float64, strides)
		for i := range common {
			common[i] = rng.NormFloat64()
		}
		runCommon := rng.NormFloat64()
		for _, d := range Definitions() {
			mean, ok := h.mean[d.Name]
			if !ok || !seenFrom(d, view) {
				continue
			}
			row, _ := table.Lookup(d.Name)
			s := Series{Name: d.Name, Unit: d.Unit, CommonSD: h.commonSD[d.Name]}
			stride := orElse(h.strideSD[d.Name], row.StrideSD)
			z := h.shared*runCommon + math.Sqrt(1-h.shared*h.shared)*rng.NormFloat64()
			truth[d.Name] = mean + orElse(h.runSD[d.Name], row.Tolerance/1.959964*math.Sqrt(1-ofDay))*z
			offset := truth[d.Name] + s.CommonSD*rng.NormFloat64()
			n := strides
			if d.PerRun {
				n = 1
			}
			previous := rng.NormFloat64()
			for i := 0; i < n; i++ {
				noise := h.shared*common[i] + math.Sqrt(1-h.shared*h.shared)*h.scatter(rng)
				if rho := meanOptions(d, Tolerance{}).NeighbourCorrelation; rho > 0 {
					// Neighbours share a hoof-on: a moving average with correlation rho.
					next := rng.NormFloat64()
					theta := (1 - math.Sqrt(1-4*rho*rho)) / (2 * rho)
					noise = (next + theta*previous) / math.Sqrt(1+theta*theta)
					previous = next
				}
				e := h.errorSD[d.Name]
				switch {
				case h.far > 0 && n > 1:
					e *= math.Pow(h.far, float64(i)/float64(n-1)-0.5)
				case e > 0:
					e *= 0.5 + rng.Float64() // Precision differs with distance.
				}
				if d.Name != StepLengthFore && d.Name != StepLengthHind {
					truth[d.Name] += stride * noise / float64(n)
				}
				v := offset + stride*noise + e*rng.NormFloat64()
				o := Observation{Stride: i, Time: run.Strides[i].Start, Left: math.NaN(), Right: math.NaN(), Value: v, SD: e}
				if d.Sided {
					m := middleOf(d)
					o.Left, o.Right = m-v/2, m+v/2
				}
				s.Observations = append(s.Observations, o)
			}
			run.Series = append(run.Series, s)
		}
		out, truths = append(out, run), append(truths, truth)
	}
	return out, truths
}

func (h horse) scatter(rng *rand.Rand) float64 {
	z := rng.NormFloat64()
	if !h.tail {
		return z
	}
	var chi float64
	for i := 0; i < 5; i++ {
		x := rng.NormFloat64()
		chi += x * x
	}
	return z / math.Sqrt(chi/5) / math.Sqrt(5.0/3)
}

// seenFrom tells in which clips of the simulation a measure exists: the head
// and the fores toward, the croup and the hinds away, what needs one limb only
// in both.
func seenFrom(d Definition, v traj.View) bool {
	switch {
	case d.Girdle == Fore:
		return v == traj.Toward
	case d.Girdle == Hind:
		return v == traj.Away
	}
	return true
}

// middleOf returns a plausible mean of both sides.
func middleOf(d Definition) float64 {
	switch d.Unit {
	case "m":
		return 1.25
	case "s":
		return 0.3
	case "%":
		return 40
	}
	return 20
}

func orElse(x, otherwise float64) float64 {
	if x != 0 {
		return x
	}
	return otherwise
}

// evenHorse moves alike on both sides in every measure.
func evenHorse() horse {
	h := horse{mean: map[Name]float64{}}
	for _, d := range Definitions() {
		e, ok := d.Even()
		if !ok {
			e = map[Name]float64{StrideDuration: 0.7, StrideFrequency: 1.43, Speed: 3.5, StrideLength: 2.45,
				HeadFirstHarmonic: 20, HeadSecondHarmonic: 30, HeadHarmonicShare: 40}[d.Name]
		}
		h.mean[d.Name] = e
	}
	h.strideSD = map[Name]float64{}
	h.errorSD = map[Name]float64{}
	for _, d := range Definitions() {
		if d.PerRun {
			h.errorSD[d.Name] = 0.5
			h.strideSD[d.Name] = 1e-12
		}
	}
	return h
}

func passes(toward, away int) []traj.View {
	var v []traj.View
	for i := 0; i < toward; i++ {
		v = append(v, traj.Toward)
	}
	for i := 0; i < away; i++ {
		v = append(v, traj.Away)
	}
	return v
}

func mustRow(t testing.TB, n Name) Tolerance {
	t.Helper()
	table := defaultTable()
	row, _ := table.Lookup(n)
	return row
}
