package batch

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"jogstrip/pipeline/fsx"
)

func TestHashesNoticeEveryChange(t *testing.T) {
	changes := map[string]func(t *testing.T, path string){
		"other content": func(t *testing.T, path string) { write(t, path, "other content") },
		"same size, same date": func(t *testing.T, path string) {
			stat, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			write(t, path, "CONTENT")
			if err := os.Chtimes(path, stat.ModTime(), stat.ModTime()); err != nil {
				t.Fatal(err)
			}
		},
		"another file in its place, same size and date": func(t *testing.T, path string) {
			stat, err := os.Stat(path)
			if err != nil {
				t.Fatal(err)
			}
			write(t, path+".new", "CONTENT")
			if err := os.Chtimes(path+".new", stat.ModTime(), stat.ModTime()); err != nil {
				t.Fatal(err)
			}
			if err := os.Rename(path+".new", path); err != nil {
				t.Fatal(err)
			}
		},
	}
	for name, change := range changes {
		t.Run(name, func(t *testing.T) {
			root := t.TempDir()
			path := filepath.Join(root, "a b.mp4")
			write(t, path, "content")
			later := func() time.Time { return time.Now().Add(time.Minute) } // The file is old.
			h := newHashes(root, later)
			first := mustHash(t, h, path)
			if again := mustHash(t, h, path); again != first {
				t.Error("an unchanged file has another hash")
			}
			if err := os.MkdirAll(filepath.Join(root, StateFolder), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := h.save("hashes.json"); err != nil {
				t.Fatal(err)
			}
			h = newHashes(root, later)
			if len(h.known) != 1 {
				t.Fatalf("remembers %d files", len(h.known))
			}
			change(t, path)
			want, err := fsx.Hash(context.Background(), path)
			if err != nil {
				t.Fatal(err)
			}
			if got := mustHash(t, h, path); got != want {
				t.Error("the change went unnoticed")
			}
		})
	}
}

func TestFilesTouchedJustNowAreNotRemembered(t *testing.T) {
	root := t.TempDir()
	path := filepath.Join(root, "a.mp4")
	write(t, path, "content")
	h := newHashes(root, time.Now)
	mustHash(t, h, path)
	if len(h.known) != 0 {
		t.Error("a further change within the clock's tick would go unnoticed")
	}
}

func TestDamagedMemoryIsAnEmptyOne(t *testing.T) {
	root := t.TempDir()
	if err := os.MkdirAll(filepath.Join(root, StateFolder), 0o755); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(root, "a.mp4")
	write(t, path, "content")
	want, err := fsx.Hash(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{"", "{", `{"schema":"jogstrip-hashes/2","files":{}}`, `{"schema":"jogstrip-hashes/1","files":{"a.mp4":{"size":7,"sha256":"beef"}}}`, `[]`} {
		write(t, filepath.Join(root, StateFolder, "hashes.json"), text)
		if got := mustHash(t, newHashes(root, time.Now), path); got != want {
			t.Errorf("memory %d: hash %s", i, got)
		}
	}
}

func mustHash(t *testing.T, h *Hashes, path string) string {
	t.Helper()
	sum, err := h.Hash(context.Background(), path)
	if err != nil {
		t.Fatal(err)
	}
	return sum
}
