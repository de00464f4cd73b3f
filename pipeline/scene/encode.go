package scene

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"
)

// bands runs do over [0, n) cut into one range per core.
func bands(n int, do func(from, to int)) {
	k := max(1, min(n, runtime.GOMAXPROCS(0)))
	var wg sync.WaitGroup
	for i := range k {
		wg.Go(func() { do(n*i/k, n*(i+1)/k) })
	}
	wg.Wait()
}

// Renderer renders clips one after another or several at a time. It keeps the background
// of the last scene on a tripod, so that clips before one background draw it once. The
// zero value is ready for use.
type Renderer struct {
	mutex sync.Mutex
	seen  surroundings
	still *picture
}

// surroundings are all that the background of a scene on a tripod depends on, where
// nothing in it goes by chance.
type surroundings struct {
	yard     Yard
	eye      eye
	backdrop float64
}

// Render renders one clip, as Renderer.Render does.
func Render(ctx context.Context, s Scene, clipPath, truthPath string, progress func(done, total int)) (*Truth, error) {
	return new(Renderer).Render(ctx, s, clipPath, truthPath, progress)
}

// Render renders a scene into the clip at clipPath (.mp4 or .mov) and its truth
// into truthPath, which must lie in another folder so that nothing which
// measures the clip comes across it; an empty truthPath writes none. Both files
// appear whole or not at all. progress, which may be nil, is called after every
// frame from one goroutine. It needs ffmpeg on the path.
func (r *Renderer) Render(ctx context.Context, s Scene, clipPath, truthPath string, progress func(done, total int)) (*Truth, error) {
	if truthPath != "" && samePlace(filepath.Dir(clipPath), filepath.Dir(truthPath)) {
		return nil, fmt.Errorf("render %s: truth %s would lie beside the clip", clipPath, truthPath)
	}
	if _, err := container(clipPath); err != nil {
		return nil, err
	}
	m, err := solve(s)
	if err != nil {
		return nil, err
	}
	t := m.truth()
	if err := r.write(ctx, m, t, clipPath, progress); err != nil {
		return nil, fmt.Errorf("render %s: %w", clipPath, err)
	}
	if truthPath != "" {
		if err := t.Save(truthPath); err != nil {
			return nil, err
		}
	}
	return t, nil
}

func samePlace(a, b string) bool {
	x, err1 := filepath.Abs(a)
	y, err2 := filepath.Abs(b)
	return err1 == nil && err2 == nil && x == y
}

// background returns the picture of the yard from a tripod, which nobody may change.
func (r *Renderer) background(m *motion, y *yard) *picture {
	e := m.eyeAt(0)
	here := surroundings{m.scene.Yard, e, y.backdrop}
	r.mutex.Lock()
	defer r.mutex.Unlock()
	if r.still != nil && r.seen == here && y.photos == nil && !y.shade.on {
		return r.still
	}
	p := newPicture(m.scene.Camera.Width, m.scene.Camera.Height)
	y.paintStill(p, &e, 1, 0, 0)
	m.props(y, p, &e, 1, 0, 0)
	r.seen, r.still = here, p
	return p
}

// painters returns painters that share the still background.
func (r *Renderer) painters(m *motion, n int) []*painter {
	y := newYard(m)
	c := &m.scene.Camera
	var still *picture
	var lay *layer
	if m.shake == nil {
		still = r.background(m, y)
	} else {
		lay = newLayer(m, y)
	}
	out := make([]*painter, n)
	for i := range out {
		b := newBody(m)
		if y.photos != nil {
			b.fur = y.photos.fur
		}
		out[i] = &painter{m: m, yard: y, body: b, still: still, layer: lay, out: newPicture(c.Width, c.Height), view: m.eyeAt}
	}
	return out
}

