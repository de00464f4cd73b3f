package glance

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

var before = time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC)

func est(v, half float64) *metrics.Estimate {
	return &metrics.Estimate{Value: v, Low: v - half, High: v + half}
}

// result is a measure as Summarise leaves it.
func result(n metrics.Name, v, half, tolerance float64) metrics.Result {
	d, _ := metrics.Define(n)
	e, _ := d.Even()
	out := v-half > e || v+half < e
	off := v - e
	return metrics.Result{Name: n, Unit: d.Unit, Value: est(v, half), Tolerance: tolerance, Beyond: out && (off > tolerance || -off > tolerance), Strides: 12, Runs: 2}
}

func change(b, a metrics.Result, verdict metrics.Verdict) metrics.Change {
	return metrics.Change{Name: b.Name, Unit: b.Unit, Before: b.Value, After: a.Value, Change: est(a.Value.Value-b.Value.Value, 1), Judged: est(a.Value.Value-b.Value.Value, 1), Verdict: verdict}
}

// TestOfSummary reads as a person would: what is uneven, on which side, how sure.
func TestOfSummary(t *testing.T) {
	head, step := result(metrics.HeadLowDifference, -43, 8, 13), result(metrics.StepLengthFore, 0.10, 0.03, 0.03)
	croup := result(metrics.CroupLowDifference, 20, 5, 5)
	tests := []struct {
		name string
		s    metrics.Summary
		want string
	}{
		{"a limb is named", metrics.Summary{Runs: 6, Strides: 30, Results: []metrics.Result{head, step}, Limb: metrics.LimbFinding{Limb: traj.LeftFore, Sentence: "signs point to the left fore: …"}},
			"Signs point to the left fore, seen in head and steps; such signs mislead in three horses of ten."},
		{"a hind limb", metrics.Summary{Runs: 3, Strides: 30, Results: []metrics.Result{croup}, Limb: metrics.LimbFinding{Limb: traj.RightHind}},
			"Signs point to the right hind, seen in croup; such signs mislead in three horses of ten."},
		{"one run", metrics.Summary{Runs: 1, Strides: 6, Results: []metrics.Result{head, step}, Limb: metrics.LimbFinding{Limb: traj.LeftFore}},
			"In this one run signs point to the left fore, seen in head and steps; such signs mislead in three horses of ten."},
		{"fore or hind", metrics.Summary{Runs: 3, Strides: 20, Results: []metrics.Result{head}, Limb: metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x; neither withers nor croup was marked, so the two cannot be told apart"}},
			"The horse is uneven on the left, beyond what a sound horse shows; fore or hind cannot be told without withers and croup."},
		{"even", metrics.Summary{Runs: 4, Strides: 20, Results: []metrics.Result{result(metrics.HeadLowDifference, 2, 5, 13)}, Limb: metrics.LimbFinding{Even: true}},
			"The horse is even: no difference between left and right is larger than a sound horse shows; 4 questions were not measured."},
		{"even, one question open", metrics.Summary{Runs: 4, Strides: 20, Results: []metrics.Result{result(metrics.HeadLowDifference, 2, 5, 13), result(metrics.StepTimingFore, 50.2, 4, 1)}, Limb: metrics.LimbFinding{Even: true}},
			"No unevenness was found; the timing of steps is not settled, 3 questions not measured."},
		{"even, two questions open", metrics.Summary{Runs: 1, Strides: 5, Results: []metrics.Result{result(metrics.StepLengthFore, 0.01, 0.09, 0.03), result(metrics.StepTimingFore, 50.2, 4, 1)}, Limb: metrics.LimbFinding{Even: true}},
			"In this one run no unevenness was found; of the questions below 2 are not settled, 3 not measured."},
		{"even, all asked and all measured", metrics.Summary{Runs: 4, Strides: 20, Limb: metrics.LimbFinding{Even: true}, Results: allAsked(0)},
			"The horse is even: no difference between left and right is larger than a sound horse shows."},
		{"even, three questions open and one not measured", metrics.Summary{Runs: 4, Strides: 20, Limb: metrics.LimbFinding{Even: true}, Results: allAsked(3)[1:]},
			"No unevenness was found; of the questions below 3 are not settled, 1 not measured."},
		{"fore or hind, one run", metrics.Summary{Runs: 1, Strides: 6, Results: []metrics.Result{head}, Limb: metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x; neither withers nor croup was marked, so the two cannot be told apart"}},
			"In this one run the horse is uneven on the left, beyond what a sound horse shows; a left hind can cause the same."},
		{"even, but for the timing", metrics.Summary{Runs: 1, Strides: 5, Results: []metrics.Result{result(metrics.HeadLowDifference, 2, 5, 13), result(metrics.StepTimingHind, 41.4, 3.5, 1)}, Limb: metrics.LimbFinding{Even: true}},
			"In this one run no sign points to a limb, but the right hind landed 9 % early, more than a sound horse shows."},
		{"signs disagree", metrics.Summary{Runs: 4, Strides: 20, Results: []metrics.Result{head}, Limb: metrics.LimbFinding{Disagree: []string{"a", "b"}}},
			"The horse is uneven, but some signs point to the left and some to the right: no side is named."},
		{"steps alone", metrics.Summary{Runs: 4, Strides: 20, Results: []metrics.Result{step}, Limb: metrics.LimbFinding{Agree: []string{"x"}}},
			"The left fore’s step was 10 cm short, more than a sound horse shows; that alone names no limb."},
		{"not settled", metrics.Summary{Runs: 1, Strides: 3, Results: []metrics.Result{result(metrics.HeadLowDifference, 2, 60, 13)}},
			"In this one run no difference between left and right is certain, but too few strides were measured to call the horse even."},
		{"nothing that compares", metrics.Summary{Runs: 2, Strides: 3, Results: []metrics.Result{{Name: metrics.StrideDuration, Value: est(0.7, 0.1)}}},
			"Nothing that compares left and right could be measured; the reasons stand below."},
		{"nothing", metrics.Summary{}, "Nothing could be measured, so nothing can be said of left and right; the reasons stand below."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { read(t, OfSummary(&tt.s), tt.want) })
	}
}

// read compares a sentence and checks its form.
func read(t *testing.T, got, want string) {
	t.Helper()
	if got = strings.ReplaceAll(got, "\u00a0", " "); got != want {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	form(t, got)
}

func form(t interface {
	Helper()
	Errorf(string, ...any)
}, sentence string) {
	t.Helper()
	for _, one := range strings.SplitAfter(sentence, ". ") {
		if n := Words(one); n > MostWords || n < 4 {
			t.Errorf("%d words: %q", n, one)
		}
	}
	if strings.ContainsAny(sentence, "([{}])") {
		t.Errorf("a bracket in %q", sentence)
	}
	if strings.Contains(sentence, "…") || strings.Contains(sentence, "NaN") || !strings.HasSuffix(sentence, ".") || strings.HasSuffix(sentence, "..") {
		t.Errorf("no whole sentence: %q", sentence)
	}
}

// TestOfComparison does the same for what changed.
func TestOfComparison(t *testing.T) {
	short, even := result(metrics.StepLengthFore, 0.10, 0.03, 0.03), result(metrics.StepLengthFore, 0.02, 0.02, 0.03)
	other, surely := result(metrics.StepLengthFore, -0.08, 0.02, 0.03), result(metrics.StepLengthFore, 0.01, 0.015, 0.03)
	less := result(metrics.StepLengthFore, 0.05, 0.02, 0.03)
	nod := func(mm float64) metrics.Result { return result(metrics.HeadLowDifference, mm, 6, 13) }
	// unsure is a change that does not count among many.
	unsure := func(b, a metrics.Result, half float64) metrics.Change {
		ch := change(b, a, metrics.NoChange)
		ch.Change, ch.Holm = est(a.Value.Value-b.Value.Value, half), 0.2
		ch.Judged = ch.Change
		return ch
	}
	followed := func(ch metrics.Change) metrics.Change { ch.Followed = true; return ch }
	visit := func(l metrics.LimbFinding, r ...metrics.Result) metrics.Summary {
		return metrics.Summary{Runs: 3, Strides: 20, Results: r, Limb: l}
	}
	surface := metrics.Barrier{Condition: metrics.SurfaceDiffers, Before: "sand", After: "concrete"}
	tests := []struct {
		name string
		c    metrics.Comparison
		want string
	}{
		{"better", metrics.Comparison{Verdict: metrics.Improved, Changes: []metrics.Change{change(short, even, metrics.Improved)}},
			"Better: the left fore’s step was 10 cm short on 6 March, now 2 cm, a change beyond day-to-day variation."},
		{"worse", metrics.Comparison{Verdict: metrics.Worse, Changes: []metrics.Change{change(even, short, metrics.Worse)}},
			"Worse: the left fore’s step was 2 cm short on 6 March, now 10 cm, a change beyond day-to-day variation."},
		{"changed sides", metrics.Comparison{Verdict: metrics.Changed, Changes: []metrics.Change{change(short, other, metrics.Changed)}},
			"Changed: the left fore’s step was 10 cm short on 6 March, now 8 cm the other way; neither better nor worse."},
		{"now even", metrics.Comparison{Verdict: metrics.Improved, Before: visit(metrics.LimbFinding{}, short), After: visit(metrics.LimbFinding{}, surely), Changes: []metrics.Change{change(short, surely, metrics.Improved)}},
			"Better: the left fore’s step was 10 cm short on 6 March, now even, a change beyond day-to-day variation."},
		{"even before", metrics.Comparison{Verdict: metrics.Worse, Before: visit(metrics.LimbFinding{}, surely), After: visit(metrics.LimbFinding{}, short), Changes: []metrics.Change{change(surely, short, metrics.Worse)}},
			"Worse: the fore steps were equal on 6 March, now the left is 10 cm short, a change beyond day-to-day variation."},
		{"worse, and a limb", metrics.Comparison{Verdict: metrics.Worse, Before: visit(metrics.LimbFinding{}, surely), After: visit(metrics.LimbFinding{Limb: traj.LeftFore}, short), Changes: []metrics.Change{change(surely, short, metrics.Worse)}},
			"Worse: the fore steps were equal on 6 March, now the left is 10 cm short, beyond day-to-day variation; signs point to the left fore."},
		{"the chosen one shows nothing", metrics.Comparison{Verdict: metrics.Improved, Before: metrics.Summary{Runs: 1}, After: metrics.Summary{Runs: 1}, Changes: []metrics.Change{followed(change(even, even, metrics.NoChange)), change(nod(-43), nod(-4), metrics.Improved)}},
			"Step length, fore, chosen beforehand: no measurable change. Better, from one run each: the head was 43 mm higher over the left fore on 6 March, now 4 mm."},
		{"the chosen one could not be compared", metrics.Comparison{Verdict: metrics.Worse, Changes: []metrics.Change{followed(change(even, even, metrics.NotComparable)), change(nod(-20), nod(-40), metrics.Worse)}},
			"Step length, fore, chosen beforehand: cannot be compared. Worse: the head was 20 mm higher over the left fore on 6 March, now 40 mm, a change beyond day-to-day variation."},
		{"nothing changed, and the chosen one could not be compared", metrics.Comparison{Verdict: metrics.NoChange, Changes: []metrics.Change{followed(change(even, even, metrics.NotComparable))}},
			"Step length, fore, chosen beforehand: cannot be compared. No measurable change since 6 March: what differs is within chance and day-to-day variation."},
		{"the chosen one leads", metrics.Comparison{Verdict: metrics.Improved, After: metrics.Summary{Runs: 1}, Changes: []metrics.Change{followed(change(short, even, metrics.Improved)), change(nod(-43), nod(-4), metrics.Improved)}},
			"Better, from one run now: the left fore’s step was 10 cm short on 6 March, now 2 cm, a change beyond day-to-day variation."},
		{"nothing, from one run then", metrics.Comparison{Verdict: metrics.NoChange, Before: metrics.Summary{Runs: 1}, After: visit(metrics.LimbFinding{})},
			"No measurable change since 6 March, from one run then: what differs is within chance and day-to-day variation."},
		{"by the score", metrics.Comparison{Verdict: metrics.Improved, After: visit(metrics.LimbFinding{Limb: traj.LeftFore}), Score: &metrics.Change{Before: est(1.7, 0.5), After: est(0.2, 0.2)}},
			"Better, still uneven on the left: the asymmetry score was 1.7 on 6 March, now 0.2, where 0 is even, a change beyond day-to-day variation."},
		{"still uneven", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.RightFore}), After: visit(metrics.LimbFinding{Limb: traj.RightFore})},
			"No measurable change since 6 March: signs still point to the right fore; smaller changes than day-to-day variation cannot be seen."},
		{"still uneven, less so", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.LeftFore}, short, nod(-42)), After: visit(metrics.LimbFinding{Limb: traj.LeftFore}, less, nod(-21)),
			Changes: []metrics.Change{unsure(nod(-42), nod(-21), 16), unsure(short, less, 0.06)}},
			"No measurable change since 6 March: signs still point to the left fore; they look smaller, but that may be chance or day-to-day variation."},
		{"still uneven, more so", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.LeftFore}, nod(-21)), After: visit(metrics.LimbFinding{Limb: traj.LeftFore}, nod(-42)),
			Changes: []metrics.Change{unsure(nod(-21), nod(-42), 16)}},
			"No measurable change since 6 March: signs still point to the left fore; they look larger, but that may be chance or day-to-day variation."},
		{"a side still uneven, less so", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x"}, nod(-42)),
			After: visit(metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x"}, nod(-21)), Changes: []metrics.Change{unsure(nod(-42), nod(-21), 16)}},
			"No measurable change since 6 March: still uneven on the left, fore or hind; it looks smaller, but that may be chance or day-to-day variation."},
		{"still uneven, one sign less and one more", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.LeftFore}, less, nod(-42)), After: visit(metrics.LimbFinding{Limb: traj.LeftFore}, short, nod(-21)),
			Changes: []metrics.Change{unsure(nod(-42), nod(-21), 16), unsure(less, short, 0.06)}},
			"No measurable change since 6 March: signs still point to the left fore; smaller changes than day-to-day variation cannot be seen."},
		{"still uneven, hardly less", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.LeftFore}, nod(-42)), After: visit(metrics.LimbFinding{Limb: traj.LeftFore}, nod(-38)),
			Changes: []metrics.Change{unsure(nod(-42), nod(-38), 16)}},
			"No measurable change since 6 March: signs still point to the left fore; smaller changes than day-to-day variation cannot be seen."},
		{"signs before, none now", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Limb: traj.LeftFore}, nod(-21)), After: visit(metrics.LimbFinding{}, nod(-4)), Changes: []metrics.Change{unsure(nod(-21), nod(-4), 16)}},
			"No measurable change since 6 March: signs pointed to the left fore then, to no limb now, but that may be chance or day-to-day variation."},
		{"a side before, nothing now", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x"}, nod(-21)), After: visit(metrics.LimbFinding{}, nod(-4)), Changes: []metrics.Change{unsure(nod(-21), nod(-4), 16)}},
			"No measurable change since 6 March: signs pointed to the left side then, to no limb now, but that may be chance or day-to-day variation."},
		{"even then and now", metrics.Comparison{Verdict: metrics.NoChange, Before: visit(metrics.LimbFinding{Even: true}), After: visit(metrics.LimbFinding{Even: true})},
			"No measurable change since 6 March: left and right were even then and are even now."},
		{"no change", metrics.Comparison{Verdict: metrics.NoChange}, "No measurable change since 6 March: what differs is within chance and day-to-day variation."},
		{"the followed leads", metrics.Comparison{Verdict: metrics.Improved, Sentence: "Improved: steps", Changes: []metrics.Change{
			{Name: metrics.StepLengthFore, Unit: "m", Before: est(0.1, 0.04), After: est(0.03, 0.03), Change: est(-0.07, 0.065), Judged: est(-0.07, 0.065), Verdict: metrics.Improved, Sentence: "Improved: steps", Followed: true},
			{Name: metrics.HeadLowDifference, Unit: "mm", Before: est(-43, 8), After: est(-5, 6), Change: est(38, 16), Judged: est(38, 16), Verdict: metrics.Improved},
		}}, "Better: the left fore’s step was 10 cm short on 6 March, now 3 cm, a change beyond day-to-day variation."},
		{"a surface of many words", metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{{Condition: metrics.SurfaceDiffers, Before: "the old sand arena behind the long barn, freshly watered and harrowed that morning", After: "the yard's own tarmac drive"}}},
			"The two visits cannot be compared: the surface differs; each is shown by itself."},
		{"another surface", metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{surface}},
			"The two visits cannot be compared: on sand before, on concrete now; each is shown by itself."},
		{"another surface, and ridden", metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{surface, {Condition: metrics.PresentationDiffers, Before: "led", After: "ridden"}}},
			"The two visits cannot be compared: on sand and led before, on concrete and ridden now; each is shown by itself."},
		{"everything is another", metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{{Condition: metrics.GaitDiffers, Before: "trot", After: "walk"}, {Condition: metrics.ViewDiffers, Before: "toward", After: "away"}, surface, {Condition: metrics.SpeedDiffers, Before: "3.10 m/s", After: "1.60 m/s"}}},
			"The two visits cannot be compared: the gait, the view, the surface and the speed differ; each is shown by itself."},
		{"nothing alike", metrics.Comparison{Verdict: metrics.NotComparable, Reasons: []string{"the surface was not recorded at both visits: compare only if it was the same"}},
			"The two visits cannot be compared: too little was measured alike at both; each is shown by itself."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { read(t, OfComparison(&tt.c, before), tt.want) })
	}
	surface.Before = "sand (wet)" // Brackets are those of whoever wrote it down.
	bracket := metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{surface}}
	if got, want := OfComparison(&bracket, before), "The two visits cannot be compared: on sand (wet) before, on concrete now; each is shown by itself."; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// TestEverySentenceIsShort draws visits of every kind: no sentence has more than 25 words
