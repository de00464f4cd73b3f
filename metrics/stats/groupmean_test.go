package stats

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func TestGroupMean(t *testing.T) {
	// Plain one-sample t interval: Student's 1908 sleep data, differences between
	// two drugs in ten people (Biometrika 6:1–25): mean 1.58, SD 1.230, 95 %
	// interval 0.70 to 2.46.
	sleep := []float64{1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4}
	for _, c := range []struct {
		name             string
		groups           []Group
		o                MeanOptions
		value, low, high float64
		tol              float64
	}{
		{"one group is a t interval (Student 1908)", []Group{{Values: sleep}}, MeanOptions{GroupDF: math.Inf(1)}, 1.58, 0.7001142, 2.4598858, 1e-6},
		// Means 1 and 3: t(0.975, 1) = 12.7062 times 2/√2/√2.
		{"two groups alone: t with one degree of freedom", []Group{{Values: []float64{1, 1}}, {Values: []float64{3, 3}}}, MeanOptions{},
			2, 2 - 12.706204736, 2 + 12.706204736, 1e-6},
		{"known spread of groups, no other", []Group{{Values: []float64{1, 1}}, {Values: []float64{3, 3}}}, MeanOptions{GroupSD: math.Sqrt2, GroupDF: math.Inf(1)},
			2, 2 - Z95, 2 + Z95, 1e-6},
		// q = (4 + 1)/(4 + 1) = 1 with w = 1/2 each: Σw(1)² = 1.
		{"known spread worth 4 degrees of freedom", []Group{{Values: []float64{1, 1}}, {Values: []float64{3, 3}}}, MeanOptions{GroupSD: math.Sqrt2, GroupDF: 4},
			2, 2 - 2.570581836, 2 + 2.570581836, 1e-6},
		{"common error does not average out", []Group{{Values: []float64{5, 5, 5, 5}, CommonSD: 2}}, MeanOptions{GroupDF: math.Inf(1)}, 5, 5 - 2*Z95, 5 + 2*Z95, 1e-9},
		{"single values with known errors", []Group{{Values: []float64{5}, SDs: []float64{1}}}, MeanOptions{GroupDF: math.Inf(1), KnownWithin: true}, 5, 5 - Z95, 5 + Z95, 1e-9},
		{"never below the known errors", []Group{{Values: []float64{5, 5.0001}, SDs: []float64{1, 1}}}, MeanOptions{GroupDF: math.Inf(1)},
			5.00005, 5.00005 - Z95/math.Sqrt2, 5.00005 + Z95/math.Sqrt2, 1e-9},
		{"empty groups are skipped", []Group{{}, {Values: sleep}, {}}, MeanOptions{GroupDF: math.Inf(1)}, 1.58, 0.7001142, 2.4598858, 1e-6},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := GroupMean(c.groups, c.o)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "value", m.Value, c.value, c.tol)
			near(t, "low", m.Low, c.low, c.tol)
			near(t, "high", m.High, c.high, c.tol)
		})
	}
}

func TestGroupMeanTooFew(t *testing.T) {
	for name, groups := range map[string][]Group{
		"nothing":   nil,
		"empty":     {{}, {}},
		"one value": {{Values: []float64{3}}},
	} {
		if _, err := GroupMean(groups, MeanOptions{GroupDF: math.Inf(1)}); !errors.Is(err, ErrTooFew) {
			t.Errorf("%s: error %v, want %v", name, err, ErrTooFew)
		}
	}
}

func TestGroupMeanWeighsByPrecision(t *testing.T) {
	m, err := GroupMean([]Group{{Values: []float64{0, 10}, SDs: []float64{0.1, 10}}}, MeanOptions{GroupDF: math.Inf(1)})
	if err != nil {
		t.Fatal(err)
	}
	if m.Value > 3 {
		t.Errorf("mean %v of 0 ± 0.1 and 10 ± 10 leans to the worse value", m.Value)
	}
}

