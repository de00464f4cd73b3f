package metrics

import (
	"math"
	"math/rand/v2"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// artificial is a horse in formulas, seen by a pinhole camera: what the tests
// of this package measure. Its profiles differ on purpose from those that
// measuring assumes.
type artificial struct {
	view         traj.View
	gait         traj.Gait
	fps          float64
	jitter       float64 // Of frame times, share of a frame.
	focal        float64
	width        int
	height       int
	cameraM      float64
	row          float64 // Picture row of the horizon.
	near         float64 // Distance of the nearest hoof-on, m.
	strides      int
	period       float64
	duty         [4]float64
	length       float64    // Stride length, m.
	phase        [4]float64 // Extra phase of each limb, share of the stride.
	offset       [4]float64 // Outward placement, m.
	ahead        [4]float64 // Placement ahead of its girdle, m.
	arc          [4]float64 // Lateral arc, m (negative: medial).
	flight       [4]float64 // m.
	hard         float64    // 0: swings begin and end smoothly; 1: with speed.
	head         [3]float64 // A1, phase, A2 of the head's movement, m: A1·cos(ωt+p) + A2·cos(2ωt), t from left-fore landing + a fifth.
	croup        [3]float64
	hip          [2]float64 // Vertical range of each hip, m.
	lift         [2]float64 // Of each point of the shoulder, from mid-stance to mid-swing, m.
	aside        float64    // How far to the right the head is carried, m.
	sway         [2]float64 // Of the trunk to the left, once and twice a stride, m: A1·sin(ωt) + A2·cos(2ωt).
	noise        float64    // px.
	spread       float64    // px, what the track says; 0: as noise.
	seed         uint64
	marked       []traj.Landmark
	lineX, lineA float64 // The line of travel: X at the camera's distance 10 m, and its angle, rad.
}

// sound is an even horse at trot, 60 frames a second, on a tripod.
func sound() artificial {
	return artificial{
		view: traj.Toward, gait: traj.Trot, fps: 60, focal: 1500, width: 1920, height: 1080, cameraM: 1.3, row: 500,
		near: 5, strides: 6, period: 0.72, duty: [4]float64{0.4, 0.4, 0.4, 0.4}, length: 2.5,
		offset: [4]float64{0.11, 0.11, 0.1, 0.1}, flight: [4]float64{0.12, 0.12, 0.11, 0.11}, hard: 0.5,
		head: [3]float64{0, 0, 0.03}, croup: [3]float64{0, 0, 0.03}, hip: [2]float64{0.08, 0.08}, noise: 0.2, seed: 1,
		marked: []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind, traj.Head, traj.Withers, traj.Croup, traj.LeftHip, traj.RightHip, traj.Chest, traj.LeftShoulder, traj.RightShoulder},
	}
}

func (h artificial) camera() geometry.Camera {
	cx, cy := float64(h.width-1)/2, float64(h.height-1)/2
	return geometry.LevelCamera(h.focal, cx, cy, h.cameraM, geometry.Point{X: cx, Y: h.row})
}

// calibration returns ground marks clicked without error.
func (h artificial) calibration() geometry.CalibrationInput {
	c := h.camera()
	g := geometry.GroundMarks{WidthM: 2, LengthM: 10}
	for i, p := range [4][2]float64{{-1, 5}, {1, 5}, {1, 15}, {-1, 15}} {
		g.Points[i], _ = c.Project(p[0], p[1], 0)
	}
	return geometry.CalibrationInput{Ground: &g}
}

func (h artificial) options() Options {
	return Options{View: h.view, Gait: h.gait, Calibration: h.calibration()}
}

// ground returns the lane position of what is forward m along the line of
// travel and left m to the horse's left.
func (h artificial) ground(forward, left float64) (x, y float64) {
	s := 1.0
	if h.view == traj.Toward {
		s = -1
	}
	dx, dy := s*math.Sin(h.lineA), s*math.Cos(h.lineA)
	// Forward 0 is the place of the line at 10 m.
	return h.lineX + forward*dx - left*dy, 10 + forward*dy + left*dx
}

// start returns how far along the line the run begins.
func (h artificial) start() float64 {
	if h.view == traj.Toward {
		return 10 - h.near - float64(h.strides)*h.length
	}
	return h.near - 10
}

func (h artificial) phases() [4]float64 {
	p := contact.Phases(h.gait)
	for i := range p {
		p[i] += h.phase[i]
	}
	return p
}

// stanceOf returns when stance n of limb k is and where (forward).
func (h artificial) stanceOf(k, n int) (on, off, forward float64) {
	ph := h.phases()[k]
	on = 0.1 + h.period*(float64(n)+ph)
	off = on + h.duty[k]*h.period
	even := contact.Phases(h.gait)[k]
	forward = h.start() + h.length*(float64(n)+even) + h.ahead[k]
	if k >= 2 {
		forward -= 1.1
	}
	return on, off, forward
}

