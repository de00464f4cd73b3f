package scene

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/track/traj"
)

// TruthSchema names the form of a truth file.
const TruthSchema = "jogstrip.scene-truth/1"

// Truth is everything known of a rendered clip.
type Truth struct {
	Schema string    `json:"schema"`
	Scene  Scene     `json:"scene"`    // With every default written out.
	Width  int       `json:"width_px"` // Upright picture.
	Height int       `json:"height_px"`
	Times  []float64 `json:"times_s"` // Index: frame. Middle of the exposure = time stamp.
	// Eyes holds the camera of every frame; a single one where it stands still.
	Eyes      []Eye      `json:"cameras"`
	Landmarks []Landmark `json:"landmarks"` // In the order of traj.Landmarks.
	Contacts  []Contact  `json:"contacts"`  // Every stance that overlaps the clip, by time of hoof-on.
	Strides   []Stride   `json:"strides"`   // From hoof-on to hoof-on of the left fore, whole ones only.
	// Line is the line fitted to the placements of all four hooves: their common
	// direction, through the mean of the limbs' mean positions. TrunkLine is the
	// straight line the trunk follows but for its weave.
	Line      metrics.Line `json:"line_of_travel"`
	TrunkLine metrics.Line `json:"trunk_line"`
	// Measures in the order of metrics.Definitions. Those that only truth has follow.
	Measures []Measure `json:"measures"`
	// Marks are the ground marks' corners in the lane frame: near left, near
	// right, far right, far left as seen by the camera; empty without marks.
	Marks [][2]float64 `json:"ground_marks_m,omitempty"`
}

// Names of the measures that only truth has.
const (
	// TrunkPlacementFore and TrunkPlacementHind are how far outward of the trunk's path a hoof
	// lands, cm, which is what the placement settings mean. Prints do not tell that: their line
	// moves with them.
	TrunkPlacementFore metrics.Name = "trunk_placement_fore"
	TrunkPlacementHind metrics.Name = "trunk_placement_hind"
	// FlightHeightFore and FlightHeightHind are how high a hoof's landmark is carried in its swing,
	// cm, which is what the flight settings mean. From in front or behind no picture tells it.
	FlightHeightFore metrics.Name = "flight_height_fore"
	FlightHeightHind metrics.Name = "flight_height_hind"
	// PairTiming is by how much the hind of either diagonal (in pace: lateral) pair lands after
	// its fore, ms; the side is the fore's.
	PairTiming metrics.Name = "pair_timing"
)

// Eye is a camera pose: position, m, and unit axes (right, down, forward) in
// the lane frame, with focal length and principal point, px.
type Eye struct {
	Position [3]float64    `json:"position_m"`
	Axes     [3][3]float64 `json:"axes"`
	FocalPX  float64       `json:"focal_px"`
	CX       float64       `json:"cx_px"`
	CY       float64       `json:"cy_px"`
	K1       float64       `json:"k1,omitempty"` // See Camera.K1.
}

// Project returns the picture position of lane point (x, y, z) and its depth.
func (e Eye) Project(x, y, z float64) (px, py, depth float64) {
	i := e.inner()
	return i.project(vec{x, y, z})
}

func (e Eye) inner() *eye {
	v := func(a [3]float64) vec { return vec{a[0], a[1], a[2]} }
	return &eye{c: v(e.Position), r: v(e.Axes[0]), d: v(e.Axes[1]), w: v(e.Axes[2]), f: e.FocalPX, cx: e.CX, cy: e.CY, k1: e.K1}
}

func outer(e eye) Eye {
	a := func(v vec) [3]float64 { return [3]float64{v.x, v.y, v.z} }
	return Eye{Position: a(e.c), Axes: [3][3]float64{a(e.r), a(e.d), a(e.w)}, FocalPX: e.f, CX: e.cx, CY: e.cy, K1: e.k1}
}

// Landmark is one landmark through the clip.
type Landmark struct {
	Name   traj.Landmark `json:"landmark"`
	Points []Point       `json:"points"` // Index: frame.
}

// Point is a landmark in one frame, at the middle of its row's exposure.
type Point struct {
	X       float64    `json:"x"` // Picture, px.
	Y       float64    `json:"y"`
	Lane    [3]float64 `json:"lane_m"`
	Visible bool       `json:"visible"` // In the picture and not hidden by another part.
}

// Contact is one stance. The instants may lie outside the clip.
type Contact struct {
	Limb    traj.Landmark `json:"limb"`
	On      float64       `json:"on_s"`
	HeelOff float64       `json:"heel_off_s"`
	Off     float64       `json:"off_s"`
	// Placement is the landmark (toe or heel) on the ground, lane frame, m; Toe is the toe.
	Placement [2]float64 `json:"placement_m"`
	Toe       [2]float64 `json:"toe_m"`
}

