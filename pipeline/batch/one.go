package batch

import (
	"context"
	"os/exec"
	"time"
)

// One runs the process that measures a single clip, as Run does for many, and
// returns what came of it. cmd must call Serve; a process that tells of no
// progress for longer than stall is ended (0 is never). The error says why there
// are no results.
func One(ctx context.Context, cmd *exec.Cmd, stall time.Duration, progress func(stage string, done, total int)) (*Answer, error) {
	if progress == nil {
		progress = func(string, int, int) {}
	}
	return (&child{cmd: cmd, stall: stall, progress: progress}).run(ctx)
}
