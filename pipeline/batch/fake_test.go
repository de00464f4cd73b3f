package batch

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"

	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// The test program plays the part of a clip's process when this variable is
// set: it does what the clip file says, one word a line.
const playClip = "JOGSTRIP_TEST_PLAY_CLIP"

func TestMain(m *testing.M) {
	if os.Getenv(playClip) != "" {
		os.Exit(playProcess(os.Args[len(os.Args)-1]))
	}
	goleak.VerifyTestMain(m)
}

// fakeResult is what a played process writes as its result.
type fakeResult struct {
	Clip, Marks string // Hashes.
	Strides     int
	Problems    []string
}

func sum(path string) string {
	data, err := os.ReadFile(path)
	if err != nil {
		return ""
	}
	s := sha256.Sum256(data)
	return hex.EncodeToString(s[:])
}

func playProcess(clip string) int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	go WatchBatch(os.Stdin, func() { _ = syscall.Kill(0, syscall.SIGKILL) })
	data, err := os.ReadFile(clip)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	words := strings.Fields(string(data))
	for i, w := range words {
		w, value, _ := strings.Cut(w, "=")
		switch w {
		case "abort", "segv", "bus", "fpe", "ill", "kill":
			fmt.Fprintln(os.Stderr, "terminate called after throwing an instance of 'cv::Exception'\n  what():  (-215:Assertion failed) !empty()")
			signals := map[string]syscall.Signal{"abort": syscall.SIGABRT, "segv": syscall.SIGSEGV, "bus": syscall.SIGBUS, "fpe": syscall.SIGFPE, "ill": syscall.SIGILL, "kill": syscall.SIGKILL}
			signal.Reset()
			crash(signals[w])
		case "panic":
			go func() { panic("index out of range [7] with length 7") }()
			time.Sleep(time.Minute)
		case "hang":
			signal.Ignore(syscall.SIGTERM)
			fmt.Println(`{"type":"progress","stage":"following the marks","done":3,"total":40}`)
			time.Sleep(time.Hour)
		case "busy-hang": // Tells of progress for ever.
			for n := 0; ; n++ {
				fmt.Printf("{\"type\":\"progress\",\"stage\":\"following the marks\",\"done\":%d,\"total\":40}\n", n%40)
				time.Sleep(5 * time.Millisecond)
			}
		case "orphan": // Leaves a child that holds the pipes and outlives it.
			cmd := exec.Command("sleep", "3600")
			cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
			if err := cmd.Start(); err != nil {
				return 1
			}
		case "garbage":
			fmt.Print("\x00\xff\xfe{\"type\":\n{}\n[1,2]\n{\"type\":\"answer\"}\n")
		case "longline":
			junk := strings.Repeat("x", 64<<10)
			for range 64 {
				if _, err := fmt.Print(junk); err != nil {
					return 1
				}
			}
			time.Sleep(time.Hour)
		case "flood":
			junk := []byte(strings.Repeat("y", 1000) + "\n")
			for {
				if _, err := os.Stdout.Write(junk); err != nil {
					return 1
				}
			}
		case "chatter": // Much on standard error.
			junk := []byte(strings.Repeat("noise ", 1000) + "\n")
			for range 2000 {
				_, _ = os.Stderr.Write(junk)
			}
		case "silent":
			return 0
		case "exit":
			fmt.Fprintln(os.Stderr, "cannot open shared object")
			return 7
		case "broken":
			_ = json.NewEncoder(os.Stdout).Encode(message{Type: messageFailure, Error: "decode clip " + clip + ": no frame could be decoded", Cause: CauseClip})
			return 0
		case "busy":
			_ = json.NewEncoder(os.Stdout).Encode(message{Type: messageFailure, Error: "another run is measuring this clip", Cause: CauseBusy})
			return 0
		case "full":
			_ = json.NewEncoder(os.Stdout).Encode(message{Type: messageFailure, Error: "write results: no space left on device", Cause: CauseDiskFull})
			return 0
		case "sleep":
			d, err := time.ParseDuration(value)
			if err != nil {
				return 1
			}
			select {
			case <-time.After(d):
			case <-ctx.Done():
			}
		case "once": // What follows happens only the first time.
			path := filepath.Join(filepath.Dir(clip), "."+filepath.Base(clip)+".once")
			if f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL, 0o644); err != nil {
				words = words[:i]
			} else {
				_ = f.Close()
			}
		}
		if i >= len(words) {
			break
		}
	}
	err = Serve(ctx, os.Stdout, func(ctx context.Context, progress func(string, int, int)) (Answer, error) {
		return fakeMeasure(ctx, clip, words, progress)
	}, nil)
	if err != nil {
		return 1
	}
	return 0
}

// crash dies of a signal, whatever the Go runtime does with it.
func crash(s syscall.Signal) {
	if s == syscall.SIGABRT {
		_ = syscall.Setrlimit(syscall.RLIMIT_CORE, &syscall.Rlimit{})
	}
	// The runtime turns these signals into tracebacks; a shell that takes this
	// process's place dies of them plainly.
	name := map[syscall.Signal]string{syscall.SIGABRT: "ABRT", syscall.SIGSEGV: "SEGV", syscall.SIGBUS: "BUS", syscall.SIGFPE: "FPE", syscall.SIGILL: "ILL", syscall.SIGKILL: "KILL"}[s]
	_ = syscall.Exec("/bin/sh", []string{"sh", "-c", "ulimit -c 0; kill -" + name + " $$; sleep 60"}, os.Environ())
}

