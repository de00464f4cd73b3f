package clip

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
)

// ErrBroken is wrapped by Reader.Broken where fewer frames could be decoded
// than the container promises.
var ErrBroken = errors.New("the clip breaks off")

// ErrDecoderLost is wrapped where decoding ended for a reason that lies outside
// the clip: the decoder was killed, or the drive stopped answering. What was
// read until then says nothing of the clip; trying again may give all of it.
var ErrDecoderLost = errors.New("the decoder was lost")

// noSpace is what ffmpeg says where it can't write, whatever it says after it.
const noSpace = "No space left on device"

var errNoStamp = errors.New("a picture came without its timestamp")

// lost returns an error that wraps ErrDecoderLost where waitErr or what ffmpeg
// said tells of a reason outside the clip, else nil.
func lost(waitErr error, messages []string) error {
	var exit *exec.ExitError
	if errors.As(waitErr, &exit) {
		if status, ok := exit.Sys().(syscall.WaitStatus); ok && status.Signaled() {
			switch s := status.Signal(); s {
			case syscall.SIGKILL, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP, syscall.SIGXCPU:
				return fmt.Errorf("%w: ffmpeg was ended from outside (%s)", ErrDecoderLost, s)
			}
		}
	}
	for _, m := range messages {
		if strings.Contains(m, noSpace) {
			return fmt.Errorf("%w: the folder for temporary files is full", ErrDecoderLost)
		}
		for _, words := range []string{"Input/output error", "Stale file handle", "Connection timed out", "Transport endpoint", "Host is down"} {
			if strings.Contains(m, words) {
				return fmt.Errorf("%w: the drive stopped answering (%s)", ErrDecoderLost, words)
			}
		}
	}
	return nil
}

// How many frames are decoded ahead of the one in use. More only costs memory.
const ahead = 3

// Reader delivers the frames of a clip one after the other as luma.
// It is not safe for use by several goroutines.
type Reader struct {
	info     *Info
	cancel   context.CancelFunc
	cmd      *exec.Cmd
	frames   chan frame
	free     chan []byte
	current  []byte
	done     bool
	count    int
	lastTime float64
	base     float64  // Time of the first frame on the clip's own clock, s.
	messages []string // What ffmpeg said; complete once frames is closed.
	version  string   // Of ffmpeg, as it says itself; known once frames is closed.
	failure  error    // Why decoding ended; complete once frames is closed.
}

type frame struct {
	pixels []byte
	time   float64
}

type stamp struct {
	time float64
	ok   bool
}

// OpenOptions says what is made of a clip while it is decoded. The zero value
// makes nothing.
type OpenOptions struct {
	// Small is where a small copy of the clip is written, for Remake: the whole of
	// it once the reader has come to the end. It may have lost its name, so that it
	// goes away with the process. Nil means none.
	Small *os.File
	// MaxWidth is the width above which the copy is scaled down, px; 0 means 960.
	MaxWidth int
}

// Open starts to decode the clip that Probe described. The caller must Close
// the reader.
func Open(ctx context.Context, info *Info) (*Reader, error) {
	return OpenWith(ctx, info, OpenOptions{})
}

// OpenWith is Open with options.
func OpenWith(ctx context.Context, info *Info, opts OpenOptions) (*Reader, error) {
	ctx, cancel := context.WithCancel(ctx)
	// The luma plane alone is cheaper than a conversion to gray and keeps 10-bit
	// clips sane. showinfo tells the timestamp of the very frame that follows.
	// scale does nothing unless the size changes in the middle of a damaged clip.
	// As YUV4MPEG2 ("Cmono") pictures are written from the filter's own memory, which
	// raw video first copies.
	filters := fmt.Sprintf("extractplanes=y%s,scale=%d:%d,showinfo=checksum=0", turn(info.Rotation), info.Width, info.Height)
	args := []string{"-v", "info", "-nostats", "-nostdin", "-y", "-noautorotate",
		"-i", asInput(info.Path), "-map", "0:v:0", "-fps_mode", "passthrough", "-vf", filters,
		"-pix_fmt", "gray", "-strict", "-1", "-f", "yuv4mpegpipe", "pipe:1"}
	if opts.Small != nil {
		// Frames are numbered anew, since a damaged clip's times may go back.
		width, height := smallSize(info, opts.MaxWidth)
		args = append(args, "-map", "0:v:0", "-fps_mode", "passthrough", "-vf", fmt.Sprintf("null%s,scale=%d:%d:flags=fast_bilinear,settb=1/60,setpts=N", turn(info.Rotation), width, height),
			"-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast", "-qp", "18", "-f", "matroska", asInput(inherited))
	}
	cmd := exec.CommandContext(ctx, "ffmpeg", args...)
	if opts.Small != nil {
		cmd.ExtraFiles = []*os.File{opts.Small}
	}
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		cancel()
		return nil, fmt.Errorf("decode clip %s: %w", info.Path, err)
	}
	stderr, err := cmd.StderrPipe()
	if err != nil {
		cancel()
		return nil, fmt.Errorf("decode clip %s: %w", info.Path, err)
	}
	if err := cmd.Start(); err != nil {
		cancel()
		return nil, fmt.Errorf("decode clip %s: start ffmpeg: %w", info.Path, err)
	}
	widenPipe(stdout)
	r := &Reader{info: info, cancel: cancel, cmd: cmd, frames: make(chan frame, ahead), free: make(chan []byte, ahead+2), lastTime: -1}
	for range ahead + 1 {
		r.free <- make([]byte, info.Width*info.Height)
	}
	go r.run(ctx, stdout, stderr)
	return r, nil
}

