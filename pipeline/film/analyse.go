package film

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// findings are the numbers behind the verdicts. NaN is not known.
type findings struct {
	mean, burnt, black float64 // Of the whole picture.
	horseMean          float64 // Mean luma of what moves; 0 where nothing does.
	movingEdge         float64 // Median width of edges on what moves, px of the full picture.
	stillEdge          float64 // Lower quartile of the width of the others, px.
	shake              float64 // Share of the picture's width, root mean square.
	found              bool    // Something as large as a horse moves.
	tallest, smallest  float64 // Height of what moves, share of the picture's height.
	inSightS           float64 // For how long it is in sight.
	stepHz             float64 // Steps a second; 0 where no rhythm stands out.
	cut                float64 // Share of the time in sight at which it touches the edge.
	wander             float64 // Departure from a straight path, metres, root mean square.
}

// How tall what moves is taken to be for lengths in metres: from the hooves to
// the ears of a led horse, common practice.
const assumedTallM = 2.0

// box is what moves in one picture, in reduced pixels; empty where nothing does.
type box struct {
	seen                     bool
	left, right, top, bottom int // Inclusive.
	cut                      bool
}

func (b box) height() float64 { return float64(b.bottom - b.top + 1) }
func (b box) centre() float64 { return float64(b.left+b.right) / 2 }

func analyse(s *samples) findings {
	f := findings{movingEdge: math.NaN(), stillEdge: math.NaN(), shake: math.NaN(), wander: math.NaN()}
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
		}
	}
	masks := s.moving(shifts)
	boxes := make([]box, len(masks))
	for i, m := range masks {
		boxes[i] = s.largest(m)
	}
	f.edges(s, masks)
	f.where(s, masks, boxes, shifts)
	return f
}

type vector struct{ x, y float64 }

// backgroundShifts returns how far the picture moved since the one before,
// reduced px. Index: picture; the first is zero. It returns false where there
// is nothing to hold on to.
func (s *samples) backgroundShifts() ([]vector, bool) {
	shifts := make([]vector, len(s.frames))
	held := 0
	for i := 1; i < len(s.frames); i++ {
		d, ok := s.shift(s.frames[i-1].small, s.frames[i].small)
		if ok {
			shifts[i] = d
			held++
		}
	}
	return shifts, len(s.frames) > 1 && held*2 > len(s.frames)
}

