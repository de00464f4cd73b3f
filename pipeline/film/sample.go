package film

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os/exec"
	"strings"

	"jogstrip/pipeline/clip"
)

const (
	sampleRate = 12.0 // Pictures a second that are looked at.
	smallWide  = 288  // Width of the reduced pictures, px.
	maxSamples = 900  // Bound for long clips; the rate is lowered beyond it.
)

// samples is the clip as far as the check looks at it.
type samples struct {
	width, height int     // Of the full pictures, px.
	w, h          int     // Of the reduced pictures, px.
	interval      float64 // Seconds between two pictures.
	frames        []sampleFrame
	broken        bool
}

// sampleFrame is one picture, reduced.
type sampleFrame struct {
	time  float64
	small []float32 // Mean luma of each cell, row by row.
	mean  float64
	burnt float64     // Share of pixels at 233 or above: video luma ends at 235.
	black float64     // Share of pixels at 18 or below: video luma ends at 16.
	edges []edgeSmall // Where and how wide the clearest edges are.
}

// edgeSmall is an edge of the full picture: its width, px, and the reduced cell
// it lies in.
type edgeSmall struct {
	cell  int32
	width float32
}

// sample decodes the clip and reduces every picture that is looked at.
func sample(ctx context.Context, info *clip.Info) (*samples, error) {
	s, err := sampleAs(ctx, info, "")
	if errors.Is(err, errNoLuma) {
		return sampleAs(ctx, info, "format=yuv444p,")
	}
	return s, err
}

// errNoLuma says that the clip's pictures (RGB, palettes) have no luma that could be
// taken as it is.
var errNoLuma = errors.New("its pictures have no luma")

// sampleAs is sample for pictures that the filter before makes of the clip's.
func sampleAs(ctx context.Context, info *clip.Info, before string) (*samples, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	every := max(1, int(math.Round(info.FrameRate/sampleRate)))
	every = max(every, (len(info.Times)+maxSamples-1)/maxSamples)
	turn := map[int]string{90: ",transpose=clock", 180: ",hflip,vflip", 270: ",transpose=cclock"}[info.Rotation]
	args := append([]string{"-v", "error", "-nostdin", "-noautorotate"}, clip.InputArgs(info.Path)...)
	args = append(args, "-map", "0:v:0", "-fps_mode", "passthrough",
		"-vf", fmt.Sprintf(`select='not(mod(n\,%d))',%sextractplanes=y%s,scale=%d:%d`, every, before, turn, info.Width, info.Height), "-pix_fmt", "gray", "-f", "rawvideo", "pipe:1")
	cmd := exec.CommandContext(ctx, "ffmpeg", args...)
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	var stderr bytes.Buffer
	cmd.Stderr = &limited{buffer: &stderr, room: 16 << 10}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start ffmpeg: %w", err)
	}
	s := &samples{width: info.Width, height: info.Height, interval: float64(every) / info.FrameRate}
	s.w = min(smallWide, info.Width/4)
	s.h = max(4, int(math.Round(float64(s.w)*float64(info.Height)/float64(info.Width))))
	if math.IsInf(s.interval, 0) || math.IsNaN(s.interval) {
		s.interval = 1
	}
	pixels := make([]byte, info.Width*info.Height)
	var readErr error
	for n := 0; n*every < len(info.Times); n++ {
		if _, readErr = io.ReadFull(stdout, pixels); readErr != nil {
			break
		}
		s.frames = append(s.frames, s.reduce(pixels, info.Times[n*every]))
	}
	_, _ = io.Copy(io.Discard, stdout)
	waitErr := cmd.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(s.frames) == 0 {
		if before == "" && (strings.Contains(stderr.String(), "planes not available") || strings.Contains(stderr.String(), "choose their formats")) {
			return nil, errNoLuma
		}
		if waitErr != nil {
			return nil, fmt.Errorf("none of its pictures can be decoded (%s): %w", strings.TrimSpace(strings.SplitN(stderr.String(), "\n", 2)[0]), clip.ErrNoPicture)
		}
		return nil, fmt.Errorf("none of its pictures can be decoded: %w", clip.ErrNoPicture)
	}
	s.broken = readErr != nil
	return s, nil
}

