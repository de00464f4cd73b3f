package pipeline

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"jogstrip/metrics"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/pipeline/table"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// Names of the page in every results folder: for the screen, the sheet that is handed
// over, and the details on paper.
const (
	ReportFile  = "report.html"
	PaperFile   = "report.pdf"
	DetailsFile = "details.pdf"
)

// files writes the files of one results folder and keeps the first error.
type files struct {
	dir   string
	err   error
	aside errgroup.Group // What is written while the rest goes on.
}

func newFiles(dir string) *files {
	f := &files{dir: dir}
	f.aside.SetLimit(runtime.GOMAXPROCS(0))
	return f
}

// makeFolder fills a results folder and puts it in place whole.
func makeFolder(target string, fill func(*files) error) (err error) {
	if stat, err := os.Lstat(target); err == nil && !stat.IsDir() {
		return fmt.Errorf("write %s: a file or a link stands in its place and is left as it is; move it away", target)
	}
	if err := fsx.Sweep(target); err != nil {
		return err
	}
	dir, err := fsx.NewFolder(target)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	f := newFiles(dir)
	if err := errors.Join(fill(f), f.aside.Wait(), f.err); err != nil {
		return fmt.Errorf("write %s: %w", target, err)
	}
	return fsx.Commit(dir, target)
}

func (f *files) bytes(name string, data []byte) {
	if f.err != nil {
		return
	}
	f.err = f.put(name, data)
}

// put writes a file; it may be called from several goroutines.
func (f *files) put(name string, data []byte) error {
	path := filepath.Join(f.dir, name)
	// Commit gives everything in the folder its final mode.
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o600)
}

func (f *files) from(name string, write func(io.Writer) error) {
	if f.err != nil {
		return
	}
	var b bytes.Buffer
	if err := write(&b); err != nil {
		f.err = fmt.Errorf("write %s: %w", name, err)
		return
	}
	f.bytes(name, b.Bytes())
}

// json writes v as indented JSON.
func (f *files) json(name string, v any) {
	f.from(name, func(w io.Writer) error {
		data, err := json.MarshalIndent(v, "", " ")
		if err != nil {
			return err
		}
		_, err = w.Write(append(data, '\n'))
		return err
	})
}

func (f *files) tables(set *traj.Set, run *metrics.Run) {
	f.from("strides.csv", func(w io.Writer) error { return table.Strides(w, run) })
	f.from("signals.csv", func(w io.Writer) error { return table.Signals(w, set, run) })
	f.from("columns.csv", func(w io.Writer) error { return table.Dictionary(w, set, run) })
}

// figures writes every figure as PNG and SVG and returns them for a page.
func (f *files) figures(outcomes []plots.Outcome, err error) []report.Figure {
	pictures := f.drawn(outcomes, err)
	for _, o := range outcomes {
		if f.err != nil || o.Figure == nil {
			continue
		}
		// Only the page needs the SVG, so the PNG may come while it is written.
		f.aside.Go(func() error {
			var b bytes.Buffer
			if err := o.Figure.PNG(&b); err != nil {
				return fmt.Errorf("draw: %w", err)
			}
			return f.put(filepath.Join("plots", o.Name+".png"), b.Bytes())
		})
	}
	return pictures
}

// drawn writes every figure as SVG and returns them for a page.
func (f *files) drawn(outcomes []plots.Outcome, err error) []report.Figure {
	if f.err == nil && err != nil {
		f.err = fmt.Errorf("draw: %w", err)
	}
	if f.err != nil {
		return nil
	}
	pictures := make([]report.Figure, len(outcomes))
	for i, o := range outcomes {
		pictures[i] = report.Figure{Title: o.Title, Reason: o.Reason}
		if o.Figure == nil {
			continue
		}
		var svg bytes.Buffer
		if err := o.Figure.SVG(&svg); err != nil {
			f.err = fmt.Errorf("draw: %w", err)
			return nil
		}
		f.bytes(filepath.Join("plots", o.Name+".svg"), svg.Bytes())
		pictures[i] = report.Figure{Title: o.Title, Description: o.Figure.Description, SVG: svg.Bytes(), Drawing: o.Figure}
	}
	return pictures
}