// fakeMeasure makes results the way a real process must: beside their place,
// then into it in one step.
func fakeMeasure(ctx context.Context, clip string, words []string, progress func(string, int, int)) (Answer, error) {
	if err := ctx.Err(); err != nil {
		return Answer{}, err
	}
	out := record.OutPath(clip)
	if err := fsx.Sweep(out); err != nil {
		return Answer{}, err
	}
	dir, err := fsx.NewFolder(out)
	if err != nil {
		return Answer{}, err
	}
	result := fakeResult{Clip: sum(clip), Marks: sum(record.MarksPath(clip)), Strides: 6}
	for _, w := range words {
		if w == "doubtful" {
			result.Problems = []string{"The clip breaks off."}
		}
	}
	const frames = 5
	for i := range frames {
		progress("following the marks", i+1, frames)
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("part-%d.txt", i)), []byte(strings.Repeat(result.Clip, 200)), 0o644); err != nil {
			return Answer{}, errors.Join(err, os.RemoveAll(dir))
		}
	}
	data, err := json.Marshal(result)
	if err != nil {
		return Answer{}, err
	}
	if err := os.WriteFile(filepath.Join(dir, record.ResultFile), data, 0o644); err != nil {
		return Answer{}, errors.Join(err, os.RemoveAll(dir))
	}
	if err := fsx.Commit(dir, out); err != nil {
		return Answer{}, errors.Join(err, os.RemoveAll(dir))
	}
	return Answer{Facts: Facts{View: "toward", Gait: "trot", Strides: result.Strides, Problems: result.Problems}}, nil
}

func fakeFind(_ context.Context, folder string) ([]Clip, error) {
	var clips []Clip
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != folder && (strings.HasPrefix(d.Name(), ".") || strings.HasSuffix(d.Name(), ".out")) {
			return fs.SkipDir
		}
		if !strings.HasPrefix(d.Name(), ".") && strings.HasSuffix(d.Name(), ".mp4") {
			_, err := os.Stat(record.MarksPath(path))
			clips = append(clips, Clip{Path: path, Marks: err == nil})
		}
		return nil
	})
	return clips, err
}

func fakeCheck(ctx context.Context, clip string, hash func(context.Context, string) (string, error)) (State, error) {
	data, err := os.ReadFile(filepath.Join(record.OutPath(clip), record.ResultFile))
	if errors.Is(err, fs.ErrNotExist) {
		return State{Reason: "not measured yet"}, nil
	}
	var r fakeResult
	if err := json.Unmarshal(data, &r); err != nil {
		return State{Reason: "the result can't be used"}, nil
	}
	c, err := hash(ctx, clip)
	if err != nil {
		return State{}, err
	}
	m, err := hash(ctx, record.MarksPath(clip))
	if err != nil {
		return State{}, err
	}
	if c != r.Clip || m != r.Marks {
		return State{Reason: "the clip or its marks have changed"}, nil
	}
	return State{UpToDate: true, Facts: &Facts{View: "toward", Gait: "trot", Strides: r.Strides, Problems: r.Problems}}, nil
}

func fakeProbe(_ context.Context, clip string) (int, int, error) {
	data, err := os.ReadFile(clip)
	if err != nil {
		return 0, 0, err
	}
	if strings.Contains(string(data), "unreadable") {
		return 0, 0, fmt.Errorf("probe clip %s: moov atom not found", clip)
	}
	return 160, 96, nil
}

// fakes returns options that measure clips which are scripts.
func fakes(t testing.TB, folder string) Options {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return Options{
		Folder: folder, Program: "test",
		Find: fakeFind, Check: fakeCheck, Probe: fakeProbe,
		Command: func(clip string) *exec.Cmd {
			cmd := exec.Command(self, clip)
			cmd.Env = append(os.Environ(), playClip+"=1")
			return cmd
		},
		Page: func(l *Ledger) ([]byte, error) {
			return fmt.Appendf(nil, "<p>%d clips</p>", l.Totals.Clips), nil
		},
		Report: "report.html", Workers: 2,
	}
}

// yard writes clips (path → script) with marks, unless the script holds the
// word unmarked.
func yard(t testing.TB, clips map[string]string) string {
	t.Helper()
	root := t.TempDir()
	for name, script := range clips {
		path := filepath.Join(root, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, path, script)
		if !strings.Contains(script, "unmarked") {
			write(t, record.MarksPath(path), "marks of "+name)
		}
	}
	return root
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// recorder collects events.
type recorder struct {
	mu     sync.Mutex
	events []Event
}

func (r *recorder) event(e Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.events = append(r.events, e)
}

func (r *recorder) kinds(clip string) []EventKind {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []EventKind
	for _, e := range r.events {
		if e.Clip == clip {
			out = append(out, e.Kind)
		}
	}
	return slices.Compact(out)
}

func find(t testing.TB, l *Ledger, clip string) Entry {
	t.Helper()
	for _, e := range l.Entries {
		if e.Clip == clip {
			return e
		}
	}
	t.Fatalf("no entry of %s in %+v", clip, l.Entries)
	return Entry{}
}

// tree returns the content of every file below root that is not the batch's own.
func tree(t testing.TB, root string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == StateFolder {
				return fs.SkipDir
			}
			return nil
		}
		if name, _ := relative(root, path); name != MorningData && name != MorningPage {
			f, err := os.Open(path)
			if err != nil {
				return err
			}
			data, err := io.ReadAll(f)
			if err := errors.Join(err, f.Close()); err != nil {
				return err
			}
			out[name] = string(data)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}
