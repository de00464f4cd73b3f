package batch

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestSharesTogetherGiveWhatTheWholeGives(t *testing.T) {
	clips := map[string]string{"x/unmarked.mp4": "unmarked", "x/broken.mp4": "broken", "x/doubtful.mp4": "doubtful"}
	for i := range 12 {
		clips[fmt.Sprintf("h%d/toward-%d.mp4", i%3, i)] = ""
	}
	whole := yard(t, clips)
	want, err := Run(context.Background(), fakes(t, whole))
	if err != nil {
		t.Fatal(err)
	}
	divided := yard(t, clips)
	const shares = 3
	var visited []string
	set := MergeOptions{Folder: divided, Find: fakeFind, Page: fakes(t, divided).Page, Visit: func(_ context.Context, folder string, fresh bool) error {
		name, _ := relative(divided, folder)
		visited = append(visited, fmt.Sprint(name, " ", fresh))
		return nil
	}}
	for i := shares; i >= 1; i-- {
		opts := fakes(t, divided)
		opts.Share = Share{Index: i, Count: shares}
		ledger, err := Run(context.Background(), opts)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range ledger.Entries {
			if !opts.Share.Has(e.Clip) {
				t.Errorf("share %d took %s", i, e.Clip)
			}
		}
		got, _, err := Merge(context.Background(), set)
		if err != nil {
			t.Fatal(err)
		}
		if complete := got.Stopped == "" && got.Totals.NotReached == 0; complete != (i == 1) {
			t.Errorf("after share %d: stopped %q, %+v", i, got.Stopped, got.Totals)
		}
	}
	visited = nil
	got, page, err := Merge(context.Background(), set)
	if err != nil {
		t.Fatal(err)
	}
	plain := func(entries []Entry) []Entry {
		out := append([]Entry(nil), entries...)
		for i := range out {
			out[i].Seconds, out[i].Inputs = 0, ""
		}
		return out
	}
	if diff := cmp.Diff(plain(want.Entries), plain(got.Entries)); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(tree(t, whole), tree(t, divided)); diff != "" {
		t.Error(diff)
	}
	if _, err := os.Stat(page); err != nil || got.Shares != shares {
		t.Errorf("%v, %d shares", err, got.Shares)
	}
	if diff := cmp.Diff([]string{"h0 true", "h1 true", "h2 true", "x true"}, visited); diff != "" {
		t.Errorf("visits: %s", diff)
	}
}

func TestMergeNamesWhatIsMissing(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "", "b.mp4": "", "c.mp4": "", "d.mp4": ""})
	if _, _, err := Merge(context.Background(), MergeOptions{Folder: root}); !errors.Is(err, ErrNoLedger) {
		t.Errorf("without ledgers: %v", err)
	}
	for i := 1; i <= 2; i++ {
		opts := fakes(t, root)
		opts.Share = Share{Index: i, Count: 2}
		if _, err := Run(context.Background(), opts); err != nil {
			t.Fatal(err)
		}
	}
	// One share's ledger is damaged, and a clip came after the shares ran.
	write(t, filepath.Join(root, StateFolder, "ledger-2-of-2.json"), `{"schema":`)
	write(t, filepath.Join(root, "e.mp4"), "")
	got, _, err := Merge(context.Background(), MergeOptions{Folder: root, Find: fakeFind})
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(append(got.Problems, got.Stopped), "\n")
	for _, word := range []string{"can't be used", "ledger-2-of-2.json", "left no ledger: 2"} {
		if !strings.Contains(all, word) {
			t.Errorf("%q is not told in %q", word, all)
		}
	}
	if e := find(t, got, "e.mp4"); e.Outcome != NotReached || got.Totals.Clips != 5 || got.Totals.AllGood() {
		t.Errorf("%+v %+v", e, got.Totals)
	}
}

func TestMergeTakesTheDivisionUsedLast(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "", "b.mp4": ""})
	state := filepath.Join(root, StateFolder)
	if err := os.MkdirAll(state, 0o755); err != nil {
		t.Fatal(err)
	}
	old := `{"schema":"jogstrip-batch/1","program":"1","share":{"index":1,"count":3},"started":"2026-03-01T20:00:00Z","ended":"2026-03-01T21:00:00Z","totals":{"clips":0,"measured":0,"up_to_date":0,"needs_marks":0,"second_look":0,"failed":0,"busy":0,"not_reached":0},"clips":[]}`
	write(t, filepath.Join(state, "ledger-1-of-3.json"), old)
	write(t, filepath.Join(state, "ledger-1-of-2.json"), strings.NewReplacer("03-01", "03-02", `"count":3`, `"count":2`).Replace(old))
	got, _, err := Merge(context.Background(), MergeOptions{Folder: root})
	if err != nil || got.Shares != 2 || !strings.Contains(got.Stopped, "Of 2 shares") {
		t.Errorf("%v %+v", err, got)
	}
}

// One share of another division, started by mistake or left over, hides nothing of what
// all shares of the right one have done.
func TestMergeKeepsWhatAnotherDivisionHasDone(t *testing.T) {
	clips := map[string]string{}
	for i := range 12 {
		clips[fmt.Sprintf("toward-%d.mp4", i)] = ""
	}
	root := yard(t, clips)
	run := func(index, count int) {
		t.Helper()
		opts := fakes(t, root)
		opts.Share = Share{Index: index, Count: count}
		if _, err := Run(context.Background(), opts); err != nil {
			t.Fatal(err)
		}
	}
	run(1, 2)
	run(2, 2)
	run(1, 3)
	got, _, err := Merge(context.Background(), MergeOptions{Folder: root, Find: fakeFind})
	if err != nil {
		t.Fatal(err)
	}
	if got.Stopped != "" || got.Totals.NotReached != 0 || got.Totals.UpToDate != 12 {
		t.Errorf("stopped %q, %+v", got.Stopped, got.Totals)
	}
	// What no division has seen is still missed, with the share that is to do it.
	names := make([]string, 0, 3)
	for i := 12; len(names) < 3; i++ {
		if name := fmt.Sprintf("toward-%d.mp4", i); (Share{Index: 2, Count: 3}).Has(name) {
			names = append(names, name)
			write(t, filepath.Join(root, name), "")
			write(t, filepath.Join(root, strings.TrimSuffix(name, ".mp4")+".marks.json"), "marks")
		}
	}
	got, _, err = Merge(context.Background(), MergeOptions{Folder: root, Find: fakeFind})
	if err != nil || !strings.Contains(got.Stopped, "left no ledger: 2.") || got.Totals.NotReached != 3 {
		t.Errorf("%v, stopped %q, %+v", err, got.Stopped, got.Totals)
	}
}
