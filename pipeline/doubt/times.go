package doubt

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// slowCheck is what to look at where a clip may be slow motion.
const slowCheck = "Was it filmed in slow motion? Then give the frames a second at which it was filmed (on the marks page under Slow motion), or film again at the phone’s ordinary setting."

// slower are the factors by which phones play slow motion: 120 or 240 frames a
// second, played at 60 or 30.
var slower = []float64{2, 4, 8}

// stride doubts the clip's times where strides last as long as no horse's of that
// size do, and where there are none at the clip's own times and a whole run of them
// if it is played faster.
func (l *list) stride(m Measured, still *traj.Set, s [4][]stands) {
	bounds := strideOfSize[m.Run.Gait]
	units := func(size float64) float64 { return math.Sqrt(size / gravity) }
	low, high := bounds.doubted[0]*units(horseSizes[0]), bounds.doubted[1]*units(horseSizes[1])
	of := "a horse"
	if m.WithersM > 0 {
		low, high = bounds.doubted[0]*units(m.WithersM), bounds.doubted[1]*units(m.WithersM)
		of = fmt.Sprintf("a horse of %s m", number(m.WithersM, 2))
	}
	const check = slowCheck
	if t, n := middle(m.Run, metrics.StrideDuration); n > 0 {
		switch {
		case t > high:
			l.add(Stride, record.SecondLook, fmt.Sprintf("A stride lasts %s s; at the %s one of %s lasts %s to %s s: the clip seems to play %s times slower than it was filmed.", number(t, 2), m.Run.Gait, of, number(low, 2), number(high, 2), number(t/math.Sqrt(low*high), 1)), check)
		case t < low:
			l.add(Stride, record.SecondLook, fmt.Sprintf("A stride lasts %s s; at the %s one of %s lasts %s to %s s.", number(t, 2), m.Run.Gait, of, number(low, 2), number(high, 2)),
				"Is the gait right, and does the clip play at the speed at which it was filmed?")
		}
		return
	}
	// Without a stride a single stance tells, if it lasts longer than any can.
	most := dutyTrots * high
	if m.Run.Gait == traj.Walk {
		most = longestWalkDuty * high
	}
	for k := range s {
		for _, v := range s[k] {
			if d := v.off - v.on; d > most {
				l.add(Stride, record.SecondLook, fmt.Sprintf("No stride was found, and the %s stands still for %s s at %s s; at the %s a hoof of %s stands for %s s at most.", limbs[k].Words(), number(d, 2), number(v.on, 2), m.Run.Gait, of, number(most, 2)),
					check+" Else look whether the mark lies on the hoof.")
				return
			}
		}
	}
	l.noStride(m, still, of, low, high)
}

// noStride doubts the clip's times where it has no stride as it plays, and one if it is
// played faster, or where the body goes up and down slowly. A horse of that size has
// strides of low to high, s.
func (l *list) noStride(m Measured, still *traj.Set, of string, low, high float64) {
	const check = slowCheck
	for _, k := range slower {
		faster := *still
		faster.Times = make([]float64, len(still.Times))
		for i, t := range still.Times {
			faster.Times[i] = t / k
		}
		run, err := metrics.Measure(&faster, metrics.Options{View: m.Run.View, Gait: m.Run.Gait})
		if err != nil {
			return
		}
		if t, n := middle(run, metrics.StrideDuration); n > 0 && t >= low && t <= high && len(run.Contacts) >= 3 {
			l.add(Stride, record.SecondLook, fmt.Sprintf("No stride was found as the clip plays, but played %.0f times faster its strides last %s s, as those of %s do at the %s.", k, number(t, 2), of, m.Run.Gait), check)
			return
		}
	}
	if m.Run.Gait == traj.Walk {
		return
	}
	// At trot and pace the body goes up and down twice a stride.
	for _, landmark := range []traj.Landmark{traj.Head, traj.Withers, traj.Croup} {
		hz, share := bobbing(still.Track(landmark), still.Times, bobSlowest, 2/high)
		_, fast := bobbing(still.Track(landmark), still.Times, 2/high, 2/low)
		if share >= bobClear && fast < bobNone {
			l.add(Stride, record.SecondLook, fmt.Sprintf("No stride was found, and the %s goes up and down once in %s s and not faster; at the %s it does so in %s to %s s: the clip seems to play several times slower than it was filmed.",
				landmark.Words(), number(1/hz, 1), m.Run.Gait, number(low/2, 1), number(high/2, 1)), check)
			return
		}
	}
}

