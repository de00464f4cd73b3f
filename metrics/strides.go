package metrics

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// phases is when each limb lands, as share of the stride after the left fore.
// Walk is the lateral sequence left hind, left fore, right hind, right fore.
func phases(g traj.Gait) [4]float64 {
	switch g {
	case traj.Trot:
		return [4]float64{0, 0.5, 0.5, 0}
	case traj.Pace:
		return [4]float64{0, 0.5, 0, 0.5}
	}
	return [4]float64{0, 0.5, 0.75, 0.25}
}

// findContacts finds the stances of every hoof, the rhythm they keep, and with
// it the stances once more, timed.
func (a *analysis) findContacts() {
	for i, l := range limbs {
		h := seenTrack(a.raw, a.still, l, a.opts)
		if h == nil || len(h.t) < 8 {
			continue
		}
		h.prepare()
		a.hooves[i] = h
	}
	if a.raw.Stances != nil {
		a.takeStances()
	} else {
		a.findStances()
	}
	for i, h := range a.hooves {
		if h != nil {
			h.place(a.stances[i])
		}
	}
}

// findStances finds the stances in tracks alone, of which nobody has said when the
// hooves stand: markers of a laboratory.
func (a *analysis) findStances() {
	a.segment()
	typical := a.lengths()
	if a.period = a.strideDuration(a.evidence(typical), typical); a.period > 0 {
		a.segment() // Now with bounds on how long stances and swings last.
	}
	if a.rhythm = a.findRhythm(); a.rhythm != nil {
		a.period = a.rhythm.period
		a.segment() // And with bounds on when they are.
		if again := a.findRhythm(); again != nil {
			a.rhythm, a.period = again, again.period
		}
		a.offBeat += a.keepOnBeat()
	}
	var hooves []*hoofTrack
	var all [][]stance
	for i, h := range a.hooves {
		if h != nil {
			hooves, all = append(hooves, h), append(all, a.stances[i])
		}
	}
	timeEdges(hooves, all, a.period, a.opts.View)
	if a.rhythm != nil {
		if again := a.findRhythm(); again != nil {
			a.rhythm, a.period = again, again.period
			a.offBeat += a.keepOnBeat()
		}
		a.checkInstants()
		if again := a.findRhythm(); again != nil {
			a.rhythm, a.period = again, again.period
			// Counting may have begun at another stance.
			a.offBeat += a.keepOnBeat()
		}
	}
}

// segment finds the stances of every hoof within what the rhythm allows.
func (a *analysis) segment() {
	for k, h := range a.hooves {
		if h == nil {
			continue
		}
		var allowed func(float64) bool
		if a.rhythm != nil {
			allowed = func(t float64) bool { return a.rhythm.stands(k, t) }
		}
		a.stances[k] = h.segment(a.period, allowed)
	}
}

// checkInstants takes back what was timed against the rhythm: a landing off its
// beat, and a leaving later than stances last (a mark that stuck to the ground).
func (a *analysis) checkInstants() {
	r := a.rhythm
	r.typical = a.lengths()
	for k := range limbs {
		for i := range a.stances[k] {
			s := &a.stances[k][i]
			on := r.landing(k, a.cycle[k][i])
			if s.onTimed() && math.Abs(s.On-on) > max(0.06*a.period, 3*r.sd) {
				s.On, s.OnSD = a.hooves[k].t[s.from], -1
			}
			if s.onTimed() {
				on = s.On
			}
			if s.offTimed() && math.Abs(s.Off-on-r.typical[k]) > 0.12*a.period {
				s.Off, s.OffSD = a.hooves[k].t[s.to-1], -1
			}
		}
	}
}

// findStrides picks the reference limb, cuts the run into strides and gives
// every stance its stride.
func (a *analysis) findStrides() {
	if a.rhythm == nil {
		return
	}
	order := []int{0, 1, 2, 3}
	if a.opts.Reference != "" {
		order = []int{limbIndex(a.opts.Reference)}
	}
	for _, k := range order {
		if len(a.stances[k]) > 0 && a.stridesOf(k) {
			a.ref = k
			break
		}
	}
	if a.ref < 0 {
		return
	}
	for k := range limbs {
		a.at[k] = make([]int, len(a.strides))
		for i := range a.strides {
			a.at[k][i] = a.stanceAt(k, a.cycleIn(k, i))
		}
	}
}

