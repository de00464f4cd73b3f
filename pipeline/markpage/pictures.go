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
	sizeStill size = "still" // For comparing what stands still.
	sizeFull  size = "full"  // The clip's own pixels, for the loupe on large clips.
)

// form tells how pictures of a size are made.
type form struct {
	width    int  // How long the longer side is at most, px; 0 is the clip's own.
	quality  int  // JPEG quality as ffmpeg counts it.
	together int  // How many are decoded together.
	reach    int  // How many runs before and after the one looked at are decoded ahead.
	alone    bool // Whether one that is far from all at hand is decoded by itself first:
	soon     int  // where a run has more pictures than this to go before it.
	near     bool // Whether the picture nearest to it from which decoding can start will do.
}

var forms = map[size]form{
	sizeThumb: {width: 320, quality: 6, together: 1, near: true},
	sizePlay:  {width: 960, quality: 6, together: 120, reach: 2},
	sizeStep:  {width: 1920, quality: 3, together: 16, reach: 1, alone: true, soon: 6},
	sizeStill: {width: 1920, quality: 3, together: 1},
	sizeFull:  {quality: 2, together: 1},
}

// formOf returns how pictures of a size are made of a clip. What a run of pictures costs
// for marking is as much for small clips as for those of 1920 × 1080 px: more of them.
func formOf(info *clip.Info, sz size) (f form, known bool) {
	f, known = forms[sz]
	if more := 1920 * 1080 / max(1, info.Width*info.Height); f.alone && more > 1 {
		f.together = min(f.together*more, forms[sizePlay].together)
		f.soon *= more
	}
	return f, known
}

// pictures decodes clips to JPEGs, a run of frames at a time, and keeps those
// used last within a bound of memory. The runs before and after the one looked
// at are decoded ahead, so that a step in either direction finds its picture
// ready. After a jump the one picture that is waited for comes first, by itself;
// what was being decoded ahead elsewhere in the clip is given up, and what is decoded
// ahead at all stands still while somebody waits.
type pictures struct {
	ctx    context.Context
	limit  int64
	slots  chan struct{} // How many decoders may run at once for pictures that somebody waits for.
	ahead  chan struct{} // The same for pictures that nobody waits for yet.
	thumbs chan struct{} // The same for lists, which must not hold up the picture that is marked.
	work   sync.WaitGroup

	mu      sync.Mutex
	runs    map[runKey]*run
	looked  map[runKey]int // Without a number: that of the run looked at last.
	waiting int            // How many wait for a picture.
	calm    chan struct{}  // Closed and replaced when nobody waits any more.
	used    int64
	tick    uint64
}

type runKey struct {
	path   string
	stamp  string // Changes with the file.
	size   size
	number int  // Of the run; of the frame where it is alone.
	alone  bool // A single picture.
}

type run struct {
	first    int
	frames   [][]byte
	ended    bool
	err      error
	waiting  int
	bytes    int64
	lastUsed uint64
	cancel   context.CancelFunc
	wanted   chan struct{} // Closed when somebody waits for the first time.
	changed  chan struct{} // Closed and replaced whenever something above changes.
}

func newPictures(ctx context.Context, limit int64) *pictures {
	return &pictures{ctx: ctx, limit: limit, slots: make(chan struct{}, 2), ahead: make(chan struct{}, 1), thumbs: make(chan struct{}, 1), runs: make(map[runKey]*run), looked: make(map[runKey]int), calm: make(chan struct{})}
}

// wait returns once nothing is decoded any more; the context must have ended.
func (p *pictures) wait() { p.work.Wait() }

// get returns the picture of one frame as a JPEG.
func (p *pictures) get(ctx context.Context, info *clip.Info, stamp string, frame int, sz size) ([]byte, error) {
	return p.picture(ctx, info, stamp, frame, sz, true)
}

