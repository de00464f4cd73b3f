package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/beside"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/framing"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/pipeline/stills"
	"jogstrip/pipeline/table"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// FilmFile is the name of the film of before and after in a comparison's folder.
const FilmFile = "before-after.mp4"

// signalsFile is the name of the table that holds a clip's tracks.
const signalsFile = "signals.csv"

// filmed is a clip with its result, ready to be shown in a film.
type filmed struct {
	result VisitResult
	path   string // Of the clip.
	marks  *record.Marks
	set    *traj.Set
	info   *clip.Info
}

// clipOf returns where the clip of a result lies, or "" where it isn't there.
func clipOf(r VisitResult) string {
	entries, err := os.ReadDir(filepath.Dir(r.Folder))
	if err != nil {
		return ""
	}
	for _, e := range entries {
		if IsClip(e.Name()) && filepath.Base(record.OutPath(e.Name())) == filepath.Base(r.Folder) {
			return filepath.Join(filepath.Dir(r.Folder), e.Name())
		}
	}
	return ""
}

// open reads what a film needs of a clip; the error says why it can't be shown.
func openFilmed(ctx context.Context, r VisitResult) (*filmed, error) {
	if r.Clip.DamagedFrames > 0 {
		return nil, fmt.Errorf("%s has damaged frames", r.Clip.File)
	}
	f := &filmed{result: r, path: clipOf(r)}
	if f.path == "" {
		return nil, fmt.Errorf("the clip %s is not there", r.Clip.File)
	}
	var err error
	if f.marks, err = record.ReadMarks(record.MarksPath(f.path)); err != nil {
		return nil, err
	}
	data, err := fsx.ReadFile(filepath.Join(r.Folder, signalsFile), 256<<20)
	if err != nil {
		return nil, err
	}
	if f.set, _, err = table.ReadSignals(bytes.NewReader(data)); err != nil {
		return nil, fmt.Errorf("%s: %w", r.Folder, err)
	}
	f.set.ShakeRMS = r.Clip.ShakePX
	if f.info, err = clip.Probe(ctx, f.path); err != nil {
		return nil, err
	}
	if fps := f.marks.FilmedFPS; fps > 0 {
		f.info = f.info.FilmedAt(fps)
	}
	if f.info.Width != r.Clip.Width || f.info.Height != r.Clip.Height || len(f.info.Times) < len(f.set.Times) {
		return nil, fmt.Errorf("the clip %s has changed since it was measured", r.Clip.File)
	}
	return f, nil
}

// unchanged reports whether the clip is the one that was measured.
func (f *filmed) unchanged(ctx context.Context) error {
	sum, err := fsx.Hash(ctx, f.path)
	if err != nil {
		return err
	}
	if sum != f.result.Inputs.ClipSHA256 {
		return fmt.Errorf("the clip %s has changed since it was measured", f.result.Clip.File)
	}
	return nil
}

// side returns the clip as one side of the film; without a camera lengths are told by the
// horse's own height.
func (f *filmed) side(title string, cam bool) (beside.Side, error) {
	in := framing.Input{Times: f.set.Times, Tracks: f.set.Tracks, Contacts: f.result.Run.Contacts, View: f.result.Run.View, Shaken: f.set.ShakeRMS > 0}
	if cam {
		in.Camera = camera(f.marks)
	}
	horse, err := framing.Of(in)
	return beside.Side{Title: title, Info: f.info, Times: f.set.Times, Tracks: f.set.Tracks, Run: &f.result.Result.Run, Horse: horse}, err
}

// filmPairs picks for each view the two runs that have most strides to show. why says of
// views that both visits have why there is nothing to show.
func filmPairs(ctx context.Context, b, a *Visit) (pairs []beside.Pair, why []string, err error) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		pair, reasons, err := filmPair(ctx, view, b, a)
		if err != nil {
			return nil, nil, err
		}
		if pair != nil {
			pairs = append(pairs, *pair)
		}
		for _, r := range reasons {
			why = append(why, fmt.Sprintf("%s: %s", glance.Way(view), r))
		}
	}
	return pairs, why, ctx.Err()
}

