package markpage

import (
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// tap taps what a selector names with a finger, after swiping it into the middle of the
// screen. Nothing may lie on it.
func (b *browser) tap(selector string) {
	b.Helper()
	b.Wait(fmt.Sprintf(`(() => { const e = document.querySelector(%q); return e && !e.disabled && e.getClientRects().length > 0; })()`, selector))
	at := eval[[]float64](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.scrollIntoView({block: 'center', behavior: 'instant'}); const r = e.getBoundingClientRect(), x = r.left + r.width / 2, y = r.top + r.height / 2; return [x, y, e.contains(document.elementFromPoint(x, y)) ? 1 : 0]; })()`, selector))
	if at[2] == 0 {
		b.Shoot("covered")
		b.Fatalf("something lies on %s", selector)
	}
	b.Do(chromedp.TapXY(at[0], at[1]))
}

// groundIs fails where the ground marks on disk are not the rendered ones, within so many px.
func (b bench) groundIs(within float64) {
	b.Helper()
	m := b.saved(b.path)
	if m.Calibration == nil || m.Calibration.Ground == nil || m.Calibration.Ground.WidthM != 2.5 || m.Calibration.Ground.LengthM != 8 {
		b.Fatalf("the calibration is saved as %+v", m.Calibration)
	}
	for i, p := range groundPoints(b.truth, b.frame) {
		if q := m.Calibration.Ground.Points[i]; math.Hypot(q.X-p.X, q.Y-p.Y) > within {
			b.Errorf("ground mark %d is saved at %.1f, %.1f; it is at %.1f, %.1f", i+1, q.X, q.Y, p.X, p.Y)
		}
	}
}

// On a tablet a clip is marked, its ground too, and a visit graded, with fingers alone; the
// keyboard on the screen types lengths.
func TestTouchAlone(t *testing.T) {
	t.Parallel()
	var b bench
	for i, size := range [][2]int64{{820, 1180}, {1180, 820}, {375, 740}} {
		if i == 0 {
			b = atMarks(t, size[0], size[1], true, nil)
		} else {
			b = b.anew(t, size[0], size[1], true)
		}
		b.tap("#zoom-all")
		b.Script(`window.scrollTo(0, 0)`)
		for _, l := range []traj.Landmark{traj.LeftFore, traj.Head} {
			b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s').getAttribute('aria-pressed') === 'true'`, l))
			p := point(b.truth, l, b.frame)
			b.Touch(p.X, p.Y)
			b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s.done') !== null`, l))
		}
		b.tap("#step-ground")
		for field, length := range map[string]string{"#lane-width_m": "2,5", "#lane-length_m": "8"} {
			b.tap(field)
			b.Do(chromedp.KeyEvent(length))
		}
		b.tap("#zoom-all")
		b.Script(`window.scrollTo(0, 0)`)
		for i, p := range groundPoints(b.truth, b.frame) {
			b.Touch(p.X, p.Y)
			if i < 3 {
				b.Wait(fmt.Sprintf(`document.querySelectorAll('.lane .corner.done').length === %d`, i+1))
			}
		}
		b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
		b.tap("#go-finish")
		b.Wait(`document.querySelector('#note') !== null`)
		b.groundIs(4) // A finger's place is told in whole px of the window.
		b.tap("#crumbs a[href^='#/visit/']")
		b.tap("#grade-1")
		b.tap(`.motion [data-motion="moved:fore|left|forward|1|less"]`)
		b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
		v, _, err := record.ReadVisit(filepath.Join(filepath.Dir(b.path), record.VisitFile))
		if err != nil || len(v.Palpation) != 1 || v.Palpation[0].Soreness != 1 || len(v.Motion) != 1 {
			t.Errorf("%d × %d: the visit on disk is %+v, %v", size[0], size[1], v, err)
		}
		b.Fits()
		b.Silent()
	}
}

// Ground marks are placed with the keyboard alone, from the lengths to the next page.
func TestGroundByKeyboardAlone(t *testing.T) {
	t.Parallel()
	b := atMarks(t, 1366, 768, false, nil)
	b.Do(chromedp.KeyEvent("0"))
	b.Script(`document.querySelector('#step-ground').focus()`)
	b.Do(chromedp.KeyEvent(kb.Enter))
	b.Wait(`document.querySelector('#lane-width_m') !== null`)
	b.tabTo("#lane-width_m")
	b.Do(chromedp.KeyEvent("2.5"))
	b.tabTo("#lane-length_m")
	b.Do(chromedp.KeyEvent("8"))
	b.tabTo("canvas.picture")
	b.Rested()
	x, y := 479.5, 269.5 // Where the cross begins: the middle of the picture.
	b.Do(chromedp.KeyEvent(kb.Enter))
	for i, p := range groundPoints(b.truth, b.frame) {
		for _, way := range []struct {
			far         float64
			plus, minus string
		}{{p.X - x, kb.ArrowRight, kb.ArrowLeft}, {p.Y - y, kb.ArrowDown, kb.ArrowUp}} {
			key, n := way.plus, int(math.Round(math.Abs(way.far)))
			if way.far < 0 {
				key = way.minus
			}
			for range n / 10 {
				b.Do(chromedp.KeyEvent(key, chromedp.KeyModifiers(chromedp.ModifierShift)))
			}
			for range n % 10 {
				b.Do(chromedp.KeyEvent(key))
			}
		}
		x, y = x+math.Round(p.X-x), y+math.Round(p.Y-y)
		b.Do(chromedp.KeyEvent(kb.Enter))
		if i < 3 {
			b.Wait(fmt.Sprintf(`document.querySelectorAll('.lane .corner.done').length === %d`, i+1))
		}
	}
	b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	b.groundIs(0.8)
	b.Do(chromedp.KeyEvent("g"))
	b.Wait(`document.querySelector('#note') !== null`)
	b.Silent()
}

// tabTo moves on until the focus is where a selector says.
func (b *browser) tabTo(selector string) {
	b.Helper()
	for range 80 {
		if eval[bool](b, fmt.Sprintf(`document.activeElement.matches(%q)`, selector)) {
			return
		}
		b.Do(chromedp.KeyEvent(kb.Tab))
	}
	b.Shoot("failure")
	b.Fatalf("Tab never reaches %s", selector)
}
