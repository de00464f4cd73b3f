//go:build study

package main

import "testing"

// long lets a test run that takes longer than every run has time for.
func long(*testing.T) {}

// nightClips is how many clips of each set-up the night's test marks; nightSeed is that of
// its clips.
const nightClips, nightSeed = 6, 7500
