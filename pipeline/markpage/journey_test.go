package markpage

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report/stepping"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// serve serves dir until the test ends and returns the address to open.
func serve(t testing.TB, dir string, m Measurer) *Server {
	t.Helper()
	s, stop := serveAt(t, dir, "", m)
	t.Cleanup(stop)
	return s
}

func serveAt(t testing.TB, dir, address string, m Measurer) (*Server, func()) {
	t.Helper()
	s, err := Listen(Options{Folder: dir, Address: address, Measurer: m})
	if err != nil {
		t.Fatal(err)
	}
	return s, serving(t, s)
}

// serving lets s answer until the function that it returns is called.
func serving(t testing.TB, s *Server) (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx) }()
	return sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
}

func hash(view, rel string) string { return "#/" + view + "/" + url.PathEscape(rel) }

// open opens a view of the page at once, with nothing of the list before it: every clip of
// a list is looked at.
func (b *browser) open(s *Server, view, rel string) {
	b.Helper()
	b.Do(chromedp.Navigate(s.URL() + hash(view, rel)))
}

// view opens a view of the page that is open already.
func (b *browser) view(view, rel string) {
	b.Helper()
	b.Script(fmt.Sprintf(`location.hash = %q`, hash(view, rel)))
}

const visitFolder = "horses/bramble/2026-03-02"

// groundPoints returns the ground marks of a rendered clip in frame f.
func groundPoints(truth *scene.Truth, f int) [4]geometry.Point {
	var out [4]geometry.Point
	for i, m := range truth.Marks {
		x, y, _ := truth.Eye(f).Project(m[0], m[1], 0)
		out[i] = geometry.Point{X: x, Y: y}
	}
	return out
}

func point(truth *scene.Truth, l traj.Landmark, f int) scene.Point { return truth.Points(l)[f] }

