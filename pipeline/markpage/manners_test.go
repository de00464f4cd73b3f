package markpage

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// serveThrough serves dir with every request going through wrap.
func serveThrough(t testing.TB, dir string, wrap func(next http.Handler) http.Handler) *Server {
	t.Helper()
	s, err := Listen(Options{Folder: dir})
	if err != nil {
		t.Fatal(err)
	}
	s.handler = wrap(s.handler)
	t.Cleanup(serving(t, s))
	return s
}

// bench is one clip on the marking page, before which a person sits.
type bench struct {
	*browser
	server *Server
	truth  *scene.Truth
	path   string // Of the clip.
	frame  int    // In the middle of the clip: what is on the screen.
}

// atMarks opens the marking page of a rendered clip; a non-nil wrap lets every request go
// through it.
func atMarks(t *testing.T, width, height int64, touch bool, wrap func(next http.Handler) http.Handler) bench {
	t.Helper()
	var s *Server
	var visit string
	var truth *scene.Truth
	if wrap == nil {
		s, visit, truth = oneClip(t)
	} else {
		var clip, dir string
		clip, truth = renderedClip(t)
		dir, visit = yard(t, clip, "toward-1.mp4")
		s = serveThrough(t, dir, wrap)
	}
	b := bench{nil, s, truth, filepath.Join(visit, "toward-1.mp4"), len(truth.Times) / 2}
	return b.sitDown(t, width, height, touch)
}

// sitDown opens a page that nobody used before at the clip's marks.
func (b bench) sitDown(t *testing.T, width, height int64, touch bool) bench {
	t.Helper()
	b.browser = openBrowser(t, width, height, touch)
	b.open(b.server, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	b.GoTo(b.frame)
	return b
}

// anew is the bench once the person has left, with another screen and nothing of what was
// marked and recorded. The pictures need not be made again.
func (b bench) anew(t *testing.T, width, height int64, touch bool) bench {
	t.Helper()
	b.Do(chromedp.Navigate("about:blank"))
	if err := errors.Join(os.Remove(record.MarksPath(b.path)), os.Remove(filepath.Join(filepath.Dir(b.path), record.VisitFile))); err != nil {
		t.Fatal(err)
	}
	return b.sitDown(t, width, height, touch)
}

// saved returns the marks on disk once the page says that they are saved.
func (b *browser) saved(clip string) *record.Marks {
	b.Helper()
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	m, err := record.ReadMarks(record.MarksPath(clip))
	if err != nil {
		b.Fatal(err)
	}
	return m
}

// While a picture is late, its frame's number is already there. A click goes to
// no frame then, the wait is told, and neither does a key place or hide anything.
func TestNothingIsPlacedOnAPictureThatIsNotThere(t *testing.T) {
	t.Parallel()
	var late atomic.Bool
	b := atMarks(t, 1366, 768, false, func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if late.Load() && r.URL.Path == "/picture" {
				time.Sleep(1500 * time.Millisecond)
			}
			next.ServeHTTP(w, r)
		})
	})
	truth, at := b.truth, b.frame
	b.Do(chromedp.KeyEvent("0"))
	p := point(truth, traj.LeftFore, at)
	b.Press(p.X, p.Y)
	if m := b.saved(b.path); len(m.Marks) != 1 {
		t.Fatalf("%d marks", len(m.Marks))
	}
	late.Store(true)
	b.Do(chromedp.KeyEvent("]"), chromedp.KeyEvent("<")) // Ten frames away: a picture that is not fetched yet.
	q := point(truth, traj.Head, at-10)
	b.Press(q.X, q.Y)
	b.Do(chromedp.KeyEvent("n"))
	b.Wait(`!document.querySelector('.wait-sign').hidden && document.querySelector('.wait-sign').textContent.includes('` + fmt.Sprint(at-10) + `')`)
	b.Shoot("waiting")
	b.Wait(`document.querySelector('.message').textContent.startsWith('Wait: frame')`)
	b.Rested()
	late.Store(false)
	if m := b.saved(b.path); len(m.Marks) != 1 {
		t.Errorf("%d marks after clicking a frame that was not on the screen", len(m.Marks))
	}
	b.Press(q.X, q.Y)
	b.Wait(`document.querySelectorAll('.tick').length === 2`)
	if m := b.saved(b.path); len(m.Marks) != 2 {
		t.Errorf("%d marks once it is", len(m.Marks))
	}
	b.Silent()
}

