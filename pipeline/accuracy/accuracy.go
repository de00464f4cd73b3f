package accuracy

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// Figures are the errors of one measured clip against truth. What could not be
// had is NaN.
type Figures struct {
	// StanceRMS and SwingRMS are the errors of hoof positions, px, root mean
	// square over both axes, in frames reported as seen; Body that of the others.
	StanceRMS, SwingRMS, BodyRMS float64
	// Wrong counts frames reported as seen that are more than 5 px off; Seen all
	// frames reported as seen.
	Wrong, Seen int
	// AcrossRMS is the error along x, px, of frames in which only that is said to
	// hold; AcrossWrong counts those more than 5 px off, Across all of them.
	AcrossRMS           float64
	AcrossWrong, Across int
	// NormalisedSD is the standard deviation of error over reported spread.
	NormalisedSD float64
	// HeadLow and HeadHigh are the errors of the run's mean difference, mm, against
	// the truth of the same strides.
	HeadLow, HeadHigh float64
	// StepFore and StepHind are those of the step-length difference, cm.
	StepFore, StepHind float64
	// WidthFore and WidthHind are the sizes of the base widths' errors, cm.
	WidthFore, WidthHind float64
	// Arc is the largest error of the four limbs' means, cm.
	Arc float64
	// On and Off are the medians of the absolute errors of hoof-on and hoof-off, ms.
	On, Off float64
	// Contacts counts the timed landings that have a true one within 0.1 s;
	// Invented those that have none.
	Contacts, Invented int
	// Outside names measures whose true mean lies outside the reported interval, and
	// Inside how many lie inside.
	Outside []string
	Inside  int
}

// Compare sets the results in folder out beside the truth.
func Compare(out string, truth *scene.Truth) (*Figures, error) {
	result, err := record.ReadResult(out)
	if err != nil {
		return nil, err
	}
	set, err := readSignals(filepath.Join(out, "signals.csv"))
	if err != nil {
		return nil, err
	}
	return compare(set, result, truth), nil
}

func compare(set map[traj.Landmark]map[int]seen, result *record.Result, truth *scene.Truth) *Figures {
	f := new(Figures)
	f.positions(set, truth)
	f.contacts(result, truth)
	f.measures(result, truth)
	return f
}

type seen struct {
	x, y, sd, sdY float64
	across        bool
	marked        bool // A person put it there.
}

// off returns how far it lies from (x, y), px: down 0 where nothing is said of that.
func (s seen) off(x, y float64) (dx, dy float64) {
	dx, dy = s.x-x, s.y-y
	if s.across || math.IsNaN(dy) {
		dy = 0
	}
	return dx, dy
}

// readSignals returns the positions reported as seen. Index: frame.
func readSignals(path string) (map[traj.Landmark]map[int]seen, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	out := map[traj.Landmark]map[int]seen{}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	for _, l := range traj.Landmarks() {
		name := strings.ReplaceAll(string(l), "-", "_")
		at, marked := column[name+"_status"]
		if !marked {
			continue
		}
		out[l] = map[int]seen{}
		for frame, row := range rows[1:] {
			if row[at] != "tracked" && row[at] != "marked" && row[at] != "across" {
				continue
			}
			s := seen{across: row[at] == "across", marked: row[at] == "marked"}
			for _, part := range []struct {
				suffix string
				into   *float64
			}{{"_x_px", &s.x}, {"_y_px", &s.y}, {"_sd_px", &s.sd}, {"_sd_y_px", &s.sdY}} {
				if *part.into, err = strconv.ParseFloat(row[column[name+part.suffix]], 64); err != nil {
					return nil, fmt.Errorf("read %s: frame %d: %w", path, frame, err)
				}
			}
			out[l][frame] = s
		}
	}
	return out, nil
}

// positionErrors are errors of positions along both axes, px, by what was followed; across
// those along x of frames in which only that is said to hold. normalised are all of them over
// their stated spreads.
type positionErrors struct{ stance, swing, body, across, normalised []float64 }

// of returns where the errors of a landmark at an instant belong.
func (e *positionErrors) of(truth *scene.Truth, l traj.Landmark, at float64) *[]float64 {
	switch {
	case !l.IsHoof():
		return &e.body
	case stanceAt(truth, l, at) != nil:
		return &e.stance
	}
	return &e.swing
}