// or a bracket, and none is cut off.
func TestEverySentenceIsShort(t *testing.T) {
	names := []metrics.Name{}
	for _, q := range questions() {
		names = append(names, q.measures...)
	}
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-200, 200)
		visit := func(label string) metrics.Summary {
			s := metrics.Summary{Runs: rapid.IntRange(1, 6).Draw(t, label+"runs"), Strides: 10}
			for _, n := range names {
				if rapid.Bool().Draw(t, label+string(n)) {
					s.Results = append(s.Results, result(n, number.Draw(t, "v"), rapid.Float64Range(0.001, 90).Draw(t, "half"), rapid.Float64Range(0.01, 20).Draw(t, "tolerance")))
				} else {
					s.Results = append(s.Results, metrics.Result{Name: n, Reason: "not marked: left hind, right hind"})
				}
			}
			l := &s.Limb
			switch rapid.IntRange(0, 5).Draw(t, label+"finding") {
			case 0:
				l.Limb = rapid.SampledFrom([]traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind}).Draw(t, "limb")
			case 1:
				l.Even = true
			case 2:
				l.Undecided, l.Sentence = true, "signs point to the right side, the right fore or the right hind: x; neither withers nor croup settles which"
			case 3:
				l.Undecided = true
			case 4:
				l.Disagree = []string{"x"}
			}
			return s
		}
		x, y := visit("before"), visit("after")
		form(t, OfSummary(&x))
		c := metrics.Comparison{Before: x, After: y, Verdict: rapid.SampledFrom([]metrics.Verdict{metrics.Improved, metrics.Worse, metrics.Changed, metrics.NoChange, metrics.NotComparable}).Draw(t, "verdict")}
		c.Barriers = rapid.SliceOfN(rapid.SampledFrom([]metrics.Barrier{
			{Condition: metrics.GaitDiffers, Before: "trot", After: "walk"}, {Condition: metrics.ViewDiffers, Before: "toward", After: "away"},
			{Condition: metrics.SurfaceDiffers, Before: "sand", After: "concrete"}, {Condition: metrics.PresentationDiffers, Before: "led", After: "ridden"},
			{Condition: metrics.SpeedDiffers, Before: "3.10 m/s", After: "3.60 m/s"},
		}), 0, 5).Draw(t, "barriers")
		for i, r := range x.Results {
			if r.Value != nil && y.Results[i].Value != nil {
				c.Changes = append(c.Changes, change(r, y.Results[i], c.Verdict))
			}
		}
		form(t, OfComparison(&c, before))
		form(t, OfComparison(&c, time.Time{}))
		for _, r := range append(Rows(&x), ComparedRows(&c)...) {
			if r.Words == "" || strings.Contains(r.Words, "NaN") {
				t.Errorf("row %q says %q", r.Question, r.Words)
			}
		}
		if n := len(ComparedRows(&c)); n < 5 || n > MostRows+1 {
			t.Errorf("%d rows", n)
		}
	})
}