// filmPair picks the two runs of a view that have most strides to show. Where there is nothing to
// show it returns nil and the reasons; no reasons where one of the visits lacks the view.
func filmPair(ctx context.Context, view traj.View, b, a *Visit) (*beside.Pair, []string, error) {
	before, problems, err := filmedRuns(ctx, view, b)
	if err != nil {
		return nil, nil, err
	}
	after, more, err := filmedRuns(ctx, view, a)
	if err != nil {
		return nil, nil, err
	}
	pair, chosen, unlike := mostStrides(view, before, after, b, a)
	problems = append(append(problems, more...), unlike...)
	switch {
	case pair != nil:
		if changed := changedClips(ctx, chosen); len(changed) > 0 {
			return nil, changed, nil
		}
		return pair, nil, nil
	case len(problems) > 0:
		return nil, []string{strings.Join(slices.Compact(problems), "; ")}, nil
	case len(before) > 0 && len(after) > 0:
		return nil, []string{"no stride of both visits lies whole in the picture"}, nil
	}
	return nil, nil, nil
}

// filmedRuns opens a visit's runs of a view; problems says why others can't be shown.
func filmedRuns(ctx context.Context, view traj.View, v *Visit) (runs []*filmed, problems []string, err error) {
	for _, r := range v.Results {
		if r.Run.View != view {
			continue
		}
		f, err := openFilmed(ctx, r)
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		if err != nil {
			problems = append(problems, err.Error())
			continue
		}
		runs = append(runs, f)
	}
	return runs, problems, nil
}

// mostStrides returns the pair of runs that has most strides to show, and its clips, or nil where
// none has any; problems says of which runs no pair can be made.
func mostStrides(view traj.View, before, after []*filmed, b, a *Visit) (best *beside.Pair, chosen [2]*filmed, problems []string) {
	most := 0
	for _, x := range before {
		for _, y := range after {
			p, err := pairOf(view, x, y, b, a)
			if err != nil {
				problems = append(problems, err.Error())
				continue
			}
			if n := p.Strides(); n > most {
				best, chosen, most = &p, [2]*filmed{x, y}, n
			}
		}
	}
	return best, chosen, problems
}

// changedClips says of each clip that is not the one that was measured why it is not.
func changedClips(ctx context.Context, clips [2]*filmed) (reasons []string) {
	for _, f := range clips {
		if err := f.unchanged(ctx); err != nil {
			reasons = append(reasons, err.Error())
		}
	}
	return reasons
}

func pairOf(view traj.View, x, y *filmed, b, a *Visit) (beside.Pair, error) {
	titles := [2]string{"Before, " + shortDay(b), "Now, " + shortDay(a)}
	for _, cam := range []bool{true, false} {
		before, err := x.side(titles[0], cam)
		if err != nil {
			return beside.Pair{}, err
		}
		after, err := y.side(titles[1], cam)
		if err != nil {
			return beside.Pair{}, err
		}
		// One size needs one measure of it.
		if before.Horse.Metric == after.Horse.Metric {
			return beside.Pair{View: view, Before: before, After: after, Span: stills.Span(after.Horse, a.Around.Horse.WithersM)}, nil
		}
	}
	return beside.Pair{}, framing.ErrUnknown
}

// film makes the film of before and after in the folder. That there is nothing to show, or
// that it can't be made, is no error; why says so.
func (f *files) film(ctx context.Context, b, a *Visit, opts CompareOptions) (sections []beside.Section, why []string) {
	if f.err != nil {
		return nil, nil
	}
	pairs, why, err := filmPairs(ctx, b, a)
	if err != nil {
		f.err = err
		return nil, nil
	}
	if len(pairs) == 0 {
		if says := otherWays(b, a); says != "" {
			why = []string{says}
		} else if len(why) == 0 {
			why = []string{"the two visits have no view in common"}
		}
		return nil, why
	}
	sections, more, err := beside.Make(ctx, filepath.Join(f.dir, FilmFile), pairs, func(done, total int) {
		if opts.Progress != nil {
			opts.Progress("film of before and after", done, total)
		}
	})
	why = append(why, more...)
	switch {
	case ctx.Err() != nil:
		f.err = ctx.Err()
		return nil, nil
	case errors.Is(err, beside.ErrNothing):
		return nil, why
	case err != nil:
		// A film costs no comparison.
		f.err = os.RemoveAll(filepath.Join(f.dir, FilmFile))
		return nil, append(why, err.Error())
	}
	return sections, why
}

