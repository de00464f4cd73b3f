package beside

import (
	"context"
	"fmt"
	"image/color"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/markpage/pagetest"
	"jogstrip/pipeline/overlay"
	"jogstrip/track/traj"
)

// The clips of this test are drawn: two white discs 1 m apart stand for the horse, and
// squares between them write the frame's number in binary. So a picture of the film tells
// by itself which frame of which clip it shows, and at which size.
const (
	width, height = 1280, 720
	discs         = 1.0 // Between the discs, m.
	chest         = 1.15
	bits          = 10
)

// horse is one invented run: straight along the lane, at a steady speed.
type horse struct {
	view   traj.View
	stride float64 // s.
	from   float64 // Distance at the start, m.
	speed  float64 // Along the lane, m/s; negative toward the camera.
	late   float64 // How much later than even the right fore lands, share of a stride.
	cam    geometry.Camera
	frames int
	rate   float64
	shake  float64 // px.
	marks  bool    // Ground marks: its lengths are known.
}

func (h horse) depth(t float64) float64 { return h.from + h.speed*t }

// place projects a point of the horse.
func (h horse) place(t, across, up float64) (x, y float64) {
	p, _ := h.cam.Project(across, h.depth(t), up)
	dx, dy := h.moved(t)
	return p.X + dx, p.Y + dy
}

func (h horse) moved(t float64) (dx, dy float64) {
	return h.shake * math.Sin(9*t), h.shake * math.Cos(7*t)
}

// contacts returns the stances as measuring would: places in the stabilised picture, a
// little off.
func (h horse) contacts() []metrics.Contact {
	random := rand.New(rand.NewPCG(1, 2))
	var out []metrics.Contact
	end := float64(h.frames) / h.rate
	for i := 0; ; i++ {
		for _, limb := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
			on := 0.1 + float64(i)*h.stride
			if limb == traj.RightFore || limb == traj.LeftHind {
				on += (0.5 + h.late) * h.stride
			}
			off := on + 0.4*h.stride
			if on > end {
				return out
			}
			if off > end {
				continue
			}
			side := 0.11
			if limb.Side() == traj.Right {
				side = -side
			}
			p, _ := h.cam.Project(h.view.LeftSign()*side, h.depth((on+off)/2), 0)
			out = append(out, metrics.Contact{Limb: limb, On: on, Off: off, PictureX: p.X + 0.4*random.NormFloat64(), PictureY: p.Y + 0.4*random.NormFloat64()})
		}
	}
}

// film draws the run into a clip and returns it as a side of a film.
func (h horse) film(t *testing.T, name string) Side {
	t.Helper()
	path := filepath.Join(t.TempDir(), name+".mp4")
	out, err := clip.NewWriter(t.Context(), path, width, height, clip.WriterOptions{Rate: h.rate, Quality: 14})
	if err != nil {
		t.Fatal(err)
	}
	white, black := color.NRGBA{0xff, 0xff, 0xff, 0xff}, color.NRGBA{0, 0, 0, 0xff}
	side := Side{Title: name}
	tracks := map[traj.Landmark]*traj.Track{}
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind, traj.Head, traj.Croup} {
		tracks[l] = &traj.Track{Landmark: l}
	}
	contacts := h.contacts()
	picture := overlay.NewPlanes(width, height)
	for f := range h.frames {
		at := float64(f) / h.rate
		overlay.Fill(picture, 0, 0, width, height, color.NRGBA{0x50, 0x50, 0x50, 0xff})
		box := func(across, up, half float64, c color.NRGBA) {
			x0, y0 := h.place(at, across-half, up+half)
			x1, y1 := h.place(at, across+half, up-half)
			overlay.Fill(picture, int(math.Round(min(x0, x1))), int(math.Round(y0)), int(math.Round(max(x0, x1))), int(math.Round(y1)), c)
		}
		box(-discs/2, chest, 0.06, white)
		box(discs/2, chest, 0.06, white)
		for b := range bits {
			c := black
			if f>>b&1 == 1 {
				c = white
			}
			box(-0.36+0.08*float64(b), chest, 0.034, c)
		}
		if err := out.Write(picture); err != nil {
			t.Fatal(out.Close())
		}
		side.Times = append(side.Times, at)
		for l, track := range tracks {
			s := traj.Gone()
			switch {
			case l == traj.Head || l == traj.Croup:
				x, y := h.place(at, 0, 1.75)
				s = traj.Sample{X: x, Y: y, SD: 0.3, Status: traj.Tracked}
			default:
				for _, c := range contacts {
					if c.Limb == l && c.On <= at && at <= c.Off {
						dx, dy := h.moved(at)
						s = traj.Sample{X: c.PictureX + dx, Y: c.PictureY + dy, SD: 0.3, Status: traj.Tracked}
					}
				}
			}
			track.Samples = append(track.Samples, s)
		}
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	for _, l := range traj.Landmarks() {
		if track := tracks[l]; track != nil {
			side.Tracks = append(side.Tracks, *track)
		}
	}
	if side.Info, err = clip.Probe(t.Context(), path); err != nil {
		t.Fatal(err)
	}
	side.Run = &metrics.Run{View: h.view, Gait: traj.Trot, Contacts: contacts}
	for i := range int(float64(h.frames)/h.rate/h.stride) - 1 {
		side.Run.Strides = append(side.Run.Strides, metrics.Stride{Start: 0.1 + float64(i)*h.stride, End: 0.1 + float64(i+1)*h.stride})
	}
	in := framing.Input{Times: side.Times, Tracks: side.Tracks, Contacts: contacts, View: h.view, Shaken: h.shake > 0}
	if h.marks {
		in.Camera = &h.cam
	}
	if side.Horse, err = framing.Of(in); err != nil {
		t.Fatal(err)
	}
	return side
}

