package clip

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"

	"jogstrip/pipeline/fsx"
)

// Largest picture that is accepted, px along either side. It bounds what one
// frame can cost whatever a damaged header claims.
const maxSide = 8192

// mostAspect bounds what a header may claim of the shape of pixels: anamorphic film
// has 2 at most.
const mostAspect = 4

// ErrNoPicture is wrapped by errors about a file from which no picture can be had.
var ErrNoPicture = errors.New("the file holds no picture")

// noPicture is an error that wraps ErrNoPicture and says itself what is wrong.
type noPicture string

func (e noPicture) Error() string { return string(e) }
func (e noPicture) Unwrap() error { return ErrNoPicture }

// Info is what is known of a clip before its pictures are decoded.
type Info struct {
	Path      string
	Container string // As FFmpeg names it: "mov,mp4,m4a,3gp,3g2,mj2".
	Codec     string // "h264", "hevc", …
	BitDepth  int    // Bits of one luma sample.
	Rotation  int    // Degrees clockwise that make the picture upright: 0, 90, 180 or 270.
	// Mirrored is whether the container has players exchange left and right, before the
	// picture is turned: as phones do with the camera on their front.
	Mirrored bool
	// Aspect is the width of a stored pixel over its height. The upright picture has
	// square pixels: it is wider or higher than what is stored.
	Aspect    float64
	Width     int       // Of the upright picture, px.
	Height    int       // Of the upright picture, px.
	Times     []float64 // Presentation time of every frame the container promises, s from the first. Index: frame.
	FrameRate float64   // Frames per second, from the median interval.
	// FilmedFPS is how many frames a second the phone filmed where it wrote that down (in
	// slow motion, or at any rate), else 0. Slowed is by how much the clip plays slower
	// than it was filmed: Times and FrameRate are the true ones, the file's own times are
	// Slowed times as long. 1 is not slowed.
	FilmedFPS, Slowed float64
	// Variable is whether intervals differ by more than a tenth of the median one.
	Variable bool
	Bytes    int64 // Size of the file.
	firstPTS float64
	delay    int // Pictures that decoding holds back; -1 where that must be found out again.
}

// DurationS returns the time from the first to the last frame, s.
func (i *Info) DurationS() float64 {
	if len(i.Times) == 0 {
		return 0
	}
	return i.Times[len(i.Times)-1]
}

// Probe reads what the container says of the clip at path. Errors name the
// file and the cause; a file without video wraps ErrNoPicture.
func Probe(ctx context.Context, path string) (*Info, error) {
	stat, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open clip %s: %w", path, fsx.Cause(err))
	}
	switch {
	case stat.IsDir():
		return nil, fmt.Errorf("open clip %s: it is a folder", path)
	case !stat.Mode().IsRegular():
		return nil, fmt.Errorf("open clip %s: it is not an ordinary file", path)
	case stat.Size() == 0:
		return nil, fmt.Errorf("open clip %s: %w", path, noPicture("the file is empty (0 bytes); copy it from the phone again"))
	}
	info, err := probe(ctx, path, stat.Size())
	if err != nil {
		return nil, fmt.Errorf("open clip %s: %w", path, err)
	}
	if info.delay >= 0 {
		info.delay = max(info.delay, held(info.Times))
	}
	slices.Sort(info.Times)
	info.Times = slices.Compact(info.Times)
	info.firstPTS = info.Times[0]
	for i := range info.Times {
		info.Times[i] -= info.firstPTS
	}
	info.FrameRate, info.Variable = rate(info.Times)
	if info.FilmedFPS >= slowMotionFPS && info.FilmedFPS > leastTagged*info.FrameRate {
		return info.FilmedAt(info.FilmedFPS), nil
	}
	return info, nil
}

// probe describes the clip, with the file's own times of the pictures it shows.
func probe(ctx context.Context, path string, size int64) (*Info, error) {
	d, err := openDecoder(ctx, path, -1)
	if err != nil {
		return nil, err
	}
	defer d.close()
	info, err := d.describe(path, size)
	if err != nil {
		return nil, err
	}
	unstamped, hidden := false, false
	for {
		packet, err := d.skim(ctx)
		if err := brokenOff(ctx, err); err != nil {
			return nil, err
		}
		if err != nil {
			break // The end, or as far as a damaged clip goes.
		}
		if packet.encrypted {
			return nil, noPicture("its pictures are encrypted, and only the program that made it has the key; film or export it without protection")
		}
		unstamped = unstamped || !packet.stamped
		hidden = hidden || !packet.shown
		if packet.stamped && packet.shown {
			info.Times = append(info.Times, packet.at)
		}
	}
	if unstamped {
		if info.Times, err = decodedTimes(ctx, info); err != nil {
			return nil, err
		}
	}
	switch {
	case len(info.Times) > 0:
		return info, nil
	case hidden:
		return nil, noPicture("by its own list of cuts none of its pictures is shown; export it from the phone without cuts")
	case unstamped:
		return nil, noPicture("none of its pictures can be decoded or has a time; copy it from the phone again")
	}
	return nil, noPicture("its index names no picture: the copy broke off, or the phone could not finish the film; copy it from the phone again")
}

