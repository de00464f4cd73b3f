package track

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"jogstrip/track/errormodel"
)

// Stances of a pair follow each other in steps: left, right, left. Which of its pair
// a stance is, is told over the whole run at once: by the marks, by the time since the
// others, by where it lies across the picture and by what it looks like. A single
// stance may mislead in each of these, but hardly a run of them.

// worth is what it is worth to take the stance for that of side; usual is how long
// stances last, s.
func (s *standing) worth(side int, times []float64, usual float64) float64 {
	if s.marked >= 0 {
		if s.marked != side {
			return math.Inf(-1)
		}
		return s.model.MarkedWorth
	}
	if s.never[side] || usual > 0 && s.lasts(times) > s.model.LongStance*usual {
		return math.Inf(-1)
	}
	like := max(s.like[0], s.like[1])
	if like < s.model.StandNCC || like < s.model.AnchorNCC && s.share < s.fills {
		return math.Inf(-1)
	}
	w := ramp(like, s.model.LeastNCC, 0.9) + 0.8*min(1, s.lasts(times)/max(usual, s.model.ShortS)) - 0.4
	if s.like[side] > 0 || s.like[1-side] > 0 {
		w -= 2 * (like - s.like[side])
	}
	if o := s.off[side]; s.offSD.X > 0 {
		if math.Abs(o.Y) > s.model.SearchDown {
			return math.Inf(-1) // A handler's shoe stands nearer to the camera.
		}
		w -= 0.2 * (min(4, sq(o.X/s.offSD.X)) + min(4, sq(o.Y/s.offSD.Y)))
	}
	if w <= s.model.LeastWorth {
		return math.Inf(-1)
	}
	return w
}

// chain is a choice of stances with their sides and beats.
type chain struct {
	step  float64 // s.
	worth float64
	of    []counted
}

// counted is a stance that is chosen.
type counted struct{ index, side, beat int }

// holds returns where stance i is chosen, −1 where it is not.
func (c *chain) holds(i int) int {
	return slices.IndexFunc(c.of, func(o counted) bool { return o.index == i })
}

// counts are the stances of a pair counted by steps of every length that the gait has. Index of
// its slices but marked and chains: stance.
type counts struct {
	all       []*standing // In the order of time.
	times     []float64
	pace      *errormodel.Pace
	model     *errormodel.Tracking
	byLeaving bool         // When they landed is told by when they left: see landing.
	lasts     float64      // How long stances usually last, s.
	longest   float64      // How long one that a person marked lasts at most, s.
	worth     [2][]float64 // Of each stance as one of either side.
	marked    []int        // How many stances before index are marked.
	at, sd    []float64    // When each landed, and how well that is known, s.
	chains    []chain      // The best choice by steps of each length; the same lengths for both pairs.
}

// newCounts returns what counting all needs, by steps of whatever length.
func newCounts(all []*standing, times []float64, pace *errormodel.Pace, m *errormodel.Tracking, byLeaving bool) *counts {
	n := len(all)
	c := &counts{all: all, times: times, pace: pace, model: m, byLeaving: byLeaving, lasts: usual(all, times), marked: make([]int, n+1), at: make([]float64, n), sd: make([]float64, n)}
	for i, s := range all {
		c.marked[i+1] = c.marked[i]
		if s.marked >= 0 {
			c.marked[i+1]++
			c.longest = max(c.longest, c.lasts, s.lasts(times))
		}
		c.at[i], c.sd[i] = s.landing(times, c.lasts, byLeaving)
		for side := range c.worth {
			c.worth[side] = append(c.worth[side], s.worth(side, times, c.lasts))
		}
	}
	return c
}

// countAll counts all by steps of every length, and puts them in the order of time. byLeaving is as
// for landing.
func countAll(all []*standing, times []float64, pace *errormodel.Pace, m *errormodel.Tracking, byLeaving bool) *counts {
	slices.SortStableFunc(all, func(a, b *standing) int { return a.first() + a.last() - b.first() - b.last() })
	c := newCounts(all, times, pace, m, byLeaving)
	const ratio = 1.02
	for step := m.ShortestStep; step <= pace.LongestStepS; step *= ratio {
		c.chains = append(c.chains, c.by(step))
	}
	return c
}

