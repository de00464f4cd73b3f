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
	"time"

	"golang.org/x/sync/errgroup"
)

// WriteFile replaces the file at path with data. Its mode is that of new files of this
// user, with its folder's group where that may write there. A link at path is replaced,
// never written through.
func WriteFile(path string, data []byte) error {
	mode, _, group := modes(filepath.Dir(path))
	if err := replaceFile(path, data, mode, group); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return SyncDir(filepath.Dir(path))
}

// WritePrivate replaces the file at path with data that only this user may read.
func WritePrivate(path string, data []byte) error {
	if err := replaceFile(path, data, 0o600, -1); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
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
	if err != nil && CannotSync(err) {
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
	if err := share(dir, filepath.Dir(target), true); err != nil {
		return "", errors.Join(fmt.Errorf("make folder beside %s: %w", target, err), os.RemoveAll(dir))
	}
	return dir, nil
}

// Commit syncs everything below made and puts it in target's place in one step.
// What stood there before is removed afterwards; where it belongs to another user who
// did not share it, Sweep does that once it may.
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
	err := exchange(made, target)
	if err == nil {
		return errors.Join(SyncDir(parent), removeAll(made))
	}
	// Without an exchange (network drives, other systems than Linux) there is a moment between two renames;
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
	return errors.Join(SyncDir(parent), removeAll(old))
}

// removeAll removes a folder that is no longer needed. That another user may not share
// it is no failure: ForeignLeftover tells of it.
func removeAll(path string) error {
	if err := os.RemoveAll(path); !errors.Is(err, fs.ErrPermission) {
		return err
	}
	return nil
}

// syncTree makes everything below root last, with the modes of root's parent.
func syncTree(root string) error {
	parent := filepath.Dir(root)
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
			return share(path, parent, true)
		}
		files.Go(func() error {
			if err := share(path, parent, false); err != nil {
				return err
			}
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
// replaced folder returns where its successor never arrived. What belongs to another
// user and is not shared stays. The caller must hold whatever lock keeps others from making target at the same time.
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
			problems = append(problems, removeAll(path))
		case e.Name() == base+replacedMark:
			if _, err := os.Lstat(target); errors.Is(err, fs.ErrNotExist) {
				problems = append(problems, os.Rename(path, target))
			} else {
				problems = append(problems, removeAll(path))
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

// ForeignLeftover says, of a leftover at path that nobody can still be writing, whose it
// is and what to do, or "" where this user's next run clears it away.
func ForeignLeftover(path string) string {
	const longest = 24 * time.Hour // No clip takes that long.
	stat, err := os.Lstat(path)
	whose := Owner(path)
	if err != nil || whose == "" || time.Since(stat.ModTime()) < longest || Access(path, true) == nil {
		return ""
	}
	return fmt.Sprintf("%s was left by a run of %s that was killed, and only that user can delete it", path, whose)
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

// Cause returns what is behind an error of a file without the name of the system's call and
// the path, for messages that name the file themselves.
func Cause(err error) error {
	var of *fs.PathError
	if errors.As(err, &of) {
		return of.Err
	}
	return err
}

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