// shift finds the translation d for which b(p + d) looks like a(p), by least
// squares on the gradients (Lucas & Kanade 1981) with weights that let go of
// what moves by itself, from coarse to fine.
func (s *samples) shift(a, b []float32) (vector, bool) {
	var d vector
	for _, level := range []int{4, 2, 1} {
		la, w, h := shrink(a, s.w, s.h, level)
		lb, _, _ := shrink(b, s.w, s.h, level)
		if w < 16 || h < 8 {
			continue
		}
		d.x, d.y = d.x/float64(level), d.y/float64(level)
		residuals := make([]float64, 0, w*h)
		for range 4 {
			spread := 6.0
			if len(residuals) > 0 {
				slices.Sort(residuals)
				spread = max(2, 2*residuals[len(residuals)/2])
			}
			residuals = residuals[:0]
			var gxx, gxy, gyy, rx, ry float64
			for y := 2; y < h-2; y++ {
				for x := 2; x < w-2; x++ {
					gx := float64(la[y*w+x+1]-la[y*w+x-1]) / 2
					gy := float64(la[(y+1)*w+x]-la[(y-1)*w+x]) / 2
					if gx*gx+gy*gy < 4 {
						continue
					}
					v, ok := at(lb, w, h, float64(x)+d.x, float64(y)+d.y)
					if !ok {
						continue
					}
					r := float64(la[y*w+x]) - v
					residuals = append(residuals, math.Abs(r))
					k := r / spread
					weight := 1 / (1 + k*k)
					weight *= weight
					gxx += weight * gx * gx
					gxy += weight * gx * gy
					gyy += weight * gy * gy
					rx += weight * gx * r
					ry += weight * gy * r
				}
			}
			det := gxx*gyy - gxy*gxy
			if len(residuals) < 20 || det < 1e-3*(gxx+gyy)*(gxx+gyy) {
				return vector{}, false
			}
			step := vector{(gyy*rx - gxy*ry) / det, (gxx*ry - gxy*rx) / det}
			d.x += step.x
			d.y += step.y
			if math.Hypot(step.x, step.y) < 0.01 {
				break
			}
		}
		d.x, d.y = d.x*float64(level), d.y*float64(level)
	}
	if math.Hypot(d.x, d.y) > float64(s.w)/4 {
		return vector{}, false
	}
	return d, true
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

// moving returns for every picture which cells differ from the background.
func (s *samples) moving(shifts []vector) [][]bool {
	n := len(s.frames)
	cumulated := make([]vector, n)
	farthest := 0.0
	for i := 1; i < n; i++ {
		cumulated[i] = vector{cumulated[i-1].x + shifts[i].x, cumulated[i-1].y + shifts[i].y}
		farthest = max(farthest, math.Abs(cumulated[i].x), math.Abs(cumulated[i].y))
	}
	masks := make([][]bool, n)
	if farthest < float64(s.w)/8 && n >= 8 {
		background := s.background(cumulated)
		for i, p := range s.frames {
			masks[i] = s.differs(p.small, background, vector{-cumulated[i].x, -cumulated[i].y})
		}
		return masks
	}
	// A camera that follows the horse leaves only the change from picture to picture.
	for i := range s.frames {
		j, d := i-1, vector{-shifts[i].x, -shifts[i].y}
		if i == 0 {
			if n == 1 {
				return [][]bool{make([]bool, s.w*s.h)}
			}
			j, d = 1, shifts[1]
		}
		masks[i] = s.differs(s.frames[i].small, s.frames[j].small, d)
	}
	return masks
}

// background is the median over time of every cell, in the first picture's
// place. At most 61 pictures take part.
func (s *samples) background(cumulated []vector) []float32 {
	every := (len(s.frames) + 60) / 61
	out := make([]float32, s.w*s.h)
	values := make([]float32, 0, 61)
	for y := range s.h {
		for x := range s.w {
			values = values[:0]
			for i := 0; i < len(s.frames); i += every {
				if v, ok := at(s.frames[i].small, s.w, s.h, float64(x)+cumulated[i].x, float64(y)+cumulated[i].y); ok {
					values = append(values, float32(v))
				}
			}
			if len(values) == 0 {
				out[y*s.w+x] = s.frames[0].small[y*s.w+x]
				continue
			}
			slices.Sort(values)
			out[y*s.w+x] = values[len(values)/2]
		}
	}
	return out
}

// differs compares p(x) with q(x + d) and marks cells whose difference stands
// out of the noise and of what a small misplacement explains.
func (s *samples) differs(p, q []float32, d vector) []bool {
	difference := make([]float32, s.w*s.h)
	var all []float64
	for y := 1; y < s.h-1; y++ {
		for x := 1; x < s.w-1; x++ {
			v, ok := at(q, s.w, s.h, float64(x)+d.x, float64(y)+d.y)
			if !ok {
				continue
			}
			k := y*s.w + x
			slope := math.Abs(float64(p[k+1]-p[k-1]))/2 + math.Abs(float64(p[k+s.w]-p[k-s.w]))/2
			e := math.Max(0, math.Abs(float64(p[k])-v)-0.4*slope)
			difference[k] = float32(e)
			all = append(all, e)
		}
	}
	slices.Sort(all)
	limit := 7.0
	if len(all) > 0 {
		limit = max(limit, 5*all[len(all)/2])
	}
	raw := make([]bool, len(difference))
	for k, e := range difference {
		raw[k] = float64(e) > limit
	}
	// A cell counts with most of its neighbours: single cells are noise.
	out := make([]bool, len(raw))
	for y := 1; y < s.h-1; y++ {
		for x := 1; x < s.w-1; x++ {
			n := 0
			for j := -1; j <= 1; j++ {
				for i := -1; i <= 1; i++ {
					if raw[(y+j)*s.w+x+i] {
						n++
					}
				}
			}
			out[y*s.w+x] = n >= 4
		}
	}
	return out
}

// largest returns the box around the largest piece of a mask, gaps of a few
// cells bridged.
func (s *samples) largest(mask []bool) box {
	label := make([]int32, len(mask))
	var best []int
	const reach = 3
	for start := range mask {
		if !mask[start] || label[start] != 0 {
			continue
		}
		label[start] = 1
		piece := []int{start}
		for i := 0; i < len(piece); i++ {
			x, y := piece[i]%s.w, piece[i]/s.w
			for j := max(0, y-reach); j <= min(s.h-1, y+reach); j++ {
				for k := max(0, x-reach); k <= min(s.w-1, x+reach); k++ {
					if c := j*s.w + k; mask[c] && label[c] == 0 {
						label[c] = 1
						piece = append(piece, c)
					}
				}
			}
		}
		if len(piece) > len(best) {
			best = piece
		}
	}
	var b box
	if float64(len(best)) < 0.002*float64(len(mask)) {
		return b
	}
	xs, ys := make([]int, len(best)), make([]int, len(best))
	for i, c := range best {
		xs[i], ys[i] = c%s.w, c/s.w
	}
	slices.Sort(xs)
	slices.Sort(ys)
	trim := len(best) / 100
	b = box{seen: true, left: xs[trim], right: xs[len(xs)-1-trim], top: ys[trim], bottom: ys[len(ys)-1-trim]}
	if b.height() < 0.06*float64(s.h) {
		return box{}
	}
	// The outermost cells have no neighbours to count with.
	b.cut = xs[0] <= 1 || ys[0] <= 1 || xs[len(xs)-1] >= s.w-2 || ys[len(ys)-1] >= s.h-2
	return b
}

// edges sums up how wide edges are on what moves and elsewhere.
func (f *findings) edges(s *samples, masks [][]bool) {
	var moving, still []float64
	var sum float64
	cells := 0
	for i, p := range s.frames {
		for _, e := range p.edges {
			if masks[i][e.cell] {
				moving = append(moving, float64(e.width))
			} else {
				still = append(still, float64(e.width))
			}
		}
		for c, m := range masks[i] {
			if m {
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
		f.movingEdge = stat.Quantile(0.5, stat.Empirical, moving, nil)
	}
	if len(still) >= enough {
		f.stillEdge = stat.Quantile(0.25, stat.Empirical, still, nil)
	}
}

// where follows what moves through the clip.
func (f *findings) where(s *samples, masks [][]bool, boxes []box, shifts []vector) {
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
	f.stepHz = s.rhythm(masks, boxes, indices)
	f.wander = wander(heights, centres, times)
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

// rhythm returns the steps a second, or 0 where no rhythm stands out.
//
// The balance of movement between the left and right half of the lower part of
// what moves swings once a stride, so twice its frequency is that of steps. It
// is looked for between 0.6 and 2 strides a second by a periodogram.
func (s *samples) rhythm(masks [][]bool, boxes []box, indices []int) float64 {
	balance := make([]float64, 0, len(indices))
	times := make([]float64, 0, len(indices))
	for _, i := range indices {
		if i == 0 {
			continue
		}
		b := boxes[i]
		middle := float64(b.left+b.right) / 2
		from := b.top + (b.bottom-b.top)*6/10
		var left, right float64
		for y := from; y <= b.bottom; y++ {
			for x := b.left; x <= b.right; x++ {
				k := y*s.w + x
				d := math.Abs(float64(s.frames[i].small[k] - s.frames[i-1].small[k]))
				if d < 4 {
					continue
				}
				if float64(x) < middle {
					left += d
				} else {
					right += d
				}
			}
		}
		if left+right > 0 {
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
