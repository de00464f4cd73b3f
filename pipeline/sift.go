package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
)

// sift takes out of the visit's results those that must not be taken together with the
// others, and names them in Problems: results whose clip is gone, that were made from
// other marks or another height of the horse than are there now, and results of a film
// that is there twice under two names, which is one run. What else belongs to a clip's
// settings (tolerances, resamples) is applied anew where runs are taken together.
func (v *Visit) sift(ctx context.Context) {
	kept := v.Results[:0]
	first := map[string]string{} // The clip by its hash.
	for _, r := range v.Results {
		name := fsx.UnescapeName(r.Clip.File)
		if why := v.outdated(ctx, r, name); why != "" {
			v.Problems = append(v.Problems, why)
			continue
		}
		if before, twice := first[r.Inputs.ClipSHA256]; twice {
			v.Problems = append(v.Problems, fmt.Sprintf("%s is the same film as %s and counts once: delete one of them", r.Clip.File, before))
			continue
		}
		first[r.Inputs.ClipSHA256] = r.Clip.File
		kept = append(kept, r)
	}
	v.Results = kept
}

// outdated says why a result no longer belongs to what lies beside it, or "".
func (v *Visit) outdated(ctx context.Context, r VisitResult, clip string) string {
	folder := filepath.Dir(r.Folder)
	path := filepath.Join(folder, clip)
	if filepath.Base(clip) != clip || filepath.Base(record.OutPath(path)) != filepath.Base(r.Folder) {
		return fmt.Sprintf("%s holds the results of %s, which has another name: delete the folder and measure the clip again", filepath.Base(r.Folder), r.Clip.File)
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return fmt.Sprintf("%s: its clip %s is gone: put the clip back, or delete the folder", filepath.Base(r.Folder), r.Clip.File)
	}
	sum, err := fsx.Hash(ctx, record.MarksPath(path))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Sprintf("%s: the marks that it was measured with are gone: mark it again and measure it", r.Clip.File)
	case err != nil:
		return fmt.Sprintf("%s: its marks can't be read (%v)", r.Clip.File, err)
	case sum != r.Inputs.MarksSHA256:
		return fmt.Sprintf("%s: its marks have changed since it was measured: measure it again", r.Clip.File)
	case v.Around.Horse.WithersM != r.Inputs.WithersM:
		return fmt.Sprintf("%s: the horse's height has changed on its page since it was measured: measure it again", r.Clip.File)
	}
	return ""
}