func (f *files) runFigures(set *traj.Set, r *record.Result, in lengths.System) []report.Figure {
	return f.figures(plots.RunFigures(plots.RunInput{Run: &r.Run, Times: set.Times, Summary: r.Summary, Lengths: in}))
}

func (f *files) clipReport(j *job, r *record.Result, pictures []report.Figure, still []byte, noPicture error, opts MeasureOptions) {
	page := report.Clip{
		Header: header(j.around), Visit: day(j.around.Folder), VisitLink: "../" + visitOut + "/" + ReportFile,
		Summary: r.Summary, Doubted: r.Doubted(), Film: filmFacts(r), Notes: append(append([]string(nil), r.Tracking.Notes...), r.Run.Notes...), Figures: pictures,
		Provenance: provenance(r.Program, []report.Input{
			{Name: r.Clip.File, SHA256: r.Inputs.ClipSHA256},
			{Name: filepath.Base(record.MarksPath(r.Clip.File)), SHA256: r.Inputs.MarksSHA256},
			{Name: "horse's page and tolerances", SHA256: r.Inputs.SettingsSHA256},
			{Name: "error model", SHA256: r.Inputs.ErrorModelSHA256},
		}),
	}
	if day(j.around.Folder).IsZero() {
		page.VisitLink = ""
	}
	if !opts.NoVideo {
		page.Video = videoFile
		page.Films = f.runFootage("", videoFile, r, j.around.Yard.Lengths)
	}
	if !r.Doubted() { // Which foot is which may be what is doubted.
		f.frontFigures(&page.Front, nil, r.Summary.Said(j.around.Yard.Lengths), [2]string{})
	}
	page.Front.NextFilming = clipNext(r, j.around)
	if still == nil {
		page.Front.StillsWhy = noStill(noPicture)
	} else {
		f.bytes(stillFile, still)
		title := "Left and right stance"
		if r.SidesDoubted() {
			title += ", as marked; the sides may be swapped"
		}
		page.Front.Stills, page.Front.StillsNote = []report.Still{stillOf(still, r.Run.View, title)}, stillsNote
	}
	for _, a := range r.NextMarks() {
		page.NextMarks = append(page.NextMarks, fmt.Sprintf("Mark the %s in frame %d (%.2f s): %s.", a.Landmark.Words(), a.Frame, a.TimeS, strings.TrimSuffix(a.Reason, ".")))
	}
	f.page(page)
}

// page writes a page in all its forms.
func (f *files) page(page interface{ Page() (*report.Page, error) }) {
	if f.err != nil {
		return
	}
	made, err := page.Page()
	if err != nil {
		f.err = err
		return
	}
	for name, write := range map[string]func(io.Writer) error{PaperFile: made.PDF, DetailsFile: made.Details} {
		f.aside.Go(func() error {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				return fmt.Errorf("write %s: %w", name, err)
			}
			return f.put(name, b.Bytes())
		})
	}
	f.from(ReportFile, made.HTML)
}

func header(s *Surroundings) report.Header {
	h := report.Header{Letterhead: s.Yard.Letterhead, Horse: s.Horse.Name, PDF: PaperFile, Details: DetailsFile, Lengths: s.Yard.Lengths}
	if len(h.Letterhead) == 0 && s.Yard.Name != "" {
		h.Letterhead = []string{s.Yard.Name}
	}
	return h
}

// day returns the date that a visit folder's name begins with, or zero.
func day(folder string) time.Time {
	name := filepath.Base(folder)
	if !isDated(name) {
		return time.Time{}
	}
	t, err := time.Parse(time.DateOnly, name[:10])
	if err != nil {
		return time.Time{}
	}
	return t
}

func provenance(p record.Program, inputs []report.Input) report.Provenance {
	return report.Provenance{
		Program: fmt.Sprintf("jogstrip %s (measuring version %d)", p.Version, p.Measuring),
		Tools:   []report.Tool{{Name: "OpenCV", Version: p.OpenCV}, {Name: "FFmpeg", Version: p.FFmpeg}},
		Inputs:  inputs,
	}
}

