package track

import (
	"math"
	"slices"

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
	if o := s.off[side]; !math.IsNaN(o.X) && s.offSD.X > 0 {
		if math.Abs(o.Y) > s.model.SearchDown {
			return math.Inf(-1) // A handler's shoe stands nearer to the camera.
		}
		w -= 0.2 * (min(4, sq(o.X/s.offSD.X)) + min(4, sq(o.Y/s.offSD.Y)))
	}
	return w
}

// chain is a choice of stances with their sides and beats.
type chain struct {
	model *errormodel.Tracking
	step  float64
	worth float64
	of    []counted
}

// counted is a stance that is chosen.
type counted struct{ index, side, beat int }

// holds returns where stance i is chosen, −1 where it is not.
func (c *chain) holds(i int) int {
	return slices.IndexFunc(c.of, func(o counted) bool { return o.index == i })
}

// count returns which stances are those of the pair, which side each is and at which
// step it comes. all is in the order of time. sure is false where too few are found; the
// marked stances keep their sides then, and only they count.
func count(all []*standing, times []float64, pace *errormodel.Pace, m *errormodel.Tracking) (best chain, sure bool) {
	const ratio = 1.02
	for step := m.ShortestStep; step <= m.LongestStep; step *= ratio {
		if t := countAt(all, times, step, pace, m); t.worth > best.worth || best.of == nil {
			best = t
		}
	}
	// Somebody must have said of one at least whose it is.
	sure = len(best.of) > 2 && slices.ContainsFunc(best.of, func(o counted) bool { return all[o.index].marked >= 0 })
	if n := len(best.of); sure && best.of[n-1].beat-best.of[0].beat >= 2*(n-1) {
		sure = false // Steps half as long leave every other one empty.
	}
	if sure {
		best.of = slices.DeleteFunc(best.of, func(o counted) bool {
			return all[o.index].marked < 0 && best.worth-worthAs(all, o.index, 1-o.side, times, best.step, pace, m) < m.SureBy
		})
		best.fillIn(all, times)
	}
	return best, sure
}

// worthAs returns what the best choice is worth in which stance i, which nobody marked, is one of
// side.
func worthAs(all []*standing, i, side int, times []float64, step float64, pace *errormodel.Pace, m *errormodel.Tracking) float64 {
	own := all[i].worth(side, times, usual(all, times))
	as := *all[i]
	as.marked = side // Its worth is so large then that it is chosen.
	all = slices.Clone(all)
	all[i] = &as
	return countAt(all, times, step, pace, m).worth - m.MarkedWorth + own
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

// landing returns when the hoof seems to have landed and the standard deviation of that,
// s. Where something hid the landing, it is told by the leaving, or else by the middle of
// what was seen, which hardly tells it; lasts is how long stances usually last.
func (s *standing) landing(times []float64, lasts float64) (at, sd float64) {
	on, onSD := s.begins(times)
	switch {
	case s.before >= 0:
		return on, math.Hypot(s.model.LandingSD, onSD)
	case s.after >= 0:
		off, offSD := s.ceases(times)
		return min(on, off-lasts), math.Hypot(math.Hypot(s.model.LandingSD, offSD), s.model.LastsSD*lasts)
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

// rhythm returns when beat 0 is expected and how long a step takes, s; ok is false where
// too few stances say it.
func (c *chain) rhythm(all []*standing, times []float64) (first, step float64, ok bool) {
	lasts := usual(all, times)
	var beats, landings []float64
	for _, o := range c.of {
		t, _ := all[o.index].landing(times, lasts)
		beats, landings = append(beats, float64(o.beat)), append(landings, t)
	}
	if len(beats) < 3 {
		return 0, 0, false
	}
	first, step = stat.LinearRegression(beats, landings, nil, false)
	return first, step, step >= c.model.ShortestStep && step <= c.model.LongestStep
}

// fillIn adds what looks like the hoof and stands in the middle of a step in which nothing
// was found: where both its ends are hidden its times alone say too little of it.
func (c *chain) fillIn(all []*standing, times []float64) {
	first, step, ok := c.rhythm(all, times)
	if !ok {
		return
	}
	lasts := usual(all, times)
	for k := 0; k+1 < len(c.of); k++ {
		beat, side := c.of[k].beat+1, 1-c.of[k].side
		if beat == c.of[k+1].beat {
			continue
		}
		middle := first + step*float64(beat) + lasts/2
		best, found := c.model.LeastWorth, -1
		for i, s := range all {
			if s.marked >= 0 || s.never[side] || s.like[side] < c.model.AnchorNCC || math.Abs(s.middle(times)-middle) > c.model.FarOffBeat*step {
				continue
			}
			if w := s.worth(side, times, lasts); w > best {
				best, found = w, i
			}
		}
		if found >= 0 && c.holds(found) < 0 {
			c.of = slices.Insert(c.of, k+1, counted{found, side, beat})
		}
	}
}

// counting is how steps of one length are counted. Index of its slices but marked: stance.
type counting struct {
	all    []*standing
	times  []float64
	step   float64 // s.
	pace   *errormodel.Pace
	model  *errormodel.Tracking
	worth  [2][]float64 // Of each stance as one of either side.
	marked []int        // How many stances before index are marked.
	at, sd []float64    // When each landed, and how well that is known, s.
	best   [][2]choice  // Of either side.
}

// choice is the best choice of stances up to one of them.
type choice struct {
	worth    float64
	from     int // Stance before it; −1 where it is the first.
	fromSide int
	beat     int
}

// countAt returns the best choice where a step takes so long, s.
func countAt(all []*standing, times []float64, step float64, pace *errormodel.Pace, m *errormodel.Tracking) chain {
	n := len(all)
	k := counting{all: all, times: times, step: step, pace: pace, model: m, marked: make([]int, n+1), at: make([]float64, n), sd: make([]float64, n), best: make([][2]choice, n)}
	out := chain{model: m, step: step, worth: math.Inf(-1)}
	lasts := usual(all, times)
	for i, s := range all {
		k.marked[i+1] = k.marked[i]
		if s.marked >= 0 {
			k.marked[i+1]++
			if max(lasts, s.lasts(times)) > m.LongestDuty*2*step {
				return out // A limb can't stand for longer than its stride lasts.
			}
		}
		k.at[i], k.sd[i] = s.landing(times, lasts)
		for side := range 2 {
			k.worth[side] = append(k.worth[side], s.worth(side, times, lasts))
		}
	}
	end, endSide := -1, 0
	for i := range all {
		for side := range 2 {
			b := k.upTo(i, side)
			k.best[i][side] = b
			if total := b.worth - m.MarkedWorth*float64(k.marked[n]-k.marked[i+1]); total > out.worth {
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
