package pipeline

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/report"
	"jogstrip/pipeline/table"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// ComparisonSchema is the schema field of a comparison file.
const ComparisonSchema = "jogstrip-comparison/1"

// CompareOptions sets how visits are compared. The zero value is right.
type CompareOptions struct {
	Program   record.Program
	Resamples int
	Followed  metrics.Name // Asked for now; it counts as declared beforehand only where the records say so.
	Out       string       // Folder for the comparison; empty puts it beside the later visit's clips.
	NoVideo   bool         // Leave out the film of before and after.
	// Progress, where set, is told what is being done and how far it is.
	Progress func(stage string, done, total int)
	// OtherHorse allows visits of two horses, which are refused otherwise.
	OtherHorse bool
}

// Compared is a comparison and where its page lies.
type Compared struct {
	*metrics.Comparison
	Folder   string
	Problems []string // Results that could not be used.
	// NotFilmed says what the film of before and after lacks, and why.
	NotFilmed []string
	Notes     []string // What was put right, or is unusual about the two, in sentences.
}

// comparisonFile is what comparison.json holds.
type comparisonFile struct {
	Schema     string              `json:"schema"`
	Program    record.Program      `json:"program"`
	Before     comparedVisit       `json:"before"`
	After      comparedVisit       `json:"after"`
	Problems   []string            `json:"problems,omitempty"`
	Notes      []string            `json:"notes,omitempty"`
	Comparison *metrics.Comparison `json:"comparison"`
}

type comparedVisit struct {
	Name    string        `json:"name"`
	Results []resultInput `json:"results"`
	Record  *record.Visit `json:"record"` // As its page says; empty where there is none.
}

type resultInput struct {
	Clip   string        `json:"clip"`
	Inputs record.Inputs `json:"inputs"`
}

// CompareVisits compares two visits, given as visit folders, results folders or
// result files, and writes the comparison: a page, plots, and the numbers as
// JSON and CSV. Only the later visit's folder (or opts.Out) is written to. Visits given
// in the wrong order of their dates are put right, which Notes says; the same visit
// twice and, without opts.OtherHorse, visits of two horses are refused.
func CompareVisits(ctx context.Context, before, after string, opts CompareOptions) (*Compared, error) {
	b, err := loadVisit(ctx, before)
	if err != nil {
		return nil, err
	}
	a, err := loadVisit(ctx, after)
	if err != nil {
		return nil, err
	}
	var notes []string
	if laterThan(b, a) {
		b, a = a, b
		notes = append(notes, fmt.Sprintf("The visits were given in the wrong order: %s is compared as before, %s as after.", filepath.Base(b.Around.Folder), filepath.Base(a.Around.Folder)))
	}
	if err := mayCompare(b, a, opts); err != nil {
		return nil, err
	}
	if two := twoHorses(b, a); two != "" {
		notes = append(notes, fmt.Sprintf("These are two horses, %s: what differs between them is no change.", two))
	}
	for _, v := range []*Visit{b, a} {
		for _, text := range v.Around.Warnings {
			if !slices.Contains(notes, text) {
				notes = append(notes, text)
			}
		}
	}
	// Tolerances are the later visit's.
	if err := a.useRepeats(ctx, runsAmong(b, a)); err != nil {
		return nil, err
	}
	for _, v := range []*Visit{b, a} {
		if len(v.Results) == 0 {
			problem := fmt.Errorf("compare: visit %s has no measured clip; measure it first", v.Folder)
			if len(v.Problems) > 0 {
				problem = fmt.Errorf("%w (%s)", problem, strings.Join(v.Problems, "; "))
			}
			return nil, problem
		}
	}
	comparison, err := metrics.Compare(b.Runs(), a.Runs(), compareSettings(b, a, opts))
	if err != nil {
		return nil, err
	}
	out := &Compared{Comparison: comparison, Problems: append(slices.Clone(b.Problems), a.Problems...), Notes: notes, Folder: opts.Out}
	if out.Folder == "" {
		out.Folder = filepath.Join(a.Around.Folder, "compared-with-"+visitName(b, a)+".out")
	}
	return out, writeComparison(ctx, out, b, a, opts)
}

