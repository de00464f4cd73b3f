package markpage

import (
	"fmt"
	"math"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
)

// How far the grid reaches, metres, how many lines lie to either side of its middle one,
// and how finely they are drawn, metres.
const (
	gridReach = 40.0
	gridSide  = 3.0
	gridStep  = 0.25
)

// grid draws the calibrated lane: a line along it and across it every metre, or every three
// feet, and posts as high as a horse's withers, so that a person sees at a glance whether
// the calibration lies on the ground. At LevelRatio the unit is the camera's
// height instead of a metre.
func grid(c *geometry.Calibration, width, height int, withersM float64, read lengths.System) gridAnswer {
	out := gridAnswer{Level: c.Level, Lines: []gridLine{}, Labels: []gridLabel{}, Notes: append([]string{}, c.Notes...)}
	if c.Level == geometry.LevelNone {
		return out
	}
	out.HorizonPX = c.Camera.HorizonRow()
	unit, each, step := "m", 1, 1.0
	reach := gridReach
	switch c.Level {
	case geometry.LevelRatio:
		unit, reach = "× camera height", gridReach/1.2
	default:
		if read == lengths.Inches {
			unit, each, step = read.Unit("m"), 3, 3/read.Of(1, "m")
		}
		out.HeightM, out.FocalPX, out.ResidualPX = c.HeightM(), c.Camera.F, c.ResidualPX
	}
	trace := func(kind string, at func(s float64) (x, y, z float64), from, to float64) {
		for _, points := range traced(c.Camera, width, height, at, from, to) {
			out.Lines = append(out.Lines, gridLine{kind, points})
		}
	}
	side := gridSide * step
	for i := -gridSide; i <= gridSide; i++ {
		trace("along", func(s float64) (float64, float64, float64) { return i * step, s, 0 }, step, reach)
	}
	for n := 1; float64(n)*step <= reach; n++ {
		if n > 20 && n%5 != 0 {
			continue // Farther lines would run into each other.
		}
		trace("across", func(s float64) (float64, float64, float64) { return s, float64(n) * step, 0 }, -side, side)
	}
	if withersM == 0 {
		withersM = 1.6
	}
	for _, n := range []int{5, 10, 15, 20, 30} {
		y := float64(n) * step
		if y > reach {
			break
		}
		if p, ok := c.Camera.Project(side, y, 0); ok && p.X > 0 && p.X < float64(width) && p.Y > 0 && p.Y < float64(height) {
			out.Labels = append(out.Labels, gridLabel{geometry.Point{X: hundredth(p.X), Y: hundredth(p.Y)}, fmt.Sprintf("%d %s", n*each, unit)})
		}
		if c.Level != geometry.LevelRatio {
			// Beside the middle, where they do not hide behind each other or the horse.
			trace("post", func(s float64) (float64, float64, float64) { return -side / 2, y, s }, 0, withersM)
		}
	}
	return out
}

// traced returns the pieces of a line in the lane, from to to on it, that lie in the picture
// or not far beside it.
func traced(cam geometry.Camera, width, height int, at func(s float64) (x, y, z float64), from, to float64) (pieces [][]geometry.Point) {
	w, h := float64(width), float64(height)
	var points []geometry.Point
	flush := func() {
		if len(points) > 1 {
			pieces = append(pieces, points)
		}
		points = nil
	}
	n := int(math.Ceil((to - from) / gridStep))
	for i := 0; i <= n; i++ {
		x, y, z := at(from + (to-from)*float64(i)/float64(n))
		p, ok := cam.Project(x, y, z)
		if !ok || !(p.X > -w && p.X < 2*w && p.Y > -h && p.Y < 2*h) {
			flush()
			continue
		}
		points = append(points, geometry.Point{X: hundredth(p.X), Y: hundredth(p.Y)})
	}
	flush()
	return pieces
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }
