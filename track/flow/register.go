package flow

import (
	"errors"
	"math"
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
	px, py, step := float64(x0), float64(y0), 1.0
	for range halvings {
		if g.Width < 2 || g.Height < 2 {
			return Plane{}
		}
		g = g.Halve()
		px, py, step = px+step/2, py+step/2, step*2
	}
	if g.Width < 3 || g.Height < 3 {
		return Plane{}
	}
	p := Plane{Width: g.Width, Height: g.Height, X0: px, Y0: py, Step: step}
	p.Pix = make([]float32, g.Width*g.Height)
	row := make([]float32, g.Width)
	for y := range g.Height {
		a := g.Pix[max(y-1, 0)*g.Stride:][:g.Width]
		b := g.Pix[y*g.Stride:][:g.Width]
		c := g.Pix[min(y+1, g.Height-1)*g.Stride:][:g.Width]
		for x := range row {
			row[x] = float32(int(a[x]) + 2*int(b[x]) + int(c[x]))
		}
		out := p.Pix[y*g.Width:][:g.Width]
		last := g.Width - 1
		out[0] = (3*row[0] + row[1]) / 16
		out[last] = (3*row[last] + row[last-1]) / 16
		for x := 1; x < last; x++ {
			out[x] = (row[x-1] + 2*row[x] + row[x+1]) / 16
		}
	}
	return p
}

// at returns the value at plane position (x, y) by linear interpolation and
// whether the position lies inside.
func (p *Plane) at(x, y float64) (float32, bool) {
	if !(x >= 0 && y >= 0) {
		return 0, false
	}
	i, j := int(x), int(y)
	if i >= p.Width-1 || j >= p.Height-1 {
		return 0, false
	}
	fx, fy := float32(x-float64(i)), float32(y-float64(j))
	k := j*p.Width + i
	q := p.Pix[k : k+p.Width+2]
	top := q[0] + fx*(q[1]-q[0])
	bottom := q[p.Width] + fx*(q[p.Width+1]-q[p.Width])
	return top + fy*(bottom-top), true
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
	pixels []templatePixel
	weight float64 // Sum of the pixels' weights.
	mean   float64 // Weighted mean of the values.
	spread float64 // Weighted variance of the values.
	hold   float64 // Weaker over stronger direction of the structure tensor.
}

type templatePixel struct {
	u, v   float32 // Offset from the mark, px of the picture it was taken from.
	value  float32
	gx, gy float32 // Gradient, grey levels per px.
	weight float32
}

// NewTemplate takes the patch w around mark from p. weight gives how much a
// picture position counts, from 0 to 1; nil counts all alike. It returns
// ErrNoTexture where the patch does not hold the mark in both directions, and
// ErrTooSmall where less than 20 pixels count.
func NewTemplate(p Plane, mark Point, w Window, weight func(x, y float64) float64) (*Template, error) {
	if !mark.Finite() {
		return nil, ErrNumber
	}
	if p.Width < 5 || p.Height < 5 {
		return nil, ErrTooSmall
	}
	left := max(int(math.Round((mark.X-w.Left-p.X0)/p.Step)), 1)
	right := min(int(math.Round((mark.X+w.Right-p.X0)/p.Step)), p.Width-2)
	top := max(int(math.Round((mark.Y-w.Up-p.Y0)/p.Step)), 1)
	bottom := min(int(math.Round((mark.Y+w.Down-p.Y0)/p.Step)), p.Height-2)
	t := &Template{}
	var sxx, sxy, syy float64
	per := float32(1 / (2 * p.Step))
	for y := top; y <= bottom; y++ {
		for x := left; x <= right; x++ {
			px, py := p.X0+p.Step*float64(x), p.Y0+p.Step*float64(y)
			c := 1.0
			if weight != nil {
				c = weight(px, py)
			}
			if !(c > 0.01) {
				continue
			}
			k := y*p.Width + x
			q := templatePixel{
				u: float32(px - mark.X), v: float32(py - mark.Y), value: p.Pix[k],
				gx: per * (p.Pix[k+1] - p.Pix[k-1]), gy: per * (p.Pix[k+p.Width] - p.Pix[k-p.Width]),
				weight: float32(c),
			}
			t.pixels = append(t.pixels, q)
			t.weight += c
			t.mean += c * float64(q.value)
			t.spread += c * float64(q.value) * float64(q.value)
			sxx += c * float64(q.gx*q.gx)
			sxy += c * float64(q.gx*q.gy)
			syy += c * float64(q.gy*q.gy)
		}
	}
	if t.weight < 20 {
		return nil, ErrTooSmall
	}
	t.mean /= t.weight
	t.spread = t.spread/t.weight - t.mean*t.mean
	// The weaker direction of the structure tensor, grey levels squared per px².
	weakest := (sxx + syy - math.Hypot(sxx-syy, 2*sxy)) / 2 / t.weight * p.Step * p.Step
	if weakest < 0.25 {
		return nil, ErrNoTexture
	}
	t.hold = weakest / ((sxx + syy) / t.weight * p.Step * p.Step)
	return t, nil
}