// compareSettings sets the measure that is followed: the one that the earlier visit's
// page names, if it named it when the later visit's clips were measured. One that was
// asked for or written down otherwise was chosen afterwards.
func compareSettings(b, a *Visit, opts CompareOptions) metrics.CompareOptions {
	o := metrics.CompareOptions{
		Summary: a.summing(opts.Resamples),
		Before:  circumstances(b),
		After:   circumstances(a),
	}
	declared := b.Around.Visit.Followed
	for _, r := range a.Results {
		if r.Declared[filepath.Base(b.Around.Folder)] != declared {
			o.Afterwards, declared = declared, ""
			break
		}
	}
	o.Followed = declared
	switch {
	case opts.Followed != "" && opts.Followed != declared:
		o.Followed, o.Afterwards = "", opts.Followed
	case declared == "" && o.Afterwards == "":
		o.Afterwards = a.Around.Visit.Followed
	}
	return o
}

func circumstances(v *Visit) metrics.Circumstances {
	c := metrics.Circumstances{Surface: v.Around.Visit.Surface, Shoeing: v.Around.Visit.Shoeing, Ridden: v.Around.Visit.Presented == record.Ridden}
	if d := day(v.Around.Folder); !d.IsZero() {
		c.Date = d.Format("2 January 2006")
	}
	return c
}

// visitName names the earlier visit in the comparison's folder name, with the
// clip where single results are compared.
func visitName(b, a *Visit) string {
	name := filepath.Base(b.Around.Folder)
	if b.Single && a.Single || b.Around.Folder == a.Around.Folder {
		name += "-" + strings.TrimSuffix(filepath.Base(b.Results[0].Folder), ".out")
	}
	return name
}

func writeComparison(ctx context.Context, c *Compared, b, a *Visit, opts CompareOptions) (err error) {
	if err := os.MkdirAll(filepath.Dir(c.Folder), 0o777); err != nil {
		return fmt.Errorf("write comparison: %w", err)
	}
	if err := mayReplace(c.Folder, "comparison.json"); err != nil {
		return err
	}
	before := otherVisit{Visit: b}
	if opts.Followed == "" { // Else it goes by what this page was asked for.
		before.compared = c.Comparison
	}
	earlier, err := visitsBefore(ctx, a, before)
	if err != nil {
		return err
	}
	return makeFolder(c.Folder, func(f *files) error {
		f.json("comparison.json", comparisonFile{
			Schema: ComparisonSchema, Program: opts.Program, Before: compared(b), After: compared(a), Problems: c.Problems, Notes: c.Notes, Comparison: c.Comparison,
		})
		f.from("changes.csv", func(w io.Writer) error { return table.Changes(w, c.Comparison) })
		rows := []table.Visit{tableVisit(b, &c.Before), tableVisit(a, &c.After)}
		rows[1].Since = string(c.Verdict)
		f.from("visits.csv", func(w io.Writer) error { return table.Visits(w, rows) })
		f.from("soreness.csv", func(w io.Writer) error { return table.Palpation(w, rows) })
		f.from("columns.csv", table.ChangesDictionary)
		said := c.Said(a.Around.Yard.Lengths)
		pictures := f.figures(plots.ComparisonFigures(said))
		var inputs []report.Input
		for _, v := range []*Visit{b, a} {
			for _, r := range v.Results {
				inputs = append(inputs, report.Input{Name: filepath.Join(filepath.Base(v.Around.Folder), r.Clip.File), SHA256: r.Inputs.ClipSHA256})
			}
		}
		page := report.Comparison{
			Header: header(a.Around), Before: visited(b, c.Folder), After: visited(a, c.Folder), Comparison: c.Comparison,
			Figures: pictures, Records: recordsBeside(&b.Around.Visit, &a.Around.Visit), Provenance: provenance(opts.Program, inputs),
		}
		first, last := &b.Around.Visit, &a.Around.Visit
		words := visitWords(c.Comparison, b, a, "before", "now")
		page.Front = report.Front{Visits: words[:], NextFilming: advice(a, askVet(c.After.Limb, earlier), nextCompared(c.Comparison, b, a))}
		f.frontFigures(&page.Front, &said.Before, &said.After, words, first, last)
		comparedStills(&page.Front, b, a, c.Comparison, words)
		if two := twoHorses(b, a); two != "" {
			page.Header.Horse = two
		}
		page.After.Note = strings.Join(slices.DeleteFunc(append([]string{page.After.Note}, c.Notes...), func(s string) bool { return s == "" }), ". ")
		if !opts.NoVideo {
			sections, why := f.film(ctx, b, a, opts)
			c.NotFilmed, page.NotFilmed = why, why
			page.Films = f.shownFilm(sections, said, b, a)
		}
		f.page(page)
		return nil
	})
}

