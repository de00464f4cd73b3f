package demo

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// What an ended start left half drawn goes before anything is drawn, and nothing else does.
func TestUnfinishedClipsAreCleared(t *testing.T) {
	folder := t.TempDir()
	for _, name := range []string{".render-1", ".render-2", "toward-1.out"} {
		if err := os.MkdirAll(filepath.Join(folder, name, "inside"), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	plans := []plan{{folder: folder, name: "toward-1"}, {folder: folder, name: "toward-2"}, {folder: filepath.Join(folder, "not-yet"), name: "away-1"}}
	if err := clearUnfinished(plans); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(folder)
	if err != nil || len(entries) != 1 || entries[0].Name() != "toward-1.out" {
		t.Errorf("left: %v, %v", entries, err)
	}
}

// Two clips that are rendered at a time are told of as one, which never goes back.
func TestProgressOfClipsAtATime(t *testing.T) {
	var clips []string
	var done []int
	told := telling{percent: make([]int, 4), progress: func(clip string, d, total int) {
		if total != 400 {
			t.Errorf("of %d", total)
		}
		clips, done = append(clips, clip), append(done, d)
	}}
	told.begin("toward-1")
	told.tell(0, 40)
	told.begin("toward-2")
	told.tell(1, 10)
	told.tell(0, 100)
	told.tell(1, 100)
	if want := []int{40, 50, 110, 200}; !slices.Equal(done, want) {
		t.Errorf("done %v, want %v", done, want)
	}
	if want := []string{"toward-1", "toward-2", "toward-2", "toward-2"}; !slices.Equal(clips, want) {
		t.Errorf("told of %v, want %v", clips, want)
	}
}