// TestHistoryRowsHaveOneScale checks that visits between are drawn in multiples of the same
// tolerance as the first and the last, and that one without the measure leaves a gap.
func TestHistoryRowsHaveOneScale(t *testing.T) {
	visit := func(v, tolerance float64) metrics.Summary {
		return metrics.Summary{Runs: 3, Strides: 20, Results: []metrics.Result{result(metrics.HeadLowDifference, v, 4, tolerance)}}
	}
	c := metrics.Comparison{Verdict: metrics.Improved, Before: visit(-40, 10), After: visit(-5, 8)}
	c.Changes = []metrics.Change{change(c.Before.Results[0], c.After.Results[0], metrics.Improved)}
	between := visit(-20, 5)
	rows := HistoryRows(&c, []*metrics.Summary{&between, {Runs: 2}})
	head := rows[0]
	if head.Question != "Head" || len(head.Between) != 2 || head.Between[1] != nil {
		t.Fatalf("%+v", head)
	}
	for _, b := range []struct {
		bar  *Bar
		want float64
	}{{head.Before, -4}, {head.Between[0], -2}, {head.Now, -0.5}} {
		if b.bar == nil || b.bar.Value != b.want {
			t.Errorf("bar %+v, want %g times the larger tolerance", b.bar, b.want)
		}
	}
}

