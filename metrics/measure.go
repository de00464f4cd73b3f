package metrics

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// Options tells Measure what the tracks cannot.
type Options struct {
	View traj.View // Required.
	Gait traj.Gait // Required.
	// Calibration as a person gave it, in the picture of its own frame; the zero
	// value means geometry.LevelNone.
	Calibration geometry.CalibrationInput
	// WithersM is the horse's height at the withers, metres; 0 means 1.60. Only the
	// places of head and croup ahead of and behind the limbs follow from it, and
	// from those nothing but the scale of their movement by some percent.
	WithersM float64
	// Model is what is taken as known beforehand; the zero value means errormodel.Usual.
	Model errormodel.Model
	// Reference is the limb whose hoof-on starts a stride; empty means the one that cuts the
	// most strides, and of several the first of left fore, right fore, left hind, right hind.
	Reference traj.Landmark
}

// limbs is the order in which arrays over limbs are indexed.
var limbs = contact.Limbs

// analysis is one clip as its measures are taken from: what was asked, the tracks, the
// camera and the timeline.
type analysis struct {
	*contact.Timeline
	opts  Options
	model errormodel.Model // As given, but for what the clip says.
	set   *traj.Set        // Stabilised.
	cal   *geometry.Calibration
	notes []string
}

// spatial is what one camera makes of the stances and tracks.
type spatial struct {
	*analysis
	cam               geometry.Camera
	found             findings
	placed            [4][]placement
	fit               *runFit // Nil where the placements are too few for a model of the run.
	signals           []Signal
	paths             []HoofPath
	nearest, farthest float64
	borrowed          bool // Croup or head were timed by the paired limb.
	wild              int  // Placements that cannot be this horse's.
}

// Measure turns the tracks of one clip into contacts, strides and measures. It
// stabilises the tracks itself. An error means that the input is wrong; what
// the clip does not support is no error but a Reason in its series.
func Measure(set *traj.Set, opts Options) (*Run, error) {
	a, err := analyse(set, opts)
	if err != nil {
		return nil, fmt.Errorf("measure: %w", err)
	}
	s := a.measureSpace(a.cal.Camera, nil)
	s.measureTimes()
	s.addCommon()
	s.remarkOnTimes()
	s.remarkOnPlaces()
	return s.run(), nil
}

// analyse checks what Measure was given, finds the camera and lays out the timeline.
func analyse(set *traj.Set, opts Options) (*analysis, error) {
	if err := checkSet(set); err != nil {
		return nil, err
	}
	if err := opts.check(); err != nil {
		return nil, err
	}
	in, err := inReference(set, opts.Calibration)
	if err != nil {
		return nil, err
	}
	model := opts.Model.OrUsual()
	if set.ClickPX > 0 {
		// The clip's own marks tell how its person clicks.
		high := float64(min(set.Width, set.Height)) / 1080
		model.Click.PriorPX, model.Camera.ClickPX = set.ClickPX/high, set.ClickPX/high
	}
	if set.Slower > 1 {
		model.Contact = model.Contact.Slowed(set.Slower)
	}
	cal, err := geometry.Calibrate(in, set.Width, set.Height, model.Camera)
	if err != nil {
		return nil, err
	}
	opts.WithersM = cmp.Or(opts.WithersM, 1.60)
	a := &analysis{opts: opts, model: model, set: set.Stabilised(), cal: cal, notes: slices.Clone(cal.Notes)}
	if opts.View != traj.Away {
		model.Contact.BehindS = 0
	}
	a.Timeline = contact.Find(a.set, opts.Gait, opts.Reference, model.Contact)
	return a, nil
}

// run puts together what was found.
func (s *spatial) run() *Run {
	run := &Run{View: s.opts.View, Gait: s.opts.Gait, Level: s.cal.Level, Strides: s.Strides,
		Signals: s.signals, Paths: s.paths, Contacts: s.contacts(), Notes: s.notes}
	if s.fit != nil {
		run.Line = &s.fit.line
	}
	if s.Ref >= 0 {
		run.Reference = limbs[s.Ref]
	}
	if s.cal.Level.AtLeast(geometry.LevelHeight) {
		run.FocalPX, run.CameraHeightM = s.cal.Camera.F, s.cal.HeightM()
		if s.nearest <= s.farthest {
			run.NearestM, run.FarthestM = s.nearest, s.farthest
		}
	}
	for _, d := range definitions {
		m := *s.found.series(d.Name)
		m.Unit = d.Unit
		if s.share() && d.RatioUnit != "" {
			m.Unit = d.RatioUnit
		}
		if len(m.Observations) == 0 {
			m = Series{Name: d.Name, Unit: m.Unit, Reason: s.reason(d)}
		}
		run.Series = append(run.Series, m)
	}
	return run
}