// laterThan reports whether visit b is later than visit a by their folders' names.
func laterThan(b, a *Visit) bool {
	first, last := day(b.Around.Folder), day(a.Around.Folder)
	if first.IsZero() || last.IsZero() {
		return false
	}
	if first.Equal(last) {
		return nth(b.Around.Folder) > nth(a.Around.Folder)
	}
	return first.After(last)
}

// nth returns n of a visit folder that is called yyyy-mm-dd-n, else 1.
func nth(folder string) int {
	_, after, _ := strings.Cut(strings.TrimPrefix(filepath.Base(folder), day(folder).Format(time.DateOnly)), "-")
	if n, err := strconv.Atoi(after); err == nil {
		return n
	}
	return 1
}

// horseOf returns whose visit it is: the name on the horse's page, else of the folder
// that holds its visits; empty where a clip lies by itself.
func horseOf(v *Visit) string {
	if v.Around.HasHorse {
		return v.Around.Horse.Name
	}
	if isDated(filepath.Base(v.Around.Folder)) {
		return filepath.Base(filepath.Dir(v.Around.Folder))
	}
	return ""
}

// twoHorses names the horses of two visits where they are not the same, "Thistle
// (before) and Sorrel (after)", else it returns "".
func twoHorses(b, a *Visit) string {
	before, after := horseOf(b), horseOf(a)
	same := strings.EqualFold(strings.TrimSpace(before), strings.TrimSpace(after)) || before == "" || after == ""
	if same && b.Around.YardFolder != "" && b.Around.YardFolder == a.Around.YardFolder {
		// Of one yard, two horses may have been given one name.
		same = before == "" || after == "" || filepath.Dir(b.Around.Folder) == filepath.Dir(a.Around.Folder)
	}
	if same {
		return ""
	}
	if strings.EqualFold(before, after) {
		before, after = before+" in "+filepath.Base(filepath.Dir(b.Around.Folder)), after+" in "+filepath.Base(filepath.Dir(a.Around.Folder))
	}
	return fmt.Sprintf("%s (before) and %s (after)", before, after)
}

// mayCompare refuses a visit beside itself, and two horses unless they were asked for.
func mayCompare(b, a *Visit, opts CompareOptions) error {
	if b.Around.Folder == a.Around.Folder && (!b.Single || !a.Single) {
		return fmt.Errorf("compare: %s was given twice; name two visits", a.Folder)
	}
	for _, x := range b.Results {
		for _, y := range a.Results {
			if x.Inputs.ClipSHA256 == y.Inputs.ClipSHA256 {
				return fmt.Errorf("compare: %s of %s is the same film as %s of %s, which cannot show a change; delete one, or name another visit",
					x.Clip.File, filepath.Base(b.Around.Folder), y.Clip.File, filepath.Base(a.Around.Folder))
			}
		}
	}
	if two := twoHorses(b, a); two != "" && !opts.OtherHorse {
		return fmt.Errorf("compare: these are visits of two horses, %s; name two visits of one horse, or say --other-horse", two)
	}
	return nil
}

