package metrics

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics/geometry"
)

// Forward progress of a hoof through its swing cannot be seen from in front:
// the picture gives two numbers, the position has three. It is taken to follow
// a unit profile whose speed rises along a raised cosine over the first part
// ramp of the swing, stays level, and falls likewise. With a ramp of a fifth the
// hoof's top speed is 1.25 times its mean, which at a duty factor of 0.4 is
// twice the horse's own speed (trade press: Clayton; checked in the tests).
// How far the truth may lie from it goes into the spreads: profiles that lead or
// lag by skew of the stride length at mid-swing.
const (
	ramp = 0.2
	skew = 0.04
)

// progress returns the share of the way covered at share u of the swing.
func progress(u float64) float64 {
	switch {
	case u <= 0:
		return 0
	case u >= 1:
		return 1
	case u > 0.5:
		return 1 - progress(1-u)
	}
	speed := 1 / (1 - ramp)
	if u < ramp {
		return speed / 2 * (u - ramp/math.Pi*math.Sin(math.Pi*u/ramp))
	}
	return speed * (u - ramp/2)
}

// swingTerms is the number of sine terms (half waves over the swing) to which
// the hoof's departures are smoothed.
const swingTerms = 5

// measureSwings measures the arcs and the height of every swing.
func (a *analysis) measureSwings(s *spatial, cam geometry.Camera) {
	names := [2]struct{ lateral, medial, height Name }{
		{LateralArcFore, MedialArcFore, FlightHeightFore},
		{LateralArcHind, MedialArcHind, FlightHeightHind},
	}
	for i, st := range a.strides {
		for g := range 2 {
			lateral, medial, height := [2][2]float64{notSeen, notSeen}, [2][2]float64{notSeen, notSeen}, [2][2]float64{notSeen, notSeen}
			for side := range 2 {
				k := 2*g + side
				sw, ok := a.swing(s, cam, k, i)
				if !ok {
					continue
				}
				lateral[side], medial[side], height[side] = sw.lateral, sw.medial, sw.height
				s.paths = append(s.paths, sw.path)
			}
			s.found.putSides(names[g].lateral, i, st.Start, lateral)
			s.found.putSides(names[g].medial, i, st.Start, medial)
			s.found.putSides(names[g].height, i, st.Start, height)
		}
	}
}

// flight is one measured swing; values and spreads in cm.
type flight struct {
	lateral, medial, height [2]float64
	path                    HoofPath
}

// swing measures the swing that follows limb k's stance in stride i.
func (a *analysis) swing(s *spatial, cam geometry.Camera, k, i int) (flight, bool) {
	j := a.at[k][i]
	n := a.next(k, j)
	if n < 0 {
		return flight{}, false
	}
	from, to := &a.stances[k][j], &a.stances[k][n]
	p0, p1 := s.placed[k][j], s.placed[k][n]
	if !from.offTimed() || !to.onTimed() || !p0.ok || !p1.ok || to.On <= from.Off {
		return flight{}, false
	}
	h := a.hooves[k]
	lo, hi := sort.SearchFloat64s(h.t, from.Off), sort.SearchFloat64s(h.t, to.On)
	if hi-lo < swingTerms+3 {
		return flight{}, false
	}
	last := from.Off
	for _, t := range append(append([]float64(nil), h.t[lo:hi]...), to.On) {
		if t-last > (to.On-from.Off)/4 {
			return flight{}, false // A quarter of the swing was not seen.
		}
		last = t
	}
	var out flight
	out.path = HoofPath{Limb: h.limb, Stride: i}
	var spreadOut, spreadHeight [3]float64
	for v, lead := range [3]float64{0, 1, -1} {
		departures, heights, noise, ok := a.departures(s, cam, k, lo, hi, from.Off, to.On, p0, p1, lead*skew)
		if !ok {
			return flight{}, false
		}
		most, least, top := math.Inf(-1), math.Inf(1), math.Inf(-1)
		const points = 40
		for q := 0; q <= points; q++ {
			u := float64(q) / points
			d, z := sineSeries(departures, u), sineSeries(heights, u)
			most, least, top = max(most, d), min(least, d), max(top, z)
			if v == 0 {
				out.path.Progress = append(out.path.Progress, u)
				out.path.Outward = append(out.path.Outward, 100*d)
				out.path.Height = append(out.path.Height, 100*z)
			}
		}
		if v == 0 {
			out.lateral = [2]float64{100 * max(0, most), 100 * noise[0]}
			out.medial = [2]float64{100 * max(0, -least), 100 * noise[0]}
			out.height = [2]float64{100 * max(0, top), 100 * noise[1]}
			continue
		}
		spreadOut[v] = math.Max(math.Abs(100*max(0, most)-out.lateral[0]), math.Abs(100*max(0, -least)-out.medial[0]))
		spreadHeight[v] = math.Abs(100*max(0, top) - out.height[0])
	}
	// The chord's ends are placements with spreads of their own.
	_, sd0 := s.line.left(p0)
	_, sd1 := s.line.left(p1)
	chord := 100 * math.Hypot(sd0, sd1) / 2
	for _, m := range []*[2]float64{&out.lateral, &out.medial} {
		m[1] = math.Sqrt(sq(m[1]) + sq(chord) + sq((spreadOut[1]+spreadOut[2])/2))
	}
	out.height[1] = math.Hypot(out.height[1], (spreadHeight[1]+spreadHeight[2])/2)
	return out, true
}

