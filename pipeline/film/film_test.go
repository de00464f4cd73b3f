package film

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// staged is a clip of a patterned board that moves before a patterned wall, all
// of it known.
type staged struct {
	width, height int
	rate          float64
	seconds       float64
	board         float64                           // Side of the board, px at scale 1.
	at            func(t float64) (x, y, s float64) // Centre of the board, px, and its scale.
	camera        func(t float64) (dx, dy float64)  // How far the whole picture is moved, px.
	exposureS     float64                           // How long the shutter is open; 0 is an instant.
	light         func(v float64) float64           // What becomes of a brightness from 0 to 255.
	seed          uint64
	repeat        int     // Every picture is written so many times more.
	noise         float64 // Standard deviation of every pixel, grey levels.
}

// film renders and encodes the clip.
func (s staged) film(t *testing.T) *clip.Info {
	t.Helper()
	path := filepath.Join(t.TempDir(), "staged.mp4")
	scenetest.Keep(t, s.key(t), path, func(ctx context.Context, path string) error {
		cmd := exec.CommandContext(ctx, "ffmpeg", "-v", "error", "-f", "rawvideo", "-pix_fmt", "gray", "-s", fmt.Sprintf("%dx%d", s.width, s.height), "-framerate", fmt.Sprint(s.rate*float64(1+s.repeat)), "-i", "pipe:0",
			"-c:v", "libx264", "-preset", "ultrafast", "-crf", "12", "-pix_fmt", "yuv420p", path)
		stdin, err := cmd.StdinPipe()
		if err != nil {
			return err
		}
		var stderr bytes.Buffer
		cmd.Stderr = &stderr
		if err := cmd.Start(); err != nil {
			return err
		}
		s.write(stdin)
		if err := errors.Join(stdin.Close(), cmd.Wait()); err != nil {
			return fmt.Errorf("%w: %s", err, stderr.String())
		}
		return nil
	})
	info, err := clip.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// key returns all that the film depends on: this file, in which it is drawn and coded,
// its numbers, and what its functions say at more moments than are filmed.
func (s staged) key(t *testing.T) string {
	t.Helper()
	source, err := os.ReadFile("film_test.go")
	if err != nil {
		t.Fatal(err)
	}
	key := sha256.New()
	fmt.Fprintf(key, "%s %d %d %g %g %g %g %d %d %g", source, s.width, s.height, s.rate, s.seconds, s.board, s.exposureS, s.seed, s.repeat, s.noise)
	for i := range int(s.seconds * 100) {
		if s.at != nil {
			x, y, scale := s.at(float64(i) / 100)
			fmt.Fprintf(key, " at %g %g %g", x, y, scale)
		}
		if s.camera != nil {
			dx, dy := s.camera(float64(i) / 100)
			fmt.Fprintf(key, " camera %g %g", dx, dy)
		}
	}
	for v := range 256 {
		if s.light != nil {
			fmt.Fprintf(key, " light %g", s.light(float64(v)))
		}
	}
	return fmt.Sprintf("staged film %x", key.Sum(nil))
}

func (s staged) write(w io.Writer) {
	r := rand.New(rand.NewPCG(s.seed, 7))
	// Patterns of squares of random brightness.
	const cell, side = 24, 64
	type pattern [side][side]float64
	patterned := func() *pattern {
		p := new(pattern)
		for i := range p {
			for k := range p[i] {
				p[i][k] = 40 + 160*r.Float64()
			}
		}
		return p
	}
	wall, board := patterned(), patterned()
	// squares returns for each of n pixels in which square of a pattern it lies, whose
	// pixel 0 lies at from and which is scaled; -1 farther than half from there.
	squares := func(n int, from, scale, half float64) []int {
		out := make([]int, n)
		for i := range out {
			d := float64(i) - from
			out[i] = (int(math.Floor(d/scale/cell))%side + side) % side
			if math.Abs(d) >= half {
				out[i] = -1
			}
		}
		return out
	}
	opens := 1
	if s.exposureS > 0 {
		opens = 9
	}
	frame := make([]byte, s.width*s.height)
	for n := range int(s.seconds * s.rate) {
		sum := make([]float64, len(frame))
		for k := range opens {
			t := float64(n) / s.rate
			if opens > 1 {
				t += s.exposureS * (float64(k)/float64(opens-1) - 0.5)
			}
			var dx, dy float64
			if s.camera != nil {
				dx, dy = s.camera(t)
			}
			bx, by, scale := -1e6, 0.0, 1.0
			if s.at != nil {
				bx, by, scale = s.at(t)
			}
			half := s.board * scale / 2
			wallColumns, wallRows := squares(s.width, dx, 1, math.Inf(1)), squares(s.height, dy, 1, math.Inf(1))
			columns, rows := squares(s.width, dx+bx, scale, half), squares(s.height, dy+by, scale, half)
			for y := range s.height {
				behind, out := &wall[wallRows[y]], sum[y*s.width:][:s.width]
				for x := range out {
					if rows[y] >= 0 && columns[x] >= 0 {
						out[x] += board[rows[y]][columns[x]]
					} else {
						out[x] += behind[wallColumns[x]]
					}
				}
			}
		}
		for i, v := range sum {
			v /= float64(opens)
			if s.noise > 0 {
				v += s.noise * r.NormFloat64()
			}
			if s.light != nil {
				v = s.light(v)
			}
			frame[i] = byte(max(16, min(255, math.Round(v))))
		}
		for range 1 + s.repeat {
			if _, err := w.Write(frame); err != nil {
				return
			}
		}
	}
}

// still is a well lit clip without movement.
func still() staged {
	return staged{width: 640, height: 360, rate: 24, seconds: 1.5, board: 100, seed: 1}
}

// approach lets the board come nearer straight.
func approach() staged {
	s := still()
	s.seconds = 3
	s.at = func(t float64) (float64, float64, float64) {
		z := 10 - 2.2*t
		return 320 + 60*2/z, 180, 6 / z
	}
	return s
}

// passing lets the board pass across the picture.
func passing() staged {
	s := still()
	s.at = func(t float64) (float64, float64, float64) { return 100 + 240*t, 180, 1.4 }
	return s
}

func check(t *testing.T, info *clip.Info, opts Options) *Report {
	t.Helper()
	r, err := Check(t.Context(), info, opts)
	if err != nil {
		t.Fatal(err)
	}
	if got := map[Verdict]bool{Good: true, Usable: true, FilmAgain: true}; !got[r.Verdict] || r.Sentence == "" {
		t.Errorf("verdict %q, sentence %q", r.Verdict, r.Sentence)
	}
	for _, i := range r.Items {
		if i.Found == "" || i.Title == "" || (i.Verdict == FilmAgain) && i.Advice == "" {
			t.Errorf("item %+v says too little", i)
		}
	}
	return r
}

func TestVerdictsFollowWhatWasFilmed(t *testing.T) {
	t.Parallel()
	type finding struct {
		name, item string
		want       Verdict
		advice     string
	}
	tests := []struct {
		clip     func() staged
		findings []finding
	}{
		{still, []finding{
			{"24 frames a second", FrameRate, FilmAgain, "120 frames"},
			{"360 lines", Resolution, FilmAgain, "1080p"},
			{"ordinary light", Exposure, Good, ""},
			{"nothing moves", Size, FilmAgain, "horse"},
			{"nothing moves, blur", Blur, NotKnown, ""},
			{"nothing moves, strides", Strides, NotKnown, ""},
		}},
		{func() staged { s := still(); s.light = func(v float64) float64 { return 16 + v/20 }; return s }, []finding{{"far too dark", Exposure, FilmAgain, "Too dark"}}},
		{func() staged { s := still(); s.light = func(v float64) float64 { return v + 150 }; return s }, []finding{{"burnt out", Exposure, FilmAgain, "Too bright"}}},
		{approach, []finding{
			{"tripod", Shake, Good, ""},
			{"without noise", Noise, Good, ""},
			{"level without marks", Level, NotKnown, ""},
			{"large", Size, Good, ""},
			{"within the picture", InFrame, Good, ""},
			{"straight", Straightness, Good, ""},
			{"sharp", Blur, Good, ""},
			{"distance without marks", Distance, NotKnown, ""},
		}},
		{func() staged {
			s := approach()
			s.camera = func(t float64) (float64, float64) { return 1.2 * math.Sin(9*t), math.Sin(7*t + 1) }
			return s
		}, []finding{{"held by a quiet hand", Shake, Usable, "tripod"}}},
		{func() staged {
			s := approach()
			s.camera = func(t float64) (float64, float64) { return 6 / (1 + math.Exp(-40*(t-1.5))), 0 }
			return s
		}, []finding{{"a tripod that is moved once", Shake, Usable, "tripod"}}},
		{func() staged { s := passing(); s.repeat = 1; return s }, []finding{{"24 made 48 by repeating", FrameRate, FilmAgain, "original file"}}},
		{func() staged { s := passing(); s.repeat = 2; return s }, []finding{{"24 made 72 by repeating", FrameRate, FilmAgain, "original file"}}},
		{func() staged { s := passing(); s.rate, s.seconds = 48, 1.5; return s }, []finding{{"48 that are 48", FrameRate, Usable, "120 frames"}}},
		{func() staged { s := approach(); s.noise = 5; return s }, []finding{{"grainy", Noise, Usable, "brighter"}}},
		{func() staged { s := approach(); s.noise = 14; return s }, []finding{{"very grainy", Noise, FilmAgain, "brighter"}}},
		{func() staged {
			s := approach()
			s.camera = func(t float64) (float64, float64) { return 5 * math.Sin(9*t), 4 * math.Sin(7*t+1) }
			return s
		}, []finding{{"held by hand", Shake, Usable, "tripod"}}},
		{func() staged {
			s := approach()
			s.camera = func(t float64) (float64, float64) { return 40 * math.Sin(9*t), 30 * math.Sin(7*t+1) }
			return s
		}, []finding{{"torn about", Shake, FilmAgain, "tripod"}}},
		{func() staged { s := approach(); s.board = 22; return s }, []finding{{"small", Size, FilmAgain, "nearer"}}},
		{func() staged {
			s := approach()
			s.at = func(t float64) (float64, float64, float64) { z := 10 - 2.2*t; return 10 + 20*t, 180, 6 / z }
			return s
		}, []finding{{"half outside", InFrame, FilmAgain, "room"}}},
		{func() staged {
			s := approach()
			s.at = func(t float64) (float64, float64, float64) {
				z := 10 - 2.2*t
				return 320 + 400*2.2*math.Sin(2.1*t)/z, 180, 6 / z
			}
			return s
		}, []finding{{"in a bow", Straightness, FilmAgain, "straight"}}},
		{func() staged { s := approach(); s.seconds = 2; return s }, []finding{{"too short", Strides, FilmAgain, "longer"}}},
		{func() staged {
			s := approach()
			s.exposureS = 1.0 / 25
			s.at = func(t float64) (float64, float64, float64) { return 100 + 140*t, 180, 1.4 }
			return s
		}, []finding{{"long exposure", Blur, FilmAgain, "exposure"}}},
		{func() staged {
			s := approach()
			// A wide blur by moving the camera in a circle while the shutter is open.
			s.exposureS = 1.0 / 25
			s.camera = func(t float64) (float64, float64) {
				a := 2 * math.Pi * 25 * t
				return 7 * math.Cos(a), 7 * math.Sin(a)
			}
			return s
		}, []finding{{"out of focus", Blur, FilmAgain, "whole picture"}}},
		{func() staged {
			s := approach()
			s.exposureS = 1.0 / 25
			s.camera = func(t float64) (float64, float64) {
				a := 2 * math.Pi * 25 * t
				return 1.8 * math.Cos(a), 1.8 * math.Sin(a)
			}
			return s
		}, []finding{{"a little out of focus", Blur, Usable, "a little blurred"}}},
	}
	for _, tt := range tests {
		t.Run(tt.findings[0].name, func(t *testing.T) {
			t.Parallel()
			report := check(t, tt.clip().film(t), Options{})
			for _, f := range tt.findings {
				i := report.Item(f.item)
				if i == nil || i.Verdict != f.want || !strings.Contains(i.Advice, f.advice) {
					t.Errorf("%s: %+v; want %s, advice with %q", f.name, i, f.want, f.advice)
				}
			}
		})
	}
}

// The width of moving edges grows with the way they go while the shutter is
// open, and the shake is that of the camera.
func TestBlurAndShakeAreThoseFilmed(t *testing.T) {
	t.Parallel()
	for _, speed := range []float64{100, 200} {
		s := still()
		s.seconds, s.board, s.exposureS = 2, 150, 1.0/25
		s.at = func(t float64) (float64, float64, float64) { return 100 + speed*t, 180, 1 }
		smp, err := sample(t.Context(), s.film(t))
		if err != nil {
			t.Fatal(err)
		}
		f := analyse(smp)
		// Edges along the movement stay sharp; the upright ones are as wide as the way.
		way := speed / 25
		if f.movingEdge < 0.7*way || f.movingEdge > 1.4*way {
			t.Errorf("at %.0f px/s, 1/25 s: moving edges %.1f px wide, the way is %.1f px", speed, f.movingEdge, way)
		}
		if f.stillEdge > 3 {
			t.Errorf("still edges are %.1f px wide", f.stillEdge)
		}
	}
	s := still()
	s.seconds = 3
	const amplitude, turn = 6.0, 2 * math.Pi * 1.7
	s.camera = func(t float64) (float64, float64) { return amplitude * math.Sin(turn*t), 0 }
	smp, err := sample(t.Context(), s.film(t))
	if err != nil {
		t.Fatal(err)
	}
	// A sine's step over the interval d has a root mean square of √2·A·sin(ω·d/2).
	want := math.Sqrt2 * amplitude * math.Sin(turn*smp.interval/2) / float64(s.width)
	if got := analyse(smp).shake; math.Abs(got-want) > 0.1*want {
		t.Errorf("shake %.4f of the width, filmed with %.4f", got, want)
	}
}

// On a rendered horse: found all the way, on a straight line, with the rhythm
// that was rendered.
func TestARenderedHorse(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "toward.mp4")
	truth := scenetest.Render(t, scene.Scene{Seed: 21, Motion: scene.Motion{StartM: 17}, Camera: scene.Camera{Width: 960, Height: 540, FPS: 30}}, path)
	info, err := clip.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	smp, err := sample(t.Context(), info)
	if err != nil {
		t.Fatal(err)
	}
	f := analyse(smp)
	if !f.found || f.inSightS < 0.9*info.DurationS() {
		t.Errorf("in sight for %.1f s of %.1f s", f.inSightS, info.DurationS())
	}
	steps := 2 / (truth.Strides[0].End - truth.Strides[0].Start)
	if f.stepHz != 0 && math.Abs(f.stepHz-steps) > 0.15 {
		t.Errorf("%.2f steps a second, rendered with %.2f", f.stepHz, steps)
	}
	if f.wander > goodDrift {
		t.Errorf("a straight run strays by %.2f m", f.wander)
	}
	// The horse's true height in the picture at the end, hoof to poll.
	last := len(truth.Times) - 1
	tall := (truth.Points(traj.LeftFore)[last].Y - truth.Points(traj.Head)[last].Y) / 540
	if f.tallest < 0.8*tall || f.tallest > 1.4*tall {
		t.Errorf("at most %.2f of the picture's height, rendered with %.2f from hoof to head", f.tallest, tall)
	}

	// With marks the distance is that of the hooves.
	var ground geometry.GroundMarks
	for i, m := range truth.Marks {
		x, y, _ := truth.Eye(last).Project(m[0], m[1], 0)
		ground.Points[i] = geometry.Point{X: x, Y: y}
	}
	ground.WidthM, ground.LengthM = 2.5, 8
	p, q := truth.Points(traj.LeftFore)[last], truth.Points(traj.RightFore)[last]
	marks := &record.Marks{View: traj.Toward, Gait: traj.Trot, Calibration: &geometry.CalibrationInput{Frame: last, Ground: &ground}, Picture: record.Picture{Width: info.Width, Height: info.Height},
		Marks: []record.Mark{record.At(last, traj.LeftFore, p.X, p.Y), record.At(last, traj.RightFore, q.X, q.Y)}}
	i := check(t, info, Options{Marks: marks}).Item(Distance)
	if i.Verdict != Good || !strings.Contains(i.Found, "m from the camera") || !strings.Contains(i.Found, "cm shorter") {
		t.Errorf("distance: %+v; the hoof is at %.1f m", i, p.Lane[1])
	}
}

