package accuracy

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"

	"jogstrip/metrics"
	"jogstrip/metrics/stats"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// Yardstick gathers what hard clips show of the program, apart for every view, part
// of the horse and measure: coverage pooled over measures would hide narrow
// intervals of hard measures behind wide ones of easy measures. The zero value is
// empty. Not for use by two goroutines at once.
type Yardstick struct {
	clips    map[traj.View]int
	failed   []string
	parts    map[partKey]*partTally
	measures map[measureKey]*measureTally
	events   map[eventKey]*eventTally
	order    struct {
		parts    []partKey
		measures []measureKey
		events   []eventKey
	}
}

type partKey struct {
	view traj.View
	part string
}

// partTally is of one part in one view. A hoof stands from hoof-on until its heel
// leaves; frames that a person marked are left out of everything.
type partTally struct {
	inView, followed int // Frames in which it stands (a body landmark: is) in view, and of these the followed.
	inMarked, kept   int // The same of the stances in which a person marked it.
	reported         int // Positions reported as seen, also across the picture only, in any state.
	wrong, excused   int // More than 5 px off, and of these inside three stated spreads.
	x, y             []float64
	within, held     int // Coordinates, and those whose 95 % interval holds the truth.
}

type measureKey struct {
	view traj.View
	name metrics.Name
}

type measureTally struct {
	unit        string
	given, held int
	half, off   []float64 // Half widths of the intervals; estimate − truth.
	// own is estimate − truth of the strides that were measured alone, as the interval of one
	// run says; where truth and result do not have the same strides it is off.
	own []float64
}

type eventKey struct {
	view traj.View
	part string
	end  string // hoof-on or hoof-off.
}

type eventTally struct {
	stances int       // True ones that lie inside the clip.
	off     []float64 // Given − true, ms.
	held    int       // Inside 1.96 stated spreads.
	// invented counts stances that no true one overlaps; under hoof-on only.
	invented int
}

// partOf is the part of the horse that a landmark is of, as tables say it.
func partOf(l traj.Landmark) string {
	switch {
	case l.IsHind():
		return "hind"
	case l.IsHoof():
		return "fore"
	}
	return string(l)
}

// Add sets the results in folder out beside the truth.
func (y *Yardstick) Add(out string, truth *scene.Truth) error {
	result, err := record.ReadResult(out)
	if err != nil {
		return err
	}
	set, err := readSignals(filepath.Join(out, "signals.csv"))
	if err != nil {
		return err
	}
	y.count(truth.Scene.View)
	y.addPositions(set, truth)
	y.addEvents(result, truth)
	y.addMeasures(result, truth)
	return nil
}

// Fail counts a clip that could not be measured.
func (y *Yardstick) Fail(c Clip, err error) {
	y.count(c.View)
	y.failed = append(y.failed, fmt.Sprintf("%s: %v", c.Name(), err))
}

func (y *Yardstick) count(view traj.View) {
	if y.clips == nil {
		y.clips = map[traj.View]int{}
	}
	y.clips[view]++
}

func (y *Yardstick) part(view traj.View, part string) *partTally {
	return tallyOf(&y.parts, &y.order.parts, partKey{view, part})
}

// tallyOf returns the tally of key k. One that is new is made, and k comes last in the order.
func tallyOf[K comparable, T any](tallies *map[K]*T, order *[]K, k K) *T {
	if *tallies == nil {
		*tallies = map[K]*T{}
	}
	if (*tallies)[k] == nil {
		(*tallies)[k] = new(T)
		*order = append(*order, k)
	}
	return (*tallies)[k]
}

func (y *Yardstick) addPositions(set map[traj.Landmark]map[int]seen, truth *scene.Truth) {
	for _, l := range traj.Landmarks() {
		if set[l] == nil {
			continue
		}
		points := truth.Points(l)
		for frame, at := range truth.Times {
			s, reported := set[l][frame]
			if reported && s.marked {
				continue
			}
			name, still := phaseOf(truth, l, at)
			p := y.part(truth.Scene.View, name)
			if points[frame].Visible && still {
				p.addInView(reported, holdsMark(set[l], truth, l, at))
			}
			if reported {
				p.addReported(s, points[frame])
			}
		}
	}
}

