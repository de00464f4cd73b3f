package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
)

// mostEarlier is how many measured visits before the last decide, too, whether a
// veterinarian is asked for: what was seen longer ago has had its own pages.
const mostEarlier = 5

// earlierVisit is a visit before the one with which a page ends.
type earlierVisit struct {
	day     string
	found   metrics.LimbFinding
	verdict metrics.Verdict // Of the change from it to the last one.
}

// otherVisit is a visit that a page sets beside the one with which it ends.
type otherVisit struct {
	*Visit
	compared *metrics.Comparison // With that one, as the records declare it; nil where that is to be done.
}

// visitsBefore compares a visit with those measured before it, the latest first, and with
// others of the page. Which others there are changes nothing where they are among the
// latest: all pages that end with a visit give one advice.
func visitsBefore(ctx context.Context, now *Visit, others ...otherVisit) ([]earlierVisit, error) {
	visits := measuredBefore(ctx, now, others)
	for _, v := range others {
		known := slices.ContainsFunc(visits, func(w otherVisit) bool { return w.Visit == v.Visit })
		if !known && v.Around.Folder != now.Around.Folder && twoHorses(v.Visit, now) == "" {
			visits = append(visits, v)
		}
	}
	opts := CompareOptions{Resamples: 1} // No verdict rests on the score's interval.
	var last *metrics.Summed
	if slices.ContainsFunc(visits, func(v otherVisit) bool { return v.compared == nil }) {
		var err error
		if last, err = metrics.Summarise(now.Runs(), now.summing(opts.Resamples)); err != nil {
			return nil, fmt.Errorf("sum up visit %s: %w", now.Folder, err)
		}
	}
	out, errs := make([]earlierVisit, len(visits)), make([]error, len(visits))
	err := atOnce(ctx, len(visits), func(i int) {
		v := visits[i]
		if v.compared == nil {
			v.compared, errs[i] = compareWith(v.Visit, now, last, opts)
		}
		if errs[i] == nil {
			out[i] = earlierVisit{shortDay(v.Visit), v.compared.Before.Limb, v.compared.Verdict}
		}
	})
	return out, errors.Join(append(errs, err)...)
}

// compareWith compares visit now, summed up as last, with v.
func compareWith(v, now *Visit, last *metrics.Summed, opts CompareOptions) (*metrics.Comparison, error) {
	settings := compareSettings(v, now, opts)
	sum, err := metrics.Summarise(v.Runs(), settings.Summary)
	if err != nil {
		return nil, fmt.Errorf("sum up visit %s: %w", v.Folder, err)
	}
	c, err := metrics.CompareSummed(sum, last, settings)
	if err != nil {
		return nil, fmt.Errorf("compare visit %s with %s: %w", now.Folder, v.Folder, err)
	}
	return c, nil
}

// measuredBefore reads the measured visits of the horse before this one, the latest first;
// those that were read already are taken as they are. One that can't be read is passed
// over: its own page says so.
func measuredBefore(ctx context.Context, now *Visit, known []otherVisit) []otherVisit {
	var out []otherVisit
	for _, folder := range foldersBefore(now.Around.Folder) {
		if len(out) == mostEarlier {
			break
		}
		if i := slices.IndexFunc(known, func(v otherVisit) bool { return !v.Single && v.Around.Folder == folder }); i >= 0 {
			out = append(out, known[i])
		} else if v, err := loadVisit(ctx, folder); err == nil && len(v.Results) > 0 {
			out = append(out, otherVisit{Visit: v})
		}
	}
	return out
}

// foldersBefore returns the folders of the horse's visits before the one at folder, the latest
// first.
func foldersBefore(folder string) []string {
	folders, err := Visits(filepath.Dir(folder))
	if err != nil || !isDated(filepath.Base(folder)) {
		return nil
	}
	folders = slices.DeleteFunc(folders, func(f string) bool { return filepath.Base(f) >= filepath.Base(folder) })
	slices.Reverse(folders)
	return folders
}

// EarlierResults returns the result files of the visits before the one at folder with which
// its page compares it.
func EarlierResults(folder string) []string {
	var out []string
	visits := 0
	for _, f := range foldersBefore(filepath.Clean(folder)) {
		if visits == mostEarlier {
			break
		}
		results, err := fs.Glob(os.DirFS(f), "*.out/"+record.ResultFile)
		if err != nil || len(results) == 0 {
			continue
		}
		visits++
		for _, r := range results {
			out = append(out, filepath.Join(f, r))
		}
	}
	return out
}

// askVet asks for a veterinarian, and says why: where the horse has become worse, where
// signs point to a limb or a side now, and where they did at an earlier visit and no change
// that counts says that they are less. Where one says so that is not the one since the
// latest such visit, it says since when. It names no cause.
func askVet(now metrics.LimbFinding, earlier []earlierVisit) []string {
	const ask = "Show this to a veterinarian, who diagnoses: "
	better := map[string]string{} // Since when.
	for _, e := range earlier {
		if e.verdict == metrics.Worse {
			return []string{fmt.Sprintf("The horse has become worse since %s: have a veterinarian look at it before it goes on working.", e.day)}
		}
		if e.verdict == metrics.Improved {
			better[glance.Named(e.found)] = e.day
		}
	}
	if limb := glance.Named(now); limb != "" {
		return []string{ask + "signs point to " + theLimb(limb) + "."}
	}
	for _, e := range earlier {
		if limb := glance.Named(e.found); limb != "" && better[limb] == "" {
			return []string{fmt.Sprintf("%ssigns pointed to %s on %s, and no comparison since then shows that they are less.", ask, theLimb(limb), e.day)}
		}
	}
	for _, e := range earlier { // Why none is asked for, though this change does not count.
		if limb := glance.Named(e.found); limb != "" && e.verdict != metrics.Improved {
			return []string{fmt.Sprintf("Compared with the visit of %s it is better: the whole 95 %% interval of the change is for the better.", better[limb])}
		}
	}
	return nil
}

// theLimb puts what signs point to into a sentence.
func theLimb(named string) string {
	if named == "fore and hind" {
		return named
	}
	return "the " + named
}
