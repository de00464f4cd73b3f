// Package framing tells where in a clip's picture the horse is and how large, frame by
// frame, so that pieces of pictures can be cut out in which it stands still and has one
// size: for pictures on pages and for the film of two visits.
//
// The size comes from the distance along the lane where the clip is calibrated: a metre
// is then as long in every piece, of every clip. Else it comes from how high the head (from
// behind the croup) is above the hooves that stand: the horse is then as high in every
// piece. Either is fitted smoothly over the run, so that neither a nod nor a click moves
// the piece.
package framing

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// ErrUnknown is returned where the horse's place and size can't be told.
var ErrUnknown = errors.New("too few hooves were seen standing to tell where the horse is")

// Input is what is known of a clip.
type Input struct {
	Times    []float64    // Of the frames, s.
	Tracks   []traj.Track // In the clip's own picture, not stabilised.
	Contacts []metrics.Contact
	View     traj.View
	Camera   *geometry.Camera // Nil where lengths are not known.
	Shaken   bool             // The camera moved.
}

// Horse is where the horse is in a clip's pictures.
type Horse struct {
	Metric bool // Scale is px per metre; else px per height of the horse's head (from behind: croup).
	// From and To bound the times for which it is known, s.
	From, To float64

	times  []float64
	shiftX []float64 // What the camera's motion adds to a stabilised place, px. Index: frame.
	shiftY []float64
	scale  func(t float64) float64
	ground func(t float64) (x, y float64) // Stabilised.
}

// Place is the horse in one frame: X is the column of its middle, Y the row of the ground
// below it, px of the clip; Scale is px per unit of length, see Horse.
type Place struct{ X, Y, Scale float64 }

// At returns the place in frame index.
func (h *Horse) At(index int) Place {
	t := h.times[index]
	x, y := h.ground(t)
	return Place{x + h.shiftX[index], y + h.shiftY[index], h.scale(t)}
}

// Shift returns what the camera's motion adds in frame index to a place in the stabilised
// picture, px.
func (h *Horse) Shift(index int) (dx, dy float64) { return h.shiftX[index], h.shiftY[index] }

// Ground returns the place below the horse's middle at t in the stabilised picture, px.
func (h *Horse) Ground(t float64) [2]float64 {
	x, y := h.ground(t)
	return [2]float64{x, y}
}

// Frame returns the frame shown nearest to t.
func (h *Horse) Frame(t float64) int { return traj.Nearest(h.times, t) }

// footing is a stance as the fits take it.
type footing struct {
	t    float64
	x, y float64 // Stabilised picture.
	side float64 // +1 on the picture's right.
	lane [2]float64
}

// beyond is how long before the first stance and after the last the fits are believed, s.
const beyond = 0.35

// Of works out where the horse is.
func Of(in Input) (*Horse, error) {
	h := &Horse{times: in.Times}
	feet := footings(in, traj.LeftFore, traj.RightFore)
	if other := footings(in, traj.LeftHind, traj.RightHind); in.View == traj.Away && len(other) >= 3 || len(feet) < 3 {
		feet = other
	}
	if len(feet) < 3 || len(in.Times) == 0 {
		return nil, ErrUnknown
	}
	h.From, h.To = feet[0].t-beyond, feet[len(feet)-1].t+beyond
	h.shifts(in)
	if in.Camera != nil && h.byLane(feet, in.Camera) {
		return h, nil
	}
	if h.byHeight(in, feet) {
		return h, nil
	}
	return nil, ErrUnknown
}

func footings(in Input, left, right traj.Landmark) []footing {
	var out []footing
	for _, c := range in.Contacts {
		if c.Limb != left && c.Limb != right || math.IsNaN(c.PictureX+c.PictureY) || c.PictureX == 0 && c.PictureY == 0 {
			continue
		}
		f := footing{t: (c.On + c.Off) / 2, x: c.PictureX, y: c.PictureY, side: in.View.LeftSign()}
		if c.Limb == right {
			f.side = -f.side
		}
		if in.Camera != nil {
			x, y, ok := in.Camera.GroundPoint(geometry.Point{X: c.PictureX, Y: c.PictureY})
			if !ok {
				continue
			}
			f.lane = [2]float64{x, y}
		}
		out = append(out, f)
	}
	slices.SortFunc(out, func(a, b footing) int {
		switch {
		case a.t < b.t:
			return -1
		case a.t > b.t:
			return 1
		}
		return 0
	})
	return out
}