// What a person types and does at a bench: every letter is kept, the click after
// typing counts, a comma is a decimal point, drags and swipes place nothing.
func TestManners(t *testing.T) {
	t.Parallel()
	b := atMarks(t, 1366, 768, false, nil)
	truth, path, at := b.truth, b.path, b.frame

	t.Log("drags and the space bar place nothing")
	b.Do(chromedp.KeyEvent("0"))
	x, y := b.At(300, 300)
	for _, zoomed := range []bool{false, true} {
		if zoomed {
			b.Do(chromedp.KeyEvent("+"))
		}
		mouse := func(kind input.DispatchMouseEventType, dx float64) {
			t.Helper()
			if err := chromedp.Do(b.Context, chromedp.MouseEvent(kind, x+dx, y+dx/3, chromedp.ButtonLeft)); err != nil {
				t.Fatal(err)
			}
		}
		mouse(input.DispatchMouseEventTypeMousePressed, 0)
		for d := 5.0; d < 80; d += 15 {
			mouse(input.DispatchMouseEventTypeMouseMoved, d)
		}
		mouse(input.DispatchMouseEventTypeMouseReleased, 80)
	}
	b.Script(`document.querySelector('canvas.picture').focus()`)
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`document.querySelector('#play').textContent === 'Stop'`)
	b.Do(chromedp.KeyEvent(" "))
	b.Wait(`document.querySelector('#play').textContent === 'Play'`)
	if n := eval[int](b, `document.querySelectorAll('.tick').length`); n != 0 {
		t.Errorf("%d frames are marked after dragging", n)
	}
	b.GoTo(at)
	b.Do(chromedp.KeyEvent("0"))

	t.Log("arrow keys step, with Shift ten frames")
	b.Do(chromedp.KeyEvent(kb.ArrowRight))
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d'`, at+1))
	b.Do(chromedp.KeyEvent(kb.ArrowLeft, chromedp.KeyModifiers(chromedp.ModifierShift)))
	b.Wait(fmt.Sprintf(`document.querySelector('canvas.picture').dataset.frame === '%d'`, at-9))
	b.GoTo(at)

	t.Log("undo and redo")
	p := point(truth, traj.LeftFore, at)
	b.Press(p.X, p.Y)
	b.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null`, at))
	b.Do(chromedp.KeyEvent("u"))
	b.Wait(`document.querySelectorAll('.tick').length === 0`)
	b.Do(chromedp.KeyEvent("U", chromedp.KeyModifiers(chromedp.ModifierShift)))
	b.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null`, at))

	t.Log("the loupe stays in its corner while the cross passes the middle of the picture")
	box := b.loupes(point(truth, traj.Head, at).X, point(truth, traj.LeftFore, at).Y)
	if len(box) != 1 {
		t.Errorf("the loupe was in %v", box)
	}

	t.Log("every letter of a note is on disk while it is typed")
	b.Click("#step-finish")
	b.Click("#note")
	b.Do(chromedp.KeyEvent("stands badly"))
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	if m := b.saved(path); m.Note != "stands badly" {
		t.Errorf("the note on disk is %q while the cursor is in its field", m.Note)
	}
	t.Log("the first click after typing counts")
	b.Do(chromedp.KeyEvent(" today"))
	b.Click("#step-ground")
	b.Wait(`document.querySelector('#lane-width_m') !== null`)
	if m := b.saved(path); m.Note != "stands badly today" {
		t.Errorf("the note on disk is %q", m.Note)
	}

	t.Log("a comma is a decimal point, and the field keeps the keys")
	b.Click("#lane-width_m")
	b.Do(chromedp.KeyEvent("2,5"))
	b.Do(chromedp.KeyEvent(" m"))
	if got := eval[string](b, `document.querySelector('#lane-width_m').value`); got != "2,5 m" {
		t.Errorf("the field holds %q", got)
	}
	before := b.Text("output.where")
	b.Click("#lane-length_m")
	b.Do(chromedp.KeyEvent("8.,"))
	b.Do(chromedp.KeyEvent(kb.Backspace), chromedp.KeyEvent(kb.Backspace))
	b.Click("#step-marks")
	b.Wait(`document.querySelector('.chips') !== null`)
	if now := b.Text("output.where"); now != before {
		t.Errorf("keys typed into a field stepped from %q to %q", before, now)
	}
	b.Click("#step-ground")
	b.Wait(`document.querySelector('#lane-width_m')?.value.startsWith('2.5')`)
	for _, g := range groundPoints(truth, at) {
		b.Press(g.X, g.Y)
	}
	b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	m := b.saved(path)
	if m.Calibration == nil || m.Calibration.Ground == nil || m.Calibration.Ground.WidthM != 2.5 || m.Calibration.Ground.LengthM != 8 {
		t.Errorf("the rectangle is saved as %+v", m.Calibration)
	}
	b.Silent()
}

