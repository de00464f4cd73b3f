package batch

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// makeReadOnly puts a read-only view of the folder in its place until the test ends.
func makeReadOnly(t *testing.T, folder string) {
	t.Helper()
	if err := syscall.Mount(folder, folder, "", syscall.MS_BIND, ""); err != nil {
		t.Skipf("NOT TESTED: a read-only drive can't be made (%v); run as root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(folder, 0); err != nil {
			t.Error(err)
		}
	})
	if err := syscall.Mount("", folder, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Skipf("NOT TESTED: a read-only drive can't be made (%v); run as root", err)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "", "b.mp4": ""})
	if _, err := Run(context.Background(), fakes(t, root)); err != nil {
		t.Fatal(err)
	}
	t.Run("nothing to do", func(t *testing.T) {
		makeReadOnly(t, root)
		ledger, err := Run(context.Background(), fakes(t, root))
		if err != nil || ledger.Totals.UpToDate != 2 {
			t.Fatalf("%v %+v", err, ledger)
		}
		if len(ledger.Notes) != 1 || !strings.Contains(ledger.Notes[0], "Nothing can be written") {
			t.Errorf("notes: %q", ledger.Notes)
		}
	})
	t.Run("something to do", func(t *testing.T) {
		write(t, filepath.Join(root, "b.marks.json"), "other marks")
		makeReadOnly(t, root)
		ledger, err := Run(context.Background(), fakes(t, root))
		if !errors.Is(err, ErrReadOnly) || ledger != nil || !strings.Contains(err.Error(), "1 clip is to be measured") {
			t.Errorf("%v %v", ledger, err)
		}
	})
	t.Run("never seen before", func(t *testing.T) {
		fresh := yard(t, map[string]string{"a.mp4": "", "b.mp4": "unmarked"})
		makeReadOnly(t, fresh)
		if _, err := Run(context.Background(), fakes(t, fresh)); !errors.Is(err, ErrReadOnly) {
			t.Errorf("%v", err)
		}
		if entries, err := os.ReadDir(fresh); err != nil || len(entries) != 3 {
			t.Errorf("%v %v", entries, err)
		}
	})
}

func TestFailureToWriteDownIsAnError(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": ""})
	// A folder stands where the page's data should go.
	if err := os.MkdirAll(filepath.Join(root, MorningData, "x"), 0o755); err != nil {
		t.Fatal(err)
	}
	ledger, err := Run(context.Background(), fakes(t, root))
	if err == nil || ledger.Totals.Measured != 1 || !strings.Contains(err.Error(), MorningData) {
		t.Errorf("%v %+v", err, ledger)
	}
}

func TestPageOfAVisitThatFailsIsToldAndHarmsNothing(t *testing.T) {
	root := yard(t, map[string]string{"h/v1/a.mp4": "", "h/v2/a.mp4": "", "h/v3/a.mp4": "unmarked"})
	opts := fakes(t, root)
	var visited []string
	opts.Visit = func(_ context.Context, folder string, fresh bool) error {
		visited = append(visited, filepath.Base(folder))
		if filepath.Base(folder) == "v1" {
			return errors.New("read " + folder + "/visit.toml: line 3: something is wrong")
		}
		return nil
	}
	ledger, err := Run(context.Background(), opts)
	if err != nil || strings.Join(visited, " ") != "v1 v2" {
		t.Fatalf("%v, visited %v", err, visited)
	}
	if len(ledger.Problems) != 1 || !strings.Contains(ledger.Problems[0], "h/v1/visit.toml: line 3") || strings.Contains(ledger.Problems[0], root) {
		t.Errorf("problems: %q", ledger.Problems)
	}
}
