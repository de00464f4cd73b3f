package fsx

import (
	"errors"
	"io/fs"
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// NoFollow is for os.OpenFile: a link is an error.
const NoFollow = unix.O_NOFOLLOW

// exchange exchanges two folders in one step.
func exchange(a, b string) error {
	return unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
}

// RenameNew gives the file called from in the open folder source the name to in the open
// folder target. It returns fs.ErrExist where there is such a file, and
// errors.ErrUnsupported where the drive cannot do that in one step.
func RenameNew(source *os.File, from string, target *os.File, to string) error {
	err := unix.Renameat2(int(source.Fd()), from, int(target.Fd()), to, unix.RENAME_NOREPLACE)
	switch {
	case errors.Is(err, unix.EINVAL), errors.Is(err, unix.ENOSYS):
		return errors.ErrUnsupported
	case err != nil:
		return &fs.PathError{Op: "rename", Path: from, Err: err}
	}
	return nil
}

// ChangeTime returns when the file's own record last changed, ns since 1970, and the
// file's number on its drive; zeros where the system does not tell: size and date of the
// file have to do then.
func ChangeTime(stat fs.FileInfo) (ns int64, number uint64) {
	if s, ok := stat.Sys().(*syscall.Stat_t); ok {
		return s.Ctim.Nano(), s.Ino
	}
	return 0, 0
}