// What the clip and its marks say of themselves is told: slow motion, a mirrored
// picture, marks that contradict themselves, a camera that is not level.
func TestCheckTellsWhatClipAndMarksSay(t *testing.T) {
	t.Parallel()
	s := still()
	s.rate, s.seconds = 30, 1
	info := s.film(t)
	slow := info.FilmedAt(240)
	if i := check(t, slow, Options{}).Item(FrameRate); i.Verdict != Good || !strings.Contains(i.Found, "240 frames a second") || !strings.Contains(i.Found, "8 times slower") {
		t.Errorf("slow motion: %+v", i)
	}
	front := *info
	front.Mirrored = true
	if i := check(t, &front, Options{}).Item(Mirror); i == nil || i.Verdict != Usable || check(t, info, Options{}).Item(Mirror) != nil {
		t.Errorf("mirrored: %+v", i)
	}
	marks := &record.Marks{View: traj.Away, Gait: traj.Trot, Picture: record.Picture{Width: info.Width, Height: info.Height}}
	for frame, tall := range map[int]float64{2: 40, 25: 120} {
		marks.Marks = append(marks.Marks, record.At(frame, traj.LeftFore, 320, 300), record.At(frame, traj.Head, 320, 300-tall))
	}
	if i := check(t, info, Options{Marks: marks}).Item(Marks); i == nil || i.Verdict != Usable || !strings.Contains(i.Found, "toward the camera") {
		t.Errorf("marks of a horse that comes nearer, said to go away: %+v", i)
	}
	if i := check(t, info, Options{}).Item(Limbs); i.Verdict != NotKnown || !strings.Contains(i.Advice, "Look yourself") {
		t.Errorf("limbs without marks: %+v", i)
	}
	if i := check(t, info, Options{MarksError: errors.New("read a.marks.json: broken")}).Item(Marks); i == nil || i.Verdict != NotKnown || !strings.Contains(i.Found, "a.marks.json") {
		t.Errorf("marks that can't be read: %+v", i)
	}
	marks.View = traj.Toward
	for _, tt := range []struct {
		hidden int // In how many of four frames the right fore is hidden.
		want   Verdict
	}{{1, Good}, {2, Usable}, {4, Usable}} {
		led := *marks
		for frame := range 4 {
			led.Marks = append(led.Marks, record.At(frame, traj.LeftFore, 320, 300), record.Mark{Frame: frame, Landmark: traj.RightHind, Hidden: true})
			if frame < tt.hidden {
				led.Marks = append(led.Marks, record.Mark{Frame: frame, Landmark: traj.RightFore, Hidden: true})
			} else {
				led.Marks = append(led.Marks, record.At(frame, traj.RightFore, 280, 300))
			}
		}
		if i := limbs(&led); i.Verdict != tt.want || !strings.Contains(i.Found, fmt.Sprintf("right fore in %d of 4", 4-tt.hidden)) {
			t.Errorf("the right fore is hidden in %d of 4 frames: %+v", tt.hidden, i)
		}
	}
	for _, turn := range []float64{0, 4} {
		sin, cos := math.Sincos(turn * math.Pi / 180)
		ground := &geometry.GroundMarks{WidthM: 2.5, LengthM: 8}
		camera := geometry.LevelCamera(500, 319.5, 179.5, 1.5, geometry.Point{X: 319.5, Y: 120})
		for k, p := range [4][2]float64{{-1.25, 4}, {1.25, 4}, {1.25, 12}, {-1.25, 12}} {
			q, _ := camera.Project(p[0], p[1], 0)
			x, y := q.X-319.5, q.Y-179.5
			ground.Points[k] = geometry.Point{X: 319.5 + cos*x - sin*y, Y: 179.5 + sin*x + cos*y}
		}
		marks.Calibration = &geometry.CalibrationInput{Ground: ground}
		want := map[float64]Verdict{0: Good, 4: Usable}[turn]
		if i := check(t, info, Options{Marks: marks}).Item(Level); i.Verdict != want || !strings.Contains(i.Found, fmt.Sprintf("%.1f°", turn)) {
			t.Errorf("camera turned by %g°: %+v", turn, i)
		}
	}
	if i := lens(nil, info); i.Verdict != NotKnown || !strings.Contains(i.Advice, "main lens") {
		t.Errorf("the lens without marks: %+v", i)
	}
	// 28 mm and 13 mm on 36 mm, a phone's main lens and its widest.
	for focal, want := range map[float64]Verdict{498: Good, 231: Usable} {
		camera := geometry.LevelCamera(focal, 319.5, 179.5, 1.5, geometry.Point{X: 319.5, Y: 120})
		ground := &geometry.GroundMarks{WidthM: 2.5, LengthM: 8}
		for k, p := range [4][2]float64{{-1.25, 4}, {1.25, 4}, {1.25, 12}, {-1.25, 12}} {
			ground.Points[k], _ = camera.Project(p[0], p[1], 0)
		}
		if i := lens(&record.Marks{Calibration: &geometry.CalibrationInput{Ground: ground}}, info); i.Verdict != want {
			t.Errorf("focal length %g px: %+v", focal, i)
		}
	}
}

