package plots

import (
	"math"
	"math/rand/v2"
	"time"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// sampleRun is an invented trot toward the camera: short on the left fore,
// head high over the left fore, left fore landing wide.
func sampleRun() RunInput {
	rng := rand.New(rand.NewPCG(1, 2))
	noise := func(sd float64) float64 { return sd * rng.NormFloat64() }
	const period, speed, strides, fps = 0.74, 3.4, 7, 60.0 // 338 frames are 7.6 strides.
	run := &metrics.Run{
		View: traj.Toward, Gait: traj.Trot, Level: geometry.LevelMetric, Reference: traj.LeftFore,
		Line: &metrics.Line{X: 0.1, Y: 22, DX: -0.02, DY: -math.Sqrt(1 - 0.02*0.02)},
	}
	var in RunInput
	for i := range 338 {
		in.Times = append(in.Times, float64(i)/fps)
	}
	phases := map[traj.Landmark]float64{traj.LeftFore: 0.1, traj.RightFore: 0.61, traj.LeftHind: 0.62, traj.RightHind: 0.12}
	outward := map[traj.Landmark]float64{traj.LeftFore: 0.12, traj.RightFore: 0.07, traj.LeftHind: 0.09, traj.RightHind: 0.1}
	for k := range strides + 1 {
		if k < strides {
			run.Strides = append(run.Strides, metrics.Stride{Start: (float64(k) + 0.1) * period, End: (float64(k) + 1.1) * period})
		}
		for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
			on := (float64(k)+phases[l])*period + noise(0.004)
			c := metrics.Contact{Limb: l, On: on, Off: on + 0.4*period + noise(0.006), OnSD: 0.005, OffSD: 0.008, Placed: true}
			along := speed * on
			if l == traj.RightFore {
				along += 0.05
			}
			side := outward[l] + noise(0.012)
			if l.Side() == traj.Right {
				side = -side
			}
			// Left of the direction (DX, DY) is (−DY, DX).
			c.X = run.Line.X + along*run.Line.DX - side*run.Line.DY
			c.Y = run.Line.Y + along*run.Line.DY + side*run.Line.DX
			distance := c.Y
			c.XSD, c.YSD = 0.0006*distance, 0.0001*distance*distance+0.004
			if last := in.Times[len(in.Times)-1]; c.Off > last {
				c.Off, c.OffSD = last, -1
			}
			if c.On < c.Off {
				run.Contacts = append(run.Contacts, c)
			}
		}
	}
	for _, l := range []traj.Landmark{traj.Head, traj.Withers} {
		size := 1.0
		if l == traj.Withers {
			size = 0.35
		}
		s := metrics.Signal{Landmark: l, Unit: "mm"}
		for i, t := range in.Times {
			w := 2 * math.Pi * (t/period - 0.1)
			h := size * (28*math.Cos(2*(w+0.31)) + 13*math.Cos(w-1.26) + noise(2))
			if l == traj.Head && i > 150 && i < 158 {
				h = math.NaN()
			}
			s.Height, s.SD = append(s.Height, h), append(s.SD, 3)
		}
		run.Signals = append(run.Signals, s)
	}
	for range strides {
		for _, l := range []traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind} {
			arc := 2.0
			switch l {
			case traj.LeftFore:
				arc = 5.5
			case traj.LeftHind, traj.RightHind:
				arc = -1.5
			}
			p := metrics.HoofPath{Limb: l}
			da := noise(0.6)
			for i := range 30 {
				f := float64(i) / 29
				p.Progress = append(p.Progress, f)
				p.Outward = append(p.Outward, (arc+da)*math.Sin(math.Pi*f)+0.6*math.Sin(2*math.Pi*f))
			}
			run.Paths = append(run.Paths, p)
		}
	}
	fore := metrics.Series{Name: metrics.StepLengthFore, Unit: "m"}
	hind := metrics.Series{Name: metrics.StepLengthHind, Unit: "m"}
	for k := range strides {
		l, r := 1.19+noise(0.015), 1.29+noise(0.015)
		if k == 4 {
			l = math.NaN()
		}
		fore.Observations = append(fore.Observations, metrics.Observation{Stride: k, Left: l, Right: r, Value: r - l, SD: 0.012})
		l, r = 1.235+noise(0.02), 1.24+noise(0.02)
		hind.Observations = append(hind.Observations, metrics.Observation{Stride: k, Left: l, Right: r, Value: r - l, SD: 0.014})
	}
	run.Series = []metrics.Series{fore, hind}
	in.Run = run
	s := sampleSummary(1)
	in.Summary = &s
	return in
}

func est(v, half float64) *metrics.Estimate {
	return &metrics.Estimate{Value: v, Low: v - half, High: v + half, SE: half / 1.96}
}