// TestBarsPointToTheSideInWords checks, for every measure that a row may show, that its bar
// goes to the side that its words name. The signs are those of MEASURES.md: a step that is
// longer on the right (positive) leaves the left one the shorter.
func TestBarsPointToTheSideInWords(t *testing.T) {
	for _, q := range questions() {
		for _, n := range q.measures {
			d, _ := metrics.Define(n)
			even, _ := d.Even()
			for _, sign := range []float64{-1, 1} {
				t.Run(fmt.Sprint(n, sign), func(t *testing.T) {
					r := result(n, even+sign*20, 1, 2)
					row := rowOf(q, &r)
					side := "left"
					if row.Now.Value > 0 {
						side = "right"
					}
					words := row.Words
					switch n {
					case metrics.StepTimingFore, metrics.StepTimingHind:
						// A shorter step takes less time: where the right lands late, the left's is short.
						if late := strings.Contains(words, "late"); late != (side == "left") {
							t.Errorf("bar to the %s, words %q", side, words)
						}
						return
					}
					if !strings.Contains(words, side) || !row.Counts {
						t.Errorf("bar to the %s, words %q", side, words)
					}
					if n := Words(words); n < 3 || n > 7 {
						t.Errorf("%d words: %q", n, words)
					}
				})
			}
		}
	}
}