// beside is get for a frame beside the one looked at, which is wanted next. It comes with
// its run: decoded by itself it would cost as much as the whole run does.
func (p *pictures) beside(ctx context.Context, info *clip.Info, stamp string, frame int, sz size) ([]byte, error) {
	return p.picture(ctx, info, stamp, frame, sz, false)
}

// picture returns the picture of one frame; with alone it may be decoded by itself.
func (p *pictures) picture(ctx context.Context, info *clip.Info, stamp string, frame int, sz size, alone bool) ([]byte, error) {
	f, known := formOf(info, sz)
	if !known {
		return nil, fmt.Errorf("picture size %q is unknown", sz)
	}
	if frame < 0 || frame >= len(info.Times) {
		return nil, fmt.Errorf("frame %d: the clip has frames 0 to %d", frame, len(info.Times)-1)
	}
	key := runKey{path: info.Path, stamp: stamp, size: sz, number: frame / f.together}
	single := runKey{path: info.Path, stamp: stamp, size: sz, number: frame, alone: true}
	p.giveUpFar(key)
	if !alone || !f.alone || p.comesSoon(key, single, frame, f) {
		picture, err := p.from(ctx, info, key, frame, f, true)
		return picture, err
	}
	picture, err := p.from(ctx, info, single, frame, f, false)
	// Its neighbours are the next ones wanted.
	p.want(info, key, f, false)
	p.wantAround(info, key, f)
	return picture, err
}

// prepare has a frame's pictures made without waiting for them.
func (p *pictures) prepare(info *clip.Info, stamp string, frame int, sz size) {
	f, known := formOf(info, sz)
	if !known {
		return
	}
	key := runKey{path: info.Path, stamp: stamp, size: sz, number: frame / f.together}
	if f.alone {
		p.want(info, runKey{path: info.Path, stamp: stamp, size: sz, number: frame, alone: true}, f, false)
		return
	}
	p.want(info, key, f, false)
	p.wantAround(info, key, f)
}

