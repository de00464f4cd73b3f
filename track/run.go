package track

import (
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"math"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/stat"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Run follows every marked landmark through the clip. It returns a *MarkError
// for a mark that does not fit the clip, ErrNoMarks where there is none, and the
// context's error once it is cancelled. Same frames and marks give the same
// result, bit by bit, whatever the number of processors.
func Run(ctx context.Context, open Open, marks []Mark, opts Options) (result *Result, err error) {
	if opts.MaxScratch == 0 {
		opts.MaxScratch = 16 << 30
	}
	if opts.BridgeS == 0 {
		opts.BridgeS = 0.1
	}
	if err := checkMarks(marks); err != nil {
		return nil, err
	}
	opts.Model = opts.Model.OrUsual()
	c, err := load(ctx, open, marks, opts)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, c.spool.close()) }()
	return c.track(ctx, opts)
}

// clip is everything the one pass over the frames leaves behind.
type clip struct {
	engine        *flow.Engine
	model         *errormodel.Tracking
	prior         float64 // How far clicks are off until the marks tell, px.
	hands         hands
	width, height int
	played        []float64 // Of the frames, s.
	times         []float64 // The same as filmed: a clip may play slower,
	slower        float64   // that many times.
	spool         *spool
	marks         []Mark  // Ordered by frame.
	guessed       []int   // Which of them did not say how far the click may be off.
	click         float64 // How far these are off, px; 0 where nothing tells.
	pairs         []traj.Pair
	motions       []traj.Motion
	shake         float64
	residual      float64
	toFirst       []traj.Motion                 // To frame 0; nil where the camera stood still.
	lane          *lane                         // Nil where too little of it was seen.
	grows         bool                          // The horse comes toward the camera.
	looks         []float64                     // How large it looks by frame, up to a factor; 0 or nil where the marks do not tell.
	common        map[traj.Landmark]*commonLook // What the marks of each landmark on the outline have in common.
	pace          *errormodel.Pace              // Of the gait.
	trunk         *trunk                        // Nil until the body was followed, and where none is marked.
}

// checkMarks checks what can be checked without the clip.
func checkMarks(marks []Mark) error {
	type place struct {
		l traj.Landmark
		f int
	}
	seen := map[place]bool{}
	visible := false
	for _, m := range marks {
		switch {
		case !m.Landmark.Valid():
			return &MarkError{m, "unknown landmark"}
		case m.Frame < 0:
			return &MarkError{m, "frame number is negative"}
		case seen[place{m.Landmark, m.Frame}]:
			return &MarkError{m, "marked twice in one frame"}
		case m.SD < 0 || math.IsNaN(m.SD) || math.IsInf(m.SD, 0):
			return &MarkError{m, "spread must be a number of pixels, 0 or more"}
		case m.Visible && !(flow.Point{X: m.X, Y: m.Y}).Finite():
			return &MarkError{m, "position is not a finite number"}
		}
		seen[place{m.Landmark, m.Frame}] = true
		visible = visible || m.Visible
	}
	if !visible {
		return fmt.Errorf("track: %w", ErrNoMarks)
	}
	return nil
}

// load reads the clip once: luma into the scratch file, times, background.
func load(ctx context.Context, open Open, marks []Mark, opts Options) (c *clip, err error) {
	src, err := open(ctx)
	if err != nil {
		return nil, fmt.Errorf("open clip: %w", err)
	}
	if closer, ok := src.(io.Closer); ok {
		defer func() { err = errors.Join(err, closer.Close()) }()
	}
	w, h := src.Size()
	if w < 16 || h < 16 || w > 1<<14 || h > 1<<14 {
		return nil, fmt.Errorf("open clip: picture of %d×%d: must be between 16 and %d pixels on each side", w, h, 1<<14)
	}
	loaded := &clip{engine: flow.New(), model: &opts.Model.Tracking, prior: opts.Model.Click.PriorPX, hands: newHands(), width: w, height: h}
	if err := loaded.setMarks(marks); err != nil {
		return nil, err
	}
	if loaded.spool, err = newSpool(opts.ScratchDir, opts.MaxScratch, spoolMemory(w, h)); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, loaded.spool.close())
		}
	}()
	in := &reading{clip: loaded, moving: &movement{width: w, height: h}, empty: newLane(w, h), back: newBackground(loaded.engine, w, h)}
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		pix, t, err := src.Next(ctx)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("read frame %d: %w", len(loaded.times), err)
		}
		if err := in.add(pix, t); err != nil {
			return nil, err
		}
		if opts.Progress != nil {
			opts.Progress("read", len(loaded.times), 0)
		}
	}
	if err := in.finish(opts.ReferenceFrame); err != nil {
		return nil, err
	}
	return loaded, nil
}

