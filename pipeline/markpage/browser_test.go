package markpage

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

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser is one page in a browser of its own.
type browser struct {
	testing.TB
	ctx  context.Context
	mu   *sync.Mutex
	errs *[]string
}

// action is a step in the browser.
type action = chromedp.Action[chromedp.Void]

func browserPath() string {
	if p := os.Getenv("JOGSTRIP_BROWSER"); p != "" {
		return p
	}
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	return ""
}

// openBrowser starts a browser with a page of the given size.
func openBrowser(t testing.TB, width, height int64, touch bool) *browser {
	t.Helper()
	path := browserPath()
	if path == "" {
		t.Skip("SKIPPED: no browser; scripts/setup-browser installs Chromium")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.NoFirstRun, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("disable-dev-shm-usage", true), chromedp.WSURLReadTimeout(2*time.Minute))
	allocated, endAllocator := chromedp.NewExecAllocator(context.Background(), opts...)
	ctx, endPage := chromedp.NewContext(allocated)
	t.Cleanup(func() {
		endPage()
		endAllocator()
	})
	b := &browser{TB: t, ctx: ctx, mu: new(sync.Mutex), errs: new([]string)}
	if err := chromedp.Listen(ctx, b.hear); err != nil {
		t.Fatalf("start browser: %v", err)
	}
	bounded, endTime := context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(endTime)
	b.ctx = bounded
	if touch {
		b.do(chromedp.EmulateViewport(width, height, chromedp.EmulateMobile, chromedp.EmulateTouch))
	} else {
		b.do(chromedp.EmulateViewport(width, height))
	}
	return b
}

// tab opens one more page in the same browser.
func (b *browser) tab(width, height int64) *browser {
	b.Helper()
	ctx, end := chromedp.NewContext(b.ctx)
	b.Cleanup(end)
	t := &browser{TB: b.TB, ctx: ctx, mu: new(sync.Mutex), errs: new([]string)}
	if err := chromedp.Listen(ctx, t.hear); err != nil {
		b.Fatalf("open tab: %v", err)
	}
	t.do(chromedp.EmulateViewport(width, height))
	return t
}

// prefers makes the browser ask for dark pages, or light ones.
func prefers(dark bool) action {
	scheme := map[bool]string{true: "dark", false: "light"}[dark]
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return chromedp.Void{}, err
	}
}

// touchEvent is what fingers do on the screen; when is zero for now.
func touchEvent(kind input.DispatchTouchEventType, points []*input.TouchPoint, when time.Time) action {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		params := input.DispatchTouchEventParams{Type: kind, TouchPoints: points}
		if !when.IsZero() {
			params.Timestamp = input.TimeSinceEpoch(float64(when.UnixNano()) / 1e9)
		}
		_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, params)
		return chromedp.Void{}, err
	}
}

// hear notes what the page complains of.
func (b *browser) hear(e any) {
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
		*b.errs = append(*b.errs, complaint)
	}
}

func (b *browser) complaints() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]string(nil), *b.errs...)
}

func (b *browser) do(actions ...action) {
	b.Helper()
	if err := chromedp.Do(b.ctx, actions...); err != nil {
		b.shoot("failure")
		b.Fatalf("browser: %v; the page complained: %v", err, b.complaints())
	}
}

// wait waits until a JavaScript expression is true.
func (b *browser) wait(expression string) {
	b.Helper()
	for tries := 0; ; tries++ {
		_, err := chromedp.Run(b.ctx, chromedp.Poll[any](expression, chromedp.WithPollingTimeout(45*time.Second), chromedp.WithPollingInterval(40*time.Millisecond)))
		if err == nil {
			return
		}
		// Asked just while one page makes room for the next.
		if tries < 5 && (strings.Contains(err.Error(), "Cannot find context") || strings.Contains(err.Error(), "navigated")) {
			continue
		}
		b.shoot("failure")
		b.Fatalf("waited for %s: %v; the page complained: %v", expression, err, b.complaints())
	}
}

// eval returns what a JavaScript expression gives.
func eval[T any](b *browser, expression string) T {
	b.Helper()
	out, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		b.shoot("failure")
		b.Fatalf("evaluate %.200s: %v; the page complained: %v", expression, err, b.complaints())
	}
	return out
}

// run runs a script for what it does.
func (b *browser) run(script string) {
	b.Helper()
	eval[bool](b, "(() => {"+script+"; return true; })()")
}

// fill replaces what a field holds, by typing.
func (b *browser) fill(selector, text string) {
	b.Helper()
	b.wait(fmt.Sprintf(`document.querySelector(%q) !== null`, selector))
	b.run(fmt.Sprintf(`const e = document.querySelector(%q); e.focus(); e.select()`, selector))
	b.do(chromedp.KeyEvent(text + "\t"))
}

