// Package scenetest gives tests rendered clips and the truth about them. A clip is
// rendered once and kept in the user's cache folder, so that all tests of all packages
// that want the same scene share it, in this run and in the next.
package scenetest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
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
	data, err := os.ReadFile(kept)
	if err != nil {
		t.Fatal(err)
	}
	// A copy: tests harm clips.
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, data, 0o644)); err != nil {
		t.Fatal(err)
	}
	return truth
}

// keptClip returns the path of a scene's clip in the cache folder and renders it where it
// is not there yet.
func keptClip(ctx context.Context, s scene.Scene) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	renderer, err := rendererHash()
	if err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	settings, err := json.Marshal(s)
	if err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	sum := sha256.Sum256(append(settings, renderer...))
	dir := filepath.Join(cache, "jogstrip", "clips")
	path := filepath.Join(dir, hex.EncodeToString(sum[:16])+".mp4")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	// Two packages' tests may want the same clip at the same time.
	lock := flock.New(path + ".lock")
	if err := lock.Lock(); err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	defer func() { _ = lock.Unlock() }()
	now := time.Now()
	if err := os.Chtimes(path, now, now); err == nil {
		return path, nil
	} else if !errors.Is(err, fs.ErrNotExist) {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	if err := sweep(dir, now); err != nil {
		return "", fmt.Errorf("keep a rendered clip: %w", err)
	}
	if _, err := scene.Render(ctx, s, path, "", nil); err != nil {
		return "", err
	}
	return path, nil
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
	for _, path := range files {
		info, err := os.Stat(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		fmt.Fprintf(hash, "%s %d %d\n", path, info.Size(), info.ModTime().UnixNano())
	}
	return hash.Sum(nil), nil
})

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
	clips, err := filepath.Glob(filepath.Join(dir, "*.mp4"))
	if err != nil {
		return err
	}
	for _, path := range clips {
		if info, err := os.Stat(path); err == nil && now.Sub(info.ModTime()) > 30*24*time.Hour {
			if err := errors.Join(os.Remove(path), os.Remove(path+".lock")); err != nil {
				return err
			}
		}
	}
	return nil
}
