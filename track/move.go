package track

import (
	"image"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"jogstrip/track/flow"
)

// How a patch moved from one frame to the next, before it is registered.

// flow returns how the patch moved from a to b by Lucas–Kanade on its corners.
func (fo *follower) flow(a, b flow.Gray, o image.Point, at flow.Point, w flow.Window, weigh func(x, y float64) float64) (found moved, err error) {
	factor := max(1, int(w.Size()/flowSide))
	if factor > 1 {
		if fo.smallA, err = flow.Shrink(a, factor, fo.smallA); err != nil {
			return moved{}, err
		}
		if fo.smallB, err = flow.Shrink(b, factor, fo.smallB); err != nil {
			return moved{}, err
		}
		a, b = fo.smallA, fo.smallB
	}
	per := float64(factor)
	size := w.Size() / per
	patch := rectAround(at, w, 0).Sub(o)
	inner := image.Rect(patch.Min.X/factor, patch.Min.Y/factor, (patch.Max.X+factor-1)/factor, (patch.Max.Y+factor-1)/factor)
	part := a.Crop(inner)
	if part.Width < 8 || part.Height < 8 {
		return moved{}, nil
	}
	all, err := flow.Features(part, 40, 0.02, max(2, size/12))
	if err != nil {
		return moved{}, err
	}
	shift := flow.Point{X: float64(max(inner.Min.X, 0)), Y: float64(max(inner.Min.Y, 0))}
	var corners, guess []flow.Point
	var weights []float64
	for _, p := range all {
		p = p.Add(shift)
		k := weigh(per*p.X+(per-1)/2+float64(o.X), per*p.Y+(per-1)/2+float64(o.Y))
		if k <= 0.1 {
			continue
		}
		corners, weights = append(corners, p), append(weights, k)
		guess = append(guess, flow.Point{X: p.X + fo.velocity.X/per, Y: p.Y + fo.velocity.Y/per})
	}
	if len(corners) < 4 {
		return moved{}, nil
	}
	side := min(max(int(0.6*size), 9), 31) | 1
	// The velocity is nearly always right to less than the window reaches. Where it is
	// not, the move is looked for from coarse to fine.
	for _, levels := range []int{-1, 3} {
		there, back, err := flow.ThereAndBack(a, b, corners, guess, flow.FlowOptions{Window: side, Levels: levels})
		if err != nil {
			return moved{}, err
		}
		if found = agreeing(there, back, corners, weights, size); found.ok && found.share >= fo.model.SurelyFound {
			break
		}
	}
	found.move = flow.Point{X: per * found.move.X, Y: per * found.move.Y}
	return found, nil
}

// flowSide is the least side of a patch, px, to which a larger one is shrunk for
// optical flow, which only says where registration begins.
const flowSide = 16

// moved is how most of a patch moved.
type moved struct {
	move  flow.Point
	share float64 // Of its corners that came back to where they had started.
	ok    bool    // Whether these agree with each other.
}

// agreeing returns how corners moved that were followed there and back.
func agreeing(there, back []flow.Found, corners []flow.Point, weights []float64, size float64) moved {
	var xs, ys, wx []float64
	for i := range there {
		if !there[i].OK || !back[i].OK || back[i].Dist(corners[i]) > 0.7 {
			continue
		}
		d := there[i].Sub(corners[i])
		xs, ys, wx = append(xs, d.X), append(ys, d.Y), append(wx, weights[i])
	}
	if len(xs) < 4 || 3*len(xs) < len(corners) {
		return moved{}
	}
	wy := slices.Clone(wx)
	stat.SortWeighted(xs, wx)
	stat.SortWeighted(ys, wy)
	move := flow.Point{X: stat.Quantile(0.5, stat.Empirical, xs, wx), Y: stat.Quantile(0.5, stat.Empirical, ys, wy)}
	near := 0
	for i := range xs {
		if math.Hypot(xs[i]-move.X, ys[i]-move.Y) < 1.5+0.05*size {
			near++
		}
	}
	// xs and ys were sorted apart, so near only bounds the agreement from above;
	// the registration that follows decides.
	return moved{move, float64(len(xs)) / float64(len(corners)), 2*near >= len(xs)}
}

// match returns how the patch moved by correlation, where one place alone fits; of a hoof,
// which turns, to the likest place. It counts as if half of the corners had come back.
func (fo *follower) match(a, b flow.Gray, o image.Point, at flow.Point, w flow.Window) (moved, error) {
	inner := rectAround(at, w, 0).Sub(o).Intersect(image.Rect(0, 0, a.Width, a.Height))
	part := a.Crop(inner)
	if part.Width < 8 || part.Height < 8 {
		return moved{}, nil
	}
	s, err := fo.correlate(0, b, part)
	if err != nil {
		return moved{}, err
	}
	p := bestPlace(s, nil)
	if !fo.landmark.IsHoof() && (p.score < fo.model.LeastNCC || p.score-rival(s, p, 0.35*w.Size()) < fo.model.SearchMargin) {
		return moved{}, nil
	}
	return moved{flow.Point{X: float64(p.x - inner.Min.X), Y: float64(p.y - inner.Min.Y)}, 0.5, true}, nil
}
