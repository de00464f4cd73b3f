package plots

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// halfPoints is how many samples a half stride is drawn with.
const halfPoints = 51

// fewestHalves is how many half strides of a side are drawn at the least: the interval of the mean
// of two is six times as wide, and more, as they lie apart.
const fewestHalves = 3

// halfStride is a body landmark's height through one half stride.
type halfStride struct {
	side   traj.Side // Of the hoof that lands at its start.
	height []float64 // Index: sample, halfPoints of them; NaN where not measured.
}

// BodyHeight draws the height of the head, the withers or the croup over the
// two halves of every stride, laid over each other: from hoof-on left to
// hoof-on right, and from hoof-on right to hoof-on left. In an even horse the
// two coincide.
func BodyHeight(in RunInput, l traj.Landmark) (*Figure, error) {
	name := string(l) + "-height"
	none := func(reason string) error { return &NoDataError{Figure: name, Reason: reason} }
	var signal *metrics.Signal
	for i := range in.Run.Signals {
		if in.Run.Signals[i].Landmark == l {
			signal = &in.Run.Signals[i]
		}
	}
	if signal == nil {
		return nil, none(fmt.Sprintf("the %s was not marked or not followed", l))
	}
	if len(signal.Height) != len(in.Times) {
		return nil, fmt.Errorf("draw %s: %d heights for %d frame times", name, len(signal.Height), len(in.Times))
	}
	girdle := metrics.Fore
	if l == traj.Croup || l == traj.LeftHip || l == traj.RightHip {
		girdle = metrics.Hind
	}
	beats, timed := stepBeats(in.Run, girdle)
	if timed == "" {
		return nil, none("the clip shows no left and right hoof-on to divide the strides by")
	}
	h := overlayHalves(cutHalves(beats, in.Times, signal.Height))
	if min(h.count[traj.Left], h.count[traj.Right]) < fewestHalves {
		return nil, none(fmt.Sprintf("the %s was followed through fewer than %d whole half strides of a side, which show nothing for sure", l, fewestHalves))
	}
	if h.y.empty() {
		return nil, none(fmt.Sprintf("the %s was not followed through any half stride", l))
	}
	unit := signal.Unit
	if unit == "%" {
		unit = "% of its range"
	}
	p := newPanel("Part of the half stride, % (0 is hoof-on)", capital(string(l))+" height, "+unit)
	p.X.Min, p.X.Max = 0, 100
	h.y.set(&p.Y, 0.05)
	p.Add(artist(h.draw))

	notes := []string{fmt.Sprintf("%s. Thin lines: single half strides (n = %d left, %d right). Thick lines: their mean; band: 95 %% interval of the mean, this run only.",
		capital(where(in.Run)), h.count[traj.Left], h.count[traj.Right])}
	for _, n := range metrics.LowAndHigh(l) {
		if r := in.result(n); r != nil && r.Value != nil {
			notes = append(notes, fmt.Sprintf("%s, right − left: %s.", titleOf(n), estimateText(*r.Value, r.Unit, decimalsOf(n, r.Unit))))
		}
	}
	legend, note := halvesLegend(in.Run.Gait, girdle, timed)
	return composition{
		name:        name,
		title:       capital(string(l)) + " height over the stride, left and right half overlaid",
		notes:       append(notes, note...),
		legend:      legend,
		description: fmt.Sprintf("Curves of the height of the %s after hoof-on of the left and of the right limb.", l),
		height:      220,
		body:        func(c draw.Canvas) { p.Draw(c) },
	}.figure(), nil
}

// halvesLegend tells left from right halves, and adds a note where the other girdle's
// hooves timed them.
func halvesLegend(gait traj.Gait, girdle, timed metrics.Girdle) (legend []legendEntry, note []string) {
	left, right := girdleHooves(timed)
	if timed == girdle {
		return sidesLegend("from hoof-on "+left.Words(), "from hoof-on "+right.Words()), nil
	}
	// The half begins with the girdle's own limb; its timing came from the partner.
	other := "diagonal"
	if gait == traj.Pace {
		other = "lateral"
	}
	return sidesLegend("left half", "right half"),
		[]string{fmt.Sprintf("Halves are timed by the %s hooves (%s pairs), for want of the others.", timed, other)}
}

// overlay is all half strides laid over each other.
type overlay struct {
	halves          []halfStride
	count           map[traj.Side]int
	share           []float64               // Of the half stride, %; index: sample.
	mean, low, high map[traj.Side][]float64 // Index: sample.
	y               *extent
}

