package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"golang.org/x/sync/errgroup"

	"jogstrip/metrics"
	"jogstrip/pipeline/record"
)

// Visit is what is on record of one visit: the pages and the results of its
// clips.
type Visit struct {
	Folder  string
	Single  bool // One result was asked for, not a visit folder.
	Around  *Surroundings
	Results []VisitResult // Sorted by clip name.
	// Problems names clips whose results could not be used, and why.
	Problems []string
	// Unmeasured names clips that have no results yet.
	Unmeasured []string
}

// VisitResult is one clip's result and where it lies.
type VisitResult struct {
	Folder string // The clip's results folder.
	*record.Result
}

// Runs returns the runs of the visit in the order of Results.
func (v *Visit) Runs() []metrics.Run {
	runs := make([]metrics.Run, len(v.Results))
	for i, r := range v.Results {
		runs[i] = r.Run
	}
	return runs
}

// LoadVisit reads the visit at path: a visit folder, a clip's results folder or
// a result file. A result that cannot be read costs that result alone and is
// named in Problems. Its tolerances are those the yard wrote, else from own
// repeat runs where there are enough, else the built-in ones.
func LoadVisit(ctx context.Context, path string) (*Visit, error) {
	v, err := loadVisit(ctx, path)
	if err != nil {
		return nil, err
	}
	if err := v.useRepeats(ctx, runsAmong(v)); err != nil {
		return nil, err
	}
	return v, nil
}

func loadVisit(ctx context.Context, path string) (*Visit, error) {
	stat, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open visit: %w", err)
	}
	if !stat.IsDir() || strings.HasSuffix(filepath.Clean(path), ".out") {
		return loadSingle(ctx, path, stat.IsDir())
	}
	v := &Visit{Folder: path}
	if v.Around, err = Look(path); err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return nil, fmt.Errorf("open visit: %w", err)
	}
	var results []string
	for _, e := range entries {
		switch {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir() && strings.HasSuffix(e.Name(), ".out"):
			results = append(results, filepath.Join(path, e.Name()))
		case !e.IsDir() && IsClip(e.Name()):
			if _, err := os.Stat(filepath.Join(record.OutPath(filepath.Join(path, e.Name())), record.ResultFile)); errors.Is(err, fs.ErrNotExist) {
				v.Unmeasured = append(v.Unmeasured, e.Name())
			}
		}
	}
	if err := v.read(ctx, results); err != nil {
		return nil, fmt.Errorf("open visit %s: %w", path, err)
	}
	v.sift(ctx)
	return v, ctx.Err()
}

// read reads the results in out folders, several at once, in the order of
// their names. Folders without one (pages of a visit or a comparison) are passed
// over. The error is of ctx alone.
func (v *Visit) read(ctx context.Context, folders []string) error {
	slices.Sort(folders)
	results, errs := make([]*record.Result, len(folders)), make([]error, len(folders))
	err := atOnce(ctx, len(folders), func(i int) { results[i], errs[i] = record.ReadResult(folders[i]) })
	if err != nil {
		return err
	}
	for i, folder := range folders {
		switch {
		case errors.Is(errs[i], fs.ErrNotExist):
		case errs[i] != nil:
			v.Problems = append(v.Problems, errs[i].Error())
		case results[i].Doubted():
			v.Problems = append(v.Problems, doubted(results[i]))
		default:
			v.Results = append(v.Results, VisitResult{folder, results[i]})
		}
	}
	return nil
}

// doubted says why a result is not taken together with others.
func doubted(r *record.Result) string {
	return fmt.Sprintf("%s is left out until a person has looked at it again: %s", r.Clip.File, r.Doubts[0].Sentence)
}

// atOnce does n things, as many at a time as there are cores, and returns when
// all are done, or early with ctx's error.
func atOnce(ctx context.Context, n int, do func(i int)) error {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i := range n {
		group.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			do(i)
			return nil
		})
	}
	return group.Wait()
}

func loadSingle(ctx context.Context, path string, isFolder bool) (*Visit, error) {
	folder := path
	if !isFolder {
		folder = filepath.Dir(path)
		if IsClip(path) {
			folder = record.OutPath(path)
		}
	}
	around, err := Look(filepath.Dir(folder))
	if err != nil {
		return nil, err
	}
	v := &Visit{Folder: around.Folder, Around: around, Single: true}
	file := path
	if isFolder || IsClip(path) {
		file = filepath.Join(folder, record.ResultFile)
	}
	result, err := record.ReadResult(file)
	if err != nil {
		return nil, err
	}
	if result.Doubted() {
		v.Problems = append(v.Problems, doubted(result))
		return v, nil
	}
	v.Results = []VisitResult{{folder, result}}
	if isFolder || IsClip(path) {
		v.sift(ctx)
	} // A result file by itself may have been taken elsewhere.
	return v, ctx.Err()
}

// summing is how the visit's runs are summed up.
func (v *Visit) summing(resamples int) metrics.SummaryOptions {
	return metrics.SummaryOptions{Tolerances: v.Around.Tolerances, Resamples: resamples, Lengths: v.Around.Yard.Lengths}
}

// Visits returns the visit folders of the horse at folder in the order of
// their names, which begin with the date.
func Visits(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("list visits: %w", err)
	}
	var out []string
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		if stat, err := os.Stat(path); err == nil && stat.IsDir() && isDated(e.Name()) { // A link is followed.
			out = append(out, path)
		}
	}
	slices.Sort(out)
	return out, nil
}

// isDated reports whether name is yyyy-mm-dd or yyyy-mm-dd-n.
func isDated(name string) bool {
	if len(name) < 10 {
		return false
	}
	for i, r := range name[:10] {
		if i == 4 || i == 7 {
			if r != '-' {
				return false
			}
		} else if r < '0' || r > '9' {
			return false
		}
	}
	return len(name) == 10 || name[10] == '-'
}

// declaredBefore returns the measure that the page of each visit before the one at folder
// names as followed, by the name of its folder. A page that cannot be read declares
// nothing: its own visit says so.
func declaredBefore(folder string) map[string]metrics.Name {
	visits, err := Visits(filepath.Dir(folder))
	if err != nil || !isDated(filepath.Base(folder)) {
		return nil
	}
	out := map[string]metrics.Name{}
	for _, v := range visits {
		if filepath.Base(v) >= filepath.Base(folder) {
			continue
		}
		if around, err := Look(v); err == nil && around.Visit.Followed != "" {
			out[filepath.Base(v)] = around.Visit.Followed
		}
	}
	return out
}
