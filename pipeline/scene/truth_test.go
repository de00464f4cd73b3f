package scene

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

func simulate(t testing.TB, s Scene) *Truth {
	t.Helper()
	tr, err := Simulate(s)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// Whatever is asked for is what the 3D truth shows on average over the run.
func TestSettingsAppearInTruth(t *testing.T) {
	const tol = 0.01 // In the measure's own unit.
	s := Scene{Seed: 3, Asymmetry: Asymmetry{
		StepLengthForeCM: -8, StepLengthHindCM: 3, StepTimingForePercent: 1.5,
		StanceForeMS: Sides{Right: -15}, StanceHindMS: Sides{Left: 10},
		PairTimingMS:    Sides{Left: 12, Right: -8},
		PlacementForeCM: Sides{Left: 3, Right: -12}, PlacementHindCM: Sides{Right: 4},
		LateralArcForeCM: Sides{Right: 5}, MedialArcForeCM: Sides{Left: 6}, LateralArcHindCM: Sides{Left: 3},
		FlightForeCM: Sides{Right: -4}, FlightHindCM: Sides{Left: 3},
		HeadLowMM: 30, HeadHighMM: -12, WithersLowMM: 5, WithersHighMM: -3, CroupLowMM: 8, CroupHighMM: 6,
		HipExcursionMM: 15, ChestSwayMM: -6, CroupSwayMM: 9,
	}}
	want := map[metrics.Name]float64{
		metrics.StepLengthFore: -0.08, metrics.StepLengthHind: 0.03, metrics.StepTimingFore: 51.5,
		metrics.StanceDurationFore: -0.015, metrics.StanceDurationHind: -0.010, PairTiming: -20,
		TrunkPlacementFore: -15, TrunkPlacementHind: 4,
		metrics.LateralArcFore: 5, metrics.MedialArcFore: -6, metrics.LateralArcHind: -3,
		FlightHeightFore: -4, FlightHeightHind: -3,
		metrics.HeadLowDifference: 30, metrics.HeadHighDifference: -12,
		metrics.WithersLowDifference: 5, metrics.WithersHighDifference: -3,
		metrics.CroupLowDifference: 8, metrics.CroupHighDifference: 6, metrics.HipExcursion: 15,
		metrics.ChestSway: -6, metrics.CroupSway: 9,
	}
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		for _, g := range []traj.Gait{traj.Walk, traj.Trot, traj.Pace} {
			t.Run(string(v)+" "+string(g), func(t *testing.T) {
				s := s
				s.View, s.Gait = v, g
				tr := simulate(t, s)
				for n, w := range want {
					if g == traj.Walk && n == PairTiming {
						continue // A walk has no pairs.
					}
					tol := tol
					if n == metrics.ChestSway || n == metrics.CroupSway {
						tol = 0.02 // mm. The trunk keeps time with the left hind, strides are the left fore's.
					}
					if got := tr.Mean(n); !(math.Abs(got-w) <= tol) {
						t.Errorf("%s is %.4f, want %g", n, got, w)
					}
				}
				if n := len(tr.Strides); n < 6 {
					t.Errorf("%d strides, want at least 6", n)
				}
			})
		}
	}
}

// The zero scene is even, and every measure has a value.
func TestSoundHorseIsEven(t *testing.T) {
	tr := simulate(t, Scene{Seed: 5})
	for _, d := range metrics.Definitions() {
		m := tr.Measure(d.Name)
		if m == nil || m.Value == nil {
			t.Errorf("%s has no value", d.Name)
			continue
		}
		if m.Unit != d.Unit {
			t.Errorf("%s has unit %q, want %q", d.Name, m.Unit, d.Unit)
		}
	}
	for n, tol := range map[metrics.Name]float64{
		metrics.StepLengthFore: 1e-4, metrics.StepLengthHind: 1e-4, metrics.HeadLowDifference: 0.01, metrics.CroupLowDifference: 0.01,
		metrics.StanceDurationFore: 1e-5, metrics.HipExcursion: 0.01, TrunkPlacementFore: 0.001,
	} {
		if got := tr.Mean(n); math.Abs(got) > tol {
			t.Errorf("%s is %g for an even horse", n, got)
		}
	}
}

// With Free the means scatter about the settings, as chance would have it.
func TestFreeVariationScatters(t *testing.T) {
	var sum, square float64
	const n = 12
	for seed := range uint64(n) {
		s := Scene{Seed: seed, Asymmetry: Asymmetry{HeadLowMM: 30}}
		s.Variation.Free = true
		d := simulate(t, s).Mean(metrics.HeadLowDifference) - 30
		sum, square = sum+d/n, square+d*d/n
	}
	// 5 mm at each low point, 8 strides: a difference of means has SD 5·√2/√8 = 2.5 mm.
	if math.Abs(sum) > 3*2.5/math.Sqrt(n) {
		t.Errorf("mean departure is %.2f mm", sum)
	}
	if r := math.Sqrt(square); r < 1 || r > 5 {
		t.Errorf("departures have root mean square %.2f mm, expect about 2.5", r)
	}
}

