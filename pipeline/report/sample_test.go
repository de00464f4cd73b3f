package report

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// The invented mare Hazel and her yard. Names hold the characters that break
// careless pages.

func header() Header {
	return Header{
		Letterhead: []string{"Reed & Daughter, bodywork for horses", "Mill Lane 4, Anytown"},
		Horse:      `Hazel "Nut" <b>`,
		Printed:    day(3, 31),
	}
}

func day(m time.Month, d int) time.Time { return time.Date(2026, m, d, 0, 0, 0, 0, time.UTC) }

func est(v, half float64) *metrics.Estimate {
	return &metrics.Estimate{Value: v, Low: v - half, High: v + half, SE: half / 1.96}
}

// summary is an invented visit; severity 0 is even, 1 short on the left fore.
func summary(severity float64, runs int) *metrics.Summary {
	s := &metrics.Summary{
		Gait: traj.Trot, Views: []traj.View{traj.Toward}, Levels: []geometry.Level{geometry.LevelMetric}, Runs: runs, Strides: 7 * runs,
		Results: []metrics.Result{
			{Name: metrics.StrideDuration, Unit: "s", Strides: 7 * runs, Runs: runs, Value: est(0.742, 0.006), Tolerance: 0.03},
			{Name: metrics.Speed, Unit: "m/s", Strides: 7 * runs, Runs: runs, Value: est(3.41, 0.05), Tolerance: 0.25},
			{Name: metrics.StrideLength, Unit: "m", Strides: 7 * runs, Runs: runs, Value: est(2.53, 0.03), Tolerance: 0.1},
			{Name: metrics.StepLengthFore, Unit: "m", Strides: 7 * runs, Runs: runs, Left: est(1.29-0.1*severity, 0.02), Right: est(1.29, 0.018),
				Value: est(0.1*severity, 0.022), SymmetryIndex: est(8*severity, 1.7), Tolerance: 0.03, ToleranceSource: "common practice", Beyond: severity > 0.5},
			{Name: metrics.StepTimingFore, Unit: "%", Strides: 7 * runs, Runs: runs, Value: est(50+1.6*severity, 0.5), Tolerance: 1, Beyond: severity > 0.7},
			{Name: metrics.HeadLowDifference, Unit: "mm", Strides: 7 * runs, Runs: runs, Value: est(-26*severity, 7), Tolerance: 13, ToleranceSource: "Hardeman AM et al. 2019, Equine Vet J, 10.1111/evj.13075", Beyond: severity > 0.5},
			{Name: metrics.HeadHighDifference, Unit: "mm", Strides: 7 * runs, Runs: runs, Value: est(-9*severity, 8), Tolerance: 12},
			{Name: metrics.WithersLowDifference, Unit: "mm", Strides: 7 * runs, Runs: runs, Value: est(-6*severity, 2.5), Tolerance: 4, OwnTolerance: true, ToleranceSource: "this horse's own repeat runs, n = 12 at 3 visits", Beyond: severity > 0.7},
			{Name: metrics.CroupLowDifference, Unit: "mm", Reason: "the croup is not seen from in front"},
			{Name: metrics.CroupHighDifference, Unit: "mm", Reason: "the croup is not seen from in front"},
			{Name: metrics.HipExcursion, Unit: "mm", Reason: "no hip point was marked"},
			{Name: metrics.StanceDurationFore, Unit: "s", Strides: 7 * runs, Runs: runs, Left: est(0.292, 0.006), Right: est(0.3, 0.006), Value: est(0.008, 0.009), SymmetryIndex: est(2.7, 3), Tolerance: 0.02},
			{Name: metrics.LateralArcFore, Unit: "cm", Strides: 7 * runs, Runs: runs, Left: est(2+5*severity, 1.2), Right: est(2, 1.1), Value: est(-5*severity, 1.6), Tolerance: 3, Beyond: severity > 0.7},
			{Name: metrics.BaseWidthFore, Unit: "cm", Strides: 7 * runs, Runs: runs, Value: est(19, 1.2), Tolerance: 4},
			{Name: metrics.QuartersToSide, Unit: "cm", Strides: 7 * runs, Runs: runs, Value: est(5*severity, 1.6), Tolerance: 3, Beyond: severity > 0.7},
			{Name: metrics.ShoulderLift, Unit: "mm", Strides: 7 * runs, Runs: runs, Left: est(20-24*severity, 3), Right: est(20, 3), Value: est(24*severity, 4), Tolerance: 10, Beyond: severity > 0.7},
		},
		Score: &metrics.Score{
			Estimate: metrics.Estimate{Value: 0.3 + 1.4*severity, Low: 0.1 + 1.1*severity, High: 0.7 + 1.4*severity},
			Missing:  []metrics.Name{metrics.CroupLowDifference, metrics.HipExcursion},
			Strides:  7 * runs, Runs: runs, Side: traj.Left,
		},
	}
	if severity > 0.5 {
		s.Limb = metrics.LimbFinding{
			Limb:     traj.LeftFore,
			Sentence: "signs point to the left fore: the head stays higher over it, and its step is shorter",
			Agree:    []string{"head low-point difference", "withers low-point difference", "step length, fore"},
			Disagree: []string{"head high-point difference is within tolerance"},
		}
	} else {
		s.Limb = metrics.LimbFinding{Even: true, Sentence: "no unevenness beyond ordinary run-to-run variation was shown"}
	}
	return s
}

