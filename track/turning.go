package track

import (
	"math"

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
	if known, told := fo.told(f, g); told {
		return known
	}
	return patch
}

// told returns by how much a landmark of the body grew from frame f to frame g as the marks
// tell it.
func (fo *follower) told(f, g int) (growth float64, ok bool) {
	looks := fo.clip.looks
	if fo.landmark.IsHoof() || looks == nil || looks[f] == 0 || looks[g] == 0 {
		return 1, false
	}
	return looks[g] / looks[f], true
}

// turning is the variance, px², that one frame adds because a landmark of the body turns
// away from how it was marked: the mark then moves against the pattern that is
// followed, and no comparison with the frame before can tell. What still looks
// as it was marked, at the place followed to, does not turn. Of a hoof in the air nothing
// is believed that this would have to tell: see inAir.
//
// home is where its home appearance lies.
func (fo *follower) turning(plane flow.Plane, pose flow.Pose, size float64) (variance float64, home *relocation, err error) {
	fo.sinceHome++
	if fo.landmark.IsHoof() {
		return 0, nil, nil
	}
	r, ok, err := fo.anchor(fo.home, plane, pose, size, 0)
	if err != nil {
		return 0, nil, err
	}
	like, off := 0.0, 1.0
	if ok {
		like, off, home = max(r.NCC, 0), r.At.Dist(pose.At)/size, &r
	}
	// How like itself it looks from frame to frame where nothing turns depends on
	// noise and contrast: the first frames show it.
	if fo.sinceHome < 4 {
		fo.likeAtHome = max(fo.likeAtHome, min(like, 0.99))
	}
	unlike := max(ramp(max(fo.likeAtHome, 0.9)-like, 0.005, 0.04), ramp(off, 0.02, 0.06))
	// The error goes on in one direction while it turns, so spreads add, not variances.
	before := fo.turned
	fo.turned += fo.model.TurnShare * fo.near(size) * unlike
	return sq(fo.turned) - sq(before), home, nil
}

// spread is a spread, or a variance, down and across the picture.
type spread struct{ down, across float64 }

// sway is the variance, px², by which a landmark on the outline of the body may have moved
// since its mark against what is followed, and no registration notices: the croup seen from
// behind lies before head and neck, which sway, and above the tail, which sways, too, and
// the hindquarters roll below it. All that comes back with each stride, so it is largest
// half a stride after the mark. The outline of the croup is level, and across it the place is
// far surer. Before the chest the muzzle nods, and a shoulder swings with its limb below a coat
// that moves.
func (fo *follower) sway(f int) spread {
	var share spread // Of the patch's side, standard deviations.
	switch m := fo.model; fo.landmark {
	case traj.Chest:
		share.down = m.ChestDown
	case traj.LeftShoulder, traj.RightShoulder:
		share = spread{down: m.ShoulderDown, across: m.ShoulderAcross}
	case traj.Croup: // The summit of the outline, which is curved.
		share = spread{down: m.CroupDown, across: m.CroupAside}
	default:
		if !onOutline(fo.landmark) {
			return share
		}
		share = spread{down: m.OutlineAside, across: m.OutlineAside}
	}
	size := fo.near(fo.size())
	since := math.Abs(fo.clip.times[f]-fo.clip.times[fo.home.frame]) / fo.model.SwayS
	k := sq(size * math.Sin(math.Pi/2*min(1, since)))
	return spread{down: k * sq(share.down), across: k * sq(share.across)}
}

// onOutline reports whether a landmark lies on the outline of the body.
func onOutline(l traj.Landmark) bool {
	switch l {
	case traj.Croup, traj.Withers, traj.LeftHip, traj.RightHip:
		return true
	}
	return false
}
