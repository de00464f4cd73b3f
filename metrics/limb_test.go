package metrics

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// lame returns a horse that shows the given values and is even elsewhere. With
// mirrored true every side is exchanged.
func lame(mirrored bool, values map[Name]float64) horse {
	h := evenHorse()
	for n, v := range values {
		if mirrored {
			v = -v
		}
		h.mean[n] += v
	}
	return h
}

// The signs are written for the right side; each case runs on both.
func TestLimbFinding(t *testing.T) {
	nod := map[Name]float64{HeadLowDifference: 35, HeadHighDifference: 28}
	with := func(maps ...map[Name]float64) map[Name]float64 {
		out := map[Name]float64{}
		for _, m := range maps {
			for n, v := range m {
				out[n] = v
			}
		}
		return out
	}
	foreWithers := map[Name]float64{WithersLowDifference: 3, WithersHighDifference: 2}
	hindWithers := map[Name]float64{WithersLowDifference: -16, WithersHighDifference: -12}
	croup := map[Name]float64{CroupLowDifference: 35, CroupHighDifference: 25, HipExcursion: 25}
	shortFore := map[Name]float64{StepLengthFore: -0.09}

	for _, c := range []struct {
		name      string
		gait      traj.Gait
		values    map[Name]float64
		drop      []Name
		want      traj.Landmark
		undecided bool
		says      []string
	}{
		// Buchner et al. 1996: the head is kept higher while the lame fore bears
		// weight; "down on sound".
		{name: "nod, withers with it: fore", gait: traj.Trot, values: with(nod, foreWithers), want: traj.RightFore,
			says: []string{"signs point to the right fore", "carried", "higher over the right fore"}},
		{name: "nod and short step: fore", gait: traj.Trot, values: with(nod, foreWithers, shortFore), want: traj.RightFore,
			says: []string{"the right fore's step is", "shorter than the left's"}},
		// Rhodin et al. 2018: the nod of a hindlimb, withers against the head.
		{name: "nod, withers against it, croup: hind", gait: traj.Trot, values: with(nod, hindWithers, croup), want: traj.RightHind,
			says: []string{"signs point to the right hind", "the head's nod looks like the right fore", "withers go against the head"}},
		{name: "nod and croup, no withers: hind", gait: traj.Trot, values: with(nod, croup), want: traj.RightHind,
			drop: []Name{WithersLowDifference, WithersHighDifference}},
		{name: "nod, croup even, no withers: fore", gait: traj.Trot, values: nod, want: traj.RightFore,
			drop: []Name{WithersLowDifference, WithersHighDifference}, says: []string{"the croup is even in its low and its high points"}},
		{name: "nod alone, neither withers nor croup marked", gait: traj.Trot, values: nod, undecided: true,
			drop: []Name{WithersLowDifference, WithersHighDifference, CroupLowDifference, CroupHighDifference, HipExcursion},
			says: []string{"the right fore or the right hind", "neither withers nor croup was marked"}},
		{name: "croup without a nod: hind", gait: traj.Trot, values: croup, want: traj.RightHind},
		// That a sore limb steps short rests on one horse (Clayton 1986): it is said and
		// names no limb.
		{name: "short step without a nod", gait: traj.Trot, values: shortFore,
			says: []string{"no limb is named from it alone", "the right fore's step is"}},
		{name: "short hind step", gait: traj.Trot, values: map[Name]float64{StepLengthHind: -0.09},
			says: []string{"no limb is named from it alone", "the right hind's step is"}},
		{name: "croup, head not marked", gait: traj.Trot, values: croup, want: traj.RightHind,
			drop: []Name{HeadLowDifference, HeadHighDifference}, says: []string{"the head was not measured"}},
		{name: "head and step disagree", gait: traj.Trot, values: with(nod, foreWithers, map[Name]float64{StepLengthFore: 0.09}), want: traj.RightFore,
			says: []string{"Other signs say otherwise: the left fore's step", "Such signs name the correct limb in about seven horses of ten (69 to 77 % of 163 horses"}},
		{name: "pace: nod with the croup even", gait: traj.Pace, values: nod, want: traj.RightFore},
		{name: "pace: nod and croup cannot be told apart", gait: traj.Pace, values: with(nod, hindWithers, croup), undecided: true},
		{name: "pace: croup alone", gait: traj.Pace, values: croup, want: traj.RightHind},
		{name: "even", gait: traj.Trot, values: nil, says: []string{"even: no difference"}},
		{name: "stance, arcs and placement never decide", gait: traj.Trot, values: map[Name]float64{
			StanceDurationFore: -0.05, SwingDurationFore: 0.05, DutyFactorFore: -8, LateralArcFore: 9, MedialArcFore: 9,
			QuartersToSide: -9}, says: []string{"even: no difference"}},
		{name: "timing alone does not decide", gait: traj.Trot, values: map[Name]float64{StepTimingFore: -4}},
	} {
		for _, left := range []bool{false, true} {
			side := "right"
			if left {
				side = "left"
			}
			t.Run(c.name+", "+side, func(t *testing.T) {
				h := lame(left, c.values)
				for _, n := range c.drop {
					delete(h.mean, n)
				}
				runs, _ := h.runs(rand.New(rand.NewPCG(11, 7)), c.gait, passes(4, 4), 15)
				f := mustSummarise(t, runs).Limb
				want := c.want
				if left {
					want = want.Opposite()
				}
				if f.Limb != want || f.Undecided != c.undecided {
					t.Errorf("limb %q undecided %v, want %q %v: %s", f.Limb, f.Undecided, want, c.undecided, f.Sentence)
				}
				for _, say := range c.says {
					if left {
						say = strings.NewReplacer("right", "left", "left", "right").Replace(say)
					}
					if !strings.Contains(f.Sentence, say) {
						t.Errorf("%q does not say %q", f.Sentence, say)
					}
				}
				for _, word := range []string{"lame", "disease", "injur", "pain"} {
					if strings.Contains(f.Sentence, word) {
						t.Errorf("%q uses the word %q: the finding describes movement", f.Sentence, word)
					}
				}
			})
		}
	}
}