// write renders all frames and pipes them in order into ffmpeg.
func (r *Renderer) write(ctx context.Context, m *motion, t *Truth, clipPath string, progress func(done, total int)) error {
	if err := os.MkdirAll(filepath.Dir(clipPath), 0o755); err != nil {
		return err
	}
	work, err := os.MkdirTemp(filepath.Dir(clipPath), ".render-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	raw := filepath.Join(work, "clip"+filepath.Ext(clipPath))

	asked := ctx
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	args, err := m.encodeArgs(t, work)
	if err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, "ffmpeg", append(args, raw)...)
	var said tail
	cmd.Stderr = &said
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("start ffmpeg: %w", err)
	}
	err = r.pump(ctx, m, t.Times, in, progress)
	err = errors.Join(err, in.Close())
	if err != nil {
		cancel()
	}
	werr := cmd.Wait()
	if asked.Err() != nil {
		// What a killed child and its pipe say tells nothing more.
		return asked.Err()
	}
	if werr != nil {
		return errors.Join(err, fmt.Errorf("ffmpeg: %w: %s", werr, said.String()))
	}
	if err != nil {
		return err
	}
	if turn := m.scene.Encoding.Rotation; turn != 0 {
		if err := setRotation(raw, turn); err != nil {
			return fmt.Errorf("set rotation: %w", err)
		}
	}
	return os.Rename(raw, clipPath)
}

// setRotation writes into the track header of an MP4 or MOV file that its picture is to
// be turned clockwise by so many degrees (display matrix, ISO/IEC 14496-12, 8.3.2). The
// versions of ffmpeg have different options for that.
func setRotation(path string, clockwise int) error {
	file, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	moov := bytes.Index(file, []byte("moov"))
	if moov < 0 {
		return errors.New("the file has no movie header")
	}
	at := bytes.Index(file[moov:], []byte("tkhd"))
	if at < 0 {
		return errors.New("the file has no track header")
	}
	header := file[moov+at+4:]
	matrix := 40 // Behind version, dates, number, length, layer and volume.
	if header[0] == 1 {
		matrix += 12 // Dates and length have 8 bytes.
	}
	sin, cos := []int32{0, 1, 0, -1}[clockwise/90], []int32{1, 0, -1, 0}[clockwise/90]
	for i, v := range []int32{cos, sin, 0, -sin, cos} {
		binary.BigEndian.PutUint32(header[matrix+4*i:], uint32(v)<<16)
	}
	return os.WriteFile(path, file, 0o644)
}

// tail keeps the last of what a child says.
type tail struct{ b []byte }

func (t *tail) Write(p []byte) (int, error) {
	t.b = append(t.b, p...)
	if n := len(t.b) - 4096; n > 0 {
		t.b = append(t.b[:0], t.b[n:]...)
	}
	return len(p), nil
}

func (t *tail) String() string { return strings.TrimSpace(string(bytes.ToValidUTF8(t.b, []byte("?")))) }

