package overlay_test

import (
	"math"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/overlay"
	"jogstrip/track/traj"
)

func planes(w, h int) clip.Planes {
	p := clip.Planes{Width: w, Height: h, Y: make([]byte, w*h), U: make([]byte, w*h/4), V: make([]byte, w*h/4)}
	for i := range p.Y {
		p.Y[i] = 100
	}
	for i := range p.U {
		p.U[i], p.V[i] = 128, 128
	}
	return p
}

func one(l traj.Landmark, s traj.Sample) *traj.Set {
	return &traj.Set{Width: 400, Height: 400, Times: []float64{0}, Tracks: []traj.Track{{Landmark: l, Samples: []traj.Sample{s}}}}
}

// changed counts pixels that differ from the bare picture around a place.
func changed(p clip.Planes, x, y, reach int) (n int) {
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			if p.Y[(y+dy)*p.Width+x+dx] != 100 {
				n++
			}
		}
	}
	return n
}

func TestMarkIsDrawnWhereItIs(t *testing.T) {
	for _, l := range []traj.Landmark{traj.LeftFore, traj.RightHind, traj.Head} {
		p := planes(200, 200)
		overlay.New(one(l, traj.Sample{X: 220, Y: 180, SD: 0.2, Status: traj.Tracked}), nil).Draw(0, p, 2)
		if changed(p, 110, 90, 9) < 30 {
			t.Errorf("%s: nothing drawn at half of 220, 180", l)
		}
		if p.Y[90*200+110] != 100 {
			t.Errorf("%s: the mark hides what it marks", l)
		}
	}
}

func TestLostMarkIsNotDrawn(t *testing.T) {
	p := planes(200, 200)
	overlay.New(one(traj.LeftFore, traj.Gone()), nil).Draw(0, p, 2)
	if n := changed(p, 110, 90, 40); n != 0 {
		t.Errorf("%d pixels drawn for a mark that was lost", n)
	}
}

func TestBridgedMarkHasABrokenOutline(t *testing.T) {
	seen, bridged := planes(200, 200), planes(200, 200)
	overlay.New(one(traj.LeftFore, traj.Sample{X: 220, Y: 180, Status: traj.Tracked}), nil).Draw(0, seen, 2)
	overlay.New(one(traj.LeftFore, traj.Sample{X: 220, Y: 180, Status: traj.Bridged}), nil).Draw(0, bridged, 2)
	if a, b := changed(seen, 110, 90, 8), changed(bridged, 110, 90, 8); b >= a*3/4 {
		t.Errorf("bridged mark has %d pixels, a seen one %d", b, a)
	}
}

// Of a hoof that turns the height is unsure: a line says by how much.
func TestTurningHoofHasAnUprightLine(t *testing.T) {
	seen, turning := planes(200, 200), planes(200, 200)
	overlay.New(one(traj.LeftFore, traj.Sample{X: 220, Y: 180, SD: 0.5, Status: traj.Tracked}), nil).Draw(0, seen, 2)
	overlay.New(one(traj.LeftFore, traj.Sample{X: 220, Y: 180, SD: 0.5, SDY: 30, Status: traj.Across}), nil).Draw(0, turning, 2)
	if a, b := changed(seen, 110, 90, 16), changed(turning, 110, 90, 16); b < a+20 {
		t.Errorf("a turning hoof has %d pixels, a seen one %d", b, a)
	}
}

func TestStandingHoofHasABar(t *testing.T) {
	standing, flying := planes(200, 200), planes(200, 200)
	s := one(traj.LeftFore, traj.Sample{X: 220, Y: 180, Status: traj.Tracked})
	overlay.New(s, []metrics.Contact{{Limb: traj.LeftFore, On: -1, Off: 1}}).Draw(0, standing, 2)
	overlay.New(s, []metrics.Contact{{Limb: traj.LeftFore, On: 1, Off: 2}}).Draw(0, flying, 2)
	if a, b := changed(standing, 105, 101, 4), changed(flying, 105, 101, 4); a <= b {
		t.Errorf("standing %d pixels, flying %d", a, b)
	}
}

func TestPlacesOutsideThePictureDoNoHarm(t *testing.T) {
	for _, x := range []float64{-50, 1e9, -1e9, math.Inf(1), math.NaN()} {
		p := planes(64, 48)
		overlay.New(one(traj.RightFore, traj.Sample{X: x, Y: x, Status: traj.Tracked}), nil).Draw(0, p, 1)
		overlay.New(one(traj.Head, traj.Gone()), nil).Draw(7, p, 1) // A frame the tracks do not have.
	}
}
