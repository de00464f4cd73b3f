package plots

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"jogstrip/metrics"
)

// manyVisits is a horse seen every week, seeded.
func manyVisits(n int) []HistoryPoint {
	r := rand.New(rand.NewPCG(1, 1))
	start := time.Date(2021, 3, 1, 0, 0, 0, 0, time.UTC)
	regions := []string{"shoulder blade, rear, left", "base of the neck, left", "withers", "loin", "croup, right", "hamstrings, right", "triceps, left", "poll"}
	var out []HistoryPoint
	for i := range n {
		sev := 0.6 + 0.6*math.Sin(float64(i)/17) + 0.15*r.NormFloat64()
		s := sampleSummary(math.Max(0, sev))
		p := HistoryPoint{Date: start.AddDate(0, 0, 7*i+r.IntN(4)), Summary: &s}
		for _, g := range regions {
			if r.Float64() < 0.4 {
				p.Soreness = append(p.Soreness, Soreness{Region: g, Grade: float64(r.IntN(5))})
			}
		}
		if r.Float64() < 0.6 {
			p.Treatments = append(p.Treatments, "massage")
		}
		if r.Float64() < 0.3 {
			p.Treatments = append(p.Treatments, fmt.Sprintf("stretching and laser, plan %d", r.IntN(12)))
		}
		out = append(out, p)
	}
	return out
}

// TestManyVisitsStayReadable draws what 250 visits of five years bring: no more labels on
// the date axis than have room, no sign for each visit, a bar as high as the grade, and
// rare treatments together in one row.
func TestManyVisitsStayReadable(t *testing.T) {
	points := manyVisits(250)
	f, err := History(points, HistoryOptions{Followed: []metrics.Name{metrics.StepLengthFore, metrics.HeadLowDifference}})
	if err != nil {
		t.Fatal(err)
	}
	var svg strings.Builder
	if err := f.SVG(&svg); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(svg.String(), "<text"); n > 80 {
		t.Errorf("%d texts", n)
	}
	if !strings.Contains(svg.String(), "4 others") || strings.Contains(svg.String(), "2022-01") {
		t.Error("rare treatments have rows of their own, or single visits have labels")
	}
	if dir := os.Getenv("JOGSTRIP_LOOK"); dir != "" {
		w, err := os.Create(filepath.Join(dir, "history-250.png"))
		if err == nil {
			err = errors.Join(f.PNG(w), w.Close())
		}
		if err != nil {
			t.Error(err)
		}
	}
	few, err := History(points[:20], HistoryOptions{})
	if err != nil {
		t.Fatal(err)
	}
	svg.Reset()
	if err := few.SVG(&svg); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(svg.String(), "2021-03-0") {
		t.Error("of few visits each has its date")
	}
}

// TestCalendarTicks checks that labels are few and far enough apart from two weeks to
// thirty years, and that each stands at the first of a month.
func TestCalendarTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Float64Range(0, 30000).Draw(t, "from, days since 1970")
		span := rapid.Float64Range(60, 11000).Draw(t, "days")
		ticks := calendarTicks{}.Ticks(low, low+span)
		if len(ticks) < 1 || len(ticks) > 8 {
			t.Fatalf("%d labels over %.0f days", len(ticks), span)
		}
		for _, tick := range ticks {
			if day := time.Unix(int64(tick.Value)*86400, 0).UTC(); day.Day() != 1 || tick.Value < low || tick.Value > low+span {
				t.Errorf("a label at %s", day)
			}
		}
	})
}

// TestNoScoreIsDrawnWhereTooLittleWasSeen: not in a history, nor beside another visit's, nor in words.
func TestNoScoreIsDrawnWhereTooLittleWasSeen(t *testing.T) {
	little := func(s *metrics.Summary) { s.Limb.Sentence = "no side: too little was seen to call the horse even" }
	drawn := func(f *Figure, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		b := svgOf(t, f)
		return b
	}
	points, c, s := sampleHistory(), sampleComparison(), sampleSummary(1)
	all := func() []string {
		return []string{drawn(History(points, HistoryOptions{Followed: []metrics.Name{metrics.StepLengthFore}})), drawn(BeforeAfter(c)), drawn(Changes(c))}
	}
	for _, svg := range all() {
		if !strings.Contains(svg, "Asymmetry score") {
			t.Error("no score is drawn, so nothing is tested")
		}
	}
	for _, p := range points {
		if p.Summary != nil {
			little(p.Summary)
		}
	}
	little(&c.Before)
	little(&s)
	for i, svg := range all() {
		if strings.Contains(svg, "Asymmetry score") {
			t.Errorf("figure %d has a score", i)
		}
	}
	if svg := drawn(ScoreComponents(&s)); strings.Contains(svg, "Score 1.7") || !strings.Contains(svg, "No score: too little was seen") {
		t.Error("the components' figure tells a score")
	}
}

// TestLongTreatmentsAreReadWhole: a row's name goes over several lines, and rows grow with it.
func TestLongTreatmentsAreReadWhole(t *testing.T) {
	const long = "massage and stretching of the left shoulder, and of the back behind the saddle"
	points := sampleHistory()
	height := func() (f *Figure) {
		f, err := History(points, HistoryOptions{})
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	before := height().Height
	points[0].Treatments = []string{long}
	f := height()
	if f.Height <= before {
		t.Errorf("%g points high, %g without long names", f.Height.Points(), before.Points())
	}
	svg := svgOf(t, f)
	for _, line := range wrap(long, lettering(tickSize, inkColor), 150) {
		if !strings.Contains(svg, ">"+line+"</text>") {
			t.Errorf("%q is not in the figure", line)
		}
	}
}
