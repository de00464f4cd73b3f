package flow

import (
	"errors"
	"image"
	"math"
	"slices"
)

// ErrNoTexture is returned where a patch holds nothing to hold on to.
var ErrNoTexture = errors.New("patch has no texture")

// Plane is a rectangle of a picture, smoothed for registration. Pixel (i, j) of
// Pix shows picture position (X0 + Step·i, Y0 + Step·j).
type Plane struct {
	Pix           []float32
	Width, Height int
	X0, Y0        float64
	Step          float64 // Picture pixels per plane pixel: 1, 2, 4 …
}

// NewPlane smooths g, whose pixel (0, 0) is picture pixel (x0, y0), with the
// binomial kernel ¼·[1 2 1] along both axes, after halving it the given number
// of times. The smoothing takes away the detail that linear interpolation would
// misplace. A picture too small for it gives an empty plane.
func NewPlane(g Gray, x0, y0, halvings int) Plane {
	var p Plane
	p.Fill(g, x0, y0, halvings)
	return p
}

// Fill makes p what NewPlane returns. p's memory is used where it is large enough.
func (p *Plane) Fill(g Gray, x0, y0, halvings int) {
	px, py, step := float64(x0), float64(y0), 1.0
	*p = Plane{Pix: p.Pix[:0]}
	if halvings > 0 {
		// Each halving needs a quarter of the picture before it.
		need := max((g.Width/2)*(g.Height/2), 0)
		first := borrow((need+3)/4 + 1)
		defer room.Put(first)
		second := borrow((need/4+3)/4 + 1)
		defer room.Put(second)
		for i := range halvings {
			if g.Width < 2 || g.Height < 2 {
				return
			}
			to := first
			if i%2 == 1 {
				to = second
			}
			half := Gray{Width: g.Width / 2, Height: g.Height / 2, Stride: g.Width / 2}
			half.Pix = asBytes(*to)[:half.Width*half.Height]
			halve(g, half)
			g = half
			px, py, step = px+step/2, py+step/2, step*2
		}
	}
	if g.Width < 3 || g.Height < 3 {
		return
	}
	n := g.Width * g.Height
	*p = Plane{Pix: slices.Grow(p.Pix, n)[:n], Width: g.Width, Height: g.Height, X0: px, Y0: py, Step: step}
	smooth(g, p.Pix)
}

// Pose places a template in a picture: what lies at offset (u, v) from the mark
// in the template lies at At + Scale·R(Angle)·(u, v).
type Pose struct {
	At    Point
	Scale float64
	Angle float64 // Radians, from x toward y.
}

// Window is the extent of a patch around its mark, px.
type Window struct{ Left, Right, Up, Down float64 }

// Scaled returns w with every extent multiplied by s.
func (w Window) Scaled(s float64) Window {
	return Window{w.Left * s, w.Right * s, w.Up * s, w.Down * s}
}

// Size returns the larger side of the window, px.
func (w Window) Size() float64 { return max(w.Left+w.Right, w.Up+w.Down) }

// Template is the appearance of a patch around a mark.
type Template struct {
	// parts holds offsets from the mark in x and y (px of the picture it was taken
	// from), values less mean, gradients in x and y (grey levels per px) and
	// weights: count of each, stride apart. Between them are zeros.
	parts         []float32
	count, stride int
	reach         float64 // Of the farthest pixel from the mark, px.
	weight        float64 // Sum of the pixels' weights.
	mean          float64 // Weighted mean of the values.
	hold          float64 // Weaker over stronger direction of the structure tensor.
}

// NewTemplate takes the patch w around mark from p. weight gives how much a
// picture position counts, from 0 to 1; nil counts all alike. It returns
// ErrNoTexture where the patch does not hold the mark in both directions, and
// ErrTooSmall where less than 20 pixels count.
func NewTemplate(p Plane, mark Point, w Window, weight func(x, y float64) float64) (*Template, error) {
	t := new(Template)
	if err := t.Fill(p, mark, w, weight); err != nil {
		return nil, err
	}
	return t, nil
}

