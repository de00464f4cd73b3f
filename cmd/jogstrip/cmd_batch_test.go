package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"golang.org/x/sync/errgroup"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/batch/damaged"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

func TestBatchScripts(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/batch",
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", filepath.Dir(builtProgram(t))+string(filepath.ListSeparator)+os.Getenv("PATH"))
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"jogstrip": func(ts *testscript.TestScript, neg bool, args []string) {
				if err := ts.Exec(builtProgram(t), args...); (err != nil) != neg {
					ts.Fatalf("jogstrip %v: %v", args, err)
				}
			},
			// clip NAME makes a small clip that nobody has marked.
			"clip": func(ts *testscript.TestScript, _ bool, args []string) {
				for _, name := range args {
					scenetest.Coded(t, ts.MkAbs(name), "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "12", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p")
				}
			},
		},
	})
}

// results returns the content of every result.json below root by path.
func results(t testing.TB, root string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.Name() == record.ResultFile {
			var data []byte
			if data, err = os.ReadFile(path); err == nil {
				name, _ := filepath.Rel(root, path)
				out[name] = string(data)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// outcomes returns what came of every clip in the last batch over root, by clip.
func outcomes(t *testing.T, root string) map[string]batch.Entry {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(root, batch.MorningData))
	if err != nil {
		t.Fatal(err)
	}
	ledger, err := batch.ParseLedger(batch.MorningData, data)
	if err != nil {
		t.Fatal(err)
	}
	entries := map[string]batch.Entry{}
	for _, e := range ledger.Entries {
		entries[e.Clip] = e
	}
	return entries
}

func TestFolderOfDamagedClipsGivesAClearOutcomeForEach(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	cases, err := damaged.Make(t, root)
	if err != nil {
		t.Fatal(err)
	}
	if len(cases) < 40 {
		t.Fatalf("only %d clips", len(cases))
	}
	before := contents(t, root)
	// The good clips of the folder, measured before the damaged ones are near.
	alone := t.TempDir()
	for _, name := range []string{"linked/good.mp4", "odd/ten-bit.mp4", "odd/turned-90.mp4"} {
		for _, from := range []string{name, record.MarksPath(name)} {
			data, err := os.ReadFile(filepath.Join(root, from))
			if err != nil {
				t.Fatal(err)
			}
			to := filepath.Join(alone, from)
			if err := errors.Join(os.MkdirAll(filepath.Dir(to), 0o755), os.WriteFile(to, data, 0o644)); err != nil {
				t.Fatal(err)
			}
		}
	}
	run := func(folder string, more ...string) {
		t.Helper()
		cmd := jogstrip(t, append([]string{"batch", folder, "--no-video", "--log", "plain", "--stall-limit", "60s"}, more...)...)
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if !errors.As(err, &exit) || exit.ExitCode() != exitPartly {
			t.Fatalf("batch: %v, want exit code %d\n%s", err, exitPartly, out)
		}
	}
	run(alone, "--workers", "1")
	run(root)

	entries := outcomes(t, root)
	for _, c := range cases {
		t.Run(strings.ToValidUTF8(c.Name, "?"), func(t *testing.T) {
			e, ok := entries[c.Name]
			if !ok {
				t.Fatalf("no outcome (%s)", c.Why)
			}
			if !slices.Contains(c.Allowed, e.Outcome) {
				t.Errorf("%s: outcome is %s, want %s: %s", c.Why, e.Outcome, c.Allowed, e.Reason)
			}
			if e.Cause != "" && e.Cause != batch.CauseClip {
				t.Errorf("%s: the process did not survive (%s): %s", c.Why, e.Cause, e.Reason)
			}
			if e.Reason == "" {
				t.Error("no reason is given")
			}
			if strings.Contains(e.Reason, root) || strings.Contains(e.Reason, "\n") && !strings.Contains(c.Name, "\n") {
				t.Errorf("the reason tells the machine's path or has several lines: %q", e.Reason)
			}
			if e.Outcome == batch.Failed {
				for _, w := range c.Words {
					if !strings.Contains(e.Reason, w) {
						t.Errorf("%s: the reason %q does not say %q", c.Why, e.Reason, w)
					}
				}
			}
			t.Logf("%-14s %s", e.Outcome, e.Reason)
		})
		delete(entries, c.Name)
	}
	for name := range entries {
		t.Errorf("%q is no clip of the folder", name)
	}
	after := contents(t, root)
	for name, text := range before {
		if after[name] != text {
			t.Errorf("%s was changed", name)
		}
	}
	near := results(t, root)
	for name, text := range results(t, alone) {
		if near[name] != text {
			t.Errorf("%s differs from what the clip gives alone", name)
		}
	}
}

// contents returns every ordinary file below root that is no result.
func contents(t testing.TB, root string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		rel, _ := filepath.Rel(root, name)
		if strings.Contains(filepath.ToSlash(rel), ".out/") || strings.HasPrefix(rel, batch.StateFolder) || strings.HasPrefix(path.Base(rel), "morning.") {
			return nil
		}
		data, err := os.ReadFile(name)
		out[rel] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestParseBytes(t *testing.T) {
	for text, want := range map[string]int64{"": 0, "6GiB": 6 << 30, "6G": 6 << 30, "6gb": 6 << 30, "512 MiB": 512 << 20, "0.5T": 1 << 39, "100000000": 100000000} {
		if got, err := parseBytes(text); err != nil || got != want {
			t.Errorf("%q: %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"x", "6X", "GiB", "-1G", "1K", "1e30", "NaN", "6 Gi B i"} {
		if got, err := parseBytes(text); err == nil {
			t.Errorf("%q: %d", text, got)
		}
	}
}

func FuzzParseBytes(f *testing.F) {
	f.Add("6GiB")
	f.Add("512 M")
	f.Fuzz(func(t *testing.T, text string) {
		if got, err := parseBytes(text); err == nil && text != "" && got < 64<<20 {
			t.Errorf("%q: %d", text, got)
		}
	})
}

func TestJSONLogOfABatch(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "bad.mp4"), []byte("no clip"), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := jogstrip(t, "batch", folder, "--log", "json")
	out, err := cmd.Output()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly {
		t.Fatalf("%v\n%s", err, out)
	}
	var last map[string]any
	for line := range strings.Lines(string(out)) {
		last = nil
		if err := json.Unmarshal([]byte(line), &last); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
	}
	if last["type"] != "end" {
		t.Errorf("the last line is %v", last)
	}
}

// marked makes small clips with marks below root.
func marked(t testing.TB, root string, names ...string) {
	t.Helper()
	for i, name := range names {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=128x96:rate=60", "-frames:v", "30", "-c:v", "libx264", "-pix_fmt", "yuv420p")
		m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 128, Height: 96}, Marks: []record.Mark{
			record.At(0, traj.LeftFore, 50+float64(i), 60), record.At(0, traj.RightFore, 40, 60),
		}}
		if err := record.WriteMarks(record.MarksPath(path), m); err != nil {
			t.Fatal(err)
		}
	}
}

func TestInterruptStopsCleanlyAndASecondStartGoesOn(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	marked(t, root, "a.mp4", "b.mp4", "c.mp4")
	cmd := jogstrip(t, "batch", root, "--workers", "1", "--log", "plain")
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		said.WriteString(lines.Text() + "\n")
		if strings.Contains(lines.Text(), "b.mp4: measuring") {
			if err := cmd.Process.Signal(os.Interrupt); err != nil {
				t.Fatal(err)
			}
		}
	}
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != exitInterrupted {
		t.Fatalf("%v, want exit code %d\n%s%s", err, exitInterrupted, said.String(), stderr.String())
	}
	if !strings.Contains(stderr.String(), "goes on where it stopped") || !strings.Contains(said.String(), "not reached") {
		t.Errorf("does not say what happened:\n%s%s", said.String(), stderr.String())
	}
	if left := leftovers(t, root); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	if _, err := os.Stat(filepath.Join(root, batch.MorningPage)); err != nil {
		t.Errorf("what was done until then has no page: %v", err)
	}
	second, err := jogstrip(t, "batch", root, "--log", "plain").CombinedOutput()
	if !errors.As(err, &exit) || exit.ExitCode() != exitPartly || strings.Contains(string(second), "a.mp4: measuring") || !strings.Contains(string(second), "c.mp4: measuring") {
		t.Errorf("second start: %v\n%s", err, second)
	}
}

// stopWorker stops the process that measures a clip where it is, so that it can't finish,
// and reports whether it was still at work.
func stopWorker(t testing.TB, clip string) bool {
	t.Helper()
	for range 300 { // The batch says that it begins before it does.
		paths, err := filepath.Glob("/proc/[0-9]*/cmdline")
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			// A process that has ended has no arguments.
			if args, _ := os.ReadFile(path); !bytes.Contains(args, []byte("\x00worker\x00")) || !bytes.HasSuffix(args, []byte("\x00"+clip+"\x00")) {
				continue
			}
			pid := must1(strconv.Atoi(filepath.Base(filepath.Dir(path))))
			for syscall.Kill(pid, syscall.SIGSTOP) == nil {
				stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
				_, state, _ := bytes.Cut(stat, []byte(") "))
				if err != nil || len(state) == 0 || state[0] == 'Z' {
					break
				}
				if state[0] == 'T' {
					return true
				}
				time.Sleep(time.Millisecond)
			}
			return false
		}
		time.Sleep(10 * time.Millisecond)
	}
	return false
}

