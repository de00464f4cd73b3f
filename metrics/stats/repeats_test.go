package stats

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// Peak expiratory flow by two meters, twice each, in 17 people: Bland & Altman
// 1986, Lancet 327:307–310.
var (
	wright1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	wright2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	mini1   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	mini2   = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

func pairs(a, b []float64) [][]float64 {
	var out [][]float64
	for i := range a {
		out = append(out, []float64{a[i], b[i]})
	}
	return out
}

// Repeatability of the same data.
func TestSEM(t *testing.T) {
	for _, c := range []struct {
		name    string
		repeats [][]float64
		sem     float64
	}{
		{"Wright meter", pairs(wright1, wright2), 15.306669},
		{"mini meter", pairs(mini1, mini2), 19.910831},
	} {
		t.Run(c.name, func(t *testing.T) {
			sem, df := SEM(c.repeats)
			near(t, "SEM", sem, c.sem, 1e-6)
			near(t, "degrees of freedom", df, 17, 0)
		})
	}
	sem, df := SEM([][]float64{{1}, nil, {2}})
	if !math.IsNaN(sem) || df != 0 {
		t.Errorf("single values give SEM %v with %v degrees of freedom", sem, df)
	}
}

// Worked by hand: sorted 0.01, 0.02, 0.03, 0.04 times 4, 3, 2, 1, each at least
// as large as the one before.
func TestHolm(t *testing.T) {
	for _, c := range []struct {
		name    string
		p, want []float64
	}{
		{"worked by hand", []float64{0.04, 0.01, 0.03, 0.02}, []float64{0.06, 0.04, 0.06, 0.06}},
		{"capped at one", []float64{0.6, 0.7}, []float64{1, 1}},
		{"one alone is not corrected", []float64{0.03}, []float64{0.03}},
		{"none", nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, _ := Holm(c.p, 0.05)
			if len(got) != len(c.want) {
				t.Fatalf("%d values, want %d", len(got), len(c.want))
			}
			for i := range got {
				near(t, "p", got[i], c.want[i], 1e-12)
			}
		})
	}
}

// A p is below its level exactly where Holm's corrected p is below the level of them all, and
// levels are those of the steps, worked by hand: 0.05 over 4, then over 3; there 0.02 fails,
// and what comes after it shares that level.
func TestHolmLevels(t *testing.T) {
	_, levels := Holm([]float64{0.04, 0.01, 0.03, 0.02}, 0.05)
	for i, want := range []float64{0.05 / 3, 0.05 / 4, 0.05 / 3, 0.05 / 3} {
		near(t, "level", levels[i], want, 1e-15)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 0.2), 0, 9).Draw(t, "p")
		corrected, levels := Holm(p, 0.05)
		for i, level := range levels {
			if math.Abs(corrected[i]-0.05) > 1e-12 && (p[i] < level) != (corrected[i] < 0.05) {
				t.Fatalf("p %v, level %v, corrected %v", p[i], level, corrected[i])
			}
		}
	})
}

// The quantiles that handbooks print for Student's t (Fisher & Yates, Statistical Tables,
// table III; from memory), and gonum's own inversion.
func TestTQuantile(t *testing.T) {
	for df, want := range map[float64]float64{1: 12.706, 2: 4.303, 5: 2.571, 10: 2.228, 30: 2.042, 120: 1.980, math.Inf(1): 1.960} {
		if got := TQuantile(0.975, df); math.Abs(got-want) > 5e-4 {
			t.Errorf("t(0.975, %g) = %g, want %g", df, got, want)
		}
	}
	for _, p := range []float64{0.5, 0.6, 0.9, 0.975, 0.9995, 0.99999} {
		for _, df := range []float64{0.5, 0.9, 1, 1.5, 2, 3, 4.4, 7, 13, 40, 333, 1e5} {
			want := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
			if got := TQuantile(p, df); math.Abs(got-want) > 1e-8*max(1, math.Abs(want)) {
				t.Errorf("t(%g, %g) = %.12g, want %.12g", p, df, got, want)
			}
		}
	}
}
