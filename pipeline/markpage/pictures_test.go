package markpage

import (
	"bytes"
	"context"
	"fmt"
	"image/jpeg"
	"math/rand/v2"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"go.uber.org/goleak"

	"jogstrip/pipeline/clip"
)

func probed(t testing.TB, path string) *clip.Info {
	t.Helper()
	info, err := clip.Probe(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

func TestPicturesAreThoseAskedFor(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	path := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, path, "960x540", "30", "100")
	info := probed(t, path)
	if f, _ := formOf(info, sizeStep); f.together >= 100 {
		t.Fatalf("the whole clip is one run of %d pictures", f.together)
	}
	ctx, cancel := context.WithCancel(context.Background())
	p := newPictures(ctx, 4<<20)
	defer p.wait()
	defer cancel()
	// Runs are decoded from their own first frame; every picture must be the one
	// that decoding the clip from its beginning gives at that place.
	want := make(map[int][]byte)
	if err := clip.Pictures(ctx, info, 0, 99, clip.PictureOptions{Quality: forms[sizeStep].quality}, func(i int, b []byte) error {
		want[i] = b
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 1))
	var wg sync.WaitGroup
	for range 4 {
		frames := r.Perm(100)[:25]
		wg.Go(func() {
			for _, f := range frames {
				got, err := p.get(ctx, info, "s", f, sizeStep)
				if err != nil {
					t.Errorf("frame %d: %v", f, err)
					return
				}
				if !bytes.Equal(got, want[f]) {
					t.Errorf("frame %d is another picture", f)
				}
			}
		})
	}
	wg.Wait()
	for _, f := range []int{-1, 100} {
		if _, err := p.get(ctx, info, "s", f, sizeStep); err == nil {
			t.Errorf("frame %d: no error", f)
		}
	}
	if _, err := p.get(ctx, info, "s", 0, "huge"); err == nil {
		t.Error("unknown size: no error")
	}
}

func TestPicturesStayWithinTheirMemory(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, path, "1280x720", "30", "128")
	info := probed(t, path)
	ctx, cancel := context.WithCancel(context.Background())
	const limit = 4 << 20
	p := newPictures(ctx, limit)
	for f := range info.Times {
		if _, err := p.get(ctx, info, "s", f, sizeStep); err != nil {
			t.Fatal(err)
		}
	}
	cancel()
	p.wait()
	var held int64
	for _, r := range p.runs {
		for _, b := range r.frames {
			held += int64(len(b))
		}
	}
	if held != p.used {
		t.Errorf("%d bytes are held, %d are counted", held, p.used)
	}
	// More may be held only while it is decoded.
	if held > limit || held == 0 {
		t.Errorf("%d bytes are held with a bound of %d", held, limit)
	}
}

func TestPicturesFitTheSize(t *testing.T) {
	for _, tt := range []struct {
		size          string
		sz            size
		width, height int
	}{
		{"640x360", sizeThumb, 320, 180}, {"360x640", sizeThumb, 180, 320}, {"640x360", sizeStep, 640, 360}, {"2560x1440", sizeStep, 1920, 1080}, {"2560x1440", sizeFull, 2560, 1440},
	} {
		t.Run(tt.size+" "+string(tt.sz), func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "a.mp4")
			plainClip(t, path, tt.size, "10", "2")
			ctx, cancel := context.WithCancel(context.Background())
			p := newPictures(ctx, 1<<20)
			defer p.wait()
			defer cancel()
			b, err := p.get(ctx, probed(t, path), "s", 1, tt.sz)
			if err != nil {
				t.Fatal(err)
			}
			c, err := jpeg.DecodeConfig(bytes.NewReader(b))
			if err != nil || c.Width != tt.width || c.Height != tt.height {
				t.Errorf("%d × %d, %v; want %d × %d", c.Width, c.Height, err, tt.width, tt.height)
			}
		})
	}
}

