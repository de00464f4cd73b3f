package scenetest

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/pipeline/scene"
)

// A kept clip is the one that the renderer makes, with the truth that belongs to it;
// another scene is another clip.
func TestKeptClipsAreThoseRendered(t *testing.T) {
	NeedFFmpeg(t)
	t.Setenv("XDG_CACHE_HOME", t.TempDir())
	s := scene.Scene{Seed: 3, Motion: scene.Motion{StartM: 6, EndM: 5.4}, Camera: scene.Camera{Width: 160, Height: 90, FPS: 30}}
	dir := t.TempDir()
	read := func(name string) []byte {
		t.Helper()
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	want, err := scene.Render(t.Context(), s, filepath.Join(dir, "rendered.mp4"), "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"first.mp4", "again.mp4"} {
		truth := Render(t, s, filepath.Join(dir, name))
		if d := cmp.Diff(want.Times, truth.Times); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(want.Contacts, truth.Contacts); d != "" {
			t.Error(d)
		}
		if !bytes.Equal(read(name), read("rendered.mp4")) {
			t.Errorf("%s is another clip", name)
		}
	}
	kept, err := filepath.Glob(filepath.Join(os.Getenv("XDG_CACHE_HOME"), "jogstrip", "clips", "*.mp4"))
	if err != nil || len(kept) != 1 {
		t.Fatalf("kept %v, %v", kept, err)
	}
	s.Seed = 4
	Render(t, s, filepath.Join(dir, "other.mp4"))
	if bytes.Equal(read("other.mp4"), read("first.mp4")) {
		t.Error("another seed gives the same clip")
	}
}