// A practitioner marks a clip from nothing, calibrates it, has it measured,
// takes the second look, corrects, and fills in the visit.
func TestFromNewClipToVisit(t *testing.T) {
	clip, truth := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4", "toward-2.mp4")
	seen := make(chan struct{})
	s := serve(t, dir, &pretendMeasurer{frames: len(truth.Times), seen: seen})
	b := openBrowser(t, 1440, 900, false)

	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelectorAll('.clip').length === 2`)
	if eval[bool](b, `location.search.includes('token')`) {
		t.Error("the token stays in the address bar")
	}
	b.Wait(`[...document.querySelectorAll('.thumb img')].every((i) => i.complete && i.naturalWidth > 0)`)
	b.Accessible()
	b.Shoot("list")
	b.Click("#first")

	b.Begin("toward")
	b.Click("#step-horse")
	b.Wait(`document.querySelector('.choice input[value=toward]')?.checked`)
	b.Shoot("horse")
	b.Accessible()
	b.Click("#go-marks")
	b.Wait(`document.querySelector('.edge.end').textContent.includes('horse’s left')`)
	b.Wait(`document.querySelector('.edge.start').textContent.includes('horse’s right')`)

	frame := len(truth.Times) / 2
	b.Wait(`document.querySelector('.ask')?.textContent.includes('left fore')`)
	b.Wait(`document.querySelector('#stand')?.textContent.includes('While it stands')`)
	// Asked for are the hoof that stands and what goes with it; then the page offers
	// the next frame. A person may as well mark the others here.
	asked := []traj.Landmark{traj.LeftFore, traj.Head, traj.Withers, traj.RightHind, traj.Chest, traj.RightFore, traj.LeftHind}
	b.GoTo(frame)
	for i, l := range asked {
		if l == traj.RightFore {
			b.Wait(`document.querySelector('#next-frame')?.textContent === 'Next frame: right fore stands'`)
			b.Shoot("frame-done")
			b.Click("#chip-right-fore")
		}
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s').getAttribute('aria-pressed') === 'true'`, l))
		if l == traj.Withers {
			b.Do(chromedp.KeyEvent("n"))
			continue
		}
		p := point(truth, l, frame)
		b.Press(p.X, p.Y)
		if i == 0 {
			b.Shoot("first-mark")
		}
	}
	b.Wait(`/This frame is done|Enough frames/.test(document.querySelector('.onward .ask').textContent)`)
	b.Accessible()
	b.Shoot("marked")
	b.Click("#step-ground")
	b.Rested()

	b.Wait(`document.querySelector('#lane-width_m') !== null`)
	b.Fill("#lane-width_m", "2.5")
	b.Fill("#lane-length_m", "8")
	for _, p := range groundPoints(truth, frame) {
		b.Press(p.X, p.Y)
	}
	b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	b.Shoot("ground")
	b.Accessible()
	b.Click("#go-finish")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	b.Shoot("finish")
	b.Accessible()

	path := filepath.Join(visit, "toward-1.mp4")
	marks, err := record.ReadMarks(record.MarksPath(path))
	if err != nil {
		t.Fatal(err)
	}
	if marks.View != traj.Toward || len(marks.Marks) != len(asked) {
		t.Errorf("saved %d marks, view %s; want %d, toward", len(marks.Marks), marks.View, len(asked))
	}
	for _, m := range marks.Marks {
		if m.Hidden != (m.Landmark == traj.Withers) {
			t.Errorf("%s hidden: %v", m.Landmark, m.Hidden)
		}
		if m.Hidden {
			continue
		}
		// A mouse moves by whole screen pixels: at this size about a pixel of the clip.
		if p := point(truth, m.Landmark, frame); math.Hypot(*m.X-p.X, *m.Y-p.Y) > 1.1 {
			t.Errorf("%s is saved at %.1f, %.1f; clicked at %.1f, %.1f", m.Landmark, *m.X, *m.Y, p.X, p.Y)
		}
	}
	if marks.Calibration == nil || marks.Calibration.Ground == nil || marks.Calibration.Ground.WidthM != 2.5 || marks.Calibration.Ground.LengthM != 8 {
		t.Errorf("the calibration is saved as %+v", marks.Calibration)
	}

	// Measure, look, correct, measure again.
	b.Click("#measure-now")
	b.Wait(`location.hash.startsWith('#/look/')`)
	b.Wait(`document.querySelector('progress') && !document.querySelector('progress').hidden`)
	seen <- struct{}{}
	b.Wait(`document.querySelector('#best-advice') !== null`)
	b.Wait(`document.querySelector('.strip rect.run.lost') !== null`)
	// What needs a person most comes first: the frame that wins most is on the screen
	// and one click away, of the stretches the lost ones stand before those filled in,
	// and the finding is short sentences.
	b.Wait(fmt.Sprintf(`document.querySelector('.where').value.startsWith('frame %d,')`, len(truth.Times)/2+2))
	if got := eval[[]string](b, `[...document.querySelectorAll('.side ul.advice li')].map((l) => l.textContent.replace(/^\W+/, '').split(' from')[0])`); strings.Join(got, "; ") != "Left fore hoof, 5 frames; Head, 2 frames; Right fore hoof, 12 frames" {
		t.Errorf("the stretches: %q", got)
	}
	if got := b.Text(".finding"); got != "Signs point nowhere." {
		t.Errorf("the finding begins %q", got)
	}
	b.Shoot("look")
	b.Accessible()
	b.Click("#best-advice")
	b.Wait(`document.querySelector('.ask')?.textContent.includes('left fore')`)
	other := len(truth.Times)/2 + 2
	b.Rested()
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d'`, other))
	p := point(truth, traj.LeftFore, other)
	b.Press(p.X, p.Y)
	b.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null`, other))
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	b.view("look", visitFolder+"/toward-1.mp4")
	b.Click("#measure")
	b.Wait(`document.querySelector('#measure').disabled`)
	seen <- struct{}{}
	b.Wait(`document.querySelector('.message')?.textContent === 'Measured anew.'`)
	b.Wait(`document.querySelector('#best-advice') === null`)
	b.Click("#play")
	b.Wait(`document.querySelector('.where').textContent.includes('frame 3')`)
	b.Click("#play")

	// The other clip takes the calibration over.
	b.view("mark", visitFolder+"/toward-2.mp4")
	b.Wait(`document.querySelector('h1')?.textContent.includes('toward-2')`)
	b.Begin("toward")
	b.Wait(`document.querySelector('#carried')?.textContent.includes('Ground marks come from')`)
	p = point(truth, traj.LeftFore, frame)
	b.GoTo(frame)
	b.Press(p.X, p.Y)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	if m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-2.mp4"))); err != nil || m.Calibration == nil || m.Calibration.Ground == nil {
		t.Errorf("the calibration was not carried over: %v", err)
	}

	// The visit's page, with a remark put there by hand before.
	const remark = "# seen at the gate\nreason = \"short in front\" # owner\n"
	if err := os.WriteFile(filepath.Join(visit, record.VisitFile), []byte(remark), 0o644); err != nil {
		t.Fatal(err)
	}
	b.view("visit", visitFolder)
	b.Wait(`document.querySelector('#visit-reason')?.value === 'short in front'`)
	b.Shoot("visit")
	b.Accessible()
	b.Fill("#visit-surface", "firm sand")
	b.Click(`.flank.chosen [data-region=triceps]`)
	b.Click("#grade-3")
	b.Wait(`document.querySelector('.silhouette [data-region=triceps].grade-3') !== null`)
	b.Click("#add-treatment")
	b.Fill("#treatment-0-what", "massage")
	b.Fill("#visit-function-work", "takes the left lead late")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	b.Shoot("visit-filled")
	b.Accessible()
	written, err := os.ReadFile(filepath.Join(visit, record.VisitFile))
	if err != nil {
		t.Fatal(err)
	}
	v, _, err := record.ParseVisit("visit.toml", written)
	if err != nil {
		t.Fatalf("%v\n%s", err, written)
	}
	if !strings.Contains(string(written), remark) || v.Surface != "firm sand" || len(v.Palpation) != 1 || v.Palpation[0] != (record.Palpation{Region: "triceps", Side: traj.Left, Soreness: 3}) || len(v.Treatment) != 1 || v.Treatment[0].What != "massage" || v.Function.Work != "takes the left lead late" {
		t.Errorf("the visit's page says:\n%s", written)
	}

	b.view("check", visitFolder+"/toward-1.mp4")
	b.Wait(`document.querySelector('.checks') !== null`)
	b.Shoot("check")
	b.Accessible()
	b.Fits()
	b.Silent()
}

// Everything on the marking page is done without a mouse.
func TestKeyboardAlone(t *testing.T) {
	s, visit, truth := oneClip(t)
	b := openBrowser(t, 820, 1100, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('#first') !== null`)
	b.tabTo("#first")
	b.Do(chromedp.KeyEvent(kb.Enter))
	b.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined`)
	b.Wait(`document.querySelector('.choice input[name=view]') !== null || document.querySelector('.chips') !== null`)
	if eval[bool](b, `document.querySelector('.chips') === null`) {
		b.tabTo("input[name=view]")
		b.Do(chromedp.KeyEvent(" "))
		b.Wait(`document.querySelector('input[value=toward]').checked`)
		b.tabTo("#go-marks")
		b.Do(chromedp.KeyEvent(kb.Enter))
	}
	b.Wait(`document.querySelector('.ask')?.textContent.includes('left fore')`)
	b.Rested()
	b.Do(chromedp.KeyEvent("0"))
	b.Do(chromedp.KeyEvent("."), chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent(","))
	frame := len(truth.Times)/2 + 1
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d'`, frame))
	b.Do(chromedp.KeyEvent(kb.Tab))
	b.tabTo("canvas.picture")
	b.Rested()
	b.Do(chromedp.KeyEvent(kb.Enter)) // Takes the cross with the keys.
	// From the middle of the picture (479.5, 269.5) to the hoof, then a tenth of a pixel.
	target := point(truth, traj.LeftFore, frame)
	dx, dy := int(math.Round(target.X-479.5)), int(math.Round(target.Y-269.5))
	move := func(n int, plus, minus string) {
		key := plus
		if n < 0 {
			key, n = minus, -n
		}
		for range n / 10 {
			b.Do(chromedp.KeyEvent(key, chromedp.KeyModifiers(chromedp.ModifierShift)))
		}
		for range n % 10 {
			b.Do(chromedp.KeyEvent(key))
		}
	}
	move(dx, kb.ArrowRight, kb.ArrowLeft)
	move(dy, kb.ArrowDown, kb.ArrowUp)
	b.Do(chromedp.KeyEvent(kb.ArrowRight, chromedp.KeyModifiers(chromedp.ModifierAlt)))
	b.Shoot("loupe")
	b.Do(chromedp.KeyEvent(kb.Enter))
	b.Wait(`document.querySelector('.ask')?.textContent.includes('head')`)
	b.Do(chromedp.KeyEvent("n"))
	b.Wait(`document.querySelector('.ask')?.textContent.includes('withers')`)
	b.Do(chromedp.KeyEvent("u"))
	b.Wait(`document.querySelector('.ask')?.textContent.includes('head')`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")))
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Marks) != 1 || m.Marks[0].Landmark != traj.LeftFore || m.Marks[0].Frame != frame {
		t.Fatalf("saved %+v", m.Marks)
	}
	if x, y := 479.5+float64(dx)+0.1, 269.5+float64(dy); math.Abs(*m.Marks[0].X-x) > 0.011 || math.Abs(*m.Marks[0].Y-y) > 0.011 {
		t.Errorf("saved at %.2f, %.2f; the cross stood at %.2f, %.2f", *m.Marks[0].X, *m.Marks[0].Y, x, y)
	}
	b.Fits()
	b.Silent()
}

