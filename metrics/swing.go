package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/errormodel"
)

// progress returns the share of the way that a hoof has covered at share u of a swing: from in
// front it cannot be seen. Its speed is taken to rise along a raised cosine over the first part
// of the swing, ramp, to stay level, and to fall likewise. How far the truth may lie from that
// goes into the error that all strides share: profiles that lead or lag (errormodel.Swing).
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

const (
	swingTerms = 5  // Sine terms, half waves over the swing, to which a hoof's departures are smoothed.
	pathPoints = 40 // In how many parts a swing's path is told.
)

// measureSwings measures the arcs of every swing.
func (s *spatial) measureSwings() {
	for g, names := range [2][2]Name{{LateralArcFore, MedialArcFore}, {LateralArcHind, MedialArcHind}} {
		var swings [2][]flight // Index: side.
		for i := range s.Strides {
			v := [2][2][2]float64{neither, neither} // Index: measure, side, then value and spread.
			for side := range 2 {
				f, ok := s.swing(2*g+side, i)
				if !ok {
					continue
				}
				s.paths = append(s.paths, f.path)
				swings[side] = append(swings[side], f)
				for m, value := range f.value {
					v[m][side] = value
				}
			}
			for m, n := range names {
				s.putSides(n, i, v[m])
			}
		}
		for m, n := range names {
			s.found[n].addCommon(sharedBy(swings, m, s.model.Swing.AlikeSides))
		}
	}
}

// sharedBy returns the standard deviations of the errors that all swings share in their mean of
// a measure: of the difference between the sides, whose errors are alike by a share, and of
// the worse side.
func sharedBy(swings [2][]flight, measure int, alike float64) (difference, worse float64) {
	var mean [2][2]float64 // What the profile makes and what the hoof's turning does, each by side.
	for side, flights := range swings {
		n := 0.0
		for _, f := range flights {
			if !math.IsNaN(f.value[measure][0]) {
				mean[0][side] += f.lean[measure]
				mean[1][side] += f.turned[measure]
				n++
			}
		}
		mean[0][side] /= max(n, 1)
		mean[1][side] /= max(n, 1)
	}
	var variance, side float64
	for _, m := range mean {
		variance += alike*sq(m[1]-m[0]) + (1-alike)*(sq(m[0])+sq(m[1]))
		side += max(sq(m[0]), sq(m[1]))
	}
	return math.Sqrt(variance), math.Sqrt(side)
}

// flight is one measured swing: lateral arc and medial arc, cm.
type flight struct {
	value [2][2]float64 // Value and spread.
	lean  [2]float64    // Half the change from a lagging to a leading profile.
	// turned is the part of the error that comes from the hoof's turning, cm: alike
	// in every swing of the limb.
	turned [2]float64
	path   HoofPath
}

// swing measures the swing that follows limb k's stance in stride i.
func (s *spatial) swing(k, i int) (flight, bool) {
	j := s.In(k, i)
	n := s.Next(k, j)
	if n < 0 {
		return flight{}, false
	}
	model := s.model.Swing
	from, to := &s.Stances[k][j], &s.Stances[k][n]
	p0, p1 := s.placed[k][j], s.placed[k][n]
	off, offSD := from.Leaves()
	on, onSD := to.Reaches()
	if !p0.ok || !p1.ok || !(on-off > model.ShortestShare*s.Period && on-off < s.Period) { // False for NaN.
		return flight{}, false
	}
	seen := s.Hooves[k].During(off, on)
	if len(seen) < swingTerms+3 {
		return flight{}, false
	}
	last := off
	for _, p := range append(slices.Clip(seen), contact.Sample{T: on}) {
		if p.T-last > model.LongestUnseen*(on-off)+rounding {
			return flight{}, false // Too much of the swing was not seen.
		}
		last = p.T
	}
	way := flightSeen{model, s.cam, seen, p0, p1, -s.fit.line.DY * outward(k)}
	// As it is; with a leading and with a lagging profile; and with either instant as far off as
	// it may be: it is known so well and no better.
	var tries [5]flown
	for q, v := range [5]struct{ off, on, lead float64 }{
		{off, on, 0}, {off, on, model.Skew}, {off, on, -model.Skew},
		{min(off+offSD, seen[0].T), on, 0}, {off, max(on-onSD, seen[len(seen)-1].T), 0},
	} {
		var ok bool
		if tries[q], ok = way.fly(v.off, v.on, v.lead); !ok {
			return flight{}, false
		}
	}
	straight, ahead, behind, later, sooner := &tries[0], &tries[1], &tries[2], &tries[3], &tries[4]
	// The chord's ends are placements with spreads of their own.
	chord := 100 * math.Hypot(p0.xSD, p1.xSD) / 2
	sds, turned := straight.spreads()
	out := flight{path: straight.path, turned: turned}
	out.path.Limb = limbs[k]
	for m, v := range straight.value {
		out.value[m] = [2]float64{v, math.Hypot(math.Hypot(sds[m], chord), math.Hypot(later.value[m]-v, sooner.value[m]-v))}
		out.lean[m] = (ahead.value[m] - behind.value[m]) / 2
	}
	return out, true
}

