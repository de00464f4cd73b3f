package metrics

import (
	"cmp"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/stat"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

const rounding = contact.Rounding

// bodyTrack is a mark of the body as height over time.
type bodyTrack struct {
	landmark traj.Landmark
	t        []float64
	z        []float64 // Drift removed; metres, camera heights (LevelRatio) or shares of the mark's height (LevelNone).
	sd       []float64
	frame    []int
	fits     []*signal.Harmonics // Index: stride. Nil where the mark was not seen through it.
}

// measureBody measures the vertical movement of head, withers, croup, hips and shoulders.
// What all strides share for their landings is only set where s is not like another, which
// has it already.
func (s *spatial) measureBody(like *spatial) {
	if len(s.Strides) == 0 {
		return
	}
	tracks := map[traj.Landmark]*bodyTrack{}
	for _, l := range []traj.Landmark{traj.Head, traj.Withers, traj.Croup, traj.LeftHip, traj.RightHip, traj.LeftShoulder, traj.RightShoulder} {
		b := s.bodyHeights(l)
		if b == nil {
			continue
		}
		whole := s.fitStrides(b, 0)
		unit, scale := "mm", 1000.0
		if !s.cal.Level.AtLeast(geometry.LevelHeight) {
			unit, scale = "%", 100/whole
		}
		if !(scale > 0) || math.IsInf(scale, 0) {
			continue
		}
		s.signals = append(s.signals, s.signalOf(b, unit, scale))
		tracks[l] = b
		if l.Side() != traj.Middle {
			continue // With the other side.
		}
		s.putMovement(b, scale)
		if like == nil {
			s.shareWindows(b, scale)
		}
	}
	s.measurePoints(tracks)
}

// fewestShares is from how many strides the share of the once-a-stride part is told: its interval
// holds how well each was measured, and two do not show how much strides differ beside that.
const fewestShares = 3

// putMovement adds what the harmonics of each stride say of the movement of b.
func (s *spatial) putMovement(b *bodyTrack, scale float64) {
	seen := 0
	for _, h := range b.fits {
		if h != nil {
			seen++
		}
	}
	for i, h := range b.fits {
		if h == nil {
			continue
		}
		if b.landmark == traj.Head {
			s.putHarmonics(i, h, scale, seen >= fewestShares)
		}
		if s.opts.Gait != traj.Walk && s.cal.Level != geometry.LevelNone {
			s.putExtremes(i, h, b.landmark, scale)
		}
	}
}

// shareWindows sets what all strides' movements of b share because all landings may be early or
// late alike: what harmonics say of a head that also drifts depends on where strides are cut. It
// measures again with all of them cut one standard deviation earlier and later.
func (s *spatial) shareWindows(b *bodyTrack, scale float64) {
	late, _, _ := s.alike()
	var moved [2]*spatial
	for i, shift := range [2]float64{-late, late} {
		moved[i] = &spatial{analysis: s.analysis, found: findings{}}
		cut := *b
		s.fitStrides(&cut, shift)
		moved[i].putMovement(&cut, scale)
	}
	for n := range moved[1].found {
		if d := (moved[1].found.mean(n) - moved[0].found.mean(n)) / 2; !math.IsNaN(d) {
			s.found[n].addCommon(d, 0)
		}
	}
}

// putHarmonics adds the head's movement once and twice a stride, and, where share says so, what
// share of it the first is. The power that noise adds to an amplitude is taken off.
func (s *spatial) putHarmonics(i int, h *signal.Harmonics, scale float64, share bool) {
	var amp, sd [2]float64
	wide := max(1, h.ResidualSD)
	for k := range 2 {
		v, e := h.Amplitude(k + 1)
		e *= wide
		amp[k], sd[k] = math.Sqrt(max(0, v*v-e*e)), e
	}
	if s.cal.Level != geometry.LevelNone {
		s.put(HeadFirstHarmonic, i, scale*amp[0], scale*sd[0])
		s.put(HeadSecondHarmonic, i, scale*amp[1], scale*sd[1])
	}
	if sum := amp[0] + amp[1]; share && sum > 0 {
		s.put(HeadHarmonicShare, i, 100*amp[0]/sum, 100*math.Hypot(amp[1]*sd[0], amp[0]*sd[1])/sum/sum)
	}
}

// putExtremes adds the low- and high-point differences of one stride. The low point of a side is
// the lowest local minimum from shortly before its limb lands until shortly before the other
// does, or, where the once-a-stride part leaves it none, the lowest of its stance; its high
// point is the highest maximum between that low point and the other side's.
func (s *spatial) putExtremes(i int, h *signal.Harmonics, l traj.Landmark, scale float64) {
	t, names, wide := h.Period, LowAndHigh(l), max(1, h.ResidualSD)
	var at, value, top, high [2]float64
	for side := range 2 {
		k := 2*girdleOf(l) + side
		// The landing, or the beat at which it must have been: this only chooses between
		// two low points that lie half a stride apart.
		on, _ := s.Landing(k, s.Cycle(k, i))
		s.borrowed = s.borrowed || s.In(k, i) < 0
		var local bool
		if at[side], value[side], local = h.Lowest(on-0.05*t, on+0.45*t); !local {
			at[side], value[side], _ = h.Lowest(on, on+0.4*t)
		}
	}
	// Two sides cannot share one low point.
	if math.Abs(math.Remainder(at[1]-at[0], t)) < t/8 {
		return
	}
	s.put(names[0], i, scale*(value[1]-value[0]), scale*wide*h.DifferenceSD(at[1], at[0]))
	for side := range 2 {
		next := at[1-side]
		for next <= at[side] {
			next += t
		}
		for next > at[side]+t {
			next -= t
		}
		top[side], high[side], _ = h.Highest(at[side], next)
	}
	s.put(names[1], i, scale*(high[1]-high[0]), scale*wide*h.DifferenceSD(top[1], top[0]))
}

// fitStrides fits harmonics to every stride, cut later by shift, s, and returns the mean
// range of the movement.
func (s *spatial) fitStrides(b *bodyTrack, shift float64) float64 {
	b.fits = make([]*signal.Harmonics, len(s.Strides))
	var sum, n float64
	for i, st := range s.EvenStrides() {
		if h := b.fit(st.Start+shift, st.End+shift); h != nil {
			b.fits[i] = h
			_, high, _ := h.Highest(h.Start, h.Start+h.Period)
			_, low, _ := h.Lowest(h.Start, h.Start+h.Period)
			sum += high - low
			n++
		}
	}
	return sum / n
}

// fit fits harmonics to what lies in [from, to); nil where that tells none.
func (b *bodyTrack) fit(from, to float64) *signal.Harmonics {
	lo, hi := sort.SearchFloat64s(b.t, from-rounding), sort.SearchFloat64s(b.t, to-rounding)
	return signal.FitHarmonics(b.t[lo:hi], b.z[lo:hi], b.sd[lo:hi], from, to-from)
}

// fewest is how many samples of a mark of the body, or of two together, are used at all.
const fewest = 12

// reading tells what a mark seen at a place in the picture at t comes to, and how much one
// px is worth there.
type reading func(t float64, at geometry.Point) (z, per float64, ok bool)

// readings returns what was seen of a mark as read takes it, nil where that is too little.
func (a *analysis) readings(l traj.Landmark, read reading) *bodyTrack {
	h := contact.See(a.set, l)
	if h == nil || read == nil {
		return nil
	}
	b := &bodyTrack{landmark: l}
	for i, t := range h.T {
		if z, per, ok := read(t, geometry.Point{X: h.X[i], Y: h.Y[i]}); ok {
			b.t, b.z = append(b.t, t), append(b.z, z)
			b.sd, b.frame = append(b.sd, per*h.SD[i]), append(b.frame, h.Frames[i])
		}
	}
	if len(b.t) < fewest {
		return nil
	}
	return b
}

// bodyHeights returns a mark's height over time with drift removed, or nil.
func (s *spatial) bodyHeights(l traj.Landmark) *bodyTrack {
	b := s.readings(l, s.heightOf(l))
	if b == nil {
		return nil
	}
	drift := s.drift(b)
	if drift == nil {
		return nil
	}
	if s.cal.Level == geometry.LevelNone {
		// Without a lane the mark's own height over the ground row is the scale: it
		// grows with the picture as its movement does, also within a stride.
		for i, t := range b.t {
			d := drift(t)
			if !(d > 1) {
				return nil
			}
			b.z[i] /= d
			b.sd[i] /= d
		}
		if drift = s.drift(b); drift == nil {
			return nil
		}
	}
	return b.minus(drift)
}

// minus returns b with what is at every instant taken off.
func (b *bodyTrack) minus(at func(t float64) float64) *bodyTrack {
	out := *b
	out.z = make([]float64, len(b.z))
	for i, t := range b.t {
		out.z[i] = b.z[i] - at(t)
	}
	return &out
}

// heightOf returns what tells the height of a mark, and how much one px down is worth; nil
// where nothing does. Without a lane it is in px over the ground's row.
func (s *spatial) heightOf(l traj.Landmark) reading {
	if s.cal.Level == geometry.LevelNone {
		ground, _ := s.overStances(l, func(k, i int) (float64, float64, bool) {
			c := &s.Stances[k][i]
			return c.Y, math.Hypot(c.YSD, s.model.Body.GroundRowPX), true
		})
		if ground == nil {
			return nil
		}
		return func(t float64, at geometry.Point) (z, per float64, ok bool) { return ground.At(t) - at.Y, 1, true }
	}
	depth, ahead := s.bodyDepth(l)
	if depth == nil {
		return nil
	}
	return func(t float64, at geometry.Point) (z, per float64, ok bool) {
		y := depth.At(t) + ahead
		_, z, ok = s.cam.AtDepth(at, y)
		_, below, ok1 := s.cam.AtDepth(geometry.Point{X: at.X, Y: at.Y + 1}, y)
		return z, math.Abs(below - z), ok && ok1
	}
}

// drift returns the mark's mean height over the stride around each instant: the
// movement of whole strides cancels in it and what is slower stays. Where the clip is too
// short for a drift it is the level alone, and nil where there is none.
func (a *analysis) drift(b *bodyTrack) func(t float64) float64 {
	mean, _ := a.MeanStride()
	strides := a.EvenStrides()
	var t, m []float64
	for c := b.t[0] + mean/2; c <= b.t[len(b.t)-1]-mean/2+rounding; c += mean / 4 {
		period := mean // Outside of all strides; that of the stride around c cancels exactly.
		if i := slices.IndexFunc(strides, func(st Stride) bool { return c >= st.Start && c < st.End }); i >= 0 {
			period = strides[i].End - strides[i].Start
		}
		if h := b.fit(c-period/2, c+period/2); h != nil {
			level, _ := h.Mean()
			t, m = append(t, c), append(m, level)
		}
	}
	switch {
	case len(t) == 0:
		return nil
	case len(t) < 3:
		level := stat.Mean(m, nil)
		return func(float64) float64 { return level }
	}
	s, err := signal.SmoothingSpline(t, m, nil, 0)
	if err != nil {
		return nil
	}
	return s.At
}

// girdleOf returns the limbs over which a body mark is carried.
func girdleOf(l traj.Landmark) int {
	if l.IsHindquarters() {
		return 1
	}
	return 0
}

// bodyDepth returns the distance of a mark's girdle over time and how far ahead of it (in lane
// Y) the mark is. The body is taken to be over a hoof in the middle of its stance; the spline
// through those is smooth, so that uneven steps do not look like vertical movement.
func (s *spatial) bodyDepth(l traj.Landmark) (*signal.Spline, float64) {
	ahead := 0.0
	if l == traj.Head {
		ahead = s.model.Body.HeadAhead
	}
	depth, g := s.overStances(l, func(k, i int) (float64, float64, bool) {
		p := s.placed[k][i]
		return p.y, math.Hypot(p.ySD, s.model.Body.DepthM/s.unit()), p.ok
	})
	ahead += float64(g-girdleOf(l)) * s.model.Body.TrunkLength
	if s.opts.View == traj.Toward {
		ahead = -ahead
	}
	return depth, ahead * s.opts.WithersM / s.unit()
}

// overStances smooths a quantity of the stances of a mark's girdle over their middles, of
// the other girdle's where its own are too few, and returns which girdle that is.
func (a *analysis) overStances(l traj.Landmark, value func(k, i int) (v, sd float64, ok bool)) (over *signal.Spline, girdle int) {
	girdle = girdleOf(l)
	if over = a.overGirdle(girdle, value); over == nil {
		girdle = 1 - girdle
		over = a.overGirdle(girdle, value)
	}
	return over, girdle
}

func (a *analysis) overGirdle(g int, value func(k, i int) (v, sd float64, ok bool)) *signal.Spline {
	type knot struct{ t, v, w float64 }
	var knots []knot
	for k := 2 * g; k < 2*g+2; k++ {
		for i := range a.Stances[k] {
			c := &a.Stances[k][i]
			v, sd, ok := value(k, i)
			if !ok || c.StartsClip || c.EndsClip {
				continue // Its middle may lie outside the clip, where nothing else holds the curve.
			}
			if !c.OnTimed() || !c.OffTimed() {
				sd *= 2 // Its middle is known to some hundredths of a second.
			}
			knots = append(knots, knot{a.Middle(k, i), v, 1 / sq(sd)})
		}
	}
	slices.SortStableFunc(knots, func(a, b knot) int { return cmp.Compare(a.t, b.t) })
	var t, v, w []float64
	var sum float64
	for _, k := range knots {
		if n := len(t); n > 0 && k.t-t[n-1] < 0.02 {
			continue // Two hooves down together say the same.
		}
		t, v, w = append(t, k.t), append(v, k.v), append(w, k.w)
		sum += k.w
	}
	if len(t) < 3 {
		return nil
	}
	// The spline's gain at angular frequency ω is 1/(1 + λ·ω⁴/density): a half at a
	// quarter of the stride's rhythm, 1/257 at the stride's.
	density := sum / (t[len(t)-1] - t[0])
	over, _ := signal.SmoothingSpline(t, v, w, density*math.Pow(4*a.Period/(2*math.Pi), 4)) // Nil where there is an error.
	return over
}

// signalOf returns the mark's height on every frame of the clip.
func (a *analysis) signalOf(b *bodyTrack, unit string, scale float64) Signal {
	unseen := slices.Repeat([]float64{math.NaN()}, len(a.set.Times))
	out := Signal{Landmark: b.landmark, Unit: unit, Height: unseen, SD: slices.Clone(unseen)}
	for i, f := range b.frame {
		out.Height[f], out.SD[f] = scale*b.z[i], scale*b.sd[i]
	}
	return out
}
