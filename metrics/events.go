package metrics

import (
	"fmt"
	"math"
	"slices"
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

// longestGapShare is for how long a hoof in stance may be out of sight, share of
// the stride.
const longestGapShare = 0.12

// When an instant counts as timed: its standard deviation is at most 20 ms or
// one frame, whichever is more.
const worstEventSD = 0.020

// modelSD is what the unknown shape of landing and leaving adds to every
// instant, s: the scatter that remains where pixels have no noise (found with
// force plates and with horses in formulas; see the tests).
const modelSD = 0.004

// alike is by how much two spans of time may differ by rounding alone, s, so that
// nothing hangs on where a clip's clock starts.
const alike = 1e-7

// hiddenDescentSD takes its place for landings seen from behind: there a hoof
// comes down almost along the line of sight (a descent of 10 cm over 70 cm of
// way, seen from 1.5 m height at 10 m), so that it seems at rest before it is.
const hiddenDescentSD = 0.045

// From the front the toe is marked, which stays while the hoof rolls over it (the
// heel leaves first), at the trot for up to a tenth of a second, at the walk for
// twice that. What is followed is the wall above it, which moves a little as soon as
// the heel is up: rollingShare of the stance takes the place of modelSD for leavings
// seen from the front, and worstRollingSD that of worstEventSD. As a hoof comes
// down, the wall hardly moves any more while the toe sinks, the longer the slower
// the gait: landingShare of the stance is the least for landings seen from there.
const (
	rollingShare   = 0.07
	landingShare   = 0.02
	worstRollingSD = 0.050
)

// usualStance returns the median duration, s, of the stances that lie within the
// clip, as far as they were seen; a share of the stride where there is none.
func usualStance(hooves []*hoofTrack, stances [][]stance, period float64) float64 {
	var all []float64
	for k, h := range hooves {
		for i := range stances[k] { // None where the hoof was not marked.
			if s := &stances[k][i]; !s.startsClip && !s.endsClip {
				all = append(all, h.t[s.to-1]-h.t[s.from])
			}
		}
	}
	if len(all) == 0 {
		return 0.45 * period
	}
	return signal.Median(all)
}

// restShare makes "at rest" what it is on a living foot: a mark in stance still
// gives by some millimetres as hoof, shoe and skin take the load. In seconds of
// the largest speed nearby: at 6 m/s it is 3 mm, one standard deviation.
const restShare = 0.0005

// hoofTrack is what was really seen of one hoof, at the instants at which its
// row was exposed.
type hoofTrack struct {
	limb  traj.Landmark
	t     []float64    // s.
	x, y  []float64    // Stabilised picture, px.
	sd    []float64    // px.
	rest  []float64    // px: sd with what a mark at rest gives.
	scale []float64    // Largest speed nearby, px/s: what "moving" means at this distance.
	axes  [2][]float64 // The same along each picture axis.
	loose []follow     // Seen while the hoof turns: sure across the picture only.
	every []follow     // All of both, in the order of time.
	index []int        // Index: sample. Its place in every.
	frame float64      // Median time between frames, s.
	first float64      // Times of the clip's first and last frame.
	last  float64
}

// follow is one sample of a hoof with the spread of either axis. Where the hoof
// turns while it is followed, its place down the picture wanders: what a frame
// adds to that is in its spread, and little beside the hoof's own movement.
type follow struct {
	t, x, y  float64
	sdX, sdY float64
	rest     float64 // px: what a mark at rest gives.
	loose    bool
}

// stance is one contact with the samples it came from.
type stance struct {
	Contact
	from, to   int     // Samples of the hoof track, to exclusive.
	pixelXSD   float64 // Spread of the stabilised picture position, px.
	pixelYSD   float64
	startsClip bool // The clip begins inside this stance.
	endsClip   bool
	samples    int // From how many samples the placement was taken.
	// Where it seems to be reached and left, s; NaN where a gap hides it. They are
	// rougher than timed instants, and there where these are not.
	reached, left float64
	beat          int // Steps of the pair since its first stance; -1 where that is not known.
}

// roughSD is the spread of instants that are not timed, s.
const roughSD = 0.040

// leaves returns when the hoof leaves the ground and its spread, s; NaN where
// that was not seen.
func (s *stance) leaves() (at, sd float64) {
	if s.offTimed() {
		return s.Off, s.OffSD
	}
	return s.left, roughSD
}

// reaches returns the same of its landing.
func (s *stance) reaches() (at, sd float64) {
	if s.onTimed() {
		return s.On, s.OnSD
	}
	return s.reached, roughSD
}

func (s *stance) onTimed() bool  { return s.OnSD >= 0 }
func (s *stance) offTimed() bool { return s.OffSD >= 0 }

// middle returns the middle of the stance, as far as it was seen.
func (s *stance) middle() float64 { return (s.On + s.Off) / 2 }

// seenTrack takes what was seen of a landmark from raw (for the row at which it
// was exposed) and still (stabilised) tracks.
func seenTrack(raw, still *traj.Set, limb traj.Landmark, o Options) *hoofTrack {
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
		if !p.Status.Followed() || math.IsNaN(p.X) || math.IsNaN(p.Y) {
			continue
		}
		t := raw.Times[i] + o.exposure(raw, r.Samples[i])
		if p.Status == traj.Across {
			h.loose = append(h.loose, follow{t: t, x: p.X, y: p.Y, sdX: max(p.SD, 0.02), sdY: max(p.SDY, 0.02), loose: true})
			continue
		}
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
		if h.t[i+1]-h.t[i-1] > 3*h.frame+alike {
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
			for i := range h.loose {
				h.loose[i].sdX *= min(k, 5)
				h.loose[i].sdY *= min(k, 5)
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
	h.merge()
	h.scaleSpeeds()
	h.rest = make([]float64, n)
	for i := range n {
		h.rest[i] = math.Hypot(h.sd[i], restShare*h.scale[i])
	}
}

// merge puts all samples in the order of time.
func (h *hoofTrack) merge() {
	h.every, h.index = nil, make([]int, len(h.t))
	k := 0
	for i, t := range h.t {
		for ; k < len(h.loose) && h.loose[k].t < t; k++ {
			h.every = append(h.every, h.loose[k])
		}
		h.index[i] = len(h.every)
		h.every = append(h.every, follow{t: t, x: h.x[i], y: h.y[i], sdX: h.sd[i], sdY: h.sd[i]})
	}
	h.every = append(h.every, h.loose[k:]...)
}

// scaleSpeeds fills scale and axes, and what rest means for every sample.
func (h *hoofTrack) scaleSpeeds() {
	m := len(h.every)
	var speed [3][]float64 // Along x, along y, together.
	for a := range speed {
		speed[a] = make([]float64, m)
	}
	t, x, y := make([]float64, m), make([]float64, m), make([]float64, m)
	for i, f := range h.every {
		t[i], x[i], y[i] = f.t, f.x, f.y
	}
	for i := range m {
		lo, hi := i, i
		for lo > 0 && (i-lo < 2 || t[i]-t[lo] < 0.025-alike) {
			lo--
		}
		for hi < m-1 && (hi-i < 2 || t[hi]-t[i] < 0.025-alike) {
			hi++
		}
		if t[hi]-t[lo] > 8*h.frame+0.05+alike {
			continue // A gap: no speed here.
		}
		speed[0][i] = math.Abs(slope(t[lo:hi+1], x[lo:hi+1]))
		speed[1][i] = math.Abs(slope(t[lo:hi+1], y[lo:hi+1]))
		speed[2][i] = math.Hypot(speed[0][i], speed[1][i])
	}
	for a := range speed {
		local := make([]float64, len(h.t))
		lo, hi, k := 0, 0, 0
		for i := range m {
			for t[i]-t[lo] > 0.7+alike {
				lo++
			}
			for hi < m && t[hi]-t[i] <= 0.7+alike {
				hi++
			}
			most := signal.Quantile(speed[a][lo:hi], 0.9)
			if a == 2 {
				h.every[i].rest = restShare * most
			}
			if k < len(h.index) && h.index[k] == i {
				local[k] = most
				k++
			}
		}
		if a < 2 {
			h.axes[a] = local
		} else {
			h.scale = local
		}
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

// resample interpolates linearly on a grid; gaps longer than gap give NaN.
func resample(t, x []float64, step, gap float64) []float64 {
	n := int((t[len(t)-1]-t[0])/step+1e-6) + 1
	out := make([]float64, n)
	k := 0
	for i := range out {
		s := t[0] + float64(i)*step
		for k+2 < len(t) && t[k+1] <= s+alike {
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
	half := int(0.6/step + 1e-6)
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
// and end inside one, and that a gap may hide most of one. No stance goes on
// across a long gap: a hoof that comes down passes the row of the picture in
// which it stood before. Allowed, where given, says in which samples the rhythm
// lets the hoof stand; period is 0 where there is none yet.
func (h *hoofTrack) segment(period float64, allowed func(t float64) bool) []stance {
	const (
		moving = 8.0   // Cost of a sample outside stance: what a still one exceeds once in 50 times.
		vague  = 1.0   // The same at least, however little the sample says.
		change = 12.0  // Cost of a stance, so that noise makes none.
		creep  = 0.005 // Creep allowed, share of the local scale of speed.
	)
	n := len(h.t)
	if n < 8 {
		return nil
	}
	minStance, maxStance, minSwing := shortestStance*period, longestStance*period, shortestSwing*period
	if period == 0 {
		minStance, maxStance, minSwing = 0.09, 1.0, 0.12
	}
	longestGap := max(longestGapShare*period, 2.6*h.frame+0.01)
	if period == 0 {
		longestGap = max(0.085, 2.6*h.frame+0.01)
	}
	cut := func(i, j int) bool { return h.t[j]-h.t[i] > 2.6*h.frame+0.01+alike }
	may := make([]bool, n)
	for i := range n {
		may[i] = allowed == nil || allowed(h.t[i])
	}
	// Sums for the weighted line through any run of samples. Times and positions
	// are taken relative to the middle sample so that differences of sums keep
	// their digits.
	type sums struct{ w, t, tt, x, xt, xx, y, yt, yy float64 }
	acc := make([]sums, n+1)
	t0, x0, y0 := h.t[n/2], h.x[n/2], h.y[n/2]
	for i := range n {
		w := 1 / (h.rest[i] * h.rest[i])
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
	// A moving hoof may be anywhere, a still one is where it stands: the likelihood
	// ratio of the two falls with the square of the sample's spread on both axes, so
	// that samples that say little do not count for stance.
	usual := signal.Median(h.rest)
	swung := make([]float64, n+1) // Cost of samples 0…i−1 as moving; index i.
	for i, sd := range h.rest {
		swung[i+1] = swung[i] + max(vague, min(moving, moving-4*math.Log(sd/usual)))
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
		for i < n && next < i && h.t[i]-h.t[next] >= minSwing-alike {
			if v := bestStance[next] - swung[next+1]; v < open {
				open, openFrom = v, next
			}
			next++
		}
		bestMove[i], moveFrom[i] = open+swung[i], openFrom
		if i == n {
			break
		}
		bestStance[i], stanceFrom[i] = inf, none
		for j := i; j >= 0 && may[j] && h.t[i]-h.t[j] <= maxStance+alike; j-- {
			if j < i && h.t[j+1]-h.t[j] > longestGap+alike {
				break
			}
			whole := j > 0 && i < n-1 && !cut(j-1, j) && !cut(i, i+1)
			if i-j < 3 || (whole && h.t[i]-h.t[j] < minStance-alike) {
				continue
			}
			if v := bestMove[j] + change + still(j, i); v < bestStance[i] {
				bestStance[i], stanceFrom[i] = v, j
			}
		}
	}
	// The end: inside a stance, or moving after the last one.
	best, end := swung[n], -1
	for i := range n {
		if v := bestStance[i] + swung[n] - swung[i+1]; v < best {
			best, end = v, i
		}
	}
	var found []stance
	for end >= 0 {
		from := stanceFrom[end]
		found = append(found, stance{Contact: Contact{Limb: h.limb, On: h.t[from], Off: h.t[end], OnSD: -1, OffSD: -1}, from: from, to: end + 1, reached: math.NaN(), left: math.NaN()})
		end = moveFrom[from]
	}
	sort.Slice(found, func(i, j int) bool { return found[i].from < found[j].from })
	for i := range found {
		// A hoof that is followed in the air before it stands is seen to come down.
		found[i].startsClip = found[i].from == 0 && h.index[0] == 0
		found[i].endsClip = found[i].to == n && h.index[n-1] == len(h.every)-1
	}
	return found
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
		s.samples = to - from
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
// Where they scatter less, the rest of their stated spread is taken as an error
// that all of them share: a tracker that holds on to the wrong spot of the hoof
// does so all through the stance.
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
	shared := 0.0
	if n > 3 {
		// Seldom is a scatter of n samples less than this part of what it should be by chance.
		chance := 1 - 2*math.Sqrt(2/(n-1))
		shared = max(0, chance-chi/(n-1)) * n / sw
	}
	return math.Sqrt(k*corr/sw + shared)
}

// edge is one end of a stance prepared for timing: the samples around it with
// time running from stance (positive) into swing (negative), stance first.
type edge struct {
	h       *hoofTrack
	all     []stance // The hoof's stances, of which this is an edge of the i-th.
	i       int
	off     bool
	rolls   bool         // The mark is the toe, over which the hoof rolls as it leaves.
	guess   float64      // s.
	at      float64      // The instant found, into the stance from guess, s.
	spread  float64      // Of at, s.
	width   float64      // The instant is searched this far from the guess, s.
	stride  float64      // Duration of a stride, s.
	scatter float64      // Of the stance's samples from frame to frame, px.
	base    float64      // Their usual spread, px.
	scale   [2]float64   // Largest speed nearby along each picture axis, px/s.
	u       []float64    // Seconds into the stance from guess, falling.
	v       [2][]float64 // Picture position along each axis, px.
	sd      [2][]float64 // What each sample's noise adds, px.
	still   [2][]stillState
	logs    [][]float64 // Log likelihood; index: kind of onset, instant. Nil until found.
}

// onset is how a hoof leaves its still place, or reaches it: its speed and
// acceleration at that instant are normal about 0, its jerk is white noise.
// Speed is in units of the largest speed nearby, acceleration in that per tenth
// of a stride.
type onset struct{ speed, acceleration, jerk float64 }

// onsets are the kinds of onset among which a run's landings (and its leavings)
// choose by their likelihood: from hard to smooth, from stiff to lively.
func onsets() []onset {
	var out []onset
	for _, speed := range []float64{0.01, 0.05, 0.12, 0.25, 0.5} {
		for _, acceleration := range []float64{0.15, 0.4, 1} {
			for _, jerk := range []float64{0.1, 0.3, 1} {
				out = append(out, onset{speed, acceleration, jerk})
			}
		}
	}
	return out
}

// instants is how many instants an edge is tried at.
const instants = 64

// timeEdges finds the instants of landing and leaving below the frame time. At
// each end of a stance the picture position is still on one side of the instant
// and a smooth random movement that starts from there on the other; the
// likelihood of every instant follows from a Kalman filter that runs from the
// stance into the swing. How hard the movement begins is shared by all landings
// (and by all leavings) of the run, because single ones do not determine it, and
// weighed by how well it explains them all. The instant is the mean of its
// likelihood under a flat prior, its spread that likelihood's.
func timeEdges(hooves []*hoofTrack, stances [][]stance, period float64, view traj.View) {
	if period == 0 {
		period = 0.7
	}
	lasts := usualStance(hooves, stances, period)
	for _, off := range []bool{false, true} {
		var edges []*edge
		for k, h := range hooves {
			for i := range stances[k] {
				e := &edge{h: h, all: stances[k], i: i, off: off, rolls: off && view == traj.Toward, stride: period}
				if e.guessFromSamples() {
					if off {
						stances[k][i].left = e.guess
					} else {
						stances[k][i].reached = e.guess
					}
					edges = append(edges, e)
				}
			}
		}
		// An instant far from where it was looked for is looked for again around where
		// it was found, so that its spread is not cut off.
		for range 3 {
			kept := edges[:0]
			for _, e := range edges {
				if e.logs != nil || e.gather() {
					kept = append(kept, e)
				}
			}
			edges = kept
			findInstants(edges)
			settled := true
			for _, e := range edges {
				if math.Abs(e.at) > 0.3*e.width {
					e.guess += e.sign() * e.at
					e.at, e.logs = 0, nil
					settled = false
				}
			}
			if settled {
				break
			}
		}
		for _, e := range edges {
			worst := max(worstEventSD, e.h.frame)
			if off && view == traj.Toward {
				worst = worstRollingSD
			}
			if math.IsNaN(e.spread) || e.spread > worst {
				continue
			}
			s := &e.all[e.i]
			at := e.guess + e.sign()*e.at
			shape := modelSD
			switch {
			case view == traj.Away && !off:
				shape = hiddenDescentSD
			case view == traj.Toward && off:
				shape = rollingShare * lasts
			case view == traj.Toward:
				shape = max(modelSD, landingShare*lasts)
			}
			sd := math.Hypot(e.spread, shape)
			if off {
				s.Off, s.OffSD = at, sd
			} else {
				s.On, s.OnSD = at, sd
			}
		}
	}
}

// neighbourhood is how many strides before and after an edge share with it the
// choice among the kinds of onset. All of a run must not: with the distance the
// picture of a landing changes from a drop to a stop, because from afar the
// hoof's forward way weighs less than its height.
const neighbourhood = 1.3

// findInstants fills the instant and its spread of every edge, all of which are
// of one kind (landings or leavings).
func findInstants(edges []*edge) {
	kinds := onsets()
	evidence := make([][]float64, len(edges)) // Index: edge, kind.
	together(len(edges), func(i int) {
		e := edges[i]
		if e.logs == nil {
			for _, kind := range kinds {
				e.logs = append(e.logs, e.logLikelihoods(kind))
			}
		}
		evidence[i] = make([]float64, len(kinds))
		for q, l := range e.logs {
			evidence[i][q] = logSum(l)
		}
	})
	total := make([]float64, len(kinds))
	for _, e := range edges {
		for q := range kinds {
			total[q] = 0
			for j, other := range edges {
				if math.Abs(other.guess-e.guess) < neighbourhood*e.stride+alike {
					total[q] += evidence[j][q]
				}
			}
		}
		all := logSum(total)
		var sw, st, stt float64
		for q := range kinds {
			w := math.Exp(total[q] - all)
			if w < 1e-6 {
				continue
			}
			l := e.logs[q]
			norm := logSum(l)
			for j, v := range l {
				p := w * math.Exp(v-norm)
				tau := e.instant(j)
				sw += p
				st += p * tau
				stt += p * tau * tau
			}
		}
		e.at = st / sw
		e.spread = math.Hypot(math.Sqrt(max(0, stt/sw-e.at*e.at)), 2*e.width/instants/math.Sqrt(12))
	}
}

// logSum returns log Σ exp(x) without overflow.
func logSum(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = max(m, v)
	}
	if math.IsInf(m, -1) {
		return m
	}
	var s float64
	for _, v := range x {
		s += math.Exp(v - m)
	}
	return m + math.Log(s)
}

// sign is the direction of time into the stance.
func (e *edge) sign() float64 {
	if e.off {
		return -1
	}
	return 1
}

// guessFromSamples sets the first guess between the last sample outside the
// stance and the first inside. It returns false where the clip or a gap cuts
// the stance there.
func (e *edge) guessFromSamples() bool {
	h, s := e.h, &e.all[e.i]
	if (e.off && s.endsClip) || (!e.off && s.startsClip) {
		return false
	}
	in, step := h.index[s.from], -1
	if e.off {
		in, step = h.index[s.to-1], 1
	}
	// Samples of a hoof that rolls over its toe are unsure and still at rest.
	x, y := signal.Median(h.x[s.from:s.to]), signal.Median(h.y[s.from:s.to])
	frame := h.scale[(s.from+s.to)/2] * h.frame // px that it goes in a frame at its fastest.
	for out := in + step; out >= 0 && out < len(h.every); out += step {
		a, b := h.every[in], h.every[out]
		if math.Abs(b.t-a.t) > 2.6*h.frame+0.01+alike {
			return false
		}
		if !b.loose || math.Hypot(b.x-x, b.y-y) > 0.35*frame {
			e.guess = (a.t + b.t) / 2
			return true
		}
		in = out
	}
	return false
}

// gather collects the samples inside the stance, away from its other end, and
// in the swing up to the neighbouring stance, around the guess. It returns
// false where there are too few.
func (e *edge) gather() bool {
	h, s := e.h, &e.all[e.i]
	e.width = max(3*h.frame, 0.035)
	length := h.t[s.to-1] - h.t[s.from]
	inside := max(5*h.frame, min(0.2*e.stride, 0.6*length))
	outside := max(4.5*h.frame, 0.2*e.stride)
	lo, hi := 0, len(h.every) // Samples that are no other stance's, nor of this one's other end.
	if e.i > 0 {
		lo = h.index[e.all[e.i-1].to-1] + 1
	}
	if e.i+1 < len(e.all) {
		hi = h.index[e.all[e.i+1].from]
	}
	if e.off {
		lo = h.index[s.from]
	} else {
		hi = h.index[s.to-1] + 1
	}
	e.u, e.v, e.sd = e.u[:0], [2][]float64{}, [2][]float64{}
	e.scatter, e.base = h.scatterOf(s), signal.Median(h.sd[s.from:s.to])
	still, moving, nearest := 0, 0, s.from
	for k := lo; k < hi; k++ {
		f := h.every[k]
		if f.loose && k > h.index[s.from] && k < h.index[s.to-1] {
			continue // What stands is seen better before and after it.
		}
		u := e.sign() * (f.t - e.guess)
		if u > inside+alike || u < -outside-alike {
			continue
		}
		e.u = append(e.u, u)
		e.v[0] = append(e.v[0], f.x)
		e.v[1] = append(e.v[1], f.y)
		x, y := e.fresh(k)
		e.sd[0], e.sd[1] = append(e.sd[0], x), append(e.sd[1], y)
		if u < 0 {
			moving++
		} else {
			still++
		}
	}
	for k := s.from; k < s.to; k++ {
		if math.Abs(h.t[k]-e.guess) < math.Abs(h.t[nearest]-e.guess)-alike {
			nearest = k
		}
	}
	if !e.off {
		// The filter runs from the stance into the swing.
		for _, x := range [][]float64{e.u, e.v[0], e.v[1], e.sd[0], e.sd[1]} {
			slices.Reverse(x)
		}
	}
	e.scale = [2]float64{h.axes[0][nearest], h.axes[1][nearest]}
	if still < 3 || moving < 2 || !(e.scale[0]+e.scale[1] > 0) {
		return false
	}
	e.prepareStill()
	return true
}

// leastFresh is the least noise from frame to frame that is believed, px.
const leastFresh = 0.1

// fresh returns the part of sample k's spread that its neighbours do not share,
// px: an instant hangs on the shape of the path alone, not on where it lies. In
// the stance that is the scatter about its place; outside it a track drifts away
// from the stance, and only what a frame adds to the spread is new in it.
func (e *edge) fresh(k int) (x, y float64) {
	h, s := e.h, &e.all[e.i]
	f := h.every[k]
	inside := k >= h.index[s.from] && k <= h.index[s.to-1]
	own := func(sd, added float64) float64 {
		out := min(math.Hypot(sd, f.rest), max(e.scatter, leastFresh))
		return math.Hypot(math.Hypot(out, added), f.rest)
	}
	if e.rolls {
		// What is followed moves, by as much as its spread grows, while the toe stands;
		// and as it tilts, the limb above it leans to one side, too.
		y := grown(e.base, f.sdY)
		return own(f.sdX, max(grown(e.base, f.sdX), leaning*y)), own(f.sdY, y)
	}
	if inside {
		return own(f.sdX, 0), own(f.sdY, 0)
	}
	toward := k + 1
	if e.off {
		toward = k - 1
	}
	before := h.every[toward]
	if math.Abs(before.t-f.t) > 1.5*h.frame {
		before.sdX, before.sdY = 0, 0 // All of it is new after a gap.
	}
	added := max(0, f.sdY-before.sdY)
	if f.loose {
		added *= tilting
	}
	return own(f.sdX, max(0, f.sdX-before.sdX)), own(f.sdY, added)
}

// tilting is how much of what a frame adds to the spread down the picture scatters
// from frame to frame. A hoof near its stance tilts one way as it goes, so that its
// mark goes farther than what is followed, or less far, by a steady share; the rest
// stretches the path and leaves its shape.
const tilting = 0.5

// leaning is how much of what the wall of a rolling hoof moves up or down it may
// move sideways.
const leaning = 0.5

// grown returns what a spread has beyond base.
func grown(base, sd float64) float64 { return math.Sqrt(max(0, sd*sd-base*base)) }

// scatterOf is the scatter of the samples of a stance about its place, px: with
// what a living foot gives as it takes the load.
func (h *hoofTrack) scatterOf(s *stance) float64 {
	if s.to-s.from < 4 {
		return math.Inf(1) // Too few to tell: the stated spread holds.
	}
	return math.Hypot(signal.RobustSD(h.x[s.from:s.to]), signal.RobustSD(h.y[s.from:s.to])) / math.Sqrt2
}

// instant returns the j-th instant tried, relative to the guess.
func (e *edge) instant(j int) float64 {
	return e.width * ((2*float64(j)+1)/instants - 1)
}

// logLikelihoods returns the log likelihood of every instant for one kind of
// onset.
func (e *edge) logLikelihoods(o onset) []float64 {
	out := make([]float64, instants)
	tenth := e.stride / 10
	for axis := range 2 {
		s := e.scale[axis]
		if !(s > 0) {
			continue
		}
		speed, acceleration := o.speed*s, o.acceleration*s/tenth
		jerk := sq(o.jerk*s/tenth) / tenth // Spectral density, (px/s³)²·s.
		for j := range out {
			out[j] += e.filter(axis, e.instant(j), speed, acceleration, jerk)
		}
	}
	return out
}

// stillState is what the first samples of an edge, all taken as stance, say of
// the still place: mean, variance and log likelihood.
type stillState struct{ mean, variance, log float64 }

// prepareStill fills the still states after 0, 1, … samples, which are the same
// for every kind of onset.
func (e *edge) prepareStill() {
	for axis := range 2 {
		x := e.v[axis]
		s := stillState{mean: x[0], variance: 1e6}
		e.still[axis] = append(e.still[axis][:0], s)
		for i := range x {
			v := s.variance + sq(e.sd[axis][i])
			r := x[i] - s.mean
			z, gain := softSquare(r * r / v)
			k := s.variance / v
			s = stillState{s.mean + gain*k*r, s.variance * (1 - k), s.log - (z+math.Log(v))/2}
			e.still[axis] = append(e.still[axis], s)
		}
	}
}

// softSquare returns z² up to 25 and less beyond, and by how much less such a
// sample may move the state: a wild sample counts as one and moves little.
func softSquare(z2 float64) (float64, float64) {
	if z2 <= 25 {
		return z2, 1
	}
	z := math.Sqrt(z2)
	return 10*z - 25, 5 / z
}

// filter runs from the still place into the swing and returns the samples' log
// likelihood for the instant tau. The state is position, speed and acceleration
// (away from the stance).
func (e *edge) filter(axis int, tau, speed, acceleration, jerk float64) float64 {
	x := e.v[axis]
	n := 0
	for n < len(e.u) && e.u[n] >= tau {
		n++
	}
	s := e.still[axis][n]
	// The means and covariances of the state, whose matrix is symmetric.
	m0, m1, m2 := s.mean, 0.0, 0.0
	p00, p01, p02, p11, p12, p22 := s.variance, 0.0, 0.0, speed*speed, 0.0, acceleration*acceleration
	sum, det := 0.0, 1.0
	last := tau
	for i := n; i < len(e.u); i++ {
		// On by d seconds under white jerk: P ← F·P·Fᵀ + Q.
		d := last - e.u[i]
		last = e.u[i]
		h := d * d / 2
		m0, m1 = m0+d*m1+h*m2, m1+d*m2
		p00, p01, p02 = p00+d*p01+h*p02, p01+d*p11+h*p12, p02+d*p12+h*p22
		p11, p12 = p11+d*p12, p12+d*p22
		p00, p01 = p00+d*p01+h*p02, p01+d*p02
		p11 += d * p12
		d3 := d * d * d
		p00 += jerk * d3 * d * d / 20
		p01 += jerk * d3 * d / 8
		p02 += jerk * d3 / 6
		p11 += jerk * d3 / 3
		p12 += jerk * d * d / 2
		p22 += jerk * d
		// The sample seen.
		v := p00 + sq(e.sd[axis][i])
		r := x[i] - m0
		z, gain := softSquare(r * r / v)
		sum += z
		if det *= v; det > 1e100 || det < 1e-100 {
			sum += math.Log(det)
			det = 1
		}
		k0, k1, k2 := p00/v, p01/v, p02/v
		r *= gain
		m0, m1, m2 = m0+k0*r, m1+k1*r, m2+k2*r
		p11, p12, p22 = p11-k1*p01, p12-k1*p02, p22-k2*p02
		p00, p01, p02 = p00-k0*p00, p01-k0*p01, p02-k0*p02
	}
	return s.log - (sum+math.Log(det))/2
}

// describeGap says which limb lost how much, for notes.
func describeGap(h *hoofTrack, frames int) string {
	return fmt.Sprintf("%s was seen in %d of %d frames", h.limb.Words(), len(h.t), frames)
}
