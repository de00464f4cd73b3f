package batch

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jogstrip/pipeline/record"
)

func TestEveryClipHasOneOutcomeAndNoneHarmsAnother(t *testing.T) {
	tests := []struct {
		name, script string
		outcome      Outcome
		cause        Cause
		reason       []string // Words that the reason must hold.
	}{
		{"good", "", Measured, "", nil},
		{"doubtful", "doubtful", SecondLook, "", []string{"breaks off"}},
		{"unmarked", "unmarked", NeedsMarks, "", []string{"marked"}},
		{"unmarked and damaged", "unmarked unreadable", Failed, CauseClip, []string{"moov"}},
		{"the clip is damaged", "broken", Failed, CauseClip, []string{"no frame could be decoded"}},
		{"a library aborts", "abort", Failed, CauseCrash, []string{"ABRT", "library", "what():", "Assertion"}},
		{"memory fault", "segv", Failed, CauseCrash, []string{"SEGV", "memory"}},
		{"bus error", "bus", Failed, CauseCrash, []string{"BUS", "disk"}},
		{"arithmetic", "fpe", Failed, CauseCrash, []string{"FPE"}},
		{"instruction", "ill", Failed, CauseCrash, []string{"ILL", "processor"}},
		{"killed by the system", "kill", Failed, CauseCrash, []string{"KILL", "memory ran out"}},
		{"panics", "panic", Failed, CauseCrash, []string{"code 2", "index out of range"}},
		{"gives up", "exit", Failed, CauseCrash, []string{"code 7", "cannot open shared object"}},
		{"hangs in silence", "hang", Failed, CauseTimeLimit, []string{"no progress", "following the marks, 3 of 40"}},
		{"never finishes", "busy-hang", Failed, CauseTimeLimit, []string{"time limit", "following the marks"}},
		{"says nothing", "silent", Failed, CauseAnswer, []string{"without an answer"}},
		{"garbage and nothing else", "garbage silent", Failed, CauseAnswer, []string{"no messages"}},
		{"garbage before the answer", "garbage", Measured, "", nil},
		{"endless line", "longline", Failed, CauseAnswer, []string{"a line of more than"}},
		{"endless lines", "flood", Failed, CauseAnswer, []string{"more than"}},
		{"much on standard error", "chatter", Measured, "", nil},
		{"leaves a child behind", "orphan", Measured, "", nil},
		{"leaves a child behind and dies", "orphan abort", Failed, CauseCrash, []string{"ABRT"}},
	}
	clips := map[string]string{}
	for _, tt := range tests {
		clips[tt.name+".mp4"] = tt.script
	}
	root := yard(t, clips)
	before := tree(t, root)
	opts := fakes(t, root)
	opts.Workers, opts.TimeLimit, opts.Stall = 4, 8*time.Second, 4*time.Second
	ledger, err := Run(context.Background(), opts)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			e := find(t, ledger, tt.name+".mp4")
			if e.Outcome != tt.outcome || e.Cause != tt.cause {
				t.Errorf("outcome %s (%s), want %s (%s): %s", e.Outcome, e.Cause, tt.outcome, tt.cause, e.Reason)
			}
			for _, w := range tt.reason {
				if !strings.Contains(e.Reason, w) {
					t.Errorf("reason %q does not say %q", e.Reason, w)
				}
			}
			if strings.Contains(e.Reason+e.Said, root) {
				t.Errorf("tells the machine's path: %q %q", e.Reason, e.Said)
			}
			if len(e.Said) > 4*saidHalf {
				t.Errorf("keeps %d bytes of standard error", len(e.Said))
			}
			_, statErr := os.Stat(filepath.Join(root, tt.name+".out", record.ResultFile))
			if has := statErr == nil; has != (tt.outcome == Measured || tt.outcome == SecondLook) {
				t.Errorf("has a result: %v", has)
			}
		})
	}
	after := tree(t, root)
	for name, text := range before {
		if after[name] != text {
			t.Errorf("%s was changed", name)
		}
	}
	if ledger.Totals.AllGood() {
		t.Error("all is said to be good")
	}
	var onDisk Ledger
	data, err := os.ReadFile(filepath.Join(root, MorningData))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &onDisk); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(ledger.Entries, onDisk.Entries); diff != "" {
		t.Errorf("morning.json differs: %s", diff)
	}
	if _, err := os.Stat(filepath.Join(root, MorningPage)); err != nil {
		t.Error(err)
	}
}