// setMarks takes over the marks in the order of frames; those that say nothing of their error
// get the usual one.
func (c *clip) setMarks(marks []Mark) error {
	c.marks = slices.Clone(marks)
	slices.SortStableFunc(c.marks, func(a, b Mark) int { return a.Frame - b.Frame })
	for i := range c.marks {
		m := &c.marks[i]
		if m.SD == 0 {
			m.SD = c.prior
			c.guessed = append(c.guessed, i)
		}
		if m.Visible && !(m.X >= -0.5 && m.Y >= -0.5 && m.X <= float64(c.width)-0.5 && m.Y <= float64(c.height)-0.5) {
			return &MarkError{*m, fmt.Sprintf("outside the picture of %d×%d", c.width, c.height)}
		}
	}
	return nil
}

// reading is what reading a clip collects from frame to frame.
type reading struct {
	clip   *clip
	moving *movement
	empty  *lane
	back   *background
}

// add takes the next frame, its luma row by row, shown at t, s.
func (in *reading) add(pix []byte, t float64) error {
	c := in.clip
	f, w, h := len(c.times), c.width, c.height
	if len(pix) != w*h {
		return fmt.Errorf("read frame %d: %d bytes of luma, want %d for %d×%d", f, len(pix), w*h, w, h)
	}
	if math.IsNaN(t) || math.IsInf(t, 0) || f > 0 && t <= c.times[f-1] {
		return fmt.Errorf("read frame %d: time %v s: must be later than the frame before", f, t)
	}
	c.times = append(c.times, t)
	g := flow.Gray{Pix: pix, Width: w, Height: h, Stride: w}
	if err := in.back.add(g); err != nil {
		return fmt.Errorf("measure background: %w", err)
	}
	rate := 60.0
	if f > 0 {
		rate = min(max(float64(f)/(t-c.times[0]), 5), 1000)
	}
	shift := shiftOf(in.back.motions[f], w, h)
	scale := float64(in.back.small.Width) / float64(w)
	box := in.moving.add(in.back.small, flow.Point{X: shift.X * scale, Y: shift.Y * scale}, rate)
	keep := box
	if w > 640 {
		keep = keep.Union(c.nearMarks(f, rate))
	}
	if err := c.spool.add(g, keep); err != nil {
		return err
	}
	if every := max(1, int(rate*lanePerS)); f%every == 0 && w > 640 {
		if err := in.empty.see(c.engine, g, box, in.back.motions[f]); err != nil {
			return fmt.Errorf("frame %d: %w", f, err)
		}
	}
	return nil
}

// finish sets what is known once the last frame has been read. Motions are told against
// the frame reference.
func (in *reading) finish(reference int) error {
	c := in.clip
	n := len(c.times)
	if n == 0 {
		return errors.New("read clip: it holds no frame")
	}
	for _, m := range c.marks {
		if m.Frame >= n {
			return &MarkError{m, fmt.Sprintf("the clip ends with frame %d", n-1)}
		}
	}
	if reference < 0 || reference >= n {
		return fmt.Errorf("reference frame %d: the clip has frames 0 to %d", reference, n-1)
	}
	for f := n - 1; f >= 0; f-- {
		c.times[f] -= c.times[0]
	}
	c.played = c.times
	c.motions, c.shake, c.residual = in.back.result(reference)
	if c.motions != nil {
		c.toFirst = in.back.motions
	}
	if c.width > 640 {
		in.empty.finish()
		c.lane = in.empty
	}
	return nil
}

