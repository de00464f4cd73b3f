package metrics

import (
	"math"
	"testing"

	"jogstrip/track/traj"
)

// paced is a horse whose right fore steps 3 cm short. Sixty strides are short ones
// on a long lane, filmed with a long lens.
func paced(strides int) artificial {
	h := sound()
	h.strides, h.seed = strides, uint64(strides)
	if strides > 8 {
		h.length, h.near, h.focal, h.noise = 1, 8, 3000, 0.05
	}
	h.ahead[1] = -0.015
	h.head = [3]float64{0.012, math.Pi, 0.03} // Carried 24 mm higher over the right fore.
	return h
}

// measureAndSum takes a clip through everything.
func measureAndSum(t *testing.T, set *traj.Set, o Options) (*Run, *Summary) {
	t.Helper()
	run, err := Measure(set, o)
	if err != nil {
		t.Fatal(err)
	}
	return run, mustSummarise(t, []Run{*run})
}

// The shortest clip and a very long one: the intervals hold the truth, and are
// wide and narrow. (This horse repeats its strides exactly, which two strides of a
// real one do not: see TestTwoStridesAreWide.)
func TestTwoStridesAndMany(t *testing.T) {
	widths := map[Name][]float64{}
	many := 30
	if Thorough {
		many = 60
	}
	for _, n := range []int{2, many} {
		h := paced(n)
		run, s := measureAndSum(t, h.tracks(), h.options())
		if len(run.Strides) < n-1 || len(run.Strides) > n {
			t.Fatalf("%d strides of %d", len(run.Strides), n)
		}
		for name, truth := range map[Name]float64{StepLengthFore: -0.03, StepTimingFore: 50, HeadLowDifference: 24, StrideDuration: h.period} {
			r := s.Lookup(name)
			if r.Value == nil {
				if n > 2 || r.Reason == "" {
					t.Errorf("%d strides: %s was not measured: %s", n, name, r.Reason)
				}
				continue
			}
			if r.Value.Low > truth || r.Value.High < truth || math.IsInf(r.Value.High, 0) {
				t.Errorf("%d strides: %s is %+v, truth %g", n, name, *r.Value, truth)
			}
			if !r.ThisRunOnly {
				t.Errorf("%d strides: %s does not say that it holds for this run only", n, name)
			}
			widths[name] = append(widths[name], r.Value.High-r.Value.Low)
		}
		if s.Score != nil && (s.Score.Low > s.Score.Value || s.Score.High < s.Score.Value || math.IsNaN(s.Score.High)) {
			t.Errorf("%d strides: score %+v", n, s.Score.Estimate)
		}
	}
	for name, w := range widths {
		// The long lane's calibration, not the number of strides, decides how well lengths
		// are known there, and what following a mark makes in all strides alike the head.
		if name != StepLengthFore && name != HeadLowDifference && len(w) == 2 && w[1] > w[0]/2 {
			t.Errorf("%s: the interval is %.3g wide from two strides and %.3g from many", name, w[0], w[1])
		}
	}
}

// One side that is lost for half the clip costs the strides in which it is
// missing, and no others; lost altogether it leaves the other side and a reason.
func TestOneSidedLoss(t *testing.T) {
	h := paced(8)
	set := h.tracks()
	_, whole := measureAndSum(t, set, h.options())
	middle := h.period * 4.5
	hide := func(from float64) {
		right := set.Track(traj.RightFore)
		for i, at := range set.Times {
			if at > from {
				right.Samples[i] = traj.Gone()
			}
		}
	}
	hide(middle)
	set.Stances = h.standings(set)
	run, half := measureAndSum(t, set, h.options())
	for _, o := range run.Lookup(StepLengthFore).Observations {
		if !math.IsNaN(o.Value) && o.Time > middle {
			t.Errorf("a pair of steps at %.2f s, after the right fore was lost", o.Time)
		}
	}
	r, w := half.Lookup(StepLengthFore), whole.Lookup(StepLengthFore)
	if r.Value == nil || r.Strides >= w.Strides || r.Strides < 2 || r.Value.Low > -0.03 || r.Value.High < -0.03 {
		t.Errorf("step length of the half that was seen: %+v of %d strides, truth -0.03 m; whole clip %d strides", r.Value, r.Strides, w.Strides)
	}
	if left := half.Lookup(StanceDurationFore).Left; left == nil {
		t.Error("the left side has no value of its own")
	}
	hide(-1)
	set.Stances = h.standings(set)
	_, none := measureAndSum(t, set, h.options())
	for _, name := range []Name{StepLengthFore, StepTimingFore, StanceDurationFore} {
		if r := none.Lookup(name); r.Value != nil || r.Reason == "" || r.SymmetryIndex != nil {
			t.Errorf("%s with the right fore never seen: %+v, reason %q", name, r.Value, r.Reason)
		}
	}
	if none.Lookup(StepLengthHind).Value == nil {
		t.Errorf("the hinds are lost with it: %s", none.Lookup(StepLengthHind).Reason)
	}
	if r := none.Lookup(StanceDurationFore); r.Left == nil || r.Right != nil {
		t.Errorf("stance durations %v and %v, want the left's alone", r.Left, r.Right)
	}
}