// departures returns the sine coefficients of the hoof's outward departure from
// the chord and of its height, metres, and the spread of either at its largest.
func (a *analysis) departures(s *spatial, cam geometry.Camera, k, lo, hi int, off, on float64, p0, p1 placement, lead float64) (departure, height []float64, noise [2]float64, ok bool) {
	h := a.hooves[k]
	rows := hi - lo
	design := mat.NewDense(rows, swingTerms, nil)
	side, up := mat.NewVecDense(rows, nil), mat.NewVecDense(rows, nil)
	var noiseX, noiseZ float64
	for r := range rows {
		t := h.t[lo+r]
		u := (t - off) / (on - off)
		way := progress(u) + lead*math.Sin(math.Pi*u)
		y := p0.y + way*(p1.y-p0.y)
		at := geometry.Point{X: h.x[lo+r], Y: h.y[lo+r]}
		x, z, found := cam.AtDepth(at, y)
		acrossX, acrossZ, found1 := cam.AtDepth(geometry.Point{X: at.X + 1, Y: at.Y}, y)
		downX, downZ, found2 := cam.AtDepth(geometry.Point{X: at.X, Y: at.Y + 1}, y)
		if !found || !found1 || !found2 {
			return nil, nil, noise, false
		}
		sd := h.sd[lo+r]
		// Away from the chord, square to the line of travel.
		cx := p0.x + way*(p1.x-p0.x)
		nx := -s.line.DY
		d := (x - cx) * nx * outward(k)
		w := 1 / sd
		for c := range swingTerms {
			design.Set(r, c, w*math.Sin(math.Pi*float64(c+1)*u))
		}
		side.SetVec(r, w*d)
		up.SetVec(r, w*z)
		noiseX += sq(sd) * (sq(acrossX-x) + sq(downX-x))
		noiseZ += sq(sd) * (sq(acrossZ-z) + sq(downZ-z))
	}
	var normal mat.SymDense
	normal.SymOuterK(1, design.T())
	for c := range swingTerms {
		// A faint pull to 0 for terms that gaps leave open.
		normal.SetSym(c, c, normal.At(c, c)*(1+1e-6))
	}
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return nil, nil, noise, false
	}
	fit := func(b *mat.VecDense) []float64 {
		var g, q mat.VecDense
		g.MulVec(design.T(), b)
		if err := chol.SolveVecTo(&q, &g); err != nil {
			return nil
		}
		return append([]float64(nil), q.RawVector().Data...)
	}
	departure, height = fit(side), fit(up)
	if departure == nil || height == nil {
		return nil, nil, noise, false
	}
	share := math.Sqrt(swingTerms) / float64(rows)
	return departure, height, [2]float64{math.Sqrt(noiseX) * share, math.Sqrt(noiseZ) * share}, true
}

func sineSeries(c []float64, u float64) float64 {
	var s float64
	for k, v := range c {
		s += v * math.Sin(math.Pi*float64(k+1)*u)
	}
	return s
}
