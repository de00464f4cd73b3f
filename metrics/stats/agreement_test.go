package stats

import (
	"math"
	"testing"
)

// Peak expiratory flow by two meters, twice each, in 17 people: Bland & Altman
// 1986, Lancet 327:307–310.
var (
	wright1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	wright2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	mini1   = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	mini2   = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

func TestLimitsOfAgreement(t *testing.T) {
	a, err := LimitsOfAgreement(wright1, mini1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", a.Bias, -2.1176470588, 1e-9)
	near(t, "SD", a.SD, 38.7651298736, 1e-9)
	near(t, "lower limit", a.Lower, -78.0959054849, 1e-9)
	near(t, "upper limit", a.Upper, 73.8606113673, 1e-9)
	near(t, "bias low", a.BiasLow, -22.048838, 1e-6)
	near(t, "bias high", a.BiasHigh, 17.813544, 1e-6)
	// As printed in 1986, with 2 SD.
	near(t, "lower as printed", a.Bias-2*a.SD, -79.6479, 1e-4)
	near(t, "upper as printed", a.Bias+2*a.SD, 75.4127, 1e-4)
	if _, err := LimitsOfAgreement(wright1[:1], mini1[:1]); err == nil {
		t.Error("one pair has limits")
	}
}

func pairs(a, b []float64) [][]float64 {
	var out [][]float64
	for i := range a {
		out = append(out, []float64{a[i], b[i]})
	}
	return out
}

// Repeatability of the same data; formula of MDC95 after Weir 2005, J Strength
// Cond Res 19:231–240 (from memory).
func TestMDC95(t *testing.T) {
	for _, c := range []struct {
		name     string
		repeats  [][]float64
		sem, mdc float64
	}{
		{"Wright meter", pairs(wright1, wright2), 15.306669, 42.427922},
		{"mini meter", pairs(mini1, mini2), 19.910831, 55.190007},
	} {
		t.Run(c.name, func(t *testing.T) {
			sem, df := SEM(c.repeats)
			near(t, "SEM", sem, c.sem, 1e-6)
			near(t, "degrees of freedom", df, 17, 0)
			near(t, "MDC95", MDC95(sem), c.mdc, 1e-6)
		})
	}
	sem, df := SEM([][]float64{{1}, nil, {2}})
	if !math.IsNaN(sem) || df != 0 {
		t.Errorf("single values give SEM %v with %v degrees of freedom", sem, df)
	}
}

func TestICC(t *testing.T) {
	for _, c := range []struct {
		name    string
		ratings [][]float64
		want    Reliability
		tol     float64
	}{
		// Shrout & Fleiss 1979, Psychol Bull 86:420–428, six targets and four judges;
		// they print .17, .29, .71 and .44, .62, .91.
		{"Shrout and Fleiss", [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}},
			Reliability{0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316}, 1e-6},
		{"Wright meter", pairs(wright1, wright2), Reliability{ICC11: 0.983165, ICC21: 0.983164, ICC31: 0.983046}, 1e-6},
		{"mini meter", pairs(mini1, mini2), Reliability{ICC11: 0.968496, ICC21: 0.968471, ICC31: 0.966905}, 1e-6},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ICC(c.ratings)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "ICC(1,1)", got.ICC11, c.want.ICC11, c.tol)
			near(t, "ICC(2,1)", got.ICC21, c.want.ICC21, c.tol)
			near(t, "ICC(3,1)", got.ICC31, c.want.ICC31, c.tol)
			if c.want.ICC1k != 0 {
				near(t, "ICC(1,k)", got.ICC1k, c.want.ICC1k, c.tol)
				near(t, "ICC(2,k)", got.ICC2k, c.want.ICC2k, c.tol)
				near(t, "ICC(3,k)", got.ICC3k, c.want.ICC3k, c.tol)
			}
		})
	}
	for name, bad := range map[string][][]float64{"one target": {{1, 2}}, "one rater": {{1}, {2}}, "ragged": {{1, 2}, {3}}} {
		if _, err := ICC(bad); err == nil {
			t.Errorf("%s: no error", name)
		}
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
		{"not measured does not count", []float64{0.02, math.NaN(), 0.03}, []float64{0.04, math.NaN(), 0.04}},
		{"none", nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Holm(c.p)
			if len(got) != len(c.want) {
				t.Fatalf("%d values, want %d", len(got), len(c.want))
			}
			for i := range got {
				near(t, "p", got[i], c.want[i], 1e-12)
			}
		})
	}
}
