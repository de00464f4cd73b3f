package markpage

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// visitOnDisk waits until the visit's page on disk is as holds wants it.
func (b *browser) visitOnDisk(visit string, holds func(v *record.Visit) bool) *record.Visit {
	b.Helper()
	var v *record.Visit
	for range 60 {
		read, _, err := record.ReadVisit(filepath.Join(visit, record.VisitFile))
		if err != nil {
			b.Fatal(err)
		}
		if v = read; holds(v) {
			return v
		}
		time.Sleep(50 * time.Millisecond)
	}
	b.Shoot("failure")
	data, _ := os.ReadFile(filepath.Join(visit, record.VisitFile))
	b.Fatalf("after 3 s the visit's page says:\n%s", data)
	return nil
}

// typeInto types without leaving the field.
func (b *browser) typeInto(selector, text string) {
	b.Helper()
	b.Click(selector)
	b.Script(fmt.Sprintf(`const e = document.querySelector(%q); e.selectionStart = e.value.length`, selector))
	b.Do(chromedp.KeyEvent(text))
}

// Whatever is typed is on disk while the cursor is still in its field, and there
// after a reload at once; going from field to field quickly loses no letter.
func TestTypedTextIsNeverOnlyOnTheScreen(t *testing.T) {
	t.Parallel()
	dir, visit := yard(t, "")
	if err := os.WriteFile(filepath.Join(visit, record.VisitFile), []byte("[[palpation]]\nregion = \"triceps\"\nside = \"left\"\nsoreness = 2\n[[treatment]]\nwhat = \"massage\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	open := func() {
		t.Helper()
		b.view("visit", visitFolder)
		b.Wait(`document.querySelector('#treatment-0-note') !== null && document.querySelector('[data-note="triceps|left|1"]') !== null`)
	}
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('h1') !== null`)
	open()
	b.typeInto("#visit-reason", "short in front")
	b.typeInto("#treatment-0-note", "ten minutes a side, firm")
	b.typeInto(`[data-note="triceps|left|1"]`, "behind the elbow")
	v := b.visitOnDisk(visit, func(v *record.Visit) bool {
		return len(v.Palpation) == 1 && v.Palpation[0].Note == "behind the elbow" && len(v.Treatment) == 1 && v.Treatment[0].Note == "ten minutes a side, firm"
	})
	if v.Reason != "short in front" {
		t.Errorf("the reason became %q", v.Reason)
	}
	// Reloaded with the last letter just typed.
	b.typeInto("#treatment-0-note", ", cooled after")
	b.Do(chromedp.Reload())
	open()
	if got := eval[string](b, `document.querySelector('#treatment-0-note').value`); got != "ten minutes a side, firm, cooled after" {
		t.Errorf("after a reload the note is %q", got)
	}
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.Treatment[0].Note == "ten minutes a side, firm, cooled after" })
	b.Silent()
}

// A visit that could not be opened again is refused whole; one just below is
// taken and opens.
func TestAVisitThatIsTakenOpensAgain(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := listenOn(t, dir)
	put := func(notes int, version string) *httptest.ResponseRecorder {
		return ask(s, "PUT", "/api/visit?visit=.", strings.NewReader(`{"notes":"`+strings.Repeat("a", notes)+`"}`), func(r *http.Request) { r.Header.Set("If-Match", version) })
	}
	if w := put(visitLimit, noFile); w.Code != 422 || !strings.Contains(w.Body.String(), "shorten") {
		t.Errorf("%d %.200s", w.Code, w.Body)
	}
	if _, err := os.Stat(filepath.Join(dir, record.VisitFile)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("what was refused left a file: %v", err)
	}
	if w := put(visitLimit-100, noFile); w.Code != 200 {
		t.Errorf("%d %.200s", w.Code, w.Body)
	}
	if w := ask(s, "GET", "/api/visit?visit=.", nil, nil); w.Code != 200 || strings.Contains(w.Body.String(), `"error"`) {
		t.Errorf("what was taken does not open: %d %.200s", w.Code, w.Body)
	}
}

// A practitioner grades a forehand on the drawing: a spot, a grade, the next spot
// comes by itself; what the horse did, the range of motion and a reading with a
// comma go into the record.
func TestGradingOnTheDrawing(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, d := range []string{"2026-02-02", "2026-02-02-2", "2026-03-02", "2026-03-30"} {
		if err := os.MkdirAll(filepath.Join(dir, "horses", "bramble", d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	visit := filepath.Join(dir, "horses", "bramble", "2026-03-02")
	// Words of the file's own, and a sign that the page uses inside, stay as they are.
	const own = "[[palpation]]\nregion = \"old | scar\"\nside = \"left\"\nsoreness = 1\nbehaviour = \"sighs, ears back\"\n"
	if err := os.WriteFile(filepath.Join(visit, record.VisitFile), []byte(own), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "visit", visitFolder)
	asked := func(region, side string) {
		t.Helper()
		b.Wait(fmt.Sprintf(`document.querySelector('.grader .what')?.textContent.includes(%q)`, region+", horse’s "+side))
	}
	asked("withers", "left")
	b.Shoot("begin")
	b.Accessible()
	b.Click("#grade-0")
	asked("trapezius", "left")
	b.Click("#felt-skip")
	asked("shoulder blade, front", "left")
	// With the keyboard: digits grade, arrows go on and back.
	b.Do(chromedp.KeyEvent("2"))
	asked("shoulder blade, rear", "left")
	b.Do(chromedp.KeyEvent(kb.ArrowLeft))
	asked("shoulder blade, front", "left")
	b.Do(chromedp.KeyEvent(kb.ArrowRight))
	b.Do(chromedp.KeyEvent("3"))
	asked("behind the shoulder blade", "left")
	b.Script(`[...document.querySelectorAll('.after .chip')].find((c) => c.textContent === 'ears back').click()`)
	b.Script(`[...document.querySelectorAll('.after .chip')].find((c) => c.textContent === 'moves away').click()`)
	b.Wait(`document.querySelectorAll('.after .chip[aria-pressed=true]').length === 2`)
	b.Click(`[aria-label="Shoulder and forehand, horse’s right"] [data-region="triceps"]`)
	asked("triceps", "right")
	b.Click("#grade-4")
	b.Click(`.motion [data-motion="moved:fore|left|forward|1|less"]`)
	b.Click(`.motion [data-motion="moved:fore|right|across|1|refused"]`)
	b.Click(`.motion [data-motion="moved:hind|left|back|1|free"]`)
	b.Click(`.motion [data-motion="moved:hind|left|back|1|free"]`) // Taken back.
	b.typeInto(`[data-note="triceps|right|1"]`, "kicked")
	b.Fill(`[id="pressure-felt:triceps|right|1"]`, "42,5")
	want := []record.Palpation{
		{Region: "old | scar", Side: traj.Left, Soreness: 1, Behaviour: "sighs, ears back"},
		{Region: "withers", Side: traj.Left},
		{Region: "shoulder blade, front", Side: traj.Left, Soreness: 2},
		{Region: "shoulder blade, rear", Side: traj.Left, Soreness: 3, Behaviour: "ears back, moves away"},
		{Region: "triceps", Side: traj.Right, Soreness: 4, Pressure: 42.5, PressureUnit: "N", Note: "kicked"},
	}
	moved := []record.Motion{{Limb: "fore", Side: traj.Left, Direction: "forward", Ease: "less"}, {Limb: "fore", Side: traj.Right, Direction: "across", Ease: "refused"}}
	v := b.visitOnDisk(visit, func(v *record.Visit) bool {
		return slices.Equal(v.Palpation, want) && slices.Equal(v.Motion, moved)
	})
	if data, err := os.ReadFile(filepath.Join(visit, record.VisitFile)); err != nil || !strings.HasPrefix(string(data), own) {
		t.Errorf("what was there before was changed: %v\n%s", err, data)
	}
	if len(v.Palpation) != 5 {
		t.Error("more was written than felt")
	}
	b.Shoot("graded")
	b.Accessible()
	b.Fits()
	b.Do(chromedp.Reload())
	b.Wait(`document.querySelectorAll('.found').length === 4 && document.querySelectorAll('.ease[aria-pressed=true]').length === 2`)
	// The visit before is the second one of its day.
	if got := s.visitWays(visitFolder).Before; got != "2026-02-02-2" {
		t.Errorf("the visit before is %q", got)
	}
	b.Silent()
}

// Spots are as large as a finger (44 px, WCAG 2.2, 2.5.5) on a phone, a tablet and
// a screen, touch each other nowhere, and are all told by name.
func TestSpotsAreAsLargeAsAFinger(t *testing.T) {
	t.Parallel()
	dir, visit := yard(t, "")
	s := serve(t, dir, nil)
	b := openBrowser(t, 375, 740, true)
	b.open(s, "visit", visitFolder)
	for _, screen := range []struct {
		name          string
		width, height int64
	}{{"phone", 375, 740}, {"tablet", 820, 1180}, {"screen", 1366, 768}, {"200-percent", 683, 384}} {
		b.Do(chromedp.EmulateViewport(screen.width, screen.height, chromedp.EmulateTouch))
		b.Do(chromedp.Reload())
		b.Wait(`document.querySelector('.spot') !== null`)
		if at := eval[[]float64](b, `['left', 'right'].flatMap((s) => { const r = document.querySelector('#side-' + s).getBoundingClientRect(); return [r.left, r.top]; })`); at[0] >= at[2] || at[1] != at[3] {
			t.Errorf("%s: the sides are chosen at %v, not left before right", screen.name, at)
		}
		for part := range 4 {
			b.Click(fmt.Sprintf(".parts button:nth-child(%d)", part+1))
			for _, w := range eval[[]string](b, `(() => { const wrong = [];
				for (const svg of document.querySelectorAll('.silhouette')) { if (svg.getClientRects().length === 0) continue;
					const all = [...svg.querySelectorAll('.spot')].map((s) => [s.getAttribute('aria-label'), s.querySelector('circle').getBoundingClientRect(), s]);
					const box = svg.getBoundingClientRect();
					if (box.right > svg.parentElement.getBoundingClientRect().right + 1) wrong.push('the drawing is cut off');
					all.forEach(([name, r], i) => {
						if (r.width < 44 || r.height < 44) wrong.push(name + ' is ' + r.width + ' px wide');
						if (r.left < box.left || r.right > box.right || r.top < box.top || r.bottom > box.bottom) wrong.push(name + ' is cut off');
						for (const [other, q] of all.slice(i + 1)) if (Math.hypot(r.x - q.x, r.y - q.y) < r.width) wrong.push(name + ' touches ' + other);
					}); }
				return wrong; })()`) {
				t.Errorf("%s: %s", screen.name, w)
			}
			b.Shoot(fmt.Sprintf("%s-part-%d", screen.name, part+1))
		}
		b.Fits()
		b.Accessible()
	}
	// By touch alone.
	b.Do(chromedp.EmulateViewport(375, 740, chromedp.EmulateMobile, chromedp.EmulateTouch))
	b.Do(chromedp.Reload())
	b.Wait(`document.querySelector('.flank.chosen .spot') !== null`)
	b.tap("#side-right")
	b.Wait(`document.querySelector('.grader .what').textContent.includes('horse’s right')`)
	b.tap(`.flank.chosen [data-region="point of shoulder"] circle`)
	b.Wait(`document.querySelector('.grader .what').textContent.includes('point of shoulder, horse’s right')`)
	b.tap("#grade-2")
	b.visitOnDisk(visit, func(v *record.Visit) bool {
		return len(v.Palpation) == 1 && v.Palpation[0] == record.Palpation{Region: "point of shoulder", Side: traj.Right, Soreness: 2}
	})
	b.Shoot("touched")
	b.Silent()
}

// The visit's page, the second look and the phones' page in the dark, on a screen and
// on a narrow phone.
func TestLooksInTheDark(t *testing.T) {
	t.Parallel()
	clip, truth := renderedClip(t)
	dir, visit := yard(t, clip, "toward-1.mp4")
	if err := os.WriteFile(filepath.Join(visit, record.VisitFile), []byte("[[palpation]]\nregion = \"triceps\"\nside = \"left\"\nsoreness = 3\nbehaviour = \"ears back\"\n[[palpation]]\nregion = \"girth\"\nside = \"left\"\nsoreness = 1\n[[palpation]]\nregion = \"withers\"\nside = \"left\"\nsoreness = 0\n[[motion]]\nlimb = \"fore\"\nside = \"left\"\ndirection = \"forward\"\nease = \"less\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	marks := record.MarksPath(filepath.Join(visit, "toward-1.mp4"))
	if err := os.WriteFile(marks, []byte(marksBody(960, 540)), 0o644); err != nil {
		t.Fatal(err)
	}
	m := &pretendMeasurer{frames: len(truth.Times)}
	if err := m.Measure(t.Context(), filepath.Join(visit, "toward-1.mp4"), func(Progress) {}); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, m)
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('h1') !== null`)
	b.dark()
	for _, screen := range []struct {
		name          string
		width, height int64
	}{{"dark", 1366, 768}, {"dark-phone", 375, 740}} {
		b.Do(chromedp.EmulateViewport(screen.width, screen.height))
		for _, v := range []struct{ view, rel, ready string }{
			{"visit", visitFolder, `document.querySelectorAll('.found').length === 2`},
			{"look", visitFolder + "/toward-1.mp4", `document.querySelector('.strip') !== null && document.querySelector('#best-advice') !== null`},
			{"phones", "", `document.querySelector('.command') !== null`},
		} {
			b.view(v.view, v.rel)
			b.Wait(v.ready)
			b.Fits()
			b.Accessible()
			b.Shoot(v.view + "-" + screen.name)
		}
	}
	b.Silent()
}

