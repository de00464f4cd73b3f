package fsx

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
)

// modes returns what files and folders in the folder at dir are to be made with, and
// the group of what its group may write; -1 leaves the group as it is.
func modes(dir string) (file, folder fs.FileMode, group int) {
	mask := umask()
	file, folder, group = 0o666&^mask, 0o777&^mask, -1
	stat, err := os.Stat(dir)
	if err != nil || stat.Mode()&0o020 == 0 || mask&0o070 == 0o070 {
		return file, folder, group
	}
	file, folder = file|0o060, folder|0o070
	if stat.Mode()&fs.ModeSetgid != 0 {
		folder |= fs.ModeSetgid
	}
	if _, gid, known := owner(stat); known {
		group = gid
	}
	return file, folder, group
}

// share gives the file or folder at path, made by this process, the mode that things in
// dir have. A group that this user does not belong to stays away: the file is then
// readable as its mode says.
func share(path, dir string, isFolder bool) error {
	file, folder, group := modes(dir)
	if group >= 0 {
		_ = os.Lchown(path, -1, group) // Before the mode: it takes the set-group bit away.
	}
	if isFolder {
		return os.Chmod(path, folder)
	}
	return os.Chmod(path, file)
}

// MakeFolder makes the folder at path where it is not there, with the mode that its
// parent's things have.
func MakeFolder(path string) error {
	err := os.Mkdir(path, 0o700)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return share(path, filepath.Dir(path), true)
}

// Share is for files that another program or library has made: it gives the file at
// path the mode that things in its folder have. What belongs to another user is left.
func Share(path string) {
	if stat, err := os.Stat(path); err == nil {
		if uid, _, known := owner(stat); known && uid == os.Geteuid() {
			_ = share(path, filepath.Dir(path), false)
		}
	}
}

// Writable returns nil where this user can make files in the folder at dir, else an
// error that says whose it is.
func Writable(dir string) error {
	err := Access(dir, true)
	if err == nil {
		return nil
	}
	if ReadOnlyDrive(err) {
		return fmt.Errorf("nothing can be written into %s: the drive is read-only: %w", dir, err)
	}
	if whose := Owner(dir); whose != "" {
		return fmt.Errorf("nothing can be written into %s, which belongs to %s: ask for the right to write there (%w)", dir, whose, err)
	}
	return fmt.Errorf("nothing can be written into %s: %w", dir, err)
}

// Owner returns the name of the user to whom the file or folder at path belongs where
// that is another one than this process runs for, else "".
func Owner(path string) string {
	stat, err := os.Lstat(path)
	if err != nil {
		return ""
	}
	uid, _, known := owner(stat)
	if !known || uid == os.Geteuid() {
		return ""
	}
	id := strconv.Itoa(uid)
	if u, err := user.LookupId(id); err == nil {
		return u.Username
	}
	return "user " + id
}
