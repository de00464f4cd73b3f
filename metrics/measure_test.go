package metrics

import (
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"jogstrip/metrics/geometry"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// values returns the means over strides of left, right and value and the root
// mean square of the stated spreads.
func values(r *Run, n Name) (left, right, value, sd float64, count int) {
	s := r.Lookup(n)
	mean := func(get func(Observation) float64) float64 {
		var sum, k float64
		for _, o := range s.Observations {
			if v := get(o); !math.IsNaN(v) {
				sum += v
				k++
			}
		}
		return sum / k
	}
	left = mean(func(o Observation) float64 { return o.Left })
	right = mean(func(o Observation) float64 { return o.Right })
	value = mean(func(o Observation) float64 { return o.Value })
	sd = math.Sqrt(mean(func(o Observation) float64 { return o.SD * o.SD }))
	return left, right, value, sd, len(s.Observations)
}

// uneven is a horse that is uneven in everything, near enough to be measured
// well.
func uneven() artificial {
	h := sound()
	h.near, h.strides = 4, 5
	h.phase = [4]float64{0, 0.02, -0.01, 0.01}
	h.duty = [4]float64{0.42, 0.38, 0.4, 0.41}
	h.ahead = [4]float64{0, 0.05, -0.02, 0.02}
	h.offset = [4]float64{0.11, 0.07, 0.1, 0.1}
	h.arc = [4]float64{0.02, 0.05, -0.02, 0}
	h.flight = [4]float64{0.12, 0.09, 0.11, 0.11}
	h.head = [3]float64{0.012, math.Pi, 0.03}
	h.croup = [3]float64{0.006, math.Pi / 2, 0.028}
	h.hip = [2]float64{0.07, 0.09}
	h.lift = [2]float64{0.015, 0.035}
	h.aside, h.sway, h.lineA = 0.04, [2]float64{0.020, 0.002}, 0.01
	h.noise = 0.1
	return h
}

// What was put into the horse comes out, in both views. Tolerances are what
// pixels of 0.1 px noise and the unknown course of a swing allow.
func TestMeasuresOfArtificialHorse(t *testing.T) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
			t.Run(fmt.Sprintf("%s %s", view, gait), func(t *testing.T) {
				h := uneven()
				h.view, h.gait = view, gait
				if gait == traj.Pace {
					h.croup = [3]float64{0.006, math.Pi / 2, 0.028}
				}
				run, err := Measure(h.tracks(), h.options())
				if err != nil {
					t.Fatal(err)
				}
				near := func(n Name, what string, got, want, tol float64) {
					t.Helper()
					if math.IsNaN(got) || math.Abs(got-want) > tol {
						t.Errorf("%s %s = %.4g, want %.4g ± %g %s (%s)", n, what, got, want, tol, run.Lookup(n).Unit, run.Lookup(n).Reason)
					}
				}
				single := func(n Name, want, tol float64) {
					t.Helper()
					_, _, v, _, _ := values(run, n)
					near(n, "", v, want, tol)
				}
				sides := func(n Name, left, right, tol float64) {
					t.Helper()
					l, r, v, _, _ := values(run, n)
					near(n, "left", l, left, tol)
					near(n, "right", r, right, tol)
					near(n, "value", v, right-left, 1.5*tol)
				}
				const T = 0.72
				single(StrideDuration, T, 0.003)
				single(StrideFrequency, 1/T, 0.006)
				single(StrideLength, 2.5, 0.005)
				single(Speed, 2.5/T, 0.02)
				sides(StepLengthFore, 1.2, 1.3, 0.006)
				sides(StepLengthHind, 1.21, 1.29, 0.008)
				single(StepTimingFore, 52, 0.6)
				// The swing of a hoof that moves along the line of sight hides landings for some
				// milliseconds; pairs and hinds bear it.
				single(StepTimingHind, 52, 1)
				sides(StanceDurationFore, 0.42*T, 0.38*T, 0.010)
				sides(StanceDurationHind, 0.40*T, 0.41*T, 0.015)
				sides(SwingDurationFore, 0.58*T, 0.62*T, 0.010)
				sides(DutyFactorFore, 42, 38, 1.5)
				sides(LateralArcFore, 2, 5, 0.35)
				sides(MedialArcHind, 2, 0, 0.35)
				single(HeadLowDifference, 24, 1)
				single(HeadHighDifference, 0, 1)
				single(WithersLowDifference, 6, 1)
				single(WithersHighDifference, 0, 1)
				single(HeadFirstHarmonic, 12, 0.4)
				single(HeadSecondHarmonic, 30, 0.5)
				single(HeadHarmonicShare, 100*12/42.0, 0.7)
				sides(HipExcursion, 70, 90, 1.5)
				sides(ShoulderLift, 15, 35, 1.5)
				single(ShoulderRoll, 180/math.Pi*math.Atan(0.05/0.3), 0.3)
				sides(ChestSway, 18, 22, 1) // 20 mm, and 2 mm more to the right.
				sides(CroupSway, 18, 22, 1)
				sides(HeadSway, 22, 18, 1) // The chest goes to the other side.
				single(HeadToSide, 4, 0.3)
				single(BaseWidthFore, 18, 0.2)
				single(BaseWidthHind, 20, 0.2)
				single(QuartersToSide, 2, 0.2)
				single(LineDrift, 1000*math.Tan(h.lineA), 1)
				// Croup: A1 at 90° leaves the lows alike and parts the tops. The right hind
				// lands with the left fore at the trot and with the right fore at the pace.
				high := -12.0
				if gait == traj.Pace {
					high = 12
				}
				single(CroupLowDifference, 0, 1)
				single(CroupHighDifference, high, 1)
				if run.FocalPX < 1499 || run.FocalPX > 1501 || math.Abs(run.CameraHeightM-1.3) > 0.001 {
					t.Errorf("camera: %g px, %g m", run.FocalPX, run.CameraHeightM)
				}
			})
		}
	}
}

