package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
)

// A hoof that stands is told from the ground under it by what the same place looks
// like bare: before the hoof lands where the horse comes toward the camera, after it
// left where the horse goes away. What differs from the bare ground and is still is
// the hoof; what passes in front of it is not still, and what is not there any more
// does not differ.

// grid is a patch of a frame, sampled at the same places around a point of the ground
// whatever the frame, row by row; NaN where the scratch file has nothing.
type grid []float32

const (
	gridSide   = 24 // Samples across.
	gridRows   = 22
	gridWidth  = 1.3  // Sides of the patch.
	groundRows = 4    // The lowest rows, which lie below the mark: they show ground.
	mostUneven = 16   // Grey levels by which quarter and three quarters of them may differ.
	mostShade  = 30   // Grey levels that shadow and exposure may make.
	gridUp     = 0.95 // Of its height above the mark, sides of the patch; the rest lies below.
)

// gridWindow is what a grid covers around a mark, px; size is the side of the patch.
func gridWindow(size float64) flow.Window {
	return flow.Window{Left: gridWidth * size / 2, Right: gridWidth * size / 2, Up: gridUp * size, Down: 0.3 * size}
}

// sample returns the grid of frame f around the point that lies at p in frame 0. size is the
// side of the patch, px.
func (st *stander) sample(f int, p flow.Point, size float64, out grid) (grid, bool, error) {
	q, ok := st.clip.unsteady(f, p)
	if !ok {
		return out, false, nil
	}
	if ok, err := st.around(f, q, gridWindow(size), 4); err != nil || !ok {
		return out, false, err
	}
	return st.sampleHere(q, size, out), true, nil
}

// sampleHere is sample from the plane that was read last, around q in its frame.
func (st *stander) sampleHere(q flow.Point, size float64, out grid) grid {
	step := gridWidth * size / (gridSide - 1)
	pl := &st.plane
	out = out[:0]
	for j := range gridRows {
		y := (q.Y - gridUp*size + step*float64(j) - pl.Y0) / pl.Step
		j0 := int(math.Floor(y))
		fy := float32(y - float64(j0))
		for i := range gridSide {
			x := (q.X - gridWidth*size/2 + step*float64(i) - pl.X0) / pl.Step
			i0 := int(math.Floor(x))
			if i0 < 0 || j0 < 0 || i0+1 >= pl.Width || j0+1 >= pl.Height {
				out = append(out, float32(math.NaN()))
				continue
			}
			fx := float32(x - float64(i0))
			a, b := pl.Pix[j0*pl.Width+i0:], pl.Pix[(j0+1)*pl.Width+i0:]
			out = append(out, (1-fy)*((1-fx)*a[0]+fx*a[1])+fy*((1-fx)*b[0]+fx*b[1]))
		}
	}
	return out
}

// bare returns what the ground looks like at p, a point of frame 0 where a hoof seems to
// stand in frame f: the median of up to nine looks at times at which it should be bare;
// nil where there are too few. It returns these looks, too.
func (st *stander) bare(f int, p flow.Point, size float64) (bare grid, looks []grid, err error) {
	dir := 1
	if st.clip.grows {
		dir = -1
	}
	for _, dir := range []int{dir, -dir} {
		if looks, err = st.gather(looks, f, dir, p, size); err != nil {
			return nil, nil, err
		}
		if len(looks) >= 4 {
			return middleOf(looks), looks, nil
		}
	}
	return nil, looks, nil
}

// gather adds to looks what p, a point of frame 0, looks like before frame f, where dir is −1,
// or after it, when it should be bare.
func (st *stander) gather(looks []grid, f, dir int, p flow.Point, size float64) ([]grid, error) {
	times := st.clip.times
	room := times[f] - times[0]
	if dir > 0 {
		room = times[len(times)-1] - times[f]
	}
	next, apart := st.model.BareFromS, max(0.03, (min(st.model.BareToS, room)-st.model.BareFromS)/float64(st.model.BareLooks))
	for g := f + dir; g >= 0 && g < len(times) && len(looks) < st.model.BareLooks; g += dir {
		d := math.Abs(times[g] - times[f])
		if d < next {
			continue
		}
		if d > st.model.BareToS {
			break
		}
		next = d + apart
		look, ok, err := st.sample(g, p, size, nil)
		if err != nil {
			return nil, err
		}
		if ok {
			looks = append(looks, look)
		}
	}
	return looks, nil
}

// middleOf returns the median of looks sample by sample, NaN where fewer than three tell.
func middleOf(looks []grid) grid {
	out := make(grid, gridSide*gridRows)
	column, spare := make([]float32, len(looks)), make([]float32, len(looks))
	for i := range out {
		for k, l := range looks {
			column[k] = l[i]
		}
		out[i] = middle(column, spare, 3)
	}
	return out
}

// still returns 1 for the samples around steady that look as they do in l for a while
// before it or after it, and 0 for the others: what passes the hoof, or stands beside it
// for less long, is not the hoof. size is the side of the patch, px.
func (st *stander) still(l *standingLook, steady flow.Point, size float64) (grid, error) {
	c := st.clip
	out := make(grid, len(l.grid))
	var here grid
	for _, dir := range []int{-1, 1} {
		same, n := make([]int, len(out)), 0
		for g := l.frame + dir; g >= 0 && g < len(c.times) && (n < st.model.Fewest || math.Abs(c.times[g]-c.times[l.frame]) <= st.model.StillS); g += dir {
			var ok bool
			var err error
			if here, ok, err = st.sample(g, steady, size, here); err != nil {
				return nil, err
			}
			if !ok {
				break
			}
			n++
			l.countSame(here, st.model.StillLimit, same)
		}
		for k, m := range same {
			if n >= st.model.Fewest && 3*m > 2*n {
				out[k] = 1
			}
		}
	}
	return out, nil
}