func TestSecondBatchOnlyDoesWhatIsNew(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "", "b.mp4": "", "c.mp4": "doubtful", "d.mp4": "broken"})
	opts := fakes(t, root)
	opts.Workers = 1
	if _, err := Run(context.Background(), opts); err != nil {
		t.Fatal(err)
	}
	first := tree(t, root)
	write(t, filepath.Join(root, "b.marks.json"), "other marks")
	var rec recorder
	opts.Event = rec.event
	ledger, err := Run(context.Background(), opts)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]Outcome{"a.mp4": UpToDate, "b.mp4": Measured, "c.mp4": SecondLook, "d.mp4": Failed}
	for clip, outcome := range want {
		if e := find(t, ledger, clip); e.Outcome != outcome {
			t.Errorf("%s: %s, want %s", clip, e.Outcome, outcome)
		}
	}
	if e := find(t, ledger, "c.mp4"); e.Fresh {
		t.Error("c.mp4 was measured again")
	}
	if got := rec.kinds("a.mp4"); len(got) != 1 {
		t.Errorf("events of a.mp4: %v", got)
	}
	// What failed before and is unchanged comes after what is new.
	var order []string
	for _, e := range rec.events {
		if e.Kind == EventBegin {
			order = append(order, e.Clip+": "+e.Text)
		}
	}
	if len(order) != 2 || !strings.HasPrefix(order[0], "b.mp4: the clip or its marks have changed") || !strings.Contains(order[1], "failed last time") {
		t.Errorf("order: %q", order)
	}
	second := tree(t, root)
	if second["a.out/result.json"] != first["a.out/result.json"] || second["b.out/result.json"] == first["b.out/result.json"] {
		t.Error("the wrong results were replaced")
	}
}

func TestClipHeldByAnotherRunGetsASecondTurn(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "once busy", "b.mp4": "busy", "c.mp4": ""})
	opts := fakes(t, root)
	var rec recorder
	opts.Event = rec.event
	ledger, err := Run(context.Background(), opts)
	if err != nil {
		t.Fatal(err)
	}
	for clip, want := range map[string]Outcome{"a.mp4": Measured, "b.mp4": Busy, "c.mp4": Measured} {
		if e := find(t, ledger, clip); e.Outcome != want {
			t.Errorf("%s: %s, want %s", clip, e.Outcome, want)
		}
	}
	if diff := cmp.Diff([]EventKind{EventBegin, EventLater, EventBegin, EventClip}, rec.kinds("b.mp4")); diff != "" {
		t.Error(diff)
	}
	if ledger.AllGood() {
		t.Error("all is said to be good although a clip is held")
	}
}

func TestInterruptionKeepsWhatIsDoneAndSecondStartGoesOn(t *testing.T) {
	clips := map[string]string{"a.mp4": ""}
	for _, name := range []string{"b", "c", "d", "e"} {
		clips[name+".mp4"] = "sleep=30s"
	}
	root := yard(t, clips)
	opts := fakes(t, root)
	opts.Workers = 2
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	opts.Event = func(e Event) {
		if e.Kind == EventClip && e.Clip == "a.mp4" {
			cancel()
		}
	}
	ledger, err := Run(ctx, opts)
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("error is %v", err)
	}
	if e := find(t, ledger, "a.mp4"); e.Outcome != Measured {
		t.Errorf("a.mp4 is %s", e.Outcome)
	}
	if ledger.Totals.NotReached != 4 || ledger.Stopped == "" {
		t.Errorf("%+v, stopped %q", ledger.Totals, ledger.Stopped)
	}
	for name := range tree(t, root) {
		if strings.Contains(name, "making") {
			t.Errorf("left behind: %s", name)
		}
	}
	for name := range clips {
		if name != "a.mp4" {
			write(t, filepath.Join(root, name), "")
		}
	}
	opts.Event = nil
	ledger, err = Run(context.Background(), opts)
	if err != nil || ledger.Totals.Measured != 4 || ledger.Totals.UpToDate != 1 || ledger.Stopped != "" {
		t.Errorf("second start: %v, %+v", err, ledger.Totals)
	}
}

func TestFullDiskEndsTheBatchAndSaysSo(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "full", "b.mp4": "sleep=20s", "c.mp4": ""})
	opts := fakes(t, root)
	opts.Workers = 1
	ledger, err := Run(context.Background(), opts)
	if !errors.Is(err, ErrDiskFull) {
		t.Fatalf("error is %v", err)
	}
	if e := find(t, ledger, "a.mp4"); e.Cause != CauseDiskFull {
		t.Errorf("a.mp4: %+v", e)
	}
	if ledger.Totals.NotReached != 2 || !strings.Contains(ledger.Stopped, "make room") {
		t.Errorf("%+v %q", ledger.Totals, ledger.Stopped)
	}
}

