package plots

import (
	"fmt"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// HoofPaths draws the paths of the hooves through the swing as seen from in
// front: outward departure from the straight line between two placements
// against height. Left and right are overlaid, outward to the right for both.
func HoofPaths(in RunInput) (*Figure, error) {
	const name = "hoof-paths"
	var panels []*plot.Plot
	x, y := newExtent(), newExtent()
	x.add(0)
	y.add(0)
	var counts, shapes []string
	for _, g := range []metrics.Girdle{metrics.Fore, metrics.Hind} {
		paths := pathsOf(in, g)
		for _, k := range paths {
			k.extend(x, y)
			counts = append(counts, fmt.Sprintf("%d %s", len(k.single), k.limb.Words()))
		}
		if len(paths) == 0 {
			continue
		}
		panels = append(panels, pathPanel(in, g, paths))
		if !in.knowsHeight(g) {
			shapes = append(shapes, string(g))
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
			if len(shapes) == len(panels) {
				p.Y.Label.Text = "Height above stance"
			}
		}
	}
	notes := []string{
		capital(where(in.Run)) + ". Thin lines: single swings (n = " + strings.Join(counts, ", ") + "). Thick lines: their mean; crosses at a quarter, half and three quarters of the swing: 95 % interval of the mean, this run only.",
		"Zero is the straight line between two placements. Lateral (outward) is to the right for both sides, so that left and right can be laid over each other. Description only: no published work shows that these arcs tell a lame limb.",
	}
	if shapes != nil {
		notes = append(notes, "Heights of "+strings.Join(shapes, " and ")+" hooves have no scale: they are not known well enough for numbers.")
	}
	from := "in front"
	if in.Run.View == traj.Away {
		from = "behind"
	}
	return composition{
		name:   name,
		title:  "Path of the swinging hoof, seen from " + from,
		notes:  notes,
		legend: sidesLegend("left", "right"),
		height: 215,
		body:   func(c draw.Canvas) { beside(c, panels) },
	}.figure(), nil
}

// knowsHeight reports whether the heights of a girdle's hooves are known well enough for numbers.
func (in RunInput) knowsHeight(g metrics.Girdle) bool {
	n := metrics.FlightHeightFore
	if g == metrics.Hind {
		n = metrics.FlightHeightHind
	}
	r := in.result(n)
	return r == nil || r.Left != nil || r.Right != nil
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
	p := newPanel(capital(string(g))+" hooves: outward, "+in.Lengths.Unit("cm")+" (lateral +)", "")
	heights := in.knowsHeight(g)
	if !heights {
		p.Y.Tick.Marker = plot.ConstantTicks{}
	}
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.updown(zeroLine, 0)
		for _, k := range paths {
			for _, q := range k.single {
				s.line(styleOf(k.limb.Side()).faint(), q[0], q[1])
			}
		}
		for _, k := range paths {
			k.draw(s, heights)
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

// draw draws the mean, with the intervals of heights where they are known.
func (k limbPath) draw(s sheet, heights bool) {
	sty := styleOf(k.limb.Side())
	s.line(sty.line(), k.mean[0], k.mean[1])
	for _, i := range []int{pathSamples / 4, pathSamples / 2, pathSamples * 3 / 4} {
		s.level(sty.whisker(), k.mean[1][i], k.low[0][i], k.high[0][i])
		if heights {
			s.upright(sty.whisker(), k.mean[0][i], k.low[1][i], k.high[1][i])
		}
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