// A planted toe stays where it is until hoof-off; the heel until it lifts.
func TestPlantedHoovesDoNotSlide(t *testing.T) {
	const tol = 1e-9
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		tr := simulate(t, Scene{Seed: 2, View: v, Asymmetry: ShortFore(traj.Left, 1)})
		frames := 0
		for _, c := range tr.Contacts {
			off := c.Off
			if v == traj.Away {
				off = c.HeelOff
			}
			for f, at := range tr.Times {
				if at < c.On || at > off {
					continue
				}
				frames++
				p := tr.Points(c.Limb)[f].Lane
				if math.Abs(p[0]-c.Placement[0]) > tol || math.Abs(p[1]-c.Placement[1]) > tol || math.Abs(p[2]) > tol {
					t.Fatalf("%s %s at %.3f s is at %v, planted at %v", v, c.Limb, at, p, c.Placement)
				}
			}
		}
		if frames < 400 {
			t.Errorf("only %d frames of stance looked at", frames)
		}
	}
}

// In swing a hoof is above ground and never jumps.
func TestSwingIsSmooth(t *testing.T) {
	m, err := solve(Scene{Seed: 4})
	if err != nil {
		t.Fatal(err)
	}
	const dt = 1e-4
	for limb := range 4 {
		top := 0.0
		last := m.hoofAt(limb, 0)
		for at := dt; at < 3; at += dt {
			h := m.hoofAt(limb, at)
			if h.z < -1e-9 {
				t.Fatalf("%s is %.1f mm below ground at %.4f s", limbNames[limb], -1000*h.z, at)
			}
			speed := math.Sqrt((h.s-last.s)*(h.s-last.s)+(h.l-last.l)*(h.l-last.l)+(h.z-last.z)*(h.z-last.z)) / dt
			top = math.Max(top, speed)
			last = h
		}
		// Peak hoof speed is about twice that of the horse (Clayton, trade press).
		if r := top / m.scene.Motion.SpeedMPS; r < 1.7 || r > 2.7 {
			t.Errorf("peak speed of %s is %.2f times the horse's", limbNames[limb], r)
		}
	}
}

func TestTrotLiesInPublishedBands(t *testing.T) {
	tr := simulate(t, Scene{Seed: 6})
	for _, c := range []struct {
		name   metrics.Name
		lo, hi float64
		source string
	}{
		{metrics.StrideDuration, 0.68, 0.794 + 2*0.0137, "in hand 0.68–0.78 s (from memory); Swedish Warmbloods 794 (13.7) ms, Holmström et al. 1994"},
		{metrics.StrideLength, 2.4, 2.8, "in hand 2.4–2.8 m (from memory)"},
		{metrics.Speed, 3.0, 4.0, "treadmill trot 3.5 m/s, Buchner et al. 1996"},
	} {
		if got := tr.Mean(c.name); got < c.lo || got > c.hi {
			t.Errorf("%s is %.3f, band %g to %g: %s", c.name, got, c.lo, c.hi, c.source)
		}
	}
	for _, n := range []metrics.Name{metrics.DutyFactorFore, metrics.DutyFactorHind} {
		m := tr.Measure(n)
		// In hand 38–45 % (from memory); hinds a little shorter, as Drevemo et al. 1980 found of the swing's complement at speed.
		if *m.Left < 36 || *m.Left > 45 {
			t.Errorf("%s is %.1f %%", n, *m.Left)
		}
	}
	// Contacts of a diagonal are nearly together (Hobbs, Bertram & Clayton 2016; Holmström +29.8 ms hind first).
	m := tr.Measure(PairTiming)
	if math.Abs(*m.Left) > 30 || math.Abs(*m.Right) > 30 {
		t.Errorf("pair timing %.0f and %.0f ms", *m.Left, *m.Right)
	}
	// Stride length varies by about 2 % within a horse (Drevemo et al. 1980).
	var lengths []float64
	for _, o := range tr.Measure(metrics.StrideLength).Observations {
		lengths = append(lengths, o.Value)
	}
	if cv := sd(lengths) / tr.Mean(metrics.StrideLength); cv < 0.002 || cv > 0.03 {
		t.Errorf("stride length varies by %.2f %%", 100*cv)
	}
	// A trot has phases without ground contact.
	airborne := 0
	for _, at := range tr.Times {
		down := false
		for _, c := range tr.Contacts {
			down = down || (at >= c.On && at <= c.Off)
		}
		if !down {
			airborne++
		}
	}
	if share := float64(airborne) / float64(len(tr.Times)); share < 0.05 || share > 0.3 {
		t.Errorf("no hoof is down in %.0f %% of the frames", 100*share)
	}
}

