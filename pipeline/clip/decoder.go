package clip

// #cgo pkg-config: libavformat libavcodec libavutil libswscale
// #cgo CFLAGS: -Wall -Wextra
// #cgo LDFLAGS: -lm
// #cgo noescape decoder_open
// #cgo nocallback decoder_open
// #cgo noescape decoder_skim
// #cgo nocallback decoder_skim
// #cgo noescape decoder_next
// #cgo nocallback decoder_next
// #include <libavutil/avutil.h>
// #include <libavutil/error.h>
// #include <stdlib.h>
// #include "decode.h"
//
// enum { decoder_end = AVERROR_EOF, decoder_ended_by_us = AVERROR_EXIT };
import "C"

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"syscall"
	"unsafe"
)

// decoder is a clip opened by FFmpeg's libraries; see decode.h. It is used by
// one goroutine at a time and must be closed.
type decoder struct {
	c        *C.decoder
	stream   C.decoder_stream
	unhook   func()
	firstPTS float64 // Of the first frame that is promised, s.
	base     float64 // Time of the first frame that came, or of that, s.
	last     float64 // Time of the frame before, s from base; negative: none came.
	aspect   float64 // Of pixels, as pictures are made square by it; 0 is not known.
	slowed   float64 // By how much the file's times are longer than the true ones.
}

// openDecoder opens the clip at path; delay is Info's, or -1 where there is none
// yet. When ctx ends, so does whatever the decoder is doing.
func openDecoder(ctx context.Context, path string, delay int) (*decoder, error) {
	c := C.decoder_new()
	if c == nil {
		return nil, errors.New("out of memory")
	}
	stopped := make(chan struct{})
	unhook := context.AfterFunc(ctx, func() {
		C.decoder_stop(c)
		close(stopped)
	})
	d := &decoder{c: c, unhook: func() {
		if !unhook() {
			<-stopped
		}
	}}
	url := C.CString(asInput(path))
	defer C.free(unsafe.Pointer(url))
	switch code := C.decoder_open(c, url, C.int(delay), &d.stream); code {
	case 0:
		return d, nil
	case C.decoder_no_video:
		d.close()
		return nil, errNoVideo
	case C.decoder_other_format:
		d.close()
		return nil, errOtherFormat
	default:
		err := d.failure(ctx, code)
		if !errors.Is(err, ErrDecoderLost) && ctx.Err() == nil {
			err = unopened(err, d.said())
		}
		d.close()
		return nil, err
	}
}

// unopened says in words why FFmpeg could not open a file: err is its error, said
// what it told first.
func unopened(err error, said string) error {
	switch {
	case strings.Contains(said, "moov atom not found"):
		return noPicture("it has no index (moov): it is no film, or the copy broke off, or the phone could not finish it; copy it from the phone again")
	case strings.Contains(err.Error(), "Invalid data") && said == "":
		return noPicture("it can't be read as a film; if the phone shows it, copy it from there again")
	case said != "":
		return noPicture(fmt.Sprintf("it can't be read as a film (%s: %s); if the phone shows it, copy it from there again", err, said))
	}
	return noPicture(fmt.Sprintf("it can't be read as a film (%s); if the phone shows it, copy it from there again", err))
}

var (
	errNoVideo     = noPicture("it holds no picture, only sound or nothing; choose the film itself")
	errOtherFormat = noPicture("it is not a film of a kind that phones and cameras write (MP4, MOV, 3GP, MKV, WebM, AVI, MPEG), whatever its name says; playlists, pictures and bare streams are not opened")
)

func (d *decoder) close() {
	d.unhook()
	C.decoder_free(d.c)
	d.c = nil
}

// text returns a string of FFmpeg's.
func text(c *C.char) string { return C.GoString(c) }

// failure returns what code, an error number of FFmpeg's, means: io.EOF at the
// end, the context's own error where that ended it, and an error that wraps
// ErrDecoderLost where the file could not be read.
func (d *decoder) failure(ctx context.Context, code C.int) error {
	if code == C.decoder_ended_by_us && ctx.Err() != nil {
		return ctx.Err()
	}
	if failed := C.decoder_read_error(d.c); failed != 0 {
		return fmt.Errorf("%w: the drive stopped answering (%w)", ErrDecoderLost, syscall.Errno(-failed))
	}
	if code == C.decoder_end {
		return io.EOF
	}
	return errors.New(meaning(code))
}

// meaning returns FFmpeg's words for one of its error numbers.
func meaning(code C.int) string {
	var words [C.AV_ERROR_MAX_STRING_SIZE]C.char
	C.av_strerror(code, &words[0], C.AV_ERROR_MAX_STRING_SIZE)
	return C.GoString(&words[0])
}

// packet is what a packet of the stream says of itself.
type packet struct {
	at        float64 // Its timestamp, s.
	stamped   bool    // Whether it has one.
	shown     bool    // Rather than cut away by an edit list.
	encrypted bool
}

// skim reads the next packet.
func (d *decoder) skim(ctx context.Context) (packet, error) {
	var p C.decoder_packet
	if code := C.decoder_skim(d.c, &p); code != 0 {
		return packet{}, d.failure(ctx, code)
	}
	return packet{float64(p.stamp) * float64(d.stream.unit), p.stamped != 0, p.shown != 0, p.encrypted != 0}, nil
}

// said returns the first error that FFmpeg told of the clip, or "".
func (d *decoder) said() string {
	var text [300]C.char
	C.decoder_said(d.c, &text[0], C.int(len(text)))
	return strings.TrimSpace(C.GoString(&text[0]))
}

