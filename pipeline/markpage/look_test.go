package markpage

import (
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
)

// The second look opens with the frame that wins most. Its picture comes by itself, also
// where the small pictures for playing, which are made in long runs, are not there yet.
func TestTheSecondLookShowsItsFrameAtOnce(t *testing.T) {
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "a.mp4"), "640x360", "30", "60")
	m := &pretendMeasurer{frames: 60}
	if err := os.WriteFile(filepath.Join(dir, "a.marks.json"), []byte(marksBody(640, 360)), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := m.Measure(t.Context(), filepath.Join(dir, "a.mp4"), func(Progress) {}); err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: dir, Measurer: m})
	if err != nil {
		t.Fatal(err)
	}
	next := s.handler
	s.handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Get("size") == string(sizePlay) {
			<-r.Context().Done()
			return
		}
		next.ServeHTTP(w, r)
	})
	t.Cleanup(serving(t, s))
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "look", "a.mp4")
	b.Wait(`document.querySelector('#best-advice') !== null`)
	b.Wait(`document.querySelector('canvas.picture').dataset.shown === document.querySelector('input[aria-label=Frame]').value`)
	b.Do(chromedp.KeyEvent("."))
	b.Wait(`document.querySelector('.wait-sign').hidden && document.querySelector('canvas.picture').dataset.shown === document.querySelector('input[aria-label=Frame]').value`)
	b.Silent()
}

// Views at the sizes people have, to be looked at one by one.
func TestLookAtTheViews(t *testing.T) {
	if os.Getenv("JOGSTRIP_SCREENSHOTS") == "" {
		t.Skip("only with JOGSTRIP_SCREENSHOTS, a folder for the pictures")
	}
	clip, _ := renderedClip(t)
	dir, _ := yard(t, clip, "toward-1.mp4", "toward-2.mp4", "run.mp4")
	if err := os.WriteFile(dir+"/horses/bramble/2026-03-02/cut.mp4", []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, &pretendMeasurer{frames: 10})
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelectorAll('.clip').length === 4`)
	for _, size := range []struct {
		name          string
		width, height int64
		dark          bool
	}{{"1366", 1366, 768, false}, {"375", 375, 740, false}, {"1440-dark", 1440, 900, true}, {"200", 683, 384, false}} {
		b.Do(chromedp.EmulateViewport(size.width, size.height), prefers(size.dark))
		for _, v := range []struct{ name, hash, ready string }{
			{"list", "#/", `document.querySelectorAll('.clip').length === 4`},
			{"mark", hash("mark", visitFolder+"/toward-1.mp4"), `document.querySelector('canvas.picture') !== null`},
			{"asked", hash("mark", visitFolder+"/run.mp4"), `document.querySelector('.choice') !== null`},
			{"help", "#/help", `document.querySelector('.help') !== null`},
		} {
			b.Script(`location.hash = '` + v.hash + `'`)
			b.Wait(v.ready)
			switch v.name {
			case "mark":
				b.Begin("toward")
			case "asked":
				b.Rested()
			case "list":
				b.Wait(`[...document.querySelectorAll('.thumb img')].every((i) => i.complete)`)
			}
			b.Fits()
			b.Accessible()
			b.Shoot(v.name + "-" + size.name)
		}
	}
}
