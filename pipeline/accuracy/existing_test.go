package accuracy_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/scene"
)

// TestExistingYard prints the figures of a yard that demo made and batch
// measured: JOGSTRIP_DEMO names the demo's folder.
func TestExistingYard(t *testing.T) {
	folder := os.Getenv("JOGSTRIP_DEMO")
	if folder == "" {
		t.Skip("JOGSTRIP_DEMO names no demo folder")
	}
	outs, err := filepath.Glob(filepath.Join(folder, "yard/horses/*/*/*.out"))
	if err != nil {
		t.Fatal(err)
	}
	t.Log(accuracy.Header())
	for _, out := range outs {
		name := strings.TrimSuffix(filepath.Base(out), ".out")
		date := filepath.Base(filepath.Dir(out))
		truth, err := scene.LoadTruth(filepath.Join(folder, "truth", date, name+".truth.json"))
		if err != nil {
			continue // A page of the visit, or a comparison.
		}
		f, err := accuracy.Compare(out, truth)
		if err != nil {
			t.Error(err)
			continue
		}
		t.Log(f.Row(date + " " + name))
		for _, o := range f.Outside {
			t.Log("    ", o)
		}
	}
}