// Fill makes t what NewTemplate returns; after an error t is of no use but to be
// filled again. t's memory is used where it is large enough.
func (t *Template) Fill(p Plane, mark Point, w Window, weight func(x, y float64) float64) error {
	*t = Template{parts: t.parts}
	if !mark.Finite() {
		return ErrNumber
	}
	if p.Width < 5 || p.Height < 5 {
		return ErrTooSmall
	}
	left := max(int(math.Round((mark.X-w.Left-p.X0)/p.Step)), 1)
	right := min(int(math.Round((mark.X+w.Right-p.X0)/p.Step)), p.Width-2)
	top := max(int(math.Round((mark.Y-w.Up-p.Y0)/p.Step)), 1)
	bottom := min(int(math.Round((mark.Y+w.Down-p.Y0)/p.Step)), p.Height-2)
	most := max(right-left+1, 0) * max(bottom-top+1, 0)
	if most == 0 {
		return ErrTooSmall
	}
	t.stride = padded(most)
	t.parts = slices.Grow(t.parts[:0], 6*t.stride)[:6*t.stride]
	sxx, sxy, syy := t.take(p, mark, image.Rect(left, top, right+1, bottom+1), weight)
	if t.weight < 20 {
		return ErrTooSmall
	}
	for i := range 6 {
		clear(t.parts[i*t.stride+t.count : (i+1)*t.stride])
	}
	t.mean /= t.weight
	values := t.parts[2*t.stride:][:t.count]
	for i := range values {
		values[i] -= float32(t.mean)
	}
	t.reach = math.Sqrt(t.reach)
	// The weaker direction of the structure tensor, grey levels squared per px².
	weakest := (sxx + syy - math.Hypot(sxx-syy, 2*sxy)) / 2 / t.weight * p.Step * p.Step
	if weakest < 0.25 {
		return ErrNoTexture
	}
	t.hold = weakest / ((sxx + syy) / t.weight * p.Step * p.Step)
	return nil
}

// take adds the pixels of p inside r that count, and returns the sums of the products of their
// gradients, weighed.
func (t *Template) take(p Plane, mark Point, r image.Rectangle, weight func(x, y float64) float64) (sxx, sxy, syy float64) {
	most := r.Dx() * r.Dy()
	us, vs, values := t.parts[:most], t.parts[t.stride:][:most], t.parts[2*t.stride:][:most]
	gxs, gys, weights := t.parts[3*t.stride:][:most], t.parts[4*t.stride:][:most], t.parts[5*t.stride:][:most]
	per := float32(1 / (2 * p.Step))
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			px, py := p.X0+p.Step*float64(x), p.Y0+p.Step*float64(y)
			c := 1.0
			if weight != nil {
				c = weight(px, py)
			}
			if !(c > 0.01) {
				continue
			}
			k, n := y*p.Width+x, t.count
			gx, gy := per*(p.Pix[k+1]-p.Pix[k-1]), per*(p.Pix[k+p.Width]-p.Pix[k-p.Width])
			us[n], vs[n] = float32(px-mark.X), float32(py-mark.Y)
			values[n], gxs[n], gys[n], weights[n] = p.Pix[k], gx, gy, float32(c)
			t.reach = max(t.reach, (px-mark.X)*(px-mark.X)+(py-mark.Y)*(py-mark.Y))
			t.count++
			t.weight += c
			t.mean += c * float64(p.Pix[k])
			sxx += c * float64(gx*gx)
			sxy += c * float64(gx*gy)
			syy += c * float64(gy*gy)
		}
	}
	return sxx, sxy, syy
}

// RegisterOptions sets one registration.
type RegisterOptions struct {
	// ScaleSD and AngleSD say how far scale (relative) and angle (radians) may
	// stray from the starting pose, one standard deviation; 0 holds them fixed.
	ScaleSD, AngleSD float64
	// Hopeless is the correlation, 0 or more, below which it gives up after
	// hopefulSteps steps. Below 0 none succeeds.
	Hopeless float64
}

const (
	mostSteps    = 15 // Of a registration.
	hopefulSteps = 4  // Until one that will succeed looks alike.
)

// Registration is a template found in a picture.
type Registration struct {
	Pose
	OK  bool    // False where it ran away, left the picture or found no hold.
	NCC float64 // Weighted normalised cross-correlation over the patch, −1 to 1.
	// SD is the standard deviation of the position, px, along each axis: from
	// the residual and the patch's gradients.
	SD    float64
	Agree float64 // Share of the patch's weight that agrees with the fit, 0 to 1.
	// Hold is how evenly the patch holds in both directions, from 0 (an edge,
	// along which it slides) to 0.5.
	Hold float64
}

// noiseInflation turns the variance of smoothed residuals into that of the
// unsmoothed ones behind them, whose errors are independent between pixels:
// (16/6)² for the binomial kernel.
const noiseInflation = 7.1

