package film

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"jogstrip/track/traj"
)

// findings are the numbers behind the verdicts. NaN is not known.
type findings struct {
	mean, burnt, black float64   // Of the whole picture.
	horseMean          float64   // Mean luma of what moves; 0 where nothing does.
	movingEdge         float64   // Upper quartile of the width of edges on what moves, px of the full picture: those along the movement stay sharp.
	stillEdge          float64   // Upper quartile of the width of the others, px.
	sharpestEdge       float64   // Lower quartile of the width of the others, px.
	shake              float64   // Share of the picture's width, root mean square.
	sway               float64   // Root mean square of the picture's place about its mean, share of its width.
	repeats            float64   // Share of pictures that repeat the one before.
	noise              float64   // Standard deviation of a pixel that stands still, grey levels.
	found              bool      // Something as large as a horse moves.
	tallest, smallest  float64   // Height of what moves, share of the picture's height.
	inSightS           float64   // For how long it is in sight.
	stepHz             float64   // Steps a second; 0 where no rhythm stands out.
	clipS              float64   // How long the clip lasts.
	unsteady           bool      // The camera moved so much that a small horse far away may have been missed.
	cut                float64   // Share of the time in sight at which it touches the edge.
	goes               traj.View // By how its size changes; empty where it hardly does.
	wander             float64   // Departure from a straight path, metres, root mean square.
}

// How tall what moves is taken to be for lengths in metres: from the hooves to
// the ears of a led horse, common practice.
const assumedTallM = 2.0

// box is what moves in one picture, in reduced pixels; empty where nothing does.
type box struct {
	seen                     bool
	cells                    int
	left, right, top, bottom int // Inclusive.
	cut                      bool
}

func (b box) height() float64 { return float64(b.bottom - b.top + 1) }
func (b box) within(x, y int) bool {
	return b.seen && x >= b.left && x <= b.right && y >= b.top && y <= b.bottom
}
func (b box) centre() float64 { return float64(b.left+b.right) / 2 }

func analyse(s *samples) findings {
	f := findings{movingEdge: math.NaN(), stillEdge: math.NaN(), sharpestEdge: math.NaN(), shake: math.NaN(), sway: math.NaN(), noise: math.NaN(), wander: math.NaN()}
	n := float64(len(s.frames))
	for _, p := range s.frames {
		f.mean += p.mean / n
		f.burnt += p.burnt / n
		f.black += p.black / n
	}
	shifts, known := s.backgroundShifts()
	if known {
		var sum float64
		for _, d := range shifts[1:] {
			sum += d.x*d.x + d.y*d.y
		}
		if len(shifts) > 1 {
			f.shake = math.Sqrt(sum/float64(len(shifts)-1)) / float64(s.w)
			f.sway = sway(shifts) / float64(s.w)
		}
	}
	f.repeats, f.noise = s.grid.repeats(), s.grid.noise()
	f.unsteady = !known || f.shake*float64(s.w) > 0.2
	f.clipS = s.frames[len(s.frames)-1].time
	masks := s.moving(shifts)
	boxes := s.follow(masks)
	f.edges(s, masks, boxes)
	f.where(s, masks, boxes, shifts)
	return f
}

// sway returns how far the picture's place strays from its mean, root mean square.
// Errors of single steps add up like a walk at random, so that of a still picture
// grows with the clip; what that explains is taken off.
func sway(shifts []motion) float64 {
	n := float64(len(shifts))
	var x, y, mx, my float64
	var xs, ys []float64
	for _, d := range shifts {
		x, y = x+d.x, y+d.y
		xs, ys = append(xs, x), append(ys, y)
		mx, my = mx+x/n, my+y/n
	}
	var sum float64
	for i := range xs {
		sum += (xs[i]-mx)*(xs[i]-mx) + (ys[i]-my)*(ys[i]-my)
	}
	const stepSD = 0.01 // Of a step's error, reduced px.
	return math.Sqrt(max(0, sum/n-stepSD*stepSD*n/3))
}

// motion is how a picture lies against another: moved by (x, y), reduced px, and
// turned about its centre by the small angle turn, radians.
type motion struct{ x, y, turn float64 }

func (m motion) plus(o motion) motion  { return motion{m.x + o.x, m.y + o.y, m.turn + o.turn} }
func (m motion) minus(o motion) motion { return motion{m.x - o.x, m.y - o.y, m.turn - o.turn} }

