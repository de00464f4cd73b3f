//go:build unix

package proc

import (
	"errors"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// Ends returns the signals that ask this process to end. One that was started to
// outlive its terminal is not ended with it.
func Ends() []os.Signal {
	ends := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		ends = append(ends, syscall.SIGHUP)
	}
	return ends
}

// Group makes cmd, before it is started, the first of a group of its own: ctrl-C does
// not reach it, and KillGroup ends it with everything that it has started.
func Group(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

// KillGroup ends a process that was started with Group, and its group. It is safe as
// long as the process has not been waited for: until then no other can have its number.
func KillGroup(p *os.Process) { _ = unix.Kill(-p.Pid, unix.SIGKILL) }

// AskToEnd tells a process to end; it may clear up first.
func AskToEnd(p *os.Process) { _ = unix.Kill(p.Pid, unix.SIGTERM) }

// EndOwnGroup ends this process and what it has started, where it is the first of its
// group; a process started by hand in another's group goes on.
func EndOwnGroup() {
	if syscall.Getpgrp() == os.Getpid() {
		_ = syscall.Kill(0, syscall.SIGKILL)
	}
}

// Lower leaves the processors to others before a process. It costs only time where that
// fails.
func Lower(p *os.Process) { _ = syscall.Setpriority(syscall.PRIO_PROCESS, p.Pid, 10) }

// addresses is how much of a limit of addresses (RLIMIT_AS) is set aside and never takes up
// memory: what the language reserves to begin with, the stacks of some dozen threads, and
// what the C library reserves for each of them. A small clip is measured with 1.9 GiB and
// not with 1.7, one of 1920 × 1080 px with 2.2 and not with 1.9.
const addresses = 7 << 28

// MemoryLimit returns the most memory that this process, and each that it starts, may
// take (ulimit), bytes; ok is false where there is no limit.
func MemoryLimit() (bytes int64, ok bool) {
	for which, aside := range map[int]int64{unix.RLIMIT_AS: addresses, unix.RLIMIT_DATA: 0} {
		var limit unix.Rlimit
		if unix.Getrlimit(which, &limit) != nil || limit.Cur >= 1<<60 {
			continue
		}
		if left := max(0, int64(limit.Cur)-aside); !ok || left < bytes {
			bytes, ok = left, true
		}
	}
	return bytes, ok
}

// DiedOf returns the name of the signal that a process died of, such as KILL, from the
// error of waiting for it; "" where it ended by itself.
func DiedOf(waitErr error) string {
	var exit *exec.ExitError
	if !errors.As(waitErr, &exit) {
		return ""
	}
	status, ok := exit.Sys().(syscall.WaitStatus)
	if !ok || !status.Signaled() {
		return ""
	}
	if name := unix.SignalName(status.Signal()); name != "" {
		return strings.TrimPrefix(name, "SIG")
	}
	return strconv.Itoa(int(status.Signal()))
}