// Two strides close to the camera are known to 1 mm, eight farther ones to 5 cm.
// No horse repeats a step to 1 mm: the two must not stand for all.
func TestTheBestKnownValuesDoNotStandForAll(t *testing.T) {
	const natural = 15.0
	clip := Group{Values: []float64{40, 41}, SDs: []float64{1, 1}}
	for _, v := range []float64{5, 80, 60, -10, 85, 15, 100, 21} {
		clip.Values, clip.SDs = append(clip.Values, v), append(clip.SDs, 50)
	}
	within := func(o MeanOptions) MeanEstimate {
		o.GroupDF = math.Inf(1)
		m, err := GroupMean([]Group{clip}, o)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	bare, floored := within(MeanOptions{}), within(MeanOptions{ValueSD: natural})
	// By hand: weights 1/(225 + 1) twice and 1/(225 + 2500) eight times; the
	// values near add up to 81, the far ones to 356.
	near, far := 1/226.0, 1/2725.0
	want := (81*near + 356*far) / (2*near + 8*far)
	if math.Abs(floored.Value-want) > 1e-9 {
		t.Errorf("mean %v, want %v", floored.Value, want)
	}
	if bareWidth, width := bare.High-bare.Low, floored.High-floored.Low; width < 5*bareWidth {
		t.Errorf("interval %v wide, without natural variation %v: two strides 1 mm apart still decide how sure it is", width, bareWidth)
	}
}

// The interval keeps its coverage where precision differs a hundredfold within a
// run and strides differ by nature, also where the floor is far below how strides
// really differ. A floor far above it may make the interval wider, not narrower.
func TestCoverageWherePrecisionDiffers(t *testing.T) {
	const visits = 4000
	for _, c := range []struct{ natural, floor, most float64 }{{15, 15, 97}, {15, 3, 97}, {15, 0, 97}, {30, 15, 97}, {6, 15, 99}} {
		rng := rand.New(rand.NewPCG(8, uint64(c.natural+100*c.floor)))
		held := 0
		for range visits {
			var g Group
			for i := range 10 {
				e := 0.5 * math.Pow(100, float64(i)/9)
				g.Values = append(g.Values, c.natural*rng.NormFloat64()+e*rng.NormFloat64())
				g.SDs = append(g.SDs, e)
			}
			m, err := GroupMean([]Group{g}, MeanOptions{GroupDF: math.Inf(1), ValueSD: c.floor})
			if err != nil {
				t.Fatal(err)
			}
			if m.Low <= 0 && 0 <= m.High {
				held++
			}
		}
		// Monte-Carlo standard error 0.35 %.
		if share := 100 * float64(held) / visits; share < 93 || share > c.most {
			t.Errorf("natural SD %v, floor %v: intervals hold the truth in %.1f %%", c.natural, c.floor, share)
		} else {
			t.Logf("natural SD %v, floor %v: %.1f %%", c.natural, c.floor, share)
		}
	}
}

func groupsOf(t *rapid.T) []Group {
	var groups []Group
	for range rapid.IntRange(1, 5).Draw(t, "groups") {
		n := rapid.IntRange(2, 12).Draw(t, "values")
		g := Group{CommonSD: rapid.Float64Range(0, 2).Draw(t, "common")}
		for range n {
			g.Values = append(g.Values, rapid.Float64Range(-50, 50).Draw(t, "value"))
		}
		groups = append(groups, g)
	}
	return groups
}

func someOptions(t *rapid.T) MeanOptions {
	return MeanOptions{
		GroupSD: rapid.Float64Range(0.1, 10).Draw(t, "group SD"),
		GroupDF: rapid.SampledFrom([]float64{0, 4, 9}).Draw(t, "group DF"),
		ValueSD: rapid.SampledFrom([]float64{0, 1, 10}).Draw(t, "value SD"),
	}
}

func TestGroupMeanOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups := groupsOf(t)
		for i := range groups {
			for range groups[i].Values {
				groups[i].SDs = append(groups[i].SDs, rapid.Float64Range(0, 5).Draw(t, "SD"))
			}
		}
		o := someOptions(t)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		shuffled := make([]Group, len(groups))
		for i, j := range rng.Perm(len(groups)) {
			g := Group{CommonSD: groups[j].CommonSD}
			for _, k := range rng.Perm(len(groups[j].Values)) {
				g.Values = append(g.Values, groups[j].Values[k])
				g.SDs = append(g.SDs, groups[j].SDs[k])
			}
			shuffled[i] = g
		}
		a, _ := GroupMean(groups, o)
		b, _ := GroupMean(shuffled, o)
		if a.Value != b.Value || a.Low != b.Low || a.High != b.High || a.SE != b.SE {
			t.Fatalf("%v to %v, shuffled %v to %v", a.Low, a.High, b.Low, b.High)
		}
	})
}

