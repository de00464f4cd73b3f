package markpage

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"jogstrip/pipeline/clip"
)

// size is one of the sizes in which pictures are served.
type size string

const (
	sizeThumb size = "thumb" // For lists.
	sizePlay  size = "play"  // For playing and scrubbing.
	sizeStep  size = "step"  // For marking.
	sizeFull  size = "full"  // The clip's own pixels, for the loupe on large clips.
)

// form tells how pictures of a size are made: how long the longer side is at most, px, JPEG quality as
// ffmpeg counts it, and how many are decoded together.
type form struct {
	width, quality, together int
}

var forms = map[size]form{
	sizeThumb: {320, 6, 1},
	sizePlay:  {960, 5, 48},
	sizeStep:  {1920, 3, 24},
	sizeFull:  {0, 2, 1},
}

// pictures decodes clips to JPEGs, a run of frames at a time, and keeps those
// used last within a bound of memory. The runs before and after the one looked
// at are decoded ahead, so that a step in either direction finds its picture
// ready.
type pictures struct {
	ctx   context.Context
	limit int64
	slots chan struct{} // How many decoders may run at once.
	ahead chan struct{} // How many of them for pictures that nobody waits for yet.
	work  sync.WaitGroup

	mu   sync.Mutex
	runs map[runKey]*run
	used int64
	tick uint64
}

type runKey struct {
	path   string
	stamp  string // Changes with the file.
	size   size
	number int
}

type run struct {
	first    int
	frames   [][]byte
	ended    bool
	err      error
	waiting  int
	bytes    int64
	lastUsed uint64
	wanted   chan struct{} // Closed when somebody waits for the first time.
	changed  chan struct{} // Closed and replaced whenever something above changes.
}

func newPictures(ctx context.Context, limit int64) *pictures {
	return &pictures{ctx: ctx, limit: limit, slots: make(chan struct{}, 2), ahead: make(chan struct{}, 1), runs: make(map[runKey]*run)}
}

// wait returns once nothing is decoded any more; the context must have ended.
func (p *pictures) wait() { p.work.Wait() }

// get returns the picture of one frame as a JPEG.
func (p *pictures) get(ctx context.Context, info *clip.Info, stamp string, frame int, sz size) ([]byte, error) {
	f, known := forms[sz]
	if !known {
		return nil, fmt.Errorf("picture size %q is unknown", sz)
	}
	if frame < 0 || frame >= len(info.Times) {
		return nil, fmt.Errorf("frame %d: the clip has frames 0 to %d", frame, len(info.Times)-1)
	}
	key := runKey{info.Path, stamp, sz, frame / f.together}
	r := p.want(info, key, f, true)
	defer func() {
		p.mu.Lock()
		r.waiting--
		p.mu.Unlock()
	}()
	if f.together > 1 {
		for _, number := range []int{key.number + 1, key.number - 1, key.number + 2, key.number - 2} {
			if number >= 0 && number*f.together < len(info.Times) {
				neighbour := key
				neighbour.number = number
				p.want(info, neighbour, f, false)
			}
		}
	}
	for {
		p.mu.Lock()
		changed := r.changed
		var picture []byte
		if i := frame - r.first; i < len(r.frames) {
			picture = r.frames[i]
		}
		ended, err := r.ended, r.err
		p.mu.Unlock()
		switch {
		case picture != nil:
			return picture, nil
		case ended && err != nil:
			return nil, err
		case ended:
			return nil, fmt.Errorf("frame %d of clip %s could not be decoded", frame, info.Path)
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-p.ctx.Done():
			return nil, p.ctx.Err()
		}
	}
}

// want returns the run of the key and starts to decode it where it is not at
// hand. A run that someone waits for counts one more waiting.
func (p *pictures) want(info *clip.Info, key runKey, f form, waited bool) *run {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tick++
	r := p.runs[key]
	if r == nil {
		r = &run{first: key.number * f.together, wanted: make(chan struct{}), changed: make(chan struct{})}
		p.runs[key] = r
		if p.ctx.Err() == nil {
			p.work.Add(1)
			go p.decode(info, key, r, f)
		} else {
			r.ended, r.err = true, p.ctx.Err()
		}
	}
	r.lastUsed = p.tick
	if waited {
		r.waiting++
		select {
		case <-r.wanted:
		default:
			close(r.wanted)
		}
	}
	return r
}

func (p *pictures) decode(info *clip.Info, key runKey, r *run, f form) {
	defer p.work.Done()
	err := p.decodeInto(info, key, r, f)
	p.mu.Lock()
	defer p.mu.Unlock()
	r.ended, r.err = true, err
	close(r.changed)
	r.changed = make(chan struct{})
	if err != nil && !errors.Is(err, clip.ErrBroken) {
		p.forget(key, r) // The next request tries again.
	}
	p.evict()
}

func (p *pictures) decodeInto(info *clip.Info, key runKey, r *run, f form) error {
	// What somebody waits for does not queue behind what might be wanted later.
	select {
	case <-r.wanted:
	default:
		select {
		case <-r.wanted:
		case p.ahead <- struct{}{}:
			defer func() { <-p.ahead }()
		case <-p.ctx.Done():
			return p.ctx.Err()
		}
	}
	select {
	case p.slots <- struct{}{}:
	case <-p.ctx.Done():
		return p.ctx.Err()
	}
	defer func() { <-p.slots }()
	p.mu.Lock()
	// After a jump elsewhere nobody wants what was queued before.
	const fresh = 32
	stale := r.waiting == 0 && p.tick-r.lastUsed > fresh
	if stale {
		p.forget(key, r) // Under the same lock: nobody can begin to wait for it.
	}
	p.mu.Unlock()
	if stale {
		return errStale
	}
	last := min(r.first+f.together, len(info.Times)) - 1
	width := f.width
	if info.Height > info.Width {
		width = width * info.Width / info.Height // The bound is meant for the longer side.
	}
	return clip.Pictures(p.ctx, info, r.first, last, clip.PictureOptions{MaxWidth: width, Quality: f.quality}, func(_ int, jpeg []byte) error {
		p.mu.Lock()
		defer p.mu.Unlock()
		r.frames = append(r.frames, jpeg)
		r.bytes += int64(len(jpeg))
		p.used += int64(len(jpeg))
		close(r.changed)
		r.changed = make(chan struct{})
		return nil
	})
}

var errStale = errors.New("nobody wants these pictures any more")

// forget drops a run. p.mu is held.
func (p *pictures) forget(key runKey, r *run) {
	if p.runs[key] == r {
		delete(p.runs, key)
		p.used -= r.bytes
	}
}

// evict drops the runs not used for longest until the bound holds. p.mu is held.
func (p *pictures) evict() {
	for p.used > p.limit {
		var oldest runKey
		var victim *run
		for k, r := range p.runs {
			if r.ended && r.waiting == 0 && (victim == nil || r.lastUsed < victim.lastUsed) {
				oldest, victim = k, r
			}
		}
		if victim == nil {
			return
		}
		p.forget(oldest, victim)
	}
}
