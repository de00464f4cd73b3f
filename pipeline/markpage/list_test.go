package markpage

import (
	"bufio"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// The list says of a clip that can't be read what to do, and leads nowhere with it; a
// visit's page and its PDF open before a batch has run; a clip that arrives comes into the
// list by itself, and what the keyboard was on stays.
func TestTheListKeepsUp(t *testing.T) {
	t.Parallel()
	clip := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, clip, "320x180", "30", "12")
	dir, visit := yard(t, clip, "toward-1.mp4")
	if err := os.WriteFile(filepath.Join(visit, "broken.mp4"), []byte("no film at all"), 0o644); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(visit, "toward-1.out") // It was measured from the page.
	if err := errors.Join(os.Mkdir(out, 0o755), os.WriteFile(filepath.Join(out, "report.html"), []byte("<h1>Clip</h1>"), 0o644)); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, &summing{})
	b := openBrowser(t, 1440, 900, false)
	b.Do(chromedp.Navigate(s.URL()))
	const broken = `[...document.querySelectorAll('.clip')].find((c) => c.querySelector('h3').textContent === 'broken.mp4')`
	b.Wait(broken + `?.textContent.includes('This clip can’t be read')`)
	if eval[bool](b, broken+`.querySelector('.ways a') !== null`) || !eval[bool](b, broken+`.textContent.includes('can’t be read')`) {
		t.Error("a clip that can't be read is offered for marking")
	}
	b.Shoot("unreadable")
	b.Accessible()
	b.Fits()
	b.Script(`document.querySelector('#first').focus()`)
	copyFile(t, clip, filepath.Join(visit, "toward-2.mp4"))
	b.Wait(`document.querySelectorAll('.clip').length === 3`)
	b.Wait(`document.activeElement.id === 'first'`)
	if err := os.Remove(filepath.Join(visit, "toward-2.mp4")); err != nil {
		t.Fatal(err)
	}
	b.Wait(`document.querySelectorAll('.clip').length === 2`)
	b.silentBut("toward-2.mp4") // It went while its picture was made.

	b.view("visit", visitFolder)
	b.Wait(`document.querySelector('a[href$="/visit.out/report.html"]') !== null`)
	address := eval[string](b, `document.querySelector('a[href$="/visit.out/report.html"]').href`)
	pdf := strings.Replace(address, "report.html", "report.pdf", 1)
	if code := eval[int](b, `fetch(`+fmt.Sprintf("%q", pdf)+`).then((r) => r.status)`); code != http.StatusOK {
		t.Errorf("%s: %d", pdf, code)
	}
	b.Do(chromedp.Navigate(address))
	b.Wait(`document.querySelector('h1')?.textContent === 'Visit'`)
}

// What a clip needs stands in one line each, and nothing of it is squeezed beside the
// buttons: on a phone, a tablet held upright, and a screen.
func TestTheListHasRoomForWords(t *testing.T) {
	t.Parallel()
	clip, _ := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4")
	m := &pretendMeasurer{frames: 10}
	if err := os.WriteFile(filepath.Join(visit, "toward-1.marks.json"), []byte(marksBody(960, 540)), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := m.Measure(t.Context(), filepath.Join(visit, "toward-1.mp4"), func(Progress) {}); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, m)
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('.clip .tag') !== null && document.querySelectorAll('.clip .ways a').length === 4`)
	for _, size := range [][2]int64{{375, 740}, {683, 384}, {768, 1024}, {820, 1180}, {1366, 768}} {
		b.Do(chromedp.EmulateViewport(size[0], size[1]))
		if squeezed := eval[[]string](b, `[...document.querySelectorAll('.clip .tag')].filter((e) => e.getBoundingClientRect().height > 2 * parseFloat(getComputedStyle(e).fontSize)).map((e) => e.textContent)`); len(squeezed) > 0 {
			t.Errorf("%d px wide: in two lines stands %q", size[0], squeezed)
		}
		if wide := eval[float64](b, `Math.min(...[...document.querySelectorAll('.clip .facts')].map((e) => e.getBoundingClientRect().width))`); wide < 240 {
			t.Errorf("%d px wide: what a clip has stands in %.0f px", size[0], wide)
		}
		b.Fits()
		b.Shoot(fmt.Sprint(size[0]))
	}
	b.Silent()
}

// Who sends a request's head slowly holds nobody up and is cut off.
func TestSlowHeads(t *testing.T) {
	t.Parallel()
	s, err := Listen(Options{Folder: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	if s.headWithin > 10*time.Second || s.headWithin < time.Second {
		t.Errorf("a head may take %s", s.headWithin)
	}
	s.headWithin = time.Second
	t.Cleanup(serving(t, s))
	began := time.Now()
	var slow []net.Conn
	for range 50 {
		c, err := net.Dial("tcp", s.Address())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = c.Close() }()
		if _, err := fmt.Fprintf(c, "GET /api/clips HTTP/1.1\r\nHost: %s\r\nX-Slow: ", s.Address()); err != nil {
			t.Fatal(err)
		}
		slow = append(slow, c)
	}
	response, err := http.Get(s.URL())
	if err != nil || time.Since(began) > 10*time.Second {
		t.Fatalf("others wait for %s: %v", time.Since(began), err)
	}
	_ = response.Body.Close()
	for _, c := range slow {
		if err := c.SetReadDeadline(began.Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if line, err := bufio.NewReader(c).ReadString('\n'); err == nil && !strings.Contains(line, "408") {
			t.Errorf("answered %q", line)
		} else if ne, ok := err.(net.Error); ok && ne.Timeout() {
			t.Fatal("a slow head is waited for longer than 20 s")
		}
	}
}