// "Down on sound": the head is carried higher over the sore fore. On both sides,
// in both views, at trot and pace, positive means right fore.
func TestHeadSideInEveryView(t *testing.T) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
			for _, side := range []float64{1, -1} {
				h := sound()
				h.view, h.gait, h.strides = view, gait, 4
				h.head = [3]float64{0.015, math.Pi, 0.03}
				if side < 0 {
					h.head[1] = 0
				}
				run, err := Measure(h.tracks(), h.options())
				if err != nil {
					t.Fatal(err)
				}
				for _, level := range []Name{HeadLowDifference, WithersLowDifference} {
					if _, _, v, _, n := values(run, level); n == 0 || v*side <= 0 {
						t.Errorf("%s %s: %s = %g mm of %d strides for side %+g", view, gait, level, v, n, side)
					}
				}
			}
		}
	}
}

// mirrorTracks swaps left and right: the picture is turned over and every limb takes
// its opposite's name.
func mirrorTracks(set *traj.Set, o Options) (*traj.Set, Options) {
	out := *set
	out.Tracks = nil
	flip := func(x float64) float64 { return float64(set.Width-1) - x }
	for _, l := range traj.Landmarks() {
		tr := set.Track(l.Opposite())
		if tr == nil {
			continue
		}
		n := traj.Track{Landmark: l, Samples: append([]traj.Sample(nil), tr.Samples...)}
		for i := range n.Samples {
			n.Samples[i].X = flip(n.Samples[i].X)
		}
		out.Tracks = append(out.Tracks, n)
	}
	out.Stances = slices.Clone(set.Stances)
	for i := range out.Stances {
		out.Stances[i].Landmark = out.Stances[i].Landmark.Opposite()
	}
	if g := o.Calibration.Ground; g != nil {
		m := *g
		for i, j := range [4]int{1, 0, 3, 2} {
			m.Points[i] = geometry.Point{X: flip(g.Points[j].X), Y: g.Points[j].Y}
		}
		o.Calibration.Ground = &m
	}
	o.Reference = o.Reference.Opposite()
	return &out, o
}

