package proc

import (
	"os"
	"os/exec"
	"syscall"

	"golang.org/x/sys/windows"
)

// Ends returns the signals that ask this process to end.
func Ends() []os.Signal { return []os.Signal{os.Interrupt, syscall.SIGTERM} }

// Group makes cmd, before it is started, the first of a group of its own: ctrl-C does
// not reach it.
func Group(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
}

// KillGroup ends a process. What it has started ends by itself here, as its pipes do.
func KillGroup(p *os.Process) { _ = p.Kill() }

// AskToEnd ends a process: here it can't be told to. What it was writing is then found
// half made, and cleared away by the next run.
func AskToEnd(p *os.Process) { _ = p.Kill() }

// EndOwnGroup does nothing here: the caller ends.
func EndOwnGroup() {}

// Lower leaves the processors to others before a process. It costs only time where that
// fails.
func Lower(p *os.Process) {
	h, err := windows.OpenProcess(windows.PROCESS_SET_INFORMATION, false, uint32(p.Pid))
	if err != nil {
		return
	}
	_ = windows.SetPriorityClass(h, windows.BELOW_NORMAL_PRIORITY_CLASS)
	_ = windows.CloseHandle(h)
}

// Ended returns when the process has ended, without taking its status away.
func Ended(p *os.Process) {
	h, err := windows.OpenProcess(windows.SYNCHRONIZE, false, uint32(p.Pid))
	if err != nil {
		return // It has ended.
	}
	_, _ = windows.WaitForSingleObject(h, windows.INFINITE)
	_ = windows.CloseHandle(h)
}

// MemoryLimit returns nothing here: processes have no limits of their own.
func MemoryLimit() (bytes int64, ok bool) { return 0, false }

// DiedOf returns "" here: a process that was ended has an exit code like any other.
func DiedOf(error) string { return "" }
