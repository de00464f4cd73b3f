package metrics

import (
	"math"
	"sort"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// A gait is a rhythm: the limbs land one after the other at fixed shares of a
// stride whose duration changes slowly. Tracks of hooves have holes (a hoof in
// swing is small, blurred and hidden by the other limbs), and a rhythm that was
// taken from neighbouring stances alone would take two strides for one where a
// stance is missing. So the duration of a stride is found from everything that
// moves, and every stance gets its place in a grid of beats, in which those not
// seen leave holes.

// Bounds of the duration of a stride, s, with room on both sides of racing trot
// (0.45) and slow walk (1.3).
const shortestStride, longestStride = 0.33, 1.7

// shortestDuty is the least share of the stride that a stance takes in any of
// the gaits: racing trot has 0.24.
const shortestDuty = 0.23

// usualDuty is how much of the stride a stance lasts at an ordinary trot or
// pace, usualWalkDuty at the walk (common practice).
const usualDuty, usualWalkDuty = 0.42, 0.66

// offBeat is by how much a landing may be off its beat, share of the stride.
const offBeat = 0.16

// longestHole is how many strides may pass between two stances on the grid
// before the rhythm between them counts as unknown.
const longestHole = 2.5

// beatSD is how far landings of a steady horse vary about an even rhythm, share
// of the stride: some 10 ms at trot.
const beatSD = 0.014

// hiddenSD is how far the first frame in which a hoof is seen to stand may be from its
// landing where that was not seen, s: what passes before it hides it for a tenth of a
// second or so.
const hiddenSD = 0.05

// stanceVaries is how far a limb's stances differ in duration, s.
const stanceVaries = 0.012

// rhythm is the grid of beats. Beat m is a count of strides: limb k lands at
// beats cycle + phases[k].
type rhythm struct {
	phase   [4]float64
	period  float64        // Mean duration of a stride, s.
	curve   *signal.Spline // Time of beats, s.
	shift   [4]float64     // By how much each limb lands after its beat, s.
	typical [4]float64     // Duration of each limb's stance, s.
	sd      float64        // Of an instant of the grid, s.
	beats   []float64      // Beats at which stances were seen, ascending.
}

// landing returns when limb k lands in a cycle, s.
func (r *rhythm) landing(k, cycle int) float64 {
	t, _, _ := r.curve.At(float64(cycle) + r.phase[k])
	return t + r.shift[k]
}

// known reports whether stances were seen close enough on both sides of the
// beats from and to.
func (r *rhythm) known(from, to float64) bool {
	const beyond = 0.75
	n := len(r.beats)
	if n == 0 || from < r.beats[0]-beyond || to > r.beats[n-1]+beyond {
		return false
	}
	for i := 1; i < n; i++ {
		if r.beats[i]-r.beats[i-1] > longestHole && r.beats[i-1] < to && r.beats[i] > from {
			return false
		}
	}
	return true
}

// nearestCycle returns the cycle whose landing of limb k is nearest to t.
func (r *rhythm) nearestCycle(k int, t float64) int {
	// The curve rises by about a period a beat everywhere.
	c := int(math.Round((t - r.landing(k, 0)) / r.period))
	for range 50 {
		d := t - r.landing(k, c)
		step := int(math.Round(d / r.period))
		if step == 0 {
			break
		}
		c += step
	}
	return c
}

// stands reports whether limb k may be in stance at t: from shortly before the
// beat to somewhat longer than its stance lasts.
func (r *rhythm) stands(k int, t float64) bool {
	c := r.nearestCycle(k, t)
	for _, n := range [2]int{c - 1, c} {
		d := (t - r.landing(k, n)) / r.period
		if d > -0.15 && d < min(0.82, r.typical[k]/r.period+0.18) {
			return true
		}
	}
	return false
}

// beatOf is one stance as evidence of the rhythm.
type beatOf struct {
	limb, stance int
	t, sd        float64 // When it began, s.
	weight       float64
	beat         float64 // NaN until it has a place in the grid.
}

// lengths returns how long stances last, s. Index: limb. Stances whose both ends
// were seen tell it: the limb's own, else its girdle's, else all; where there is
// none, the longest that was seen in part.
func (a *analysis) lengths() [4]float64 {
	// Without instants to tell it no stance is taken for longer than is usual.
	usual := math.Inf(1)
	if a.period > 0 {
		usual = usualDuty * a.period
		if a.opts.Gait == traj.Walk {
			usual = usualWalkDuty * a.period
		}
	}
	var own [4][]float64
	var all, part []float64
	for k := range limbs {
		for i := range a.stances[k] {
			s := &a.stances[k][i]
			v := a.hooves[k].t[s.to-1] - a.hooves[k].t[s.from] + a.hooves[k].frame
			before, after := a.hooves[k].gapsAround(s)
			if near := 2.6*a.hooves[k].frame + 0.01 + alike; before <= near && after <= near {
				if s.onTimed() && s.offTimed() {
					v = s.Off - s.On
				} else {
					v = min(v, usual)
				}
				own[k] = append(own[k], v)
				all = append(all, v)
			}
			part = append(part, v)
		}
	}
	var out [4]float64
	for k := range limbs {
		pair := append(append([]float64(nil), own[k]...), own[k^1]...)
		switch {
		case len(own[k]) >= 3:
			out[k] = signal.Median(own[k])
		case len(pair) >= 2:
			out[k] = signal.Median(pair)
		case len(all) > 0:
			out[k] = signal.Median(all)
		case len(part) > 0:
			out[k] = min(usual, signal.Quantile(part, 0.8))
		}
	}
	return out
}

// gapsAround returns how long nothing was seen before and after a stance, s;
// infinite at the ends of the clip.
func (h *hoofTrack) gapsAround(s *stance) (before, after float64) {
	before, after = math.Inf(1), math.Inf(1)
	if s.from > 0 {
		before = h.t[s.from] - h.t[s.from-1]
	}
	if s.to < len(h.t) {
		after = h.t[s.to] - h.t[s.to-1]
	}
	return before, after
}

// evidence returns every stance with when it began, as far as that was seen: the
// landing lies in the gap before the first still sample, and as long before the
// leaving, which lies in the gap after the last one, as stances last. Ascending
// in time.
func (a *analysis) evidence(typical [4]float64) []beatOf {
	var out []beatOf
	lag := a.firstStillLag()
	for k := range limbs {
		h := a.hooves[k]
		for i := range a.stances[k] {
			s := &a.stances[k][i]
			e := beatOf{limb: k, stance: i, beat: math.NaN()}
			hidden := 0.0
			if a.opts.View == traj.Away {
				hidden = 0.03
			}
			switch {
			case s.onTimed() && a.raw.Stances != nil:
				e.t, e.sd = s.On, s.OnSD // The leaving is vaguer, and stances vary.
			case s.onTimed() && s.offTimed():
				// Both ends tell, the leaving by way of how long stances last.
				u, v := 1/(sq(s.OnSD)+sq(hidden)), 1/(sq(s.OffSD)+sq(stanceVaries))
				e.t, e.sd = (u*s.On+v*(s.Off-typical[k]))/(u+v), 1/math.Sqrt(u+v)
			case s.onTimed():
				e.t, e.sd = s.On, math.Hypot(s.OnSD, hidden)
			case s.offTimed():
				e.t, e.sd = s.Off-typical[k], math.Hypot(s.OffSD, stanceVaries)
			case a.raw.Stances != nil:
				// It stood from there on at the latest.
				e.t, e.sd = s.reached, hiddenSD
			default:
				before, after := h.gapsAround(s)
				first, last := h.t[s.from], h.t[s.to-1]
				lo := max(first-before, last-typical[k]-0.02)
				hi := min(first, last+after-typical[k]+0.02)
				least := 0.03
				if a.opts.View == traj.Away {
					least = 0.06 // The hoof seems at rest while it comes down along the line of sight.
				}
				switch {
				case a.opts.View == traj.Away && last-first > typical[k]+alike:
					// Seen from behind a hoof seems at rest before it is, and for as long after.
					e.t, e.sd = (first+last-typical[k])/2, max(least, (last-first-typical[k])/math.Sqrt(12))
				case before < 1.5*h.frame && first+lag <= last+after-typical[k]+0.02+alike:
					e.t, e.sd = first+lag, least
				case lo <= hi+alike:
					e.t, e.sd = (lo+hi)/2, max(least, (hi-lo)/math.Sqrt(12))
				case before < 2*h.frame+alike:
					// Longer than stances last: the mark stuck to the ground after it had lifted.
					e.t, e.sd = first+lag, least
				default:
					e.t, e.sd = (first+last-typical[k])/2, max(least, math.Abs(lo-hi)/2)
				}
			}
			seen := float64(s.to-s.from) * h.frame
			e.weight = min(1, seen/max(typical[k], 0.05)) / (1 + sq(e.sd/0.06))
			out = append(out, e)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].t < out[j].t })
	return out
}

