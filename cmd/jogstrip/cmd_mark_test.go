package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// filmed renders a short clip into a folder of its own and marks it in one
// frame, as a person would: the truth serves as the person's eye.
func filmed(t *testing.T) (clip string, marks *record.Marks, truth *scene.Truth) {
	t.Helper()
	return filmedFrom(t, 11)
}

// filmedFrom is filmed for a horse that starts so many metres away.
func filmedFrom(t *testing.T, start float64) (clip string, marks *record.Marks, truth *scene.Truth) {
	t.Helper()
	clip = filepath.Join(t.TempDir(), "toward-1.mp4")
	truth = scenetest.Render(t, scene.Scene{Seed: 31, Motion: scene.Motion{StartM: start}, Camera: scene.Camera{Width: 960, Height: 540, FPS: 60}}, clip)
	frame := len(truth.Times) * 2 / 3
	marks = &record.Marks{View: traj.Toward, Gait: traj.Trot, Picture: record.Picture{Width: 960, Height: 540}}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.Head} {
		p := truth.Points(l)[frame]
		marks.Marks = append(marks.Marks, record.At(frame, l, p.X, p.Y))
	}
	ground := &geometry.GroundMarks{WidthM: 2.5, LengthM: 8}
	for i, m := range truth.Marks {
		x, y, _ := truth.Eye(frame).Project(m[0], m[1], 0)
		ground.Points[i] = geometry.Point{X: x, Y: y}
	}
	marks.Calibration = &geometry.CalibrationInput{Frame: frame, Ground: ground}
	return clip, marks, truth
}

