//go:build unix

package track

import (
	"os"
	"syscall"
)

// takeMemory returns so many bytes outside the collected heap, or nil.
func takeMemory(n int) []byte {
	m, err := syscall.Mmap(-1, 0, n, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		return nil
	}
	return m
}

func giveBack(m []byte) { _ = syscall.Munmap(m) }

// unlinkOpen takes an open file's name away.
func unlinkOpen(f *os.File) error { return os.Remove(f.Name()) }

func closeUnlinked(f *os.File) error { return f.Close() }
