package clip

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Largest picture that is accepted, px along either side. It bounds what one
// frame can cost whatever a damaged header claims.
const maxSide = 8192

// ErrNoPicture is wrapped by errors about a file that holds no video.
var ErrNoPicture = errors.New("the file holds no picture")

// Info is what is known of a clip before its pictures are decoded.
type Info struct {
	Path        string
	Container   string    // As ffprobe names it: "mov,mp4,m4a,3gp,3g2,mj2".
	Codec       string    // "h264", "hevc", …
	PixelFormat string    // "yuv420p", "yuv420p10le", …
	BitDepth    int       // Bits of one luma sample.
	Rotation    int       // Degrees clockwise that make the picture upright: 0, 90, 180 or 270.
	Width       int       // Of the upright picture, px.
	Height      int       // Of the upright picture, px.
	Times       []float64 // Presentation time of every frame the container promises, s from the first. Index: frame.
	FrameRate   float64   // Frames per second, from the median interval.
	// Variable is whether intervals differ by more than a tenth of the median one.
	Variable bool
	Bytes    int64 // Size of the file.
	firstPTS float64
	start    float64
}

// DurationS returns the time from the first to the last frame, s.
func (i *Info) DurationS() float64 {
	if len(i.Times) == 0 {
		return 0
	}
	return i.Times[len(i.Times)-1]
}

type probeOutput struct {
	Streams []struct {
		CodecName        string `json:"codec_name"`
		Width            int    `json:"width"`
		Height           int    `json:"height"`
		PixFmt           string `json:"pix_fmt"`
		BitsPerRawSample string `json:"bits_per_raw_sample"`
		Disposition      struct {
			AttachedPicture int `json:"attached_pic"`
		} `json:"disposition"`
		SideData []struct {
			Rotation *float64 `json:"rotation"`
		} `json:"side_data_list"`
	} `json:"streams"`
	Packets []struct {
		PTS   string `json:"pts_time"`
		Flags string `json:"flags"`
	} `json:"packets"`
	Format struct {
		Name  string `json:"format_name"`
		Start string `json:"start_time"`
	} `json:"format"`
}

// Probe reads what the container says of the clip at path. Errors name the
// file and the cause; a file without video wraps ErrNoPicture.
func Probe(ctx context.Context, path string) (*Info, error) {
	stat, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open clip: %w", err)
	}
	switch {
	case stat.IsDir():
		return nil, fmt.Errorf("open clip %s: it is a folder", path)
	case !stat.Mode().IsRegular():
		return nil, fmt.Errorf("open clip %s: it is not an ordinary file", path)
	case stat.Size() == 0:
		return nil, fmt.Errorf("open clip %s: the file is empty (0 bytes): %w", path, ErrNoPicture)
	}
	cmd := exec.CommandContext(ctx, "ffprobe", "-v", "error", "-select_streams", "v:0",
		"-show_entries", "stream=codec_name,width,height,pix_fmt,bits_per_raw_sample:stream_disposition=attached_pic:stream_side_data=rotation:packet=pts_time,flags:format=format_name,start_time",
		"-of", "json", asInput(path))
	var stdout, stderr bytes.Buffer
	cmd.Stdout = &stdout
	cmd.Stderr = &capped{buffer: &stderr, limit: 64 << 10}
	runErr := cmd.Run()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("probe clip %s: %w", path, err)
	}
	if errors.Is(runErr, exec.ErrNotFound) {
		return nil, fmt.Errorf("probe clip %s: ffprobe is not installed (Debian: apt install ffmpeg)", path)
	}
	if runErr != nil {
		return nil, fmt.Errorf("probe clip %s: %s: %w", path, lastWords(stderr.String(), runErr), ErrNoPicture)
	}
	var out probeOutput
	if err := json.Unmarshal(stdout.Bytes(), &out); err != nil {
		return nil, fmt.Errorf("probe clip %s: read what ffprobe wrote: %w", path, err)
	}
	return out.info(path, stat.Size())
}

