package batch

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"jogstrip/pipeline/proc"
)

// failure is why a clip's process gave no results.
type failure struct {
	reason string
	cause  Cause
	said   string // What the process wrote to standard error, shortened.
}

func (f *failure) Error() string { return f.reason }

const (
	saidHalf = 8 << 10 // Kept from the beginning and from the end of standard error, bytes.
	// After a process has ended, how long its pipes are still read: a child of
	// its own that left the process group may hold them open.
	drainTime = 2 * time.Second
	// A process that is told to end may clear up for this long before it is killed.
	graceTime = 5 * time.Second
	// The same where a person waits for the batch to stop: nothing is lost that the
	// next batch doesn't clear up.
	promptTime = time.Second
)

// child is a clip's process.
type child struct {
	cmd              *exec.Cmd     // Without standard input and output: they are set here.
	timeLimit, stall time.Duration // 0 is none.
	memory           int64         // Most that it may hold, bytes, with what it has started; 0 is no limit.
	grace            time.Duration // From the word to end to the kill; 0 is graceTime.
	progress         func(stage string, done, total int)
}

func (c *child) graceOr() time.Duration {
	if c.grace > 0 {
		return c.grace
	}
	return graceTime
}

// run starts the process and waits for what comes of it. It returns an answer,
// a *failure, or the context's error; when it returns, the process and all of
// its process group are gone.
func (c *child) run(ctx context.Context) (*Answer, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p, err := c.start()
	if err != nil {
		return nil, &failure{reason: fmt.Sprintf("the measuring process could not be started: %v", err), cause: CauseCrash}
	}
	return c.wait(ctx, p)
}

// process is a running child and the batch's ends of its pipes.
type process struct {
	cmd                   *exec.Cmd
	stdin, stdout, stderr *os.File
}

func (c *child) start() (*process, error) {
	cmd := c.cmd
	// Ctrl-C reaches the batch alone.
	proc.Group(cmd)
	var pipes []*os.File
	pipe := func() (r, w *os.File, err error) {
		if r, w, err = os.Pipe(); err == nil {
			pipes = append(pipes, r, w)
		}
		return r, w, err
	}
	fail := func(err error) (*process, error) {
		for _, f := range pipes {
			err = errors.Join(err, f.Close())
		}
		return nil, err
	}
	stdinR, stdinW, err := pipe()
	if err != nil {
		return fail(err)
	}
	stdoutR, stdoutW, err := pipe()
	if err != nil {
		return fail(err)
	}
	stderrR, stderrW, err := pipe()
	if err != nil {
		return fail(err)
	}
	cmd.Stdin, cmd.Stdout, cmd.Stderr = stdinR, stdoutW, stderrW
	if err := cmd.Start(); err != nil {
		return fail(err)
	}
	// Where memory runs out, this process should go and not the batch.
	proc.SacrificeFirst(cmd.Process)
	if err := errors.Join(stdinR.Close(), stdoutW.Close(), stderrW.Close()); err != nil {
		return nil, err // Closing a pipe does not fail.
	}
	return &process{cmd: cmd, stdin: stdinW, stdout: stdoutR, stderr: stderrR}, nil
}

// kill ends the process group. It is safe as long as the process has not been
// waited for: until then nobody else can have its number.
func (p *process) kill() { proc.KillGroup(p.cmd.Process) }

