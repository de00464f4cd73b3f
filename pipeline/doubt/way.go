package doubt

import (
	"fmt"
	"math"
	"slices"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/metrics/signal"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// other returns the view that v is not.
func other(v traj.View) traj.View {
	if v == traj.Toward {
		return traj.Away
	}
	return traj.Toward
}

var viewWords = map[traj.View]string{traj.Toward: "toward the camera", traj.Away: "away from the camera"}

// direction doubts the view where the hooves' places move the other way. On the
// ground what comes nearer moves down the picture, whatever the camera's height.
func (l *list) direction(run *metrics.Run) {
	var t, y []float64
	for _, c := range run.Contacts {
		if c.PictureX == 0 && c.PictureY == 0 {
			continue
		}
		t, y = append(t, (c.On+c.Off)/2), append(y, c.PictureY)
	}
	slope, sd, ok := trend(t, y)
	if !ok {
		return
	}
	way := slope * (slices.Max(t) - slices.Min(t))
	nearing := slope > 0
	if math.Abs(slope) < surely*sd || math.Abs(way) < leastWay || nearing == (run.View == traj.Toward) {
		return
	}
	l.wrongView(run.View, fmt.Sprintf("the hooves’ places move %s by %s rows of the picture", map[bool]string{true: "down", false: "up"}[nearing], number(math.Abs(way), 0)))
}

func (l *list) wrongView(v traj.View, how string) {
	l.add(View, record.Refuse,
		fmt.Sprintf("The marks say that the horse goes %s, but it goes %s: %s.", viewWords[v], viewWords[other(v)], how),
		fmt.Sprintf("Set the view to %q, and look whether left and right are the horse’s own: they change places in the picture with the view.", other(v)))
}

// trend fits a line y = a + slope·t, by Theil and Sen's median of slopes, and
// returns a standard deviation of the slope from what is left over.
func trend(t, y []float64) (slope, sd float64, ok bool) {
	if len(t) < 4 {
		return 0, 0, false
	}
	var slopes []float64
	for i := range t {
		for j := range i {
			if d := t[i] - t[j]; math.Abs(d) > leastApart {
				slopes = append(slopes, (y[i]-y[j])/d)
			}
		}
	}
	if len(slopes) < 4 {
		return 0, 0, false
	}
	slope = signal.Median(slopes)
	var rest []float64
	for i := range t {
		rest = append(rest, y[i]-slope*t[i])
	}
	middle, mt := signal.Median(rest), 0.0
	for i := range rest {
		rest[i] = math.Abs(rest[i] - middle)
		mt += t[i] / float64(len(t))
	}
	var sum float64
	for _, v := range t {
		sum += (v - mt) * (v - mt)
	}
	// 1.48 times the median deviation is a standard deviation of normal errors; one
	// row is what a click may be off in any case.
	sd = max(1, 1.48*signal.Median(rest)) / math.Sqrt(sum)
	return slope, sd, sum > 0
}

// nearing doubts the view where the horse grows or shrinks the wrong way between
// the frames that were marked: by the height in the picture from the hooves to the
// head, which does not depend on where the camera points.
func (l *list) nearing(m *record.Marks) {
	// Fores and hinds lie at different distances: each pair is held against itself.
	for _, hinds := range []bool{false, true} {
		first, last := -1, -1
		sizes := map[int]float64{}
		for frame, of := range byFrame(m) {
			var low, high float64
			hooves, heads := 0, 0
			for landmark, p := range of {
				switch {
				case landmark.IsHoof() && landmark.IsHind() == hinds:
					low += p.Y
					hooves++
				case landmark == traj.Head, landmark == traj.Withers, landmark == traj.Croup:
					high += p.Y
					heads++
				}
			}
			if hooves == 0 || heads == 0 {
				continue
			}
			tall := low/float64(hooves) - high/float64(heads)
			if tall < leastTall {
				continue
			}
			sizes[frame] = math.Log(tall)
			if first < 0 || frame < first {
				first = frame
			}
			last = max(last, frame)
		}
		if len(sizes) < 2 {
			continue
		}
		by := sizes[last] - sizes[first]
		if math.Abs(by) < math.Log(grown) || (by > 0) == (m.View == traj.Toward) {
			continue
		}
		l.wrongView(m.View, fmt.Sprintf("it is %s times as tall in frame %d as in frame %d", number(math.Exp(by), 1), last, first))
		return
	}
}

// upright refuses marks by which the horse hangs from its hooves: wherever a hoof and a
// mark of the body were set in one frame, the body lies lower in the picture. In a picture
// that stands on its head what is carried higher looks lower and left is right, so that
// the numbers would name the other side.
func (l *list) upright(m *record.Marks) {
	first := -1
	var body traj.Landmark
	for frame, of := range byFrame(m) {
		lowest := math.Inf(-1)
		for landmark, p := range of {
			if landmark.IsHoof() {
				lowest = max(lowest, p.Y)
			}
		}
		for _, landmark := range traj.Landmarks() {
			p, ok := of[landmark]
			switch {
			case !ok || landmark.IsHoof() || math.IsInf(lowest, -1):
				continue
			case p.Y <= lowest:
				return
			case first < 0 || frame < first:
				first, body = frame, landmark
			}
		}
	}
	if first < 0 {
		return
	}
	l.add(Picture, record.Refuse, fmt.Sprintf("In frame %d the mark of the %s lies below the hooves, and so it is wherever both are marked: the picture stands on its head, or the marks have each other’s names.", first, body.Words()),
		"Have the clip turned so that it plays upright, and mark it anew; left and right are the horse’s own.")
}

// byFrame returns the marks that are visible. Keys: frame, landmark.
func byFrame(m *record.Marks) map[int]map[traj.Landmark]geometry.Point {
	out := map[int]map[traj.Landmark]geometry.Point{}
	for _, k := range m.Marks {
		if k.Hidden || k.X == nil || k.Y == nil {
			continue
		}
		if out[k.Frame] == nil {
			out[k.Frame] = map[traj.Landmark]geometry.Point{}
		}
		out[k.Frame][k.Landmark] = geometry.Point{X: *k.X, Y: *k.Y}
	}
	return out
}

// order doubts the sides where one frame shows left and right of the hips, or of the
// shoulders, the wrong way round: they don't change places.
func (l *list) order(m *record.Marks) {
	l.orderOf(m, traj.LeftHip, "hip")
	l.orderOf(m, traj.LeftShoulder, "shoulder")
}

func (l *list) orderOf(m *record.Marks, left traj.Landmark, part string) {
	wrong, right, where := 0, 0, 0
	for frame, of := range byFrame(m) {
		a, okA := of[left]
		b, okB := of[left.Opposite()]
		if !okA || !okB || math.Abs(a.X-b.X) < partsApart {
			continue
		}
		// The horse's left lies on the picture's right where it comes toward the camera.
		if (a.X > b.X) == (m.View == traj.Toward) {
			right++
		} else {
			if wrong == 0 || frame < where {
				where = frame
			}
			wrong++
		}
	}
	if wrong > 0 {
		l.add(Sides, record.SecondLook, fmt.Sprintf("In frame %d the left %s lies where the right one must be in a horse that goes %s.", where, part, viewWords[m.View]),
			"Look whether left and right are the horse’s own in all marks, and whether the view is right.")
	}
}

// sides doubts left and right where both hooves of a pair land across the line on
// which the horse goes, or where one hoof's places lie on both sides of it.
//
// A straight way on the ground is a straight line in the picture, so the line is
// fitted to the places of all hooves together with how far left and right of it
// those of each pair lie: in metres where the clip is calibrated, else in pixels.
func (l *list) sides(run *metrics.Run) {
	f := fitSides(run)
	if f == nil || l.acrossMidline(f, run.View, "Both %s land across the midline, by %s%s on average, as they do where left and right are swapped in the marks.") {
		return
	}
	for k, c := range f.wrong {
		if c >= wrongPlaces && float64(c) >= wrongShare*float64(f.all[k]) {
			l.add(Sides, record.SecondLook, fmt.Sprintf("%d of %d places of the %s lie on the other side of the midline, clearly: left and right may be swapped in some of its marks.", c, f.all[k], limbs[k].Words()), sidesCheck(run.View))
		}
	}
}

// steps doubts the sides where of the two steps of a pair one takes most of the stride: then
// what was followed as one hoof was another for a while.
func (l *list) steps(run *metrics.Run) {
	if l.has(Sides) || l.has(View) {
		return
	}
	for g, name := range []metrics.Name{metrics.StepLengthFore, metrics.StepLengthHind} {
		s := run.Lookup(name)
		if s == nil {
			continue
		}
		var apart, sd []float64
		for _, o := range s.Observations {
			if stride := o.Left + o.Right; stride > 0 { // Neither is missing.
				apart, sd = append(apart, (o.Right-o.Left)/stride), append(sd, o.SD/stride)
			}
		}
		off := signal.Median(apart)
		if len(apart) == 0 || math.Abs(off)-surely*signal.Median(sd) < stepsApart {
			continue
		}
		l.add(Sides, record.SecondLook, fmt.Sprintf("Of the %s the step that ends with the %s one takes %.0f %% of the stride, the other %.0f %%.", pairs[g], map[bool]string{true: "left", false: "right"}[off < 0], 50+50*math.Abs(off), 50-50*math.Abs(off)),
			"Look whether the marks and the stances of each are that limb’s own, and whether left and right are swapped in some of them.")
	}
}

// acrossMidline doubts the sides of the pairs that lie across the midline, and reports
// whether there is one; says has room for the pair, by how much, and the unit.
func (l *list) acrossMidline(f *sidesFit, v traj.View, says string) bool {
	unit, scale, least := " cm", 100.0, across
	if !f.metric {
		unit, scale, least = " px", 1, acrossPX
	}
	swapped := false
	for g, pair := range pairs {
		if f.n[g][0] == 0 || f.n[g][1] == 0 || math.IsNaN(f.out[g]) {
			continue
		}
		if f.out[g] < -least && f.out[g] < -surely*f.sd[g] {
			swapped = true
			l.add(Sides, record.SecondLook, fmt.Sprintf(says, pair, number(-scale*f.out[g], 1), unit), sidesCheck(v))
		}
	}
	return swapped
}

func sidesCheck(v traj.View) string {
	return fmt.Sprintf("Look in a frame in which both are seen: in a horse that goes %s its left limbs are on the picture’s %s. Put the marks right; where the horse really crosses its limbs, confirm it.",
		viewWords[v], map[traj.View]string{traj.Toward: "right", traj.Away: "left"}[v])
}

// limbs is the order in which arrays over limbs are indexed.
var limbs = [4]traj.Landmark{traj.LeftFore, traj.RightFore, traj.LeftHind, traj.RightHind}

// pairs names the pairs, by whose index arrays are.
var pairs = [2]string{"fores", "hinds"}

// sidesFit is how far hooves land from the line of travel, each to its own side.
type sidesFit struct {
	metric     bool
	n          [2][2]int  // Places. Index: pair, side.
	out, sd    [2]float64 // Outward on average, m or px at the size of the nearest place. Index: pair.
	wrong, all [4]int     // Places clearly on the other side, and all. Index: limb.
	outward    []float64  // How far each place lies from the line to its own side, m or px.
}

// side is +1 for limbs whose outward is to the right, as filmed.
func side(v traj.View, limb int) float64 {
	if limb%2 == 0 {
		return v.LeftSign()
	}
	return -v.LeftSign()
}

// sidesPlace is where a hoof stood across the lane and along it, m, or in the picture, px.
type sidesPlace struct {
	x, y, sd float64
	limb     int
}

// fitSides fits a line with sides to the places of a run's hooves; nil where they do not
// tell it.
func fitSides(run *metrics.Run) *sidesFit {
	f := &sidesFit{metric: run.Level.AtLeast(geometry.LevelHeight)}
	if math.IsNaN(f.fit(run.View, f.places(run))) {
		return nil
	}
	return f
}

// fit fits x = a + b·y + Σ outward·side to places and returns by what they scatter more
// than they should; NaN where they do not tell the line.
func (f *sidesFit) fit(v traj.View, places []sidesPlace) (scatter float64) {
	for _, p := range places {
		f.n[p.limb/2][p.limb%2]++
		f.all[p.limb]++
	}
	var both []int // Pairs of which either hoof has a place.
	for g := range 2 {
		f.out[g], f.sd[g] = math.NaN(), math.NaN()
		if f.n[g][0] > 0 && f.n[g][1] > 0 {
			both = append(both, g)
		}
	}
	columns := 2 + len(both)
	if len(places) < 5 || len(both) == 0 || len(places) < columns+1 {
		return math.NaN()
	}
	terms, x := make([][]float64, len(places)), make([]float64, len(places))
	for i, p := range places {
		terms[i], x[i] = make([]float64, columns), p.x
		terms[i][0], terms[i][1] = 1, p.y
		for c, g := range both {
			if p.limb/2 == g {
				terms[i][2+c] = side(v, p.limb)
			}
		}
	}
	fit, scatter := fitRobustly(places, terms, x)
	if fit == nil {
		return math.NaN()
	}
	for c, g := range both {
		own := make([]float64, columns)
		own[2+c] = 1
		f.out[g], f.sd[g] = fit.At(own), scatter*fit.SD(own)
	}
	clearly := clearlyOff
	if !f.metric {
		clearly = clearlyOffPX
	}
	for i, p := range places {
		line := fit.Coefficients[0] + fit.Coefficients[1]*terms[i][1]
		o := (p.x - line) * side(v, p.limb)
		f.outward = append(f.outward, o)
		if o < -clearly && o < -surely*p.sd {
			f.wrong[p.limb]++
		}
	}
	return scatter
}

// places gathers where hooves stood.
func (f *sidesFit) places(run *metrics.Run) (places []sidesPlace) {
	for _, c := range run.Contacts {
		k := slices.Index(limbs[:], c.Limb)
		if f.metric && !c.Placed || k < 0 {
			continue
		}
		p := sidesPlace{c.X, c.Y, math.Hypot(c.XSD, setDown), k}
		if !f.metric {
			p = sidesPlace{c.PictureX, c.PictureY, setDownPX, k}
		}
		places = append(places, p)
	}
	return places
}

// fitRobustly fits the terms so that places far off count less, and returns by what the
// places scatter more than they should: 1.48 times the median deviation, with the freedom
// that the fit took, at least 1. The fit is nil where the places do not tell it.
func fitRobustly(places []sidesPlace, terms [][]float64, x []float64) (fit *signal.LinearFit, scatter float64) {
	sd, z := make([]float64, len(places)), make([]float64, len(places))
	for i, p := range places {
		sd[i] = p.sd
	}
	freedom := math.Sqrt(float64(len(places)) / float64(len(places)-len(terms[0])))
	for range 8 {
		var err error
		if fit, err = signal.FitLinear(terms, x, sd, 1e-12); err != nil {
			return nil, 0
		}
		for i, p := range places {
			z[i] = math.Abs(x[i]-fit.At(terms[i])) / p.sd
		}
		scatter = max(1, 1.48*signal.Median(z)*freedom)
		for i, p := range places {
			sd[i] = p.sd * math.Sqrt(max(1, z[i]/scatter/1.5))
		}
	}
	return fit, scatter
}