func film() Film {
	return Film{
		File: "toward-1.mp4", Codec: "H.264, 8 bit", Width: 1920, Height: 1080, FrameRate: 59.94, VariableRate: true,
		Frames: 331, PromisedFrames: 402, Duration: 5.52, View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelMetric,
		NearestM: 5.1, FarthestM: 21.4, FocalPX: 1500, CameraHeightM: 1.2, ShakePX: 3.4, ResidualPX: 0.21,
		Marks: []MarkFacts{
			{Landmark: traj.LeftFore, Marked: 2, Seen: 318, Bridged: 9, Lost: 4, MedianSD: 0.41},
			{Landmark: traj.RightFore, Marked: 1, Seen: 290, Bridged: 12, Lost: 29, MedianSD: 0.47},
			{Landmark: traj.Head, Marked: 1, Seen: 331, MedianSD: 0.3},
		},
		Problems: []string{"the clip breaks off after 5.5 s; the file promises 6.7 s"},
	}
}

// picture takes a figure that package plots keeps as its own golden file.
func picture(t *testing.T, name string) Figure {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "plots", "testdata", name+".golden.svg"))
	if err != nil {
		t.Fatal(err)
	}
	return Figure{Title: name, SVG: b}
}

// small is a figure of a few bytes, so that golden pages stay readable.
func small(title string) Figure {
	return Figure{Title: title, Description: "A line from left to right.", SVG: []byte(
		`<svg xmlns="http://www.w3.org/2000/svg" width="40pt" height="20pt" viewBox="0 0 40 20"><path d="M0,10L40,10" style="fill:none;stroke:#143D73"/></svg>`)}
}

// front is what a first page shows, with a picture of a few bytes.
func sampleFront() Front {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewYCbCr(image.Rect(0, 0, 16, 12), image.YCbCrSubsampleRatio420), nil); err != nil {
		panic(err)
	}
	f := Front{
		Stills:      []Still{{Title: "Left and right stance", Alt: "The horse coming.", JPEG: b.Bytes(), Width: 16, Height: 12}},
		StillsNote:  "Lines: how high the head is.",
		Steps:       small("Steps from above"),
		Noted:       []Noted{{What: "Done", Texts: []string{"massage <i>", "none"}}, {What: "At work", Texts: []string{"", "takes the left lead"}}},
		NextFilming: []string{"Film 3 runs each way again."},
	}
	return f
}

// sampleFilms is a film of two strides and one half-stride coming, and one stride going.
func sampleFilms() []Footage {
	drawn := func(row plots.StrideRow) (*plots.Figure, []plots.Box) {
		figure, boxes, err := plots.StrideByStride([]plots.StrideRow{row})
		if err != nil {
			panic(err)
		}
		return figure, boxes
	}
	head, heads := drawn(plots.StrideRow{Name: metrics.HeadLowDifference, Unit: "mm", Tolerance: 13, Before: []float64{-30, -24}, Now: []float64{-4, 3}})
	croup, croups := drawn(plots.StrideRow{Name: metrics.CroupLowDifference, Unit: "mm", Tolerance: 5, Before: []float64{3}, Now: []float64{-1}})
	return []Footage{{
		File: "before-after.mp4", Words: "The two visits’ best runs.", Rate: 30, Width: 936, Height: 542,
		Sections: []FootageSection{
			{"Toward the camera: stride by stride", []FootageMoment{{0, 1.4}, {1.4, 2.8}}, head, heads},
			{"Toward the camera: left half over mirrored right", []FootageMoment{{2.8, 4.2}}, nil, nil},
			{"Away from the camera: stride by stride", []FootageMoment{{4.2, 5.6}}, croup, croups},
		},
	}}
}

