//go:build study

package markpage

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// How fast pictures of a 1080p clip at 60 frames/s come, in a browser: the first
// one of a clip that was never opened, far jumps, a key that is held; and the
// memory that this process and the decoders it starts take at most. It prints
// what it finds; a machine that does other work at the same time is slower.
func TestPaceOfPictures(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "toward-1.mp4")
	if given := os.Getenv("JOGSTRIP_CLIP"); given != "" {
		copyFile(t, given, path)
	} else {
		plainClip(t, path, "1920x1080", "60", "600")
	}
	s := serve(t, dir, nil)
	b := openBrowser(t, 1366, 768, false)
	b.Do(chromedp.Navigate(s.URL()))
	b.Wait(`document.querySelector('.clip') !== null`)
	time.Sleep(3 * time.Second) // A person reads the list.

	var most atomic.Int64
	done := make(chan struct{})
	go func() {
		for {
			select {
			case <-done:
				return
			case <-time.After(100 * time.Millisecond):
				most.Store(max(most.Load(), residentKB()))
			}
		}
	}()
	before := residentKB()
	first := eval[float64](b, `(async () => { const began = performance.now(); location.hash = '#/mark/toward-1.mp4';
		while (document.querySelector('canvas.picture')?.dataset.frame === undefined) await new Promise((r) => setTimeout(r, 5));
		return performance.now() - began; })()`)
	t.Logf("first picture of a clip not opened before: %.0f ms", first)
	time.Sleep(6 * time.Second) // A person looks and reads.

	jumps := eval[[][]float64](b, `(async () => {
		const c = document.querySelector('canvas.picture'), s = document.querySelector('input[aria-label=Frame]'), out = [];
		const until = async (ready) => { const began = performance.now(); while (!ready() && performance.now() - began < 20000) await new Promise((r) => setTimeout(r, 4)); return performance.now() - began; };
		let seed = 7;
		for (let i = 0; i < 24; i += 1) {
			seed = (seed * 1103515245 + 12345) % 2147483648;
			const f = String(seed % (Number(s.max) + 1));
			const began = performance.now();
			s.value = f; s.dispatchEvent(new Event('input')); s.dispatchEvent(new Event('change'));
			const seen = await until(() => c.dataset.shown === f);
			const full = seen + await until(() => c.dataset.frame === f);
			const asked = performance.getEntriesByType('resource').filter((e) => e.name.includes('size=step') && new URL(e.name).searchParams.get('frame') === f && e.responseEnd > began);
			const e = asked.at(-1);
			out.push([seen, full, e ? e.startTime - began : 0, e ? e.responseStart - e.startTime : 0, e ? began + full - e.responseEnd : full]);
			performance.clearResourceTimings();
			await new Promise((r) => setTimeout(r, 700));
		}
		return out; })()`)
	for i, what := range []string{"seen", "seen in full, to be clicked on", "of that until it is asked for", "until the program answers", "from there to the screen"} {
		var all []float64
		for _, j := range jumps {
			all = append(all, j[i])
		}
		slices.Sort(all)
		t.Logf("far jump, %s: median %.0f ms, slowest %.0f ms", what, all[len(all)/2], all[len(all)-1])
	}

	held := eval[[]float64](b, `(async () => {
		const c = document.querySelector('canvas.picture');
		document.body.dispatchEvent(new KeyboardEvent('keydown', {key: '.', bubbles: true}));
		await new Promise((r) => setTimeout(r, 500));
		let n = 0, last = c.dataset.shown;
		const began = performance.now();
		while (performance.now() - began < 3000) {
			document.body.dispatchEvent(new KeyboardEvent('keydown', {key: '.', bubbles: true, repeat: true}));
			await new Promise((r) => setTimeout(r, 33));
			if (c.dataset.shown !== last) { n += 1; last = c.dataset.shown; }
		}
		document.body.dispatchEvent(new KeyboardEvent('keyup', {key: '.', bubbles: true}));
		return [n, performance.now() - began]; })()`)
	t.Logf("held key: %.0f pictures in %.1f s, %.1f a second", held[0], held[1]/1000, 1000*held[0]/held[1])
	close(done)
	t.Logf("memory: %d MB before, %d MB at most, decoders included", before>>10, most.Load()>>10)
	if held[0] < 30 || first > 10000 {
		t.Error("far slower than meant to be")
	}
	b.Silent()
}

// residentKB returns the memory of this process and of the decoders that it has
// started, kB. What they share, such as libraries, counts once.
func residentKB() int64 {
	total := int64(0)
	entries, _ := os.ReadDir("/proc")
	self := os.Getpid()
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
		if err != nil {
			continue
		}
		// The name stands in brackets, the parent two fields behind it.
		name := string(stat[strings.IndexByte(string(stat), '(')+1 : strings.LastIndexByte(string(stat), ')')])
		rest := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
		if pid != self && !(name == "ffmpeg" && len(rest) > 1 && rest[1] == strconv.Itoa(self)) {
			continue
		}
		memory, err := os.ReadFile(fmt.Sprintf("/proc/%d/smaps_rollup", pid))
		if err != nil {
			continue
		}
		for _, line := range strings.Split(string(memory), "\n") {
			if field := strings.Fields(line); len(field) > 1 && field[0] == "Pss:" {
				kb, _ := strconv.ParseInt(field[1], 10, 64)
				total += kb
			}
		}
	}
	return total
}
