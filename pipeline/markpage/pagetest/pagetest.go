// Package pagetest is a person at a page, for tests: one browser for all tests of a
// package, in which each test has pages with a memory of their own.
package pagetest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// Page is one page in the browser, and a count of what the person at it does.
type Page struct {
	testing.TB
	Context      context.Context
	Clicks, Keys int

	mu   sync.Mutex
	errs []string
}

// Action is a step in the browser.
type Action = chromedp.Action[chromedp.Void]

// Path returns where a browser lies that starts, or "". The one without windows of its own
// comes first: each page of a test costs it a third of the processor time. Ubuntu's package
// without snap is a stub that only says what to install.
var Path = sync.OnceValue(func() string {
	if p := os.Getenv("JOGSTRIP_BROWSER"); p != "" {
		return p
	}
	for _, n := range []string{"chromium-headless-shell", "chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil && exec.Command(p, "--version").Run() == nil {
			return p
		}
	}
	return ""
})

// Missing says what to do where there is no browser.
const Missing = "no browser that starts (scripts/setup test installs Chromium; Ubuntu has it as a snap only)"

// Need skips the test where there is no browser.
func Need(t testing.TB) {
	t.Helper()
	if Path() == "" {
		t.Skip("SKIPPED: " + Missing)
	}
}

// shared is the browser of the test program. It starts with the first page.
var shared struct {
	once sync.Once
	ctx  context.Context
	err  error
	end  func() error
}

func start() {
	profile, err := os.MkdirTemp("", "jogstrip-browser-")
	if err != nil {
		shared.err = err
		return
	}
	allocated, endAllocator := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(Path()), chromedp.UserDataDir(profile), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.WSURLReadTimeout(2*time.Minute))...)
	ctx, endBrowser := chromedp.NewContext(allocated)
	shared.ctx, shared.err = ctx, chromedp.Do(ctx)
	shared.end = func() error {
		endBrowser()
		endAllocator()
		return os.RemoveAll(profile)
	}
}

// Main runs the tests of a package and ends the browser where one was started. It
// returns the exit code.
func Main(m *testing.M) int {
	code := m.Run()
	if shared.end != nil {
		if err := shared.end(); err != nil {
			fmt.Fprintln(os.Stderr, "end the browser:", err)
		}
	}
	return code
}

// Open opens a page of the given size that shares nothing with the pages of other tests:
// no cookie, no storage, no cache. It skips the test where there is no browser.
func Open(t testing.TB, width, height int64, touch bool) *Page {
	t.Helper()
	Need(t)
	shared.once.Do(start)
	if shared.err != nil {
		t.Fatalf("start the browser: %v", shared.err)
	}
	b := newPage(t, shared.ctx, chromedp.WithNewBrowserContext())
	bounded, endTime := context.WithTimeout(b.Context, longest)
	t.Cleanup(endTime)
	b.Context = bounded
	options := []chromedp.EmulateViewportOption(nil)
	if touch {
		options = append(options, chromedp.EmulateMobile, chromedp.EmulateTouch)
	}
	b.Do(chromedp.EmulateViewport(width, height, options...))
	return b
}

// longest is how long a test may have its page: far more than any takes, so that one
// that hangs ends with a picture of what it waits for.
const longest = 30 * time.Minute

// Tab opens one more page that shares cookies and storage with this one.
func (b *Page) Tab(width, height int64) *Page {
	b.Helper()
	t := newPage(b.TB, b.Context)
	t.Do(chromedp.EmulateViewport(width, height))
	return t
}

func newPage(t testing.TB, parent context.Context, options ...chromedp.ContextOption) *Page {
	t.Helper()
	ctx, end := chromedp.NewContext(parent, options...)
	t.Cleanup(end)
	b := &Page{TB: t, Context: ctx}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatalf("open a page: %v", err)
	}
	// Tests run beside each other; each page believes that the person looks at it.
	b.Do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
		return chromedp.Void{}, err
	})
	return b
}

// hear notes what the page complains of.
func (b *Page) hear(e any) {
	complaint := ""
	switch e := e.(type) {
	case *runtime.EventExceptionThrown:
		complaint = e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			complaint += " " + e.ExceptionDetails.Exception.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type == "error" {
			complaint = fmt.Sprintf("console: %v", e.Args)
		}
	case *log.EventEntryAdded:
		if e.Entry.Level == "error" {
			complaint = e.Entry.Text + " " + e.Entry.URL
		}
	}
	if complaint != "" {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.errs = append(b.errs, complaint)
	}
}

