package metrics

import (
	"fmt"
	"math"
	"sort"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// Limits of what is accepted as a stance, as shares of the stride. They span
// racing trot (stance about 24 % of the stride) and slow walk (about 70 %) with
// room on both sides.
const (
	shortestStance = 0.14
	longestStance  = 0.85
	shortestSwing  = 0.18
)

// When an instant counts as timed: its standard deviation is at most 20 ms or
// one frame, whichever is more.
const worstEventSD = 0.020

// hoofTrack is what was really seen of one hoof, at the instants at which its
// row was exposed.
type hoofTrack struct {
	limb  traj.Landmark
	t     []float64 // s.
	x, y  []float64 // Stabilised picture, px.
	sd    []float64 // px.
	scale []float64 // Largest speed nearby, px/s: what "moving" means at this distance.
	frame float64   // Median time between frames, s.
	first float64   // Times of the clip's first and last frame.
	last  float64
}

// stance is one contact with the samples it came from.
type stance struct {
	Contact
	from, to   int     // Samples of the hoof track, to exclusive.
	pixelXSD   float64 // Spread of the stabilised picture position, px.
	pixelYSD   float64
	startsClip bool // The clip begins inside this stance.
	endsClip   bool
}

func (s *stance) onTimed() bool  { return s.OnSD >= 0 }
func (s *stance) offTimed() bool { return s.OffSD >= 0 }

// middle returns the middle of the stance, as far as it was seen.
func (s *stance) middle() float64 { return (s.On + s.Off) / 2 }

// seenHoof takes what was seen of a landmark from raw (for the row at which it
// was exposed) and still (stabilised) tracks.
func seenTrack(raw, still *traj.Set, limb traj.Landmark, readout float64) *hoofTrack {
	r, s := raw.Track(limb), still.Track(limb)
	if r == nil || s == nil {
		return nil
	}
	h := &hoofTrack{limb: limb}
	n := len(raw.Times)
	if n == 0 {
		return h
	}
	var gaps []float64
	for i := 1; i < n; i++ {
		gaps = append(gaps, raw.Times[i]-raw.Times[i-1])
	}
	h.frame, h.first, h.last = signal.Median(gaps), raw.Times[0], raw.Times[n-1]
	for i, p := range s.Samples {
		if !p.Status.Seen() || math.IsNaN(p.X) || math.IsNaN(p.Y) {
			continue
		}
		t := raw.Times[i] + readout*r.Samples[i].Y/float64(raw.Height)
		if k := len(h.t); k > 0 && t <= h.t[k-1] {
			continue // A readout longer than the frame: cannot happen in a sound clip.
		}
		h.t = append(h.t, t)
		h.x = append(h.x, p.X)
		h.y = append(h.y, p.Y)
		h.sd = append(h.sd, max(p.SD, 0.02))
	}
	return h
}

// prepare widens the spread to the noise really there and finds the local scale
// of speed.
func (h *hoofTrack) prepare() {
	n := len(h.t)
	// A sample against the straight line between its neighbours: in stance that is
	// noise alone, so a low quantile tells the noise.
	var r []float64
	for i := 1; i < n-1; i++ {
		a := (h.t[i] - h.t[i-1]) / (h.t[i+1] - h.t[i-1])
		if h.t[i+1]-h.t[i-1] > 3*h.frame {
			continue
		}
		s := h.sd[i] * math.Sqrt(1+a*a+(1-a)*(1-a))
		for _, v := range [][]float64{h.x, h.y} {
			r = append(r, math.Abs(v[i]-v[i-1]*(1-a)-v[i+1]*a)/s)
		}
	}
	if len(r) > 10 {
		k := signal.Quantile(r, 0.3) / 0.3853 // The 30 % quantile of |N(0, 1)|.
		if k > 1 {
			for i := range h.sd {
				h.sd[i] *= min(k, 5)
			}
		}
	}
	// Single wild samples (a mismatch, not movement) get a spread as large as their jump.
	for i := 1; i < n-1; i++ {
		dx := h.x[i] - signal.Median(window(h.x, i, 2))
		dy := h.y[i] - signal.Median(window(h.y, i, 2))
		back := math.Hypot(h.x[i+1]-h.x[i-1], h.y[i+1]-h.y[i-1])
		if d := math.Hypot(dx, dy); d > 8*h.sd[i] && d > 3*back {
			h.sd[i] = math.Hypot(h.sd[i], d)
		}
	}
	speed := make([]float64, n)
	for i := range speed {
		lo, hi := i, i
		for lo > 0 && (i-lo < 2 || h.t[i]-h.t[lo] < 0.025) {
			lo--
		}
		for hi < n-1 && (hi-i < 2 || h.t[hi]-h.t[i] < 0.025) {
			hi++
		}
		if h.t[hi]-h.t[lo] > 8*h.frame+0.05 {
			continue // A gap: no speed here.
		}
		speed[i] = math.Hypot(slope(h.t[lo:hi+1], h.x[lo:hi+1]), slope(h.t[lo:hi+1], h.y[lo:hi+1]))
	}
	h.scale = make([]float64, n)
	lo, hi := 0, 0
	for i := range speed {
		for h.t[i]-h.t[lo] > 0.7 {
			lo++
		}
		for hi < n && h.t[hi]-h.t[i] <= 0.7 {
			hi++
		}
		h.scale[i] = signal.Quantile(speed[lo:hi], 0.9)
	}
}

func window(x []float64, i, half int) []float64 {
	return x[max(0, i-half):min(len(x), i+half+1)]
}

func slope(t, x []float64) float64 {
	var mt, mx, num, den float64
	for i := range t {
		mt += t[i] / float64(len(t))
		mx += x[i] / float64(len(t))
	}
	for i := range t {
		num += (t[i] - mt) * (x[i] - mx)
		den += (t[i] - mt) * (t[i] - mt)
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// stridePeriod returns the duration of a stride from the rhythm of all hooves,
// by autocorrelation, or 0 where there is none.
func stridePeriod(hooves []*hoofTrack) float64 {
	const shortest, longest = 0.33, 1.7
	var sum, count []float64
	var step float64
	for _, h := range hooves {
		if len(h.t) < 20 {
			continue
		}
		if step == 0 {
			step = max(h.frame, 1.0/120)
			n := int(longest/step) + 2
			sum, count = make([]float64, n+1), make([]float64, n+1)
		}
		for _, v := range [][]float64{h.x, h.y} {
			u := resample(h.t, v, step, 3*h.frame+0.04)
			u = withoutDrift(u, step)
			if u == nil {
				continue
			}
			for lag, r := range signal.Autocorrelation(u, len(sum)-1) {
				if !math.IsNaN(r) {
					sum[lag] += r
					count[lag]++
				}
			}
		}
	}
	if step == 0 {
		return 0
	}
	for i := range sum {
		if count[i] > 0 {
			sum[i] /= count[i]
		}
	}
	var peaks []int
	best := 0.0
	for _, p := range signal.Peaks(sum) {
		if l := float64(p) * step; l >= shortest && l <= longest && p+1 < len(sum) {
			peaks = append(peaks, p)
			best = max(best, sum[p])
		}
	}
	if best < 0.2 {
		return 0
	}
	// Two strides repeat almost as well as one: the first high peak is the stride.
	for _, p := range peaks {
		if sum[p] > 0.8*best {
			at, _ := signal.RefinePeak(sum, p)
			return at * step
		}
	}
	return 0
}

// resample interpolates linearly on a grid; gaps longer than gap give NaN.
func resample(t, x []float64, step, gap float64) []float64 {
	n := int((t[len(t)-1]-t[0])/step) + 1
	out := make([]float64, n)
	k := 0
	for i := range out {
		s := t[0] + float64(i)*step
		for k+2 < len(t) && t[k+1] < s {
			k++
		}
		if t[k+1]-t[k] > gap {
			out[i] = math.NaN()
			continue
		}
		a := (s - t[k]) / (t[k+1] - t[k])
		out[i] = x[k]*(1-a) + x[k+1]*a
	}
	return out
}

// withoutDrift removes what is slower than a stride and evens out the growth of
// the picture with distance. It returns nil where nothing is left.
func withoutDrift(x []float64, step float64) []float64 {
	valid := make([]bool, len(x))
	for i, v := range x {
		valid[i] = !math.IsNaN(v)
	}
	f, err := signal.ButterworthTwoPass(0.7, 1/step)
	if err != nil {
		return nil
	}
	slow, err := signal.ZeroPhase(nil, x, valid, f)
	if err != nil {
		return nil
	}
	out := make([]float64, len(x))
	square := make([]float64, len(x)+1)
	num := make([]float64, len(x)+1)
	for i := range x {
		out[i] = x[i] - slow[i]
		square[i+1], num[i+1] = square[i], num[i]
		if valid[i] {
			square[i+1] += out[i] * out[i]
			num[i+1]++
		}
	}
	half := int(0.6 / step)
	any := false
	scaled := make([]float64, len(x))
	for i := range out {
		lo, hi := max(0, i-half), min(len(x), i+half+1)
		n := num[hi] - num[lo]
		scaled[i] = math.NaN()
		if valid[i] && n > 4 && square[hi] > square[lo] {
			scaled[i] = out[i] / math.Sqrt((square[hi]-square[lo])/n)
			any = true
		}
	}
	if !any {
		return nil
	}
	return scaled
}

// segment splits the hoof's samples into stances, in which the stabilised point
// stands still, and the rest. It minimises, by dynamic programming, the squared
// deviations from a still point in stance plus a fixed cost per sample outside
// it; a slow creep (tracking drift) is allowed at a cost. Stances and swings
// shorter than a horse can make are excluded, except that the clip may begin
// and end inside one.
func (h *hoofTrack) segment(period float64) []stance {
	const (
		moving = 8.0  // Cost of a sample outside stance: what a still one exceeds once in 50 times.
		change = 12.0 // Cost of a stance, so that noise makes none.
		creep  = 0.04 // Creep allowed, share of the local scale of speed.
	)
	n := len(h.t)
	if n < 8 {
		return nil
	}
	minStance, maxStance, minSwing := shortestStance*period, longestStance*period, shortestSwing*period
	if period == 0 {
		minStance, maxStance, minSwing = 0.09, 1.0, 0.12
	}
	// Sums for the weighted line through any run of samples. Times and positions
	// are taken relative to the middle sample so that differences of sums keep
	// their digits.
	type sums struct{ w, t, tt, x, xt, xx, y, yt, yy float64 }
	acc := make([]sums, n+1)
	t0, x0, y0 := h.t[n/2], h.x[n/2], h.y[n/2]
	for i := range n {
		w := 1 / (h.sd[i] * h.sd[i])
		t, x, y := h.t[i]-t0, h.x[i]-x0, h.y[i]-y0
		a := acc[i]
		acc[i+1] = sums{a.w + w, a.t + w*t, a.tt + w*t*t, a.x + w*x, a.xt + w*x*t, a.xx + w*x*x, a.y + w*y, a.yt + w*y*t, a.yy + w*y*y}
	}
	still := func(i, j int) float64 { // Cost of samples i…j as one stance.
		a, b := acc[i], acc[j+1]
		w := b.w - a.w
		mt, mx, my := (b.t-a.t)/w, (b.x-a.x)/w, (b.y-a.y)/w
		tt := b.tt - a.tt - w*mt*mt
		xt := b.xt - a.xt - w*mt*mx
		yt := b.yt - a.yt - w*mt*my
		xx := b.xx - a.xx - w*mx*mx
		yy := b.yy - a.yy - w*my*my
		s := creep * h.scale[(i+j)/2]
		den := tt + 1/(s*s+1e-12)
		return max(0, xx-xt*xt/den) + max(0, yy-yt*yt/den)
	}
	const none = -2
	inf := math.Inf(1)
	bestStance := make([]float64, n) // Best cost with sample i the last of a stance.
	stanceFrom := make([]int, n)
	bestMove := make([]float64, n+1) // Best cost of samples 0…i−1 with a swing of full length before sample i; index i.
	moveFrom := make([]int, n+1)     // Last sample of the stance before that swing, −1 for none.
	open, openFrom, next := 0.0, -1, 0
	for i := range n + 1 {
		// Stances that ended early enough for a whole swing before sample i.
		for i < n && next < i && h.t[i]-h.t[next] >= minSwing {
			if v := bestStance[next] - moving*float64(next+1); v < open {
				open, openFrom = v, next
			}
			next++
		}
		bestMove[i], moveFrom[i] = open+moving*float64(i), openFrom
		if i == n {
			break
		}
		bestStance[i], stanceFrom[i] = inf, none
		for j := i; j >= 0 && h.t[i]-h.t[j] <= maxStance; j-- {
			whole := j > 0 && i < n-1
			if i-j < 3 || (whole && h.t[i]-h.t[j] < minStance) {
				continue
			}
			if v := bestMove[j] + change + still(j, i); v < bestStance[i] {
				bestStance[i], stanceFrom[i] = v, j
			}
		}
	}
	// The end: inside a stance, or moving after the last one.
	best, end := moving*float64(n), -1
	for i := range n {
		if v := bestStance[i] + moving*float64(n-1-i); v < best {
			best, end = v, i
		}
	}
	var out []stance
	for end >= 0 {
		from := stanceFrom[end]
		out = append(out, stance{Contact: Contact{Limb: h.limb, On: h.t[from], Off: h.t[end], OnSD: -1, OffSD: -1}, from: from, to: end + 1})
		end = moveFrom[from]
	}
	sort.Slice(out, func(i, j int) bool { return out[i].from < out[j].from })
	return h.plausible(out, period)
}

// plausible drops stances that follow each other faster than strides can: the
// shorter of the two goes. It also marks those that the clip cuts.
func (h *hoofTrack) plausible(in []stance, period float64) []stance {
	out := in
	for period > 0 {
		drop := -1
		for i := 1; i < len(out); i++ {
			a, b := &out[i-1], &out[i]
			// Middles are compared, except where the clip cuts a stance.
			if b.middle()-a.middle() < 0.62*period && a.from > 0 && b.to < len(h.t) {
				drop = i
				if a.Off-a.On < b.Off-b.On {
					drop = i - 1
				}
				break
			}
		}
		if drop < 0 {
			break
		}
		out = append(out[:drop:drop], out[drop+1:]...)
	}
	for i := range out {
		out[i].startsClip = out[i].from == 0
		out[i].endsClip = out[i].to == len(h.t)
	}
	return out
}

// place fills the picture position of every stance: the robust weighted mean of
// its middle part, away from landing slide and breakover. The spread allows for
// noise that is correlated from frame to frame.
func (h *hoofTrack) place(stances []stance) {
	type part struct{ from, to int }
	parts := make([]part, len(stances))
	var product, square float64
	for i := range stances {
		s := &stances[i]
		lo, hi := s.On+0.15*(s.Off-s.On), s.Off-0.2*(s.Off-s.On)
		from := sort.SearchFloat64s(h.t, lo)
		to := sort.SearchFloat64s(h.t, hi)
		if to-from < 3 {
			from, to = s.from, s.to
		}
		parts[i] = part{from, to}
		s.PictureX, s.PictureY = robustMean(h.x[from:to], h.sd[from:to]), robustMean(h.y[from:to], h.sd[from:to])
		for k := from; k+1 < to; k++ {
			for _, v := range [2][2]float64{{h.x[k] - s.PictureX, h.x[k+1] - s.PictureX}, {h.y[k] - s.PictureY, h.y[k+1] - s.PictureY}} {
				a, b := v[0]/h.sd[k], v[1]/h.sd[k+1]
				if math.Abs(a) < 5 && math.Abs(b) < 5 {
					product += a * b
					square += (a*a + b*b) / 2
				}
			}
		}
	}
	rho := 0.0
	if square > 0 {
		rho = max(0, min(0.9, product/square))
	}
	for i := range stances {
		s := &stances[i]
		from, to := parts[i].from, parts[i].to
		s.pixelXSD = meanSD(h.x[from:to], h.sd[from:to], s.PictureX, rho)
		s.pixelYSD = meanSD(h.y[from:to], h.sd[from:to], s.PictureY, rho)
	}
}

// robustMean is the mean with weights 1/sd², samples beyond three standard
// deviations from it weighed down (Huber's weights, starting at the median).
func robustMean(x, sd []float64) float64 {
	m := signal.Median(x)
	for range 20 {
		var sw, sx float64
		for i, v := range x {
			w := 1 / (sd[i] * sd[i])
			if z := math.Abs(v-m) / sd[i]; z > 3 {
				w *= 3 / z
			}
			sw += w
			sx += w * v
		}
		next := sx / sw
		if math.Abs(next-m) < 1e-9 {
			return next
		}
		m = next
	}
	return m
}

// meanSD is the standard deviation of a weighted mean of samples with lag-one
// correlation rho, widened where the samples scatter more than they should.
func meanSD(x, sd []float64, mean, rho float64) float64 {
	var sw, chi float64
	n := float64(len(x))
	for i, v := range x {
		sw += 1 / (sd[i] * sd[i])
		chi += (v - mean) * (v - mean) / (sd[i] * sd[i])
	}
	k := 1.0
	if n > 3 {
		k = max(1, chi/(n-1))
	}
	// The sum of correlations up to the number of samples there are.
	corr := 1.0
	r := rho
	for j := 1.0; j < n; j++ {
		corr += 2 * (1 - j/n) * r
		r *= rho
	}
	return math.Sqrt(k * corr / sw)
}

// edge is one end of a stance prepared for timing: the samples around it with
// time running from stance (positive) to swing (negative).
type edge struct {
	s        *stance
	off      bool
	u        []float64 // Seconds into the stance from guess; negative in swing.
	x, y, sd []float64
	guess    float64
}

// onsets are the powers of time with which a hoof may leave or reach its still
// place: 1 is a hard landing at full speed, 2 a smooth one.
var onsets = []float64{1, 1.25, 1.5, 1.75, 2, 2.5}

// timeEdges finds the instants of landing and leaving below the frame time. At
// each end of a stance the picture position is modelled as still on one side
// and still + D·|u|^q + E·|u|^(q+1) on the other, with |u| the time from the
// instant; the power q is shared by all landings (and by all leavings) of the
// run because single ones do not determine it. The instant is the mean of its
// likelihood under a flat prior, its spread that likelihood's, widened by what
// the choice of q leaves open.
func timeEdges(hooves []*hoofTrack, stances [][]stance, period float64) {
	for _, off := range []bool{false, true} {
		var edges []*edge
		for k, h := range hooves {
			for i := range stances[k] {
				if e := h.edge(stances[k], i, off, period); e != nil {
					edges = append(edges, e)
				}
			}
		}
		if len(edges) == 0 {
			continue
		}
		type timing struct{ at, sd, cost float64 }
		all := make([][]timing, len(onsets))
		total := make([]float64, len(onsets))
		for q, power := range onsets {
			all[q] = make([]timing, len(edges))
			for i, e := range edges {
				at, sd, cost := e.fit(power, e.width(hooves))
				all[q][i] = timing{at, sd, cost}
				total[q] += min(cost, 60) // One bad stance does not decide for all.
			}
		}
		best := 0
		for q := range total {
			if total[q] < total[best] {
				best = q
			}
		}
		var weight []float64
		var sum float64
		for q := range total {
			w := math.Exp(-(total[q] - total[best]) / 2)
			weight = append(weight, w)
			sum += w
		}
		for i, e := range edges {
			var at, variance float64
			for q := range onsets {
				at += weight[q] / sum * all[q][i].at
			}
			for q := range onsets {
				d := all[q][i].at - at
				variance += weight[q] / sum * (all[q][i].sd*all[q][i].sd + d*d)
			}
			sd := math.Sqrt(variance)
			frame := e.width(hooves) / 3
			if sd > max(worstEventSD, frame) || math.IsNaN(sd) {
				continue
			}
			if off {
				e.s.Off, e.s.OffSD = e.guess-at, sd
			} else {
				e.s.On, e.s.OnSD = e.guess+at, sd
			}
		}
	}
}

// width is how far from the guess the instant is searched, s.
func (e *edge) width(hooves []*hoofTrack) float64 {
	for _, h := range hooves {
		if h.limb == e.s.Limb {
			return max(3*h.frame, 0.03)
		}
	}
	return 0.05
}

// edge collects the samples around one end of stance i, or returns nil where
// the clip or a gap cuts it.
func (h *hoofTrack) edge(stances []stance, i int, off bool, period float64) *edge {
	s := &stances[i]
	if (off && s.endsClip) || (!off && s.startsClip) {
		return nil
	}
	if period == 0 {
		period = 0.7
	}
	e := &edge{s: s, off: off}
	// Samples inside the stance, away from its other end, and in the swing up to
	// the neighbouring stance.
	inside := max(4*h.frame, min(0.14*period, 0.5*(s.Off-s.On)))
	outside := max(3.5*h.frame, 0.085*period)
	at, sign := s.from, 1.0
	if off {
		at, sign = s.to-1, -1.0
	}
	beyond := at - int(sign)
	if math.Abs(h.t[beyond]-h.t[at]) > 2.6*h.frame+0.01 {
		return nil // The instant lies in a gap.
	}
	e.guess = (h.t[at] + h.t[beyond]) / 2
	n, m := 0, 0
	for k := range h.t {
		u := sign * (h.t[k] - e.guess)
		if u > inside || u < -outside {
			continue
		}
		if j := i + 1; off && j < len(stances) && k >= stances[j].from {
			continue
		}
		if j := i - 1; !off && j >= 0 && k < stances[j].to {
			continue
		}
		e.u = append(e.u, u)
		e.x = append(e.x, h.x[k])
		e.y = append(e.y, h.y[k])
		e.sd = append(e.sd, h.sd[k])
		if u < 0 {
			n++
		} else {
			m++
		}
	}
	if n < 3 || m < 3 {
		return nil
	}
	return e
}

// fit returns the instant relative to the guess, its spread and the least cost
// for the onset power q. The instant is searched within width of the guess.
func (e *edge) fit(q, width float64) (at, sd, cost float64) {
	const steps = 96
	cost = math.Inf(1)
	costs := make([]float64, steps+1)
	for k := range costs {
		tau := width * (2*float64(k)/steps - 1)
		costs[k] = e.cost(tau, q)
		cost = min(cost, costs[k])
	}
	// More scatter than the samples' own spread widens the likelihood.
	dof := max(1, float64(2*len(e.u)-7))
	wide := max(1, cost/dof)
	var sw, st, stt float64
	for k, c := range costs {
		tau := width * (2*float64(k)/steps - 1)
		w := math.Exp(-(c - cost) / 2 / wide)
		sw += w
		st += w * tau
		stt += w * tau * tau
	}
	at = st / sw
	return at, math.Sqrt(max(0, stt/sw-at*at)), cost
}

// cost is the sum of squared deviations, in standard deviations, of the best
// still point and onset for the instant tau.
func (e *edge) cost(tau, q float64) float64 {
	scale := 0.0
	for _, u := range e.u {
		scale = max(scale, tau-u)
	}
	if scale <= 0 {
		scale = 1
	}
	// Normal equations of (still, D, E) are the same for x and y.
	var a [3][3]float64
	var bx, by [3]float64
	var xx, yy float64
	for i, u := range e.u {
		w := 1 / (e.sd[i] * e.sd[i])
		row := [3]float64{1, 0, 0}
		if d := (tau - u) / scale; d > 0 {
			row[1] = math.Pow(d, q)
			row[2] = row[1] * d
		}
		for r := range 3 {
			for c := range 3 {
				a[r][c] += w * row[r] * row[c]
			}
			bx[r] += w * row[r] * e.x[i]
			by[r] += w * row[r] * e.y[i]
		}
		xx += w * e.x[i] * e.x[i]
		yy += w * e.y[i] * e.y[i]
	}
	// A faint pull to 0 keeps D and E finite where hardly a sample is in swing.
	a[1][1] += 1e-6
	a[2][2] += 1e-6
	sx, ok := solve3(a, bx)
	if !ok {
		return math.Inf(1)
	}
	sy, _ := solve3(a, by)
	var cost float64
	for i, u := range e.u {
		row := [3]float64{1, 0, 0}
		if d := (tau - u) / scale; d > 0 {
			row[1] = math.Pow(d, q)
			row[2] = row[1] * d
		}
		var px, py float64
		for r := range 3 {
			px += row[r] * sx[r]
			py += row[r] * sy[r]
		}
		cost += robustSquare((e.x[i]-px)/e.sd[i]) + robustSquare((e.y[i]-py)/e.sd[i])
	}
	return cost
}

// robustSquare is z² up to 4 and grows linearly beyond (Huber).
func robustSquare(z float64) float64 {
	if z = math.Abs(z); z > 4 {
		return 8*z - 16
	}
	return z * z
}

// solve3 solves a·x = b for a symmetric positive definite a.
func solve3(a [3][3]float64, b [3]float64) ([3]float64, bool) {
	var l [3][3]float64
	for i := range 3 {
		for j := 0; j <= i; j++ {
			s := a[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if !(s > 0) {
					return b, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	for i := range 3 {
		for k := range i {
			b[i] -= l[i][k] * b[k]
		}
		b[i] /= l[i][i]
	}
	for i := 2; i >= 0; i-- {
		for k := i + 1; k < 3; k++ {
			b[i] -= l[k][i] * b[k]
		}
		b[i] /= l[i][i]
	}
	return b, true
}

// describeGap says which limb lost how much, for notes.
func describeGap(h *hoofTrack, frames int) string {
	return fmt.Sprintf("%s was seen in %d of %d frames", limbWords(h.limb), len(h.t), frames)
}

// limbWords returns "left fore" and the like.
func limbWords(l traj.Landmark) string {
	b := []byte(l)
	for i := range b {
		if b[i] == '-' {
			b[i] = ' '
		}
	}
	return string(b)
}
