// Package table turns measures into CSV tables (RFC 4180) that a spreadsheet
// or a statistics program opens without a word of explanation: column names
// carry their units, a cell that was not measured is empty, and Columns writes
// a dictionary of every column to lie beside the tables.
package table

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// unitSuffixes are the endings of column names.
var unitSuffixes = map[string]string{
	"m": "m", "cm": "cm", "mm": "mm", "s": "s", "ms": "ms", "%": "percent", "Hz": "hz", "m/s": "m_per_s", "°": "deg",
	"% of stride length": "percent_of_stride_length", "% of range": "percent_of_range",
}

// Column returns the name of the column that holds quantity in unit.
func Column(quantity, unit string) string {
	suffix, known := unitSuffixes[unit]
	if !known {
		suffix = strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
				return r
			}
			return '_'
		}, strings.ToLower(unit))
	}
	return quantity + "_" + suffix
}

// column is one column of a table over n rows.
type column struct {
	name, unit, meaning string
	cell                func(row int) string
}

func write(w io.Writer, rows int, columns []column) error {
	out := csv.NewWriter(w)
	record := make([]string, len(columns))
	for i, c := range columns {
		record[i] = c.name
	}
	if err := out.Write(record); err != nil {
		return err
	}
	for row := range rows {
		for i, c := range columns {
			record[i] = c.cell(row)
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// Number formats x for a cell; what was not measured gives an empty one.
func Number(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// Strides writes a row per stride.
func Strides(w io.Writer, r *metrics.Run) error {
	return write(w, len(r.Strides), strideColumns(r))
}

func strideColumns(r *metrics.Run) []column {
	columns := []column{
		{"stride", "", "Number of the stride in the run, the first is 1.", func(i int) string { return strconv.Itoa(i + 1) }},
		{"start_s", "s", "Hoof-on of the reference limb that begins the stride, from the clip's first frame.", func(i int) string { return Number(r.Strides[i].Start, 4) }},
		{"end_s", "s", "Its next hoof-on.", func(i int) string { return Number(r.Strides[i].End, 4) }},
	}
	for _, s := range r.Series {
		d, known := metrics.Define(s.Name)
		if !known || d.PerRun || s.Reason != "" {
			continue
		}
		byStride := make(map[int]metrics.Observation, len(s.Observations))
		for _, o := range s.Observations {
			byStride[o.Stride] = o
		}
		decimals := d.Decimals + 2
		pick := func(part func(metrics.Observation) float64) func(int) string {
			return func(i int) string {
				o, ok := byStride[i]
				if !ok {
					return ""
				}
				return Number(part(o), decimals)
			}
		}
		name := string(s.Name)
		if d.Sided {
			columns = append(columns,
				column{Column(name+"_left", s.Unit), s.Unit, d.Title + ", horse's left.", pick(func(o metrics.Observation) float64 { return o.Left })},
				column{Column(name+"_right", s.Unit), s.Unit, d.Title + ", horse's right.", pick(func(o metrics.Observation) float64 { return o.Right })},
				column{Column(name+"_difference", s.Unit), s.Unit, d.Title + ", right minus left.", pick(func(o metrics.Observation) float64 { return o.Value })})
		} else {
			columns = append(columns, column{Column(name, s.Unit), s.Unit, d.Title + ".", pick(func(o metrics.Observation) float64 { return o.Value })})
		}
		columns = append(columns, column{Column(name+"_sd", s.Unit), s.Unit, "Standard deviation of the value before, from tracking and geometry.", pick(func(o metrics.Observation) float64 { return o.SD })})
	}
	return columns
}

// Signals writes a row per frame: where every landmark was in the picture, how
// sure that is, and the height of head, withers and croup.
func Signals(w io.Writer, set *traj.Set, r *metrics.Run) error {
	return write(w, len(set.Times), signalColumns(set, r))
}

func signalColumns(set *traj.Set, r *metrics.Run) []column {
	columns := []column{
		{"frame", "", "Number of the frame, the first is 0.", strconv.Itoa},
		{"time_s", "s", "From the clip's first frame, on the clip's own timestamps.", func(i int) string { return Number(set.Times[i], 5) }},
	}
	for _, t := range set.Tracks {
		name := strings.ReplaceAll(string(t.Landmark), "-", "_")
		at := func(part func(traj.Sample) float64, decimals int) func(int) string {
			return func(i int) string { return Number(part(t.Samples[i]), decimals) }
		}
		columns = append(columns,
			column{name + "_x_px", "px", "Place in the upright picture, to the right; the centre of the top-left pixel is 0.", at(func(s traj.Sample) float64 { return s.X }, 3)},
			column{name + "_y_px", "px", "Place in the upright picture, down.", at(func(s traj.Sample) float64 { return s.Y }, 3)},
			column{name + "_sd_px", "px", "Standard deviation of the place, to the right.", at(func(s traj.Sample) float64 { return s.SD }, 3)},
			column{name + "_sd_y_px", "px", "Standard deviation of the place, down.", at(traj.Sample.SpreadY, 3)},
			column{name + "_status", "", "marked: clicked by a person; tracked: seen and followed; across: followed while it turns, so that only its place to the right holds closely; bridged: not seen, from a motion model; lost: no place.", func(i int) string { return t.Samples[i].Status.String() }})
	}
	for _, s := range r.Signals {
		name := strings.ReplaceAll(string(s.Landmark), "-", "_") + "_height"
		columns = append(columns, column{Column(name, s.Unit), s.Unit, "Height with slow drift removed, upward.", func(i int) string {
			if i >= len(s.Height) {
				return ""
			}
			return Number(s.Height[i], 2)
		}})
	}
	return columns
}

// Changes writes a row per measure of a comparison, the asymmetry score first.
func Changes(w io.Writer, c *metrics.Comparison) error {
	changes := c.Changes
	if c.Score != nil {
		changes = append([]metrics.Change{*c.Score}, changes...)
	}
	return write(w, len(changes), changeColumns(changes))
}

func changeColumns(changes []metrics.Change) []column {
	part := func(pick func(metrics.Change) *metrics.Estimate, value func(*metrics.Estimate) float64) func(int) string {
		return func(i int) string {
			e := pick(changes[i])
			if e == nil {
				return ""
			}
			return Number(value(e), 5)
		}
	}
	columns := []column{
		{"measure", "", "Name of the measure as in MEASURES.md, or asymmetry_score.", func(i int) string { return string(changes[i].Name) }},
		{"unit", "", "Unit of the numbers in this row.", func(i int) string { return changes[i].Unit }},
	}
	for _, e := range []struct {
		name, meaning string
		pick          func(metrics.Change) *metrics.Estimate
	}{
		{"before", "first visit", func(c metrics.Change) *metrics.Estimate { return c.Before }},
		{"after", "second visit", func(c metrics.Change) *metrics.Estimate { return c.After }},
		{"change", "change from first to second visit, by itself", func(c metrics.Change) *metrics.Estimate { return c.Change }},
		{"change_as_judged", "the change with the interval that the verdict goes by, wider where measures are judged together", func(c metrics.Change) *metrics.Estimate { return c.Judged }},
	} {
		columns = append(columns,
			column{e.name, "as in unit", "Value, " + e.meaning + ".", part(e.pick, func(e *metrics.Estimate) float64 { return e.Value })},
			column{e.name + "_low", "as in unit", "Lower end of the 95 % interval, " + e.meaning + ".", part(e.pick, func(e *metrics.Estimate) float64 { return e.Low })},
			column{e.name + "_high", "as in unit", "Upper end of the 95 % interval, " + e.meaning + ".", part(e.pick, func(e *metrics.Estimate) float64 { return e.High })})
	}
	return append(columns,
		column{"smallest_change_that_counts", "as in unit", "The change whose 95 % interval would just exclude none, days included; before correction.", func(i int) string {
			if changes[i].Smallest <= 0 {
				return ""
			}
			return Number(changes[i].Smallest, 5)
		}},
		column{"p", "", "Two-sided, before Holm's correction.", func(i int) string {
			if changes[i].Change == nil {
				return ""
			}
			return Number(changes[i].P, 5)
		}},
		column{"p_holm", "", "The same after Holm's correction; of the followed measure as before.", func(i int) string {
			if changes[i].Change == nil {
				return ""
			}
			return Number(changes[i].Holm, 5)
		}},
		column{"followed", "", "true for the one measure declared beforehand as what is to change; without one it is the score.", func(i int) string { return strconv.FormatBool(changes[i].Followed) }},
		column{"verdict", "", "improved, worse, changed, no measurable change, not judged (described only) or not comparable.", func(i int) string { return string(changes[i].Verdict) }},
		column{"why", "", "Why it is not comparable.", func(i int) string { return changes[i].Reason }})
}

// Dictionary writes a row per column of the tables that Strides and Signals
// write for the same run.
func Dictionary(w io.Writer, set *traj.Set, r *metrics.Run) error {
	return dictionary(w, entries("strides.csv", strideColumns(r)), entries("signals.csv", signalColumns(set, r)))
}
