package markpage

import (
	"os"
	"testing"

	"github.com/chromedp/chromedp"
)

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
