package clip

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
)

// ErrBroken is wrapped by Reader.Broken where fewer frames could be decoded
// than the container promises.
var ErrBroken = errors.New("the clip breaks off")

// ErrDecoderLost is wrapped where decoding ended for a reason that lies outside
// the clip: the drive stopped answering, the folder for a small copy is full, or
// ffmpeg was killed. What was read until then says nothing of the clip; trying
// again may give all of it.
var ErrDecoderLost = errors.New("the decoder was lost")

// ErrDamaged is wrapped where a clip was opened with OpenOptions.Whole and is not:
// decoding told of an error, or a promised frame did not come.
var ErrDamaged = errors.New("the clip is damaged")

// ErrNoRoom is wrapped where the system gives this process no more memory or threads: it
// says nothing of the clip.
var ErrNoRoom = errors.New("this process gets no more memory or threads: raise its limit (ulimit), or close other programs")

// How many frames are decoded ahead of the one in use. More only costs memory.
const ahead = 3

// Reader delivers the frames of a clip one after the other as luma.
// It is not safe for use by several goroutines.
type Reader struct {
	info     *Info
	cancel   context.CancelFunc
	frames   chan frame
	free     chan *picture
	pictures []*picture // All that there are: some in free, some in frames, one in use.
	current  *picture
	done     bool
	count    int
	lastTime float64
	said     string // FFmpeg's first complaint of the clip; known once frames is closed.
	damage   Damage // Known once frames is closed.
	opts     OpenOptions
	failure  error         // Why decoding ended; complete once frames is closed.
	gone     chan struct{} // Closed once the decoder is freed.
}

type frame struct {
	*picture
	time float64 // s from the first frame.
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
	// Whole ends reading with an error that wraps ErrDamaged as soon as it shows that
	// not every frame can be decoded whole. Careful reading then tells which can.
	Whole bool
	// Careful reads a clip that may be damaged so that frame i is the one promised at
	// Info.Times[i], as far as the clip goes. In the place of a frame that was decoded with errors,
	// is predicted from one that was, or did not come, the whole frame before it is
	// delivered; Damage tells of it. It takes one processor.
	Careful bool
}

// Damage is what careful reading found wrong with a clip.
type Damage struct {
	// Frames that are not whole, in order: decoded with errors, predicted from frames
	// that were, or missing.
	Frames []int
	Errors []FrameError // Every frame in which decoding told of errors, in the file's order.
	Extra  int          // Pictures that came and were not promised; they are left out.
}

// FrameError is what decoding told of one frame.
type FrameError struct {
	Frame int     // -1 where it can't be said which.
	TimeS float64 // From the first frame; NaN where it isn't known.
	Count int     // Errors told.
	Said  string  // The first of them in FFmpeg's words, or "".
}

// Open starts to decode the clip that Probe described. The caller must Close
// the reader.
func Open(ctx context.Context, info *Info) (*Reader, error) {
	return OpenWith(ctx, info, OpenOptions{})
}

// OpenWith is Open with options.
func OpenWith(ctx context.Context, info *Info, opts OpenOptions) (*Reader, error) {
	ctx, cancel := context.WithCancel(ctx)
	r := &Reader{info: info, opts: opts, cancel: cancel, frames: make(chan frame, ahead), free: make(chan *picture, ahead+1), lastTime: -1, gone: make(chan struct{})}
	for range cap(r.free) {
		p, err := newPicture(info)
		if err != nil {
			r.release()
			cancel()
			return nil, fmt.Errorf("decode clip %s: %w", info.Path, err)
		}
		r.pictures = append(r.pictures, p)
		r.free <- p
	}
	var small *copier
	if opts.Small != nil {
		var err error
		if small, err = newCopier(ctx, info, opts); err != nil {
			r.release()
			cancel()
			return nil, fmt.Errorf("decode clip %s: %w", info.Path, err)
		}
	}
	go r.run(ctx, small)
	return r, nil
}

