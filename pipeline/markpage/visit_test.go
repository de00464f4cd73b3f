package markpage

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/record"
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
	b.shoot("failure")
	data, _ := os.ReadFile(filepath.Join(visit, record.VisitFile))
	b.Fatalf("after 3 s the visit's page says:\n%s", data)
	return nil
}

// typeInto types without leaving the field.
func (b *browser) typeInto(selector, text string) {
	b.Helper()
	b.click(selector)
	b.run(fmt.Sprintf(`const e = document.querySelector(%q); e.selectionStart = e.value.length`, selector))
	b.do(chromedp.KeyEvent(text))
}

// Whatever is typed is on disk while the cursor is still in its field, and there
// after a reload at once; going from field to field quickly loses no letter.
func TestTypedTextIsNeverOnlyOnTheScreen(t *testing.T) {
	dir := t.TempDir()
	visit := filepath.Join(dir, "horses", "bramble", "2026-03-02")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(visit, record.VisitFile), []byte("[[palpation]]\nregion = \"triceps\"\nside = \"left\"\nsoreness = 2\n[[treatment]]\nwhat = \"massage\"\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	open := func() {
		t.Helper()
		b.view("visit", visitFolder)
		b.wait(`document.querySelector('#treatment-0-note') !== null && document.querySelector('[data-note="triceps|left|1"]') !== null`)
	}
	b.do(chromedp.Navigate(s.URL()))
	b.wait(`document.querySelector('h1') !== null`)
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
	b.do(chromedp.Reload())
	open()
	if got := eval[string](b, `document.querySelector('#treatment-0-note').value`); got != "ten minutes a side, firm, cooled after" {
		t.Errorf("after a reload the note is %q", got)
	}
	b.visitOnDisk(visit, func(v *record.Visit) bool { return v.Treatment[0].Note == "ten minutes a side, firm, cooled after" })
	b.silent()
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