// atHand returns the picture of one frame where it is decoded already, else nil.
func (p *pictures) atHand(info *clip.Info, stamp string, frame int, sz size) []byte {
	f, known := formOf(info, sz)
	if !known || frame < 0 {
		return nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, key := range []runKey{{path: info.Path, stamp: stamp, size: sz, number: frame / f.together}, {path: info.Path, stamp: stamp, size: sz, number: frame, alone: true}} {
		if r := p.runs[key]; r != nil && frame-r.first >= 0 && frame-r.first < len(r.frames) {
			p.tick++
			r.lastUsed = p.tick
			return r.frames[frame-r.first]
		}
	}
	return nil
}

// comesSoon reports whether the run of the frame has it, or will in a moment.
func (p *pictures) comesSoon(key, single runKey, frame int, f form) bool {
	if f.together == 1 {
		return true
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if r := p.runs[single]; r != nil && len(r.frames) > 0 {
		return false
	}
	r := p.runs[key]
	if r == nil {
		return frame-key.number*f.together < f.soon/2 // It begins with it, nearly.
	}
	return r.ended || len(r.frames) > 0 && frame-r.first-len(r.frames) < f.soon
}

// giveUpFar ends what is decoded ahead of the same clip and size away from key.
func (p *pictures) giveUpFar(key runKey) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.looked[key.any()] = key.number
	for k, r := range p.runs {
		p.giveUp(k, r)
	}
}

// any returns the key without what tells runs of a clip and size apart.
func (k runKey) any() runKey {
	k.number, k.alone = 0, false
	return k
}

// giveUp ends a run for which nobody waits and that is far from the one looked at last, and
// a single picture that somebody waited for who has left: it would hold up the one that is
// waited for now. p.mu is held.
func (p *pictures) giveUp(k runKey, r *run) {
	at, known := p.looked[k.any()]
	if !known || r.ended || r.waiting > 0 {
		return
	}
	far := false
	if k.alone {
		far = len(r.frames) == 0 && r.wasWanted()
	} else {
		d := k.number - at
		far = d < -forms[k.size].reach || d > forms[k.size].reach
	}
	if far {
		p.forget(k, r) // Under the same lock: nobody can begin to wait for it.
		r.cancel()
	}
}

// wasWanted reports whether somebody has waited for the run.
func (r *run) wasWanted() bool {
	select {
	case <-r.wanted:
		return true
	default:
		return false
	}
}

// standStill waits while somebody waits for a picture of another run than r. What makes
// the pictures of r then stands still, too, for nobody takes them.
func (p *pictures) standStill(ctx context.Context, r *run) error {
	for {
		p.mu.Lock()
		calm, free := p.calm, p.waiting == 0 || r.waiting > 0
		p.mu.Unlock()
		if free {
			return nil
		}
		select {
		case <-calm:
		case <-r.wanted:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (p *pictures) wantAround(info *clip.Info, key runKey, f form) {
	for d := 1; d <= f.reach; d++ {
		for _, number := range []int{key.number + d, key.number - d} {
			if number >= 0 && number*f.together < len(info.Times) {
				neighbour := key
				neighbour.number = number
				p.want(info, neighbour, f, false)
			}
		}
	}
}

// from waits for a frame of the run of key.
func (p *pictures) from(ctx context.Context, info *clip.Info, key runKey, frame int, f form, around bool) ([]byte, error) {
	r := p.want(info, key, f, true)
	p.mu.Lock()
	p.waiting++
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		r.waiting--
		p.giveUp(key, r) // Whoever waited has gone elsewhere.
		if p.waiting--; p.waiting == 0 {
			close(p.calm)
			p.calm = make(chan struct{})
		}
	}()
	if around {
		p.wantAround(info, key, f)
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
		ctx, cancel := context.WithCancel(p.ctx)
		r = &run{first: key.number * f.together, cancel: cancel, wanted: make(chan struct{}), changed: make(chan struct{})}
		if key.alone {
			r.first = key.number
		}
		p.runs[key] = r
		if p.ctx.Err() == nil {
			p.work.Add(1)
			go p.decode(ctx, info, key, r, f)
		} else {
			cancel()
			r.ended, r.err = true, p.ctx.Err()
		}
	}
	r.lastUsed = p.tick
	if waited {
		r.waiting++
		if !r.wasWanted() {
			close(r.wanted)
		}
	}
	return r
}

func (p *pictures) decode(ctx context.Context, info *clip.Info, key runKey, r *run, f form) {
	defer p.work.Done()
	defer r.cancel()
	err := p.decodeInto(ctx, info, key, r, f)
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

func (p *pictures) decodeInto(ctx context.Context, info *clip.Info, key runKey, r *run, f form) error {
	// What somebody waits for does not queue behind what might be wanted later.
	slots, idle := p.slots, false
	if !r.wasWanted() {
		slots, idle = p.ahead, true
	}
	if f.near {
		slots = p.thumbs
	}
	if idle {
		select {
		case <-r.wanted:
			idle = false
			slots = p.slots
		case slots <- struct{}{}:
			defer func() { <-slots }()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if !idle {
		select {
		case slots <- struct{}{}:
			defer func() { <-slots }()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
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
	last := r.first
	if !key.alone {
		last = min(r.first+f.together, len(info.Times)) - 1
	}
	width := f.width
	if info.Height > info.Width {
		width = width * info.Width / info.Height // The bound is meant for the longer side.
	}
	return clip.Pictures(ctx, info, r.first, last, clip.PictureOptions{MaxWidth: width, Quality: f.quality, Near: f.near, Idle: idle}, func(_ int, jpeg []byte) error {
		p.take(key, r, jpeg)
		if !idle {
			return nil
		}
		return p.standStill(ctx, r)
	})
}

// take adds a picture to a run.
func (p *pictures) take(key runKey, r *run, jpeg []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	r.frames = append(r.frames, jpeg)
	r.bytes += int64(len(jpeg))
	if p.runs[key] == r { // Else it was given up, and counts no more.
		p.used += int64(len(jpeg))
	}
	close(r.changed)
	r.changed = make(chan struct{})
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