// stridesOf fills the strides from limb k's landings and reports whether there
// are any: a stride begins with the landing where that was timed, else at the
// instant of the grid, and there is one wherever the rhythm is known and the
// clip shows it whole.
func (a *analysis) stridesOf(k int) bool {
	r := a.rhythm
	a.strides, a.count = nil, nil
	first, last := a.raw.Times[0], a.raw.Times[len(a.raw.Times)-1]
	for c := r.nearestCycle(k, first) - 1; c <= r.nearestCycle(k, last); c++ {
		beat := float64(c) + r.phase[k]
		st := Stride{Start: a.startOf(k, c), End: a.startOf(k, c+1)}
		if st.Start < first-alike || st.End > last+alike || !(st.End > st.Start) || !r.known(beat, beat+1) {
			continue
		}
		a.strides, a.count = append(a.strides, st), append(a.count, c)
	}
	return len(a.strides) > 0
}

// startOf returns when limb k landed in a cycle: as timed, else by the grid.
func (a *analysis) startOf(k, c int) float64 {
	if j := a.stanceAt(k, c); j >= 0 && a.stances[k][j].onTimed() {
		return a.stances[k][j].On
	}
	return a.rhythm.landing(k, c)
}

// startSD returns the spread of startOf.
func (a *analysis) startSD(k, c int) float64 {
	if j := a.stanceAt(k, c); j >= 0 && a.stances[k][j].onTimed() {
		return a.stances[k][j].OnSD
	}
	if a.raw.Stances != nil {
		return math.Hypot(a.rhythm.sd, hiddenSD/2) // The grid leans on few landings.
	}
	return a.rhythm.sd
}

// stanceAt returns limb k's stance in a cycle, −1 where it was not seen.
func (a *analysis) stanceAt(k, c int) int {
	i := sort.SearchInts(a.cycle[k], c)
	if i < len(a.cycle[k]) && a.cycle[k][i] == c {
		return i
	}
	return -1
}

// cycleIn returns the cycle of limb k whose landing belongs to stride i.
func (a *analysis) cycleIn(k, i int) int {
	ph := a.rhythm.phase
	if ph[k] < ph[a.ref] {
		return a.count[i] + 1
	}
	return a.count[i]
}

// next returns the stance of limb k that follows stance i one stride later, −1
// where it was not seen.
func (a *analysis) next(k, i int) int {
	if i < 0 {
		return -1
	}
	return a.stanceAt(k, a.cycle[k][i]+1)
}

// middleOf returns the middle of stance i of limb k, s: between its instants
// where both were timed, else by the grid and how long stances last.
func (a *analysis) middleOf(k, i int) float64 {
	s := &a.stances[k][i]
	half := a.rhythm.typical[k] / 2
	switch {
	case s.onTimed() && s.offTimed():
		return s.middle()
	case s.onTimed():
		return s.On + half
	case s.offTimed():
		return s.Off - half
	}
	return a.rhythm.landing(k, a.cycle[k][i]) + half
}

// stanceIn returns limb k's stance in stride i, nil where it was not seen.
func (a *analysis) stanceIn(k, i int) *stance {
	if j := a.at[k][i]; j >= 0 {
		return &a.stances[k][j]
	}
	return nil
}

// pair is one girdle in one stride: the limb that lands first, the other one,
// and the first one's next landing.
type pair struct {
	first, other       int // Limbs.
	lead, second, last *stance
}

// pairIn returns girdle g (0 fore, 1 hind) in stride i and whether all three
// stances are there.
func (a *analysis) pairIn(g, i int) (pair, bool) {
	left, right := 2*g, 2*g+1
	ph := phases(a.opts.Gait)
	p := pair{first: left, other: right}
	if math.Mod(ph[right]-ph[a.ref]+1, 1) < math.Mod(ph[left]-ph[a.ref]+1, 1) {
		p.first, p.other = right, left
	}
	p.lead, p.second = a.stanceIn(p.first, i), a.stanceIn(p.other, i)
	if p.lead == nil || p.second == nil {
		return p, false
	}
	j := a.next(p.first, a.at[p.first][i])
	if j < 0 {
		return p, false
	}
	p.last = &a.stances[p.first][j]
	return p, true
}

