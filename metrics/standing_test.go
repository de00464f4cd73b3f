package metrics

import (
	"math"
	"slices"

	"jogstrip/metrics/signal"
	"jogstrip/track/traj"
)

// StandStill finds when the hooves of a set stand, for tracks in which nobody looked for
// it: markers of a laboratory, which are seen in every frame. A marker stands where it
// moves slower than 8 % of the fastest speed within 0.7 s, for 0.12 s or longer; noise is
// allowed for. Steps of the pair fores are counted by their median.
func StandStill(set *traj.Set) []traj.Stance {
	var out []traj.Stance
	for _, tr := range set.Tracks {
		if tr.Landmark.IsHoof() {
			out = append(out, standStill(set.Times, tr)...)
		}
	}
	for _, fore := range []bool{true, false} {
		var pair []*traj.Stance
		for i := range out {
			if out[i].Landmark.IsFore() == fore {
				pair = append(pair, &out[i])
			}
		}
		slices.SortFunc(pair, func(a, b *traj.Stance) int { return a.First - b.First })
		var steps []float64
		for i := 1; i < len(pair); i++ {
			steps = append(steps, set.Times[pair[i].First]-set.Times[pair[i-1].First])
		}
		for i := 1; i < len(pair); i++ {
			pair[i].Beat = pair[i-1].Beat + max(1, int(math.Round(steps[i-1]/signal.Median(steps))))
			if same := pair[i].Landmark == pair[i-1].Landmark; same != ((pair[i].Beat-pair[i-1].Beat)%2 == 0) {
				pair[i].Beat++
			}
		}
	}
	return out
}

func standStill(times []float64, tr traj.Track) []traj.Stance {
	n := len(times)
	speed := make([]float64, n)
	for i := 1; i < n-1; i++ {
		a, b := tr.Samples[i-1], tr.Samples[i+1]
		noise := 4 * math.Hypot(a.SD, b.SD)
		speed[i] = max(0, math.Hypot(b.X-a.X, b.Y-a.Y)-noise) / (times[i+1] - times[i-1]) // NaN where it is not seen.
	}
	still := func(i int) bool {
		var near []float64
		for k := range n {
			if math.Abs(times[k]-times[i]) < 0.7 && !math.IsNaN(speed[k]) {
				near = append(near, speed[k])
			}
		}
		return speed[i] < 0.08*signal.Quantile(near, 0.95)
	}
	var out []traj.Stance
	for i := 1; i < n-1; i++ {
		if !still(i) {
			continue
		}
		e := i
		for e+1 < n-1 && (still(e+1) || e+2 < n-1 && still(e+2)) {
			e++
		}
		if times[e]-times[i] >= 0.12 {
			s := traj.Stance{Landmark: tr.Landmark, First: i, Last: e, Seen: e - i + 1, Before: i - 1, After: e + 1}
			if i == 1 {
				s.First, s.Before = 0, -1
			}
			if e == n-2 {
				s.Last, s.After = n-1, -1
			}
			out = append(out, s)
		}
		i = e
	}
	return out
}

// standings returns the stances of the horse's hooves in the frames of set in which they
// were seen, to the frame.
func (h artificial) standings(set *traj.Set) []traj.Stance {
	var out []traj.Stance
	for k, l := range limbs {
		tr := set.Track(l)
		if tr == nil {
			continue
		}
		pair := min(h.phases()[k&2], h.phases()[k|1])
		for n := -1; n <= h.strides+1; n++ {
			on, off, _ := h.stanceOf(k, n)
			s := traj.Stance{Landmark: l, First: -1, Before: -1, After: -1, Beat: 2*n + 2 + int(math.Round(2*(h.phases()[k]-pair)))}
			for f, p := range tr.Samples {
				switch at := set.Times[f]; {
				case !p.Status.Seen():
				case at < on && at > on-0.1:
					s.Before = f
				case at >= on && at <= off:
					if s.First < 0 {
						s.First = f
					}
					s.Last = f
					s.Seen++
				case s.After < 0 && at > off && at < off+0.1:
					s.After = f
				}
			}
			if s.Seen > 0 {
				out = append(out, s)
			}
		}
	}
	return out
}
