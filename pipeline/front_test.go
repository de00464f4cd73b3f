package pipeline

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/track/traj"
)

// filmedVisit is a visit with so many runs of each view.
func filmedVisit(toward, away int, level geometry.Level, page record.Visit) *Visit {
	v := &Visit{Around: &Surroundings{Folder: "/yard/horses/sorrel/2026-05-04", Visit: page}}
	for i := range toward + away {
		r := &record.Result{Run: metrics.Run{View: traj.Toward, Level: level}}
		if i >= toward {
			r.Run.View = traj.Away
		}
		v.Results = append(v.Results, VisitResult{Result: r})
	}
	return v
}

func answered(n metrics.Name, value, half, tolerance float64, runs int) metrics.Result {
	d, _ := metrics.Define(n)
	even, _ := d.Even()
	off := value - even
	return metrics.Result{Name: n, Unit: d.Unit, Runs: runs, Tolerance: tolerance, Value: &metrics.Estimate{Value: value, Low: value - half, High: value + half},
		Beyond: (off > tolerance || -off > tolerance) && (off > half || -off > half)}
}

// TestNextFollowsFromWhatIsOpen checks that what to film next answers what this visit left
// open, and nothing else.
func TestNextFollowsFromWhatIsOpen(t *testing.T) {
	settled := []metrics.Result{
		answered(metrics.HeadLowDifference, 2, 5, 13, 3), answered(metrics.CroupLowDifference, 1, 3, 5, 3), answered(metrics.StepLengthFore, 0.01, 0.02, 0.03, 3),
		answered(metrics.StepLengthHind, 0.01, 0.02, 0.03, 3), answered(metrics.StepTimingFore, 50, 0.8, 1, 3), answered(metrics.QuartersToSide, 0, 1, 3, 3),
	}
	with := func(changed ...metrics.Result) []metrics.Result {
		out := append([]metrics.Result(nil), settled...)
		for _, c := range changed {
			for i := range out {
				if out[i].Name == c.Name {
					out[i] = c
				}
			}
		}
		return out
	}
	missing := func(n metrics.Name, reason string) metrics.Result { return metrics.Result{Name: n, Reason: reason} }
	gravel := record.Visit{Surface: "gravel"}
	for _, tt := range []struct {
		name    string
		visit   *Visit
		results []metrics.Result
		limb    metrics.LimbFinding
		want    string
	}{
		{"nothing is open", filmedVisit(3, 3, geometry.LevelMetric, gravel), settled, metrics.LimbFinding{},
			"Nothing was left open: 3 runs each way on gravel, at the trot, at the same speed compare with this visit."},
		// The interval of ± 9 cm must become ± 6 cm, twice the tolerance: (9/6)² · 3 runs.
		{"steps of the hinds", filmedVisit(3, 3, geometry.LevelMetric, gravel), with(answered(metrics.StepLengthHind, 0, 0.09, 0.03, 3)), metrics.LimbFinding{},
			"Film about 7 runs away from the camera, not three, to settle the length of the hind steps. Film again on gravel, at the trot, at the same speed."},
		{"beyond what can be asked for", filmedVisit(3, 3, geometry.LevelMetric, gravel), with(answered(metrics.HeadLowDifference, 0, 80, 13, 3)), metrics.LimbFinding{},
			"The head would take more than 8 runs to settle; marks in frames in which the horse is near the camera help, too. Film again on gravel, at the trot, at the same speed."},
		{"one view alone", filmedVisit(2, 0, geometry.LevelMetric, record.Visit{NextCheck: "2026-06-01"}), with(missing(metrics.CroupLowDifference, "not marked: croup"), missing(metrics.StepLengthHind, "not marked: right-hind")), metrics.LimbFinding{Undecided: true},
			"Show this to a veterinarian, who diagnoses: signs point to fore and hind. Film 3 runs toward the camera, not two. Film 3 runs away from the camera, too: without them croup, hips and hind steps are not known. Mark the withers in the clip, too. " +
				"Film again on the same ground, noted down, at the trot, at the same speed. Next check: 1 June 2026."},
		{"a mark is missing", filmedVisit(3, 3, geometry.LevelMetric, gravel), with(missing(metrics.HeadLowDifference, "not marked: head")), metrics.LimbFinding{},
			"Mark the head in the clip, too. Film again on gravel, at the trot, at the same speed."},
		{"no ground marks", filmedVisit(3, 3, geometry.LevelNone, gravel), settled, metrics.LimbFinding{},
			"Lay four cones or chalk crosses on the ground, as the film guide shows, and mark them in the clip: without them there are no lengths. Film again on gravel, at the trot, at the same speed."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := strings.Join(append(askVet(tt.limb, nil), nextRuns(&metrics.Summary{Gait: traj.Trot, Results: tt.results, Limb: tt.limb}, tt.visit)...), " ")
			if got != tt.want {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
	surface := metrics.Barrier{Condition: metrics.SurfaceDiffers, Before: "sand", After: "tarmac"}
	presented := metrics.Barrier{Condition: metrics.PresentationDiffers, Before: "led", After: "ridden"}
	for _, tt := range []struct {
		name  string
		apart []metrics.Barrier
		want  string
	}{
		{"two surfaces", []metrics.Barrier{surface}, "To compare, film again on sand as on 2 April, or on tarmac as on 4 May."},
		{"led, then ridden", []metrics.Barrier{presented}, "To compare, film again led as on 2 April, or ridden as on 4 May."},
		{"two surfaces, and led, then ridden", []metrics.Barrier{surface, presented},
			"To compare, film again on sand and led as on 2 April, or on tarmac and ridden as on 4 May."},
		{"too little was measured alike", nil, "Nothing was left open: 3 runs each way on tarmac, at the trot, at the same speed compare with this visit."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b, a := filmedVisit(3, 3, geometry.LevelMetric, record.Visit{}), filmedVisit(3, 3, geometry.LevelMetric, record.Visit{Surface: "tarmac"})
			b.Around.Folder = "/yard/horses/sorrel/2026-04-02"
			c := &metrics.Comparison{Verdict: metrics.NotComparable, Barriers: tt.apart, After: metrics.Summary{Gait: traj.Trot, Results: settled}}
			if got := strings.Join(nextCompared(c, b, a), " "); got != tt.want {
				t.Errorf("got  %q\nwant %q", got, tt.want)
			}
		})
	}
	t.Run("ridden", func(t *testing.T) {
		v := filmedVisit(3, 3, geometry.LevelMetric, record.Visit{Surface: "gravel", Presented: record.Ridden})
		if got, want := strings.Join(nextRuns(&metrics.Summary{Gait: traj.Trot, Results: settled}, v), " "),
			"Nothing was left open: 3 runs each way on gravel, ridden at the trot, at the same speed compare with this visit."; got != want {
			t.Errorf("got  %q\nwant %q", got, want)
		}
	})
}

// TestWhatMustWaitForAVeterinarianComesFirst checks that a horse that must not trot is sent
// to trot by no page, that a sore spot is named, and that both stand before all else.
func TestWhatMustWaitForAVeterinarianComesFirst(t *testing.T) {
	grade := func(g int) *int { return &g }
	spot := []record.Palpation{{Region: "triceps", Side: traj.Right, Soreness: 4}, {Region: "loin", Side: traj.Left, Soreness: 3}}
	const trot, treat = "Do not trot this horse. Ask the veterinarian first.", "Felt as not to be touched: triceps, right. Do not treat that spot until a veterinarian has seen the horse."
	const ask = "Show this to a veterinarian, who diagnoses: signs point to the left fore."
	for _, tt := range []struct {
		name  string
		page  record.Visit
		want  string
		films bool
	}{
		{"grade 3", record.Visit{AAEPGrade: grade(3)}, ask, true},
		{"grade 4", record.Visit{AAEPGrade: grade(4), NextCheck: "2026-06-01"}, trot + " " + ask + " Next check: 1 June 2026.", false},
		{"a limb that was refused", record.Visit{Motion: []record.Motion{{Limb: "fore", Side: traj.Left, Direction: "back", Ease: "refused"}}}, trot + " " + ask, false},
		{"a limb that moves less", record.Visit{Motion: []record.Motion{{Limb: "fore", Side: traj.Left, Direction: "back", Ease: "less"}}}, ask, true},
		{"a spot", record.Visit{Palpation: spot}, treat + " " + ask, true},
		{"both", record.Visit{AAEPGrade: grade(5), Palpation: spot}, trot + " " + treat + " " + ask, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			limb := metrics.LimbFinding{Limb: traj.LeftFore}
			b, v := filmedVisit(3, 3, geometry.LevelMetric, record.Visit{}), filmedVisit(1, 0, geometry.LevelNone, tt.page)
			s := metrics.Summary{Gait: traj.Trot, Limb: limb}
			c := &metrics.Comparison{Verdict: metrics.NotComparable, Barriers: []metrics.Barrier{{Condition: metrics.SurfaceDiffers, Before: "sand", After: "tarmac"}}, After: s}
			for name, next := range map[string][]string{"visit": nextRuns(&s, v), "comparison": nextCompared(c, b, v)} {
				got := strings.Join(advice(v, askVet(limb, nil), next), " ")
				if !strings.HasPrefix(got, tt.want) || !tt.films && got != tt.want || tt.films != strings.Contains(strings.ToLower(got), "film") {
					t.Errorf("%s: %q", name, got)
				}
			}
			r := &record.Result{Run: v.Results[0].Run}
			if got := strings.Join(clipNext(r, &Surroundings{Folder: "/films", Visit: tt.page}), " "); tt.films != strings.Contains(got, "film again") || tt.films == strings.Contains(got, trot) {
				t.Errorf("clip: %q", got)
			}
		})
	}
	noted := notedBeside(&record.Visit{}, &record.Visit{AAEPGrade: grade(5), GradedBy: "Dr. Hale"})
	if len(noted) != 1 || noted[0].What != "Veterinarian's grade (AAEP, 0 to 5)" || strings.Join(noted[0].Texts, "|") != "|5, by Dr. Hale" {
		t.Errorf("written down: %+v", noted)
	}
}

// TestNextOfAClipFollowsFromWhatItLacks checks what is said of one clip: to film again only
// where no visit's page says what to film, by what this clip lacks, and nothing but a check
// of the marks where left and right may be swapped.
func TestNextOfAClipFollowsFromWhatItLacks(t *testing.T) {
	poor := &record.Result{Run: metrics.Run{View: traj.Toward, Level: "none", Strides: make([]metrics.Stride, 2)}, Clip: record.ClipFacts{Width: 640, Height: 360, ShakePX: 4}}
	const marked = "If four cones or chalk crosses lie on the ground in this clip, mark them: without them there are no lengths. "
	good := &record.Result{Run: metrics.Run{View: traj.Toward, Level: geometry.LevelMetric, Strides: make([]metrics.Stride, 9)}, Clip: record.ClipFacts{Width: 1920, Height: 1080}}
	swapped := &record.Result{Run: poor.Run, Clip: poor.Clip, Doubts: []record.Doubt{{Kind: "sides", Severity: record.SecondLook, Sentence: "The hinds land across the midline.", Check: "Look."}}}
	swapped.Tracking.Advice = []record.Advice{{Frame: 110, Landmark: traj.RightHind}}
	for _, tt := range []struct {
		name, folder string
		r            *record.Result
		want         string
	}{
		{"a poor clip by itself", "/films", poor, marked + "What would help: film again, a longer pass (8 or more strides, here 2), at 1080p or more (here 640 × 360 px), " +
			"with the phone on a tripod or leaned on something firm, with four cones or chalk crosses on the ground in the picture. One run shows that run alone."},
		{"a poor clip of a visit", "/yard/horses/sorrel/2026-05-04", poor, marked + "One run shows that run alone; the visit’s page has all of them."},
		{"a good clip by itself", "/films", good, "One run shows that run alone."},
		{"swapped sides", "/films", swapped, "The hinds land across the midline. Check left and right in the marks, then measure again."},
	} {
		if got := strings.Join(clipNext(tt.r, &Surroundings{Folder: tt.folder}), " "); got != tt.want {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// TestANextCheckBeforeTheVisitIsToldAndNotUsed checks that a page with such a date is read,
// and that no report plans a check by it.
func TestANextCheckBeforeTheVisitIsToldAndNotUsed(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "2026-05-04")
	if err := os.MkdirAll(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	for date, before := range map[string]bool{"2026-05-03": true, "2026-05-04": false, "2026-06-01": false} {
		if err := os.WriteFile(filepath.Join(folder, record.VisitFile), []byte("next_check = \""+date+"\"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		around, err := Look(folder)
		if err != nil {
			t.Fatal(err)
		}
		if told := strings.Contains(strings.Join(around.Warnings, " "), "next_check "+date+" is before the visit"); told != before {
			t.Errorf("%s: %q", date, around.Warnings)
		}
		if next := nextCheck(&Visit{Around: around}); (len(next) == 0) != before {
			t.Errorf("%s: %q", date, next)
		}
		if facts := fmt.Sprint(visitFacts(around)); strings.Contains(facts, "before the visit: not used") != before {
			t.Errorf("%s: %s", date, facts)
		}
	}
}

// TestAFollowedThatIsNoMeasureIsToldAndNotUsed checks that a page which declares what no version
// measures, or none any more, is read, and that nothing is followed by it.
func TestAFollowedThatIsNoMeasureIsToldAndNotUsed(t *testing.T) {
	for followed, unknown := range map[metrics.Name]bool{"grace": true, metrics.StepLengthFore: false, "": false} {
		folder := t.TempDir()
		if err := os.WriteFile(filepath.Join(folder, record.VisitFile), []byte("followed = \""+string(followed)+"\"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		around, err := Look(folder)
		if err != nil {
			t.Fatal(err)
		}
		if told := strings.Contains(strings.Join(around.Warnings, " "), "followed grace is no measure"); told != unknown {
			t.Errorf("%q: %q", followed, around.Warnings)
		}
		if kept := around.Visit.Followed == followed; kept == unknown {
			t.Errorf("%q: %q is followed", followed, around.Visit.Followed)
		}
	}
}

// TestAVeterinarianIsAskedForUntilSignsAreSurelyGone checks who is asked for, and why, by the
// last visit and by those before it, the latest first.
func TestAVeterinarianIsAskedForUntilSignsAreSurelyGone(t *testing.T) {
	none, fore, hind := metrics.LimbFinding{}, metrics.LimbFinding{Limb: traj.LeftFore}, metrics.LimbFinding{Limb: traj.RightHind}
	side := metrics.LimbFinding{Undecided: true, Sentence: "signs point to the left side, the left fore or the left hind: x"}
	const ask = "Show this to a veterinarian, who diagnoses: "
	for _, tt := range []struct {
		name    string
		now     metrics.LimbFinding
		earlier []earlierVisit
		want    string
	}{
		{"nothing ever", none, []earlierVisit{{"20 March", none, metrics.NoChange}}, ""},
		{"a limb now", fore, nil, ask + "signs point to the left fore."},
		{"a limb still, though better", fore, []earlierVisit{{"20 March", fore, metrics.Improved}}, ask + "signs point to the left fore."},
		{"a side now", side, nil, ask + "signs point to the left side."},
		{"a limb before, nothing sure since", none, []earlierVisit{{"20 March", fore, metrics.NoChange}}, ask + "signs pointed to the left fore on 20 March, and no comparison since then shows that they are less."},
		{"not to be compared", none, []earlierVisit{{"20 March", fore, metrics.NotComparable}}, ask + "signs pointed to the left fore on 20 March, and no comparison since then shows that they are less."},
		{"surely better since the visit before that", none, []earlierVisit{{"20 March", fore, metrics.NoChange}, {"6 March", fore, metrics.Improved}}, "Compared with the visit of 6 March it is better: the whole 95 % interval of the change is for the better."},
		{"surely better since then", none, []earlierVisit{{"6 March", fore, metrics.Improved}}, ""},
		{"another limb is better", none, []earlierVisit{{"20 March", hind, metrics.NoChange}, {"6 March", fore, metrics.Improved}}, ask + "signs pointed to the right hind on 20 March, and no comparison since then shows that they are less."},
		{"worse", fore, []earlierVisit{{"20 March", none, metrics.NoChange}, {"6 March", none, metrics.Worse}}, "The horse has become worse since 6 March: have a veterinarian look at it before it goes on working."},
	} {
		if got := strings.Join(askVet(tt.now, tt.earlier), " "); got != tt.want {
			t.Errorf("%s:\ngot  %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// TestEachVisitHasItsNotesAndGrades checks that what was written down at a visit between two
// others stands between theirs.
func TestEachVisitHasItsNotesAndGrades(t *testing.T) {
	visit := func(work string, grade int) *record.Visit {
		v := &record.Visit{Function: record.Function{Work: work}}
		if grade >= 0 {
			v.Palpation = []record.Palpation{{Region: "withers", Side: traj.Middle, Soreness: grade}}
		}
		return v
	}
	visits := []*record.Visit{visit("short", 3), visit("wide circles", 2), visit("", -1)}
	if got := notedBeside(visits...); len(got) != 1 || strings.Join(got[0].Texts, "|") != "short|wide circles|" {
		t.Errorf("%+v", got)
	}
	figures, err := feltFigure(visits, []string{"first", "20 March", "last"})
	if err != nil || len(figures) != 1 || figures[0].Figure == nil {
		t.Fatalf("%v, %v", figures, err)
	}
	if got, want := figures[0].Figure.Description, "withers first 3, 20 March 2, last not checked"; !strings.Contains(got, want) {
		t.Errorf("%q lacks %q", got, want)
	}
}

// TestEarlierResultsAreThoseOfTheLatestVisitsBefore checks on which results a visit's page
// rests beside its own: a page older than one of them is made anew.
func TestEarlierResultsAreThoseOfTheLatestVisitsBefore(t *testing.T) {
	horse := t.TempDir()
	for day := 1; day <= 9; day++ {
		out := filepath.Join(horse, fmt.Sprintf("2026-03-0%d", day), "toward-1.out")
		if err := os.MkdirAll(out, 0o755); err != nil {
			t.Fatal(err)
		}
		if day == 5 {
			continue // Not measured.
		}
		if err := os.WriteFile(filepath.Join(out, record.ResultFile), nil, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	var days []string
	for _, r := range EarlierResults(filepath.Join(horse, "2026-03-08")) {
		days = append(days, filepath.Base(filepath.Dir(filepath.Dir(r))))
	}
	if got, want := strings.Join(days, " "), "2026-03-07 2026-03-06 2026-03-04 2026-03-03 2026-03-02"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// TestHistoryHasPicturesOfItsVisits checks that a history's first page has a picture of the
// first visit, of those shown between, and of the last, in order of time and in one view; a
// visit without one is passed over.
func TestHistoryHasPicturesOfItsVisits(t *testing.T) {
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 8, 6)), nil); err != nil {
		t.Fatal(err)
	}
	visit := func(day string, views ...traj.View) *pastVisit {
		folder := filepath.Join(t.TempDir(), day)
		v := &Visit{Around: &Surroundings{Folder: folder}}
		for _, view := range views {
			out := filepath.Join(folder, string(view)+".out")
			if err := os.MkdirAll(out, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(out, stillFile), jpg.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			v.Results = append(v.Results, VisitResult{Folder: out, Result: &record.Result{Run: metrics.Run{View: view}}})
		}
		return &pastVisit{Visit: v, sum: &metrics.Summed{Summary: &metrics.Summary{}}}
	}
	first, last := visit("2026-03-06", traj.Toward, traj.Away), visit("2026-04-03", traj.Away, traj.Toward)
	var front report.Front
	comparedStills(&front, first.Visit, last.Visit, &metrics.Comparison{}, [2]string{"first", "last"}, visit("2026-03-13", traj.Away), visit("2026-03-20", traj.Toward))
	var titles []string
	for _, s := range front.Stills {
		titles = append(titles, s.Title)
	}
	if got, want := strings.Join(titles, "; "), "First, 6 March; 20 March; Last, 3 April"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