// choose returns which stances are those of the pair, which side each is and at which step it
// comes; beats are −1 where other steps may as well lie between them. Both pairs of a horse take
// steps of one length: others are the counts of the other pair. sure is false where too few are
// found; the marked stances keep their sides then, and only they count.
func (c *counts) choose(others ...*counts) (best chain, sure bool) {
	total := worths(c.chains)
	for _, o := range others {
		both := floats.AddTo(make([]float64, len(total)), total, worths(o.chains))
		if !math.IsInf(floats.Max(both), -1) { // Else no length suits both: one of them is no pair.
			total = both
		}
	}
	most := floats.MaxIdx(total)
	best = c.chains[most]
	// Somebody must have said of one at least whose it is.
	sure = len(best.of) > 2 && slices.ContainsFunc(best.of, func(o counted) bool { return c.all[o.index].marked >= 0 })
	if !sure {
		return best, false
	}
	var rivals []chain
	for i, r := range c.chains {
		if total[most]-total[i] < c.model.CountSureBy {
			rivals = append(rivals, r)
		}
	}
	best.of = slices.DeleteFunc(slices.Clone(best.of), func(o counted) bool {
		return c.all[o.index].marked < 0 && (slices.ContainsFunc(rivals, func(r chain) bool { return r.denies(o) }) ||
			best.worth-c.worthAs(o.index, 1-o.side, best.step) < c.model.SureBy)
	})
	if slices.ContainsFunc(rivals, func(r chain) bool { return !r.countsAs(&best) }) {
		for i := range best.of {
			best.of[i].beat = -1
		}
		return best, true
	}
	c.fillIn(&best)
	return best, true
}

// worths returns what each choice is worth.
func worths(chains []chain) []float64 {
	out := make([]float64, len(chains))
	for i, c := range chains {
		out[i] = c.worth
	}
	return out
}

// denies reports whether the choice has the stance of o as the opposite limb's.
func (c *chain) denies(o counted) bool {
	k := c.holds(o.index)
	return k >= 0 && c.of[k].side != o.side
}

// countsAs reports whether the same steps lie between the stances that both choices have.
func (c *chain) countsAs(o *chain) bool {
	first, apart := true, 0
	for _, s := range o.of {
		k := c.holds(s.index)
		if k < 0 {
			continue
		}
		if d := c.of[k].beat - s.beat; first {
			first, apart = false, d
		} else if d != apart {
			return false
		}
	}
	return true
}

// worthAs returns what the best choice by a step so long, s, is worth in which stance i, which
// nobody marked, is one of side.
func (c *counts) worthAs(i, side int, step float64) float64 {
	as := *c.all[i]
	as.marked = side // Its worth is so large then that it is chosen.
	all := slices.Clone(c.all)
	all[i] = &as
	return newCounts(all, c.times, c.pace, c.model, c.byLeaving).by(step).worth - c.model.MarkedWorth + c.worth[side][i]
}

// begins returns when it began to stand and the standard deviation of that, s: after it was
// seen away, and before it was first seen to stand.
func (s *standing) begins(times []float64) (at, sd float64) {
	if s.before < 0 {
		return times[s.first()], 0
	}
	gap := times[s.first()] - times[s.before]
	return times[s.first()] - gap/2, gap / math.Sqrt(12)
}

// ceases returns when it ceased to stand and the standard deviation of that, s.
func (s *standing) ceases(times []float64) (at, sd float64) {
	if s.after < 0 {
		return times[s.last()], 0
	}
	gap := times[s.after] - times[s.last()]
	return times[s.last()] + gap/2, gap / math.Sqrt(12)
}

// landing returns when the hoof seems to have landed and the standard deviation of that, s; lasts
// is how long stances usually last. Hinds land in the prints of the fores, so that of a hind that
// comes to one the landing is seen worse than the leaving, and of a fore that makes one the
// leaving: where the horse goes away it is told by the leaving (byLeaving), else as seen. Where
// that end was hidden the other one tells it, or else the middle of what was seen, which hardly
// does.
func (s *standing) landing(times []float64, lasts float64, byLeaving bool) (at, sd float64) {
	on, onSD := s.begins(times)
	off, offSD := s.ceases(times)
	landed, left := s.before >= 0, s.after >= 0
	if left && (byLeaving || !landed) {
		// A foot rolls over its toe: sooner or later in a stance it seems to leave.
		return off - lasts, math.Hypot(math.Hypot(s.model.LandingSD, offSD), s.model.LastsSD*lasts)
	}
	if landed {
		return on, math.Hypot(s.model.LandingSD, onSD)
	}
	return s.middle(times) - max(lasts, s.lasts(times))/2, max(2*s.model.LandingSD, lasts/2)
}