// Stride is one whole stride.
type Stride struct {
	Start float64 `json:"start_s"`
	End   float64 `json:"end_s"`
}

// Measure is the true value of one measure.
type Measure struct {
	Name         metrics.Name          `json:"name"`
	Unit         string                `json:"unit"`
	Observations []metrics.Observation `json:"observations"` // One a stride; one in all for measures of a run.
	Left         *float64              `json:"left,omitempty"`
	Right        *float64              `json:"right,omitempty"`
	Value        *float64              `json:"value,omitempty"` // Mean of the observations' values.
}

// Measure returns the truth of measure n, or nil.
func (t *Truth) Measure(n metrics.Name) *Measure {
	for i := range t.Measures {
		if t.Measures[i].Name == n {
			return &t.Measures[i]
		}
	}
	return nil
}

// Mean returns the mean value of measure n over the run, NaN where there is none.
func (t *Truth) Mean(n metrics.Name) float64 {
	if m := t.Measure(n); m != nil && m.Value != nil {
		return *m.Value
	}
	return math.NaN()
}

// Points returns the truth of landmark l, or nil.
func (t *Truth) Points(l traj.Landmark) []Point {
	for i := range t.Landmarks {
		if t.Landmarks[i].Name == l {
			return t.Landmarks[i].Points
		}
	}
	return nil
}

// Eye returns the camera of frame f.
func (t *Truth) Eye(f int) Eye {
	if len(t.Eyes) == 1 {
		return t.Eyes[0]
	}
	return t.Eyes[f]
}

// Save writes t to path, whole or not at all.
func (t *Truth) Save(path string) error {
	b, err := json.Marshal(t)
	if err != nil {
		return fmt.Errorf("write truth %s: %w", path, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("write truth %s: %w", path, err)
	}
	if err := fsx.WriteFile(path, b); err != nil {
		return fmt.Errorf("write truth %s: %w", path, err)
	}
	return nil
}

// LoadTruth reads what Save wrote.
func LoadTruth(path string) (*Truth, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read truth: %w", err)
	}
	var t Truth
	if err := json.Unmarshal(b, &t); err != nil {
		return nil, fmt.Errorf("read truth %s: %w", path, err)
	}
	if t.Schema != TruthSchema {
		return nil, fmt.Errorf("read truth %s: schema is %q, want %q", path, t.Schema, TruthSchema)
	}
	return &t, nil
}

// Simulate returns the truth of a scene without rendering it.
func Simulate(s Scene) (*Truth, error) {
	m, err := solve(s)
	if err != nil {
		return nil, err
	}
	return m.truth(), nil
}

// solve builds the motion of a scene so that its measured means are the settings.
func solve(s Scene) (*motion, error) {
	s, err := s.filled()
	if err != nil {
		return nil, err
	}
	m := newMotion(s)
	want := m.targets()
	v := s.Variation
	if v.Free {
		v = None()
	}
	// Where a hoof-on lies so close to an end of the clip that a correction moves
	// it out of the clip, and the next one in again, corrections do not settle;
	// then the horse enters in another phase of its stride.
	for range 8 {
		m.set = want
		if m.correct(v, want) {
			if s.Variation.Free {
				m.build(s.Variation)
			}
			return m, nil
		}
		m.t0 -= 0.15 * s.Motion.StrideS
	}
	return nil, errors.New("scene: the settings contradict one another or go beyond what a horse can do; the motion does not settle")
}

// targets are the values wanted of the means.
func (m *motion) targets() applied {
	a, mo, g := m.scene.Asymmetry, m.scene.Motion, m.gait
	var w applied
	w.strideTime = mo.StrideS
	w.stepDiff = [2]float64{a.StepLengthForeCM / 100, a.StepLengthHindCM / 100}
	w.timingFore = 0.5 + a.StepTimingForePercent/100
	w.timingHind = a.StepTimingHindPercent / 100
	w.pair = [2]float64{(g.pairMS + a.PairTimingMS.Left) / 1000, (g.pairMS + a.PairTimingMS.Right) / 1000}
	for limb := range 4 {
		side, gd := sideOf(limb), girdleOf(limb)
		pick := func(fore, hind Sides) float64 { return []Sides{fore, hind}[gd].of(side) }
		duty := []float64{mo.DutyFore, mo.DutyHind}[gd]
		w.stance[limb] = duty*mo.StrideS + pick(a.StanceForeMS, a.StanceHindMS)/1000
		w.offset[limb] = ([]float64{mo.HalfWidthForeCM, mo.HalfWidthHindCM}[gd] + pick(a.PlacementForeCM, a.PlacementHindCM)) / 100
		w.lateral[limb] = evenLateral[gd] + pick(a.LateralArcForeCM, a.LateralArcHindCM)
		w.medial[limb] = evenMedial[gd] + pick(a.MedialArcForeCM, a.MedialArcHindCM)
		w.flight[limb] = g.flight[gd]*m.k + pick(a.FlightForeCM, a.FlightHindCM)
		if m.scene.View == traj.Away {
			w.flight[limb] += 100 * m.k * heelOverToe
		}
	}
	w.low = [3]float64{a.HeadLowMM / 1000, a.WithersLowMM / 1000, a.CroupLowMM / 1000}
	w.high = [3]float64{a.HeadHighMM / 1000, a.WithersHighMM / 1000, a.CroupHighMM / 1000}
	w.hip = a.HipExcursionMM / 1000
	return w
}

