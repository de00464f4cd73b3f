package track_test

import (
	"bytes"
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"math"
	"runtime"
	"strings"
	"testing"

	"jogstrip/track"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

func still(x, y float64) func(int) flow.Point {
	return func(int) flow.Point { return flow.Point{X: x, Y: y} }
}

// approach is a disc that sways, approaches at 0.7 % a frame and is marked at
// its centre as the head.
func approach(frames int) *movie {
	return &movie{
		width: 320, height: 240, frames: frames, noise: 2, seed: 7,
		background: texture(1, 120, 9),
		sprites: []sprite{{
			radius: 28, grey: texture(2, 110, 12),
			at: func(f int) flow.Point {
				return flow.Point{X: 150.3 + 22*math.Sin(float64(f)/9), Y: 110.6 + 14*math.Cos(float64(f)/7)}
			},
			scale: func(f int) float64 { return math.Pow(1.007, float64(f)) },
		}},
	}
}

func markAt(m *movie, i, f int, l traj.Landmark) track.Mark {
	p := m.sprites[i].at(f)
	return track.Mark{Frame: f, Landmark: l, X: p.X, Y: p.Y, Visible: true, SD: 0.01}
}

type figures struct {
	rms, worst, normalised float64
	seen, wrong            int
}

// compare compares a track with the sprite's true path. wrong counts samples
// reported as seen that lie more than 5 px off.
func compare(t *traj.Track, truth func(int) flow.Point) figures {
	var r figures
	var sq, nsq float64
	for f, s := range t.Samples {
		if !s.Status.Seen() {
			continue
		}
		p := truth(f)
		dx, dy := s.X-p.X, s.Y-p.Y
		d := math.Hypot(dx, dy)
		sq += d * d / 2
		if s.Status == traj.Tracked {
			nsq += (dx*dx + dy*dy) / (2 * s.SD * s.SD)
		}
		r.worst = max(r.worst, d)
		r.seen++
		if d > 5 {
			r.wrong++
		}
	}
	r.rms = math.Sqrt(sq / float64(r.seen))
	r.normalised = math.Sqrt(nsq / float64(r.seen))
	return r
}

func run(t *testing.T, m *movie, marks ...track.Mark) *track.Result {
	t.Helper()
	r, err := track.Run(t.Context(), m.open(), marks, track.Options{ScratchDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestFollowsAnApproachingPatch(t *testing.T) {
	m := approach(70)
	for _, tt := range []struct {
		name  string
		marks []int
	}{
		{"marked in the first frame", []int{0}},
		{"marked in the middle", []int{35}},
		{"marked in the last frame", []int{69}},
		{"marked three times", []int{5, 35, 64}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var marks []track.Mark
			for _, f := range tt.marks {
				marks = append(marks, markAt(m, 0, f, traj.Head))
			}
			r := run(t, m, marks...)
			c := compare(r.Set.Track(traj.Head), m.sprites[0].at)
			t.Logf("seen %d of %d, rms %.3f px, worst %.3f px, normalised %.2f", c.seen, m.frames, c.rms, c.worst, c.normalised)
			if c.seen != m.frames || c.rms > 0.25 || c.worst > 1 {
				t.Errorf("seen %d, rms %.3f, worst %.3f: want all, 0.25, 1", c.seen, c.rms, c.worst)
			}
			if r.Set.Motions != nil {
				t.Errorf("camera stood still, yet it reports motion: shake %.3f px, residual %.3f px", r.Set.ShakeRMS, r.Set.ResidualRMS)
			}
		})
	}
}

// A square slides over the target and stays: from then on it is not seen.
func TestHiddenTargetIsLost(t *testing.T) {
	const arrives = 30
	for _, tt := range []struct {
		name  string
		grey  func(x, y float64) float64
		leave int
	}{
		{"textured cover that stays", texture(5, 100, 12), 1 << 30},
		{"plain cover that stays", func(x, y float64) float64 { return 60 }, 1 << 30},
		{"textured cover that passes", texture(6, 100, 12), 42},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := approach(80)
			m.sprites[0].at = still(150.3, 110.6)
			cover := func(f int) flow.Point {
				x := 150.3 + 12*math.Max(0, float64(arrives-f))
				if f > tt.leave {
					x -= 12 * float64(f-tt.leave)
				}
				return flow.Point{X: x, Y: 110}
			}
			m.sprites = append(m.sprites, sprite{radius: 45, square: true, grey: tt.grey, at: cover})
			r := run(t, m, markAt(m, 0, 0, traj.Head))
			tr := r.Set.Track(traj.Head)
			for f := arrives - 1; f < min(m.frames, tt.leave+2); f++ {
				if tr.Samples[f].Status.Seen() {
					t.Errorf("frame %d: hidden, yet %v at (%.1f, %.1f)", f, tr.Samples[f].Status, tr.Samples[f].X, tr.Samples[f].Y)
				}
			}
			if c := compare(tr, m.sprites[0].at); c.wrong > 0 || c.worst > 2 {
				t.Errorf("%d samples are wrong, worst %.2f px", c.wrong, c.worst)
			}
			if len(r.Losses) == 0 || len(r.Advice) == 0 && tt.leave > m.frames {
				t.Errorf("losses %v, advice %v: want some of each", r.Losses, r.Advice)
			}
			if tt.leave < m.frames {
				after := 0
				for f := tt.leave + 10; f < m.frames; f++ {
					if tr.Samples[f].Status.Seen() {
						after++
					}
				}
				if after < 15 {
					t.Errorf("seen in %d frames after the cover has passed, want it taken up again", after)
				}
			}
		})
	}
}

// Repeated texture: a patch of fence that jumps by more than half a period
// looks the same one period on. No such place may be called seen.
func TestFenceGivesNoFalsePoints(t *testing.T) {
	for _, speed := range []float64{0, 4, 7, 11} {
		t.Run(fmt.Sprintf("%v px a frame", speed), func(t *testing.T) {
			m := &movie{width: 320, height: 160, frames: 24, noise: 1.5, seed: 3, background: texture(1, 120, 7),
				sprites: []sprite{{radius: 60, square: true, grey: fence(12, 110, 25), at: func(f int) flow.Point {
					// Sets off suddenly.
					return flow.Point{X: 70 + speed*math.Max(0, float64(f-4)), Y: 80}
				}}}}
			r := run(t, m, markAt(m, 0, 0, traj.Head))
			c := compare(r.Set.Track(traj.Head), m.sprites[0].at)
			t.Logf("seen %d, wrong %d, worst %.2f px", c.seen, c.wrong, c.worst)
			if c.wrong > 0 {
				t.Errorf("%d of %d seen samples are more than 5 px wrong", c.wrong, c.seen)
			}
		})
	}
}

func TestNothingToHoldOnTo(t *testing.T) {
	flat := func(v float64) *movie {
		return &movie{width: 64, height: 48, frames: 6, background: func(x, y float64) float64 { return v }}
	}
	for _, tt := range []struct {
		name string
		m    *movie
	}{{"black", flat(0)}, {"white", flat(255)}, {"grey", flat(128)}} {
		t.Run(tt.name, func(t *testing.T) {
			r := run(t, tt.m, track.Mark{Frame: 2, Landmark: traj.LeftFore, X: 30, Y: 30, Visible: true})
			for f, s := range r.Set.Track(traj.LeftFore).Samples {
				if want := f == 2; s.Status.Seen() != want {
					t.Errorf("frame %d: %v", f, s.Status)
				}
			}
			if len(r.Losses) != 2 {
				t.Errorf("losses %v, want one before and one after the mark", r.Losses)
			}
		})
	}
}

func TestHandheldIsStabilised(t *testing.T) {
	shake := func(f int) flow.Point {
		return flow.Point{X: 4*math.Sin(float64(f)/5) + 0.1*float64(f), Y: 3 * math.Cos(float64(f)/6)}
	}
	m := &movie{width: 320, height: 240, frames: 50, noise: 2, seed: 4, background: texture(1, 120, 9), shake: shake,
		sprites: []sprite{{radius: 26, grey: texture(2, 110, 12), at: func(f int) flow.Point {
			return flow.Point{X: 160 + shake(f).X, Y: 120 + shake(f).Y + 0.2*float64(f)}
		}}}}
	const reference = 20
	r, err := track.Run(t.Context(), m.open(), []track.Mark{markAt(m, 0, 10, traj.Head)}, track.Options{ReferenceFrame: reference})
	if err != nil {
		t.Fatal(err)
	}
	if r.Set.Motions == nil {
		t.Fatal("no motions")
	}
	var worst float64
	for f, mo := range r.Set.Motions {
		for _, p := range []flow.Point{{X: 40, Y: 40}, {X: 280, Y: 200}, {X: 160, Y: 120}} {
			x, y := mo.Apply(p.X, p.Y)
			worst = max(worst, math.Hypot(x-(p.X+shake(reference).X-shake(f).X), y-(p.Y+shake(reference).Y-shake(f).Y)))
		}
	}
	t.Logf("shake %.2f px, residual %.3f px, worst error of a motion %.3f px", r.Set.ShakeRMS, r.Set.ResidualRMS, worst)
	if worst > 0.4 {
		t.Errorf("a motion is %.2f px wrong, want 0.4 or less", worst)
	}
	if r.Set.ShakeRMS < 3 || r.Set.ShakeRMS > 5 {
		t.Errorf("shake %.2f px, want about 4", r.Set.ShakeRMS)
	}
}

func TestMarksThatDoNotFit(t *testing.T) {
	m := approach(10)
	open := m.open()
	good := markAt(m, 0, 3, traj.Head)
	change := func(f func(*track.Mark)) []track.Mark {
		c := good
		f(&c)
		return []track.Mark{good, c}
	}
	for _, tt := range []struct {
		name  string
		marks []track.Mark
		want  string
	}{
		{"right of the picture", change(func(m *track.Mark) { m.Frame = 4; m.X = 320 }), "frame 4 at (320.0"},
		{"above the picture", change(func(m *track.Mark) { m.Frame = 4; m.Y = -1 }), "outside the picture of 320×240"},
		{"after the last frame", change(func(m *track.Mark) { m.Frame = 10 }), "the clip ends with frame 9"},
		{"before the first frame", change(func(m *track.Mark) { m.Frame = -1 }), "negative"},
		{"not a number", change(func(m *track.Mark) { m.Frame = 4; m.X = math.NaN() }), "not a finite number"},
		{"infinite spread", change(func(m *track.Mark) { m.Frame = 4; m.SD = math.Inf(1) }), "spread"},
		{"marked twice", []track.Mark{good, good}, "twice"},
		{"unknown landmark", change(func(m *track.Mark) { m.Landmark = "tail" }), "unknown landmark"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := track.Run(t.Context(), open, tt.marks, track.Options{})
			var me *track.MarkError
			if !errors.As(err, &me) || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want a MarkError with %q", err, tt.want)
			}
		})
	}
	for _, marks := range [][]track.Mark{nil, {{Frame: 1, Landmark: traj.Head}}} {
		if _, err := track.Run(t.Context(), open, marks, track.Options{}); !errors.Is(err, track.ErrNoMarks) {
			t.Errorf("error %v, want ErrNoMarks", err)
		}
	}
}

