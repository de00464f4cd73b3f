// Package lengths writes lengths as a yard reads them: in the metric system, or in feet
// and inches. Files and calculations stay in the units of package metrics.
package lengths

import (
	"fmt"
	"strconv"
)

// System is the system of units in which a yard reads lengths. The zero value is Metric.
type System string

// The systems, as yard.toml names them.
const (
	Metric System = "cm"
	Inches System = "in"
)

// Valid reports whether s is a system; an empty one is Metric.
func (s System) Valid() bool { return s == "" || s == Metric || s == Inches }

// inch and foot in metres, exactly (international yard and pound agreement, 1959).
const (
	inch = 0.0254
	foot = 12 * inch
)

// other is what stands for a metric unit in feet and inches. Its numbers have as many more
// decimals as keep what the metric ones say.
type other struct {
	unit   string
	per    float64 // Of the metric unit.
	places int     // How many more decimals its numbers have.
}

var others = map[string]other{
	"mm":  {"in", 0.001 / inch, 2},
	"cm":  {"in", 0.01 / inch, 1},
	"m":   {"ft", 1 / foot, 0},
	"m/s": {"ft/s", 1 / foot, 0},
}

// of returns what stands for a unit in s.
func (s System) of(unit string) other {
	if o, ok := others[unit]; ok && s == Inches {
		return o
	}
	return other{unit, 1, 0}
}

// Unit returns the unit in which s reads what is measured in unit: "in" for "mm" and
// "cm", "ft" for "m", "ft/s" for "m/s"; every other unit stays.
func (s System) Unit(unit string) string { return s.of(unit).unit }

// Of returns a value that is measured in unit, in the unit that Unit returns.
func (s System) Of(value float64, unit string) float64 { return value * s.of(unit).per }

// Decimals returns with how many decimals a value is written in s that has so many in
// unit, so that no digit which the measurement supports is lost.
func (s System) Decimals(decimals int, unit string) int { return decimals + s.of(unit).places }

// Format writes a value that is measured in unit and has so many decimals there, with
// the unit in which s reads it: Inches.Format(43, "mm", 0) is "1.69 in".
func (s System) Format(value float64, unit string, decimals int) string {
	text := strconv.FormatFloat(s.Of(value, unit), 'f', s.Decimals(decimals, unit), 64)
	if u := s.Unit(unit); u != "" {
		return fmt.Sprintf("%s %s", text, u)
	}
	return text
}
