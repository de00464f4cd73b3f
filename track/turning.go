package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// grown returns by how much the horse grew in the picture from frame f to frame g:
// by the body where it was followed. The patch's own scale, which is told where it
// was not, shrinks also because a hoof turns, or because what is followed is no
// longer all of it; neither makes a place any surer.
func (fo *follower) grown(f, g int, patch float64) float64 {
	if t := fo.clip.trunk; t != nil && fo.landmark.IsHoof() && t.size[f] > 0 && t.size[g] > 0 {
		return t.size[g] / t.size[f]
	}
	return patch
}

// turning is the variance, px², that one frame adds because the landmark turns
// away from how it was marked: the mark then moves against the pattern that is
// followed, and no comparison with the frame before can tell. What still looks
// as it was marked, at the place followed to, does not turn.
//
// The frame before is f, this one g; left is how far it went within the last
// twentieth of a second, px.
func (fo *follower) turning(f, g int, plane flow.Plane, pose flow.Pose, moved, left, size float64) (spread, error) {
	r, ok, err := fo.anchor(fo.home, plane, pose, size, 0)
	if err != nil {
		return spread{}, err
	}
	off := 1.0
	fo.like = 0
	if ok {
		fo.like, off = max(r.NCC, 0), r.At.Dist(pose.At)/size
	}
	// How like itself it looks from frame to frame where nothing turns depends on
	// noise and contrast: the first frames show it.
	if fo.sinceHome < 3 {
		fo.likeAtHome = max(fo.likeAtHome, min(fo.like, 0.99))
	}
	fo.sinceHome++
	fo.unlike = max(ramp(max(fo.likeAtHome, 0.9)-fo.like, 0.005, 0.04), ramp(off, 0.02, 0.06))
	turn := 0.015 // Sides of the patch.
	aside := func(turned float64) float64 { return turned }
	if fo.landmark.IsHoof() {
		rate := rollingTurn
		aside = func(turned float64) float64 { return rollingAside * turned * turned * turned / (size * size) }
		switch {
		case fo.dir < 0 && fo.homeStands && fo.clip.grows:
			rate = landingTurn
			aside = func(turned float64) float64 {
				if turned > mostLanding*size {
					return turned
				}
				fading := fadingAside * (1 + goneAside*ramp(wallNCC-fo.like, 0, 0.2))
				return landingAside*turned + fading*turned*turned*turned/(size*size)
			}
		case fo.homeStands && !fo.clip.grows:
			rate = leavingTurn
			aside = func(turned float64) float64 {
				return leavingAside*min(turned, size) + returningAside*max(0, turned-size)
			}
		}
		turn = rate * math.Abs(fo.clip.times[g]-fo.clip.times[f])
		if fo.homeStands {
			fo.unlike = max(fo.unlike, ramp(left, leftPlace(size), 2*leftPlace(size)))
		}
		if !fo.homeStands {
			// Marked in swing: it turns from the first frame.
			fo.unlike = max(fo.unlike, 0.5*ramp(moved/size, 0.005, 0.03))
		} else {
			// A hoof that leaves the ground turns at once, and one that comes down
			// turns until it is flat, though it looks as in stance before that.
			fo.unlike = max(fo.unlike, ramp(moved/size, 0.01, 0.04))
		}
	}
	// The error goes on in one direction while it turns, so spreads add, not variances.
	before := fo.turned
	fo.turned.down += turn * fo.near(size) * fo.unlike
	fo.turned.across = max(fo.turned.across, aside(fo.turned.down))
	return spread{down: sq(fo.turned.down) - sq(before.down), across: sq(fo.turned.across) - sq(before.across)}, nil
}

// How fast the mark of a hoof may move against its outline while the hoof turns,
// sides of its patch a second. A patch is about as large as a hoof is long. A
// hoof seen from behind tilts by a right angle within a tenth of a second as it
// leaves the ground, and its heel rises by its length; in the last tenth of a
// second before it lands it turns by a third of that. Seen from the front it
// rolls over its toe, which is what is marked, and which moves half as much as it
// comes down.
const (
	leavingTurn = 8.0
	rollingTurn = 3.0
	landingTurn = 1.5
)

// hoofJerk is by how much the speed of a hoof may change from one frame to the
// next, sides of its patch a second: some 2.5 m/s.
const hoofJerk = 21.0

// tilt is by how much the mark of a hoof may be off, as a share of the way that
// its pattern has gone from its place in stance: of a hoof that rolls over its toe
// or its heel the end goes twice as far as the middle, so the mark goes as much
// farther than the pattern, or less far, as that goes. mostTilt bounds it, sides of
// the patch.
const (
	tilt     = 1.0
	mostTilt = 0.3
)