// Which way the horse goes is held against the clip's name or its marks, and where the film
// does not show it the person is asked, as for the marks on the ground: a good verdict does
// not hide what nobody has looked at.
func TestCheckAsksForWhatItCannotSee(t *testing.T) {
	t.Parallel()
	came, stood := findings{goes: traj.Toward}, findings{}
	for _, tt := range []struct {
		f     findings
		m     *record.Marks
		name  string
		want  Verdict
		found string
		asks  string
	}{
		{came, nil, "toward-1.mp4", Good, "coming toward the camera", ""},
		{came, nil, "away-1.mp4", NotKnown, `it is called "away"`, "under the wrong way"},
		{came, &record.Marks{View: traj.Away}, "toward-1.mp4", NotKnown, `the marks say "away"`, "under the wrong way"},
		{came, nil, "IMG_7.MOV", NotKnown, "coming toward the camera", ""},
		{stood, nil, "Away-2.mp4", NotKnown, "hardly grows", "going away from the camera, as it is called (away)"},
		{stood, nil, "toward-and-away.mp4", NotKnown, "hardly grows", ""},
	} {
		i := direction(tt.f, tt.m, tt.name)
		if i.Verdict != tt.want || !strings.Contains(i.Found, tt.found) || i.Asks() != (tt.asks != "") || !strings.Contains(i.Advice, tt.asks) {
			t.Errorf("%s: %+v", tt.name, i)
		}
	}
	for want, heights := range map[traj.View][]float64{traj.Toward: {10, 11, 12, 14, 17, 20}, traj.Away: {20, 17, 14, 12, 11, 10}, "": {10, 11, 10, 12, 11, 12}} {
		if got := Goes(heights[:2], heights[4:]); got != want {
			t.Errorf("%v: %q, want %q", heights, got, want)
		}
	}
	report := check(t, approach().film(t), Options{})
	if i := report.Item(Direction); !strings.Contains(i.Found, "coming toward the camera") {
		t.Errorf("a horse that comes: %+v", i)
	}
	if i := report.Item(GroundMarks); !i.Asks() {
		t.Errorf("ground that nobody looked at: %+v", i)
	}
	good := Report{Items: []Item{{Verdict: Good, Title: "Shake"}, groundMarks(nil), limbs(nil)}}
	if good.conclude(); good.Sentence != "Good: the clip is well filmed. Look yourself: four marks on the ground, limbs in sight." {
		t.Errorf("%s: %s", good.Verdict, good.Sentence)
	}
}