func (f *Figures) positions(set map[traj.Landmark]map[int]seen, truth *scene.Truth) {
	var e positionErrors
	for _, l := range traj.Landmarks() {
		points := truth.Points(l)
		for frame, at := range truth.Times {
			s, ok := set[l][frame]
			if !ok {
				continue
			}
			dx, dy := s.x-points[frame].X, s.y-points[frame].Y
			if s.across {
				f.Across++
				if math.Abs(dx) > 5 {
					f.AcrossWrong++
				}
				e.across = append(e.across, dx)
				e.normalised = append(e.normalised, dx/s.sd)
				continue
			}
			f.Seen++
			if math.Hypot(dx, dy) > 5 {
				f.Wrong++
			}
			if s.sd > 0 {
				e.normalised = append(e.normalised, dx/s.sd, dy/s.sdY)
			}
			into := e.of(truth, l, at)
			*into = append(*into, dx, dy)
		}
	}
	f.StanceRMS, f.SwingRMS, f.BodyRMS, f.AcrossRMS, f.NormalisedSD = rms(e.stance), rms(e.swing), rms(e.body), rms(e.across), rms(e.normalised)
}

// stanceAt returns the stance in which a limb stands at an instant, heel down, or nil.
func stanceAt(truth *scene.Truth, l traj.Landmark, t float64) *scene.Contact {
	for i, c := range truth.Contacts {
		if c.Limb == l && c.On <= t && t < c.HeelOff {
			return &truth.Contacts[i]
		}
	}
	return nil
}