// measureTimes measures everything that needs only instants.
func (a *analysis) measureTimes() findings {
	f := findings{}
	if a.ref < 0 {
		return f
	}
	defer a.shareInstants(f)
	for i, s := range a.strides {
		t := s.End - s.Start
		sd := math.Hypot(a.startSD(a.ref, a.count[i]), a.startSD(a.ref, a.count[i]+1))
		f.put(StrideDuration, single(i, s.Start, t, sd))
		f.put(StrideFrequency, single(i, s.Start, 1/t, sd/t/t))
		for g, names := range [2]struct{ stance, swing, duty, timing Name }{
			{StanceDurationFore, SwingDurationFore, DutyFactorFore, StepTimingFore},
			{StanceDurationHind, SwingDurationHind, DutyFactorHind, StepTimingHind},
		} {
			var stance, swing, duty [2][2]float64 // Index: side; value and spread.
			for side := range 2 {
				k := 2*g + side
				stance[side], swing[side], duty[side] = notSeen, notSeen, notSeen
				c := a.stanceIn(k, i)
				if c == nil || !c.offTimed() {
					continue
				}
				n := a.next(k, a.at[k][i])
				if c.onTimed() {
					d := c.Off - c.On
					stance[side] = [2]float64{d, math.Hypot(c.OnSD, c.OffSD)}
					if n >= 0 && a.stances[k][n].onTimed() {
						own := a.stances[k][n].On - c.On
						// Share of the limb's own stride; derivatives by on, off and next on.
						v := 100 * d / own
						duty[side] = [2]float64{v, math.Sqrt(sq((v-100)/own*c.OnSD) + sq(100/own*c.OffSD) + sq(v/own*a.stances[k][n].OnSD))}
					}
				}
				if n >= 0 && a.stances[k][n].onTimed() {
					swing[side] = [2]float64{a.stances[k][n].On - c.Off, math.Hypot(c.OffSD, a.stances[k][n].OnSD)}
				}
			}
			f.putSides(names.stance, i, s.Start, stance)
			f.putSides(names.swing, i, s.Start, swing)
			f.putSides(names.duty, i, s.Start, duty)
			if p, ok := a.pairIn(g, i); ok && p.lead.onTimed() && p.second.onTimed() && p.last.onTimed() {
				own := p.last.On - p.lead.On
				if p.second.On <= p.lead.On || p.second.On >= p.last.On {
					continue
				}
				share := (p.second.On - p.lead.On) / own
				v, sd := 100*share, 100/own*math.Sqrt(sq((1-share)*p.lead.OnSD)+sq(p.second.OnSD)+sq(share*p.last.OnSD))
				if limbs[p.first].Side() == traj.Right {
					v = 100 - v
				}
				f.put(names.timing, single(i, s.Start, v, sd))
			}
		}
		if a.opts.Gait != traj.Walk {
			var d [2][2]float64
			for side := range 2 {
				d[side] = notSeen
				fore, hind := a.stanceIn(side, i), a.stanceIn(paired(side, a.opts.Gait), i)
				if fore != nil && hind != nil && fore.onTimed() && hind.onTimed() {
					d[side] = [2]float64{1000 * (hind.On - fore.On), 1000 * math.Hypot(fore.OnSD, hind.OnSD)}
				}
			}
			f.putSides(PairTiming, i, s.Start, d)
		}
	}
	return f
}

// shareInstants sets what all strides' durations share: a run's leavings seen from
// the front, and its landings seen from behind, are all early or late alike, and
// much the same on both sides.
func (a *analysis) shareInstants(f findings) {
	shared := rollingShare * usualStance(a.hooves[:], a.stances[:], a.period)
	if a.opts.View == traj.Away {
		shared = hiddenDescentSD
	}
	for n, unit := range map[Name]float64{
		StanceDurationFore: 1, StanceDurationHind: 1, SwingDurationFore: 1, SwingDurationHind: 1,
		DutyFactorFore: 100 / a.period, DutyFactorHind: 100 / a.period,
	} {
		if m := f[n]; m != nil && a.period > 0 {
			m.sideCommonSD = shared * unit
			m.commonSD = shared * unit * math.Sqrt(2*(1-alikeSides))
		}
	}
}

