package batch

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/gofrs/flock"

	"jogstrip/pipeline/fsx"
)

// StateFolder is the hidden folder below the batch's folder that holds what the
// batch needs to remember. It may be deleted while no batch runs.
const StateFolder = ".jogstrip"

const lockFile = "batch.lock"

// HeldError says that another batch holds the folder.
type HeldError struct {
	Folder string
	Holder string // Who, as far as is known; empty where it is not.
}

func (e *HeldError) Error() string {
	by := "another batch"
	if e.Holder != "" {
		by += " (" + e.Holder + ")"
	}
	return fmt.Sprintf("folder %s is held by %s: wait for it or stop it; its lock goes when it ends, however it ends", e.Folder, by)
}

// hold locks the folder for one share of a batch until release is called or
// the process dies. A whole batch (one share of one) excludes every other;
// shares of the same number exclude only their equals. locked is false where
// the drive knows no locks.
//
// The lock is the kernel's, so a killed batch never leaves one behind.
func hold(folder string, share Share, note string) (release func() error, locked bool, err error) {
	state := filepath.Join(folder, StateFolder)
	whole := flock.New(filepath.Join(state, lockFile), flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o644))
	take := whole.TryLock
	if !share.whole() {
		take = whole.TryRLock
	}
	got, err := take()
	if err != nil && fsx.Lockless(err) {
		return func() error { return whole.Close() }, false, nil
	}
	if err != nil {
		return nil, false, errors.Join(fmt.Errorf("lock folder %s: %w", folder, err), whole.Close())
	}
	if !got {
		held := &HeldError{Folder: folder, Holder: holder(whole.Path())}
		if shared, err := whole.TryRLock(); err == nil && shared {
			held.Holder = "shares of a divided one"
		}
		return nil, false, errors.Join(held, whole.Close())
	}
	if share.whole() {
		leaveNote(whole.Path(), note)
		return whole.Close, true, nil
	}
	own := flock.New(filepath.Join(state, fmt.Sprintf("batch-%d-of-%d.lock", share.Index, share.Count)))
	got, err = own.TryLock()
	if err != nil {
		return nil, false, errors.Join(fmt.Errorf("lock folder %s: %w", folder, err), own.Close(), whole.Close())
	}
	if !got {
		held := &HeldError{Folder: folder, Holder: holder(own.Path())}
		return nil, false, errors.Join(held, own.Close(), whole.Close())
	}
	leaveNote(own.Path(), note)
	return func() error { return errors.Join(own.Close(), whole.Close()) }, true, nil
}

// leaveNote tells others who holds the lock. The note is for people's eyes
// only: the lock does not depend on it, so it may fail.
func leaveNote(path, note string) {
	_ = os.WriteFile(path, []byte(note+"\n"), 0o644)
	fsx.Share(path) // The lock's file stays, and others must be able to take it.
}

func holder(path string) string {
	data, err := os.ReadFile(path)
	if err != nil || len(data) > 1000 {
		return ""
	}
	return strings.TrimSpace(string(data))
}

// readOnly reports whether err says that nothing can be written there.
func readOnly(err error) bool {
	return fsx.ReadOnlyDrive(err) || errors.Is(err, fs.ErrPermission)
}

// diskFull reports whether err says that there is no room left. Of what other
// programs met only their words are known.
func diskFull(err error) bool {
	if fsx.NoRoom(err) {
		return true
	}
	text := strings.ToLower(err.Error())
	return strings.Contains(text, "no space left on device") || strings.Contains(text, "disk quota exceeded")
}