// lanePerS is how often the empty lane is looked at, seconds.
const lanePerS = 0.15

// nearMarks returns the part of the picture around the marks of frames close to
// frame f, which is kept even if nothing moves there.
func (c *clip) nearMarks(f int, rate float64) image.Rectangle {
	out := image.Rectangle{}
	for _, m := range c.marks {
		if !m.Visible || math.Abs(float64(m.Frame-f)) > 1.5*rate {
			continue
		}
		margin := int(0.12 * float64(max(c.width, c.height)))
		x, y := int(m.X), int(m.Y)
		out = out.Union(image.Rect(x-margin, y-margin, x+margin, y+margin))
	}
	return out.Intersect(image.Rect(0, 0, c.width, c.height))
}

// sweeps runs sweeps in both directions of time and tells how far they are.
type sweeps struct {
	clip     *clip
	progress func(stage string, done, total int) // May be nil.
	mu       sync.Mutex
	done     int // Frames of all sweeps.
	total    int
}

// both follows the landmarks from seeds, forward and backward. Index of either: landmark, frame.
func (s *sweeps) both(ctx context.Context, who []traj.Landmark, seeds []seed) (forward, backward [][]estimate, err error) {
	if len(who) == 0 {
		return nil, nil, nil
	}
	var out [2][][]estimate
	g, gctx := errgroup.WithContext(ctx)
	for i, dir := range []int{1, -1} {
		one := newSweep(s.clip, who, seeds, dir)
		out[i] = one.out
		g.Go(func() error {
			<-s.clip.hands
			defer func() { s.clip.hands <- struct{}{} }()
			return one.run(gctx, s.tell)
		})
	}
	err = g.Wait()
	return out[0], out[1], err
}

// tell counts a frame of a sweep.
func (s *sweeps) tell() {
	if s.progress == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.done++
	s.progress("follow", min(s.done, s.total), s.total)
}

// visible returns the landmarks of the body and the hooves that are marked, each in the order of
// traj.Landmarks.
func (c *clip) visible() (body, hooves []traj.Landmark) {
	for _, l := range traj.Landmarks() {
		switch marked := slices.ContainsFunc(c.marks, func(m Mark) bool { return m.Landmark == l && m.Visible }); {
		case marked && l.IsHoof():
			hooves = append(hooves, l)
		case marked:
			body = append(body, l)
		}
	}
	return body, hooves
}

// track runs both sweeps and puts them together.
func (c *clip) track(ctx context.Context, opts Options) (*Result, error) {
	body, hooves := c.visible()
	run := &sweeps{clip: c, progress: opts.Progress, total: 2 * len(c.times) * (min(len(body), 1) + min(len(hooves), 1))}
	seeds := make([]seed, len(c.marks))
	for i, m := range c.marks {
		seeds[i] = seed{Mark: m}
	}
	c.pace = &c.model.Walk
	if opts.Gait == traj.Trot || opts.Gait == traj.Pace {
		c.pace = &c.model.Trot
	}
	c.grows = opts.View != traj.Away
	c.sizeBody(seeds)
	// The body first: it is never hidden for long and tells how large the hooves
	// are and where to expect them.
	var err error
	if c.common, err = c.commonLooks(seeds); err != nil {
		return nil, err
	}
	forward, backward, err := run.both(ctx, body, seeds)
	if err != nil {
		return nil, err
	}
	c.hold(body, forward, backward)
	var standings []*standing
	if len(hooves) > 0 {
		if standings, err = c.standings(ctx, hooves, trunkOf(body, forward, backward, c.model), seeds, opts.Gait); err != nil {
			return nil, err
		}
		for i := range seeds {
			if seeds[i].Landmark.IsHoof() {
				seeds[i].size *= c.model.LimbShare
			}
		}
	}
	hf, hb, err := run.both(ctx, hooves, merge(seeds, c.seedsOf(standings)))
	if err != nil {
		return nil, err
	}
	r := &Result{Frames: len(c.times), Set: &traj.Set{
		Width: c.width, Height: c.height, Times: c.played, Motions: c.motions, Slower: c.slower,
		ClickPX: c.click, Pairs: c.pairs, ReferenceFrame: opts.ReferenceFrame, ShakeRMS: c.shake, ResidualRMS: c.residual,
	}}
	forward, backward = append(hf, forward...), append(hb, backward...)
	for i, l := range append(hooves, body...) { // The order of traj.Landmarks.
		t, losses := c.fuse(l, forward[i], backward[i], standings, opts)
		r.Set.Tracks = append(r.Set.Tracks, t)
		r.Losses = append(r.Losses, losses...)
	}
	r.Set.Stances = c.stancesOf(standings)
	r.Advice = c.advise(r)
	r.Notes = notesOn(r.Set)
	return r, nil
}

