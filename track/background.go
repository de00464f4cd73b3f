package track

import (
	"fmt"
	"math"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// background measures how the picture's background moves from frame to frame,
// on a reduced picture: corners of a key frame are followed into every later
// one and a homography is fitted to those that agree.
type background struct {
	factor int // Picture pixels per reduced pixel.
	width  int
	height int

	small   flow.Gray // The latest frame, reduced.
	spare   flow.Gray // Memory for the next one.
	key     flow.Gray
	points  []flow.Point
	patches *flow.Patches // Around points.
	guess   []flow.Point
	found   []flow.Found
	from    []flow.Point
	to      []flow.Point
	keyPose traj.Motion // From the key frame to frame 0.
	last    traj.Motion // From the latest frame to the key frame, reduced pixels.
	before  traj.Motion // The same of the frame before it.
	motions []traj.Motion
	// residual collects the squared error of the fits, picture px².
	residual float64
	fits     int
}

func newBackground(width, height int) *background {
	return &background{factor: max(1, int(math.Round(float64(max(width, height))/640))), width: width, height: height}
}

// add takes the next frame.
func (b *background) add(g flow.Gray) error {
	small, err := flow.Shrink(g, b.factor, b.spare)
	if err != nil {
		return fmt.Errorf("frame %d: %w", len(b.motions), err)
	}
	b.spare, b.small = b.small, small
	if b.key.Pix == nil {
		b.keyPose = traj.Still()
		b.motions = append(b.motions, traj.Still())
		return b.newKey(small)
	}
	fit, err := b.fit(small)
	if err != nil {
		return fmt.Errorf("frame %d: %w", len(b.motions), err)
	}
	if fit.share > 0 {
		b.before, b.last = b.last, fit.motion
	}
	if !math.IsNaN(fit.variance) {
		b.residual += fit.variance * float64(b.factor*b.factor)
		b.fits++
	}
	m := multiply(b.keyPose, b.full(b.last))
	b.motions = append(b.motions, m)
	if fit.share < 0.55 || shiftOf(b.last, small.Width, small.Height).Dist(flow.Point{}) > 0.15*float64(small.Width) {
		b.keyPose = m
		return b.newKey(small)
	}
	return nil
}

func (b *background) newKey(small flow.Gray) error {
	b.key = flow.Gray{Pix: append(b.key.Pix[:0], small.Pix...), Width: small.Width, Height: small.Height, Stride: small.Width}
	b.last, b.before = traj.Still(), traj.Still()
	var err error
	if b.points, err = flow.Features(small, mostCorners, 0.01, float64(small.Width)/40); err != nil {
		return err
	}
	b.patches, err = flow.NewPatches(b.key, b.points, cornerSide)
	return err
}

const (
	mostCorners = 300
	cornerSide  = 15 // Of the square around a corner, reduced pixels.
)

// motionFit is a homography from a frame to the key frame.
type motionFit struct {
	motion   traj.Motion
	share    float64 // Of the key's corners that agree with it; 0 where there is none.
	variance float64 // Of what it says of a place, reduced px²; NaN where it is not known.
}

// fit returns the motion from the new frame to the key frame.
func (b *background) fit(small flow.Gray) (motionFit, error) {
	if len(b.points) < 12 {
		return motionFit{variance: math.NaN()}, nil
	}
	inverse, _ := invert(b.last)
	// A hand goes on as it went, which is right to a pixel but for jolts.
	b.expect(multiply(inverse, multiply(b.before, inverse)))
	var err error
	if b.found, err = b.patches.Find(small, b.guess, b.found); err != nil {
		return motionFit{}, err
	}
	near, err := b.agree()
	if err != nil || near.share >= 0.75 {
		return near, err
	}
	// What went farther is looked for from coarse to fine.
	b.expect(inverse)
	if b.found, err = flow.Follow(b.key, small, b.points, b.guess, flow.FlowOptions{Window: cornerSide, Levels: 2}); err != nil {
		return motionFit{}, err
	}
	far, err := b.agree()
	if err != nil || far.share > near.share {
		return far, err
	}
	return near, nil
}

// expect sets where the key's corners are looked for: where m takes them.
func (b *background) expect(m traj.Motion) {
	b.guess = b.guess[:0]
	for _, p := range b.points {
		if x, y := m.Apply(p.X, p.Y); (flow.Point{X: x, Y: y}).Finite() {
			p = flow.Point{X: x, Y: y}
		}
		b.guess = append(b.guess, p)
	}
}

// agree fits a homography to the corners found.
func (b *background) agree() (motionFit, error) {
	out := motionFit{variance: math.NaN()}
	b.from, b.to = b.from[:0], b.to[:0]
	for i, f := range b.found {
		if f.OK && f.Residual < 20 {
			b.from, b.to = append(b.from, f.Point), append(b.to, b.points[i])
		}
	}
	h, inliers, ok, err := flow.Homography(b.from, b.to, 0.75)
	if err != nil || !ok {
		return out, err
	}
	out.motion = traj.Motion(h)
	var sum float64
	n := 0
	for i, in := range inliers {
		if in {
			x, y := out.motion.Apply(b.from[i].X, b.from[i].Y)
			sum += (x-b.to[i].X)*(x-b.to[i].X) + (y-b.to[i].Y)*(y-b.to[i].Y)
			n++
		}
	}
	if n > 8 {
		// Eight numbers fitted to 2n: what the noise of the points does to the fit.
		out.variance = sum / float64(2*n-8) * 8 / float64(2*n)
	}
	out.share = float64(n) / float64(len(b.points))
	return out, nil
}

// full turns a homography of reduced pixels into one of picture pixels.
func (b *background) full(m traj.Motion) traj.Motion {
	// A reduced pixel x has its centre at f·x + (f−1)/2 of the picture.
	f := float64(b.factor)
	c := (f - 1) / 2
	up := traj.Motion{f, 0, c, 0, f, c, 0, 0, 1}
	down := traj.Motion{1 / f, 0, -c / f, 0, 1 / f, -c / f, 0, 0, 1}
	return multiply(up, multiply(m, down))
}

// result returns the motions to the reference frame, or nil where the camera
// stood still, with the shake and what the fits leave of it.
func (b *background) result(reference int) (motions []traj.Motion, shake, residual float64) {
	n := len(b.motions)
	if n < 2 || b.fits == 0 {
		return nil, 0, math.NaN()
	}
	residual = math.Sqrt(b.residual / float64(b.fits))
	inverse, ok := invert(b.motions[reference])
	if !ok {
		return nil, 0, math.NaN()
	}
	motions = make([]traj.Motion, n)
	for i := range motions {
		motions[i] = multiply(inverse, b.motions[i])
	}
	// Shake is taken over nine places of the picture, against their mean.
	var sum float64
	for i := range 3 {
		for j := range 3 {
			x, y := float64(b.width)*float64(1+i)/4, float64(b.height)*float64(1+j)/4
			var mx, my, sq float64
			for _, m := range motions {
				u, v := m.Apply(x, y)
				mx += u - x
				my += v - y
				sq += (u-x)*(u-x) + (v-y)*(v-y)
			}
			mx, my = mx/float64(n), my/float64(n)
			sum += sq/float64(n) - mx*mx - my*my
		}
	}
	shake = math.Sqrt(max(sum, 0) / 9)
	if !(shake > max(0.25, 4*residual)) {
		return nil, 0, 0
	}
	return motions, shake, residual
}

func multiply(a, b traj.Motion) traj.Motion {
	var c traj.Motion
	for i := range 3 {
		for j := range 3 {
			c[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	if c[8] != 0 {
		for i := range c {
			c[i] /= c[8]
		}
		c[8] = 1
	}
	return c
}

// invert returns the inverse of m, Still where there is none.
func invert(m traj.Motion) (inverse traj.Motion, ok bool) {
	c := traj.Motion{
		m[4]*m[8] - m[5]*m[7], m[2]*m[7] - m[1]*m[8], m[1]*m[5] - m[2]*m[4],
		m[5]*m[6] - m[3]*m[8], m[0]*m[8] - m[2]*m[6], m[2]*m[3] - m[0]*m[5],
		m[3]*m[7] - m[4]*m[6], m[1]*m[6] - m[0]*m[7], m[0]*m[4] - m[1]*m[3],
	}
	det := m[0]*c[0] + m[1]*c[3] + m[2]*c[6]
	if det == 0 || math.IsNaN(det) || c[8] == 0 {
		return traj.Still(), false
	}
	k := 1 / c[8]
	for i := range c {
		c[i] *= k
	}
	return c, true
}

// steady returns where p of frame f lies in the coordinates of frame 0, in which
// the background stands still.
func (c *clip) steady(f int, p flow.Point) flow.Point {
	if c.toFirst != nil {
		p.X, p.Y = c.toFirst[f].Apply(p.X, p.Y)
	}
	return p
}

// unsteady returns where in frame f lies what lies at p in frame 0.
func (c *clip) unsteady(f int, p flow.Point) (flow.Point, bool) {
	if c.toFirst == nil {
		return p, true
	}
	back, ok := invert(c.toFirst[f])
	if !ok {
		return p, false
	}
	p.X, p.Y = back.Apply(p.X, p.Y)
	return p, p.Finite()
}

// shiftOf returns how far motion m moves the middle of a picture.
func shiftOf(m traj.Motion, width, height int) flow.Point {
	x, y := float64(width)/2, float64(height)/2
	u, v := m.Apply(x, y)
	return flow.Point{X: u - x, Y: v - y}
}