// run decodes the clip to its end and says why it ended earlier.
func (r *Reader) run(ctx context.Context, small *copier) {
	defer close(r.gone)
	d, err := openDecoder(ctx, r.info.Path, r.info.delay)
	if err == nil {
		defer d.close() // Takes a while, so the end is told before.
		err = r.decode(ctx, d, small)
		r.said = d.said()
	}
	if small != nil {
		err = small.finish(ctx, err)
	}
	r.failure = err
	close(r.frames)
}

func (r *Reader) decode(ctx context.Context, d *decoder, small *copier) error {
	if err := d.start(r.info, r.opts.Careful, threads()); err != nil {
		return err
	}
	if r.opts.Careful {
		return r.decodeCarefully(ctx, d, small)
	}
	for n := 0; ; n++ {
		p, at, err := r.nextPicture(ctx, d)
		if errors.Is(err, io.EOF) {
			return r.checkWhole(d, n >= len(r.info.Times))
		}
		if err != nil {
			return err
		}
		if err := r.checkWhole(d, p.whole() && r.promises(n, at)); err != nil {
			return err
		}
		if err := small.addTo(d, p); err != nil {
			return err
		}
		if err := r.hand(ctx, frame{p, at}); err != nil {
			return err
		}
	}
}

// nextPicture decodes the next picture into one that is free.
func (r *Reader) nextPicture(ctx context.Context, d *decoder) (*picture, float64, error) {
	select {
	case p := <-r.free:
		at, err := d.next(ctx, p)
		return p, at, err
	case <-ctx.Done():
		return nil, 0, ctx.Err()
	}
}