func TestABrokenClipShowsWhatItHas(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a.mkv")
	plainClip(t, path, "320x180", "30", "60")
	info := probed(t, path)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data[:len(data)*2/3], 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	p := newPictures(ctx, 8<<20)
	defer p.wait()
	defer cancel()
	if _, err := p.get(ctx, info, "s", 3, sizeStep); err != nil {
		t.Errorf("a frame before the break: %v", err)
	}
	if _, err := p.get(ctx, info, "s", 59, sizeStep); err == nil {
		t.Error("a frame behind the break: no error")
	}
}

// quantiles reports the times in ms.
func quantiles(b *testing.B, took []time.Duration) {
	slices.Sort(took)
	ms := func(q float64) float64 { return float64(took[int(q*float64(len(took)-1))].Microseconds()) / 1000 }
	b.ReportMetric(ms(0.5), "p50-ms")
	b.ReportMetric(ms(0.95), "p95-ms")
	b.ReportMetric(ms(1), "worst-ms")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkFrameStep steps through a 1080p clip at 12 frames a second, forward,
// back and forward again, and reports how long the server takes to answer.
func BenchmarkFrameStep(b *testing.B) {
	dir := b.TempDir()
	plainClip(b, filepath.Join(dir, "a.mp4"), "1920x1080", "60", "300")
	s := listenOn(b, dir)
	var took []time.Duration
	step := func(f int) {
		began := time.Now()
		if w := ask(s, "GET", fmt.Sprintf("/picture?clip=a.mp4&size=step&frame=%d", f), nil, nil); w.Code != 200 {
			b.Fatal(w.Body)
		}
		took = append(took, time.Since(began))
		time.Sleep(max(0, 83*time.Millisecond-time.Since(began)))
	}
	for b.Loop() {
		ask(s, "GET", "/picture?clip=a.mp4&size=step&frame=150", nil, nil)
		time.Sleep(2 * time.Second) // A person looks at the first picture.
		for f := 151; f < 250; f++ {
			step(f)
		}
		for f := 250; f > 60; f-- {
			step(f)
		}
	}
	quantiles(b, took)
}

// BenchmarkFrameStepInBrowser is the same through the page: from the key to the
// decoded picture on the screen. It ends in the frame in which it began.
func BenchmarkFrameStepInBrowser(b *testing.B) {
	dir := b.TempDir()
	plainClip(b, filepath.Join(dir, "a.mp4"), "1920x1080", "60", "300")
	s, stop := serveAt(b, dir, "", nil)
	defer stop()
	w := openBrowser(b, 1440, 900, false)
	w.Do(chromedp.Navigate(s.URL()))
	w.Script(`location.hash = '#/mark/` + url.PathEscape("a.mp4") + `'`)
	w.Wait(`document.querySelector('canvas.picture')?.dataset.frame !== undefined`)
	var took []time.Duration
	for b.Loop() {
		time.Sleep(2 * time.Second)
		times := eval[[]float64](w, `(async () => {
			const c = document.querySelector('canvas.picture'), out = [];
			const sleep = (ms) => new Promise((r) => setTimeout(r, ms));
			for (const [key, n] of [['.', 90], [',', 150], ['.', 60]]) {
				for (let i = 0; i < n; i += 1) {
					const next = String(Number(c.dataset.frame) + (key === '.' ? 1 : -1));
					const began = performance.now();
					document.body.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true}));
					while (c.dataset.frame !== next) await sleep(1);
					out.push(performance.now() - began);
					await sleep(Math.max(0, 83 - (performance.now() - began)));
				}
			}
			return out; })()`)
		for _, t := range times {
			took = append(took, time.Duration(t*1e6))
		}
	}
	quantiles(b, took)
}

// plainPictures returns a plain clip of so many frames, 30 a second, and a store for its
// pictures that ends with the test.
func plainPictures(t *testing.T, size, frames string) (*clip.Info, *pictures) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.mp4")
	plainClip(t, path, size, "30", frames)
	info := probed(t, path)
	ctx, cancel := context.WithCancel(context.Background())
	p := newPictures(ctx, 8<<20)
	t.Cleanup(p.wait)
	t.Cleanup(cancel) // First.
	return info, p
}

