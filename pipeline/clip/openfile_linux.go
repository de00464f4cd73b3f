package clip

import (
	"fmt"
	"os"
)

// inherited is where a child finds the first of its ExtraFiles.
const inherited = "/proc/self/fd/3"

// pathOf returns a path by which this process opens an open file once more, also one
// whose name was taken away.
func pathOf(f *os.File) string { return fmt.Sprintf("/proc/self/fd/%d", f.Fd()) }
