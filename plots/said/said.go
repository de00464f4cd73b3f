// Package said tells how measured values are written for people: in which unit, and with
// how many digits.
package said

import (
	"math"

	"jogstrip/metrics"
)

// In returns a value in the unit in which people say it, with that unit: lengths of
// steps in centimetres, single times in milliseconds.
func In(d metrics.Definition, unit string, v float64) (value float64, in string) {
	switch {
	case unit == "m" && d.Sided:
		return 100 * v, "cm"
	case unit == "s" && d.Sided:
		return 1000 * v, "ms"
	}
	return v, unit
}

// Scaled is In for an estimate.
func Scaled(d metrics.Definition, unit string, e metrics.Estimate) (metrics.Estimate, string) {
	var out metrics.Estimate
	var in string
	out.Value, in = In(d, unit, e.Value)
	out.Low, _ = In(d, unit, e.Low)
	out.High, _ = In(d, unit, e.High)
	out.SE, _ = In(d, unit, e.SE)
	return out, in
}

// Decimals returns how many decimals an estimate's interval supports, at most most: the
// last digit is worth no more than half of the interval's half-width. Whole numbers are
// never rounded further.
func Decimals(e metrics.Estimate, most int) int {
	half := (e.High - e.Low) / 2
	if math.IsNaN(half) || math.IsInf(half, 0) || half <= 0 {
		return most
	}
	for d := range most {
		if math.Pow(10, -float64(d)) <= half/2 {
			return d
		}
	}
	return most
}

// Most returns how many decimals a measure is shown with at most where it is said in unit.
func Most(d metrics.Definition, unit string) int {
	switch {
	case unit == "cm" && d.Unit == "m":
		return 1
	case unit == "ms":
		return 0
	case unit == d.Unit:
		return d.Decimals
	case unit == "":
		return 2
	}
	return 1
}
