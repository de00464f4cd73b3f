package track

import (
	"context"
	"fmt"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// estimate is what one sweep knows of one landmark in one frame.
type estimate struct {
	at       flow.Point
	variance float64 // px², along each axis.
	sway     spread  // Its part by which the place may have swayed since the mark against what is followed, px².
	quality  float64
	seen     bool
	marked   bool
	arrived  bool       // On a mark or stance found again: the sweep had followed the landmark up to it.
	beside   flow.Point // From where it had arrived, px.
	cause    string     // Why it is not seen.
	size     float64    // Side of the patch, px.
	found    bool       // A stance that was found again starts here.
	likeness float64    // Correlation with what was marked; 0 where it does not look so.
}

// sweep follows all landmarks in one direction of time, frame by frame.
type sweep struct {
	clip      *clip
	dir       int
	seeds     map[int][]seed // By frame.
	followers []*follower
	rests     [][]bool     // Index: landmark, frame: a hoof whose stance is known needs no following.
	out       [][]estimate // Index: landmark, frame.
}

func newSweep(c *clip, landmarks []traj.Landmark, seeds []seed, dir int) *sweep {
	s := &sweep{clip: c, dir: dir, seeds: map[int][]seed{}}
	for _, m := range seeds {
		s.seeds[m.Frame] = append(s.seeds[m.Frame], m)
	}
	for _, l := range landmarks {
		rests := make([]bool, len(c.times))
		for _, m := range seeds {
			// All frames of the stance but the one that the sweep comes to first.
			for f := m.Frame - m.rests; m.Landmark == l && f < m.Frame; f++ {
				if dir > 0 {
					rests[f+1] = true
				} else {
					rests[f] = true
				}
			}
		}
		s.rests = append(s.rests, rests)
		f := newFollower(c, l, dir)
		if f.cause = beforeFirst; dir < 0 {
			f.cause = afterLast
		}
		s.followers = append(s.followers, f)
		s.out = append(s.out, make([]estimate, len(c.times)))
	}
	return s
}

func (s *sweep) run(ctx context.Context, progress func()) error {
	n := len(s.clip.times)
	first, last := 0, n-1
	if s.dir < 0 {
		first, last = last, first
	}
	claims := make([][]flow.Point, len(s.followers))
	growth := 1.0 // Of the horse in the picture over the last step.
	for f := first; ; f += s.dir {
		if err := ctx.Err(); err != nil {
			return err
		}
		// Who is searched for goes by where the others were a frame ago, so that none
		// has to wait for another.
		for i, fo := range s.followers {
			claims[i] = s.claimed(fo)
		}
		if err := s.clip.hands.together(len(s.followers), func(i int) error { return s.take(i, f, growth, claims[i]) }); err != nil {
			return err
		}
		growth = s.growth(growth)
		progress()
		if f == last {
			return nil
		}
	}
}

// take takes the i-th follower into frame f and keeps what it knows there.
func (s *sweep) take(i, f int, growth float64, claimed []flow.Point) error {
	fo := s.followers[i]
	if fo.on && s.rests[i][f] {
		fo.lose("")
	}
	e, err := s.visit(fo, f, growth, claimed)
	if err != nil {
		return fmt.Errorf("follow %s into frame %d: %w", fo.landmark, f, err)
	}
	s.out[i][f] = e
	return nil
}

// visit takes one follower into frame f.
func (s *sweep) visit(fo *follower, f int, growth float64, claimed []flow.Point) (estimate, error) {
	if fo.started { // In a frame before.
		var err error
		if fo.on {
			err = fo.step(f-s.dir, f)
		} else {
			err = fo.search(f, growth, claimed)
		}
		if err != nil {
			return estimate{}, err
		}
	}
	marks := s.seeds[f]
	if i := slices.IndexFunc(marks, func(m seed) bool { return m.Landmark == fo.landmark }); i >= 0 {
		if marks[i].Visible {
			return fo.begin(marks[i])
		}
		fo.lose(markedHidden)
	}
	if fo.on && fo.landmark.IsHoof() && !s.clip.turnsInSight(fo.landmark) {
		// Of the pair that goes behind only stances are in sight.
		fo.lose(hiddenBehind)
	}
	if !fo.on {
		return estimate{cause: fo.cause}, nil
	}
	sway := fo.sway(f)
	return estimate{at: fo.pose.At, variance: fo.variance + max(sway.down, sway.across), sway: sway, quality: fo.quality, seen: true, likeness: fo.likeness, size: fo.size()}, nil
}

// begin puts the follower on seed m and returns what it knows there.
func (fo *follower) begin(m seed) (estimate, error) {
	e := estimate{found: m.found}
	if fo.on {
		e.arrived, e.beside = true, fo.pose.At.Sub(m.at())
	}
	if err := fo.start(m); err != nil {
		return estimate{}, err
	}
	// A mark stands whether or not it can be followed from there.
	e.at, e.variance, e.quality, e.seen, e.marked, e.size = m.at(), m.SD*m.SD, 1, true, !m.found, fo.size()
	if m.found {
		e.quality, e.likeness = 0.9, 1
	}
	return e, nil
}

// claimed returns what the others hold where fo may be searched for.
func (s *sweep) claimed(fo *follower) []flow.Point {
	if fo.on || !fo.started {
		return nil
	}
	var out []flow.Point
	for _, o := range s.followers {
		if o != fo && o.on {
			out = append(out, o.pose.At)
		}
	}
	return out
}

// growth returns how much the horse grew over the last step, from the landmarks
// of the body where there are any.
func (s *sweep) growth(before float64) float64 {
	var body, all []float64
	for _, f := range s.followers {
		if f.on && f.lastScale > 0 {
			g := f.pose.Scale / f.lastScale
			all = append(all, g)
			if !f.landmark.IsHoof() {
				body = append(body, g)
			}
		}
	}
	if len(body) > 0 {
		all = body
	}
	if len(all) == 0 {
		return before
	}
	return 0.9*before + 0.1*min(max(middle(all, nil, 1), 0.97), 1.03)
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

// merge adds found seeds to the marks, leaving out what lies so close in time to
// a mark of the same landmark that the mark says it better.
func merge(marks, found []seed) []seed {
	return slices.Concat(marks, slices.DeleteFunc(found, func(f seed) bool {
		return slices.ContainsFunc(marks, func(m seed) bool { return m.sameAs(f.Mark) })
	}))
}

// seed is where a sweep starts or starts anew: a person's mark, or a stance in
// which a hoof was found again.
type seed struct {
	Mark
	guessed bool // How far it may be off is the usual, as nobody said it.
	found   bool
	stands  bool    // Known to stand still in this frame.
	rests   int     // Of the last seed of a stance: how many frames after the first it comes.
	size    float64 // Side of the patch, px; 0 where it follows from the marks.
}

// seedsOf turns stances into what sweeps start from: the first and the last frame in which
// their places are told.
func (c *clip) seedsOf(all []*standing) []seed {
	var out []seed
	for _, s := range all {
		var told []seed
		for k := range s.seen {
			if p, ok := c.sample(s, k); ok {
				told = append(told, seed{
					Mark:  Mark{Frame: s.seen[k].frame, Landmark: s.landmark, X: p.X, Y: p.Y, Visible: true, SD: p.SD},
					found: true, stands: true, size: c.model.LimbShare * s.size,
				})
			}
		}
		if inner := slices.DeleteFunc(slices.Clone(told), func(m seed) bool { return c.atEnd(s, m.Frame) }); len(inner) > 0 {
			told = inner
		}
		if n := len(told); n > 0 {
			told[n-1].rests = told[n-1].Frame - told[0].Frame
			out = append(out, told[0])
			if n > 1 {
				out = append(out, told[n-1])
			}
		}
	}
	return out
}
