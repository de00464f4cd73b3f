package accuracy_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/record"
)

// shared returns the folder of outside data, or skips the test.
func shared(t *testing.T) string {
	t.Helper()
	root := os.Getenv("JOGSTRIP_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	if _, err := os.Stat(filepath.Join(root, "data", "real")); err != nil {
		t.Skipf("SKIPPED: REAL FILM IS NOT HERE: %s; set JOGSTRIP_SHARED", filepath.Join(root, "data", "real"))
	}
	return root
}

// filed is a folder for the results of real clips with the marks that lie beside the
// film, which several tests look at.
var filed string

func TestMain(m *testing.M) {
	var err error
	if filed, err = os.MkdirTemp("", "jogstrip-real-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if err := os.RemoveAll(filed); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	os.Exit(code)
}

// filedReal returns the results of a real clip with the marks that lie beside the film. It is
// measured for the first test that asks.
func filedReal(t *testing.T, root string, c accuracy.RealClip) (out string, err error) {
	t.Helper()
	path := filepath.Join(filed, c.Name+".mp4")
	if _, err := os.Stat(record.OutPath(path)); err == nil {
		return record.OutPath(path), nil
	}
	marks, err := record.ReadMarks(filepath.Join(root, "data", "real", c.Name+".marks.json"))
	if err != nil {
		return "", err
	}
	return measuredReal(t, filed, root, c, marks)
}

// measuredReal measures a real clip in a folder, with marks.
func measuredReal(t *testing.T, folder, root string, c accuracy.RealClip, marks *record.Marks) (out string, err error) {
	t.Helper()
	data := filepath.Join(root, "data", "real")
	path := filepath.Join(folder, c.Name+".mp4")
	film, err := os.ReadFile(c.Path(data))
	if err != nil {
		return "", err
	}
	if err := os.WriteFile(path, film, 0o644); err != nil {
		return "", err
	}
	if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
		return "", err
	}
	_, err = pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true})
	return record.OutPath(path), err
}

// TestRealClipsAgreeWithTheOutsideJudge: what JudgeReal counts on a real clip is what
// the outside program judge-real prints of the same results.
func TestRealClipsAgreeWithTheOutsideJudge(t *testing.T) {
	root := shared(t)
	judge := filepath.Join(root, "tools", "judge-real")
	if _, err := os.Stat(judge); err != nil {
		t.Skipf("SKIPPED: outside judge %s is not here", judge)
	}
	for _, c := range accuracy.RealClips() {
		if c.Name != "horse-trot-real60" {
			continue // One is enough to hold the counting; scripts/accuracy takes them all.
		}
		t.Run(c.Name, func(t *testing.T) {
			out, err := filedReal(t, root, c)
			if err != nil {
				t.Fatal(err)
			}
			data := filepath.Join(root, "data", "real")
			f, err := accuracy.JudgeReal(data, c, out)
			if err != nil {
				t.Fatal(err)
			}
			said, err := exec.Command("python3", judge, filepath.Join(data, "hand-read-positions.csv"), filepath.Join(data, "hand-read-stances.csv"), c.Readings, out, "--every", fmt.Sprint(c.Every)).Output()
			if err != nil {
				t.Fatalf("judge-real: %v", err)
			}
			lines := strings.Split(strings.TrimSpace(string(said)), "\n")
			want := fmt.Sprintf("%-14s %-22s seen %d of %d, ", c.Readings, "standing feet", f.Feet.Seen, f.Feet.Read)
			if got := lines[len(lines)-1]; !strings.HasPrefix(got, want) || !strings.HasSuffix(got, fmt.Sprintf("> 5 px %d, outside 3 spreads %d", f.Feet.Wrong, f.Feet.Outside)) {
				t.Errorf("judge-real says %q, here %+v", got, f.Feet)
			}
			ends, missed := 0, 0
			for _, l := range lines {
				if strings.Contains(l, " stance ") {
					if strings.Contains(l, "not found") {
						missed++
						continue
					}
					for _, e := range f.Ends[ends : ends+2] {
						word := map[bool]string{false: "on", true: "off"}[e.Off]
						if !strings.Contains(l, fmt.Sprintf("%s %+.0f ms", word, e.Error)) {
							t.Errorf("judge-real says %q, here %s %s %+.0f ms", l, e.Limb, word, e.Error)
						}
					}
					ends += 2
				}
			}
			if ends != len(f.Ends) || missed != f.Missed {
				t.Errorf("judge-real finds %d ends and misses %d stances, here %d and %d", ends, missed, len(f.Ends), f.Missed)
			}
			t.Logf("%s", said)
		})
	}
}

