package metrics

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/stats"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// oneRun builds a run with one measure.
func oneRun(view traj.View, n Name, observations ...Observation) Run {
	d, _ := Define(n)
	for i := range observations {
		observations[i].Stride, observations[i].Time = i, 0.7*float64(i)
	}
	return Run{View: view, Gait: traj.Trot, Level: geometry.LevelMetric, Strides: make([]Stride, len(observations)),
		Series: []Series{{Name: n, Unit: d.Unit, Observations: observations}}}
}

func bothSides(left, right float64) Observation {
	return Observation{Left: left, Right: right, Value: right - left}
}

func valueOnly(v float64) Observation {
	return Observation{Left: math.NaN(), Right: math.NaN(), Value: v}
}

func mustSummarise(t testing.TB, runs []Run) *Summary {
	t.Helper()
	s, err := Summarise(runs, SummaryOptions{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	return s.Summary
}

func TestSummariseErrors(t *testing.T) {
	if _, err := Summarise(nil, SummaryOptions{}); err == nil || !strings.Contains(err.Error(), "there are none") {
		t.Errorf("no runs: %v", err)
	}
	walk := oneRun(traj.Toward, Speed, valueOnly(1.5), valueOnly(1.6))
	walk.Gait = traj.Walk
	if _, err := Summarise([]Run{walk, oneRun(traj.Toward, Speed, valueOnly(3))}, SummaryOptions{}); err == nil || !strings.Contains(err.Error(), "gaits differ") {
		t.Errorf("two gaits: %v", err)
	}
}

func TestWhatIsNotMeasuredHasAReason(t *testing.T) {
	nan := math.NaN()
	unseen := Run{View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelNone,
		Series: []Series{{Name: StepLengthFore, Unit: "m", Reason: "needs lengths"}}}
	for _, c := range []struct {
		name string
		run  Run
		n    Name
		want string
	}{
		{"the run's own reason", unseen, StepLengthFore, "needs lengths"},
		{"not in any run", unseen, Speed, "not measured in any run"},
		{"one stride", oneRun(traj.Toward, StepLengthFore, bothSides(1.2, 1.3)), StepLengthFore, "one stride only"},
		{"left only", oneRun(traj.Toward, StanceDurationFore, Observation{Left: 0.3, Right: nan, Value: nan}, Observation{Left: 0.31, Right: nan, Value: nan}), StanceDurationFore, "only the left side"},
		{"right only", oneRun(traj.Toward, StanceDurationFore, Observation{Left: nan, Right: 0.3, Value: nan}, Observation{Left: nan, Right: 0.3, Value: nan}), StanceDurationFore, "only the right side"},
		{"several, never together, errors unknown", oneRun(traj.Toward, StanceDurationFore, Observation{Left: 0.3, Right: nan, Value: nan}, Observation{Left: 0.31, Right: nan, Value: nan}, Observation{Left: nan, Right: 0.3, Value: nan}), StanceDurationFore, "film more runs"},
		{"never together, errors unknown", oneRun(traj.Toward, StanceDurationFore, Observation{Left: 0.3, Right: nan, Value: nan}, Observation{Left: nan, Right: 0.3, Value: nan}), StanceDurationFore, "seen in one stride only"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := mustSummarise(t, []Run{c.run}).Lookup(c.n)
			if r.Value != nil || !strings.Contains(r.Reason, c.want) {
				t.Errorf("value %v, reason %q, want none and %q", r.Value, r.Reason, c.want)
			}
		})
	}
	// A side that was seen keeps its own value.
	r := mustSummarise(t, []Run{oneRun(traj.Toward, StanceDurationFore, Observation{Left: 0.3, Right: nan, Value: nan}, Observation{Left: 0.32, Right: nan, Value: nan})}).Lookup(StanceDurationFore)
	if r.Left == nil || math.Abs(r.Left.Value-0.31) > 1e-12 || r.Right != nil {
		t.Errorf("left %v right %v, want the left side alone", r.Left, r.Right)
	}
}

// Two strides: Student's t with one degree of freedom, 12.7 standard errors.
func TestTwoStridesAreWide(t *testing.T) {
	s := mustSummarise(t, []Run{oneRun(traj.Toward, HeadLowDifference, valueOnly(20), valueOnly(24))})
	r := s.Lookup(HeadLowDifference)
	if math.Abs(r.Value.Low-(22-12.7062*2)) > 1e-3 || !r.ThisRunOnly {
		t.Errorf("interval %v to %v, this run only %v", r.Value.Low, r.Value.High, r.ThisRunOnly)
	}
	if !strings.Contains(strings.Join(s.Notes, " "), "that run only") {
		t.Errorf("notes %q do not say that the interval holds for that run only", s.Notes)
	}
	if s.Limb.Limb != "" {
		t.Errorf("two strides name a limb: %s", s.Limb.Sentence)
	}
}

func TestSixtyStridesAreNarrow(t *testing.T) {
	h := evenHorse()
	runs, _ := h.runs(rand.New(rand.NewPCG(1, 1)), traj.Trot, passes(1, 0), 60)
	r := mustSummarise(t, runs).Lookup(HeadLowDifference)
	// 16 mm over √60, twice to either side.
	if w := r.Value.High - r.Value.Low; w < 5 || w > 12 {
		t.Errorf("width %v mm, want about 8", w)
	}
}

func TestCommonErrorDoesNotAverageOut(t *testing.T) {
	run := oneRun(traj.Toward, StepLengthFore)
	for range 50 {
		run.Series[0].Observations = append(run.Series[0].Observations, bothSides(1.2, 1.25))
	}
	run.Series[0].CommonSD = 0.02
	r := mustSummarise(t, []Run{run}).Lookup(StepLengthFore)
	if half := r.Value.High - r.Value.Value; half < 0.039 {
		t.Errorf("half-width %v m, want at least 1.96 times the calibration's 0.02", half)
	}
}

// Values: BMC Sports Sci Med Rehabil 2021, 10.1186/s13102-021-00355-4, eq. 1.
func TestSymmetryIndex(t *testing.T) {
	for _, c := range []struct {
		name              string
		left, right, want float64
	}{
		{"right longer", 1.0, 1.1, 9.523809523809524},
		{"swapped", 1.1, 1.0, -9.523809523809524},
		{"one side nothing", 0, 1, 200},
		{"alike", 0.7, 0.7, 0},
		{"signed values have none", -0.04, 0.05, math.NaN()},
		{"both nothing", 0, 0, math.NaN()},
		{"not measured", math.NaN(), 1, math.NaN()},
	} {
		got := symmetryIndex(&Result{Left: &Estimate{Value: c.left}, Right: &Estimate{Value: c.right}, Value: &Estimate{Value: c.right - c.left}})
		if (got == nil) != math.IsNaN(c.want) || got != nil && math.Abs(got.Value-c.want) > 1e-9 {
			t.Errorf("%s: index %v, want %g", c.name, got, c.want)
		}
	}
}

func TestSymmetryIndexIsForPositiveQuantitiesOnly(t *testing.T) {
	s := mustSummarise(t, []Run{
		oneRun(traj.Toward, StepLengthFore, bothSides(1.0, 1.1), bothSides(1.01, 1.11), bothSides(0.99, 1.09)),
		oneRun(traj.Toward, LateralArcFore, bothSides(4, -3), bothSides(5, -4), bothSides(4, -4)),
	})
	// 9.5238 is the published formula's value for 1.1 and 1.0.
	if x := s.Lookup(StepLengthFore).SymmetryIndex; x == nil || math.Abs(x.Value-9.5238) > 1e-3 || x.Low > x.Value || x.High < x.Value {
		t.Errorf("step length: index %+v, want 9.52 with an interval", x)
	}
	if x := s.Lookup(LateralArcFore).SymmetryIndex; x != nil {
		t.Errorf("a signed measure has index %+v", x)
	}
}

func TestRunsInOtherUnitsAreLeftOut(t *testing.T) {
	share := oneRun(traj.Toward, StepLengthFore, bothSides(50, 50), bothSides(49, 51))
	share.Level, share.Series[0].Unit = geometry.LevelRatio, "% of stride length"
	s := mustSummarise(t, []Run{share, oneRun(traj.Toward, StepLengthFore, bothSides(1.2, 1.3), bothSides(1.2, 1.28))})
	if r := s.Lookup(StepLengthFore); r.Unit != "m" || r.Runs != 1 || len(s.Notes) == 0 {
		t.Errorf("unit %s of %d runs, notes %q", r.Unit, r.Runs, s.Notes)
	}
	alone := mustSummarise(t, []Run{share})
	if r := alone.Lookup(StepLengthFore); r.Unit != "% of stride length" || r.Tolerance != 1.2 {
		t.Errorf("shares alone: unit %s, tolerance %v", r.Unit, r.Tolerance)
	}
}

func TestBeyond(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []Observation
		want   bool
	}{
		{"far beyond", []Observation{valueOnly(30), valueOnly(32), valueOnly(31), valueOnly(29)}, true},
		{"clear of even but within tolerance", []Observation{valueOnly(8), valueOnly(9), valueOnly(8), valueOnly(9)}, false},
		{"beyond but not clear", []Observation{valueOnly(60), valueOnly(-20), valueOnly(50), valueOnly(-10)}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			if r := mustSummarise(t, []Run{oneRun(traj.Toward, HeadLowDifference, c.values...)}).Lookup(HeadLowDifference); r.Beyond != c.want {
				t.Errorf("beyond %v at %+v", r.Beyond, r.Value)
			}
		})
	}
	if r := mustSummarise(t, []Run{oneRun(traj.Toward, StepTimingFore, valueOnly(46), valueOnly(46.2), valueOnly(45.9))}).Lookup(StepTimingFore); !r.Beyond {
		t.Errorf("step timing of 46 %% is not beyond: even is 50")
	}
}