func TestGroupMeanSignsFlip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups := groupsOf(t)
		o := someOptions(t)
		var flipped []Group
		for _, g := range groups {
			f := Group{CommonSD: g.CommonSD}
			for _, v := range g.Values {
				f.Values = append(f.Values, -v)
			}
			flipped = append(flipped, f)
		}
		a, _ := GroupMean(groups, o)
		b, _ := GroupMean(flipped, o)
		for _, d := range []float64{a.Value + b.Value, a.Low + b.High, a.High + b.Low} {
			if math.Abs(d) > 1e-9*(1+math.Abs(a.High)+math.Abs(a.Low)) {
				t.Fatalf("%v to %v, flipped %v to %v", a.Low, a.High, b.Low, b.High)
			}
		}
	})
}

func TestAValueEqualToTheMeanNeverWidens(t *testing.T) {
	widths := func(t *rapid.T, groups []Group, o MeanOptions, add func(MeanEstimate)) (was, is float64) {
		before, err := GroupMean(groups, o)
		if err != nil {
			t.Fatal(err)
		}
		add(before)
		after, err := GroupMean(groups, o)
		if err != nil {
			t.Fatal(err)
		}
		return before.High - before.Low, after.High - after.Low
	}
	const rounding = 1e-9

	t.Run("one run", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			groups := groupsOf(t)[:1]
			o := someOptions(t)
			if rapid.Bool().Draw(t, "this run only") {
				o.GroupSD, o.GroupDF = 0, math.Inf(1)
			}
			sd := func() float64 { return rapid.SampledFrom([]float64{0.05, 1, 5, 30}).Draw(t, "SD") }
			if rapid.Bool().Draw(t, "known errors") {
				for range groups[0].Values {
					groups[0].SDs = append(groups[0].SDs, sd())
				}
			}
			was, is := widths(t, groups, o, func(m MeanEstimate) {
				groups[0].Values = append(groups[0].Values, m.Value)
				if groups[0].SDs != nil {
					groups[0].SDs = append(groups[0].SDs, sd())
				}
			})
			if is > was*(1+rounding)+rounding {
				t.Fatalf("width %v became %v", was, is)
			}
		})
	})
	t.Run("runs alike in length, each its own mean", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			groups := groupsOf(t)
			n := len(groups[0].Values)
			for i := range groups {
				groups[i].CommonSD = groups[0].CommonSD
				for len(groups[i].Values) < n {
					groups[i].Values = append(groups[i].Values, rapid.Float64Range(-50, 50).Draw(t, "value"))
				}
				groups[i].Values = groups[i].Values[:n]
			}
			was, is := widths(t, groups, someOptions(t), func(MeanEstimate) {
				for i := range groups {
					groups[i].Values = append(groups[i].Values, stat.Mean(groups[i].Values, nil))
				}
			})
			if is > was*(1+rounding)+rounding {
				t.Fatalf("width %v became %v", was, is)
			}
		})
	})
	// A run that disagrees with the others counts for more with every stride it
	// gets, even with one equal to its mean. That may widen, but only by a little.
	t.Run("one of several runs", func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			spread := rapid.Float64Range(0.3, 3).Draw(t, "run spread")
			stride := rapid.Float64Range(0.1, 8).Draw(t, "stride spread")
			rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
			groups := make([]Group, 2+rng.IntN(4))
			for i := range groups {
				run := spread * rng.NormFloat64()
				for range 2 + rng.IntN(11) {
					groups[i].Values = append(groups[i].Values, run+stride*rng.NormFloat64())
				}
			}
			was, is := widths(t, groups, MeanOptions{GroupSD: 1, GroupDF: 10}, func(MeanEstimate) {
				i := rng.IntN(len(groups))
				groups[i].Values = append(groups[i].Values, stat.Mean(groups[i].Values, nil))
			})
			if is > was*1.1 {
				t.Fatalf("width %v became %v", was, is)
			}
		})
	})
}
