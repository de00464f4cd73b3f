package fsx_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"jogstrip/pipeline/fsx"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		return "-"
	}
	return string(b)
}

func TestCommitReplacesWhole(t *testing.T) {
	target := filepath.Join(t.TempDir(), "clip.out")
	for _, text := range []string{"first", "second"} {
		made, err := fsx.NewFolder(target)
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(made, "plots", "a.svg"), text)
		if err := fsx.Commit(made, target); err != nil {
			t.Fatal(err)
		}
		if got := read(t, filepath.Join(target, "plots", "a.svg")); got != text {
			t.Errorf("holds %q, want %q", got, text)
		}
	}
	entries, err := os.ReadDir(filepath.Dir(target))
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v %v", entries, err)
	}
}

func TestSweep(t *testing.T) {
	tests := []struct {
		name  string
		files map[string]string // Relative to the visit folder.
		want  string            // What clip.out/a holds afterwards; "-" for nothing.
	}{
		{"half-made folder goes", map[string]string{".clip.out.making-123/a": "half", "clip.out/a": "old"}, "old"},
		{"half-made folder of a first run goes", map[string]string{".clip.out.making-123/a": "half"}, "-"},
		{"old folder returns where the new one never arrived", map[string]string{".clip.out.replaced/a": "old", ".clip.out.making-9/a": "new"}, "old"},
		{"old folder goes where the new one arrived", map[string]string{".clip.out.replaced/a": "old", "clip.out/a": "new"}, "new"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			for name, text := range tt.files {
				write(t, filepath.Join(dir, name), text)
			}
			write(t, filepath.Join(dir, ".other.out.making-1", "a"), "not mine")
			if err := fsx.Sweep(filepath.Join(dir, "clip.out")); err != nil {
				t.Fatal(err)
			}
			if got := read(t, filepath.Join(dir, "clip.out", "a")); got != tt.want {
				t.Errorf("clip.out/a holds %q, want %q", got, tt.want)
			}
			entries, _ := os.ReadDir(dir)
			for _, e := range entries {
				if fsx.Leftover(e.Name()) && e.Name() != ".other.out.making-1" {
					t.Errorf("%s is still there", e.Name())
				}
			}
			if read(t, filepath.Join(dir, ".other.out.making-1", "a")) != "not mine" {
				t.Error("swept what belongs to another clip")
			}
		})
	}
}

func TestHash(t *testing.T) {
	path := filepath.Join(t.TempDir(), "abc")
	write(t, path, "abc")
	got, err := fsx.Hash(context.Background(), path)
	// The one-block example of FIPS 180-4's companion examples for SHA-256.
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if err != nil || got != want {
		t.Errorf("hash %q %v", got, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := fsx.Hash(ctx, path); err == nil {
		t.Error("hashed although cancelled")
	}
}

func TestReadFileIsBounded(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a")
	write(t, path, "12345")
	if _, err := fsx.ReadFile(path, 4); err == nil {
		t.Error("read more than the limit")
	}
	if b, err := fsx.ReadFile(path, 5); err != nil || string(b) != "12345" {
		t.Errorf("%q %v", b, err)
	}
}
