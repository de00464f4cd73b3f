package metrics_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// From the moving horse to the limb that is named: the renderer's 3D motion,
// projected, with the errors that tracking leaves, through everything that
// measures. Asymmetries are those of published work where there is some; the
// sizes are plain but not extreme.

// trackErrors are those of a tracked phone clip, px: white noise, and a slower
// wander that does not average out within a stance. Hooves are sharper than a
// withers or croup, whose marks lie on a plain outline.
func trackErrors(l traj.Landmark) (white, wander float64) {
	if l.IsHoof() {
		return 0.25, 0.2
	}
	if l == traj.Head {
		return 0.3, 0.3
	}
	return 0.4, 0.4
}

// roughen adds errors to exact tracks and states their spread, which is right on
// average and wrong by up to a third in each frame. Now and then a hoof is lost
// for some frames.
func roughen(set *traj.Set, rng *rand.Rand) {
	for k := range set.Tracks {
		t := &set.Tracks[k]
		white, wander := trackErrors(t.Landmark)
		const keep = 0.93 // Of the wander from frame to frame: it lasts a quarter of a second.
		var wx, wy float64 = wander * rng.NormFloat64(), wander * rng.NormFloat64()
		gone := 0
		for i := range t.Samples {
			wx = keep*wx + math.Sqrt(1-keep*keep)*wander*rng.NormFloat64()
			wy = keep*wy + math.Sqrt(1-keep*keep)*wander*rng.NormFloat64()
			s := &t.Samples[i]
			if t.Landmark.IsHoof() && rng.Float64() < 0.01 {
				gone = 2 + rng.IntN(6)
			}
			if gone > 0 {
				gone--
				*s = traj.Gone()
				continue
			}
			if s.Status != traj.Tracked {
				continue
			}
			s.X += wx + white*rng.NormFloat64()
			s.Y += wy + white*rng.NormFloat64()
			s.SD = math.Hypot(white, wander) * (1 + (rng.Float64()-0.5)*2/3)
			s.Quality = 0.8 + 0.2*rng.Float64()
		}
	}
}

// seeds is how many horses of each kind there are.
var seeds = map[bool]uint64{false: 1, true: 2}[metrics.Thorough]

// limbCase is a horse filmed from both ends.
type limbCase struct {
	gait traj.Gait
	limb traj.Landmark // Empty: an even horse.
	seed uint64
	bare bool // Neither withers nor croup nor hips are marked.
}

func (c limbCase) String() string {
	limb := string(c.limb)
	if limb == "" {
		limb = "even"
	}
	bare := ""
	if c.bare {
		bare = ", no withers, croup or hip mark"
	}
	return fmt.Sprintf("%s, %s%s, seed %d", limb, c.gait, bare, c.seed)
}

// ends are the ways to film a visit: from one end, or from both.
var ends = [][]traj.View{{traj.Toward}, {traj.Away}, {traj.Toward, traj.Away}}

// findings measures two clips from each end and sums them up: those of each end
// alone, and all. Index: ends.
func (c limbCase) findings() ([]metrics.LimbFinding, error) {
	runs := map[traj.View][]metrics.Run{}
	for _, view := range ends[2] {
		for pass := range uint64(2) {
			run, err := c.run(view, pass)
			if err != nil {
				return nil, fmt.Errorf("%s, %s %d: %w", c, view, pass+1, err)
			}
			runs[view] = append(runs[view], *run)
		}
	}
	var out []metrics.LimbFinding
	for _, views := range ends {
		var all []metrics.Run
		for _, v := range views {
			all = append(all, runs[v]...)
		}
		s, err := metrics.Summarise(all, metrics.SummaryOptions{Resamples: 100})
		if err != nil {
			return nil, fmt.Errorf("%s: %w", c, err)
		}
		out = append(out, s.Limb)
	}
	return out, nil
}

func (c limbCase) run(view traj.View, pass uint64) (*metrics.Run, error) {
	s := scene.Scene{Seed: 100*c.seed + pass, View: view, Gait: c.gait, Asymmetry: scene.OneLimb(c.limb),
		Variation: scene.Variation{Free: true},
		Yard:      scene.Yard{MarksWidthM: 2.5, MarksLengthM: 8, MarksNearM: 5.5}}
	if view == traj.Toward {
		s.Motion.StartM = 20
	} else {
		s.Motion.EndM = 20
	}
	truth, err := scene.Simulate(s)
	if err != nil {
		return nil, err
	}
	var marked []traj.Landmark
	for _, l := range scene.Usual(view) {
		if l.IsHoof() || l == traj.Head || !c.bare {
			marked = append(marked, l)
		}
	}
	set := truth.TrackSet(scene.TrackOptions{Landmarks: marked})
	roughen(set, rand.New(rand.NewPCG(s.Seed, uint64(len(view)+len(c.limb)))))
	return metrics.Measure(set, metrics.Options{View: view, Gait: c.gait,
		Calibration: truth.Calibration(geometry.LevelMetric, len(truth.Times)/2, scene.ClickOptions{Seed: s.Seed})})
}

