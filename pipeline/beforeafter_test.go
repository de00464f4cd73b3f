package pipeline

import (
	"math"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/track/traj"
)

// TestStridesOfAFilmHaveOneValueEach checks, for strides that begin anywhere within those of
// the run, also half a stride later where two are equally near, that each shows the value of
// one stride of the run and none is shown twice.
func TestStridesOfAFilmHaveOneValueEach(t *testing.T) {
	run := &metrics.Run{Series: []metrics.Series{{Name: metrics.CroupLowDifference}}}
	for i := range 6 {
		run.Strides = append(run.Strides, metrics.Stride{Start: 0.4 + 0.7*float64(i), End: 1.1 + 0.7*float64(i)})
		run.Series[0].Observations = append(run.Series[0].Observations, metrics.Observation{Stride: i, Value: float64(i + 1)})
	}
	for _, late := range []float64{-0.3, 0, 0.1, 0.34, 0.35, 0.36, 0.5} {
		var begins []float64
		for i := range 5 {
			begins = append(begins, 0.4+0.7*float64(i)+late+0.012*float64(1-2*(i%2))) // Strides vary.
		}
		shift := shiftOf(run, begins)
		last := math.NaN()
		for i, at := range begins {
			v := valueAt(run, metrics.CroupLowDifference, at-shift)
			if i > 0 && !math.IsNaN(v) && !math.IsNaN(last) && v != last+1 {
				t.Errorf("strides that begin %g s late: value of stride %g follows that of %g", late, v, last)
			}
			if math.IsNaN(v) && i > 0 && i < 4 {
				t.Errorf("strides that begin %g s late: stride %d has no value", late, i)
			}
			last = v
		}
	}
}

// TestTheDeclaredMeasureLeads: stride by stride, too, what was declared beforehand stands first.
func TestTheDeclaredMeasureLeads(t *testing.T) {
	declared := func(n metrics.Name) []metrics.Change {
		return []metrics.Change{{Name: metrics.HeadLowDifference}, {Name: n, Followed: true}}
	}
	for _, c := range []struct {
		view    traj.View
		changes []metrics.Change
		first   metrics.Name
	}{
		{traj.Toward, nil, metrics.HeadLowDifference},
		{traj.Toward, declared(metrics.StepLengthFore), metrics.StepLengthFore},
		{traj.Toward, declared(metrics.StepLengthHind), metrics.HeadLowDifference},
		{traj.Away, declared(metrics.StepLengthHind), metrics.StepLengthHind},
	} {
		if got := strideMeasures(c.view, c.changes); len(got) != 2 || got[0] != c.first {
			t.Errorf("%s, %v: %v", c.view, c.changes, got)
		}
	}
}

// TestTwoVisitsFilmedFromOtherWays checks that visits without a view in common are told the
// way out: measuring again gives none.
func TestTwoVisitsFilmedFromOtherWays(t *testing.T) {
	const other = "One was filmed toward the camera, the other away: film both ways next time."
	for _, tt := range []struct {
		b, a [2]int // Runs toward and away.
		want string
	}{{[2]int{2, 0}, [2]int{0, 2}, other}, {[2]int{0, 1}, [2]int{1, 0}, other}, {[2]int{1, 1}, [2]int{0, 1}, ""}, {[2]int{1, 0}, [2]int{2, 0}, ""}, {[2]int{1, 0}, [2]int{0, 0}, ""}} {
		b, a := filmedVisit(tt.b[0], tt.b[1], geometry.LevelMetric, record.Visit{}), filmedVisit(tt.a[0], tt.a[1], geometry.LevelMetric, record.Visit{})
		if got := otherWays(b, a); got != tt.want {
			t.Errorf("%v and %v: %q", tt.b, tt.a, got)
		}
		front := new(report.Front)
		comparedStills(front, b, a, &metrics.Comparison{}, [2]string{"before", "now"})
		if again := strings.Contains(front.StillsWhy, "Measuring their clips again"); again == (tt.want != "") {
			t.Errorf("%v and %v: %q", tt.b, tt.a, front.StillsWhy)
		}
		f := newFiles(t.TempDir())
		if _, why := f.film(t.Context(), b, a, CompareOptions{}); tt.want != "" && strings.Join(why, "; ") != tt.want || f.err != nil {
			t.Errorf("%v and %v: not on film: %q, %v", tt.b, tt.a, why, f.err)
		}
	}
}
