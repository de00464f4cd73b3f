package clip

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"

	"jogstrip/pipeline/proc"
)

// copier writes the small copy of a clip through an ffmpeg child, which codes it.
type copier struct {
	cmd           *exec.Cmd
	in            *os.File
	complaint     bytes.Buffer
	width, height int
	planes        []byte
	begun         bool // planes holds a picture.
}

func newCopier(ctx context.Context, info *Info, opts OpenOptions) (*copier, error) {
	width, height := smallSize(info, opts.MaxWidth)
	c := &copier{width: width, height: height, planes: make([]byte, width*height*3/2)}
	// How long a picture is shown doesn't matter here: Remake counts pictures.
	c.cmd = exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-nostdin", "-y", "-protocol_whitelist", "pipe", "-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", fmt.Sprintf("%dx%d", width, height), "-framerate", "60", "-i", "pipe:0",
		"-c:v", "libx264", "-preset", "ultrafast", "-qp", "18", "-f", "matroska", asInput(inherited))
	c.cmd.ExtraFiles = []*os.File{opts.Small}
	c.cmd.Stderr = &capped{buffer: &c.complaint, limit: 16 << 10}
	out, in, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	c.cmd.Stdin, c.in = out, in
	if err := errors.Join(c.cmd.Start(), out.Close()); err != nil {
		return nil, errors.Join(fmt.Errorf("start ffmpeg: %w", err), in.Close())
	}
	proc.WidenPipe(in)
	return c, nil
}

// addTo is add where there is a copy to be made.
func (c *copier) addTo(d *decoder, p *picture) error {
	if c == nil {
		return nil
	}
	return c.add(d, p)
}

// addAgain writes a copy in the place of a picture that did not come: that of the one
// before, or of p where there is none before. A nil copier does nothing.
func (c *copier) addAgain(d *decoder, p *picture) error {
	if c == nil {
		return nil
	}
	if !c.begun {
		return c.add(d, p)
	}
	if _, err := c.in.Write(c.planes); err != nil {
		return errCopy
	}
	return nil
}

// add writes a copy of the picture that d has just decoded.
func (c *copier) add(d *decoder, p *picture) error {
	if err := d.small(p, c.width, c.height, c.planes); err != nil {
		return fmt.Errorf("scale a picture down: %w", err)
	}
	c.begun = true
	if _, err := c.in.Write(c.planes); err != nil {
		return errCopy // The child has ended, and says itself why.
	}
	return nil
}

var errCopy = errors.New("the small copy could not be written")

// finish ends the copy and returns why it is not whole, or decodeErr.
func (c *copier) finish(ctx context.Context, decodeErr error) error {
	closeErr := c.in.Close()
	waitErr := c.cmd.Wait()
	words := strings.TrimSpace(c.complaint.String())
	switch away := lost(waitErr, strings.Split(words, "\n")); {
	case ctx.Err() != nil:
		return ctx.Err()
	case decodeErr != nil && !errors.Is(decodeErr, errCopy):
		return decodeErr
	case away != nil:
		return away
	case waitErr != nil:
		return fmt.Errorf("%w: %w: %s", ErrDecoderLost, errCopy, lastWords(words, waitErr))
	case decodeErr != nil || closeErr != nil:
		return fmt.Errorf("%w: %w", ErrDecoderLost, errors.Join(decodeErr, closeErr))
	}
	return nil
}