// drawHorse draws an uneven horse that is quick to measure.
func drawHorse(t *rapid.T) artificial {
	h := sound()
	h.strides, h.near, h.fps = 3, 4, 50
	h.view = rapid.SampledFrom([]traj.View{traj.Toward, traj.Away}).Draw(t, "view")
	h.gait = rapid.SampledFrom([]traj.Gait{traj.Trot, traj.Pace, traj.Walk}).Draw(t, "gait")
	if h.gait == traj.Walk {
		h.period, h.length, h.duty = 1.1, 1.7, [4]float64{0.6, 0.61, 0.62, 0.6}
	}
	for k := range 4 {
		h.phase[k] = rapid.Float64Range(-0.02, 0.02).Draw(t, "phase")
		h.ahead[k] = rapid.Float64Range(-0.05, 0.05).Draw(t, "ahead")
		h.offset[k] = rapid.Float64Range(-0.02, 0.15).Draw(t, "offset")
		h.arc[k] = rapid.Float64Range(-0.05, 0.08).Draw(t, "arc")
		h.flight[k] = rapid.Float64Range(0.06, 0.16).Draw(t, "flight")
	}
	h.head = [3]float64{rapid.Float64Range(0, 0.03).Draw(t, "nod"), rapid.Float64Range(0, 6).Draw(t, "phase of the nod"), 0.03}
	h.lineX = rapid.Float64Range(-0.3, 0.3).Draw(t, "aside")
	h.lineA = rapid.Float64Range(-0.03, 0.03).Draw(t, "askew")
	h.seed = rapid.Uint64().Draw(t, "seed")
	h.noise = 0.1
	return h
}

// check is rapid.Check on fewer draws than its default: each measures whole
// clips.
func check(t *testing.T, draws string, property func(*rapid.T)) {
	t.Helper()
	f := flag.Lookup("rapid.checks")
	before := f.Value.String()
	if err := flag.Set("rapid.checks", draws); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = flag.Set("rapid.checks", before) }()
	rapid.Check(t, property)
}

// signed are the measures without sides whose sign turns in the mirror.
var signed = map[Name]bool{
	HeadLowDifference: true, HeadHighDifference: true, WithersLowDifference: true, WithersHighDifference: true,
	CroupLowDifference: true, CroupHighDifference: true, HeadToSide: true, QuartersToSide: true, LineDrift: true,
}

// ofTheModel reports whether s comes from the model of the run.
func ofTheModel(s Series) bool {
	switch s.Name {
	case LineDrift, BaseWidthFore, BaseWidthHind, QuartersToSide, StepLengthSpreadFore, StepLengthSpreadHind:
		return true
	}
	return s.OfRun != nil
}

// same reports whether a and b agree to rounding; NaN equals NaN.
func same(a, b float64) bool {
	return (math.IsNaN(a) && math.IsNaN(b)) || math.Abs(a-b) <= 1e-4*(1+math.Abs(a))
}

// Mirroring the clip turns every sign and changes nothing else.
func TestMirror(t *testing.T) {
	check(t, "12", func(rt *rapid.T) {
		h := drawHorse(rt)
		set, opts := h.tracks(), h.options()
		opts.Reference = traj.LeftFore
		a, err := Measure(set, opts)
		if err != nil {
			rt.Fatal(err)
		}
		b, err := Measure(mirrorTracks(set, opts))
		if err != nil {
			rt.Fatal(err)
		}
		if len(a.Strides) != len(b.Strides) || len(a.Contacts) != len(b.Contacts) {
			rt.Fatalf("%d strides and %d contacts become %d and %d", len(a.Strides), len(a.Contacts), len(b.Strides), len(b.Contacts))
		}
		for i, s := range a.Series {
			m := b.Series[i]
			if len(s.Observations) != len(m.Observations) || !same(s.CommonSD, m.CommonSD) {
				rt.Fatalf("%s: %d observations (common %g) become %d (%g)", s.Name, len(s.Observations), s.CommonSD, len(m.Observations), m.CommonSD)
			}
			d, _ := Define(s.Name)
			for k, o := range s.Observations {
				want := o
				switch {
				case d.Sided:
					want.Left, want.Right, want.Value = o.Right, o.Left, -o.Value
				case signed[s.Name]:
					want.Value = -o.Value
				case s.Name == StepTimingFore || s.Name == StepTimingHind:
					want.Value = 100 - o.Value
				}
				g := m.Observations[k]
				if !same(g.Left, want.Left) || !same(g.Right, want.Right) || !same(g.Value, want.Value) || !same(g.SD, want.SD) || !same(g.Time, want.Time) {
					rt.Fatalf("%s: %+v becomes %+v", s.Name, o, g)
				}
			}
		}
	})
}