// On a phone's width with fingers; left and right exchanged draw a warning.
func TestTouchOnANarrowScreen(t *testing.T) {
	s, visit, truth := oneClip(t)
	b := openBrowser(t, 375, 740, true)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('#first') !== null`)
	b.Fits()
	b.Shoot("list")
	b.Accessible()
	b.view("mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	b.Wait(`document.querySelector('.ask')?.textContent.includes('left fore')`)
	frame := len(truth.Times) / 2
	right, left := point(truth, traj.RightFore, frame), point(truth, traj.LeftFore, frame)
	if left.X <= right.X {
		t.Fatal("the clip has the limbs crossed in this frame: the test needs another one")
	}
	b.Touch(right.X, right.Y) // The wrong one.
	b.Wait(`document.querySelector('.ask')?.textContent.includes('head')`)
	b.Click("#chip-right-fore")
	b.Touch(left.X, left.Y)
	b.Wait(`document.querySelector('.notice.warn')?.textContent.includes('confused')`)
	b.Shoot("confused")
	b.Accessible()
	b.Click("#swap-left-fore")
	b.Wait(`document.querySelector('.notice.warn') === null`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")))
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range m.Marks {
		want := map[traj.Landmark]scene.Point{traj.LeftFore: left, traj.RightFore: right}[k.Landmark]
		// A finger's place is told in whole px of the window: 960 px of the clip lie on about 350.
		if math.Hypot(*k.X-want.X, *k.Y-want.Y) > 4 {
			t.Errorf("%s is saved at %.1f, %.1f; want %.1f, %.1f", k.Landmark, *k.X, *k.Y, want.X, want.Y)
		}
	}
	b.Click("#nudge-right")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	b.Fits()
	for _, v := range []struct{ view, rel, ready string }{
		{"visit", visitFolder, `document.querySelector('.grader') !== null`},
		{"check", visitFolder + "/toward-1.mp4", `document.querySelector('.checks') !== null`},
	} {
		b.view(v.view, v.rel)
		b.Wait(v.ready)
		b.Fits()
		b.Accessible()
		b.Shoot(v.view)
	}
	b.Silent()
}

// One hoof a frame leaves no pair to compare in the frame; the other frame and
// the head tell that left and right were confused.
func TestSidesConfusedBetweenFrames(t *testing.T) {
	s, visit, truth := oneClip(t)
	b := openBrowser(t, 820, 1180, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	place := func(asked, clicked traj.Landmark, frame int) {
		t.Helper()
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, asked))
		p := point(truth, clicked, frame)
		b.Press(p.X, p.Y)
	}
	first := len(truth.Times) / 2
	place(traj.LeftFore, traj.RightFore, first)
	place(traj.Head, traj.Head, first)
	b.Do(chromedp.KeyEvent("g"))
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame !== '%d'`, first))
	second := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
	if d := truth.Times[second] - truth.Times[first]; d < 0.25 || d > 0.5 {
		t.Errorf("the other side is looked for %.2f s away, not half a stride of a trot", d)
	}
	place(traj.RightFore, traj.LeftFore, second)
	place(traj.Head, traj.Head, second)
	b.Wait(`document.querySelector('.notice.warn')?.textContent.includes('confused')`)
	b.Shoot("confused-between-frames")
	b.Accessible()
	b.Fits()
	b.Click("#swap-left-fore")
	b.Wait(`document.querySelector('.notice.warn') === null`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")))
	if err != nil || len(m.Marks) != 4 {
		t.Fatalf("saved %+v, %v", m, err)
	}
	for _, k := range m.Marks {
		p := point(truth, k.Landmark, k.Frame)
		if want := map[traj.Landmark]int{traj.RightFore: first, traj.LeftFore: second}; k.Landmark != traj.Head && k.Frame != want[k.Landmark] || math.Hypot(*k.X-p.X, *k.Y-p.Y) > 2 {
			t.Errorf("%s is saved in frame %d at %.1f, %.1f; it is at %.1f, %.1f", k.Landmark, k.Frame, *k.X, *k.Y, p.X, p.Y)
		}
	}
	b.Silent()
}

