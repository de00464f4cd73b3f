package scene

import (
	"math"
	"math/rand/v2"
	"slices"

	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// Click is one mark as a person would set it.
type Click struct {
	Frame    int
	Landmark traj.Landmark
	X, Y     float64 // Picture, px.
}

// ClickOptions says how a person clicks.
type ClickOptions struct {
	// SD is the error of a click along each axis, px; 0 means 0.5 and a negative value none.
	SD float64
	// Seed makes the errors.
	Seed uint64
	// Landmarks to click; nil means those a person marks in the view (see Usual).
	Landmarks []traj.Landmark
	// Hidden clicks landmarks that cannot be seen, too.
	Hidden bool
}

func (o ClickOptions) sd() float64 {
	if o.SD == 0 {
		return 0.5
	}
	return math.Max(0, o.SD)
}

// Usual lists the landmarks that a person marks in a view: hooves, head and
// withers in both, the chest toward the camera, croup and hips away from it.
func Usual(v traj.View) []traj.Landmark {
	out := []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind, traj.Head, traj.Withers}
	if v == traj.Toward {
		return append(out, traj.Chest)
	}
	return append(out, traj.Croup, traj.LeftHip, traj.RightHip)
}

// Clicks returns the marks a careful person would set in the given frames, by
// frame and then in the order of traj.Landmarks. Frames outside the clip are
// left out.
func (t *Truth) Clicks(frames []int, o ClickOptions) []Click {
	if o.Landmarks == nil {
		o.Landmarks = Usual(t.Scene.View)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0xbb67ae8584caa73b))
	// The shoulders came later: the clicks of all others stay what they were.
	shoulders := rand.New(rand.NewPCG(o.Seed, 0x9b05688c2b3e6c1f))
	var out []Click
	for _, f := range frames {
		if f < 0 || f >= len(t.Times) {
			continue
		}
		for _, l := range t.Landmarks {
			rng := rng
			if l.Name == traj.LeftShoulder || l.Name == traj.RightShoulder {
				rng = shoulders
			}
			dx, dy := rng.NormFloat64()*o.sd(), rng.NormFloat64()*o.sd()
			if !slices.Contains(o.Landmarks, l.Name) {
				continue
			}
			p := l.Points[f]
			if !p.Visible && !o.Hidden {
				continue
			}
			out = append(out, Click{f, l.Name, p.X + dx, p.Y + dy})
		}
	}
	return out
}