// Saying that the ground marks lie twice as far apart doubles all lengths;
// times and shares stay.
func TestScaleOfTheLane(t *testing.T) {
	check(t, "8", func(rt *rapid.T) {
		h := drawHorse(rt)
		k := rapid.Float64Range(0.7, 1.4).Draw(rt, "scale")
		set, opts := h.tracks(), h.options()
		opts.WithersM = 1.6
		a, err := Measure(set, opts)
		if err != nil {
			rt.Fatal(err)
		}
		g := *opts.Calibration.Ground
		g.WidthM, g.LengthM = k*g.WidthM, k*g.LengthM
		opts.Calibration.Ground, opts.WithersM = &g, k*opts.WithersM
		b, err := Measure(set, opts)
		if err != nil {
			rt.Fatal(err)
		}
		for i, s := range a.Series {
			want := 1.0
			switch s.Unit {
			case "m", "cm", "mm", "m/s":
				if s.Name != LineDrift { // Centimetres in 10 m: a direction.
					want = k
				}
			}
			for j, o := range s.Observations {
				g := b.Series[i].Observations[j]
				// Depth smoothing and weights carry centimetres of their own (how a horse
				// varies), which do not scale.
				// So does what the model of the run expects of them.
				tol := max(1e-3*(1+math.Abs(o.Value)), 0.05*o.SD)
				if ofTheModel(s) {
					tol = max(0.05*math.Abs(o.Value), 0.3*o.SD)
				}
				if d := math.Abs(g.Value - want*o.Value); d > tol {
					rt.Fatalf("%s: %g becomes %g, want %g", s.Name, o.Value, g.Value, want*o.Value)
				}
			}
		}
	})
}

// The clip's clock may start anywhere, and the order of tracks means nothing.
func TestShiftAndOrder(t *testing.T) {
	check(t, "8", func(rt *rapid.T) {
		h := drawHorse(rt)
		shift := rapid.Float64Range(-5, 50).Draw(rt, "shift")
		set, opts := h.tracks(), h.options()
		a, err := Measure(set, opts)
		if err != nil {
			rt.Fatal(err)
		}
		moved := *set
		moved.Times = nil
		for _, v := range set.Times {
			moved.Times = append(moved.Times, v+shift)
		}
		moved.Tracks = nil
		for _, i := range rand.New(rand.NewPCG(h.seed, 1)).Perm(len(set.Tracks)) {
			moved.Tracks = append(moved.Tracks, set.Tracks[i])
		}
		b, err := Measure(&moved, opts)
		if err != nil {
			rt.Fatal(err)
		}
		for i, s := range a.Series {
			if len(s.Observations) != len(b.Series[i].Observations) {
				rt.Fatalf("%s: %d observations become %d", s.Name, len(s.Observations), len(b.Series[i].Observations))
			}
			for j, o := range s.Observations {
				g := b.Series[i].Observations[j]
				// Rounding of shifted times moves instants by nanoseconds and what follows by
				// less than a thousandth of a unit; amplitudes that are all noise, from which
				// the noise is taken off under a root, by some hundredths of their spread.
				tol := max(1e-3*(1+math.Abs(o.Value)), 0.05*o.SD)
				if d := math.Abs(g.Value - o.Value); d > tol || math.Abs(g.Time-o.Time-shift) > 1e-4 {
					rt.Fatalf("%s: %+v becomes %+v", s.Name, o, g)
				}
			}
		}
	})
}

// The same input gives the same bytes.
func TestDeterministic(t *testing.T) {
	h := uneven()
	h.noise = 0.3
	var first []byte
	for range 3 {
		run, err := Measure(h.tracks(), h.options())
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(run)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b
		} else if d := cmp.Diff(string(first), string(b)); d != "" {
			t.Fatal(d)
		}
	}
}

