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
	engine *flow.Engine
	factor int // Picture pixels per reduced pixel.
	width  int
	height int

	small   flow.Gray // The latest frame, reduced.
	key     flow.Gray
	points  []flow.Point
	keyPose traj.Motion // From the key frame to frame 0.
	last    traj.Motion // From the latest frame to the key frame, reduced pixels.
	motions []traj.Motion
	// residual collects the squared error of the fits, picture px².
	residual float64
	fits     int
	broken   int // Frames without a fit.
}

func newBackground(e *flow.Engine, width, height int) *background {
	return &background{engine: e, factor: max(1, int(math.Round(float64(max(width, height))/640))), width: width, height: height}
}

// add takes the next frame.
func (b *background) add(g flow.Gray) error {
	small := g
	if b.factor > 1 {
		var err error
		if small, err = b.engine.Resize(g, max(g.Width/b.factor, 1), max(g.Height/b.factor, 1)); err != nil {
			return fmt.Errorf("frame %d: %w", len(b.motions), err)
		}
	} else {
		small.Pix = append([]byte(nil), g.Pix...)
	}
	b.small = small
	if b.key.Pix == nil {
		b.keyPose = traj.Still()
		b.motions = append(b.motions, traj.Still())
		return b.newKey(small)
	}
	h, share, err := b.fit(small)
	if err != nil {
		return fmt.Errorf("frame %d: %w", len(b.motions), err)
	}
	if share > 0 {
		b.last = h
	} else {
		b.broken++
	}
	m := multiply(b.keyPose, b.full(b.last))
	b.motions = append(b.motions, m)
	if share < 0.55 || b.shift(b.last) > 0.15*float64(small.Width) {
		b.keyPose = m
		return b.newKey(small)
	}
	return nil
}

func (b *background) newKey(small flow.Gray) error {
	b.key, b.last = small, traj.Still()
	var err error
	b.points, err = b.engine.Features(small, 300, 0.01, float64(small.Width)/40)
	return err
}

// fit returns the homography from the new frame to the key frame and the share
// of the key's corners that agree with it; share 0 where there is none.
func (b *background) fit(small flow.Gray) (traj.Motion, float64, error) {
	if len(b.points) < 12 {
		return traj.Still(), 0, nil
	}
	guess := make([]flow.Point, len(b.points))
	inverse, ok := invert(b.last)
	for i, p := range b.points {
		guess[i] = p
		if x, y := inverse.Apply(p.X, p.Y); ok && (flow.Point{X: x, Y: y}).Finite() {
			guess[i] = flow.Point{X: x, Y: y}
		}
	}
	found, err := b.engine.Flow(b.key, small, b.points, guess, flow.FlowOptions{Window: 15, Levels: 2})
	if err != nil {
		return traj.Still(), 0, err
	}
	var from, to []flow.Point
	for i, f := range found {
		if f.OK && f.Residual < 20 {
			from, to = append(from, f.Point), append(to, b.points[i])
		}
	}
	h, inliers, ok, err := b.engine.Homography(from, to, 0.75)
	if err != nil || !ok {
		return traj.Still(), 0, err
	}
	m := traj.Motion(h)
	var sum float64
	n := 0
	for i, in := range inliers {
		if in {
			x, y := m.Apply(from[i].X, from[i].Y)
			sum += (x-to[i].X)*(x-to[i].X) + (y-to[i].Y)*(y-to[i].Y)
			n++
		}
	}
	if n > 8 {
		// Eight numbers fitted to 2n: what the noise of the points does to the fit.
		perAxis := sum / float64(2*n-8)
		b.residual += perAxis * 8 / float64(2*n) * float64(b.factor*b.factor)
		b.fits++
	}
	return m, float64(n) / float64(len(b.points)), nil
}

// full turns a homography of reduced pixels into one of picture pixels.
func (b *background) full(m traj.Motion) traj.Motion {
	// A reduced pixel x has its centre at f·x + (f−1)/2 of the picture.
	fx := float64(b.width) / float64(max(b.width/b.factor, 1))
	fy := float64(b.height) / float64(max(b.height/b.factor, 1))
	cx, cy := (fx-1)/2, (fy-1)/2
	up := traj.Motion{fx, 0, cx, 0, fy, cy, 0, 0, 1}
	down := traj.Motion{1 / fx, 0, -cx / fx, 0, 1 / fy, -cy / fy, 0, 0, 1}
	return multiply(up, multiply(m, down))
}

// shift returns how far m moves the middle of the reduced picture.
func (b *background) shift(m traj.Motion) float64 {
	x, y := float64(b.key.Width)/2, float64(b.key.Height)/2
	u, v := m.Apply(x, y)
	return math.Hypot(u-x, v-y)
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

func invert(m traj.Motion) (traj.Motion, bool) {
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
