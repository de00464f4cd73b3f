package plots

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// RunInput is what the figures of one clip are drawn from.
type RunInput struct {
	Run *metrics.Run
	// Times of the frames, s; index: frame, as in Run.Signals.
	Times []float64
	// Summary of this run alone; nil leaves out the intervals that come from it.
	Summary *metrics.Summary
	// Lengths is how the reader reads lengths. RunFigures takes Run and Summary into it.
	Lengths lengths.System
}

func (in RunInput) result(n metrics.Name) *metrics.Result {
	if in.Summary == nil {
		return nil
	}
	return in.Summary.Lookup(n)
}

// halfPoints is how many samples a half stride is drawn with.
const halfPoints = 51

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
	if h.count[traj.Left] == 0 || h.count[traj.Right] == 0 {
		return nil, none(fmt.Sprintf("no whole left and right half stride of the %s was followed", l))
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
	for _, n := range heightMeasures(l) {
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

func heightMeasures(l traj.Landmark) []metrics.Name {
	switch l {
	case traj.Head:
		return []metrics.Name{metrics.HeadLowDifference, metrics.HeadHighDifference}
	case traj.Withers:
		return []metrics.Name{metrics.WithersLowDifference, metrics.WithersHighDifference}
	case traj.Croup:
		return []metrics.Name{metrics.CroupLowDifference, metrics.CroupHighDifference}
	}
	return nil
}

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

// placed is a placement relative to the line of travel.
type placed struct {
	limb            traj.Landmark
	along, left     float64 // m along the line; cm (or % of a camera height) to the horse's left of it; in inches: ft and in.
	alongSD, leftSD float64
}

// Placement draws where the hooves were set down, seen from above, relative to
// the line of travel. The horse goes to the right of the page; its left is up.
func Placement(in RunInput) (*Figure, error) {
	const name = "hoof-placement"
	r := in.Run
	if r.Line == nil {
		reason := "no line of travel could be fitted"
		if r.Level == geometry.LevelNone {
			reason = "placements need a calibrated clip (ground marks, camera height or horizon)"
		}
		return nil, &NoDataError{Figure: name, Reason: reason}
	}
	unit, sideUnit := lengthUnit(r.Level), "cm"
	if unit != "m" {
		sideUnit = "% of a camera height"
	}
	long, across := in.Lengths.Of(1, unit), in.Lengths.Of(100, sideUnit)
	unit, sideUnit = in.Lengths.Unit(unit), in.Lengths.Unit(sideUnit)
	all := placedOn(*r.Line, r.Contacts, long, across)
	if len(all) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no placement was measured"}
	}
	x := newExtent()
	for _, p := range all {
		x.add(p.along, p.along-1.96*p.alongSD, p.along+1.96*p.alongSD)
	}
	digits := in.Lengths.Decimals(1, "cm")
	var panels []*plot.Plot
	var share []float64
	var summary []string
	for _, g := range []metrics.Girdle{metrics.Fore, metrics.Hind} {
		here := ofGirdle(all, g)
		if len(here) == 0 {
			continue
		}
		means, said := placementMeans(here, g, in.result(offsetMeasure(g)), sideUnit == in.Lengths.Unit("cm"), digits)
		p := placementPanel(here, means)
		x.set(&p.X, 0.03)
		p.Y.Label.Text = capital(string(g)) + " hooves, " + sideUnit
		panels, share, summary = append(panels, p), append(share, 1), append(summary, said...)
	}
	panels[len(panels)-1].X.Label.Text = "Along the line of travel, " + unit + " (the horse goes to the right)"
	notes := []string{
		capital(where(r)) + ". Seen from above; zero is the line of travel, up is the horse’s left. The two axes differ in scale. Whiskers: 95 % interval of each placement; lines and bands: mean per side with 95 % interval.",
		"Outward of the line, " + sideUnit + ": " + strings.Join(summary, "; ") + ". Negative: lands across the midline.",
	}
	return composition{
		name:   name,
		title:  "Hoof placement from above, with the line of travel",
		notes:  notes,
		legend: sidesLegend("left", "right"),
		height: 45 + 125*vg.Length(len(panels)),
		body:   func(c draw.Canvas) { stack(c, panels, share, 8) },
	}.figure(), nil
}

// placedOn returns the placements relative to the line, along it from the first; long and
// across are how many of the figure's units a metre is in either direction.
func placedOn(l metrics.Line, contacts []metrics.Contact, long, across float64) []placed {
	var all []placed
	first := math.Inf(1)
	for _, c := range contacts {
		if !c.Placed || !finite(c.X, c.Y) {
			continue
		}
		dx, dy := c.X-l.X, c.Y-l.Y
		p := placed{
			limb:    c.Limb,
			along:   long * (dx*l.DX + dy*l.DY),
			left:    across * (dy*l.DX - dx*l.DY),
			alongSD: long * math.Hypot(c.XSD*l.DX, c.YSD*l.DY),
			leftSD:  across * math.Hypot(c.XSD*l.DY, c.YSD*l.DX),
		}
		first = math.Min(first, p.along)
		all = append(all, p)
	}
	for i := range all {
		all[i].along -= first
	}
	return all
}

func ofGirdle(all []placed, g metrics.Girdle) (here []placed) {
	left, right := girdleHooves(g)
	for _, p := range all {
		if p.limb == left || p.limb == right {
			here = append(here, p)
		}
	}
	return here
}

// sideMean is the mean of one side with its 95 % interval.
type sideMean struct {
	side traj.Side
	metrics.Estimate
}

// placementMeans returns the mean of either side, up the page, and says it in words,
// outward. Where the result is in the figure's unit its estimate stands for the mean.
func placementMeans(here []placed, g metrics.Girdle, result *metrics.Result, inUnit bool, digits int) (means []sideMean, said []string) {
	left, right := girdleHooves(g)
	for _, limb := range []traj.Landmark{left, right} {
		var v []float64
		for _, p := range here {
			if p.limb == limb {
				v = append(v, p.left)
			}
		}
		m := sideMean{side: limb.Side()}
		var n int
		m.Value, m.Low, m.High, n = meanInterval(v)
		if n == 0 {
			continue
		}
		outward := m.turned()
		if e := sideEstimate(result, limb.Side()); e != nil && inUnit {
			outward = sideMean{m.side, *e}
			m = outward.turned()
		}
		means = append(means, m)
		said = append(said, fmt.Sprintf("%s %s, n = %d", limb.Words(), shortText(outward.Estimate, digits), n))
	}
	return means, said
}

// turned takes a mean to the horse's left to one outward, and back.
func (m sideMean) turned() sideMean {
	if m.side == traj.Right {
		m.Value, m.Low, m.High = -m.Value, -m.High, -m.Low
	}
	return m
}

func placementPanel(here []placed, means []sideMean) *plot.Plot {
	y := newExtent()
	y.add(0)
	for _, m := range means {
		y.add(m.Low, m.High)
	}
	for _, p := range here {
		y.add(p.left, p.left-1.96*p.leftSD, p.left+1.96*p.leftSD)
	}
	p := newPanel("", "")
	p.Y.Tick.Marker = ticks{most: 6}
	y.set(&p.Y, 0.1)
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.bands(means)
		s.across(draw.LineStyle{Color: inkColor, Width: 0.9}, 0)
		for _, m := range means {
			s.across(styleOf(m.side).line(), m.Value)
		}
		for _, h := range here {
			sty := styleOf(h.limb.Side())
			s.upright(sty.whisker(), h.along, h.left-1.96*h.leftSD, h.left+1.96*h.leftSD)
			s.level(sty.whisker(), h.left, h.along-1.96*h.alongSD, h.along+1.96*h.alongSD)
		}
		for _, h := range here {
			s.mark(glyph(styleOf(h.limb.Side()), false), h.along, h.left)
		}
	}))
	return p
}

