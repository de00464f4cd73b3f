//go:build !linux

package fsx

import (
	"errors"
	"io/fs"
	"os"
)

// exchange is done in two steps here.
func exchange(_, _ string) error { return errors.ErrUnsupported }

// RenameNew is done in two steps here.
func RenameNew(_ *os.File, _ string, _ *os.File, _ string) error { return errors.ErrUnsupported }

// ChangeTime returns nothing here: size and date of the file have to do.
func ChangeTime(fs.FileInfo) (ns int64, number uint64) { return 0, 0 }
