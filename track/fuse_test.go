package track

import (
	"math"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// A hoof that turns is followed by two sweeps, from the stance before and from the stance after.
// It is believed to be where both lead, and else where one leads that is sure by itself.
func TestHoofInTheAir(t *testing.T) {
	c := &clip{model: &known, grows: true}
	see := func(x, y, sd float64, sure bool) flown {
		return flown{estimate: estimate{at: flow.Point{X: x, Y: y}, variance: sd * sd, seen: true, quality: 0.8, size: 30}, sure: sure}
	}
	lost := flown{estimate: estimate{cause: "hidden"}}
	for _, tt := range []struct {
		name string
		l    traj.Landmark
		a, b flown
		ok   bool
		x    float64
	}{
		{"both lead to one place, one is sure: nearer to the one known better", traj.LeftFore, see(100, 50, 0.5, false), see(101, 55, 1, true), true, 100.2},
		{"the same, neither is sure", traj.LeftFore, see(100, 50, 0.5, false), see(101, 55, 1, false), false, 0},
		{"they lead to two places", traj.LeftFore, see(100, 50, 0.5, false), see(106, 50, 0.5, false), false, 0},
		{"the same, one is sure", traj.LeftFore, see(100, 50, 0.5, true), see(106, 50, 0.5, false), true, 100},
		{"the same, both are sure", traj.LeftFore, see(100, 50, 0.5, true), see(106, 50, 0.5, true), false, 0},
		{"one alone", traj.LeftFore, see(100, 50, 0.5, false), lost, false, 0},
		{"one alone, which is sure", traj.LeftFore, see(100, 50, 0.3, true), lost, true, 100},
		{"the same, hardly known", traj.LeftFore, see(100, 50, 2, true), lost, false, 0},
		{"of the pair behind", traj.LeftHind, see(100, 50, 0.5, true), see(100, 50, 0.5, true), false, 0},
		{"neither sees it", traj.LeftFore, lost, lost, false, 0},
	} {
		got, cause := c.inAir(tt.l, tt.a, tt.b)
		if ok := got.Status == traj.Across; ok != tt.ok || ok == (cause != "") {
			t.Errorf("%s: %v (%s), want believed: %v", tt.name, got.Status, cause, tt.ok)
			continue
		}
		if !tt.ok {
			continue
		}
		again, _ := c.inAir(tt.l, tt.b, tt.a)
		if math.Abs(got.X-tt.x) > 1e-9 || !(got.SD > 0 && got.SDY > got.SD) || math.Abs(again.X-got.X) > 1e-9 {
			t.Errorf("%s: at x = %g ± %.2f px, %.2f down (the other way round %g): want %g", tt.name, got.X, got.SD, got.SDY, again.X, tt.x)
		}
	}
}

// A hoof followed from one stance alone turns the more the longer it flies, and its place is told
// the more vaguely.
func TestHoofFliesOn(t *testing.T) {
	c := &clip{model: &known, grows: true}
	before := 0.0
	for _, since := range []float64{0.1, 0.15, 0.2} {
		from := flown{estimate: estimate{variance: 0.01, seen: true, size: 30}, sure: true, since: since}
		got, cause := c.inAir(traj.LeftFore, flown{}, from)
		if got.Status != traj.Across || !(got.SD > before) {
			t.Errorf("%g s after: %v ± %.2f px (%s), want more than %.2f", since, got.Status, got.SD, cause, before)
		}
		before = got.SD
	}
}

// A hoof swings aside by 15 cm and back in 0.3 s at most. What goes faster is something else that
// following jumped to, whatever the frame rate and however the camera shakes.
func TestHoofGoesAside(t *testing.T) {
	const shake = 12.0 // px a frame.
	for _, tt := range []struct {
		rate, by float64 // Frames a second; px a frame, of a hoof 20 px wide.
		fast     bool
	}{
		{60, 0.5, false}, {60, 2.5, false}, {60, 4, true}, {30, 5, false}, {30, 8, true}, {30, -18, true},
	} {
		c := &clip{model: &known, times: []float64{0, 1 / tt.rate}, toFirst: []traj.Motion{{1, 0, 0, 0, 1, 0, 0, 0, 1}, {1, 0, -shake, 0, 1, 0, 0, 0, 1}}}
		fo := newFollower(c, traj.LeftFore, 1)
		fo.pose.At = flow.Point{X: 300, Y: 200}
		m := advance{from: 0, to: 1, size: 20 * known.LimbShare}
		m.chain.At = flow.Point{X: 300 + shake + tt.by, Y: 210}
		if got := fo.aside(&m); (got > known.AsideSpeed) != tt.fast {
			t.Errorf("%g px a frame at %g frames a second: %.1f sides a second, want too fast: %v", tt.by, tt.rate, got, tt.fast)
		}
	}
}

// A camera that tilts up leaves hooves below the picture. The limb above may still be seen to
// stand there: the hoof is not.
func TestHoofBelowThePicture(t *testing.T) {
	c := &clip{model: &known, pace: &known.Trot, grows: true, width: 640, height: 360}
	s := &standing{model: &known, landmark: traj.LeftFore, size: 40, place: relocation{variance: 1}}
	const frames, rows = 30, 3.0 // How many rows lower it lies with every frame.
	for f := range frames {
		c.times = append(c.times, float64(f)/60)
		c.toFirst = append(c.toFirst, traj.Motion{1, 0, 0, 0, 1, -rows * float64(f), 0, 0, 1})
		s.seen = append(s.seen, stood{frame: f, steady: flow.Point{X: 320, Y: 300}, ncc: 1, sd: 0.3})
	}
	none := make([]estimate, frames)
	track, losses := c.fuse(traj.LeftFore, none, none, []*standing{s})
	for f, p := range track.Samples {
		if in := 300+rows*float64(f) <= 359; p.Status.Followed() != in {
			t.Errorf("frame %d, at row %.0f of 360: %v", f, 300+rows*float64(f), p.Status)
		}
	}
	if len(losses) != 1 || losses[0].Cause != leftPicture {
		t.Errorf("lost: %+v, want once, as it %s", losses, leftPicture)
	}
}

// A sweep is sure of a swing where it arrives at the stance at its end, and where it has left the
// nearer stance for a moment only. Frames are 20 ms apart; the horse comes toward the camera.
func TestSureOfASwing(t *testing.T) {
	c := &clip{model: &known, pace: &known.Trot, grows: true}
	const frames = 65
	for f := range frames {
		c.times = append(c.times, 0.02*float64(f))
	}
	seed := func(beside float64) estimate {
		return estimate{seen: true, found: true, arrived: true, beside: flow.Point{X: beside}, size: 30}
	}
	follow := func(lost int, beside float64) (sweep []estimate, stood []bool) {
		sweep, stood = make([]estimate, frames), make([]bool, frames)
		for f := range sweep {
			sweep[f] = estimate{seen: f != lost, size: 30}
		}
		for _, f := range []int{10, 30, 64} {
			sweep[f], stood[f] = seed(beside), true
		}
		return sweep, stood
	}
	for _, tt := range []struct {
		name   string
		lost   int     // Frame in which the sweep sees nothing.
		beside float64 // px, where it arrives.
		step   int
		frame  int
		came   bool
		sure   bool // Of leftOf, in that frame.
	}{
		{"forward, it arrives", -1, 3, 1, 20, true, true},
		{"forward, it arrives beside", -1, 6, 1, 20, false, false},
		{"forward, it was lost on the way", 25, 3, 1, 20, false, false},
		{"before the first stance it came from nowhere", -1, 3, 1, 5, false, false},
		{"backward, it arrives", -1, 3, -1, 20, true, true},
		{"backward, lost, but a moment beside the nearer stance", 15, 3, -1, 25, false, true},
		{"backward, lost, and long after it left", 11, 3, -1, 14, false, false},
	} {
		sweep, stood := follow(tt.lost, tt.beside)
		came := c.arrived(sweep, tt.step)[tt.frame]
		if got := c.leftOf(sweep[tt.frame], came, tt.frame, -tt.step, stood); came != tt.came || got.sure != tt.sure {
			t.Errorf("%s: came %v, sure %v; want %v, %v", tt.name, came, got.sure, tt.came, tt.sure)
		}
	}
	_, stood := follow(-1, 0)
	for frame, want := range map[int]bool{20: true, 40: false} { // 0.4 s and 0.68 s lie between the stances.
		if got := c.oneSwing(frame, stood); got != want {
			t.Errorf("frame %d: one swing only: %v, want %v", frame, got, want)
		}
	}
}

// Marks clicked one by one place a landmark better together; one that contradicts
// the surest does not spoil it.
func TestAgreedPlaces(t *testing.T) {
	at := func(x, y, sd, ncc float64) relocation {
		r := relocation{variance: sd * sd, click: sd * sd, from: &appearance{}}
		r.At, r.NCC, r.SD = flow.Point{X: x, Y: y}, ncc, 0.02
		return r
	}
	if got := agreed(nil); got.from != nil {
		t.Errorf("nothing found gave %+v", got)
	}
	got := agreed([]relocation{at(10, 20, 0.4, 0.97), at(10.4, 20, 0.4, 0.95), at(10.2, 20.3, 0.4, 0.96)})
	if math.Abs(got.At.X-10.2) > 1e-9 || math.Abs(got.At.Y-20.1) > 1e-9 {
		t.Errorf("three alike agree on %v, want their mean", got.At)
	}
	if sd := math.Sqrt(got.variance); math.Abs(sd-0.4/math.Sqrt(3)) > 0.01 {
		t.Errorf("spread %.3f px, want 0.4/√3 = %.3f and a little", sd, 0.4/math.Sqrt(3))
	}
	if got.NCC != 0.97 {
		t.Errorf("likeness %.2f, want the best one's", got.NCC)
	}
	if got = agreed([]relocation{at(10, 20, 0.1, 0.95), at(14, 20, 0.4, 0.99)}); got.At.X != 10 {
		t.Errorf("one that contradicts the surest moves it to %v", got.At)
	}
}

// The croup sways against what is followed from behind: two sweeps are surest close to the
// mark of one of them, and what turns the hindquarters misleads both.
func TestBlendOfTwoSweeps(t *testing.T) {
	see := func(own float64, sway spread) estimate {
		return estimate{at: flow.Point{X: 100, Y: 50}, variance: own*own + max(sway.down, sway.across), sway: sway, seen: true, quality: 0.8}
	}
	even, level := spread{down: 1, across: 1}, spread{down: 0.04, across: 1}
	for _, tt := range []struct {
		name    string
		a, b    estimate
		outline bool
		sd, sdY float64
	}{
		{"a head", see(0.6, spread{}), see(0.6, spread{}), false, 0.6 / math.Sqrt2, 0.6 / math.Sqrt2},
		{"half-way between two marks", see(0.6, even), see(0.6, even), true, math.Sqrt(0.86), math.Sqrt(0.86)},
		{"a level outline", see(0.6, level), see(0.6, level), true, math.Sqrt(0.86), math.Sqrt(0.38)},
		{"beside a mark", see(0.6, spread{}), see(0.6, level), true, 0.6, 0.6},
		{"one sweep only", see(0.6, level), estimate{cause: "hidden"}, false, math.Sqrt(1.36), math.Sqrt(0.4)},
	} {
		got, cause := blend(tt.a, tt.b, 2, tt.outline)
		if got.Status != traj.Tracked || math.Abs(got.SD-tt.sd) > 1e-9 || math.Abs(got.SpreadY()-tt.sdY) > 1e-9 {
			t.Errorf("%s: %v, spread %.3f and %.3f px (%s): want tracked, %.3f and %.3f", tt.name, got.Status, got.SD, got.SpreadY(), cause, tt.sd, tt.sdY)
		}
	}
	for _, tt := range []struct {
		other   string
		outline bool
		status  traj.Status
	}{{"hidden", true, traj.Lost}, {"hidden", false, traj.Tracked}, {afterLast, true, traj.Tracked}} {
		if got, _ := blend(see(0.6, spread{}), estimate{cause: tt.other}, 2, tt.outline); got.Status != tt.status {
			t.Errorf("one sweep alone, the other %s, on the outline: %v: %v, want %v", tt.other, tt.outline, got.Status, tt.status)
		}
	}
	if got, _ := blend(see(0.6, spread{down: 4, across: 4}), see(0.6, spread{down: 4, across: 4}), 1, true); got.Status != traj.Lost {
		t.Errorf("sway beyond the limit: %v, want lost", got.Status)
	}
}

// A hoof's patch that shrinks by more than the horse does is turned, or is another
// thing: neither makes its place surer.
func TestErrorsShrinkOnlyAsTheHorseDoes(t *testing.T) {
	c := &clip{trunk: &trunk{size: []float64{100, 0, 90}}}
	for _, tt := range []struct {
		name string
		fo   follower
		to   int
		want float64
	}{
		{"hoof", follower{clip: c, landmark: traj.RightHind}, 2, 0.9},
		{"hoof, body not followed there", follower{clip: c, landmark: traj.RightHind}, 1, 0.4},
		{"hoof, no body marked", follower{model: &known, clip: &clip{}, landmark: traj.RightHind}, 2, 0.4},
		{"body", follower{clip: c, landmark: traj.Croup}, 2, 0.4},
	} {
		if got := tt.fo.grown(0, tt.to, 0.4); got != tt.want {
			t.Errorf("%s: errors grow by %g, want %g", tt.name, got, tt.want)
		}
	}
}