// What of this goes across the picture. A hoof turns about an axis that lies
// across, along which the mark keeps its place on the pattern but for what the
// limb twists, some degrees. Coming down toward the camera it shows its wall nearly
// all the time; the farther before its landing, the more of it lies in the shade of
// the limb or is turned away, so that another pattern takes over: most where what is
// followed no longer looks like the wall as it stood. From behind it
// shows its heel, then its sole, which is as wide, and it turns by a right angle;
// what it turns after that brings it back through patterns followed anew. As it
// leaves the ground in front, the wall gives way to another pattern, the more the
// farther it has turned.
const (
	landingAside   = 0.13 // Share.
	fadingAside    = 0.3  // Share of the cube, in sides of the patch.
	goneAside      = 4.0  // By how much larger that is where the wall is gone.
	wallNCC        = 0.85 // Against the stance: from there down to 0.2 less the wall goes.
	mostLanding    = 0.5  // Sides of the patch, a third of a second: before that it shows its other end.
	leavingAside   = 0.05 // Share, up to a right angle.
	returningAside = 0.03 // Share, beyond it.
	rollingAside   = 1.0  // Share of the cube, in sides of the patch.
)

// spread is a spread, or a variance, down and across the picture.
type spread struct{ down, across float64 }

func sq(x float64) float64 { return x * x }

// trailed is where a landmark was in a frame.
type trailed struct {
	frame int
	at    flow.Point
}

// leave notes the place of frame g and returns how far, px, the landmark went
// against the background within the last twentieth of a second.
func (fo *follower) leave(g int, at flow.Point) float64 {
	fo.trail = append(fo.trail, trailed{g, at})
	times := fo.clip.times
	for len(fo.trail) > 3 && math.Abs(times[g]-times[fo.trail[1].frame]) > 0.0499 {
		fo.trail = slices.Delete(fo.trail, 0, 1)
	}
	var most float64
	for _, p := range fo.trail[:len(fo.trail)-1] {
		most = max(most, fo.clip.moved(p.frame, g, p.at, at))
	}
	return most
}

// leftPlace is how far, px, a hoof that stands may seem to go: what registration
// and the stabilising of the picture leave.
func leftPlace(size float64) float64 { return 0.3 + 0.012*size }

// shared is the variance, px², of a place that no registration notices, so that
// both sweeps share it.
//
// A landmark on the outline of the body is seen before other parts of the horse:
// the croup from behind, before the head and the tail that sway. Along the outline
// the patch goes with what is beside it; the outline of the croup is level, and
// across it the place is far surer.
//
// A hoof of the pair that goes behind is seen past the legs in front, which cover
// part of it, now from one side and now from the other; it is the part that shows
// whose place is found.
func (fo *follower) shared() spread {
	size := fo.near(fo.size())
	switch {
	case fo.landmark == traj.Croup: // The summit of the outline, which is curved.
		return spread{down: sq(croupDown * size), across: sq(croupAside * size)}
	case fo.onOutline():
		return spread{down: sq(outlineAside * size), across: sq(outlineAside * size)}
	case fo.landmark.IsHoof() && fo.clip.trunk != nil && !fo.clip.turnsInSight(fo.landmark):
		return spread{down: sq(coveredAside * size), across: sq(coveredAside * size)}
	}
	return spread{}
}

// The same as shares of the side of the patch.
const (
	croupAside   = 0.03
	croupDown    = 0.008
	outlineAside = 0.04
	coveredAside = 0.035
)

// tilted is the variance down the picture, px², of a hoof that has just left its
// place in frame f, or is about to reach it: it tilts as it goes, whatever it looks
// like.
func (fo *follower) tilted(f int) float64 {
	if !fo.landmark.IsHoof() || !fo.homeStands {
		return 0
	}
	size := fo.size()
	gone := fo.clip.moved(fo.homeFrame, f, fo.home.at, fo.pose.At)
	noise := leftPlace(size) / 3
	return min(sq(tilt)*max(0, gone*gone-noise*noise), sq(mostTilt*size))
}

// onOutline reports whether the landmark lies on the outline of the body.
func (fo *follower) onOutline() bool {
	switch fo.landmark {
	case traj.Croup, traj.Withers, traj.LeftHip, traj.RightHip:
		return true
	}
	return false
}

// ramp rises from 0 at low to 1 at high.
func ramp(x, low, high float64) float64 { return min(max((x-low)/(high-low), 0), 1) }

// steady returns where p of frame f lies in the coordinates of frame 0, in which
// the background stands still.
func (c *clip) steady(f int, p flow.Point) flow.Point {
	if c.toFirst != nil {
		p.X, p.Y = c.toFirst[f].Apply(p.X, p.Y)
	}
	return p
}

// lower returns how much lower in the picture b in frame g lies than a in frame f,
// against the background, px.
func (c *clip) lower(f, g int, a, b flow.Point) float64 {
	return c.steady(g, b).Y - c.steady(f, a).Y
}

// moved returns how far a point went from frame f to frame g against the
// background, px.
func (c *clip) moved(f, g int, a, b flow.Point) float64 {
	return c.steady(f, a).Dist(c.steady(g, b))
}