func TestNothingMeasuredNamesNoSide(t *testing.T) {
	f := mustSummarise(t, []Run{oneRun(traj.Toward, Speed, valueOnly(3), valueOnly(3.1))}).Limb
	if f.Limb != "" || f.Even || f.Undecided || !strings.Contains(f.Sentence, "nothing that points to a limb") {
		t.Errorf("%+v", f)
	}
}

func TestDisagreeingSignsAreSaid(t *testing.T) {
	h := lame(false, map[Name]float64{HeadLowDifference: 40, HeadHighDifference: 40, WithersLowDifference: 4, StepTimingFore: 4})
	runs, _ := h.runs(rand.New(rand.NewPCG(2, 8)), traj.Trot, passes(5, 5), 15)
	f := mustSummarise(t, runs).Limb
	if f.Limb != traj.RightFore || len(f.Disagree) == 0 || !strings.Contains(f.Sentence, "Other signs say otherwise: the right fore lands") {
		t.Errorf("%+v", f)
	}
}

func TestPointsTo(t *testing.T) {
	for _, c := range []struct {
		n         Name
		deviation float64
		want      traj.Landmark
	}{
		// Pfau et al. 2018, Equine Vet J 50:117–123: positive is a right-fore pattern.
		{HeadLowDifference, 10, traj.RightFore}, {HeadLowDifference, -10, traj.LeftFore}, {HeadHighDifference, 10, traj.RightFore},
		{CroupLowDifference, 5, traj.RightHind}, {CroupHighDifference, -5, traj.LeftHind}, {HipExcursion, 9, traj.RightHind},
		{StepLengthFore, -0.05, traj.RightFore}, {StepLengthHind, 0.05, traj.LeftHind}, {StepTimingFore, -3, traj.RightFore},
		{StanceDurationFore, -0.05, ""}, {LateralArcFore, 5, ""}, {QuartersToSide, 5, ""}, {HeadLowDifference, 0, ""},
	} {
		if got := defined[c.n].pointsTo(c.deviation); got != c.want {
			t.Errorf("%s %v points to %q, want %q", c.n, c.deviation, got, c.want)
		}
	}
}

// Sides are the horse's own: from which end a clip was filmed does not matter.
func TestFindingDoesNotDependOnTheView(t *testing.T) {
	for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
		for _, values := range []map[Name]float64{
			{HeadLowDifference: 35, HeadHighDifference: 28, StepLengthFore: -0.09},
			{HeadLowDifference: -35, HeadHighDifference: -28},
			{CroupLowDifference: 30, CroupHighDifference: 25},
			{CroupLowDifference: -30, StepLengthHind: 0.09},
		} {
			runs, _ := lame(false, values).runs(rand.New(rand.NewPCG(5, 7)), gait, passes(4, 4), 15)
			a := mustSummarise(t, runs).Limb
			for i := range runs {
				if runs[i].View == traj.Toward {
					runs[i].View = traj.Away
				} else {
					runs[i].View = traj.Toward
				}
			}
			if b := mustSummarise(t, runs).Limb; a.Limb == "" || a.Limb != b.Limb {
				t.Errorf("%s, %v: %q, from the other end %q", gait, values, a.Limb, b.Limb)
			}
		}
	}
}

func ExampleSummarise() {
	// Eight strides of a clip filmed toward the camera.
	run := Run{View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelMetric, Strides: make([]Stride, 8)}
	head := Series{Name: HeadLowDifference, Unit: "mm"}
	croup := Series{Name: CroupLowDifference, Unit: "mm"}
	for i, mm := range []float64{31, 38, 29, 42, 35, 33, 40, 36} {
		head.Observations = append(head.Observations, Observation{Stride: i, Time: 0.7 * float64(i), Value: mm, SD: 4})
		croup.Observations = append(croup.Observations, Observation{Stride: i, Time: 0.7 * float64(i), Value: (mm - 35) / 4, SD: 1})
	}
	run.Series = []Series{head, croup}
	s, err := Summarise([]Run{run}, SummaryOptions{Seed: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	r := s.Lookup(HeadLowDifference)
	fmt.Printf("%.0f mm, %.0f to %.0f, of %d strides\n", r.Value.Value, r.Value.Low, r.Value.High, r.Strides)
	fmt.Println(s.Limb.Sentence)
	// Output:
	// 36 mm, 33 to 38, of 8 strides
	// signs point to the right side, the right fore or the right hind: the head is carried 36 mm higher over the right fore (95 % interval 33 to 38 mm); neither withers nor croup settles which
}

// Words and score go together: where a step or its timing is beyond its tolerance in the
// one run there is, the horse is not called even, and the words name the limb that showed it.
func TestOneRunWithATimingBeyondItsToleranceIsNotEven(t *testing.T) {
	for seed := range uint64(20) {
		h := lame(false, map[Name]float64{StepTimingHind: -9})
		runs, _ := h.runs(rand.New(rand.NewPCG(seed, 8)), traj.Trot, passes(0, 1), 6)
		s := mustSummarise(t, runs)
		r := s.Lookup(StepTimingHind)
		if r == nil || !r.Beyond {
			continue // Too few strides to show it.
		}
		if s.Limb.Even || !strings.Contains(s.Limb.Sentence, "right hind") {
			t.Errorf("seed %d: score %.1f and %q", seed, s.Score.Value, s.Limb.Sentence)
		}
	}
}
