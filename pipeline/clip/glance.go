package clip

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"os/exec"
	"regexp"
	"strconv"
	"strings"

	"jogstrip/pipeline/proc"
)

// Glance is a small upright picture of one frame.
type Glance struct {
	Frame  int
	RGB    []byte // Row by row, 3 bytes for a pixel.
	Width  int
	Height int
}

// A clip with fewer pictures from which decoding can start than this gives too
// few glances: then it is decoded whole.
const fewKeyPictures = 6

// Glances returns small pictures from all over the clip, in order, at most about
// most of them and at most width px wide. They are those from which decoding can
// start, so that it costs little; only where there are few of these is the whole
// clip decoded, leaving the processors to others.
func Glances(ctx context.Context, info *Info, most, width int) ([]Glance, error) {
	out, err := KeyGlances(ctx, info, most, width)
	if err == nil && (len(out) >= fewKeyPictures || len(out) >= len(info.Times)) {
		return out, nil
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	return glances(ctx, info, most, width, false)
}

// KeyGlances is Glances of the pictures from which decoding can start alone, however few.
func KeyGlances(ctx context.Context, info *Info, most, width int) ([]Glance, error) {
	return glances(ctx, info, most, width, true)
}

var shownAt = regexp.MustCompile(`pts_time:\s*(-?[0-9.]+)`)

func glances(ctx context.Context, info *Info, most, width int, key bool) ([]Glance, error) {
	width = min(width, info.Width) &^ 1
	height := max(2, int(math.Round(float64(width)*float64(info.Height)/float64(info.Width)))&^1)
	cmd := exec.CommandContext(ctx, "ffmpeg", glanceArgs(info, most, width, height, key)...)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return nil, fmt.Errorf("glance at clip %s: %w", info.Path, err)
	}
	stderr, err := cmd.StderrPipe()
	if err != nil {
		return nil, fmt.Errorf("glance at clip %s: %w", info.Path, err)
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("glance at clip %s: start ffmpeg: %w", info.Path, err)
	}
	proc.Lower(cmd.Process)
	times := make(chan []float64, 1)
	go func() { times <- timesShown(stderr) }()
	pictures, every := thinned(stdout, 3*width*height, max(2, most))
	at := <-times
	waitErr := cmd.Wait()
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if len(pictures) == 0 || len(at) == 0 {
		return nil, fmt.Errorf("glance at clip %s: %w: %w", info.Path, cause(waitErr), ErrBroken)
	}
	var out []Glance
	thin := max(1, (len(pictures)+most-1)/most)
	for i := 0; i < len(pictures) && i*every < len(at); i += thin {
		frame := info.nearest(at[i*every] - info.firstPTS)
		if len(out) > 0 && out[len(out)-1].Frame >= frame {
			continue
		}
		out = append(out, Glance{Frame: frame, RGB: pictures[i], Width: width, Height: height})
	}
	return out, nil
}

// glanceArgs has ffmpeg write small pictures: the key frames, or as many as asked for.
func glanceArgs(info *Info, most, width, height int, key bool) []string {
	args := []string{"-v", "info", "-nostats", "-nostdin", "-noautorotate", "-copyts"}
	filters := ""
	if key {
		args = append(args, "-skip_frame", "nokey")
	} else {
		// By time, since numbers are not those of the frames where the clip is damaged.
		step := info.DurationS() / float64(max(1, most-1))
		filters = fmt.Sprintf("select='isnan(prev_selected_t)+gte(t-prev_selected_t\\,%.6f)',", step)
	}
	filters += fmt.Sprintf("null%s,scale=%d:%d,showinfo=checksum=0", info.upright(), width, height)
	return append(append(args, InputArgs(info.Path)...), "-map", "0:v:0", "-fps_mode", "passthrough", "-vf", filters, "-pix_fmt", "rgb24", "-f", "rawvideo", "pipe:1")
}

// timesShown reads when each picture is shown from what ffmpeg says of them, to its end.
func timesShown(said io.Reader) (all []float64) {
	lines := bufio.NewScanner(said)
	for lines.Scan() {
		if !strings.Contains(lines.Text(), "showinfo") {
			continue
		}
		if m := shownAt.FindStringSubmatch(lines.Text()); m != nil {
			if t, err := strconv.ParseFloat(m[1], 64); err == nil {
				all = append(all, t)
			}
		}
	}
	_, _ = io.Copy(io.Discard, said)
	return all
}

// thinned reads pictures of so many bytes to the end. A clip of key pictures alone must not
// fill memory: at twice as many as wanted every other goes. Every is which were kept.
func thinned(in io.Reader, size, most int) (pictures [][]byte, every int) {
	every = 1
	for came := 0; ; came++ {
		b := make([]byte, size)
		if _, err := io.ReadFull(in, b); err != nil {
			break
		}
		if came%every != 0 {
			continue
		}
		if pictures = append(pictures, b); len(pictures) >= 2*most {
			for i := 0; 2*i < len(pictures); i++ {
				pictures[i] = pictures[2*i]
			}
			pictures = pictures[:(len(pictures)+1)/2]
			every *= 2
		}
	}
	_, _ = io.Copy(io.Discard, in)
	return pictures, every
}

// nearest returns the frame shown nearest to t, s from the first.
func (i *Info) nearest(t float64) int {
	best := 0
	for f, at := range i.Times {
		if math.Abs(at-t) < math.Abs(i.Times[best]-t) {
			best = f
		}
	}
	return best
}