// bobbing returns the frequency between two, Hz, with which a mark goes up and down
// most, and which share of its movement about a slow drift that explains. The drift
// is a cubic in time; at least three periods must have been seen.
func bobbing(tr *traj.Track, times []float64, from, to float64) (hz, share float64) {
	if tr == nil {
		return 0, 0
	}
	var t, y []float64
	for f, p := range tr.Samples {
		if p.Status.Seen() {
			t, y = append(t, times[f]), append(y, p.Y)
		}
	}
	if len(t) < bobFrames {
		return 0, 0
	}
	middle, half := (t[0]+t[len(t)-1])/2, (t[len(t)-1]-t[0])/2
	left := func(hz float64) float64 {
		columns := 4
		if hz > 0 {
			columns = 6
		}
		a := mat.NewDense(len(t), columns, nil)
		for i := range t {
			u := (t[i] - middle) / half
			row := []float64{1, u, u * u, u * u * u, 0, 0}
			row[4], row[5] = math.Sincos(2 * math.Pi * hz * (t[i] - middle))
			a.SetRow(i, row[:columns])
		}
		var x, rest mat.VecDense
		b := mat.NewVecDense(len(y), slices.Clone(y))
		if err := x.SolveVec(a, b); err != nil {
			return math.NaN()
		}
		rest.MulVec(a, &x)
		rest.SubVec(b, &rest)
		return mat.Dot(&rest, &rest)
	}
	all := left(0)
	from = max(from, 3/(2*half))
	var tried, shares []float64
	for h := from; h <= to && all > 0; h *= 1.05 {
		s := 1 - left(h)/all
		tried, shares = append(tried, h), append(shares, s)
		share = max(share, s)
	}
	// An uneven horse moves once a stride, too: of what is nearly as clear the fastest.
	for i, h := range tried {
		if shares[i] > bobNearly*share {
			hz = h
		}
	}
	return hz, share
}

// stands is when a hoof stands, s.
type stands struct{ on, off float64 }

// stancesOf returns when every hoof stands still in the stabilised picture, found
// without knowing of any gait. Index: limb.
func stancesOf(still *traj.Set) [4][]stands {
	var out [4][]stands
	for k, limb := range limbs {
		tr := still.Track(limb)
		if tr == nil {
			continue
		}
		first, last, n := -1, -1, 0
		var x, y float64
		end := func() {
			if n >= standsFrames && still.Times[last]-still.Times[first] >= standsTime {
				out[k] = append(out[k], stands{still.Times[first], still.Times[last]})
			}
			first, n = -1, 0
		}
		for f, p := range tr.Samples {
			if !p.Status.Seen() {
				continue
			}
			reach := standsPX + 2*p.SD
			if first >= 0 && (f-last > standsUnseen || math.Abs(p.X-x) > reach || math.Abs(p.Y-y) > reach) {
				end()
			}
			if first < 0 {
				first, x, y = f, p.X, p.Y
			}
			n++
			last = f
			// The mark creeps a little as the hoof tilts: follow its mean.
			x += (p.X - x) / float64(min(n, 8))
			y += (p.Y - y) / float64(min(n, 8))
		}
		if first >= 0 {
			end()
		}
	}
	return out
}

