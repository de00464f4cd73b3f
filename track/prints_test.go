package track

import (
	"context"
	"math"
	"slices"
	"testing"

	"jogstrip/track/errormodel"
	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// jog is a horse that trots along the line of sight of a still camera 1.6 m high, 5 s of 60 frames.
// Hinds land 9 cm behind the print of the fore of their side and 2 cm inside of it, half a stride
// after it.
type jog struct {
	clip  *clip
	front *pairSearch
	trunk *trunk
	// hind is where a hind that stands at a time, s, is seen.
	hind func(side int, at float64) flow.Point
}

const (
	jogStride = 0.7 // s.
	jogSpeed  = 3.0 // m/s.
)

func newJog(toward bool) jog {
	model := errormodel.Usual().Tracking
	c := &clip{model: &model, pace: &model.Trot, grows: toward, times: make([]float64, 300)}
	at := func(x, z float64) flow.Point { return flow.Point{X: 1500 * x / z, Y: 1500 * 1.6 / z} }
	z := func(t float64) float64 { // Of the trunk, m from the camera.
		if toward {
			return 20 - jogSpeed*t
		}
		return 5 + jogSpeed*t
	}
	j := jog{clip: c, trunk: &trunk{times: c.times, at: make([]flow.Point, 300), size: make([]float64, 300)}}
	for f := range c.times {
		c.times[f] = float64(f) / 60
		j.trunk.size[f] = 1500 * 0.4 / z(c.times[f])
	}
	pair := fores
	if !toward {
		pair = hinds
	}
	// The pair in front stands in the middle of half strides, left and right by turns.
	j.front = &pairSearch{pair: pair, stride: jogStride, counts: &counts{lasts: 0.26}}
	aside := [2]float64{-0.12, 0.12}
	print := func(side int, t float64) flow.Point { return at(aside[side], z(t)) }
	for k := range 14 {
		t := 0.2 + jogStride/2*float64(k)
		s := &standing{model: c.model, landmark: pair[k%2], mark: print(k%2, t)}
		for f := int((t - 0.13) * 60); f <= int((t+0.13)*60); f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		j.front.chosen = append(j.front.chosen, s)
	}
	j.hind = func(side int, t float64) flow.Point {
		before := jogStride / 2
		behind, inside := 0.09, 0.02
		if !toward { // It is a fore then: hinds will land half a stride later in its print.
			before, behind, inside = -before, -behind, -inside
		}
		shift := behind // Away from the camera, of one that comes.
		if !toward {
			shift = -shift
		}
		side2 := math.Copysign(inside, -aside[side])
		return at(aside[side]+side2, z(t-before)+shift)
	}
	return j
}

// The print of a hind is that of the fore which stood there before; a fore seen from behind stands
// where the hind of its side will land next (common practice: at the trot hinds land in the prints
// of the fores or near them).
func TestPrintOf(t *testing.T) {
	for _, tt := range []struct {
		name   string
		toward bool
		at     float64 // When the left hoof of the pair behind stands, s.
		want   int     // Which stance of the pair in front made or will make its print; −1: none.
	}{
		{"comes: the fore half a stride before", true, 0.55, 0},
		{"comes: one stride on", true, 1.25, 2},
		{"comes: none stood there before", true, 0.1, -1},
		{"goes: the hind half a stride later", false, 0.55, 2},
		{"goes: none will", false, 4.9, -1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			j := newJog(tt.toward)
			got, ok := newStander(j.clip, traj.LeftHind).printOf(j.front, 0, tt.at)
			if ok != (tt.want >= 0) {
				t.Fatalf("found %v, want %v", ok, tt.want >= 0)
			}
			if ok && got != j.front.chosen[tt.want].mark {
				t.Errorf("print at %v, want that of stance %d at %v", got, tt.want, j.front.chosen[tt.want].mark)
			}
		})
	}
}

// What is seen of a half hidden hoof and what its print says are put together by how sure each is;
// where they contradict each other the place is not told.
func TestPlaceByItsPrint(t *testing.T) {
	model := errormodel.Usual().Tracking
	const size = 20.0 // px. The print says it to 6 px across and 3 px down, one standard deviation.
	for _, tt := range []struct {
		name string
		seen flow.Point // From the place that the print says.
		sd   float64    // Of seen, px.
		want flow.Point
		ok   bool
	}{
		{"surely seen: as seen", flow.Point{X: 5, Y: -2}, 0.01, flow.Point{X: 5, Y: -2}, true},
		{"as sure as the print across: midway", flow.Point{X: 8}, 6, flow.Point{X: 4}, true},
		{"as sure as the print down: midway", flow.Point{Y: 4}, 3, flow.Point{Y: 2}, true},
		{"unsurely seen: as the print says", flow.Point{X: -8, Y: 4}, 1e4, flow.Point{}, true},
		{"another place across", flow.Point{X: 13}, 2, flow.Point{}, false},
		{"another place down", flow.Point{Y: -7}, 2, flow.Point{}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			at, print := flow.Point{X: 300, Y: 400}, flow.Point{X: 310, Y: 420}
			s := &standing{model: &model, size: size, print: &print, seen: []stood{{frame: 1, steady: at}}}
			by := relocation{variance: tt.sd * tt.sd}
			by.At = print.Add(tt.seen).Sub(at)
			got, ok := s.byItsPrint(by)
			if ok != tt.ok {
				t.Fatalf("told %v, want %v", ok, tt.ok)
			}
			if off := at.Add(got.At).Sub(print); ok && off.Dist(tt.want) > 0.01 {
				t.Errorf("%v from the print, want %v", off, tt.want)
			}
			if ok && got.variance != by.variance {
				t.Errorf("variance %v, want that of what is seen, %v", got.variance, by.variance)
			}
		})
	}
}