// RegisterOptions sets one registration.
type RegisterOptions struct {
	// ScaleSD and AngleSD say how far scale (relative) and angle (radians) may
	// stray from the starting pose, one standard deviation; 0 holds them fixed.
	ScaleSD, AngleSD float64
	Iterations       int // At most; 0 means 15.
}

// Registration is a template found in a picture.
type Registration struct {
	Pose
	OK  bool    // False where it ran away, left the picture or found no hold.
	NCC float64 // Weighted normalised cross-correlation over the patch, −1 to 1.
	// SD is the standard deviation of the position, px, along each axis: from
	// the residual and the patch's gradients.
	SD    float64
	Agree float64 // Share of the patch's weight that agrees with the fit, 0 to 1.
	Gain  float64 // Contrast against the template's.
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
	if !start.At.Finite() || !(start.Scale > 0.05 && start.Scale < 20) || p.Width < 3 || p.Height < 3 {
		return fail
	}
	iterations := opts.Iterations
	if iterations <= 0 {
		iterations = 15
	}
	pose := start
	r := Registration{Pose: pose, Hold: t.hold}
	values := make([]float32, len(t.pixels))
	inside := make([]bool, len(t.pixels))
	sigma := 0.0
	reach := 0.0
	for i := range t.pixels {
		reach = max(reach, math.Hypot(float64(t.pixels[i].u), float64(t.pixels[i].v)))
	}
	reach *= start.Scale
	for it := 0; ; it++ {
		var sw, si, sii, sit, st, stt float64
		c, s := pose.Scale*math.Cos(pose.Angle)/p.Step, pose.Scale*math.Sin(pose.Angle)/p.Step
		x0, y0 := (pose.At.X-p.X0)/p.Step, (pose.At.Y-p.Y0)/p.Step
		for i := range t.pixels {
			q := &t.pixels[i]
			u, v := float64(q.u), float64(q.v)
			values[i], inside[i] = p.at(x0+c*u-s*v, y0+s*u+c*v)
			if !inside[i] {
				continue
			}
			w, iv, tv := float64(q.weight), float64(values[i]), float64(q.value)
			sw += w
			si += w * iv
			sii += w * iv * iv
			st += w * tv
			stt += w * tv * tv
			sit += w * iv * tv
		}
		if sw < 0.6*t.weight {
			return fail
		}
		vi, vt, cov := sii-si*si/sw, stt-st*st/sw, sit-si*st/sw
		if vi <= 1e-3*sw || vt <= 1e-3*sw {
			return fail
		}
		r.NCC = cov / math.Sqrt(vi*vt)
		// The symmetric gain does not shrink where the two disagree.
		gain := math.Sqrt(vi / vt)
		offset := si/sw - gain*st/sw
		r.Gain = gain
		// Spread of the residuals, then the normal equations.
		var dev float64
		for i := range t.pixels {
			if inside[i] {
				dev += float64(t.pixels[i].weight) * math.Abs((float64(values[i])-offset)/gain-float64(t.pixels[i].value))
			}
		}
		sigma = max(1.25*dev/sw, 0.2)
		var h [21]float64 // Upper triangle of 6×6, row by row.
		var b [6]float64
		var agree, sr float64
		cut := 1 / (6.25 * sigma * sigma)
		for i := range t.pixels {
			if !inside[i] {
				continue
			}
			q := &t.pixels[i]
			tv := float64(q.value)
			res := (float64(values[i])-offset)/gain - tv
			k := 1 / (1 + res*res*cut)
			k *= k * float64(q.weight)
			agree += k
			sr += k * res * res
			gx, gy, u, v := float64(q.gx), float64(q.gy), float64(q.u), float64(q.v)
			j2, j3, j4 := gx*u+gy*v, gy*u-gx*v, tv-t.mean
			kx, ky, k2, k3, k4 := k*gx, k*gy, k*j2, k*j3, k*j4
			h[0] += kx * gx
			h[1] += kx * gy
			h[2] += kx * j2
			h[3] += kx * j3
			h[4] += kx * j4
			h[5] += kx
			h[6] += ky * gy
			h[7] += ky * j2
			h[8] += ky * j3
			h[9] += ky * j4
			h[10] += ky
			h[11] += k2 * j2
			h[12] += k2 * j3
			h[13] += k2 * j4
			h[14] += k2
			h[15] += k3 * j3
			h[16] += k3 * j4
			h[17] += k3
			h[18] += k4 * j4
			h[19] += k4
			h[20] += k
			b[0] += kx * res
			b[1] += ky * res
			b[2] += k2 * res
			b[3] += k3 * res
			b[4] += k4 * res
			b[5] += k * res
		}
		if agree <= 0 {
			return fail
		}
		r.Agree = agree / t.weight
		variance := noiseInflation * max(sr/agree, 0.02)
		if opts.ScaleSD > 0 {
			l := variance / (opts.ScaleSD * opts.ScaleSD)
			h[11] += l
			b[2] += l * math.Log(pose.Scale/start.Scale)
		} else {
			h[11] += 1e12
			b[2] = 0
		}
		if opts.AngleSD > 0 {
			l := variance / (opts.AngleSD * opts.AngleSD)
			h[15] += l
			b[3] += l * (pose.Angle - start.Angle)
		} else {
			h[15] += 1e12
			b[3] = 0
		}
		d, cxx, cyy, ok := solve6(h, b)
		if !ok {
			return fail
		}
		r.SD = pose.Scale * math.Sqrt(variance*(cxx+cyy)/2)
		r.Pose = pose
		if it == iterations {
			break
		}
		// Compose with the inverse of the increment; as complex numbers,
		// the pose's linear part is divided by 1 + ds + i·dθ.
		ds, da := clamp(d[2], 0.1), clamp(d[3], 0.1)
		m := (1+ds)*(1+ds) + da*da
		re, im := (1+ds)/m, -da/m
		ex, ey := d[0]*re-d[1]*im, d[0]*im+d[1]*re
		c, s = pose.Scale*math.Cos(pose.Angle), pose.Scale*math.Sin(pose.Angle)
		mx, my := c*ex-s*ey, s*ex+c*ey
		if move := math.Hypot(mx, my); move > 0.25*reach {
			mx, my = mx*0.25*reach/move, my*0.25*reach/move
		}
		pose.At.X -= mx
		pose.At.Y -= my
		pose.Scale /= math.Sqrt(m)
		pose.Angle -= math.Atan2(da, 1+ds)
		if pose.At.Dist(start.At) > 0.6*reach+3 || !pose.At.Finite() {
			return fail
		}
		if math.Hypot(mx, my) < 0.005*p.Step && math.Abs(ds) < 5e-4 && math.Abs(da) < 5e-4 && it >= 2 {
			r.Pose = pose
			break
		}
	}
	r.OK = r.NCC > 0 && !math.IsNaN(r.SD) && !math.IsNaN(r.At.X+r.At.Y)
	return r
}

func clamp(x, most float64) float64 { return max(-most, min(most, x)) }

// solve6 solves a symmetric positive definite 6×6 system by Cholesky and
// returns the first two diagonal elements of the inverse beside the solution.
func solve6(h [21]float64, b [6]float64) (x [6]float64, c00, c11 float64, ok bool) {
	var l [6][6]float64
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
			return x, 0, 0, false
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
	back := func(b [6]float64) [6]float64 {
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
	return back(b), back([6]float64{1})[0], back([6]float64{0, 1})[1], true
}
