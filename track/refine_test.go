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
	engine := flow.New()
	rng := rand.New(rand.NewPCG(3, 1))
	coarse := flow.Gray{Pix: make([]byte, 130*130), Width: 130, Height: 130, Stride: 130}
	for i := range coarse.Pix {
		coarse.Pix[i] = byte(60 + rng.IntN(140))
	}
	large, err := engine.Resize(coarse, width, height)
	if err != nil {
		t.Fatal(err)
	}
	c := &clip{model: &known, engine: engine, hands: newHands(), width: width, height: height, times: []float64{0, 1, 2}}
	if c.spool, err = newSpool(t.TempDir(), 1<<24, 1<<20); err != nil {
		t.Fatal(err)
	}
	defer c.spool.close()
	body := &trunk{}
	scales := []float64{1, 0.8, 0.64}
	truth := make([]flow.Point, len(scales))
	for f, k := range scales {
		small, err := engine.Resize(large, int(width*k), int(height*k))
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
	fo := &follower{clip: c, model: c.model, landmark: traj.LeftFore, dir: 1, windows: c.window, scores: make([]flow.Scores, 1)}
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
	}
}