// comparing makes comparisons and histories.
type comparing struct {
	summing
	asked []string
}

func (c *comparing) Compare(_ context.Context, before, after string) error {
	c.asked = append(c.asked, filepath.Base(before)+" with "+filepath.Base(after))
	return c.write(filepath.Join(after, "compared-with-"+filepath.Base(before)+".out"))
}

func (c *comparing) History(_ context.Context, horse string) error {
	c.asked = append(c.asked, "history of "+filepath.Base(horse))
	return c.write(filepath.Join(horse, "history.out"))
}

func (*comparing) write(out string) error {
	return errors.Join(os.MkdirAll(out, 0o755), os.WriteFile(filepath.Join(out, "report.html"), []byte("<h1>Page</h1>"), 0o644))
}

// The visit's page links to the pages about it, and has those made that are not
// there yet; nothing is made outside the yard or of what is no visit.
func TestPagesAboutAVisit(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, name := range []string{"horses/bramble/2026-03-02/toward-1.out/report.html", "horses/bramble/2026-03-30/away-1.out/report.html", "horses/bramble/notes/x.txt", "loose/a.mp4"} {
		if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, clip := range []string{"2026-03-02/toward-1.mp4", "2026-03-30/away-1.mp4", "2026-03-30/away-2.mov"} {
		if err := os.WriteFile(filepath.Join(dir, "horses", "bramble", clip), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	m := &comparing{}
	s, err := Listen(Options{Folder: dir, Measurer: m})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	const later = "horses/bramble/2026-03-30"
	want := visitWays{Clips: 2, Measured: 1, Report: later + "/visit.out/report.html", Before: "2026-03-02", Makes: true}
	if got := s.visitWays(later); got != want {
		t.Errorf("before: %+v", got)
	}
	for what, wants := range map[string]int{"comparison": 200, "history": 200, "something": 404, "": 404} {
		if w := ask(s, "POST", "/api/visit/make?visit="+later+"&what="+what, nil, nil); w.Code != wants {
			t.Errorf("%q: %d %s", what, w.Code, w.Body)
		}
	}
	want.Comparison, want.History = later+"/compared-with-2026-03-02.out/report.html", "horses/bramble/history.out/report.html"
	if got := s.visitWays(later); got != want {
		t.Errorf("after: %+v", got)
	}
	for _, page := range []string{want.Comparison, want.History} {
		if w := ask(s, "GET", "/results/"+page, nil, nil); w.Code != 200 {
			t.Errorf("%s: %d", page, w.Code)
		}
	}
	for _, visit := range []string{"horses/bramble/2026-03-02", "loose", "..", "../x", "horses", "missing", later + "/away-1.out"} {
		if w := ask(s, "POST", "/api/visit/make?what=comparison&visit="+url.QueryEscape(visit), nil, nil); w.Code != 404 {
			t.Errorf("compare %q: %d %s", visit, w.Code, w.Body)
		}
	}
	for _, visit := range []string{"loose", ".."} {
		if w := ask(s, "POST", "/api/visit/make?what=history&visit="+url.QueryEscape(visit), nil, nil); w.Code != 404 {
			t.Errorf("history %q: %d %s", visit, w.Code, w.Body)
		}
	}
	slices.Sort(m.asked)
	if got := strings.Join(m.asked, "; "); got != "2026-03-02 with 2026-03-30; history of bramble" {
		t.Errorf("made: %s", got)
	}
}

// The program is stopped while the record is typed: the browser keeps every
// letter, the list says so, and it is saved once the program is back.
func TestTypedWhileTheProgramIsAway(t *testing.T) {
	t.Parallel()
	dir, visit := yard(t, "")
	s, stop := serveAt(t, dir, "", nil)
	address := s.Address()
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "visit", visitFolder)
	b.typeInto("#visit-reason", "short")
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.Reason == "short" })
	stop()
	b.typeInto("#visit-reason", " in front")
	b.Click("#grade-2")
	b.Wait(`document.querySelector('#saved').textContent.includes('kept in this browser')`)
	again, stopAgain := serveAt(t, dir, address, nil)
	defer stopAgain()
	b.Do(chromedp.Navigate(again.URL()))
	b.Wait(`document.querySelector('.notice.warn a')?.textContent === '` + visitFolder + `'`)
	b.Click(".notice.warn a")
	b.visitOnDisk(visit, func(v *record.Visit) bool {
		return v.Reason == "short in front" && len(v.Palpation) == 1 && v.Palpation[0].Soreness == 2
	})
	b.silentBut("net::ERR_", "Failed to load resource")
}