// usual returns how long the stances last whose both ends were seen, s: the upper quarter; else
// the longest of those that a person marked.
func usual(all []*standing, times []float64) float64 {
	var whole []float64
	most := 0.0
	for _, s := range all {
		if s.marked < 0 {
			continue
		}
		if s.before >= 0 && s.after >= 0 {
			on, _ := s.begins(times)
			off, _ := s.ceases(times)
			whole = append(whole, off-on)
		}
		most = max(most, s.lasts(times))
	}
	if len(whole) == 0 {
		return most
	}
	slices.Sort(whole)
	return whole[3*len(whole)/4] // Something may have hidden a part of the shorter ones.
}

// rhythm returns when beat 0 of a choice is expected and how long a step takes, s; ok is false
// where too few stances say it.
func (c *counts) rhythm(of *chain) (first, step float64, ok bool) {
	var beats, landings []float64
	for _, o := range of.of {
		beats, landings = append(beats, float64(o.beat)), append(landings, c.at[o.index])
	}
	if len(beats) < 3 {
		return 0, 0, false
	}
	first, step = stat.LinearRegression(beats, landings, nil, false)
	return first, step, step >= c.model.ShortestStep && step <= c.pace.LongestStepS
}

// fillIn adds to a choice what looks like the hoof and stands in the middle of a step in which
// nothing was found: where both its ends are hidden its times alone say too little of it.
func (c *counts) fillIn(to *chain) {
	first, step, ok := c.rhythm(to)
	if !ok {
		return
	}
	for k := 0; k+1 < len(to.of); k++ {
		beat, side := to.of[k].beat+1, 1-to.of[k].side
		if beat == to.of[k+1].beat {
			continue
		}
		middle := first + step*float64(beat) + c.lasts/2
		best, found := math.Inf(-1), -1
		for i, s := range c.all {
			if s.marked >= 0 || s.like[side] < c.model.AnchorNCC || math.Abs(s.middle(c.times)-middle) > c.model.FarOffBeat*step {
				continue
			}
			if w := c.worth[side][i]; w > best {
				best, found = w, i
			}
		}
		if found >= 0 && to.holds(found) < 0 {
			to.of = slices.Insert(to.of, k+1, counted{found, side, beat})
		}
	}
}

// counting is how steps of one length are counted.
type counting struct {
	*counts
	step float64     // s.
	best [][2]choice // Up to each stance as one of either side.
}

// choice is the best choice of stances up to one of them.
type choice struct {
	worth    float64
	from     int // Stance before it; −1 where it is the first.
	fromSide int
	beat     int
}

// by returns the best choice where a step takes so long, s.
func (c *counts) by(step float64) chain {
	out := chain{step: step, worth: math.Inf(-1)}
	if c.longest > c.model.LongestDuty*2*step {
		return out // A limb can't stand for longer than its stride lasts.
	}
	n := len(c.all)
	k := counting{c, step, make([][2]choice, n)}
	end, endSide := -1, 0
	for i := range c.all {
		for side := range 2 {
			b := k.upTo(i, side)
			k.best[i][side] = b
			if total := b.worth - c.model.MarkedWorth*float64(c.marked[n]-c.marked[i+1]); total > out.worth {
				out.worth, end, endSide = total, i, side
			}
		}
	}
	for i, side := end, endSide; i >= 0; {
		b := k.best[i][side]
		out.of = append(out.of, counted{i, side, b.beat})
		i, side = b.from, b.fromSide
	}
	slices.Reverse(out.of)
	return out
}

// upTo returns the best choice that ends with stance i as one of side.
func (k *counting) upTo(i, side int) choice {
	m := k.model
	worth := k.worth[side][i]
	b := choice{worth: worth - m.MarkedWorth*float64(k.marked[i]), from: -1}
	for j := range i {
		d := (k.at[i] - k.at[j]) / k.step
		for from := range 2 {
			// Steps from one side to the other are odd, and even to the same side.
			steps := 2 - float64(from^side)
			steps += 2 * max(0, math.Round((d-steps)/2))
			if steps > m.MostMissed || from == side && k.times[k.all[i].first()]-k.times[k.all[j].last()] < k.pace.ShortestSwingS {
				continue // One limb can't stand in two places, nor go from one to the other so soon.
			}
			off := (d - steps) * k.step / math.Sqrt(sq(k.sd[i])+sq(k.sd[j])+sq(m.OffStepSD*k.step)*steps)
			v := k.best[j][from].worth + worth - min(off*off/2, 3) - m.MissedStep*(steps-1) - m.MarkedWorth*float64(k.marked[i]-k.marked[j+1])
			if v > b.worth {
				b = choice{v, j, from, k.best[j][from].beat + int(steps)}
			}
		}
	}
	return b
}