// click clicks what a selector names, as a person with a mouse would.
func (b *browser) click(selector string) {
	b.Helper()
	b.wait(fmt.Sprintf(`(() => { const e = document.querySelector(%q); return e && !e.disabled && e.getClientRects().length > 0; })()`, selector))
	b.do(chromedp.ScrollIntoView(chromedp.CSS(selector)), chromedp.Click(chromedp.CSS(selector)))
}

func (b *browser) text(selector string) string {
	return eval[string](b, fmt.Sprintf(`document.querySelector(%q)?.textContent ?? ''`, selector))
}

// at returns where a position of the clip's picture lies in the window.
func (b *browser) at(x, y float64) (float64, float64) {
	b.Helper()
	p := eval[[]float64](b, fmt.Sprintf(`(() => { const c = document.querySelector('canvas.picture'); c.scrollIntoView({block:'center', behavior:'instant'}); const r = c.getBoundingClientRect(), d = c.dataset, s = Number(d.scale);
		const x = r.left + r.width / 2 + (%f - Number(d.cx)) * s, y = r.top + r.height / 2 + (%f - Number(d.cy)) * s;
		return [x, y, x > r.left && x < r.right && y > r.top && y < r.bottom && document.elementFromPoint(x, y) === c ? 1 : 0]; })()`, x, y))
	if p[2] == 0 && eval[bool](b, `Number(document.querySelector('canvas.picture').dataset.zoom) > 1`) {
		b.do(chromedp.KeyEvent("0")) // As a person who does not see it.
		b.wait(`document.querySelector('canvas.picture').dataset.zoom === '1'`)
		return b.at(x, y)
	}
	return p[0], p[1]
}

// rested waits until the frame that is named is on the screen, as a person does,
// and the picture has found its place.
func (b *browser) rested() {
	b.Helper()
	b.wait(`(() => { const c = document.querySelector('canvas.picture'); return c?.dataset.settled === 'yes' && c.dataset.frame === document.querySelector('input[aria-label=Frame]').value && document.querySelector('.wait-sign').hidden; })()`)
}

// begin goes on to the marks of a clip that was just opened, by choosing how it
// was filmed where the page asks that.
func (b *browser) begin(view string) {
	b.Helper()
	b.wait(`document.querySelector('.choice input[name=view]') !== null || document.querySelector('.chips') !== null`)
	b.rested()
	if eval[bool](b, `document.querySelector('.chips') === null`) {
		b.choose(".choice input[value=" + view + "]")
		b.click("#go-marks")
	}
	b.wait(`document.querySelector('.chips') !== null`)
	b.rested()
}

// goTo goes to a frame by the slider and waits until it is on the screen.
func (b *browser) goTo(frame int) {
	b.Helper()
	b.run(fmt.Sprintf(`const s = document.querySelector('input[aria-label=Frame]'); s.value = '%d'; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change'))`, frame))
	b.wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d' && document.querySelector('input[aria-label=Frame]').value === '%d'`, frame, frame))
	b.rested()
}

// press clicks a position of the clip's picture with the mouse.
func (b *browser) press(x, y float64) {
	b.Helper()
	px, py := b.at(x, y)
	b.do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, px, py), chromedp.MouseClickXY(px, py))
}

// touch taps a position of the clip's picture with a finger.
func (b *browser) touch(x, y float64) {
	b.Helper()
	px, py := b.at(x, y)
	b.do(chromedp.TapXY(px, py))
}

// shoot keeps a picture of the page where JOGSTRIP_SCREENSHOTS names a folder.
func (b *browser) shoot(name string) {
	dir := os.Getenv("JOGSTRIP_SCREENSHOTS")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(b.ctx, 20*time.Second)
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

// silent fails the test where the page complained.
func (b *browser) silent() {
	b.Helper()
	for _, e := range b.complaints() {
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

// accessible runs axe-core over the page with the rules of WCAG 2.1 A and AA.
func (b *browser) accessible() {
	b.Helper()
	path := axePath()
	if path == "" {
		b.Log("SKIPPED: accessibility rules; scripts/setup-browser installs axe-core")
		return
	}
	script, err := os.ReadFile(path)
	if err != nil {
		b.Fatal(err)
	}
	eval[any](b, string(script)+"; true")
	text := eval[string](b, `axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']}).then((r) => JSON.stringify(r.violations.map((v) => ({id: v.id, help: v.help, nodes: v.nodes.slice(0, 4).map((n) => n.html.slice(0, 220) + ' — ' + n.failureSummary)}))))`)
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

// fits fails where the page is wider than the window.
func (b *browser) fits() {
	b.Helper()
	if over := eval[int](b, `document.documentElement.scrollWidth - window.innerWidth`); over > 0 {
		b.Errorf("the page is %d px wider than the window", over)
	}
}

// choose chooses one of a group of radio buttons with the mouse.
func (b *browser) choose(selector string) {
	b.Helper()
	b.click(selector + " + span")
}