// A terminal that is closed ends a batch as ctrl-C does: the clip that is being measured is
// not finished first, and no other is begun. A batch that was started to outlive its terminal
// goes on.
func TestClosedTerminal(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	root := t.TempDir()
	clips := []string{"a.mp4", "b.mp4", "c.mp4"}
	marked(t, root, clips...)
	// run closes the terminal of cmd, which becomes the batch, when close says so of a clip
	// that is begun.
	run := func(cmd *exec.Cmd, closes func(clip string) bool) (code int, text string) {
		t.Helper()
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		var said strings.Builder
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			said.WriteString(lines.Text() + "\n")
			if before, _, begun := strings.Cut(lines.Text(), ": measuring"); begun && closes(before[strings.LastIndexByte(before, ' ')+1:]) {
				if err := cmd.Process.Signal(syscall.SIGHUP); err != nil {
					t.Fatal(err)
				}
			}
		}
		err = cmd.Wait()
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			code = exit.ExitCode()
		}
		return code, said.String()
	}
	args := []string{"batch", root, "--workers", "1", "--no-video", "--log", "plain"}
	closed := "" // The clip that was being measured then.
	code, text := run(jogstrip(t, args...), func(clip string) bool {
		if closed != "" || !stopWorker(t, filepath.Join(root, clip)) {
			return false
		}
		closed = clip
		return true
	})
	_, after, begun := strings.Cut(text, closed+": measuring")
	if code != exitInterrupted || closed == "" || !begun || strings.Contains(after, ": measuring") {
		t.Errorf("closed at %q: code %d\n%s", closed, code, text)
	}
	for _, clip := range clips {
		_, err := os.Stat(record.OutPath(filepath.Join(root, clip)))
		if finished := clip < closed; finished != (err == nil) {
			t.Errorf("closed at %s, %s: results %v\n%s", closed, clip, err == nil, text)
		}
	}
	page, err := os.ReadFile(filepath.Join(root, batch.MorningPage))
	if err != nil || !strings.Contains(string(page), "interrupted") {
		t.Errorf("no page tells of it: %v", err)
	}
	nohup := exec.Command("bash", append([]string{"-c", `trap "" HUP; exec "$0" "$@"`, builtProgram(t)}, args...)...)
	if code, text := run(nohup, func(string) bool { return true }); code != exitPartly || !strings.Contains(text, "c.mp4: needs") {
		t.Errorf("with hang-ups ignored: code %d\n%s", code, text)
	}
}