// TestRowsSayWhy checks what stands where nothing was measured or nothing is certain.
func TestRowsSayWhy(t *testing.T) {
	s := &metrics.Summary{Results: []metrics.Result{
		{Name: metrics.HeadLowDifference, Reason: "not marked: head"},
		result(metrics.CroupLowDifference, 1, 2, 5), result(metrics.StepLengthFore, 0.05, 0.2, 0.03),
		{Name: metrics.StepLengthHind, Reason: "no calibration (level none)"},
	}}
	want := map[string]string{
		"Head": "not measured: head not marked in the clip", "Croup and hips": "even", "Step length, fore": "not settled: too few strides",
		"Step length, hind": "not measured: no calibration", "Step timing": "not measured",
	}
	rows := Rows(s)
	if len(rows) != len(want) {
		t.Errorf("%d rows", len(rows))
	}
	for _, r := range rows {
		if r.Words != want[r.Question] {
			t.Errorf("%s: %q, want %q", r.Question, r.Words, want[r.Question])
		}
	}
}

// TestSaysFollowsTheInterval checks where each kind of row begins and ends, and that words
// and bar agree: "even" only of an interval within the tolerance.
func TestSaysFollowsTheInterval(t *testing.T) {
	for _, tt := range []struct {
		name        string
		value, half float64 // mm; the tolerance is 10.
		says        Says
		words       string
		enough      int // Of runs like the two there were.
	}{
		{"the interval leaves out even, the value passes the tolerance", -43, 8, Uneven, "43 mm higher over left fore", 0},
		{"all within the tolerance", 2, 7.9, EvenSurely, "even", 0},
		{"leaves the tolerance, by less than as much again", 2, 12, EvenSoFar, "roughly even", 0},
		{"leaves out even, but small", 8, 7, EvenSoFar, "roughly even", 0},
		// Half of 40 mm is wanted, for the value is even: four times the runs.
		{"reaches far", 0, 40, Unsettled, "not settled: too few strides", 8},
		// 15 mm leaves out even where half the interval is below that: (30/15)².
		{"large and unsure", 15, 30, Unsettled, "not settled: too few strides", 8},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := result(metrics.HeadLowDifference, tt.value, tt.half, 10)
			row := rowOf(question{}, &r)
			if got := strings.ReplaceAll(row.Words, "\u00a0", " "); row.Now.Says != tt.says || got != tt.words || row.Enough != tt.enough {
				t.Errorf("says %d, %q, %d runs; want %d, %q, %d", row.Now.Says, got, row.Enough, tt.says, tt.words, tt.enough)
			}
			if row.Counts != (tt.says == Uneven) {
				t.Error("the row counts, or does not, against what it says")
			}
		})
	}
}