func TestSummaryIsValidJSON(t *testing.T) {
	h := evenHorse()
	runs, _ := h.runs(rand.New(rand.NewPCG(3, 1)), traj.Trot, passes(1, 1), 2)
	b, err := json.Marshal(mustSummarise(t, runs))
	if err != nil {
		t.Fatal(err)
	}
	var back Summary
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
}

func shuffledRuns(rng *rand.Rand, runs []Run) []Run {
	out := make([]Run, len(runs))
	for i, j := range rng.Perm(len(runs)) {
		out[i] = runs[j]
		out[i].Series = make([]Series, len(runs[j].Series))
		for k, s := range runs[j].Series {
			out[i].Series[k] = s
			out[i].Series[k].Observations = nil
			for _, o := range rng.Perm(len(s.Observations)) {
				out[i].Series[k].Observations = append(out[i].Series[k].Observations, s.Observations[o])
			}
		}
	}
	return out
}

func TestOrderDoesNotMatter(t *testing.T) {
	check(t, "25", func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		h := studyLikeHorse(rng)
		runs, _ := h.runs(rng, traj.Trot, passes(1+rng.IntN(3), rng.IntN(3)), 2+rng.IntN(8))
		opts := SummaryOptions{Resamples: 100}
		a, err := Summarise(runs, opts)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Summarise(shuffledRuns(rng, runs), opts)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(a.Summary, b.Summary); d != "" {
			t.Fatalf("order of clips or strides changes the summary:\n%s", d)
		}
	})
}

