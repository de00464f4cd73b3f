package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// measurePoints measures how the points of shoulders and hips move up and down.
func (s *spatial) measurePoints(of map[traj.Landmark]*bodyTrack) {
	if !s.cal.Level.AtLeast(geometry.LevelHeight) {
		return
	}
	shoulders := [2]*bodyTrack{of[traj.LeftShoulder], of[traj.RightShoulder]}
	hips := [2]*bodyTrack{of[traj.LeftHip], of[traj.RightHip]}
	for i, st := range s.Strides {
		for g, points := range [2][2]*bodyTrack{shoulders, hips} {
			over, lift := neither, neither
			for side, b := range points {
				if b == nil || b.fits[i] == nil {
					continue
				}
				over[side] = ranged(b.fits[i], st.Start)
				if j := s.In(side, i); g == 0 && j >= 0 {
					_, onSD := s.Stances[side][j].Reaches()
					_, offSD := s.Stances[side][j].Leaves()
					lift[side] = lifted(b.fits[i], s.Middle(side, j), math.Hypot(onSD, offSD)/2)
				}
			}
			s.putSides([2]Name{ShoulderExcursion, HipExcursion}[g], i, over)
			s.putSides(ShoulderLift, i, lift)
		}
	}
	if s.fit != nil {
		s.putRoll(shoulders)
	}
}

// ranged returns the range of a fitted height over the stride from start on and the
// spread of that, mm.
func ranged(h *signal.Harmonics, start float64) [2]float64 {
	top, high, _ := h.Highest(start, start+h.Period)
	bottom, low, _ := h.Lowest(start, start+h.Period)
	return [2]float64{1000 * (high - low), 1000 * max(1, h.ResidualSD) * h.DifferenceSD(top, bottom)}
}

// lifted returns how much higher a fitted height is half a stride after the middle of a
// stance, which is known to standsSD s, than there, and the spread of that, mm. What moves
// twice a stride, as the trunk does, is alike in both.
func lifted(h *signal.Harmonics, stands, standsSD float64) [2]float64 {
	swings := stands + h.Period/2
	low, rises := h.At(stands)
	high, falls := h.At(swings)
	return [2]float64{1000 * (high - low), 1000 * math.Hypot(max(1, h.ResidualSD)*h.DifferenceSD(swings, stands), (falls-rises)*standsSD)}
}

// putRoll adds the range of the roll of the line between the points of the shoulders in every
// stride.
func (s *spatial) putRoll(points [2]*bodyTrack) {
	apart := s.across(traj.RightShoulder, 0).less(s.across(traj.LeftShoulder, 0))
	roll := points[1].less(points[0])
	if apart == nil || roll == nil {
		return
	}
	width := stat.Mean(apart.z, nil)
	if !(width > 0) {
		return // Left and right are the wrong way round.
	}
	wide, mean := math.Sqrt2*s.model.Body.MiddleMM/1000/width, 0.0
	const degrees = 180 / math.Pi
	for i, st := range s.Strides {
		if h := roll.fit(st.Start, st.End); h != nil {
			v := ranged(h, st.Start)
			rolls := degrees * math.Atan(v[0]/1000/width)
			s.put(ShoulderRoll, i, rolls, degrees*v[1]/1000/width)
			mean += rolls
		}
	}
	if f := s.found[ShoulderRoll]; f != nil {
		// Marks that lie beside the points are as much too far apart in every stride.
		f.addCommon(math.Hypot(wide*mean/float64(len(f.Observations)), degrees*math.Sqrt2*s.model.Body.ShoulderMM/1000/width), 0)
	}
}