// What a level cannot support is a reason, not a number.
func TestLevels(t *testing.T) {
	h := uneven()
	set := h.tracks()
	row := h.row
	for _, c := range []struct {
		level geometry.Level
		in    geometry.CalibrationInput
		has   []Name
		not   []Name
	}{
		{geometry.LevelMetric, h.calibration(), []Name{StrideLength, StepLengthFore, LateralArcFore, HeadLowDifference}, nil},
		{geometry.LevelHeight, geometry.CalibrationInput{Height: &geometry.CameraHeight{HeightM: h.cameraM, FocalPX: h.focal, Horizon: geometry.Horizon{RowPX: &row}}},
			[]Name{StrideLength, StepLengthFore, LateralArcFore, HeadLowDifference}, nil},
		{geometry.LevelRatio, geometry.CalibrationInput{Horizon: &geometry.Horizon{RowPX: &row}},
			[]Name{StepLengthFore, HeadLowDifference, HeadFirstHarmonic, HeadHarmonicShare, StepTimingFore},
			[]Name{StrideLength, Speed, BaseWidthFore, LateralArcFore, HipExcursion, PlacementSpreadFore}},
		{geometry.LevelNone, geometry.CalibrationInput{},
			[]Name{StrideDuration, StepTimingFore, StanceDurationFore, HeadHarmonicShare},
			[]Name{StrideLength, StepLengthFore, HeadLowDifference, HeadFirstHarmonic, CroupLowDifference, HipExcursion, BaseWidthFore, LateralArcFore}},
	} {
		t.Run(string(c.level), func(t *testing.T) {
			o := h.options()
			o.Calibration = c.in
			run, err := Measure(set, o)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := json.Marshal(run); err != nil {
				t.Errorf("not fit for a file: %v", err)
			}
			if run.Level != c.level || len(run.Series) != len(Definitions()) {
				t.Fatalf("level %s, %d series", run.Level, len(run.Series))
			}
			for _, n := range c.has {
				if s := run.Lookup(n); len(s.Observations) == 0 || s.Reason != "" {
					t.Errorf("%s is missing: %s", n, s.Reason)
				}
			}
			for _, n := range c.not {
				if s := run.Lookup(n); len(s.Observations) != 0 || s.Reason == "" {
					t.Errorf("%s has %d observations and the reason %q", n, len(s.Observations), s.Reason)
				}
			}
			if c.level == geometry.LevelRatio {
				// Step lengths as shares of the stride: 48 and 52 %.
				l, r, _, _, _ := values(run, StepLengthFore)
				if math.Abs(l-48) > 0.5 || math.Abs(r-52) > 0.5 || run.Lookup(StepLengthFore).Unit != "% of stride length" {
					t.Errorf("steps are %g and %g %s", l, r, run.Lookup(StepLengthFore).Unit)
				}
				// The nod against its own range: 24 mm of the range of the closed form.
				_, _, v, _, _ := values(run, HeadLowDifference)
				a1, a2 := 12.0, 30.0
				if want := 100 * 2 * a1 / (a2 + a1 + a2 + a1*a1/8/a2); math.Abs(v-want) > 3 {
					t.Errorf("nod is %g %% of its range, want %g", v, want)
				}
			}
			if c.level == geometry.LevelNone {
				_, _, v, _, _ := values(run, HeadHarmonicShare)
				// The row of the hooves below it, which goes from hoof to hoof, takes a part of it.
				if math.Abs(v-100*12/42.0) > 4 {
					t.Errorf("share of the once-a-stride part is %g %%, want %g", v, 100*12/42.0)
				}
			}
		})
	}
}