// mirrorRuns exchanges left and right of the horse.
func mirrorRuns(runs []Run) []Run {
	var out []Run
	for _, r := range runs {
		m := r
		m.Series = nil
		for _, s := range r.Series {
			d, _ := Define(s.Name)
			e, ok := d.Even()
			c := s
			c.Observations = nil
			for _, o := range s.Observations {
				o.Left, o.Right = o.Right, o.Left
				if ok {
					o.Value = 2*e - o.Value
				}
				c.Observations = append(c.Observations, o)
			}
			m.Series = append(m.Series, c)
		}
		out = append(out, m)
	}
	return out
}

func TestMirrorFlipsEverySignAndNothingElse(t *testing.T) {
	check(t, "25", func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		h := studyLikeHorse(rng)
		runs, _ := h.runs(rng, traj.Trot, passes(2, 2), 6)
		opts := SummaryOptions{Resamples: 400}
		a, err := Summarise(runs, opts)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Summarise(mirrorRuns(runs), opts)
		if err != nil {
			t.Fatal(err)
		}
		same := func(what string, x, y float64) {
			if math.Abs(x-y) > 1e-9*(1+math.Abs(x)) {
				t.Fatalf("%s: %v, mirrored %v", what, x, y)
			}
		}
		for i, r := range a.Results {
			m := b.Results[i]
			d, _ := Define(r.Name)
			e, ok := d.Even()
			if !ok {
				same(string(r.Name), r.Value.Value, m.Value.Value)
				continue
			}
			same(string(r.Name), r.Value.Value-e, e-m.Value.Value)
			same(string(r.Name)+" low", r.Value.Low-e, e-m.Value.High)
			if r.Beyond != m.Beyond {
				t.Fatalf("%s: beyond %v, mirrored %v", r.Name, r.Beyond, m.Beyond)
			}
			if r.Left != nil {
				same(string(r.Name)+" left", r.Left.Value, m.Right.Value)
			}
			if r.SymmetryIndex != nil {
				same(string(r.Name)+" index", r.SymmetryIndex.Value, -m.SymmetryIndex.Value)
			}
		}
		same("score", a.Score.Value, b.Score.Value)
		if a.Limb.Limb.Opposite() != b.Limb.Limb || a.Limb.Even != b.Limb.Even || a.Limb.Undecided != b.Limb.Undecided {
			t.Fatalf("finding %+v, mirrored %+v", a.Limb, b.Limb)
		}
	})
}