func TestResultsDoNotDependOnTheNumberOfWorkers(t *testing.T) {
	clips := map[string]string{"x/ö ä.mp4": "", "x/it's \"quoted\".mp4": "", "x/日本語.mp4": "doubtful", "y/-v.mp4": "", "y/new\nline.mp4": ""}
	var want map[string]string
	for _, workers := range []int{1, 3} {
		root := yard(t, clips)
		opts := fakes(t, root)
		opts.Workers = workers
		ledger, err := Run(context.Background(), opts)
		if err != nil || ledger.Totals.Measured != 4 || ledger.Totals.SecondLook != 1 {
			t.Fatalf("%v %+v", err, ledger.Totals)
		}
		got := tree(t, root)
		if want != nil {
			if diff := cmp.Diff(want, got); diff != "" {
				t.Error(diff)
			}
		}
		want = got
	}
}

func TestProcessorsAreShared(t *testing.T) {
	for _, tt := range []struct{ all, workers, want int }{
		{1, 1, 1}, {2, 1, 2}, {2, 2, 1}, {2, 5, 1}, {8, 3, 3}, {8, 4, 2}, {0, 0, 1}, {4, 0, 4},
	} {
		if got := processors(tt.all, tt.workers); got != tt.want {
			t.Errorf("%d processors for %d workers: %d each, want %d", tt.all, tt.workers, got, tt.want)
		}
	}
	// Three clips and two workers: the last is alone and has all there are.
	root := yard(t, map[string]string{"a.mp4": "sleep=50ms", "b.mp4": "sleep=50ms", "c.mp4": "sleep=50ms"})
	opts := fakes(t, root)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(4))
	var mu sync.Mutex
	commands := map[string]*exec.Cmd{}
	command := opts.Command
	opts.Command = func(clip string) *exec.Cmd {
		cmd := command(clip)
		mu.Lock()
		defer mu.Unlock()
		commands[filepath.Base(clip)] = cmd
		return cmd
	}
	if _, err := Run(context.Background(), opts); err != nil {
		t.Fatal(err)
	}
	for clip, want := range map[string]string{"a.mp4": "GOMAXPROCS=2", "b.mp4": "GOMAXPROCS=2", "c.mp4": "GOMAXPROCS=4"} {
		if env := commands[clip].Env; env[len(env)-1] != want {
			t.Errorf("%s was told %s, want %s", clip, env[len(env)-1], want)
		}
	}
}

func TestMemoryBudgetLimitsHowManyRunAtOnce(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": "sleep=50ms", "b.mp4": "sleep=50ms", "c.mp4": "sleep=50ms", "d.mp4": "sleep=50ms"})
	opts := fakes(t, root)
	opts.Workers = 4
	opts.Memory = 2 * Need(160, 96)
	running, most := 0, 0
	opts.Event = func(e Event) {
		switch e.Kind {
		case EventBegin:
			running++
			most = max(most, running)
		case EventClip:
			running--
		}
	}
	if _, err := Run(context.Background(), opts); err != nil {
		t.Fatal(err)
	}
	if most > 2 || most < 1 {
		t.Errorf("%d ran at once, 2 were allowed", most)
	}
	// A clip that needs more than there is runs alone all the same.
	opts.Memory, opts.Again, most = Need(160, 96)/2, true, 0
	ledger, err := Run(context.Background(), opts)
	if err != nil || ledger.Totals.Measured != 4 || most != 1 {
		t.Errorf("%v %+v, %d at once", err, ledger.Totals, most)
	}
}

func TestWhatCannotBeSearchedIsToldAndTheRestIsMeasured(t *testing.T) {
	root := yard(t, map[string]string{"a.mp4": ""})
	opts := fakes(t, root)
	find := opts.Find
	opts.Find = func(ctx context.Context, folder string) ([]Clip, error) {
		clips, err := find(ctx, folder)
		return clips, errors.Join(err, errors.New("search b: permission denied"))
	}
	ledger, err := Run(context.Background(), opts)
	if err != nil || ledger.Totals.Measured != 1 {
		t.Fatalf("%v %+v", err, ledger)
	}
	if len(ledger.Problems) != 1 || !strings.Contains(ledger.Problems[0], "permission denied") || ledger.AllGood() {
		t.Errorf("problems: %q", ledger.Problems)
	}
}

func TestFolderErrors(t *testing.T) {
	file := filepath.Join(t.TempDir(), "clip.mp4")
	write(t, file, "")
	for folder, word := range map[string]string{file: "it is a file", file + "x": "no such file"} {
		if ledger, err := Run(context.Background(), fakes(t, folder)); err == nil || ledger != nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%s: %v", folder, err)
		}
	}
}