// loupes moves the mouse along a row around x and returns the corners in which
// the loupe was.
func (b *browser) loupes(x, y float64) map[string]bool {
	b.Helper()
	seen := map[string]bool{}
	px, py := b.At(x, y)
	for d := -60.0; d <= 60; d += 12 {
		b.Do(chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, px+d, py))
		seen[eval[string](b, `new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(() => r(document.querySelector('canvas.picture').dataset.loupe ?? ''))))`)] = true
	}
	delete(seen, "")
	return seen
}

// A finger that swipes moves nothing; one that rests first aims with the loupe.
func TestFingers(t *testing.T) {
	t.Parallel()
	b := atMarks(t, 820, 1180, true, nil)
	truth, path, at := b.truth, b.path, b.frame
	p := point(truth, traj.LeftFore, at)
	x, y := b.At(p.X, p.Y)
	var at0 time.Time // When a quick finger touched down; zero lets the clock tell.
	touch := func(kind input.DispatchTouchEventType, dx, dy float64) {
		t.Helper()
		when := at0
		if !at0.IsZero() {
			at0 = at0.Add(16 * time.Millisecond)
		}
		points := []*input.TouchPoint{{X: x + dx, Y: y + dy}}
		if kind == input.DispatchTouchEventTypeTouchEnd {
			points = []*input.TouchPoint{}
		}
		if err := chromedp.Do(b.Context, touchEvent(kind, points, when)); err != nil {
			t.Fatal(err)
		}
	}
	at0 = time.Now()
	touch(input.DispatchTouchEventTypeTouchStart, -60, -60)
	for d := -60.0; d < 0; d += 12 {
		touch(input.DispatchTouchEventTypeTouchMove, d, d)
	}
	touch(input.DispatchTouchEventTypeTouchEnd, 0, 0)
	if n := eval[int](b, `document.querySelectorAll('.tick').length`); n != 0 {
		t.Errorf("a swipe placed a mark")
	}
	at0 = time.Time{}
	x, y = b.At(p.X, p.Y) // The swipe has moved the picture.
	touch(input.DispatchTouchEventTypeTouchStart, 30, -20)
	time.Sleep(450 * time.Millisecond) // A finger that rests.
	for d := 30.0; d >= 0; d -= 6 {
		touch(input.DispatchTouchEventTypeTouchMove, d, -d*2/3)
	}
	b.Shoot("aiming")
	touch(input.DispatchTouchEventTypeTouchEnd, 0, 0)
	b.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null`, at))
	m := b.saved(path)
	if len(m.Marks) != 1 || math.Hypot(*m.Marks[0].X-p.X, *m.Marks[0].Y-p.Y) > 2 {
		t.Errorf("aimed at %.1f, %.1f: %+v", p.X, p.Y, m.Marks)
	}
	b.Fits()
	b.Silent()
}

// The way on is in sight at once, in a small laptop's window and at twice the size.
func TestTheWayOnIsInSight(t *testing.T) {
	t.Parallel()
	clip, _ := renderedClip(t)
	dir, _ := yard(t, clip, "toward-1.mp4", "run.mp4")
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	for _, size := range [][2]int64{{1366, 768}, {683, 384}, {1440, 900}, {375, 740}, {820, 1180}} {
		b.Do(chromedp.EmulateViewport(size[0], size[1]))
		for _, name := range []string{"toward-1.mp4", "run.mp4"} {
			b.view("mark", visitFolder+"/"+name)
			b.Wait(fmt.Sprintf(`document.querySelector('h1')?.textContent === 'Mark %s'`, name))
			if name == "run.mp4" {
				b.Wait(`document.querySelector('.choice') !== null`)
			} else {
				b.Begin("toward")
			}
			for _, step := range []string{"", "#step-ground", "#step-finish"} {
				if step != "" && name == "run.mp4" {
					continue
				}
				if step != "" {
					b.Script(fmt.Sprintf(`document.querySelector(%q).click()`, step))
					b.Script(`window.scrollTo(0, 0)`)
					time.Sleep(50 * time.Millisecond)
				}
				sight := `(() => { const e = document.querySelector('.onward .actions button'); const r = e.getBoundingClientRect(); return r.top >= 0 && r.bottom <= window.innerHeight && r.left >= 0 && r.right <= window.innerWidth && e.contains(document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)); })()`
				if !eval[bool](b, sight) {
					b.Shoot("out-of-sight")
					t.Errorf("%d × %d, %s %s: the way on is out of sight", size[0], size[1], name, step)
				}
				b.Fits()
			}
		}
	}
	b.Silent()
}

// Two tabs on one clip place marks while the program is away and are closed. Both
// marks are there when it is back.
func TestTwoTabsAndAKilledProgram(t *testing.T) {
	t.Parallel()
	clip, truth := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4")
	path := filepath.Join(visit, "toward-1.mp4")
	s, stop := serveAt(t, dir, "", nil)
	defer stop()
	first := openBrowser(t, 1366, 768, false)
	address := s.Address()
	first.Do(chromedp.Navigate(s.URL()))
	first.Wait(`document.querySelector('.clip') !== null`)
	second := &browser{first.Tab(1366, 768)}
	second.Do(chromedp.Navigate("http://" + address + "/"))
	second.Wait(`document.querySelector('.clip') !== null`)
	at := len(truth.Times) / 2
	for _, b := range []*browser{first, second} {
		b.view("mark", visitFolder+"/toward-1.mp4")
		b.Begin("toward")
		b.GoTo(at)
	}
	p, q := point(truth, traj.LeftFore, at), point(truth, traj.Head, at)
	stop()
	first.Press(p.X, p.Y)
	first.Wait(`document.querySelector('#saved').textContent.includes('kept in this browser')`)
	second.Script(`document.querySelector('#chip-head').click()`)
	second.Press(q.X, q.Y)
	second.Wait(`document.querySelector('#saved').textContent.includes('kept in this browser')`)
	first.Do(chromedp.Navigate("about:blank"))
	second.Do(chromedp.Navigate("about:blank"))
	again, stopAgain := serveAt(t, dir, address, nil)
	defer stopAgain()
	first.Do(chromedp.Navigate(again.URL()))
	first.Wait(`document.querySelector('.notice.warn a')?.textContent.includes('toward-1.mp4')`)
	first.Click(".notice.warn a")
	first.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined`)
	m := first.saved(path)
	var got []string
	for _, k := range m.Marks {
		got = append(got, string(k.Landmark))
	}
	if strings.Join(got, " ") != "left-fore head" {
		t.Errorf("on disk are %v", got)
	}
	if kept := eval[int](first, `Object.keys(localStorage).filter((k) => k.startsWith('jogstrip:kept:')).length`); kept != 0 {
		t.Errorf("the browser still keeps %d copies of what is saved", kept)
	}
}

