package clip

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"

	"jogstrip/pipeline/proc"
)

// Writer codes pictures as H.264 (yuv420p, MP4, playable while it loads) through an
// ffmpeg child. Its file is overwritten; whoever makes it removes it after an error.
type Writer struct {
	ctx       context.Context
	target    string
	cmd       *exec.Cmd
	in        *os.File
	complaint bytes.Buffer
	writeErr  error
}

// WriterOptions says how pictures are coded.
type WriterOptions struct {
	Rate    float64 // Pictures a second.
	Preset  string  // x264's; empty means ultrafast.
	Quality int     // x264's constant rate factor.
	// MostBitsPerSecond bounds how large the file gets; 0 means no bound.
	MostBitsPerSecond int
	// KeyEvery is after how many pictures one comes from which a player can start; 0
	// leaves it to x264.
	KeyEvery int
}

// NewWriter starts to write pictures of the given size, both even.
func NewWriter(ctx context.Context, target string, width, height int, opts WriterOptions) (*Writer, error) {
	if opts.Preset == "" {
		opts.Preset = "ultrafast"
	}
	args := []string{"-v", "error", "-xerror", "-nostdin", "-y", "-protocol_whitelist", "pipe", "-f", "rawvideo", "-pix_fmt", "yuv420p",
		"-s", fmt.Sprintf("%dx%d", width, height), "-framerate", strconv.FormatFloat(opts.Rate, 'f', 4, 64), "-i", "pipe:0",
		"-c:v", "libx264", "-preset", opts.Preset, "-crf", strconv.Itoa(opts.Quality)}
	if most := opts.MostBitsPerSecond; most > 0 {
		args = append(args, "-maxrate", strconv.Itoa(most), "-bufsize", strconv.Itoa(most))
	}
	if opts.KeyEvery > 0 {
		args = append(args, "-g", strconv.Itoa(opts.KeyEvery))
	}
	args = append(args, "-pix_fmt", "yuv420p", "-movflags", "+faststart", "-fflags", "+bitexact", "-flags:v", "+bitexact", "-f", "mp4", asInput(target))
	w := &Writer{ctx: ctx, target: target, cmd: exec.CommandContext(ctx, "ffmpeg", args...)}
	out, in, err := os.Pipe()
	if err != nil {
		return nil, fmt.Errorf("write %s: %w", target, err)
	}
	w.cmd.Stdin, w.cmd.Stderr, w.in = out, &capped{buffer: &w.complaint, limit: 16 << 10}, in
	if err := errors.Join(w.cmd.Start(), out.Close()); err != nil {
		return nil, errors.Join(fmt.Errorf("write %s: start ffmpeg: %w", target, err), in.Close())
	}
	proc.WidenPipe(in)
	return w, nil
}

// Write adds a picture. After an error nothing more is written; Close says why.
func (w *Writer) Write(p Planes) error {
	for _, plane := range [][]byte{p.Y, p.U, p.V} {
		if w.writeErr == nil {
			_, w.writeErr = w.in.Write(plane)
		}
	}
	return w.writeErr
}

// Close ends the film and says why it is not whole.
func (w *Writer) Close() error {
	closeErr := w.in.Close()
	encodeErr := w.cmd.Wait()
	words := strings.TrimSpace(w.complaint.String())
	switch {
	case w.ctx.Err() != nil && w.writeErr == nil:
		return w.ctx.Err()
	case strings.Contains(words, noSpace):
		return fmt.Errorf("write %s: %s", w.target, noSpace)
	case encodeErr != nil:
		return fmt.Errorf("write %s: %s", w.target, lastWords(words, encodeErr))
	}
	if err := errors.Join(w.writeErr, closeErr); err != nil {
		return fmt.Errorf("write %s: %w", w.target, err)
	}
	// ffmpeg takes some failures to write the end of a file for none.
	if words != "" {
		return fmt.Errorf("write %s: %s", w.target, lastWords(words, nil))
	}
	if stat, err := os.Stat(w.target); err != nil || stat.Size() == 0 {
		return fmt.Errorf("write %s: ffmpeg left it empty", w.target)
	}
	return nil
}

// onePiece is a picture whose planes lie behind each other.
type onePiece struct {
	Planes
	buffer []byte
}

func newPlanes(width, height int) onePiece {
	buffer := make([]byte, width*height*3/2)
	luma, chroma := width*height, width*height/4
	return onePiece{Planes{Width: width, Height: height, Y: buffer[:luma], U: buffer[luma : luma+chroma], V: buffer[luma+chroma:]}, buffer}
}