func (r *Reader) hand(ctx context.Context, f frame) error {
	select {
	case r.frames <- f:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// handMissing hands on a frame that did not come, as what was there before shows it.
func (r *Reader) handMissing(ctx context.Context, n int, shown []byte) error {
	r.damage.Frames = append(r.damage.Frames, n)
	select {
	case p := <-r.free:
		p.become(shown)
		return r.hand(ctx, frame{p, r.info.Times[n]})
	case <-ctx.Done():
		return ctx.Err()
	}
}

// checkWhole returns an error where the whole clip is asked for and is not whole so far: decoding
// told of errors, or good says so.
func (r *Reader) checkWhole(d *decoder, good bool) error {
	if !r.opts.Whole || good && d.errors() == 0 {
		return nil
	}
	return r.damaged(d)
}

// damaged says why the clip is not whole.
func (r *Reader) damaged(d *decoder) error {
	if said := d.said(); said != "" {
		return fmt.Errorf("%w: %s", ErrDamaged, said)
	}
	return ErrDamaged
}

// promises reports whether picture n was promised at its time.
func (r *Reader) promises(n int, at float64) bool {
	return n < len(r.info.Times) && !(math.Abs(at-r.info.Times[n]) > r.slack())
}

// slack is how far a picture's time may lie from the one promised, s.
func (r *Reader) slack() float64 {
	if r.info.FrameRate <= 0 {
		return math.Inf(1)
	}
	return 0.3 / r.info.FrameRate
}

// decodeCarefully decodes as OpenOptions.Careful says.
func (r *Reader) decodeCarefully(ctx context.Context, d *decoder, small *copier) error {
	defer func() { r.damage.Errors = r.frameErrors(d) }()
	var before []byte // The last whole picture; nil before the first.
	next := 0
	for {
		p, at, err := r.nextPicture(ctx, d)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		n := r.promisedAt(next, d.promised(at))
		if n < 0 {
			r.damage.Extra++
			r.free <- p
			continue
		}
		for ; next < n; next++ {
			if err := r.standIn(ctx, d, small, next, p, before); err != nil {
				return err
			}
		}
		if err := small.addTo(d, p); err != nil {
			return err
		}
		before = r.mend(p, n, before)
		if err := r.hand(ctx, frame{p, r.info.Times[n]}); err != nil {
			return err
		}
		next++
	}
}

// promisedAt returns the frame, next or a later one, that is promised at a time, or -1.
func (r *Reader) promisedAt(next int, at float64) int {
	times := r.info.Times
	for next < len(times) && times[next] < at-r.slack() {
		next++
	}
	if next == len(times) || times[next] > at+r.slack() {
		return -1
	}
	return next
}

// standIn delivers the last whole picture in the place of frame n, which did not come; before the
// first whole one it delivers p, the next that came.
func (r *Reader) standIn(ctx context.Context, d *decoder, small *copier, n int, p *picture, before []byte) error {
	shown := before
	if before == nil {
		shown = p.pixels()
	}
	if err := small.addAgain(d, p); err != nil {
		return err
	}
	return r.handMissing(ctx, n, shown)
}

// mend gives the picture of frame n the pixels of the last whole one where it is not whole, and
// returns those of the last whole one from then on.
func (r *Reader) mend(p *picture, n int, before []byte) []byte {
	if p.whole() {
		return append(before[:0], p.pixels()...)
	}
	r.damage.Frames = append(r.damage.Frames, n)
	if before != nil {
		p.become(before)
	}
	return before
}

// frameErrors returns the errors that decoding told of, with their frames.
func (r *Reader) frameErrors(d *decoder) []FrameError {
	var out []FrameError
	for _, h := range d.harms() {
		if h.errors == 0 {
			continue
		}
		e := FrameError{Frame: -1, TimeS: math.NaN(), Count: h.errors, Said: h.said}
		if h.stamped {
			e.TimeS = (h.at - r.info.firstPTS) / d.slowed
			if i := nearest(r.info.Times, e.TimeS); i >= 0 && math.Abs(r.info.Times[i]-e.TimeS) <= r.slack() {
				e.Frame = i
			}
		}
		out = append(out, e)
	}
	return out
}

// nearest returns the index of the time nearest to at, or -1 where there is none.
func nearest(times []float64, at float64) int {
	i, _ := slices.BinarySearch(times, at)
	if i > 0 && (i == len(times) || at-times[i-1] < times[i]-at) {
		i--
	}
	if i == len(times) {
		return -1
	}
	return i
}

// release frees the pictures.
func (r *Reader) release() {
	for _, p := range r.pictures {
		p.free()
	}
	r.pictures = nil
}

// Size returns the size of the upright picture, px.
func (r *Reader) Size() (width, height int) { return r.info.Width, r.info.Height }

// Next returns the luma of the next frame, row by row, and its time in seconds
// from the clip's first frame. The pixels are valid until the next call of
// Next or Close and must not be changed: they may be the decoder's own, which it
// makes later pictures of.
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
			r.current, r.lastTime = f.picture, f.time
			r.count++
			return f.pixels(), f.time, nil
		case <-ctx.Done():
			return nil, 0, fmt.Errorf("decode clip %s: %w", r.info.Path, ctx.Err())
		}
	}
	if errors.Is(r.failure, context.Canceled) || errors.Is(r.failure, context.DeadlineExceeded) || errors.Is(r.failure, ErrDecoderLost) || errors.Is(r.failure, ErrDamaged) || errors.Is(r.failure, ErrNoRoom) {
		return nil, 0, fmt.Errorf("decode clip %s: %w", r.info.Path, r.failure)
	}
	if r.count == 0 {
		cause := "no frame could be decoded"
		if r.failure != nil {
			cause = r.failure.Error()
		}
		return nil, 0, fmt.Errorf("decode clip %s: %w", r.info.Path, noPicture(cause+"; copy it from the phone again"))
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
	case r.said != "":
		cause = ": " + r.said
	}
	return fmt.Errorf("clip %s: %d of %d promised frames could be read, up to %.2f s%s: %w", r.info.Path, r.count, promised, r.lastTime, cause, ErrBroken)
}

// Damage returns what careful reading found wrong with the clip, after io.EOF;
// before it returns nothing.
func (r *Reader) Damage() Damage {
	if !r.done {
		return Damage{}
	}
	return r.damage
}

// Close ends decoding and frees what it held. It may be called at any time,
// also more than once.
func (r *Reader) Close() error {
	r.cancel()
	<-r.gone
	r.done = true
	r.current = nil
	r.release()
	return nil
}
