package proc

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// Ended returns when the process has ended, without taking its status away: until it is
// waited for, KillGroup can end what it has left behind.
func Ended(p *os.Process) {
	queue, err := unix.Kqueue()
	if err != nil {
		return // Too many open files: its end is then seen at its pipes.
	}
	defer unix.Close(queue)
	watch := []unix.Kevent_t{{Ident: uint64(p.Pid), Filter: unix.EVFILT_PROC, Flags: unix.EV_ADD | unix.EV_ONESHOT, Fflags: unix.NOTE_EXIT}}
	for {
		if _, err := unix.Kevent(queue, watch, make([]unix.Kevent_t, 1), nil); !errors.Is(err, unix.EINTR) {
			return
		}
	}
}
