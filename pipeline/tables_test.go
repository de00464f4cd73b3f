package pipeline_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/record"
)

// seenAgain writes a horse with four visits, one of them not filmed, and
// compares the first with the last.
func seenAgain(t *testing.T) (history, comparison string) {
	t.Helper()
	horse := filepath.Join(t.TempDir(), "horses", "Łąka")
	write(t, filepath.Join(horse, "horse.toml"), "name = \"Łąka\"\n")
	for i, date := range []string{"2026-05-01", "2026-05-15", "2026-05-20", "2026-06-01-2"} {
		visit := filepath.Join(horse, date)
		page := fmt.Sprintf("surface = \"sand\"\nfollowed = \"head_low_difference\"\nnotes = \"-better, \\\"much\\\"\\nsecond line\"\naaep_grade = %d\n[[palpation]]\nregion = \"triceps\"\nside = \"right\"\nsoreness = %d\npressure = 42.5\npressure_unit = \"N\"\nnote = \"=1+1\"\n[[treatment]]\nwhat = \"massage; ice\"\nwho = \"Żaneta\"\n", 3-i, 3-i)
		write(t, filepath.Join(visit, "visit.toml"), page)
		if i == 2 {
			continue
		}
		for run := 1; run <= 3; run++ {
			put(t, visit, fmt.Sprintf("toward-%d.mp4", run), 45-15*float64(i), -0.1+0.03*float64(i))
		}
	}
	h, err := pipeline.History(context.Background(), horse, pipeline.CompareOptions{Program: record.Program{Measuring: pipeline.MeasuringVersion}})
	if err != nil || len(h.Problems) > 0 {
		t.Fatal(h, err)
	}
	c, err := pipeline.CompareVisits(context.Background(), filepath.Join(horse, "2026-05-01"), filepath.Join(horse, "2026-06-01-2"), pipeline.CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return h.Folder, c.Folder
}

func table(t *testing.T, path string) []map[string]string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, name := range rows[0] {
			m[name] = r[i]
		}
		out = append(out, m)
	}
	return out
}

// TestTablesOfVisits checks what stands in the tables, and that a dictionary
// beside them knows every column.
func TestTablesOfVisits(t *testing.T) {
	history, comparison := seenAgain(t)
	for folder, names := range map[string][]string{history: {"history.csv", "visits.csv", "soreness.csv"}, comparison: {"changes.csv", "visits.csv", "soreness.csv"}} {
		known := map[string]string{}
		for _, r := range table(t, filepath.Join(folder, "columns.csv")) {
			known[r["file"]+" "+r["column"]] = r["meaning"]
		}
		for _, name := range names {
			for column := range table(t, filepath.Join(folder, name))[0] {
				if known[name+" "+column] == "" {
					t.Errorf("%s: the dictionary does not explain %s", name, column)
				}
				delete(known, name+" "+column)
			}
		}
		if len(known) > 0 {
			t.Errorf("the dictionary explains what is not there: %v", known)
		}
		for _, name := range []string{pipeline.ReportFile, pipeline.PaperFile} {
			if _, err := os.Stat(filepath.Join(folder, name)); err != nil {
				t.Error(err)
			}
		}
	}
	visits := table(t, filepath.Join(history, "visits.csv"))
	if len(visits) != 4 || visits[2]["strides"] != "" || visits[2]["asymmetry_score"] != "" || visits[3]["visit"] != "2026-06-01-2" || visits[3]["date"] != "2026-06-01" {
		t.Errorf("%v", visits)
	}
	if v := visits[0]; v["notes"] != ` -better, "much" second line` || v["treatment"] != "massage; ice (Żaneta)" || v["vet_grade_aaep"] != "3" || v["since_the_visit_before"] != "" {
		t.Errorf("%v", v)
	}
	if v := visits[3]; v["since_the_visit_before"] == "" {
		t.Errorf("%v", v)
	}
	felt := table(t, filepath.Join(history, "soreness.csv"))
	if len(felt) != 4 || felt[0]["soreness_grade"] != "3" || felt[3]["soreness_grade"] != "0" || felt[0]["pressure"] != "42.50" || felt[0]["note"] != " =1+1" {
		t.Errorf("%v", felt)
	}
	measures := 0
	for _, r := range table(t, filepath.Join(history, "history.csv")) {
		if r["measure"] == string(metrics.HeadLowDifference) {
			measures++
			if r["value"] == "" || r["unit"] != "mm" || r["runs"] != "3" {
				t.Errorf("%v", r)
			}
		}
		if (r["value"] == "") != (r["not_measurable"] != "") && r["left"] == "" {
			t.Errorf("a row without a value and without a reason, or with both: %v", r)
		}
	}
	if measures != 3 {
		t.Errorf("the head's difference stands at %d visits, want 3", measures)
	}
	if first := table(t, filepath.Join(comparison, "changes.csv"))[0]; first["measure"] != "asymmetry_score" || first["followed"] != "false" {
		t.Errorf("%v", first)
	}
}