// One mark of a hoof of the pair behind says where it stands in every other stride, at any distance:
// within a tenth of a hoof's width, which is what the way from the print to it, seen from farther or
// nearer, is foreshortened by.
func TestOneMarkTellsEveryStride(t *testing.T) {
	for _, toward := range []bool{true, false} {
		j := newJog(toward)
		st := newStander(j.clip, traj.LeftHind)
		marked := 150 // 2.5 s.
		if toward {
			marked = 159
		}
		for side := range 2 {
			at := j.clip.times[marked] + jogStride/2*float64(side)
			f := frameAt(j.clip.times, at)
			models := []model{{appearance: &appearance{frame: f, at: j.hind(side, middleOfBehind(at, side))}}}
			tried := 0
			for around := 0.6; around < 4.6; around += jogStride {
				m, moment, place := st.bestMark(j.front, models, side, around, j.trunk)
				if m == nil {
					continue
				}
				tried++
				want := j.hind(side, middleOfBehind(moment, side))
				hoof := 1500 * 0.12 * j.trunk.size[frameAt(j.clip.times, moment)] / (1500 * 0.4)
				if d := place.Dist(want); d > 0.1*hoof {
					t.Errorf("toward %v, side %d, at %.2f s: %.1f px off, a hoof is %.1f px wide", toward, side, moment, d, hoof)
				}
			}
			if tried < 4 {
				t.Errorf("toward %v, side %d: %d strides are told by the mark, want 4 at least", toward, side, tried)
			}
		}
	}
}

// middleOfBehind returns the middle of the stance of the pair behind in which a time, s, lies: that
// of the diagonal limb in front.
func middleOfBehind(at float64, side int) float64 {
	first := 0.2 + jogStride/2*float64(1-side)
	return first + math.Round((at-first)/jogStride)*jogStride
}

// Frames are shown from half a frame before their time to half a frame after it.
func TestFrameAt(t *testing.T) {
	times := []float64{0, 0.1, 0.2, 0.4}
	for _, tt := range []struct {
		at   float64
		want int
	}{{-0.01, -1}, {0, 0}, {0.04, 0}, {0.06, 1}, {0.31, 3}, {0.4, 3}, {0.41, -1}} {
		if got := frameAt(times, tt.at); got != tt.want {
			t.Errorf("frame at %v s: %d, want %d", tt.at, got, tt.want)
		}
	}
}

// Stances of the pair behind that were marked are counted by the strides of the pair in front:
// even steps for the side of the first, odd ones for the other.
func TestBeatsBehind(t *testing.T) {
	j := newJog(true)
	of := func(l traj.Landmark, from, to int) *standing {
		s := &standing{landmark: l}
		for f := from; f <= to; f++ {
			s.seen = append(s.seen, stood{frame: f})
		}
		return s
	}
	ps := &pairSearch{pair: hinds, chosen: []*standing{of(traj.RightHind, 100, 112), of(traj.LeftHind, 33, 40), of(traj.LeftHind, 121, 130)}}
	if err := newStander(j.clip, traj.LeftHind).byPrints(context.Background(), ps, j.front, j.trunk, nil); err != nil {
		t.Fatal(err)
	}
	for i, want := range []int{0, 3, 4} {
		if got := ps.chosen[i].beat; got != want {
			t.Errorf("stance %d, %s at %.2f s: beat %d, want %d", i, ps.chosen[i].landmark, ps.chosen[i].middle(j.clip.times), got, want)
		}
	}
}

// Hinds land in the prints of the fores after these left (common practice): what seems to stand there
// earlier is the fore, and does not belong to the hind's stance, also not as its beginning. From behind
// the fore leaves the print before the hind comes.
func TestTwoHoovesInOnePrint(t *testing.T) {
	of := func(l traj.Landmark, x float64, frames ...int) *standing {
		s := &standing{model: &known, landmark: l, size: 20}
		for _, f := range frames {
			s.seen = append(s.seen, stood{frame: f, steady: flow.Point{X: x, Y: 100}})
		}
		return s
	}
	for _, tt := range []struct {
		name   string
		comes  bool
		front  *standing
		behind *standing
		want   []int // Frames that are left of the stance behind.
	}{
		{"comes: the fore stood there before", true, of(traj.LeftFore, 100, 10, 20, 30), of(traj.LeftHind, 104, 8, 9, 25, 33, 34, 35), []int{33, 34, 35}},
		{"comes: beside the print", true, of(traj.LeftFore, 100, 10, 20, 30), of(traj.LeftHind, 140, 25, 33, 34), []int{25, 33, 34}},
		{"comes: the fore had left", true, of(traj.LeftFore, 100, 10, 20, 30), of(traj.LeftHind, 104, 31, 33, 34), []int{31, 33, 34}},
		{"goes: the hind came after", false, of(traj.LeftHind, 100, 30, 40), of(traj.LeftFore, 104, 10, 12, 20, 31, 41), []int{10, 12, 20}},
		{"nothing of it is left", true, of(traj.LeftFore, 100, 10, 20, 30), of(traj.LeftHind, 104, 12, 22, 29), nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := &clip{model: &known, grows: tt.comes}
			var got []int
			for _, s := range c.apart([]*standing{tt.front, tt.behind}) {
				if s == tt.behind {
					for _, p := range s.seen {
						got = append(got, p.frame)
					}
				}
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("frames %v are left, want %v", got, tt.want)
			}
		})
	}
}
