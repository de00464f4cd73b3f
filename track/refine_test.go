package track

import (
	"image"
	"math"
	"math/rand/v2"
	"testing"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// Marks of a hoof at other distances place its stances as well as the nearest one:
// together they are surer than it, and a click that is off is outvoted. The hoof here
// is the same picture at four fifths of its size in each frame after the first.
func TestRefineTakesMarksOfOtherDistances(t *testing.T) {
	const width, height, side = 400, 400, 40.0
	rng := rand.New(rand.NewPCG(3, 1))
	coarse := flow.Gray{Pix: make([]byte, 130*130), Width: 130, Height: 130, Stride: 130}
	for i := range coarse.Pix {
		coarse.Pix[i] = byte(60 + rng.IntN(140))
	}
	large, err := flow.Resize(coarse, width, height)
	if err != nil {
		t.Fatal(err)
	}
	c := &clip{model: &known, hands: newHands(), width: width, height: height, times: []float64{0, 1, 2}}
	if c.spool, err = newSpool(t.TempDir(), 1<<24, 1<<20); err != nil {
		t.Fatal(err)
	}
	defer c.spool.close()
	body := &trunk{}
	scales := []float64{1, 0.8, 0.64}
	truth := make([]flow.Point, len(scales))
	for f, k := range scales {
		small, err := flow.Resize(large, int(width*k), int(height*k))
		if err != nil {
			t.Fatal(err)
		}
		frame := flow.Gray{Pix: make([]byte, width*height), Width: width, Height: height, Stride: width}
		for y := range small.Height {
			copy(frame.Pix[y*width:], small.Pix[y*small.Stride:][:small.Width])
		}
		if err := c.spool.add(frame, image.Rect(0, 0, width, height)); err != nil {
			t.Fatal(err)
		}
		truth[f] = flow.Point{X: (200.5)*k - 0.5, Y: (200.5)*k - 0.5}
		body.at, body.size = append(body.at, flow.Point{X: truth[f].X, Y: truth[f].Y - 100*k}), append(body.size, 100*k)
	}
	// Clicks of the first frame are off by one, the others' are right.
	off := flow.Point{X: 1}
	fo := newFollower(c, traj.LeftFore, 1)
	st := &stander{clip: c, model: c.model, fo: fo}
	var marked []model
	for f, k := range scales {
		m := Mark{Frame: f, Landmark: traj.LeftFore, X: truth[f].X, Y: truth[f].Y, Visible: true, SD: 0.4}
		if f == 0 {
			m.X += off.X
		}
		models, err := c.modelAt(fo, body, seed{Mark: m, size: side * k})
		if err != nil || len(models) != 1 {
			t.Fatalf("frame %d: %d models, %v", f, len(models), err)
		}
		marked = append(marked, models...)
	}
	for f, k := range scales {
		g, o, _, err := c.spool.region(f, image.Rect(0, 0, width, height), nil)
		if err != nil {
			t.Fatal(err)
		}
		plane := flow.NewPlane(g, o.X, o.Y, halvings(side*k))
		nearest := marked[f].appearance
		pose := flow.Pose{At: nearest.at, Scale: nearest.scale}
		r, ok, err := fo.anchor(nearest, plane, pose, side*k, 0)
		if err != nil || !ok {
			t.Fatalf("frame %d: the nearest mark is not found: %v", f, err)
		}
		all, _, err := st.byMarks(f, nearest.at, nearest.window, marked)
		if err != nil {
			t.Fatal(err)
		}
		before, after := math.Abs(r.At.X-truth[f].X), math.Abs(all.At.X-truth[f].X)
		t.Logf("frame %d: the nearest mark alone %.2f ± %.2f px off, all together %.2f ± %.2f", f, before, math.Sqrt(r.variance), after, math.Sqrt(all.variance))
		// A click's error is as many px here as the hoof looks larger.
		var weights float64
		for _, other := range scales {
			weights += 1 / sq(0.4*k/other)
		}
		if want := math.Sqrt(1 / weights); math.Sqrt(all.variance) > 1.25*want {
			t.Errorf("frame %d: all marks together are good to %.2f px, want %.2f as they are when each counts", f, math.Sqrt(all.variance), want)
		}
		if f == 0 && after > 0.7*before {
			t.Errorf("frame %d: the click stays %.2f px off, alone %.2f", f, after, before)
		}
		// Registering alone goes astray from so far.
		far, _, err := st.byMarks(f, nearest.at.Add(flow.Point{X: 0.5 * side * k}), nearest.window, marked)
		if err != nil || far.from == nil || far.At.Dist(all.At) > 0.3 {
			t.Errorf("frame %d: from half a patch beside it the hoof is found at %v, want %v (%v)", f, far.At, all.At, err)
		}
	}
}

// standerOn returns what looks for the stances of the left fore in frames, a sixtieth of a second
// apart, of a camera that keeps still.
func standerOn(t *testing.T, frames ...flow.Gray) *stander {
	t.Helper()
	c := &clip{model: &known, hands: newHands(), width: frames[0].Width, height: frames[0].Height, pace: &known.Trot, grows: true}
	var err error
	if c.spool, err = newSpool(t.TempDir(), 1<<24, 1<<20); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.spool.close() })
	for f, g := range frames {
		c.times = append(c.times, float64(f)/60)
		if err := c.spool.add(g, image.Rect(0, 0, g.Width, g.Height)); err != nil {
			t.Fatal(err)
		}
	}
	return newStander(c, traj.LeftFore)
}

