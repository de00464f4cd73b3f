//go:build !linux

package clip

import "os"

// inherited is where a child finds the first of its ExtraFiles; Windows has no such place.
const inherited = "/dev/fd/3"

// pathOf returns a path by which this process opens an open file once more. The file
// must keep its name here.
func pathOf(f *os.File) string { return f.Name() }