// standings returns the stances of the hooves, and makes the sizes of their marks, seeds,
// those that the trunk t says; where t is nil, those that a person marked.
func (c *clip) standings(ctx context.Context, hooves []traj.Landmark, t *trunk, seeds []seed, gait traj.Gait) ([]*standing, error) {
	if t != nil {
		t.fill(c.times, c.model.LeadS, c.model.TrunkStrays)
		c.trunk = t
		c.sizeHooves(seeds, t)
	}
	var searches []*pairSearch
	for i := range 2 {
		if c.rate() < c.model.LeastRate {
			break // A foot lands and leaves between two frames.
		}
		if pair := pairOf(i == 1); slices.Contains(hooves, pair[0]) || slices.Contains(hooves, pair[1]) {
			searches = append(searches, &pairSearch{pair: pair})
		}
	}
	// A horse that stands still while it is marked does so at any of these; then it is 1.
	for _, slow := range []float64{1, 2, 4, 8, 1} {
		c.slow(slow, t)
		if err := c.eachPair(ctx, searches, func(ctx context.Context, i int) (err error) {
			searches[i], err = c.marked(ctx, searches[i].pair, seeds)
			return err
		}); err != nil {
			return nil, err
		}
		if !tooLong(searches) {
			break
		}
	}
	if t != nil {
		c.bySight(t, seeds)
		if err := c.readClicks(searches, t, seeds); err != nil {
			return nil, err
		}
		if err := c.pairUp(searches); err != nil {
			return nil, err
		}
	}
	found := make([][]*standing, len(searches))
	if err := c.eachPair(ctx, searches, func(ctx context.Context, i int) (err error) {
		if t == nil {
			found[i], err = searches[i].st.placeMarked(searches[i].known, seeds)
		} else {
			found[i], err = c.findStanding(ctx, searches[i], t, seeds)
		}
		return err
	}); err != nil {
		return nil, err
	}
	all := c.inTime(c.apart(slices.Concat(found...)), gait)
	return slices.DeleteFunc(all, func(s *standing) bool { return !slices.Contains(hooves, s.landmark) }), nil
}

// slow sets the times at which frames were filmed: phones write clips that play up to eight
// times slower, 240 frames a second as 30 (common practice).
func (c *clip) slow(times float64, t *trunk) {
	c.slower = times
	c.times = make([]float64, len(c.played))
	for f, at := range c.played {
		c.times[f] = at / times
	}
	if t != nil {
		t.times = c.times
	}
}

// tooLong reports whether most marked hooves stand for longer than they may.
func tooLong(searches []*pairSearch) bool {
	endless, known := 0, 0
	for _, ps := range searches {
		endless, known = endless+ps.endless, known+len(ps.known)
	}
	return endless > known
}

// rate returns the clip's frames a second.
func (c *clip) rate() float64 { return float64(len(c.times)-1) / c.times[len(c.times)-1] }

// eachPair calls do for every pair's search, side by side where hands are free.
func (c *clip) eachPair(ctx context.Context, searches []*pairSearch, do func(ctx context.Context, i int) error) error {
	<-c.hands
	defer func() { c.hands <- struct{}{} }()
	return c.hands.together(len(searches), func(i int) error { return do(ctx, i) })
}

