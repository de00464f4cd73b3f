package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// repeatVisits bounds how many visits are read for own tolerances, so that a
// page costs the same in a yard's first year and in its tenth.
const repeatVisits = 24

// useRepeats replaces rows of the visit's tolerances by what visits of the same horse, or
// of the yard's horses, without a treatment between them show at the same gait. Rows that
// the yard wrote itself stay. Clips' own pages go by the written table alone: a clip's
// result depends on nothing but the clip, its marks and the pages around it.
//
// Nothing is read but the results below the folder that holds the horses, so
// the same folder gives the same tolerances. A result that cannot be read is
// passed over: the page of its own visit names it. read gives the runs of a gait
// in a visit folder, as runsOf does.
func (v *Visit) useRepeats(ctx context.Context, read func(ctx context.Context, folder string, gait traj.Gait) []metrics.Run) error {
	if len(v.Results) == 0 || !isDated(filepath.Base(v.Around.Folder)) {
		return nil
	}
	horse := filepath.Dir(v.Around.Folder)
	folders, err := repeatFolders(horse, v.Around.YardFolder != "")
	if err != nil {
		return fmt.Errorf("tolerances of visit %s: %w", v.Folder, err)
	}
	gait := v.Results[0].Run.Gait
	var repeats []metrics.Repeat
	for _, folder := range folders {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("tolerances of visit %s: %w", v.Folder, err)
		}
		r := metrics.Repeat{Horse: filepath.Dir(folder), Series: untreatedSince(folder), Runs: read(ctx, folder, gait)}
		if len(r.Runs) > 0 {
			repeats = append(repeats, r)
		}
	}
	v.Around.Tolerances = metrics.OwnTolerances(repeats, horse, v.Around.Tolerances)
	return nil
}

// untreatedSince returns the name of the first visit from which to the one at folder the
// horse was not treated. A visit whose page cannot be read may have treated it, and so
// begins a series of its own.
func untreatedSince(folder string) string {
	visits, err := Visits(filepath.Dir(folder))
	if err != nil {
		return filepath.Base(folder)
	}
	first := filepath.Base(folder)
	for i := slices.Index(visits, folder) - 1; i >= 0; i-- {
		around, err := Look(visits[i])
		if err != nil || len(around.Visit.Treatment) > 0 {
			break
		}
		first = filepath.Base(visits[i])
	}
	return first
}

// repeatFolders returns the visit folders to read, at most repeatVisits: the
// horse's own, the latest first, then with others those of the other horses
// beside it, the latest first.
func repeatFolders(horse string, others bool) ([]string, error) {
	latestFirst := func(folders []string) []string {
		slices.SortFunc(folders, func(a, b string) int {
			return cmp.Or(cmp.Compare(filepath.Base(b), filepath.Base(a)), cmp.Compare(a, b))
		})
		return folders
	}
	own, err := Visits(horse)
	if err != nil {
		return nil, err
	}
	out := latestFirst(own)
	if others {
		beside, err := os.ReadDir(filepath.Dir(horse))
		if err != nil {
			return nil, fmt.Errorf("list horses: %w", err)
		}
		var rest []string
		for _, e := range beside {
			folder := filepath.Join(filepath.Dir(horse), e.Name())
			if stat, err := os.Stat(folder); err != nil || !stat.IsDir() || folder == horse {
				continue
			}
			visits, err := Visits(folder)
			if err != nil {
				continue // Another horse's folder may be closed to us; this horse is still compared.
			}
			rest = append(rest, visits...)
		}
		out = append(out, latestFirst(rest)...)
	}
	return out[:min(len(out), repeatVisits)], nil
}

// runsOf returns the runs of a gait in a visit folder that may be taken together, by
// name; nothing where the visit cannot be read.
func runsOf(ctx context.Context, folder string, gait traj.Gait) []metrics.Run {
	v, err := loadVisit(ctx, folder)
	if err != nil {
		return nil
	}
	return v.runsAt(gait)
}

// runsAmong is runsOf that does not read visits again that were read already.
func runsAmong(visits ...*Visit) func(ctx context.Context, folder string, gait traj.Gait) []metrics.Run {
	read := map[string]*Visit{}
	for _, v := range visits {
		if !v.Single { // One clip of a visit is not the visit.
			read[filepath.Clean(v.Folder)], read[v.Around.Folder] = v, v
		}
	}
	return func(ctx context.Context, folder string, gait traj.Gait) []metrics.Run {
		if v := read[folder]; v != nil {
			return v.runsAt(gait)
		}
		return runsOf(ctx, folder, gait)
	}
}

// runsAt returns the runs of a gait.
func (v *Visit) runsAt(gait traj.Gait) []metrics.Run {
	return slices.DeleteFunc(v.Runs(), func(r metrics.Run) bool { return r.Gait != gait })
}
