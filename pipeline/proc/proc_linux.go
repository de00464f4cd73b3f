package proc

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"syscall"

	"golang.org/x/sys/unix"
)

// Ended returns when the process has ended, without taking its status away: until it is
// waited for, KillGroup can end what it has left behind.
func Ended(p *os.Process) {
	for {
		err := unix.Waitid(unix.P_PID, p.Pid, nil, unix.WEXITED|unix.WNOWAIT, nil)
		if !errors.Is(err, unix.EINTR) {
			return
		}
	}
}

// SacrificeFirst makes the system end this process before others where memory runs out.
func SacrificeFirst(p *os.Process) {
	_ = os.WriteFile(filepath.Join("/proc", strconv.Itoa(p.Pid), "oom_score_adj"), []byte("500"), 0o644)
}

// WidenPipe lets much pass through a pipe at once; a smaller pipe only costs speed, so a
// refusal is no error.
func WidenPipe(f *os.File) {
	_, _, _ = syscall.Syscall(syscall.SYS_FCNTL, f.Fd(), unix.F_SETPIPE_SZ, 1<<20)
}

// Self returns a path to the program that runs now, also where its file is replaced by a
// newer one meanwhile.
func Self() (string, error) { return "/proc/self/exe", nil }