// reduce averages a picture over cells and looks at its edges.
func (s *samples) reduce(pixels []byte, time float64) sampleFrame {
	f := sampleFrame{time: time, small: make([]float32, s.w*s.h)}
	var histogram [256]int
	rows := make([]int, s.h+1)
	for j := range rows {
		rows[j] = j * s.height / s.h
	}
	columns := make([]int, s.w+1)
	for i := range columns {
		columns[i] = i * s.width / s.w
	}
	for j := range s.h {
		for y := rows[j]; y < rows[j+1]; y++ {
			row := pixels[y*s.width : (y+1)*s.width]
			for i := range s.w {
				sum := 0
				for _, p := range row[columns[i]:columns[i+1]] {
					sum += int(p)
				}
				f.small[j*s.w+i] += float32(sum)
			}
			// Every third row and column is enough for the histogram.
			if y%3 == 0 {
				for x := 0; x < len(row); x += 3 {
					histogram[row[x]]++
				}
			}
		}
		for i := range s.w {
			f.small[j*s.w+i] /= float32((rows[j+1] - rows[j]) * (columns[i+1] - columns[i]))
		}
	}
	total := 0
	for v, n := range histogram {
		total += n
		f.mean += float64(v * n)
		if v >= 233 {
			f.burnt += float64(n)
		}
		if v <= 18 {
			f.black += float64(n)
		}
	}
	f.mean /= float64(total)
	f.burnt /= float64(total)
	f.black /= float64(total)
	f.edges = s.findEdges(pixels)
	return f
}

// findEdges measures clear edges along rows and columns that lie evenly over the
// picture.
//
// Where brightness changes most over a window, the change over the steepest
// slope inside is the width of the edge: for a step blurred evenly over w px that
// is w, for a Gaussian of standard deviation σ it is 2.5·σ. Three lines are
// averaged, so that noise does not pass for sharpness. Widths beyond the window
// count as the window.
func (s *samples) findEdges(pixels []byte) []edgeSmall {
	var out []edgeSmall
	step := max(4, s.height/180)
	half := max(8, min(s.width, s.height)/90)
	profile := make([]int, max(s.width, s.height))
	for y := step / 2; y+1 < s.height; y += step {
		line := profile[:s.width]
		k := y * s.width
		for x := range line {
			line[x] = int(pixels[k-s.width+x]) + int(pixels[k+x]) + int(pixels[k+s.width+x])
		}
		row := (y * s.h / s.height) * s.w
		out = edgesAlong(out, line, half, func(i int) int { return row + i*s.w/s.width })
	}
	for x := step / 2; x+1 < s.width; x += step {
		line := profile[:s.height]
		for y := range line {
			k := y*s.width + x
			line[y] = int(pixels[k-1]) + int(pixels[k]) + int(pixels[k+1])
		}
		column := x * s.w / s.width
		out = edgesAlong(out, line, half, func(i int) int { return (i*s.h/s.height)*s.w + column })
	}
	return out
}

// edgesAlong finds the edges of a line of which every value is three grey
// levels' sum.
func edgesAlong(out []edgeSmall, line []int, half int, cell func(int) int) []edgeSmall {
	const clear = 3 * 36 // Least height of an edge.
	change := func(i int) int { return line[i+half] - line[i-half] }
	for i := half; i < len(line)-half; {
		if c := change(i); c < clear && c > -clear {
			i++
			continue
		}
		// The strongest place of the window, then on behind it.
		best := i
		for j := i + 1; j <= i+half && j < len(line)-half; j++ {
			if abs(change(j)) > abs(change(best)) {
				best = j
			}
		}
		height, sign := change(best), 1
		if height < 0 {
			height, sign = -height, -1
		}
		steepest := 0
		for j := best - half + 1; j < best+half; j++ {
			steepest = max(steepest, sign*(line[j+1]-line[j-1]))
		}
		if steepest > 0 {
			out = append(out, edgeSmall{int32(cell(best)), min(float32(2*half), 2*float32(height)/float32(steepest))})
		}
		i = best + half + 1
	}
	return out
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}

type limited struct {
	buffer *bytes.Buffer
	room   int
}

func (l *limited) Write(p []byte) (int, error) {
	if room := l.room - l.buffer.Len(); room > 0 {
		l.buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}