// While somebody waits for a picture, what is decoded ahead stands still; then it goes on.
func TestDecodingAheadMakesRoom(t *testing.T) {
	info, p := plainPictures(t, "640x360", "100")
	p.waiting++ // Somebody waits for something else.
	p.prepare(info, "s", 0, sizePlay)
	made := func() int {
		p.mu.Lock()
		defer p.mu.Unlock()
		return len(p.runs[runKey{path: info.Path, stamp: "s", size: sizePlay}].frames)
	}
	for began := time.Now(); made() == 0 && time.Since(began) < time.Minute; {
		time.Sleep(5 * time.Millisecond)
	}
	time.Sleep(300 * time.Millisecond)
	if n := made(); n != 1 {
		t.Errorf("%d pictures were made ahead while somebody waited", n)
	}
	p.mu.Lock()
	p.waiting--
	close(p.calm)
	p.calm = make(chan struct{})
	p.mu.Unlock()
	if _, err := p.get(t.Context(), info, "s", 99, sizePlay); err != nil || made() != 100 {
		t.Errorf("%d pictures, %v", made(), err)
	}
}

// A run that somebody waited for who has jumped elsewhere since is given up.
func TestWhatNobodyWaitsForAnyMoreIsGivenUp(t *testing.T) {
	info, p := plainPictures(t, "1920x1080", "200")
	f, _ := formOf(info, sizeStep)
	key := runKey{path: info.Path, stamp: "s", size: sizeStep, number: 1}
	r := p.want(info, key, f, true)
	p.giveUpFar(runKey{path: info.Path, stamp: "s", size: sizeStep, number: 9})
	if p.runs[key] != r {
		t.Error("it is given up while somebody waits for it")
	}
	p.mu.Lock()
	r.waiting--
	p.mu.Unlock()
	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, err := p.from(gone, info, key, f.together+5, f, false); err == nil {
		t.Log("it was there at once")
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.runs[key] != nil && !r.ended {
		t.Error("it is decoded although nobody waits for it")
	}
}

// What is wanted next comes with its run; only what is waited for is decoded by itself.
func TestFramesBesideComeWithTheirRun(t *testing.T) {
	info, p := plainPictures(t, "1920x1080", "48")
	if _, err := p.get(t.Context(), info, "s", 25, sizeStep); err != nil {
		t.Fatal(err)
	}
	for _, frame := range []int{26, 24, 27, 23, 31} {
		if _, err := p.beside(t.Context(), info, "s", frame, sizeStep); err != nil {
			t.Fatal(err)
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	for k := range p.runs {
		if k.alone && k.number != 25 {
			t.Errorf("frame %d is decoded by itself", k.number)
		}
	}
}

// So is a single picture, wherever it is in the clip: whoever steps on asks for the next
// one. One that is made ready, and was never waited for, stays.
func TestASinglePictureIsGivenUpWithItsWait(t *testing.T) {
	info, p := plainPictures(t, "1920x1080", "40")
	f, _ := formOf(info, sizeStep)
	single := func(frame int) runKey {
		return runKey{path: info.Path, stamp: "s", size: sizeStep, number: frame, alone: true}
	}
	p.giveUpFar(runKey{path: info.Path, stamp: "s", size: sizeStep, number: 1})
	gone, leave := context.WithCancel(t.Context())
	leave()
	if _, err := p.from(gone, info, single(30), 30, f, false); err == nil {
		t.Fatal("a picture came that nobody waited for")
	}
	ready := p.want(info, single(39), f, false)
	p.giveUpFar(runKey{path: info.Path, stamp: "s", size: sizeStep, number: 1})
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.runs[single(30)] != nil {
		t.Error("it is decoded although nobody waits for it")
	}
	if p.runs[single(39)] != ready {
		t.Error("one that was made ready is given up")
	}
}
