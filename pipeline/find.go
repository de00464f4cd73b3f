package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// clipExtensions are the endings by which clips are found, in lower case.
var clipExtensions = []string{".mp4", ".mov", ".m4v", ".3gp", ".mkv", ".webm", ".avi", ".mts", ".mpg", ".mpeg"}

// IsClip reports whether name ends like a clip.
func IsClip(name string) bool {
	return slices.Contains(clipExtensions, strings.ToLower(filepath.Ext(name)))
}

// Found is one clip below a folder.
type Found struct {
	Path  string // As reached from the folder that was searched.
	Marks bool   // Whether a marks file lies beside it.
	// Problem says why the clip cannot be measured whatever it holds, such as
	// another clip with the same results folder; nil where there is none.
	Problem error
}

// FindClips returns the clips in and below folder, sorted by path. Result
// folders, hidden folders and leftovers are passed over; links to folders are
// not followed, so a loop of links cannot trap it. A folder that cannot be read
// is reported in the joined error while the others are still searched.
func FindClips(ctx context.Context, folder string) ([]Found, error) {
	var found []Found
	var problems []error
	owner := map[string]int{}
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("search %s: %w", path, err))
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		name := d.Name()
		if d.IsDir() {
			if path != folder && (strings.HasPrefix(name, ".") || strings.HasSuffix(name, ".out")) {
				return fs.SkipDir
			}
			return nil
		}
		if strings.HasPrefix(name, ".") || !IsClip(name) || fsx.Leftover(name) {
			return nil
		}
		f := Found{Path: path}
		if _, err := os.Stat(record.MarksPath(path)); err == nil {
			f.Marks = true
		}
		out := record.OutPath(path)
		if i, taken := owner[out]; taken {
			f.Problem = fmt.Errorf("clip %s: it shares its results folder %s with %s; rename one of them", path, filepath.Base(out), filepath.Base(found[i].Path))
		} else {
			owner[out] = len(found)
		}
		if filepath.Base(out) == visitOut {
			f.Problem = fmt.Errorf("clip %s: the name %s is kept for the visit's own page; rename the clip", path, filepath.Base(path))
		}
		found = append(found, f)
		return nil
	})
	if err != nil {
		problems = append(problems, err)
	}
	return found, errors.Join(problems...)
}

// visitOut is the folder in which a visit's own page lies.
const visitOut = "visit.out"
