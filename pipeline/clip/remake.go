package clip

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// Planes is one picture as it passes through Remake: planar YUV 4:2:0, 8 bit,
// limited range. Y has Width × Height samples, U and V a quarter of that each.
type Planes struct {
	Width, Height int
	Y, U, V       []byte
}

// RemakeOptions says how the new clip is made. The zero value gives a small
// clip that ordinary browsers play.
type RemakeOptions struct {
	MaxWidth int // Wider clips are scaled down, px; 0 means 960.
	// Small, where set, is the copy that OpenWith made with the same MaxWidth: it is
	// read instead of the clip, which costs a fraction of decoding that again.
	Small *os.File
}

// smallSize returns the size of a clip made of info's that is at most so wide;
// 0 means 960 px.
func smallSize(info *Info, maxWidth int) (width, height int) {
	if maxWidth == 0 {
		maxWidth = 960
	}
	width, height = info.Width, info.Height
	if width > maxWidth {
		height = height * maxWidth / width
		width = maxWidth
	}
	return width &^ 1, height &^ 1
}

// Remake decodes the clip, lets draw change every picture and writes the
// result as H.264 (yuv420p, MP4, playable while it loads) to target, which is
// overwritten. scale is the size of a drawn pixel in the clip's own pixels.
// Pictures are shown at the clip's median frame rate. The caller removes target
// after an error.
func Remake(ctx context.Context, info *Info, target string, opts RemakeOptions, draw func(index int, p Planes, scale float64)) (err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	width, height := smallSize(info, opts.MaxWidth)
	scale := float64(info.Width) / float64(width)

	from, read := info.Path, *info
	if opts.Small != nil {
		from = pathOf(opts.Small)
		read = Info{Width: width, Height: height, delay: -1}
	}
	d, err := openDecoder(ctx, from, read.delay)
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	defer d.close()
	if err := d.start(&read, false, threads()); err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	picture, err := newPicture(&read)
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	defer picture.free()
	out, err := NewWriter(ctx, target, width, height, WriterOptions{Rate: max(info.FrameRate, 1), Quality: 26})
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	planes := newPlanes(width, height)
	var decodeErr error
	for index := 0; ; index++ {
		if _, decodeErr = d.next(ctx, picture); decodeErr == nil {
			decodeErr = d.small(picture, width, height, planes.buffer)
		}
		if decodeErr != nil {
			break // A broken clip is remade as far as it goes.
		}
		draw(index, planes.Planes, scale)
		if out.Write(planes.Planes) != nil {
			break
		}
	}
	closeErr := out.Close()
	// What the clip lacks was reported when it was measured.
	if errors.Is(decodeErr, ErrDecoderLost) {
		closeErr = decodeErr
	}
	if closeErr != nil && (ctx.Err() != nil || errors.Is(closeErr, ErrDecoderLost)) {
		return fmt.Errorf("remake clip %s: %w", info.Path, closeErr)
	}
	return closeErr
}