// encodeArgs returns ffmpeg's arguments up to the output file.
func (m *motion) encodeArgs(t *Truth, work string) ([]string, error) {
	c, e := m.scene.Camera, m.scene.Encoding
	w, h := c.Width, c.Height
	if e.Rotation%180 != 0 {
		w, h = h, w
	}
	format := "yuv420p"
	if e.BitDepth == 10 {
		format = "yuv420p10le"
	}
	// Time stamps come from a table in a filter script: a tree of comparisons.
	ticks := make([]int64, len(t.Times))
	for i, x := range t.Times {
		ticks[i] = int64(math.Round(x * timeBase))
	}
	var tree func(lo, hi int) string
	tree = func(lo, hi int) string {
		if hi-lo == 1 {
			return strconv.FormatInt(ticks[lo], 10)
		}
		mid := (lo + hi) / 2
		return fmt.Sprintf("if(lt(N,%d),%s,%s)", mid, tree(lo, mid), tree(mid, hi))
	}
	script := filepath.Join(work, "times")
	if err := os.WriteFile(script, fmt.Appendf(nil, "settb=1/%d,setpts='%s'", timeBase, tree(0, len(ticks))), 0o600); err != nil {
		return nil, err
	}
	args := []string{
		"-nostdin", "-v", "error", "-y",
		"-f", "rawvideo", "-pix_fmt", format, "-video_size", fmt.Sprintf("%dx%d", w, h), "-framerate", strconv.FormatFloat(c.FPS, 'f', -1, 64),
		"-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709",
		"-i", "pipe:0", "-filter_script:v", script, "-fps_mode", "passthrough", "-enc_time_base", fmt.Sprintf("1/%d", timeBase),
		"-pix_fmt", format, "-color_range", "tv", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709",
		"-video_track_timescale", strconv.Itoa(timeBase), "-movflags", "+faststart", "-preset", e.Preset,
		// A key frame a second, as phones write them (common practice).
		"-g", strconv.Itoa(max(1, int(math.Round(c.FPS)))),
		// From version 6 on, ffmpeg forgets how long a picture lasts where its time is set:
		// the last one would last no time, and players would leave it out.
		"-bsf:v", fmt.Sprintf("setts=pts=PTS:dts=DTS:duration=%d", int(math.Round(timeBase/c.FPS))),
	}
	switch e.Codec {
	case HEVC:
		args = append(args, "-c:v", "libx265", "-tag:v", "hvc1", "-x265-params", "log-level=error")
	default:
		args = append(args, "-c:v", "libx264")
	}
	if e.BitRateK > 0 {
		k := strconv.Itoa(e.BitRateK) + "k"
		// One thread: with several, where the rate is bounded, x264 goes by how far the others
		// happen to be, and the same scene gives other pictures from run to run.
		args = append(args, "-b:v", k, "-maxrate", k, "-bufsize", strconv.Itoa(2*e.BitRateK)+"k")
		e.Threads = 1
	} else {
		args = append(args, "-crf", strconv.Itoa(e.CRF))
	}
	if e.Threads > 0 {
		args = append(args, "-threads", strconv.Itoa(e.Threads))
	}
	return args, nil
}

// pump renders frames on all cores and writes them in order. Each painter works
// on whole frames, and what it draws depends on the frame alone.
func (r *Renderer) pump(ctx context.Context, m *motion, times []float64, out io.Writer, progress func(done, total int)) error {
	n := max(1, min(runtime.GOMAXPROCS(0), 8, len(times)))
	painters := r.painters(m, n)
	g, ctx := errgroup.WithContext(ctx)
	// Frame f is drawn by painter f mod n and handed over through its channel.
	full := make([]chan []byte, n)
	free := make([]chan []byte, n)
	for i, p := range painters {
		full[i], free[i] = make(chan []byte, 1), make(chan []byte, 2)
		free[i] <- nil
		free[i] <- nil
		g.Go(func() error {
			for f := i; f < len(times); f += n {
				var buf []byte
				select {
				case <-ctx.Done():
					return ctx.Err()
				case buf = <-free[i]:
				}
				p.frame(times[f])
				buf = p.pack(f, buf)
				select {
				case <-ctx.Done():
					return ctx.Err()
				case full[i] <- buf:
				}
			}
			return nil
		})
	}
	g.Go(func() error {
		for f := range times {
			var buf []byte
			select {
			case <-ctx.Done():
				return ctx.Err()
			case buf = <-full[f%n]:
			}
			if _, err := out.Write(buf); err != nil {
				return fmt.Errorf("write frame %d: %w", f, err)
			}
			free[f%n] <- buf
			if progress != nil {
				progress(f+1, len(times))
			}
		}
		return nil
	})
	return g.Wait()
}

// pack returns the bytes of the picture that was painted last, as motion.pack does. Where
// there is no noise and all but the horse stands still, only what it covers is quantised anew.
func (p *painter) pack(frame int, buf []byte) []byte {
	e := p.m.scene.Encoding
	if p.unquiet() || p.m.scene.Camera.NoiseSD > 0 || e.Rotation != 0 || e.BitDepth != 8 {
		return p.m.pack(p.out, frame, buf)
	}
	if p.bytes == nil {
		p.bytes = p.m.pack(p.still, frame, nil)
	}
	buf = append(buf[:0], p.bytes...)
	o, r := p.out, p.region
	if r.empty() {
		return buf
	}
	half := box{r.x0 / 2, r.y0 / 2, r.x1 / 2, r.y1 / 2}
	quantise(buf, o.y, o.w, r)
	quantise(buf[len(o.y):], o.cb, o.w/2, half)
	quantise(buf[len(o.y)+len(o.cb):], o.cr, o.w/2, half)
	return buf
}

