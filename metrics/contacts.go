package metrics

import (
	"math"
	"slices"
)

// What the shape of landing and leaving adds to the standard deviation of an instant,
// share of the stance: a hoof slides as it lands and rolls over its toe as it leaves, the
// longer the longer it stands.
const (
	landingShape = 0.08
	leavingShape = 0.12
)

// Up to which standard deviation, s, an instant counts as timed: what is vaguer says less
// than the rhythm does.
const worstLandingSD, worstLeavingSD = 0.065, 0.090

// takeStances takes the stances as tracking saw them. A landing lies between the last
// frame in which the place was seen without the hoof and the first in which it stands,
// and a leaving in the same way; what hides the place makes the instant vague, or
// leaves it untimed.
func (a *analysis) takeStances() {
	times := a.raw.Times
	frame := 0.0
	for k, limb := range limbs {
		h := a.hooves[k]
		if h == nil {
			continue
		}
		frame = h.frame
		for _, s := range a.raw.Stances {
			if s.Landmark != limb {
				continue
			}
			c := stance{
				Contact:    Contact{Limb: limb, On: times[s.First], Off: times[s.Last], OnSD: -1, OffSD: -1},
				from:       h.sampleAt(times[s.First] - h.frame/4),
				to:         h.sampleAt(times[s.Last] + h.frame/2),
				startsClip: s.First == 0, endsClip: s.Last == len(times)-1,
				reached: times[s.First], left: times[s.Last], beat: s.Beat,
			}
			if c.to-c.from < 2 {
				continue
			}
			lasts := times[s.Last] - times[s.First]
			if s.Before >= 0 {
				at, sd := instant(times[s.First], times[s.Before], landingShape*lasts, h.frame)
				c.reached = at
				if sd <= worstLandingSD {
					c.On, c.OnSD = at, sd
				}
			}
			if s.After >= 0 {
				at, sd := instant(times[s.Last], times[s.After], leavingShape*lasts, h.frame)
				c.left = at
				if sd <= worstLeavingSD {
					c.Off, c.OffSD = at, sd
				}
			}
			a.stances[k] = append(a.stances[k], c)
		}
	}
	if frame == 0 {
		return
	}
	a.period = a.periodByBeats()
	if a.period == 0 {
		return
	}
	if a.rhythm = a.findRhythm(); a.rhythm != nil {
		a.offBeat += a.keepOnBeat()
	}
}

// instant returns when a hoof that stands in a frame at seen and is gone in one at gone
// landed or left, and the standard deviation of that, s. Mostly it moved within the next
// frame; that it was gone is often told later only, once it has moved a good way.
func instant(seen, gone, shape, frame float64) (at, sd float64) {
	gap := math.Abs(gone - seen)
	off := min(gap, frame)/2 + max(0, gap-frame)/4
	if gone < seen {
		off = -off
	}
	return seen + off, math.Hypot(gap/math.Sqrt(12), shape)
}

// sampleAt returns the first sample at or after t.
func (h *hoofTrack) sampleAt(t float64) int {
	i := 0
	for i < len(h.t) && h.t[i] < t {
		i++
	}
	return i
}

// periodByBeats returns the duration of a stride, s, from how many steps lie between the
// stances of a pair; 0 where no two of one limb were counted.
func (a *analysis) periodByBeats() float64 {
	var num, den float64 // Of both pairs: the steps' slope in time.
	for pair := range 2 {
		var t, b, w []float64
		for k := 2 * pair; k < 2*pair+2; k++ {
			for i := range a.stances[k] {
				s := &a.stances[k][i]
				if s.beat < 0 {
					continue
				}
				at, sd := s.reaches()
				t, b, w = append(t, at), append(b, float64(s.beat)), append(w, 1/sq(math.Hypot(sd, stanceVaries)))
			}
		}
		var sw, st, sb float64
		for i := range t {
			sw, st, sb = sw+w[i], st+w[i]*t[i], sb+w[i]*b[i]
		}
		// Of one step alone nobody knows how even it is.
		if len(b) == 0 || slices.Max(b)-slices.Min(b) < 2 {
			continue
		}
		for i := range t {
			num += w[i] * (t[i] - st/sw) * (b[i] - sb/sw)
			den += w[i] * sq(b[i]-sb/sw)
		}
	}
	if den == 0 {
		return 0
	}
	return 2 * num / den
}
