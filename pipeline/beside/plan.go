package beside

import (
	"errors"
	"math"
	"slices"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/track/traj"
)

// Side is one visit's run.
type Side struct {
	Title  string // "Before, 6 March".
	Info   *clip.Info
	Times  []float64    // Of the frames, s.
	Tracks []traj.Track // In the clip's own picture.
	Run    *metrics.Run
	Horse  *framing.Horse
}

// Pair is two visits' runs of one view.
type Pair struct {
	View          traj.View
	Before, After Side
	Span          float64 // How many units of framing.Horse's scale a piece is high, in both.
}

// ErrNothing is returned where two runs have no strides that can be shown beside each
// other.
var ErrNothing = errors.New("no stride of both runs lies whole in the picture")

// part is a piece of time of a clip, s.
type part struct{ from, to float64 }

func (p part) at(share float64) float64 { return p.from + share*(p.to-p.from) }

// together is a stride of either visit, shown in step.
type together struct{ before, after part }

// halves is a left half of a stride and the right half after it.
type halves struct{ left, right part }

const (
	mostStrides = 7 // Of a pair of runs; the nearest are taken.
	mostHalves  = 3
)

// girdle returns a pair of limbs.
func girdle(hinds bool) (left, right traj.Landmark) {
	if hinds {
		return traj.LeftHind, traj.RightHind
	}
	return traj.LeftFore, traj.RightFore
}

// strides picks the strides that are shown, in the order of time, and the limb whose
// hoof-on begins each: of the limbs that one view shows best the one with most strides at
// both visits. Strides are paired from the camera outward, where they are largest.
func (p *Pair) strides() (out []together, limb traj.Landmark) {
	var limbs []traj.Landmark
	for _, hinds := range []bool{p.View == traj.Away, p.View != traj.Away} {
		l, r := girdle(hinds)
		limbs = append(limbs, l, r)
	}
	for _, l := range limbs {
		b, a := p.Before.strides(l, p.Span), p.After.strides(l, p.Span)
		n := min(len(b), len(a), mostStrides)
		if n <= len(out) {
			continue
		}
		limb, out = l, out[:0]
		b, a = nearest(b, n, p.View), nearest(a, n, p.View)
		for i := range n {
			out = append(out, together{b[i], a[i]})
		}
	}
	return out, limb
}

// Strides returns how many strides of the pair can be shown.
func (p *Pair) Strides() int {
	s, _ := p.strides()
	return len(s)
}

// nearest returns the n parts nearest to the camera, in the order of time.
func nearest[T any](parts []T, n int, v traj.View) []T {
	if v == traj.Away {
		return parts[:n]
	}
	return parts[len(parts)-n:]
}

// ons returns the hoof-ons of a limb, in the order of time.
func (s *Side) ons(limb traj.Landmark) []float64 {
	var out []float64
	for _, c := range s.Run.Contacts {
		if c.Limb == limb && c.OnSD >= 0 && !math.IsNaN(c.On) {
			out = append(out, c.On)
		}
	}
	slices.Sort(out)
	return out
}

// usual returns how long a stride of the run usually is, s; 0 where that isn't known.
func (s *Side) usual() float64 {
	var all []float64
	for _, x := range s.Run.Strides {
		all = append(all, x.End-x.Start)
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// strides returns the limb's strides, from hoof-on to hoof-on, that are shown whole.
func (s *Side) strides(limb traj.Landmark, span float64) []part {
	ons, usual := s.ons(limb), s.usual()
	var out []part
	for i := 1; i < len(ons); i++ {
		p := part{ons[i-1], ons[i]}
		if d := p.to - p.from; d > 0.75*usual && d < 1.3*usual && s.whole(p, span) {
			out = append(out, p)
		}
	}
	return out
}

// halves returns the left halves of strides with the right ones after them.
func (s *Side) halves(left, right traj.Landmark, span float64) []halves {
	usual := s.usual()
	var out []halves
	rights, lefts := s.ons(right), s.ons(left)
	for i := 1; i < len(lefts); i++ {
		for _, r := range rights {
			h := halves{part{lefts[i-1], r}, part{r, lefts[i]}}
			long := func(p part) bool { return p.to-p.from > 0.3*usual && p.to-p.from < 0.7*usual }
			if long(h.left) && long(h.right) && s.whole(part{h.left.from, h.right.to}, span) {
				out = append(out, h)
			}
		}
	}
	return out
}

// whole reports whether the horse lies in the picture all the time: no more than a tenth
// of the piece is missing at a side, and no hoof below.
func (s *Side) whole(p part, span float64) bool {
	if p.from < s.Horse.From || p.to > s.Horse.To {
		return false
	}
	for _, t := range []float64{p.from, p.at(0.5), p.to} {
		c := pieceOf(s.Horse.At(s.Horse.Frame(t)), span)
		w, h := c.Step*pieceWidth, c.Step*pieceHeight
		if c.X < -0.1*w || c.X+w > float64(s.Info.Width)+0.1*w || c.Y < -0.1*h || c.Y+0.95*h > float64(s.Info.Height) {
			return false
		}
	}
	return true
}
