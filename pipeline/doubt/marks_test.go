package doubt_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/record"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// ground returns the clicks on a rectangle, turned by so many degrees against the way
// the camera looks, and as stated.
func ground(turned, width, length float64, r *rand.Rand, clickSD float64) *record.Marks {
	camera := geometry.LevelCamera(1500, 959.5, 539.5, 1.6, geometry.Point{X: 959.5, Y: 430})
	g := &geometry.GroundMarks{WidthM: width, LengthM: length}
	sin, cos := math.Sincos(turned * math.Pi / 180)
	for i, p := range [4][2]float64{{-1.25, -4}, {1.25, -4}, {1.25, 4}, {-1.25, 4}} {
		q, _ := camera.Project(cos*p[0]-sin*p[1], 9+sin*p[0]+cos*p[1], 0)
		g.Points[i] = geometry.Point{X: q.X + clickSD*r.NormFloat64(), Y: q.Y + clickSD*r.NormFloat64()}
	}
	return &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 1920, Height: 1080}, Calibration: &geometry.CalibrationInput{Ground: g}}
}

func kinds(doubts []record.Doubt, least record.Severity) []string {
	var out []string
	for _, d := range doubts {
		if d.Severity == record.Refuse || least != record.Refuse && d.Severity == record.SecondLook || least == record.Remark {
			out = append(out, d.Kind)
		}
	}
	return out
}

// Four points have one number more than a camera of square pixels: seen aslant, a
// rectangle tells its own sides, and a wrong side shows; seen far aslant a wrong point,
// too. Seen straight along the lane it tells neither: then other clips do, and the
// horse's size.
func TestRectangleTellsItsOwnSides(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, turned := range []float64{0, 5, 15, 30} {
		false_, wrongSide, wrongPoint := 0, 0, 0
		const n = 60
		for range n {
			if len(kinds(doubt.OfMarks(ground(turned, 2.5, 8, r, 0.7), nil), record.SecondLook)) > 0 {
				false_++
			}
			refused := func(m *record.Marks) bool {
				_, err := geometry.Calibrate(*m.Calibration, 1920, 1080, errormodel.Usual().Camera)
				return err != nil || slices.Contains(kinds(doubt.OfMarks(m, nil), record.SecondLook), doubt.Rectangle)
			}
			if refused(ground(turned, 3, 8, r, 0.7)) {
				wrongSide++
			}
			m := ground(turned, 2.5, 8, r, 0.7)
			m.Calibration.Ground.Points[2].X += 25
			if refused(m) {
				wrongPoint++
			}
		}
		t.Logf("turned by %2.0f°: %d of %d right ones doubted; width 3 for 2.5: %d; a far point 25 px off: %d", turned, false_, n, wrongSide, wrongPoint)
		if false_ > n/100 {
			t.Errorf("turned by %g°: %d of %d right ones are doubted", turned, false_, n)
		}
		if turned >= 30 && wrongPoint < n*95/100 {
			t.Errorf("turned by %g°: a point 25 px off shows in %d of %d", turned, wrongPoint, n)
		}
		if turned >= 15 && wrongSide < n*95/100 {
			t.Errorf("turned by %g°: a wrong width shows in %d of %d", turned, wrongSide, n)
		}
	}
}

// A camera that other clips of the visit did not see is doubted; where two of them saw
// it, the odd one out is another clip.
func TestCamerasOfOneVisit(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	of := func(name string, width, length float64) doubt.Other {
		c, ok := doubt.CameraOf(name, ground(0, width, length, r, 0.5))
		if !ok {
			t.Fatal("no camera")
		}
		return c
	}
	same, again, long, wide := of("toward-2", 2.5, 8), of("toward-3", 2.5, 8), of("away-1", 2.5, 9), of("away-2", 3, 8)
	for _, tt := range []struct {
		name          string
		width, length float64
		others        []doubt.Other
		doubted       bool
		says          string
	}{
		{"alone", 2.5, 8, nil, false, ""},
		{"as the others", 2.5, 8, []doubt.Other{same, again}, false, ""},
		{"length 9 for 8", 2.5, 9, []doubt.Other{same, again}, true, "2.5 × 8 m"},
		{"width 3 for 2.5", 3, 8, []doubt.Other{same}, true, "2.5 × 8 m"},
		{"one other is wrong", 2.5, 8, []doubt.Other{long}, true, "2.5 × 9 m"},
		{"two others agree with it", 2.5, 8, []doubt.Other{same, again, long, wide}, false, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := ground(0, tt.width, tt.length, r, 0.5)
			doubts := doubt.OfMarks(m, tt.others)
			if got := slices.Contains(kinds(doubts, record.SecondLook), doubt.Others); got != tt.doubted {
				t.Errorf("%+v", doubts)
			}
			if tt.doubted && !strings.Contains(doubts[0].Sentence, tt.says) {
				t.Errorf("says %q", doubts[0].Sentence)
			}
			// Whoever has looked has the last word.
			m.Confirmed = []string{doubt.Others}
			if again := doubt.OfMarks(m, tt.others); len(kinds(again, record.SecondLook)) > 0 || len(again) != len(doubts) {
				t.Errorf("confirmed: %+v", again)
			}
		})
	}
}

// What is refused cannot be confirmed away.
func TestRefusalsStand(t *testing.T) {
	m := &record.Marks{View: traj.Away, Gait: traj.Trot, Picture: record.Picture{Width: 1920, Height: 1080}, Confirmed: []string{doubt.View}}
	for frame, tall := range map[int]float64{10: 100, 200: 300} {
		m.Marks = append(m.Marks, record.At(frame, traj.LeftFore, 900, 900), record.At(frame, traj.Head, 900, 900-tall))
	}
	doubts := doubt.OfMarks(m, nil)
	if text := doubt.Refusal(doubts); !strings.Contains(text, "3.0 times as tall in frame 200 as in frame 10") {
		t.Errorf("%+v", doubts)
	}
	m.View = traj.Toward
	if doubts := doubt.OfMarks(m, nil); len(doubts) > 0 {
		t.Errorf("%+v", doubts)
	}
}

