package metrics

import (
	"errors"
	"fmt"
	"slices"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

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
		if !signal.Finite(t) || i > 0 && t <= set.Times[i-1] {
			return fmt.Errorf("time of frame %d is %g s: times must increase", i, t)
		}
	}
	if set.Motions != nil && len(set.Motions) != len(set.Times) {
		return fmt.Errorf("%d motions for %d frames", len(set.Motions), len(set.Times))
	}
	nowhere := func(p traj.Sample) bool {
		return p.Status.Seen() && !(signal.Finite(p.X) && signal.Finite(p.Y) && signal.Finite(p.SD) && p.SD >= 0)
	}
	for i := range set.Tracks {
		tr := &set.Tracks[i]
		switch at := slices.IndexFunc(tr.Samples, nowhere); {
		case !tr.Landmark.Valid() || set.Track(tr.Landmark) != tr:
			return fmt.Errorf("track %q is unknown or there twice", tr.Landmark)
		case len(tr.Samples) != len(set.Times):
			return fmt.Errorf("track %s has %d samples for %d frames", tr.Landmark, len(tr.Samples), len(set.Times))
		case at >= 0:
			p := tr.Samples[at]
			return fmt.Errorf("track %s is seen at (%g, %g) ± %g px in frame %d", tr.Landmark, p.X, p.Y, p.SD, at)
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
			h.RowPX = new(move(geometry.Point{X: float64(set.Width-1) / 2, Y: *h.RowPX}).Y)
		}
		if e := h.Edges; e != nil {
			h.Edges = &[2][2]geometry.Point{{move(e[0][0]), move(e[0][1])}, {move(e[1][0]), move(e[1][1])}}
		}
		return h
	}
	switch {
	case in.Ground != nil:
		in.Ground = new(*in.Ground)
		for i, p := range in.Ground.Points {
			in.Ground.Points[i] = move(p)
		}
	case in.Height != nil:
		in.Height = new(*in.Height)
		in.Height.Horizon = horizon(in.Height.Horizon)
	case in.Horizon != nil:
		in.Horizon = new(horizon(*in.Horizon))
	}
	return in, nil
}
