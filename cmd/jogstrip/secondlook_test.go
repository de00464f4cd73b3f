package main

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/markpage"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// A marked clip is measured from the page, the second look offers a frame, the
// frame is marked there, and measuring again wins frames: with the real tracker,
// in a real browser.
func TestSecondLookWinsFrames(t *testing.T) {
	var browser string
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			browser = p
			break
		}
	}
	if browser == "" {
		t.Skip("SKIPPED: no browser; scripts/setup-browser installs Chromium")
	}
	clip, marks, truth := filmed(t)
	if err := record.WriteMarks(record.MarksPath(clip), marks); err != nil {
		t.Fatal(err)
	}
	m := &clipMeasurer{command: func(clip string) *exec.Cmd { return jogstrip(t, "worker", "--again", "--no-video", "--", clip) }}
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

	allocated, endAllocator := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(browser), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))...)
	defer endAllocator()
	tab, endTab := chromedp.NewContext(allocated)
	defer endTab()
	if err := chromedp.Do(tab, chromedp.EmulateViewport(1440, 900), chromedp.Navigate(server.URL())); err != nil {
		t.Fatal(err)
	}
	page, endPage := context.WithTimeout(tab, 5*time.Minute)
	defer endPage()
	wait := func(expression string) {
		t.Helper()
		if _, err := chromedp.Run(page, chromedp.Poll[any](expression, chromedp.WithPollingTimeout(2*time.Minute), chromedp.WithPollingInterval(50*time.Millisecond))); err != nil {
			text, _ := chromedp.Run(page, chromedp.Evaluate[string](`document.querySelector('main').innerText.slice(0, 1500) + ' | ' + JSON.stringify(document.querySelector('canvas.picture')?.dataset ?? {})`))
			t.Fatalf("waited for %s: %v; the page says: %s", expression, err, text)
		}
	}
	evaluate := func(expression string) []float64 {
		t.Helper()
		v, err := chromedp.Run(page, chromedp.Evaluate[[]float64](expression))
		if err != nil {
			t.Fatalf("%s: %v", expression, err)
		}
		return v
	}
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

	wait(`document.querySelector('#measure-all') && !document.querySelector('#measure-all').disabled`)
	evaluate(`document.querySelector('#measure-all').click(); []`)
	wait(`document.querySelector('.clip')?.textContent.includes('measured')&& !document.querySelector('.clip').textContent.includes('being measured') && document.querySelector('.clip .ways a[href^="#/look"]') !== null`)
	evaluate(`location.hash = document.querySelector('.clip .ways a[href^="#/look"]').getAttribute('href'); []`)
	wait(`document.querySelector('.strip') !== null`)
	before := seen()
	evaluate(`const a = document.querySelector('#best-advice'); location.hash = a.getAttribute('href'); []`)
	wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined && document.querySelector('.ask') !== null`)
	at := evaluate(`[Number(document.querySelector('canvas.picture').dataset.frame)]`)
	frame := int(at[0])
	var landmark traj.Landmark
	for _, l := range traj.Landmarks() {
		if v := evaluate(fmt.Sprintf(`[document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true' ? 1 : 0]`, l)); v[0] == 1 {
			landmark = l
		}
	}
	p := truth.Points(landmark)[frame]
	// The picture zooms itself to the horse; a person clicks once it rests.
	wait(`document.querySelector('canvas.picture').dataset.settled === 'yes' && document.querySelector('canvas.picture').dataset.frame === document.querySelector('input[aria-label=Frame]').value`)
	place := evaluate(fmt.Sprintf(`(() => { const c = document.querySelector('canvas.picture'), r = c.getBoundingClientRect(), d = c.dataset, s = Number(d.scale);
		return [r.left + r.width / 2 + (%f - Number(d.cx)) * s, r.top + r.height / 2 + (%f - Number(d.cy)) * s]; })()`, p.X, p.Y))
	if err := chromedp.Do(page, chromedp.MouseClickXY(place[0], place[1])); err != nil {
		t.Fatal(err)
	}
	wait(fmt.Sprintf(`document.querySelector('main').innerText.includes('marked in frame %d') && document.querySelector('#saved').textContent === 'Saved'`, frame))
	evaluate(`location.hash = '#/look/toward-1.mp4'; []`)
	wait(`document.querySelector('.notice.warn')?.textContent.includes('measure again')`)
	evaluate(`document.querySelector('#measure').click(); []`)
	wait(`document.querySelector('.message')?.textContent === 'Measured anew.'`)
	if after := seen(); after <= before {
		t.Errorf("marking the %s in frame %d, as advised, won nothing: seen in %d frames before, %d after", landmark, frame, before, after)
	}
}
