package pipeline

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/pipeline/table"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// HorseHistory is a horse's visits and where their page lies.
type HorseHistory struct {
	Folder   string
	Visits   int
	Finding  string
	Problems []string
	Notes    []string // What people should know of the pages, such as unknown keys.
}

// History writes one page about all visits of the horse at folder. A visit
// that cannot be read is named in Problems and left out.
func History(ctx context.Context, folder string, opts CompareOptions) (*HorseHistory, error) {
	folders, err := Visits(folder)
	if err != nil {
		return nil, err
	}
	if len(folders) == 0 {
		return nil, fmt.Errorf("history of %s: there is no visit folder (named yyyy-mm-dd)", folder)
	}
	out := &HorseHistory{Folder: filepath.Join(folder, "history.out")}
	visits, err := loadHistory(ctx, folders, opts)
	if err != nil {
		return nil, fmt.Errorf("history of %s: %w", folder, err)
	}
	told, err := tellHistory(visits, out)
	if err != nil {
		return nil, fmt.Errorf("history of %s: %w", folder, err)
	}
	told.compare(visits, opts)
	page, first, last := &told.page, told.first, told.last
	earlier, err := historyBefore(ctx, first, last, page.Comparison)
	if err != nil {
		return nil, err
	}
	out.Finding = page.Finding
	page.Provenance = provenance(opts.Program, nil)
	if err := mayReplace(out.Folder, ReportFile); err != nil {
		return nil, err
	}
	data, rows := historyData(visits, out, opts)
	return out, makeFolder(out.Folder, func(f *files) error {
		f.json("history.json", data)
		f.from("history.csv", func(w io.Writer) error { return table.History(w, rows) })
		f.from("visits.csv", func(w io.Writer) error { return table.Visits(w, rows) })
		f.from("soreness.csv", func(w io.Writer) error { return table.Palpation(w, rows) })
		f.from("columns.csv", table.HistoryDictionary)
		figure, err := plots.History(told.points, plots.HistoryOptions{Followed: page.Followed})
		page.Figures = f.figures(plots.OutcomeOf("All visits", figure, err))
		page.Front.Course = course(visits, page.Comparison)
		f.historyFront(page, first, last, told.middle, earlier)
		f.page(*page)
		return nil
	})
}

// toldHistory is what the page of all visits tells.
type toldHistory struct {
	page        report.History
	points      []plots.HistoryPoint
	first, last *pastVisit   // Of those measured; nil where there are fewer.
	middle      []*pastVisit // Shown between those two.
}

// tellHistory collects what each visit adds to the page, and to what out names.
func tellHistory(visits []*pastVisit, out *HorseHistory) (*toldHistory, error) {
	t := new(toldHistory)
	for _, v := range visits {
		if v.Visit != nil {
			out.Problems = append(out.Problems, v.Problems...)
		}
		if v.err != nil {
			out.Problems = append(out.Problems, v.err.Error())
			continue
		}
		for _, text := range v.Around.Warnings {
			if !slices.Contains(out.Notes, text) {
				out.Notes = append(out.Notes, text)
			}
		}
		t.page.Header = header(v.Around)
		t.follow(v.Around.Visit.Followed)
		point, row := historyEntry(v, out.Folder)
		t.points, t.page.Visits = append(t.points, point), append(t.page.Visits, row)
		switch {
		case v.sum == nil:
		case t.first == nil:
			t.first = v
		default:
			t.last = v
		}
	}
	out.Visits = len(t.page.Visits)
	if out.Visits == 0 {
		return nil, fmt.Errorf("no visit can be read: %s", strings.Join(slices.Compact(out.Problems), "; ")) // A page above all visits is told once.
	}
	return t, nil
}

// follow shows a measure through the visits.
func (t *toldHistory) follow(n metrics.Name) {
	if n != "" && !slices.Contains(t.page.Followed, n) {
		t.page.Followed = append(t.page.Followed, n)
	}
}

// compare sets the last measured visit beside the first.
func (t *toldHistory) compare(visits []*pastVisit, opts CompareOptions) {
	if t.last == nil {
		return
	}
	c, err := metrics.CompareSummed(t.first.sum, t.last.sum, compareSettings(t.first.Visit, t.last.Visit, opts))
	if err != nil {
		return
	}
	page := &t.page
	page.Finding, page.Comparison, page.Compared = c.Sentence, c, [2]time.Time{day(t.first.Around.Folder), day(t.last.Around.Folder)}
	t.middle = between(visits, t.first, t.last, opts)
	for _, v := range t.middle {
		page.Between = append(page.Between, report.HistoryVisit{Date: day(v.Around.Folder), Summary: v.sum.Summary})
	}
	// What the first page leads with is followed through the visits as well.
	if lead := glance.Lead(c); lead != nil {
		t.follow(lead.Name)
	}
}

