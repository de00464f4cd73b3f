package fsx

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/sys/windows"
)

// NoFollow is nothing here: what is opened lies below an os.Root, which follows no link
// out of it.
const NoFollow = 0

// umask keeps nothing from others here: folders say who may read them.
func umask() fs.FileMode { return 0o022 }

// replaceFile puts data in the place of the file at path. Modes and groups are those of
// its folder here.
func replaceFile(path string, data []byte, _ fs.FileMode, _ int) error {
	t, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path))
	if err != nil {
		return err
	}
	_, err = t.Write(data)
	if err == nil {
		err = t.Sync()
	}
	err = errors.Join(err, t.Close())
	if err == nil {
		err = os.Rename(t.Name(), path) // In one step, also over a file that is there.
	}
	if err != nil {
		return errors.Join(err, os.Remove(t.Name()))
	}
	return nil
}

// CannotSync reports whether err says that a folder cannot be synced: here none can,
// and renames are written through.
func CannotSync(err error) bool {
	return errors.Is(err, windows.ERROR_ACCESS_DENIED) || errors.Is(err, windows.ERROR_INVALID_HANDLE) || errors.Is(err, windows.ERROR_INVALID_FUNCTION)
}

// owner is not told here.
func owner(fs.FileInfo) (uid, gid int, known bool) { return 0, 0, false }

// Access returns nil where this user may write the file at path, or make files in it
// where it is a folder. That is found out by doing it.
func Access(path string, folder bool) error {
	if folder {
		f, err := os.CreateTemp(path, ".access-")
		if err != nil {
			return err
		}
		return errors.Join(f.Close(), os.Remove(f.Name()))
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	return f.Close()
}

// NoRoom reports whether err says that a drive has no room left.
func NoRoom(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL) || errors.Is(err, windows.ERROR_DISK_QUOTA_EXCEEDED)
}

// ReadOnlyDrive reports whether err says that a drive can only be read.
func ReadOnlyDrive(err error) bool { return errors.Is(err, windows.ERROR_WRITE_PROTECT) }

// Lockless reports whether err, of locking a file, says that its drive knows no locks.
func Lockless(err error) bool {
	return errors.Is(err, windows.ERROR_NOT_SUPPORTED) || errors.Is(err, windows.ERROR_INVALID_FUNCTION)
}

// TryLock locks an open file until it is closed or the process ends. got is false where
// another process holds it. A byte far beyond the file's end is locked: a lock here keeps
// others from reading what it covers.
func TryLock(f *os.File) (got bool, err error) {
	const beyond = 1 << 30 // Times 2^32: OffsetHigh.
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &windows.Overlapped{OffsetHigh: beyond})
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return false, nil
	}
	return err == nil, err
}

// FreeSpace returns how many bytes of the drive of the folder at dir may be written.
func FreeSpace(dir string) (int64, error) {
	path, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, fmt.Errorf("ask for room on the disk of %s: %w", dir, err)
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(path, &free, nil, nil); err != nil {
		return 0, fmt.Errorf("ask for room on the disk of %s: %w", dir, err)
	}
	return int64(free), nil
}
