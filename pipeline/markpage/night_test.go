package markpage

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"jogstrip/pipeline/markpage/pagetest"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// knowing proposes marks as one would who knows the truth to half a pixel: the
// test is about the page, not about finding.
type knowing struct {
	truth map[traj.View]*scene.Truth
	asked []string
}

// leadingHoof returns the hoof of a side that is asked for first in a view.
func leadingHoof(view traj.View, side traj.Side) traj.Landmark {
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
		if l.Side() == side && strings.HasSuffix(string(l), map[traj.View]string{traj.Toward: "fore", traj.Away: "hind"}[view]) {
			return l
		}
	}
	return ""
}

// middles returns the frames in the middle of the stances of a hoof.
func middles(truth *scene.Truth, limb traj.Landmark) []int {
	var out []int
	for _, c := range truth.Contacts {
		if c.Limb != limb || c.On < truth.Times[0] || c.HeelOff > truth.Times[len(truth.Times)-1] {
			continue
		}
		want, best := (c.On+c.HeelOff)/2, 0
		for f, t := range truth.Times {
			if math.Abs(t-want) < math.Abs(truth.Times[best]-want) {
				best = f
			}
		}
		out = append(out, best)
	}
	return out
}

func bodyMark(view traj.View) traj.Landmark {
	if view == traj.Away {
		return traj.Croup
	}
	return traj.Head
}

func (k *knowing) Propose(_ context.Context, clip string, view traj.View, like []Marked) ([]Proposal, string, error) {
	k.asked = append(k.asked, fmt.Sprintf("%s like %d", filepath.Base(clip), len(like)))
	truth := k.truth[view]
	var out []Proposal
	for _, side := range []traj.Side{traj.Left, traj.Right} {
		limb := leadingHoof(view, side)
		given := 0
		for _, f := range middles(truth, limb) {
			near := false
			if like[0].Clip == clip {
				for _, m := range like[0].Marks.Marks {
					near = near || m.Landmark == limb && math.Abs(truth.Times[m.Frame]-truth.Times[f]) < 0.3
				}
			}
			if near || given == 3 {
				continue
			}
			given++
			for _, l := range []traj.Landmark{limb, bodyMark(view)} {
				p := truth.Points(l)[f]
				out = append(out, Proposal{Frame: f, Landmark: l, X: p.X + 0.3, Y: p.Y - 0.3, SD: 0.5})
			}
		}
	}
	return out, "", nil
}