// firstStillLag returns by how much landings come after the first sample that
// seems still, s: a hoof that is slow enough counts as still shortly before it is,
// which those that were timed tell.
func (a *analysis) firstStillLag() float64 {
	var lags []float64
	frame := 0.0
	for k := range limbs {
		for i := range a.stances[k] {
			s := &a.stances[k][i]
			frame = a.hooves[k].frame
			if s.onTimed() {
				lags = append(lags, s.On-a.hooves[k].t[s.from])
			}
		}
	}
	if len(lags) < 3 {
		return -frame / 2
	}
	return signal.Median(lags)
}

// strideDuration returns the duration of a stride, s, or 0 where the evidence
// does not determine it. Two things are asked of it: that pairs of stances up to
// three strides apart lie as far from each other as the gait's phases say, and
// that head, withers, croup and hips move up and down once and twice a stride.
// Half a stride fails the first, where both limbs of a pair are seen; two strides
// fail it where neighbouring stances are, and the second always.
func (a *analysis) strideDuration(all []beatOf, typical [4]float64) float64 {
	const ratio = 1.004
	body := a.bodyRhythms()
	phase := phases(a.opts.Gait)
	length := signal.Median([]float64{typical[0], typical[1], typical[2], typical[3]})
	var scores, steps, moves []float64 // Index: duration tried.
	for t := shortestStride; t <= longestStride; t *= ratio {
		var sum, weight float64
		for i := range all {
			for j := i + 1; j < len(all); j++ {
				d := (all[j].t - all[i].t) / t
				if d > 3.2 {
					break
				}
				if d < 0.2 {
					continue // Together in every rhythm.
				}
				w := all[i].weight * all[j].weight
				sum += w * math.Cos(2*math.Pi*(d-phase[all[j].limb]+phase[all[i].limb]))
				weight += w
			}
		}
		step, move := 0.0, 0.0
		if weight > 0.3 {
			step = sum / weight
		}
		if length < shortestDuty*t || length > longestStance*t {
			step = -1
		}
		for _, b := range body {
			move += b.share(t) / float64(len(body))
		}
		steps, moves = append(steps, step), append(moves, move)
		scores = append(scores, step+move)
	}
	peaks := signal.Peaks(scores)
	best := math.Inf(-1)
	for _, p := range peaks {
		best = max(best, scores[p])
	}
	// Among equals the longest: a third of a stride fits the phases of two limbs as
	// the whole does.
	for i := len(peaks) - 1; i >= 0; i-- {
		p := peaks[i]
		if scores[p] < best-0.12 {
			continue
		}
		// Stances found before the rhythm is known are rough; a body that clearly moves
		// with them makes up for it.
		least := 0.5
		if len(body) > 0 && moves[p] > 0.6 {
			least = 0.3
		}
		if steps[p] < least || (len(body) > 0 && moves[p] < 0.25) {
			return 0
		}
		at, _ := signal.RefinePeak(scores, p)
		return shortestStride * math.Pow(ratio, at)
	}
	return 0
}