func provenance() Provenance {
	return Provenance{
		Program: "jogstrip 0.1.0",
		Tools:   []Tool{{"OpenCV", "4.6.0"}, {"FFmpeg", "5.1"}},
		Inputs: []Input{
			{"toward-1.mp4", "6d5f807e23db210bc254a28be2d6759a0f5f5d99b2cd1aa3ba1a4a3b1c8d1c6e"},
			{"toward-1.marks.json", "1f3870be274f6c49b3e31a0c6728957f2a8c0c4c9a7ad1a0f7b0b7c0d4f1a111"},
		},
	}
}

func clip(figures ...Figure) Clip {
	return Clip{
		Header: header(), Visit: day(3, 2), VisitLink: "../visit.html", Summary: summary(1, 1), Film: film(), Front: sampleFront(),
		Notes:     []string{"the first stance was left out: it began before the clip"},
		NextMarks: []string{"right fore at 2.35 s (frame 141): wins about 25 frames"},
		Figures:   append(figures, Figure{Title: "Croup height over the stride", Reason: "the croup was not marked or not followed"}),
		Video:     "tracked.mp4", Provenance: provenance(),
	}
}

func comparison(figures ...Figure) Comparison {
	before, after := summary(1, 2), summary(0.2, 2)
	m := &metrics.Comparison{
		Before: *before, After: *after, Verdict: metrics.Improved,
		Sentence: "Hazel moves more evenly than four weeks ago: the left fore step has grown by 8 cm and the head nod over the left fore is gone",
		Reasons:  []string{"the surface was sand before and concrete after"},
	}
	for i, b := range before.Results {
		a := after.Results[i]
		if b.Value == nil {
			continue
		}
		ch := metrics.Change{Name: b.Name, Unit: b.Unit, Before: b.Value, After: a.Value, Verdict: metrics.NoChange, Smallest: 1.4 * b.Tolerance, OwnMDC: b.OwnTolerance}
		ch.Change = est(a.Value.Value-b.Value.Value, 1.4*(b.Value.High-b.Value.Value))
		ch.Judged = ch.Change
		if math.Abs(ch.Change.Value) > ch.Smallest {
			ch.Verdict = metrics.Improved
		}
		ch.Followed = b.Name == metrics.StepLengthFore
		if b.Name == metrics.StanceDurationFore {
			ch.Verdict, ch.Reason = metrics.NotComparable, "speed differs by more than 10 %"
		}
		m.Changes = append(m.Changes, ch)
	}
	m.Score = &metrics.Change{Before: &before.Score.Estimate, After: &after.Score.Estimate, Change: est(-1.1, 0.4), Judged: est(-1.1, 0.4), Smallest: 0.8, Verdict: metrics.Improved}
	return Comparison{
		Header: header(), Before: Visited{Date: day(3, 2), Link: "2026-03-02/visit.html", Note: "before treatment, on sand"},
		After: Visited{Date: day(3, 30), Link: "2026-03-30/visit.html", Note: "on concrete"}, Comparison: m, Figures: figures, Front: sampleFront(), Films: sampleFilms(), NotFilmed: []string{"away from the camera: no stride of both visits lies whole in the picture"},
		Records: []RecordSection{
			{Title: "Soreness on palpation", Note: "0 none to 4 cannot be touched; felt by R. Reed", Rows: []RecordRow{
				{"left shoulder", "3, guards and turns away", "0"}, {"left forearm", "2", "1"}, {"back, right", "", "1"}}},
			{Title: "Treatment", Rows: []RecordRow{{"left shoulder", "massage <i>", "none"}, {"rest", "ten days light work", ""}}},
			{Title: "Function", Rows: []RecordRow{{"in work", "refuses the left lead", "takes the left lead"}}},
		},
		Provenance: provenance(),
	}
}