func filmFacts(r *record.Result) report.Film {
	f := report.Film{
		File: r.Clip.File, Codec: r.Clip.Codec, Width: r.Clip.Width, Height: r.Clip.Height,
		FrameRate: r.Clip.FrameRate, VariableRate: r.Clip.VariableRate, Frames: r.Clip.Frames, PromisedFrames: r.Clip.PromisedFrames,
		Duration: r.Clip.DurationS, View: r.Run.View, Gait: r.Run.Gait, Level: r.Run.Level,
		NearestM: r.Run.NearestM, FarthestM: r.Run.FarthestM, FocalPX: r.Run.FocalPX, CameraHeightM: r.Run.CameraHeightM,
		ShakePX: r.Clip.ShakePX, ResidualPX: r.Clip.ResidualShakePX, Problems: r.Problems,
	}
	for _, l := range r.Tracking.Landmarks {
		f.Marks = append(f.Marks, report.MarkFacts{Landmark: l.Landmark, Marked: l.Marked, Seen: l.Marked + l.Tracked, Across: l.Across, Bridged: l.Bridged, Lost: l.Lost, MedianSD: l.MedianSD})
	}
	return f
}

// Finding returns what was found on one clip in a sentence or two.
func Finding(r *record.Result) string {
	if r.Summary == nil {
		return "nothing could be measured"
	}
	return summaryWords(r.Summary)
}

func summaryWords(s *metrics.Summary) string {
	text := s.Limb.Sentence
	if s.Score != nil && !metrics.TooLittleSeen(text) {
		text = fmt.Sprintf("%s Asymmetry score %.2f (95 %% interval %.2f to %.2f; %s).",
			ended(text), s.Score.Value, s.Score.Low, s.Score.High, metrics.ScoreScale)
	}
	return fmt.Sprintf("%s %s in %s.", ended(text), counted(s.Strides, "stride"), counted(s.Runs, "run"))
}

// counted returns "1 run", "2 runs".
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// ended returns text as a whole sentence.
func ended(text string) string {
	text = strings.TrimSpace(text)
	if text == "" || strings.HasSuffix(text, ".") {
		return text
	}
	return text + "."
}

// clipNext says what would win most for one clip, and what one run cannot show. Nothing is
// filmed of a horse that must not trot, and a clip of a visit leaves filming to its page.
func clipNext(r *record.Result, around *Surroundings) []string {
	out := vetFirst(&around.Visit)
	for _, d := range r.Doubts {
		if d.Severity != record.Remark {
			out = append(out, ended(d.Sentence))
			if !r.SidesDoubted() {
				out = append(out, ended(d.Check))
			}
		}
	}
	if r.SidesDoubted() {
		return append(out, ended(capital(record.CheckSides)))
	}
	bare := groundMarks(r.Run) != nil
	if bare {
		out = append(out, "If four cones or chalk crosses lie on the ground in this clip, mark them: without them there are no lengths.")
	}
	if r.Summary != nil {
		out = append(out, markToo(r.Summary, glance.Rows(r.Summary), map[traj.View]int{r.Run.View: 1})...)
	}
	if len(r.Tracking.Advice) > 0 {
		a := r.Tracking.Advice[0]
		out = append(out, fmt.Sprintf("Mark the %s in frame %d.", a.Landmark.Words(), a.Frame))
	}
	out = slices.DeleteFunc(out, func(s string) bool { return s == "" })
	if !day(around.Folder).IsZero() {
		return append(out, "One run shows that run alone; the visit’s page has all of them.")
	}
	if again := film.Better(len(r.Run.Strides), r.Clip.Width, r.Clip.Height, r.Clip.ShakePX, bare); again != "" && !around.Visit.MustNotTrot() {
		out = append(out, "What would help: film again, "+again+".")
	}
	return append(out, "One run shows that run alone.")
}
