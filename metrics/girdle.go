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
		over := notSeenSides()
		stance, swing := notSeenSides(), notSeenSides()
		for side := range 2 {
			if f := hips.fits[side]; f != nil && f[i] != nil {
				over[side] = ranged(f[i], st.Start, st.Start+f[i].Period, 0, 0)
			}
			f := shoulders.fits[side]
			j := a.In(side, i)
			if f == nil || f[i] == nil || j < 0 {
				continue
			}
			on, onSD := a.Stances[side][j].Reaches()
			off, offSD := a.Stances[side][j].Leaves()
			if !(on < off && off < on+f[i].Period) { // False for NaN.
				continue
			}
			stance[side] = ranged(f[i], on, off, onSD, offSD)
			swing[side] = ranged(f[i], off, on+f[i].Period, offSD, onSD)
		}
		s.found.putSides(HipExcursion, i, st.Start, over)
		s.found.putSides(ShoulderStance, i, st.Start, stance)
		s.found.putSides(ShoulderSwing, i, st.Start, swing)
	}
	if s.fit == nil {
		return
	}
	a.putRoll(s, cam, ShoulderRoll, shoulders, traj.LeftShoulder)
	a.putRoll(s, cam, PelvisRoll, hips, traj.LeftHip)
}

func notSeenSides() [2][2]float64 { return [2][2]float64{notSeen, notSeen} }

// ranged returns the range of a fitted height from one instant to another, known to so
// many seconds each, and the spread of that; mm.
func ranged(h *signal.Harmonics, from, to, fromSD, toSD float64) [2]float64 {
	top, high, _ := h.Highest(from, to)
	bottom, low, _ := h.Lowest(from, to)
	var ends float64
	for _, end := range [2][2]float64{{from, fromSD}, {to, toSD}} {
		v, slope := h.At(end[0])
		if v >= high {
			top, high = end[0], v
		}
		if v <= low {
			bottom, low = end[0], v
		}
		if top == end[0] || bottom == end[0] {
			ends += sq(slope * end[1])
		}
	}
	return [2]float64{1000 * (high - low), 1000 * math.Hypot(max(1, h.ResidualSD)*h.DifferenceSD(top, bottom), math.Sqrt(ends))}
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
		v := ranged(h, st.Start, st.Start+h.Period, 0, 0)
		const degrees = 180 / math.Pi
		s.found.put(n, single(i, st.Start, degrees*math.Atan(v[0]/1000/width), degrees*v[1]/1000/width))
		mean += s.found[n].observations[len(s.found[n].observations)-1].Value
	}
	if f := s.found[n]; f != nil {
		// Marks that lie beside the points are as much too far apart in every stride.
		f.commonSD = wide * mean / float64(len(f.observations))
	}
}
