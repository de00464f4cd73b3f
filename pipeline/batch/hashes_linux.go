package batch

import (
	"io/fs"
	"syscall"
)

// changeTime returns when the file's own record last changed, ns since 1970,
// and the file's number on its drive.
func changeTime(stat fs.FileInfo) (ns int64, number uint64) {
	if s, ok := stat.Sys().(*syscall.Stat_t); ok {
		return s.Ctim.Nano(), s.Ino
	}
	return 0, 0
}
