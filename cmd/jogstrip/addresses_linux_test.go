package main

import (
	"os/exec"
	"strings"
	"testing"
)

// Under a limit of addresses with which Go can't begin the program says so in one line.
func TestTooFewAddresses(t *testing.T) {
	for _, kib := range []string{"900000", "1500000"} {
		out, err := exec.Command("sh", "-c", "ulimit -v "+kib+"; exec \"$0\" version", builtProgram(t)).CombinedOutput()
		if err == nil || !strings.Contains(string(out), "needs 1900 MiB to begin: raise the limit") || strings.Count(string(out), "\n") != 1 {
			t.Errorf("%s KiB: %v, %q", kib, err, out)
		}
	}
}
