package contact

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"jogstrip/metrics/signal"
	"jogstrip/metrics/stats"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Phases is when each limb lands, as share of the stride after the left fore. Walk is
// the lateral sequence left hind, left fore, right hind, right fore.
func Phases(g traj.Gait) [4]float64 {
	return map[traj.Gait][4]float64{
		traj.Trot: {0, 0.5, 0.5, 0}, traj.Pace: {0, 0.5, 0, 0.5}, traj.Walk: {0, 0.5, 0.75, 0.25},
	}[g]
}

// grid is the grid of beats. A gait is a rhythm: the limbs land one after the other at fixed
// shares of a stride whose duration changes slowly. Tracking counts the steps between the
// stances it saw, which gives each its beat; those not seen leave holes. A beat is a count of
// strides: limb k lands at beats cycle + phase[k].
type grid struct {
	model   errormodel.Contact
	phase   [4]float64
	period  float64        // Mean duration of a stride, s.
	curve   *signal.Spline // Time of beats, s.
	shift   [4]float64     // By how much each limb lands after its beat, s.
	typical [4]float64     // Duration of each limb's stance, s.
	sd      float64        // Of an instant of the grid, s.
	rateSD  float64        // Of the mean duration of a stride, s.
	beats   []float64      // Beats at which stances were seen, ascending.
}

// landing returns when limb k lands in a cycle, s.
func (g *grid) landing(k, cycle int) float64 {
	return g.curve.At(float64(cycle)+g.phase[k]) + g.shift[k]
}

// known reports whether stances were seen close enough on both sides of the beats from
// and to.
func (g *grid) known(from, to float64) bool {
	const beyond = 0.75
	n := len(g.beats)
	if n == 0 || from < g.beats[0]-beyond || to > g.beats[n-1]+beyond {
		return false
	}
	for i := 1; i < n; i++ {
		if g.beats[i]-g.beats[i-1] > g.model.LongestHole && g.beats[i-1] < to && g.beats[i] > from {
			return false
		}
	}
	return true
}

// nearestCycle returns the cycle whose landing of limb k is nearest to t.
func (g *grid) nearestCycle(k int, t float64) int {
	c, step := 0, 1
	for n := 0; step != 0 && n <= 50; n++ { // The curve rises by about a period a beat everywhere.
		step = int(math.Round((t - g.landing(k, c)) / g.period))
		c += step
	}
	return c
}

// landing is one stance as evidence of the rhythm.
type landing struct {
	limb, stance int
	t, sd        float64 // When it began, s.
	beat         float64 // NaN where it has no place in the grid.
}

// periodByBeats returns the duration of a stride, s, from how many steps lie between the
// stances of a pair; 0 where no two of one limb were counted.
func periodByBeats(stances *[4][]Stance, m errormodel.Contact) float64 {
	var num, den float64 // Of both pairs: the steps' slope in time.
	for pair := range 2 {
		var t, b, w []float64
		for k := 2 * pair; k < 2*pair+2; k++ {
			for _, s := range stances[k] {
				if s.beat < 0 || s.StartsClip {
					continue
				}
				at, sd := s.Reaches()
				t, b, w = append(t, at), append(b, float64(s.beat)), append(w, 1/sq(math.Hypot(sd, m.StanceS)))
			}
		}
		// Of one step alone nobody knows how even it is.
		if len(b) == 0 || slices.Max(b)-slices.Min(b) < 2 {
			continue
		}
		meanT, meanB := stat.Mean(t, w), stat.Mean(b, w)
		for i := range t {
			num += w[i] * (t[i] - meanT) * (b[i] - meanB)
			den += w[i] * sq(b[i]-meanB)
		}
	}
	if den == 0 {
		return 0
	}
	return 2 * num / den
}

// lengths returns how long stances last, s. Index: limb. Stances that were timed at both
// ends tell it: the limb's own, else its girdle's, else all; where there is none, what is
// usual.
func (l *Timeline) lengths(usual float64) [4]float64 {
	var own [4][]float64
	for k := range Limbs {
		for _, s := range l.Stances[k] {
			if s.OnTimed() && s.OffTimed() {
				own[k] = append(own[k], s.Off-s.On)
			}
		}
	}
	var out [4]float64
	all := slices.Concat(own[:]...)
	for k := range Limbs {
		pair := slices.Concat(own[k], own[k^1])
		switch {
		case len(own[k]) >= 3:
			out[k] = signal.Median(own[k])
		case len(pair) >= 2:
			out[k] = signal.Median(pair)
		case len(all) > 0:
			out[k] = signal.Median(all)
		default:
			out[k] = usual
		}
	}
	return out
}

