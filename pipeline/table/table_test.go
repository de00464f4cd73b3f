package table_test

import (
	"encoding/csv"
	"io"
	"math"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/table"
	"jogstrip/track/traj"
)

// text is the table that write makes, or its error.
func text(write func(io.Writer) error) string {
	var b strings.Builder
	if err := write(&b); err != nil {
		return "error: " + err.Error()
	}
	return b.String()
}

func run() *metrics.Run {
	return &metrics.Run{
		Strides: []metrics.Stride{{Start: 1, End: 1.7}, {Start: 1.7, End: 2.41}},
		Series: []metrics.Series{
			{Name: metrics.StrideDuration, Unit: "s", Observations: []metrics.Observation{{Stride: 0, Left: math.NaN(), Right: math.NaN(), Value: 0.7, SD: 0.002}}},
			{Name: metrics.StepLengthFore, Unit: "m", Observations: []metrics.Observation{{Stride: 1, Left: 1.25, Right: 1.21, Value: -0.04, SD: 0.01}}},
			{Name: metrics.StepLengthHind, Unit: "m", Reason: "no hind hoof was marked"},
			{Name: metrics.PlacementSpreadFore, Unit: "cm", Observations: []metrics.Observation{{Value: 1}}},
		},
		Signals: []metrics.Signal{{Landmark: traj.Head, Unit: "mm", Height: []float64{1.5, math.NaN()}}},
	}
}

func set() *traj.Set {
	return &traj.Set{Times: []float64{0, 1.0 / 60, 2.0 / 60}, Tracks: []traj.Track{{Landmark: traj.LeftFore, Samples: []traj.Sample{{X: 10, Y: 20, SD: 0.3, Status: traj.Tracked}, traj.Gone(), {X: 11, Y: 18, SD: 0.4, SDY: 3, Status: traj.Across}}}}}
}

func TestStrides(t *testing.T) {
	got := text(func(w io.Writer) error { return table.Strides(w, run()) })
	want := strings.Join([]string{
		"stride,start_s,end_s,stride_duration_s,stride_duration_sd_s,step_length_fore_left_m,step_length_fore_right_m,step_length_fore_difference_m,step_length_fore_sd_m",
		"1,1.0000,1.7000,0.70000,0.00200,,,,",
		"2,1.7000,2.4100,,,1.25000,1.21000,-0.04000,0.01000",
		"",
	}, "\n")
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestSignals(t *testing.T) {
	got := text(func(w io.Writer) error { return table.Signals(w, set(), run()) })
	want := strings.Join([]string{
		"frame,time_s,left_fore_x_px,left_fore_y_px,left_fore_sd_px,left_fore_sd_y_px,left_fore_status,head_height_mm",
		"0,0.00000,10.000,20.000,0.300,0.300,tracked,1.50",
		"1,0.01667,,,,,lost,",
		"2,0.03333,11.000,18.000,0.400,3.000,across,",
		"",
	}, "\n")
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestDictionaryNamesEveryColumn(t *testing.T) {
	dictionary := text(func(w io.Writer) error { return table.Dictionary(w, set(), run()) })
	rows, err := csv.NewReader(strings.NewReader(dictionary)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	described := map[string]bool{}
	for _, r := range rows[1:] {
		described[r[0]+":"+r[1]] = r[3] != ""
	}
	for file, text := range map[string]string{
		"strides.csv": text(func(w io.Writer) error { return table.Strides(w, run()) }),
		"signals.csv": text(func(w io.Writer) error { return table.Signals(w, set(), run()) }),
	} {
		header, _, _ := strings.Cut(text, "\n")
		for _, name := range strings.Split(header, ",") {
			if !described[file+":"+name] {
				t.Errorf("%s: column %s is not described", file, name)
			}
		}
	}
}

func TestEveryUnitHasAColumnEnding(t *testing.T) {
	for _, d := range metrics.Definitions() {
		for _, unit := range []string{d.Unit, d.RatioUnit} {
			if unit == "" {
				continue
			}
			name := table.Column("a", unit)
			if strings.HasSuffix(name, "_") || strings.Contains(name, "__") || strings.ContainsAny(name, " %/°") {
				t.Errorf("%s: unit %q makes column %q", d.Name, unit, name)
			}
		}
	}
}

func TestChangesQuoteWhatTheyMust(t *testing.T) {
	c := &metrics.Comparison{Changes: []metrics.Change{{Name: metrics.Speed, Unit: "m/s", Verdict: metrics.NotComparable, Reason: `surface "sand", then concrete`}}}
	rows, err := csv.NewReader(strings.NewReader(text(func(w io.Writer) error { return table.Changes(w, c) }))).ReadAll()
	if err != nil || len(rows) != 2 {
		t.Fatalf("%v %v", rows, err)
	}
	if got := rows[1][len(rows[1])-1]; got != c.Changes[0].Reason {
		t.Errorf("read back %q", got)
	}
}

// TestReadSignals reads back what was written, to the digits that it was written with.
func TestReadSignals(t *testing.T) {
	written := text(func(w io.Writer) error { return table.Signals(w, set(), run()) })
	got, signals, err := table.ReadSignals(strings.NewReader(written))
	if err != nil {
		t.Fatal(err)
	}
	if again := text(func(w io.Writer) error { return table.Signals(w, got, &metrics.Run{Signals: signals}) }); again != written {
		t.Errorf("read and written again it is\n%s\nwas\n%s", again, written)
	}
	for _, bad := range []string{"", "frame\n0\n", "time_s\n\"0", "time_s,left_fore_status,left_fore_x_px,left_fore_y_px,left_fore_sd_px,left_fore_sd_y_px\n0,tracked\n"} {
		if _, _, err := table.ReadSignals(strings.NewReader(bad)); err == nil {
			t.Errorf("%q is no error", bad)
		}
	}
}