// bands lays the interval of every mean across the panel.
func (s sheet) bands(means []sideMean) {
	for _, m := range means {
		s.bandAcross(styleOf(m.side).band(), m.Low, m.High)
	}
}

func offsetMeasure(g metrics.Girdle) metrics.Name {
	if g == metrics.Hind {
		return metrics.PlacementOffsetHind
	}
	return metrics.PlacementOffsetFore
}

// sideEstimate returns the estimate of one side, or nil.
func sideEstimate(r *metrics.Result, s traj.Side) *metrics.Estimate {
	switch {
	case r == nil:
		return nil
	case s == traj.Left:
		return r.Left
	case s == traj.Right:
		return r.Right
	}
	return r.Value
}

// StepLength draws every stride's step length by side.
func StepLength(in RunInput) (*Figure, error) {
	const name = "step-length"
	var panels []*plot.Plot
	var share []float64
	var summary []string
	reason, units := "no step length was measured", ""
	for _, n := range []metrics.Name{metrics.StepLengthFore, metrics.StepLengthHind} {
		series := in.Run.Lookup(n)
		if series == nil {
			continue
		}
		if len(series.Observations) == 0 {
			if series.Reason != "" {
				reason = series.Reason
			}
			continue
		}
		p, unit, said := stepPanel(series, in.result(n))
		if p == nil {
			continue
		}
		units, panels, share, summary = unit, append(panels, p), append(share, 1), append(summary, said...)
	}
	if len(panels) == 0 {
		return nil, &NoDataError{Figure: name, Reason: reason}
	}
	panels[len(panels)-1].X.Label.Text = "Stride number, in the order of the clip"
	return composition{
		name:  name,
		title: "Step length of every stride, by side",
		notes: []string{
			capital(where(in.Run)) + ". A step is named for the hoof that lands. Thin level line and band: mean with 95 % interval, this run only.",
			"Mean, " + units + " (95 % interval): " + strings.Join(summary, "; ") + ".",
		},
		legend: sidesLegend("left", "right"),
		height: 45 + 125*vg.Length(len(panels)),
		body:   func(c draw.Canvas) { stack(c, panels, share, 8) },
	}.figure(), nil
}

