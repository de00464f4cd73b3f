package main

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/chromedp/chromedp"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/markpage/pagetest"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// tab is a page at which somebody marks clips.
type tab struct{ *pagetest.Page }

func openTab(t *testing.T) *tab {
	t.Helper()
	return &tab{pagetest.Open(t, 1440, 900, false)}
}

// numbers returns what a JavaScript expression gives.
func (b *tab) numbers(expression string) []float64 {
	b.Helper()
	return pagetest.Eval[[]float64](b.Page, expression)
}

// frame returns the frame that is shown, once its picture is there.
func (b *tab) frame() int {
	b.Helper()
	b.Rested()
	return int(b.numbers(`[Number(document.querySelector('canvas.picture').dataset.frame)]`)[0])
}

// marking is the program itself, serving the marks page as a process of its own.
type marking struct {
	cmd *exec.Cmd
	url string
}

func startMarking(t *testing.T, dir string, more ...string) *marking {
	t.Helper()
	cmd := jogstrip(t, append([]string{"mark", "--no-open", dir}, more...)...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	m := &marking{cmd: cmd}
	t.Cleanup(m.kill)
	for lines := bufio.NewScanner(out); m.url == "" && lines.Scan(); {
		m.url = regexp.MustCompile(`http://\S+`).FindString(lines.Text())
	}
	if m.url == "" {
		t.Fatal("the program printed no address")
	}
	return m
}

// kill ends the program as the kernel does, without a word (SIGKILL).
func (m *marking) kill() {
	if m.cmd.ProcessState == nil {
		_ = m.cmd.Process.Kill()
		_ = m.cmd.Wait()
	}
}

// middleOfStance returns the frame nearest to near in the middle of a stance of
// limb: where a person stops who steps until the hoof stands.
func middleOfStance(truth *scene.Truth, limb traj.Landmark, near int) int {
	best, at := math.Inf(1), near
	for f, t := range truth.Times {
		for _, c := range truth.Contacts {
			middle := (c.On + c.HeelOff) / 2
			if c.Limb == limb && math.Abs(t-middle) < 0.009 && math.Abs(float64(f-near)) < best {
				best, at = math.Abs(float64(f-near)), f
			}
		}
	}
	return at
}

// A practitioner comes with a folder of new clips and nothing else; the program
// is killed in the middle of marking, again and again. Nothing that was clicked
// is lost; the second clip takes under a minute; both are measured, and the
// report opens.
func TestLooseClipsThroughKills(t *testing.T) {
	long(t)
	clip, _, truth := filmedFrom(t, 15)
	dir := filepath.Dir(clip)
	data, err := os.ReadFile(clip)
	if err != nil {
		t.Fatal(err)
	}
	second := filepath.Join(dir, "toward-2.mp4")
	if err := os.WriteFile(second, data, 0o644); err != nil {
		t.Fatal(err)
	}
	b := openTab(t)
	program := startMarking(t, dir, "--no-proposals")
	first := program.url
	b.Do(chromedp.Navigate(program.url))
	b.Click("#first")
	b.Begin("toward")

	type clicked struct {
		frame    int
		landmark traj.Landmark
	}
	var done []clicked
	lead := []traj.Landmark{traj.LeftFore, traj.RightFore}
	// standAt steps, with keys, to where the limb asked for stands.
	standAt := func(limb traj.Landmark) int {
		t.Helper()
		now := b.frame()
		want := middleOfStance(truth, limb, now)
		for ; now < want; now++ {
			b.Key(".")
		}
		for ; now > want; now-- {
			b.Key(",")
		}
		b.frame()
		return want
	}
	mark := func(l traj.Landmark, frame int) {
		t.Helper()
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, l))
		p := truth.Points(l)[frame]
		b.Press(p.X, p.Y)
		done = append(done, clicked{frame, l})
	}
	// saved fails where the clip's file lacks a mark that was clicked.
	saved := func(path, moment string) {
		t.Helper()
		b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
		m, err := record.ReadMarks(record.MarksPath(path))
		if err != nil {
			t.Fatalf("%s: %v", moment, err)
		}
		have := map[clicked]bool{}
		for _, k := range m.Marks {
			p := truth.Points(k.Landmark)[k.Frame]
			have[clicked{k.Frame, k.Landmark}] = math.Hypot(*k.X-p.X, *k.Y-p.Y) < 1.5
		}
		for _, c := range done {
			if !have[c] {
				t.Errorf("%s: %s in frame %d is lost", moment, c.landmark, c.frame)
			}
		}
		if len(m.Marks) != len(done) {
			t.Errorf("%s: %d marks are saved, %d were placed", moment, len(m.Marks), len(done))
		}
	}
	// Killed at other moments each time: with all saved; with a click just sent; in
	// the middle of several.
	for i := range 6 {
		frame := standAt(lead[i%2])
		mark(lead[i%2], frame)
		switch i {
		case 0:
			b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
			program.kill()
		case 2, 3:
			program.kill()
		}
		mark(traj.Head, frame)
		if i == 4 {
			program.kill()
		}
		if i == 0 || i == 2 || i == 3 || i == 4 {
			b.Wait(`document.querySelector('#saved').textContent.includes('kept in this browser')`)
			if i == 2 { // The window is closed as well, with the program away.
				b.Do(chromedp.Navigate("about:blank"))
			}
			program = startMarking(t, dir, "--no-proposals")
			if program.url == first || !strings.HasPrefix(program.url, strings.Split(first, "?")[0]) {
				t.Fatalf("started anew at %s, before at %s: the same address and another token are needed", program.url, first)
			}
			b.Do(chromedp.Navigate(program.url))
			b.Wait(`document.querySelector('.notice.warn a')?.textContent.includes('toward-1.mp4')`)
			b.Click(".notice.warn a")
			b.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined && document.querySelector('.ask') !== null`)
			saved(clip, fmt.Sprintf("kill after frame %d", i+1))
		}
		if i < 5 {
			b.Wait(`document.querySelector('#next-frame') !== null`)
			before := b.frame()
			b.Key("g")
			b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame !== '%d'`, before))
		}
	}
	saved(clip, "after the last mark")
	b.Shoot("marked")
	b.Wait(`document.querySelector('.task').textContent.includes('left fore standing 3 of 3') && document.querySelector('.task').textContent.includes('right fore standing 3 of 3')`)

	// Ground marks that are not complete yet are kept, too: through a kill, a closed
	// window and a reload.
	b.Click("#step-ground")
	frame := b.frame()
	var ground [4]geometry.Point
	for i, m := range truth.Marks {
		x, y, _ := truth.Eye(frame).Project(m[0], m[1], 0)
		ground[i] = geometry.Point{X: x, Y: y}
	}
	b.Fill("#lane-width_m", "2.5")
	b.Fill("#lane-length_m", "8")
	for _, p := range ground[:3] {
		b.Press(p.X, p.Y)
	}
	b.Wait(`document.querySelector('.task h2')?.textContent.includes('far left')`)
	program.kill()
	b.Do(chromedp.Navigate("about:blank"))
	program = startMarking(t, dir, "--no-proposals")
	b.Do(chromedp.Navigate(program.url))
	b.Wait(`document.querySelector('.clip') !== null`)
	b.numbers(`location.hash = '#/mark/toward-1.mp4', []`)
	b.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined`)
	b.Click("#step-ground")
	b.Wait(`document.querySelector('.task h2')?.textContent.includes('far left')`)
	if got := b.numbers(`[parseFloat(document.querySelector('#lane-width_m').value), parseFloat(document.querySelector('#lane-length_m').value)]`); got[0] != 2.5 || got[1] != 8 {
		t.Errorf("the rectangle's measures became %v", got)
	}
	b.Press(ground[3].X, ground[3].Y)
	b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	b.Shoot("ground")
	b.Click("#go-finish")
	saved(clip, "after the ground marks")
	m, err := record.ReadMarks(record.MarksPath(clip))
	if err != nil || m.Calibration == nil || m.Calibration.Ground == nil {
		t.Fatalf("no ground marks are saved: %v", err)
	}
	for i, p := range m.Calibration.Ground.Points {
		if math.Hypot(p.X-ground[i].X, p.Y-ground[i].Y) > 1.5 {
			t.Errorf("ground mark %d is at %.1f, %.1f; clicked at %.1f, %.1f", i+1, p.X, p.Y, ground[i].X, ground[i].Y)
		}
	}

	// The second clip, undisturbed: how long would a person take?
	b.Clicks, b.Keys, done = 0, 0, nil
	b.Click("#next-clip")
	b.Wait(`document.querySelector('h1')?.textContent === 'Mark toward-2.mp4' && document.querySelector('canvas.picture')?.dataset.frame !== undefined`)
	b.Begin("toward")
	for i := range 6 {
		frame := standAt(lead[i%2])
		mark(lead[i%2], frame)
		mark(traj.Head, frame)
		if i < 5 {
			before := b.frame()
			b.Key("g")
			b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame !== '%d'`, before))
		}
	}
	// The first clip's ground marks are taken over by themselves: the camera stands as it did.
	saved(second, "second clip")
	if m, err := record.ReadMarks(record.MarksPath(second)); err != nil || m.Calibration == nil || m.Calibration.Ground == nil {
		t.Fatalf("the ground marks were not taken over: %v", err)
	}
	// The keystroke-level model's times for a skilled person (Card, Moran & Newell
	// 1980, from memory): pointing 1.1 s, a button 0.2 s, a key 0.28 s, a thought
	// before each of the six frames and three pages 1.35 s.
	seconds := 1.3*float64(b.Clicks) + 0.28*float64(b.Keys) + 9*1.35
	t.Logf("the second clip took %d clicks and %d keys: about %.0f s by the keystroke-level model", b.Clicks, b.Keys, seconds)
	if seconds > 60 {
		t.Errorf("marking a clip takes about %.0f s (%d clicks, %d keys): more than a minute", seconds, b.Clicks, b.Keys)
	}

	// The visit's record lies beside the loose clips.
	b.numbers(`location.hash = '#/visit/.', []`)
	b.Fill("#visit-reason", "short in front")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	if page, err := os.ReadFile(filepath.Join(dir, record.VisitFile)); err != nil || !strings.Contains(string(page), `reason = "short in front"`) {
		t.Errorf("the visit's page says %q, %v", page, err)
	}

	// One click measures both; killed in between, what was not done is offered again.
	b.numbers(`location.hash = '#/', []`)
	b.Wait(`document.querySelector('#measure-all')?.textContent === 'Measure the 2 clips that are ready'`)
	b.Shoot("list")
	b.Click("#measure-all")
	b.Wait(`[...document.querySelectorAll('.clip')].some((c) => c.textContent.includes('being measured'))`)
	program.kill()
	program = startMarking(t, dir, "--no-proposals")
	b.Do(chromedp.Navigate(program.url))
	b.Wait(`document.querySelector('#measure-all')?.disabled === false`)
	b.Click("#measure-all")
	b.Wait(`document.querySelectorAll('.clip a[href^="/results/"]').length === 2`)
	b.Wait(`document.querySelector('#measure-all').disabled && document.querySelector('#measure-all').textContent === 'No clip is ready to be measured'`)
	b.Shoot("measured")
	for _, path := range []string{clip, second} {
		r, err := record.ReadResult(record.OutPath(path))
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Run.Strides) == 0 || r.Run.Level != geometry.LevelMetric {
			t.Errorf("%s: %d strides, calibration %s", filepath.Base(path), len(r.Run.Strides), r.Run.Level)
		}
	}
	// The report opens in this browser, and its scripts, had it any, would not run.
	address := fmt.Sprintf("%s/results/toward-1.out/report.html", strings.Split(program.url, "/?")[0])
	b.Do(chromedp.Navigate(address))
	b.Wait(`document.querySelector('h1') !== null && document.querySelector('svg') !== null`)
	b.Shoot("report")
}