// byLane fits the distance along the lane as a parabola of time, and the middle of the
// horse as a straight line along the lane.
func (h *Horse) byLane(feet []footing, cam *geometry.Camera) bool {
	degree := 1
	if len(feet) >= 5 {
		degree = 2
	}
	var rows [][]float64
	var depth, across []float64
	var lines [][]float64
	for _, f := range feet {
		rows, depth = append(rows, powers(f.t, degree)), append(depth, f.lane[1])
		lines, across = append(lines, []float64{1, f.lane[1], f.side}), append(across, f.lane[0])
	}
	far, ok := fit(rows, depth)
	middle, ok2 := fit(lines, across)
	if !ok || !ok2 {
		return false
	}
	at := func(t float64) (x, y float64) {
		t = math.Max(h.From, math.Min(h.To, t))
		for i, p := range powers(t, degree) {
			y += far[i] * p
		}
		return middle[0] + middle[1]*y, y
	}
	h.Metric = true
	h.ground = func(t float64) (float64, float64) {
		x, y := at(t)
		p, _ := cam.Project(x, y, 0)
		return p.X, p.Y
	}
	h.scale = func(t float64) float64 {
		x, y := at(t)
		// Across: a camera that looks down does not shorten it.
		a, _ := cam.Project(x-0.5, y, 0.8)
		b, _ := cam.Project(x+0.5, y, 0.8)
		return math.Hypot(b.X-a.X, b.Y-a.Y)
	}
	for _, t := range []float64{h.From, (h.From + h.To) / 2, h.To} {
		if s := h.scale(t); math.IsNaN(s) || !(s > 5) || s > 5000 {
			return false
		}
	}
	return true
}

// byHeight fits the height of the head above the hooves that stand, as what falls with
// distance does, and the ground's row as growing with it.
func (h *Horse) byHeight(in Input, feet []footing) bool {
	landmarks := []traj.Landmark{traj.Head, traj.Withers, traj.Chest}
	if in.View == traj.Away {
		landmarks = []traj.Landmark{traj.Croup, traj.Withers, traj.Head}
	}
	for _, l := range landmarks {
		i := slices.IndexFunc(in.Tracks, func(t traj.Track) bool { return t.Landmark == l })
		if i < 0 {
			continue
		}
		if h.byLandmark(in.Tracks[i], feet) {
			return true
		}
	}
	return false
}

func (h *Horse) byLandmark(track traj.Track, feet []footing) bool {
	var rows, grounds, lines [][]float64
	var inverse, row, column []float64
	degree := 1
	if len(feet) >= 5 {
		degree = 2
	}
	height := make([]float64, len(feet))
	for i, f := range feet {
		// Over one stride around the stance the nod evens out.
		sum, n := 0.0, 0
		for k, s := range track.Samples {
			if k < len(h.times) && math.Abs(h.times[k]-f.t) < 0.36 && s.Status.Seen() {
				sum += s.Y - h.shiftY[k]
				n++
			}
		}
		if n < 5 {
			height[i] = math.NaN()
			continue
		}
		height[i] = f.y - sum/float64(n)
		if height[i] < 5 {
			height[i] = math.NaN()
			continue
		}
		rows, inverse = append(rows, powers(f.t, degree)), append(inverse, 1/height[i])
		grounds, row = append(grounds, []float64{1, height[i]}), append(row, f.y)
		lines, column = append(lines, []float64{1, height[i], f.side * height[i]}), append(column, f.x)
	}
	if len(rows) < 3 {
		return false
	}
	size, ok := fit(rows, inverse)
	ground, ok2 := fit(grounds, row)
	middle, ok3 := fit(lines, column)
	if !ok || !ok2 || !ok3 {
		return false
	}
	h.scale = func(t float64) float64 {
		t = math.Max(h.From, math.Min(h.To, t))
		v := 0.0
		for i, p := range powers(t, degree) {
			v += size[i] * p
		}
		return 1 / v
	}
	h.ground = func(t float64) (float64, float64) {
		s := h.scale(t)
		return middle[0] + middle[1]*s, ground[0] + ground[1]*s
	}
	for _, t := range []float64{h.From, (h.From + h.To) / 2, h.To} {
		if s := h.scale(t); math.IsNaN(s) || !(s > 5) || s > 5000 {
			return false
		}
	}
	return true
}

