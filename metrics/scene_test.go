package metrics_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// The renderer's horse moves by rules of its own, which the measuring code
// never sees; here its truth is compared with what is measured from noisy
// tracks.

type errors struct {
	event []float64 // Found − true, s or m.
	z     []float64 // In units of the stated spread.
	miss  int       // Not found or not timed.
}

func (e *errors) add(d, sd float64) {
	e.event = append(e.event, d)
	e.z = append(e.z, d/sd)
}

func (e *errors) row(unit float64) string {
	abs := make([]float64, len(e.event))
	for i, v := range e.event {
		abs[i] = math.Abs(v)
	}
	return fmt.Sprintf("n %3d missed %2d bias %+6.1f |.| median %5.1f p95 %6.1f z %.2f", len(abs), e.miss,
		unit*signal.Median(e.event), unit*signal.Median(abs), unit*signal.Quantile(abs, 0.95), signal.RobustSD(e.z))
}

// contactErrors compares contacts inside the clip; away from the camera the
// stance ends at heel-off.
func contactErrors(truth *scene.Truth, run *metrics.Run) (on, off, x, y *errors) {
	on, off, x, y = &errors{}, &errors{}, &errors{}, &errors{}
	last := truth.Times[len(truth.Times)-1]
	for _, c := range truth.Contacts {
		leave := c.Off
		if run.View == traj.Away {
			leave = c.HeelOff
		}
		p := truth.Points(c.Limb)
		visible := func(t float64) bool {
			seen := 0
			for f, s := range truth.Times {
				if math.Abs(s-t) < 0.06 && p[f].Visible {
					seen++
				}
			}
			return t > 0.1 && t < last-0.1 && float64(seen) > 0.1*float64(len(truth.Times)-1)/last
		}
		var best *metrics.Contact
		for i := range run.Contacts {
			g := &run.Contacts[i]
			if g.Limb == c.Limb && math.Min(g.Off, leave)-math.Max(g.On, c.On) > 0.3*(leave-c.On) {
				best = g
			}
		}
		for _, v := range []struct {
			e    *errors
			want float64
			got  func() (float64, float64)
		}{
			{on, c.On, func() (float64, float64) { return best.On, best.OnSD }},
			{off, leave, func() (float64, float64) { return best.Off, best.OffSD }},
		} {
			if !visible(v.want) {
				continue
			}
			if best == nil {
				v.e.miss++
			} else if got, sd := v.got(); sd < 0 {
				v.e.miss++
			} else {
				v.e.add(got-v.want, sd)
			}
		}
		if best != nil && best.Placed {
			x.add(best.X-c.Placement[0], best.XSD)
			y.add(best.Y-c.Placement[1], best.YSD)
		}
	}
	return on, off, x, y
}

type sceneCase struct {
	name  string
	scene scene.Scene
	sd    float64
	level geometry.Level
	found bool // Stances are found from the tracks, not given.
}

func sceneCases() []sceneCase {
	lame := scene.ShortFore(traj.Right, 1)
	one := func(name string, change func(*scene.Scene), sd float64) sceneCase {
		s := scene.Scene{Seed: 3, Asymmetry: lame, Yard: scene.Yard{MarksWidthM: 2, MarksLengthM: 10, MarksNearM: 6}}
		change(&s)
		return sceneCase{name, s, sd, geometry.LevelMetric, false}
	}
	return []sceneCase{
		one("toward", func(s *scene.Scene) {}, 0.2),
		one("toward, to 15 m", func(s *scene.Scene) { s.Motion.StartM = 15 }, 0.2),
		one("away, to 15 m", func(s *scene.Scene) { s.View = traj.Away; s.Motion.EndM = 15 }, 0.2),
		one("away", func(s *scene.Scene) { s.View = traj.Away }, 0.2),
		one("noise 0.5 px", func(s *scene.Scene) { s.Motion.StartM = 15 }, 0.5),
		one("30 fps", func(s *scene.Scene) { s.Motion.StartM = 15; s.Camera.FPS = 30 }, 0.2),
		one("120 fps", func(s *scene.Scene) { s.Motion.StartM = 15; s.Camera.FPS = 120 }, 0.2),
		one("pace", func(s *scene.Scene) { s.Gait = traj.Pace; s.Motion.StartM = 15 }, 0.2),
		one("walk", func(s *scene.Scene) { s.Gait = traj.Walk; s.Motion.StartM = 15 }, 0.2),
	}
}

func measureScene(t testing.TB, c sceneCase) (*scene.Truth, *metrics.Run) {
	t.Helper()
	truth, err := scene.Simulate(c.scene)
	if err != nil {
		t.Fatal(err)
	}
	set := truth.TrackSet(scene.TrackOptions{SD: c.sd, Seed: 5})
	if c.found {
		set.Stances = metrics.StandStill(set)
	}
	run, err := metrics.Measure(set, metrics.Options{View: truth.Scene.View, Gait: truth.Scene.Gait,
		Calibration: truth.Calibration(c.level, len(truth.Times)/2, scene.ClickOptions{SD: -1})})
	if err != nil {
		t.Fatal(err)
	}
	return truth, run
}