// between returns the last measured visits between two that can be compared with the first,
// as many as a first page shows.
func between(visits []*pastVisit, first, last *pastVisit, opts CompareOptions) []*pastVisit {
	var out []*pastVisit
	for _, v := range slices.Backward(visits) {
		if v.err != nil || v.sum == nil || v == first || v == last || len(out) == report.MostBetween {
			continue
		}
		c, err := metrics.CompareSummed(first.sum, v.sum, compareSettings(first.Visit, v.Visit, opts))
		if err == nil && c.Verdict != metrics.NotComparable {
			out = append(out, v)
		}
	}
	slices.Reverse(out)
	return out
}

// course says of each visit in a few words how it compares with the one before it, of the
// last ones at most; c is of the first and the last.
func course(visits []*pastVisit, c *metrics.Comparison) string {
	const most = 5
	var told []string
	small := c != nil && (c.Verdict == metrics.Improved || c.Verdict == metrics.Worse)
	for _, v := range visits {
		switch {
		case v.err != nil:
		case v.sum == nil:
			told = append(told, shortDay(v.Visit)+" not measured")
		case v.since != "":
			told = append(told, shortDay(v.Visit)+" "+string(v.since))
			small = small && v.since == metrics.NoChange
		}
	}
	if len(told) < 2 { // Two visits: the sentence above says it.
		return ""
	}
	const each = "Each visit against the one before it: "
	if small {
		return "From each visit to the next no change counts; from the first to the last it does."
	}
	if left := len(told) - most; left > 0 {
		told = append(told[left:], fmt.Sprintf("%s before them in the details", counted(left, "visit")))
	}
	return each + strings.Join(told, ", ") + "."
}

// historyBefore returns the visits before the last measured one; none where there is no last.
func historyBefore(ctx context.Context, first, last *pastVisit, compared *metrics.Comparison) ([]earlierVisit, error) {
	if last == nil {
		return nil, nil
	}
	return visitsBefore(ctx, last.Visit, otherVisit{first.Visit, compared})
}

// historyFront fills the first page: the first measured visit beside the last, with pictures
// of those in the middle.
func (f *files) historyFront(page *report.History, first, last *pastVisit, middle []*pastVisit, earlier []earlierVisit) {
	if first == nil {
		return
	}
	now, written := first, []*record.Visit{&first.Around.Visit}
	var summary *metrics.Summary
	var words [2]string
	if last != nil {
		now, summary = last, first.sum.Summary
		words = visitWords(page.Comparison, first.Visit, last.Visit, "first", "last")
		page.Front.Visits = words[:1:1]
		for _, v := range middle {
			page.Front.Visits, written = append(page.Front.Visits, shortDay(v.Visit)), append(written, &v.Around.Visit)
		}
		page.Front.Visits, written = append(page.Front.Visits, words[1]), append(written, &last.Around.Visit)
	}
	f.frontFigures(&page.Front, summary.Said(now.Around.Yard.Lengths), now.sum.Said(now.Around.Yard.Lengths), words, written...)
	page.Front.Noted = append(noted("Shoeing", func(v *record.Visit) string { return v.Shoeing }, written), page.Front.Noted...)
	next := nextRuns(now.sum.Summary, now.Visit)
	if last != nil && page.Comparison != nil {
		next = nextCompared(page.Comparison, first.Visit, now.Visit)
	}
	page.Front.NextFilming = advice(now.Visit, askVet(now.sum.Summary.Limb, earlier), next)
	if last == nil {
		visitStills(&page.Front, now.Visit, now.sum.Summary)
		return
	}
	comparedStills(&page.Front, first.Visit, last.Visit, page.Comparison, words, middle...)
}

// HistorySchema is the schema field of a history file.
const HistorySchema = "jogstrip-history/1"

// historyFile is what history.json holds.
type historyFile struct {
	Schema   string          `json:"schema"`
	Program  record.Program  `json:"program"`
	Horse    string          `json:"horse,omitempty"`
	Finding  string          `json:"finding,omitempty"` // The first visit against the last.
	Problems []string        `json:"problems,omitempty"`
	Visits   []historyOfFile `json:"visits"` // In order of time.
}

type historyOfFile struct {
	comparedVisit
	Since   metrics.Verdict  `json:"since_the_visit_before,omitempty"`
	Summary *metrics.Summary `json:"summary,omitempty"` // Missing where nothing was measured.
}

// historyData returns the visits that are on the page as data.
func historyData(visits []*pastVisit, out *HorseHistory, opts CompareOptions) (*historyFile, []table.Visit) {
	data := &historyFile{Schema: HistorySchema, Program: opts.Program, Finding: out.Finding, Problems: out.Problems}
	var rows []table.Visit
	for _, v := range visits {
		if v.err != nil {
			continue
		}
		data.Horse = v.Around.Horse.Name
		one := historyOfFile{comparedVisit: compared(v.Visit), Since: v.since}
		if v.sum != nil {
			one.Summary = v.sum.Summary
		}
		row := tableVisit(v.Visit, one.Summary)
		row.Since = string(v.since)
		data.Visits, rows = append(data.Visits, one), append(rows, row)
	}
	return data, rows
}