// Limbs may be missing, hidden for a while, or lost on one side.
func TestMissingMarks(t *testing.T) {
	fores := []traj.Landmark{traj.LeftFore, traj.RightFore}
	hinds := []traj.Landmark{traj.LeftHind, traj.RightHind}
	for _, c := range []struct {
		name   string
		marked []traj.Landmark
		ref    traj.Landmark
		has    []Name
		not    map[Name]string
	}{
		{"fores", fores, traj.LeftFore, []Name{StepLengthFore, StepTimingFore, BaseWidthFore, PlacementSpreadFore},
			map[Name]string{QuartersToSide: "fores and hinds", StepLengthHind: "not marked: left hind, right hind", HeadLowDifference: "not marked: head"}},
		// The limb that cuts the most strides is the reference: here the right hind, which lands first.
		{"hinds", hinds, traj.RightHind, []Name{StepLengthHind, StrideLength, StepTimingHind, LateralArcHind},
			map[Name]string{StepLengthFore: "not marked: left fore, right fore"}},
		{"hinds and head", append([]traj.Landmark{traj.Head, traj.Croup}, hinds...), traj.RightHind, []Name{HeadLowDifference, CroupLowDifference},
			map[Name]string{WithersLowDifference: "not marked: withers"}},
		{"three limbs", append([]traj.Landmark{traj.RightFore}, hinds...), traj.RightHind, []Name{StrideDuration, StanceDurationFore, StepLengthHind},
			map[Name]string{StepLengthFore: "not marked: left fore", StepTimingFore: "not marked: left fore"}},
		{"one limb", fores[1:], traj.RightFore, []Name{StrideDuration, StrideLength, Speed, StanceDurationFore},
			map[Name]string{StepLengthFore: "not marked: left fore"}},
		{"head alone", []traj.Landmark{traj.Head}, "", nil, map[Name]string{StrideDuration: "no hoof was marked", HeadLowDifference: "no hoof was marked"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := uneven()
			h.marked = c.marked
			run, err := Measure(h.tracks(), h.options())
			if err != nil {
				t.Fatal(err)
			}
			if _, err := json.Marshal(run); err != nil {
				t.Errorf("not fit for a file: %v", err)
			}
			if run.Reference != c.ref {
				t.Errorf("reference is %q, want %q", run.Reference, c.ref)
			}
			for _, n := range c.has {
				if s := run.Lookup(n); len(s.Observations) == 0 {
					t.Errorf("%s is missing: %s", n, s.Reason)
				}
			}
			for n, says := range c.not {
				if s := run.Lookup(n); len(s.Observations) != 0 || !strings.Contains(s.Reason, says) {
					t.Errorf("%s: %d observations, reason %q, want one that says %q", n, len(s.Observations), s.Reason, says)
				}
			}
		})
	}
}

// Gaps cost what lies in them and nothing else: no stride is made up across a
// landing that was not seen, and a short gap inside a stance does no harm.
func TestGaps(t *testing.T) {
	h := sound()
	h.noise = 0.1
	set := h.tracks()
	whole, err := Measure(set, h.options())
	if err != nil {
		t.Fatal(err)
	}
	hide := func(l traj.Landmark, from, to float64, status traj.Status) {
		tr := set.Track(l)
		for i, at := range set.Times {
			if at < from || at > to {
				continue
			}
			if tr.Samples[i] = traj.Gone(); status == traj.Bridged {
				tr.Samples[i] = traj.Sample{X: 5, Y: 5, SD: 30, Status: traj.Bridged}
			}
		}
	}
	on, off, _ := h.stanceOf(0, 2)
	hide(traj.LeftFore, on-0.15, on+0.05, traj.Lost) // A landing.
	on1, _, _ := h.stanceOf(1, 1)
	hide(traj.RightFore, on1+0.1, on1+0.15, traj.Bridged) // The middle of a stance.
	set.Stances = h.standings(set)
	run, err := Measure(set, h.options())
	if err != nil {
		t.Fatal(err)
	}
	if len(run.Contacts) != len(whole.Contacts) {
		t.Errorf("%d contacts, want %d", len(run.Contacts), len(whole.Contacts))
	}
	hidden := 0
	for _, c := range run.Contacts {
		if c.Limb == traj.LeftFore && c.On > on-0.2 && c.On < on+0.2 {
			hidden++
			if c.OnSD >= 0 {
				t.Errorf("a landing nobody saw is timed at %.3f ± %.3f s", c.On, c.OnSD)
			}
			if c.OffSD < 0 || math.Abs(c.Off-off) > 0.02 || !c.Placed {
				t.Errorf("the rest of its stance is lost: %+v", c)
			}
		}
		if c.Limb == traj.RightFore && math.Abs(c.On-on1) < 0.02 && (c.OnSD < 0 || c.OffSD < 0) {
			t.Errorf("a short gap in mid-stance cost an instant: %+v", c)
		}
	}
	if hidden != 1 {
		t.Errorf("%d stances where one landing was hidden", hidden)
	}
	for _, s := range run.Strides {
		if d := s.End - s.Start; d > 1.2*h.period || d < 0.8*h.period {
			t.Errorf("a stride of %.3f s", d)
		}
	}
}