// studyLikeHorse is uneven at random.
func studyLikeHorse(rng *rand.Rand) horse {
	h := evenHorse()
	for _, d := range Definitions() {
		if _, ok := d.Even(); ok {
			h.mean[d.Name] += 1.5 * tableTolerance(d.Name) * rng.NormFloat64()
		}
	}
	return h
}

func tableTolerance(n Name) float64 {
	table := defaultTable()
	row, _ := table.Lookup(n)
	return row.Tolerance
}

// The score by hand: two components of equal weight, no noise to speak of.
func TestScoreByHand(t *testing.T) {
	exact := func(n Name, v float64) Run {
		return oneRun(traj.Toward, n, valueOnly(v), valueOnly(v+1e-9), valueOnly(v-1e-9))
	}
	s := mustSummarise(t, []Run{exact(HeadLowDifference, 26), exact(HeadHighDifference, -12)})
	// (26/13)² and (12/12)² at half weight each: √2.5.
	if math.Abs(s.Score.Value-math.Sqrt(2.5)) > 1e-6 || math.Abs(s.Score.Low-s.Score.High) > 1e-6 {
		t.Errorf("score %+v, want %v", s.Score.Estimate, math.Sqrt(2.5))
	}
	if len(s.Score.Components) != 2 || s.Score.Components[0].Side != traj.Right || s.Score.Components[1].Side != traj.Left {
		t.Errorf("components %+v", s.Score.Components)
	}
	if len(s.Score.Missing) == 0 {
		t.Error("what was not measurable is not listed")
	}
	if mustSummarise(t, []Run{exact(Speed, 3)}).Score != nil {
		t.Error("a score without components")
	}
}

// Noise alone must not make a score: over many even horses its square averages
// near 0, where the plain sum of squares would not.
func TestScoreOfEvenHorsesIsNotRaisedByNoise(t *testing.T) {
	var corrected, plain float64
	const visits = 60
	for v := range uint64(visits) {
		h := evenHorse()
		h.runSD = map[Name]float64{}
		for _, d := range Definitions() {
			h.runSD[d.Name] = 1e-6
		}
		runs, _ := h.runs(rand.New(rand.NewPCG(v, 5)), traj.Trot, passes(1, 1), 8)
		s := mustSummarise(t, runs)
		for _, c := range s.Score.Components {
			plain += c.Weight * c.Ratio * c.Ratio / visits
			d, _ := Define(c.Name)
			e, _ := d.Even()
			r := s.Lookup(c.Name)
			x := (r.Value.Value - e) / r.Tolerance
			corrected += c.Weight * (x*x - math.Pow(r.Value.SE/r.Tolerance, 2)) / visits
		}
		if s.Score.Low > s.Score.Value || s.Score.High < s.Score.Value || s.Score.Low < 0 {
			t.Fatalf("score %+v outside its interval", s.Score.Estimate)
		}
	}
	if math.Abs(corrected) > 0.25*plain {
		t.Errorf("mean of corrected squares %v, plain %v", corrected, plain)
	}
}

// MEASURES.md is the page practitioners and reviewers read.
func TestEveryMeasureIsDescribed(t *testing.T) {
	b, err := os.ReadFile("MEASURES.md")
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	for _, d := range Definitions() {
		_, section, found := strings.Cut(page, " · `"+string(d.Name)+"`\n")
		if !found {
			t.Errorf("%s is not in MEASURES.md", d.Name)
			continue
		}
		section, _, _ = strings.Cut(section, "\n### ")
		for _, part := range []string{"**Formula.**", "**Sign.**", "**Unit.**", "**Evidence.**", "**Source.**", "**Needs.**", "**Does not mean.**"} {
			if !strings.Contains(section, part) {
				t.Errorf("%s: MEASURES.md lacks %s", d.Name, part)
			}
		}
		if !strings.Contains(strings.ToLower(section), "**evidence.** "+string(d.Evidence)) {
			t.Errorf("%s: MEASURES.md does not call it %s", d.Name, d.Evidence)
		}
		if !strings.Contains(section, d.Unit) {
			t.Errorf("%s: MEASURES.md does not give the unit %s", d.Name, d.Unit)
		}
	}
}