// What must wait for a veterinarian is told where it is entered, and the hand is led away
// from a spot that is not to be touched or at which the horse threatens: only the person
// goes on. The hand begins on the side that is not sore.
func TestThePageWarnsAndStopsTheHand(t *testing.T) {
	t.Parallel()
	dir, visit := yard(t, "")
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "visit", visitFolder)
	asked := func(region, side string) {
		t.Helper()
		b.Wait(fmt.Sprintf(`document.querySelector('.grader .what')?.textContent.includes(%q)`, region+", horse’s "+side))
	}
	says := func(selector, text string) {
		t.Helper()
		b.Wait(fmt.Sprintf(`(document.querySelector(%q)?.textContent ?? '') === %q`, selector, text))
	}
	asked("withers", "left")
	b.Choose(`[name=sore][value=left]`)
	asked("withers", "right")
	b.Choose(`[name=sore][value=right]`)
	asked("withers", "left")
	b.Click("#grade-1")
	asked("trapezius", "left")

	b.Click("#grade-4")
	says("#felt-stop", "Stop here. Step away to the shoulder, out of reach of the hind legs."+record.NoTreatment)
	says("#warn-treatment", "Felt as not to be touched: trapezius, left. "+record.NoTreatment)
	asked("trapezius", "left")
	b.Do(chromedp.KeyEvent("1")) // A digit for the spot that would have come grades none.
	b.Script(`document.querySelector('#grade-0')?.click()`)
	b.Shoot("stopped")
	b.Accessible()
	b.Click("#felt-on")
	asked("shoulder blade, front", "left")
	b.Wait(`document.querySelector('#felt-stop') === null`)

	b.Click("#grade-2")
	asked("shoulder blade, rear", "left")
	b.Script(`[...document.querySelectorAll('.after .chip')].find((c) => c.textContent === 'threatens to kick').click()`)
	asked("shoulder blade, front", "left")
	says("#felt-stop", "Stop here. Step away to the shoulder, out of reach of the hind legs.")
	b.Click("#felt-on")
	asked("shoulder blade, rear", "left")

	says("#warn-motion", "")
	b.Click(`.motion [data-motion="moved:fore|right|across|1|less"]`)
	says("#warn-motion", "")
	b.Click(`.motion [data-motion="moved:fore|right|across|1|refused"]`)
	says("#warn-motion", record.NoTrot)
	for grade, want := range map[int]string{3: "", 4: record.NoTrot, 5: record.NoTrot} {
		b.Script(fmt.Sprintf(`{ const e = document.querySelector('#visit-aaep'); e.value = '%d'; e.onchange({ target: e }); }`, grade))
		says("#warn-grade", want)
	}
	b.visitOnDisk(visit, func(v *record.Visit) bool {
		return v.AAEPGrade != nil && *v.AAEPGrade >= 3 && len(v.Motion) == 1 && slices.Equal(v.Palpation, []record.Palpation{
			{Region: "withers", Side: traj.Left, Soreness: 1}, {Region: "trapezius", Side: traj.Left, Soreness: 4},
			{Region: "shoulder blade, front", Side: traj.Left, Soreness: 2, Behaviour: "threatens to kick"},
		})
	})
	if !eval[bool](b, `document.querySelector('#v-done').parentElement.textContent.includes('a limb that will not bear weight')`) {
		t.Error("nothing says when not to treat")
	}
	b.Fits()
	b.Accessible()
	b.Do(chromedp.EmulateViewport(390, 844))
	b.Fits()
	b.Shoot("warned-390")
	b.Silent()
}

