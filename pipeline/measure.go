package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/overlay"
	"jogstrip/pipeline/record"
	"jogstrip/track"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

// MeasuringVersion rises whenever the same clip and marks may give other
// numbers or pages than before; results of another version are made anew.
const MeasuringVersion = 34

// ErrNoMarks is wrapped by the error of a clip that has no marks file.
var ErrNoMarks = errors.New("the clip has no marks")

// ErrRefused is wrapped by the error of a clip whose numbers contradict its inputs so
// that none of them is told.
var ErrRefused = errors.New("nothing is measured from this")

// MeasureOptions sets how clips are measured. The zero value is right.
type MeasureOptions struct {
	// Program is what measures, as it goes into the results. Measuring is set by
	// MeasureClip, and so is FFmpeg where it is empty: by what decoded the clip.
	Program   record.Program
	Resamples int  // Random draws behind the score; 0 means metrics' own number.
	NoVideo   bool // Leave out tracked.mp4.
	// Progress, where set, is told what is being done and how far it is; total
	// is 0 where that is not known.
	Progress func(stage string, done, total int)
}

func (o *MeasureOptions) tell(stage string, done, total int) {
	if o.Progress != nil {
		o.Progress(stage, done, total)
	}
}

// job is one clip on its way.
type job struct {
	path   string
	around *Surroundings
	marks  *record.Marks
	inputs record.Inputs
	others []doubt.Other // What other clips of the visit say of the camera.
	hashed chan error    // Tells once that the clip's hash is in inputs, or why not.
	small  *os.File      // A small copy of the clip, for tracked.mp4; nil where there is none.
}

// MeasureClip measures the clip at path and puts its results folder in place,
// whole or not at all. The clip and its marks are only read. A clip that breaks
// off is measured as far as it goes; the result's Problems say so.
func MeasureClip(ctx context.Context, path string, opts MeasureOptions) (result *record.Result, err error) {
	release, err := lockClip(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, release()) }()
	// Before any work: what can't be written, or must not be written over.
	if err := fsx.Writable(filepath.Dir(path)); err != nil {
		return nil, fmt.Errorf("clip %s: %w", path, err)
	}
	if err := mayReplace(record.OutPath(path), record.ResultFile); err != nil {
		return nil, fmt.Errorf("clip %s: %w", path, err)
	}
	ctx, cancel := context.WithCancel(ctx)
	j, err := prepare(ctx, path, opts)
	if err != nil {
		cancel()
		return nil, err
	}
	defer func() {
		cancel()
		<-j.hashed // Closed by then: nothing goes on reading the clip.
	}()
	info, err := clip.Probe(ctx, path)
	if err != nil {
		return nil, err
	}
	if fps := j.marks.FilmedFPS; fps > 0 {
		info = info.FilmedAt(fps)
	}
	if err := j.marks.Fit(record.MarksPath(path), info.Width, info.Height, len(info.Times)); err != nil {
		return nil, err
	}
	if err := refused(path, doubt.OfMarks(j.marks, nil)); err != nil {
		return nil, err
	}
	if !opts.NoVideo {
		if j.small, err = namelessFile("jogstrip-small-*"); err != nil {
			return nil, err
		}
		defer func() { err = errors.Join(err, j.small.Close()) }()
	}
	tracked, end, err := j.track(ctx, info, opts)
	if err != nil {
		return nil, err
	}
	if err := <-j.hashed; err != nil {
		return nil, err
	}
	if result, err = j.measure(info, tracked, &end, opts); err != nil {
		return nil, err
	}
	if err := j.write(ctx, info, tracked.Set, result, end.broken == nil, opts); err != nil {
		return nil, err
	}
	return result, nil
}

// measure takes the measures from the tracks and holds them against the clip and its marks.
func (j *job) measure(info *clip.Info, tracked *track.Result, end *ending, opts MeasureOptions) (*record.Result, error) {
	opts.tell("measuring", 0, 1)
	run, err := metrics.Measure(tracked.Set, j.measureOptions())
	if err != nil {
		return nil, fmt.Errorf("measure clip %s: %w", j.path, err)
	}
	summary, err := metrics.Summarise([]metrics.Run{*run}, metrics.SummaryOptions{Tolerances: j.around.Tolerances, Resamples: opts.Resamples, Lengths: j.around.Yard.Lengths})
	if err != nil {
		return nil, fmt.Errorf("measure clip %s: %w", j.path, err)
	}
	doubts := append(end.doubts(info), j.doubts(info, tracked.Set, run, summary.Summary)...)
	if err := refused(j.path, doubts); err != nil {
		return nil, err
	}
	result := j.result(info, tracked, run, summary.Summary, end, opts)
	addDoubts(result, doubts)
	if rate := info.FrameRate; rate > 0 && rate < 50 && !mayBeSlow(doubts) {
		result.Problems = append(result.Problems, fmt.Sprintf("Filmed at %.0f frames a second: hoof timing is coarse (one frame is %.0f ms). Film at 60 or more.", rate, 1000/rate))
	}
	return result, nil
}

