package main

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/batch/damaged"
	"jogstrip/pipeline/record"
)

func TestBatchScripts(t *testing.T) {
	needFFmpeg(t)
	testscript.Run(t, testscript.Params{
		Dir: "testdata/batch",
		Setup: func(env *testscript.Env) error {
			env.Setenv("PATH", env.Getenv("PATH")+string(filepath.ListSeparator)+os.Getenv("PATH"))
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// clip NAME makes a small clip that nobody has marked.
			"clip": func(ts *testscript.TestScript, _ bool, args []string) {
				for _, name := range args {
					out, err := exec.Command("ffmpeg", "-v", "error", "-nostdin", "-y", "-f", "lavfi", "-i", "testsrc2=size=192x144:rate=60", "-frames:v", "12", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", ts.MkAbs(name)).CombinedOutput()
					if err != nil {
						ts.Fatalf("ffmpeg: %v: %s", err, out)
					}
				}
			},
		},
	})
}

func needFFmpeg(t testing.TB) {
	t.Helper()
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skipf("NOT TESTED: %s is not installed (Debian: apt install ffmpeg)", name)
		}
	}
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

func TestFolderOfDamagedClipsGivesAClearOutcomeForEach(t *testing.T) {
	needFFmpeg(t)
	root := t.TempDir()
	cases, err := damaged.Make(context.Background(), root)
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
	for _, c := range cases {
		t.Run(strings.ToValidUTF8(c.Name, "?"), func(t *testing.T) {
			e, ok := entries[asJSON(t, c.Name)]
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
		delete(entries, asJSON(t, c.Name))
	}
	for name := range entries {
		t.Errorf("%s is no clip of the folder", name)
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

// asJSON returns text as it comes back from a JSON file: bytes that are no
// UTF-8 do not survive.
func asJSON(t testing.TB, text string) string {
	t.Helper()
	data, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &text); err != nil {
		t.Fatal(err)
	}
	return text
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
	needFFmpeg(t)
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
