package metrics

import (
	"cmp"
	"math"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/stats"
	"jogstrip/track/errormodel"
)

// SetUp is how runs are filmed and marked. The zero value of a field means the film
// guide's: the phone 2 m high, seven strides down to 5 m, each hoof marked at 5.5, 8,
// 10.5 and 16 m.
type SetUp struct {
	CameraHeightM float64
	FocalPX       float64 // At a picture 1920 px wide; 0 means 1500.
	NearestM      float64 // Of the last stance.
	Strides       int
	MarkedM       []float64 // Distances at which each hoof is marked.
	ClickPX       float64   // How far clicks are off, px, one standard deviation; 0 means the error model's prior.
}

func (s SetUp) orGuide() SetUp {
	s.CameraHeightM, s.FocalPX, s.NearestM = cmp.Or(s.CameraHeightM, 2), cmp.Or(s.FocalPX, 1500), cmp.Or(s.NearestM, 5)
	s.Strides = cmp.Or(s.Strides, 7)
	if s.MarkedM == nil {
		s.MarkedM = []float64{5.5, 8, 10.5, 16}
	}
	return s
}

// StepSE returns the standard error of a run's difference between the fores' steps in
// this set-up, metres, as the model of a run gives it at the spreads usual beforehand:
// of the run's own strides, and of the horse.
func (s SetUp) StepSE() (run, horse float64) {
	s = s.orGuide()
	down := math.Atan2(s.CameraHeightM, 8)
	cam := geometry.LevelCamera(s.FocalPX, 959.5, 539.5, s.CameraHeightM, geometry.Point{X: 959.5, Y: 539.5 - s.FocalPX*math.Tan(down)})
	var falls []footfall
	var marks clicked
	const stride, track = 2.5, 0.15
	for k := range 2 {
		for _, d := range s.MarkedM {
			marks.per[k] = append(marks.per[k], s.FocalPX/d)
		}
		for i := range s.Strides {
			beat := float64(i) + float64(k)/2
			at, _ := cam.Project(0.1-0.2*float64(k), s.NearestM+stride*(float64(s.Strides)-0.5-beat), 0)
			falls = append(falls, footfall{k, beat, at, [2]float64{track, track}})
		}
	}
	prior := errormodel.Usual()
	f := &runFit{falls: falls, click: cmp.Or(s.ClickPX, prior.Click.PriorPX), unit: 1, prior: prior}
	if !f.start(cam, nil, true, marks) {
		return math.Inf(1), math.Inf(1)
	}
	t := func(who whose) float64 {
		t := f.target()
		f.meanOf(&t, 1, 0, 2, who)
		f.meanOf(&t, 0, 0, -2, who)
		_, sd := f.predict(t)
		return sd
	}
	return t(ofRun), t(ofHorse)
}

// SmallestStep returns the smallest difference between the fores' steps, metres, that n
// runs in this set-up show in four visits of five: one whose 95 % interval then excludes
// even. It rests on the default table's variation from run to run.
func (s SetUp) SmallestStep(runs int) float64 {
	row, _ := defaultTable().Lookup(StepLengthFore)
	_, measured := s.StepSE()
	return bisect(0, 1, func(difference float64) float64 { return chanceToSee(row, difference, runs, measured) - adviceChance })
}

// chanceToSee returns the chance that the 95 % interval of so many runs excludes even
// where the true difference is as given and one run's mean is measured to within
// measured, one standard error. How runs differ is known as the table knows it.
func chanceToSee(row Tolerance, difference float64, runs int, measured float64) float64 {
	runSD, df := row.runSD()
	se := math.Sqrt((sq(runSD) + sq(measured)) / float64(runs))
	half := stats.TQuantile(0.975, df+float64(runs-1)) * se
	return stats.NormalCDF((math.Abs(difference)-half)/se) + stats.NormalCDF((-math.Abs(difference)-half)/se)
}