// TestHistoryDoesNotDependOnCores checks that the work's division among cores
// leaves no trace.
func TestHistoryDoesNotDependOnCores(t *testing.T) {
	history, _ := seenAgain(t)
	read := func() map[string]string {
		files := map[string]string{}
		err := filepath.WalkDir(history, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			data, err := os.ReadFile(path)
			files[path] = string(data)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return files
	}
	first := read()
	for _, cores := range []int{1, 8} {
		before := runtime.GOMAXPROCS(cores)
		_, err := pipeline.History(context.Background(), filepath.Dir(history), pipeline.CompareOptions{Program: record.Program{Measuring: pipeline.MeasuringVersion}})
		runtime.GOMAXPROCS(before)
		if err != nil {
			t.Fatal(err)
		}
		again := read()
		if len(again) != len(first) || len(first) < 8 {
			t.Fatalf("%d files, first %d", len(again), len(first))
		}
		for name, data := range first {
			if again[name] != data {
				t.Errorf("with %d cores %s differs", cores, filepath.Base(name))
			}
		}
	}
}

// fromSciPy reads the folder as somebody would who has not read about it: every
// file as named, numbers as numbers; it checks them against the JSON file and
// prints a line fitted to the followed measure over the days.
const fromSciPy = `
import csv, datetime, glob, json, os, sys
import numpy as np
from scipy import stats
folder = sys.argv[1]
def read(name):
    with open(os.path.join(folder, name), encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f))
units = {(r["file"], r["column"]): r["unit"] for r in read("columns.csv")}
for path in glob.glob(os.path.join(folder, "*.csv")):
    name = os.path.basename(path)
    if name == "columns.csv":
        continue
    for row in read(name):
        assert None not in row and None not in row.values(), (name, row)
        for column, cell in row.items():
            if units[name, column] and cell:
                float(cell)
data = json.load(open(os.path.join(folder, "history.json"), encoding="utf-8"))
rows = read("history.csv")
checked = 0
for visit in data["visits"]:
    for result in visit.get("summary", {}).get("results", []):
        row, = [r for r in rows if r["visit"] == visit["name"] and r["measure"] == result["name"]]
        for key in ("value", "left", "right"):
            for part, ending in (("value", ""), ("low", "_low"), ("high", "_high")):
                want = result.get(key, {}).get(part)
                got = row[key + ending]
                assert (want is None) == (got == ""), (row, key)
                if want is not None:
                    assert abs(float(got) - want) < 6e-6, (row, key, want)
                    checked += 1
assert checked > 50, checked
head = [r for r in rows if r["measure"] == "head_low_difference"]
day = np.array([datetime.date.fromisoformat(r["date"]).toordinal() for r in head])
print(repr(float(stats.linregress(day, np.array([float(r["value"]) for r in head])).slope)))
`

// TestTablesInSciPy reads a history with Python's csv, NumPy and SciPy.
func TestTablesInSciPy(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import scipy.stats").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED: tables are not read with SciPy (Debian: python3-scipy): %v: %s", err, bytes.TrimSpace(out))
	}
	history, _ := seenAgain(t)
	out, err := exec.Command(python, "-c", fromSciPy, history).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var got float64
	if _, err := fmt.Sscan(strings.TrimSpace(string(out)), &got); err != nil {
		t.Fatal(err)
	}
	conforms(t, "history-1", filepath.Join(history, "history.json"))
	// The same line from the JSON file.
	data, err := os.ReadFile(filepath.Join(history, "history.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Schema string
		Visits []struct {
			Name    string
			Summary *metrics.Summary
		}
	}
	if err := json.Unmarshal(data, &file); err != nil || file.Schema != pipeline.HistorySchema {
		t.Fatal(file.Schema, err)
	}
	var x, y []float64
	for _, v := range file.Visits {
		if v.Summary == nil {
			continue
		}
		day, err := time.Parse(time.DateOnly, v.Name[:len(time.DateOnly)])
		if err != nil {
			t.Fatal(err)
		}
		x, y = append(x, day.Sub(time.Time{}).Hours()/24), append(y, v.Summary.Lookup(metrics.HeadLowDifference).Value.Value)
	}
	var mx, my, top, bottom float64
	for i := range x {
		mx, my = mx+x[i]/float64(len(x)), my+y[i]/float64(len(y))
	}
	for i := range x {
		top, bottom = top+(x[i]-mx)*(y[i]-my), bottom+(x[i]-mx)*(x[i]-mx)
	}
	if len(x) != 3 || math.Abs(got-top/bottom) > 1e-5 {
		t.Errorf("SciPy finds a slope of %v mm a day from the table, the JSON file gives %v", got, top/bottom)
	}
}
