package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"

	"jogstrip/pipeline/markpage/pagetest"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(weighedProgram); path != "" {
		os.Exit(weigh(path, os.Args[1:]))
	}
	code := pagetest.Main(m)
	if built.dir != "" {
		if err := os.RemoveAll(built.dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
	}
	os.Exit(code)
}

// weighedProgram is the variable that makes this test program run the program it names
// and tell how much memory that took.
const weighedProgram = "JOGSTRIP_TEST_WEIGHED"

// weigh runs a program, writes the most memory that one of its processes held at a time
// into file 3, bytes, and returns its exit code.
func weigh(path string, args []string) int {
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	var exit *exec.ExitError
	if err := cmd.Run(); err != nil && !errors.As(err, &exit) {
		fmt.Fprintln(os.Stderr, err)
		return exitFatal
	}
	fmt.Fprint(os.NewFile(3, "peak"), cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss<<10)
	return cmd.ProcessState.ExitCode()
}

// weighed runs the program and returns what it prints and the most memory that one of its
// processes held at a time, bytes. The system counts what the parent holds when a process
// is started as held by that process; so a small parent starts it.
func weighed(t testing.TB, args ...string) (out []byte, peak int64, err error) {
	t.Helper()
	own, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	cmd := exec.Command(own, args...)
	cmd.Env = append(os.Environ(), weighedProgram+"="+builtProgram(t))
	cmd.ExtraFiles = []*os.File{w}
	out, err = cmd.CombinedOutput()
	w.Close()
	if _, scanErr := fmt.Fscan(r, &peak); scanErr != nil {
		t.Fatalf("read the peak of memory: %v\n%s", scanErr, out)
	}
	return out, peak, err
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
