package main

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// A marked clip is measured from the page, the second look offers a frame, the
// frame is marked there, and measuring again wins frames: with the real tracker,
// in a real browser.
func TestSecondLookWinsFrames(t *testing.T) {
	clip, marks, truth := filmedFrom(t, 8)
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	m := &clipMeasurer{command: func(clip string) *exec.Cmd {
		return jogstrip(t, "worker", "--again", "--no-video", "--resamples", "200", "--", clip)
	}}
	server, err := markpage.Listen(markpage.Options{Folder: filepath.Dir(clip), Measurer: m})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()

	b := openTab(t)
	b.Do(chromedp.Navigate(server.URL()))
	seen := func() int {
		t.Helper()
		look, err := m.Look(t.Context(), clip)
		if err != nil || look == nil {
			t.Fatalf("look: %v", err)
		}
		n := 0
		for _, track := range look.Tracks {
			for _, s := range track.Status {
				if s == traj.Tracked.String() || s == traj.Marked.String() {
					n++
				}
			}
		}
		return n
	}

	b.Wait(`document.querySelector('#measure-all') && !document.querySelector('#measure-all').disabled`)
	b.Script(`document.querySelector('#measure-all').click()`)
	b.Wait(`document.querySelector('.clip')?.textContent.includes('measured')&& !document.querySelector('.clip').textContent.includes('being measured') && document.querySelector('.clip .ways a[href^="#/look"]') !== null`)
	b.Script(`location.hash = document.querySelector('.clip .ways a[href^="#/look"]').getAttribute('href')`)
	b.Wait(`document.querySelector('.strip') !== null`)
	before := seen()
	b.Script(`const a = document.querySelector('#best-advice'); location.hash = a.getAttribute('href')`)
	b.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined && document.querySelector('.ask') !== null`)
	at := b.numbers(`[Number(document.querySelector('canvas.picture').dataset.frame)]`)
	frame := int(at[0])
	var landmark traj.Landmark
	for _, l := range traj.Landmarks() {
		if v := b.numbers(fmt.Sprintf(`[document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true' ? 1 : 0]`, l)); v[0] == 1 {
			landmark = l
		}
	}
	p := truth.Points(landmark)[frame]
	// The picture zooms itself to the horse; a person clicks once it rests.
	b.Rested()
	b.Press(p.X, p.Y)
	b.Wait(fmt.Sprintf(`document.querySelector('main').innerText.includes('marked in frame %d') && document.querySelector('#saved').textContent === 'Saved'`, frame))
	b.Script(`location.hash = '#/look/toward-1.mp4'`)
	b.Wait(`document.querySelector('.notice.warn')?.textContent.includes('measure again')`)
	b.Script(`document.querySelector('#measure').click()`)
	b.Wait(`document.querySelector('.message')?.textContent === 'Measured anew.'`)
	if after := seen(); after <= before {
		t.Errorf("marking the %s in frame %d, as advised, won nothing: seen in %d frames before, %d after", landmark, frame, before, after)
	}
}
