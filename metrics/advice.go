package metrics

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Advice says how much to film to see a difference.
type Advice struct {
	Name       Name
	Unit       string
	Difference float64 // Between sides, in Unit.
	Strides    int     // In every run.
	Runs       int     // In the view that shows the measure; 0 where more than a dozen would be needed.
	Chance     float64 // That the 95 % interval excludes even, 0 to 1, with so many runs.
	What       string  // The difference in words: "a nod of 10 mm".
	// Within says that a sound horse shows as much from run to run: seeing it does
	// not make it matter.
	Within   bool
	Sentence string
}

// LeastRuns is how many runs in each view a visit should have at the least: with
// fewer, an interval rests more on what is usual than on the horse.
const LeastRuns = 3

const (
	adviceChance = 0.8
	// adviceStrides is what a lane of 25 m gives at the trot.
	adviceStrides = 7
	adviceMaxRuns = 12
)

// FilmingAdvice says how many runs of seven strides must be filmed so that a difference
// worth seeing shows with a chance of 80 %: a short step from the guide's set-up and
// from a phone at 1.2 m, a nod, a croup difference. It rests on the default table's
// run-to-run variation, on what the model of a run makes of the camera, the marks and the
// strides, and on stride_sd and the error of a followed mark for head and croup. STUDY.md
// holds it against simulated visits.
func FilmingAdvice() []Advice {
	var out []Advice
	for _, s := range []SetUp{{CameraHeightM: 2}, {CameraHeightM: 1.2}} {
		least := s.SmallestStep(LeastRuns)
		a := Advice{Name: StepLengthFore, Unit: "m", Difference: least, Strides: adviceStrides, Runs: LeastRuns, Chance: adviceChance}
		a.What = fmt.Sprintf("one fore step %.0f cm shorter than the other, with the phone %.2g m high", math.Ceil(100*least), s.CameraHeightM)
		a.Sentence = fmt.Sprintf("%d runs of %d strides show %s, in four visits of five.", a.Runs, a.Strides, a.What)
		out = append(out, a)
	}
	_, guide := SetUp{}.StepSE()
	for _, q := range []struct {
		n          Name
		difference float64
		words      string
		measured   float64 // 0: from stride_sd.
	}{
		{StepLengthFore, 0.05, "one fore step 5 cm shorter than the other, with the phone 2 m high", guide},
		{StepLengthFore, 0.03, "one fore step 3 cm shorter than the other, with the phone 2 m high", guide},
		{HeadLowDifference, 10, "a nod of 10 mm", 0},
		{HeadLowDifference, 20, "a nod of 20 mm", 0},
		{CroupLowDifference, 6, "a croup difference of 6 mm", 0},
	} {
		row, _ := defaultTable().Lookup(q.n)
		if q.measured == 0 {
			q.measured = math.Hypot(row.StrideSD/math.Sqrt(adviceStrides), errormodel.Usual().Body.FollowedMM)
		}
		out = append(out, advise(row, q.difference, q.words, q.measured))
	}
	return out
}

func advise(row Tolerance, difference float64, words string, measured float64) Advice {
	a := Advice{Name: row.Name, Unit: row.Unit, Difference: difference, Strides: adviceStrides, What: words, Within: difference <= row.Tolerance}
	for runs := 2; runs <= adviceMaxRuns; runs++ {
		if p := chanceToSee(row, difference, runs, measured); p >= adviceChance {
			a.Runs, a.Chance = runs, p
			break
		}
	}
	within := ""
	if a.Within {
		within = " It lies within what a sound horse shows from run to run, so seeing it does not make it matter."
	}
	if a.Runs == 0 {
		a.Sentence = fmt.Sprintf("To see %s more than %d runs of %d strides in one view would be needed.%s", words, adviceMaxRuns, adviceStrides, within)
		return a
	}
	a.Sentence = fmt.Sprintf("To see %s in four visits of five, film %d runs of %d strides in the view that shows it.%s", words, a.Runs, adviceStrides, within)
	return a
}

// MarkAdvice says in which frame a hoof should be marked, too.
type MarkAdvice struct {
	Limb   traj.Landmark
	Frame  int
	Reason string
}

// Marks between these distances, metres, count most for lengths: nearer ones are often
// cut off by the picture's edge, and an error of a click grows with the distance.
const markFromM, markToM = 5.0, 8.0

// nearMarks is how many marks of a leading hoof should lie between these distances.
const nearMarks = 2

// NearMarks says which stances of the pair that leads in the view, seen 5 to 8 m away,
// should be marked, too: those of a hoof of which fewer than two were. set is the clip's
// tracks as Measure had them. It is empty without a calibration.
func NearMarks(run *Run, set *traj.Set) []MarkAdvice {
	var out []MarkAdvice
	if !run.Level.AtLeast(geometry.LevelHeight) {
		return nil
	}
	for _, limb := range contact.Limbs {
		tr := set.Track(limb)
		if tr == nil || limb.IsFore() != (run.View == traj.Toward) {
			continue
		}
		marked := 0
		var free []Contact
		for _, c := range run.Contacts {
			if c.Limb != limb || !c.Placed || c.Y < markFromM || c.Y > markToM {
				continue
			}
			has := false
			for f, t := range set.Times {
				has = has || t >= c.On && t <= c.Off && tr.Samples[f].Status == traj.Marked
			}
			if has {
				marked++
			} else {
				free = append(free, c)
			}
		}
		for _, c := range free[:max(0, min(len(free), nearMarks-marked))] {
			frame, _ := slices.BinarySearch(set.Times, (c.On+c.Off)/2)
			out = append(out, MarkAdvice{limb, min(frame, len(set.Times)-1),
				fmt.Sprintf("it stands %.1f m away here, and marks %.0f to %.0f m away count most for step lengths", c.Y, markFromM, markToM)})
		}
	}
	return out
}
