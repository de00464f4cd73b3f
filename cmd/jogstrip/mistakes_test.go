package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// filmedPass is a rendered pass whose marks are set rightly, and wrongly.
type filmedPass struct {
	name  string
	scene scene.Scene
	truth *scene.Truth
	path  string
	limb  traj.Landmark // On which the horse is uneven; empty for an even one.
}

// filmPass renders a pass of chance's choice: horse, speed, camera and unevenness.
func filmPass(t testing.TB, dir string, view traj.View, gait traj.Gait, seed uint64) *filmedPass {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, uint64(len(view)*10+len(gait))))
	between := func(a, b float64) float64 { return a + (b-a)*r.Float64() }
	s := scene.Scene{Seed: 7000 + seed, View: view, Gait: gait}
	s.Horse.Markers = true
	s.Horse.HeightM = between(1.45, 1.72)
	s.Camera.Width, s.Camera.Height = 960, 540
	s.Camera.HeightM, s.Camera.FocalShare = between(1.2, 2.2), between(0.7, 0.9)
	s.Camera.PitchDeg = between(1, 2.5) + 5*(s.Camera.HeightM-1.2)
	s.Yard.MarksNearM = 5 // Seen by all of these cameras.
	near, far := between(5, 5.6), between(14, 16)
	if gait == traj.Walk {
		far = between(12, 13)
	}
	s.Motion.StartM, s.Motion.EndM = far, near
	if view == traj.Away {
		s.Motion.StartM, s.Motion.EndM = near+0.4, far
	}
	f := &filmedPass{name: fmt.Sprintf("%s-%s-%d", view, gait, seed)}
	// From in front the head tells of the fores, from behind the croup of the hinds.
	switch limbs := map[traj.View][2]traj.Landmark{traj.Toward: {traj.LeftFore, traj.RightFore}, traj.Away: {traj.LeftHind, traj.RightHind}}[view]; seed % 4 {
	case 0, 1:
		f.limb = limbs[seed%4]
	case 2:
		f.limb = traj.Landmarks()[r.IntN(4)]
	}
	s.Asymmetry = scene.OneLimb(f.limb)
	f.scene, f.path = s, filepath.Join(dir, f.name+".mp4")
	f.truth = scenetest.Render(t, s, f.path)
	return f
}

// marks returns what a careful person clicks on the pass; each time of clicking has its
// own small errors.
func (f *filmedPass) marks(time uint64) *record.Marks {
	s := f.scene
	s.Seed += 100 * time
	// Three distances, two, or four.
	m := demo.Clicked(f.truth, s, filepath.Base(f.path), demo.Clicking{Distances: []int{0, 2, 4}[time%3]})
	if s.View == traj.Toward && time%2 == 0 {
		var frames []int
		for _, k := range m.Marks {
			if !slices.Contains(frames, k.Frame) {
				frames = append(frames, k.Frame)
			}
		}
		for _, c := range f.truth.Clicks(frames, scene.ClickOptions{SD: 0.4, Seed: s.Seed, Landmarks: []traj.Landmark{traj.Withers}}) {
			m.Marks = append(m.Marks, record.At(c.Frame, c.Landmark, c.X, c.Y))
		}
	}
	if time%2 == 0 {
		m.Turned = "0"
		m.Frames = len(f.truth.Times)                            // As the marks page writes it; a person who writes marks by hand does not.
		m.WithersM = float64(int(100*s.Horse.HeightM+0.5)) / 100 // As a measuring stick tells it.
	}
	return m
}

// wrongInput is something that is done wrong by mistake to the marks of a pass.
type wrongInput struct {
	kind, name string
	do         func(m *record.Marks, f, other *filmedPass)
}

func renamed(which func(frame int, l traj.Landmark) bool) func(*record.Marks, *filmedPass, *filmedPass) {
	return func(m *record.Marks, _, _ *filmedPass) {
		for i, k := range m.Marks {
			if which(k.Frame, k.Landmark) {
				m.Marks[i].Landmark = k.Landmark.Opposite()
			}
		}
	}
}

func sized(width, length float64) func(*record.Marks, *filmedPass, *filmedPass) {
	return func(m *record.Marks, _, _ *filmedPass) {
		m.Calibration.Ground.WidthM, m.Calibration.Ground.LengthM = width, length
	}
}

func reordered(order [4]int) func(*record.Marks, *filmedPass, *filmedPass) {
	return func(m *record.Marks, _, _ *filmedPass) {
		p := m.Calibration.Ground.Points
		for i, k := range order {
			m.Calibration.Ground.Points[i] = p[k]
		}
	}
}