// SeedFrames returns n frames, in order, that a careful person would choose to
// mark: spread over the distances the horse passes, each the one near its place
// with the most landmarks visible and the most hooves on the ground. With n = 1
// it lies at a middle distance.
func (t *Truth) SeedFrames(n int) []int {
	if n <= 0 || len(t.Times) == 0 {
		return nil
	}
	// Places are spread evenly over the logarithm of the distance, as the size in
	// the picture is.
	a, b := math.Log(t.distance(0)), math.Log(t.distance(len(t.Times)-1))
	apart := math.Max(0.05, math.Abs(b-a)/float64(n))
	var out []int
	for k := range n {
		want := a + (b-a)*(float64(k)+0.5)/float64(n)
		if f := t.seedNear(want, apart); f >= 0 && !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	slices.Sort(out)
	return out
}

// distance returns how far the withers, or else the first landmark, are from the camera along the
// lane in frame f, m, and 0.5 where they are nearer.
func (t *Truth) distance(f int) float64 {
	points := t.Points(traj.Withers)
	if points == nil {
		points = t.Landmarks[0].Points
	}
	return math.Max(0.5, points[f].Lane[1]-t.Eye(f).Position[1])
}

// seedNear returns the frame that is best to mark of those whose logarithm of the distance is less
// than half of apart from want, or -1 where there is none.
func (t *Truth) seedNear(want, apart float64) int {
	best, score := -1, math.Inf(-1)
	for f := range t.Times {
		off := math.Abs(math.Log(t.distance(f))-want) / apart
		if off > 0.5 {
			continue
		}
		if s := t.seedScore(f, off); s > score {
			best, score = f, s
		}
	}
	return best
}

// seedScore returns how good frame f is to mark: each visible landmark counts, a hoof three times,
// and being off the place wanted, as a share of how far places are apart, counts against it.
func (t *Truth) seedScore(f int, off float64) float64 {
	s := -1.5 * off
	for _, l := range t.Landmarks {
		if !l.Points[f].Visible {
			continue
		}
		s++
		if l.Name.IsHoof() {
			s += 2
		}
	}
	return s
}

// HorizonRow returns the picture row of the horizon at the middle column of
// frame f, px.
func (t *Truth) HorizonRow(f int) float64 {
	e := t.Eye(f).inner()
	// Along the middle column the view is w + d·q; it is level where its z is 0.
	r := -e.w.z / e.d.z
	return e.cy + e.f*r*distort(e.k1, math.Abs(r))
}

// GroundClicks returns the four ground marks in frame f as clicked, in the order
// of Truth.Marks, or false where there are none or one is outside the picture.
func (t *Truth) GroundClicks(f int, o ClickOptions) ([4]geometry.Point, bool) {
	var out [4]geometry.Point
	if len(t.Marks) != 4 {
		return out, false
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x3c6ef372fe94f82b))
	e := t.Eye(f)
	for i, m := range t.Marks {
		x, y, depth := e.Project(m[0], m[1], 0)
		if depth <= 0 || x < 0 || y < 0 || x > float64(t.Width-1) || y > float64(t.Height-1) {
			return out, false
		}
		out[i] = geometry.Point{X: x + rng.NormFloat64()*o.sd(), Y: y + rng.NormFloat64()*o.sd()}
	}
	return out, true
}

// Calibration returns what a person would give to calibrate the clip at a level,
// clicked in frame f. LevelMetric without ground marks in the picture gives
// LevelNone.
func (t *Truth) Calibration(level geometry.Level, f int, o ClickOptions) geometry.CalibrationInput {
	in := geometry.CalibrationInput{Frame: f}
	rng := rand.New(rand.NewPCG(o.Seed, 0xa54ff53a5f1d36f1))
	switch level {
	case geometry.LevelMetric:
		if p, ok := t.GroundClicks(f, o); ok {
			in.Ground = &geometry.GroundMarks{Points: p, WidthM: t.Marks[1][0] - t.Marks[0][0], LengthM: t.Marks[3][1] - t.Marks[0][1], ClickSD: math.Max(0.05, o.sd())}
		}
	case geometry.LevelHeight:
		row := t.HorizonRow(f) + rng.NormFloat64()*o.sd()
		e := t.Eye(f)
		in.Height = &geometry.CameraHeight{HeightM: e.Position[2], FocalPX: e.FocalPX, Horizon: geometry.Horizon{RowPX: &row}}
	case geometry.LevelRatio:
		row := t.HorizonRow(f) + rng.NormFloat64()*o.sd()
		in.Horizon = &geometry.Horizon{RowPX: &row}
	}
	return in
}

// TrackOptions says how good tracks made from truth are.
type TrackOptions struct {
	// SD is the error of every position along each axis, px; 0 is none.
	SD float64
	// Seed makes the errors.
	Seed uint64
	// Hidden keeps the positions of landmarks that cannot be seen; else they are lost.
	Hidden bool
	// Landmarks to track; nil means those a person marks in the view (see Usual).
	Landmarks []traj.Landmark
}

