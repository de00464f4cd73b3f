package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"jogstrip/metrics"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/record"
)

func TestMorningPageTellsEveryOutcome(t *testing.T) {
	started := time.Date(2026, 3, 2, 21, 0, 0, 0, time.UTC)
	facts := &batch.Facts{Strides: 7, Score: &metrics.Estimate{Value: 0.8, Low: 0.2, High: 1.4}, Finding: "no side stands out", Advice: []string{"mark the left fore in frame 88"}}
	l := &batch.Ledger{
		Started: started, Ended: started.Add(6 * time.Hour), Stopped: "It was interrupted.", Notes: []string{"Not searched: stable: permission denied"},
		Entries: []batch.Entry{
			{Clip: "horses/bramble/2026-03-02/a b#1.mp4", Outcome: batch.Measured, Fresh: true, Report: "horses/bramble/2026-03-02/a b#1.out/report.html", Facts: facts},
			{Clip: "horses/bramble/2026-02-02/kept.mp4", Outcome: batch.UpToDate, Report: "horses/bramble/2026-02-02/kept.out/report.html", Facts: facts},
			{Clip: "doubtful.mp4", Outcome: batch.SecondLook, Reason: "The clip breaks off.", Facts: facts},
			{Clip: "unmarked.mp4", Outcome: batch.NeedsMarks, Reason: "nobody has marked it yet"},
			{Clip: "<script>.mp4", Outcome: batch.Failed, Cause: batch.CauseCrash, Reason: "the measuring process aborted"},
			{Clip: "busy.mp4", Outcome: batch.Busy},
			{Clip: "horses/b\xe9b\xe9/caf\xe9.mp4", Outcome: batch.Measured, Report: "horses/b\xe9b\xe9/caf\xe9.out/report.html", Facts: facts},
			{Clip: "late.mp4", Outcome: batch.NotReached, Reason: "the batch ended before its turn"},
		},
	}
	page, err := morningPage(t.Context(), record.Program{Version: "0.1.0"}, t.TempDir())(l)
	if err != nil {
		t.Fatal(err)
	}
	text := string(page)
	for _, want := range []string{
		"2 clips measured, 1 unchanged since last time; 1 without marks, 1 to look at again, 1 failed, 2 not reached.",
		`href="./horses/bramble/2026-03-02/a%20b%231.out/report.html"`, `href="./horses/bramble/2026-02-02/kept.out/report.html"`,
		"Unchanged since last time", "Not reached", "It was interrupted.", "permission denied", "The clip breaks off.", "mark the left fore in frame 88",
		"jogstrip mark", "The measuring process aborted", "&lt;script&gt;.mp4", `href="./horses/b%E9b%E9/caf%E9.out/report.html">caf\xe9.mp4</a>`, `<td>horses/b\xe9b\xe9</td>`, "The batch ended before its turn",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	if strings.Contains(text, "<script>.mp4") {
		t.Error("a file name becomes part of the page's code")
	}
	if !utf8.ValidString(text) {
		t.Error("the page is not UTF-8")
	}
}