// sampleSummary is an invented visit; severity 0 is even, 1 clearly uneven.
func sampleSummary(severity float64) metrics.Summary {
	return metrics.Summary{
		Gait: traj.Trot, Views: []traj.View{traj.Toward}, Levels: []geometry.Level{geometry.LevelMetric}, Runs: 2, Strides: 14,
		Results: []metrics.Result{
			{Name: metrics.StepLengthFore, Unit: "m", Strides: 14, Runs: 2, Left: est(1.29-0.1*severity, 0.02), Right: est(1.29, 0.018),
				Value: est(0.1*severity, 0.022), SymmetryIndex: est(8*severity, 1.7), Tolerance: 0.04, Beyond: severity > 0.5},
			{Name: metrics.StepTimingFore, Unit: "%", Strides: 14, Runs: 2, Value: est(50+1.1*severity, 0.5), Tolerance: 1},
			{Name: metrics.HeadLowDifference, Unit: "mm", Strides: 14, Runs: 2, Value: est(-26*severity, 7), Tolerance: 13, Beyond: severity > 0.5},
			{Name: metrics.HeadHighDifference, Unit: "mm", Strides: 14, Runs: 2, Value: est(-9*severity, 8), Tolerance: 12},
			{Name: metrics.WithersLowDifference, Unit: "mm", Strides: 14, Runs: 2, Value: est(-4*severity, 2.5), Tolerance: 4},
			{Name: metrics.LateralArcFore, Unit: "cm", Strides: 14, Runs: 2, Left: est(2+5*severity, 1.2), Right: est(2, 1.1), Value: est(-5*severity, 1.6), Tolerance: 3},
			{Name: metrics.BaseWidthFore, Unit: "cm", Strides: 14, Runs: 2, Value: est(19, 1.2), Tolerance: 4},
			{Name: metrics.BaseWidthHind, Unit: "cm", Strides: 14, Runs: 2, Value: est(19, 1.4), Tolerance: 4},
			{Name: metrics.QuartersToSide, Unit: "cm", Strides: 14, Runs: 2, Value: est(3*severity, 2), Tolerance: 3},
		},
		Score: &metrics.Score{
			Estimate: metrics.Estimate{Value: 0.3 + 1.4*severity, Low: 0.1 + 1.1*severity, High: 0.7 + 1.4*severity},
			Components: []metrics.Component{
				{Name: metrics.HeadLowDifference, Weight: 0.28, Ratio: -2 * severity, Part: 1.1 * severity, Side: traj.Left},
				{Name: metrics.HeadHighDifference, Weight: 0.2, Ratio: -0.75 * severity, Part: 0.1 * severity, Side: traj.Left},
				{Name: metrics.StepLengthFore, Weight: 0.28, Ratio: 2.5 * severity, Part: 1.6 * severity, Side: traj.Left},
				{Name: metrics.StepTimingFore, Weight: 0.14, Ratio: 1.1 * severity, Part: 0.12 * severity},
				{Name: metrics.WithersLowDifference, Weight: 0.1, Ratio: -1.7 * severity, Part: 0.2 * severity, Side: traj.Left},
			},
			Missing: []metrics.Name{metrics.CroupLowDifference, metrics.HipExcursion},
			Strides: 14, Runs: 2,
		},
	}
}

func sampleComparison() *metrics.Comparison {
	before, after := sampleSummary(1), sampleSummary(0.2)
	c := &metrics.Comparison{Before: before, After: after, Verdict: metrics.Improved, Sentence: "Improved."}
	for i, b := range before.Results {
		a := after.Results[i]
		ch := metrics.Change{Name: b.Name, Unit: b.Unit, Before: b.Value, After: a.Value, Verdict: metrics.NoChange, Smallest: 1.4 * b.Tolerance}
		ch.Change = est(a.Value.Value-b.Value.Value, 1.4*(b.Value.High-b.Value.Value))
		ch.Judged = ch.Change
		if math.Abs(ch.Change.Value) > ch.Smallest {
			ch.Verdict = metrics.Improved
		}
		ch.Followed = b.Name == metrics.StepLengthFore
		c.Changes = append(c.Changes, ch)
	}
	c.Score = &metrics.Change{Before: &before.Score.Estimate, After: &after.Score.Estimate, Change: est(-1.1, 0.4), Judged: est(-1.1, 0.4), Smallest: 0.8, Verdict: metrics.Improved}
	return c
}

func sampleHistory() []HistoryPoint {
	date := func(m time.Month, d int) time.Time { return time.Date(2026, m, d, 0, 0, 0, 0, time.UTC) }
	at := func(v float64) *metrics.Summary { s := sampleSummary(v); return &s }
	return []HistoryPoint{
		{Date: date(3, 30), Summary: at(0.2), Soreness: []Soreness{{Region: "left shoulder", Grade: 0}, {Region: "left forearm", Grade: 1}}, Treatments: []string{"check only"}},
		{Date: date(3, 2), Summary: at(1), Soreness: []Soreness{{Region: "left shoulder", Grade: 3}, {Region: "left forearm", Grade: 2}, {Region: "back, right of the saddle", Grade: 1}}, Treatments: []string{"massage, left shoulder", "ten days light work"}},
		{Date: date(3, 12), Soreness: []Soreness{{Region: "left shoulder", Grade: 2}}, Treatments: []string{"massage, left shoulder"}},
		{Date: date(3, 20), Summary: at(0.6), Soreness: []Soreness{{Region: "left shoulder", Grade: 1.5}, {Region: "left forearm", Grade: 1}}, Treatments: []string{"massage, left shoulder"}},
	}
}