func gaitInstead(turn int) func(*record.Marks, *filmedPass, *filmedPass) {
	return func(m *record.Marks, _, _ *filmedPass) {
		gaits := []traj.Gait{traj.Walk, traj.Trot, traj.Pace}
		m.Gait = gaits[(slices.Index(gaits, m.Gait)+turn)%3]
	}
}

func viewInstead(m *record.Marks, f, other *filmedPass) {
	m.View = map[traj.View]traj.View{traj.Toward: traj.Away, traj.Away: traj.Toward}[m.View]
}

// wrongInputs are what people get wrong. The rectangle is 2.5 m wide and 8 m long.
func wrongInputs() []wrongInput {
	all := func(int, traj.Landmark) bool { return true }
	const foot, yard = 0.3048, 0.9144
	return []wrongInput{
		{"left and right swapped", "in all marks", renamed(all)},
		{"left and right swapped", "of the fores", renamed(func(_ int, l traj.Landmark) bool { return l.IsFore() })},
		{"left and right swapped", "of the hinds", renamed(func(_ int, l traj.Landmark) bool { return l.IsHind() })},
		{"left and right swapped", "in one frame", func(m *record.Marks, f, other *filmedPass) {
			one := m.Marks[len(m.Marks)/2].Frame
			renamed(func(frame int, _ traj.Landmark) bool { return frame == one })(m, f, other)
		}},
		{"left and right swapped", "in all frames but one", func(m *record.Marks, f, other *filmedPass) {
			one := m.Marks[0].Frame
			renamed(func(frame int, _ traj.Landmark) bool { return frame != one })(m, f, other)
		}},
		{"left and right swapped", "of the hooves, not of the hips", renamed(func(_ int, l traj.Landmark) bool { return l.IsHoof() })},
		{"the other view", "alone", viewInstead},
		{"the other view", "with its sides", func(m *record.Marks, f, other *filmedPass) {
			viewInstead(m, f, other)
			renamed(all)(m, f, other)
		}},
		{"another gait", "the next", gaitInstead(1)},
		{"another gait", "the one after", gaitInstead(2)},
		{"feet, yards, inches for metres", "feet", sized(2.5/foot, 8/foot)},
		{"feet, yards, inches for metres", "yards", sized(2.5/yard, 8/yard)},
		{"feet, yards, inches for metres", "width in feet alone", sized(8.2, 8)},
		{"feet, yards, inches for metres", "length in feet alone", sized(2.5, 26.2)},
		{"a digit of the width", "5.2 for 2.5", sized(5.2, 8)},
		{"a digit of the width", "25", sized(25, 8)},
		{"a digit of the width", "0.25", sized(0.25, 8)},
		{"a digit of the width", "3.5", sized(3.5, 8)},
		{"a digit of the width", "1.5", sized(1.5, 8)},
		{"a digit of the width", "3", sized(3, 8)},
		{"a digit of the width", "2", sized(2, 8)},
		{"a digit of the length", "80", sized(2.5, 80)},
		{"a digit of the length", "18", sized(2.5, 18)},
		{"a digit of the length", "5", sized(2.5, 5)},
		{"a digit of the length", "3", sized(2.5, 3)},
		{"a digit of the length", "6", sized(2.5, 6)},
		{"a digit of the length", "9", sized(2.5, 9)},
		{"width and length exchanged", "", sized(8, 2.5)},
		{"order of the ground points", "begun at the far left", reordered([4]int{3, 0, 1, 2})},
		{"order of the ground points", "mirrored", reordered([4]int{1, 0, 3, 2})},
		{"order of the ground points", "crossed over", reordered([4]int{0, 1, 3, 2})},
		{"order of the ground points", "far ones first", reordered([4]int{3, 2, 1, 0})},
		{"another clip's marks", "all of them", func(m *record.Marks, f, other *filmedPass) {
			clip := m.Clip
			*m = *other.marks(0)
			m.Clip = clip
		}},
		{"another clip's marks", "those on the horse", func(m *record.Marks, f, other *filmedPass) { m.Marks = other.marks(1).Marks }},
		{"another phone's calibration", "", func(m *record.Marks, f, other *filmedPass) { m.Calibration = other.marks(0).Calibration }},
	}
}

// trial is one input that is given to the program.
type trial struct {
	kind, name string
	pass       *filmedPass
	marks      *record.Marks
}

// judged is what the program made of a trial.
type judged struct {
	trial
	entry  batch.Entry
	result *record.Result // Nil where nothing came of it.
}

