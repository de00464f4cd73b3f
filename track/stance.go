package track

import (
	"math"
	"slices"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// seed is where a sweep starts or starts anew: a person's mark, or a stance in
// which a hoof was found again.
type seed struct {
	Mark
	found  bool
	stands bool    // Known to stand still in this frame.
	rests  int     // Of the last seed of a stance: how many frames after the first it comes.
	size   float64 // Side of the patch, px; 0 where it follows from the marks.
}

// trunk is where the body is and how large it looks in every frame: the scale
// by which appearances are resized and the place from which hooves are expected.
type trunk struct {
	times    []float64 // Of the frames.
	landmark traj.Landmark
	at       []flow.Point
	size     []float64 // px, of the landmark's patch; only ratios matter. 0 where it is not known.
	sd       []float64 // px, of at across the picture where it is told by the way alone; else 0.
}

// trunkOf returns the trunk by the body landmark seen in most frames, or nil.
func trunkOf(landmarks []traj.Landmark, forward, backward [][]estimate, m *errormodel.Tracking) *trunk {
	var best *trunk
	most := 0
	for i, l := range landmarks {
		if l.IsHoof() {
			continue
		}
		vague := m.VagueTrunk
		if l.IsHindquarters() {
			vague *= m.CroupShare
		}
		known := func(e estimate) bool { return e.seen && math.Sqrt(e.variance) < vague*e.size }
		a, b := forward[i], backward[i]
		// The two sweeps measure size from different marks: bring them together.
		var ratios []float64
		for f := range a {
			if a[f].seen && b[f].seen {
				ratios = append(ratios, a[f].size/b[f].size)
			}
		}
		ratio := 1.0
		if len(ratios) > 0 {
			slices.Sort(ratios)
			ratio = ratios[len(ratios)/2]
		}
		t := &trunk{landmark: l, at: make([]flow.Point, len(a)), size: make([]float64, len(a)), sd: make([]float64, len(a))}
		n := 0
		for f := range a {
			switch {
			case known(a[f]) && known(b[f]):
				k := a[f].variance / (a[f].variance + b[f].variance)
				t.at[f] = mix(a[f].at, b[f].at, k)
				t.size[f], t.sd[f] = (1-k)*a[f].size+k*b[f].size*ratio, math.Sqrt(min(a[f].variance, b[f].variance))
			case known(a[f]):
				t.at[f], t.size[f], t.sd[f] = a[f].at, a[f].size, math.Sqrt(a[f].variance)
			case known(b[f]):
				t.at[f], t.size[f], t.sd[f] = b[f].at, b[f].size*ratio, math.Sqrt(b[f].variance)
			default:
				continue
			}
			n++
		}
		if n > most {
			best, most = t, n
		}
	}
	return best
}

// model is a hoof's appearance in a stance, and where it stood from the trunk.
type model struct {
	*appearance
	frame  int
	offset flow.Point // From the trunk, in units of the trunk's size.
	ratio  float64    // Side of the patch over the trunk's size.
}

// modelAt returns the model that seed s gives, or none where its patch is of no use.
func (c *clip) modelAt(fo *follower, t *trunk, s seed) ([]model, error) {
	fo.anchors, fo.started, s.stands = nil, false, true
	if err := fo.start(s); err != nil {
		return nil, err
	}
	if len(fo.anchors) == 0 {
		return nil, nil
	}
	a := fo.anchors[0]
	a.scale = a.window.Size() // The same measure for all models, wherever they were marked.
	size := t.size[s.Frame]
	d := a.at.Sub(t.at[s.Frame])
	return []model{{appearance: a, frame: s.Frame, ratio: a.window.Size() / size, offset: flow.Point{X: d.X / size, Y: d.Y / size}}}, nil
}