// bodyRhythm is the vertical movement of a mark of the body without drift,
// evened out over distance, on an even grid; NaN where it was not seen.
type bodyRhythm struct {
	step    float64
	x       []float64
	windows [][2]int
}

// bodyRhythms returns the marks of the body that were seen well enough.
func (a *analysis) bodyRhythms() []bodyRhythm {
	const step = 1.0 / 30
	var out []bodyRhythm
	for _, l := range []traj.Landmark{traj.Head, traj.Withers, traj.Croup, traj.LeftHip, traj.RightHip} {
		h := seenTrack(a.raw, a.still, l, a.opts)
		if h == nil || len(h.t) < 20 || h.t[len(h.t)-1]-h.t[0] < 1.2 {
			continue
		}
		x := withoutDrift(resample(h.t, h.y, step, 3*h.frame+0.04+alike), step)
		if x == nil {
			continue
		}
		b := bodyRhythm{step: step, x: x}
		n := min(len(x), int(2.5/step))
		for lo := 0; lo+n <= len(x); lo += n / 2 {
			valid := 0
			for _, v := range x[lo : lo+n] {
				if !math.IsNaN(v) {
					valid++
				}
			}
			if valid > n*2/3 {
				b.windows = append(b.windows, [2]int{lo, lo + n})
			}
		}
		if len(b.windows) > 0 {
			out = append(out, b)
		}
	}
	return out
}

// share returns which share of the movement repeats once and twice in t seconds.
func (b *bodyRhythm) share(t float64) float64 {
	var sum float64
	for _, w := range b.windows {
		var power, n float64
		var c, s [2]float64
		for i := w[0]; i < w[1]; i++ {
			v := b.x[i]
			if math.IsNaN(v) {
				continue
			}
			angle := 2 * math.Pi * float64(i) * b.step / t
			s1, c1 := math.Sincos(angle)
			c[0] += v * c1
			s[0] += v * s1
			c[1] += v * (2*c1*c1 - 1)
			s[1] += v * 2 * s1 * c1
			power += v * v
			n++
		}
		if power > 0 {
			sum += min(1, 2*(c[0]*c[0]+s[0]*s[0]+c[1]*c[1]+s[1]*s[1])/n/power)
		}
	}
	return sum / float64(len(b.windows))
}

