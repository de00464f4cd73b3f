package track

import (
	"context"
	"errors"
	"slices"

	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Run follows every marked landmark through the clip. It returns a *MarkError
// for a mark that does not fit the clip, ErrNoMarks where there is none, and the
// context's error once it is cancelled. Same frames and marks give the same
// result, bit by bit, whatever the number of processors.
func Run(ctx context.Context, open Open, marks []Mark, opts Options) (result *Result, err error) {
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
	model         *errormodel.Tracking
	prior         float64 // How far clicks are off until the marks tell, px.
	hands         hands
	width, height int
	played        []float64 // Of the frames, s.
	times         []float64 // The same as filmed: a clip may play slower,
	slower        float64   // that many times.
	spool         *spool
	marks         []Mark  // Ordered by frame.
	click         float64 // How far clicks are off of which the marks did not say so, px; 0 where nothing tells.
	pairs         []traj.Pair
	motions       []traj.Motion
	shake         float64
	residual      float64
	toFirst       []traj.Motion                 // To frame 0; nil where the camera stood still.
	grows         bool                          // The horse comes toward the camera.
	looks         []float64                     // How large it looks by frame, up to a factor; 0 or nil where the marks do not tell.
	common        map[traj.Landmark]*commonLook // What the marks of each landmark of the body but the head have in common.
	pace          *errormodel.Pace              // Of the gait.
	trunk         *trunk                        // Nil until the body was followed, and where none is marked.
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
		if seeds[i] = (seed{Mark: m, guessed: m.SD == 0}); seeds[i].guessed {
			seeds[i].SD = c.prior
		}
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
		if standings, err = c.standings(ctx, hooves, trunkOf(body, forward, backward, c.model), seeds); err != nil {
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
	r := &Result{Set: &traj.Set{
		Width: c.width, Height: c.height, Times: c.played, Motions: c.motions, Slower: c.slower,
		ClickPX: c.click, Pairs: c.pairs, ShakeRMS: c.shake, ResidualRMS: c.residual,
	}}
	forward, backward = append(hf, forward...), append(hb, backward...)
	for i, l := range append(hooves, body...) { // The order of traj.Landmarks.
		t, losses := c.fuse(l, forward[i], backward[i], standings)
		r.Set.Tracks = append(r.Set.Tracks, t)
		r.Losses = append(r.Losses, losses...)
	}
	r.Set.Stances = c.stancesOf(standings)
	r.Advice = c.advise(r)
	r.Notes = notesOn(r.Set)
	return r, nil
}