// A batch over a yard and one over a horse's folder in it may meet at a clip.
func TestBatchesOverOverlappingFoldersDoNotHarmEachOther(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	names := []string{"h/v/a.mp4", "h/v/b.mp4", "h/v/c.mp4"}
	alone, shared := t.TempDir(), t.TempDir()
	marked(t, alone, names...)
	marked(t, shared, names...)
	var exit *exec.ExitError
	if out, err := jogstrip(t, "batch", "--no-video", alone).CombinedOutput(); !errors.As(err, &exit) || exit.ExitCode() != exitPartly {
		t.Fatalf("%v\n%s", err, out)
	}
	var group errgroup.Group
	for _, folder := range []string{shared, filepath.Join(shared, "h"), filepath.Join(shared, "h", "v")} {
		group.Go(func() error {
			out, err := jogstrip(t, "batch", "--no-video", folder).CombinedOutput()
			var exit *exec.ExitError
			if !errors.As(err, &exit) || exit.ExitCode() != exitPartly || strings.Contains(string(out), "FAILED") {
				return fmt.Errorf("%s: %w\n%s", folder, err, out)
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	want, got := results(t, alone), results(t, shared)
	if len(got) != len(names) {
		t.Errorf("%d results", len(got))
	}
	for name, text := range want {
		if got[name] != text {
			t.Errorf("%s differs from what it is alone", name)
		}
	}
	if left := leftovers(t, shared); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}