// seek goes to where frame first can be decoded from; see decode.h.
func (d *decoder) seek(info *Info, first int) {
	wanted := info.before(first)
	// Containers list pictures by when they are decoded, which is before they are shown.
	held := float64(info.delay + 1)
	if info.delay < 0 {
		held = mostHeld
	}
	to := wanted - held*max(1, info.Slowed)/max(info.FrameRate, 1) - info.behind()
	if to > info.firstPTS {
		C.decoder_seek(d.c, C.int64_t(to/float64(d.stream.unit)), C.int64_t(wanted/float64(d.stream.unit)))
	}
}

// start readies decoding into the upright pictures that info describes, on so many threads.
// Careful decoding knows which pictures are harmed and costs the use of other processors.
func (d *decoder) start(info *Info, careful bool, threads int) error {
	d.firstPTS, d.last, d.slowed, d.aspect = info.firstPTS, -1, max(1, info.Slowed), info.Aspect
	one := C.int(0)
	if careful {
		one = 1
	}
	if code := C.decoder_start(d.c, C.int(info.Width), C.int(info.Height), C.int(info.Rotation), maxSide*maxSide, C.int(threads), one); code == -C.int(syscall.EAGAIN) || code == -C.int(syscall.ENOMEM) {
		return ErrNoRoom
	} else if code != 0 {
		return errors.New(meaning(code))
	}
	if info.Mirrored {
		C.decoder_mirror(d.c, 1)
	}
	return nil
}

// errors returns how many errors decoding has told of.
func (d *decoder) errors() int { return int(C.decoder_errors(d.c)) }

// harm is what careful decoding found wrong with one packet.
type harm struct {
	at      float64 // Its time as the file counts, s.
	stamped bool
	errors  int // 0 where its pictures are only predicted from harmed ones.
	said    string
}

// harms returns what is wrong with packets that are not whole, in the file's order.
func (d *decoder) harms() []harm {
	var out []harm
	var h C.decoder_harm
	for i := 0; C.decoder_harmed(d.c, C.int(i), &h) != 0; i++ {
		out = append(out, harm{float64(h.stamp) * float64(d.stream.unit), h.stamped != 0, int(h.errors), strings.TrimSpace(C.GoString(&h.said[0]))})
	}
	return out
}

// mostThreads is how many threads FFmpeg finds sensible for one decoder.
const mostThreads = 16

// threads returns how many threads decode a clip.
func threads() int {
	if share := runtime.GOMAXPROCS(0); share < runtime.NumCPU() {
		return share // A worker beside others decodes with its own processors.
	}
	// Pictures refer to each other, so threads wait for each other: some more than
	// processors keep those busy. Each costs a picture's memory.
	return min(runtime.NumCPU()+6, mostThreads)
}

// picture is room for one decoded picture, in memory that Go does not see.
type picture struct {
	c    C.decoder_picture
	size int // Width × height, px.
}

func newPicture(info *Info) (*picture, error) {
	p := &picture{size: info.Width * info.Height}
	if code := C.decoder_picture_new(&p.c, C.int(info.Width), C.int(info.Height)); code != 0 {
		return nil, errors.New(meaning(code))
	}
	return p, nil
}

func (p *picture) free() { C.decoder_picture_free(&p.c) }

// whole reports whether the picture was decoded without errors; see decode.h.
func (p *picture) whole() bool { return p.c.whole != 0 }

// become makes the picture show the given pixels.
func (p *picture) become(pixels []byte) {
	own := unsafe.Slice((*byte)(unsafe.Pointer(p.c.own)), p.size)
	copy(own, pixels)
	p.c.pixels = p.c.own
}

// pixels returns the luma of the picture last decoded into p.
func (p *picture) pixels() []byte {
	return unsafe.Slice((*byte)(unsafe.Pointer(p.c.pixels)), p.size)
}

// next decodes the next picture into p and returns its time, s from the first.
func (d *decoder) next(ctx context.Context, p *picture) (at float64, err error) {
	for {
		if code := C.decoder_next(d.c, &p.c); code != 0 {
			return 0, d.failure(ctx, code)
		}
		if p.c.stamped == 0 {
			return 0, errors.New("a frame has no timestamp")
		}
		if said := float64(p.c.aspect); said > 0 && d.aspect > 0 && math.Abs(said/d.aspect-1) > 0.01 {
			return 0, fmt.Errorf("its pictures say that their pixels are %.3g times as wide as high, which its container does not say: copy it into a new file with ffmpeg -i CLIP -c copy -aspect WIDTH:HEIGHT NEW", said)
		}
		at := float64(p.c.stamp) * float64(d.stream.unit)
		if d.last < 0 {
			// A damaged clip may show a frame before the first that was promised.
			d.base = min(d.firstPTS, at)
		}
		if at -= d.base; at > d.last {
			d.last = at
			return at / d.slowed, nil
		} // Else it is shown at the same instant as the one before: no new time.
	}
}

// promised returns the time that is promised of a picture that next says came at a time, s:
// promised times are counted from the first frame that is promised.
func (d *decoder) promised(at float64) float64 { return at + (d.base-d.firstPTS)/d.slowed }

// small makes a copy of the picture just decoded: planes of YUV 4:2:0, of width ×
// height.
func (d *decoder) small(p *picture, width, height int, planes []byte) error {
	if code := C.decoder_small(d.c, &p.c, C.int(width), C.int(height), (*C.uint8_t)(&planes[0])); code != 0 {
		return errors.New(meaning(code))
	}
	return nil
}

// Version returns the version of FFmpeg whose libraries read clips.
func Version() string { return C.GoString(C.av_version_info()) }
