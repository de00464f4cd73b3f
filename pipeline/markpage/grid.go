package markpage

import (
	"fmt"
	"math"

	"jogstrip/metrics/geometry"
)

// How far the grid reaches, metres, and how finely its lines are drawn.
const (
	gridReach = 40.0
	gridSide  = 3.0
	gridStep  = 0.25
)

// grid draws the calibrated lane: a line along it and across it every metre and
// posts as high as a horse's withers, so that a person sees at a glance whether
// the calibration lies on the ground. At LevelRatio the unit is the camera's
// height instead of a metre.
func grid(c *geometry.Calibration, width, height int, withersM float64) gridAnswer {
	out := gridAnswer{Level: c.Level, Lines: []gridLine{}, Labels: []gridLabel{}, Notes: append([]string{}, c.Notes...)}
	if c.Level == geometry.LevelNone {
		return out
	}
	out.HorizonPX = c.Camera.HorizonRow()
	unit := "m"
	reach := gridReach
	switch c.Level {
	case geometry.LevelRatio:
		unit, reach = "× camera height", gridReach/1.2
	default:
		out.HeightM, out.FocalPX, out.ResidualPX = c.HeightM(), c.Camera.F, c.ResidualPX
	}
	visible := func(p geometry.Point) bool {
		return p.X > -float64(width) && p.X < 2*float64(width) && p.Y > -float64(height) && p.Y < 2*float64(height)
	}
	trace := func(kind string, at func(s float64) (x, y, z float64), from, to float64) {
		var points []geometry.Point
		flush := func() {
			if len(points) > 1 {
				out.Lines = append(out.Lines, gridLine{kind, points})
			}
			points = nil
		}
		n := int(math.Ceil((to - from) / gridStep))
		for i := 0; i <= n; i++ {
			x, y, z := at(from + (to-from)*float64(i)/float64(n))
			p, ok := c.Camera.Project(x, y, z)
			if !ok || !visible(p) {
				flush()
				continue
			}
			points = append(points, geometry.Point{X: hundredth(p.X), Y: hundredth(p.Y)})
		}
		flush()
	}
	for x := -gridSide; x <= gridSide; x++ {
		trace("along", func(s float64) (float64, float64, float64) { return x, s, 0 }, 1, reach)
	}
	for y := 1.0; y <= reach; y++ {
		if y > 20 && math.Mod(y, 5) != 0 {
			continue // Farther lines would run into each other.
		}
		trace("across", func(s float64) (float64, float64, float64) { return s, y, 0 }, -gridSide, gridSide)
	}
	if withersM == 0 {
		withersM = 1.6
	}
	for _, y := range []float64{5, 10, 15, 20, 30} {
		if y > reach {
			break
		}
		if p, ok := c.Camera.Project(gridSide, y, 0); ok && p.X > 0 && p.X < float64(width) && p.Y > 0 && p.Y < float64(height) {
			out.Labels = append(out.Labels, gridLabel{geometry.Point{X: hundredth(p.X), Y: hundredth(p.Y)}, fmt.Sprintf("%g %s", y, unit)})
		}
		if c.Level != geometry.LevelRatio {
			// Beside the middle, where they do not hide behind each other or the horse.
			trace("post", func(s float64) (float64, float64, float64) { return -gridSide / 2, y, s }, 0, withersM)
		}
	}
	return out
}

func hundredth(v float64) float64 { return math.Round(v*100) / 100 }