func TestFilmingAdvice(t *testing.T) {
	advice := FilmingAdvice()
	by := map[string]Advice{}
	for _, a := range advice {
		by[a.What] = a
		if a.Runs != 0 && a.Runs < 2 || a.Runs > 12 {
			t.Errorf("%+v", a)
		}
	}
	if by["a nod of 20 mm"].Runs >= by["a nod of 10 mm"].Runs && by["a nod of 10 mm"].Runs != 0 {
		t.Errorf("a larger nod needs as many runs: %v", by)
	}
	// The first two say what three runs show from 2 m and from 1.2 m.
	if high, low := advice[0], advice[1]; (SetUp{CameraHeightM: 2}).SmallestStep(3) >= (SetUp{CameraHeightM: 1.2}).SmallestStep(3) || high.Runs != LeastRuns || !strings.Contains(high.What, "2 m high") {
		t.Errorf("a phone held lower shows as much: %+v, %+v", high, low)
	}
	row, _ := defaultTable().Lookup(HeadLowDifference)
	if p := chanceToSee(row, 0, 3, 5); math.Abs(p-0.05) > 0.025 {
		t.Errorf("an even horse is seen as uneven in %.3f of visits, want about 0.05", p)
	}
	measured := math.Hypot(row.StrideSD/math.Sqrt(LeastStrides), errormodel.Usual().Body.FollowedMM)
	if runs := by["a nod of 20 mm"].Runs; runs > 2 && (chanceToSee(row, 20, runs, measured) < 0.8 || chanceToSee(row, 20, runs-1, measured) >= 0.8) {
		t.Errorf("%d runs are not the fewest that show a nod of 20 mm", runs)
	}
	if chanceToSee(row, 10, 6, 5) <= chanceToSee(row, 10, 3, 5) || chanceToSee(row, 10, 3, 3) <= chanceToSee(row, 10, 3, 6) {
		t.Error("more runs or better measured ones do not help")
	}
}

// The standard error of a run at a set-up is about the bound that the geometry sets:
// worked out apart from this program, ±4.7 cm (95 %) from 2 m and ±6.7 from 1.2 m with
// clicks of 0.4 px and
// marks spread over the run, less with marks near the camera.
func TestSetUp(t *testing.T) {
	for _, c := range []struct {
		height, want float64
	}{{2, 0.047}, {1.2, 0.067}} {
		near, _ := SetUp{CameraHeightM: c.height, MarkedM: []float64{5, 6, 7.5}, ClickPX: 0.4}.StepSE()
		spread, _ := SetUp{CameraHeightM: c.height, MarkedM: []float64{6, 11, 19}, ClickPX: 0.4}.StepSE()
		if half := stats.Z95 * spread; half < 0.7*c.want || half > 1.4*c.want || near >= spread {
			t.Errorf("%g m: ±%.3f m, with near marks ±%.3f; want about ±%.3f", c.height, half, stats.Z95*near, c.want)
		}
	}
	if three := (SetUp{}).SmallestStep(3); three < 0.04 || three > 0.10 {
		t.Errorf("three runs from 2 m show a step %.3f m short", three)
	}
}

// A hoof may be seen in one stride and its opposite in the next: each side's mean
// is known, and so is their difference, as one value of the run.
func TestSidesSeenInStridesOfTheirOwn(t *testing.T) {
	nan := math.NaN()
	run := oneRun(traj.Toward, LateralArcFore,
		Observation{Stride: 0, Left: 5.2, Right: nan, Value: nan, SD: 0.4},
		Observation{Stride: 1, Left: nan, Right: 1.1, Value: nan, SD: 0.4},
		Observation{Stride: 2, Left: 4.8, Right: nan, Value: nan, SD: 0.4},
		Observation{Stride: 3, Left: nan, Right: 0.9, Value: nan, SD: 0.4})
	s, err := Summarise([]Run{run, run}, SummaryOptions{})
	if err != nil {
		t.Fatal(err)
	}
	r := s.Lookup(LateralArcFore)
	if r.Value == nil || r.Left == nil || r.Right == nil {
		t.Fatalf("not measured: %q", r.Reason)
	}
	if math.Abs(r.Value.Value+4) > 1e-9 || math.Abs(r.Left.Value-5) > 1e-9 || math.Abs(r.Right.Value-1) > 1e-9 {
		t.Errorf("left %.2f, right %.2f, difference %.2f: want 5, 1 and −4 cm", r.Left.Value, r.Right.Value, r.Value.Value)
	}
	if !(r.Value.Low < -4 && r.Value.High > -4) {
		t.Errorf("interval %.2f to %.2f", r.Value.Low, r.Value.High)
	}
}