// A horse never hangs from its hooves: where the body lies below them in every frame the
// picture stands on its head, and nothing is measured. A single mark that was misplaced
// is another thing.
func TestAPictureOnItsHead(t *testing.T) {
	of := func(heads ...float64) []record.Doubt {
		m := &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 1920, Height: 1080}, Confirmed: []string{doubt.Picture}}
		for i, y := range heads {
			m.Marks = append(m.Marks, record.At(60*i, traj.LeftFore, 900, 500), record.At(60*i, traj.RightFore, 990, 500), record.At(60*i, traj.Head, 940, y))
		}
		return doubt.OfMarks(m, nil)
	}
	if doubts := of(700, 760, 800); len(doubts) != 1 || doubts[0].Severity != record.Refuse || !strings.Contains(doubts[0].Sentence, "In frame 0 the mark of the head lies below the hooves") {
		t.Errorf("on its head: %+v", doubts)
	}
	for _, heads := range [][]float64{{300, 280, 260}, {300, 760, 260}} {
		if doubts := of(heads...); slices.Contains(kinds(doubts, record.SecondLook), doubt.Picture) {
			t.Errorf("heads at %v px: %+v", heads, doubts)
		}
	}
}

// Hips that lie the wrong way round in one frame are noticed before anything is
// measured.
func TestHipsTellTheSides(t *testing.T) {
	m := &record.Marks{View: traj.Away, Gait: traj.Trot, Picture: record.Picture{Width: 1920, Height: 1080}}
	m.Marks = []record.Mark{record.At(5, traj.LeftHip, 900, 400), record.At(5, traj.RightHip, 1000, 400), record.At(50, traj.LeftHip, 1000, 420), record.At(50, traj.RightHip, 930, 420)}
	doubts := doubt.OfMarks(m, nil)
	if len(doubts) != 1 || doubts[0].Kind != doubt.Sides || !strings.Contains(doubts[0].Sentence, "frame 50") {
		t.Errorf("%+v", doubts)
	}
}

// Marks of one fore and one hind that stand together, frame after frame, are those of a
// pacer where the gait is given as trot, and the other way round.
func TestPairsThatAreMarkedTellTheGait(t *testing.T) {
	of := func(gait traj.Gait, frames int, pairs ...[2]traj.Landmark) *record.Marks {
		m := &record.Marks{View: traj.Toward, Gait: gait, Picture: record.Picture{Width: 1920, Height: 1080}}
		for frame := range frames {
			for _, limb := range pairs[frame%len(pairs)] {
				m.Marks = append(m.Marks, record.At(10*frame, limb, 900, 700))
			}
		}
		return m
	}
	diagonal := [][2]traj.Landmark{{traj.LeftFore, traj.RightHind}, {traj.RightFore, traj.LeftHind}}
	lateral := [][2]traj.Landmark{{traj.LeftFore, traj.LeftHind}, {traj.RightFore, traj.RightHind}}
	for _, tt := range []struct {
		marks   *record.Marks
		doubted bool
	}{
		{of(traj.Trot, 6, diagonal...), false},
		{of(traj.Pace, 6, lateral...), false},
		{of(traj.Trot, 6, lateral...), true},
		{of(traj.Pace, 3, diagonal...), true},
		{of(traj.Trot, 2, lateral...), false}, // Two may be chance.
		{of(traj.Trot, 4, append(lateral, diagonal...)...), false},
		{of(traj.Walk, 6, lateral...), false},
	} {
		if got := slices.Contains(kinds(doubt.OfMarks(tt.marks, nil), record.SecondLook), doubt.Gait); got != tt.doubted {
			t.Errorf("%s, marks %+v: doubted %v, want %v", tt.marks.Gait, tt.marks.Marks, got, tt.doubted)
		}
	}
}

// A clip that is alone in its visit is held against those of earlier visits, by the lens
// alone: the camera stands elsewhere on another day. And a lens that is no phone's main one
// is asked for, unless another clip saw it, too.
func TestACameraAloneInItsVisit(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	earlier := func(length float64) doubt.Other {
		c, ok := doubt.CameraOf("toward-1", ground(0, 2.5, length, r, 0.5))
		if !ok {
			t.Fatal("no camera")
		}
		c.Visit = "2026-03-06"
		c.HeightM *= 2
		return c
	}
	for _, tt := range []struct {
		name          string
		width, length float64
		others        []doubt.Other
		kind          string
	}{
		{"as earlier", 2.5, 8, []doubt.Other{earlier(8), earlier(8)}, ""},
		{"length 9 for 8", 2.5, 9, []doubt.Other{earlier(8), earlier(8)}, doubt.Others},
		{"the earlier one was wrong", 2.5, 8, []doubt.Other{earlier(9), earlier(8)}, ""},
		{"a lens of 1.3 of the picture, alone", 1.5, 8, nil, doubt.Lens},
		{"a lens of 1.3, as earlier", 2.5, 13.3, []doubt.Other{earlier(13.3)}, ""},
	} {
		m := ground(0, tt.width, tt.length, r, 0.5)
		got := kinds(doubt.OfMarks(m, tt.others), record.SecondLook)
		if tt.kind == "" && len(got) > 0 || tt.kind != "" && !slices.Contains(got, tt.kind) {
			t.Errorf("%s: doubted is %q, want %q", tt.name, got, tt.kind)
		}
	}
}
