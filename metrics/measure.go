package metrics

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
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
	// Reference is the limb whose hoof-on starts a stride; empty means the left fore,
	// or what comes next of right fore, left hind, right hind that gives strides.
	Reference traj.Landmark
}

// Measure turns the tracks of one clip into contacts, strides and measures. It
// stabilises the tracks itself. An error means that the input is wrong; what
// the clip does not support is no error but a Reason in its series.
func Measure(set *traj.Set, opts Options) (*Run, error) {
	a, err := analyse(set, opts)
	if err != nil {
		return nil, fmt.Errorf("measure: %w", err)
	}
	found := a.measureTimes()
	space := a.measureSpace(a.cal.Camera, nil)
	maps.Copy(found, space.found)
	a.addCommon(found, space)
	a.remarkOnTimes()
	a.remarkOnPlaces(space)
	return a.run(found, space), nil
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
	opts.Model = opts.Model.OrUsual()
	if set.ClickPX > 0 {
		// The clip's own marks tell how its person clicks.
		high := float64(min(set.Width, set.Height)) / 1080
		opts.Model.Click.PriorPX, opts.Model.Camera.ClickPX = set.ClickPX/high, set.ClickPX/high
	}
	if set.Slower > 1 {
		opts.Model.Contact = opts.Model.Contact.Slowed(set.Slower)
	}
	cal, err := geometry.Calibrate(in, set.Width, set.Height, opts.Model.Camera)
	if err != nil {
		return nil, err
	}
	opts.WithersM = cmp.Or(opts.WithersM, 1.60)
	a := &analysis{opts: opts, set: set.Stabilised(), cal: cal, notes: slices.Clone(cal.Notes)}
	known := opts.Model.Contact
	if opts.View != traj.Away {
		known.BehindS = 0
	}
	a.Timeline = contact.Find(a.set, opts.Gait, opts.Reference, known)
	return a, nil
}

// run puts together what was found.
func (a *analysis) run(found findings, space *spatial) *Run {
	run := &Run{View: a.opts.View, Gait: a.opts.Gait, Level: a.cal.Level, Strides: a.Strides, Line: space.line(),
		Signals: space.signals, Paths: space.paths, Contacts: a.contacts(space), Notes: a.notes}
	if a.Ref >= 0 {
		run.Reference = limbs[a.Ref]
	}
	if a.cal.Level.AtLeast(geometry.LevelHeight) {
		run.FocalPX, run.CameraHeightM = a.cal.Camera.F, a.cal.HeightM()
		if space.nearest <= space.farthest {
			run.NearestM, run.FarthestM = space.nearest, space.farthest
		}
	}
	for _, d := range definitions {
		s := *found.series(d.Name)
		s.Unit = d.Unit
		if a.cal.Level == geometry.LevelRatio && d.RatioUnit != "" {
			s.Unit = d.RatioUnit
		}
		if len(s.Observations) == 0 {
			s = Series{Name: d.Name, Unit: s.Unit, Reason: a.reason(d)}
		}
		run.Series = append(run.Series, s)
	}
	return run
}

// addCommon sets the part of each measure's error that comes from the
// calibration, by measuring again with every camera one standard deviation
// away.
func (a *analysis) addCommon(found findings, space *spatial) {
	variants := a.cal.Variants()
	spaces := make([]*spatial, len(variants))
	together(len(variants), func(i int) { spaces[i] = a.measureSpace(variants[i], space) })
	for i := 0; i+1 < len(variants); i += 2 {
		plus, minus := spaces[i], spaces[i+1]
		for _, d := range definitions {
			// The model of the run holds the calibration's error; spreads scale with the lane by
			// the same share of themselves, which is nothing to speak of.
			if m := space.found[d.Name]; m == nil || m.OfRun != nil || d.PerRun {
				continue
			}
			v := (plus.found.mean(d.Name) - minus.found.mean(d.Name)) / 2
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				found[d.Name].addCommon(v, 0)
			}
		}
	}
	if a.cal.Level.AtLeast(geometry.LevelHeight) {
		a.addFollowing(found)
	}
}

// addFollowing adds by how much marks of the body may be followed wrongly in all strides
// alike. What is in millimetres is as wrong as its mark.
func (a *analysis) addFollowing(found findings) {
	model := a.opts.Model.Body
	for _, d := range definitions {
		if d.Unit != "mm" {
			continue
		}
		sd := model.FollowedMM
		switch d.from[0] {
		case traj.Withers, traj.Croup, traj.LeftHip:
			sd = model.OutlineMM
		}
		found[d.Name].addCommon(sd, sd)
	}
	found[HipExcursion].addCommon(model.HipApartMM, model.HipMM)
	found[ShoulderLift].addCommon(math.Sqrt2*model.ShoulderMM, model.ShoulderMM)
	if found[HeadFirstHarmonic] != nil {
		first, second := found.mean(HeadFirstHarmonic), found.mean(HeadSecondHarmonic)
		found[HeadHarmonicShare].addCommon(100*model.FollowedMM*math.Hypot(first, second)/sq(first+second), 0)
	}
}

