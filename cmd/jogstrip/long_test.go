//go:build !study

package main

import "testing"

// long skips a test that takes longer than every run has time for.
func long(t *testing.T) {
	t.Helper()
	t.Skip("SKIPPED: runs for minutes: go test -tags study ./cmd/jogstrip")
}

// nightClips is how many clips of each set-up the night's test marks; with -tags study
// it is six. nightSeed is that of its clips.
const nightClips, nightSeed = 2, 7300