// Phones write slow motion as a film of ordinary rate. A real horse that trots four times
// slower than it was filmed still stands where a person reads it, and half or twice its
// stride is never given.
func TestRealSlowMotion(t *testing.T) {
	root := shared(t)
	for _, c := range accuracy.RealClips() {
		if c.Name != "horse-trot" {
			continue
		}
		out, err := filedReal(t, root, c)
		if err != nil {
			t.Fatal(err)
		}
		f, err := accuracy.JudgeReal(filepath.Join(root, "data", "real"), c, out)
		if err != nil {
			t.Fatal(err)
		}
		// Late in a stance toe and sand are told apart to 4 px.
		if 2*f.Feet.Seen < f.Feet.Read || f.Feet.Astray > 0 {
			t.Errorf("of %d standing feet %d are seen, %d of them more than 5 px wrong and outside three spreads", f.Feet.Read, f.Feet.Seen, f.Feet.Astray)
		}
		if f.Stride == nil {
			continue
		}
		if r := f.Stride.Value / f.StrideRead; r < 0.75 || r > 1.5 {
			t.Errorf("a stride of %.2f s, read %.2f s", f.Stride.Value, f.StrideRead)
		}
	}
}

// secondMan is a man of the street film who was read for this project, in folder secondManData.
var secondMan = accuracy.RealClip{Name: "second-man", Film: "street", Readings: "second-man", Every: 1}

var secondManData = filepath.Join("testdata", "second-man")

// The second man's feet are seen, their places right, and the stride, where one is given, holds
// what was read, from the marks that lie with the readings and from others.
func TestSecondMan(t *testing.T) {
	root := shared(t)
	filed, err := record.ReadMarks(filepath.Join(secondManData, "second-man.marks.json"))
	if err != nil {
		t.Fatal(err)
	}
	other, err := accuracy.OtherMarks(secondManData, secondMan, 3, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, marks := range []*record.Marks{filed, other} {
		out, err := measuredReal(t, t.TempDir(), root, secondMan, marks)
		if err != nil {
			t.Fatal(err)
		}
		f, err := accuracy.JudgeReal(secondManData, secondMan, out)
		if err != nil {
			t.Fatal(err)
		}
		slices.Sort(f.Feet.Errors)
		if float64(f.Feet.Seen) < 0.85*float64(f.Feet.Read) || f.Feet.Wrong > 0 || f.Feet.Errors[len(f.Feet.Errors)/2] > 2 {
			t.Errorf("marks %d: of %d standing feet %d are seen, %.1f px off", i, f.Feet.Read, f.Feet.Seen, f.Feet.Errors)
		}
		timed, held := 0, 0
		for _, e := range f.Ends {
			if e.SD < 0 {
				continue
			}
			timed++
			if e.Held() {
				held++
			}
		}
		if timed < 8 || held < timed-1 {
			t.Errorf("marks %d: of ten ends of stances %d are timed, %d of them as read", i, timed, held)
		}
		// Whether every step was counted is not as plain from every set of marks; then none is given.
		if f.Stride == nil && i == 0 || f.Stride != nil && (f.Stride.Low > f.StrideRead || f.Stride.High < f.StrideRead) {
			t.Errorf("marks %d: a stride of %+v s, read %.3f s", i, f.Stride, f.StrideRead)
		}
	}
}

// Seen from behind, the left foot of the second man hides the right one until well after that has
// landed. Where only feet are marked, too, such a landing is not timed: it would say that the
// right one lands a quarter of the stride too late.
func TestHiddenLandingsOfFeetMarkedAlone(t *testing.T) {
	root := shared(t)
	marks, err := record.ReadMarks(filepath.Join(secondManData, "second-man.marks.json"))
	if err != nil {
		t.Fatal(err)
	}
	marks.Marks = slices.DeleteFunc(marks.Marks, func(m record.Mark) bool { return !m.Landmark.IsHoof() })
	out, err := measuredReal(t, t.TempDir(), root, secondMan, marks)
	if err != nil {
		t.Fatal(err)
	}
	result, err := record.ReadResult(out)
	if err != nil {
		t.Fatal(err)
	}
	if len(result.Run.Contacts) < 5 {
		t.Errorf("%d stances are seen, want 5 or more of the 6 that are marked", len(result.Run.Contacts))
	}
	if r := result.Summary.Lookup(metrics.StepTimingHind); r != nil && r.Value != nil && (r.Value.Low > 50 || r.Value.High < 50) {
		t.Errorf("the right foot lands at %+v %% of the stride after the left; he walks evenly", *r.Value)
	}
}