// TrackSet returns the tracks that tracking with the given errors would deliver,
// for tests of everything after it. The spread of each sample is SD, at least
// 0.02 px. Stances are those in which the hoof was seen, to the frame. For a handheld clip the motions undo the camera's rotation only, to
// frame 0; what its shift leaves is in ResidualRMS.
func (t *Truth) TrackSet(o TrackOptions) *traj.Set {
	if o.Landmarks == nil {
		o.Landmarks = Usual(t.Scene.View)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x510e527fade682d1))
	// Nothing was clicked: no error is shared by a hoof's stances.
	s := &traj.Set{Width: t.Width, Height: t.Height, Times: append([]float64(nil), t.Times...), ClickPX: 0.05}
	for _, l := range t.Landmarks {
		if !slices.Contains(o.Landmarks, l.Name) {
			continue
		}
		samples := make([]traj.Sample, len(l.Points))
		seen := false
		for f, p := range l.Points {
			dx, dy := rng.NormFloat64()*o.SD, rng.NormFloat64()*o.SD
			if !p.Visible && !o.Hidden {
				samples[f] = traj.Gone()
				continue
			}
			seen = true
			samples[f] = traj.Sample{X: p.X + dx, Y: p.Y + dy, SD: math.Max(0.02, o.SD), Quality: 1, Status: traj.Tracked}
		}
		if seen {
			s.Tracks = append(s.Tracks, traj.Track{Landmark: l.Name, Samples: samples})
			s.Stances = append(s.Stances, t.stances(l.Name, samples)...)
		}
	}
	if len(t.Eyes) > 1 {
		ref := t.Eye(0).inner()
		var shake, residual float64
		for f := range t.Times {
			e := t.Eye(f).inner()
			h := rotation(e, ref)
			s.Motions = append(s.Motions, h)
			// A point on the ground 8 m off stands for the background.
			p := vec{0, 8, 0}
			x0, y0, _ := ref.project(p)
			x, y, _ := e.project(p)
			u, v := h.Apply(x, y)
			shake += (x-x0)*(x-x0) + (y-y0)*(y-y0)
			residual += (u-x0)*(u-x0) + (v-y0)*(v-y0)
		}
		n := 2 * float64(len(t.Times))
		s.ShakeRMS, s.ResidualRMS = math.Sqrt(shake/n), math.Sqrt(residual/n)
	}
	return s
}

// stances returns when a hoof is seen to stand in the frames of its samples: from behind
// until its heel leaves.
func (t *Truth) stances(l traj.Landmark, samples []traj.Sample) []traj.Stance {
	var out []traj.Stance
	beat := -1
	for _, c := range t.Contacts { // In the order of their landing.
		if c.Limb != l && c.Limb != l.Opposite() {
			continue
		}
		beat++
		if c.Limb != l {
			continue
		}
		leaves := c.Off
		if t.Scene.View == traj.Away {
			leaves = c.HeelOff
		}
		s := traj.Stance{Landmark: l, First: -1, Before: -1, After: -1, Beat: beat}
		for f, p := range samples {
			switch at := t.Times[f]; {
			case !p.Status.Seen():
			case at < c.On && at > c.On-mayBeHidden:
				s.Before = f
			case at >= c.On && at <= leaves:
				if s.First < 0 {
					s.First = f
				}
				s.Last = f
				s.Seen++
			case s.After < 0 && at > leaves && at < leaves+mayBeHidden:
				s.After = f
			}
		}
		if s.Seen > 0 {
			out = append(out, s)
		}
	}
	return out
}

// mayBeHidden is for how long before and after a stance a hoof may be out of sight and
// still tell when it landed and left, s.
const mayBeHidden = 0.2

// rotation returns the homography K·R_ref·Rᵀ·K⁻¹ that takes pictures of e to
// those of ref as if both stood in the same place.
func rotation(e, ref *eye) traj.Motion {
	// Columns: pictures of the three basis points (1,0,0), (0,1,0), (0,0,1).
	col := func(x, y, w float64) (a, b, c float64) {
		// K⁻¹ of the homogeneous point, then the lane direction, then ref's picture.
		q := e.r.mul((x - e.cx*w) / e.f).add(e.d.mul((y - e.cy*w) / e.f)).add(e.w.mul(w))
		z := q.dot(ref.w)
		return ref.f*q.dot(ref.r) + ref.cx*z, ref.f*q.dot(ref.d) + ref.cy*z, z
	}
	var m traj.Motion
	m[0], m[3], m[6] = col(1, 0, 0)
	m[1], m[4], m[7] = col(0, 1, 0)
	m[2], m[5], m[8] = col(0, 0, 1)
	for i := range m {
		m[i] /= m[8]
	}
	return m
}