// A phone's tag tells of slow motion where it names a rate that phones have for nothing
// else, and one well above what the file has: in dim light they film at a half of the
// rate that was set, and the tag says what was set.
const slowMotionFPS, leastTagged = 90, 1.9

// Frames a second between which what somebody says of them is believed.
const leastFPS, mostFPS = 5, 2000

// Turned says how players turn the stored picture to show it: the degrees clockwise, and
// "mirrored" where they exchange left and right before.
func (i *Info) Turned() string {
	text := fmt.Sprint(i.Rotation)
	if i.Mirrored {
		text += " mirrored"
	}
	return text
}

// leastSlowed is by how much a clip must play slower than it was filmed to count as
// slow motion: phones' rates are off by some percent of what they say.
const leastSlowed = 1.2

// FilmedAt returns the clip with the times that it has if it was filmed at so many
// frames a second, where that makes it slow motion; else, and for numbers that no
// camera has, the clip as it is.
func (i *Info) FilmedAt(fps float64) *Info {
	if !(fps >= leastFPS && fps <= mostFPS) || !(i.FrameRate > 0) {
		return i
	}
	now := max(1, i.Slowed)
	slowed := now * fps / i.FrameRate
	if slowed < leastSlowed {
		slowed = 1
	}
	out := *i
	out.Slowed, out.FilmedFPS = slowed, fps
	out.Times = make([]float64, len(i.Times))
	for k, t := range i.Times {
		out.Times[k] = t * now / slowed
	}
	out.FrameRate, out.Variable = rate(out.Times)
	return &out
}

// decodedTimes returns the times of the frames of a clip whose container stamps only
// some of them, s: decoding it tells those of the others.
func decodedTimes(ctx context.Context, info *Info) ([]float64, error) {
	d, err := openDecoder(ctx, info.Path, info.delay)
	if err != nil {
		return nil, err
	}
	defer d.close()
	whole := *info
	whole.firstPTS = math.Inf(1) // Times are counted from whichever frame comes first.
	if err := d.start(&whole, false, threads()); err != nil {
		return nil, err
	}
	p, err := newPicture(&whole)
	if err != nil {
		return nil, err
	}
	defer p.free()
	var times []float64
	for {
		at, err := d.next(ctx, p)
		if err := brokenOff(ctx, err); err != nil {
			return nil, err
		}
		if err != nil {
			return times, nil // The end, or as far as a damaged clip goes.
		}
		times = append(times, d.base+at)
	}
}

// brokenOff returns why reading was broken off, err among it, before the clip's end or
// damage: nil where it was not. ctx counts whether or not the reader had seen it yet.
func brokenOff(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if errors.Is(err, ErrDecoderLost) {
		return err
	}
	return nil
}

// mostHeld is how many pictures a decoder can hold back (ITU-T H.264, A.3.1).
const mostHeld = 16

// held returns how many pictures a decoder must hold back to show them in order of
// their times, which come in the order of decoding: those that are shown after one
// that is decoded later.
func held(times []float64) int {
	most := 0
	for i, t := range times {
		n := 0
		for _, before := range times[max(0, i-mostHeld):i] {
			if before > t {
				n++
			}
		}
		most = max(most, n)
	}
	return most
}

// describe returns what the stream says of itself: all but the times.
func (d *decoder) describe(path string, size int64) (*Info, error) {
	s := &d.stream
	w, h := int(s.width), int(s.height)
	if s.cover != 0 {
		return nil, noPicture("its only picture is a cover image; choose the film itself")
	}
	if w < 16 || h < 16 || w > maxSide || h > maxSide {
		return nil, noPicture(fmt.Sprintf("its pictures are %d × %d px, and this program reads 16 to %d px along each side; export it in another size", w, h, maxSide))
	}
	clockwise := float64(s.clockwise)
	quarter := math.Round(clockwise / 90)
	if math.Abs(clockwise-90*quarter) > 1 {
		return nil, fmt.Errorf("it is turned by %g°, and only quarter turns are understood; export it upright", clockwise)
	}
	aspect := float64(s.aspect)
	switch {
	case !(aspect > 1.0/mostAspect && aspect < mostAspect):
		return nil, fmt.Errorf("its pixels are said to be %.3g times as wide as high; up to %d times is understood", aspect, mostAspect)
	case math.Abs(aspect-1) < 0.002:
		aspect = 1 // Less than a pixel's row or two.
	case aspect > 1:
		w = int(math.Round(float64(w) * aspect))
	default:
		h = int(math.Round(float64(h) / aspect))
	}
	if w > maxSide || h > maxSide {
		return nil, noPicture(fmt.Sprintf("its pictures are %d × %d square pixels, and this program reads 16 to %d px along each side; export it in another size", w, h, maxSide))
	}
	rotation := ((int(quarter)%4 + 4) % 4) * 90
	if rotation%180 != 0 {
		w, h = h, w
	}
	return &Info{Path: path, Container: text(s.container), Codec: text(s.codec), BitDepth: int(s.bits),
		Rotation: rotation, Mirrored: s.mirrored != 0, Aspect: aspect, FilmedFPS: float64(s.filmed), Slowed: 1, Width: w, Height: h, Bytes: size, delay: int(s.delay)}, nil
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