// The program is stopped in the middle; what was clicked meanwhile is kept by
// the browser, also through a new window, and saved once the program is back.
func TestNothingIsLostWhenTheProgramGoesAway(t *testing.T) {
	clip, truth := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4")
	s, stop := serveAt(t, dir, "", nil)
	address := s.Address()
	b := openBrowser(t, 1440, 900, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	frame := len(truth.Times) / 2
	mark := func(l traj.Landmark) {
		t.Helper()
		b.Click("#chip-" + string(l))
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, l))
		p := point(truth, l, frame)
		b.Press(p.X, p.Y)
	}
	mark(traj.LeftFore)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	stop()
	mark(traj.RightFore)
	mark(traj.Head)
	b.Wait(`document.querySelector('#saved').textContent.includes('kept in this browser')`)
	b.Shoot("kept")
	path := record.MarksPath(filepath.Join(visit, "toward-1.mp4"))
	if m, err := record.ReadMarks(path); err != nil || len(m.Marks) != 1 {
		t.Fatalf("while the program is away the file has %v, %v", m, err)
	}

	// A new start on the same address: the token is new, so the old page waits
	// for the person to open the printed address; the browser window is closed
	// and opened anew.
	again, stopAgain := serveAt(t, dir, address, nil)
	defer stopAgain()
	b.Do(chromedp.Navigate(again.URL()))
	b.Wait(`document.querySelector('.notice.warn a')?.textContent.includes('toward-1.mp4')`)
	b.Click(".notice.warn a")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err := record.ReadMarks(path)
	if err != nil || len(m.Marks) != 3 {
		t.Fatalf("after the program is back the file has %+v, %v", m, err)
	}
	b.silentBut("net::ERR_", "Failed to load resource")
}