func (out *probeOutput) info(path string, size int64) (*Info, error) {
	if len(out.Streams) == 0 {
		return nil, fmt.Errorf("probe clip %s: no video stream (sound only?): %w", path, ErrNoPicture)
	}
	s := out.Streams[0]
	if s.Disposition.AttachedPicture != 0 {
		return nil, fmt.Errorf("probe clip %s: its only picture is a cover image: %w", path, ErrNoPicture)
	}
	if s.Width < 16 || s.Height < 16 || s.Width > maxSide || s.Height > maxSide {
		return nil, fmt.Errorf("probe clip %s: picture size %d × %d is outside 16 to %d px: %w", path, s.Width, s.Height, maxSide, ErrNoPicture)
	}
	info := &Info{Path: path, Container: out.Format.Name, Codec: s.CodecName, PixelFormat: s.PixFmt, BitDepth: bitDepth(s.PixFmt, s.BitsPerRawSample), Width: s.Width, Height: s.Height, Bytes: size}
	info.start, _ = strconv.ParseFloat(out.Format.Start, 64)

	clockwise := 0.0
	for _, d := range s.SideData {
		if d.Rotation != nil {
			clockwise = -*d.Rotation // The display matrix turns the other way round.
		}
	}
	quarter := math.Round(clockwise / 90)
	if math.Abs(clockwise-90*quarter) > 1 {
		return nil, fmt.Errorf("probe clip %s: it is turned by %g°, only quarter turns are understood", path, clockwise)
	}
	info.Rotation = ((int(quarter)%4 + 4) % 4) * 90
	if info.Rotation%180 != 0 {
		info.Width, info.Height = s.Height, s.Width
	}

	for _, p := range out.Packets {
		if strings.Contains(p.Flags, "D") {
			continue // Cut away by an edit list: decoded, never shown.
		}
		if t, err := strconv.ParseFloat(p.PTS, 64); err == nil {
			info.Times = append(info.Times, t)
		}
	}
	if len(info.Times) == 0 {
		return nil, fmt.Errorf("probe clip %s: the video stream has no frames with a timestamp: %w", path, ErrNoPicture)
	}
	slices.Sort(info.Times)
	info.Times = slices.Compact(info.Times)
	info.firstPTS = info.Times[0]
	for i := range info.Times {
		info.Times[i] -= info.firstPTS
	}
	info.FrameRate, info.Variable = rate(info.Times)
	return info, nil
}

// rate returns frames per second from the median interval and whether
// intervals vary.
func rate(times []float64) (perSecond float64, variable bool) {
	if len(times) < 2 {
		return 0, false
	}
	steps := make([]float64, len(times)-1)
	for i := range steps {
		steps[i] = times[i+1] - times[i]
	}
	slices.Sort(steps)
	median := steps[len(steps)/2]
	// Time bases of 1 ms round 60 frames/s to 16 and 17 ms: that is no variation.
	slack := math.Max(0.1*median, 0.0011)
	return 1 / median, steps[len(steps)-1]-median > slack || median-steps[0] > slack
}

func bitDepth(pixelFormat, raw string) int {
	if n, err := strconv.Atoi(raw); err == nil && n > 0 {
		return n
	}
	for _, depth := range []int{16, 14, 12, 10} {
		if strings.Contains(pixelFormat, fmt.Sprintf("p%d", depth)) {
			return depth
		}
	}
	return 8
}

// asInput makes a path that ffmpeg cannot take for an option or a protocol.
func asInput(path string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = "./" + path
	}
	return "file:" + abs
}

// capped keeps the first bytes written to it and forgets the rest, so that a
// talkative child cannot fill memory.
type capped struct {
	buffer *bytes.Buffer
	limit  int
}

func (c *capped) Write(p []byte) (int, error) {
	if room := c.limit - c.buffer.Len(); room > 0 {
		c.buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

// lastWords picks what a child process said last, without its prefixes.
func lastWords(stderr string, err error) string {
	lines := strings.Split(strings.TrimSpace(stderr), "\n")
	last := strings.TrimSpace(lines[len(lines)-1])
	if i := strings.LastIndex(last, ": "); i >= 0 && strings.HasPrefix(last, "file:") {
		last = last[i+2:]
	}
	if last == "" {
		return err.Error()
	}
	return last
}