// The marks page's measurer measures in a process of its own and tells where
// the clip stands, what was followed, and that it no longer holds once the marks
// change.
func TestClipMeasurer(t *testing.T) {
	clip, marks, truth := filmed(t)
	m := &clipMeasurer{command: func(clip string) *exec.Cmd { return jogstrip(t, "worker", "--again", "--no-video", "--", clip) }}
	if s, err := m.State(clip); err != nil || s != (markpage.State{}) {
		t.Fatalf("before: %+v, %v", s, err)
	}
	if l, err := m.Look(t.Context(), clip); l != nil || err != nil {
		t.Fatalf("before: %+v, %v", l, err)
	}
	if err := m.Measure(t.Context(), clip, func(markpage.Progress) {}); err == nil || !strings.Contains(err.Error(), "marks") {
		t.Errorf("without marks: %v", err)
	}
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	var stages sync.Map
	if err := m.Measure(t.Context(), clip, func(p markpage.Progress) { stages.Store(p.Stage, true) }); err != nil {
		t.Fatal(err)
	}
	told := 0
	stages.Range(func(any, any) bool { told++; return true })
	if told == 0 {
		t.Error("no progress was told")
	}
	state, err := m.State(clip)
	if err != nil || !state.Measured || state.Stale {
		t.Fatalf("after: %+v, %v", state, err)
	}
	look, err := m.Look(t.Context(), clip)
	if err != nil {
		t.Fatal(err)
	}
	if len(look.Tracks) != 3 || len(look.Finding) < 2 || len(look.Contacts) == 0 {
		t.Fatalf("%d tracks, %d contacts, finding %q", len(look.Tracks), len(look.Contacts), look.Finding)
	}
	for _, track := range look.Tracks {
		if len(track.X) != len(truth.Times) || len(track.Status) != len(truth.Times) {
			t.Errorf("%s has %d places for %d frames", track.Landmark, len(track.X), len(truth.Times))
		}
	}
	if _, err := json.Marshal(look); err != nil {
		t.Errorf("the page cannot be told: %v", err)
	}
	marks.Marks[0].X = new(float64)
	*marks.Marks[0].X = 100
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	if state, err := m.State(clip); err != nil || !state.Stale {
		t.Errorf("after the marks changed: %+v, %v", state, err)
	}
	cancelled, cancel := context.WithCancel(t.Context())
	cancel()
	if err := m.Measure(cancelled, clip, func(markpage.Progress) {}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestSplitSentences(t *testing.T) {
	for text, want := range map[string]string{
		"":                        "",
		"even":                    "Even.",
		"a. B (c; d. e); f 1.5 m": "A.|B (c; d. e).|F 1.5 m.",
		"ends well.":              "Ends well.",
		"one; two.":               "One.|Two.",
	} {
		if got := strings.Join(splitSentences(text), "|"); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}

// The command prints an address that opens the page, and ends when told to.
func TestMarkCommand(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(t.Context())
	var stdout, stderr lockedBuffer
	ended := make(chan error, 1)
	go func() {
		ended <- runMark(ctx, &app{&stdout, &stderr}, markOptions{noOpen: true}, dir, markTools{})
	}()
	var url string
	for range 200 {
		if url = regexp.MustCompile(`http://\S+`).FindString(stdout.String()); url != "" {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	response, err := (&http.Client{Jar: jar}).Get(url)
	if err != nil {
		t.Fatal(err)
	}
	_ = response.Body.Close()
	if response.StatusCode != http.StatusOK || strings.Contains(response.Request.URL.RawQuery, "token") {
		t.Errorf("%s answers %d at %s", url, response.StatusCode, response.Request.URL)
	}
	cancel()
	if err := <-ended; err != nil {
		t.Errorf("ended with %v", err)
	}
	if err := runMark(t.Context(), &app{&stdout, &stderr}, markOptions{noOpen: true}, filepath.Join(dir, "missing"), markTools{}); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a folder that is not there: %v", err)
	}
	if err := runMark(t.Context(), &app{&stdout, &stderr}, markOptions{noOpen: true, address: "0.0.0.0:0"}, dir, markTools{}); !errors.Is(err, errUsage) || !strings.Contains(err.Error(), "--remote") {
		t.Errorf("an address for other machines without --remote: %v", err)
	}
	if err := (&markOptions{plain: true}).check(); !errors.Is(err, errUsage) {
		t.Errorf("--plain-http without --remote: %v", err)
	}
}

// lockedBuffer is a buffer for several goroutines.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func TestCheckCommand(t *testing.T) {
	clip, _, _ := filmed(t)
	var stdout, stderr bytes.Buffer
	a := &app{&stdout, &stderr}
	// A clip of 540 lines: film again.
	err := runCheck(t.Context(), a, checkOptions{}, []string{clip})
	if report(err, &stderr) != exitPartly || !strings.HasSuffix(stderr.String(), "jogstrip: "+film.ErrFilmAgain.Error()+"\n") {
		t.Errorf("exit for a clip to film again: %v", err)
	}
	for _, want := range []string{"Film again", "960 × 540 px", "→ Set the phone's video to 1080p", "the clip lasts"} {
		if !strings.Contains(stdout.String(), want) {
			t.Errorf("missing %q in:\n%s", want, stdout.String())
		}
	}
	stdout.Reset()
	_ = runCheck(t.Context(), a, checkOptions{json: true}, []string{clip})
	var r film.Report
	if err := json.Unmarshal(stdout.Bytes(), &r); err != nil || len(r.Items) < 10 {
		t.Errorf("as JSON: %v, %d items", err, len(r.Items))
	}
	broken := filepath.Join(t.TempDir(), "broken.mp4")
	if err := os.WriteFile(broken, []byte("no clip"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := runCheck(t.Context(), a, checkOptions{}, []string{broken}); err == nil || report(err, &stderr) != exitPartly || !strings.Contains(stderr.String(), "broken.mp4") {
		t.Errorf("exit for a file that is no clip: %v", err)
	}
	if err := runCheck(t.Context(), a, checkOptions{}, []string{broken, clip}); report(err, &stderr) != exitPartly {
		t.Errorf("exit for one clip of two: %v", err)
	}
}

func TestGuideCommand(t *testing.T) {
	var stdout bytes.Buffer
	a := &app{&stdout, &stdout}
	path := filepath.Join(t.TempDir(), "guide.html")
	if err := runGuide(a, path); err != nil {
		t.Fatal(err)
	}
	if data, err := os.ReadFile(path); err != nil || !bytes.Equal(data, film.Guide()) {
		t.Errorf("the file is not the guide: %v", err)
	}
	if err := runGuide(a, path); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over a file that exists: %v", err)
	}
	stdout.Reset()
	if err := runGuide(a, "-"); err != nil || !bytes.Equal(stdout.Bytes(), film.Guide()) {
		t.Errorf("to standard output: %v", err)
	}
}