// silentBut is silent but for complaints that a test provokes.
func (b *browser) silentBut(parts ...string) {
	b.Helper()
	for _, e := range b.Complaints() {
		expected := false
		for _, p := range parts {
			expected = expected || strings.Contains(e, p)
		}
		if !expected {
			b.Errorf("the page complained: %s", e)
		}
	}
}

// Two windows on one clip: changes of both are kept; the same landmark marked
// in both is asked about.
func TestTwoWindows(t *testing.T) {
	s, visit, truth := oneClip(t)
	path := record.MarksPath(filepath.Join(visit, "toward-1.mp4"))
	b := openBrowser(t, 1440, 900, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	frame := len(truth.Times) / 2
	p := point(truth, traj.LeftFore, frame)
	b.Press(p.X, p.Y)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)

	// The other window, as far as the file is concerned.
	m, err := record.ReadMarks(path)
	if err != nil {
		t.Fatal(err)
	}
	m.Marks = append(m.Marks, record.At(2, traj.Head, 400, 200), record.At(frame, traj.RightFore, 10, 10))
	if err := record.WriteMarks(path, m); err != nil {
		t.Fatal(err)
	}
	q := point(truth, traj.RightFore, frame)
	b.Click("#chip-right-fore")
	b.Press(q.X, q.Y)
	b.Wait(`document.querySelector('dialog')?.textContent.includes('right fore hoof in frame')`)
	b.Shoot("conflict")
	b.Accessible()
	b.Click("dialog button.primary")
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err = record.ReadMarks(path)
	if err != nil || len(m.Marks) != 3 {
		t.Fatalf("the file has %+v, %v", m, err)
	}
	for _, k := range m.Marks {
		if k.Landmark == traj.RightFore && math.Hypot(*k.X-q.X, *k.Y-q.Y) > 1.1 {
			t.Errorf("this window's mark did not win: %.1f, %.1f", *k.X, *k.Y)
		}
	}
	b.silentBut("412")
}

