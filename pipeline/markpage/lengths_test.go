package markpage

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// Lengths are read as people in yards write them. One inch is 25.4 mm and one
// foot 12 inches exactly (international yard and pound agreement of 1959; NIST
// Handbook 44, appendix C, from memory); one hand is 4 inches, and behind the
// point of hands stand inches (common practice).
func TestLengthsAsPeopleTypeThem(t *testing.T) {
	t.Parallel()
	s := serve(t, t.TempDir(), nil)
	b := openBrowser(t, 820, 900, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('h1') !== null`)
	const wrong = -1
	tests := map[string]float64{
		"2.5": 2.5, "2,5": 2.5, " 2,5 m ": 2.5, "2.50m": 2.5, "2,5 Meter": 2.5, "0,5": 0.5, ".5": 0.5, "8": 8, "250 cm": 2.5, "250cm": 2.5, "2500 mm": 2.5,
		"2 m 50 cm": 2.5, "2m50": 2.5, "2 m 05": 2.05, "2 m 5 cm": 2.05,
		"8 ft 2 in": 2.4892, "8ft2in": 2.4892, "8' 2\"": 2.4892, "8’ 2”": 2.4892, "8′2″": 2.4892, "8 ft. 2 in.": 2.4892, "8 feet 2 inches": 2.4892, "8 ft 2": 2.4892, "8'": 2.4384, "8 FT": 2.4384,
		"98 in": 2.4892, "98\"": 2.4892, "98''": 2.4892, "98 1/2 in": 2.5019, "98½ in": 2.5019, "8 ft 2 1/2 in": 2.5019, "8,5 ft": 2.5908,
		"15.2 hands": 1.5748, "15.2hh": 1.5748, "15,2 hh": 1.5748, "16 hands": 1.6256, "15 hands 2 in": 1.5748, "16.0 h": 1.6256,
		"": wrong, "m": wrong, "two": wrong, "2.5.1": wrong, "1,234.5": wrong, "2 5": wrong, "-2": wrong, "0": wrong, "2 m 5": wrong, "2 m 3 ft": wrong, "3 in 2 ft": wrong,
		"8 ft 14 in": wrong, "15.4 hands": wrong, "15.25 hands": wrong, "2.5 km": wrong, "2.5 x": wrong, "1/0 in": wrong, "3/2 in": wrong, "2 m 150 cm": wrong, "1e3": wrong, "∞": wrong, "2.5m;": wrong, "2 m 2 m": wrong,
	}
	given, err := json.Marshal(tests)
	if err != nil {
		t.Fatal(err)
	}
	got := eval[map[string]float64](b, `(async () => { const { parseLength } = await import('/app/lengths.js');
		return Object.fromEntries(Object.keys(`+string(given)+`).map((t) => { const r = parseLength(t); return [t, r.problem ? -1 : r.m]; })); })()`)
	for text, want := range tests {
		if math.Abs(got[text]-want) > 5.1e-6 {
			t.Errorf("%q is read as %v m, want %v", text, got[text], want)
		}
	}
	// What the page shows is read back as the same, to its last place.
	for _, w := range eval[[]string](b, `(async () => { const l = await import('/app/lengths.js'); const wrong = [];
		for (let i = 1; i < 4000; i += 1) { const m = i * 0.00517;
			for (const [write, off] of [['inMetres', 0.00051], ['inFeet', 0.00128], ['inHands', 0.0128]]) {
				if (write === 'inHands' && m < 0.2) continue;
				const shown = l[write](m), back = l.parseLength(shown);
				if (!(Math.abs(back.m - m) <= off)) wrong.push(m + ' is shown as ' + shown + ' and read as ' + (back.m ?? back.problem));
			} }
		return wrong.slice(0, 5); })()`) {
		t.Error(w)
	}
	b.Silent()
}

// A comma, feet and inches and a wrong entry in the field where the lane's
// measures are typed: what counts is what was shown, and no key goes to the page. The
// field is the same one to the end, so that no click on it is lost while the panel is
// drawn anew, and what can't be taken over stays in it.
func TestLengthsAreShownBackBeforeTheyCount(t *testing.T) {
	t.Parallel()
	s, visit, truth := oneClip(t)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	b.Click("#step-horse")
	b.Fill("#withers", "15.3 hands")
	b.Wait(`document.querySelector('#withers').closest('.field').textContent.includes('1.6 m = 5 ft 3 in = 15.3 hands')`)
	b.Click("#step-ground")
	b.Rested()
	frame := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
	for _, p := range groundPoints(truth, frame) {
		b.Press(p.X, p.Y)
	}
	b.Script(`window.field = document.querySelector('#lane-width_m')`)
	typed := func(selector, text, shown string) {
		t.Helper()
		b.Click(selector)
		b.Script(`document.querySelector('` + selector + `').select()`)
		b.Do(chromedp.KeyEvent(text))
		b.Wait(`document.querySelector('` + selector + `').closest('.field').querySelector('output').value.includes('` + shown + `')`)
	}
	read := func() *record.Marks {
		m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")))
		if err != nil {
			return new(record.Marks)
		}
		return m
	}
	typed("#lane-length_m", "26 ft 3 in", "8.001 m = 26 ft 3 in")
	b.Do(chromedp.KeyEvent(kb.Enter))
	typed("#lane-width_m", "250", "…")
	b.Do(chromedp.KeyEvent(kb.Tab))
	b.Wait(`document.querySelector('#lane-width_m').closest('.field').textContent.includes('If centimetres are meant, write 250 cm')`)
	b.Shoot("refused")
	b.Accessible()
	b.Click("#zoom-all")
	b.Wait(`document.querySelector('#lane-length_m').value === '8.001 m'`) // The panel was drawn anew.
	if got := eval[string](b, `document.querySelector('#lane-width_m').value + ' ' + document.querySelector('#lane-width_m').closest('.field').querySelector('output').value`); !strings.HasPrefix(got, "250 Not taken over") {
		t.Errorf("beside what was refused stands %q", got)
	}
	if m := read(); m.Calibration != nil {
		t.Errorf("a width of 250 m counts: %+v", m.Calibration.Ground)
	}
	typed("#lane-width_m", "2,5", "2.5 m = 8 ft 2.4 in")
	if m := read(); m.Calibration != nil {
		t.Error("what is still being typed counts")
	}
	b.Do(chromedp.KeyEvent(kb.Tab))
	b.Script(`document.activeElement.blur()`) // The panel is drawn anew once nothing in it is being typed.
	b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	b.Shoot("read")
	if !eval[bool](b, `window.field === document.querySelector('#lane-width_m')`) {
		t.Error("the field was made anew")
	}
	if got := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`); got != frame {
		t.Errorf("typing stepped from frame %d to %d", frame, got)
	}
	m := read()
	if m.Calibration == nil || m.Calibration.Ground == nil || m.Calibration.Ground.WidthM != 2.5 || m.Calibration.Ground.LengthM != 8.001 || m.WithersM != 1.6002 {
		t.Errorf("saved: %+v, withers %v", m.Calibration, m.WithersM)
	}
	b.Silent()
}

