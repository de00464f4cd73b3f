package metrics

import "testing"

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
		if got, in := d.Say(tt.unit, 0.057); in != tt.in || got-tt.want > 1e-9 || tt.want-got > 1e-9 {
			t.Errorf("%s: 0.057 %s is said as %g %s, want %g %s", tt.n, tt.unit, got, in, tt.want, tt.in)
		}
	}
}
