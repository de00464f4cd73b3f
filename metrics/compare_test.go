package metrics

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

func visitOf(seed uint64, h horse, toward, away int) []Run {
	runs, _ := h.runs(rand.New(rand.NewPCG(seed, 77)), traj.Trot, passes(toward, away), 12)
	return runs
}

var sameSurface = CompareOptions{Before: Circumstances{Date: "2026-03-02", Surface: "asphalt"}, After: Circumstances{Date: "2026-03-23", Surface: "Asphalt"}}

func changeNamed(t *testing.T, c *Comparison, n Name) Change {
	t.Helper()
	for _, ch := range c.Changes {
		if ch.Name == n {
			return ch
		}
	}
	t.Fatalf("no change of %s", n)
	return Change{}
}

func TestVerdicts(t *testing.T) {
	nod := func(mm float64) horse { return lame(false, map[Name]float64{HeadLowDifference: mm}) }
	for _, c := range []struct {
		name          string
		before, after float64
		want          Verdict
		says          []string
	}{
		{"much smaller", 50, 0, Improved, []string{"Improved: on 2026-03-02, the head was carried", "higher over the right fore", "within its tolerance", "smallest that counts"}},
		{"much larger", 0, 50, Worse, []string{"Worse: "}},
		{"the same", 25, 25, NoChange, []string{"No measurable change"}},
		{"smaller than counts", 30, 22, NoChange, nil},
		{"over to the other side, no smaller", 30, -30, Changed, []string{"went over to the other side"}},
		{"over to the other side and clearly smaller", 60, -6, Improved, nil},
		{"left side, smaller", -50, 0, Improved, []string{"higher over the left fore"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			opts := sameSurface
			opts.Followed = HeadLowDifference
			cmp, err := Compare(visitOf(1, nod(c.before), 3, 3), visitOf(2, nod(c.after), 3, 3), opts)
			if err != nil {
				t.Fatal(err)
			}
			ch := changeNamed(t, cmp, HeadLowDifference)
			if ch.Verdict != c.want || cmp.Verdict != c.want || !ch.Followed {
				t.Errorf("verdict %q, leading %q, want %q: %s", ch.Verdict, cmp.Verdict, c.want, ch.Sentence)
			}
			if math.Abs(ch.Smallest-(ch.Change.High-ch.Change.Value)) > 1e-9 {
				t.Errorf("the smallest change %v is not what the interval %+v would exclude", ch.Smallest, ch.Change)
			}
			for _, say := range c.says {
				if !strings.Contains(cmp.Sentence, say) {
					t.Errorf("%q does not say %q", cmp.Sentence, say)
				}
			}
			if ch.P != ch.Holm {
				t.Errorf("the followed measure is corrected: p %v became %v", ch.P, ch.Holm)
			}
		})
	}
}

func TestOthersAreCorrected(t *testing.T) {
	opts := sameSurface
	opts.Followed = StepLengthFore
	c, err := Compare(visitOf(1, lame(false, map[Name]float64{HeadLowDifference: 50}), 3, 3), visitOf(2, evenHorse(), 3, 3), opts)
	if err != nil {
		t.Fatal(err)
	}
	ch := changeNamed(t, c, HeadLowDifference)
	if !(ch.Holm > ch.P) || ch.Verdict != Improved {
		t.Errorf("p %v corrected to %v, verdict %q", ch.P, ch.Holm, ch.Verdict)
	}
	// The declared measure shows nothing: what counts is the heading, and both are said.
	if c.Verdict != Improved || !strings.Contains(c.Sentence, "Of the measure declared beforehand (step length, fore): no measurable change") {
		t.Errorf("heading %q: %s", c.Verdict, c.Sentence)
	}
	if !strings.Contains(c.Sentence, "does not show that the treatment did it") {
		t.Errorf("%q says nothing of causes", c.Sentence)
	}
	// What is only described gets no verdict, and does not make the others harder to show.
	if ch := changeNamed(t, c, StanceDurationFore); ch.Verdict != NotJudged || ch.Holm != ch.P {
		t.Errorf("stance duration: %q, p %v corrected to %v", ch.Verdict, ch.P, ch.Holm)
	}
	if ch, most := changeNamed(t, c, HeadLowDifference), 2*7.0; ch.Holm > most*ch.P+1e-12 {
		t.Errorf("p %v corrected to %v, by more than two families of seven", ch.P, ch.Holm)
	}
}

// A measure chosen after the clips were measured is corrected as all others, and the
// page says so.
func TestChosenAfterwards(t *testing.T) {
	opts := sameSurface
	opts.Afterwards = HeadLowDifference
	c, err := Compare(visitOf(1, lame(false, map[Name]float64{HeadLowDifference: 30}), 3, 3), visitOf(2, evenHorse(), 3, 3), opts)
	if err != nil {
		t.Fatal(err)
	}
	if ch := changeNamed(t, c, HeadLowDifference); ch.Followed || !(ch.Holm > ch.P) {
		t.Errorf("followed %v, p %v corrected to %v", ch.Followed, ch.P, ch.Holm)
	}
	if !strings.Contains(strings.Join(c.Reasons, " "), "was chosen as the measure to follow afterwards") {
		t.Errorf("reasons %q", c.Reasons)
	}
}