// stepPanel draws one girdle's steps, and returns their unit and what they come to in
// words; nil where there is nothing to draw.
func stepPanel(series *metrics.Series, result *metrics.Result) (p *plot.Plot, unit string, summary []string) {
	def, _ := metrics.Define(series.Name)
	scale, unit := def.Say(series.Unit, 1)
	if result != nil {
		one := &metrics.Summary{Results: []metrics.Result{*result}}
		result = &one.Said(lengths.Metric).Results[0]
	}
	var number []float64
	steps := map[traj.Side][]float64{}
	for _, o := range series.Observations {
		number = append(number, float64(o.Stride+1))
		steps[traj.Left], steps[traj.Right] = append(steps[traj.Left], scale*o.Left), append(steps[traj.Right], scale*o.Right)
	}
	means, summary := stepMeans(steps, result, def, unit)
	y, x := newExtent(), newExtent()
	x.add(number...)
	y.add(slices.Concat(steps[traj.Left], steps[traj.Right])...)
	for _, m := range means {
		y.add(m.Low, m.High)
	}
	if y.empty() {
		return nil, unit, nil
	}
	p = newPanel("", capital(string(def.Girdle))+" step length, "+unit)
	p.X.Min, p.X.Max = x.low-0.5, x.high+0.5
	p.X.Tick.Marker = wholeTicks{}
	p.Y.Tick.Marker = ticks{most: 6}
	y.set(&p.Y, 0.1)
	p.Add(artist(func(s sheet) {
		s.grid(true, false)
		s.bands(means)
		for _, m := range means {
			sty := styleOf(m.side).line()
			sty.Width = 0.9
			s.across(sty, m.Value)
		}
		for _, side := range bothSides {
			s.line(styleOf(side).line(), number, steps[side])
		}
		for i := range number {
			for _, side := range bothSides {
				s.mark(glyph(styleOf(side), false), number[i], steps[side][i])
			}
		}
	}))
	return p, unit, summary
}

// stepMeans returns the mean step of either side, for which the result's estimate stands
// where there is one, and says both and their difference in words.
func stepMeans(steps map[traj.Side][]float64, result *metrics.Result, def metrics.Definition, unit string) (means []sideMean, said []string) {
	decimals := def.MostDecimals(unit)
	for _, side := range bothSides {
		m := sideMean{side: side}
		var n int
		if m.Value, m.Low, m.High, n = meanInterval(steps[side]); n == 0 {
			continue
		}
		if e := sideEstimate(result, side); e != nil {
			m.Estimate = *e
		}
		means = append(means, m)
		said = append(said, fmt.Sprintf("%s %s %s, n = %d", side, def.Girdle, shortText(m.Estimate, decimals), n))
	}
	if result != nil && result.Value != nil {
		said = append(said, "difference right − left "+shortText(*result.Value, decimals))
	}
	return means, said
}

