package clip

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os/exec"
	"slices"
	"strconv"
	"strings"

	"jogstrip/pipeline/proc"
)

// PictureOptions says how single pictures are made. The zero value gives
// full-size JPEGs of good quality.
type PictureOptions struct {
	MaxWidth int // Wider pictures are scaled down, px; 0 keeps the size.
	Quality  int // JPEG quality as ffmpeg counts it, 2 (best) to 31; 0 means 3.
	// Near takes, instead of the first picture asked for, the last one before it from
	// which decoding can start: a quick look for lists. One picture only can be asked for.
	Near bool
	// Idle leaves the processors to others.
	Idle bool
}

// behind returns how far before a frame to seek, s. Some containers have no list of
// the pictures from which decoding can start: seeking comes to any picture, and the
// next to start from may lie some seconds after it.
func (i *Info) behind() float64 {
	for _, listed := range []string{"mp4", "matroska"} {
		if slices.Contains(strings.Split(i.Container, ","), listed) {
			return 0
		}
	}
	return 12
}

// Pictures calls each with the frames first to last as upright colour JPEGs, in
// order; each call's bytes are the callee's to keep. It decodes from the key
// frame before first, so a range costs little more than its first picture.
func Pictures(ctx context.Context, info *Info, first, last int, opts PictureOptions, each func(index int, jpeg []byte) error) error {
	if first < 0 || last >= len(info.Times) || first > last {
		return fmt.Errorf("read pictures %d to %d of clip %s: it has frames 0 to %d", first, last, info.Path, len(info.Times)-1)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()

	cmd := exec.CommandContext(ctx, "ffmpeg", pictureArgs(info, first, last, opts)...)
	var stderr bytes.Buffer
	cmd.Stderr = &capped{buffer: &stderr, limit: 16 << 10}
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return fmt.Errorf("read pictures of clip %s: %w", info.Path, err)
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("read pictures of clip %s: start ffmpeg: %w", info.Path, err)
	}
	if opts.Idle {
		proc.Lower(cmd.Process)
	}
	in := bufio.NewReaderSize(stdout, 1<<20)
	index := first
	var eachErr error
	for index <= last && eachErr == nil {
		jpeg, err := nextJPEG(in)
		if err != nil {
			break
		}
		eachErr = each(index, jpeg)
		index++
	}
	cancel()
	_, _ = io.Copy(io.Discard, stdout)
	waitErr := cmd.Wait()
	if eachErr != nil {
		return eachErr
	}
	if index <= last {
		return fmt.Errorf("read picture %d of clip %s: %s: %w", index, info.Path, lastWords(stderr.String(), cause(waitErr)), ErrBroken)
	}
	return nil
}

// pictureArgs has ffmpeg write the frames first to last as upright JPEGs.
func pictureArgs(info *Info, first, last int, opts PictureOptions) []string {
	from := info.before(first)
	args := []string{"-v", "error", "-nostdin", "-noautorotate", "-copyts"}
	filters := "null"
	if opts.Near {
		args = append(args, "-skip_frame", "nokey")
	}
	if first > 0 && opts.Near {
		args = append(args, "-seek_timestamp", "1", "-noaccurate_seek", "-ss", strconv.FormatFloat(from, 'f', 6, 64))
	} else if first > 0 {
		// Seeking only has to come near; which frames are shown goes by their times.
		// Those are the file's own, not counted from where its sound begins.
		if seek := from - info.behind(); seek > 0 {
			args = append(args, "-seek_timestamp", "1", "-noaccurate_seek", "-ss", strconv.FormatFloat(seek, 'f', 6, 64))
		}
		filters = fmt.Sprintf("select=gte(t\\,%.6f)", from)
	}
	filters += info.upright()
	switch {
	case opts.MaxWidth > 0 && opts.MaxWidth < info.Width && info.Aspect == 1:
		filters += fmt.Sprintf(",scale=%d:-2", opts.MaxWidth)
	case opts.MaxWidth > 0 && opts.MaxWidth < info.Width:
		filters += fmt.Sprintf(",scale=%d:%d,setsar=1", opts.MaxWidth, 2*int(math.Round(float64(opts.MaxWidth*info.Height)/float64(2*info.Width))))
	case info.Aspect != 1:
		filters += fmt.Sprintf(",scale=%d:%d,setsar=1", info.Width, info.Height)
	}
	quality := opts.Quality
	if quality == 0 {
		quality = 3
	}
	args = append(args, InputArgs(info.Path)...)
	return append(args, "-map", "0:v:0", "-fps_mode", "passthrough", "-frames:v", strconv.Itoa(last-first+1),
		"-vf", filters, "-pix_fmt", "yuvj420p", "-c:v", "mjpeg", "-q:v", strconv.Itoa(quality), "-f", "mjpeg", "pipe:1")
}

// before returns a time, s, in the file's own, half an interval before a frame, so that the
// frame is the first one after it.
func (i *Info) before(frame int) float64 {
	if frame == 0 {
		return math.Inf(-1)
	}
	return i.firstPTS + max(1, i.Slowed)*(i.Times[frame]+i.Times[frame-1])/2
}

func cause(err error) error {
	if err == nil {
		return errors.New("the clip ends before it")
	}
	return err
}

// nextJPEG reads one picture of a stream of JPEGs: from its start marker to its
// end marker, which inside coded data cannot occur unescaped.
func nextJPEG(in *bufio.Reader) ([]byte, error) {
	var picture bytes.Buffer
	for {
		chunk, err := in.ReadSlice(0xD9)
		picture.Write(chunk)
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if err != nil {
			return nil, err
		}
		b := picture.Bytes()
		if len(b) >= 4 && b[len(b)-2] == 0xFF {
			if b[0] != 0xFF || b[1] != 0xD8 {
				return nil, errors.New("not a JPEG stream")
			}
			return bytes.Clone(b), nil // The buffer may have twice the room.
		}
	}
}
