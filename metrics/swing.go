package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
)

// Forward progress of a hoof through its swing cannot be seen from in front:
// the picture gives two numbers, the position has three. It is taken to follow
// a unit profile whose speed rises along a raised cosine over the first part
// of the swing, stays level, and falls likewise. How far the truth may lie from it goes
// into the error that all strides share: profiles that lead or lag at mid-swing
// (errormodel.Swing).

// progress returns the share of the way covered at share u of a swing with a ramp of so
// much of it.
func progress(u, ramp float64) float64 {
	switch {
	case u <= 0:
		return 0
	case u >= 1:
		return 1
	case u > 0.5:
		return 1 - progress(1-u, ramp)
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
	names := [2][3]Name{
		{LateralArcFore, MedialArcFore, FlightHeightFore},
		{LateralArcHind, MedialArcHind, FlightHeightHind},
	}
	for g := range 2 {
		// Index: side, measure. Half the change from a lagging to a leading profile;
		// what all swings share because the hoof turns alike in each.
		var lean, turned, count [2][3]float64
		for i, st := range a.Strides {
			var v [3][2][2]float64 // Index: measure, side, then value and spread.
			for side := range 2 {
				sw, ok := a.swing(s, cam, 2*g+side, i)
				for m := range 3 {
					if v[m][side] = notSeen; ok && !math.IsNaN(sw.value[m][0]) {
						v[m][side] = sw.value[m]
						lean[side][m] += sw.lean[m]
						turned[side][m] += sw.turned[m]
						count[side][m]++
					}
				}
				if ok {
					s.paths = append(s.paths, sw.path)
				}
			}
			for m, n := range names[g] {
				s.found.putSides(n, i, st.Start, v[m])
			}
		}
		for m, n := range names[g] {
			f := s.found[n]
			if f == nil {
				continue
			}
			alike := a.opts.Model.Swing.AlikeSides
			var variance, side float64 // Of the difference; of the worse side.
			for _, part := range [2][2][3]float64{lean, turned} {
				l, r := part[0][m]/max(count[0][m], 1), part[1][m]/max(count[1][m], 1)
				variance += alike*sq(r-l) + (1-alike)*(sq(l)+sq(r))
				side += max(sq(l), sq(r))
			}
			f.commonSD, f.sideCommonSD = math.Sqrt(variance), math.Sqrt(side)
		}
	}
}

// flight is one measured swing: lateral arc, medial arc and height, cm.
type flight struct {
	value [3][2]float64 // Value and spread.
	lean  [3]float64    // Half the change from a lagging to a leading profile.
	// turned is the part of the error that comes from the hoof's turning, cm: alike
	// in every swing of the limb.
	turned [3]float64
	path   HoofPath
}

// swing measures the swing that follows limb k's stance in stride i.
func (a *analysis) swing(s *spatial, cam geometry.Camera, k, i int) (flight, bool) {
	j := a.In(k, i)
	n := a.Next(k, j)
	if n < 0 {
		return flight{}, false
	}
	model := a.opts.Model.Swing
	from, to := &a.Stances[k][j], &a.Stances[k][n]
	p0, p1 := s.placed[k][j], s.placed[k][n]
	off, offSD := from.Leaves()
	on, onSD := to.Reaches()
	if !p0.ok || !p1.ok || !(on-off > model.ShortestShare*a.Period && on-off < a.Period) { // False for NaN.
		return flight{}, false
	}
	seen := a.Hooves[k].During(off, on)
	if len(seen) < swingTerms+3 {
		return flight{}, false
	}
	last := off
	for i := range len(seen) + 1 {
		t := on
		if i < len(seen) {
			t = seen[i].T
		}
		if t-last > model.LongestUnseen*(on-off)+rounding {
			return flight{}, false // Too much of the swing was not seen.
		}
		last = t
	}
	fit := func(off, on, lead float64) (flown, bool) {
		return a.fly(s, cam, k, seen, off, on, p0, p1, lead)
	}
	straight, ok0 := fit(off, on, 0)
	ahead, ok1 := fit(off, on, model.Skew)
	behind, ok2 := fit(off, on, -model.Skew)
	// The instants at which it leaves and lands are known so well and no better.
	later, ok3 := fit(min(off+offSD, seen[0].T), on, 0)
	sooner, ok4 := fit(off, max(on-onSD, seen[len(seen)-1].T), 0)
	if !(ok0 && ok1 && ok2 && ok3 && ok4) {
		return flight{}, false
	}
	// The chord's ends are placements with spreads of their own.
	chord := 100 * math.Hypot(p0.xSD, p1.xSD) / 2
	sds, turned := straight.spreads()
	out := flight{path: straight.path, turned: turned}
	out.path.Limb, out.path.Stride = limbs[k], i
	for m, v := range straight.value {
		sd := sds[m]
		if m < 2 {
			sd = math.Hypot(sd, chord)
		}
		sd = math.Hypot(sd, math.Hypot(later.value[m]-v, sooner.value[m]-v))
		out.value[m] = [2]float64{v, sd}
		if m == 2 && math.Hypot(sd, turned[m]) > model.WorstHeightCM {
			out.value[m] = notSeen
		}
		out.lean[m] = (ahead.value[m] - behind.value[m]) / 2
	}
	return out, true
}

// flown is one fitted swing: lateral arc, medial arc and height, cm, and the shares
// of the swing at which each is reached.
type flown struct {
	value, when [3]float64
	path        HoofPath
	noise       flightNoise
}

// fly fits the path of a swing from off to on whose forward progress leads by
// lead of the stride length at mid-swing.
func (a *analysis) fly(s *spatial, cam geometry.Camera, k int, seen []contact.Sample, off, on float64, p0, p1 placement, lead float64) (flown, bool) {
	departures, heights, noise, ok := a.departures(s, cam, k, seen, off, on, p0, p1, lead)
	if !ok {
		return flown{}, false
	}
	out := flown{noise: noise}
	most, least, top := 0.0, 0.0, 0.0
	for q := 0; q <= pathPoints; q++ {
		u := float64(q) / pathPoints
		d, z := sineSeries(departures, u), sineSeries(heights, u)
		if d > most {
			most, out.when[0] = d, u
		}
		if d < least {
			least, out.when[1] = d, u
		}
		if z > top {
			top, out.when[2] = z, u
		}
		out.path.Progress = append(out.path.Progress, u)
		out.path.Outward = append(out.path.Outward, 100*d)
		out.path.Height = append(out.path.Height, 100*z)
	}
	out.value = [3]float64{100 * most, -100 * least, 100 * top}
	return out, true
}

// pathPoints is in how many parts a swing's path is told.
const pathPoints = 40

// spreads returns what the samples' noise makes of each of f's values, and what the
// hoof's turning does, cm.
func (f *flown) spreads() (sd, turned [3]float64) {
	for m, u := range f.when {
		own := f.noise.own[m/2]
		sd[m], turned[m] = 100*own(u), 100*f.noise.at(m/2, u)
		if most := 100 * slices.Max(f.noise.turned[m/2]); f.value[m] < 2*most {
			// So small a departure may have been anywhere.
			turned[m] = most
			for q := range pathPoints {
				sd[m] = max(sd[m], 100*own(float64(q)/pathPoints))
			}
		}
	}
	return sd, turned
}

// grown returns what a spread has beyond base.
func grown(base, sd float64) float64 { return math.Sqrt(max(0, sd*sd-base*base)) }

// flightNoise is how far a swing's fitted path may be off, metres, sideways and
// in height (index 0 and 1).
type flightNoise struct {
	own    [2]func(u float64) float64 // What the samples' noise, and gaps, make of it at share u of the swing.
	u      []float64                  // Index: sample. Its share of the swing.
	turned [2][]float64               // Index: then sample. What it has gained because the hoof turns.
}

// at returns the part that comes from turning at share u of the swing.
func (n flightNoise) at(direction int, u float64) float64 {
	best, at := math.Inf(1), 0
	for i, v := range n.u {
		if d := math.Abs(v - u); d < best {
			best, at = d, i
		}
	}
	return n.turned[direction][at]
}

// departures returns the sine coefficients of the hoof's outward departure from
// the chord and of its height, metres, from what was seen between off and on.
//
// The part of a sample's spread that it has because the hoof turns is shared by
// its neighbours, and by the limb's other swings: it is not averaged out.
func (a *analysis) departures(s *spatial, cam geometry.Camera, k int, seen []contact.Sample, off, on float64, p0, p1 placement, lead float64) (departure, height []float64, noise flightNoise, ok bool) {
	rows := len(seen)
	side, up := newSeries(rows), newSeries(rows)
	least := math.Inf(1) // The spread of a sample that does not turn, px.
	for _, f := range seen {
		least = min(least, f.XSD)
	}
	for r, f := range seen {
		u := (f.T - off) / (on - off)
		way := progress(u, a.opts.Model.Swing.Ramp) + lead*math.Sin(math.Pi*u)
		y := p0.y + way*(p1.y-p0.y)
		at := geometry.Point{X: f.X, Y: f.Y}
		x, z, found := cam.AtDepth(at, y)
		acrossX, acrossZ, found1 := cam.AtDepth(geometry.Point{X: at.X + 1, Y: at.Y}, y)
		downX, downZ, found2 := cam.AtDepth(geometry.Point{X: at.X, Y: at.Y + 1}, y)
		if !found || !found1 || !found2 {
			return nil, nil, noise, false
		}
		// Away from the chord, square to the line of travel.
		cx := p0.x + way*(p1.x-p0.x)
		nx := -s.fit.line.DY
		spreadX := math.Hypot(f.XSD*(acrossX-x), f.YSD*(downX-x))
		spreadZ := math.Hypot(f.XSD*(acrossZ-z), f.YSD*(downZ-z))
		side.set(r, u, (x-cx)*nx*outward(k), spreadX)
		up.set(r, u, z, spreadZ)
		steadyX := math.Hypot(least*(acrossX-x), least*(downX-x))
		steadyZ := math.Hypot(least*(acrossZ-z), least*(downZ-z))
		noise.u = append(noise.u, u)
		noise.turned[0] = append(noise.turned[0], grown(steadyX, spreadX))
		noise.turned[1] = append(noise.turned[1], grown(steadyZ, spreadZ))
	}
	departure, noise.own[0] = side.fit()
	height, noise.own[1] = up.fit()
	return departure, height, noise, departure != nil && height != nil
}

// series is a weighted fit of swingTerms sine terms.
type series struct {
	design *mat.Dense
	values *mat.VecDense
}

func newSeries(rows int) *series {
	return &series{mat.NewDense(rows, swingTerms, nil), mat.NewVecDense(rows, nil)}
}

// set adds the value at share u of the swing, with spread sd, as row r.
func (f *series) set(r int, u, value, sd float64) {
	w := 1 / sd
	for c := range swingTerms {
		f.design.Set(r, c, w*math.Sin(math.Pi*float64(c+1)*u))
	}
	f.values.SetVec(r, w*value)
}

// fit returns the terms' coefficients, nil where the samples do not give them, and
// the spread of their sum at share u of the swing.
func (f *series) fit() (terms []float64, spread func(u float64) float64) {
	var normal mat.SymDense
	normal.SymOuterK(1, f.design.T())
	for c := range swingTerms {
		// A faint pull to 0 for terms that gaps leave open.
		normal.SetSym(c, c, normal.At(c, c)*(1+1e-6))
	}
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return nil, nil
	}
	var g, q mat.VecDense
	g.MulVec(f.design.T(), f.values)
	if err := chol.SolveVecTo(&q, &g); err != nil {
		return nil, nil
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return nil, nil
	}
	spread = func(u float64) float64 {
		at := mat.NewVecDense(swingTerms, nil)
		for c := range swingTerms {
			at.SetVec(c, math.Sin(math.Pi*float64(c+1)*u))
		}
		return math.Sqrt(max(0, mat.Inner(at, &inverse, at)))
	}
	return append([]float64(nil), q.RawVector().Data...), spread
}

func sineSeries(c []float64, u float64) float64 {
	var s float64
	for k, v := range c {
		s += v * math.Sin(math.Pi*float64(k+1)*u)
	}
	return s
}
