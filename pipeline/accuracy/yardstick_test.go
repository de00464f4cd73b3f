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

// Frames that are followed are counted for all stances and apart for those that a person marked;
// what he marked himself counts in neither.
func TestFollowedInMarkedStances(t *testing.T) {
	points := make([]scene.Point, 8)
	for i := range points {
		points[i].Visible = true
	}
	truth := &scene.Truth{
		Scene: scene.Scene{View: traj.Toward}, Times: []float64{0, 1, 2, 3, 4, 5, 6, 7},
		Contacts:  []scene.Contact{{Limb: traj.LeftFore, On: 0, HeelOff: 3}, {Limb: traj.LeftFore, On: 4, HeelOff: 7.5}},
		Landmarks: []scene.Landmark{{Name: traj.LeftFore, Points: points}},
	}
	var y Yardstick
	y.addPositions(map[traj.Landmark]map[int]seen{traj.LeftFore: {0: {marked: true}, 1: {}, 4: {}, 5: {}, 6: {}}}, truth)
	p := y.part(traj.Toward, "fore, standing")
	if p.inView != 6 || p.followed != 4 || p.inMarked != 2 || p.kept != 1 {
		t.Errorf("%d of %d frames followed, of marked stances %d of %d; want 4 of 6 and 1 of 2", p.followed, p.inView, p.kept, p.inMarked)
	}
}