// wholeTicks marks whole numbers only.
type wholeTicks struct{}

// Ticks implements plot.Ticker.
func (wholeTicks) Ticks(low, high float64) []plot.Tick {
	step := math.Max(1, roundStep((high-low)/14))
	var out []plot.Tick
	for v := math.Ceil(low/step) * step; v <= high; v += step {
		out = append(out, plot.Tick{Value: v, Label: number(v, 0)})
	}
	return out
}

// HoofPaths draws the paths of the hooves through the swing as seen from in
// front: outward departure from the straight line between two placements
// against height. Left and right are overlaid, outward to the right for both.
func HoofPaths(in RunInput) (*Figure, error) {
	const name = "hoof-paths"
	var panels []*plot.Plot
	x, y := newExtent(), newExtent()
	x.add(0)
	y.add(0)
	var counts []string
	for _, g := range []metrics.Girdle{metrics.Fore, metrics.Hind} {
		paths := pathsOf(in, g)
		for _, k := range paths {
			k.extend(x, y)
			counts = append(counts, fmt.Sprintf("%d %s", len(k.single), k.limb.Words()))
		}
		if len(paths) > 0 {
			panels = append(panels, pathPanel(in, g, paths))
		}
	}
	if len(panels) == 0 {
		reason := "no hoof was followed through a whole swing"
		if in.Run.Level != geometry.LevelMetric && in.Run.Level != geometry.LevelHeight {
			reason = "the path of a swinging hoof needs a clip calibrated in metres"
		}
		return nil, &NoDataError{Figure: name, Reason: reason}
	}
	for i, p := range panels {
		x.set(&p.X, 0.06)
		y.set(&p.Y, 0.06)
		if i == 0 {
			p.Y.Label.Text = "Height above stance, " + in.Lengths.Unit("cm")
		}
	}
	from := "in front"
	if in.Run.View == traj.Away {
		from = "behind"
	}
	return composition{
		name:  name,
		title: "Path of the swinging hoof, seen from " + from,
		notes: []string{
			capital(where(in.Run)) + ". Thin lines: single swings (n = " + strings.Join(counts, ", ") + "). Thick lines: their mean; crosses at a quarter, half and three quarters of the swing: 95 % interval of the mean, this run only.",
			"Zero is the straight line between two placements. Lateral (outward) is to the right for both sides, so that left and right can be laid over each other. Description only: no published work shows that these arcs tell a lame limb.",
		},
		legend: sidesLegend("left", "right"),
		height: 215,
		body:   func(c draw.Canvas) { beside(c, panels) },
	}.figure(), nil
}

// pathsOf returns the paths of the girdle's hooves that were followed, left first.
func pathsOf(in RunInput, g metrics.Girdle) []limbPath {
	left, right := girdleHooves(g)
	var out []limbPath
	for _, limb := range []traj.Landmark{left, right} {
		if k := pathOf(in.Run.Paths, limb, in.Lengths); len(k.single) > 0 {
			out = append(out, k)
		}
	}
	return out
}

// pathPanel draws the paths of one girdle's hooves.
func pathPanel(in RunInput, g metrics.Girdle, paths []limbPath) *plot.Plot {
	p := newPanel(capital(string(g))+" hooves: outward of the line, "+in.Lengths.Unit("cm")+" (lateral +)", "")
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.updown(zeroLine, 0)
		for _, k := range paths {
			for _, q := range k.single {
				s.line(styleOf(k.limb.Side()).faint(), q[0], q[1])
			}
		}
		for _, k := range paths {
			k.draw(s)
		}
	}))
	return p
}

// extend makes room for the path across and up.
func (k *limbPath) extend(x, y *extent) {
	for q, to := range [2]*extent{x, y} {
		for _, single := range k.single {
			to.add(single[q]...)
		}
		to.add(k.mean[q]...)
		to.add(k.low[q]...)
		to.add(k.high[q]...)
	}
}