// heelOverToe is how much higher than the toe's the heel's highest point is, m.
const heelOverToe = 0.10

// correct builds the motion and moves its settings until the measured means
// are the wanted ones; it reports whether they came to be.
func (m *motion) correct(v Variation, want applied) bool {
	if m.scene.View == traj.Away {
		for limb := range m.set.flight {
			m.set.flight[limb] -= 100 * m.k * heelOverToe
		}
	}
	for range 16 {
		m.build(v)
		got := m.measured()
		worst := 0.0
		fix := func(p *float64, want, got, unit, gain float64) {
			d := want - got
			if math.IsNaN(d) {
				return
			}
			*p += d * gain
			worst = math.Max(worst, math.Abs(d)/unit)
		}
		s, g, w := &m.set, got, want
		fix(&s.strideTime, w.strideTime, g.strideTime, 1e-5, 1)
		fix(&s.timingFore, w.timingFore, g.timingFore, 1e-5, 1)
		if m.scene.Asymmetry.StepTimingHindPercent != 0 {
			fix(&s.timingHind, 0.5+w.timingHind, g.timingHind, 1e-5, 1)
		} else {
			for i := range s.pair {
				fix(&s.pair[i], w.pair[i], g.pair[i], 1e-6, 1)
			}
		}
		for i := range s.stepDiff {
			fix(&s.stepDiff[i], w.stepDiff[i], g.stepDiff[i], 1e-5, 1)
		}
		for i := range 4 {
			fix(&s.stance[i], w.stance[i], g.stance[i], 1e-6, 1)
			fix(&s.offset[i], w.offset[i], g.offset[i], 1e-6, 1)
			fix(&s.lateral[i], w.lateral[i], g.lateral[i], 1e-3, 1)
			fix(&s.medial[i], w.medial[i], g.medial[i], 1e-3, 1)
			fix(&s.flight[i], w.flight[i], g.flight[i], 1e-3, 1)
		}
		for b := range 3 {
			fix(&s.low[b], w.low[b], g.low[b], 1e-6, 1)
			fix(&s.high[b], w.high[b], g.high[b], 1e-6, 1)
		}
		fix(&s.hip, w.hip, g.hip, 1e-6, 0.25)
		if worst < 1 {
			return true
		}
	}
	return false
}

// measured returns the means of the clip in the form of settings.
func (m *motion) measured() applied {
	ms := m.measures(nil)
	mean := func(n metrics.Name) (l, r, v float64) {
		x := ms.find(n)
		if x == nil {
			return math.NaN(), math.NaN(), math.NaN()
		}
		return value(x.Left), value(x.Right), value(x.Value)
	}
	var a applied
	_, _, a.strideTime = mean(metrics.StrideDuration)
	_, _, a.stepDiff[0] = mean(metrics.StepLengthFore)
	_, _, a.stepDiff[1] = mean(metrics.StepLengthHind)
	_, _, a.timingFore = mean(metrics.StepTimingFore)
	_, _, a.timingHind = mean(metrics.StepTimingHind)
	a.timingFore /= 100
	a.timingHind /= 100
	a.pair[left], a.pair[right], _ = mean(PairTiming)
	a.pair[left] /= 1000
	a.pair[right] /= 1000
	both := func(dst *[4]float64, scale float64, fore, hind metrics.Name) {
		dst[lf], dst[rf], _ = mean(fore)
		dst[lh], dst[rh], _ = mean(hind)
		for i := range dst {
			dst[i] *= scale
		}
	}
	both(&a.stance, 1, metrics.StanceDurationFore, metrics.StanceDurationHind)
	both(&a.offset, 0.01, TrunkPlacementFore, TrunkPlacementHind)
	both(&a.lateral, 1, metrics.LateralArcFore, metrics.LateralArcHind)
	both(&a.medial, 1, metrics.MedialArcFore, metrics.MedialArcHind)
	both(&a.flight, 1, FlightHeightFore, FlightHeightHind)
	for b, n := range [][2]metrics.Name{
		{metrics.HeadLowDifference, metrics.HeadHighDifference},
		{metrics.WithersLowDifference, metrics.WithersHighDifference},
		{metrics.CroupLowDifference, metrics.CroupHighDifference},
	} {
		_, _, a.low[b] = mean(n[0])
		_, _, a.high[b] = mean(n[1])
		a.low[b] /= 1000
		a.high[b] /= 1000
	}
	_, _, a.hip = mean(metrics.HipExcursion)
	a.hip /= 1000
	return a
}

