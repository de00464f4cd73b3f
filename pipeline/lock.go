package pipeline

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// ErrBusy is wrapped by the error of a clip that another run is measuring.
var ErrBusy = errors.New("another run is measuring this clip")

// lockClip holds the clip for one run until release is called or the process
// dies. The lock lies on the clip itself, which nobody replaces, so no lock file
// is left behind. File systems without such locks go unlocked.
func lockClip(path string) (release func() error, err error) {
	// Opening a pipe or a device could wait for ever, or never end.
	stat, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open clip %s: %w", path, fsx.Cause(err))
	}
	if !stat.Mode().IsRegular() {
		return nil, fmt.Errorf("open clip %s: it is not an ordinary file", path)
	}
	held, locks, release, err := hold(path, "clip")
	if err == nil && locks && !held {
		return nil, errors.Join(fmt.Errorf("clip %s: %w", path, ErrBusy), release())
	}
	return release, err
}

// hold locks the file or folder at path, which messages call what, until release is called or
// the process dies; held is false where another process has it. A network drive may not lock
// what is opened for reading: then locks is false.
func hold(path, what string) (held, locks bool, release func() error, err error) {
	f, err := os.Open(path)
	if err != nil {
		return false, false, nil, fmt.Errorf("open %s: %w", what, err)
	}
	held, err = fsx.TryLock(f)
	if err != nil && !fsx.Lockless(err) {
		return false, false, nil, errors.Join(fmt.Errorf("lock %s %s: %w", what, path, err), f.Close())
	}
	return held && err == nil, err == nil, f.Close, nil
}

// ClearLeftovers removes what killed runs left of the results of the clip at path. A run
// that is killed after it has put its results in place, and before it has removed the old
// ones, leaves them beside results that hold, so that measuring again, which clears up
// first, is never asked for. Where another run measures the clip, nothing is done.
func ClearLeftovers(path string) (err error) {
	release, err := lockClip(path)
	if errors.Is(err, ErrBusy) {
		return nil
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, release()) }()
	return fsx.Sweep(record.OutPath(path))
}

// ClearVisitLeftovers removes what killed runs left beside the page of the visit at folder.
// Where another run writes that page, nothing is done.
func ClearVisitLeftovers(folder string) (err error) {
	held, _, release, err := hold(folder, "folder")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, release()) }()
	if !held {
		return nil
	}
	return fsx.Sweep(filepath.Join(folder, visitOut))
}