// strideMeasures are the two measures shown stride by stride in a view: the one first that was
// declared beforehand, as everywhere on a page. changes are a comparison's, nil for one run.
func strideMeasures(v traj.View, changes []metrics.Change) []metrics.Name {
	out := []metrics.Name{metrics.HeadLowDifference, metrics.StepLengthFore}
	if v == traj.Away {
		out = []metrics.Name{metrics.CroupLowDifference, metrics.StepLengthHind}
	}
	if slices.ContainsFunc(changes, func(c metrics.Change) bool { return c.Followed && c.Name == out[1] }) {
		slices.Reverse(out)
	}
	return out
}

// shiftOf returns by how much strides that begin at the given instants begin later on average
// than the run's own, which may be counted from another limb; between minus half a stride and
// half a stride, s. Less this, each of them belongs to one stride of the run: half a stride
// away, each by itself might belong to either neighbour.
func shiftOf(run *metrics.Run, begins []float64) float64 {
	var sine, cosine, length, n float64
	for _, t := range begins {
		var near *metrics.Stride
		for i := range run.Strides {
			if s := &run.Strides[i]; near == nil || math.Abs(s.Start-t) < math.Abs(near.Start-t) {
				near = s
			}
		}
		if near == nil || !(near.End > near.Start) {
			continue
		}
		turn := 2 * math.Pi * (t - near.Start) / (near.End - near.Start)
		sine, cosine, length, n = sine+math.Sin(turn), cosine+math.Cos(turn), length+near.End-near.Start, n+1
	}
	if n == 0 {
		return 0
	}
	return math.Atan2(sine, cosine) / (2 * math.Pi) * length / n
}

// valueAt returns a run's value of a measure, even taken off, in the stride that begins at t;
// NaN where there is none.
func valueAt(run *metrics.Run, n metrics.Name, t float64) float64 {
	series := run.Lookup(n)
	if series == nil {
		return math.NaN()
	}
	d, _ := metrics.Define(n)
	even, _ := d.Even()
	best, value := math.Inf(1), math.NaN()
	for _, o := range series.Observations {
		if o.Stride < 0 || o.Stride >= len(run.Strides) {
			continue
		}
		s := run.Strides[o.Stride]
		// What strides vary by is far less than this.
		if off := math.Abs(s.Start - t); off < (s.End-s.Start)*0.25 && off < best && !math.IsNaN(o.Value) {
			best, value = off, o.Value-even
		}
	}
	return value
}

// toleranceOf returns the tolerance of a measure in a summary; 0 is not known.
func toleranceOf(s *metrics.Summary, n metrics.Name) float64 {
	if r := s.Lookup(n); r != nil {
		return r.Tolerance
	}
	return 0
}

// unitOf returns the unit of a measure in a run.
func unitOf(run *metrics.Run, n metrics.Name) string {
	if s := run.Lookup(n); s != nil {
		return s.Unit
	}
	return ""
}

// shownFilm returns the film of before and after for the page, each view with its strides.
func (f *files) shownFilm(sections []beside.Section, c *metrics.Comparison, b, a *Visit) []report.Footage {
	if len(sections) == 0 || f.err != nil {
		return nil
	}
	footage := report.Footage{
		File: FilmFile, Rate: beside.Rate, Width: beside.Width, Height: beside.Height,
		Words: "The two visits’ best runs beside each other, at half speed, the horse at one size; each stride runs from hoof-on to hoof-on of the same limb.",
		Note: "Coloured lines: how high the head (from behind: the croup) was in the last left stance (solid) and in the last right one (dashed). White dashes: the line of travel. Signs: hooves that stand; small ones: where they stood. " +
			"Then the left half of a stride over the mirrored right half: what is alike is grey. The film is " + FilmFile + ".",
	}
	for _, s := range sections {
		one := report.FootageSection{Title: s.Title}
		for _, m := range s.Moments {
			one.Moments = append(one.Moments, report.FootageMoment{From: m.FilmS, To: m.FilmEnd})
		}
		if !s.Halves {
			f.strides(&one, comparedStrides(s, c, b, a))
		}
		footage.Sections = append(footage.Sections, one)
	}
	return []report.Footage{footage}
}

