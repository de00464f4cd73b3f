package fsx

import "golang.org/x/sys/unix"

// NoFollow is for os.OpenFile: a link is an error.
const NoFollow = unix.O_NOFOLLOW