// Complaints returns what the page has complained of so far.
func (b *Page) Complaints() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), b.errs...)
}

// Do takes steps in the browser.
func (b *Page) Do(actions ...Action) {
	b.Helper()
	if err := chromedp.Do(b.Context, actions...); err != nil {
		b.Shoot("failure")
		b.Fatalf("browser: %v; the page complained: %v", err, b.Complaints())
	}
}

// Wait waits until a JavaScript expression is true.
func (b *Page) Wait(expression string) {
	b.Helper()
	for tries := 0; ; tries++ {
		_, err := chromedp.Run(b.Context, chromedp.Poll[any](expression, chromedp.WithPollingTimeout(2*time.Minute), chromedp.WithPollingInterval(40*time.Millisecond)))
		if err == nil {
			return
		}
		// Asked just while one page makes room for the next.
		if tries < 5 && (strings.Contains(err.Error(), "Cannot find context") || strings.Contains(err.Error(), "navigated")) {
			continue
		}
		b.Shoot("failure")
		b.Fatalf("waited for %s: %v; the page complained: %v", expression, err, b.Complaints())
	}
}

// Eval returns what a JavaScript expression gives.
func Eval[T any](b *Page, expression string) T {
	b.Helper()
	out, err := chromedp.Run(b.Context, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.Shoot("failure")
		b.Fatalf("evaluate %.200s: %v; the page complained: %v", expression, err, b.Complaints())
	}
	return out
}

// Script runs a script for what it does.
func (b *Page) Script(script string) {
	b.Helper()
	Eval[bool](b, "(() => {"+script+"; return true; })()")
}

// Fill replaces what a field holds, by typing.
func (b *Page) Fill(selector, text string) {
	b.Helper()
	b.Wait(fmt.Sprintf(`document.querySelector(%q) !== null`, selector))
	b.Script(fmt.Sprintf(`const e = document.querySelector(%q); e.focus(); e.select()`, selector))
	b.Key(text + "\t")
}

// Click clicks what a selector names, as a person with a mouse would.
func (b *Page) Click(selector string) {
	b.Helper()
	b.Wait(fmt.Sprintf(`(() => { const e = document.querySelector(%q); return e && !e.disabled && e.getClientRects().length > 0; })()`, selector))
	b.Do(chromedp.ScrollIntoView(chromedp.CSS(selector)), chromedp.Click(chromedp.CSS(selector)))
	b.Clicks++
}

// Key presses keys.
func (b *Page) Key(keys string) {
	b.Helper()
	b.Do(chromedp.KeyEvent(keys))
	b.Keys += utf8.RuneCountInString(keys)
}

// Text returns the text of what a selector names, "" where there is none.
func (b *Page) Text(selector string) string {
	return Eval[string](b, fmt.Sprintf(`document.querySelector(%q)?.textContent ?? ''`, selector))
}

// At returns where a position of the clip's picture lies in the window, as it is painted:
// what the page is about to paint is waited for, since a person goes by what is seen.
func (b *Page) At(x, y float64) (float64, float64) {
	b.Helper()
	p := Eval[[]float64](b, fmt.Sprintf(`(async () => { for (let i = 0; i < 2; i += 1) await new Promise((next) => { requestAnimationFrame(next); });
		const c = document.querySelector('canvas.picture'); c.scrollIntoView({block:'center', behavior:'instant'}); const r = c.getBoundingClientRect(), d = c.dataset, s = Number(d.scale);
		const x = r.left + r.width / 2 + (%f - Number(d.cx)) * s, y = r.top + r.height / 2 + (%f - Number(d.cy)) * s;
		return [x, y, x > r.left && x < r.right && y > r.top && y < r.bottom && document.elementFromPoint(x, y) === c ? 1 : 0]; })()`, x, y))
	if p[2] == 0 && Eval[bool](b, `Number(document.querySelector('canvas.picture').dataset.zoom) > 1`) {
		b.Key("0") // As a person who does not see it.
		b.Wait(`document.querySelector('canvas.picture').dataset.zoom === '1'`)
		return b.At(x, y)
	}
	return p[0], p[1]
}

// Rested waits until the frame that is named is on the screen, as a person does,
// and the picture has found its place.
func (b *Page) Rested() {
	b.Helper()
	b.Wait(`(() => { const c = document.querySelector('canvas.picture'); return c?.dataset.settled === 'yes' && c.dataset.frame === document.querySelector('input[aria-label=Frame]').value && document.querySelector('.wait-sign').hidden; })()`)
}