// backgroundShifts returns how far the picture moved since the one before,
// reduced px. Index: picture; the first is zero. It returns false where there
// is nothing to hold on to.
func (s *samples) backgroundShifts() ([]motion, bool) {
	shifts := make([]motion, len(s.frames))
	held := make([]bool, len(s.frames))
	inParallel(len(s.frames)-1, func(i int) {
		if d, ok := s.shift(s.frames[i].small, s.frames[i+1].small); ok {
			shifts[i+1], held[i+1] = d, true
		}
	})
	n := 0
	for _, h := range held {
		if h {
			n++
		}
	}
	return shifts, len(s.frames) > 1 && n*2 > len(s.frames)
}

// shift finds the motion for which b at the moved place looks like a, by least
// squares on the gradients (Lucas & Kanade 1981) with weights that let go of
// what moves by itself, from coarse to fine.
func (s *samples) shift(a, b []float32) (motion, bool) {
	var d motion
	for _, level := range []int{4, 2, 1} {
		la, w, h := shrink(a, s.w, s.h, level)
		lb, _, _ := shrink(b, s.w, s.h, level)
		if w < 16 || h < 8 {
			continue
		}
		// Every second row and column of the finest is enough.
		match := matching{a: soften(la, w, h), b: soften(lb, w, h), w: w, h: h, stride: 3 - min(2, level), reach: 6}
		d.x, d.y = d.x/float64(level), d.y/float64(level)
		for range 8 {
			step, size, ok := match.step(d)
			if !ok {
				return motion{}, false
			}
			d = d.plus(step)
			if size < 0.01 {
				break
			}
		}
		d.x, d.y = d.x*float64(level), d.y*float64(level)
	}
	if math.Hypot(d.x, d.y) > float64(s.w)/4 {
		return motion{}, false
	}
	return d, true
}

// matching is two pictures at one level of shrinking that are brought to match.
type matching struct {
	a, b   []float32
	w, h   int
	stride int
	reach  float64 // From which grey difference on a cell counts for less than half.
}

// step returns by how much d is to change, and how large that is, px.
func (m *matching) step(d motion) (change motion, size float64, ok bool) {
	var normal [6]float64 // Upper triangle of the normal matrix, row by row.
	var right [3]float64
	var residuals []float64
	used := 0
	// The angle is counted in px at the edge, so that all three weigh alike.
	cx, cy, edge := float64(m.w-1)/2, float64(m.h-1)/2, float64(m.w)/2
	for y := 2; y < m.h-2; y += m.stride {
		for x := 2; x < m.w-2; x += m.stride {
			gx := float64(m.a[y*m.w+x+1]-m.a[y*m.w+x-1]) / 2
			gy := float64(m.a[(y+1)*m.w+x]-m.a[(y-1)*m.w+x]) / 2
			if gx*gx+gy*gy < 4 {
				continue
			}
			ux, uy := float64(x)-cx, float64(y)-cy
			v, inside := at(m.b, m.w, m.h, float64(x)+d.x-d.turn*uy, float64(y)+d.y+d.turn*ux)
			if !inside {
				continue
			}
			r := float64(m.a[y*m.w+x]) - v
			if used++; used%3 == 0 {
				residuals = append(residuals, math.Abs(r))
			}
			weight := 1 / (1 + (r/m.reach)*(r/m.reach))
			j := [3]float64{gx, gy, (gy*ux - gx*uy) / edge}
			n := 0
			for k := range 3 {
				for l := k; l < 3; l++ {
					normal[n] += weight * j[k] * j[l]
					n++
				}
				right[k] += weight * j[k] * r
			}
		}
	}
	if det := normal[0]*normal[3] - normal[1]*normal[1]; used < 40 || det < 1e-3*(normal[0]+normal[3])*(normal[0]+normal[3]) {
		return motion{}, 0, false
	}
	slices.Sort(residuals)
	m.reach = max(2, 2*residuals[len(residuals)/2])
	var step mat.VecDense
	if err := step.SolveVec(mat.NewSymDense(3, []float64{normal[0], normal[1], normal[2], normal[1], normal[3], normal[4], normal[2], normal[4], normal[5]}), mat.NewVecDense(3, right[:])); err != nil {
		return motion{}, 0, false
	}
	return motion{step.AtVec(0), step.AtVec(1), step.AtVec(2) / edge}, mat.Norm(&step, 2), true
}