func (c *child) wait(ctx context.Context, p *process) (*Answer, error) {
	var (
		reading  sync.WaitGroup
		said     = headAndTail{half: saidHalf}
		messages = make(chan message)
		broke    = make(chan error, 1) // What is wrong with the output.
		strange  int
		dead     = make(chan struct{})
	)
	reading.Add(2)
	go func() {
		defer reading.Done()
		_, _ = io.Copy(&said, p.stderr)
	}()
	go func() {
		defer reading.Done()
		defer close(messages)
		var err error
		if strange, err = readMessages(p.stdout, func(m message) { messages <- m }); err != nil {
			broke <- err
		}
	}()
	go func() {
		proc.Ended(p.cmd.Process)
		close(dead)
	}()

	var deadline, stalled <-chan time.Time
	if c.timeLimit > 0 {
		t := time.NewTimer(c.timeLimit)
		defer t.Stop()
		deadline = t.C
	}
	stallTimer := time.NewTimer(max(c.stall, time.Hour))
	defer stallTimer.Stop()
	if c.stall > 0 {
		stallTimer.Reset(c.stall)
		stalled = stallTimer.C
	}

	var (
		answer *Answer
		told   *failure // The process's own word.
		ours   *failure // Why this side ended it.
		last   message  // Of progress.
		open   = (<-chan message)(messages)
		ctxEnd = ctx.Done()
		gone   = (<-chan struct{})(dead)
	)
	var mercy, abandon <-chan time.Time // When it is killed after having been told to end; when it is given up.
	end := func(cause Cause, reason string) {
		if ours != nil {
			return
		}
		ours = &failure{reason: reason, cause: cause}
		proc.AskToEnd(p.cmd.Process)
		mercy = time.After(c.graceOr())
	}
	var watch <-chan time.Time
	if c.memory > 0 {
		const often = 200 * time.Millisecond
		ticker := time.NewTicker(often)
		defer ticker.Stop()
		watch = ticker.C
	}
	for open != nil || gone != nil {
		select {
		case <-watch:
			if took := resident(p.cmd.Process.Pid); took > c.memory && gone != nil {
				end(CauseMemory, fmt.Sprintf("it takes %s of memory%s, and the batch has %s: give it more (--memory), or film in a smaller size; it was ended", sized(took), during(last), sized(c.memory)))
				p.kill() // There is no time to lose.
			}
		case m, more := <-open:
			if !more {
				open = nil
				continue
			}
			if c.stall > 0 {
				stallTimer.Reset(c.stall)
			}
			switch m.Type {
			case messageProgress:
				last = m
				if c.progress != nil {
					c.progress(m.Stage, m.Done, m.Total)
				}
			case messageAnswer:
				answer = &Answer{Facts: *m.Facts, UpToDate: m.UpToDate}
			case messageFailure:
				told = &failure{reason: m.Error, cause: m.Cause}
			}
		case <-gone:
			gone = nil
			p.kill() // What it has started goes with it, and lets go of the pipes.
			until := time.Now().Add(drainTime)
			_ = p.stdout.SetReadDeadline(until)
			_ = p.stderr.SetReadDeadline(until)
		case err := <-broke:
			end(CauseAnswer, "the measuring process "+err.Error()+"; it was ended")
		case <-deadline:
			end(CauseTimeLimit, fmt.Sprintf("not finished after %s, the time limit for one clip%s; it was ended", words(c.timeLimit), during(last)))
		case <-stalled:
			end(CauseTimeLimit, fmt.Sprintf("no progress for %s%s; it was ended", words(c.stall), during(last)))
		case <-mercy:
			p.kill()
			abandon = time.After(c.graceOr())
		case <-abandon:
			// Killed and still there: it waits inside the kernel, as on a network
			// drive that no longer answers. It ends when the drive comes back.
			go func() {
				<-dead
				_ = p.cmd.Wait()
				_ = errors.Join(p.stdin.Close(), p.stdout.Close(), p.stderr.Close())
			}()
			past := time.Now()
			_ = p.stdout.SetReadDeadline(past)
			_ = p.stderr.SetReadDeadline(past)
			for range messages { //nolint:revive // Drained so that its reader can end.
			}
			reading.Wait()
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			ours.reason += " and does not end: the system holds it, most likely a drive that no longer answers"
			return nil, ours
		case <-ctxEnd:
			ctxEnd = nil
			end("", "canceled")
			mercy = time.After(min(c.graceOr(), promptTime))
		}
	}
	reading.Wait()
	waitErr := p.cmd.Wait()
	closeErr := errors.Join(p.stdin.Close(), p.stdout.Close(), p.stderr.Close())
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f := verdict(answer, told, ours, waitErr, last, strange, said.String())
	if f == nil && closeErr != nil {
		f = &failure{reason: closeErr.Error(), cause: CauseAnswer}
	}
	if f != nil {
		f.said = printable(said.String())
		return nil, f
	}
	return answer, nil
}

