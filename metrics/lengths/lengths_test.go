package lengths_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"jogstrip/metrics"
	. "jogstrip/metrics/lengths"
)

// The values in inches and feet are those of NIST Handbook 44, appendix C (from memory):
// 1 in = 2.54 cm, 1 ft = 0.3048 m, both exactly.
func TestFormat(t *testing.T) {
	for _, tt := range []struct {
		system   System
		value    float64
		unit     string
		decimals int
		want     string
	}{
		{Metric, 43, "mm", 0, "43 mm"},
		{"", 2.5, "m", 1, "2.5 m"},
		{Inches, 25.4, "mm", 0, "1.00 in"},
		{Inches, 43, "mm", 0, "1.69 in"},
		{Inches, -2.54, "cm", 1, "-1.00 in"},
		{Inches, 2.438, "m", 2, "8.00 ft"},
		{Inches, 3.48, "m/s", 2, "11.42 ft/s"},
		{Inches, 0.72, "s", 2, "0.72 s"},
		{Inches, 48.2, "%", 1, "48.2 %"},
		{Inches, 1.5, "", 2, "1.50"},
	} {
		if got := tt.system.Format(tt.value, tt.unit, tt.decimals); got != tt.want {
			t.Errorf("%q, %v %s: %q, want %q", tt.system, tt.value, tt.unit, got, tt.want)
		}
	}
}

// What a person reads in inches is as near to what was measured as what is read in the
// metric unit, or nearer.
func TestNoDigitIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]string{"mm", "cm", "m", "m/s"}).Draw(t, "unit")
		value, decimals := rapid.Float64Range(-1000, 1000).Draw(t, "value"), rapid.IntRange(0, 3).Draw(t, "decimals")
		places := Inches.Decimals(decimals, unit)
		read := math.Round(Inches.Of(value, unit)*math.Pow10(places)) / math.Pow10(places)
		back := read * value / Inches.Of(value, unit)
		if value != 0 && math.Abs(back-value) > 0.5*math.Pow10(-decimals) {
			t.Fatalf("%v %s is read as %v %s, which is %v", value, unit, read, Inches.Unit(unit), back)
		}
	})
}

// Every unit of a measure is read in both systems, and only lengths differ.
func TestUnitsOfMeasures(t *testing.T) {
	for _, d := range metrics.Definitions() {
		other := Inches.Unit(d.Unit)
		switch d.Unit {
		case "mm", "cm", "m", "m/s":
			if other == d.Unit {
				t.Errorf("%s stays in %s", d.Name, d.Unit)
			}
		default:
			if other != d.Unit {
				t.Errorf("%s: %s becomes %s", d.Name, d.Unit, other)
			}
		}
		if Metric.Unit(d.Unit) != d.Unit {
			t.Errorf("%s: %s does not stay", d.Name, d.Unit)
		}
	}
}
