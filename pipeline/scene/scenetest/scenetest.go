// Package scenetest gives tests rendered clips and the truth about them, and other clips
// that ffmpeg makes. Each is made once and kept in the user's cache folder, so that all
// tests of all packages that want the same share it, in this run and in the next.
package scenetest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gofrs/flock"

	"jogstrip/pipeline/scene"
)

// NeedFFmpeg skips the test where ffmpeg is missing.
func NeedFFmpeg(t testing.TB) {
	t.Helper()
	for _, name := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skipf("SKIPPED: %s is not installed (Debian: apt install ffmpeg)", name)
		}
	}
}

// Render puts the clip of a scene at path (.mp4) and returns the truth about it, as
// scene.Render does. It fails the test on errors and skips it where ffmpeg is missing.
func Render(t testing.TB, s scene.Scene, path string) *scene.Truth {
	t.Helper()
	NeedFFmpeg(t)
	kept, err := keptClip(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := scene.Simulate(s)
	if err != nil {
		t.Fatal(err)
	}
	if err := copied(kept, path); err != nil {
		t.Fatal(err)
	}
	return truth
}

// Coded puts at path what ffmpeg makes with args, which name no input file but a source
// of ffmpeg's own (-f lavfi). It skips the test where ffmpeg is missing.
func Coded(t testing.TB, path string, args ...string) {
	t.Helper()
	Keep(t, fmt.Sprintf("ffmpeg %q", args), path, func(ctx context.Context, path string) error {
		return ffmpeg(ctx, args, path)
	})
}

// Recoded puts at path what ffmpeg makes of the clip from with args for the output.
func Recoded(t testing.TB, from, path string, args ...string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	Keep(t, fmt.Sprintf("ffmpeg %q of %x", args, sha256.Sum256(data)), path, func(ctx context.Context, path string) error {
		return ffmpeg(ctx, slices.Concat([]string{"-i", from}, args), path)
	})
}

func ffmpeg(ctx context.Context, args []string, path string) error {
	out, err := exec.CommandContext(ctx, "ffmpeg", slices.Concat([]string{"-v", "error", "-nostdin", "-y"}, args, []string{path})...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("ffmpeg %q: %w: %s", args, err, out)
	}
	return nil
}

// Keep puts at path the file that make writes by means of ffmpeg. Of files with one key
// and one ending one is made and kept: the key must tell all that the file depends on
// beside ffmpeg. It skips the test where ffmpeg is missing.
func Keep(t testing.TB, key, path string, make func(ctx context.Context, path string) error) {
	t.Helper()
	NeedFFmpeg(t)
	hash := sha256.New()
	program, err := exec.LookPath("ffmpeg")
	if err == nil {
		err = hashFiles(hash, program)
	}
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(hash, key)
	kept, err := keptFile(hash.Sum(nil), filepath.Ext(path), func(path string) error { return make(t.Context(), path) })
	if err == nil {
		err = copied(kept, path)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// copied copies a kept file: tests harm clips.
func copied(kept, path string) error {
	data, err := os.ReadFile(kept)
	if err != nil {
		return err
	}
	return errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, data, 0o644))
}

// keptClip returns the path of a scene's clip in the cache folder and renders it where it
// is not there yet.
func keptClip(ctx context.Context, s scene.Scene) (string, error) {
	renderer, err := rendererHash()
	if err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	settings, err := json.Marshal(s)
	if err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	sum := sha256.Sum256(append(settings, renderer...))
	return keptFile(sum[:], ".mp4", func(path string) error {
		_, err := scene.Render(ctx, s, path, "", nil)
		return err
	})
}

// keptFile returns the path in the cache folder of the file that belongs to a hash and
// makes it where it is not there yet.
func keptFile(sum []byte, ext string, make func(path string) error) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("keep a clip: %w", err)
	}
	dir := filepath.Join(cache, "jogstrip", "clips")
	path := filepath.Join(dir, hex.EncodeToString(sum[:16])+ext)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("keep a clip: %w", err)
	}
	// Two packages' tests may want the same clip at the same time.
	lock := flock.New(path + ".lock")
	if err := lock.Lock(); err != nil {
		return "", fmt.Errorf("keep a clip: %w", err)
	}
	defer func() { _ = lock.Unlock() }()
	now := time.Now()
	if err := os.Chtimes(path, now, now); err == nil {
		return path, nil
	} else if !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("keep a clip: %w", err)
	}
	if err := sweep(dir, now); err != nil {
		return "", fmt.Errorf("keep a clip: %w", err)
	}
	// What is ended in the middle leaves nothing under the clip's name.
	half := filepath.Join(dir, "half-"+filepath.Base(path))
	if err := make(half); err != nil {
		return "", errors.Join(fmt.Errorf("keep a clip: %w", err), os.RemoveAll(half))
	}
	return path, os.Rename(half, path)
}

// rendererHash returns a hash of all that a scene's pixels come from beside its settings:
// the renderer's source, the photographs and ffmpeg.
var rendererHash = sync.OnceValues(func() ([]byte, error) {
	root, err := moduleRoot()
	if err != nil {
		return nil, err
	}
	hash := sha256.New()
	var all []byte
	for _, dir := range []string{"pipeline/scene", "track/traj"} {
		sources, err := filepath.Glob(filepath.Join(root, dir, "*.go"))
		if err != nil {
			return nil, err
		}
		for _, path := range sources {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return nil, err
			}
			fmt.Fprintf(hash, "%s %d\n%s", filepath.Base(path), len(data), data)
			all = append(all, data...)
		}
	}
	versions, err := versionsOf(root, all)
	if err != nil {
		return nil, err
	}
	fmt.Fprint(hash, runtime.Version(), versions)
	program, err := exec.LookPath("ffmpeg")
	if err != nil {
		return nil, err
	}
	files := []string{program}
	for _, p := range scene.Photographs() {
		files = append(files, p.Path)
	}
	if err := hashFiles(hash, files...); err != nil {
		return nil, err
	}
	return hash.Sum(nil), nil
})

// hashFiles writes down which files these are, by name, size and date.
func hashFiles(hash io.Writer, paths ...string) error {
	for _, path := range paths {
		info, err := os.Stat(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(hash, "%s %d %d\n", path, info.Size(), info.ModTime().UnixNano())
	}
	return nil
}

// versionsOf returns those lines of go.mod that name a module from which the sources
// import a package.
func versionsOf(root string, sources []byte) (string, error) {
	data, err := os.ReadFile(filepath.Join(root, "go.mod"))
	if err != nil {
		return "", err
	}
	var out strings.Builder
	for line := range strings.Lines(string(data)) {
		if words := strings.Fields(line); len(words) >= 2 && bytes.Contains(sources, []byte("\""+words[0]+"/")) {
			out.WriteString(line)
		}
	}
	return out.String(), nil
}

// moduleRoot returns the folder of go.mod; tests run in their package's folder.
func moduleRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir, nil
		}
		if filepath.Dir(dir) == dir {
			return "", errors.New("no go.mod above the working folder")
		}
		dir = filepath.Dir(dir)
	}
}

// sweep removes clips that no test has asked for in a month.
func sweep(dir string, now time.Time) error {
	locks, err := filepath.Glob(filepath.Join(dir, "*.lock"))
	if err != nil {
		return err
	}
	for _, lock := range locks {
		path := strings.TrimSuffix(lock, ".lock")
		if info, err := os.Stat(path); err == nil && now.Sub(info.ModTime()) > 30*24*time.Hour {
			if err := errors.Join(os.Remove(path), os.Remove(lock)); err != nil {
				return err
			}
		}
	}
	return nil
}
