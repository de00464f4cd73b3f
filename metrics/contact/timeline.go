package contact

import (
	"math"
	"slices"
	"sort"

	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Limbs is the order in which arrays over limbs are indexed.
var Limbs = [4]traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind}

// leastSeen is from how many samples on a hoof counts as seen.
const leastSeen = 8

// Timeline is when and where hooves stood in one clip, and the strides of that. It does
// not change once Find has returned it.
type Timeline struct {
	Hooves  [4]*Seen    // Nil where a hoof was not marked or hardly seen.
	Stances [4][]Stance // Ascending.
	Period  float64     // Of a stride, s; 0 where no two stances of one limb were counted.
	OffBeat int         // Stances left out because they are off the beat.
	Strides []Stride
	Ref     int // The reference limb, at whose landings strides begin; -1 where there are none.

	grid   *grid // Nil where there is no rhythm.
	cycles []int // Index: stride. The reference limb's cycle.
}

// Stride is from one landing of the reference limb to its next.
type Stride struct {
	Start float64 `json:"start_s"`
	End   float64 `json:"end_s"`
}

// Find takes the stances that tracking saw from a clip's stabilised tracks, places them,
// and lays beats and strides through them. A stride starts with the landing of the
// reference limb; empty: the one that cuts the most strides, and of several the first of Limbs.
func Find(set *traj.Set, gait traj.Gait, reference traj.Landmark, m errormodel.Contact) *Timeline {
	l, usual := &Timeline{Ref: -1}, usualOf(set)
	for k, limb := range Limbs {
		h := See(set, limb)
		if h == nil || len(h.T) < leastSeen {
			continue
		}
		h.widen()
		l.Hooves[k], l.Stances[k] = h, stancesOf(set, h, usual, m)
	}
	if l.Period = periodByBeats(&l.Stances, m); l.Period > 0 {
		if l.grid = l.findBeats(gait, m); l.grid != nil {
			l.keepOnBeat()
		}
	}
	for k, h := range l.Hooves {
		if h != nil {
			place(h, l.Stances[k], m)
		}
	}
	if l.grid != nil {
		first, last := set.Times[0], set.Times[len(set.Times)-1]
		for k, limb := range Limbs {
			if strides, cycles := l.stridesOf(k, first, last); (reference == "" || reference == limb) && len(strides) > len(l.Strides) {
				l.Ref, l.Strides, l.cycles = k, strides, cycles
			}
		}
	}
	return l
}

// stridesOf cuts the run into strides at the landings of limb k: a stride begins with the landing
// where that was timed, else at the instant of the grid, and there is one wherever the rhythm is
// known and the clip, from first to last, s, shows it whole. cycles are the limb's at each of them.
func (l *Timeline) stridesOf(k int, first, last float64) (strides []Stride, cycles []int) {
	g := l.grid
	if len(l.Stances[k]) == 0 {
		return nil, nil
	}
	for c := g.nearestCycle(k, first) - 1; c <= g.nearestCycle(k, last); c++ {
		beat := float64(c) + g.phase[k]
		var st Stride
		st.Start, _ = l.Landing(k, c)
		st.End, _ = l.Landing(k, c+1)
		if st.Start >= first-Rounding && st.End <= last+Rounding && st.End > st.Start && g.known(beat, beat+1) {
			strides, cycles = append(strides, st), append(cycles, c)
		}
	}
	return strides, cycles
}

// EvenStrides returns the strides as the rhythm cuts them, index as Strides: what repeats
// itself from stride to stride is told by all landings together better than by one of them.
func (l *Timeline) EvenStrides() []Stride {
	out := make([]Stride, len(l.Strides))
	for i, c := range l.cycles {
		out[i] = Stride{l.grid.landing(l.Ref, c), l.grid.landing(l.Ref, c+1)}
	}
	return out
}

// Rhythm reports whether there is a grid of beats.
func (l *Timeline) Rhythm() bool { return l.grid != nil }