// pathSamples is how many samples a swing is drawn with.
const pathSamples = 41

// limbPath is all swings of one hoof: outward and height (index 0 and 1), cm.
type limbPath struct {
	limb            traj.Landmark
	single          [][2][]float64 // Index: swing, direction, sample.
	mean, low, high [2][]float64   // Index: direction, sample.
}

func pathOf(paths []metrics.HoofPath, limb traj.Landmark, system lengths.System) limbPath {
	k := limbPath{limb: limb}
	for _, p := range paths {
		if q, ok := resampled(p, system); ok && p.Limb == limb {
			k.single = append(k.single, q)
		}
	}
	for d := range 2 {
		var series [][]float64
		for _, q := range k.single {
			series = append(series, q[d])
		}
		k.mean[d], k.low[d], k.high[d] = meansOf(series, pathSamples)
	}
	return k
}

// resampled returns a path at pathSamples shares of the swing, and whether most of it is
// there.
func resampled(p metrics.HoofPath, system lengths.System) (out [2][]float64, ok bool) {
	if len(p.Progress) != len(p.Outward) || len(p.Progress) != len(p.Height) || len(p.Progress) < 2 {
		return out, false
	}
	seen := 0
	for i := range pathSamples {
		at := float64(i) / (pathSamples - 1)
		o, h := system.Of(interpolate(p.Progress, p.Outward, at), "cm"), system.Of(interpolate(p.Progress, p.Height, at), "cm")
		if finite(o, h) {
			seen++
		}
		out[0], out[1] = append(out[0], o), append(out[1], h)
	}
	return out, seen > pathSamples/2
}

func (k limbPath) draw(s sheet) {
	sty := styleOf(k.limb.Side())
	s.line(sty.line(), k.mean[0], k.mean[1])
	for _, i := range []int{pathSamples / 4, pathSamples / 2, pathSamples * 3 / 4} {
		s.level(sty.whisker(), k.mean[1][i], k.low[0][i], k.high[0][i])
		s.upright(sty.whisker(), k.mean[0][i], k.low[1][i], k.high[1][i])
		s.mark(glyph(sty, false), k.mean[0][i], k.mean[1][i])
	}
}

// beside draws panels next to each other, equally wide. One alone keeps to
// two thirds of the width.
func beside(c draw.Canvas, panels []*plot.Plot) {
	width := c.Max.X - c.Min.X
	const gap = 14
	each := (width - gap*vg.Length(len(panels)-1)) / vg.Length(len(panels))
	if len(panels) == 1 {
		each = width * 2 / 3
	}
	x := c.Min.X
	for _, p := range panels {
		p.Draw(part(c, x, c.Min.Y, x+each, c.Max.Y))
		x += each + gap
	}
}

// StanceBars draws which hoof was on the ground when.
func StanceBars(in RunInput) (*Figure, error) {
	const name = "stance-bars"
	limbs := []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind}
	var rows []traj.Landmark
	counts := map[traj.Landmark]int{}
	x := newExtent()
	for _, c := range in.Run.Contacts {
		if finite(c.On, c.Off) && c.Off > c.On {
			counts[c.Limb]++
			x.add(c.On, c.Off)
		}
	}
	for _, l := range limbs {
		if counts[l] > 0 {
			rows = append(rows, l)
		}
	}
	if len(rows) == 0 {
		return nil, &NoDataError{Figure: name, Reason: "no ground contact was found"}
	}
	p := newPanel("Time in the clip, s", "")
	x.set(&p.X, 0.01)
	var labels []string
	for _, l := range rows {
		labels = append(labels, fmt.Sprintf("%s, n = %d", l.Words(), counts[l]))
	}
	nameRows(p, labels)
	p.X.Tick.Marker = ticks{most: 12}
	run := in.Run
	p.Add(artist(func(s sheet) {
		for i, st := range run.Strides {
			if i%2 == 1 {
				s.bandUpright(bandColor, st.Start, st.End)
			}
		}
		s.grid(false, true)
		for i, l := range rows {
			for _, c := range run.Contacts {
				if c.Limb == l && finite(c.On, c.Off) && c.Off > c.On {
					s.stance(c, float64(len(rows)-1-i))
				}
			}
		}
	}))
	leftStyle, rightStyle := styleOf(traj.Left), styleOf(traj.Right)
	return composition{
		name:  name,
		title: "Which hoof was on the ground when",
		notes: []string{fmt.Sprintf("%s. Bars: stance; small whiskers at their ends: 95 %% interval of hoof-on and hoof-off. A bar open at one end: that instant lies outside the clip or was not seen. Grey and white bands behind them: %s.",
			capital(where(run)), count(len(run.Strides), "stride"))},
		legend: []legendEntry{{text: "left", hatch: &leftStyle}, {text: "right", hatch: &rightStyle}},
		height: 45 + 24*vg.Length(len(rows)),
		body:   func(c draw.Canvas) { p.Draw(c) },
	}.figure(), nil
}

