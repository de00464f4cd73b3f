package markpage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report/stepping"
)

// What can't be read is said in the list, in words, and what to do; the reason
// as FFmpeg tells it is kept for those who ask.
func TestUnreadableClipsAreToldFromNewOnes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	plainClip(t, filepath.Join(dir, "good.mp4"), "64x64", "10", "4")
	whole, err := os.ReadFile(filepath.Join(dir, "good.mp4"))
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string]string{"empty.mp4": "", "words.mov": "no film at all", "cut.mp4": string(whole[:len(whole)/2])} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s := listenOn(t, dir)
	var list struct {
		Clips   []listedClip
		Looking bool
	}
	for {
		if err := json.Unmarshal(ask(s, "GET", "/api/clips", nil, nil).Body.Bytes(), &list); err != nil {
			t.Fatal(err)
		}
		if !list.Looking {
			break
		}
	}
	for _, c := range list.Clips {
		want := "copy"
		if c.Name == "good.mp4" {
			want = "marks, calibration"
		}
		if got := strings.Join(c.Needs, ", "); got != want {
			t.Errorf("%s needs %q, want %q", c.Name, got, want)
		}
		if want == "copy" && (!strings.HasPrefix(c.Error, "This clip can’t be read: ") || strings.Contains(c.Error, "moov")) {
			t.Errorf("%s: the list says %q", c.Name, c.Error)
		}
	}
	var refusal struct {
		Error, Detail string
		Unreadable    bool
	}
	w := ask(s, "GET", "/api/clip?clip=empty.mp4", nil, nil)
	if err := json.Unmarshal(w.Body.Bytes(), &refusal); err != nil || w.Code != 422 || !refusal.Unreadable || !strings.Contains(refusal.Error, "the file is empty") || strings.Contains(w.Body.String(), dir) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
}

// A full disk is told in words and with the status on which the page tries again.
func TestAFullDiskIsSaidAndTriedAgain(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir())
	for _, tt := range []struct {
		err    error
		status int
		words  string
	}{
		{fmt.Errorf("write a: %w", &os.PathError{Op: "write", Path: "/x", Err: syscall.ENOSPC}), 507, "the disk is full"},
		{fmt.Errorf("write a: %w", syscall.EDQUOT), 507, "the disk is full"},
		{fmt.Errorf("write a: %w", syscall.EROFS), 403, "can only be read"},
	} {
		w := httptest.NewRecorder()
		s.failed(w, httptest.NewRequest("PUT", "/api/marks", nil), tt.err)
		if w.Code != tt.status || !strings.Contains(w.Body.String(), tt.words) || strings.Contains(w.Body.String(), "/x") {
			t.Errorf("%v: %d %s", tt.err, w.Code, w.Body)
		}
	}
}

// Results behind a link that leads out of the folder are not read.
func TestResultsOutsideAreNotRead(t *testing.T) {
	t.Parallel()
	outside, dir := t.TempDir(), t.TempDir()
	for _, name := range []string{record.ResultFile, "signals.csv"} {
		if err := os.WriteFile(filepath.Join(outside, name), []byte("{}"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	plainClip(t, filepath.Join(dir, "a.mp4"), "64x64", "10", "4")
	for _, name := range []string{"b.mp4", "c.mp4"} {
		copyFile(t, filepath.Join(dir, "a.mp4"), filepath.Join(dir, name))
	}
	if err := os.Symlink(outside, filepath.Join(dir, "a.out")); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "b.out"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(outside, record.ResultFile), filepath.Join(dir, "b.out", record.ResultFile)); err != nil {
		t.Fatal(err)
	}
	asked := new(lookedAt)
	s, err := Listen(Options{Folder: dir, Measurer: asked})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	for name, want := range map[string]int{"a.mp4": 422, "b.mp4": 422, "c.mp4": 200} {
		if w := ask(s, "GET", "/api/look?clip="+name, nil, nil); w.Code != want || strings.Contains(w.Body.String(), outside) {
			t.Errorf("%s: %d %s", name, w.Code, w.Body)
		}
	}
	if w := ask(s, "GET", "/api/clips", nil, nil); w.Code != 200 || strings.Contains(w.Body.String(), outside) {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if n := asked.n.Load(); n != 3 { // Look and State of c.mp4, and its line in the list.
		t.Errorf("results were looked at %d times, want 3: those of the one clip whose are inside", n)
	}
}

// lookedAt counts how often results are asked for.
type lookedAt struct {
	pretendMeasurer
	n atomic.Int32
}

func (l *lookedAt) State(clip string) (State, error) {
	l.n.Add(1)
	return l.pretendMeasurer.State(clip)
}

func (l *lookedAt) Look(ctx context.Context, clip string) (*Look, error) {
	l.n.Add(1)
	return l.pretendMeasurer.Look(ctx, clip)
}

func TestStreamsOfProgressAreBounded(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir())
	for range mostStreams {
		s.streams <- struct{}{}
	}
	if w := ask(s, "GET", "/api/progress", nil, nil); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), "close some") {
		t.Errorf("stream number %d: %d %s", mostStreams+1, w.Code, w.Body)
	}
	<-s.streams
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if w := ask(s, "GET", "/api/progress", nil, func(r *http.Request) { *r = *r.WithContext(ctx) }); w.Code != 200 {
		t.Errorf("with room: %d %s", w.Code, w.Body)
	}
	if len(s.streams) != mostStreams-1 {
		t.Error("a stream that ended still counts")
	}
}

// The visit's page is made when it is asked for, so links to it hold before the
// batch has run.
func TestAVisitsPageIsMadeWhenAsked(t *testing.T) {
	t.Parallel()
	dir, _ := yard(t, "")
	s, err := Listen(Options{Folder: dir, Measurer: &summing{}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	for name, kind := range map[string]string{"report.html": "text/html; charset=utf-8", "report.pdf": "application/pdf"} {
		w := ask(s, "GET", "/results/"+visitFolder+"/visit.out/"+name, nil, nil)
		if w.Code != 200 || w.Header().Get("Content-Type") != kind {
			t.Errorf("%s: %d, %s", name, w.Code, w.Header().Get("Content-Type"))
		}
		if csp := w.Header().Get("Content-Security-Policy"); scriptsBut(csp, stepping.Source()) || !strings.Contains(csp, "default-src 'none'") {
			t.Errorf("%s: content-security policy %q", name, csp)
		}
	}
	if w := ask(s, "GET", "/results/horses/missing/visit.out/report.html", nil, nil); w.Code != 404 {
		t.Errorf("a visit that is not there: %d", w.Code)
	}
}

// summing makes visits' pages.
type summing struct{ pretendMeasurer }

func (*summing) SumUp(_ context.Context, folder string) error {
	out := filepath.Join(folder, "visit.out")
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	return errors.Join(os.WriteFile(filepath.Join(out, "report.html"), []byte("<h1>Visit</h1>"), 0o644), os.WriteFile(filepath.Join(out, "report.pdf"), []byte("%PDF-1.4"), 0o644))
}