// Begin goes on to the marks of a clip that was just opened, by choosing how it
// was filmed where the page asks that.
func (b *Page) Begin(view string) {
	b.Helper()
	b.Wait(`document.querySelector('.choice input[name=view]') !== null || document.querySelector('.chips') !== null`)
	b.Rested()
	if Eval[bool](b, `document.querySelector('.chips') === null`) {
		b.Choose(".choice input[value=" + view + "]")
		b.Click("#go-marks")
	}
	b.Wait(`document.querySelector('.chips') !== null`)
	b.Rested()
}

// GoTo goes to a frame by the slider and waits until it is on the screen.
func (b *Page) GoTo(frame int) {
	b.Helper()
	b.Script(fmt.Sprintf(`const s = document.querySelector('input[aria-label=Frame]'); s.value = '%d'; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change'))`, frame))
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d' && document.querySelector('input[aria-label=Frame]').value === '%d'`, frame, frame))
	b.Rested()
}

// Press clicks a position of the clip's picture with the mouse.
func (b *Page) Press(x, y float64) {
	b.Helper()
	px, py := b.At(x, y)
	b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, px, py), chromedp.MouseClickXY(px, py))
	b.Clicks++
}

// Touch taps a position of the clip's picture with a finger.
func (b *Page) Touch(x, y float64) {
	b.Helper()
	px, py := b.At(x, y)
	b.Do(chromedp.TapXY(px, py))
	b.Clicks++
}

// Shoot keeps a picture of the page where JOGSTRIP_SCREENSHOTS names a folder.
func (b *Page) Shoot(name string) {
	dir := os.Getenv("JOGSTRIP_SCREENSHOTS")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(b.Context, 20*time.Second)
	defer cancel()
	beyond := true
	png, err := chromedp.Run(ctx, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
		r, err := cdp.Call(ctx, t, page.CaptureScreenshot, page.CaptureScreenshotParams{CaptureBeyondViewport: &beyond})
		if err != nil {
			return nil, err
		}
		return r.Data, nil
	})
	if err != nil {
		b.Logf("no picture of the page: %v", err)
		return
	}
	file := filepath.Join(dir, strings.NewReplacer("/", "_", " ", "_").Replace(b.Name()+"-"+name)+".png")
	if err := os.WriteFile(file, png, 0o644); err != nil {
		b.Log(err)
	}
}

// Silent fails the test where the page complained.
func (b *Page) Silent() {
	b.Helper()
	for _, e := range b.Complaints() {
		b.Errorf("the page complained: %s", e)
	}
}

// axePath returns where axe-core's script lies, or "".
func axePath() string {
	if p := os.Getenv("JOGSTRIP_AXE"); p != "" {
		return p
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	p := filepath.Join(cache, "jogstrip", "browser", "node_modules", "axe-core", "axe.min.js")
	if _, err := os.Stat(p); err != nil {
		return ""
	}
	return p
}

// Accessible runs axe-core over the page with the rules of WCAG 2.1 A and AA.
func (b *Page) Accessible() {
	b.Helper()
	path := axePath()
	if path == "" {
		b.Log("SKIPPED: accessibility rules: axe-core is missing, which scripts/setup-browser fetches")
		return
	}
	if !Eval[bool](b, `'axe' in window`) {
		script, err := os.ReadFile(path)
		if err != nil {
			b.Fatal(err)
		}
		Eval[any](b, string(script)+"; true")
	}
	// Of the rules that are kept it need not say where.
	text := Eval[string](b, `axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']}).then((r) => JSON.stringify(r.violations.map((v) => ({id: v.id, help: v.help, nodes: v.nodes.slice(0, 4).map((n) => n.html.slice(0, 220) + ' — ' + n.failureSummary)}))))`)
	var violations []struct {
		ID, Help string
		Nodes    []string
	}
	if err := json.Unmarshal([]byte(text), &violations); err != nil {
		b.Fatal(err)
	}
	for _, v := range violations {
		b.Errorf("accessibility: %s: %s\n  %s", v.ID, v.Help, strings.Join(v.Nodes, "\n  "))
	}
}

// Fits fails where the page is wider than the window.
func (b *Page) Fits() {
	b.Helper()
	if over := Eval[int](b, `document.documentElement.scrollWidth - window.innerWidth`); over > 0 {
		b.Errorf("the page is %d px wider than the window", over)
	}
}

// Choose chooses one of a group of radio buttons with the mouse.
func (b *Page) Choose(selector string) {
	b.Helper()
	b.Click(selector + " + span")
}
