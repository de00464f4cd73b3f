package pipeline_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func hash(t testing.TB, path string) string {
	t.Helper()
	sum, err := fsx.Hash(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

func withers(t testing.TB, visit string) float64 {
	t.Helper()
	around, err := pipeline.Look(visit)
	if err != nil {
		t.Fatal(err)
	}
	return around.Horse.WithersM
}

// put writes a clip, its marks and a result as measuring would: a run of ten strides with the given
// head low-point and step-length differences.
func put(t *testing.T, visit, clip string, headMM, stepM float64) {
	t.Helper()
	putDeclared(t, visit, clip, headMM, stepM, nil)
}

// putDeclared is put of a clip that was measured when earlier visits' pages named what
// is declared.
func putDeclared(t *testing.T, visit, clip string, headMM, stepM float64, declared map[string]metrics.Name) {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(len(clip)), uint64(math.Float64bits(headMM))))
	run := metrics.Run{View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelMetric, Reference: traj.LeftFore}
	series := map[metrics.Name][]metrics.Observation{}
	for i := range 10 {
		at := 1 + 0.72*float64(i)
		run.Strides = append(run.Strides, metrics.Stride{Start: at, End: at + 0.72})
		nan := math.NaN()
		series[metrics.StrideDuration] = append(series[metrics.StrideDuration], metrics.Observation{Stride: i, Time: at, Left: nan, Right: nan, Value: 0.72 + 0.005*rng.NormFloat64(), SD: 0.004})
		series[metrics.Speed] = append(series[metrics.Speed], metrics.Observation{Stride: i, Time: at, Left: nan, Right: nan, Value: 3.4 + 0.03*rng.NormFloat64(), SD: 0.02})
		series[metrics.HeadLowDifference] = append(series[metrics.HeadLowDifference], metrics.Observation{Stride: i, Time: at, Left: nan, Right: nan, Value: headMM + 4*rng.NormFloat64(), SD: 2})
		left := 1.25 + 0.01*rng.NormFloat64()
		right := 1.25 + stepM + 0.01*rng.NormFloat64()
		series[metrics.StepLengthFore] = append(series[metrics.StepLengthFore], metrics.Observation{Stride: i, Time: at, Left: left, Right: right, Value: right - left, SD: 0.01})
	}
	for _, d := range metrics.Definitions() {
		s := metrics.Series{Name: d.Name, Unit: d.Unit, Observations: series[d.Name]}
		if len(s.Observations) == 0 {
			s.Reason = "not marked"
		}
		run.Series = append(run.Series, s)
	}
	// The clip need not be a film: nothing decodes it here.
	film := filepath.Join(visit, clip)
	write(t, film, film)
	write(t, record.MarksPath(film), `{"schema":"jogstrip-marks/1"}`)
	sum := hash(t, film)
	data, err := record.MarshalResult(&record.Result{
		Program: record.Program{Version: "0", Measuring: pipeline.MeasuringVersion},
		Inputs:  record.Inputs{ClipSHA256: sum, MarksSHA256: hash(t, record.MarksPath(film)), SettingsSHA256: sum, WithersM: withers(t, visit)},
		Clip:    record.ClipFacts{File: clip}, Run: run, Declared: declared,
	})
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(visit, strings.TrimSuffix(clip, ".mp4")+".out", "result.json"), string(data))
}

