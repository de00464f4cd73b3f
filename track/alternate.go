package track

import (
	"cmp"
	"math"
	"slices"

	"jogstrip/track/traj"
)

// event is one stance of a pair of limbs, whichever of the two it was.
type event struct {
	at     float64    // Its middle, s.
	lasts  float64    // s.
	stance [2]*stance // As the left limb's and as the right one's; nil where it was not found as such.
	known  int        // 0 left, 1 right: a person marked it; -1 where nobody did.
}

// any returns the stance, as whichever limb it was found.
func (e *event) any() *stance {
	if e.stance[0] != nil {
		return e.stance[0]
	}
	return e.stance[1]
}

// alternate drops stances that were found as those of the wrong limb of a pair.
// Limbs of a pair look alike, and where a horse sets them down on one line their
// place tells nothing; but in every gait they stand by turns, so from a stance that
// a person marked the others follow by counting. Where counting fails, because too
// much is missing, what looks and lies alike as left and as right is dropped.
// Marks that lie in a stance are set to stand.
func alternate(all []stance, marks []seed, times []float64) []stance {
	var out []stance
	for _, left := range []traj.Landmark{traj.LeftFore, traj.LeftHind} {
		out = append(out, alternatePair(all, left, marks, times)...)
	}
	slices.SortStableFunc(out, func(a, b stance) int { return cmp.Compare(a.hits[0].frame, b.hits[0].frame) })
	return out
}

func alternatePair(all []stance, left traj.Landmark, marks []seed, times []float64) []stance {
	events := eventsOf(all, left, marks, times)
	if len(events) == 0 {
		return nil
	}
	limb := limbsOf(events)
	var out []stance
	for i := range events {
		e := &events[i]
		l, r := e.stance[0], e.stance[1]
		switch {
		case limb[i] >= 0:
			if s := e.stance[limb[i]]; s != nil {
				s.counted = true
				out = append(out, *s)
			}
		case l != nil && (r == nil || l.cost() < r.cost()-clearCost):
			out = append(out, *l)
		case r != nil && (l == nil || r.cost() < l.cost()-clearCost):
			out = append(out, *r)
		}
	}
	return out
}

// clearCost is by how much one limb must fit better than its opposite for the
// stance to be taken as its own where counting does not tell.
const clearCost = 0.05

// eventsOf returns the stances of left and its opposite in the order of time.
func eventsOf(all []stance, left traj.Landmark, marks []seed, times []float64) []event {
	var events []event
	for i := range all {
		s := &all[i]
		if s.landmark != left && s.landmark != left.Opposite() {
			continue
		}
		side := 0
		if s.landmark != left {
			side = 1
		}
		same := slices.IndexFunc(events, func(e event) bool {
			o := e.any()
			return e.stance[side] == nil && apart(s, o, times) < sameTimeS && s.mean().Dist(o.mean()) < samePlace*min(s.hits[0].size, o.hits[0].size)
		})
		if same < 0 {
			events = append(events, event{known: -1})
			same = len(events) - 1
		}
		events[same].stance[side] = s
	}
	for i := range events {
		e := &events[i]
		n := 0.0
		for _, s := range e.stance {
			if s == nil {
				continue
			}
			n++
			e.at += s.middle(times)
			e.lasts += s.lasts(times)
			for k, m := range marks {
				if !m.Visible || m.found || m.Landmark != left && m.Landmark != left.Opposite() || !s.holds(m, times) {
					continue
				}
				if e.known = 0; m.Landmark != left {
					e.known = 1
				}
				marks[k].stands = true
			}
		}
		e.at, e.lasts = e.at/n, e.lasts/n
	}
	slices.SortStableFunc(events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	return events
}

// What is in one place within this time is one stance: the place in sides of the
// patch, the time less than a hoof needs to come to the place of another.
const (
	samePlace = 0.4
	sameTimeS = 0.1
)

// apart returns the time between two stances, s, 0 where they overlap.
func apart(a, b *stance, times []float64) float64 {
	return max(0, times[a.hits[0].frame]-times[b.hits[len(b.hits)-1].frame], times[b.hits[0].frame]-times[a.hits[len(a.hits)-1].frame])
}

// holds reports whether mark m lies in the stance, in time and place. A stance is
// found where it is sure, so a mark may lie a little before or after it.
func (s *stance) holds(m seed, times []float64) bool {
	best, least := -1, sameTimeS
	for i, h := range s.hits {
		if d := math.Abs(times[h.frame] - times[m.Frame]); d < least {
			best, least = i, d
		}
	}
	return best >= 0 && math.Hypot(s.hits[best].at.X-m.X, s.hits[best].at.Y-m.Y) < samePlace/2*s.hits[best].size
}

// limbsOf returns which limb every event is, 0 left and 1 right, -1 where it cannot
// be told.
func limbsOf(events []event) []int {
	best := knownOf(events)
	var gaps, lasts []float64
	for i := range events {
		lasts = append(lasts, events[i].lasts)
		if i > 0 {
			gaps = append(gaps, events[i].at-events[i-1].at)
		}
	}
	if len(gaps) == 0 {
		return best
	}
	slices.Sort(gaps)
	slices.Sort(lasts)
	gap, last := gaps[len(gaps)/2], lasts[len(lasts)/2]
	if gap == 0 {
		return best
	}
	// Either both limbs' stances were found, or one's only: what a person marked and
	// what was found tell which.
	most := -1
	for _, step := range []float64{gap, gap / 2} {
		limb, agree := count(events, step)
		if !agree {
			continue
		}
		fit := 0
		for i, l := range limb {
			if l < 0 {
				continue
			}
			if events[i].stance[l] != nil {
				fit++
			} else {
				fit--
			}
		}
		// A limb is in the air for longer than its opposite stands: a gap longer than
		// two stances is a whole stride.
		if fit > most || fit == most && gap > 2*last {
			most, best = fit, limb
		}
	}
	return best
}

// knownOf returns which limb every event is as far as a person marked it.
func knownOf(events []event) []int {
	limb := make([]int, len(events))
	for i := range limb {
		limb[i] = events[i].known
	}
	return limb
}

// count returns which limb every event is, as limbsOf, from the known ones
// outward, step being the time from a stance to the opposite limb's next. Events
// that lie between steps stay -1, as does what is beyond them. agree is false
// where known events contradict each other.
func count(events []event, step float64) (limb []int, agree bool) {
	limb, agree = knownOf(events), true
	for i := range events {
		if events[i].known < 0 {
			continue
		}
		for _, dir := range []int{1, -1} {
			for j := i; ; {
				k := j + dir
				if k < 0 || k >= len(events) {
					break
				}
				steps := math.Abs(events[k].at-events[j].at) / step
				n := math.Round(steps)
				if n == 0 || math.Abs(steps-n) > offStep {
					break
				}
				is := (limb[j] + int(n)) % 2
				if events[k].known >= 0 {
					agree = agree && events[k].known == is
					break
				}
				if limb[k] >= 0 && limb[k] != is {
					agree = false
				}
				limb[k] = is
				j = k
			}
		}
	}
	return limb, agree
}

// offStep is how far off the beat a stance may be, steps.
const offStep = 0.3
