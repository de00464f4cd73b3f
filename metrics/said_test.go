package metrics

import (
	"math"
	"strings"
	"testing"

	"jogstrip/metrics/lengths"
)

// TestDecimals checks that the last digit is worth no more than half of the half-width of
// the interval, and no more decimals are shown than that needs.
func TestDecimalsFollowTheInterval(t *testing.T) {
	for _, tt := range []struct {
		half float64
		most int
		want int
	}{
		{3.9, 1, 0}, {2, 1, 0}, {1.9, 1, 1}, {0.2, 3, 1}, {0.19, 3, 2}, {0.004, 3, 3}, {40, 1, 0}, {0.001, 1, 1}, {0, 2, 2},
	} {
		if got := (Estimate{Low: 5 - tt.half, High: 5 + tt.half}).Decimals(tt.most); got != tt.want {
			t.Errorf("± %g, at most %d decimals: %d, want %d", tt.half, tt.most, got, tt.want)
		}
	}
}

// TestUnits checks that steps are said in centimetres, times of sides in milliseconds, and
// all else as it is measured.
func TestUnitsInWhichMeasuresAreSaid(t *testing.T) {
	for _, tt := range []struct {
		n    Name
		unit string
		want float64
		in   string
	}{
		{StepLengthFore, "m", 5.7, "cm"}, {StepLengthFore, "% of stride length", 0.057, "% of stride length"},
		{StanceDurationFore, "s", 57, "ms"}, {StrideLength, "m", 0.057, "m"}, {HeadLowDifference, "mm", 0.057, "mm"},
	} {
		d, _ := Define(tt.n)
		by, in := d.Say(tt.unit)
		if got := by * 0.057; in != tt.in || got-tt.want > 1e-9 || tt.want-got > 1e-9 {
			t.Errorf("%s: 0.057 %s is said as %g %s, want %g %s", tt.n, tt.unit, got, in, tt.want, tt.in)
		}
	}
}

// TestSaidInInches checks values, intervals and tolerances against the inch and the foot
// (1 in = 25.4 mm, 1 ft = 0.3048 m: international yard and pound agreement, 1959), that
// times and shares stay, that what is said once is not said again, and that the summary
// itself is not touched.
func TestSaidInInches(t *testing.T) {
	e := func(v float64) *Estimate { return &Estimate{Value: v, Low: v / 2, High: 2 * v, SE: v / 4} }
	s := &Summary{Results: []Result{
		{Name: HeadLowDifference, Unit: "mm", Value: e(25.4), Tolerance: 12.7},
		{Name: StepLengthFore, Unit: "m", Left: e(1.27), Right: e(1.016), Value: e(-0.254), Tolerance: 0.0254},
		{Name: LateralArcFore, Unit: "cm", Value: e(2.54)},
		{Name: Speed, Unit: "m/s", Value: e(3.048)},
		{Name: StepTimingFore, Unit: "%", Value: e(51), Tolerance: 1},
		{Name: StanceDurationFore, Unit: "s", Value: e(0.3)},
	}}
	want := []struct {
		unit             string
		value, tolerance float64
	}{{"in", 1, 0.5}, {"in", -10, 1}, {"in", 1, 0}, {"ft/s", 10, 0}, {"%", 51, 1}, {"ms", 300, 0}}
	for name, said := range map[string]*Summary{"once": s.Said(lengths.Inches), "twice": s.Said(lengths.Inches).Said(lengths.Inches), "then as it is": s.Said(lengths.Inches).Said(lengths.Metric)} {
		for i, w := range want {
			r := said.Results[i]
			if r.Unit != w.unit || math.Abs(r.Value.Value-w.value) > 1e-9 || math.Abs(r.Value.Low-w.value/2) > 1e-9 || math.Abs(r.Value.SE-w.value/4) > 1e-9 || math.Abs(r.Tolerance-w.tolerance) > 1e-9 {
				t.Errorf("%s: %s is %+v %s, tolerance %g; want %g %s, tolerance %g", name, r.Name, *r.Value, r.Unit, r.Tolerance, w.value, w.unit, w.tolerance)
			}
		}
		if left := said.Results[1].Left.Value; math.Abs(left-50) > 1e-9 {
			t.Errorf("%s: left step %g in, want 50", name, left)
		}
	}
	if r := s.Results[1]; r.Unit != "m" || r.Value.Value != -0.254 || r.Tolerance != 0.0254 {
		t.Errorf("the summary has changed: %+v", r)
	}
}