// verdict says whether a process that has ended failed, and why.
func verdict(answer *Answer, told, ours *failure, waitErr error, last message, strange int, said string) *failure {
	signal := proc.DiedOf(waitErr)
	switch {
	case ours != nil:
		return ours
	case waitErr != nil && told == nil && noMemory(said):
		return &failure{reason: "it needs more memory than this process may have" + during(last) + ": raise the limit (ulimit), or film in a smaller size", cause: CauseMemory}
	case signal != "":
		reason := signalWords(signal) + during(last)
		if line := telling(said); line != "" {
			reason += ": " + line
		}
		return &failure{reason: reason, cause: CauseCrash}
	case told != nil:
		return told
	case waitErr != nil:
		reason := "the measuring process ended by itself"
		if exit := (*exec.ExitError)(nil); errors.As(waitErr, &exit) {
			reason = fmt.Sprintf("the measuring process gave up with code %d", exit.ExitCode())
		}
		reason += during(last)
		if line := telling(said); line != "" {
			reason += ": " + line
		}
		return &failure{reason: reason, cause: CauseCrash}
	case answer == nil && strange > 0:
		return &failure{reason: fmt.Sprintf("the measuring process ended without an answer, after %d lines that are no messages", strange), cause: CauseAnswer}
	case answer == nil:
		return &failure{reason: "the measuring process ended without an answer", cause: CauseAnswer}
	}
	return nil
}

// noMemory reports whether what a process said last is that it got no memory.
func noMemory(said string) bool {
	for _, words := range []string{"out of memory", "cannot allocate memory", "Cannot allocate memory", "std::bad_alloc", "Insufficient memory", "failed to reserve", "failed to create new OS thread"} {
		if strings.Contains(said, words) {
			return true
		}
	}
	return false
}

// during says where the process was, as far as it told.
func during(last message) string {
	switch {
	case last.Stage == "":
		return ""
	case last.Total > 0:
		return fmt.Sprintf(" (while %s, %d of %d)", last.Stage, last.Done, last.Total)
	}
	return fmt.Sprintf(" (while %s)", last.Stage)
}

// signalWords says in words what a process died of.
func signalWords(signal string) string {
	switch signal {
	case "ABRT":
		return "the measuring process aborted: a fault inside the image or video library (signal ABRT)"
	case "SEGV":
		return "the measuring process crashed: it reached for memory that is not its own (signal SEGV)"
	case "BUS":
		return "the measuring process crashed: a file or disk vanished under it, or a memory fault (signal BUS)"
	case "FPE":
		return "the measuring process crashed: an impossible calculation inside a library (signal FPE)"
	case "ILL":
		return "the measuring process crashed: the processor lacks an instruction that a library uses (signal ILL)"
	case "KILL":
		return "the measuring process was killed from outside, most likely because memory ran out; try --workers 1 or a smaller --memory (signal KILL)"
	case "TERM", "INT", "HUP":
		return fmt.Sprintf("the measuring process was ended from outside (signal %s)", signal)
	case "XCPU", "XFSZ":
		return fmt.Sprintf("the measuring process passed a limit of this system (signal %s)", signal)
	}
	return fmt.Sprintf("the measuring process died of signal %s", signal)
}

// telling picks the one line of standard error that says most: how a Go
// program, the C library or a C++ library say what went wrong, else the last.
func telling(said string) string {
	var lines []string
	for _, line := range strings.Split(said, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 {
		return ""
	}
	best := lines[len(lines)-1]
	for _, line := range lines {
		lower := strings.ToLower(line)
		if strings.HasPrefix(lower, "panic:") || strings.HasPrefix(lower, "fatal error:") || strings.Contains(lower, "what():") || strings.HasPrefix(lower, "runtime: out of memory") {
			best = line
			break
		}
	}
	const limit = 300
	if r := []rune(printable(best)); len(r) > limit {
		return string(r[:limit]) + "…"
	}
	return printable(best)
}

// printable makes text safe to show and to store: valid UTF-8, no control
// characters but line ends and tabs.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case r < ' ' || r == 0x7f || r == utf8.RuneError:
			return '�'
		}
		return r
	}, strings.ToValidUTF8(text, "�"))
}

// words writes a duration as people say it.
func words(d time.Duration) string {
	switch {
	case d >= time.Hour && d%time.Hour == 0:
		return fmt.Sprintf("%d h", int(d/time.Hour))
	case d >= time.Minute && d%time.Minute == 0:
		return fmt.Sprintf("%d min", int(d/time.Minute))
	}
	return d.Round(time.Millisecond).String()
}