// MeanStride returns how long the strides last in the mean, s, and the standard deviation of
// that: as the rhythm of all landings has it.
func (l *Timeline) MeanStride() (mean, sd float64) {
	for _, s := range l.EvenStrides() {
		mean += (s.End - s.Start) / float64(len(l.Strides))
	}
	return mean, l.grid.rateSD
}

// Beat returns the beat at which stance i of limb k began, in strides.
func (l *Timeline) Beat(k, i int) float64 { return float64(l.Stances[k][i].Cycle) + l.grid.phase[k] }

// Landing returns when limb k landed in a cycle, s: as timed, else by the grid, and the
// standard deviation of that.
func (l *Timeline) Landing(k, cycle int) (at, sd float64) {
	if j := l.StanceAt(k, cycle); j >= 0 && l.Stances[k][j].OnTimed() {
		return l.Stances[k][j].On, l.Stances[k][j].OnSD
	}
	return l.grid.landing(k, cycle), math.Hypot(l.grid.sd, l.grid.model.HiddenS/2) // The grid leans on few landings.
}

// StanceAt returns limb k's stance in a cycle, -1 where it was not seen.
func (l *Timeline) StanceAt(k, cycle int) int {
	if i, found := slices.BinarySearchFunc(l.Stances[k], cycle, func(a Stance, c int) int { return a.Cycle - c }); found {
		return i
	}
	return -1
}

// Cycle returns the cycle of limb k whose landing belongs to stride i.
func (l *Timeline) Cycle(k, i int) int {
	if l.grid.phase[k] < l.grid.phase[l.Ref] {
		return l.cycles[i] + 1
	}
	return l.cycles[i]
}

// In returns limb k's stance in stride i, -1 where it was not seen.
func (l *Timeline) In(k, i int) int { return l.StanceAt(k, l.Cycle(k, i)) }

// Next returns the stance of limb k that follows stance i one stride later, -1 where it
// was not seen or i is -1.
func (l *Timeline) Next(k, i int) int {
	if i < 0 {
		return -1
	}
	return l.StanceAt(k, l.Stances[k][i].Cycle+1)
}

// Middle returns the middle of stance i of limb k, s: between its instants where both
// were timed, else by the grid and how long stances last.
func (l *Timeline) Middle(k, i int) float64 {
	s := &l.Stances[k][i]
	half := l.grid.typical[k] / 2
	switch {
	case s.OnTimed() && s.OffTimed():
		return (s.On + s.Off) / 2
	case s.OnTimed():
		return s.On + half
	case s.OffTimed():
		return s.Off - half
	}
	return l.grid.landing(k, s.Cycle) + half
}

// Steps is one girdle in one stride: the limb that lands first, the other one, and the
// first one's next landing.
type Steps struct {
	First, Other       int // Limbs.
	Lead, Second, Last int // Stances of First, Other and First.
}

// StepsIn returns girdle g (0 fore, 1 hind) in stride i and whether all three stances
// are there.
func (l *Timeline) StepsIn(g, i int) (s Steps, ok bool) {
	left, right := 2*g, 2*g+1
	after := func(k int) float64 { return math.Mod(l.grid.phase[k]-l.grid.phase[l.Ref]+1, 1) }
	s = Steps{First: left, Other: right}
	if after(right) < after(left) {
		s.First, s.Other = right, left
	}
	s.Lead, s.Second = l.In(s.First, i), l.In(s.Other, i)
	s.Last = l.Next(s.First, s.Lead)
	return s, s.Lead >= 0 && s.Second >= 0 && s.Last >= 0
}

// UsualStance returns how long stances last, s: the mean over the limbs; 0 where there is
// no rhythm.
func (l *Timeline) UsualStance() float64 {
	if l.grid == nil {
		return 0
	}
	t := &l.grid.typical
	return (t[0] + t[1] + t[2] + t[3]) / 4
}

// During returns what was seen of a hoof from one instant on until before another.
func (h *Seen) During(from, to float64) []Sample {
	at := func(t float64) int { return sort.Search(len(h.All), func(i int) bool { return h.All[i].T >= t }) }
	return h.All[at(from):at(to)]
}