// silently reports whether the trial ended as good ones do: with exit code 0, were it
// measured alone.
func (s judged) silently() bool { return s.entry.Outcome == batch.Measured }

// named returns the limb that is named, or the side where no limb is.
func (s judged) named() string {
	if s.result == nil || s.result.Summary == nil {
		return ""
	}
	return limbOrSide(s.result.Summary.Limb)
}

func limbOrSide(f metrics.LimbFinding) string {
	if f.Limb != "" {
		return string(f.Limb)
	}
	for _, side := range []traj.Side{traj.Left, traj.Right} {
		if strings.Contains(f.Sentence, "point to the "+string(side)+" side") {
			return string(side)
		}
	}
	return ""
}

// wrongly reports whether a limb or a side is named that is not the horse's.
func (s judged) wrongly() bool {
	switch named := s.named(); named {
	case "":
		return false
	case string(traj.Left), string(traj.Right):
		return s.pass.limb == "" || s.pass.limb.Side() != traj.Side(named)
	default:
		return traj.Landmark(named) != s.pass.limb
	}
}

// tryAll has the program measure all trials in one batch, each clip alone in its folder.
func tryAll(t *testing.T, trials []trial) []judged {
	t.Helper()
	root := t.TempDir()
	place := func(i int) string { return fmt.Sprintf("%04d/%s", i, filepath.Base(trials[i].pass.path)) }
	for i, tr := range trials {
		path := filepath.Join(root, filepath.FromSlash(place(i)))
		tr.marks.Schema = record.MarksSchema
		data, err := json.Marshal(tr.marks) // Written as by hand: record.WriteMarks writes nothing that it would not read.
		film, readErr := os.ReadFile(tr.pass.path)
		// A copy each: a film that is measured is locked.
		if err := errors.Join(err, readErr, os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, film, 0o644), os.WriteFile(record.MarksPath(path), data, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	out, err := jogstrip(t, "batch", root, "--no-video", "--resamples", "400", "--log", "plain").CombinedOutput()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("%v\n%s", err, out)
	}
	entries := outcomes(t, root)
	all := make([]judged, len(trials))
	for i, tr := range trials {
		entry, ok := entries[place(i)]
		if !ok {
			t.Fatalf("%s, %s %s: no outcome\n%s", tr.pass.name, tr.kind, tr.name, out)
		}
		all[i] = judged{trial: tr, entry: entry}
		if entry.Outcome == batch.Failed {
			continue
		}
		if all[i].result, err = record.ReadResult(record.OutPath(filepath.Join(root, filepath.FromSlash(place(i))))); err != nil {
			t.Fatal(err)
		}
	}
	return all
}

// A few mistakes, and a pass rightly marked, through the real program, beside those of
// TestMistakesAreNoticed; go test -tags study does it for hundreds.
func TestMistakesSample(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	dir := t.TempDir()
	toward, away := filmPass(t, dir, traj.Toward, traj.Trot, 0), filmPass(t, dir, traj.Away, traj.Trot, 0)
	want := map[string]batch.Outcome{
		"none of away":             batch.Measured,
		"of the hinds of away":     batch.SecondLook,
		"with its sides of toward": batch.Failed,
		"25 of away":               batch.Failed,
		"1.5 of toward":            batch.SecondLook, // By the lens alone.
		"all of them of away":      batch.SecondLook, // By the number of frames.
	}
	var trials []trial
	add := func(name string, f *filmedPass, do func(m *record.Marks, f, other *filmedPass)) {
		m := f.marks(0)
		if do != nil {
			do(m, f, map[*filmedPass]*filmedPass{toward: away, away: toward}[f])
		}
		trials = append(trials, trial{"", fmt.Sprintf("%s of %s", name, f.scene.View), f, m})
	}
	add("none", away, nil)
	for _, w := range wrongInputs() {
		for _, f := range []*filmedPass{toward, away} {
			if _, ok := want[fmt.Sprintf("%s of %s", w.name, f.scene.View)]; ok {
				add(w.name, f, w.do)
			}
		}
	}
	for _, got := range tryAll(t, trials) {
		if got.entry.Outcome != want[got.name] || got.silently() && got.wrongly() {
			t.Errorf("%s: %s, named %q, true %q, want %s: %s", got.name, got.entry.Outcome, got.named(), got.pass.limb, want[got.name], got.entry.Reason)
		}
		delete(want, got.name)
	}
	for name := range want {
		t.Errorf("%s was not tried", name)
	}
}
