package report

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	movie "jogstrip/pipeline/clip"
	"jogstrip/pipeline/markpage/pagetest"
)

// TestStrideLeadsToTheFilm opens a comparison from the disk in Chromium: the page's own
// script runs, the film beside it loads, a stride chosen in the figure is gone to, and so
// is the next frame.
func TestStrideLeadsToTheFilm(t *testing.T) {
	pagetest.Need(t)
	dir := t.TempDir()
	film, err := movie.NewWriter(t.Context(), filepath.Join(dir, "before-after.mp4"), 64, 36, movie.WriterOptions{Rate: 30, Quality: 30, KeyEvery: 15})
	if err != nil {
		t.Fatal(err)
	}
	picture := movie.Planes{Width: 64, Height: 36, Y: make([]byte, 64*36), U: make([]byte, 64*9), V: make([]byte, 64*9)}
	for range 168 {
		if err := film.Write(picture); err != nil {
			t.Fatal(film.Close())
		}
	}
	if err := film.Close(); err != nil {
		t.Fatal(err)
	}
	var page strings.Builder
	if err := writePage(&page, comparison()); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(dir, "report.html")
	if err := os.WriteFile(name, []byte(page.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, end := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(pagetest.Path()), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-dev-shm-usage", true))...)
	defer end()
	ctx, endPage := chromedp.NewContext(ctx)
	defer endPage()
	ctx, endTime := context.WithTimeout(ctx, time.Minute)
	defer endTime()
	if _, err := chromedp.Run(ctx, chromedp.Navigate("file://"+name)); err != nil {
		t.Fatal(err)
	}
	// The film's four moments are of two views; a stride of either leads to its place.
	// The second stride begins at 1.4 s; half a frame later its first frame is in the middle
	// of its time. A frame on is 1/30 s more.
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(async () => {
  const video = document.querySelector('.film video');
  const seeked = () => new Promise((done) => video.addEventListener('seeked', done, { once: true }));
  if (video.readyState < 1) await new Promise((done) => { video.onloadedmetadata = done; video.onerror = done; });
  if (video.error) return video.error.message;
  video.play = () => Promise.resolve(); // Stays where it is put.
  const buttons = [...document.querySelectorAll('.controls button')];
  const step = async (act) => { const s = seeked(); act(); await s; return video.currentTime.toFixed(3); };
  if (video.seeking) await seeked();
  const parts = document.querySelectorAll('.moment');
  const stride = await step(() => parts[1].dispatchEvent(new MouseEvent('click')));
  const frame = await step(() => buttons[2].click());
  const before = await step(() => buttons[0].click());
  const other = await step(() => parts[2].dispatchEvent(new MouseEvent('click')));
  return [parts.length, stride, frame, before, other].join(' ');
})()`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	if want := "3 1.417 1.450 0.017 4.217"; got != want {
		t.Errorf("the page says %q, want %q", got, want)
	}
}
