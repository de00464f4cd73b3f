//go:build study

package main

import (
	"testing"

	"jogstrip/pipeline/scene/scenetest"
)

// Hundreds of damaged and strange clips of a lame horse: each has an outcome and a
// reason, nothing crashes, hangs or takes more memory than was given, and no other limb
// than the lame one is named.
func TestStrangeClips(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	f := newStrangeFilm(t)
	clips := f.all()
	if len(clips) < 300 {
		t.Fatalf("only %d clips", len(clips))
	}
	measureStrange(t, f, clips)
}
