package track

import (
	"image"
	"math"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// pairUp registers the mirror image of every marked left hoof on the marked right ones that
// look like it. A person clicks left and right one by one; how the clicks differ on the hoof
// is told by that better than by their spread.
func (c *clip) pairUp(searches []*pairSearch) error {
	for _, ps := range searches {
		for _, left := range ps.models[0] {
			image := mirrored(left.appearance)
			if image == nil {
				continue
			}
			for _, right := range ps.models[1] {
				pair, alike, err := ps.pairOf(left, right, image)
				if err != nil {
					return err
				}
				if alike {
					c.pairs = append(c.pairs, pair)
				}
			}
		}
	}
	return nil
}

// pairOf says where the mark of left, which looks like image in the mirror, lies on right; alike
// is whether that looks like it.
func (ps *pairSearch) pairOf(left, right model, image *appearance) (pair traj.Pair, alike bool, err error) {
	m, size := ps.st.model, right.window.Size()
	ok, err := ps.st.around(right.frame, right.at, right.window, 0.6*size+4)
	if err != nil || !ok {
		return pair, false, err
	}
	r, ok, err := ps.st.fo.anchor(image, ps.st.plane, flow.Pose{At: right.at, Scale: size}, size, m.AnchorNCC)
	if err != nil || !ok || r.NCC < m.AnchorNCC || r.At.Dist(right.at) > m.StandStray*size {
		return pair, false, err
	}
	return traj.Pair{
		Left: ps.pair[0], LeftFrame: left.frame, RightFrame: right.frame,
		DownPX: r.At.Y - right.at.Y, SDPX: math.Sqrt(r.variance - r.click),
	}, true, nil
}

// mirrored returns what m looks like in a mirror that stands upright beside it; nil where
// that gives no hold.
func mirrored(m *appearance) *appearance {
	g := flow.Gray{Pix: make([]uint8, m.patch.Width*m.patch.Height), Width: m.patch.Width, Height: m.patch.Height, Stride: m.patch.Width}
	for y := range g.Height {
		for x := range g.Width {
			g.Pix[y*g.Stride+x] = m.patch.Pix[y*m.patch.Stride+g.Width-1-x]
		}
	}
	last, x0, y0 := float64(g.Width-1), float64(m.origin.X), float64(m.origin.Y)
	out := &appearance{
		frame: m.frame, at: flow.Point{X: last - (m.at.X - x0), Y: m.at.Y - y0}, scale: m.scale, angle: -m.angle, variance: m.variance,
		patch: g, origin: image.Point{}, window: m.window, resized: map[int]*flow.Template{},
		weigh: func(x, y float64) float64 { return m.weigh(last-x+x0, y+y0) },
	}
	out.window.Left, out.window.Right = m.window.Right, m.window.Left
	var err error
	if out.template, err = flow.NewTemplate(flow.NewPlane(g, 0, 0, halvings(out.window.Size())), out.at, out.window, out.weigh); err != nil {
		return nil
	}
	return out
}
