//go:build !linux

package proc

import (
	"fmt"
	"os"
)

// SacrificeFirst does nothing here: the system chooses by itself.
func SacrificeFirst(*os.Process) {}

// WidenPipe does nothing here: a smaller pipe only costs speed.
func WidenPipe(*os.File) {}

// Self returns a path to the program's file.
func Self() (string, error) {
	self, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("find the program's own file: %w", err)
	}
	return self, nil
}