// phaseOf returns the part that a landmark counts to at an instant, and whether it is to be
// followed then: a hoof while it stands, a body landmark always.
func phaseOf(truth *scene.Truth, l traj.Landmark, at float64) (part string, still bool) {
	switch {
	case !l.IsHoof():
		return partOf(l), true
	case stanceAt(truth, l, at) != nil:
		return partOf(l) + ", standing", true
	}
	return partOf(l) + ", in the air", false
}

// holdsMark reports whether a hoof is marked in the stance in which it stands at an instant.
func holdsMark(positions map[int]seen, truth *scene.Truth, l traj.Landmark, at float64) bool {
	stance := stanceAt(truth, l, at)
	if stance == nil {
		return false
	}
	for frame, s := range positions {
		if s.marked && stanceAt(truth, l, truth.Times[frame]) == stance {
			return true
		}
	}
	return false
}

// addInView counts a frame in which the part is to be followed and in view; marked says that it
// is of a stance in which a person marked it.
func (p *partTally) addInView(followed, marked bool) {
	p.inView++
	if followed {
		p.followed++
	}
	if marked {
		p.inMarked++
	}
	if marked && followed {
		p.kept++
	}
}

// addReported counts a position reported as seen.
func (p *partTally) addReported(s seen, truth scene.Point) {
	p.reported++
	dx, dy := s.off(truth.X, truth.Y)
	if math.Hypot(dx, dy) > 5 {
		p.wrong++
		if math.Abs(dx) <= 3*s.sd && (s.across || math.Abs(dy) <= 3*s.sdY) {
			p.excused++
		}
	}
	p.addCoordinate(&p.x, dx, s.sd)
	if !s.across {
		p.addCoordinate(&p.y, dy, s.sdY)
	}
}

// addCoordinate counts a coordinate's error, where it has a spread.
func (p *partTally) addCoordinate(into *[]float64, off, sd float64) {
	if !(sd > 0) {
		return
	}
	*into = append(*into, off/sd)
	p.within++
	if math.Abs(off) <= 1.96*sd {
		p.held++
	}
}

// event returns the tally of an end of the stances of a limb.
func (y *Yardstick) event(view traj.View, l traj.Landmark, end string) *eventTally {
	return tallyOf(&y.events, &y.order.events, eventKey{view, partOf(l), end})
}

// addEvents matches every timed stance with the true one that it overlaps longest.
func (y *Yardstick) addEvents(result *record.Result, truth *scene.Truth) {
	view := truth.Scene.View
	last := truth.Times[len(truth.Times)-1]
	for _, c := range truth.Contacts {
		if c.On >= 0 && c.On <= last {
			y.event(view, c.Limb, "hoof-on").stances++
		}
		if e := stanceEnd(c, view); e >= 0 && e <= last {
			y.event(view, c.Limb, "hoof-off").stances++
		}
	}
	for _, c := range result.Run.Contacts {
		match := longestOverlap(truth, c)
		if match == nil {
			y.event(view, c.Limb, "hoof-on").invented++
			continue
		}
		y.event(view, c.Limb, "hoof-on").add(c.On, c.OnSD, match.On)
		y.event(view, c.Limb, "hoof-off").add(c.Off, c.OffSD, stanceEnd(*match, view))
	}
}

// stanceEnd returns when a stance ends as a view shows it: from behind the heel is marked, and
// the stance ends where it leaves.
func stanceEnd(c scene.Contact, view traj.View) float64 {
	if view == traj.Away {
		return c.HeelOff
	}
	return c.Off
}

