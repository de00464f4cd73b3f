//go:build study

package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/pipeline/markpage/pagetest"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// nightClips is how many clips of each set-up are marked; nightSeed is that of the clips.
const nightClips, nightSeed = 6, 7500

// nightScenes returns clips of one set-up: the camera on a stand and the same horse, which
// comes by again and again, each time a little elsewhere and at another speed. The yard,
// the horse and the light are those of a hard clip.
func nightScenes(t *testing.T, view traj.View, seed uint64, count int) []scene.Scene {
	t.Helper()
	for ; ; seed++ {
		one := scene.Hard(seed, view)
		one.Camera.Width, one.Camera.Height, one.Camera.Samples, one.Camera.Hand = 960, 540, 3, false
		one.Motion.StartM = min(one.Motion.StartM, 13)
		one.Motion.EndM = min(one.Motion.EndM, 13)
		rng := rand.New(rand.NewPCG(seed, 1))
		var all []scene.Scene
		for range count {
			s := one
			s.Motion.SpeedMPS *= 0.96 + 0.08*rng.Float64()
			s.Motion.StartM *= 0.97 + 0.06*rng.Float64()
			s.Motion.EndM *= 0.97 + 0.06*rng.Float64()
			s.Motion.LineOffsetM += -0.15 + 0.3*rng.Float64()
			if _, err := scene.Simulate(s); err != nil {
				break // No horse moves like that: the next seed.
			}
			all = append(all, s)
		}
		if len(all) == count {
			return all
		}
	}
}

// night is a person who marks clips, one after the other.
type night struct {
	*tab
	t      *testing.T
	rng    *rand.Rand
	waited time.Duration // For the program, with nothing to do meanwhile.
	frames int           // Frames that the person judged or marked: a thought each.

	shown, within, mended, wrong, byHand, shownIn int // Marks; clips that had proposals.
}

// until waits for the program, as the person does.
func (n *night) until(expression string) {
	n.t.Helper()
	began := time.Now()
	n.Wait(expression)
	n.waited += time.Since(began)
}

func (n *night) is(expression string) bool {
	n.t.Helper()
	return pagetest.Eval[bool](n.Page, expression)
}

// stepTo steps with the arrow keys to a frame.
func (n *night) stepTo(frame int) {
	n.t.Helper()
	now := n.frame()
	key := kb.ArrowRight
	if now > frame {
		key = kb.ArrowLeft
	}
	for ; now != frame; now += map[bool]int{true: 1, false: -1}[now < frame] {
		n.Key(key)
	}
	n.frame()
}

// aim is where a person clicks who means a place: within a pixel of it.
func (n *night) aim(p scene.Point) (x, y float64) {
	return p.X + 2*n.rng.Float64() - 1, p.Y + 2*n.rng.Float64() - 1
}