// prepare reads what lies beside the clip and hashes what the result depends on,
// the clip itself in the background.
func prepare(ctx context.Context, path string, opts MeasureOptions) (*job, error) {
	j := &job{path: path}
	marksPath := record.MarksPath(path)
	marks, sum, err := record.ReadMarksHashed(marksPath)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("clip %s: %w (%s): mark it with `jogstrip mark %s`", path, ErrNoMarks, filepath.Base(marksPath), filepath.Dir(path))
	}
	if err != nil {
		return nil, err
	}
	j.marks, j.inputs.MarksSHA256 = marks, sum
	if j.around, err = Look(filepath.Dir(path)); err != nil {
		return nil, err
	}
	j.others = j.around.cameras(path, marks)
	if j.inputs.SettingsSHA256, err = j.around.settingsHash(); err != nil {
		return nil, err
	}
	j.inputs.WithersM, j.inputs.Resamples = j.around.Horse.WithersM, opts.Resamples
	// The clip is hashed while it is decoded, which leaves it in the system's memory.
	j.hashed = make(chan error, 1)
	go func() {
		defer close(j.hashed)
		var err error
		j.inputs.ClipSHA256, err = fsx.Hash(ctx, path)
		j.hashed <- err
	}()
	return j, nil
}

// UpToDate reports whether the results of the clip at path still hold, and if
// not, why not, in words. hash gives a file's SHA-256; nil reads the file.
func UpToDate(ctx context.Context, path string, opts MeasureOptions, hash func(ctx context.Context, path string) (string, error)) (bool, string, error) {
	if hash == nil {
		hash = fsx.Hash
	}
	out := record.OutPath(path)
	result, err := record.ReadResult(out)
	if errors.Is(err, fs.ErrNotExist) {
		return false, "not measured yet", nil
	}
	if err != nil {
		return false, fmt.Sprintf("the result can't be used (%v)", err), nil
	}
	if result.Program.Measuring != MeasuringVersion {
		return false, fmt.Sprintf("measured by measuring version %d, this is %d", result.Program.Measuring, MeasuringVersion), nil
	}
	if result.Inputs.ErrorModelSHA256 != errormodel.Usual().Hash() {
		return false, "measured with another error model", nil
	}
	if !opts.NoVideo {
		if _, err := os.Stat(filepath.Join(out, videoFile)); err != nil {
			return false, "the tracked video is not there", nil
		}
	}
	around, err := Look(filepath.Dir(path))
	if err != nil {
		return false, "", err
	}
	settings, err := around.settingsHash()
	if err != nil {
		return false, "", err
	}
	if result.Inputs.Resamples != opts.Resamples {
		return false, "measured with another number of random draws (--resamples)", nil
	}
	if settings != result.Inputs.SettingsSHA256 {
		return false, "the horse's page or the tolerances have changed", nil
	}
	marks, err := hash(ctx, record.MarksPath(path))
	if err != nil {
		return false, "", err
	}
	if marks != result.Inputs.MarksSHA256 {
		return false, "the marks have changed", nil
	}
	if again, err := record.ReadMarks(record.MarksPath(path)); err == nil && !sameDoubts(result.Doubts, doubt.OfMarks(again, around.cameras(path, again))) {
		return false, "what other clips of the visit, or of earlier visits, say of the camera has changed", nil
	}
	sum, err := hash(ctx, path)
	if err != nil {
		return false, "", err
	}
	if sum != result.Inputs.ClipSHA256 {
		return false, "the clip has changed", nil
	}
	return true, "", nil
}

// ending is what a reader knows of a clip once it has read it.
type ending struct {
	broken error // The clip breaks off.
	damage clip.Damage
}

// source lets the tracker read a clip and keeps the reader's word on whether
// the clip was whole.
type source struct {
	*clip.Reader
	end *ending
}

