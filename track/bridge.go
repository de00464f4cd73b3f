package track

import (
	"math"
	"slices"

	"jogstrip/track/flow"
	"jogstrip/track/traj"
)

// mostBridged is the longest loss that is bridged, s.
const mostBridged = 0.1

// bridge fills losses up to mostBridged that are seen on both sides, by the
// cubic that leaves and arrives with the landmark's velocity. The spread grows
// with the distance from the seen frames as an unknown acceleration of the size
// the landmark shows elsewhere would make it.
func bridge(s []traj.Sample, times []float64) {
	acceleration := accelerationOf(s, times)
	for f := 1; f < len(s); f++ {
		if s[f].Status != traj.Lost || !s[f-1].Status.Seen() {
			continue
		}
		e := f
		for e < len(s) && s[e].Status == traj.Lost {
			e++
		}
		if e == len(s) || times[e]-times[f-1] > mostBridged+1e-9 {
			f = e
			continue
		}
		a, b := s[f-1], s[e]
		dt := times[e] - times[f-1]
		va := velocityAt(s, times, f-1, -1)
		vb := velocityAt(s, times, e, 1)
		for g := f; g < e; g++ {
			u := (times[g] - times[f-1]) / dt
			h00, h10 := (1+2*u)*(1-u)*(1-u), u*(1-u)*(1-u)
			h01, h11 := u*u*(3-2*u), u*u*(u-1)
			near := min(times[g]-times[f-1], times[e]-times[g])
			sd := math.Hypot(max(a.SD, b.SD), 0.5*acceleration*near*near)
			s[g] = traj.Sample{
				X:  h00*a.X + h10*dt*va.X + h01*b.X + h11*dt*vb.X,
				Y:  h00*a.Y + h10*dt*va.Y + h01*b.Y + h11*dt*vb.Y,
				SD: sd, Quality: 0.3 * min(a.Quality, b.Quality), Status: traj.Bridged,
			}
		}
		f = e
	}
}

// velocityAt returns the velocity at frame f, px/s, from the seen neighbour on
// side dir; zero where there is none.
func velocityAt(s []traj.Sample, times []float64, f, dir int) flow.Point {
	g := f + dir
	if g < 0 || g >= len(s) || !s[g].Status.Seen() {
		return flow.Point{}
	}
	dt := times[f] - times[g]
	return flow.Point{X: (s[f].X - s[g].X) / dt, Y: (s[f].Y - s[g].Y) / dt}
}

// accelerationOf returns the 90th percentile of the acceleration over seen
// frames, px/s²; a plain upper bound where there are too few.
func accelerationOf(s []traj.Sample, times []float64) float64 {
	var all []float64
	for f := 1; f+1 < len(s); f++ {
		if !s[f-1].Status.Seen() || !s[f].Status.Seen() || !s[f+1].Status.Seen() {
			continue
		}
		d1, d2 := times[f]-times[f-1], times[f+1]-times[f]
		ax := ((s[f+1].X-s[f].X)/d2 - (s[f].X-s[f-1].X)/d1) / (0.5 * (d1 + d2))
		ay := ((s[f+1].Y-s[f].Y)/d2 - (s[f].Y-s[f-1].Y)/d1) / (0.5 * (d1 + d2))
		all = append(all, math.Hypot(ax, ay))
	}
	if len(all) < 5 {
		return 5000
	}
	slices.Sort(all)
	return all[len(all)*9/10]
}