// longestOverlap returns the true stance of the same limb that a measured one overlaps longest,
// or nil where it overlaps none.
func longestOverlap(truth *scene.Truth, c metrics.Contact) *scene.Contact {
	longest := 0.0
	var match *scene.Contact
	for i, k := range truth.Contacts {
		if k.Limb != c.Limb {
			continue
		}
		if o := math.Min(c.Off, stanceEnd(k, truth.Scene.View)) - math.Max(c.On, k.On); o > longest {
			longest, match = o, &truth.Contacts[i]
		}
	}
	return match
}

// add counts an instant given, s, against the true one, unless its spread says that it was not
// measured.
func (e *eventTally) add(given, sd, want float64) {
	if sd < 0 {
		return
	}
	e.off = append(e.off, 1000*(given-want))
	if math.Abs(given-want) <= 1.96*sd {
		e.held++
	}
}

// addMeasures holds the run's intervals against the true mean over the strides of
// the clip. Of measures that have one value a run, the line's drift alone is something that
// a run has: spreads need more strides than a clip shows.
func (y *Yardstick) addMeasures(result *record.Result, truth *scene.Truth) {
	if result.Summary == nil {
		return
	}
	for _, r := range result.Summary.Results {
		want := truth.Mean(r.Name)
		d, _ := metrics.Define(r.Name)
		if r.Value == nil || math.IsNaN(want) || d.PerRun && r.Name != metrics.LineDrift {
			continue
		}
		m := tallyOf(&y.measures, &y.order.measures, measureKey{truth.Scene.View, r.Name})
		m.unit = cmp.Or(m.unit, r.Unit) // The first clip's.
		m.given++
		if r.Value.Low <= want && want <= r.Value.High {
			m.held++
		}
		m.half = append(m.half, (r.Value.High-r.Value.Low)/2)
		m.off = append(m.off, r.Value.Value-want)
		m.own = append(m.own, r.Value.Value-ownTruth(result.Run.Lookup(r.Name), truth.Measure(r.Name), want))
	}
}

// ownTruth returns the true mean over the strides of a series, or mean where none of its
// strides has a truth.
func ownTruth(s *metrics.Series, truth *scene.Measure, mean float64) float64 {
	var sum, count float64
	for _, o := range s.Observations {
		for _, k := range truth.Observations {
			if math.Abs(k.Time-o.Time) < 0.1 && !math.IsNaN(k.Value) {
				sum, count = sum+k.Value, count+1
				break
			}
		}
	}
	if count == 0 {
		return mean
	}
	return sum / count
}

func percent(n, of int) string {
	if of == 0 {
		return "–"
	}
	return fmt.Sprintf("%.0f %%", 100*float64(n)/float64(of))
}

func ratio(x []float64) string {
	if len(x) == 0 {
		return "–"
	}
	return fmt.Sprintf("%.2f", rms(x))
}

func absolute(x []float64) []float64 {
	out := slices.Clone(x)
	for i := range out {
		out[i] = math.Abs(out[i])
	}
	return out
}

func mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// Followed is the share of frames in view in which a hoof that stands is followed,
// NaN where there are none. Part is "fore" or "hind".
func (y *Yardstick) Followed(view traj.View, part string) float64 {
	p := y.part(view, part+", standing")
	if p.inView == 0 {
		return math.NaN()
	}
	return float64(p.followed) / float64(p.inView)
}

// Wrong counts positions reported as seen, those of them more than 5 px off, and of
// these the ones inside three stated spreads, over all views and parts.
func (y *Yardstick) Wrong() (reported, wrong, excused int) {
	for _, p := range y.parts {
		reported += p.reported
		wrong += p.wrong
		excused += p.excused
	}
	return reported, wrong, excused
}

// viewOrder sorts rows: toward before away, else in the order of first sight.
func viewOrder(v traj.View) int {
	if v == traj.Away {
		return 1
	}
	return 0
}