// duty doubts the gait where hooves stand for too long a share of the stride t, s, or
// are seen to move for too long a share: they stand for more than half of it at the
// walk and for less at trot and pace. A stance that was lost counts for nothing.
func (l *list) duty(m Measured, still *traj.Set, s [4][]stands, t float64) {
	standing, moving, seen := math.Inf(1), math.Inf(1), 0
	for k := range s {
		if len(s[k]) < 3 {
			continue
		}
		standing = min(standing, usual(s[k])/t)
		moving = min(moving, movingShare(still, limbs[k], s[k]))
		seen++
	}
	if seen < 2 {
		return
	}
	const check = "Look at the clip and set the gait."
	switch {
	case m.Run.Gait == traj.Walk && moving > 1-dutyWalks:
		l.add(Gait, record.SecondLook, fmt.Sprintf("The gait is given as walk, but hooves are seen to move for %.0f %% of the time or more, as at the trot; at the walk they stand for more than half of it.", 100*moving), check)
	case m.Run.Gait != traj.Walk && standing > dutyTrots:
		l.add(Gait, record.SecondLook, fmt.Sprintf("The gait is given as %s, but hooves stand for %.0f %% of the stride, as at the walk.", m.Run.Gait, 100*standing), check)
	}
}

// movingShare returns for which share of the time between its first stance and its
// last a hoof was seen to move.
func movingShare(still *traj.Set, limb traj.Landmark, s []stands) float64 {
	first, last := s[0].on, s[len(s)-1].off
	moves, all := 0, 0
	for f, p := range still.Track(limb).Samples {
		at := still.Times[f]
		if at < first || at > last {
			continue
		}
		all++
		if p.Status.Followed() && !slices.ContainsFunc(s, func(v stands) bool { return at >= v.on && at <= v.off }) {
			moves++
		}
	}
	return float64(moves) / float64(max(1, all))
}

// usual returns how long the stance in the middle of all lasts, s: a hoof that comes
// straight at the camera seems to stand longer now and then, and does not as a rule.
func usual(s []stands) float64 {
	lengths := make([]float64, 0, len(s))
	for _, v := range s {
		lengths = append(lengths, v.off-v.on)
	}
	return signal.Median(lengths)
}

// long returns how long the longest stance but one lasts, s.
func long(s []stands) float64 {
	var lengths []float64
	for _, v := range s {
		lengths = append(lengths, v.off-v.on)
	}
	slices.Sort(lengths)
	if len(lengths) == 0 {
		return 0
	}
	return lengths[max(0, len(lengths)-2)]
}

// whole returns the stances that last at least two thirds of the longest.
func whole(s []stands, longest float64) []stands {
	var out []stands
	for _, v := range s {
		if v.off-v.on >= longest*wholeShare {
			out = append(out, v)
		}
	}
	return out
}

// gaitPhase is when the hind hoof lands after the fore of its side, share of the
// stride.
var gaitPhase = map[traj.Gait]float64{traj.Walk: 0.75, traj.Trot: 0.5, traj.Pace: 0}

// gait doubts the gait where hinds and fores stand together as in another one. What
// is compared are the middles of stances, found without any gait in mind.
func (l *list) gait(m Measured, still *traj.Set, s [4][]stands) {
	t, n := middle(m.Run, metrics.StrideDuration)
	if n == 0 || l.has(Stride) {
		return
	}
	all := s
	// Of a stance that was seen in part the middle is not known.
	longest := 0.0
	for k := range s {
		longest = max(longest, long(s[k]))
	}
	for k := range s {
		s[k] = whole(s[k], longest)
	}
	sum, count := phases(s, t)
	if count < 2 {
		l.duty(m, still, all, t)
		return
	}
	together := min(cmplx.Abs(sum)/count, 0.999)
	phase := cmplx.Phase(sum) / (2 * math.Pi)
	off := math.Abs(math.Remainder(phase-gaitPhase[m.Run.Gait], 1))
	// Of a mean direction (Fisher 1993, Statistical Analysis of Circular Data); pairs of
	// the same stance are not independent, so half of them count.
	sd := math.Sqrt(-math.Log(together)/count) / math.Pi
	if together < agreed || off < phaseOff+2*sd {
		l.gaitSeen = together >= agreed
		return
	}
	// One stance of a hind, or of a fore, may be one that tracking took from another limb.
	if len(s[0])+len(s[1]) < 2 || len(s[2])+len(s[3]) < 2 {
		l.duty(m, still, all, t)
		return
	}
	likely, best := m.Run.Gait, off
	for _, g := range []traj.Gait{traj.Walk, traj.Trot, traj.Pace} {
		if d := math.Abs(math.Remainder(phase-gaitPhase[g], 1)); d < best {
			likely, best = g, d
		}
	}
	if likely == m.Run.Gait {
		return
	}
	l.add(Gait, record.SecondLook, fmt.Sprintf("The gait is given as %s, but hinds and fores stand together as at the %s: a hind lands %.0f %% of the stride after the fore of its side, at the %s that is %.0f %%.",
		m.Run.Gait, likely, 100*(phase-math.Floor(phase)), m.Run.Gait, 100*gaitPhase[m.Run.Gait]),
		"Look at the clip and set the gait; where it is right, look whether left and right are swapped in the marks of the fores or of the hinds.")
}

