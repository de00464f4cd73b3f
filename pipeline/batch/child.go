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

// output is what a process says, as it is read.
type output struct {
	messages chan message
	broke    chan error    // What is wrong with the output.
	dead     chan struct{} // Closed when the process has ended.

	reading sync.WaitGroup // After it, and only then:
	said    headAndTail    // standard error,
	strange int            // and lines of standard output that are no messages.
}

// listen reads the pipes until they end, and waits for the process's end.
func (p *process) listen() *output {
	o := &output{messages: make(chan message), broke: make(chan error, 1), dead: make(chan struct{}), said: headAndTail{half: saidHalf}}
	o.reading.Go(func() { _, _ = io.Copy(&o.said, p.stderr) })
	o.reading.Go(func() {
		defer close(o.messages)
		var err error
		if o.strange, err = readMessages(p.stdout, func(m message) { o.messages <- m }); err != nil {
			o.broke <- err
		}
	})
	go func() {
		proc.Ended(p.cmd.Process)
		close(o.dead)
	}()
	return o
}

// readUntil bounds how long the pipes are still read.
func (p *process) readUntil(t time.Time) {
	_ = p.stdout.SetReadDeadline(t)
	_ = p.stderr.SetReadDeadline(t)
}

// reap takes the status of a process that has ended, and closes the pipes.
func (p *process) reap() (waitErr, closeErr error) {
	return p.cmd.Wait(), errors.Join(p.stdin.Close(), p.stdout.Close(), p.stderr.Close())
}

// watch is a process under watch: what it has told, and when and why it is ended.
type watch struct {
	*child
	p *process

	answer *Answer
	told   *failure // The process's own word.
	ours   *failure // Why this side ended it.
	last   message  // Of progress.

	stalling       *time.Timer      // Nil without a limit.
	mercy, abandon <-chan time.Time // When it is killed after having been told to end; when it is given up.
}

// end tells the process to end, once.
func (w *watch) end(cause Cause, reason string, grace time.Duration) {
	if w.ours != nil {
		return
	}
	w.ours = &failure{reason: reason, cause: cause}
	proc.AskToEnd(w.p.cmd.Process)
	w.mercy = time.After(grace)
}

// hear takes a message.
func (w *watch) hear(m message) {
	if w.stalling != nil {
		w.stalling.Reset(w.stall)
	}
	switch m.Type {
	case messageProgress:
		w.last = m
		if w.progress != nil {
			w.progress(m.Stage, m.Done, m.Total)
		}
	case messageAnswer:
		w.answer = &Answer{Facts: *m.Facts, UpToDate: m.UpToDate}
	case messageFailure:
		w.told = &failure{reason: m.Error, cause: m.Cause}
	}
}

// weigh ends a process that holds too much memory.
func (w *watch) weigh() {
	if took := resident(w.p.cmd.Process.Pid); took > w.memory {
		w.end(CauseMemory, fmt.Sprintf("it takes %s of memory%s, and the batch has %s: give it more (--memory), or film in a smaller size; it was ended", sized(took), during(w.last), sized(w.memory)), w.graceOr())
		w.p.kill() // There is no time to lose.
	}
}

// wait follows the process to its end and says what came of it.
func (c *child) wait(ctx context.Context, p *process) (*Answer, error) {
	w, o := &watch{child: c, p: p}, p.listen()
	if !w.follow(ctx, o) {
		return nil, w.giveUp(ctx, o)
	}
	o.reading.Wait()
	waitErr, closeErr := p.reap()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f := verdict(w.answer, w.told, w.ours, waitErr, w.last, o.strange, o.said.String())
	if f == nil && closeErr != nil {
		f = &failure{reason: closeErr.Error(), cause: CauseAnswer}
	}
	if f != nil {
		f.said = printable(o.said.String())
		return nil, f
	}
	return w.answer, nil
}

// follow takes what the process says and holds it to the limits until it is gone and all
// is read. It returns false for one that was killed and is still there.
func (w *watch) follow(ctx context.Context, o *output) bool {
	deadline, stop := after(w.timeLimit)
	defer stop()
	var stalled <-chan time.Time
	if w.stall > 0 {
		w.stalling = time.NewTimer(w.stall)
		defer w.stalling.Stop()
		stalled = w.stalling.C
	}
	var weigh <-chan time.Time
	if w.memory > 0 {
		ticker := time.NewTicker(200 * time.Millisecond)
		defer ticker.Stop()
		weigh = ticker.C
	}
	open, gone, canceled := (<-chan message)(o.messages), (<-chan struct{})(o.dead), ctx.Done()
	for open != nil || gone != nil {
		select {
		case m, more := <-open:
			if more {
				w.hear(m)
			} else {
				open = nil
			}
		case <-gone:
			gone = nil
			w.p.kill() // What it has started goes with it, and lets go of the pipes.
			w.p.readUntil(time.Now().Add(drainTime))
		case <-weigh:
			if gone != nil {
				w.weigh()
			}
		case err := <-o.broke:
			w.end(CauseAnswer, "the measuring process "+err.Error()+"; it was ended", w.graceOr())
		case <-deadline:
			w.end(CauseTimeLimit, fmt.Sprintf("not finished after %s, the time limit for one clip%s; it was ended", words(w.timeLimit), during(w.last)), w.graceOr())
		case <-stalled:
			w.end(CauseTimeLimit, fmt.Sprintf("no progress for %s%s; it was ended", words(w.stall), during(w.last)), w.graceOr())
		case <-canceled:
			canceled = nil
			w.end("", "canceled", w.graceOr())
			w.mercy = time.After(min(w.graceOr(), promptTime))
		case <-w.mercy:
			w.p.kill()
			w.abandon = time.After(w.graceOr())
		case <-w.abandon:
			return false
		}
	}
	return true
}

// after returns a channel that tells when a limit is over, never for a limit of 0.
func after(limit time.Duration) (<-chan time.Time, func() bool) {
	if limit <= 0 {
		return nil, func() bool { return true }
	}
	t := time.NewTimer(limit)
	return t.C, t.Stop
}

// giveUp lets go of a process that was killed and is still there: it waits inside the
// kernel, as on a network drive that no longer answers. It ends when the drive comes back.
func (w *watch) giveUp(ctx context.Context, o *output) error {
	go func() {
		<-o.dead
		_, _ = w.p.reap()
	}()
	w.p.readUntil(time.Now())
	for range o.messages { //nolint:revive // Drained so that its reader can end.
	}
	o.reading.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	w.ours.reason += " and does not end: the system holds it, most likely a drive that no longer answers"
	return w.ours
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
	for _, words := range []string{"out of memory", "cannot allocate memory", "Cannot allocate memory", "std::bad_alloc", "Insufficient memory", "failed to reserve", "failed to create new OS thread", "pthread_create failed"} {
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
		if strings.HasPrefix(lower, "panic:") || strings.HasPrefix(lower, "fatal error:") || strings.Contains(lower, "what():") || strings.HasPrefix(lower, "runtime: out of memory") || strings.HasPrefix(lower, "runtime/cgo:") {
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