// stance draws one stance as a bar at a height, with what is not known of its ends.
func (s sheet) stance(c metrics.Contact, at float64) {
	drawBar(s.c, styleOf(c.Limb.Side()), vg.Rectangle{
		Min: vg.Point{X: s.x(c.On), Y: s.y(at - 0.3)},
		Max: vg.Point{X: s.x(c.Off), Y: s.y(at + 0.3)},
	}, c.OnSD >= 0, c.OffSD >= 0)
	ink := draw.LineStyle{Color: inkColor, Width: 0.9}
	if c.OnSD > 0 {
		s.level(ink, at, c.On-1.96*c.OnSD, c.On+1.96*c.OnSD)
	}
	if c.OffSD > 0 {
		s.level(ink, at, c.Off-1.96*c.OffSD, c.Off+1.96*c.OffSD)
	}
}

// drawBar fills a bar in a side's look: left solid, right hatched. An end that
// was not measured has no edge.
func drawBar(c draw.Canvas, sty sideStyle, r vg.Rectangle, startKnown, endKnown bool) {
	corners := box(r.Min.X, r.Min.Y, r.Max.X, r.Max.Y)
	if sty.dashes == nil {
		c.FillPolygon(withAlpha(sty.color, 0xd8), corners)
	} else {
		c.FillPolygon(withAlpha(sty.color, 0x40), corners)
		inside := draw.Canvas{Canvas: c.Canvas, Rectangle: r}
		height := r.Max.Y - r.Min.Y
		var hatch vg.Path
		for x := r.Min.X - height; x < r.Max.X; x += 4 {
			for _, l := range inside.ClipLinesX([]vg.Point{{X: x, Y: r.Min.Y}, {X: x + height, Y: r.Max.Y}}) {
				hatch.Move(l[0])
				hatch.Line(l[len(l)-1])
			}
		}
		c.SetLineStyle(draw.LineStyle{Color: sty.color, Width: 0.8})
		c.Stroke(hatch)
	}
	edge := draw.LineStyle{Color: sty.color, Width: 1}
	c.StrokeLine2(edge, r.Min.X, r.Min.Y, r.Max.X, r.Min.Y)
	c.StrokeLine2(edge, r.Min.X, r.Max.Y, r.Max.X, r.Max.Y)
	if startKnown {
		c.StrokeLine2(edge, r.Min.X, r.Min.Y, r.Min.X, r.Max.Y)
	}
	if endKnown {
		c.StrokeLine2(edge, r.Max.X, r.Min.Y, r.Max.X, r.Max.Y)
	}
}

// RunFigures draws every figure of one clip, in the order of a report. What
// cannot be drawn is there with its reason. The error is for input that
// contradicts itself.
func RunFigures(in RunInput) ([]Outcome, error) {
	in.Run, in.Summary = in.Run.Said(in.Lengths), in.Summary.Said(in.Lengths)
	attempts := []attempt{
		{"Head height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Head) }},
		{"Withers height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Withers) }},
		{"Croup height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Croup) }},
		{"Step length of every stride", func() (*Figure, error) { return StepLength(in) }},
		{"Hoof placement from above", func() (*Figure, error) { return Placement(in) }},
		{"Path of the swinging hoof", func() (*Figure, error) { return HoofPaths(in) }},
		{"Which hoof was on the ground when", func() (*Figure, error) { return StanceBars(in) }},
	}
	if in.Summary != nil {
		attempts = append(attempts, scoreFigure(in.Summary))
	}
	return drawn(attempts)
}
