package markpage

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/phone"
)

// dark asks the page for its dark colours.
func (b *browser) dark() {
	b.Helper()
	if _, err := chromedp.Run(b.Context, func(ctx context.Context, t *chromedp.Target) (cdp.Empty, error) {
		return cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
	}); err != nil {
		b.Fatal(err)
	}
}

// both serves the marks page of dir and the handlers' page over plain HTTP.
func both(t *testing.T, dir string, check phone.Check) (*Server, *phone.Server) {
	t.Helper()
	phones, err := phone.Listen(phone.Options{Folder: dir, Address: "127.0.0.1:0", Keep: t.TempDir(), Plain: true, Check: check, Reserve: 1})
	if err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: dir, Phones: phones})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 2)
	go func() { ended <- s.Serve(ctx) }()
	go func() { ended <- phones.Serve(ctx, s.Handler()) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-ended, <-ended); err != nil {
			t.Error(err)
		}
	})
	return s, phones
}

// choose gives a file to one of the page's file buttons, as a phone's chooser does.
func (b *browser) chooseFile(selector string, paths ...string) {
	b.Helper()
	b.Do(chromedp.SetUploadFiles(chromedp.CSS(selector), paths))
}

// The practitioner shows the code; the handler's phone sends a good clip and a
// bad one and is told so in large letters, also after the page was closed; a code
// that is taken back opens nothing.
func TestAHandlerSendsClips(t *testing.T) {
	t.Parallel()
	rendered, _ := renderedClip(t)
	dir := t.TempDir()
	for _, d := range []string{"horses/bramble/2026-03-02", "horses/juniper"} {
		if err := os.MkdirAll(filepath.Join(dir, d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	check := func(ctx context.Context, path string) (*film.Report, error) {
		info, err := clip.Probe(ctx, path)
		if err != nil {
			return nil, err
		}
		report, err := film.Check(ctx, info, film.Options{})
		if err == nil && strings.HasPrefix(filepath.Base(path), "away") {
			report = &film.Report{Verdict: film.Usable, Items: []film.Item{{Title: "Frame rate", Verdict: film.Usable, Found: "60 frames a second", Advice: "Set the phone's video to 120 frames a second."},
				{Title: "Four marks on the ground", Verdict: film.NotKnown, Found: "not looked for by this check", Advice: "Look yourself: are all four in the picture?"}}}
		}
		return report, err
	}
	s, phones := both(t, dir, check)
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Click("#crumbs a[href='#/phones']")
	b.Wait(`document.querySelector('.qr') !== null`)
	b.Accessible()
	b.Fits()
	b.Shoot("code")
	address := b.Text("#phone-address")
	b.Silent()

	p := openBrowser(t, 375, 740, true)
	p.Do(chromedp.Navigate(address))
	p.Wait(`document.querySelectorAll('#horse option').length === 4`)
	if eval[bool](p, `location.search.includes('token')`) {
		t.Error("the token stays in the address bar")
	}
	p.Fits()
	p.Accessible()
	p.Shoot("guide")
	p.Script(`document.querySelector('#guide').open = false`)
	// Without a horse no chooser opens and the page says what is missing.
	p.Click("#pick-toward")
	p.Wait(`document.querySelector('#missing').textContent === 'Choose the horse first.'`)
	p.Script(`const e = document.querySelector('#horse'); e.value = 'bramble'; e.dispatchEvent(new Event('change'))`)
	p.Script(`const e = document.querySelector('#date'); e.value = '2026-03-02'; e.dispatchEvent(new Event('change'))`)
	p.Shoot("send")
	file := filepath.Join(t.TempDir(), "VID <b>1.mp4")
	copyFile(t, rendered, file)
	p.chooseFile("#toward", file)
	p.Wait(`document.querySelector('.sent.again .verdict')?.textContent === 'Film again'`)
	p.Wait(`document.querySelector('.sent.again').textContent.includes('Received as toward-1.mp4')`)
	p.chooseFile("#away", file)
	p.Wait(`document.querySelector('.sent.good .verdict')?.textContent === 'Good'`)
	p.Wait(`document.querySelector('.sent.good').textContent.includes('Look yourself: are all four in the picture?')`)
	p.Fits()
	p.Accessible()
	p.Shoot("verdicts")
	p.dark()
	p.Accessible()
	p.Shoot("verdicts-dark")
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"toward-1.mp4", "away-1.mp4"} {
		if got, err := os.ReadFile(filepath.Join(dir, "horses", "bramble", "2026-03-02", name)); err != nil || string(got) != string(want) {
			t.Errorf("%s is not what was sent: %v", name, err)
		}
	}
	// Closed and opened again the page still tells; sent again nothing is doubled.
	p.Do(chromedp.Reload())
	p.Wait(`document.querySelectorAll('.sent .verdict').length === 2`)
	// Nothing of the practitioner's opens with what the phone has.
	for _, path := range []string{"/api/clips", "/api/visit?visit=.", "/picture?clip=horses/bramble/2026-03-02/toward-1.mp4", "/results/a.out/report.html", "/app/main.js", "/"} {
		if got := eval[int](p, fmt.Sprintf(`fetch(%q).then((r) => r.status)`, path)); got != 401 {
			t.Errorf("the phone asks for %s: %d", path, got)
		}
	}
	// Taken back on the computer while the phone is about to send.
	b.Click("#phones-renew")
	b.Wait(`document.querySelector('.message').textContent.includes('The old code no longer opens anything')`)
	if now := b.Text("#phone-address"); now == address {
		t.Error("the code stays")
	}
	other := filepath.Join(t.TempDir(), "b.mp4")
	if err := os.WriteFile(other, append(want, 0), 0o644); err != nil {
		t.Fatal(err)
	}
	p.Script(`const e = document.querySelector('#horse'); e.value = 'juniper'; e.dispatchEvent(new Event('change'))`)
	p.chooseFile("#toward", other)
	p.Wait(`document.querySelector('.sent.waits')?.textContent.includes('Scan the code on the computer again')`)
	p.silentBut("401")
	// The practitioner's own is taken back: this browser stays in.
	own := s.Entry()
	b.Click("#renew")
	b.Wait(`document.querySelector('.message').textContent.includes('Every browser but this one is out')`)
	if s.Entry() == own || strings.Contains(phones.URL(own), s.door.Token()) {
		t.Error("the practitioner's token stays")
	}
	b.view("phones", "")
	b.Do(chromedp.Reload())
	b.Wait(`document.querySelector('.qr') !== null`)
	b.Silent()
}

// On the phone a send survives the program going away; twice as large letters
// and a narrow phone fit.
func TestAPhoneWaitsForTheComputer(t *testing.T) {
	t.Parallel()
	rendered, _ := renderedClip(t)
	dir := t.TempDir()
	good := func(context.Context, string) (*film.Report, error) { return &film.Report{Verdict: film.Good}, nil }
	keep := t.TempDir()
	open := func(address string) (*phone.Server, func()) {
		t.Helper()
		s, err := phone.Listen(phone.Options{Folder: dir, Address: address, Keep: keep, Plain: true, Check: good, Reserve: 1})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		ended := make(chan error, 1)
		go func() { ended <- s.Serve(ctx, http.NotFoundHandler()) }()
		return s, func() {
			cancel()
			if err := <-ended; err != nil {
				t.Error(err)
			}
		}
	}
	s, stop := open("127.0.0.1:0")
	code, err := s.Code()
	if err != nil {
		t.Fatal(err)
	}
	// 200 % on a phone 375 px wide is a page 188 px wide.
	p := openBrowser(t, 188, 370, true)
	p.Do(chromedp.Navigate(code.Address))
	p.Wait(`document.querySelectorAll('#horse option').length === 2`)
	p.Fits()
	p.Shoot("200-percent")
	p.Script(`const e = document.querySelector('#horse'); e.value = e.options[1].value; e.dispatchEvent(new Event('change'))`)
	p.Fill("#new-horse", "Sea Holly")
	stop()
	p.chooseFile("#toward", rendered)
	p.Wait(`document.querySelector('.sent.waits')?.textContent.includes('No connection to the computer')`)
	p.Fits()
	p.Accessible()
	p.Shoot("away")
	_, stop = open(strings.Split(strings.TrimPrefix(code.Address, "http://"), "/")[0])
	defer stop()
	p.Wait(`document.querySelector('.sent.good .verdict')?.textContent === 'Good'`)
	found, err := filepath.Glob(filepath.Join(dir, "horses", "sea-holly", "*", "toward-1.mp4"))
	if err != nil || len(found) != 1 {
		t.Fatalf("received: %v, %v", found, err)
	}

	if day := filepath.Base(filepath.Dir(found[0])); len(day) != 10 || day[:2] != "20" {
		t.Errorf("it lies in %s", day)
	}
	p.silentBut("net::ERR_", "Failed to load resource")
}
