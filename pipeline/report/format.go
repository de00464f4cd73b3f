package report

import (
	"fmt"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"jogstrip/metrics"
)

// number writes v with a true minus sign, never as minus zero, and "–" where
// there is none.
func number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", "−", 1)
}

// cell is a value over its interval in a table.
type cell struct {
	Value    string
	Interval string // "(4 to 20)", or another second line; empty where there is none.
}

// estimateCell writes an estimate with as many decimals as its interval supports, most at
// most.
func estimateCell(e *metrics.Estimate, most int) cell {
	if e == nil {
		return cell{Value: "–"}
	}
	return cellOf(*e, e.Decimals(most))
}

// scoreCell writes a score beside its finding: none where too little was seen.
func scoreCell(score *metrics.Estimate, finding string) cell {
	if score != nil && metrics.TooLittleSeen(finding) {
		none, why, _ := strings.Cut(metrics.NoScore, ": ")
		return cell{Value: none, Interval: why}
	}
	return estimateCell(score, 2)
}

func cellOf(e metrics.Estimate, decimals int) cell {
	return cell{Value: number(e.Value, decimals), Interval: interval(e, decimals)}
}

// measuredCells writes the estimates of one row in the unit in which people say the
// measure, all with as many decimals as the widest interval among them supports.
func measuredCells(d metrics.Definition, unit string, row ...*metrics.Estimate) []cell {
	var all []metrics.Estimate
	for _, e := range row {
		if e != nil {
			scaled, _ := d.SayEstimate(unit, *e)
			all = append(all, scaled)
		}
	}
	most := metrics.DecimalsOf(d.MostDecimals(saidUnit(d, unit)), all...)
	out := make([]cell, len(row))
	for i, e := range row {
		out[i] = cell{Value: "–"}
		if e != nil {
			scaled, _ := d.SayEstimate(unit, *e)
			out[i] = cellOf(scaled, most)
		}
	}
	return out
}

// sizeCell writes a size of a measure without an interval, such as its tolerance, with no
// trailing zeros.
func sizeCell(d metrics.Definition, unit, before string, v float64) cell {
	if v <= 0 {
		return cell{Value: "–"}
	}
	by, in := d.Say(unit)
	text := number(by*v, d.MostDecimals(in))
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return cell{Value: before + text}
}

// saidUnit returns the unit in which people say a measure.
func saidUnit(d metrics.Definition, unit string) string {
	_, in := d.Say(unit)
	return in
}

func interval(e metrics.Estimate, decimals int) string {
	if math.IsNaN(e.Low-e.High) || math.IsInf(e.Low-e.High, 0) {
		return ""
	}
	return fmt.Sprintf("(%s to %s)", number(e.Low, decimals), number(e.High, decimals))
}

// inText writes an estimate as "1.70 (95 % interval 1.20 to 2.10)".
func inText(e metrics.Estimate, unit string, most int) string {
	decimals := e.Decimals(most)
	if interval(e, decimals) == "" {
		return withUnit(number(e.Value, decimals), unit) + " (no interval)"
	}
	return fmt.Sprintf("%s (95 %% interval %s to %s)", withUnit(number(e.Value, decimals), unit), number(e.Low, decimals), number(e.High, decimals))
}

// withUnit puts a unit after a number, on the same line as it.
func withUnit(v, unit string) string {
	switch unit {
	case "":
		return v
	case "°":
		return v + unit
	}
	return v + " " + unit
}

// lowerFirst writes the first letter small, for a title inside a sentence.
func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// count writes "1 stride", "4 strides".
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// date writes a day in words, which every country reads alike.
func date(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2 January 2006")
}

// sentence makes a sentence of s: a capital first, a full stop last.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return ""
	}
	first := []rune(s)
	if r := []rune(strings.ToUpper(string(first[0]))); len(r) == 1 {
		first[0] = r[0]
	}
	s = string(first)
	if !strings.ContainsRune(".!?", rune(s[len(s)-1])) {
		s += "."
	}
	return typeset(s)
}

// negative finds the hyphen that stands for a minus before a number.
var negative = regexp.MustCompile(`(^|[ (])-([0-9])`)

// typeset writes minus and apostrophe as tables and the first page have them; files keep
// what a keyboard has.
func typeset(s string) string {
	return strings.ReplaceAll(negative.ReplaceAllString(s, "$1−$2"), "'", "’")
}

// relative makes a link that can only lead to a file beside or below the page,
// or up from it: whatever a folder is called, it is neither another site nor a
// script.
func relative(path string) string {
	if path == "" {
		return ""
	}
	parts := strings.Split(strings.TrimLeft(path, "/"), "/")
	for i, p := range parts {
		parts[i] = url.PathEscape(p)
	}
	return "./" + strings.Join(parts, "/")
}

// define returns a measure's definition; one that is missing is named by itself.
func define(n metrics.Name) metrics.Definition {
	if d, ok := metrics.Define(n); ok {
		return d
	}
	return metrics.Definition{Name: n, Title: string(n), Decimals: 2, Evidence: metrics.Description}
}