// eachFinding runs all cases on two processors and visits their findings in
// order.
func eachFinding(t *testing.T, cases []limbCase, visit func(c limbCase, views []traj.View, f metrics.LimbFinding)) {
	t.Helper()
	out := make([][]metrics.LimbFinding, len(cases))
	errs := make([]error, len(cases))
	var wg sync.WaitGroup
	next := make(chan int)
	for range 2 {
		wg.Go(func() {
			for i := range next {
				out[i], errs[i] = cases[i].findings()
			}
		})
	}
	for i := range cases {
		next <- i
	}
	close(next)
	wg.Wait()
	for i, c := range cases {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		for k, views := range ends {
			visit(c, views, out[i][k])
		}
	}
}

// What a finding says of a horse with one limb in trouble.
const (
	saysLimb      = "the limb"
	saysSide      = "its side, fore or hind undecided"
	saysNothing   = "no side"
	saysWrongLimb = "a wrong limb"
	saysWrongSide = "the wrong side"
)

func judged(limb traj.Landmark, f metrics.LimbFinding) string {
	other := traj.Right
	if limb.Side() == traj.Right {
		other = traj.Left
	}
	switch {
	case f.Limb == limb:
		return saysLimb
	case f.Limb != "" && f.Limb.Side() == other, strings.HasPrefix(f.Sentence, "signs point to the "+string(other)):
		return saysWrongSide
	case f.Limb != "":
		return saysWrongLimb
	case f.Undecided:
		return saysSide
	}
	return saysNothing
}

// Every limb, from either end and from both, in trot and pace. A wrong limb or
// side is never named. In trot the limb is named in half of the visits and more where it was
// filmed from both ends; from one end alone fore and hind may stay undecided (from the front
// this horse hides withers and croup), but the side is found.
func TestWhichLimbFromTheMovingHorse(t *testing.T) {
	var cases []limbCase
	for _, limb := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
		for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
			if gait == traj.Pace && limb.Side() == traj.Right && !metrics.Thorough {
				continue
			}
			for seed := range seeds {
				cases = append(cases, limbCase{gait: gait, limb: limb, seed: 1 + seed})
			}
		}
	}
	said := map[string]map[string]int{}
	var all, side, both, named int
	eachFinding(t, cases, func(c limbCase, views []traj.View, f metrics.LimbFinding) {
		what := judged(c.limb, f)
		if what == saysWrongLimb || what == saysWrongSide {
			t.Errorf("%s, %v: %s is named: %s", c, views, what, f.Sentence)
		}
		all++
		if what == saysLimb || what == saysSide {
			side++
		}
		if len(views) == 2 && c.gait == traj.Trot {
			both++
			if what == saysLimb {
				named++
			} else {
				t.Logf("%s, %v: %s", c, views, f.Sentence)
			}
		}
		key := fmt.Sprintf("%s, %s, %v", c.limb, c.gait, views)
		if said[key] == nil {
			said[key] = map[string]int{}
		}
		said[key][what]++
	})
	for _, key := range slices.Sorted(maps.Keys(said)) {
		t.Logf("%-32s %v", key, said[key])
	}
	if 10*side < 8*all {
		t.Errorf("the side is found in %d of %d visits, want four of five", side, all)
	}
	// Elsewhere its side is named and fore or hind left open. Of its eight visits the study names five.
	if 2*named < both {
		t.Errorf("filmed from both ends at the trot the limb is named in %d of %d visits, want half", named, both)
	}
}

// An even horse has no side.
func TestNoSideFromTheMovingHorse(t *testing.T) {
	var cases []limbCase
	for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
		for seed := range 2 * seeds {
			cases = append(cases, limbCase{gait: gait, seed: 11 + seed})
		}
	}
	eachFinding(t, cases, func(c limbCase, views []traj.View, f metrics.LimbFinding) {
		if f.Limb != "" || f.Undecided {
			t.Errorf("%s, %v: %s", c, views, f.Sentence)
		}
	})
}

// A hindlimb makes the head nod as the fore of the same side would. With neither
// withers nor croup marked that nod stays undecided.
func TestHindlimbNodFromTheMovingHorse(t *testing.T) {
	var cases []limbCase
	for _, limb := range []traj.Landmark{traj.LeftHind, traj.RightHind} {
		for seed := range seeds {
			cases = append(cases, limbCase{gait: traj.Trot, limb: limb, seed: 31 + seed, bare: true})
		}
	}
	undecided, all := 0, 0
	eachFinding(t, cases, func(c limbCase, views []traj.View, f metrics.LimbFinding) {
		what := judged(c.limb, f)
		if what == saysWrongLimb || what == saysWrongSide {
			t.Errorf("%s, %v: %s is named: %s", c, views, what, f.Sentence)
		}
		all++
		if what == saysSide {
			undecided++
			if !strings.Contains(f.Sentence, "neither withers nor croup was marked") {
				t.Errorf("%s, %v: does not say why: %s", c, views, f.Sentence)
			}
		} else {
			t.Logf("%s, %v: %s", c, views, f.Sentence)
		}
	})
	if 10*undecided < 7*all {
		t.Errorf("%d of %d visits say that fore and hind are undecided", undecided, all)
	}
}