func value(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// frameTimes returns the time stamps of the clip's frames.
func (m *motion) frameTimes() []float64 {
	c, e := m.scene.Camera, m.scene.Encoding
	n := int(math.Floor(m.end*c.FPS)) + 1
	rng := m.rng(4)
	out := make([]float64, 0, n)
	for i := range n {
		t := float64(i) / c.FPS
		jitter := rng.NormFloat64() * e.JitterMS / 1000
		drop := rng.Float64() < e.DropShare
		if i > 0 {
			if drop {
				continue
			}
			// Frames keep their order and at least a third of their distance.
			limit := 1 / (3 * c.FPS)
			t += math.Max(-limit, math.Min(limit, jitter))
		}
		out = append(out, math.Round(t*timeBase)/timeBase)
	}
	return out
}

// timeBase is the number of ticks a second in the clips written.
const timeBase = 90000

func (m *motion) truth() *Truth {
	c := m.scene.Camera
	t := &Truth{Schema: TruthSchema, Scene: m.scene, Width: c.Width, Height: c.Height, Times: m.frameTimes()}
	names := traj.Landmarks()
	t.Landmarks = make([]Landmark, len(names))
	for i, n := range names {
		t.Landmarks[i] = Landmark{n, make([]Point, len(t.Times))}
	}
	b := newBody(m)
	var seen *flat
	for f, at := range t.Times {
		e := m.eyeAt(at)
		if f == 0 || m.shake != nil {
			t.Eyes = append(t.Eyes, outer(e))
		}
		for i, n := range names {
			p, ey := m.seen(n, at)
			x, y, depth := ey.project(p)
			t.Landmarks[i].Points[f] = Point{X: x, Y: y, Lane: [3]float64{p.x, p.y, p.z}}
			inside := depth > 0.1 && x >= -0.5 && y >= -0.5 && x < float64(c.Width)-0.5 && y < float64(c.Height)-0.5
			t.Landmarks[i].Points[f].Visible = inside
		}
		b.pose(at)
		seen = b.flatten(&e, seen)
		for i := range names {
			p := &t.Landmarks[i].Points[f]
			if p.Visible {
				p.Visible = !seen.hides(vec{p.Lane[0], p.Lane[1], p.Lane[2]})
			}
		}
	}
	t.Contacts = m.contacts()
	ms := m.measures(t)
	t.Measures = ms.list
	if w := m.scene.Yard.MarksWidthM; w > 0 {
		y0 := m.scene.Yard.MarksNearM
		y1 := y0 + m.scene.Yard.MarksLengthM
		t.Marks = [][2]float64{{-w / 2, y0}, {w / 2, y0}, {w / 2, y1}, {-w / 2, y1}}
	}
	return t
}

// seen returns where a landmark is when its row of the picture is exposed, and
// the camera then.
func (m *motion) seen(l traj.Landmark, at float64) (vec, *eye) {
	e := m.eyeAt(at)
	p := m.point(l, at)
	readout := m.scene.Camera.ReadoutS
	if readout == 0 {
		return p, &e
	}
	for range 4 {
		_, y, _ := e.project(p)
		when := at + (math.Max(0, math.Min(1, (y+0.5)/float64(m.scene.Camera.Height)))-0.5)*readout
		p = m.point(l, when)
		e = m.eyeAt(when)
	}
	return p, &e
}

// contacts lists the stances that overlap the clip.
func (m *motion) contacts() []Contact {
	var out []Contact
	for limb, fs := range m.falls {
		for _, f := range fs {
			if f.off < 0 || f.on > m.end {
				continue
			}
			h := hoof{s: f.s, l: f.l}
			p, toe := m.hoofPoint(h), m.lane(f.s, f.l, 0)
			out = append(out, Contact{limbNames[limb], f.on, f.heelOff, f.off, [2]float64{p.x, p.y}, [2]float64{toe.x, toe.y}})
		}
	}
	sortContacts(out)
	return out
}