// phases sums up, as unit vectors, when each stance of a hind comes after one of the fore
// of its side, a stride lasting t, s: pairs no more than three quarters of a stride apart.
func phases(s [4][]stands, t float64) (sum complex128, count float64) {
	for _, hind := range []int{2, 3} {
		for _, fore := range []int{0, 1} {
			for _, h := range s[hind] {
				for _, f := range s[fore] {
					d := ((h.on + h.off) - (f.on + f.off)) / 2 / t
					if math.Abs(d) > samePair {
						continue
					}
					if hind-2 != fore {
						d += 0.5 // From the other side's fore, half a stride on.
					}
					sum += cmplx.Rect(1, 2*math.Pi*d)
					count++
				}
			}
		}
	}
	return sum, count
}

// oneStance doubts a finding that hangs on a single stance or stride, and one of a
// pair of limbs that was not seen to stand: which of them is named then rests on the
// gait alone.
func (l *list) oneStance(m Measured) {
	if m.Summary == nil || m.Summary.Limb.Limb == "" && !m.Summary.Limb.Undecided {
		return
	}
	named := m.Summary.Limb.Limb
	// Where a side is named and no limb it is by the head, whose movement is told apart
	// by the fores' stances.
	hinds := named.IsHind()
	pair, seen := map[bool]string{false: "fores", true: "hinds"}[hinds], 0
	for _, c := range m.Run.Contacts {
		if c.Limb.IsHind() == hinds {
			seen++
		}
	}
	switch seen {
	case 0:
		l.add(OneStance, record.SecondLook, fmt.Sprintf("No stance of the %s was seen: which of them the signs point to rests on the gait being %s.", pair, m.Run.Gait),
			fmt.Sprintf("Mark a stance of the %s, or see to it that the gait is right.", pair))
		return
	case 1:
		severity := record.SecondLook
		if l.gaitSeen {
			severity = record.Remark // The others' stances tell when it stands.
		}
		l.add(OneStance, severity, fmt.Sprintf("The finding rests on a single stance of the %s.", pair), "Look whether that stance is right, mark the limb in further frames, or film a longer pass.")
		return
	}
	if named == "" || len(m.Run.Strides) < 3 {
		return // Its interval says so.
	}
	for i := range m.Run.Strides {
		run := without(m.Run, i)
		s, err := metrics.Summarise([]metrics.Run{*run}, metrics.SummaryOptions{Resamples: 200})
		if err != nil || s.Limb.Limb == named {
			continue
		}
		text := fmt.Sprintf("The finding hangs on one stride, that at %s s: without it ", number(m.Run.Strides[i].Start, 2))
		if s.Limb.Limb != "" {
			l.add(OneStance, record.SecondLook, text+fmt.Sprintf("the %s would be named.", s.Limb.Limb.Words()), "Look at that stride’s marks, and film a longer pass.")
			return
		}
		l.add(OneStance, record.Remark, text+"no limb would be named.", "Look at that stride’s marks, and film a longer pass.")
		return
	}
}

// without returns the run without the observations of one stride.
func without(run *metrics.Run, stride int) *metrics.Run {
	out := *run
	out.Series = make([]metrics.Series, len(run.Series))
	for i, s := range run.Series {
		d, _ := metrics.Define(s.Name)
		out.Series[i] = s
		if d.PerRun || len(s.Observations) < 2 {
			continue
		}
		out.Series[i].Observations = nil
		for _, o := range s.Observations {
			if o.Stride != stride {
				out.Series[i].Observations = append(out.Series[i].Observations, o)
			}
		}
	}
	return &out
}