// mayReplace refuses to replace a folder that holds anything but an earlier
// result of the same kind, so that a mistyped folder costs nothing. mark is the name of
// the file by which such a folder is known; a JSON file must say that it is this
// program's.
func mayReplace(folder, mark string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, os.ErrNotExist) || err == nil && len(entries) == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("write into %s: %w", folder, err)
	}
	other := fmt.Errorf("write into %s: it holds other files than this program's and is left as it is; rename it, or name another folder", folder)
	stat, err := os.Stat(filepath.Join(folder, mark))
	if err != nil || !stat.Mode().IsRegular() {
		return other
	}
	if filepath.Ext(mark) == ".json" && stat.Size() > 0 { // A drive that failed may leave an empty one.
		head, err := firstBytes(filepath.Join(folder, mark), 400)
		if err != nil {
			return fmt.Errorf("write into %s: %w", folder, err)
		}
		if !bytes.Contains(head, []byte(`"schema"`)) || !bytes.Contains(head, []byte(`"jogstrip-`)) {
			return other
		}
	}
	return nil
}

// firstBytes returns at most the first n bytes of a file.
func firstBytes(path string, n int64) (head []byte, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return io.ReadAll(io.LimitReader(f, n))
}

func compared(v *Visit) comparedVisit {
	c := comparedVisit{Name: filepath.Base(v.Around.Folder), Record: &v.Around.Visit}
	for _, r := range v.Results {
		c.Results = append(c.Results, resultInput{r.Clip.File, r.Inputs})
	}
	return c
}

// tableVisit is the visit as tables take it.
func tableVisit(v *Visit, s *metrics.Summary) table.Visit {
	page := &v.Around.Visit
	out := table.Visit{
		Name: fsx.EscapeName(filepath.Base(v.Around.Folder)), Summary: s,
		Reason: page.Reason, Surface: page.Surface, Shoeing: page.Shoeing, Presented: page.Presented, Followed: string(page.Followed),
		Barn: page.Function.Barn, Field: page.Function.Field, Work: page.Function.Work, VetGrade: page.AAEPGrade,
		GradedBy: page.GradedBy, NextCheck: page.NextCheck, Notes: page.Notes,
	}
	if d := day(v.Around.Folder); !d.IsZero() {
		out.Date = d.Format(time.DateOnly)
	}
	for _, p := range page.Palpation {
		side := string(p.Side)
		if p.Side == traj.Middle {
			side = ""
		}
		out.Soreness = append(out.Soreness, table.Soreness{Region: p.Region, Side: side, Grade: p.Soreness, Pressure: p.Pressure, PressureUnit: p.PressureUnit, Behaviour: p.Behaviour, Note: p.Note})
	}
	var moved []string
	for _, m := range page.Motion {
		moved = append(moved, motionPlace(m)+" "+motionWords(m))
	}
	out.Motion = strings.Join(moved, "; ")
	var treated []string
	for _, t := range page.Treatment {
		treated = append(treated, treatmentWords(t))
	}
	out.Treatment = strings.Join(treated, "; ")
	return out
}

func visited(v *Visit, from string) report.Visited {
	out := report.Visited{Date: day(v.Around.Folder)}
	var words []string
	for _, w := range []string{v.Around.Visit.Reason, v.Around.Visit.Surface, v.Around.Visit.Shoeing, v.Around.Visit.Presented} {
		if w != "" {
			words = append(words, w)
		}
	}
	out.Note = strings.Join(words, "; ")
	page := filepath.Join(v.Around.Folder, visitOut, ReportFile)
	if _, err := os.Stat(page); err == nil {
		out.Link = relativeLink(from, page)
	}
	return out
}

// relativeLink returns the way from a page in folder from to the file at path.
func relativeLink(from, path string) string {
	absolute, err := filepath.Abs(from)
	if err != nil {
		return ""
	}
	rel, err := filepath.Rel(absolute, path)
	if err != nil {
		return ""
	}
	return filepath.ToSlash(rel)
}

// sorenessWords names a grade of soreness that was checked when it was read.
func sorenessWords(grade int) string {
	return fmt.Sprintf("%d %s", grade, record.SorenessGrades()[grade].Name)
}

func palpationWords(p record.Palpation) string {
	text := sorenessWords(p.Soreness)
	if p.Pressure > 0 {
		text += fmt.Sprintf(", reacted at %g %s", p.Pressure, strings.ReplaceAll(p.PressureUnit, "cm2", "cm²"))
	}
	if p.Behaviour != "" {
		text += "; " + p.Behaviour
	}
	if p.Note != "" {
		text += ": " + p.Note
	}
	return text
}