// notesOn says in sentences what a reader of the tracks should know.
func notesOn(set *traj.Set) []string {
	var out []string
	body := false
	for i := range set.Tracks {
		t := &set.Tracks[i]
		body = body || !t.Landmark.IsHoof()
		seen := 0
		for _, s := range t.Samples {
			if s.Status.Followed() {
				seen++
			}
		}
		if 10*seen < len(t.Samples) {
			out = append(out, fmt.Sprintf("%s was seen in %d of %d frames.", t.Landmark.Words(), seen, len(t.Samples)))
		}
	}
	if !body {
		out = append(out, "No landmark of the body is marked, so stances of the hooves were not looked for through the clip.")
	}
	return out
}

// merge adds found seeds to the marks, leaving out what lies so close in time to
// a mark of the same landmark that the mark says it better.
func merge(marks, found []seed) []seed {
	out := slices.Clone(marks)
	for _, f := range found {
		near := false
		for _, m := range marks {
			near = near || m.Landmark == f.Landmark && m.Frame == f.Frame
		}
		if !near {
			out = append(out, f)
		}
	}
	return out
}

// heightOf returns about how high a landmark of the body lies above the ground, metres, in
// a horse of 1.6 m at the withers (common practice).
func heightOf(l traj.Landmark) float64 {
	switch l {
	case traj.Withers, traj.Croup:
		return 1.6
	case traj.LeftHip, traj.RightHip:
		return 1.4
	case traj.Chest, traj.LeftShoulder, traj.RightShoulder:
		return 1.1
	}
	return 1.7
}

// valueAt is what is known in one frame.
type valueAt struct {
	frame int
	value float64
}

// along returns in frame f what is told in others, in the order of frames: in between those
// before and after it, in the proportion of the times; NaN where nothing is.
func along(all []valueAt, times []float64, f int) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	k := slices.IndexFunc(all, func(t valueAt) bool { return t.frame >= f })
	switch {
	case k < 0:
		return all[len(all)-1].value
	case k == 0 || all[k].frame == f:
		return all[k].value
	}
	a, b := all[k-1], all[k]
	u := (times[f] - times[a.frame]) / (times[b.frame] - times[a.frame])
	return (1-u)*a.value + u*b.value
}

// sizeBody gives every mark of the body the side of its patch, by how high above the
// hooves it lies: above those marked before and after it, in between. With marks at
// several distances it also says how the horse grows in the picture.
func (c *clip) sizeBody(seeds []seed) {
	var hooves []valueAt
	for _, s := range c.below(seeds, func(s seed) bool { return s.Visible }) {
		hooves = append(hooves, valueAt{s.Frame, s.Y})
	}
	var all []sight
	for i, s := range seeds {
		if !s.Visible || s.Landmark.IsHoof() || len(hooves) == 0 {
			continue
		}
		if high := along(hooves, c.times, s.Frame) - s.Y; high > 0 {
			all = append(all, sight{i, s.Landmark, s.Frame, high})
		}
	}
	c.looks = c.looksBy(all)
	for _, h := range all {
		s := &seeds[h.seed]
		if c.looks != nil && c.looks[s.Frame] > 0 {
			h.high = c.looks[s.Frame] * tall(all, s.Landmark, c.looks)
		}
		w, _ := c.window(s.Landmark, s.Frame)
		extent, _ := c.extent(s.Frame)
		s.size = min(max(w.Size()*min(max(h.high/extent, 0.2), 5), 16), 700)
	}
}

// below returns the marks of hooves that count and that say where the ground below the
// trunk is: those of the pair in front, whose marks alone lie at one distance from it, and of
// the other pair where fewer than two are marked in front.
func (c *clip) below(seeds []seed, counts func(s seed) bool) []seed {
	var pairs [2][]seed // Behind, in front.
	for _, s := range seeds {
		if !s.Landmark.IsHoof() || !counts(s) {
			continue
		}
		i := 0
		if c.turnsInSight(s.Landmark) {
			i = 1
		}
		pairs[i] = append(pairs[i], s)
	}
	if len(pairs[1]) >= 2 || len(pairs[1]) >= len(pairs[0]) {
		return pairs[1]
	}
	return pairs[0]
}

