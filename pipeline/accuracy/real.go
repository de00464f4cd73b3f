package accuracy

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// RealClip is a clip of real film whose feet and heads a person read by hand.
type RealClip struct {
	Name string // Of its marks, without their ending.
	Film string // Of the film; empty means Name.
	// Readings names the clip in the tables of readings; frame n of the film is frame
	// n·Every there.
	Readings string
	Every    int
	What     string
}

// RealClips lists them. They lie in data/real of the shared folder and nowhere else.
func RealClips() []RealClip {
	return []RealClip{
		{"horse-trot-real60", "", "horse-trot", 4, "a real horse jogs toward a phone, 60 frames/s"},
		{"horse-trot", "", "horse-trot", 1, "the same as filed, slow motion called 60 frames/s"},
		{"bag-man", "", "bag-man", 1, "a man with a bag walks toward"},
		{"man-cane", "", "man-cane", 1, "a man with a cane walks toward a hand-held camera"},
		{"street", "", "street", 1, "a man walks away from a still camera"},
		{"street-toward", "street", "street-toward", 1, "the same film, a man toward"},
	}
}

// Path is the film's path in folder data.
func (c RealClip) Path(data string) string {
	if c.Film != "" {
		return filepath.Join(data, c.Film+".mp4")
	}
	return filepath.Join(data, c.Name+".mp4")
}

// RealFigures is what a measured real clip shows against its readings.
type RealFigures struct {
	Feet, Body RealTally
	Ends       []RealEnd
	// Missed counts the read stances that no measured one overlaps.
	Missed int
	// Stride is the stated stride duration, s, nil where none is; StrideRead the one
	// read by hand, NaN where fewer than two landings of a foot were read.
	Stride     *metrics.Estimate
	StrideRead float64
}

// RealTally counts positions of feet that stand, or of the body, that were read by
// hand; those a person had marked are left out.
type RealTally struct {
	Read, Seen int
	Errors     []float64 // Of the seen, px; along x alone where only that is said to hold.
	Wrong      int       // More than 5 px off.
	// Outside counts those farther off along either axis than three times what is stated of
	// that axis and the reading's own error, 1 px, together.
	Outside int
	// Astray counts those of Wrong that are farther off than that.
	Astray int
}

// RealEnd is one end of a stance.
type RealEnd struct {
	Limb  traj.Landmark
	Off   bool    // The foot leaves; else it lands.
	Error float64 // Measured − read, ms.
	SD    float64 // Stated, ms; negative: not timed.
	Frame float64 // Length of a frame, ms: readings are good to one or two.
}

// Held reports whether the error is within two frames or the stated interval.
func (e RealEnd) Held() bool {
	return math.Abs(e.Error) <= math.Max(2*e.Frame, 1.96*e.SD)
}

var (
	spans    = regexp.MustCompile(`(\d+)\s*\??\s*-\s*(\d+)`)
	landings = regexp.MustCompile(`(\d+)/(\d+)`)
)

// JudgeReal sets the results in folder out beside the readings in folder data.
func JudgeReal(data string, c RealClip, out string) (*RealFigures, error) {
	result, err := record.ReadResult(out)
	if err != nil {
		return nil, err
	}
	set, err := readSignals(filepath.Join(out, "signals.csv"))
	if err != nil {
		return nil, err
	}
	f := &RealFigures{}
	if err := f.positions(filepath.Join(data, "hand-read-positions.csv"), c, set, result.Clip.Frames); err != nil {
		return nil, err
	}
	if err := f.stances(filepath.Join(data, "hand-read-stances.csv"), c, result); err != nil {
		return nil, err
	}
	if result.Summary != nil {
		if r := result.Summary.Lookup(metrics.StrideDuration); r != nil {
			f.Stride = r.Value
		}
	}
	return f, nil
}

// rowsOf returns the rows of a CSV file that are of the clip, without the header.
func rowsOf(path string, c RealClip) ([][]string, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read readings: %w", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("read readings %s: %w", path, err)
	}
	return slices.DeleteFunc(rows, func(r []string) bool { return r[0] != c.Readings }), nil
}

