package metrics

import (
	"math"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// points are the points of the shoulders or of the hips as heights over time, and what
// was fitted to every stride. Index: side.
type points struct {
	track [2]*bodyTrack
	fits  [2][]*signal.Harmonics
}

// measurePoints measures how the points of the shoulders and of the hips move up and
// down, each by itself and against each other.
func (a *analysis) measurePoints(s *spatial, cam geometry.Camera, of map[traj.Landmark]*bodyTrack, fits map[traj.Landmark][]*signal.Harmonics) {
	if !a.cal.Level.AtLeast(geometry.LevelHeight) {
		return
	}
	pair := func(left, right traj.Landmark) points {
		return points{[2]*bodyTrack{of[left], of[right]}, [2][]*signal.Harmonics{fits[left], fits[right]}}
	}
	shoulders, hips := pair(traj.LeftShoulder, traj.RightShoulder), pair(traj.LeftHip, traj.RightHip)
	for i, st := range a.Strides {
		for q, n := range [2]Name{HipExcursion, ShoulderExcursion} {
			p := [2]points{hips, shoulders}[q]
			v := [2][2]float64{notSeen, notSeen}
			for side, f := range p.fits {
				if f != nil && f[i] != nil {
					v[side] = ranged(f[i], st.Start)
				}
			}
			s.found.putSides(n, i, st.Start, v)
		}
		lift := [2][2]float64{notSeen, notSeen}
		for side, f := range shoulders.fits {
			if j := a.In(side, i); j >= 0 && f != nil && f[i] != nil {
				h, stands := f[i], a.Middle(side, j)
				swings := stands + h.Period/2
				low, _ := h.At(stands)
				high, _ := h.At(swings)
				lift[side] = [2]float64{1000 * (high - low), 1000 * max(1, h.ResidualSD) * h.DifferenceSD(swings, stands)}
			}
		}
		s.found.putSides(ShoulderLift, i, st.Start, lift)
	}
	if s.fit == nil {
		return
	}
	a.putRoll(s, cam, ShoulderRoll, shoulders, traj.LeftShoulder)
	a.putRoll(s, cam, PelvisRoll, hips, traj.LeftHip)
}

// ranged returns the range of a fitted height over the stride from start on and the
// spread of that, mm.
func ranged(h *signal.Harmonics, start float64) [2]float64 {
	top, high, _ := h.Highest(start, start+h.Period)
	bottom, low, _ := h.Lowest(start, start+h.Period)
	return [2]float64{1000 * (high - low), 1000 * max(1, h.ResidualSD) * h.DifferenceSD(top, bottom)}
}

// putRoll adds the range of the roll of the line between two points in every stride.
func (a *analysis) putRoll(s *spatial, cam geometry.Camera, n Name, p points, left traj.Landmark) {
	apart := a.across(s, cam, left.Opposite(), 0).less(a.across(s, cam, left, 0))
	roll := p.track[1].less(p.track[0])
	if apart == nil || roll == nil {
		return
	}
	var width float64
	for _, x := range apart.z {
		width += x / float64(len(apart.z))
	}
	if !(width > 0) {
		return // Left and right are the wrong way round.
	}
	wide, mean := math.Sqrt2*a.opts.Model.Body.MiddleMM/1000/width, 0.0
	for i, st := range a.Strides {
		h := roll.fit(st.Start, st.End)
		if h == nil {
			continue
		}
		v := ranged(h, st.Start)
		const degrees = 180 / math.Pi
		s.found.put(n, single(i, st.Start, degrees*math.Atan(v[0]/1000/width), degrees*v[1]/1000/width))
		mean += s.found[n].observations[len(s.found[n].observations)-1].Value
	}
	if f := s.found[n]; f != nil {
		// Marks that lie beside the points are as much too far apart in every stride.
		f.commonSD = wide * mean / float64(len(f.observations))
	}
}
