package track

import (
	"math"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// A hoof that turns is followed by two sweeps, from the stance before and from
// the stance after. What they say across the picture is believed where one of them
// is sure and the other does not contradict it.
func TestBlendAcross(t *testing.T) {
	see := func(x, y, sdX, sdY float64) estimate {
		return estimate{at: flow.Point{X: x, Y: y}, across: sdX * sdX, variance: sdY * sdY, seen: true, quality: 0.8}
	}
	lost := estimate{cause: "hidden"}
	for _, tt := range []struct {
		name    string
		a, b    estimate
		ok      bool
		x       float64
		sd, sdY float64 // At most; 0 where it does not count.
	}{
		{"one is sure", see(100, 50, 0.5, 6), lost, true, 100, 0.5, 6},
		{"the other is sure", lost, see(101, 50, 0.6, 6), true, 101, 0.6, 6},
		{"both are: nearer to the surer", see(100, 50, 0.5, 6), see(101, 52, 1, 3), true, 100.2, 0.5, 3},
		{"neither is", see(100, 50, 2, 6), see(100, 50, 3, 6), false, 0, 0, 0},
		{"the unsure one contradicts across", see(100, 50, 0.5, 6), see(112, 50, 2, 6), false, 0, 0, 0},
		{"they contradict each other in height", see(100, 50, 0.5, 3), see(100, 80, 0.5, 3), false, 0, 0, 0},
		{"a person says it is hidden", see(100, 50, 0.5, 6), estimate{cause: "marked as hidden"}, false, 0, 0, 0},
		{"neither sees it", lost, lost, false, 0, 0, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, ok := blendAcross(tt.a, tt.b)
			if ok != tt.ok {
				t.Fatalf("believed: %v, want %v (%+v)", ok, tt.ok, got)
			}
			if !ok {
				return
			}
			if got.Status != traj.Across || math.Abs(got.X-tt.x) > 1e-9 {
				t.Errorf("got %v at x = %g, want across at %g", got.Status, got.X, tt.x)
			}
			if got.SD > tt.sd+1e-9 || got.SDY > tt.sdY+1e-9 || !(got.SD > 0) {
				t.Errorf("spread %.2f across, %.2f down: want at most %.2f and %.2f", got.SD, got.SDY, tt.sd, tt.sdY)
			}
			again, _ := blendAcross(tt.b, tt.a)
			if math.Abs(again.X-got.X) > 1e-9 || math.Abs(again.SD-got.SD) > 1e-9 {
				t.Errorf("the other way round it is %+v, not %+v", again, got)
			}
		})
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

// What covers a hoof, or sways beside the croup, misleads both sweeps alike: two
// that agree are no surer than it allows.
func TestBlendKeepsWhatSweepsShare(t *testing.T) {
	see := func(own float64, shared spread) estimate {
		return estimate{at: flow.Point{X: 100, Y: 50}, variance: own*own + max(shared.down, shared.across), across: own*own + shared.across, shared: shared, seen: true, quality: 0.8}
	}
	covered, level := spread{down: 1, across: 1}, spread{down: 0.04, across: 1}
	for _, tt := range []struct {
		name    string
		a, b    estimate
		sd, sdY float64
	}{
		{"nothing is shared", see(0.6, spread{}), see(0.6, spread{}), 0.6 / math.Sqrt2, 0.6 / math.Sqrt2},
		{"a covered hoof", see(0.6, covered), see(0.6, covered), math.Sqrt(1.18), math.Sqrt(1.18)},
		{"a level outline", see(0.6, level), see(0.6, level), math.Sqrt(1.18), math.Sqrt(0.22)},
		{"one sweep only", see(0.6, level), estimate{cause: "hidden"}, math.Sqrt(1.36), math.Sqrt(0.4)},
	} {
		got, cause := blend(tt.a, tt.b, 2)
		if got.Status != traj.Tracked || math.Abs(got.SD-tt.sd) > 1e-9 || math.Abs(got.SpreadY()-tt.sdY) > 1e-9 {
			t.Errorf("%s: %v, spread %.3f and %.3f px (%s): want tracked, %.3f and %.3f", tt.name, got.Status, got.SD, got.SpreadY(), cause, tt.sd, tt.sdY)
		}
	}
	if got, _ := blend(see(0.6, covered), see(0.6, covered), 1); got.Status != traj.Lost {
		t.Errorf("shared doubt beyond the limit: %v, want lost", got.Status)
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
		{"hoof, no body marked", follower{clip: &clip{}, landmark: traj.RightHind}, 2, 0.4},
		{"body", follower{clip: c, landmark: traj.Croup}, 2, 0.4},
	} {
		if got := tt.fo.grown(0, tt.to, 0.4); got != tt.want {
			t.Errorf("%s: errors grow by %g, want %g", tt.name, got, tt.want)
		}
	}
}