// More runs make the smallest change that counts smaller, but never so small that days
// could do it.
func TestMoreRunsHelp(t *testing.T) {
	row := mustRow(t, HeadLowDifference)
	before := math.Inf(1)
	for _, runs := range []int{1, 2, 3, 4, 6, 10} {
		c, err := Compare(visitOf(1, evenHorse(), runs, runs), visitOf(2, evenHorse(), runs, runs), sameSurface)
		if err != nil {
			t.Fatal(err)
		}
		ch := changeNamed(t, c, HeadLowDifference)
		if ch.Smallest > 1.15*before {
			t.Errorf("%d runs: the smallest change that counts is %.1f mm, with fewer %.1f", runs, ch.Smallest, before)
		}
		if ch.Smallest < 1.96*math.Sqrt2*row.daySD() {
			t.Errorf("%d runs: a change of %.1f mm would count, which days make", runs, ch.Smallest)
		}
		before = ch.Smallest
	}
}

func TestMeasuresWithoutAnEvenValueAreChanged(t *testing.T) {
	faster := evenHorse()
	faster.mean[StrideDuration] = 0.55
	opts := sameSurface
	opts.Followed = StrideDuration
	c, err := Compare(visitOf(1, evenHorse(), 3, 3), visitOf(2, faster, 3, 3), opts)
	if err != nil {
		t.Fatal(err)
	}
	if c.Verdict != Changed {
		t.Errorf("verdict %q, want %q: %s", c.Verdict, Changed, c.Sentence)
	}
	if ch := changeNamed(t, c, StrideFrequency); ch.Verdict != NotJudged {
		t.Errorf("stride frequency, of which nothing was declared: %q", ch.Verdict)
	}
}

func TestNotComparable(t *testing.T) {
	fast := evenHorse()
	fast.mean[Speed] = 4.5
	walk, _ := evenHorse().runs(rand.New(rand.NewPCG(1, 1)), traj.Walk, passes(3, 3), 8)
	atLevel := func(l geometry.Level) []Run {
		runs := visitOf(3, evenHorse(), 3, 3)
		for i := range runs {
			runs[i].Level = l
		}
		return runs
	}
	other := sameSurface
	other.After.Surface = "sand"
	ridden := sameSurface
	ridden.After.Ridden = true
	for _, c := range []struct {
		name    string
		after   []Run
		opts    CompareOptions
		n       Name
		want    string
		barrier Barrier
	}{
		{"gait", walk, sameSurface, HeadLowDifference, "the gait differs (trot, then walk)", Barrier{Condition: GaitDiffers, Before: "trot", After: "walk"}},
		{"surface", visitOf(2, evenHorse(), 3, 3), other, HeadLowDifference, "the surface differs (asphalt, then sand)", Barrier{Condition: SurfaceDiffers, Before: "asphalt", After: "sand"}},
		{"presentation", visitOf(2, evenHorse(), 3, 3), ridden, HeadLowDifference, "the horse was presented differently (led, then ridden)", Barrier{Condition: PresentationDiffers, Before: "led", After: "ridden"}},
		{"speed", visitOf(2, fast, 3, 3), sameSurface, HeadLowDifference, "speed differs by 2", Barrier{Condition: SpeedDiffers}},
		{"view of one measure", visitOf(2, evenHorse(), 3, 0), sameSurface, CroupLowDifference, "not measured at the second visit", Barrier{}},
		{"calibration level", atLevel(geometry.LevelHeight), sameSurface, StepLengthFore, "the calibration level differs (metric, then height)", Barrier{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			cmp, err := Compare(visitOf(1, evenHorse(), 3, 3), c.after, c.opts)
			if err != nil {
				t.Fatal(err)
			}
			if c.name == "calibration level" && !strings.Contains(strings.Join(cmp.Reasons, "; "), c.want) {
				t.Errorf("reasons %q", cmp.Reasons)
			}
			for i, b := range cmp.Barriers {
				want := c.barrier
				if b.Reason != cmp.Reasons[i] || b.Condition != want.Condition || want.Before != "" && (b.Before != want.Before || b.After != want.After) {
					t.Errorf("barrier %+v, want %+v; reasons %q", b, want, cmp.Reasons)
				}
			}
			if n := len(cmp.Barriers); n > 1 || (n == 1) != (c.barrier.Condition != "") {
				t.Errorf("%d barriers", n)
			}
			ch := changeNamed(t, cmp, c.n)
			if ch.Verdict != NotComparable || !strings.Contains(ch.Reason, c.want) || !strings.Contains(ch.Sentence, c.want) {
				t.Errorf("verdict %q, reason %q, want %q", ch.Verdict, ch.Reason, c.want)
			}
		})
	}
	t.Run("no view in common", func(t *testing.T) {
		c, err := Compare(visitOf(1, evenHorse(), 3, 0), visitOf(2, evenHorse(), 0, 3), sameSurface)
		if err != nil {
			t.Fatal(err)
		}
		if c.Verdict != NotComparable || !strings.Contains(c.Sentence, "different views") || changeNamed(t, c, StrideDuration).Verdict != NotComparable {
			t.Errorf("%q: %s", c.Verdict, c.Sentence)
		}
	})
	t.Run("times do not need a level", func(t *testing.T) {
		c, err := Compare(visitOf(1, evenHorse(), 3, 3), atLevel(geometry.LevelHeight), sameSurface)
		if err != nil {
			t.Fatal(err)
		}
		if ch := changeNamed(t, c, StrideDuration); ch.Verdict == NotComparable {
			t.Errorf("stride duration: %s", ch.Reason)
		}
	})
	t.Run("surface not recorded is said", func(t *testing.T) {
		c, err := Compare(visitOf(1, evenHorse(), 3, 3), visitOf(2, evenHorse(), 3, 3), CompareOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if c.Verdict == NotComparable || !strings.Contains(strings.Join(c.Reasons, " "), "surface was not recorded") {
			t.Errorf("%q, reasons %q", c.Verdict, c.Reasons)
		}
	})
}

// The heading is never "no measurable change" over something that counts.
func TestTheStrongestLeadsWhereNothingIsFollowed(t *testing.T) {
	uneven := lame(false, map[Name]float64{HeadLowDifference: 60, HeadHighDifference: 50, StepLengthFore: -0.15, StepTimingFore: -3})
	c, err := Compare(visitOf(1, uneven, 4, 4), visitOf(2, evenHorse(), 4, 4), sameSurface)
	if err != nil {
		t.Fatal(err)
	}
	if c.Verdict != Improved || !strings.HasPrefix(c.Sentence, "Improved: on 2026-03-02, the head") || !strings.Contains(c.Sentence, "signs pointed to the right fore") {
		t.Errorf("%q: %s", c.Verdict, c.Sentence)
	}
	if c.Score.Verdict != Improved {
		t.Errorf("score %q: %s", c.Score.Verdict, c.Score.Sentence)
	}
}

func TestCompareErrors(t *testing.T) {
	runs := visitOf(1, evenHorse(), 1, 1)
	for name, f := range map[string]func() error{
		"no such measure": func() error { _, err := Compare(runs, runs, CompareOptions{Followed: "grace"}); return err },
		"before: ":        func() error { _, err := Compare(nil, runs, CompareOptions{}); return err },
		"after: ":         func() error { _, err := Compare(runs, nil, CompareOptions{}); return err },
	} {
		if err := f(); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("error %v, want one that says %q", err, name)
		}
	}
}

