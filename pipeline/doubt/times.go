package doubt

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// slower are the factors by which phones play slow motion: 120 or 240 frames a
// second, played at 60 or 30.
var slower = []float64{2, 4, 8}

// stride doubts the clip's times where strides last as long as no horse's of that
// size do, and where there are none at the clip's own times and a whole run of them
// if it is played faster.
func (l *list) stride(m Measured, still *traj.Set) {
	bounds := strideOfSize[m.Run.Gait]
	units := func(size float64) float64 { return math.Sqrt(size / gravity) }
	low, high := bounds.doubted[0]*units(horseSizes[0]), bounds.doubted[1]*units(horseSizes[1])
	of := "a horse"
	if m.WithersM > 0 {
		low, high = bounds.doubted[0]*units(m.WithersM), bounds.doubted[1]*units(m.WithersM)
		of = fmt.Sprintf("a horse of %s m", number(m.WithersM, 2))
	}
	const check = "Was it filmed in slow motion? Then give the frames a second at which it was filmed (\"filmed_fps\" in the marks file), or film again at the phone’s ordinary setting."
	if t, n := mean(m.Run, metrics.StrideDuration); n > 0 {
		switch {
		case t > high:
			l.add(Stride, record.SecondLook, fmt.Sprintf("A stride lasts %s s; at the %s one of %s lasts %s to %s s: the clip seems to play %s times slower than it was filmed.", number(t, 2), m.Run.Gait, of, number(low, 2), number(high, 2), number(t/math.Sqrt(low*high), 1)), check)
		case t < low:
			l.add(Stride, record.SecondLook, fmt.Sprintf("A stride lasts %s s; at the %s one of %s lasts %s to %s s.", number(t, 2), m.Run.Gait, of, number(low, 2), number(high, 2)),
				"Is the gait right, and does the clip play at the speed at which it was filmed?")
		}
		return
	}
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
		if t, n := mean(run, metrics.StrideDuration); n > 0 && t >= low && t <= high && len(run.Contacts) >= 3 {
			l.add(Stride, record.SecondLook, fmt.Sprintf("No stride was found as the clip plays, but played %.0f times faster its strides last %s s, as those of %s do at the %s.", k, number(t, 2), of, m.Run.Gait), check)
			return
		}
	}
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
			if n >= 4 && still.Times[last]-still.Times[first] >= 0.06 {
				out[k] = append(out[k], stands{still.Times[first], still.Times[last]})
			}
			first, n = -1, 0
		}
		for f, p := range tr.Samples {
			if !p.Status.Seen() {
				continue
			}
			reach := 2 + 2*p.SD
			if first >= 0 && (f-last > 6 || math.Abs(p.X-x) > reach || math.Abs(p.Y-y) > reach) {
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

// duty doubts the gait where hooves stand for too long or too short a share of the
// stride t, s: at the walk for more than half of it, at trot and pace for less.
func (l *list) duty(m Measured, s [4][]stands, t float64) {
	least, most, seen := math.Inf(1), 0.0, 0
	for k := range s {
		if len(s[k]) >= 3 {
			share := long(s[k]) / t
			least, most = min(least, share), max(most, share)
			seen++
		}
	}
	if seen < 2 {
		return
	}
	likely := ""
	switch {
	case m.Run.Gait == traj.Walk && most < dutyWalks:
		likely = "trot"
	case m.Run.Gait != traj.Walk && least > dutyTrots:
		likely = "walk"
	default:
		return
	}
	l.add(Gait, record.SecondLook, fmt.Sprintf("The gait is given as %s, but hooves stand for %.0f to %.0f %% of the stride, as at the %s.", m.Run.Gait, 100*least, 100*most, likely),
		"Look at the clip and set the gait.")
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
		if v.off-v.on >= longest*2/3 {
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
func (l *list) gait(m Measured, s [4][]stands) {
	t, n := mean(m.Run, metrics.StrideDuration)
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
	var sum complex128
	var count float64
	for _, hind := range []int{2, 3} {
		for _, fore := range []int{0, 1} {
			for _, h := range s[hind] {
				for _, f := range s[fore] {
					d := ((h.on + h.off) - (f.on + f.off)) / 2 / t
					if math.Abs(d) > 0.76 {
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
	if count < 2 {
		l.duty(m, all, t)
		return
	}
	together := min(cmplx.Abs(sum)/count, 0.999)
	phase := cmplx.Phase(sum) / (2 * math.Pi)
	off := math.Abs(math.Remainder(phase-gaitPhase[m.Run.Gait], 1))
	// Of a mean direction (Fisher 1993, Statistical Analysis of Circular Data); pairs of
	// the same stance are not independent, so half of them count.
	sd := math.Sqrt(-math.Log(together)/count) / math.Pi
	if together < 0.6 || off < phaseOff+2*sd {
		l.gaitSeen = together >= 0.6
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

// oneStance doubts a finding that hangs on a single stance or stride, and one of a
// pair of limbs that was not seen to stand: which of them is named then rests on the
// gait alone.
func (l *list) oneStance(m Measured) {
	if m.Summary == nil || m.Summary.Limb.Limb == "" {
		return
	}
	named := m.Summary.Limb.Limb
	pair, seen := map[bool]string{true: "fores", false: "hinds"}[named.IsFore()], 0
	for _, c := range m.Run.Contacts {
		if c.Limb.IsFore() == named.IsFore() {
			seen++
		}
	}
	switch seen {
	case 0:
		l.add(OneStance, record.SecondLook, fmt.Sprintf("No stance of the %s was seen: that the %s is named rests on the gait being %s.", pair, named.Words(), m.Run.Gait),
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
	if len(m.Run.Strides) < 3 {
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