// began returns when the stance began, as both its ends tell it, and the standard deviation of
// that; typical is how long stances last, s.
func (s *Stance) began(typical float64, m errormodel.Contact) (at, sd float64) {
	at, sd = s.Reaches()
	byEnd, endSD := s.Off-typical, math.Hypot(s.OffSD, m.StanceS)
	switch {
	case s.OnTimed() && s.OffTimed() && s.beat >= 0: // One without a beat is judged by its landing.
		// What hides a part of a stance makes it land late or leave early: the two err apart.
		w := sq(endSD) / (sq(sd) + sq(endSD))
		return w*at + (1-w)*byEnd, math.Sqrt(w) * sd
	case s.OnTimed():
	case s.OffTimed():
		return byEnd, endSD
	case typical > s.Off-s.On:
		// It began at any time from which on it still lasts for as long as it was seen.
		hidden := typical - (s.Off - s.On)
		return s.On - hidden/2, math.Hypot(sd, hidden/math.Sqrt(12))
	}
	return at, sd
}

// landings returns every stance with when it began, as far as that was seen, and its
// beat. Ascending in time.
func (l *Timeline) landings(g *grid) []landing {
	var out []landing
	for k := range Limbs {
		for i, s := range l.Stances[k] {
			e := landing{limb: k, stance: i, beat: math.NaN()}
			e.t, e.sd = s.began(g.typical[k], g.model)
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(a, b landing) int { return cmp.Compare(a.t, b.t) })
	l.count(g, out)
	return out
}

// count gives stances the beats that follow from the steps that tracking counted, pair
// by pair. The hinds' are shifted by whole strides to where their landings come nearest to
// the fores'.
func (l *Timeline) count(g *grid, all []landing) {
	var offset [2]float64 // Of a pair's landings from the beats, strides; index: pair.
	for pair := range 2 {
		even, known := 0, 0.0
		for i := range all {
			e := &all[i]
			s := &l.Stances[e.limb][e.stance]
			if e.limb/2 != pair || s.beat < 0 {
				continue
			}
			if known == 0 { // The left limb lands at whole strides after its phase.
				even = s.beat + e.limb%2
			}
			e.beat = float64(s.beat-even)/2 + g.phase[2*pair]
			offset[pair] += e.t/g.period - e.beat
			known++
		}
		offset[pair] /= max(1, known)
	}
	shift := math.Round(offset[1] - offset[0])
	for i := range all {
		if all[i].limb >= 2 && offset[0] != 0 && offset[1] != 0 {
			all[i].beat += shift
		}
	}
}

// findBeats lays the grid of beats through the stances; nil where they are too few.
func (l *Timeline) findBeats(gait traj.Gait, m errormodel.Contact) *grid {
	duty := m.Duty
	if gait == traj.Walk {
		duty = m.WalkDuty
	}
	g := &grid{model: m, phase: Phases(gait), typical: l.lengths(duty * l.Period), period: l.Period}
	if !g.fit(l.landings(g)) {
		return nil
	}
	return g
}

// fit smooths the times of beats and finds by how much each limb is off them, in turns.
func (g *grid) fit(all []landing) bool {
	var on []*landing
	for i := range all {
		if !math.IsNaN(all[i].beat) {
			on = append(on, &all[i])
		}
	}
	slices.SortStableFunc(on, func(a, b *landing) int { return cmp.Compare(a.beat, b.beat) })
	loose := slices.Repeat([]float64{1}, len(on)) // By how much a stance far off counts less.
	var rest []float64
	for range 12 {
		if !g.smooth(on, loose) {
			return false
		}
		rest = g.offsets(on, loose)
	}
	g.spreads(on, rest, loose)
	first, last := g.beats[0], g.beats[len(g.beats)-1]
	if last-first < 0.9 {
		return false
	}
	g.period = (g.curve.At(last) - g.curve.At(first)) / (last - first)
	return true
}

// variance is how far a landing lies off its beat: by its own error, and because no horse
// is a clock.
func (g *grid) variance(e *landing) float64 { return sq(e.sd) + sq(g.model.BeatShare*g.period) }

// smooth lays the curve of beats through the landings, less their limbs' offsets.
func (g *grid) smooth(on []*landing, loose []float64) bool {
	var m, t, w []float64
	var total float64
	for i, e := range on {
		v := loose[i] / g.variance(e)
		at := e.t - g.shift[e.limb]
		if n := len(m); n > 0 && e.beat-m[n-1] < 1e-6 {
			t[n-1] = (t[n-1]*w[n-1] + at*v) / (w[n-1] + v)
			w[n-1] += v
		} else {
			m, t, w = append(m, e.beat), append(t, at), append(w, v)
		}
		total += v
	}
	if len(m) < 3 {
		return false
	}
	// Half of what changes over eight strides is followed.
	curve, err := signal.SmoothingSpline(m, t, w, total/(m[len(m)-1]-m[0])*math.Pow(8/(2*math.Pi), 4))
	if err != nil {
		return false
	}
	g.curve, g.beats = curve, m
	return true
}

// offsets finds by how much each limb lands after the curve, and how much single landings
// count, and returns how far off these lie, s. Index: as on.
func (g *grid) offsets(on []*landing, loose []float64) (rest []float64) {
	var off, count [4]float64
	for i, e := range on {
		d := e.t - g.curve.At(e.beat) - g.shift[e.limb]
		v := g.variance(e)
		loose[i] = min(1, 2*math.Sqrt(v)/math.Abs(d))
		off[e.limb] += loose[i] / v * d
		count[e.limb] += loose[i] / v
		rest = append(rest, d)
	}
	var sum, seen float64
	for k := range g.shift {
		if count[k] > 0 {
			g.shift[k] += off[k] / (count[k] + 1/sq(g.model.LimbShare*g.period))
			sum, seen = sum+g.shift[k], seen+1
		}
	}
	for k := range g.shift {
		if count[k] > 0 {
			g.shift[k] -= sum / seen
		}
	}
	return rest
}

// spreads sets the standard deviations of the grid's instants and of the mean stride, from how
// far landings lie off. That of the mean stride is that of the slope of a straight line through
// the landings by their beats: at least what their stated spreads make of it, wider where they
// lie farther off, and stretched to what Student's t makes of a 95 % interval.
func (g *grid) spreads(on []*landing, rest, loose []float64) {
	var said []float64
	var sw, sb, sbb, chi float64
	for i, e := range on {
		w := loose[i] / g.variance(e)
		sw, sb, sbb = sw+w, sb+w*e.beat, sbb+w*e.beat*e.beat
		chi += w * rest[i] * rest[i]
		said = append(said, e.sd)
	}
	// The grid smooths over a few landings: it is taken to be as sure as two of them.
	g.sd = max(g.model.BeatShare*g.period, max(signal.RobustSD(rest), signal.Median(said))/math.Sqrt2)
	stated := 1 / (2 * sq(g.model.SpreadDoubt)) // What the stated spreads are worth, degrees of freedom.
	df := stated + float64(max(0, len(on)-3))   // Line and shift of the limbs take three.
	g.rateSD = stats.Stretch(df) * math.Sqrt(max(1, (stated+chi)/df)/(sbb-sb*sb/sw))
}

// keepOnBeat drops stances that have no place in the grid and notes the cycle of the
// others.
func (l *Timeline) keepOnBeat() {
	g := l.grid
	of := map[[2]int]landing{} // By limb and stance.
	for _, e := range l.landings(g) {
		of[[2]int{e.limb, e.stance}] = e
	}
	for k, h := range l.Hooves {
		var kept []Stance
		for i, s := range l.Stances[k] {
			e := of[[2]int{k, i}]
			s.Cycle = g.nearestCycle(k, e.t)
			if !math.IsNaN(e.beat) {
				s.Cycle = int(math.Round(e.beat - g.phase[k])) // Tracking counted it.
			} else if math.Abs(e.t-g.landing(k, s.Cycle)) > g.model.OffBeat*l.Period+h.Frame && !s.StartsClip && !s.EndsClip {
				l.OffBeat++
				continue
			}
			if n := len(kept); n > 0 && kept[n-1].Cycle >= s.Cycle {
				l.OffBeat++
				if kept[n-1].to-kept[n-1].from < s.to-s.from {
					s.Cycle = kept[n-1].Cycle
					kept[n-1] = s
				}
				continue
			}
			kept = append(kept, s)
		}
		l.Stances[k] = kept
	}
}

func sq(x float64) float64 { return x * x }