// paired returns the hindlimb that lands with forelimb k.
func paired(k int, g traj.Gait) int {
	if g == traj.Pace {
		return k + 2
	}
	return 3 - k
}

var notSeen = [2]float64{math.NaN(), math.NaN()}

func sq(x float64) float64 { return x * x }

// putSides adds a measure with sides unless neither was seen. Index of v: side
// (0 left), then value and spread.
func (f findings) putSides(n Name, stride int, time float64, v [2][2]float64) {
	if math.IsNaN(v[0][0]) && math.IsNaN(v[1][0]) {
		return
	}
	f.put(n, sided(stride, time, v[0][0], v[0][1], v[1][0], v[1][1]))
}

// contacts lists all stances in the order of their landing.
func (a *analysis) contacts(space *spatial) []Contact {
	var out []Contact
	for k := range limbs {
		for i := range a.stances[k] {
			c := a.stances[k][i].Contact
			if p := space.placed[k][i]; p.ok && space.fit != nil {
				c.Placed = true
				c.X, c.Y, c.XSD, c.YSD = space.fit.place(p.fall)
			}
			out = append(out, c)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].On < out[j].On })
	return out
}

// reason says in words why measure d is not there.
func (a *analysis) reason(d Definition) string {
	have := func(l traj.Landmark) bool { return a.raw.Track(l) != nil }
	level := a.cal.Level
	if !level.AtLeast(d.Needs) && !(level == geometry.LevelRatio && d.RatioUnit != "") {
		switch {
		case d.Needs == geometry.LevelMetric:
			return "needs four ground marks of a known rectangle"
		default:
			return "needs lengths: four ground marks of a known rectangle, or the camera's height, focal length and horizon"
		}
	}
	if d.Name == Crossfall {
		return "a picture cannot tell a tilted lane from a tilted camera: set the camera level with a spirit level and say so"
	}
	var body []traj.Landmark
	switch d.Name {
	case HeadLowDifference, HeadHighDifference, HeadFirstHarmonic, HeadSecondHarmonic, HeadHarmonicShare:
		body = []traj.Landmark{traj.Head}
	case WithersLowDifference, WithersHighDifference:
		body = []traj.Landmark{traj.Withers}
	case CroupLowDifference, CroupHighDifference:
		body = []traj.Landmark{traj.Croup}
	case HipExcursion:
		body = []traj.Landmark{traj.LeftHip, traj.RightHip}
	}
	var missing []string
	for _, l := range body {
		if !have(l) {
			missing = append(missing, l.Words())
		}
	}
	if d.Sided || strings.HasPrefix(string(d.Name), "step_timing") {
		for k, l := range limbs {
			if ((d.Girdle == Fore && k < 2) || (d.Girdle == Hind && k >= 2) || d.Name == PairTiming) && !have(l) && body == nil {
				missing = append(missing, l.Words())
			}
		}
	}
	if len(missing) > 0 {
		return "not marked: " + strings.Join(missing, ", ")
	}
	if a.opts.Gait == traj.Walk {
		switch d.Name {
		case PairTiming:
			return "at the walk the limbs land one by one: there are no pairs"
		case HeadLowDifference, HeadHighDifference, WithersLowDifference, WithersHighDifference, CroupLowDifference, CroupHighDifference:
			return "defined for trot and pace: at the walk low and high points do not belong to one limb's stance"
		}
	}
	if len(a.strides) == 0 {
		return "no whole stride was seen: " + a.whyNoStride()
	}
	if body != nil {
		return "the mark was not seen through a whole stride together with the hooves that time it"
	}
	return "in no stride were all the contacts it needs seen and timed"
}

// whyNoStride says what stood in the way of strides.
func (a *analysis) whyNoStride() string {
	marked := 0
	for _, l := range limbs {
		if a.raw.Track(l) != nil {
			marked++
		}
	}
	if marked == 0 {
		return "no hoof was marked"
	}
	contacts := 0
	for k := range limbs {
		contacts += len(a.stances[k])
	}
	switch {
	case contacts == 0:
		return "no hoof stands still long enough in the tracks to be a stance"
	case contacts < 3:
		return fmt.Sprintf("only %d stances were seen", contacts)
	}
	return "the stances that were seen are too few, or too far apart, to tell how long a stride lasts"
}