// byEye marks a stance of the side asked for, and the head or croup with it.
func (n *night) byEye(truth *scene.Truth, view traj.View) {
	n.t.Helper()
	n.frames++
	var limb traj.Landmark
	n.until(`document.querySelector('.chips [aria-pressed=true]') !== null`)
	limb = traj.Landmark(pagetest.Eval[string](n.Page, `document.querySelector('.chips [aria-pressed=true]').id.replace('chip-', '')`))
	frame := n.freeStance(truth, limb)
	n.stepTo(frame)
	body := traj.Head
	if view == traj.Away {
		body = traj.Croup
	}
	for _, l := range []traj.Landmark{limb, body} {
		n.until(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true' || document.querySelector('#confirm') !== null`, l))
		if n.is(`document.querySelector('#confirm') !== null`) {
			return // It came by a frame in which marks are proposed.
		}
		n.Press(n.aim(truth.Points(l)[frame]))
		n.byHand++
	}
	n.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null && document.querySelector('#chip-%s.done') !== null && document.querySelector('#saved').textContent === 'Saved'`, frame, body))
}

// freeStance returns the middle of the nearest stance of a limb in which nothing is marked.
func (n *night) freeStance(truth *scene.Truth, limb traj.Landmark) int {
	n.t.Helper()
	near := n.frame()
	ticks := pagetest.Eval[[]int](n.Page, `[...document.querySelectorAll('.tick[id]')].map((t) => Number(t.id.replace('tick-', '')))`)
	best, at := math.Inf(1), near
	for _, c := range truth.Contacts {
		middle := frameAt(truth.Times, (c.On+c.HeelOff)/2)
		marked := slices.ContainsFunc(ticks, func(f int) bool { return c.On <= truth.Times[f] && truth.Times[f] <= c.Off })
		away := math.Abs(float64(middle - near))
		if c.Limb == limb && !marked && c.On >= truth.Times[0] && c.HeelOff <= truth.Times[len(truth.Times)-1] && away < best {
			best, at = away, middle
		}
	}
	return at
}

// frameAt returns the frame nearest to a time, s.
func frameAt(times []float64, t float64) (best int) {
	for f := range times {
		if math.Abs(times[f]-t) < math.Abs(times[best]-t) {
			best = f
		}
	}
	return best
}

// proposal is what the page shows as proposed.
type proposal struct {
	Frame    int
	Landmark traj.Landmark
	X, Y     float64
}

// overhear has the page keep what it is told of proposals for the clip that is open: a
// person sees it in the picture.
func (n *night) overhear() {
	n.t.Helper()
	n.Script(`const ask = window.fetch;
		window.fetch = async (...a) => {
			const answer = await ask(...a);
			const to = new URL(a[0], location), open = decodeURIComponent(location.hash.split('/').at(-1));
			if (to.pathname === '/api/proposals' && to.searchParams.get('clip') === open) window.proposed = (await answer.clone().json()).proposals;
			return answer;
		}`)
}

func (n *night) proposals() []proposal {
	n.t.Helper()
	return pagetest.Eval[[]proposal](n.Page, `window.proposed ?? []`)
}

// judge looks at the marks proposed in the frame shown: what is off is dragged, a hoof that
// is another or does not stand is thrown away, the rest is confirmed.
func (n *night) judge(rel string, truth *scene.Truth) {
	n.t.Helper()
	n.frames++
	frame := n.frame()
	ticks := pagetest.Eval[int](n.Page, `document.querySelectorAll('.tick.proposed').length`)
	var here []proposal
	for _, p := range n.proposals() {
		if p.Frame == frame {
			here = append(here, p)
		}
	}
	n.shown += len(here)
	away, left := false, len(here)
	for _, p := range here {
		if p.Landmark.IsHoof() && (!standing(truth, p.Landmark, frame) || nearer(truth, p, p.Landmark.Opposite())) {
			n.wrong++
			away = true
			n.t.Errorf("%s: %s in frame %d is no %s that stands", rel, p.Landmark, frame, p.Landmark)
		}
	}
	for _, p := range here {
		at := truth.Points(p.Landmark)[frame]
		off := math.Hypot(p.X-at.X, p.Y-at.Y)
		if off <= 2 {
			n.within++
			continue
		}
		n.mended++
		n.t.Logf("%s: %s in frame %d is proposed %.1f px off", rel, p.Landmark, frame, off)
		if away {
			continue
		}
		x, y := n.aim(at)
		n.drag(p.X, p.Y, x, y)
		left--
	}
	switch {
	case away:
		n.Key("x")
	case left > 0:
		n.Wait(fmt.Sprintf(`document.querySelector('#confirm')?.textContent.includes('%s')`, map[bool]string{true: "mark", false: fmt.Sprint(left)}[left == 1]))
		n.Key("c")
	}
	n.Wait(fmt.Sprintf(`document.querySelectorAll('.tick.proposed').length < %d && (document.querySelector('#confirm') === null || document.querySelector('input[aria-label=Frame]').value !== '%d')`, ticks, frame))
}

func nearer(truth *scene.Truth, p proposal, other traj.Landmark) bool {
	own, not := truth.Points(p.Landmark)[p.Frame], truth.Points(other)[p.Frame]
	return math.Hypot(p.X-not.X, p.Y-not.Y) < math.Hypot(p.X-own.X, p.Y-own.Y)
}

func standing(truth *scene.Truth, limb traj.Landmark, frame int) bool {
	for _, c := range truth.Contacts {
		if c.Limb == limb && c.On <= truth.Times[frame] && truth.Times[frame] <= c.Off {
			return true
		}
	}
	return false
}

// drag drags what lies at a place of the picture to another one.
func (n *night) drag(x0, y0, x1, y1 float64) {
	n.t.Helper()
	ax, ay := n.At(x0, y0)
	bx, by := n.At(x1, y1)
	left := func(p *input.DispatchMouseEventParams) { p.Button, p.ClickCount = input.MouseButtonLeft, 1 }
	n.Do(
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, ax, ay),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, ax, ay, left),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, (ax+bx)/2, (ay+by)/2, left),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, bx, by, left),
		chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, bx, by, left))
	n.Clicks++
}

// landmarks marks what the clip at rel is asked for, until the page asks for no more.
func (n *night) landmarks(rel string, truth *scene.Truth, view traj.View) {
	n.t.Helper()
	had := n.shown
	for {
		// What is proposed is waited for: it saves marking by hand.
		n.until(`document.querySelector('.onward button') !== null && !document.querySelector('#proposals')?.textContent.startsWith('Looking')`)
		n.frame()
		switch {
		case n.is(`document.querySelector('#confirm') !== null`):
			n.judge(rel, truth)
		case n.is(`document.querySelector('#next-frame.primary') !== null`):
			n.Key("g")
			n.Rested()
		case n.is(`document.querySelector('#next-frame') !== null`):
			n.byEye(truth, view)
		default:
			if n.shown > had {
				n.shownIn++
			}
			return
		}
	}
}

// ground marks the corners of the lane.
func (n *night) ground(truth *scene.Truth, first bool) {
	n.t.Helper()
	n.Key("g")
	n.Wait(`document.querySelector('#lane-width_m') !== null`)
	if first {
		n.Fill("#lane-width_m", fmt.Sprintf("%.2f m", truth.Marks[1][0]-truth.Marks[0][0]))
		n.Fill("#lane-length_m", fmt.Sprintf("%.2f m", truth.Marks[2][1]-truth.Marks[1][1]))
		n.Clicks++ // Into the first field; Tab leads to the second.
	}
	eye := truth.Eye(n.frame())
	for _, m := range truth.Marks {
		x, y, _ := eye.Project(m[0], m[1], 0)
		n.Press(n.aim(scene.Point{X: x, Y: y}))
	}
	n.until(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
	n.Key("g")
	n.Wait(`document.querySelector('#note') !== null`)
}

// A night's work with the program as it is: it looks for marks itself, in clips of two
// set-ups that nobody has looked at before. A person marks a left and a right stance of the first clip
// of each, and its ground; everywhere else only what is proposed wrongly, or not at
// all. What that takes is counted. The aim for twelve clips, six of each set-up, is 70
// clicks and ten minutes.
func TestANightsClipsWithTheProgram(t *testing.T) {
	t.Parallel()
	pagetest.Need(t)
	dir := t.TempDir()
	const visit = "horses/bramble/2026-03-02"
	type job struct {
		rel   string
		view  traj.View
		truth *scene.Truth
	}
	var jobs []job
	for view, seed := range map[traj.View]uint64{traj.Away: nightSeed, traj.Toward: nightSeed + 100} {
		for i, s := range nightScenes(t, view, seed, nightClips) {
			rel := fmt.Sprintf("%s/%s-%d.mp4", visit, view, i+1)
			jobs = append(jobs, job{rel, view, scenetest.Render(t, s, filepath.Join(dir, rel))})
		}
	}
	truths := map[string]job{}
	for _, j := range jobs {
		truths[filepath.Base(j.rel)] = j
	}
	program := startMarking(t, dir)
	n := &night{tab: &tab{pagetest.Open(t, 1366, 768, false)}, t: t, rng: rand.New(rand.NewPCG(nightSeed, 2))}
	n.Do(chromedp.Navigate(program.url))
	n.Wait(`document.querySelector('#first') !== null`)
	n.overhear()
	n.Click("#first")
	before := ""
	carried := map[traj.View]bool{}
	for range jobs {
		n.until(fmt.Sprintf(`document.querySelector('h1')?.textContent.startsWith('Mark ') && document.querySelector('h1').textContent !== %q && document.querySelector('canvas.picture')?.dataset.frame !== undefined`, before))
		before = n.Text("h1")
		j := truths[before[len("Mark "):]]
		clicks, keys, waited := n.Clicks, n.Keys, n.waited
		n.until(`document.querySelector('.choice input[name=view]') !== null || document.querySelector('.chips') !== null`)
		if n.is(`document.querySelector('.chips') === null`) {
			n.Choose(fmt.Sprintf(".choice input[value=%s]", j.view))
			n.Wait(`document.querySelector('#go-marks').disabled === false`)
			n.Key("g")
			n.until(`document.querySelector('.chips') !== null`)
		}
		n.landmarks(j.rel, j.truth, j.view)
		if n.is(`document.querySelector('#go-ground') !== null`) {
			if carried[j.view] {
				n.Shoot("not-carried")
				t.Errorf("%s: the ground marks are not carried over: %s", j.rel, n.Text("#carried"))
			}
			n.ground(j.truth, len(carried) == 0)
		}
		carried[j.view] = true
		n.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
		marks, err := record.ReadMarks(record.MarksPath(filepath.Join(dir, j.rel)))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range marks.Marks {
			if p := j.truth.Points(m.Landmark)[m.Frame]; math.Hypot(*m.X-p.X, *m.Y-p.Y) > 2.5 {
				t.Errorf("%s: %s in frame %d is saved %.1f px off", j.rel, m.Landmark, m.Frame, math.Hypot(*m.X-p.X, *m.Y-p.Y))
			}
		}
		if marks.View != j.view || marks.Calibration == nil || marks.Calibration.Ground == nil {
			t.Errorf("%s: view %s, calibration %v", j.rel, marks.View, marks.Calibration)
		}
		t.Logf("%s: %d clicks, %d keys, %.0f s waited, %d marks", filepath.Base(j.rel), n.Clicks-clicks, n.Keys-keys, (n.waited - waited).Seconds(), len(marks.Marks))
		n.Key("g")
	}
	n.Wait(`document.querySelector('.night span')?.textContent === 'All clips are marked'`)
	// The keystroke-level model's times for a skilled person (Card, Moran & Newell
	// 1980, from memory): pointing 1.1 s, a button 0.2 s, a key 0.28 s, a thought of
	// 1.35 s before each frame and each page.
	hands := 1.3*float64(n.Clicks) + 0.28*float64(n.Keys) + 1.35*float64(n.frames+2*len(jobs))
	t.Logf("%d clips of two set-ups: %d clicks, %d keys; %.0f s by the keystroke-level model, and %.0f s waited for the program", len(jobs), n.Clicks, n.Keys, hands, n.waited.Seconds())
	t.Logf("%d clips had proposals; %d marks proposed, %.0f %% within 2 px, %.0f %% to be mended, %d on the wrong side or in the air; %d marks by hand",
		n.shownIn, n.shown, 100*float64(n.within)/float64(max(1, n.shown)), 100*float64(n.mended)/float64(max(1, n.shown)), n.wrong, n.byHand)
	// Two set-ups of six clips: 70 clicks and 600 s. Of the 70, 25 are for each set-up's
	// first clip and 2 for every other one.
	if most := 2*25 + 2*2*(nightClips-1); n.Clicks > most {
		t.Errorf("%d clicks, at most %d are meant", n.Clicks, most)
	}
	if hands > 600 {
		t.Errorf("%.0f s by hand: more than ten minutes", hands)
	}
	n.Silent()
}
