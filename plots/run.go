package plots

import (
	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/track/traj"
)

// RunInput is what the figures of one clip are drawn from.
type RunInput struct {
	Run *metrics.Run
	// Times of the frames, s; index: frame, as in Run.Signals.
	Times []float64
	// Summary of this run alone; nil leaves out the intervals that come from it.
	Summary *metrics.Summary
	// Lengths is how the reader reads lengths. RunFigures takes Run and Summary into it.
	Lengths lengths.System
}

func (in RunInput) result(n metrics.Name) *metrics.Result {
	if in.Summary == nil {
		return nil
	}
	return in.Summary.Lookup(n)
}

// RunFigures draws every figure of one clip, in the order of a report. What
// cannot be drawn is there with its reason. The error is for input that
// contradicts itself.
func RunFigures(in RunInput) ([]Outcome, error) {
	in.Run, in.Summary = in.Run.Said(in.Lengths), in.Summary.Said(in.Lengths)
	attempts := []attempt{
		{"Head height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Head) }},
		{"Withers height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Withers) }},
		{"Croup height over the stride", func() (*Figure, error) { return BodyHeight(in, traj.Croup) }},
		{"Step length of every stride", func() (*Figure, error) { return StepLength(in) }},
		{"Hoof placement from above", func() (*Figure, error) { return Placement(in) }},
		{"Path of the swinging hoof", func() (*Figure, error) { return HoofPaths(in) }},
		{"Which hoof was on the ground when", func() (*Figure, error) { return StanceBars(in) }},
	}
	if in.Summary != nil {
		attempts = append(attempts, scoreFigure(in.Summary))
	}
	return drawn(attempts)
}