// Close keeps what is known of the clip's end.
func (s source) Close() error {
	s.end.broken, s.end.damage = s.Broken(), s.Damage()
	return s.Reader.Close()
}

// damaged reports whether a frame could not be decoded whole.
func (e *ending) damaged(frame int) bool {
	_, found := slices.BinarySearch(e.damage.Frames, frame)
	return found
}

// doubts returns that the clip is damaged, where it is.
func (e *ending) doubts(info *clip.Info) []record.Doubt {
	if len(e.damage.Frames) == 0 && len(e.damage.Errors) == 0 {
		return nil
	}
	sentence := fmt.Sprintf("The clip is damaged: %s.", e.words(info.Times))
	if len(e.damage.Frames) > 0 {
		sentence += " Nothing was followed there."
	}
	return []record.Doubt{{
		Kind: "damage", Severity: record.SecondLook, Sentence: sentence,
		Check: "Copy the clip from the phone again, then measure it.",
	}}
}

// takeAway takes from every track what it has in frames that are not whole: no
// landmark was seen there.
func (e *ending) takeAway(set *traj.Set) {
	for _, t := range set.Tracks {
		for _, f := range e.damage.Frames {
			if f < len(t.Samples) {
				t.Samples[f] = traj.Gone()
			}
		}
	}
}

// words says which frames are damaged.
func (e *ending) words(times []float64) string {
	d := &e.damage
	errs := 0
	for _, f := range d.Errors {
		errs += f.Count
	}
	var text []string
	if len(d.Frames) > 0 {
		first := d.Frames[0]
		text = append(text, fmt.Sprintf("%d of %d frames could not be decoded whole, the first at %.2f s (frame %d)", len(d.Frames), len(times), times[first], first))
	}
	if errs > 0 {
		told, first := "decoding told of an error", ""
		if errs > 1 {
			told, first = fmt.Sprintf("decoding told of %d errors", errs), ", the first"
		}
		if i := slices.IndexFunc(d.Errors, func(f clip.FrameError) bool { return f.Said != "" }); i >= 0 {
			told += first + ": " + strings.TrimRight(d.Errors[i].Said, ".")
		}
		text = append(text, told)
	}
	return strings.Join(text, "; ")
}

// scratch returns the folder for temporary files; empty means the system's. That
// may lie in memory, so a yard's owner can name another place.
func scratch() string { return os.Getenv("JOGSTRIP_SCRATCH") }