// inherited is where a child finds the first of its ExtraFiles.
const inherited = "/proc/self/fd/3"

// turn returns the filter that makes a picture upright.
func turn(rotation int) string {
	switch rotation {
	case 90:
		return ",transpose=clock"
	case 180:
		return ",hflip,vflip"
	case 270:
		return ",transpose=cclock"
	}
	return ""
}

// widenPipe lets a whole luma row block pass at once; a smaller pipe only costs
// speed, so a refusal is no error.
func widenPipe(pipe io.ReadCloser) {
	if f, ok := pipe.(*os.File); ok {
		const linuxSetPipeSize = 1031
		_, _, _ = syscall.Syscall(syscall.SYS_FCNTL, f.Fd(), linuxSetPipeSize, 1<<20)
	}
}

func (r *Reader) run(ctx context.Context, stdout, stderr io.Reader) {
	stamps := make(chan stamp, 4096)
	var reading sync.WaitGroup
	reading.Add(1)
	go func() {
		defer reading.Done()
		defer close(stamps)
		r.messages, r.version = readStamps(ctx, stderr, stamps)
	}()
	err := r.readFrames(ctx, stdout, stamps)
	// Where its output just stops, ffmpeg has ended by itself, and how tells why.
	stopped := err == nil || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, errNoStamp)
	if !stopped {
		r.cancel() // Ends ffmpeg, so that stderr closes.
	}
	for range stamps { //nolint:revive // Drained so that the reader of stderr can end.
	}
	reading.Wait()
	waitErr := r.cmd.Wait()
	if stopped {
		away := lost(waitErr, r.messages)
		switch {
		case ctx.Err() != nil:
			err = ctx.Err()
		case away != nil:
			err = away
		case err == nil && waitErr != nil:
			err = fmt.Errorf("ffmpeg: %s", lastWords(strings.Join(r.messages, "\n"), waitErr))
		}
	}
	r.failure = err
	close(r.frames)
}

