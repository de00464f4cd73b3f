package plots

import (
	"fmt"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

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
			x.add(c.On, c.Off, c.On-whisker(c.OnSD), c.Off+whisker(c.OffSD))
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
	if w := whisker(c.OnSD); w > 0 {
		s.level(ink, at, c.On-w, c.On+w)
	}
	if w := whisker(c.OffSD); w > 0 {
		s.level(ink, at, c.Off-w, c.Off+w)
	}
}

// whisker returns how far the 95 % interval of an instant reaches to each side, s; 0 where the
// instant was not timed.
func whisker(sd float64) float64 { return 1.96 * max(0, sd) }

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