// painted returns a picture of the given side, px.
func painted(side int, grey func(x, y int) byte) flow.Gray {
	g := flow.Gray{Pix: make([]byte, side*side), Width: side, Height: side, Stride: side}
	for y := range side {
		for x := range side {
			g.Pix[y*side+x] = grey(x, y)
		}
	}
	return g
}

// A place beside which another looks the same is not known as surely as one that is alone.
func TestRivalsWidenTheSpread(t *testing.T) {
	const side = 30.0
	rng := rand.New(rand.NewPCG(5, 1))
	blocks := make([]byte, 64*64) // 3 px wide each.
	for i := range blocks {
		blocks[i] = byte(60 + rng.IntN(140))
	}
	sdOf := func(period int) float64 {
		g := painted(180, func(x, y int) byte { return blocks[y/3*64+x%period/3] })
		st := standerOn(t, g, g)
		at := flow.Point{X: 90, Y: 90}
		body := &trunk{at: []flow.Point{{X: 90, Y: 20}, {X: 90, Y: 20}}, size: []float64{70, 70}}
		models, err := st.clip.modelAt(st.fo, body, seed{Mark: Mark{Landmark: traj.LeftFore, X: at.X, Y: at.Y, Visible: true, SD: 0.4}, size: side})
		if err != nil || len(models) != 1 {
			t.Fatalf("%d models, %v", len(models), err)
		}
		r, _, err := st.byMarks(1, at, models[0].window, models)
		if err != nil || r.from == nil {
			t.Fatalf("the hoof is not found: %v", err)
		}
		return math.Sqrt(r.variance)
	}
	if alone := sdOf(180); alone > 1 {
		t.Errorf("a place of which there is no other is known to %.1f px, want less than 1", alone)
	}
	// Of three places 12 px apart the middle one is right as likely as either other.
	if rivals := sdOf(12); rivals < 5 || rivals > 12 {
		t.Errorf("places 12 px apart that look the same are told to %.1f px, want 5 to 12", rivals)
	}
}

// Where a hind lands in the print of the fore it is the hind that stands there from then on,
// though it looks the same.
func TestJumpEndsAStance(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	blocks := make([]byte, 64*64)
	for i := range blocks {
		blocks[i] = byte(60 + rng.IntN(140))
	}
	var frames []flow.Gray
	for f := range 24 {
		shift := 0
		if f >= 12 {
			shift = 2 // An eighth of the patch.
		}
		frames = append(frames, painted(120, func(x, y int) byte { return blocks[(y+shift)/3*64+x/3] }))
	}
	st := standerOn(t, frames...)
	w := flow.Window{Left: 8, Right: 8, Up: 11, Down: 5}
	s, base, err := st.moment(2, flow.Point{X: 60, Y: 60}, w)
	if err != nil || s == nil {
		t.Fatalf("nothing stands: %v", err)
	}
	if err := st.prolong(t.Context(), s, base, 1, w); err != nil {
		t.Fatal(err)
	}
	if s.last() != 11 {
		t.Errorf("it stands until frame %d, want 11", s.last())
	}
}

// What passes in front of a part of a hoof moves it in the picture for a moment, and not for
// good: afterwards it looks as it did, and stands where it did.
func TestWhatPassesDoesNotTakeItAlong(t *testing.T) {
	// A dark shoe with a light sole, on plain ground.
	shoe := func(x, y int) float64 {
		if inside := y >= 44 && y < 63 && x >= 48 && x < 68; inside && y >= 59 {
			return 190
		} else if inside {
			return 60
		}
		return 130 + 3*math.Sin(float64(x)/3)*math.Cos(float64(y)/4)
	}
	var frames []flow.Gray
	for f := range 24 {
		frames = append(frames, painted(120, func(x, y int) byte {
			// A limb comes before its upper part and goes on.
			if left := 67 - (f - 8); f >= 8 && f < 14 && x >= left && x < left+14 && y < 58 {
				return 75
			}
			return byte(shoe(x, y))
		}))
	}
	st := standerOn(t, frames...)
	origin := flow.Point{X: 60, Y: 60}
	w := flow.Window{Left: 8, Right: 8, Up: 11, Down: 5}
	s, base, err := st.moment(2, origin, w)
	if err != nil || s == nil {
		t.Fatalf("nothing stands: %v", err)
	}
	if err := st.prolong(t.Context(), s, base, 1, w); err != nil {
		t.Fatal(err)
	}
	if s.last() != len(frames)-1 {
		t.Errorf("it stands until frame %d, want the last, %d", s.last(), len(frames)-1)
	}
	most := 0.0
	for _, p := range s.seen {
		d := p.steady.Dist(origin)
		most = max(most, d)
		if p.frame >= 14 && d > 0.05 {
			t.Errorf("frame %d: %.2f px from where it stands", p.frame, d)
		}
	}
	if most < 0.1 {
		t.Errorf("nothing passed: at most %.2f px off", most)
	}
}
