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

// FindClips returns the clips in and below folder, sorted by path. Result folders,
// hidden folders and leftovers are passed over. Links to folders are followed, each
// folder once, so a loop of links cannot trap it. A folder that cannot be read, and what
// a killed run of another user left, is reported in the joined error while the others
// are still searched.
func FindClips(ctx context.Context, folder string) ([]Found, error) {
	f := finder{ctx: ctx, owner: map[string]int{}, seen: map[string]bool{}}
	err := f.search(folder)
	for ; err == nil && len(f.links) > 0; f.links = f.links[1:] {
		err = f.search(f.links[0]) // What it leads to has been seen where it lies below folder.
	}
	slices.SortFunc(f.found, func(a, b Found) int { return strings.Compare(a.Path, b.Path) })
	if err != nil {
		f.problems = append(f.problems, err)
	}
	return f.found, errors.Join(f.problems...)
}

// finder is a search on its way.
type finder struct {
	ctx      context.Context
	found    []Found
	problems []error
	owner    map[string]int  // Of a results folder: the clip in found.
	seen     map[string]bool // Folders by their real paths.
	links    []string        // To folders, to be looked through at the end.
}

// search looks through a folder. The error is of ctx alone.
func (f *finder) search(folder string) error {
	if f.ctx.Err() != nil {
		return f.ctx.Err()
	}
	real, err := filepath.EvalSymlinks(folder)
	if err == nil {
		real, err = filepath.Abs(real)
	}
	var entries []os.DirEntry
	if err == nil && !f.seen[real] {
		f.seen[real] = true
		entries, err = os.ReadDir(folder)
	}
	if err != nil {
		f.problems = append(f.problems, fmt.Errorf("search %s: %w", folder, err))
	}
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		switch stat, err := os.Stat(path); {
		case fsx.Leftover(e.Name()):
			if text := fsx.ForeignLeftover(path); text != "" {
				f.problems = append(f.problems, errors.New(text))
			}
		case strings.HasPrefix(e.Name(), "."):
		case strings.HasSuffix(e.Name(), ".out"):
		case err == nil && stat.IsDir() && e.Type()&fs.ModeSymlink != 0:
			f.links = append(f.links, path)
		case err == nil && stat.IsDir():
			if err := f.search(path); err != nil {
				return err
			}
		case IsClip(e.Name()):
			f.clip(path)
		}
	}
	return nil
}

func (f *finder) clip(path string) {
	c := Found{Path: path}
	if _, err := os.Stat(record.MarksPath(path)); err == nil {
		c.Marks = true
	}
	out := record.OutPath(path)
	if i, taken := f.owner[out]; taken {
		c.Problem = fmt.Errorf("clip %s: it shares its results folder %s with %s; rename one of them", path, filepath.Base(out), filepath.Base(f.found[i].Path))
	} else {
		f.owner[out] = len(f.found)
	}
	if filepath.Base(out) == visitOut {
		c.Problem = fmt.Errorf("clip %s: the name %s is kept for the visit's own page; rename the clip", path, filepath.Base(path))
	}
	f.found = append(f.found, c)
}

// visitOut is the folder in which a visit's own page lies.
const visitOut = "visit.out"