// namelessFile opens a temporary file that goes away with the process, however that ends.
func namelessFile(pattern string) (*os.File, error) {
	f, err := os.CreateTemp(scratch(), pattern)
	if err != nil {
		return nil, fmt.Errorf("create temporary file: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, fmt.Errorf("unlink temporary file: %w", errors.Join(err, f.Close()))
	}
	return f, nil
}

// track follows the marks. A clip in which something cannot be decoded is read again
// with care, and what it shows in damaged frames is taken out of the tracks.
func (j *job) track(ctx context.Context, info *clip.Info, opts MeasureOptions) (result *track.Result, end ending, err error) {
	marks := trackMarks(j.marks.Marks)
	set := track.Options{View: j.marks.View, Gait: j.marks.Gait, Model: errormodel.Usual()}
	if j.marks.Calibration != nil {
		set.ReferenceFrame = j.marks.Calibration.Frame
	}
	// The tracker counts frames as it reads; how many there will be is known here.
	promised := len(info.Times)
	set.Progress = func(stage string, done, total int) {
		if total == 0 {
			total = promised
		}
		opts.tell(stage, done, total)
	}
	set.ScratchDir = scratch()
	careful := false
	open := func(ctx context.Context) (track.Source, error) {
		end = ending{}
		if j.small != nil { // What an earlier reading left of it.
			if err := errors.Join(j.small.Truncate(0), rewound(j.small)); err != nil {
				return nil, fmt.Errorf("use scratch file again: %w", err)
			}
		}
		r, err := clip.OpenWith(ctx, info, clip.OpenOptions{Small: j.small, Whole: !careful, Careful: careful})
		if err != nil {
			return nil, err
		}
		return source{r, &end}, nil
	}
	result, err = track.Run(ctx, open, marks, set)
	if errors.Is(err, clip.ErrDamaged) {
		careful = true
		result, err = track.Run(ctx, open, marks, set)
	}
	if err == nil && careful {
		// A mark on a damaged picture was placed on what the picture showed; the
		// tracker had another in its place.
		all := len(marks)
		marks = slices.DeleteFunc(marks, func(m track.Mark) bool { return end.damaged(m.Frame) })
		switch {
		case len(marks) == 0:
			return nil, end, fmt.Errorf("follow the marks of clip %s: every marked frame is damaged (%s); mark another frame, or copy the clip from the phone again", j.path, end.words(info.Times))
		case len(marks) < all:
			if result, err = track.Run(ctx, open, marks, set); err == nil {
				result.Notes = append(result.Notes, fmt.Sprintf("%d marks lie in frames that could not be decoded whole and were left out.", all-len(marks)))
			}
		}
	}
	if err != nil {
		return nil, end, j.whyNotTracked(err, end)
	}
	end.takeAway(result.Set)
	return result, end, nil
}

// whyNotTracked says what to do about an error of tracking.
func (j *job) whyNotTracked(err error, end ending) error {
	var mark *track.MarkError
	switch {
	case errors.Is(err, track.ErrNoMarks):
		return fmt.Errorf("read %s: no mark in it is visible: mark the clip", record.MarksPath(j.path))
	case errors.As(err, &mark) && end.broken != nil:
		return fmt.Errorf("clip %s breaks off, and there are marks after that: copy it from the phone again (%w)", j.path, mark)
	}
	return fmt.Errorf("follow the marks of clip %s: %w", j.path, err)
}

// trackMarks returns marks as tracking takes them.
func trackMarks(marks []record.Mark) []track.Mark {
	var out []track.Mark
	for _, m := range marks {
		t := track.Mark{Frame: m.Frame, Landmark: m.Landmark, Visible: !m.Hidden}
		if t.Visible {
			t.X, t.Y = *m.X, *m.Y
		}
		out = append(out, t)
	}
	return out
}

func rewound(f *os.File) error {
	_, err := f.Seek(0, io.SeekStart)
	return err
}

// withers returns the horse's height at the withers as written down, m; 0 is not
// known.
func (j *job) withers() float64 {
	if j.marks.WithersM > 0 {
		return j.marks.WithersM
	}
	return j.around.Horse.WithersM
}

func (j *job) measureOptions() metrics.Options {
	o := metrics.Options{View: j.marks.View, Gait: j.marks.Gait, WithersM: j.withers(), Model: errormodel.Usual()}
	if j.marks.Calibration != nil {
		o.Calibration = *j.marks.Calibration
	}
	return o
}

func (j *job) result(info *clip.Info, tracked *track.Result, run *metrics.Run, summary *metrics.Summary, end *ending, opts MeasureOptions) *record.Result {
	set := tracked.Set
	r := &record.Result{Program: opts.Program, Inputs: j.inputs, Run: *run, Summary: summary, Declared: declaredBefore(j.around.Folder)}
	r.Program.Measuring = MeasuringVersion
	r.Inputs.ErrorModelSHA256 = errormodel.Usual().Hash()
	if r.Program.FFmpeg == "" {
		r.Program.FFmpeg = clip.Version()
	}
	r.Clip = record.ClipFacts{
		File: fsx.EscapeName(filepath.Base(j.path)), Codec: info.Codec, BitDepth: info.BitDepth, Width: info.Width, Height: info.Height,
		Rotation: info.Rotation, FrameRate: rounded(info.FrameRate, 3), VariableRate: info.Variable,
		Frames: len(set.Times), PromisedFrames: len(info.Times), DurationS: rounded(set.Times[len(set.Times)-1], 4),
		ShakePX: rounded(set.ShakeRMS, 3), ResidualShakePX: rounded(set.ResidualRMS, 3),
	}
	r.Clip.DamagedFrames = len(end.damage.Frames)
	for _, e := range end.damage.Errors {
		r.Clip.DecodeErrors = append(r.Clip.DecodeErrors, record.DecodeError{Frame: e.Frame, TimeS: rounded(e.TimeS, 4), Count: e.Count, Said: e.Said})
	}
	r.Clip.Mirrored = info.Mirrored
	if info.Aspect != 1 {
		r.Clip.PixelAspect = rounded(info.Aspect, 4)
	}
	if info.Slowed > 1 {
		r.Clip.Slowed = rounded(info.Slowed, 3)
		r.Tracking.Notes = append(r.Tracking.Notes, fmt.Sprintf("This clip plays %.3g times slower than it was filmed: %.0f frames a second. It was measured at that rate, and times are the true ones.", info.Slowed, info.FrameRate))
	}
	if end.broken != nil {
		r.Problems = append(r.Problems, fmt.Sprintf("The clip breaks off: %d of %d promised frames could be read; what follows holds for these.", len(set.Times), len(info.Times)))
	}
	if run.Level == geometry.LevelNone {
		r.Problems = append(r.Problems, "The clip is not calibrated: there are times and rhythm, no lengths. Mark the four ground marks to get them.")
	}
	for _, t := range set.Tracks {
		r.Tracking.Landmarks = append(r.Tracking.Landmarks, facts(t))
	}
	at := func(frame int) float64 { return rounded(set.Times[min(max(frame, 0), len(set.Times)-1)], 4) }
	for _, l := range tracked.Losses {
		r.Tracking.Losses = append(r.Tracking.Losses, record.Loss{Landmark: l.Landmark, First: l.First, Last: l.Last, FromS: at(l.First), ToS: at(l.Last), Bridged: l.Bridged, Cause: l.Cause})
	}
	for _, a := range tracked.Advice {
		r.Tracking.Advice = append(r.Tracking.Advice, record.Advice{Landmark: a.Landmark, Frame: a.Frame, TimeS: at(a.Frame), Wins: a.Wins, Reason: a.Reason})
	}
	for _, a := range metrics.NearMarks(run, set) {
		r.Tracking.Advice = append(r.Tracking.Advice, record.Advice{Landmark: a.Limb, Frame: a.Frame, TimeS: at(a.Frame), Reason: a.Reason})
	}
	r.Tracking.Notes = append(r.Tracking.Notes, tracked.Notes...)
	return r
}

func facts(t traj.Track) record.LandmarkFacts {
	f := record.LandmarkFacts{Landmark: t.Landmark}
	var spread []float64
	for _, s := range t.Samples {
		switch s.Status {
		case traj.Marked:
			f.Marked++
		case traj.Tracked:
			f.Tracked++
		case traj.Across:
			f.Across++
			continue
		case traj.Bridged:
			f.Bridged++
		default:
			f.Lost++
			continue
		}
		spread = append(spread, s.SD)
	}
	if len(spread) > 0 {
		slices.Sort(spread)
		f.MedianSD = rounded(spread[len(spread)/2], 3)
	}
	return f
}

// rounded keeps files readable; NaN, which JSON cannot hold, becomes 0.
func rounded(x float64, decimals int) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	scale := math.Pow(10, float64(decimals))
	return math.Round(x*scale) / scale
}

