package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

func TestManualHasEveryCommandAndFlag(t *testing.T) {
	t.Parallel()
	root := newRootCommand(&app{io.Discard, io.Discard})
	dir := t.TempDir()
	if err := writeManual(root, dir); err != nil {
		t.Fatal(err)
	}
	for _, c := range root.Commands() {
		if c.Hidden {
			continue
		}
		path := filepath.Join(dir, "jogstrip-"+c.Name()+".1")
		page, err := os.ReadFile(path)
		if err != nil {
			t.Error(err)
			continue
		}
		c.Flags().VisitAll(func(f *pflag.Flag) {
			if !bytes.Contains(page, []byte(`\fB`+roff("--"+f.Name)+`\fR`)) {
				t.Errorf("%s does not tell of --%s", filepath.Base(path), f.Name)
			}
		})
		if groff, err := exec.LookPath("groff"); err == nil {
			// The macros of man complain of what they cannot set.
			if out, err := exec.Command(groff, "-man", "-Tutf8", "-ww", "-z", path).CombinedOutput(); err != nil || len(out) > 0 {
				t.Errorf("groff: %v: %s", err, out)
			}
		}
	}
}

func TestShellsAreToldWhatFits(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		typed []string
		want  string
	}{
		{[]string{"batch", "--log", ""}, "auto\nplain\njson\n:4\n"},
		{[]string{"compare", "--followed", "step_length_f"}, "step_length_fore"},
		{[]string{"measure", ""}, "mp4\nmov\n"},
		{[]string{"mark", ""}, ":16\n"},
	} {
		var out bytes.Buffer
		if code := run(append([]string{"__complete"}, tt.typed...), &out, io.Discard); code != exitGood || !strings.Contains(out.String(), tt.want) {
			t.Errorf("%q: exit code %d, shells are told %q, want %q", tt.typed, code, out.String(), tt.want)
		}
	}
}