// sight is how high, px, a landmark of the body lies above the hooves in a frame.
type sight struct {
	seed     int
	landmark traj.Landmark
	frame    int
	high     float64
}

// tall returns how high a landmark lies above the hooves in units of looks: the median over
// its marks.
func tall(all []sight, l traj.Landmark, looks []float64) float64 {
	var v []float64
	for _, h := range all {
		if h.landmark == l && looks[h.frame] > 0 {
			v = append(v, h.high/looks[h.frame])
		}
	}
	return median(v)
}

// looksBy returns how large the horse looks in every frame, in units of its own: it goes at
// an even speed, so that one over it changes evenly in time. It is 0 in frames too far from
// the marks to say, and nil where these tell of one distance only.
func (c *clip) looksBy(all []sight) []float64 {
	var times, inverse []float64
	for _, h := range all {
		times, inverse = append(times, c.times[h.frame]), append(inverse, heightOf(h.landmark)/h.high)
	}
	if len(all) < 2 || times[len(times)-1]-times[0] < c.model.LeastBetweenS {
		return nil
	}
	a, b := stat.LinearRegression(times, inverse, nil, false)
	nearest := slices.Min(inverse)
	out := make([]float64, len(c.times))
	for f, t := range c.times {
		if v := a + b*t; v > nearest/2 {
			out[f] = 1 / v
		}
	}
	return out
}

// sizeHooves gives every mark of a hoof the side of its patch: as wide as a hoof is,
// by how far below the landmark of the body it lies.
func (c *clip) sizeHooves(seeds []seed, t *trunk) {
	for i := range seeds {
		s := &seeds[i]
		if !s.Visible || !s.Landmark.IsHoof() || t.size[s.Frame] == 0 {
			continue
		}
		if high := s.Y - t.at[s.Frame].Y; high > 0 {
			s.size = min(max(2*c.model.HoofHalf*high/heightOf(t.landmark), 10), 160)
		}
	}
}

// patch returns the patch around s and whether its size is known: its own, or from the marks
// of its frame.
func (c *clip) patch(s *seed) (w flow.Window, known bool) {
	w, known = c.window(s.Landmark, s.Frame)
	if s.size > 0 {
		return w.Scaled(s.size / w.Size()), true
	}
	return w, known
}

// window returns the patch around landmark l as marked in frame f, a share of the
// height between the highest and the lowest mark of that frame, and whether these tell it.
func (c *clip) window(l traj.Landmark, f int) (flow.Window, bool) {
	extent, known := c.extent(f)
	if l.IsHoof() {
		r := min(max(0.048*extent, 7), 60)
		// The hoof stands above its mark; below it lies ground.
		return flow.Window{Left: r, Right: r, Up: 1.7 * r, Down: 0.35 * r}, known
	}
	r := min(max(0.06*extent, 8), 80)
	switch l {
	case traj.Croup:
		// The whole of the hindquarters, whose flanks tell where it is across the
		// picture; above the croup the head sways far in front of it.
		return flow.Window{Left: 3.6 * r, Right: 3.6 * r, Up: 0.25 * r, Down: 6.5 * r}, known
	case traj.LeftHip:
		return flow.Window{Left: 1.0 * r, Right: 6.2 * r, Up: 1.8 * r, Down: 5.0 * r}, known
	case traj.RightHip:
		return flow.Window{Left: 6.2 * r, Right: 1.0 * r, Up: 1.8 * r, Down: 5.0 * r}, known
	}
	return flow.Window{Left: r, Right: r, Up: r, Down: r}, known
}

// extent returns the height, px, between the highest and the lowest mark of frame f,
// or what it is in an ordinary clip where they are not those of body and hooves; known
// says which.
func (c *clip) extent(f int) (px float64, known bool) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, m := range c.marks {
		if m.Visible && m.Frame == f {
			low, high = min(low, m.Y), max(high, m.Y)
		}
	}
	if !(high-low > 0.05*float64(c.height)) {
		return 0.35 * float64(c.height), false
	}
	return high - low, true
}
