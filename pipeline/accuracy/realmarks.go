package accuracy

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// OtherMarks returns marks of a real clip that another person, or the same one on
// another day, would have set: n of each foot and of the body among the clip's hand
// readings of feet that stand, spread over the clip, the which-th of several such
// choices. Fewer where fewer were read. Readings made twice are taken as first read.
func OtherMarks(data string, c RealClip, n, which int) (*record.Marks, error) {
	m, err := record.ReadMarks(filepath.Join(data, c.Name+".marks.json"))
	if err != nil {
		return nil, err
	}
	readings, err := readingsOf(filepath.Join(data, "hand-read-positions.csv"), c)
	if err != nil {
		return nil, err
	}
	of := map[traj.Landmark][]record.Mark{}
	for _, r := range readings {
		l := r.landmark
		if l.IsHoof() && r.state != "stands" || r.frame%c.Every != 0 {
			continue
		}
		mark := record.At(r.frame/c.Every, l, r.x, r.y)
		if !slices.ContainsFunc(of[l], func(o record.Mark) bool { return o.Frame == mark.Frame }) {
			of[l] = append(of[l], mark)
		}
	}
	m.Marks = nil
	for _, l := range traj.Landmarks() {
		marks := of[l]
		slices.SortFunc(marks, func(a, b record.Mark) int { return a.Frame - b.Frame })
		k := min(n, len(marks))
		for i := range k {
			// Evenly spread, each choice a little on from the one before.
			at := (float64(i) + math.Mod(0.5+0.38*float64(which), 1)) / float64(k) * float64(len(marks))
			m.Marks = append(m.Marks, marks[min(int(at), len(marks)-1)])
		}
	}
	slices.SortStableFunc(m.Marks, func(a, b record.Mark) int { return a.Frame - b.Frame })
	return m, nil
}

// WriteStrides writes what several mark sets of each clip give for the stride:
// figures[i] are those of clips[i], a nil one a set that could not be measured.
func WriteStrides(w io.Writer, clips []RealClip, figures [][]*RealFigures) {
	fmt.Fprint(w, "| clip | mark sets | standing feet seen | error median / worst, px | stride given | interval holds the reading | nearer to half or twice it |\n| --- | --: | --- | --- | --: | --: | --: |\n")
	for i, c := range clips {
		var feet RealTally
		given, held, doubled := 0, 0, 0
		for _, f := range figures[i] {
			if f == nil {
				continue
			}
			feet.Read += f.Feet.Read
			feet.Seen += f.Feet.Seen
			feet.Errors = append(feet.Errors, f.Feet.Errors...)
			if f.Stride == nil || math.IsNaN(f.StrideRead) {
				continue
			}
			given++
			// A reading of a stride is good to a frame or two, 30 ms at 60 frames/s.
			if s := f.Stride; s.Low-0.03 <= f.StrideRead && f.StrideRead <= s.High+0.03 {
				held++
			}
			if q := math.Abs(math.Log2(f.Stride.Value / f.StrideRead)); q > 0.5 {
				doubled++
			}
		}
		seen, errors := feet.line()
		fmt.Fprintf(w, "| `%s` | %d | %s | %s | %d | %d | %d |\n", c.Name, len(figures[i]), seen, errors, given, held, doubled)
	}
}