// TestAChangeShowsHowSureItIs checks that two changes of one size, of which one counts and
// the other does not, differ in what stands beside them.
func TestAChangeShowsHowSureItIs(t *testing.T) {
	c := func(half float64, v metrics.Verdict) *metrics.Change {
		return &metrics.Change{Name: metrics.StepLengthFore, Unit: "m", Before: est(0.10, 0.02), After: est(0.03, 0.02), Change: est(-0.067, half), Judged: est(-0.067, half), Verdict: v}
	}
	for _, tt := range []struct {
		change *metrics.Change
		want   string
	}{
		{c(0.03, metrics.Improved), "7 ± 3 cm"},
		{c(0.09, metrics.NoChange), "7 ± 9 cm"},
		{c(0.0660, metrics.Improved), "6.7 ± 6.6 cm"}, // Whole centimetres would hide which is larger.
		{c(0.09, metrics.NotJudged), ""},
		{&metrics.Change{Name: metrics.StepLengthFore, Unit: "m", Change: est(-0.067, 0.05), Judged: est(-0.067, 0.08), Verdict: metrics.NoChange}, "7 ± 8 cm"}, // The verdict's.
	} {
		if got := strings.ReplaceAll(plusMinus(tt.change), "\u00a0", " "); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// TestWhatIsNotSettledIsNotPutIntoWords: of a measure that is only described a side is named
// where a bar shows one, not where both are dashed.
func TestWhatIsNotSettledIsNotPutIntoWords(t *testing.T) {
	cm := func(v, half float64) metrics.Result { return result(metrics.QuartersToSide, v, half, 2) }
	for _, tt := range []struct {
		before, after metrics.Result
		want, note    string
	}{
		{cm(3, 4), cm(-1, 4), "not settled, both times: too few strides", ""},
		{cm(3, 1), cm(-1, 4), "quarters 3.0 cm to the right; now not settled", notJudged},
		{cm(3, 4), cm(3, 1), "not settled; now quarters 3.0 cm to the right", notJudged},
		{cm(5, 1), cm(3, 1), "quarters 5.0 cm to the right, now 3.0 cm", notJudged},
	} {
		// The visits' own intervals are narrower: a run's holds for that run alone.
		b, a := tt.before, tt.after
		b.Beyond, a.Beyond = true, true
		c := &metrics.Comparison{Before: metrics.Summary{Results: []metrics.Result{b}}, After: metrics.Summary{Results: []metrics.Result{a}}, Changes: []metrics.Change{change(b, a, metrics.NotJudged)}}
		for _, row := range ComparedRows(c) {
			if row.Measure != metrics.QuartersToSide {
				continue
			}
			if got := strings.ReplaceAll(row.Words, "\u00a0", " "); got != tt.want || row.Note != tt.note {
				t.Errorf("%q and %q, want %q and %q", got, row.Note, tt.want, tt.note)
			}
		}
	}
}

// TestSevenRowsAtMost checks that of eight measured questions the one that shows nothing
// uneven and may be missing gives way, and that none does that is uneven.
func TestSevenRowsAtMost(t *testing.T) {
	all := func(withers, shoulder, quarters float64) []Row {
		s := &metrics.Summary{}
		for _, q := range questions() {
			v, even := 0.0, 0.0
			d, _ := metrics.Define(q.measures[0])
			even, _ = d.Even()
			switch q.words {
			case "Withers":
				v = withers
			case "Shoulder and trunk":
				v = shoulder
			case "Quarters":
				v = quarters
			}
			s.Results = append(s.Results, result(q.measures[0], even+v, 1, 2))
		}
		return Rows(s)
	}
	for _, tt := range []struct {
		name                        string
		withers, shoulder, quarters float64
		without                     string
		rows                        int
	}{
		{"all even", 0, 0, 0, "Withers", 7}, {"withers uneven", 9, 0, 0, "Shoulder and trunk", 7}, {"withers and shoulder uneven", 9, 9, 0, "Quarters", 7}, {"all uneven", 9, 9, 9, "none", 8},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rows := all(tt.withers, tt.shoulder, tt.quarters)
			if len(rows) != tt.rows {
				t.Errorf("%d rows", len(rows))
			}
			for _, r := range rows {
				if r.Question == tt.without {
					t.Errorf("%s is there", r.Question)
				}
			}
		})
	}
}