// Nothing is asked of any other address.
func TestThePageKeepsToItself(t *testing.T) {
	clip, _ := renderedClip(t)
	dir, _ := yard(t, clip, `toward <img src=x onerror=alert(1)> & "q".mp4`)
	s := serve(t, dir, &pretendMeasurer{frames: 10})
	b := openBrowser(t, 1440, 900, false)
	var foreign []string
	if err := chromedp.Listen(b.Context, func(e any) {
		if r, ok := e.(*network.EventRequestWillBeSent); ok && !strings.HasPrefix(r.Request.URL, "http://"+s.Address()+"/") && !strings.HasPrefix(r.Request.URL, "blob:") && !strings.HasPrefix(r.Request.URL, "data:") {
			foreign = append(foreign, r.Request.URL)
		}
	}); err != nil {
		t.Fatal(err)
	}
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('.clip h3') !== null`)
	// A hostile file name is text and nothing else.
	if got := b.Text(".clip h3"); got != `toward <img src=x onerror=alert(1)> & "q".mp4` {
		t.Errorf("the name is shown as %q", got)
	}
	if n := eval[int](b, `document.querySelectorAll('.about img').length`); n != 0 {
		t.Error("a file name became part of the page")
	}
	b.Shoot("hostile")
	for _, view := range []string{"mark", "look", "check"} {
		b.view(view, visitFolder+`/toward <img src=x onerror=alert(1)> & "q".mp4`)
		b.Wait(`document.querySelector('h1')?.textContent.includes('<img')`)
	}
	time.Sleep(300 * time.Millisecond)
	for _, f := range foreign {
		t.Errorf("the page asked for %s", f)
	}
	b.Silent()
}

// A report shows with its style and its links, the film with the marks plays and is
// stepped through, and a script that got into a report does not run.
func TestAReportOpensWithItsOwnScriptAlone(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "a b.out")
	if err := os.Mkdir(out, 0o755); err != nil {
		t.Fatal(err)
	}
	plainClip(t, filepath.Join(out, "tracked.mp4"), "320x180", "30", "30")
	report := `<!doctype html><style>h1 { color: rgb(1, 2, 3) }</style><h1>Report</h1><a href="tracked.mp4">film</a><p onclick="document.title='ran'">x</p><script>document.title = 'ran'</script>` +
		`<div class="film" data-film='{"rate":30,"sections":[{"title":"Strides","at":[[0,0.4],[0.4,0.8]]}]}'><video controls src="./tracked.mp4"></video></div>` +
		`<script>` + stepping.Script + `</script><script>` + stepping.Script + ` document.title = 'ran'</script><script src="/app/page.js"></script>`
	if err := os.WriteFile(filepath.Join(out, "report.html"), []byte(report), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, nil)
	b := openBrowser(t, 820, 900, false)
	b.Do(chromedp.Navigate(s.URL()), chromedp.Navigate("http://"+s.Address()+"/results/a%20b.out/report.html"))
	b.Wait(`document.querySelector('h1')?.textContent === 'Report'`)
	if got := eval[string](b, `getComputedStyle(document.querySelector('h1')).color`); got != "rgb(1, 2, 3)" {
		t.Errorf("the report's style is not let through: %s", got)
	}
	b.Click("p")
	if got := eval[string](b, `document.title`); got == "ran" {
		t.Error("a script in the report ran")
	}
	if got := eval[string](b, `(async () => {
		const buttons = [...document.querySelectorAll('.controls button')], video = document.querySelector('video');
		if (video.readyState < 1) await new Promise((done) => { video.onloadedmetadata = done; });
		const at = async (n) => { const s = new Promise((done) => video.addEventListener('seeked', done, { once: true })); buttons[n].click(); await s; return video.currentTime.toFixed(3); };
		return [document.querySelectorAll('.controls').length, await at(3), await at(2), document.title].join(' ');
	})()`); strings.TrimSpace(got) != "1 0.417 0.450" {
		t.Errorf("stepping through the film: %q", got)
	}
	b.Click("a")
	var state string
	for range 100 {
		got, err := chromedp.Run(b.Context, chromedp.Evaluate[string](`(() => { const v = document.querySelector('video'); return v ? 'ready ' + v.readyState + ', ' + v.videoWidth + ' px wide' : 'no film at ' + location.href; })()`))
		if state = got; err != nil {
			state = err.Error() // Asked just while one page makes room for the next.
		}
		if state == "ready 4, 320 px wide" {
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	if state != "ready 4, 320 px wide" {
		t.Errorf("the film with the marks: %s", state)
	}
	b.silentBut("Content Security Policy", "script", "favicon")
}

// listOfOne opens the list of a folder with one clip, a.mp4, of so many frames.
func listOfOne(t *testing.T, frames string) *browser {
	t.Helper()
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "a.mp4"), "320x180", "30", frames)
	s := serve(t, dir, nil)
	b := openBrowser(t, 820, 900, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelectorAll('.clip').length === 1`)
	return b
}