// shifts works out the camera's motion from the hooves that stand: their place on the
// ground is known in the stabilised picture.
func (h *Horse) shifts(in Input) {
	n := len(in.Times)
	h.shiftX, h.shiftY = make([]float64, n), make([]float64, n)
	if !in.Shaken {
		return
	}
	known := make([]int, n)
	for _, c := range in.Contacts {
		i := slices.IndexFunc(in.Tracks, func(t traj.Track) bool { return t.Landmark == c.Limb })
		if i < 0 || math.IsNaN(c.PictureX+c.PictureY) || c.PictureX == 0 && c.PictureY == 0 {
			continue
		}
		for f, t := range in.Times {
			if s := in.Tracks[i].Samples[f]; t > c.On && t < c.Off && s.Status.Seen() {
				h.shiftX[f] += s.X - c.PictureX
				h.shiftY[f] += s.Y - c.PictureY
				known[f]++
			}
		}
	}
	last := -1
	for f := range n {
		if known[f] == 0 {
			continue
		}
		h.shiftX[f] /= float64(known[f])
		h.shiftY[f] /= float64(known[f])
		for g := last + 1; g < f; g++ {
			if last < 0 {
				h.shiftX[g], h.shiftY[g] = h.shiftX[f], h.shiftY[f]
				continue
			}
			w := float64(g-last) / float64(f-last)
			h.shiftX[g] = h.shiftX[last] + w*(h.shiftX[f]-h.shiftX[last])
			h.shiftY[g] = h.shiftY[last] + w*(h.shiftY[f]-h.shiftY[last])
		}
		last = f
	}
	for g := last + 1; last >= 0 && g < n; g++ {
		h.shiftX[g], h.shiftY[g] = h.shiftX[last], h.shiftY[last]
	}
}

func powers(t float64, degree int) []float64 {
	out := []float64{1}
	for range degree {
		out = append(out, out[len(out)-1]*t)
	}
	return out
}

// fit solves rows·x = y by least squares, robustly: rows that are far off what the others
// say weigh less (Huber's weights, at 1.35 standard deviations, from memory).
func fit(rows [][]float64, y []float64) ([]float64, bool) {
	n, k := len(rows), len(rows[0])
	if n < k {
		return nil, false
	}
	weight := make([]float64, n)
	for i := range weight {
		weight[i] = 1
	}
	var x mat.VecDense
	for range 6 {
		a, b := mat.NewDense(n, k, nil), mat.NewVecDense(n, nil)
		for i, r := range rows {
			for j, v := range r {
				a.Set(i, j, weight[i]*v)
			}
			b.SetVec(i, weight[i]*y[i])
		}
		var qr mat.QR
		qr.Factorize(a)
		if err := qr.SolveVecTo(&x, false, b); err != nil {
			return nil, false
		}
		left := make([]float64, n)
		for i, r := range rows {
			left[i] = y[i]
			for j, v := range r {
				left[i] -= v * x.AtVec(j)
			}
			left[i] = math.Abs(left[i])
		}
		sorted := slices.Sorted(slices.Values(left))
		limit := 1.35 * 1.4826 * sorted[n/2]
		if limit == 0 {
			break
		}
		for i := range weight {
			weight[i] = math.Sqrt(math.Min(1, limit/math.Max(left[i], 1e-12)))
		}
	}
	return append([]float64(nil), x.RawVector().Data...), true
}
