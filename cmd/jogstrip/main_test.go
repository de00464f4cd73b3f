package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"jogstrip/pipeline/markpage/pagetest"
)

func TestMain(m *testing.M) {
	code := pagetest.Main(m)
	if built.dir != "" {
		if err := os.RemoveAll(built.dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	os.Exit(code)
}

// built is the program as scripts/build makes it for people, which starts four times as
// fast as the test program would. It is built for the first test that wants it.
var built struct {
	once sync.Once
	dir  string
	err  error
}

// builtProgram returns the path of the program.
func builtProgram(t testing.TB) string {
	t.Helper()
	built.once.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "jogstrip-program-"); built.err != nil {
			return
		}
		if out, err := exec.Command("../../scripts/build", filepath.Join(built.dir, "jogstrip")).CombinedOutput(); err != nil {
			built.err = fmt.Errorf("scripts/build: %w: %s", err, out)
		}
	})
	if built.err != nil {
		t.Fatal(built.err)
	}
	return filepath.Join(built.dir, "jogstrip")
}

// jogstrip returns the program with arguments, as a process of its own.
func jogstrip(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	return exec.Command(builtProgram(t), args...)
}