// place is where a person read positions. Several readings of one place count once.
type place struct {
	landmark traj.Landmark
	frame    int // Of the readings.
	state    string
}

// handReading is one reading of a place, px.
type handReading struct {
	place
	mark bool // The marks file was set from it.
	x, y float64
}

// readingsOf reads a clip's readings of positions in the order of the file.
func readingsOf(path string, c RealClip) ([]handReading, error) {
	rows, err := rowsOf(path, c)
	if err != nil {
		return nil, err
	}
	out := make([]handReading, len(rows))
	for i, r := range rows {
		frame, err1 := strconv.Atoi(r[1])
		x, err2 := strconv.ParseFloat(r[5], 64)
		y, err3 := strconv.ParseFloat(r[6], 64)
		if err1 != nil || err2 != nil || err3 != nil {
			return nil, fmt.Errorf("read readings %s: row %d of %s is not numbers", path, i+1, c.Readings)
		}
		out[i] = handReading{place{traj.Landmark(r[2]), frame, r[3]}, r[4] == "mark", x, y}
	}
	return out, nil
}

// readPlaces returns the places read of a clip in the order of the file, and the mean of each
// one's readings, px. Those that the marks were set from are left out.
func readPlaces(path string, c RealClip) (order []place, mean map[place][2]float64, err error) {
	readings, err := readingsOf(path, c)
	if err != nil {
		return nil, nil, err
	}
	at := map[place][][2]float64{}
	for _, r := range readings {
		if r.mark {
			continue
		}
		if at[r.place] == nil {
			order = append(order, r.place)
		}
		at[r.place] = append(at[r.place], [2]float64{r.x, r.y})
	}
	mean = map[place][2]float64{}
	for p, readings := range at {
		mean[p] = meanPoint(readings)
	}
	return order, mean, nil
}

func meanPoint(points [][2]float64) (mean [2]float64) {
	for _, q := range points {
		mean[0] += q[0] / float64(len(points))
		mean[1] += q[1] / float64(len(points))
	}
	return mean
}

// positions compares places. A place read twice counts once, at the readings' mean.
func (f *RealFigures) positions(path string, c RealClip, set map[traj.Landmark]map[int]seen, frames int) error {
	order, read, err := readPlaces(path, c)
	if err != nil {
		return err
	}
	for _, p := range order {
		frame := p.frame / c.Every
		into := f.tallyOf(p)
		if into == nil || p.frame%c.Every != 0 || frame >= frames {
			continue
		}
		s, ok := set[p.landmark][frame]
		if ok && s.marked {
			continue
		}
		into.Read++
		if ok {
			into.add(s, read[p])
		}
	}
	return nil
}

// tallyOf returns where a place counts; nil where the foot does not stand.
func (f *RealFigures) tallyOf(p place) *RealTally {
	switch {
	case !p.landmark.IsHoof():
		return &f.Body
	case p.state == "stands":
		return &f.Feet
	}
	return nil
}

// add counts a position seen where a person read one.
func (t *RealTally) add(s seen, read [2]float64) {
	dx, dy := s.off(read[0], read[1])
	e := math.Hypot(dx, dy)
	t.Seen++
	t.Errors = append(t.Errors, e)
	const reading = 1.0 // Its own error, px.
	wrong, outside := e > 5, math.Abs(dx) > 3*math.Hypot(s.sd, reading) || math.Abs(dy) > 3*math.Hypot(s.sdY, reading)
	if wrong {
		t.Wrong++
	}
	if outside {
		t.Outside++
	}
	if wrong && outside {
		t.Astray++
	}
}