// A yard that reads inches is shown feet and inches first; what is kept is metres. Slow
// motion that does not say so itself is told on the same page.
func TestAYardThatReadsInches(t *testing.T) {
	t.Parallel()
	clip, _ := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4")
	m := &record.Marks{View: traj.Toward, Gait: traj.Trot, WithersM: 1.63, Picture: record.Picture{Width: 960, Height: 540}, Marks: []record.Mark{record.At(0, traj.Head, 480, 200)}}
	path := record.MarksPath(filepath.Join(visit, "toward-1.mp4"))
	if err := record.WriteMarks(path, m); err != nil {
		t.Fatal(err)
	}
	s, err := Listen(Options{Folder: dir, Lengths: lengths.Inches})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(serving(t, s))
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	b.Click("#step-horse")
	// 1.63 m is no whole tenth of an inch: what is kept must not change by being shown.
	b.Wait(`document.querySelector('#withers')?.value === '1.63 m' && document.querySelector('#withers').closest('.field').textContent.includes('5 ft 4.2 in = 1.63 m')`)
	b.Fill("#withers", "64 in")
	b.Wait(`document.querySelector('#withers').closest('.field').textContent.includes('5 ft 4 in = 1.626 m = 16.0 hands')`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	if got, err := record.ReadMarks(path); err != nil || got.WithersM != 1.6256 {
		t.Errorf("saved: %v, %v", got.WithersM, err)
	}
	b.Click(".task details summary")
	b.Fill("#filmed-fps", "240")
	b.Wait(`document.querySelector('#filmed-fps').closest('.field').textContent.includes('240 frames a second')`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
	if got, err := record.ReadMarks(path); err != nil || got.FilmedFPS != 240 {
		t.Errorf("saved: %v frames a second, %v", got.FilmedFPS, err)
	}
	b.Fill("#withers", "9 ft")
	b.Wait(`document.querySelector('#withers').closest('.field').textContent.includes('allowed are 1 ft 7.7 in to 7 ft 2.6 in')`)
	b.Shoot("inches")
	b.Silent()
}

// A slip of the pen in a length is told at once, while the person goes on to the next field:
// Finish does not pass, nor does measuring, while what the page shows is not what is saved,
// and Finish names the lengths with which is measured.
func TestASlipInALengthIsToldAtOnceAndHoldsFinish(t *testing.T) {
	t.Parallel()
	s, visit, truth := oneClip(t)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "mark", visitFolder+"/toward-1.mp4")
	b.Begin("toward")
	b.Click("#step-ground")
	b.Rested()
	frame := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
	for _, p := range groundPoints(truth, frame) {
		b.Press(p.X, p.Y)
	}
	width := func(text string) {
		t.Helper()
		b.Click("#lane-width_m")
		b.Script(`document.querySelector('#lane-width_m').select()`)
		b.Do(chromedp.KeyEvent(text), chromedp.KeyEvent(kb.Tab))
		b.Wait(`document.activeElement.id === 'lane-length_m'`)
	}
	saved := func() geometry.GroundMarks {
		m, err := record.ReadMarks(record.MarksPath(filepath.Join(visit, "toward-1.mp4")))
		if err != nil || m.Calibration == nil || m.Calibration.Ground == nil {
			return geometry.GroundMarks{}
		}
		return *m.Calibration.Ground
	}
	b.Fill("#lane-length_m", "8")
	width("2.5")
	b.Wait(`document.querySelector('#ground-fits') !== null && document.querySelector('#go-finish.primary') !== null`)
	b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)

	width("8.2")
	b.Wait(`document.querySelector('#ground-wrong[role=alert]') !== null && document.querySelector('#ground-fits') === null`)
	b.Wait(`document.querySelector('#go-finish') !== null && document.querySelector('#go-finish.primary') === null`)
	if got := eval[string](b, `document.activeElement.id + ': ' + document.querySelector('#ground-saved').textContent`); got != "lane-length_m: Not saved. What is saved and would be measured with is the calibration before, 2.5 m × 8 m.Back to what is saved" {
		t.Errorf("while the next field has the focus: %q", got)
	}
	b.Shoot("slip")
	b.Accessible()
	if eval[bool](b, `(() => { const [a, c] = ['#saved', '#crumb-next'].map((s) => document.querySelector(s).getBoundingClientRect()); return a.left < c.right && c.left < a.right && a.top < c.bottom && c.top < a.bottom; })()`) {
		t.Error("what is said of saving covers the way to the next clip")
	}
	for _, way := range []string{"#go-finish", "#step-finish"} {
		b.Click(way)
		b.Wait(`document.querySelector('.message').textContent.startsWith('What the page shows of the ground is not saved')`)
		if eval[bool](b, `document.querySelector('#note') !== null`) {
			t.Errorf("%s passes", way)
		}
		b.Script(`document.querySelector('.message').textContent = ''`)
	}
	b.Click("#step-marks")
	b.Wait(`document.querySelector('#step-marks[aria-pressed=true]') !== null`)
	b.Click("#step-finish")
	b.Wait(`document.querySelector('#ground-wrong') !== null && document.querySelector('.message').textContent.startsWith('What the page shows')`)
	if g := saved(); g.WidthM != 2.5 || g.LengthM != 8 {
		t.Errorf("saved: %v × %v", g.WidthM, g.LengthM)
	}

	// Two ways on: what was saved, or the right length. A length that can't be read holds, too.
	b.Click("#ground-back")
	b.Wait(`document.querySelector('#lane-width_m').value === '2.5 m' && document.querySelector('#ground-fits') !== null && document.querySelector('#ground-saved') === null`)
	width("2..6")
	b.Click("#go-finish")
	b.Wait(`document.querySelector('.message').textContent.startsWith('A measure on this page was not taken over')`)
	b.Fill("#lane-width_m", "2.51")
	b.Click("#go-finish") // At once, while the program still looks whether it fits.
	b.Wait(`document.querySelector('#note') !== null && document.querySelector('.task .facts').textContent.includes('ground marks: all lengths, measured with 2.51 m × 8 m')`)
	if g := saved(); g.WidthM != 2.51 {
		t.Errorf("saved: %v × %v", g.WidthM, g.LengthM)
	}
	b.Shoot("finish")
	b.Do(chromedp.EmulateViewport(390, 844))
	b.Fits()
	b.Shoot("finish-390")
	b.Silent()
}