// videoFile is the tracked video's name in the results folder.
const videoFile = "tracked.mp4"

// write fills a new results folder and puts it in place. whole is whether the
// clip was read to its end.
func (j *job) write(ctx context.Context, info *clip.Info, set *traj.Set, result *record.Result, whole bool, opts MeasureOptions) error {
	data, err := record.MarshalResult(result)
	if err != nil {
		return err
	}
	return makeFolder(record.OutPath(j.path), func(f *files) error {
		f.bytes(record.ResultFile, data)
		f.tables(set, &result.Run)
		opts.tell("drawing", 0, 1)
		pictures := f.runFigures(set, result, j.around.Yard.Lengths)
		if f.err != nil {
			return nil // makeFolder reports it.
		}
		stance, stanceErr := j.stance(info, set, &result.Run, result.Summary)
		if !opts.NoVideo {
			painter := overlay.New(set, result.Run.Contacts)
			remake := clip.RemakeOptions{Small: j.small}
			if !whole {
				remake.Small = nil // Where decoding broke off, so may have the copy.
			}
			err := clip.Remake(ctx, info, filepath.Join(f.dir, videoFile), remake, func(index int, p clip.Planes, scale float64) {
				opts.tell("drawing the video", index+1, len(set.Times))
				if stance != nil {
					stance.Take(index, p, scale)
				}
				painter.Draw(index, p, scale)
			})
			if err != nil {
				return err
			}
		} else if stance != nil {
			stanceErr = stance.Read(ctx)
		}
		var still []byte
		if stance != nil && stanceErr == nil {
			still, stanceErr = stance.JPEG() // Without one a result is as good.
		}
		f.clipReport(j, result, pictures, still, stanceErr, opts)
		return ctx.Err()
	})
}