// A night's work: clips of two set-ups (twelve with -tags study, four else), marked
// by a person who steps to the stances of the first clip of each and confirms what
// is proposed from then on. Clicks and keys are counted; whatever is measured
// later was placed or confirmed, and the file tells which.
func TestANightsClips(t *testing.T) {
	t.Parallel()
	scenetest.NeedFFmpeg(t)
	pagetest.Need(t)
	source := t.TempDir()
	know := &knowing{truth: map[traj.View]*scene.Truth{}}
	for view, s := range map[traj.View]scene.Scene{
		traj.Toward: {Seed: 21, View: traj.Toward, Motion: scene.Motion{StartM: 14, EndM: 5.2}},
		traj.Away:   {Seed: 22, View: traj.Away, Motion: scene.Motion{StartM: 5.6, EndM: 14}},
	} {
		s.Camera = scene.Camera{Width: 480, Height: 270, FPS: 24}
		if view == traj.Toward { // Set up anew: the ground marks lie elsewhere in the picture.
			s.Camera.HeightM, s.Camera.PitchDeg = 1.5, 3
		}
		know.truth[view] = scenetest.Render(t, s, filepath.Join(source, string(view)+".mp4"))
	}
	dir := t.TempDir()
	visit := filepath.Join(dir, "horses", "bramble", "2026-03-02")
	if err := os.MkdirAll(visit, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, view := range []traj.View{traj.Away, traj.Toward} {
		for i := 1; i <= nightClips; i++ {
			copyFile(t, filepath.Join(source, string(view)+".mp4"), filepath.Join(visit, fmt.Sprintf("%s-%d.mp4", view, i)))
		}
	}
	s, err := Listen(Options{Folder: dir, Proposer: know})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(serving(t, s))

	b := openBrowser(t, 1366, 768, false)
	// stepTo steps with the arrow keys to a frame, as one does who looks for a stance.
	stepTo := func(frame int) {
		for {
			b.Rested()
			now := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
			if now == frame {
				return
			}
			if now < frame {
				b.Key(kb.ArrowRight)
			} else {
				b.Key(kb.ArrowLeft)
			}
		}
	}
	nearest := func(frames []int, to int) int {
		best := frames[0]
		for _, f := range frames {
			if math.Abs(float64(f-to)) < math.Abs(float64(best-to)) {
				best = f
			}
		}
		return best
	}
	b.Do(chromedp.Navigate(s.URL()))
	b.Click("#first")
	for i := range 2 * nightClips {
		view, name := traj.Away, fmt.Sprintf("away-%d.mp4", i+1)
		if i >= nightClips {
			view, name = traj.Toward, fmt.Sprintf("toward-%d.mp4", i+1-nightClips)
		}
		clicksBefore := b.Clicks
		truth := know.truth[view]
		path := filepath.Join(visit, name)
		b.Wait(fmt.Sprintf(`document.querySelector('h1')?.textContent === 'Mark %s'`, name))
		b.Wait(`document.querySelector('.choice input[name=view]') !== null || document.querySelector('.chips') !== null`)
		if eval[bool](b, `document.querySelector('.chips') === null`) {
			t.Logf("%s: the way it goes is asked", name)
			b.Rested()
			b.Click(fmt.Sprintf(".choice input[value=%s] + span", view))
			b.Click("#go-marks")
		}
		b.Wait(`document.querySelector('.chips') !== null`)
		first := i == 0 || i == nightClips
		if first {
			// A left and a right stance by hand.
			for n, side := range []traj.Side{traj.Left, traj.Right} {
				limb := leadingHoof(view, side)
				b.Rested()
				now := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
				frame := nearest(middles(truth, limb), now)
				stepTo(frame)
				for _, l := range []traj.Landmark{limb, bodyMark(view)} {
					b.Wait(fmt.Sprintf(`document.querySelector('#chip-%s')?.getAttribute('aria-pressed') === 'true'`, l))
					p := truth.Points(l)[frame]
					b.Press(p.X, p.Y)
				}
				b.Wait(fmt.Sprintf(`document.querySelector('#tick-%d') !== null`, frame))
				if n == 0 {
					b.Key("g")
					b.Wait(fmt.Sprintf(`document.querySelector('input[aria-label=Frame]').value !== '%d'`, frame))
				}
			}
		}
		b.Wait(`document.querySelector('.tick.proposed') !== null`)
		if !first {
			if _, err := os.Stat(record.MarksPath(path)); err == nil {
				t.Errorf("%s: something was saved before anything was confirmed", name)
			}
		}
		if i == 1 {
			b.Wait(`document.querySelector('#confirm') !== null`)
			b.Rested()
			b.Shoot("proposed")
			b.Accessible()
		}
		if eval[bool](b, `document.querySelector('#confirm') === null`) {
			b.Key("g")
		}
		for {
			b.Wait(`document.querySelector('#confirm') !== null || document.querySelector('.tick.proposed') === null`)
			if eval[bool](b, `document.querySelector('.tick.proposed') === null`) {
				break
			}
			b.Rested()
			before := eval[int](b, `document.querySelectorAll('.tick.proposed').length`)
			b.Key("c")
			b.Wait(fmt.Sprintf(`document.querySelectorAll('.tick.proposed').length < %d`, before))
		}
		if first {
			b.Wait(`document.querySelector('#go-ground') !== null`)
			b.Key("g")
			b.Wait(`document.querySelector('#lane-width_m') !== null`)
			b.Rested()
			if i == 0 {
				b.Fill("#lane-width_m", "2.5 m")
				b.Fill("#lane-length_m", "8 m")
				b.Clicks++ // Into the first field; Tab leads to the second.
			}
			frame := eval[int](b, `Number(document.querySelector('canvas.picture').dataset.frame)`)
			for _, g := range groundPoints(truth, frame) {
				b.Press(g.X, g.Y)
			}
			b.Wait(`document.querySelector('.notice.good')?.textContent.includes('Camera')`)
			b.Key("g") // To the finish,
			b.Wait(`document.querySelector('#note') !== null`)
		} else {
			b.Wait(`document.querySelector('#next-clip') !== null`)
		}
		b.Wait(`document.querySelector('#saved').textContent === 'Saved'`)
		if i == nightClips-1 {
			b.Shoot("night")
		}
		m, err := record.ReadMarks(record.MarksPath(path))
		if err != nil {
			t.Fatal(err)
		}
		proposed, wrong := 0, 0
		for _, k := range m.Marks {
			if k.Proposed {
				proposed++
			}
			p := truth.Points(k.Landmark)[k.Frame]
			if math.Hypot(*k.X-p.X, *k.Y-p.Y) > 1.5 {
				wrong++
			}
		}
		wantProposed := len(m.Marks)
		if first {
			wantProposed -= 4
		}
		if !enough(m) || m.View != view || m.Turned != "0" || len(m.Marks) < 10 || proposed != wantProposed || wrong > 0 || levelOf(m.Calibration) != "metric" {
			t.Errorf("%s: %d marks, %d of them told as confirmed proposals, %d wrong, calibration %s", name, len(m.Marks), proposed, wrong, levelOf(m.Calibration))
		}
		b.Key("g") // and to the next clip.
		// Two set-ups of six clips then take no more than 2·15 + 10·4 = 70 clicks.
		if most := map[bool]int{true: 15, false: 4}[first]; b.Clicks-clicksBefore > most {
			t.Errorf("%s takes %d clicks, %d are meant to be enough", name, b.Clicks-clicksBefore, most)
		}
	}
	b.Wait(fmt.Sprintf(`document.querySelectorAll('.clip').length === %d`, 2*nightClips))
	b.Wait(`document.querySelector('.night span').textContent === 'All clips are marked'`)
	b.Shoot("done")
	t.Logf("%d clips of two set-ups: %d clicks and %d keys", 2*nightClips, b.Clicks, b.Keys)
	b.Silent()
}