// read finds in one half of a picture of the film where the discs are and which frame the
// squares between them name.
func read(p clip.Planes, half int) (between float64, frame int, ok bool) {
	x0, x1 := half*(pieceWidth+gap)+2, half*(pieceWidth+gap)+pieceWidth-2
	x1 = min(x1, p.Width)
	// The row through most white is that of the discs.
	bestRow, most := 0, 0
	for y := head + pieceHeight/5; y < head+pieceHeight*7/10; y++ {
		n := 0
		for x := x0; x < x1; x++ {
			if p.Y[y*p.Width+x] > 200 {
				n++
			}
		}
		if n > most {
			bestRow, most = y, n
		}
	}
	// Edges to a part of a pixel: where brightness passes half way.
	row := p.Y[bestRow*p.Width : (bestRow+1)*p.Width]
	edge := func(from, step int) float64 {
		for x := from; x > x0 && x < x1; x += step {
			a, b := float64(row[x]), float64(row[x+step])
			if a < 160 && b >= 160 {
				return float64(x) + float64(step)*(160-a)/(b-a)
			}
		}
		return math.NaN()
	}
	left, right := edge(x0+1, 1), edge(x1-2, -1)
	if math.IsNaN(left + right) {
		return 0, 0, false
	}
	// From outer edge to outer edge it is 1.12 m.
	between = (right - left) / (discs + 0.12)
	middle := (left + right) / 2
	for b := range bits {
		x := int(math.Round(middle + between*(-0.36+0.08*float64(b))))
		if row[x] > 120 {
			frame |= 1 << b
		}
	}
	return between, frame, true
}