// At the walk at least two hooves are always down and the order is left hind,
// left fore, right hind, right fore (textbook).
func TestWalkHasFourBeats(t *testing.T) {
	tr := simulate(t, Scene{Seed: 7, Gait: traj.Walk, Variation: None()})
	for f, at := range tr.Times {
		n := 0
		for _, c := range tr.Contacts {
			if at >= c.On && at <= c.Off {
				n++
			}
		}
		if n < 2 {
			t.Fatalf("frame %d: %d hooves down", f, n)
		}
	}
	next := map[traj.Landmark]traj.Landmark{traj.LeftHind: traj.LeftFore, traj.LeftFore: traj.RightHind, traj.RightHind: traj.RightFore, traj.RightFore: traj.LeftHind}
	for i := 1; i < len(tr.Contacts); i++ {
		if a, b := tr.Contacts[i-1].Limb, tr.Contacts[i].Limb; next[a] != b {
			t.Fatalf("%s lands after %s", b, a)
		}
	}
}

// The rule of the trade, "down on sound": the head is lower while the sound
// forelimb bears weight. Read from the frames, not from the measures.
func TestDownOnSound(t *testing.T) {
	tr := simulate(t, Scene{Seed: 8, Asymmetry: ShortFore(traj.Right, 1)})
	lowest := func(limb traj.Landmark) float64 {
		var sum, n float64
		for _, c := range tr.Contacts {
			if c.Limb != limb || c.On < 0 || c.Off > tr.Times[len(tr.Times)-1] {
				continue
			}
			low := math.Inf(1)
			for f, at := range tr.Times {
				if at >= c.On && at <= c.Off {
					low = math.Min(low, tr.Points(traj.Head)[f].Lane[2])
				}
			}
			sum, n = sum+low, n+1
		}
		return sum / n
	}
	sore, sound := lowest(traj.RightFore), lowest(traj.LeftFore)
	if d := 1000 * (sore - sound); d < 30 {
		t.Errorf("head is %.0f mm higher over the sore right fore, want about 42", d)
	}
	step := tr.Measure(metrics.StepLengthFore)
	if *step.Right >= *step.Left {
		t.Errorf("steps are %.3f left, %.3f right: want the right short", *step.Left, *step.Right)
	}
}

// Left and right are the horse's own in both views.
func TestSidesAreTheHorsesOwn(t *testing.T) {
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		tr := simulate(t, Scene{Seed: 9, View: v})
		f := len(tr.Times) / 2
		l, r := tr.Points(traj.LeftHip)[f], tr.Points(traj.RightHip)[f]
		if (l.X-r.X)*v.LeftSign() <= 0 {
			t.Errorf("%s: left hip at column %.0f, right hip at %.0f", v, l.X, r.X)
		}
	}
}

// Rows of a level camera, f = 1500 px, 1.2 m above ground: 360, 180, 120, 90, 60
// px below the horizon at 5, 10, 15, 20, 30 m (closed form of the pinhole).
func TestProjectionOfLevelCamera(t *testing.T) {
	tr := simulate(t, Scene{Camera: Camera{Level: true}})
	e := tr.Eye(0)
	for y, want := range map[float64]float64{5: 360, 10: 180, 15: 120, 20: 90, 30: 60} {
		_, row, depth := e.Project(0, y, 0)
		if got := row - tr.HorizonRow(0); math.Abs(got-want) > 1e-9 || math.Abs(depth-y) > 1e-9 {
			t.Errorf("ground at %g m is %.4f px below the horizon at depth %g, want %g", y, got, depth, want)
		}
	}
}

func TestHorizonHoldsUnderPitchAndRoll(t *testing.T) {
	tr := simulate(t, Scene{Camera: Camera{PitchDeg: 3, RollDeg: 2}})
	e := tr.Eye(0)
	// Ground points that recede in two directions span the horizon.
	x0, y0, _ := e.Project(-1e8, 1e9, 0)
	x1, y1, _ := e.Project(1e8, 1e9, 0)
	want := y0 + (y1-y0)*(e.CX-x0)/(x1-x0)
	if got := tr.HorizonRow(0); math.Abs(got-want) > 0.01 {
		t.Errorf("horizon at row %.3f, want %.3f", got, want)
	}
	// A camera turned clockwise sees the horizon rise to the right.
	if slope := (y1 - y0) / (x1 - x0); math.Abs(slope+math.Tan(2*math.Pi/180)) > 1e-3 {
		t.Errorf("horizon falls by %.4f, want %.4f", slope, -math.Tan(2*math.Pi/180))
	}
}