func (h artificial) duration() float64 { return 0.1 + h.period*(float64(h.strides)+0.5) }

// hoof returns limb k at time t.
func (h artificial) hoof(k int, t float64) (x, y, z float64) {
	n := int(math.Floor((t-0.1)/h.period - h.phases()[k]))
	on, off, f0 := h.stanceOf(k, n)
	if t < on {
		n--
		on, off, f0 = h.stanceOf(k, n)
	}
	left := outward(k) * h.offset[k]
	if t <= off {
		x, y = h.ground(f0, left)
		return x, y, 0
	}
	next, _, f1 := h.stanceOf(k, n+1)
	u := (t - off) / (next - off)
	_ = on
	smooth := u * u * u * (10 - 15*u + 6*u*u)
	even := (1 - math.Cos(math.Pi*u)) / 2
	way := (1-h.hard)*smooth + h.hard*(0.7*even+0.3*u)
	s := math.Sin(math.Pi * u)
	up := h.flight[k] * ((1-h.hard)*s*s + h.hard*s)
	x, y = h.ground(f0+way*(f1-f0), left+outward(k)*h.arc[k]*((1-h.hard)*s*s+h.hard*s))
	return x, y, up
}

// body returns a body mark at time t.
func (h artificial) body(l traj.Landmark, t float64) (x, y, z float64) {
	// Over the fore hoof in mid-stance.
	mid := 0.1 + h.duty[0]*h.period/2
	f := h.start() + h.length*(t-mid)/h.period
	w := 2 * math.Pi / h.period
	p := t - (0.1 + 0.2*h.period) // Zero at about left-fore mid-stance.
	wave := func(a [3]float64) float64 { return a[0]*math.Cos(w*p+a[1]) + a[2]*math.Cos(2*w*p+math.Pi) }
	sway := h.sway[0]*math.Sin(w*p) + h.sway[1]*math.Cos(2*w*p)
	left := 0.0
	switch l {
	case traj.Head:
		f += 0.7
		left = -h.aside
		z = 1.75 + wave(h.head)
	case traj.Withers:
		z = 1.6 + wave(h.head)/4
	case traj.Chest:
		z, left = 1.1, sway
	case traj.LeftShoulder, traj.RightShoulder: // The trunk's own 40 mm twice a stride are in them.
		side := map[traj.Landmark]int{traj.LeftShoulder: 0, traj.RightShoulder: 1}[l]
		left = []float64{0.15, -0.15}[side]
		z = 1.1 - 0.02*math.Cos(2*w*p) - []float64{0.5, -0.5}[side]*h.lift[side]*math.Cos(w*p)
	case traj.Croup:
		left = sway
		f -= 1.1
		z = 1.55 + wave(h.croup)
	case traj.LeftHip:
		f -= 1.1
		left = 0.25
		z = 1.3 + h.hip[0]/2*math.Cos(w*p)
	case traj.RightHip:
		f -= 1.1
		left = -0.25
		z = 1.3 - h.hip[1]/2*math.Cos(w*p)
	}
	x, y = h.ground(f, left)
	return x, y, z
}

// tracks returns what a perfect tracker with noise would see.
func (h artificial) tracks() *traj.Set {
	r := rand.New(rand.NewPCG(h.seed, 7))
	cam := h.camera()
	n := int(h.duration() * h.fps)
	set := &traj.Set{Width: h.width, Height: h.height, Times: make([]float64, n), ClickPX: 0.05}
	for i := range n {
		set.Times[i] = float64(i) / h.fps
		if i > 0 {
			set.Times[i] += h.jitter * (r.Float64() - 0.5) / h.fps
		}
	}
	spread := h.spread
	if spread == 0 {
		spread = max(h.noise, 0.02)
	}
	for _, l := range traj.Landmarks() {
		marked := false
		for _, m := range h.marked {
			marked = marked || m == l
		}
		if !marked {
			continue
		}
		tr := traj.Track{Landmark: l, Samples: make([]traj.Sample, n)}
		for i := range n {
			look := func(t float64) (geometry.Point, bool) {
				if k := slices.Index(limbs[:], l); k >= 0 {
					return cam.Project(h.hoof(k, t))
				}
				return cam.Project(h.body(l, t))
			}
			p, ok := look(set.Times[i])
			x, y := p.X+h.noise*r.NormFloat64(), p.Y+h.noise*r.NormFloat64()
			if !ok || x < 0 || y < 0 || x > float64(h.width-1) || y > float64(h.height-1) {
				tr.Samples[i] = traj.Gone()
				continue
			}
			tr.Samples[i] = traj.Sample{X: x, Y: y, SD: spread, Quality: 1, Status: traj.Tracked}
		}
		set.Tracks = append(set.Tracks, tr)
	}
	set.Stances = h.standings(set)
	return set
}