func overlayHalves(halves []halfStride) overlay {
	o := overlay{halves: halves, count: map[traj.Side]int{}, share: make([]float64, halfPoints), y: newExtent(),
		mean: map[traj.Side][]float64{}, low: map[traj.Side][]float64{}, high: map[traj.Side][]float64{}}
	for i := range o.share {
		o.share[i] = 100 * float64(i) / (halfPoints - 1)
	}
	for _, side := range bothSides {
		var heights [][]float64
		for _, h := range halves {
			if h.side == side {
				heights = append(heights, h.height)
			}
		}
		o.count[side] = len(heights)
		o.mean[side], o.low[side], o.high[side] = meansOf(heights, halfPoints)
		o.y.add(slices.Concat(slices.Concat(heights...), o.mean[side], o.low[side], o.high[side])...)
	}
	return o
}

func (o overlay) draw(s sheet) {
	s.grid(true, true)
	for _, h := range o.halves {
		s.line(styleOf(h.side).faint(), o.share, h.height)
	}
	for _, side := range bothSides {
		s.band(styleOf(side).band(), o.share, o.low[side], o.high[side])
	}
	for _, side := range bothSides {
		sty := styleOf(side)
		s.line(sty.line(), o.share, o.mean[side])
		// The marks of the sides are offset so that they do not hide each other.
		first := 5
		if side == traj.Right {
			first = 10
		}
		for i := first; i < halfPoints; i += 10 {
			s.mark(glyph(sty, false), o.share[i], o.mean[side][i])
		}
	}
}

var bothSides = [2]traj.Side{traj.Left, traj.Right}

// beat is a hoof-on, or its equivalent by pairing, of one side of a girdle.
type beat struct {
	time float64
	side traj.Side
}

// stepBeats returns the hoof-on instants of a girdle in order of time. Where
// the girdle's own hooves were not seen on both sides, the other girdle's
// stand in: diagonal ones at the trot, lateral ones at the pace. The second
// result is the girdle that timed, empty where neither could.
func stepBeats(r *metrics.Run, g metrics.Girdle) ([]beat, metrics.Girdle) {
	collect := func(g metrics.Girdle, swap bool) []beat {
		left, right := girdleHooves(g)
		var out []beat
		seen := map[traj.Side]bool{}
		for _, c := range r.Contacts {
			if (c.Limb != left && c.Limb != right) || c.OnSD < 0 || !finite(c.On) {
				continue
			}
			side := c.Limb.Side()
			if swap {
				if side == traj.Left {
					side = traj.Right
				} else {
					side = traj.Left
				}
			}
			seen[side] = true
			out = append(out, beat{c.On, side})
		}
		if !seen[traj.Left] || !seen[traj.Right] {
			return nil
		}
		sort.SliceStable(out, func(i, j int) bool { return out[i].time < out[j].time })
		return out
	}
	if b := collect(g, false); b != nil {
		return b, g
	}
	other := metrics.Hind
	if g == metrics.Hind {
		other = metrics.Fore
	}
	switch r.Gait {
	case traj.Trot:
		if b := collect(other, true); b != nil {
			return b, other
		}
	case traj.Pace:
		if b := collect(other, false); b != nil {
			return b, other
		}
	}
	return nil, ""
}

// cutHalves cuts a height at the beats and resamples each half. Halves much
// longer than the median span a missed hoof-on and are left out, as are those
// of which less than half was measured.
func cutHalves(beats []beat, times, height []float64) []halfStride {
	var spans []float64
	for i := 1; i < len(beats); i++ {
		if beats[i].side != beats[i-1].side {
			spans = append(spans, beats[i].time-beats[i-1].time)
		}
	}
	if len(spans) == 0 {
		return nil
	}
	sorted := slices.Clone(spans)
	slices.Sort(sorted)
	longest := 1.6 * sorted[len(sorted)/2]
	var out []halfStride
	for i := 1; i < len(beats); i++ {
		a, b := beats[i-1], beats[i]
		if a.side == b.side || b.time-a.time > longest || b.time <= a.time {
			continue
		}
		h := halfStride{side: a.side, height: make([]float64, halfPoints)}
		measured := 0
		for k := range h.height {
			t := a.time + (b.time-a.time)*float64(k)/(halfPoints-1)
			h.height[k] = interpolate(times, height, t)
			if finite(h.height[k]) {
				measured++
			}
		}
		if measured >= halfPoints/2 {
			out = append(out, h)
		}
	}
	return out
}

// interpolate returns v at time t, linear between frames; NaN outside and
// beside frames without a value.
func interpolate(times, v []float64, t float64) float64 {
	i := sort.SearchFloat64s(times, t)
	switch {
	case i == len(times):
		return math.NaN()
	case times[i] == t:
		return v[i]
	case i == 0:
		return math.NaN()
	}
	f := (t - times[i-1]) / (times[i] - times[i-1])
	return v[i-1] + f*(v[i]-v[i-1])
}