func TestComparisonSurvivesJSONAndOrder(t *testing.T) {
	b, a := visitOf(1, studyLikeHorse(rand.New(rand.NewPCG(1, 1))), 2, 1), visitOf(2, evenHorse(), 2, 2)
	c, err := Compare(b, a, sameSurface)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(c); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(9, 9))
	d, err := Compare(shuffledRuns(rng, b), shuffledRuns(rng, a), sameSurface)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(c, d); diff != "" {
		t.Errorf("order of clips or strides changes the comparison:\n%s", diff)
	}
}

// The interval that is printed is the one the verdict goes by: a change of a judged measure
// counts exactly where it leaves out zero, and nods that by themselves would count show why
// they don't.
func TestTheJudgedIntervalIsTheVerdicts(t *testing.T) {
	opts := sameSurface
	opts.Followed = StepLengthFore
	wider, between := 0, 0
	for mm := 0.0; mm <= 60; mm += 4 {
		c, err := Compare(visitOf(1, lame(false, map[Name]float64{HeadLowDifference: mm}), 3, 3), visitOf(2, evenHorse(), 3, 3), opts)
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Changes {
			ch := &c.Changes[i]
			if ch.Change == nil || ch.Verdict == NotJudged {
				continue
			}
			own, judged := ch.Change.Low > 0 || ch.Change.High < 0, ch.Judged.Low > 0 || ch.Judged.High < 0
			if judged != ch.counts() {
				t.Errorf("%s, a nod of %g mm: interval %+v, counts %v", ch.Name, mm, *ch.Judged, ch.counts())
			}
			if ch.Followed && *ch.Judged != *ch.Change {
				t.Errorf("%s was declared beforehand and is widened", ch.Name)
			}
			if ch.widened() {
				wider++
			}
			if own && !judged {
				between++
				if !strings.Contains(ch.Sentence, "widened for the measures judged together") {
					t.Errorf("%q does not say why it is wider", ch.Sentence)
				}
			}
		}
	}
	if wider == 0 || between == 0 {
		t.Errorf("%d intervals are wider, %d for that hold zero: nothing was tried", wider, between)
	}
}