func TestFindClips(t *testing.T) {
	root := t.TempDir()
	for _, name := range []string{
		"b/toward-1.mp4", "b/toward-1.marks.json", "b/away 1 'ü'.MOV", "b/notes.txt", "a/x.mkv",
		"b/toward-1.out/tracked.mp4", ".hidden/y.mp4", "b/.z.mp4", "c/one.mp4", "c/one.mov", "c/visit.mp4",
	} {
		write(t, filepath.Join(root, name), "x")
	}
	if err := os.Symlink(root, filepath.Join(root, "b", "loop")); err != nil {
		t.Fatal(err)
	}
	found, err := pipeline.FindClips(context.Background(), root)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, f := range found {
		rel, _ := filepath.Rel(root, f.Path)
		got = append(got, fmt.Sprintf("%s marks=%v problem=%v", rel, f.Marks, f.Problem != nil))
	}
	want := []string{
		"a/x.mkv marks=false problem=false",
		"b/away 1 'ü'.MOV marks=false problem=false",
		"b/toward-1.mp4 marks=true problem=false",
		"c/one.mov marks=false problem=false",
		"c/one.mp4 marks=false problem=true", // Would share one.out with one.mov.
		"c/visit.mp4 marks=false problem=true",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestLook(t *testing.T) {
	yard := t.TempDir()
	visit := filepath.Join(yard, "horses", "thistle", "2026-05-01")
	write(t, filepath.Join(yard, "yard.toml"), "name = \"Hill\"\ncolour = \"red\"\n")
	write(t, filepath.Join(visit, "..", "horse.toml"), "name = \"Thistle\"\nwithers_m = 1.52\n")
	write(t, filepath.Join(visit, "visit.toml"), "surface = \"sand\"\nfollowed = \"step_length_fore\"\n")
	s, err := pipeline.Look(visit)
	if err != nil {
		t.Fatal(err)
	}
	if s.Yard.Name != "Hill" || s.Horse.Name != "Thistle" || s.Horse.WithersM != 1.52 || s.Visit.Surface != "sand" || s.Date() != "2026-05-01" {
		t.Errorf("%+v", s)
	}
	if len(s.Warnings) != 1 || !strings.Contains(s.Warnings[0], "colour") {
		t.Errorf("warnings %q", s.Warnings)
	}
	write(t, filepath.Join(visit, "..", "horse.toml"), "withers_m = 15\n")
	if _, err := pipeline.Look(visit); err == nil || !strings.Contains(err.Error(), "withers_m") || !strings.Contains(err.Error(), "15") {
		t.Errorf("a height of 15 m: %v", err)
	}
	loose, err := pipeline.Look(t.TempDir())
	if err != nil || loose.HasHorse || loose.Horse.Name != "" {
		t.Errorf("loose folder: %+v %v", loose, err)
	}
}

// Declared beforehand is what the earlier visit's page named when the later clips were
// measured. What is written there afterwards, into the later page or behind --followed,
// is not.
func TestDeclaredBeforehand(t *testing.T) {
	horse := filepath.Join(t.TempDir(), "horses", "thistle")
	before, after := filepath.Join(horse, "2026-05-01"), filepath.Join(horse, "2026-06-01")
	declared := map[string]metrics.Name{"2026-05-01": metrics.StepLengthFore}
	for i := 1; i <= 3; i++ {
		put(t, before, fmt.Sprintf("toward-%d.mp4", i), 45, -0.10)
	}
	page := func(folder, followed string) {
		write(t, filepath.Join(folder, "visit.toml"), "surface = \"sand\"\nfollowed = \""+followed+"\"\n")
	}
	for _, c := range []struct {
		name                 string
		declared             map[string]metrics.Name // When the later clips were measured.
		earlier, later, asks string
		want                 metrics.Name
	}{
		{"as recorded", declared, "step_length_fore", "step_length_fore", "", metrics.StepLengthFore},
		{"the later page says otherwise", declared, "step_length_fore", "head_low_difference", "", metrics.StepLengthFore},
		{"the earlier page was written later", nil, "step_length_fore", "step_length_fore", "", ""},
		{"the earlier page was changed later", declared, "head_low_difference", "step_length_fore", "", ""},
		{"the later page alone", nil, "", "step_length_fore", "", ""},
		{"asked for", declared, "step_length_fore", "", "head_low_difference", ""},
		{"asked for as recorded", declared, "step_length_fore", "", "step_length_fore", metrics.StepLengthFore},
	} {
		t.Run(c.name, func(t *testing.T) {
			for i := 1; i <= 3; i++ {
				putDeclared(t, after, fmt.Sprintf("toward-%d.mp4", i), 2, 0, c.declared)
			}
			page(before, c.earlier)
			page(after, c.later)
			got, err := pipeline.CompareVisits(context.Background(), before, after, pipeline.CompareOptions{Resamples: 100, Followed: metrics.Name(c.asks)})
			if err != nil {
				t.Fatal(err)
			}
			var followed metrics.Name
			for _, ch := range got.Changes {
				if ch.Followed {
					followed = ch.Name
				}
			}
			if said := strings.Contains(strings.Join(got.Reasons, " "), "afterwards"); followed != c.want || said != (c.want == "") {
				t.Errorf("followed %q, want %q; says that it was chosen afterwards: %v", followed, c.want, said)
			}
		})
	}
}

func TestCompareVisits(t *testing.T) {
	horse := filepath.Join(t.TempDir(), "horses", "thistle")
	before, after := filepath.Join(horse, "2026-05-01"), filepath.Join(horse, "2026-06-01")
	for i := 1; i <= 3; i++ {
		put(t, before, fmt.Sprintf("toward-%d.mp4", i), 45, -0.10)
		put(t, after, fmt.Sprintf("toward-%d.mp4", i), 2, 0)
	}
	write(t, filepath.Join(before, "visit.toml"), "surface = \"sand\"\n[[palpation]]\nregion = \"triceps\"\nside = \"right\"\nsoreness = 3\n")
	write(t, filepath.Join(after, "visit.toml"), "surface = \"sand\"\nfollowed = \"step_length_fore\"\n[[palpation]]\nregion = \"triceps\"\nside = \"right\"\nsoreness = 1\n")
	write(t, filepath.Join(after, "toward-9.out", "result.json"), `{"schema":"jogstrip-result/1","cli`) // A torn file costs itself alone.

	c, err := pipeline.CompareVisits(context.Background(), before, after, pipeline.CompareOptions{Program: record.Program{Version: "0", Measuring: pipeline.MeasuringVersion}})
	if err != nil {
		t.Fatal(err)
	}
	if c.Verdict != metrics.Improved || !strings.Contains(c.Sentence, "the head was carried") || !strings.Contains(strings.Join(c.Reasons, " "), "step length, fore was chosen as the measure to follow afterwards") {
		t.Errorf("%s: %s\n%q", c.Verdict, c.Sentence, c.Reasons)
	}
	if len(c.Problems) != 1 || !strings.Contains(c.Problems[0], "toward-9.out") {
		t.Errorf("problems %q", c.Problems)
	}
	page, err := os.ReadFile(filepath.Join(c.Folder, pipeline.ReportFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"triceps, right", "3 marked", "1 slight", "Improved"} {
		if !bytes.Contains(page, []byte(word)) {
			t.Errorf("the page lacks %q", word)
		}
	}
	var file struct {
		Schema     string
		Comparison metrics.Comparison
	}
	data, err := os.ReadFile(filepath.Join(c.Folder, "comparison.json"))
	if err != nil || json.Unmarshal(data, &file) != nil || file.Schema != pipeline.ComparisonSchema || file.Comparison.Verdict != metrics.Improved {
		t.Errorf("comparison.json: %v %+v", err, file.Schema)
	}

	conforms(t, "comparison-1", filepath.Join(c.Folder, "comparison.json"))

	t.Run("other surface", func(t *testing.T) {
		write(t, filepath.Join(before, "visit.toml"), "surface = \"concrete\"\n")
		c, err := pipeline.CompareVisits(context.Background(), before, after, pipeline.CompareOptions{})
		if err != nil || c.Verdict != metrics.NotComparable || !strings.Contains(c.Sentence, "surface") {
			t.Errorf("%v %v", c, err)
		}
	})
	t.Run("folder with other files is left alone", func(t *testing.T) {
		mine := t.TempDir()
		write(t, filepath.Join(mine, "letter.txt"), "dear")
		if _, err := pipeline.CompareVisits(context.Background(), before, after, pipeline.CompareOptions{Out: mine}); err == nil {
			t.Error("overwrote a folder of the user's")
		}
	})
	t.Run("unmeasured visit", func(t *testing.T) {
		if _, err := pipeline.CompareVisits(context.Background(), t.TempDir(), after, pipeline.CompareOptions{}); err == nil || !strings.Contains(err.Error(), "no measured clip") {
			t.Error(err)
		}
	})
	t.Run("single results", func(t *testing.T) {
		c, err := pipeline.CompareVisits(context.Background(), filepath.Join(before, "toward-1.out"), filepath.Join(before, "toward-2.out", "result.json"), pipeline.CompareOptions{Out: filepath.Join(t.TempDir(), "two")})
		if err != nil || c.Verdict == metrics.Improved || c.Verdict == metrics.Worse {
			t.Errorf("two runs of one visit: %v %v", c.Verdict, err)
		}
	})
}

func TestHistory(t *testing.T) {
	horse := filepath.Join(t.TempDir(), "thistle")
	write(t, filepath.Join(horse, "horse.toml"), "name = \"Thistle <b>\"\n")
	for i, date := range []string{"2026-05-01", "2026-05-15", "2026-06-01-2"} {
		for run := 1; run <= 2; run++ {
			put(t, filepath.Join(horse, date), fmt.Sprintf("toward-%d.mp4", run), 45-20*float64(i), -0.1+0.05*float64(i))
		}
	}
	write(t, filepath.Join(horse, "2026-05-20", "visit.toml"), "[[treatment]]\nwhat = \"massage\"\n") // Not filmed.
	write(t, filepath.Join(horse, "2026-05-25", "visit.toml"), "presented = \"flying\"\n")            // Damaged.
	h, err := pipeline.History(context.Background(), horse, pipeline.CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if h.Visits != 4 || len(h.Problems) != 1 || !strings.Contains(h.Problems[0], "flying") || h.Finding == "" {
		t.Errorf("%+v", h)
	}
	page, err := os.ReadFile(filepath.Join(h.Folder, pipeline.ReportFile))
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(page, []byte("Thistle <b>")) || !bytes.Contains(page, []byte("Thistle &lt;b&gt;")) || !bytes.Contains(page, []byte("massage")) {
		t.Error("the page lacks the treatment or does not escape the name")
	}
	for _, want := range []string{"Each visit against the one before it: ", "20 May not measured", ">1 May<", ">15 May<", ">1 Jun<"} {
		if !bytes.Contains(page, []byte(want)) {
			t.Errorf("the first page lacks %q", want)
		}
	}
}

func TestMeasureClipErrorsNameFileAndCause(t *testing.T) {
	dir := t.TempDir()
	marks := `{"schema":"jogstrip-marks/1","view":"toward","gait":"trot","picture":{"width":64,"height":64},"marks":[{"frame":0,"landmark":"head","x":5,"y":6}]}`
	tests := []struct {
		name, clip, marks string
		want              []string
	}{
		{"no marks", "x", "", []string{"the clip has no marks (a.marks.json): mark it with `jogstrip mark "}},
		{"empty clip", "", marks, []string{"a.mp4", "empty"}},
		{"no clip at all", "text", marks, []string{"a.mp4", "no index"}},
		{"later marks", "text", strings.Replace(marks, "marks/1", "marks/9", 1), []string{"a.marks.json", "another version"}},
	}
	for i, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			folder := filepath.Join(dir, fmt.Sprint(i))
			path := filepath.Join(folder, "a.mp4")
			write(t, path, tt.clip)
			if tt.marks != "" {
				write(t, record.MarksPath(path), tt.marks)
			}
			_, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{})
			if err == nil {
				t.Fatal("no error")
			}
			for _, word := range tt.want {
				if !strings.Contains(err.Error(), word) {
					t.Errorf("error lacks %q: %v", word, err)
				}
			}
			if entries, _ := os.ReadDir(folder); len(entries) > 2 {
				t.Errorf("left something behind: %v", entries)
			}
			if tt.marks == "" && !errors.Is(err, pipeline.ErrNoMarks) {
				t.Errorf("%v is not ErrNoMarks", err)
			}
		})
	}
}
