// Package fsx puts files and folders on disk whole or not at all: after a kill,
// a power cut or a full disk a name holds either what it held before or what
// was to be written, never a part of it.
package fsx

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/renameio/v2"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sys/unix"
)

// WriteFile replaces the file at path with data, readable by everyone and
// writable by the owner.
func WriteFile(path string, data []byte) error {
	if err := renameio.WriteFile(path, data, 0o644, renameio.WithTempDir(filepath.Dir(path)), renameio.IgnoreUmask()); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return SyncDir(filepath.Dir(path))
}

// SyncDir makes renames inside the folder at path last through a power cut.
// File systems that cannot sync a folder (some network drives) are taken as
// they are.
func SyncDir(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	err = d.Sync()
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.EROFS) {
		err = nil
	}
	if err := errors.Join(err, d.Close()); err != nil {
		return fmt.Errorf("sync folder %s: %w", path, err)
	}
	return nil
}

// The marks in names of folders that are being made or being replaced.
const (
	makingMark   = ".making-"
	replacedMark = ".replaced"
)

// NewFolder makes an empty folder beside target, to be filled and then put in
// target's place by Commit. The caller removes it with os.RemoveAll when it
// gives up.
func NewFolder(target string) (string, error) {
	dir, err := os.MkdirTemp(filepath.Dir(target), "."+filepath.Base(target)+makingMark)
	if err != nil {
		return "", fmt.Errorf("make folder beside %s: %w", target, err)
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		return "", errors.Join(fmt.Errorf("make folder beside %s: %w", target, err), os.RemoveAll(dir))
	}
	return dir, nil
}

// Commit syncs everything below made and puts it in target's place in one step.
// What stood there before is removed afterwards.
func Commit(made, target string) error {
	if err := syncTree(made); err != nil {
		return fmt.Errorf("put %s in place: %w", target, err)
	}
	parent := filepath.Dir(target)
	if _, err := os.Lstat(target); errors.Is(err, fs.ErrNotExist) {
		if err := os.Rename(made, target); err != nil {
			return fmt.Errorf("put %s in place: %w", target, err)
		}
		return SyncDir(parent)
	}
	err := unix.Renameat2(unix.AT_FDCWD, made, unix.AT_FDCWD, target, unix.RENAME_EXCHANGE)
	if err == nil {
		return errors.Join(SyncDir(parent), os.RemoveAll(made))
	}
	// Without an exchange (network drives) there is a moment between two renames;
	// Sweep puts the old folder back if it falls there.
	old := filepath.Join(parent, "."+filepath.Base(target)+replacedMark)
	if err := os.RemoveAll(old); err != nil {
		return fmt.Errorf("put %s in place: %w", target, err)
	}
	if err := os.Rename(target, old); err != nil {
		return fmt.Errorf("put %s in place: %w", target, err)
	}
	if err := os.Rename(made, target); err != nil {
		return errors.Join(fmt.Errorf("put %s in place: %w", target, err), os.Rename(old, target))
	}
	return errors.Join(SyncDir(parent), os.RemoveAll(old))
}

func syncTree(root string) error {
	// Files at once: the drive then writes its journal once for several.
	var files errgroup.Group
	files.SetLimit(8)
	var folders []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			folders = append(folders, path)
			return nil
		}
		files.Go(func() error {
			f, err := os.Open(path)
			if err != nil {
				return err
			}
			return errors.Join(f.Sync(), f.Close())
		})
		return nil
	})
	err = errors.Join(err, files.Wait())
	for _, path := range folders {
		err = errors.Join(err, SyncDir(path))
	}
	return err
}

// Sweep clears what killed runs left of target: half-made folders go, a
// replaced folder returns where its successor never arrived. The caller must
// hold whatever lock keeps others from making target at the same time.
func Sweep(target string) error {
	parent, base := filepath.Dir(target), "."+filepath.Base(target)
	entries, err := os.ReadDir(parent)
	if err != nil {
		return fmt.Errorf("sweep %s: %w", parent, err)
	}
	var problems []error
	for _, e := range entries {
		path := filepath.Join(parent, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), base+makingMark):
			problems = append(problems, os.RemoveAll(path))
		case e.Name() == base+replacedMark:
			if _, err := os.Lstat(target); errors.Is(err, fs.ErrNotExist) {
				problems = append(problems, os.Rename(path, target))
			} else {
				problems = append(problems, os.RemoveAll(path))
			}
		}
	}
	if err := errors.Join(problems...); err != nil {
		return fmt.Errorf("sweep %s: %w", parent, err)
	}
	return nil
}

// Leftover reports whether name is that of a folder or file that only exists
// while something is being written.
func Leftover(name string) bool {
	return strings.HasPrefix(name, ".") && (strings.Contains(name, makingMark) || strings.HasSuffix(name, replacedMark))
}

// Hash returns the SHA-256 of the file at path in hexadecimal.
func Hash(ctx context.Context, path string) (sum string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("hash: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	h := sha256.New()
	if _, err := io.Copy(h, readerFunc(func(p []byte) (int, error) {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		return f.Read(p)
	})); err != nil {
		return "", fmt.Errorf("hash %s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

// ReadFile reads a file of at most limit bytes.
func ReadFile(path string, limit int64) (data []byte, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	data, err = io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, err
	}
	if int64(len(data)) > limit {
		return nil, fmt.Errorf("%s is larger than %d bytes", path, limit)
	}
	return data, nil
}