// Stepping decodes more pictures than are kept. The one on the screen is painted
// again at any time, so it stays whole; those let go of hold no more memory.
func TestThePictureOnTheScreenStays(t *testing.T) {
	b := listOfOne(t, "40")
	got := eval[[]string](b, `(async () => {
		const { Frames } = await import('/app/frames.js');
		const { get } = await import('/app/api.js');
		const clip = await get('/api/clip', { clip: 'a.mp4' });
		const wrong = [];
		let shown = null;
		const frames = new Frames(clip, 'step', (b) => b === shown);
		frames.pixelLimit = 4 * 320 * 180;
		for (const f of [0, 1, 2, 3, 5, 8, 30, 20, 10, 0]) {
			shown = await frames.show(f);
			for (let other = 0; other < 8; other += 1) {
				await frames.decode((f + 3 * other) % 40);
				if (shown.width !== 320) wrong.push('the picture of frame ' + f + ' was closed after ' + other + ' others');
			}
			if (frames.decoded.size > 8) wrong.push(frames.decoded.size + ' pictures are kept, about 4 are allowed');
			let held = 0;
			for (const { value } of frames.decoded.values()) if (value) held += value.width * value.height;
			if (held !== frames.pixels) wrong.push('counted ' + frames.pixels + ' px, held ' + held);
		}
		frames.close();
		return wrong;
	})()`)
	for _, w := range got {
		t.Error(w)
	}
	b.Silent()
}