// TestAHindExplainsHeadAndWithers checks that on the page of a hind the bars over the fores
// say what they have to do with it, and on that of a fore they say nothing more.
func TestAHindExplainsHeadAndWithers(t *testing.T) {
	notes := func(limb traj.Landmark, withers float64) string {
		s := &metrics.Summary{Limb: metrics.LimbFinding{Limb: limb}, Results: []metrics.Result{
			result(metrics.HeadLowDifference, 29, 5, 13), result(metrics.WithersLowDifference, withers, 2, 4), result(metrics.CroupLowDifference, 20, 5, 5), result(metrics.ShoulderLift, -3.6*withers, 5, 10)}}
		text := ""
		for _, r := range Rows(s) {
			text += strings.TrimSuffix(r.Fits+": "+r.Note, ": ") + "|"
			text = strings.ReplaceAll(text, "|: ", "|")
			if pale := r.Now != nil && r.Now.Explained; pale != (r.Fits != "" && r.Note != "") || pale != r.Explained() {
				t.Errorf("%s: drawn pale %v, fits %q, note %q", r.Question, pale, r.Fits, r.Note)
			}
		}
		return strings.TrimRight(text, "|")
	}
	if got, want := notes(traj.RightHind, -9), "fits the right hind||fits the right hind: the head nods with it|fits the right hind: withers the other way|||fits the right hind: goes with the withers"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := notes(traj.RightHind, 9), "fits the right hind||fits the right hind: the head nods with it||||not judged: whether it goes with lameness is not known"; got != want {
		t.Errorf("withers with the head: %q, want %q", got, want)
	}
	if got, want := notes(traj.RightFore, 9), "||||||not judged: whether it goes with lameness is not known"; got != want {
		t.Errorf("a fore: %q, want %q", got, want)
	}
}

// allAsked answers the five questions that every page has; the last so many are not settled.
func allAsked(open int) []metrics.Result {
	var out []metrics.Result
	names := []metrics.Name{metrics.HeadLowDifference, metrics.CroupLowDifference, metrics.StepLengthFore, metrics.StepLengthHind, metrics.StepTimingFore}
	for i, n := range names {
		d, _ := metrics.Define(n)
		even, _ := d.Even()
		half := 1.0
		if i >= len(names)-open {
			half = 50
		}
		out = append(out, result(n, even, half, 5))
	}
	return out
}

// TestAHindExplainsAChange checks that in a comparison and a history, too, each visit's bars
// that its hind explains are marked.
func TestAHindExplainsAChange(t *testing.T) {
	visit := func(limb traj.Landmark, head float64) metrics.Summary {
		return metrics.Summary{Runs: 3, Strides: 20, Limb: metrics.LimbFinding{Limb: limb}, Results: []metrics.Result{result(metrics.HeadLowDifference, head, 4, 10)}}
	}
	c := metrics.Comparison{Verdict: metrics.NoChange, Before: visit(traj.RightHind, 40), After: visit(traj.RightFore, 40)}
	c.Changes = []metrics.Change{change(c.Before.Results[0], c.After.Results[0], metrics.NoChange)}
	between := visit(traj.RightHind, 30)
	for _, r := range HistoryRows(&c, []*metrics.Summary{&between}) {
		if r.Question != "Head" {
			continue
		}
		if !r.Before.Explained || !r.Between[0].Explained || r.Now.Explained || r.Explained() || r.Fits != "fits the right hind" {
			t.Errorf("before %v, between %v, now %v, all %v, %q", r.Before.Explained, r.Between[0].Explained, r.Now.Explained, r.Explained(), r.Fits)
		}
	}
}

