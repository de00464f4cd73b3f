package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// hold drops what the sweeps say of landmarks of the body that move with others where they
// lie farther from their places beside them, as the marks give those, than they can move: of
// a hip beside the croup, of the points of the shoulders and the chest beside each other and
// below the head.
// landmarks are those of the sweeps.
func (c *clip) hold(landmarks []traj.Landmark, sweeps ...[][]estimate) {
	breast := []traj.Landmark{traj.Chest, traj.LeftShoulder, traj.RightShoulder}
	hip, shoulder := c.model.HipReach, c.model.ShoulderReach
	for _, sweep := range sweeps {
		if len(sweep) == 0 {
			continue
		}
		s := held{c, landmarks, sweep}
		croup := s.spots([]traj.Landmark{traj.LeftHip, traj.RightHip}, []traj.Landmark{traj.Croup})
		beside, below := s.spots(breast, breast), s.spots(breast, []traj.Landmark{traj.Head})
		for f := range c.times {
			for _, i := range s.unborne(croup, f, hip, hip, false) {
				sweep[i][f] = estimate{cause: "too far from its place beside the croup"}
			}
			// Who passes in front takes them along: away from the head, and from each other. One
			// alone is believed only while it looks as it was marked. Where several are seen of
			// which none bears out another, the head tells which of them was left.
			astray := s.unborne(below, f, c.model.HeadAside, c.model.HeadNods, false)
			apart := s.unborne(beside, f, c.model.ShoulderAside, shoulder, true)
			if len(apart) > 1 {
				stays := s.nearest(below, f, c.model.HeadAside, c.model.HeadNods, apart)
				apart = slices.DeleteFunc(apart, func(i int) bool { return i == stays })
			}
			for _, i := range append(astray, apart...) {
				sweep[i][f] = estimate{cause: "too far from its place beside head, chest and shoulders"}
			}
		}
	}
}

// held is a sweep whose landmarks are held to places beside each other.
type held struct {
	*clip
	landmarks []traj.Landmark
	sweep     [][]estimate
}

// spot is where the marks have a landmark from another one, in sides of that one's patch.
// Both are indices of the sweep.
type spot struct {
	landmark, beside int
	at               flow.Point
}

// spots returns the places of landmarks beside others that the marks tell.
func (h *held) spots(of, beside []traj.Landmark) (out []spot) {
	for _, l := range of {
		for _, k := range beside {
			i, j := slices.Index(h.landmarks, l), slices.Index(h.landmarks, k)
			if i < 0 || j < 0 || i == j {
				continue
			}
			if at, known := h.beside(l, k, h.sweep[j]); known {
				out = append(out, spot{i, j, at})
			}
		}
	}
	return out
}

// off returns how far a landmark lies from its place in frame f, px, and by what spread; told
// is whether both were seen.
func (h *held) off(p spot, f int) (d flow.Point, sd float64, told bool) {
	e, k := &h.sweep[p.landmark][f], &h.sweep[p.beside][f]
	d = e.at.Sub(k.at).Sub(flow.Point{X: p.at.X * k.size, Y: p.at.Y * k.size})
	return d, math.Sqrt(e.variance + k.variance), e.seen && k.seen
}

// unborne returns the landmarks that are seen in frame f and that no other bears out: they lie
// farther from all their places than they can move, aside and down in sides of the other's
// patch. One beside which no other is seen is among them where alone says so, unless it looks
// as it was marked; what a person marked never is.
func (h *held) unborne(spots []spot, f int, aside, down float64, alone bool) (out []int) {
	borne := map[int]bool{}
	for _, p := range spots {
		d, sd, told := h.off(p, f)
		if near := away(d, aside, down) <= down*h.breadth(p.beside, f)+3*sd; told || alone && h.sweep[p.landmark][f].likeness < h.model.OutlineNCC {
			borne[p.landmark] = borne[p.landmark] || told && near
		}
	}
	for i := range h.landmarks {
		e := &h.sweep[i][f]
		if near, held := borne[i]; held && !near && e.seen && !e.marked {
			out = append(out, i)
		}
	}
	return out
}

// breadth returns the side, px, of the patch that how far others may move is told in: the chest's
// reaches over both shoulders, and is so many times as wide as each of theirs.
func (h *held) breadth(i, f int) float64 {
	size := h.sweep[i][f].size
	if h.landmarks[i] == traj.Chest {
		return size / chestWide
	}
	return size
}

// away returns how far d is, as far down as a landmark is that can move aside and down by so much.
func away(d flow.Point, aside, down float64) float64 { return math.Hypot(d.X*down/aside, d.Y) }

// nearest returns which of several landmarks lies nearest to its place in frame f, by how far
// each can move aside and down, -1 where none is told.
func (h *held) nearest(spots []spot, f int, aside, down float64, of []int) int {
	best, least := -1, math.Inf(1)
	for _, p := range spots {
		d, _, told := h.off(p, f)
		if off := away(d, aside, down); told && slices.Contains(of, p.landmark) && off < least {
			best, least = p.landmark, off
		}
	}
	return best
}

// beside returns where the marks have a landmark from another one, in sides of that one's
// patch: the median over the frames in which both are marked, if there are any. sweep is the
// other's.
func (c *clip) beside(l, other traj.Landmark, sweep []estimate) (at flow.Point, known bool) {
	from := map[int]flow.Point{}
	for _, m := range c.marks {
		if m.Visible && m.Landmark == other {
			from[m.Frame] = m.at()
		}
	}
	var places []flow.Point
	for _, m := range c.marks {
		a, both := from[m.Frame]
		size := sweep[m.Frame].size
		if m.Landmark != l || !m.Visible || !both || size == 0 {
			continue
		}
		places = append(places, flow.Point{X: (m.X - a.X) / size, Y: (m.Y - a.Y) / size})
	}
	if len(places) == 0 {
		return at, false
	}
	return amidst(places), true
}
