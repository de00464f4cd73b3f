package film

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"

	"jogstrip/pipeline/clip"
)

const (
	sampleRate = 12.0 // Pictures a second that are looked at.
	smallWide  = 192  // Width of the reduced pictures, px.
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
	burnt float64     // Share of pixels at 250 or above.
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
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	every := max(1, int(math.Round(info.FrameRate/sampleRate)))
	every = max(every, (len(info.Times)+maxSamples-1)/maxSamples)
	turn := map[int]string{90: ",transpose=clock", 180: ",hflip,vflip", 270: ",transpose=cclock"}[info.Rotation]
	abs, err := filepath.Abs(info.Path)
	if err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-nostdin", "-noautorotate", "-i", "file:"+abs, "-map", "0:v:0", "-fps_mode", "passthrough",
		"-vf", fmt.Sprintf(`select='not(mod(n\,%d))',extractplanes=y%s,scale=%d:%d`, every, turn, info.Width, info.Height), "-pix_fmt", "gray", "-f", "rawvideo", "pipe:1")
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
		return nil, errors.Join(clip.ErrNoPicture, waitErr)
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
		if v >= 250 {
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
// An edge is a monotone rise or fall; its width is its height over its steepest
// slope. For an edge of a step blurred over w px that is w, for a Gaussian of
// standard deviation σ it is 2.5·σ.
func (s *samples) findEdges(pixels []byte) []edgeSmall {
	var out []edgeSmall
	const clear = 40 // Least height of an edge, grey levels.
	step := max(4, s.height/180)
	for y := step / 2; y < s.height; y += step {
		row := pixels[y*s.width : (y+1)*s.width]
		out = s.edgesAlong(out, s.width, clear, func(i int) int { return int(row[i]) }, func(i int) int { return (y*s.h/s.height)*s.w + i*s.w/s.width })
	}
	for x := step / 2; x < s.width; x += step {
		out = s.edgesAlong(out, s.height, clear, func(i int) int { return int(pixels[i*s.width+x]) }, func(i int) int { return (i*s.h/s.height)*s.w + x*s.w/s.width })
	}
	return out
}

func (s *samples) edgesAlong(out []edgeSmall, n, clear int, at, cell func(int) int) []edgeSmall {
	// Slopes over two pixels are quieter than over one.
	for i := 2; i < n-2; {
		slope := at(i+1) - at(i-1)
		if slope > -8 && slope < 8 {
			i++
			continue
		}
		sign := 1
		if slope < 0 {
			sign = -1
		}
		start, steepest := i, 0
		for i < n-2 {
			d := sign * (at(i+1) - at(i-1))
			if d < 3 {
				break
			}
			steepest = max(steepest, d)
			i++
		}
		height := sign * (at(i) - at(start-1))
		if height >= clear && steepest > 0 {
			out = append(out, edgeSmall{int32(cell((start + i) / 2)), float32(height) / (float32(steepest) / 2)})
		}
	}
	return out
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
