package glance

import (
	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// Seen is what was measured of one pair of limbs, to be set beside what hands felt.
type Seen struct {
	Measured bool     // Whether anything that compares left and right was measured.
	Words    []string // What is beyond its tolerance.
	// Left and Right tell whether something of it points to that side: the limb that
	// steps shorter, over which head, withers or croup are carried higher, whose hip moves
	// more, or whose shoulder is lifted less (common practice).
	Left, Right bool
}

// Of returns what s shows of the fores or of the hinds.
func Of(s *metrics.Summary, g metrics.Girdle) Seen {
	var out Seen
	for _, r := range s.Results {
		d := define(r.Name)
		if _, sides := d.Even(); !sides || d.Girdle != g || r.Value == nil || r.Tolerance <= 0 || !told(r.Name) {
			continue
		}
		out.Measured = true
		if !r.Beyond {
			continue
		}
		out.Words = append(out.Words, clause(r.Name, r.Unit, *r.Value))
		switch side := pointed(r.Name, deviation(r.Name, r.Value.Value)); side {
		case traj.Left:
			out.Left = true
		case traj.Right:
			out.Right = true
		}
	}
	return out
}

// told reports whether a measure answers one of the questions.
func told(n metrics.Name) bool {
	for _, q := range questions() {
		for _, m := range q.measures {
			if m == n {
				return true
			}
		}
	}
	return false
}

// pointed returns the side to which a deviation is taken to point; none for measures
// that are only described, but for the shoulder that is lifted less.
func pointed(n metrics.Name, deviation float64) traj.Side {
	switch n {
	case metrics.ShoulderLift:
	case metrics.StepTimingFore, metrics.StepTimingHind:
		return traj.Middle // Its direction is not settled.
	default:
		if define(n).Evidence == metrics.Description {
			return traj.Middle
		}
	}
	return traj.Side(sideOf(n, deviation))
}