func motionPlace(m record.Motion) string {
	return fmt.Sprintf("%s %s, %s", m.Side, m.Limb, m.Direction)
}

func motionWords(m record.Motion) string {
	if m.Note != "" {
		return m.Ease + ": " + m.Note
	}
	return m.Ease
}

func regionWords(p record.Palpation) string {
	if p.Side == traj.Middle {
		return p.Region
	}
	return p.Region + ", " + string(p.Side)
}

func treatmentWords(t record.Treatment) string {
	text := t.What
	if t.Who != "" {
		text += " (" + t.Who + ")"
	}
	if t.Note != "" {
		text += ": " + t.Note
	}
	return text
}

func gradeWords(v *record.Visit) string {
	if v.AAEPGrade == nil {
		return ""
	}
	text := fmt.Sprintf("%d", *v.AAEPGrade)
	if v.GradedBy != "" {
		text += ", by " + v.GradedBy
	}
	return text
}

const (
	palpationTitle = "Soreness on palpation"
	motionTitle    = "Range of motion, moved by hand"
	treatmentTitle = "Treatment given"
	functionTitle  = "Function"
	gradeTitle     = "Veterinarian's grade (AAEP, 0 to 5)"
	gradeNote      = "Entered as the veterinarian gave it; never derived from measures."
)

// palpationNote explains the grades below a table of them.
func palpationNote() string {
	var grades []string
	for i, g := range record.SorenessGrades() {
		grades = append(grades, fmt.Sprintf("%d %s (%s)", i, g.Name, g.Meaning))
	}
	return "Grades as the practitioner felt them: " + strings.Join(grades, ", ") + "."
}

// recordsBeside puts what two visits wrote down side by side.
func recordsBeside(before, after *record.Visit) []report.RecordSection {
	place := func(s *report.RecordSection, region string) *report.RecordRow {
		i := slices.IndexFunc(s.Rows, func(r report.RecordRow) bool { return r.Region == region })
		if i < 0 {
			i = len(s.Rows)
			s.Rows = append(s.Rows, report.RecordRow{Region: region})
		}
		return &s.Rows[i]
	}
	felt, moved := report.RecordSection{Title: palpationTitle, Note: palpationNote()}, report.RecordSection{Title: motionTitle}
	for _, p := range before.Palpation {
		place(&felt, regionWords(p)).Before = palpationWords(p)
	}
	for _, p := range after.Palpation {
		place(&felt, regionWords(p)).After = palpationWords(p)
	}
	for _, m := range before.Motion {
		place(&moved, motionPlace(m)).Before = motionWords(m)
	}
	for _, m := range after.Motion {
		place(&moved, motionPlace(m)).After = motionWords(m)
	}
	treated := report.RecordSection{Title: treatmentTitle}
	for i := range max(len(before.Treatment), len(after.Treatment)) {
		r := report.RecordRow{Region: fmt.Sprintf("treatment %d", i+1)}
		if i < len(before.Treatment) {
			r.Before = treatmentWords(before.Treatment[i])
		}
		if i < len(after.Treatment) {
			r.After = treatmentWords(after.Treatment[i])
		}
		treated.Rows = append(treated.Rows, r)
	}
	function := report.RecordSection{Title: functionTitle, Rows: filled([]report.RecordRow{
		{Region: "In the barn", Before: before.Function.Barn, After: after.Function.Barn},
		{Region: "In the field", Before: before.Function.Field, After: after.Function.Field},
		{Region: "At work", Before: before.Function.Work, After: after.Function.Work},
	})}
	grade := report.RecordSection{Title: gradeTitle, Note: gradeNote, Rows: filled([]report.RecordRow{{Region: "Grade", Before: gradeWords(before), After: gradeWords(after)}})}
	var out []report.RecordSection
	for _, s := range []report.RecordSection{felt, moved, treated, function, grade} {
		if len(s.Rows) > 0 {
			out = append(out, s)
		}
	}
	return out
}

func filled(rows []report.RecordRow) []report.RecordRow {
	return slices.DeleteFunc(rows, func(r report.RecordRow) bool { return r.Before == "" && r.After == "" })
}