func TestMeasureRefuses(t *testing.T) {
	h := sound()
	h.strides = 2
	good := h.tracks()
	for _, c := range []struct {
		name   string
		change func(*traj.Set, *Options)
		says   string
	}{
		{"no view", func(_ *traj.Set, o *Options) { o.View = "" }, "view"},
		{"no gait", func(_ *traj.Set, o *Options) { o.Gait = "canter" }, "gait"},
		{"tall", func(_ *traj.Set, o *Options) { o.WithersM = 16 }, "withers"},
		{"reference", func(_ *traj.Set, o *Options) { o.Reference = traj.Head }, "not a hoof"},
		{"no frames", func(s *traj.Set, _ *Options) { s.Times = nil }, "no frames"},
		{"times", func(s *traj.Set, _ *Options) { s.Times[5] = s.Times[4] }, "times must increase"},
		{"motions", func(s *traj.Set, _ *Options) { s.Motions = make([]traj.Motion, 3) }, "3 motions"},
		{"twice", func(s *traj.Set, _ *Options) { s.Tracks[1].Landmark = s.Tracks[0].Landmark }, "twice"},
		{"short track", func(s *traj.Set, _ *Options) { s.Tracks[0].Samples = s.Tracks[0].Samples[:3] }, "3 samples"},
		{"NaN seen", func(s *traj.Set, _ *Options) { s.Tracks[0].Samples[7].X = math.NaN() }, "frame 7"},
		{"calibration frame", func(_ *traj.Set, o *Options) { o.Calibration.Frame = 9999 }, "frame 9999"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, o := *good, h.options()
			s.Times = append([]float64(nil), good.Times...)
			s.Tracks = nil
			for _, tr := range good.Tracks {
				s.Tracks = append(s.Tracks, traj.Track{Landmark: tr.Landmark, Samples: append([]traj.Sample(nil), tr.Samples...)})
			}
			c.change(&s, &o)
			if _, err := Measure(&s, o); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("error is %v, want one that says %q", err, c.says)
			}
		})
	}
	if _, err := Measure(nil, h.options()); err == nil {
		t.Error("no set at all is accepted")
	}
}

// At the walk low and high points have no published meaning by limb.
func TestWalk(t *testing.T) {
	h := sound()
	h.gait, h.period, h.length, h.duty = traj.Walk, 1.1, 1.7, [4]float64{0.62, 0.62, 0.62, 0.62}
	run, err := Measure(h.tracks(), h.options())
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []Name{HeadLowDifference, HeadHighDifference, WithersLowDifference, CroupHighDifference} {
		if s := run.Lookup(n); len(s.Observations) > 0 || !strings.Contains(s.Reason, "walk") {
			t.Errorf("%s: %d observations, reason %q", n, len(s.Observations), s.Reason)
		}
	}
	for _, n := range []Name{StepLengthFore, StepLengthHind, StanceDurationHind, HeadFirstHarmonic, LateralArcFore} {
		if len(run.Lookup(n).Observations) == 0 {
			t.Errorf("%s is missing: %s", n, run.Lookup(n).Reason)
		}
	}
	if _, _, v, _, _ := values(run, StrideLength); math.Abs(v-1.7) > 0.01 {
		t.Errorf("stride length %g m", v)
	}
}

// The swing's unit profile: its top speed over its mean, and with a duty factor
// of 0.4 twice the horse's own speed (peak hoof speed about 2 × the speed of the
// horse: Clayton, trade press).
func TestProgress(t *testing.T) {
	ramp := errormodel.Usual().Swing.Ramp
	top := 0.0
	const n = 2000
	for i := range n {
		u := float64(i) / n
		a, b := progress(u, ramp), progress(u+1.0/n, ramp)
		if b < a {
			t.Fatalf("the hoof goes back at %g", u)
		}
		top = max(top, (b-a)*n)
		if d := a + progress(1-u, ramp) - 1; math.Abs(d) > 1e-12 {
			t.Fatalf("not symmetrical at %g", u)
		}
	}
	if math.Abs(top-1.25) > 1e-3 || math.Abs(progress(0.5, ramp)-0.5) > 1e-12 {
		t.Errorf("top speed %g, middle %g", top, progress(0.5, ramp))
	}
	if hoof := top / (1 - 0.4); math.Abs(hoof-2) > 0.1 {
		t.Errorf("the hoof's top speed is %g times the horse's", hoof)
	}
}