func rms(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

func (f *Figures) contacts(result *record.Result, truth *scene.Truth) {
	var on, off []float64
	for _, c := range result.Run.Contacts {
		best, at := math.Inf(1), -1
		for i, k := range truth.Contacts {
			if k.Limb == c.Limb && math.Abs(k.On-c.On) < best {
				best, at = math.Abs(k.On-c.On), i
			}
		}
		if c.OnSD >= 0 {
			if best > 0.1 {
				f.Invented++
				continue
			}
			f.Contacts++
			on = append(on, 1000*best)
		}
		if c.OffSD >= 0 && at >= 0 && best <= 0.1 {
			off = append(off, 1000*math.Abs(c.Off-stanceEnd(truth.Contacts[at], result.Run.View)))
		}
	}
	f.On, f.Off = median(on), median(off)
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	x = slices.Clone(x)
	slices.Sort(x)
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// pick chooses left, right or value of an observation.
type pick func(metrics.Observation) float64

func left(o metrics.Observation) float64  { return o.Left }
func right(o metrics.Observation) float64 { return o.Right }
func value(o metrics.Observation) float64 { return o.Value }

// meanError returns the mean of measured minus true over the strides that both
// have, weighted as a run's mean is, and NaN where there are none.
func meanError(result *record.Result, truth *scene.Truth, n metrics.Name, p pick) float64 {
	s, m := result.Run.Lookup(n), truth.Measure(n)
	if s == nil || m == nil {
		return math.NaN()
	}
	sum, weights := 0.0, 0.0
	for _, o := range s.Observations {
		for _, k := range m.Observations {
			if math.Abs(o.Time-k.Time) > 0.1 || math.IsNaN(p(o)) || math.IsNaN(p(k)) {
				continue
			}
			w := 1.0
			if o.SD > 0 {
				w = 1 / (o.SD * o.SD)
			}
			sum += w * (p(o) - p(k))
			weights += w
			break
		}
	}
	return sum / weights // NaN where nothing matched.
}

// headErrors returns the mean errors of the head's low- and high-point
// differences, mm.
func headErrors(result *record.Result, truth *scene.Truth) (low, high float64) {
	var sum, weights [2]float64
	for _, st := range result.Run.Strides {
		want, ok := headDifferences(truth, st)
		if !ok {
			continue
		}
		for i, n := range []metrics.Name{metrics.HeadLowDifference, metrics.HeadHighDifference} {
			s := result.Run.Lookup(n)
			if s == nil {
				continue
			}
			for _, o := range s.Observations {
				if math.Abs(o.Time-st.Start) < 0.01 && o.SD > 0 {
					w := 1 / (o.SD * o.SD)
					sum[i] += w * (o.Value - want[i])
					weights[i] += w
				}
			}
		}
	}
	return sum[0] / weights[0], sum[1] / weights[1] // NaN where there is none.
}

// headDifferences returns the true differences, right − left, of the head's low and high points
// in a stride, mm, and false where the clip does not show them whole.
func headDifferences(truth *scene.Truth, st metrics.Stride) ([2]float64, bool) {
	period := st.End - st.Start
	h := headHeight{truth.Times, truth.Points(traj.Head), period}
	on := foreLandings(truth, st)
	if math.IsNaN(on[0]+on[1]) || max(on[0], on[1])+0.5*period > h.last() || h.last() < 1.3*period {
		return [2]float64{}, false
	}
	var at, lows, highs [2]float64
	for side := range on {
		at[side], lows[side] = h.extreme(on[side]-0.05*period, on[side]+0.45*period, -1)
	}
	for side := range on {
		next := at[1-side]
		if next < at[side] {
			next += period
		}
		_, highs[side] = h.extreme(at[side], next, 1)
	}
	return [2]float64{lows[1] - lows[0], highs[1] - highs[0]}, true
}

// foreLandings returns when the left and the right fore land in a stride, s; NaN where one does not.
func foreLandings(truth *scene.Truth, st metrics.Stride) [2]float64 {
	early := 0.1 * (st.End - st.Start)
	on := [2]float64{math.NaN(), math.NaN()}
	for _, c := range truth.Contacts {
		for side, limb := range []traj.Landmark{traj.LeftFore, traj.RightFore} {
			if c.Limb == limb && c.On > st.Start-early && c.On < st.End-early {
				on[side] = c.On
			}
		}
	}
	return on
}

// headHeight is the head's true height. A horse also raises and lowers its head slowly, which
// the measures take off as their definition says, so it is taken off the truth here: the
// mean over the stride around each instant.
type headHeight struct {
	times  []float64
	points []scene.Point
	period float64 // Of the stride, s.
}

// last is the instant of the clip's last frame, s.
func (h headHeight) last() float64 { return h.times[len(h.times)-1] }

// height returns the height over the ground at an instant, mm.
func (h headHeight) height(t float64) float64 {
	k := min(max(sort.SearchFloat64s(h.times, t), 1), len(h.times)-1)
	a, b := h.times[k-1], h.times[k]
	u := (t - a) / (b - a)
	return 1000 * ((1-u)*h.points[k-1].Lane[2] + u*h.points[k].Lane[2])
}

// carriage returns the mean height over the stride around an instant, mm.
func (h headHeight) carriage(t float64) float64 {
	const n = 60
	mean := 0.0
	for i := range n {
		mean += h.height(t+h.period*((float64(i)+0.5)/n-0.5)) / n
	}
	return mean
}

// nod returns the height over the carriage at an instant, mm. At the clip's ends the carriage
// goes on as it went.
func (h headHeight) nod(t float64) float64 {
	first, end := h.period/2, h.last()-h.period/2
	switch {
	case t < first:
		return h.height(t) - h.carriage(first) - (t-first)*(h.carriage(first+0.1)-h.carriage(first))/0.1
	case t > end:
		return h.height(t) - h.carriage(end) - (t-end)*(h.carriage(end)-h.carriage(end-0.1))/0.1
	}
	return h.height(t) - h.carriage(t)
}

// extreme returns when the nod is highest, or with a sign of −1 lowest, between two instants,
// and what it is then.
func (h headHeight) extreme(from, to, sign float64) (at, value float64) {
	value = math.Inf(-1)
	for t := from; t <= min(to, h.last()); t += 0.004 {
		if v := sign * h.nod(t); v > value {
			at, value = t, v
		}
	}
	return at, sign * value
}

// worst returns the largest absolute value, NaN where there is none.
func worst(x ...float64) float64 {
	out := math.NaN()
	for _, v := range x {
		if !math.IsNaN(v) && !(math.Abs(v) <= out) {
			out = math.Abs(v)
		}
	}
	return out
}

func (f *Figures) measures(result *record.Result, truth *scene.Truth) {
	of := func(n metrics.Name, p pick) float64 { return meanError(result, truth, n, p) }
	f.HeadLow, f.HeadHigh = headErrors(result, truth)
	f.StepFore, f.StepHind = 100*of(metrics.StepLengthFore, value), 100*of(metrics.StepLengthHind, value)
	f.WidthFore = math.Abs(of(metrics.BaseWidthFore, value))
	f.WidthHind = math.Abs(of(metrics.BaseWidthHind, value))
	f.Arc = math.NaN()
	for _, n := range []metrics.Name{metrics.LateralArcFore, metrics.LateralArcHind, metrics.MedialArcFore, metrics.MedialArcHind} {
		f.Arc = worst(f.Arc, of(n, left), of(n, right))
	}
	if result.Summary == nil {
		return
	}
	for _, r := range result.Summary.Results {
		want := truth.Mean(r.Name)
		d, _ := metrics.Define(r.Name)
		if r.Value == nil || math.IsNaN(want) || d.PerRun {
			continue
		}
		if r.Value.Low <= want && want <= r.Value.High {
			f.Inside++
		} else {
			f.Outside = append(f.Outside, fmt.Sprintf("%s %.4g not in %.4g to %.4g %s", r.Name, want, r.Value.Low, r.Value.High, r.Unit))
		}
	}
}

// Header and Row make a table.
func Header() string {
	return fmt.Sprintf("%-34s %6s %6s %6s %9s %6s %9s %5s | %6s %6s %6s %6s %6s %6s %6s | %5s %5s %4s %3s | %s",
		"clip", "stance", "swing", "body", "wrong", "across", "wrong", "nSD", "headLo", "headHi", "stepF", "stepH", "widthF", "widthH", "arc", "on", "off", "n", "inv", "in/out")
}

// Row is one line under Header: px, mm, cm and ms.
func (f *Figures) Row(name string) string {
	return fmt.Sprintf("%-34s %6.2f %6.2f %6.2f %4d/%4d %6.2f %4d/%4d %5.2f | %6.1f %6.1f %6.1f %6.1f %6.1f %6.1f %6.1f | %5.1f %5.1f %4d %3d | %d/%d",
		name, f.StanceRMS, f.SwingRMS, f.BodyRMS, f.Wrong, f.Seen, f.AcrossRMS, f.AcrossWrong, f.Across, f.NormalisedSD, f.HeadLow, f.HeadHigh, f.StepFore, f.StepHind, f.WidthFore, f.WidthHind, f.Arc,
		f.On, f.Off, f.Contacts, f.Invented, f.Inside, len(f.Outside))
}

// TableHeader and TableRow write the same as a Markdown table; at is the number of
// distances at which the clip was marked.
func TableHeader(w io.Writer) {
	fmt.Fprint(w, "| clip | marked at | stance | swing | body | > 5 px | across | > 5 px | error ÷ spread | head low | head high | step fore | step hind | base width fore | base width hind | arc | hoof-on | hoof-off | timed | inside |\n")
	fmt.Fprintln(w, "| --- |"+strings.Repeat(" --: |", 19))
}

// TableRow is one line under TableHeader; what could not be had is a dash.
func (f *Figures) TableRow(w io.Writer, name string, at int) {
	cell := func(format string, v float64) string {
		if math.IsNaN(v) {
			return "–"
		}
		return fmt.Sprintf(format, v)
	}
	two, one := "%.2f", "%.1f"
	cells := []string{name, strconv.Itoa(at), cell(two, f.StanceRMS), cell(two, f.SwingRMS), cell(two, f.BodyRMS), fmt.Sprintf("%d of %d", f.Wrong, f.Seen),
		cell(two, f.AcrossRMS), fmt.Sprintf("%d of %d", f.AcrossWrong, f.Across), cell(two, f.NormalisedSD)}
	for _, v := range []float64{f.HeadLow, f.HeadHigh, f.StepFore, f.StepHind, f.WidthFore, f.WidthHind, f.Arc, f.On, f.Off} {
		cells = append(cells, cell(one, v))
	}
	cells = append(cells, strconv.Itoa(f.Contacts), fmt.Sprintf("%d/%d", f.Inside, len(f.Outside)))
	fmt.Fprintln(w, "| "+strings.Join(cells, " | ")+" |")
}