// Write writes the tables as Markdown.
func (y *Yardstick) Write(w io.Writer) {
	fmt.Fprintf(w, "%d clips toward the camera and %d away from it", y.clips[traj.Toward], y.clips[traj.Away])
	if len(y.failed) > 0 {
		fmt.Fprintf(w, ", of which %d could not be measured: %q", len(y.failed), y.failed)
	}
	fmt.Fprint(w, ".\n\n**Positions**\n\n")
	y.writePositions(w, func(string) bool { return true })
	fmt.Fprint(w, "\n**Ends of stances**\n\n")
	fmt.Fprint(w, "| view, part | end | true ones | timed | mean error | median size | 95 % intervals that hold | invented |\n| --- | --- | --: | --: | --: | --: | --: | --: |\n")
	events := slices.Clone(y.order.events)
	slices.SortStableFunc(events, func(a, b eventKey) int { return viewOrder(a.view) - viewOrder(b.view) })
	for _, k := range events {
		e := y.events[k]
		if len(e.off) == 0 {
			fmt.Fprintf(w, "| %s: %s | %s | %d | 0 | – | – | – | %d |\n", k.view, k.part, k.end, e.stances, e.invented)
			continue
		}
		fmt.Fprintf(w, "| %s: %s | %s | %d | %d | %+.0f | %.0f | %s | %d |\n", k.view, k.part, k.end, e.stances, len(e.off), mean(e.off), median(absolute(e.off)), percent(e.held, len(e.off)), e.invented)
	}
	fmt.Fprint(w, "\n**Measures of one run**\n\n")
	fmt.Fprint(w, "| view, measure | unit | given, of clips | median size of the error | median half interval | 95 % intervals that hold |\n| --- | --- | --: | --: | --: | --: |\n")
	measures := slices.Clone(y.order.measures)
	rank := map[metrics.Name]int{}
	for i, d := range metrics.Definitions() {
		rank[d.Name] = i
	}
	slices.SortStableFunc(measures, func(a, b measureKey) int {
		if v := viewOrder(a.view) - viewOrder(b.view); v != 0 {
			return v
		}
		return rank[a.name] - rank[b.name]
	})
	for _, k := range measures {
		m := y.measures[k]
		fmt.Fprintf(w, "| %s: %s | %s | %d of %d | %.3g | %.3g | %d of %d |\n", k.view, k.name, m.unit, m.given, y.clips[k.view], median(absolute(m.off)), median(m.half), m.held, m.given)
	}
}

// writePositions writes the table of those parts that are asked for.
func (y *Yardstick) writePositions(w io.Writer, asked func(part string) bool) {
	fmt.Fprint(w, "| view, part | frames in view | followed | in marked stances | reported | wrong, inside 3 spreads | error over spread x | down | 95 % |\n| --- | --: | --: | --: | --: | --: | --: | --: | --: |\n")
	parts := slices.Clone(y.order.parts)
	slices.SortStableFunc(parts, func(a, b partKey) int { return viewOrder(a.view) - viewOrder(b.view) })
	for _, k := range parts {
		p := y.parts[k]
		if p.reported == 0 && p.inView == 0 || !asked(k.part) {
			continue
		}
		view := "–"
		if p.inView > 0 {
			view = fmt.Sprint(p.inView)
		}
		fmt.Fprintf(w, "| %s: %s | %s | %s | %s | %d | %d, %d | %s | %s | %s |\n", k.view, k.part, view, percent(p.followed, p.inView), percent(p.kept, p.inMarked), p.reported, p.wrong, p.excused, ratio(p.x), ratio(p.y), percent(p.held, p.within))
	}
}

