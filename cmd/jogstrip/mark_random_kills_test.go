package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// A script marks and types while the program is killed at random moments. What
// the page calls saved is on disk when the program is gone, whole; what it does
// not, is there once the program is back.
func TestRandomKillsWhileMarkingAndTyping(t *testing.T) {
	clip, _, truth := filmedFrom(t, 7)
	dir := filepath.Dir(clip)
	b := openTab(t)
	r := rand.New(rand.NewPCG(16, 1))
	program := startMarking(t, dir, "--no-proposals")
	b.Do(chromedp.Navigate(program.url + "#/mark/toward-1.mp4"))
	b.Begin("toward")
	b.Key("0")

	note := ""
	placed := map[string][2]float64{}
	f := b.frame()
	// act does one thing that a person does and notes what the page should then hold.
	landmarks := []traj.Landmark{traj.LeftFore, traj.RightFore, traj.Head, traj.Withers, traj.Chest}
	act := func() {
		if r.IntN(3) == 0 {
			b.numbers(`document.querySelector('#step-finish').click(), []`)
			b.Wait(`document.querySelector('#note') !== null`)
			b.numbers(`(() => { const e = document.querySelector('#note'); e.focus(); e.selectionStart = e.value.length; return []; })()`)
			for range 1 + r.IntN(12) {
				letter := string(rune('a' + r.IntN(26)))
				b.Key(letter)
				note += letter
			}
			b.numbers(`document.querySelector('#step-marks').click(), []`)
			b.numbers(`document.activeElement.blur(), []`)
			b.Wait(`document.querySelector('.chips') !== null`)
			return
		}
		l := landmarks[r.IntN(len(landmarks))]
		b.numbers(fmt.Sprintf(`document.querySelector('#chip-%s').click(), []`, l))
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, l))
		p := truth.Points(traj.Head)[f]
		x, y := math.Round(p.X+r.Float64()*200-100), math.Round(p.Y+r.Float64()*200)
		b.Press(x, y)
		placed[fmt.Sprintf("%d %s", f, l)] = [2]float64{x, y}
	}
	// onDisk fails where the file lacks what the script has done.
	onDisk := func(moment string) {
		t.Helper()
		data, err := os.ReadFile(record.MarksPath(clip))
		if errors.Is(err, fs.ErrNotExist) && len(placed) == 0 {
			return // Nothing is written for a clip without a mark.
		}
		if err != nil || !json.Valid(data) {
			t.Fatalf("%s: the file is not whole: %v\n%s", moment, err, data)
		}
		m, err := record.ParseMarks("marks", data)
		if err != nil {
			t.Fatalf("%s: %v", moment, err)
		}
		if m.Note != note {
			t.Errorf("%s: the note is %q, typed was %q", moment, m.Note, note)
		}
		have := map[string]bool{}
		for _, k := range m.Marks {
			have[fmt.Sprintf("%d %s", k.Frame, k.Landmark)] = true
		}
		for name := range placed {
			if !have[name] {
				t.Errorf("%s: the mark %s is lost", moment, name)
			}
		}
	}
	savedThen, keptThen := 0, 0
	for i := range markKills {
		// The picture is there before: without the program none can be fetched.
		b.Key([]string{".", ",", ">"}[r.IntN(3)])
		f = b.frame()
		dies := make(chan struct{})
		victim := program
		after := time.Duration(50+r.IntN(1200)) * time.Millisecond
		go func() {
			defer close(dies)
			time.Sleep(after)
			_ = victim.cmd.Process.Kill()
		}()
		for range 2 + r.IntN(3) {
			act()
		}
		<-dies
		program.kill()
		// A moment for an answer that was on its way; then the page says where it stands.
		b.Wait(`!['Saving…', ''].includes(document.querySelector('#saved').textContent)`)
		said, err := chromedp.Run(b.Context, chromedp.Evaluate[string](`document.querySelector('#saved').textContent`))
		if err != nil {
			t.Fatal(err)
		}
		if said == "Saved" {
			savedThen++
			onDisk(fmt.Sprintf("kill %d, called saved", i+1))
		} else {
			keptThen++
			if !strings.Contains(said, "kept in this browser") {
				t.Errorf("kill %d: the page says %q", i+1, said)
			}
		}
		if r.IntN(2) == 0 {
			b.Do(chromedp.Navigate("about:blank")) // The window is closed as well.
		}
		program = startMarking(t, dir, "--no-proposals")
		b.Do(chromedp.Navigate(program.url + "#/mark/toward-1.mp4"))
		b.Begin("toward")
		b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
		onDisk(fmt.Sprintf("after kill %d", i+1))
		b.Key("0")
		if t.Failed() {
			return
		}
	}
	t.Logf("%d kills: %d with everything called saved, %d with work kept in the browser", markKills, savedThen, keptThen)
}