// findRhythm gives stances their beats, or returns nil where there is no rhythm.
func (a *analysis) findRhythm() *rhythm {
	typical := a.lengths()
	all := a.evidence(typical)
	r := &rhythm{phase: phases(a.opts.Gait), typical: typical}
	r.period = a.period
	if r.period == 0 {
		return nil
	}
	counted := false
	if a.raw.Stances != nil {
		counted = r.byBeats(all, a.stances)
	} else {
		counted = r.count(all)
	}
	if !counted || !r.fit(all) {
		return nil
	}
	return r
}

// byBeats gives stances the beats that follow from the steps that tracking counted, pair
// by pair, and reports whether there are enough. The hinds' are shifted by whole strides
// to where their landings come nearest to the fores'. stances is by limb.
func (r *rhythm) byBeats(all []beatOf, stances [4][]stance) bool {
	n := 0
	var offset [2]float64 // Of a pair's landings from the beats, strides; index: pair.
	for pair := range 2 {
		even, known := 0, 0.0
		for i := range all {
			e := &all[i]
			s := &stances[e.limb][e.stance]
			if e.limb/2 != pair || s.beat < 0 {
				continue
			}
			// The left limb lands at whole strides after its phase.
			if known == 0 {
				even = s.beat
				if e.limb%2 == 1 {
					even++
				}
			}
			e.beat = float64(s.beat-even)/2 + r.phase[2*pair]
			offset[pair] += e.t/r.period - e.beat
			known++
		}
		if known > 0 {
			offset[pair] /= known
		}
		n += int(known)
	}
	shift := math.Round(offset[1] - offset[0])
	for i := range all {
		if all[i].limb >= 2 && offset[0] != 0 && offset[1] != 0 {
			all[i].beat += shift
		}
	}
	return n >= 3
}

// count gives stances their beats, starting where neighbours agree best and
// going outward from what is already counted; those off the beat get none.
func (r *rhythm) count(all []beatOf) bool {
	nearest := func(beat float64, k int) float64 { return math.Round(beat-r.phase[k]) + r.phase[k] }
	seed, best := -1, 0.0
	for i := range all {
		var sum float64
		for j := range all {
			d := (all[j].t - all[i].t) / r.period
			if math.Abs(d) < 2.2 {
				sum += all[i].weight * all[j].weight * math.Cos(2*math.Pi*(d-r.phase[all[j].limb]+r.phase[all[i].limb]))
			}
		}
		if sum > best {
			seed, best = i, sum
		}
	}
	if seed < 0 {
		return false
	}
	all[seed].beat = r.phase[all[seed].limb]
	placed := []int{seed}
	lo, hi := seed-1, seed+1
	for lo >= 0 || hi < len(all) {
		i := hi
		if hi >= len(all) || (lo >= 0 && all[seed].t-all[lo].t < all[hi].t-all[seed].t) {
			i = lo
			lo--
		} else {
			hi++
		}
		beat, ok := r.expect(all, placed, all[i].t)
		if !ok {
			continue
		}
		n := nearest(beat, all[i].limb)
		if math.Abs(beat-n) > offBeat {
			continue
		}
		all[i].beat = n
		placed = append(placed, i)
	}
	// One stance to a beat of a limb: what was seen longer.
	for x := range placed {
		for y := range x {
			p, q := &all[placed[x]], &all[placed[y]]
			if p.limb == q.limb && p.beat == q.beat {
				if p.weight > q.weight {
					p, q = q, p
				}
				p.beat = math.NaN()
			}
		}
	}
	return len(placed) >= 3
}

// expect returns the beat at time t by a straight line through the nearest
// stances on the grid; it leans on the mean duration of a stride.
func (r *rhythm) expect(all []beatOf, placed []int, t float64) (float64, bool) {
	near := append([]int(nil), placed...)
	sort.SliceStable(near, func(i, j int) bool { return math.Abs(all[near[i]].t-t) < math.Abs(all[near[j]].t-t) })
	near = near[:min(len(near), 8)]
	if math.Abs(all[near[0]].t-t) > 4*r.period {
		return 0, false
	}
	var sw, st, sb float64
	for _, i := range near {
		w := all[i].weight
		if math.IsNaN(all[i].beat) {
			continue
		}
		sw += w
		st += w * all[i].t
		sb += w * all[i].beat
	}
	mt, mb := st/sw, sb/sw
	// The prior: the mean duration, with the weight of two stances two strides apart.
	num, den := 4*r.period, 4*sq(r.period)
	for _, i := range near {
		if math.IsNaN(all[i].beat) {
			continue
		}
		num += all[i].weight * (all[i].t - mt) * (all[i].beat - mb)
		den += all[i].weight * sq(all[i].t-mt)
	}
	return mb + num/den*(t-mt), true
}