// WriteShoulders writes as Markdown what clips toward the camera show of head, chest and
// points of the shoulders and of the measures of shoulder and trunk.
func (y *Yardstick) WriteShoulders(w io.Writer) {
	clips := y.clips[traj.Toward]
	fmt.Fprintf(w, "%d clips toward the camera", clips)
	if len(y.failed) > 0 {
		fmt.Fprintf(w, ", of which %d could not be measured: %q", len(y.failed), y.failed)
	}
	fmt.Fprint(w, ". Columns are those of the tables above.\n\n")
	y.writePositions(w, func(part string) bool {
		l := traj.Landmark(part)
		return l == traj.Head || l == traj.Chest || l == traj.LeftShoulder || l == traj.RightShoulder
	})
	fmt.Fprint(w, "\nAgainst the true mean over the strides that were measured. *Error over spread*: root mean square,\nover the clips, of error over what the interval states as one standard deviation.\n\n")
	fmt.Fprint(w, "| measure of one run | unit | given, of clips | median size of the error | median half interval | error over spread | 95 % intervals that hold |\n| --- | --- | --: | --: | --: | --: | --: |\n")
	for _, n := range metrics.ShoulderAndTrunk() {
		if n == metrics.CroupSway {
			continue // Seen from behind.
		}
		d, _ := metrics.Define(n)
		m := y.measures[measureKey{traj.Toward, n}]
		if m == nil {
			fmt.Fprintf(w, "| %s | %s | 0 of %d | – | – | – | – |\n", d.Title, d.Unit, clips)
			continue
		}
		fmt.Fprintf(w, "| %s | %s | %d of %d | %.3g | %.3g | %s | %d of %d |\n", d.Title, m.unit, m.given, clips, median(absolute(m.own)), median(m.half), ratio(m.overSpread()), m.holds(), m.given)
	}
}

// overSpread returns errors as multiples of what their intervals state as one standard
// deviation.
func (m *measureTally) overSpread() []float64 {
	out := make([]float64, len(m.own))
	for i, e := range m.own {
		out[i] = e / (m.half[i] / stats.Z95)
	}
	return out
}

// holds counts the intervals that hold the truth of the strides measured.
func (m *measureTally) holds() (n int) {
	for _, z := range m.overSpread() {
		if math.Abs(z) <= stats.Z95 {
			n++
		}
	}
	return n
}

// enough is how many coordinates a factor is worth printing of.
const enough = 30

// WriteFactors writes, for every view and part, by what factor the stated spreads
// along x and down the picture would have to grow for errors and spreads to agree,
// on these clips. The factor of the middle is that of the median size of errors, which
// single wrong positions do not move: where it is far below the other, there are
// outliers, which wider spreads would only hide.
func (y *Yardstick) WriteFactors(w io.Writer) {
	fmt.Fprintf(w, "%-28s %9s %16s %16s\n", "view, part", "positions", "x: all, middle", "down: all, middle")
	parts := slices.Clone(y.order.parts)
	slices.SortStableFunc(parts, func(a, b partKey) int { return viewOrder(a.view) - viewOrder(b.view) })
	both := func(x []float64) string {
		if len(x) < enough {
			return "–"
		}
		// The median size of a normal error is 0.6745 standard deviations.
		return fmt.Sprintf("%.2f, %.2f", rms(x), median(absolute(x))/0.6745)
	}
	for _, k := range parts {
		p := y.parts[k]
		fmt.Fprintf(w, "%-28s %9d %16s %16s\n", fmt.Sprintf("%s: %s", k.view, k.part), p.reported, both(p.x), both(p.y))
	}
	fmt.Fprintf(w, "\n%-28s %9s %22s\n", "view, part, end of stance", "timed", "mean, SD of the error, ms")
	events := slices.Clone(y.order.events)
	slices.SortStableFunc(events, func(a, b eventKey) int { return viewOrder(a.view) - viewOrder(b.view) })
	for _, k := range events {
		e := y.events[k]
		if len(e.off) == 0 {
			continue
		}
		m := mean(e.off)
		centred := slices.Clone(e.off)
		for i := range centred {
			centred[i] -= m
		}
		fmt.Fprintf(w, "%-28s %9d %22s\n", fmt.Sprintf("%s: %s, %s", k.view, k.part, k.end), len(e.off), fmt.Sprintf("%+.0f, %.0f", m, rms(centred)))
	}
}