// What the check costs, which BenchmarkCheck tells: it decodes every frame once, and looks
// closely at so many a second and no more than so many of a long clip.
func TestCheckLooksAtFewPictures(t *testing.T) {
	t.Parallel()
	for name, frames := range map[string]int{"a pass": 150, "more than a minute": 4600} {
		path := filepath.Join(t.TempDir(), "a.mp4")
		scenetest.Coded(t, path, "-f", "lavfi", "-i", "testsrc2=size=160x90:rate=60", "-frames:v", fmt.Sprint(frames), "-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast")
		info, err := clip.Probe(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		s, err := sample(t.Context(), info)
		if err != nil {
			t.Fatal(err)
		}
		if got := 1 + len(s.grid.most); got != frames {
			t.Errorf("%s: %d of %d frames were compared", name, got, frames)
		}
		if most := min(maxSamples, int(sampleRate*info.DurationS())+1); len(s.frames) > most || len(s.frames) < most*3/4 {
			t.Errorf("%s: %d frames were looked at closely, at most %d are wanted", name, len(s.frames), most)
		}
	}
}

func TestCheckSaysWhatItCannotRead(t *testing.T) {
	t.Parallel()
	s := still()
	info := s.film(t)
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Check(cancelled, info, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	data, err := os.ReadFile(info.Path)
	if err != nil {
		t.Fatal(err)
	}
	// The index (moov) of this clip lies at its end: without it nothing is readable,
	// but what Probe said before still is at hand.
	if err := os.WriteFile(info.Path, data[:len(data)/2], 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Check(t.Context(), info, Options{}); !errors.Is(err, clip.ErrNoPicture) {
		t.Errorf("truncated: %v", err)
	}
}

func TestGuide(t *testing.T) {
	t.Parallel()
	text := string(Guide())
	_, rest, _ := strings.Cut(text, "<style>")
	style, _, ok := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	if want := "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"; !ok || GuideStyleHash() != want {
		t.Errorf("style hash %s, want %s", GuideStyleHash(), want)
	}
	for _, forbidden := range []string{"http:", "https:", "<script", " style=", "src="} {
		if strings.Contains(text, forbidden) {
			t.Errorf("the guide has %q", forbidden)
		}
	}
	// The cautions that every screen carries.
	for _, must := range []string{"clearly lame at the walk", "hard hat", "veterinarian diagnoses", "local law", "way out"} {
		if !strings.Contains(text, must) {
			t.Errorf("the guide lacks %q", must)
		}
	}
}

// The guide asks for what the study of the intervals says is needed, and for no
// other number.
func TestGuideSaysHowMuchToFilm(t *testing.T) {
	t.Parallel()
	text := string(Guide())
	advice := metrics.FilmingAdvice()
	if len(advice) == 0 {
		t.Fatal("there is no advice")
	}
	for _, a := range advice {
		mark := ""
		if a.Within {
			mark = "*"
		}
		runs := fmt.Sprint(a.Runs)
		if a.Runs == 0 {
			runs = "over 12"
		}
		if want := fmt.Sprintf("<td>%s%s</td><td>%s</td>", a.What, mark, runs); !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
		if want := fmt.Sprintf("At least %d passes toward and %d away, %d strides or more each.", metrics.LeastRuns, metrics.LeastRuns, metrics.LeastStrides); !strings.Contains(text, want) {
			t.Errorf("the guide lacks %q", want)
		}
	}
	for _, n := range []string{"{{", "}}", "<no value>"} {
		if strings.Contains(text, n) {
			t.Errorf("the guide shows its template: %q", n)
		}
	}
}

// BenchmarkCheck reports how long the check takes beside the clip's own length.
func BenchmarkCheck(b *testing.B) {
	if _, err := exec.LookPath("ffmpeg"); err != nil {
		b.Skip("SKIPPED: ffmpeg is not installed (Debian: apt install ffmpeg)")
	}
	for _, size := range []string{"1920x1080", "3840x2160"} {
		b.Run(size, func(b *testing.B) {
			path := filepath.Join(b.TempDir(), "a.mp4")
			out, err := exec.Command("ffmpeg", "-v", "error", "-f", "lavfi", "-i", "testsrc2=size="+size+":rate=60:duration=4,noise=alls=8:allf=t", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", path).CombinedOutput()
			if err != nil {
				b.Fatalf("%v: %s", err, out)
			}
			info, err := clip.Probe(b.Context(), path)
			if err != nil {
				b.Fatal(err)
			}
			var took float64
			for b.Loop() {
				r, err := Check(b.Context(), info, Options{})
				if err != nil {
					b.Fatal(err)
				}
				took += r.TookS
			}
			b.ReportMetric(took/float64(b.N)/info.DurationS(), "s/clip-s")
		})
	}
}
