package clip

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
)

// asideAnswer is what one process tells another of a clip.
type asideAnswer struct {
	Info      *Info
	FirstPTS  float64
	Delay     int
	Problem   []byte // In bytes, since a path may be none of Unicode's.
	NoPicture bool
}

// ProbeAside is Probe in a process of its own: command returns one that calls
// TellProbe for the path and writes to its standard output. A fault inside
// FFmpeg's libraries ends a process and cannot be caught; whoever must outlive a
// bad clip asks another process.
func ProbeAside(ctx context.Context, path string, command func(ctx context.Context, path string) *exec.Cmd) (*Info, error) {
	cmd := command(ctx, path)
	var stderr bytes.Buffer
	cmd.Stderr = &capped{buffer: &stderr, limit: 16 << 10}
	out, err := cmd.Output()
	if ctx.Err() != nil {
		return nil, fmt.Errorf("open clip %s: %w", path, ctx.Err())
	}
	if err != nil {
		return nil, fmt.Errorf("open clip %s: the process that read it ended: %s", path, lastWords(stderr.String(), err))
	}
	var a asideAnswer
	if err := json.Unmarshal(out, &a); err != nil {
		return nil, fmt.Errorf("open clip %s: read what the process that read it wrote: %w", path, err)
	}
	switch {
	case a.NoPicture:
		return nil, &asideError{string(a.Problem), ErrNoPicture}
	case a.Problem != nil || a.Info == nil:
		return nil, &asideError{string(a.Problem), nil}
	}
	info := a.Info
	info.Path, info.firstPTS, info.delay = path, a.FirstPTS, a.Delay
	return info, nil
}

// TellProbe probes the clip at path and writes to out what ProbeAside reads. Its
// error is about writing; what is wrong with the clip is part of the answer.
func TellProbe(ctx context.Context, path string, out io.Writer) error {
	a := asideAnswer{}
	info, err := Probe(ctx, path)
	if err != nil {
		a.Problem, a.NoPicture = []byte(err.Error()), errors.Is(err, ErrNoPicture)
	} else {
		a.Info, a.FirstPTS, a.Delay = info, info.firstPTS, info.delay
	}
	return json.NewEncoder(out).Encode(a)
}

// asideError is an error as another process told it.
type asideError struct {
	text string
	kind error
}

func (e *asideError) Error() string { return e.text }
func (e *asideError) Unwrap() error { return e.kind }