// pastVisit is one visit of a history.
type pastVisit struct {
	*Visit                 // Nil where it could not be read.
	sum    *metrics.Summed // Nil where nothing was measured.
	since  metrics.Verdict // Against the measured visit before; empty where there is none.
	err    error           // Why it is left out.
}

// loadHistory reads the visits, sums each one up and compares it with the one
// before it, in the order of folders. Every result is read once and every visit
// summed up once, however many visits there are; the work is shared among the
// cores, and what comes of it does not depend on how.
func loadHistory(ctx context.Context, folders []string, opts CompareOptions) ([]*pastVisit, error) {
	visits := make([]*pastVisit, len(folders))
	err := atOnce(ctx, len(folders), func(i int) {
		visits[i] = new(pastVisit)
		visits[i].Visit, visits[i].err = loadVisit(ctx, folders[i])
	})
	if err != nil {
		return nil, err
	}
	if err := ownTolerances(ctx, visits); err != nil {
		return nil, err
	}
	var measured []*pastVisit
	for _, v := range visits {
		if v.err == nil && len(v.Results) > 0 {
			measured = append(measured, v)
		}
	}
	err = atOnce(ctx, len(measured), func(i int) {
		v := measured[i]
		if v.sum, v.err = metrics.Summarise(v.Runs(), v.summing(opts.Resamples)); v.err != nil {
			v.err = fmt.Errorf("sum up visit %s: %w", v.Folder, v.err)
		}
	})
	if err != nil {
		return nil, err
	}
	measured = slices.DeleteFunc(measured, func(v *pastVisit) bool { return v.err != nil })
	return visits, atOnce(ctx, len(measured), func(i int) {
		if i == 0 {
			return
		}
		before, v := measured[i-1], measured[i]
		c, err := metrics.CompareSummed(before.sum, v.sum, compareSettings(before.Visit, v.Visit, opts))
		if err != nil {
			v.err = fmt.Errorf("compare visit %s with the one before: %w", v.Folder, err)
			return
		}
		v.since = c.Verdict
	})
}

// ownTolerances gives every visit the tolerances that LoadVisit would give it.
// They are the same for all visits of a horse at one gait and are worked out
// once, from the results that were read already.
func ownTolerances(ctx context.Context, visits []*pastVisit) error {
	var read []*Visit
	for _, v := range visits {
		if v.err == nil {
			read = append(read, v.Visit)
		}
	}
	runs := runsAmong(read...)
	type shared struct {
		gait traj.Gait
		yard string
	}
	known := map[shared]*metrics.ToleranceTable{}
	for _, v := range visits {
		if v.err != nil || len(v.Results) == 0 {
			continue
		}
		key := shared{v.Results[0].Run.Gait, v.Around.YardFolder}
		table, done := known[key]
		if !done {
			if v.err = v.useRepeats(ctx, runs); v.err != nil {
				if ctx.Err() != nil {
					return v.err
				}
				continue
			}
			table = v.Around.Tolerances
			known[key] = table
		}
		v.Around.Tolerances = table
	}
	return nil
}

func historyEntry(v *pastVisit, from string) (plots.HistoryPoint, report.HistoryVisit) {
	point := plots.HistoryPoint{Date: day(v.Around.Folder)}
	row := report.HistoryVisit{Date: point.Date, Since: string(v.since)}
	if v.sum != nil {
		row.Summary = v.sum.Summary
		point.Summary = v.sum.Said(v.Around.Yard.Lengths)
	}
	if page := filepath.Join(v.Around.Folder, visitOut, ReportFile); exists(page) {
		row.Link = relativeLink(from, page)
	}
	var felt, treated []string
	for _, p := range v.Around.Visit.Palpation {
		point.Soreness = append(point.Soreness, plots.Soreness{Region: regionWords(p), Grade: float64(p.Soreness)})
		felt = append(felt, regionWords(p)+" "+sorenessWords(p.Soreness))
	}
	for _, t := range v.Around.Visit.Treatment {
		if !noTreatment(t.What) {
			point.Treatments = append(point.Treatments, t.What)
		}
		treated = append(treated, treatmentWords(t))
	}
	row.Shoeing = v.Around.Visit.Shoeing
	row.Soreness, row.Treatment, row.Function = strings.Join(felt, "; "), strings.Join(treated, "; "), functionWords(v.Around.Visit.Function)
	return point, row
}

// noTreatment reports whether what was written down says that nothing was done: "none", "None;
// exercises go on". A figure has no sign for that.
func noTreatment(what string) bool {
	first, _, _ := strings.Cut(strings.NewReplacer(";", " ", ",", " ", ".", " ", ":", " ").Replace(strings.TrimSpace(what)), " ")
	return strings.EqualFold(first, "none")
}

func functionWords(f record.Function) string {
	var out []string
	for _, p := range [][2]string{{"barn", f.Barn}, {"field", f.Field}, {"work", f.Work}} {
		if p[1] != "" {
			out = append(out, p[0]+": "+p[1])
		}
	}
	return strings.Join(out, "; ")
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func measureTitle(n metrics.Name) string {
	d, known := metrics.Define(n)
	if !known {
		return ""
	}
	return d.Title
}
