package metrics

import (
	"math"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// limbs is the order in which arrays over limbs are indexed.
var limbs = contact.Limbs

// analysis is one clip as its measures are taken from: what was asked, the tracks, the
// camera and the timeline.
type analysis struct {
	*contact.Timeline
	opts  Options
	set   *traj.Set // Stabilised.
	cal   *geometry.Calibration
	notes []string
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

func (f findings) put(n Name, o Observation) {
	m := f.series(n)
	m.Observations = append(m.Observations, o)
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

// single builds the observation of a measure without sides.
func single(stride int, time, value, sd float64) Observation {
	return Observation{Stride: stride, Time: time, Left: math.NaN(), Right: math.NaN(), Value: value, SD: sd}
}

// notSeen stands for value and standard deviation of a side that was not seen; neither
// for both sides.
var (
	notSeen = [2]float64{math.NaN(), math.NaN()}
	neither = [2][2]float64{notSeen, notSeen}
)

func sq(x float64) float64 { return x * x }

// putSides adds a measure with sides unless neither was seen. Index of v: side
// (0 left), then value and spread. Where one side alone was seen, SD is that of a
// difference of two such sides.
func (f findings) putSides(n Name, stride int, time float64, v [2][2]float64) {
	left, right := v[0][0], v[1][0]
	o := Observation{Stride: stride, Time: time, Left: left, Right: right, Value: right - left, SD: math.Hypot(v[0][1], v[1][1])}
	switch {
	case math.IsNaN(left) && math.IsNaN(right):
		return
	case math.IsNaN(left):
		o.SD = math.Sqrt2 * v[1][1]
	case math.IsNaN(right):
		o.SD = math.Sqrt2 * v[0][1]
	}
	f.put(n, o)
}