// stances compares the ends of stances, and reads the stride from one foot's
// landings to its next.
func (f *RealFigures) stances(path string, c RealClip, result *record.Result) error {
	rows, err := rowsOf(path, c)
	if err != nil {
		return err
	}
	rate := result.Clip.FrameRate
	frame := func(text string) float64 {
		n, _ := strconv.Atoi(text) // The pattern lets nothing but digits through.
		return float64(n) / float64(c.Every) / rate
	}
	var steps []float64
	for _, r := range rows {
		limb := traj.Landmark(r[1])
		if !limb.IsHoof() {
			continue
		}
		var ons []float64
		for _, m := range landings.FindAllStringSubmatch(r[2], -1) {
			ons = append(ons, frame(m[1]))
		}
		for _, m := range spans.FindAllStringSubmatch(r[3], -1) {
			on, off := frame(m[1]), frame(m[2])
			if m[1] != "0" { // A stance from before the clip has no landing.
				ons = append(ons, on)
			}
			f.addStance(result, limb, on, off)
		}
		for i := 1; i < len(ons); i++ {
			steps = append(steps, ons[i]-ons[i-1])
		}
	}
	f.StrideRead = mean(steps)
	return nil
}

// addStance compares a stance that was read, from landing to leaving, s, with the measured one
// that it overlaps longest.
func (f *RealFigures) addStance(result *record.Result, limb traj.Landmark, on, off float64) {
	longest := 0.0
	var match *metrics.Contact
	for i, k := range result.Run.Contacts {
		if o := math.Min(k.Off, off) - math.Max(k.On, on); k.Limb == limb && o > longest {
			longest, match = o, &result.Run.Contacts[i]
		}
	}
	if match == nil {
		f.Missed++
		return
	}
	rate := result.Clip.FrameRate
	f.Ends = append(f.Ends,
		RealEnd{limb, false, 1000 * (match.On - on), 1000 * match.OnSD, 1000 / rate},
		RealEnd{limb, true, 1000 * (match.Off - off), 1000 * match.OffSD, 1000 / rate})
}

// line is seen of read, median and worst error.
func (t *RealTally) line() (seen, errors string) {
	if t.Seen == 0 {
		return fmt.Sprintf("0 of %d", t.Read), "–"
	}
	return fmt.Sprintf("%d of %d", t.Seen, t.Read), fmt.Sprintf("%.1f / %.1f", median(t.Errors), slices.Max(t.Errors))
}

// WriteReal writes the table of real clips as Markdown. A missing figure, nil, is a
// clip that could not be measured.
func WriteReal(w io.Writer, clips []RealClip, figures []*RealFigures) {
	fmt.Fprint(w, "| clip | standing feet seen | error median / worst, px | wrong (> 5 px), outside 3 spreads | body seen | landings: median size of the error, within 2 frames or what is stated | leavings | stances not found | stride stated / read, s |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n")
	var total RealTally
	for i, c := range clips {
		f := figures[i]
		if f == nil {
			fmt.Fprintf(w, "| %s (`%s`) | could not be measured | | | | | | | |\n", c.What, c.Name)
			continue
		}
		feet, errors := f.Feet.line()
		body, _ := f.Body.line()
		ends := func(off bool) string {
			var size []float64
			held := 0
			for _, e := range f.Ends {
				if e.Off != off || e.SD < 0 {
					continue
				}
				size = append(size, math.Abs(e.Error))
				if e.Held() {
					held++
				}
			}
			if len(size) == 0 {
				return "none timed"
			}
			return fmt.Sprintf("%.0f ms, %d of %d", median(size), held, len(size))
		}
		stride := "none"
		if f.Stride != nil {
			stride = fmt.Sprintf("%.3f (%.3f to %.3f)", f.Stride.Value, f.Stride.Low, f.Stride.High)
		}
		read := "–"
		if !math.IsNaN(f.StrideRead) {
			read = fmt.Sprintf("%.2f", f.StrideRead)
		}
		fmt.Fprintf(w, "| %s (`%s`) | %s | %s | %d, %d | %s | %s | %s | %d | %s / %s |\n", c.What, c.Name, feet, errors, f.Feet.Wrong, f.Feet.Outside, body, ends(false), ends(true), f.Missed, stride, read)
		total.Read += f.Feet.Read
		total.Seen += f.Feet.Seen
		total.Wrong += f.Feet.Wrong
		total.Outside += f.Feet.Outside
		total.Errors = append(total.Errors, f.Feet.Errors...)
	}
	feet, errors := total.line()
	fmt.Fprintf(w, "\nStanding feet in all: %s seen, error median / worst %s px, %d more than 5 px wrong, %d outside three spreads.\n", feet, errors, total.Wrong, total.Outside)
}
