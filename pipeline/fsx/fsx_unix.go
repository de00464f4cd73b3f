//go:build unix

package fsx

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"

	"github.com/google/renameio/v2"
	"golang.org/x/sys/unix"
)

// What a program of this user may give to others by its umask. What is made in a folder
// that its group may write is the group's as well, unless the umask keeps the group out
// on purpose: people who share a yard work in it by turns.
var umask = sync.OnceValue(func() fs.FileMode {
	if f, err := os.Open("/proc/self/status"); err == nil {
		defer f.Close()
		for lines := bufio.NewScanner(f); lines.Scan(); {
			if text, ok := strings.CutPrefix(lines.Text(), "Umask:"); ok {
				if n, err := strconv.ParseUint(strings.TrimSpace(text), 8, 32); err == nil {
					return fs.FileMode(n) & fs.ModePerm
				}
			}
		}
	}
	old := syscall.Umask(0o077) // There is no other way to ask.
	syscall.Umask(old)
	return fs.FileMode(old) & fs.ModePerm
})

// replaceFile puts data in the place of the file at path, with the mode as it is and,
// where it is not negative, the group.
func replaceFile(path string, data []byte, mode fs.FileMode, group int) error {
	t, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithPermissions(mode), renameio.IgnoreUmask())
	if err != nil {
		return err
	}
	_, err = t.Write(data)
	if err == nil && group >= 0 {
		if t.Chown(-1, group) == nil {
			err = t.Chmod(mode)
		} // Else this user is not of the folder's group.
	}
	if err == nil {
		err = t.CloseAtomicallyReplace()
	}
	if err != nil {
		return errors.Join(err, t.Cleanup())
	}
	return nil
}

// CannotSync reports whether err says that this file system cannot sync a folder.
func CannotSync(err error) bool {
	return errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.EROFS)
}

// owner returns to whom a file belongs.
func owner(stat fs.FileInfo) (uid, gid int, known bool) {
	s, ok := stat.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, 0, false
	}
	return int(s.Uid), int(s.Gid), true
}

// Access returns nil where this user may write the file at path, or make files in it
// where it is a folder.
func Access(path string, folder bool) error {
	mode := uint32(unix.W_OK)
	if folder {
		mode |= unix.X_OK
	}
	return unix.Access(path, mode)
}

// NoRoom reports whether err says that a drive has no room left.
func NoRoom(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// ReadOnlyDrive reports whether err says that a drive can only be read.
func ReadOnlyDrive(err error) bool { return errors.Is(err, syscall.EROFS) }

// Lockless reports whether err, of locking a file, says that its drive knows no locks, or
// none on files that are open for reading.
func Lockless(err error) bool {
	for _, no := range []error{unix.ENOLCK, unix.ENOSYS, unix.ENOTSUP, unix.EOPNOTSUPP, unix.EINVAL, unix.EBADF} {
		if errors.Is(err, no) {
			return true
		}
	}
	return false
}

// TryLock locks an open file until it is closed or the process ends. got is false where
// another process holds it.
func TryLock(f *os.File) (got bool, err error) {
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}

// FreeSpace returns how many bytes of the drive of the folder at dir may be written.
func FreeSpace(dir string) (int64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return 0, fmt.Errorf("ask for room on the disk of %s: %w", dir, err)
	}
	return int64(st.Bavail) * int64(st.Bsize), nil
}
