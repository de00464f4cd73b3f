package main

import (
	"os"
	"os/exec"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// The test program is jogstrip itself where it is called by that name.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"jogstrip": main})
}

// jogstrip returns the program with arguments, as a process of its own.
func jogstrip(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Args[0] = "jogstrip"
	return cmd
}