func (r *Reader) readFrames(ctx context.Context, stdout io.Reader, stamps <-chan stamp) error {
	// A small buffer holds the lines between pictures; pictures pass it by.
	in := bufio.NewReaderSize(stdout, 4<<10)
	for first := true; ; first = false {
		if err := r.readHeads(in, first); err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return fmt.Errorf("read picture: %w", err)
		}
		var pixels []byte
		select {
		case pixels = <-r.free:
		case <-ctx.Done():
			return ctx.Err()
		}
		if _, err := io.ReadFull(in, pixels); err != nil {
			if errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return fmt.Errorf("read picture: %w", err)
		}
		s, open := <-stamps
		if !open {
			return errNoStamp
		}
		if !s.ok {
			return errors.New("a frame has no timestamp")
		}
		select {
		case r.frames <- frame{pixels, s.time}:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// readHeads reads the line before a picture, and before the first the stream's,
// too. It returns io.EOF at the end of the stream only.
func (r *Reader) readHeads(in *bufio.Reader, first bool) error {
	line := func() (string, error) {
		text, err := in.ReadSlice('\n')
		if errors.Is(err, io.EOF) && len(text) > 0 {
			err = io.ErrUnexpectedEOF
		}
		return strings.TrimSuffix(string(text), "\n"), err
	}
	if first {
		head, err := line()
		if err != nil {
			return err
		}
		words := strings.Fields(head)
		if len(words) == 0 || words[0] != "YUV4MPEG2" || !slices.Contains(words, "Cmono") ||
			!slices.Contains(words, "W"+strconv.Itoa(r.info.Width)) || !slices.Contains(words, "H"+strconv.Itoa(r.info.Height)) {
			return fmt.Errorf("ffmpeg delivers %q, want grey pictures of %d×%d", head, r.info.Width, r.info.Height)
		}
	}
	head, err := line()
	if err == nil && head != "FRAME" && !strings.HasPrefix(head, "FRAME ") {
		err = fmt.Errorf("ffmpeg delivers %.20q between pictures", head)
	}
	return err
}

// readStamps sends the timestamp of every frame that showinfo tells of and
// returns ffmpeg's complaints, at most a hundred, and its version.
func readStamps(ctx context.Context, stderr io.Reader, stamps chan<- stamp) (messages []string, version string) {
	base := 0.0
	lines := bufio.NewScanner(stderr)
	lines.Buffer(make([]byte, 0, 64<<10), 1<<20)
	for lines.Scan() {
		line := lines.Text()
		if !strings.HasPrefix(line, "[Parsed_showinfo") {
			if v, ok := strings.CutPrefix(line, "ffmpeg version "); ok && version == "" {
				version, _, _ = strings.Cut(v, " ")
			}
			if isComplaint(line) && len(messages) < 100 {
				messages = append(messages, line)
			}
			continue
		}
		if b, ok := field(line, "config in time_base: "); ok {
			base = fraction(strings.TrimSuffix(b, ","))
			continue
		}
		if _, ok := field(line, " n:"); !ok {
			continue
		}
		s := stamp{}
		if text, ok := field(line, " pts:"); ok {
			if pts, err := strconv.ParseInt(text, 10, 64); err == nil && base > 0 {
				s = stamp{time: float64(pts) * base, ok: true}
			}
		}
		select {
		case stamps <- s:
		case <-ctx.Done():
			_, _ = io.Copy(io.Discard, stderr)
			return messages, version
		}
	}
	_, _ = io.Copy(io.Discard, stderr)
	return messages, version
}

// field returns the word after label, leading spaces skipped.
func field(line, label string) (string, bool) {
	i := strings.Index(line, label)
	if i < 0 {
		return "", false
	}
	words := strings.Fields(line[i+len(label):])
	if len(words) == 0 {
		return "", false
	}
	return words[0], true
}

func fraction(text string) float64 {
	a, b, ok := strings.Cut(text, "/")
	if !ok {
		return 0
	}
	n, err1 := strconv.ParseFloat(a, 64)
	d, err2 := strconv.ParseFloat(b, 64)
	if err1 != nil || err2 != nil || d == 0 {
		return 0
	}
	return n / d
}

// isComplaint keeps ffmpeg's warnings about the file and leaves out its
// description of streams.
func isComplaint(line string) bool {
	if !strings.HasPrefix(line, "[") && !strings.HasPrefix(line, "file:") && !strings.HasPrefix(line, "Error") {
		return false
	}
	lower := strings.ToLower(line)
	for _, word := range []string{"error", "invalid", "truncat", "corrupt", "missing", "conceal", "partial", "not found", "could not", "broken", "no frame", "no space"} {
		if strings.Contains(lower, word) {
			return true
		}
	}
	return false
}

// Size returns the size of the upright picture, px.
func (r *Reader) Size() (width, height int) { return r.info.Width, r.info.Height }

// Next returns the luma of the next frame, row by row, and its time in seconds
// from the clip's first frame. The pixels are valid until the next call.
// At the end, whole or broken, it returns io.EOF: see Broken.
func (r *Reader) Next(ctx context.Context) ([]byte, float64, error) {
	if r.current != nil {
		r.free <- r.current
		r.current = nil
	}
	for !r.done {
		select {
		case f, open := <-r.frames:
			if !open {
				r.done = true
				continue
			}
			if r.count == 0 {
				// A damaged clip may show a frame before the first that was promised.
				r.base = min(r.info.firstPTS, f.time)
			}
			t := f.time - r.base
			if t <= r.lastTime {
				r.free <- f.pixels // Shown at the same instant as the one before: no new time.
				continue
			}
			r.current, r.lastTime = f.pixels, t
			r.count++
			return f.pixels, t, nil
		case <-ctx.Done():
			return nil, 0, fmt.Errorf("decode clip %s: %w", r.info.Path, ctx.Err())
		}
	}
	if errors.Is(r.failure, context.Canceled) || errors.Is(r.failure, context.DeadlineExceeded) || errors.Is(r.failure, ErrDecoderLost) {
		return nil, 0, fmt.Errorf("decode clip %s: %w", r.info.Path, r.failure)
	}
	if r.count == 0 {
		cause := "no frame could be decoded"
		if r.failure != nil {
			cause = r.failure.Error()
		}
		return nil, 0, fmt.Errorf("decode clip %s: %s: %w", r.info.Path, cause, ErrNoPicture)
	}
	return nil, 0, io.EOF
}

// Broken returns nil where every promised frame was read, or after io.EOF an
// error that wraps ErrBroken and says how much there was. Before the end it
// returns nil.
func (r *Reader) Broken() error {
	if !r.done {
		return nil
	}
	promised := len(r.info.Times)
	if r.count >= promised && r.failure == nil {
		return nil
	}
	cause := ""
	switch {
	case r.failure != nil:
		cause = ": " + r.failure.Error()
	case len(r.messages) > 0:
		cause = ": " + lastWords(strings.Join(r.messages, "\n"), r.failure)
	}
	return fmt.Errorf("clip %s: %d of %d promised frames could be read, up to %.2f s%s: %w", r.info.Path, r.count, promised, r.lastTime, cause, ErrBroken)
}

// Decoder returns the version of the ffmpeg program that decoded the clip, as it
// says itself; empty before the end of the clip, or where it does not say.
func (r *Reader) Decoder() string {
	if !r.done {
		return ""
	}
	return r.version
}

// Close ends decoding and frees what it held. It may be called at any time,
// also more than once.
func (r *Reader) Close() error {
	r.cancel()
	for range r.frames { //nolint:revive // Drained until the decoding goroutine has ended.
	}
	r.done = true
	return nil
}