// TestDecimalsOfEstimatesBesideEachOther checks that digits which the interval does not
// support are left out, and that what leaves out zero is never written as reaching it.
func TestDecimalsOfEstimatesBesideEachOther(t *testing.T) {
	for _, tt := range []struct {
		name   string
		most   int
		beside []Estimate
		want   int
	}{
		{"narrow", 1, []Estimate{{Value: 9.6, Low: 9.2, High: 10}}, 1},
		{"wide", 1, []Estimate{{Value: 9.6, Low: 5.8, High: 13.5}}, 0},
		{"the widest decides", 1, []Estimate{{Value: 9.6, Low: 9.2, High: 10}, {Value: 9.6, Low: 5.8, High: 13.5}}, 0},
		{"an end just short of zero", 1, []Estimate{{Value: 9.6, Low: 5.8, High: 13.5}, {Value: -6.8, Low: -13.3, High: -0.4}}, 1},
		{"above zero", 2, []Estimate{{Value: 3, Low: 0.04, High: 6}}, 2},
		{"it reaches zero", 1, []Estimate{{Value: -6.8, Low: -13.9, High: 0.3}}, 0},
		{"whole numbers", 0, []Estimate{{Value: 6, Low: 0.4, High: 12}}, 0},
		{"no interval", 1, []Estimate{{Value: 6, Low: math.NaN(), High: math.NaN()}}, 1},
	} {
		if got := DecimalsOf(tt.most, tt.beside...); got != tt.want {
			t.Errorf("%s: %d decimals, want %d", tt.name, got, tt.want)
		}
	}
}

// TestVisitsAreToldInThePast checks that what every measure says has both tenses.
func TestVisitsAreToldInThePast(t *testing.T) {
	for _, d := range definitions {
		for _, deviation := range []float64{-20, 20} {
			now, then := phrase(d, d.Unit, deviation, 0, present), phrase(d, d.Unit, deviation, 0, past)
			if then == now || strings.ContainsAny(now+then, "[|]{}") {
				t.Errorf("%s: %q became %q", d.Name, now, then)
			}
		}
	}
}

// TestSentencesInInches checks that sentences are written in the yard's unit where numbers
// stay as they are.
func TestSentencesInInches(t *testing.T) {
	d, _ := Define(StepLengthFore)
	c := &Change{Name: StepLengthFore, Unit: "m", Before: &Estimate{Value: 0.254}, After: &Estimate{Value: 0.0508}, Change: &Estimate{Value: -0.2032, Low: -0.254, High: -0.1524}, Judged: &Estimate{Value: -0.2032, Low: -0.254, High: -0.1524}, Smallest: 0.0508, Verdict: Improved}
	for _, tt := range []struct {
		in   lengths.System
		want []string
	}{
		{lengths.Metric, []string{"25 cm shorter", "5 cm shorter", "Change -20 cm (95 % interval -25 to -15); smallest that counts 5.1 cm."}},
		{lengths.Inches, []string{"10.0 in shorter", "2.0 in shorter", "Change -8.0 in (95 % interval -10.0 to -6.0); smallest that counts 2.00 in."}},
	} {
		got := changeSentence(d, c, 0.02, CompareOptions{Summary: SummaryOptions{Lengths: tt.in}})
		for _, w := range tt.want {
			if !strings.Contains(got, w) {
				t.Errorf("%q lacks %q", got, w)
			}
		}
	}
	if c.Change.Value != -0.2032 || c.Unit != "m" {
		t.Error("the change itself was changed")
	}
}
