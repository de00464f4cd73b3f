package plots

import (
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// HoofPaths draws how far aside of the straight line between two placements the hooves go
// through the swing, which goes up the figure from hoof-off to hoof-on. Left and right are
// overlaid, outward to the right for both.
func HoofPaths(in RunInput) (*Figure, error) {
	const name = "hoof-paths"
	var panels []*plot.Plot
	x, y := newExtent(), newExtent()
	x.add(0)
	y.add(0, 100)
	var counts []string
	for _, g := range []metrics.Girdle{metrics.Fore, metrics.Hind} {
		paths := pathsOf(in, g)
		for _, k := range paths {
			k.extend(x)
			counts = append(counts, fmt.Sprintf("%d %s", len(k.single), k.limb.Words()))
		}
		if len(paths) == 0 {
			continue
		}
		panels = append(panels, pathPanel(in, g, paths))
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
			p.Y.Label.Text = "Hoof-off to hoof-on, % of the swing"
		}
	}
	notes := []string{
		capital(where(in.Run)) + ". Thin lines: single swings (n = " + strings.Join(counts, ", ") + "). Thick lines: their mean; bars at a quarter, half and three quarters of the swing: 95 % interval of the mean, this run only.",
		"Zero is the straight line between two placements. Lateral (outward) is to the right for both sides, so that left and right can be laid over each other. Description only: no published work shows that these arcs tell a lame limb.",
	}
	return composition{
		name:   name,
		title:  "Path of the swinging hoof to the sides",
		notes:  notes,
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
	p := newPanel(capital(string(g))+" hooves: outward, "+in.Lengths.Unit("cm")+" (lateral +)", "")
	p.Add(artist(func(s sheet) {
		s.grid(true, true)
		s.updown(zeroLine, 0)
		for _, k := range paths {
			for _, outward := range k.single {
				s.line(styleOf(k.limb.Side()).faint(), outward, swingShares())
			}
		}
		for _, k := range paths {
			k.draw(s)
		}
	}))
	return p
}

// extend makes room for the path across.
func (k *limbPath) extend(x *extent) {
	x.add(slices.Concat(slices.Concat(k.single...), k.mean, k.low, k.high)...)
}

// pathSamples is how many samples a swing is drawn with.
const pathSamples = 41

// swingShares returns at which shares of the swing, %, they lie.
func swingShares() (out []float64) {
	for i := range pathSamples {
		out = append(out, 100*float64(i)/(pathSamples-1))
	}
	return out
}

// limbPath is how far outward one hoof goes in all its swings. Index: sample.
type limbPath struct {
	limb            traj.Landmark
	single          [][]float64 // Index: swing, sample.
	mean, low, high []float64
}

func pathOf(paths []metrics.HoofPath, limb traj.Landmark, system lengths.System) limbPath {
	k := limbPath{limb: limb}
	for _, p := range paths {
		if q, ok := resampled(p, system); ok && p.Limb == limb {
			k.single = append(k.single, q)
		}
	}
	k.mean, k.low, k.high = meansOf(k.single, pathSamples)
	return k
}

// resampled returns a path at pathSamples shares of the swing, and whether most of it is
// there.
func resampled(p metrics.HoofPath, system lengths.System) (out []float64, ok bool) {
	if len(p.Progress) != len(p.Outward) || len(p.Progress) < 2 {
		return nil, false
	}
	seen := 0
	for _, share := range swingShares() {
		v := system.Of(interpolate(p.Progress, p.Outward, share/100), "cm")
		if finite(v) {
			seen++
		}
		out = append(out, v)
	}
	return out, seen > pathSamples/2
}

// draw draws the mean and its intervals.
func (k limbPath) draw(s sheet) {
	sty, shares := styleOf(k.limb.Side()), swingShares()
	s.line(sty.line(), k.mean, shares)
	for _, i := range []int{pathSamples / 4, pathSamples / 2, pathSamples * 3 / 4} {
		s.level(sty.whisker(), shares[i], k.low[i], k.high[i])
		s.mark(glyph(sty, false), k.mean[i], shares[i])
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