// comparedStrides returns what was measured in the strides of a section of the film.
func comparedStrides(s beside.Section, c *metrics.Comparison, b, a *Visit) []plots.StrideRow {
	x, y := b.runOf(s.Before).Said(a.Around.Yard.Lengths), a.runOf(s.After).Said(a.Around.Yard.Lengths)
	if x == nil || y == nil {
		return nil
	}
	var begins [2][]float64
	for _, m := range s.Moments {
		begins[0], begins[1] = append(begins[0], m.BeforeS), append(begins[1], m.AfterS)
	}
	shiftX, shiftY := shiftOf(x, begins[0]), shiftOf(y, begins[1])
	var rows []plots.StrideRow
	for _, n := range strideMeasures(s.View, c.Changes) {
		r := plots.StrideRow{Name: n, Unit: unitOf(y, n), Tolerance: toleranceOf(&c.After, n)}
		if unitOf(x, n) != r.Unit {
			continue
		}
		for _, m := range s.Moments {
			r.Before, r.Now = append(r.Before, valueAt(x, n, m.BeforeS-shiftX)), append(r.Now, valueAt(y, n, m.AfterS-shiftY))
		}
		rows = append(rows, r)
	}
	return rows
}

// strides draws a section's strides, where something was measured in them.
func (f *files) strides(section *report.FootageSection, rows []plots.StrideRow) {
	figure, boxes, err := plots.StrideByStride(rows)
	switch {
	case errors.Is(err, plots.ErrNoData):
	case err != nil:
		f.err = err
	default:
		section.Strides, section.Boxes = figure, boxes
	}
}

// runOf returns the run of the clip called file, or nil.
func (v *Visit) runOf(file string) *metrics.Run {
	for i := range v.Results {
		if v.Results[i].Clip.File == file {
			return &v.Results[i].Run
		}
	}
	return nil
}

// visitFilms returns for each view the run with most strides.
func (f *files) visitFilms(v *Visit) []report.Footage {
	var out []report.Footage
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		var best *VisitResult
		for i := range v.Results {
			r := &v.Results[i]
			if r.Run.View == view && exists(filepath.Join(r.Folder, videoFile)) && (best == nil || len(r.Run.Strides) > len(best.Run.Strides)) {
				best = r
			}
		}
		if best != nil {
			out = append(out, f.runFootage(best.Clip.File, "../"+filepath.Base(best.Folder)+"/"+videoFile, best.Result, v.Around.Yard.Lengths)...)
		}
	}
	return out
}

// runFootage returns a clip with its marks drawn on it, stride by stride; video is its
// film, relative to the page.
func (f *files) runFootage(title, video string, r *record.Result, in lengths.System) []report.Footage {
	run, summary := r.Run.Said(in), r.Summary.Said(in)
	if len(run.Strides) == 0 || f.err != nil {
		return nil
	}
	footage := report.Footage{Title: title, File: video, Rate: max(1, r.Clip.FrameRate), Width: r.Clip.Width, Height: r.Clip.Height}
	footage.Words = "The strides of " + r.Clip.File + ", one by one, as " + filepath.Base(video) + " shows them with the marks drawn on."
	section := report.FootageSection{Title: "Strides"}
	var rows []plots.StrideRow
	for _, s := range run.Strides {
		section.Moments = append(section.Moments, report.FootageMoment{From: s.Start, To: s.End})
	}
	for _, n := range strideMeasures(run.View, nil) {
		row := plots.StrideRow{Name: n, Unit: unitOf(run, n)}
		if summary != nil {
			row.Tolerance = toleranceOf(summary, n)
		}
		for _, s := range run.Strides {
			row.Now = append(row.Now, valueAt(run, n, s.Start))
		}
		rows = append(rows, row)
	}
	f.strides(&section, rows)
	footage.Sections = []report.FootageSection{section}
	return []report.Footage{footage}
}