// addCommon sets the part of each measure's error that comes from the
// calibration, by measuring again with every camera one standard deviation
// away.
func (s *spatial) addCommon() {
	variants := s.cal.Variants()
	spaces := make([]*spatial, len(variants))
	// Each keeps to what is its own, so that neither their order nor the number of
	// processors changes a result.
	var all sync.WaitGroup
	for i, cam := range variants {
		all.Go(func() { spaces[i] = s.measureSpace(cam, s) })
	}
	all.Wait()
	for i := 0; i+1 < len(variants); i += 2 {
		for _, d := range definitions {
			// The model of the run holds the calibration's error; spreads scale with the lane by
			// the same share of themselves, which is nothing to speak of.
			m := s.found[d.Name]
			v := (spaces[i].found.mean(d.Name) - spaces[i+1].found.mean(d.Name)) / 2
			if m != nil && m.OfRun == nil && !d.PerRun && signal.Finite(v) {
				m.addCommon(v, 0)
			}
		}
	}
	if s.cal.Level.AtLeast(geometry.LevelHeight) {
		s.addFollowing()
	}
}

// addFollowing adds by how much marks of the body may be followed wrongly in all strides
// alike. What is in millimetres is as wrong as its mark.
func (s *spatial) addFollowing() {
	model := s.model.Body
	for _, d := range definitions {
		if d.Unit != "mm" {
			continue
		}
		sd := model.FollowedMM
		if s.opts.View == traj.Away || d.from[0] == traj.Withers {
			sd = model.OutlineMM // From behind the head lies before what is beyond it, too.
		}
		s.found[d.Name].addCommon(sd, sd)
	}
	s.found[HipExcursion].addCommon(model.HipApartMM, model.HipMM)
	for _, name := range []Name{ChestSway, CroupSway, HeadSway} {
		s.found[name].addCommon(0, model.SwayMM)
	}
	for _, name := range []Name{ShoulderExcursion, ShoulderLift} {
		s.found[name].addCommon(math.Sqrt2*model.ShoulderMM, model.ShoulderMM)
	}
	if s.found[HeadFirstHarmonic] != nil {
		first, second := s.found.mean(HeadFirstHarmonic), s.found.mean(HeadSecondHarmonic)
		s.found[HeadHarmonicShare].addCommon(100*model.FollowedMM*math.Hypot(first, second)/sq(first+second), 0)
	}
}

// findings are the measures found so far. They are looked up by name and never
// ranged over where the order could show.
type findings map[Name]*Series

func (f findings) series(n Name) *Series {
	if f[n] == nil {
		f[n] = &Series{Name: n}
	}
	return f[n]
}

// addCommon adds independent errors to what all observations share: of the value, and of a
// side, one standard deviation each. Nothing was found: nothing is added.
func (s *Series) addCommon(value, side float64) {
	if s != nil {
		s.CommonSD, s.SideCommonSD = math.Hypot(s.CommonSD, value), math.Hypot(s.SideCommonSD, side)
	}
}

// setMean sets the mean of measure n, which has no sides: of the run and of the horse alike.
func (f findings) setMean(n Name, value, se float64) {
	m := &Mean{Value: value, SE: se}
	f[n].OfRun, f[n].OfHorse = m, m
}

// mean returns the mean of the values of measure n that are there.
func (f findings) mean(n Name) float64 {
	m := f[n]
	if m == nil {
		return math.NaN()
	}
	var sum, count float64
	for _, o := range m.Observations {
		if !math.IsNaN(o.Value) {
			sum += o.Value
			count++
		}
	}
	return sum / count
}

// notSeen stands for value and standard deviation of a side that was not seen; neither
// for both sides.
var (
	notSeen = [2]float64{math.NaN(), math.NaN()}
	neither = [2][2]float64{notSeen, notSeen}
)

func sq(x float64) float64 { return x * x }

// put adds the value of a measure without sides in stride i, and its standard deviation.
func (s *spatial) put(n Name, i int, value, sd float64) {
	s.observe(n, i, math.NaN(), math.NaN(), value, sd)
}

// putSides adds a measure with sides in stride i unless neither was seen. Index of v: side
// (0 left), then value and spread. Where one side alone was seen, SD is that of a
// difference of two such sides.
func (s *spatial) putSides(n Name, i int, v [2][2]float64) {
	left, right, sd := v[0][0], v[1][0], math.Hypot(v[0][1], v[1][1])
	switch {
	case math.IsNaN(left) && math.IsNaN(right):
		return
	case math.IsNaN(left):
		sd = math.Sqrt2 * v[1][1]
	case math.IsNaN(right):
		sd = math.Sqrt2 * v[0][1]
	}
	s.observe(n, i, left, right, right-left, sd)
}

func (s *spatial) observe(n Name, i int, left, right, value, sd float64) {
	m := s.found.series(n)
	m.Observations = append(m.Observations, Observation{i, s.Strides[i].Start, left, right, value, sd})
}