// The picture stays where it is while the page's word about saving grows: a click
// that is on its way hits what it was aimed at.
func TestThePictureStaysWhereItIs(t *testing.T) {
	t.Parallel()
	b := atMarks(t, 1366, 768, false, nil)
	for _, size := range [][2]int64{{1366, 768}, {820, 1180}, {375, 740}} {
		b.Do(chromedp.EmulateViewport(size[0], size[1]))
		where := func() []float64 {
			return eval[[]float64](b, `(() => { const r = document.querySelector('canvas.picture').getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; })()`)
		}
		b.Script(`document.querySelector('#saved').textContent = ''`)
		before := where()
		for _, text := range []string{"Saved", "Not saved yet: the program is not running. Your work is kept in this browser and saved when the program is back."} {
			b.Script(fmt.Sprintf(`const e = document.querySelector('#saved'); e.className = 'kept'; e.textContent = %q`, text))
			if now := where(); fmt.Sprint(now) != fmt.Sprint(before) {
				t.Errorf("%d px wide: with %q the picture moves from %v to %v", size[0], text, before, now)
			}
		}
		b.Fits()
	}
}

// While the disk is full the page says so, keeps what was placed, and saves it by
// itself once there is room.
func TestWhatAFullDiskRefusedIsSavedLater(t *testing.T) {
	t.Parallel()
	var full atomic.Bool
	full.Store(true)
	b := atMarks(t, 1366, 768, false, func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if full.Load() && r.Method == http.MethodPut {
				fail(w, http.StatusInsufficientStorage, errDiskFull)
				return
			}
			next.ServeHTTP(w, r)
		})
	})
	p := point(b.truth, traj.LeftFore, b.frame)
	b.Press(p.X, p.Y)
	b.Wait(`document.querySelector('#saved').textContent.includes('the disk is full')`)
	b.Shoot("full")
	full.Store(false)
	if m := b.saved(b.path); len(m.Marks) != 1 {
		t.Errorf("%d marks once there is room", len(m.Marks))
	}
	b.silentBut("507", "Failed to load resource")
}