// countSame counts in same the samples of here that look as they do in l; so do those that
// nothing is known of.
func (l *standingLook) countSame(here grid, limit float32, same []int) {
	for k, v := range here {
		if math.IsNaN(float64(v)) || !differs(l.grid[k], v, limit+slackAt(l.grid, k)) {
			same[k]++
		}
	}
}

// hoofPixels says which samples of key are the hoof: how surely they are not the bare
// ground, weighed by how near the middle they lie, and what part of the patch they are.
// Where it is known which samples keep still, others are not the hoof.
func hoofPixels(key, bare, still grid, limit float32) (weights grid, share float64) {
	weights = make(grid, len(key))
	shade, _ := shadeOf(key, bare)
	var sum, all float64
	for j := range gridRows {
		for i := range gridSide {
			k := j*gridSide + i
			if math.IsNaN(float64(key[k])) {
				continue
			}
			x, y := (float64(i)/(gridSide-1)-0.5)*2, (float64(j)/(gridRows-1)-0.55)*2
			w := bell(x/0.8) * bell(y/0.8)
			all += w
			if still != nil && still[k] == 0 || !math.IsNaN(float64(bare[k])) && !differs(key[k], bare[k]+shade, limit+slackAt(key, k)) {
				continue
			}
			weights[k] = float32(w)
			sum += w
		}
	}
	if all == 0 {
		return weights, 0
	}
	return weights, sum / all
}

// shadeOf returns by how much the ground below the mark is brighter in g than bare, grey
// levels: the horse's shadow and the camera's exposure change it. ok is false where
// something else than ground is seen there.
func shadeOf(g, bare grid) (shade float32, ok bool) {
	d := make([]float32, 0, gridSide*groundRows)
	for k := (gridRows - groundRows) * gridSide; k < gridRows*gridSide; k++ {
		if v := g[k] - bare[k]; !math.IsNaN(float64(v)) {
			d = append(d, v)
		}
	}
	if len(d) < gridSide {
		return 0, false
	}
	slices.Sort(d)
	shade = d[len(d)/2]
	return min(max(shade, -mostShade), mostShade), max(shade, -shade) <= mostShade && d[3*len(d)/4]-d[len(d)/4] < mostUneven
}

func differs(a, b, limit float32) bool { d := a - b; return d > limit || d < -limit }

// slackAt is by how much sample k may change if the picture is misplaced a little.
func slackAt(g grid, k int) float32 {
	i, j := k%gridSide, k/gridSide
	at := func(i, j int) float32 {
		i, j = min(max(i, 0), gridSide-1), min(max(j, 0), gridRows-1)
		return g[j*gridSide+i]
	}
	dx, dy := at(i+1, j)-at(i-1, j), at(i, j+1)-at(i, j-1)
	s := 0.25 * float32(math.Sqrt(float64(dx*dx+dy*dy)))
	if math.IsNaN(float64(s)) {
		return 0
	}
	return s
}

// keeps returns which share of the hoof, as weights say, looks in g as in key, which may
// be brighter by shade.
func keeps(key, g, weights grid, shade, limit float32) float64 {
	var same, all float64
	for k, v := range g {
		w := 1.0
		if weights != nil {
			w = float64(weights[k])
		}
		if w == 0 || math.IsNaN(float64(v)) {
			continue
		}
		all += w
		if !differs(key[k], v+shade, limit+slackAt(key, k)) {
			same += w
		}
	}
	if all == 0 {
		return 0
	}
	return same / all
}

// bottomShare returns which share of the lowest third of the hoof, as weights say, looks
// bare in g: a hoof that has left the ground shows it there first. shades are by how much
// the ground may be brighter than bare; the best of them counts.
func bottomShare(g, bare, weights grid, limit float32, shades ...float32) float64 {
	var rows [gridRows]float64
	var sum float64
	for k, w := range weights {
		rows[k/gridSide] += float64(w)
		sum += float64(w)
	}
	top := gridRows
	for below := 0.0; top > 0 && below < sum/3; top-- {
		below += rows[top-1]
	}
	best := 0.0
	for _, shade := range shades {
		var same, all float64
		for k := top * gridSide; k < gridRows*gridSide; k++ {
			w := float64(weights[k])
			if w == 0 || math.IsNaN(float64(g[k])) || math.IsNaN(float64(bare[k])) {
				continue
			}
			all += w
			if !differs(g[k], bare[k]+shade, limit+slackAt(bare, k)) {
				same += w
			}
		}
		if all > 0 {
			best = max(best, same/all)
		}
	}
	return best
}

// alwaysThere reports whether the hoof that key shows, as weights say (nil: all of it), is
// there in a part of the looks, too, at which the ground should be bare: then it belongs to
// the ground.
func alwaysThere(key, weights grid, looks []grid, limit float32) bool {
	n := 0
	for _, l := range looks {
		if shade, _ := shadeOf(key, l); keeps(key, l, weights, shade, limit) > 0.75 {
			n++
		}
	}
	return n > 0 && 4*n >= len(looks)
}
