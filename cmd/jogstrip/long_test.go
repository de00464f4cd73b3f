//go:build !study

package main

import "testing"

// long skips a test that takes longer than every run has time for.
func long(t *testing.T) {
	t.Helper()
	t.Skip("SKIPPED: runs for minutes: go test -tags study ./cmd/jogstrip")
}
