package batch

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"
)

// A clip's process writes messages to its standard output, one JSON object a
// line: any number of progress messages, then one answer or one failure. It
// ends when its standard input ends, for then the batch is gone.

// message is one line from a clip's process to the batch.
type message struct {
	Type string `json:"type"` // messageProgress, messageAnswer or messageFailure.

	Stage string `json:"stage,omitempty"`
	Done  int    `json:"done,omitempty"`
	Total int    `json:"total,omitempty"`

	Facts    *Facts `json:"facts,omitempty"`
	UpToDate bool   `json:"up_to_date,omitempty"`

	Error string `json:"error,omitempty"`
	Cause Cause  `json:"cause,omitempty"`
}

const (
	messageProgress = "progress"
	messageAnswer   = "answer"
	messageFailure  = "failure"
)

const (
	lineLimit   = 1 << 20  // Longest line that is read, bytes.
	outputLimit = 64 << 20 // Most that a clip's process may write, bytes.
)

// Answer is what came of one clip inside its process.
type Answer struct {
	Facts Facts
	// UpToDate is whether nothing was to be done: another run had just done it.
	UpToDate bool
}

// Serve runs inside a clip's own process: it measures and reports on out what
// the batch waits for. classify names the cause of a measuring error. The error
// it returns says that the report could not be delivered.
func Serve(ctx context.Context, out io.Writer, measure func(ctx context.Context, progress func(stage string, done, total int)) (Answer, error), classify func(error) Cause) error {
	var mu sync.Mutex
	encoder := json.NewEncoder(out)
	send := func(m message) error {
		mu.Lock()
		defer mu.Unlock()
		return encoder.Encode(m)
	}
	const pause = 200 * time.Millisecond // Between progress messages of one stage.
	var sent time.Time
	var stage string
	answer, err := measure(ctx, func(s string, done, total int) {
		if s == stage && time.Since(sent) < pause && (total == 0 || done < total) {
			return
		}
		stage, sent = s, time.Now()
		_ = send(message{Type: messageProgress, Stage: s, Done: done, Total: total}) // A batch that is gone ends this process by other means.
	})
	if err != nil {
		cause := CauseClip
		if diskFull(err) {
			cause = CauseDiskFull
		} else if noMemory(err.Error()) {
			cause = CauseMemory
		}
		if classify != nil {
			if c := classify(err); c != "" {
				cause = c
			}
		}
		return send(message{Type: messageFailure, Error: err.Error(), Cause: cause})
	}
	return send(message{Type: messageAnswer, Facts: &answer.Facts, UpToDate: answer.UpToDate})
}

// WatchBatch calls gone when in ends: the batch that started this process holds
// the other end and is no more.
func WatchBatch(in io.Reader, gone func()) {
	_, _ = io.Copy(io.Discard, in)
	gone()
}

var (
	errLongLine   = fmt.Errorf("wrote a line of more than %d bytes where a message was expected", lineLimit)
	errMuchOutput = fmt.Errorf("wrote more than %d bytes where messages were expected", outputLimit)
)

// readMessages hands every message on r to got until r ends. Lines that are no
// message are counted: libraries may print where they should not.
func readMessages(r io.Reader, got func(message)) (strange int, err error) {
	counted := &limited{r: r, left: outputLimit}
	lines := bufio.NewScanner(counted)
	lines.Buffer(make([]byte, 0, 16<<10), lineLimit)
	for lines.Scan() {
		m, ok := parseMessage(lines.Bytes())
		if !ok {
			strange++
			continue
		}
		got(m)
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return strange, errLongLine
	} else if errors.Is(err, errMuchOutput) {
		return strange, err
	}
	return strange, nil
}

func parseMessage(line []byte) (message, bool) {
	var m message
	if err := json.Unmarshal(line, &m); err != nil {
		return m, false
	}
	switch m.Type {
	case messageProgress:
		return m, true
	case messageAnswer:
		return m, m.Facts != nil
	case messageFailure:
		return m, m.Error != ""
	}
	return m, false
}

type limited struct {
	r    io.Reader
	left int64
}

func (l *limited) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errMuchOutput
	}
	n, err := l.r.Read(p[:min(int64(len(p)), l.left)])
	l.left -= int64(n)
	return n, err
}

// headAndTail keeps the first and the last bytes written to it.
type headAndTail struct {
	half int
	head []byte
	tail []byte
	all  int64
}

func (h *headAndTail) Write(p []byte) (int, error) {
	n := len(p)
	h.all += int64(n)
	if room := h.half - len(h.head); room > 0 {
		take := min(room, len(p))
		h.head = append(h.head, p[:take]...)
		p = p[take:]
	}
	if len(p) >= h.half {
		h.tail = append(h.tail[:0], p[len(p)-h.half:]...)
		return n, nil
	}
	if over := len(h.tail) + len(p) - h.half; over > 0 {
		h.tail = append(h.tail[:0], h.tail[over:]...)
	}
	h.tail = append(h.tail, p...)
	return n, nil
}

func (h *headAndTail) String() string {
	if left := h.all - int64(len(h.head)) - int64(len(h.tail)); left > 0 {
		return fmt.Sprintf("%s\n… %d bytes left out …\n%s", h.head, left, h.tail)
	}
	return string(h.head) + string(h.tail)
}