// fit smooths the times of beats and finds by how much each limb is off them.
func (r *rhythm) fit(all []beatOf) bool {
	var on []*beatOf
	for i := range all {
		if !math.IsNaN(all[i].beat) {
			on = append(on, &all[i])
		}
	}
	sort.SliceStable(on, func(i, j int) bool { return on[i].beat < on[j].beat })
	loose := make([]float64, len(on)) // By how much a stance far off counts less.
	for i := range loose {
		loose[i] = 1
	}
	variance := func(e *beatOf) float64 { return sq(e.sd) + sq(beatSD*r.period) }
	for range 12 {
		var m, t, w []float64
		var total float64
		for i, e := range on {
			v := loose[i] / variance(e)
			at := e.t - r.shift[e.limb]
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
		r.curve, r.beats = curve, m
		var off, count [4]float64
		var rest []float64
		for i, e := range on {
			at, _, _ := curve.At(e.beat)
			d := e.t - at - r.shift[e.limb]
			z := math.Abs(d) / math.Sqrt(variance(e))
			loose[i] = 1
			if z > 2 {
				loose[i] = 2 / z
			}
			off[e.limb] += loose[i] / variance(e) * d
			count[e.limb] += loose[i] / variance(e)
			rest = append(rest, d)
		}
		var mean, limbsSeen float64
		for k := range r.shift {
			if count[k] > 0 {
				// A limb lands within some hundredths of the stride of its beat.
				r.shift[k] += off[k] / (count[k] + 1/sq(0.03*r.period))
				mean += r.shift[k]
				limbsSeen++
			}
		}
		for k := range r.shift {
			if count[k] > 0 {
				r.shift[k] -= mean / limbsSeen
			} else {
				r.shift[k] = 0
			}
		}
		stated := make([]float64, len(on))
		for i, e := range on {
			stated[i] = e.sd
		}
		// The grid smooths over a few landings, and is not much surer than one of them.
		r.sd = max(beatSD*r.period, 0.7*signal.RobustSD(rest), 0.7*signal.Median(stated))
	}
	first, last := r.beats[0], r.beats[len(r.beats)-1]
	t0, _, _ := r.curve.At(first)
	t1, _, _ := r.curve.At(last)
	if last-first < 0.9 {
		return false
	}
	r.period = (t1 - t0) / (last - first)
	return true
}

// keepOnBeat drops stances that have no place in the grid and notes the cycle of
// the others. It returns how many it dropped.
func (a *analysis) keepOnBeat() int {
	dropped := 0
	var began [4]map[int]float64
	for k := range limbs {
		began[k] = map[int]float64{}
	}
	evidence := a.evidence(a.rhythm.typical)
	if a.raw.Stances != nil {
		a.rhythm.byBeats(evidence, a.stances)
	}
	var beats [4]map[int]float64
	for k := range limbs {
		beats[k] = map[int]float64{}
	}
	for _, e := range evidence {
		began[e.limb][e.stance], beats[e.limb][e.stance] = e.t, e.beat
	}
	for k := range limbs {
		if a.hooves[k] == nil {
			continue
		}
		h := a.hooves[k]
		var kept []stance
		a.cycle[k] = a.cycle[k][:0]
		for i := range a.stances[k] {
			s := a.stances[k][i]
			e := began[k][i]
			c := a.rhythm.nearestCycle(k, e)
			if beat := beats[k][i]; !math.IsNaN(beat) {
				c = int(math.Round(beat - a.rhythm.phase[k])) // Tracking counted it.
			} else if math.Abs(e-a.rhythm.landing(k, c)) > offBeat*a.period+h.frame && !s.startsClip && !s.endsClip {
				dropped++
				continue
			}
			if n := len(kept); n > 0 && a.cycle[k][n-1] >= c {
				dropped++
				if kept[n-1].to-kept[n-1].from < s.to-s.from {
					kept[n-1] = s
				}
				continue
			}
			kept = append(kept, s)
			a.cycle[k] = append(a.cycle[k], c)
		}
		a.stances[k] = kept
	}
	return dropped
}