func (o Options) check() error {
	switch {
	case !o.View.Valid():
		return fmt.Errorf("view %q is not %q or %q", o.View, traj.Toward, traj.Away)
	case !o.Gait.Valid():
		return fmt.Errorf("gait %q is not %q, %q or %q", o.Gait, traj.Walk, traj.Trot, traj.Pace)
	case o.WithersM != 0 && !(o.WithersM > 0.4 && o.WithersM < 2.5):
		return fmt.Errorf("height at the withers is %g m; it must lie between 0.4 and 2.5", o.WithersM)
	case o.Reference != "" && !o.Reference.IsHoof():
		return fmt.Errorf("reference %q is not a hoof", o.Reference)
	}
	return nil
}

// checkSet refuses tracks that do not keep the promises of traj.Set.
func checkSet(set *traj.Set) error {
	if set == nil || len(set.Times) == 0 {
		return errors.New("there are no frames")
	}
	if set.Width <= 0 || set.Height <= 0 {
		return fmt.Errorf("picture size %d × %d is not positive", set.Width, set.Height)
	}
	for i, t := range set.Times {
		if math.IsNaN(t) || math.IsInf(t, 0) || (i > 0 && t <= set.Times[i-1]) {
			return fmt.Errorf("time of frame %d is %g s: times must increase", i, t)
		}
	}
	if set.Motions != nil && len(set.Motions) != len(set.Times) {
		return fmt.Errorf("%d motions for %d frames", len(set.Motions), len(set.Times))
	}
	seen := map[traj.Landmark]bool{}
	for _, tr := range set.Tracks {
		if !tr.Landmark.Valid() || seen[tr.Landmark] {
			return fmt.Errorf("track %q is unknown or there twice", tr.Landmark)
		}
		seen[tr.Landmark] = true
		if len(tr.Samples) != len(set.Times) {
			return fmt.Errorf("track %s has %d samples for %d frames", tr.Landmark, len(tr.Samples), len(set.Times))
		}
		for i, p := range tr.Samples {
			if !p.Status.Seen() {
				continue
			}
			if math.IsNaN(p.X) || math.IsInf(p.X, 0) || math.IsNaN(p.Y) || math.IsInf(p.Y, 0) || !(p.SD >= 0) || math.IsInf(p.SD, 0) {
				return fmt.Errorf("track %s is seen at (%g, %g) ± %g px in frame %d", tr.Landmark, p.X, p.Y, p.SD, i)
			}
		}
	}
	return nil
}

// inReference takes the calibration's points from its own frame to the
// reference frame, in whose coordinates stabilised tracks are.
func inReference(set *traj.Set, in geometry.CalibrationInput) (geometry.CalibrationInput, error) {
	if in.Ground == nil && in.Height == nil && in.Horizon == nil {
		return in, nil
	}
	if in.Frame < 0 || in.Frame >= len(set.Times) {
		return in, fmt.Errorf("calibration refers to frame %d of a clip with %d frames", in.Frame, len(set.Times))
	}
	if set.Motions == nil {
		return in, nil
	}
	m := set.Motions[in.Frame]
	move := func(p geometry.Point) geometry.Point {
		x, y := m.Apply(p.X, p.Y)
		return geometry.Point{X: x, Y: y}
	}
	horizon := func(h geometry.Horizon) geometry.Horizon {
		if h.RowPX != nil {
			// The row's middle stands for it; a turn about the optical axis is small.
			row := move(geometry.Point{X: float64(set.Width-1) / 2, Y: *h.RowPX}).Y
			h.RowPX = &row
		}
		if h.Edges != nil {
			var e [2][2]geometry.Point
			for i := range 2 {
				for j := range 2 {
					e[i][j] = move(h.Edges[i][j])
				}
			}
			h.Edges = &e
		}
		return h
	}
	switch {
	case in.Ground != nil:
		g := *in.Ground
		for i := range g.Points {
			g.Points[i] = move(g.Points[i])
		}
		in.Ground = &g
	case in.Height != nil:
		h := *in.Height
		h.Horizon = horizon(h.Horizon)
		in.Height = &h
	case in.Horizon != nil:
		h := horizon(*in.Horizon)
		in.Horizon = &h
	}
	return in, nil
}