func TestClipsThatDoNotFit(t *testing.T) {
	mark := []track.Mark{{Frame: 0, Landmark: traj.Head, X: 10, Y: 10, Visible: true}}
	frame := make([]byte, 64*48)
	clip := func(w, h int, frames ...[]byte) track.Open {
		return func(context.Context) (track.Source, error) { return &memory{width: w, height: h, frames: frames}, nil }
	}
	for _, tt := range []struct {
		name string
		open track.Open
		want string
	}{
		{"short frame", clip(64, 48, frame, frame[1:]), "read frame 1: 3071 bytes of luma, want 3072"},
		{"long frame", clip(32, 48, frame), "read frame 0"},
		{"no frame", clip(64, 48), "no frame"},
		{"no size", clip(0, 0, frame), "picture of 0×0"},
		{"cannot open", func(context.Context) (track.Source, error) { return nil, errors.New("no such clip") }, "open clip: no such clip"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := track.Run(t.Context(), tt.open, mark, track.Options{})
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want %q", err, tt.want)
			}
		})
	}
}

func TestCancel(t *testing.T) {
	m := approach(20)
	for _, stage := range []string{"read", "follow"} {
		ctx, cancel := context.WithCancel(t.Context())
		_, err := track.Run(ctx, m.open(), []track.Mark{markAt(m, 0, 0, traj.Head)}, track.Options{
			Progress: func(s string, done, total int) {
				if s == stage && done == 5 {
					cancel()
				}
			},
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled while it did %s: error %v", stage, err)
		}
		cancel()
	}
}

// Same clip, same marks: the same bytes, whatever the number of processors.
func TestSameInputSameBytes(t *testing.T) {
	m := approach(30)
	var first []byte
	for _, procs := range []int{1, 2, 4, 2} {
		before := runtime.GOMAXPROCS(procs)
		r := run(t, m, markAt(m, 0, 4, traj.Head), markAt(m, 0, 25, traj.Head))
		runtime.GOMAXPROCS(before)
		var b bytes.Buffer
		if err := gob.NewEncoder(&b).Encode(r); err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.Bytes()
		} else if !bytes.Equal(first, b.Bytes()) {
			t.Errorf("with %d processors the result differs", procs)
		}
	}
}
