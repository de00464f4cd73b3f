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
		from = fmt.Sprintf("/proc/self/fd/%d", opts.Small.Fd())
		read = Info{Width: width, Height: height, delay: -1}
	}
	d, err := openDecoder(ctx, from, read.delay)
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	defer d.close()
	if err := d.start(&read, false); err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	picture, err := newPicture(&read)
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	defer picture.free()
	encode := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-xerror", "-nostdin", "-y", "-protocol_whitelist", "pipe", "-f", "rawvideo", "-pix_fmt", "yuv420p",
		"-s", fmt.Sprintf("%dx%d", width, height), "-framerate", strconv.FormatFloat(max(info.FrameRate, 1), 'f', 4, 64), "-i", "pipe:0",
		"-c:v", "libx264", "-preset", "ultrafast", "-crf", "26", "-pix_fmt", "yuv420p", "-movflags", "+faststart", "-fflags", "+bitexact", "-flags:v", "+bitexact", "-f", "mp4", asInput(target))
	out, encoded, err := os.Pipe()
	if err != nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	var complaint bytes.Buffer
	encode.Stdin, encode.Stderr = out, &capped{buffer: &complaint, limit: 16 << 10}
	if err := errors.Join(encode.Start(), out.Close()); err != nil {
		return errors.Join(fmt.Errorf("remake clip %s: start ffmpeg: %w", info.Path, err), encoded.Close())
	}
	widenPipe(encoded)

	buffer := make([]byte, width*height*3/2)
	luma, chroma := width*height, width*height/4
	planes := Planes{Width: width, Height: height, Y: buffer[:luma], U: buffer[luma : luma+chroma], V: buffer[luma+chroma:]}
	var decodeErr, writeErr error
	for index := 0; ; index++ {
		if _, decodeErr = d.next(ctx, picture); decodeErr == nil {
			decodeErr = d.small(picture, width, height, buffer)
		}
		if decodeErr != nil {
			break // A broken clip is remade as far as it goes.
		}
		draw(index, planes, scale)
		if _, writeErr = encoded.Write(buffer); writeErr != nil {
			break
		}
	}
	closeErr := encoded.Close()
	encodeErr := encode.Wait()
	if err := ctx.Err(); err != nil && writeErr == nil {
		return fmt.Errorf("remake clip %s: %w", info.Path, err)
	}
	// What the clip lacks was reported when it was measured.
	if errors.Is(decodeErr, ErrDecoderLost) {
		return fmt.Errorf("remake clip %s: %w", info.Path, decodeErr)
	}
	if strings.Contains(complaint.String(), noSpace) {
		return fmt.Errorf("write %s: %s", target, noSpace)
	}
	if encodeErr != nil {
		return fmt.Errorf("write %s: %s", target, lastWords(complaint.String(), encodeErr))
	}
	if err := errors.Join(writeErr, closeErr); err != nil {
		return fmt.Errorf("write %s: %w", target, err)
	}
	// ffmpeg takes some failures to write the end of a file for none.
	if words := strings.TrimSpace(complaint.String()); words != "" {
		return fmt.Errorf("write %s: %s", target, lastWords(words, nil))
	}
	if stat, err := os.Stat(target); err != nil || stat.Size() == 0 {
		return fmt.Errorf("write %s: ffmpeg left it empty", target)
	}
	return nil
}