// TestInStepAndOfOneSize checks the film of runs that differ in speed, stride, distance and
// camera: in every picture both horses are as far in their stride, to one frame, and of
// one size, to 3 %; every picture is drawn once, the film is small enough and plays in a
// browser.
func TestInStepAndOfOneSize(t *testing.T) {
	level := func(f, h, pitch float64) geometry.Camera {
		return geometry.LevelCamera(f, (width-1)/2.0, (height-1)/2.0, h, geometry.Point{X: (width - 1) / 2, Y: (height-1)/2.0 - f*math.Tan(pitch*math.Pi/180)})
	}
	tests := []struct {
		name          string
		before, after horse
	}{
		{"toward, ground marks", horse{view: traj.Toward, stride: 0.70, from: 15, speed: -3.1, cam: level(1000, 2, 8), frames: 165, rate: 60, marks: true},
			horse{view: traj.Toward, stride: 0.77, from: 13, speed: -2.7, late: 0.04, cam: level(820, 1.4, 4), frames: 160, rate: 60, marks: true}},
		{"away, one hand-held, no ground marks", horse{view: traj.Away, stride: 0.72, from: 6, speed: 3.2, cam: level(1000, 1.5, 4), frames: 150, rate: 60, shake: 4},
			horse{view: traj.Away, stride: 0.68, from: 5.5, speed: 3.4, cam: level(1000, 1.5, 4), frames: 75, rate: 30}},
	}
	var pairs []Pair
	for _, tt := range tests {
		p := Pair{View: tt.before.view, Before: tt.before.film(t, "before"), After: tt.after.film(t, "after"), Span: 2.5}
		if !tt.before.marks {
			p.Span = 1.5
		}
		pairs = append(pairs, p)
	}
	target := filepath.Join(t.TempDir(), "film.mp4")
	drawn, all := 0, 0
	sections, why, err := Make(t.Context(), target, pairs, func(done, total int) {
		if drawn++; done != drawn {
			t.Errorf("picture %d is told as the %dth", drawn, done)
		}
		all = total
	})
	if err != nil || len(why) > 0 {
		t.Fatal(err, why)
	}
	if stat, err := os.Stat(target); err != nil || stat.Size() > MostBytes {
		t.Errorf("%v, %d bytes", err, stat.Size())
	}
	info, err := clip.Probe(t.Context(), target)
	if err != nil {
		t.Fatal(err)
	}
	if drawn != all || drawn != len(info.Times) {
		t.Errorf("%d of %d pictures were drawn for a film of %d", drawn, all, len(info.Times))
	}
	shown, largest, latest := 0, 0.0, 0.0
	view := func(i int) (Section, bool) {
		at := (float64(i) + 0.5) / Rate
		for _, s := range sections {
			if m := s.Moments; at >= m[0].FilmS && at < m[len(m)-1].FilmEnd {
				return s, !s.Halves
			}
		}
		return Section{}, false
	}
	err = clip.Frames(t.Context(), info, 0, len(info.Times)-1, func(i int) bool { _, whole := view(i); return whole }, func(i int, p clip.Planes) {
		s, _ := view(i)
		tt := tests[0]
		if s.View == traj.Away {
			tt = tests[1]
		}
		var phase, size [2]float64
		for half, h := range []horse{tt.before, tt.after} {
			between, frame, ok := read(p, half)
			if !ok || frame >= h.frames {
				t.Errorf("picture %d, half %d: no horse, or frame %d of %d", i, half, frame, h.frames)
				return
			}
			size[half] = between
			_, phase[half] = math.Modf((float64(frame)/h.rate - 0.1) / h.stride)
		}
		shown++
		off := math.Abs(phase[0] - phase[1])
		off = math.Min(off, 1-off)
		// One frame of either clip, as a share of its stride.
		one := math.Max(1/(tt.before.rate*tt.before.stride), 1/(tt.after.rate*tt.after.stride))
		latest = math.Max(latest, off/one)
		largest = math.Max(largest, math.Abs(size[1]/size[0]-1))
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d pictures; apart in step by %.2f frames and in size by %.1f %% at most", shown, latest, 100*largest)
	if shown < 100 {
		t.Errorf("%d pictures were read", shown)
	}
	if latest > 1 {
		t.Errorf("out of step by %.2f frames", latest)
	}
	if largest > 0.03 {
		t.Errorf("sizes differ by %.1f %%", 100*largest)
	}
	playsInBrowser(t, target, float64(len(info.Times))/Rate)
}

// playsInBrowser opens the film in Chromium, goes to its middle and looks at the picture.
func playsInBrowser(t *testing.T, film string, seconds float64) {
	t.Helper()
	browser := pagetest.Path()
	if browser == "" {
		t.Log("SKIPPED in part: " + pagetest.Missing)
		return
	}
	page := filepath.Join(t.TempDir(), "page.html")
	html := fmt.Sprintf(`<!DOCTYPE html><video id="v" muted src="file://%s"></video>`, film)
	if err := os.WriteFile(page, []byte(html), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, end := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(browser), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-dev-shm-usage", true))...)
	defer end()
	ctx, endPage := chromedp.NewContext(ctx)
	defer endPage()
	ctx, endTime := context.WithTimeout(ctx, time.Minute)
	defer endTime()
	script := fmt.Sprintf(`new Promise((done) => {
  const v = document.getElementById('v');
  v.onerror = () => done('error ' + v.error.message);
  v.onseeked = () => done([v.videoWidth, v.videoHeight, v.duration.toFixed(2), v.currentTime.toFixed(2), v.readyState >= 2].join(' '));
  const go = () => { v.currentTime = %g; };
  if (v.readyState >= 1) go(); else v.onloadedmetadata = go;
})`, math.Round(seconds/2))
	if _, err := chromedp.Run(ctx, chromedp.Navigate("file://"+page)); err != nil {
		t.Fatalf("open the film in a browser: %v", err)
	}
	got, err := chromedp.Run(ctx, chromedp.Evaluate[string](script, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("open the film in a browser: %v", err)
	}
	if want := fmt.Sprintf("%d %d %.2f %.2f true", Width, Height, seconds, math.Round(seconds/2)); got != want {
		t.Errorf("the browser says %q, want %q", got, want)
	}
}
