package clip

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
)

// ErrBroken is wrapped by Reader.Broken where fewer frames could be decoded
// than the container promises.
var ErrBroken = errors.New("the clip breaks off")

// ErrDecoderLost is wrapped where decoding ended for a reason that lies outside
// the clip: the drive stopped answering, the folder for a small copy is full, or
// ffmpeg was killed. What was read until then says nothing of the clip; trying
// again may give all of it.
var ErrDecoderLost = errors.New("the decoder was lost")

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
	said     string        // FFmpeg's first complaint of the clip; known once frames is closed.
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
}

// Open starts to decode the clip that Probe described. The caller must Close
// the reader.
func Open(ctx context.Context, info *Info) (*Reader, error) {
	return OpenWith(ctx, info, OpenOptions{})
}

// OpenWith is Open with options.
func OpenWith(ctx context.Context, info *Info, opts OpenOptions) (*Reader, error) {
	ctx, cancel := context.WithCancel(ctx)
	r := &Reader{info: info, cancel: cancel, frames: make(chan frame, ahead), free: make(chan *picture, ahead+1), lastTime: -1, gone: make(chan struct{})}
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
	if err := d.start(r.info); err != nil {
		return err
	}
	for {
		var p *picture
		select {
		case p = <-r.free:
		case <-ctx.Done():
			return ctx.Err()
		}
		at, err := d.next(ctx, p)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if small != nil {
			if err := small.add(d, p); err != nil {
				return err
			}
		}
		select {
		case r.frames <- frame{p, at}:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
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
	case r.said != "":
		cause = ": " + r.said
	}
	return fmt.Errorf("clip %s: %d of %d promised frames could be read, up to %.2f s%s: %w", r.info.Path, r.count, promised, r.lastTime, cause, ErrBroken)
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
