package accuracy

import (
	"math"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// What was measured of one stride is held against that stride; where none has a truth,
// against the whole run's.
func TestOwnTruth(t *testing.T) {
	truth := &scene.Measure{Observations: []metrics.Observation{{Time: 0.5, Value: 10}, {Time: 1.2, Value: 20}, {Time: 1.9, Value: math.NaN()}}}
	for _, c := range []struct {
		at   []float64
		want float64
	}{{[]float64{0.55}, 10}, {[]float64{0.45, 1.25}, 15}, {[]float64{1.9}, 99}, {[]float64{3}, 99}} {
		s := &metrics.Series{}
		for _, at := range c.at {
			s.Observations = append(s.Observations, metrics.Observation{Time: at})
		}
		if got := ownTruth(s, truth, 99); got != c.want {
			t.Errorf("strides at %v: %g, want %g", c.at, got, c.want)
		}
	}
}

// A measure that no clip gave has a row that says so; one that was given says how far off it
// was and how many of its intervals held.
func TestShouldersTable(t *testing.T) {
	y := &Yardstick{clips: map[traj.View]int{traj.Toward: 4}, measures: map[measureKey]*measureTally{
		{traj.Toward, metrics.ShoulderLift}: {unit: "mm", given: 2, half: []float64{1.96, 1.96}, off: []float64{9, 9}, own: []float64{1, -2}},
	}}
	var b strings.Builder
	y.WriteShoulders(&b)
	for _, want := range []string{"| Shoulder excursion | mm | 0 of 4 | – | – | – | – |\n", "| Shoulder lifted by the swing | mm | 2 of 4 | 1.5 | 1.96 | 1.58 | 1 of 2 |\n"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no row %q in\n%s", want, b.String())
		}
	}
}
