package metrics_test

import (
	"fmt"
	"math"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// dorsalMarker is where a marker on the dorsal hoof wall sits: this far above
// the ground, m, on a wall that leans back by 50 degrees (common practice).
const (
	dorsalMarkerM  = 0.05
	dorsalWallTan  = 1.19
	truthPerSecond = 240
)

// dorsal returns the path of the marker of one limb, from the truth of the toe
// (horse filmed toward the camera) and of the heel (the same horse filmed from
// behind): along the line of travel, across it and up, m. Index: instant.
func dorsal(toe, heel *scene.Truth, limb traj.Landmark) [][3]float64 {
	a, b := toe.Points(limb), heel.Points(limb)
	var first scene.Contact
	for _, c := range heel.Contacts {
		if c.Limb == limb {
			first = c
			break
		}
	}
	// Toward the camera the horse goes down the lane axis, from behind up it.
	var behind float64
	for _, c := range toe.Contacts {
		if c.Limb == limb {
			behind = first.Toe[1] + c.Toe[1]
			break
		}
	}
	out := make([][3]float64, min(len(a), len(b)))
	for f := range out {
		t := [3]float64{-a[f].Lane[1], -a[f].Lane[0], a[f].Lane[2]}
		h := [3]float64{b[f].Lane[1] - behind, b[f].Lane[0], b[f].Lane[2]}
		// Unit vector from heel to toe and, square to it, up: the hoof's own axes.
		x, z := t[0]-h[0], t[2]-h[2]
		n := math.Hypot(x, z)
		x, z = x/n, z/n
		back := dorsalMarkerM / dorsalWallTan
		out[f] = [3]float64{t[0] - back*x - dorsalMarkerM*z, t[1], t[2] - back*z + dorsalMarkerM*x}
	}
	return out
}

// published returns landing and leaving of the stance around the instants on and
// off by the threshold method of Starke & Clayton 2015 (PeerJ 3:e783, legend of
// figure 1): landing is where the resultant speed of the marker falls below a
// threshold; leaving is the first instant at which the marker has travelled
// farther from its place in stance, horizontally, than it stands above the
// ground in stance. Their threshold's value is not known here; speed is ours.
func published(path [][3]float64, times []float64, on, off, speed float64) (landing, leaving float64) {
	at := func(t float64) int { return min(max(int(math.Round(t*truthPerSecond)), 1), len(path)-2) }
	mid := at((on + off) / 2)
	landing, leaving = math.NaN(), math.NaN()
	for f := mid; f > 1; f-- {
		p, q := path[f+1], path[f-1]
		if v := math.Hypot(math.Hypot(p[0]-q[0], p[1]-q[1]), p[2]-q[2]) * truthPerSecond / 2; v > speed {
			landing = times[f+1]
			break
		}
	}
	stance := path[mid]
	for f := mid; f < len(path); f++ {
		if math.Hypot(path[f][0]-stance[0], path[f][1]-stance[1]) > stance[2] {
			leaving = times[f]
			break
		}
	}
	return landing, leaving
}

// Hoof events against an independent published definition, computed here from
// the renderer's truth in three dimensions; when hooves stand is found from their marks
// alone, and the instants are timed from that. The authors' own figures, with a
// marker on the hoof and motion capture: bias −11 to +10 ms, precision 8 ms or
// better, 95 % within 26 ms of a force plate; they are a bound, not a claim for one
// camera. From in front only: from behind a hoof comes down along the line of sight,
// which marks alone do not show.
func TestEventsAgainstPublishedDefinition(t *testing.T) {
	const horses = 2
	known := map[traj.Gait][horses]marked{}
	for _, gait := range []traj.Gait{traj.Trot} {
		var all [horses]marked
		for seed := range all {
			all[seed] = markedHorse(t, gait, uint64(seed)+8)
		}
		known[gait] = all
	}
	type limits struct{ bias, spread, within float64 } // ms; within: 95 % of the instants.
	for _, tt := range []struct {
		gait             traj.Gait
		view             traj.View
		landing, leaving limits
		sides            float64 // Most that right and left may be biased apart at landing, ms; 0 sets no limit.
	}{
		{traj.Trot, traj.Toward, limits{8, 12, 26}, limits{14, 12, 50}, 8},
	} {
		var on, off, onTruth, offTruth events
		for seed := range uint64(horses) {
			h := known[tt.gait][seed]
			truth, run := measureScene(t, sceneCase{"", filmedAt(tt.gait, seed+8, tt.view, 60), 0.2, geometry.LevelMetric, true})
			for _, c := range truth.Contacts {
				if c.On < 0.1 || c.Off > truth.Times[len(truth.Times)-1]-0.1 {
					continue
				}
				landing, leaving := published(h.markers[c.Limb], h.times, c.On, c.Off, 0.5)
				if math.IsNaN(landing) || math.IsNaN(leaving) {
					t.Fatalf("%s: no published landing or leaving around %.3f s", c.Limb, c.On)
				}
				onTruth.add(c.Limb, c.On-landing)
				offTruth.add(c.Limb, c.Off-leaving)
				for _, g := range run.Contacts {
					if g.Limb != c.Limb || math.Min(g.Off, c.Off)-math.Max(g.On, c.On) < 0.3*(c.Off-c.On) {
						continue
					}
					if g.OnSD >= 0 {
						on.add(c.Limb, g.On-landing)
					}
					if g.OffSD >= 0 {
						off.add(c.Limb, g.Off-leaving)
					}
				}
			}
		}
		t.Logf("%s %s: found − published definition, ms\n  landing  %s\n  leaving  %s\n  the renderer's own instants − published definition\n  landing  %s\n  leaving  %s",
			tt.gait, tt.view, on, off, onTruth, offTruth)
		for _, c := range []struct {
			name string
			e    events
			most limits
		}{
			{"landing", on, tt.landing}, {"leaving", off, tt.leaving},
			{"true landing", onTruth, limits{8, 4, 15}}, {"true leaving", offTruth, limits{8, 4, 15}},
		} {
			x := c.e.all()
			if len(x) < 12 {
				t.Errorf("%s %s: %s timed %d times, too few to judge by", tt.gait, tt.view, c.name, len(x))
			}
			bias, spread, within := 1000*signal.Median(x), 1000*signal.RobustSD(x), 1000*signal.Quantile(absAll(x), 0.95)
			if math.Abs(bias) > c.most.bias || spread > c.most.spread || within > c.most.within {
				t.Errorf("%s %s: %s bias %.1f, spread %.1f, 95 %% within %.1f ms: want %.0f, %.0f, %.0f or less", tt.gait, tt.view, c.name, bias, spread, within, c.most.bias, c.most.spread, c.most.within)
			}
		}
		if d := 1000 * (signal.Median(on.right) - signal.Median(on.left)); tt.sides > 0 && math.Abs(d) > tt.sides {
			t.Errorf("%s %s: landings are biased %.1f ms apart between the sides, want %.0f or less", tt.gait, tt.view, d, tt.sides)
		}
	}
}

// filmedAt is a horse that passes between 16 and 5.4 m.
func filmedAt(gait traj.Gait, seed uint64, view traj.View, fps float64) scene.Scene {
	s := scene.Scene{Seed: seed, Gait: gait, View: view, Yard: scene.Yard{MarksWidthM: 2, MarksLengthM: 10, MarksNearM: 6}}
	s.Camera.FPS = fps
	if s.Motion.StartM, s.Motion.EndM = 16, 5.4; view == traj.Away {
		s.Motion.StartM, s.Motion.EndM = 5.4, 16
	}
	return s
}

// marked is a horse with a marker on each hoof.
type marked struct {
	times   []float64 // s.
	markers map[traj.Landmark][][3]float64
}

// markedHorse returns the truth of one horse at short intervals: its toes as filmed
// from in front, its heels from behind.
func markedHorse(t *testing.T, gait traj.Gait, seed uint64) marked {
	t.Helper()
	var both [2]*scene.Truth
	for i, view := range []traj.View{traj.Toward, traj.Away} {
		truth, err := scene.Simulate(filmedAt(gait, seed, view, truthPerSecond))
		if err != nil {
			t.Fatal(err)
		}
		both[i] = truth
	}
	toe, heel := both[0], both[1]
	if len(toe.Contacts) != len(heel.Contacts) {
		t.Fatalf("%d and %d contacts: not the same horse from in front and from behind", len(toe.Contacts), len(heel.Contacts))
	}
	out := marked{toe.Times, map[traj.Landmark][][3]float64{}}
	for i, c := range toe.Contacts {
		if d := heel.Contacts[i]; d.Limb != c.Limb || math.Abs(d.On-c.On) > 0.001 || math.Abs(d.Off-c.Off) > 0.001 {
			t.Fatalf("contacts %+v and %+v: not the same horse from in front and from behind", c, d)
		}
		if out.markers[c.Limb] == nil {
			out.markers[c.Limb] = dorsal(toe, heel, c.Limb)
		}
	}
	return out
}

// events are errors of instants by side, s.
type events struct{ left, right []float64 }

func (e *events) add(limb traj.Landmark, d float64) {
	if limb.Side() == traj.Left {
		e.left = append(e.left, d)
	} else {
		e.right = append(e.right, d)
	}
}

func (e events) all() []float64 { return append(append([]float64(nil), e.left...), e.right...) }

func (e events) String() string {
	x := e.all()
	return fmt.Sprintf("n %2d  bias %+6.1f  spread %4.1f  95 %% within %5.1f of the bias, %5.1f of the instant  right − left %+5.1f", len(x),
		1000*signal.Median(x), 1000*signal.RobustSD(x), 1000*signal.Quantile(absAll(about(x)), 0.95), 1000*signal.Quantile(absAll(x), 0.95), 1000*(signal.Median(e.right)-signal.Median(e.left)))
}

// about returns x less its median.
func about(x []float64) []float64 {
	out, m := make([]float64, len(x)), signal.Median(x)
	for i, v := range x {
		out[i] = v - m
	}
	return out
}
