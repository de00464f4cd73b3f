package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"jogstrip/metrics/stats"
)

// Advice says how much to film to see a difference.
type Advice struct {
	Name       Name
	Unit       string
	Difference float64 // Between sides, in Unit.
	Strides    int     // In every run.
	Runs       int     // In the view that shows the measure; 0 where more than a dozen would be needed.
	Chance     float64 // That the 95 % interval excludes even, 0 to 1, with so many runs.
	What       string  // The difference in words: "a nod of 10 mm".
	// Within says that a sound horse shows as much from run to run: seeing it does
	// not make it matter.
	Within   bool
	Sentence string
}

// LeastRuns is how many runs in each view a visit should have at the least: with
// fewer, an interval rests more on what is usual than on the horse.
const LeastRuns = 3

const (
	adviceChance = 0.8
	// adviceStrides is what a lane of 30 m gives at the trot.
	adviceStrides = 8
	adviceMaxRuns = 12
	// horsesDiffer is the standard deviation of the logarithm of run-to-run
	// variation between horses; as tableDF.
	horsesDiffer = 0.4
)

// FilmingAdvice says how many runs of eight strides must be filmed so that a
// difference worth seeing shows with a chance of 80 %: a 3 cm step difference, a
// 10 and a 20 mm nod, a 6 mm croup difference. It rests on the tolerance table's
// run-to-run variation and stride_sd (nil: the default table) and is checked by
// simulation in STUDY.md. It returns an error where the default table does not
// parse.
func FilmingAdvice(table *ToleranceTable) ([]Advice, error) {
	table, err := orDefault(table)
	if err != nil {
		return nil, fmt.Errorf("filming advice: %w", err)
	}
	var out []Advice
	for _, q := range []struct {
		n          Name
		difference float64
		words      string
	}{
		{StepLengthFore, 0.03, "a step difference of 3 cm"},
		{HeadLowDifference, 10, "a nod of 10 mm"},
		{HeadLowDifference, 20, "a nod of 20 mm"},
		{CroupLowDifference, 6, "a croup difference of 6 mm"},
	} {
		row, ok := table.Lookup(q.n)
		if !ok {
			continue
		}
		out = append(out, advise(row, q.difference, q.words))
	}
	return out, nil
}

func advise(row Tolerance, difference float64, words string) Advice {
	a := Advice{Name: row.Name, Unit: row.Unit, Difference: difference, Strides: adviceStrides, What: words, Within: difference <= row.Tolerance}
	for runs := 2; runs <= adviceMaxRuns; runs++ {
		if p := chanceToSee(row, difference, runs, adviceStrides); p >= adviceChance {
			a.Runs, a.Chance = runs, p
			break
		}
	}
	within := ""
	if a.Within {
		within = " It lies within what a sound horse shows from run to run, so seeing it does not make it matter."
	}
	if a.Runs == 0 {
		a.Sentence = fmt.Sprintf("To see %s more than %d runs of %d strides in one view would be needed.%s", words, adviceMaxRuns, adviceStrides, within)
		return a
	}
	a.Sentence = fmt.Sprintf("To see %s in four visits of five, film %d runs of %d strides in the view that shows it.%s", words, a.Runs, adviceStrides, within)
	return a
}

// chanceToSee returns the chance that the 95 % interval excludes even where the
// true difference is as given: the variance of the mean is (run² + stride²/n)/runs,
// averaged over horses that differ in their run-to-run variation as tableDF says.
func chanceToSee(row Tolerance, difference float64, runs, strides int) float64 {
	runSD, df := row.runSD()
	stride := row.StrideSD * row.StrideSD / float64(strides)
	if rho := neighbourCorrelation(row.Name); rho > 0 {
		stride *= 1 + 2*rho*float64(strides-1)/float64(strides)
	}
	// The interval's width: as GroupMean with an ordinary horse.
	stretch := math.Max(1, math.Pow(stats.TQuantile(0.975, float64(runs*(strides-1)))/stats.TQuantile(0.975, df), 2))
	total := runSD*runSD + stretch*stride
	t := stats.TQuantile(0.975, df+float64(runs-1))
	chance := func(factor float64) float64 {
		truth := factor*runSD*runSD + stride
		q := (df + float64(runs-1)*truth/total) / (df + float64(runs-1))
		half := t * math.Sqrt(q*total/float64(runs))
		se := math.Sqrt(truth / float64(runs))
		return distuv.UnitNormal.CDF((math.Abs(difference)-half)/se) + distuv.UnitNormal.CDF((-math.Abs(difference)-half)/se)
	}
	// The run variance of a horse over the table's: log-normal with mean 1.
	return quad.Fixed(func(z float64) float64 {
		return distuv.UnitNormal.Prob(z) * chance(math.Exp(2*(horsesDiffer*z-horsesDiffer*horsesDiffer)))
	}, -4, 4, 40, nil, 0)
}