func shrink(p []float32, w, h, by int) ([]float32, int, int) {
	if by == 1 {
		return p, w, h
	}
	nw, nh := w/by, h/by
	out := make([]float32, nw*nh)
	for y := range nh {
		for x := range nw {
			var sum float32
			for j := range by {
				for i := range by {
					sum += p[(y*by+j)*w+x*by+i]
				}
			}
			out[y*nw+x] = sum / float32(by*by)
		}
	}
	return out, nw, nh
}

// soften averages over three by three cells: least squares on gradients wants
// edges wider than the step it looks for.
func soften(p []float32, w, h int) []float32 {
	rows := make([]float32, len(p))
	for y := range h {
		r, o := p[y*w:(y+1)*w], rows[y*w:(y+1)*w]
		for x := range r {
			o[x] = (r[max(0, x-1)] + r[x] + r[min(w-1, x+1)]) / 3
		}
	}
	out := make([]float32, len(p))
	for y := range h {
		a, b, c := rows[max(0, y-1)*w:], rows[y*w:], rows[min(h-1, y+1)*w:]
		for x := range w {
			out[y*w+x] = (a[x] + b[x] + c[x]) / 3
		}
	}
	return out
}

// at interpolates between four pixels; false outside the picture.
func at(p []float32, w, h int, x, y float64) (float64, bool) {
	if !(x >= 0 && y >= 0 && x < float64(w-1) && y < float64(h-1)) {
		return 0, false
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	k := j*w + i
	return (1-fy)*((1-fx)*float64(p[k])+fx*float64(p[k+1])) + fy*((1-fx)*float64(p[k+w])+fx*float64(p[k+w+1])), true
}

// moving returns for every picture which cells move: those that differ from
// the pictures before and after alike, at one of a few distances in time. What
// differs from one side only is where something was or will be.
func (s *samples) moving(shifts []motion) [][]bool {
	n := len(s.frames)
	at := make([]motion, n) // Place of every picture, relative to the first.
	for i := 1; i < n; i++ {
		at[i] = at[i-1].plus(shifts[i])
	}
	masks := make([][]bool, n)
	spare := sync.Pool{New: func() any { return s.newScratch() }}
	inParallel(n, func(i int) {
		mask := make([]bool, s.w*s.h)
		work := spare.Get().(*scratch)
		defer spare.Put(work)
		for _, apart := range []int{1, 2, 4, 6} {
			before, after := i-apart, i+apart
			// At the ends both neighbours lie on the same side.
			if before < 0 {
				before = i + 2*apart
			}
			if after >= n {
				after = i - 2*apart
			}
			if before < 0 || before >= n || after < 0 || after >= n {
				continue
			}
			a := s.differs(i, s.frames[before].small, at[before].minus(at[i]), work)
			b := s.differs(i, s.frames[after].small, at[after].minus(at[i]), work)
			for k := range mask {
				mask[k] = mask[k] || a[k] && b[k]
			}
		}
		masks[i] = mask
	})
	return masks
}

// inParallel calls do for 0 to n-1 on every processor.
func inParallel(n int, do func(i int)) {
	var wg sync.WaitGroup
	var next atomic.Int64
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}

// differs compares picture i with q at the place moved by d and marks cells whose
// difference stands out of the noise and of what a small misplacement explains.
func (s *samples) differs(i int, q []float32, d motion, work *scratch) []bool {
	slack := float32(0.15) // Cells by which the pictures may be misplaced.
	moved := math.Hypot(d.x, d.y)
	if moved > 0.1 {
		slack = 0.7
	}
	p, slope := s.frames[i].small, s.slope(i)
	difference := work.difference
	clear(difference)
	// Medians come from a histogram of quarter grey levels.
	clear(work.counts)
	all := 0
	put := func(k int, v float32) {
		e := p[k] - v
		if e < 0 {
			e = -e
		}
		if e -= slack * slope[k]; e < 0 {
			e = 0
		}
		difference[k] = e
		if k%7 == 0 {
			work.counts[min(int(4*e), len(work.counts)-1)]++
			all++
		}
	}
	if moved < 0.02 && math.Abs(d.turn)*float64(s.w) < 0.02 {
		for y := 1; y < s.h-1; y++ {
			for k := y*s.w + 1; k < (y+1)*s.w-1; k++ {
				put(k, q[k])
			}
		}
	} else {
		cx, cy := float64(s.w-1)/2, float64(s.h-1)/2
		for y := 1; y < s.h-1; y++ {
			for x := 1; x < s.w-1; x++ {
				if v, ok := at(q, s.w, s.h, float64(x)+d.x-d.turn*(float64(y)-cy), float64(y)+d.y+d.turn*(float64(x)-cx)); ok {
					put(y*s.w+x, float32(v))
				}
			}
		}
	}
	return standOut(difference, s.w, s.h, outOfNoise(work.counts, all), work.rows)
}

// outOfNoise returns from which difference on a cell stands out of all, from their
// histogram in quarter grey levels: six times the median, at least 4 grey levels.
func outOfNoise(counts []int, all int) float32 {
	below := 0
	for b, n := range counts {
		if below += n; 2*below > all {
			return max(4, 6*(float32(b)+0.5)/4)
		}
	}
	return 4
}

// standOut marks the cells that are over the limit together with most of their
// neighbours: single cells are noise. Rows is room for w·h counts.
func standOut(difference []float32, w, h int, limit float32, rows []uint8) []bool {
	out := make([]bool, len(difference))
	for y := range h {
		row, r := difference[y*w:(y+1)*w], rows[y*w:(y+1)*w]
		var one, two, three uint8
		for x, e := range row {
			one, two, three = two, three, 0
			if e > limit {
				three = 1
			}
			if x > 0 {
				r[x-1] = one + two + three // How many of a cell and its neighbours in the row.
			}
		}
	}
	for y := 1; y < h-1; y++ {
		for k := y*w + 1; k < (y+1)*w-1; k++ {
			out[k] = rows[k-w]+rows[k]+rows[k+w] >= 4
		}
	}
	return out
}

// scratch is room for comparing pictures.
type scratch struct {
	difference []float32
	counts     []int
	rows       []uint8
}

func (s *samples) newScratch() *scratch {
	return &scratch{make([]float32, s.w*s.h), make([]int, 4*256), make([]uint8, s.w*s.h)}
}

// slope returns by how much picture i changes from cell to cell: the mean of the
// absolute changes along rows and along columns, twice.
func (s *samples) slope(i int) []float32 {
	f := s.frames[i]
	f.once.Do(func() {
		p := f.small
		f.slope = make([]float32, len(p))
		for y := 1; y < s.h-1; y++ {
			for k := y*s.w + 1; k < (y+1)*s.w-1; k++ {
				f.slope[k] = absolute(p[k+1]-p[k-1])/2 + absolute(p[k+s.w]-p[k-s.w])/2
			}
		}
	})
	return f.slope
}

func absolute(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// pieces returns the boxes around the pieces of a mask, gaps of a few cells
// bridged, largest first. Specks are left out.
func (s *samples) pieces(mask []bool) []box {
	seen := make([]bool, len(mask))
	var out []box
	const reach = 3
	for start := range mask {
		if !mask[start] || seen[start] {
			continue
		}
		seen[start] = true
		piece := []int{start}
		for i := 0; i < len(piece); i++ {
			x, y := piece[i]%s.w, piece[i]/s.w
			for j := max(0, y-reach); j <= min(s.h-1, y+reach); j++ {
				for k := max(0, x-reach); k <= min(s.w-1, x+reach); k++ {
					if c := j*s.w + k; mask[c] && !seen[c] {
						seen[c] = true
						piece = append(piece, c)
					}
				}
			}
		}
		if len(piece) < 6 {
			continue
		}
		xs, ys := make([]int, len(piece)), make([]int, len(piece))
		for i, c := range piece {
			xs[i], ys[i] = c%s.w, c/s.w
		}
		slices.Sort(xs)
		slices.Sort(ys)
		trim := len(piece) / 100
		b := box{seen: true, cells: len(piece), left: xs[trim], right: xs[len(xs)-1-trim], top: ys[trim], bottom: ys[len(ys)-1-trim]}
		// The outermost cells have no neighbours to count with.
		b.cut = xs[0] <= 1 || ys[0] <= 1 || xs[len(xs)-1] >= s.w-2 || ys[len(ys)-1] >= s.h-2
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b box) int { return b.cells - a.cells })
	return out
}

// follow picks the horse among what moves: the largest piece of all, and from
// there, forward and back in time, the piece that fits on to the last one.
// Index: picture.
func (s *samples) follow(masks [][]bool) []box {
	all := make([][]box, len(masks))
	best := -1
	for i, m := range masks {
		all[i] = s.pieces(m)
		if len(all[i]) > 0 && (best < 0 || all[i][0].cells > all[best][0].cells) {
			best = i
		}
	}
	out := make([]box, len(masks))
	if best < 0 || all[best][0].height() < 0.08*float64(s.h) {
		return out
	}
	out[best] = all[best][0]
	for _, step := range []int{1, -1} {
		last, since := out[best], 0
		for i := best + step; i >= 0 && i < len(masks); i += step {
			since++
			if float64(since)*s.interval > 1.5 {
				break
			}
			b, ok := s.fitting(all[i], last, since)
			if ok {
				out[i], last, since = b, b, 0
			}
		}
	}
	return out
}

// fitting joins the pieces that lie where the horse must be, since pictures
// after it was in the box last.
func (s *samples) fitting(pieces []box, last box, since int) (box, bool) {
	margin := 3 + 0.12*float64(since)*last.height()
	var b box
	for _, p := range pieces {
		inside := float64(p.left) >= float64(last.left)-margin && float64(p.right) <= float64(last.right)+margin &&
			float64(p.top) >= float64(last.top)-margin && float64(p.bottom) <= float64(last.bottom)+margin
		if !inside {
			continue
		}
		if !b.seen {
			b = p
			continue
		}
		b.left, b.right, b.top, b.bottom = min(b.left, p.left), max(b.right, p.right), min(b.top, p.top), max(b.bottom, p.bottom)
		b.cells += p.cells
		b.cut = b.cut || p.cut
	}
	// A part of the horse that moves alone is not the whole of it.
	return b, b.seen && b.height() > 0.45*last.height() && b.height() >= 4
}

// edges sums up how wide edges are on what moves and elsewhere.
func (f *findings) edges(s *samples, masks [][]bool, boxes []box) {
	var moving, still []float64
	var sum float64
	cells := 0
	for i, p := range s.frames {
		b := boxes[i]
		for _, e := range p.edges {
			if masks[i][e.cell] {
				if b.within(int(e.cell)%s.w, int(e.cell)/s.w) {
					moving = append(moving, float64(e.width))
				}
			} else {
				still = append(still, float64(e.width))
			}
		}
		for c, m := range masks[i] {
			if m && b.within(c%s.w, c/s.w) {
				sum += float64(p.small[c])
				cells++
			}
		}
	}
	if cells > len(s.frames) {
		f.horseMean = sum / float64(cells)
	}
	const enough = 40
	slices.Sort(moving)
	slices.Sort(still)
	if len(moving) >= enough {
		f.movingEdge = stat.Quantile(0.75, stat.Empirical, moving, nil)
	}
	if len(still) >= enough {
		f.stillEdge = stat.Quantile(0.75, stat.Empirical, still, nil)
		f.sharpestEdge = stat.Quantile(0.25, stat.Empirical, still, nil)
	}
}

// where follows what moves through the clip.
func (f *findings) where(s *samples, masks [][]bool, boxes []box, shifts []motion) {
	var heights, centres, times []float64
	var indices []int
	cut := 0
	var drift float64
	for i, b := range boxes {
		drift += shifts[i].x
		if !b.seen {
			continue
		}
		heights = append(heights, b.height())
		centres = append(centres, b.centre()-drift)
		times = append(times, s.frames[i].time)
		indices = append(indices, i)
		if b.cut {
			cut++
		}
	}
	f.inSightS = float64(len(heights)) * s.interval
	if len(heights) < 3 || f.inSightS < 0.5 {
		return
	}
	f.found = true
	sorted := slices.Clone(heights)
	slices.Sort(sorted)
	f.tallest = stat.Quantile(0.95, stat.Empirical, sorted, nil) / float64(s.h)
	f.smallest = stat.Quantile(0.05, stat.Empirical, sorted, nil) / float64(s.h)
	f.cut = float64(cut) / float64(len(heights))
	f.stepHz = s.rhythm(boxes, indices)
	if !f.unsteady {
		third := len(heights) / 3
		f.goes = Goes(heights[:third], heights[len(heights)-third:])
		f.wander = wander(heights, centres, times)
	}
}

// growsClearly is how many times taller what moves becomes at least where the horse comes.
const growsClearly = 1.265

// Goes returns which way the horse goes by its heights in the picture in the first third of a
// clip and in the last; empty where these are too few or hardly differ. It sorts them in copies.
func Goes(first, last []float64) traj.View {
	if min(len(first), len(last)) < 2 {
		return ""
	}
	middle := func(part []float64) float64 {
		return slices.Sorted(slices.Values(part))[len(part)/2]
	}
	switch a, b := middle(first), middle(last); {
	case b > growsClearly*a:
		return traj.Toward
	case a > growsClearly*b:
		return traj.Away
	}
	return ""
}

// wander returns how far the path departs from a straight line, metres.
//
// On a straight path the distance across is a linear function of the distance
// along. Seen by a camera, the picture's column is then a linear function of
// one over the distance, that is, of the size in the picture. What is left over
// after fitting that line is the wander; the sway of every step is smoothed away
// before.
func wander(heights, centres, times []float64) float64 {
	h, c := smooth(heights, times), smooth(centres, times)
	low, high := slices.Min(h), slices.Max(h)
	if len(h) < 12 || high < 1.4*low {
		return math.NaN()
	}
	// Nearer pictures tell more: a pixel is a smaller length there.
	weights := make([]float64, len(h))
	for i := range h {
		weights[i] = h[i] * h[i]
	}
	a, b := stat.LinearRegression(h, c, weights, false)
	var sum float64
	for i := range h {
		r := (c[i] - a - b*h[i]) * assumedTallM / h[i]
		sum += r * r
	}
	return math.Sqrt(sum / float64(len(h)))
}

// smooth takes the median over about one stride.
func smooth(values, times []float64) []float64 {
	const halfS = 0.5
	out := make([]float64, len(values))
	for i := range values {
		var near []float64
		for j := range values {
			if math.Abs(times[j]-times[i]) <= halfS {
				near = append(near, values[j])
			}
		}
		slices.Sort(near)
		out[i] = near[len(near)/2]
	}
	return out
}

// halves returns how much changes from the picture before in the left and the right half
// of the lower part of a box, grey levels.
func (s *samples) halves(i int, b box) (left, right float64) {
	middle := float64(b.left+b.right) / 2
	for y := b.top + (b.bottom-b.top)*6/10; y <= b.bottom; y++ {
		for x := b.left; x <= b.right; x++ {
			k := y*s.w + x
			d := math.Abs(float64(s.frames[i].small[k] - s.frames[i-1].small[k]))
			switch {
			case d < 4:
			case float64(x) < middle:
				left += d
			default:
				right += d
			}
		}
	}
	return left, right
}

// rhythm returns the steps a second, or 0 where no rhythm stands out.
//
// The balance of movement between the left and right half of the lower part of
// what moves swings once a stride, so twice its frequency is that of steps. It
// is looked for between 0.6 and 2 strides a second by a periodogram.
func (s *samples) rhythm(boxes []box, indices []int) float64 {
	balance := make([]float64, 0, len(indices))
	times := make([]float64, 0, len(indices))
	for _, i := range indices {
		if i == 0 {
			continue
		}
		if left, right := s.halves(i, boxes[i]); left+right > 0 {
			balance = append(balance, (right-left)/(right+left))
			times = append(times, s.frames[i].time)
		}
	}
	if len(balance) < 20 || times[len(times)-1]-times[0] < 1.8 {
		return 0
	}
	slow := smooth(balance, times)
	for i := range balance {
		balance[i] -= slow[i]
	}
	var powers []float64
	best, bestAt := 0.0, 0.0
	for hz := 0.6; hz <= 2.0; hz += 0.02 {
		var re, im float64
		for i, v := range balance {
			sin, cos := math.Sincos(2 * math.Pi * hz * times[i])
			re += v * cos
			im += v * sin
		}
		p := re*re + im*im
		powers = append(powers, p)
		if p > best {
			best, bestAt = p, hz
		}
	}
	slices.Sort(powers)
	if best < 8*powers[len(powers)/2] || bestAt < 0.64 || bestAt > 1.96 {
		return 0
	}
	return 2 * bestAt
}