// outward is +1 for limbs of the left side and −1 for those of the right: what
// turns a distance to the left into one away from the midline.
func outward(k int) float64 { return float64(1 - 2*(k%2)) }

// flown is one fitted swing: lateral arc and medial arc, cm, and the shares of the swing at
// which each is reached.
type flown struct {
	value, when [2]float64
	path        HoofPath
	fit         *signal.LinearFit // Outward from the chord, metres. Terms: sines.
	u           []float64         // Index: sample. Its share of the swing.
	turned      []float64         // Index: sample. Its standard deviation, which is that of a hoof that turns.
}

// flightSeen is what was seen of one swing.
type flightSeen struct {
	model    errormodel.Swing
	cam      geometry.Camera
	samples  []contact.Sample
	from, to placement
	outward  float64 // Takes a distance across the lane to one away from the midline, square to the line of travel.
}

// fly fits the hoof's outward departure from the chord to what was seen between off and on.
// The forward progress leads by lead of the stride length at mid-swing.
//
// A sample is off because the hoof turns: as much as its neighbours, and as those of the limb's
// other swings. That is not averaged out.
func (f flightSeen) fly(off, on, lead float64) (out flown, ok bool) {
	var terms [][]float64
	var values []float64
	for _, p := range f.samples {
		u := (p.T - off) / (on - off)
		way := progress(u, f.model.Ramp) + lead*math.Sin(math.Pi*u)
		y := f.from.y + way*(f.to.y-f.from.y)
		x, _, found := f.cam.AtDepth(geometry.Point{X: p.X, Y: p.Y}, y)
		acrossX, _, found1 := f.cam.AtDepth(geometry.Point{X: p.X + 1, Y: p.Y}, y)
		downX, _, found2 := f.cam.AtDepth(geometry.Point{X: p.X, Y: p.Y + 1}, y)
		if !found || !found1 || !found2 {
			return out, false
		}
		chord := f.from.x + way*(f.to.x-f.from.x)
		terms, out.u = append(terms, sines(u)), append(out.u, u)
		values = append(values, (x-chord)*f.outward)
		out.turned = append(out.turned, math.Hypot(p.XSD*(acrossX-x), p.YSD*(downX-x)))
	}
	sds := slices.Clone(out.turned)
	// What gaps leave open is as large as it usually is.
	for k := range swingTerms {
		row := make([]float64, swingTerms)
		row[k] = 1
		terms, values, sds = append(terms, row), append(values, 0), append(sds, f.model.OutwardM/sq(float64(k+1)))
	}
	var err error
	if out.fit, err = signal.FitLinear(terms, values, sds, 0); err != nil {
		return out, false
	}
	for q := 0; q <= pathPoints; q++ {
		u := float64(q) / pathPoints
		d := 100 * out.fit.At(sines(u))
		for m, v := range [2]float64{d, -d} {
			if v > out.value[m] {
				out.value[m], out.when[m] = v, u
			}
		}
		out.path.Progress = append(out.path.Progress, u)
		out.path.Outward = append(out.path.Outward, d)
	}
	return out, true
}

// spreads returns what the samples' noise makes of each of f's values, and what the
// hoof's turning does, cm.
func (f *flown) spreads() (sd, turned [2]float64) {
	own := func(u float64) float64 { return 100 * f.fit.SD(sines(u)) }
	most := 100 * slices.Max(f.turned)
	for m, u := range f.when {
		sd[m], turned[m] = own(u), 100*f.turned[floats.NearestIdx(f.u, u)]
		if f.value[m] < 2*most {
			// So small a departure may have been anywhere.
			turned[m] = most
			for q := range pathPoints {
				sd[m] = max(sd[m], own(float64(q)/pathPoints))
			}
		}
	}
	return sd, turned
}

// sines returns the terms of a path at share u of the swing.
func sines(u float64) []float64 {
	terms := make([]float64, swingTerms)
	for k := range terms {
		terms[k] = math.Sin(math.Pi * float64(k+1) * u)
	}
	return terms
}