// quantise puts part of a plane of width w into its 8-bit bytes.
func quantise(out []byte, v []float32, w int, part box) {
	for y := part.y0; y < part.y1; y++ {
		row := v[y*w+part.x0 : y*w+part.x1]
		line := out[y*w+part.x0:][:len(row)]
		for x, c := range row {
			line[x] = byte(max(0, min(255, int32(c+0.5))))
		}
	}
}

// pack adds sensor noise, quantises, turns the picture as it is stored and
// returns the planes one after another.
func (m *motion) pack(p *picture, frame int, buf []byte) []byte {
	e := m.scene.Encoding
	k := packing{rotation: e.Rotation, wide: 1, scale: 1, top: 255,
		state: m.scene.Seed*0x9e3779b97f4a7c15 + uint64(frame+1)*0xd1342543de82ef95}
	if e.BitDepth == 10 {
		k.wide, k.scale, k.top = 2, 4, 1023
	}
	size := len(p.y) * 3 / 2 * k.wide
	if cap(buf) < size {
		buf = make([]byte, size)
	}
	k.out = buf[:size]
	noise := float32(m.scene.Camera.NoiseSD)
	plane := k.plane
	if e.Rotation == 0 && e.BitDepth == 8 && noise > 0 {
		plane = k.plain
	}
	plane(p.y, p.w, p.h, noise)
	plane(p.cb, p.w/2, p.h/2, noise*0.5)
	plane(p.cr, p.w/2, p.h/2, noise*0.5)
	return k.out
}

// packing is a picture's bytes while its planes are added.
type packing struct {
	out        []byte
	at         int // Where the next plane begins.
	rotation   int
	wide       int // Bytes per value.
	scale, top float32
	state      uint64 // Of chance.
}

func (k *packing) next() uint64 {
	k.state += 0x9e3779b97f4a7c15
	z := k.state
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// plane adds a plane with noise of the given spread.
func (k *packing) plane(v []float32, w, h int, sd float32) {
	for y := range h {
		row := v[y*w : y*w+w]
		// Each row reads the table from a place of its own, in odd steps.
		r := k.next()
		j, step := uint16(r), uint16(r>>16)|1
		for x, c := range row {
			if sd > 0 {
				j += step
				c += sd * gaussTable[j]
			}
			switch k.rotation {
			case 90: // Stored turned to the left, shown turned to the right.
				k.put((w-1-x)*h+y, c)
			case 180:
				k.put((h-1-y)*w+w-1-x, c)
			case 270:
				k.put(x*h+h-1-y, c)
			default:
				k.put(y*w+x, c)
			}
		}
	}
	k.at += w * h * k.wide
}

// plain is plane for the commonest picture: with noise, upright, 8 bits a value.
func (k *packing) plain(v []float32, w, h int, sd float32) {
	out := k.out[k.at : k.at+w*h]
	for y := range h {
		row := v[y*w : y*w+w]
		line := out[y*w : y*w+w]
		line = line[:len(row)]
		r := k.next()
		j, step := uint16(r), uint16(r>>16)|1
		for x, c := range row {
			j += step
			c += sd * gaussTable[j]
			q := int32(c + 0.5)
			if uint32(q) > 255 {
				q = max(0, min(255, q))
			}
			line[x] = byte(q)
		}
	}
	k.at += w * h
}

// put sets value i of the plane.
func (k *packing) put(i int, x float32) {
	x = x*k.scale + 0.5
	if x < 0 {
		x = 0
	} else if x > k.top {
		x = k.top
	}
	if k.wide == 1 {
		k.out[k.at+i] = byte(x)
	} else {
		v := uint16(x)
		k.out[k.at+2*i], k.out[k.at+2*i+1] = byte(v), byte(v>>8)
	}
}