// Pictures around a frame are fetched while one stays there. After a jump no more of them
// is asked for: it would come before the one that is waited for.
func TestNothingIsFetchedWhereOneHasLeft(t *testing.T) {
	b := listOfOne(t, "200")
	got := eval[[]string](b, `(async () => {
		const { Frames } = await import('/app/frames.js');
		const { get } = await import('/app/api.js');
		const frames = new Frames(await get('/api/clip', { clip: 'a.mp4' }), 'step');
		const ask = frames.blob.bind(frames), late = [];
		let left = false, come;
		const jumped = new Promise((r) => { come = r; });
		frames.blob = (f, beside) => {
			if (left && f < 100) late.push('frame ' + f + ' is asked for after the jump to frame 150');
			if (beside !== (f !== 50 && f !== 150)) late.push('frame ' + f + ' is asked for with beside ' + beside);
			if (f === 51) come();
			return ask(f, beside);
		};
		await frames.show(50);
		await jumped;
		left = true;
		await frames.show(150);
		await new Promise((r) => setTimeout(r, 300));
		frames.close();
		// Small pictures that are passed by make room for the full one of the frame rested on.
		const { Film } = await import('/app/film.js');
		const stage = { show() {}, painted: null };
		const film = new Film(frames.clip, stage, { moved() {}, painted() {}, wait() {}, failed() {} });
		film.pass(150);
		film.rest();
		if (film.plays.pending.size > 0 && [...film.plays.pending.values()].some((a) => !a.signal.aborted)) late.push('a small picture is waited for beside the full one');
		film.close();
		return late;
	})()`)
	for _, w := range got {
		t.Error(w)
	}
	b.Silent()
}

// The film guide prints on one sheet, A4 and Letter alike, with its own style
// let through by the policy.
func TestTheGuidePrintsOnOneSheet(t *testing.T) {
	s := serve(t, t.TempDir(), nil)
	b := openBrowser(t, 1000, 900, false)
	b.Do(chromedp.Navigate(s.URL()), chromedp.Navigate("http://"+s.Address()+"/guide"))
	b.Wait(`document.querySelector('h1') !== null`)
	if got := eval[string](b, `getComputedStyle(document.querySelector('.two')).display`); got != "grid" {
		t.Errorf("the guide's style is not let through: %s", got)
	}
	b.Accessible()
	for _, sheet := range []struct {
		name          string
		width, height float64 // Inches.
	}{{"A4", 210 / 25.4, 297 / 25.4}, {"Letter", 8.5, 11}} {
		pdf, err := chromedp.Run(b.Context, func(ctx context.Context, target *chromedp.Target) ([]byte, error) {
			r, err := cdp.Call(ctx, target, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: sheet.width, PaperHeight: sheet.height})
			if err != nil {
				return nil, err
			}
			return r.Data, nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1)); n != 1 {
			t.Errorf("on %s it takes %d sheets", sheet.name, n)
		}
	}
	b.Silent()
}

// Nobody is asked for the points of the shoulders; who marks one is asked for the other,
// too, here and in further frames.
func TestShouldersAreAskedForOnceWanted(t *testing.T) {
	s, _, truth := oneClip(t)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	frame := len(truth.Times) / 2
	asked := func(l traj.Landmark) {
		t.Helper()
		b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, l))
	}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.Head, traj.Withers, traj.RightHind, traj.Chest} {
		asked(l)
		p := point(truth, l, frame)
		b.Press(p.X, p.Y)
	}
	b.Wait(`document.querySelector('.chips [aria-pressed=true]') === null`)
	b.Wait(`document.querySelector('#chip-left-shoulder').textContent.includes('if you want')`)
	b.Click("#chip-left-shoulder")
	asked(traj.LeftShoulder)
	p := point(truth, traj.Chest, frame)
	b.Press(p.X+20, p.Y)
	asked(traj.RightShoulder)
	b.Silent()
}

// What the page asks for beside the marks may fail. It then says what it does without.
func TestThePageSaysWhatItDoesWithout(t *testing.T) {
	s, _, _ := oneClip(t)
	b := openBrowser(t, 820, 1180, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Script(`const asked = window.fetch;
		window.fetch = (at, how) => (/overview|clips/.test(String(at)) ? Promise.reject(new TypeError('broken off')) : asked(at, how));`)
	b.view("mark", visitFolder+"/toward-1.mp4")
	b.Wait(`document.querySelector('#troubles')?.querySelectorAll('p').length === 2`)
	for _, want := range []string{"could not be looked through", "How many clips are marked"} {
		if text := b.Text("#troubles"); !strings.Contains(text, want) {
			t.Errorf("the page says %q, not %q", text, want)
		}
	}
	b.Accessible()
}