// Half of the landings seen from the front lie within 8 ms, placements within
// millimetres across and a few centimetres along. From behind, landings are worse:
// the hoof comes down along the line of sight.
func TestSceneContacts(t *testing.T) {
	for _, c := range sceneCases() {
		truth, run := measureScene(t, c)
		on, off, x, y := contactErrors(truth, run)
		median := func(e *errors) float64 { return 1000 * signal.Median(absAll(e.event)) }
		landing, leaving := 10.0, 10.0
		if truth.Scene.View == traj.Away {
			landing, leaving = 35, 20
		}
		if v := median(on); !(v < landing) {
			t.Errorf("%s: half of the landings are off by more than %.1f ms", c.name, v)
		}
		if v := median(off); !(v < leaving) {
			t.Errorf("%s: half of the leavings are off by more than %.1f ms", c.name, v)
		}
		if v, w, z := median(x), median(y), signal.Median(absAll(y.z)); !(v < 2) || !(w < 20) || !(z < 1.2) {
			t.Errorf("%s: half of the placements are off by more than %.1f mm across, and %.1f mm or %.1f stated spreads along", c.name, v, w, z)
		}
		t.Logf("%-16s strides %d of %d\n  on  ms %s\n  off ms %s\n  x   mm %s\n  y   mm %s", c.name, len(run.Strides), len(truth.Strides), on.row(1000), off.row(1000), x.row(1000), y.row(1000))
	}
}

// sceneTolerance is how far a run's mean may lie from its truth: what a visit's
// interval has to cover. The heads' truth includes the slow drift of the
// carriage, which measuring takes off; over three strides that is some mm.
var sceneTolerance = map[metrics.Name]float64{
	metrics.StrideDuration: 0.01, metrics.Speed: 0.08, metrics.StrideLength: 0.02,
	metrics.StepLengthFore: 0.03, metrics.StepLengthHind: 0.05, metrics.StepTimingFore: 1.5,
	metrics.StanceDurationFore: 0.015, metrics.LateralArcFore: 0.6,
	metrics.HeadLowDifference: 6, metrics.HeadHighDifference: 6,
	metrics.CroupLowDifference: 4, metrics.CroupHighDifference: 4, metrics.HipExcursion: 3,
	metrics.HeadFirstHarmonic: 2, metrics.HeadSecondHarmonic: 2,
}

func TestSceneMeasures(t *testing.T) {
	for _, c := range sceneCases()[:4] {
		truth, run := measureScene(t, c)
		var b strings.Builder
		fmt.Fprintf(&b, "%s\n", c.name)
		for _, s := range run.Series {
			m := truth.Measure(s.Name)
			if s.Reason != "" {
				fmt.Fprintf(&b, "%-24s %s\n", s.Name, s.Reason)
				continue
			}
			if m == nil || m.Value == nil {
				continue
			}
			// Stride by stride: matched by their start.
			var d, z []float64
			var got, want, variance float64
			for _, o := range s.Observations {
				for _, w := range m.Observations {
					if (math.Abs(w.Time-o.Time) < 0.1 || len(m.Observations) == 1) && !math.IsNaN(o.Value) && !math.IsNaN(w.Value) {
						d, z = append(d, o.Value-w.Value), append(z, (o.Value-w.Value)/o.SD)
						got, want, variance = got+o.Value, want+w.Value, variance+o.SD*o.SD
					}
				}
			}
			n := float64(len(d))
			// A mean of two or three far strides is as uncertain as it says.
			stated := math.Sqrt(variance/n/n + s.CommonSD*s.CommonSD)
			if s.OfRun != nil && n > 0 { // What its strides share is in it.
				got, stated = n*s.OfRun.Value, s.OfRun.SE
			}
			if tol, ok := sceneTolerance[s.Name]; ok && n > 0 && math.Abs(got-want)/n > max(tol, 2*stated) {
				t.Errorf("%s: %s is %.3f, truth %.3f %s", c.name, s.Name, got/n, want/n, s.Unit)
			}
			fmt.Fprintf(&b, "%-24s n %2.0f want %9.3f got %9.3f | per stride |.| median %7.3f p95 %7.3f, stated SD %7.3f, z %.2f common %.3f %s\n", s.Name, n, want/n, got/n,
				signal.RobustSD(d)/1.4826, signal.Quantile(absAll(d), 0.95), s.Observations[0].SD, signal.RobustSD(z), s.CommonSD, s.Unit)
		}
		t.Log(b.String())
		for _, n := range run.Notes {
			t.Log(n)
		}
	}
}

func absAll(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}
