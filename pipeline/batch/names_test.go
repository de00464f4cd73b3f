package batch

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"unicode/utf8"
)

// TestNamesThatAreNoUTF8 runs a batch over clips whose names differ only in
// bytes that are no UTF-8, or only in how such bytes are shown. Each must keep
// its own line, hash and memory of having failed, also in a second batch, which
// knows them from files only.
func TestNamesThatAreNoUTF8(t *testing.T) {
	names := []string{"caf\xe8.mp4", "caf\xe9.mp4", `caf\xe9.mp4`, "caf\ufffd.mp4"}
	clips := map[string]string{"h\xff/caf\xe9.mp4": "abort"}
	for _, n := range names {
		clips[n] = ""
	}
	root := yard(t, clips)
	check := func(l *Ledger, outcome Outcome) {
		t.Helper()
		if len(l.Entries) != len(clips) {
			t.Fatalf("%d clips in the ledger, want %d", len(l.Entries), len(clips))
		}
		for _, n := range names {
			if e := find(t, l, n); e.Outcome != outcome {
				t.Errorf("%q is %s, want %s: %s", n, e.Outcome, outcome, e.Reason)
			}
		}
		if e := find(t, l, "h\xff/caf\xe9.mp4"); e.Outcome != Failed || e.Inputs == "" {
			t.Errorf("%+v", e)
		}
	}
	opts := fakes(t, root)
	first, err := Run(context.Background(), opts)
	if err != nil {
		t.Fatal(err)
	}
	check(first, Measured)
	for _, file := range []string{filepath.Join(root, MorningData), filepath.Join(root, StateFolder, ledgerName(Share{}))} {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !utf8.Valid(data) || bytes.Count(data, []byte(`"clip": "caf\\xe9.mp4"`)) != 1 || bytes.Count(data, []byte(`"clip": "caf\\x5cxe9.mp4"`)) != 1 {
			t.Errorf("%s does not keep the names apart:\n%s", file, data)
		}
		read, err := readLedger(file)
		if err != nil {
			t.Fatal(err)
		}
		check(read, Measured)
		if e := find(t, read, "caf\xe9.mp4"); e.Report != "caf\xe9.out/report.html" && e.Report != "" {
			t.Errorf("report %q", e.Report)
		}
	}
	var recorded recorder
	opts = fakes(t, root)
	opts.Event = recorded.event
	second, err := Run(context.Background(), opts)
	if err != nil {
		t.Fatal(err)
	}
	check(second, UpToDate)
	reasons := slices.Collect(func(yield func(string) bool) {
		for _, e := range recorded.events {
			if e.Kind == EventBegin && !yield(e.Text) {
				return
			}
		}
	})
	if len(reasons) != 1 || reasons[0] != "it failed last time and nothing has changed since; its turn comes last" {
		t.Errorf("begun because %q", reasons)
	}
}
