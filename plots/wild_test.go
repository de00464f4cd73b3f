package plots

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot"
	"pgregory.net/rapid"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// wild draws any number a measure may hold, and those it should not.
func wild() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Float64Range(-100, 100),
		rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), math.Inf(-1), 1e-9, 1e9}),
	)
}

func wildEstimate(t *rapid.T) *metrics.Estimate {
	if rapid.Bool().Draw(t, "absent") {
		return nil
	}
	return &metrics.Estimate{Value: wild().Draw(t, "value"), Low: wild().Draw(t, "low"), High: wild().Draw(t, "high")}
}

// TestWildMeasures checks that no measure, however broken, makes a figure
// panic or writes a number that is none into a picture.
func TestWildMeasures(t *testing.T) {
	names := []metrics.Name{metrics.StepLengthFore, metrics.StepLengthHind, metrics.HeadLowDifference, metrics.BaseWidthFore, metrics.LateralArcFore, metrics.Speed, "unheard_of"}
	rapid.Check(t, func(t *rapid.T) {
		run := &metrics.Run{
			View:  rapid.SampledFrom([]traj.View{traj.Toward, traj.Away}).Draw(t, "view"),
			Gait:  rapid.SampledFrom([]traj.Gait{traj.Walk, traj.Trot, traj.Pace}).Draw(t, "gait"),
			Level: rapid.SampledFrom([]geometry.Level{geometry.LevelMetric, geometry.LevelRatio, geometry.LevelNone}).Draw(t, "level"),
		}
		if rapid.Bool().Draw(t, "line") {
			run.Line = &metrics.Line{DX: 0.1, DY: -0.99}
		}
		for range rapid.IntRange(0, 12).Draw(t, "contacts") {
			run.Contacts = append(run.Contacts, metrics.Contact{
				Limb: rapid.SampledFrom(traj.Landmarks()[:4]).Draw(t, "limb"),
				On:   wild().Draw(t, "on"), Off: wild().Draw(t, "off"), OnSD: wild().Draw(t, "sd"), OffSD: wild().Draw(t, "sd"),
				X: wild().Draw(t, "x"), Y: wild().Draw(t, "y"), XSD: wild().Draw(t, "sd"), YSD: wild().Draw(t, "sd"), Placed: true,
			})
		}
		in := RunInput{Run: run}
		signal := metrics.Signal{Landmark: traj.Head, Unit: "mm"}
		for i := range 40 {
			in.Times = append(in.Times, float64(i)/10)
			signal.Height = append(signal.Height, wild().Draw(t, "height"))
		}
		run.Signals = []metrics.Signal{signal}
		path := metrics.HoofPath{Limb: traj.LeftFore}
		for i := range 6 {
			path.Progress = append(path.Progress, float64(i)/5)
			path.Outward = append(path.Outward, wild().Draw(t, "out"))
		}
		run.Paths = []metrics.HoofPath{path}
		series := metrics.Series{Name: metrics.StepLengthFore, Unit: "m"}
		for i := range rapid.IntRange(0, 5).Draw(t, "strides") {
			series.Observations = append(series.Observations, metrics.Observation{Stride: i, Left: wild().Draw(t, "left"), Right: wild().Draw(t, "right")})
		}
		run.Series = []metrics.Series{series}

		var before, after metrics.Summary
		var c metrics.Comparison
		for _, s := range []*metrics.Summary{&before, &after} {
			s.Score = &metrics.Score{Estimate: metrics.Estimate{Value: wild().Draw(t, "score"), Low: wild().Draw(t, "low"), High: wild().Draw(t, "high")}}
			for _, n := range names {
				s.Results = append(s.Results, metrics.Result{Name: n, Unit: "m", Left: wildEstimate(t), Right: wildEstimate(t), Value: wildEstimate(t), Tolerance: wild().Draw(t, "tolerance")})
				s.Score.Components = append(s.Score.Components, metrics.Component{Name: n, Ratio: wild().Draw(t, "ratio"), Weight: 0.2, Part: wild().Draw(t, "part")})
			}
		}
		c.Before, c.After = before, after
		for _, n := range names {
			change := wildEstimate(t)
			c.Changes = append(c.Changes, metrics.Change{Name: n, Unit: "m", Before: wildEstimate(t), After: wildEstimate(t), Change: change, Judged: change, Smallest: wild().Draw(t, "smallest")})
		}
		in.Summary = &before

		outcomes, err := RunFigures(in)
		if err != nil {
			t.Fatal(err)
		}
		more, err := ComparisonFigures(&c, names...)
		if err != nil {
			t.Fatal(err)
		}
		h, err := History([]HistoryPoint{
			{Date: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC), Summary: &before, Soreness: []Soreness{{"back", wild().Draw(t, "grade"), 0}}},
			{Date: time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC), Summary: &after},
		}, HistoryOptions{Followed: names})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range append(append(outcomes, more...), Outcome{Figure: h}) {
			if o.Figure == nil {
				if o.Reason == "" {
					t.Fatalf("%s has neither figure nor reason", o.Name)
				}
				continue
			}
			var b bytes.Buffer
			if err := o.Figure.SVG(&b); err != nil {
				t.Fatal(err)
			}
			for _, never := range []string{"NaN", "Inf", "%!"} {
				if strings.Contains(b.String(), never) {
					t.Fatalf("%s holds %s:\n%s", o.Figure.Name, never, b.String())
				}
			}
		}
	})
}

// A measure that differs from zero by rounding alone does not blow up its axis.
func TestAxisOfRounding(t *testing.T) {
	for _, tiny := range []float64{2e-91, 1e-13} {
		e := newExtent()
		e.add(0, tiny)
		var a plot.Axis
		e.set(&a, 0.1)
		if size := a.Max - a.Min; size < 1e-4 {
			t.Errorf("an extent of %g gives an axis from %g to %g", tiny, a.Min, a.Max)
		}
	}
}