// TestAHistorySaysAtWhichVisitsNothingWasMeasured checks the words where more than two visits
// stand on the page.
func TestAHistorySaysAtWhichVisitsNothingWasMeasured(t *testing.T) {
	c := metrics.Comparison{Verdict: metrics.NoChange, Changes: []metrics.Change{{Name: metrics.QuartersToSide, Verdict: metrics.NotComparable, Reason: "not measured at either visit: x"}}}
	with := &metrics.Summary{Results: []metrics.Result{result(metrics.QuartersToSide, 0, 1, 3)}}
	for _, tt := range []struct {
		between []*metrics.Summary
		want    string
	}{
		{nil, "not measured at either visit: x"}, {[]*metrics.Summary{{}}, "not measured at any visit: x"}, {[]*metrics.Summary{{}, with}, "not measured at the first and the last visit: x"},
	} {
		for _, r := range HistoryRows(&c, tt.between) {
			if r.Question == "Quarters" && r.Words != tt.want {
				t.Errorf("%q, want %q", r.Words, tt.want)
			}
		}
	}
}

// TestPagesThatNameASideSayHowOftenThatMisleads checks that the caution stands once on every
// page where signs point to a limb or a side at one of its visits.
func TestPagesThatNameASideSayHowOftenThatMisleads(t *testing.T) {
	limb := &metrics.Summary{Runs: 3, Strides: 20, Limb: metrics.LimbFinding{Limb: traj.LeftFore}}
	side := &metrics.Summary{Runs: 1, Strides: 5, Limb: metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x"}}
	none := &metrics.Summary{Runs: 3, Strides: 20}
	for _, visits := range [][]*metrics.Summary{{limb}, {side}, {none}, {none, limb}, {limb, none}, {none, none}} {
		sentence := OfSummary(visits[0])
		if len(visits) > 1 {
			sentence = OfComparison(&metrics.Comparison{Verdict: metrics.Worse, Before: *visits[0], After: *visits[1]}, before)
		}
		wanted := 0
		for _, v := range visits {
			if v != none {
				wanted = 1
			}
		}
		if len(visits) > 1 && strings.Contains(OfOneOfTwo(visits[0])+OfOneOfTwo(visits[1]), "mislead") {
			t.Error("a visit beside another has the caution by itself, too")
		}
		if page := sentence + Mislead(sentence, visits...); strings.Count(page, "mislead") != wanted {
			t.Errorf("%q, want %d cautions", page, wanted)
		}
	}
}

// TestCarriedNamesTheLimbInDoubt checks that it is said of what the page shows, and not of a
// head that a hind explains.
func TestCarriedNamesTheLimbInDoubt(t *testing.T) {
	head, croup := result(metrics.HeadLowDifference, 29, 5, 13), result(metrics.CroupLowDifference, 20, 5, 5)
	for _, tt := range []struct {
		name        string
		limb        traj.Landmark
		results     []metrics.Result
		fore, croup bool
	}{
		{"a nod", traj.RightFore, []metrics.Result{head}, true, false}, {"a hind", traj.RightHind, []metrics.Result{head, croup}, false, true}, {"a nod of fore or hind", "", []metrics.Result{head}, true, false},
		{"even", "", []metrics.Result{result(metrics.HeadLowDifference, 2, 5, 13)}, false, false},
	} {
		s := &metrics.Summary{Limb: metrics.LimbFinding{Limb: tt.limb, Undecided: tt.limb == ""}, Results: tt.results}
		said := strings.Join(Carried(Rows(s), s), " ")
		if strings.Contains(said, "or the hind of its side") != (tt.fore && tt.limb == "") {
			t.Errorf("%s: %q", tt.name, said)
		}
		if strings.Contains(said, "sore fore stands") != tt.fore || strings.Contains(said, "sore hind stands") != tt.croup {
			t.Errorf("%s: %q", tt.name, said)
		}
	}
}

// A change may be sure though the value before it was not: the row says so of that value.
func TestRowOfAnUnsettledValueBefore(t *testing.T) {
	for _, tt := range []struct {
		name   string
		half   float64 // Of the interval before, m.
		before string
	}{
		{"settled", 0.03, "left step 10 cm shorter"},
		{"not settled", 0.15, "left step 10 cm shorter (not settled)"},
	} {
		b, a := result(metrics.StepLengthFore, 0.10, tt.half, 0.03), result(metrics.StepLengthFore, -0.08, 0.02, 0.03)
		ch := change(b, a, metrics.Changed)
		got := strings.ReplaceAll(fromTo(&ch, bar(ch.Name, ch.Before, 0.03), bar(ch.Name, ch.After, 0.03)), "\u00a0", " ")
		if want := tt.before + ", now 8 cm the other way"; got != want {
			t.Errorf("%s: %q, want %q", tt.name, got, want)
		}
	}
}