func visit(figures ...Figure) Visit {
	return Visit{
		Header: header(), Date: day(3, 2), Facts: []Fact{{"Reason", "moves short on the left"}, {"Surface", "sand"}, {"Followed", "Step length, fore"}},
		Summary: summary(1, 2),
		Runs: []RunRow{
			{Clip: "toward-1.mp4", Link: "toward-1.out/report.html", View: traj.Toward, Level: geometry.LevelMetric, Strides: 7, Score: est(1.8, 0.6), Finding: "signs point to the left fore", Problems: []string{"breaks off after 5.5 s"}},
			{Clip: "toward-2.mp4", Link: "toward-2.out/report.html", View: traj.Toward, Level: geometry.LevelMetric, Strides: 7, Score: est(1.6, 0.5), Finding: "signs point to the left fore"},
			{Clip: "away-1.mov", Failed: "holds no picture"},
		},
		Records: []VisitRecords{
			{Title: "Soreness on palpation", Note: "0 none to 4 cannot be touched", Items: []RecordItem{{"left shoulder", "3, guards and turns away"}, {"left forearm", "2"}}},
			{Title: "Treatment", Items: []RecordItem{{"left shoulder", "massage, R. Reed"}}},
		},
		Figures: figures, Provenance: provenance(), Front: sampleFront(),
	}
}

func batch() Batch {
	return Batch{
		Header: Header{Letterhead: header().Letterhead, Printed: day(3, 3)}, Folder: "yard", Started: time.Date(2026, 3, 2, 21, 40, 0, 0, time.UTC), Finished: time.Date(2026, 3, 3, 1, 12, 0, 0, time.UTC),
		Unchanged: 4,
		Measured: []BatchMeasured{
			{"Hazel", "2026-03-02", "toward-1.mp4", "horses/Hazel/2026-03-02/toward-1.out/report.html", 7, est(1.8, 0.6), "signs point to the left fore: the head says so", nil},
			{"Bracken", "2026-03-02", "toward-1.mp4", "horses/Bracken #2/2026-03-02/toward-1.out/report.html", 8, est(0.4, 0.3), "no unevenness was shown", nil},
		},
		SecondLook: []BatchItem{{"Hazel", "2026-03-02", "toward-2.mp4", "horses/Hazel/2026-03-02/toward-2.out/report.html", "the right fore was lost in 30 % of the frames", "mark the right fore at 2.35 s (frame 141)", sampleFront().Stills[0].JPEG}},
		NeedMarks:  []BatchItem{{"Sorrel", "2026-03-02", "away-1.mov", "", "no marks file beside it", "jogstrip mark away-1.mov", nil}},
		Failed:     []BatchItem{{"Sorrel", "2026-03-02", "toward-1.mp4", "", "holds no picture: the file ends after 12 kB", "copy it from the phone again", nil}},
		Changes:    []BatchChange{{Horse: "Bracken", Visit: "2026-03-02", Link: "horses/Bracken/2026-03-02/visit.out/report.html", Sentence: "No measurable change since 2 February."}, {Horse: "Hazel", Visit: "2026-03-02", Sentence: "Worse: the left fore’s step was 2 cm short, now 9 cm.", Counts: true}},
		Provenance: provenance(),
	}
}

func history(figures ...Figure) History {
	return History{
		Comparison: comparison().Comparison, Compared: [2]time.Time{day(3, 2), day(3, 30)},
		Between: []HistoryVisit{{Date: day(3, 9), Summary: summary(0.8, 2)}, {Date: day(3, 16), Summary: summary(0.7, 2)}, {Date: day(3, 20), Summary: summary(0.6, 2)}},
		Header:  header(), Finding: "over three visits in four weeks the left fore step has grown and the score has come down to even",
		Followed: []metrics.Name{metrics.StepLengthFore, metrics.HeadLowDifference},
		Visits: []HistoryVisit{
			{Date: day(3, 2), Link: "2026-03-02/visit.html", Summary: summary(1, 2), Shoeing: "in front", Soreness: "left shoulder 3, left forearm 2", Treatment: "massage, left shoulder", Function: "refuses the left lead"},
			{Date: day(3, 12), Soreness: "left shoulder 2", Treatment: "massage, left shoulder"},
			{Date: day(3, 20), Link: "2026-03-20/visit.html", Summary: summary(0.6, 2), Since: "improved", Soreness: "left shoulder 1"},
			{Date: day(3, 30), Link: "2026-03-30/visit.html", Summary: summary(0.2, 2), Since: "no measurable change", Shoeing: "newly shod", Soreness: "none", Function: "takes the left lead"},
		},
		Figures: figures, Provenance: provenance(), Front: sampleFront(),
	}
}