func TestTruthRoundTrip(t *testing.T) {
	tr := simulate(t, Scene{Seed: 1, Camera: Camera{Hand: true}, Motion: Motion{StartM: 9}})
	path := filepath.Join(t.TempDir(), "truth", "clip.truth.json")
	if err := tr.Save(path); err != nil {
		t.Fatal(err)
	}
	back, err := LoadTruth(path)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(tr, back, cmpopts.EquateNaNs()); d != "" {
		t.Errorf("truth changed on the way to disk and back:\n%s", d)
	}
}

func TestClicksAndTracks(t *testing.T) {
	tr := simulate(t, Scene{Seed: 10})
	frames := tr.SeedFrames(3)
	if len(frames) != 3 || frames[0] >= frames[1] || frames[1] >= frames[2] {
		t.Fatalf("seed frames %v", frames)
	}
	one := tr.SeedFrames(1)[0]
	hooves := 0
	for _, c := range tr.Clicks([]int{one}, ClickOptions{SD: -1}) {
		p := tr.Points(c.Landmark)[c.Frame]
		if c.X != p.X || c.Y != p.Y || !p.Visible {
			t.Errorf("click on %s at (%g, %g), truth %+v", c.Landmark, c.X, c.Y, p)
		}
		if c.Landmark.IsHoof() {
			hooves++
		}
	}
	if hooves < 3 {
		t.Errorf("only %d hooves can be clicked in frame %d", hooves, one)
	}
	set := tr.TrackSet(TrackOptions{SD: 0.5, Seed: 1})
	var square, n float64
	for _, track := range set.Tracks {
		for f, s := range track.Samples {
			p := tr.Points(track.Landmark)[f]
			if s.Status.Seen() != p.Visible {
				t.Fatalf("%s frame %d is %s, visible %v", track.Landmark, f, s.Status, p.Visible)
			}
			if p.Visible {
				square, n = square+(s.X-p.X)*(s.X-p.X)+(s.Y-p.Y)*(s.Y-p.Y), n+2
			}
		}
	}
	if r := math.Sqrt(square / n); math.Abs(r-0.5) > 0.02 {
		t.Errorf("errors of tracks have root mean square %.3f px, want 0.5", r)
	}
	if set.Track(traj.Withers) != nil {
		t.Error("the withers are tracked although the head hides them all along")
	}
}

// The motions of a handheld clip take the background back to where it was.
func TestMotionsUndoTheShake(t *testing.T) {
	s := Scene{Seed: 11, Camera: Camera{Hand: true, ShakeMM: -1}}
	tr := simulate(t, s)
	set := tr.TrackSet(TrackOptions{})
	if set.ShakeRMS < 2 || set.ResidualRMS > 1e-6 {
		t.Errorf("shake %.2f px, residual %g px", set.ShakeRMS, set.ResidualRMS)
	}
	s.Camera.ShakeMM = 0
	set = simulate(t, s).TrackSet(TrackOptions{})
	if set.ResidualRMS < 0.05 || set.ResidualRMS > 2 {
		t.Errorf("residual of a shifting camera %.3f px", set.ResidualRMS)
	}
}

func TestGroundMarksAreInThePicture(t *testing.T) {
	for _, s := range []Scene{{}, {View: traj.Away}, {Camera: Camera{Hand: true}}, {Camera: Camera{Width: 3840, Height: 2160}}} {
		tr := simulate(t, s)
		in := tr.Calibration(geometry.LevelMetric, 0, ClickOptions{})
		if in.Ground == nil || in.Ground.WidthM != 2.5 || in.Ground.LengthM != 8 {
			t.Fatalf("calibration %+v", in)
		}
		p := in.Ground.Points
		if !(p[0].X < p[1].X && p[3].X < p[2].X && p[0].Y > p[3].Y) {
			t.Errorf("corners out of order: %v", p)
		}
	}
}

func TestBadScenesAreRefused(t *testing.T) {
	for name, s := range map[string]Scene{
		"gait":         {Gait: "gallop"},
		"view":         {View: "sideways"},
		"direction":    {Motion: Motion{StartM: 4, EndM: 20}},
		"rotation":     {Encoding: Encoding{Rotation: 45}},
		"odd size":     {Camera: Camera{Width: 1919, Height: 1080}},
		"exposure":     {Camera: Camera{ExposureS: 0.05}},
		"coat":         {Horse: Horse{Coat: "striped"}},
		"not a number": {Camera: Camera{HeightM: math.NaN()}},
	} {
		if _, err := Simulate(s); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
