package metrics

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/metrics/stats"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Advice says how much to film to see a difference between sides in four visits of five.
type Advice struct {
	What string // The difference in words: "a nod of 10 mm".
	Runs int    // Of LeastStrides, in the view that shows the measure; 0 where more than a dozen would be needed.
	// Within says that a sound horse shows as much from run to run: seeing it does
	// not make it matter.
	Within bool
}

// LeastRuns is how many runs in each view a visit should have at the least: with
// fewer, an interval rests more on what is usual than on the horse.
const LeastRuns = 3

// LeastStrides is how many strides a run should have: what a lane of 25 m gives at the trot.
const LeastStrides = 7

const (
	adviceChance  = 0.8 // That the 95 % interval excludes even.
	adviceMaxRuns = 12
)

// FilmingAdvice says how many runs of seven strides must be filmed so that a difference worth
// seeing shows with a chance of 80 %. It rests on the default table's run-to-run variation, for
// steps on what the model of a run makes of camera, marks and strides, for head and croup on
// stride_sd and the error of a followed mark. STUDY.md holds it against simulated visits.
func FilmingAdvice() []Advice {
	var out []Advice
	for _, s := range []SetUp{{CameraHeightM: 2}, {CameraHeightM: 1.2}} {
		what := fmt.Sprintf("one fore step %.0f cm shorter than the other, with the phone %.2g m high", math.Ceil(100*s.SmallestStep(LeastRuns)), s.CameraHeightM)
		out = append(out, Advice{What: what, Runs: LeastRuns})
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
			q.measured = math.Hypot(row.StrideSD/math.Sqrt(LeastStrides), errormodel.Usual().Body.FollowedMM)
		}
		runs := 2
		for runs <= adviceMaxRuns && chanceToSee(row, q.difference, runs, q.measured) < adviceChance {
			runs++
		}
		if runs > adviceMaxRuns {
			runs = 0
		}
		out = append(out, Advice{q.words, runs, q.difference <= row.Tolerance})
	}
	return out
}

// SetUp is how runs are filmed and marked. The zero value of a field means the film
// guide's: the phone 2 m high, seven strides down to 5 m, each hoof marked at 5.5, 8,
// 10.5 and 16 m.
type SetUp struct {
	CameraHeightM float64
	FocalPX       float64   // At a picture 1920 px wide; 0 means 1500.
	NearestM      float64   // Of the last stance.
	MarkedM       []float64 // Distances at which each hoof is marked.
	ClickPX       float64   // How far clicks are off, px, one standard deviation; 0 means the error model's prior.
}

// StepSE returns the standard error of a run's difference between the fores' steps in
// this set-up, metres, as the model of a run gives it at the spreads usual beforehand:
// of the run's own strides, and of the horse.
func (s SetUp) StepSE() (run, horse float64) {
	s.CameraHeightM, s.FocalPX, s.NearestM = cmp.Or(s.CameraHeightM, 2), cmp.Or(s.FocalPX, 1500), cmp.Or(s.NearestM, 5)
	if s.MarkedM == nil {
		s.MarkedM = []float64{5.5, 8, 10.5, 16}
	}
	down := math.Atan2(s.CameraHeightM, 8)
	cam := geometry.LevelCamera(s.FocalPX, 959.5, 539.5, s.CameraHeightM, geometry.Point{X: 959.5, Y: 539.5 - s.FocalPX*math.Tan(down)})
	var falls []footfall
	var marks clicked
	const stride, track = 2.5, 0.15
	for k := range 2 {
		for _, d := range s.MarkedM {
			marks.per[k] = append(marks.per[k], s.FocalPX/d)
		}
		for i := range LeastStrides {
			beat := float64(i) + float64(k)/2
			at, _ := cam.Project(0.1-0.2*float64(k), s.NearestM+stride*(LeastStrides-0.5-beat), 0)
			falls = append(falls, footfall{k, beat, at, [2]float64{track, track}})
		}
	}
	prior := errormodel.Usual()
	f := &runFit{falls: falls, click: cmp.Or(s.ClickPX, prior.Click.PriorPX), unit: 1, prior: prior}
	if !f.start(cam, nil, true, marks) {
		return math.Inf(1), math.Inf(1)
	}
	t := func(who whose) float64 {
		t := f.target()
		f.meanOf(&t, 1, 2, who)
		f.meanOf(&t, 0, -2, who)
		_, sd := f.predict(t)
		return sd
	}
	return t(ofRun), t(ofHorse)
}

// SmallestStep returns the smallest difference between the fores' steps, metres, that n
// runs in this set-up show in four visits of five: one whose 95 % interval then excludes
// even. It rests on the default table's variation from run to run.
func (s SetUp) SmallestStep(runs int) float64 {
	row, _ := defaultTable().Lookup(StepLengthFore)
	_, measured := s.StepSE()
	return signal.Zero(0, 1, func(difference float64) float64 { return chanceToSee(row, difference, runs, measured) - adviceChance })
}

// chanceToSee returns the chance that the 95 % interval of so many runs excludes even
// where the true difference is as given and one run's mean is measured to within
// measured, one standard error. How runs differ is known as the table knows it.
func chanceToSee(row Tolerance, difference float64, runs int, measured float64) float64 {
	runSD, df := row.runSD()
	se := math.Sqrt((sq(runSD) + sq(measured)) / float64(runs))
	half := stats.TQuantile(0.975, df+float64(runs-1)) * se
	return distuv.UnitNormal.CDF((math.Abs(difference)-half)/se) + distuv.UnitNormal.CDF((-math.Abs(difference)-half)/se)
}

// MarkAdvice says in which frame a hoof should be marked, too.
type MarkAdvice struct {
	Limb   traj.Landmark
	Frame  int
	Reason string
}

// Marks between these distances, metres, count most for lengths: nearer ones are often cut off
// by the picture's edge, and an error of a click grows with the distance. So many of a leading
// hoof should lie there.
const markFromM, markToM, nearMarks = 5.0, 8.0, 2

// NearMarks says which stances of the pair that leads in the view, seen 5 to 8 m away,
// should be marked, too: those of a hoof of which fewer than two were. set is the clip's
// tracks as Measure had them. It is empty without a calibration.
func NearMarks(run *Run, set *traj.Set) []MarkAdvice {
	var out []MarkAdvice
	if !run.Level.AtLeast(geometry.LevelHeight) {
		return nil
	}
	for _, limb := range limbs {
		tr := set.Track(limb)
		if tr == nil || limb.IsFore() != (run.View == traj.Toward) {
			continue
		}
		marked := 0
		var free []Contact
		for _, c := range run.Contacts {
			first, end := sort.SearchFloat64s(set.Times, c.On), sort.Search(len(set.Times), func(f int) bool { return set.Times[f] > c.Off })
			switch {
			case c.Limb != limb || !c.Placed || c.Y < markFromM || c.Y > markToM:
			case slices.ContainsFunc(tr.Samples[first:end], func(s traj.Sample) bool { return s.Status == traj.Marked }):
				marked++
			default:
				free = append(free, c)
			}
		}
		for _, c := range free[:max(0, min(len(free), nearMarks-marked))] {
			out = append(out, MarkAdvice{limb, min(sort.SearchFloat64s(set.Times, (c.On+c.Off)/2), len(set.Times)-1),
				fmt.Sprintf("it stands %.1f m away here, and marks %.0f to %.0f m away count most for step lengths", c.Y, markFromM, markToM)})
		}
	}
	return out
}