// A date before the visit is told and not taken; the ground is called as at earlier visits,
// and another word is asked about; the measures that are followed most stand first, in
// plain words.
func TestTheVisitIsHeldAgainstThoseBefore(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	horse := filepath.Join(dir, "horses", "bramble")
	for day, page := range map[string]string{
		"2026-01-10": "surface = \"school, sand\"\n", "2026-02-06": "surface = \"gravel\"\n", "2026-02-06-2": "reason = \"none\"\n", "2026-02-20": "surface = ", "2026-04-01": "surface = \"beach\"\n",
		"2026-03-02": "next_check = \"2026-02-28\"\n",
	} {
		if err := os.MkdirAll(filepath.Join(horse, day), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(horse, day, record.VisitFile), []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	visit := filepath.Join(horse, "2026-03-02")
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	b.open(s, "visit", visitFolder)
	const early = "This date is before the visit: it does not count."
	b.Wait(`document.querySelector('#next-told')?.value === '` + early + `'`)
	date := func(to string) {
		t.Helper()
		b.Script(fmt.Sprintf(`{ const e = document.querySelector('#visit-next_check'); e.value = %q; e.dispatchEvent(new Event('input', { bubbles: true })); }`, to))
	}
	date("2026-03-30")
	b.Wait(`document.querySelector('#next-told').value === ''`)
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.NextCheck == "2026-03-30" })
	date("2025-03-30")
	b.Wait(`document.querySelector('#next-told').value === '` + early + `'`)
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.NextCheck == "" })

	if got := eval[string](b, `[...document.querySelectorAll('#surfaces option')].slice(0, 3).map((o) => o.value).join('; ')`); got != "gravel; school, sand; concrete" {
		t.Errorf("the ground is called %s", got)
	}
	b.typeInto("#visit-surface", "firm gravel lane")
	b.Wait(`document.querySelector('#surface-told').value === 'Other ground than on 6 February? It was “gravel”.'`)
	b.Shoot("asked")
	b.Accessible()
	b.Fill("#visit-surface", "gravel")
	b.Wait(`document.querySelector('#surface-told').value === ''`)
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.Surface == "gravel" })

	if got := eval[string](b, `[...document.querySelectorAll('#visit-followed optgroup')].map((g) => g.label + ' ' + [...g.children].slice(0, 4).map((o) => o.value).join(' ')).join('; ')`); !strings.HasPrefix(got, "usual head_low_difference step_length_fore step_length_hind croup_low_difference; others stride_duration") {
		t.Errorf("measures to follow: %s", got)
	}
	if got, want := eval[int](b, `document.querySelectorAll('#visit-followed optgroup option').length`), len(metrics.Definitions()); got != want {
		t.Errorf("%d measures to follow of %d", got, want)
	}
	b.Silent()
}