// Register finds t in p from a starting pose that is right to about a third of
// the patch.
func (t *Template) Register(p Plane, start Pose, opts RegisterOptions) Registration {
	fail := Registration{Pose: start}
	if !start.At.Finite() || !(start.Scale > 0.05 && start.Scale < 20) || p.Width < 3 || p.Height < 3 || len(p.Pix) < p.Width*p.Height {
		return fail
	}
	pose := start
	r := Registration{Pose: pose, Hold: t.hold}
	scratch := borrow(2 * padded(t.count))
	defer room.Put(scratch)
	reach := t.reach * start.Scale
	var f fit
	// Of the latest step: the normal equations' factor, the noise and the scale at which.
	var normal factor
	var variance, scale float64
	for it := 0; ; it++ {
		sin, cos := math.Sincos(pose.Angle)
		if !t.look(&p, pose, sin, cos, *scratch, &f) {
			return fail
		}
		r.NCC = float64(f.ncc)
		if it >= hopefulSteps && r.NCC < opts.Hopeless {
			return fail
		}
		r.Agree = float64(f.agree) / t.weight
		variance, scale = noiseInflation*max(float64(f.square)/float64(f.agree), 0.02), pose.Scale
		h, b := equations(&f)
		opts.hold(&h, &b, variance, pose, start)
		var ok bool
		if normal, ok = factor6(h); !ok {
			return fail
		}
		r.Pose = pose
		if it == mostSteps {
			break
		}
		step := pose.goBack(normal.solve(b), 0.25*reach, sin, cos)
		if pose.At.Dist(start.At) > 0.6*reach+3 || !pose.At.Finite() {
			return fail
		}
		if step.move < 0.005*p.Step && math.Abs(step.scale) < 5e-4 && math.Abs(step.angle) < 5e-4 && it >= 2 {
			r.Pose = pose
			break
		}
	}
	r.SD = scale * math.Sqrt(variance*(normal.solve([6]float64{1})[0]+normal.solve([6]float64{0, 1})[1])/2)
	r.OK = r.NCC > 0 && !math.IsNaN(r.SD) && !math.IsNaN(r.At.X+r.At.Y)
	return r
}

// equations returns the normal equations: the upper triangle of the 6×6 matrix, row by row, and
// the right side. Index 2 is of the logarithm of scale, 3 of the angle.
func equations(f *fit) (h [21]float64, b [6]float64) {
	for i := range h {
		h[i] = float64(f.h[i])
	}
	for i := range b {
		b[i] = float64(f.b[i])
	}
	return h, b
}

// hold adds to normal equations that scale and angle stray from start as the options say, where
// grey levels have the given variance.
func (o *RegisterOptions) hold(h *[21]float64, b *[6]float64, variance float64, pose, start Pose) {
	for _, k := range []struct {
		sd, off         float64
		diagonal, right int
	}{
		{o.ScaleSD, math.Log(pose.Scale / start.Scale), 11, 2},
		{o.AngleSD, pose.Angle - start.Angle, 15, 3},
	} {
		if k.sd > 0 {
			l := variance / (k.sd * k.sd)
			h[k.diagonal] += l
			b[k.right] += l * k.off
		} else {
			h[k.diagonal] += 1e12
			b[k.right] = 0
		}
	}
}

// step is how far a pose was moved: px, and increments of scale (relative) and angle (radians).
type step struct{ move, scale, angle float64 }

// goBack composes the pose, whose angle has this sine and cosine, with the inverse of increment d
// of the patch; it moves by no more than most, px. As complex numbers, the pose's linear part is
// divided by 1 + ds + i·dθ.
func (pose *Pose) goBack(d [6]float64, most, sin, cos float64) step {
	ds, da := clamp(d[2], 0.1), clamp(d[3], 0.1)
	m := (1+ds)*(1+ds) + da*da
	re, im := (1+ds)/m, -da/m
	ex, ey := d[0]*re-d[1]*im, d[0]*im+d[1]*re
	c, s := pose.Scale*cos, pose.Scale*sin
	mx, my := c*ex-s*ey, s*ex+c*ey
	if move := math.Hypot(mx, my); move > most {
		mx, my = mx*most/move, my*most/move
	}
	pose.At.X -= mx
	pose.At.Y -= my
	pose.Scale /= math.Sqrt(m)
	pose.Angle -= math.Atan2(da, 1+ds)
	return step{math.Hypot(mx, my), ds, da}
}

func clamp(x, most float64) float64 { return max(-most, min(most, x)) }

// factor is the lower triangular factor of a symmetric positive definite 6×6 matrix.
type factor [6][6]float64

// factor6 returns the Cholesky factor of the matrix whose upper triangle h is, row by
// row.
func factor6(h [21]float64) (l factor, ok bool) {
	k := 0
	for i := range 6 {
		for j := i; j < 6; j++ {
			l[j][i] = h[k]
			k++
		}
	}
	for j := range 6 {
		d := l[j][j]
		for m := range j {
			d -= l[j][m] * l[j][m]
		}
		if !(d > 1e-9*math.Abs(l[j][j])) || d <= 0 {
			return l, false
		}
		l[j][j] = math.Sqrt(d)
		for i := j + 1; i < 6; i++ {
			s := l[i][j]
			for m := range j {
				s -= l[i][m] * l[j][m]
			}
			l[i][j] = s / l[j][j]
		}
	}
	return l, true
}

// solve returns the solution for b.
func (l *factor) solve(b [6]float64) [6]float64 {
	for i := range 6 {
		for m := range i {
			b[i] -= l[i][m] * b[m]
		}
		b[i] /= l[i][i]
	}
	for i := 5; i >= 0; i-- {
		for m := i + 1; m < 6; m++ {
			b[i] -= l[m][i] * b[m]
		}
		b[i] /= l[i][i]
	}
	return b
}
