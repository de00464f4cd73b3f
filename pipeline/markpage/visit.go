package markpage

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"jogstrip/metrics"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

const visitLimit = 1 << 20

// visitBody is a visit as the page sends and gets it; the names are those of
// the file.
type visitBody struct {
	Reason    string          `json:"reason"`
	Surface   string          `json:"surface"`
	Shoeing   string          `json:"shoeing"`
	Presented string          `json:"presented"`
	Followed  metrics.Name    `json:"followed"`
	Palpation []palpationBody `json:"palpation"`
	Motion    []motionBody    `json:"motion"`
	Treatment []treatmentBody `json:"treatment"`
	Function  functionBody    `json:"function"`
	AAEPGrade *int            `json:"aaep_grade"`
	GradedBy  string          `json:"graded_by"`
	NextCheck string          `json:"next_check"`
	Notes     string          `json:"notes"`
}

type palpationBody struct {
	Region       string    `json:"region"`
	Side         traj.Side `json:"side"`
	Soreness     int       `json:"soreness"`
	Pressure     float64   `json:"pressure"`
	PressureUnit string    `json:"pressure_unit"`
	Behaviour    string    `json:"behaviour"`
	Note         string    `json:"note"`
}

type motionBody struct {
	Limb      string    `json:"limb"`
	Side      traj.Side `json:"side"`
	Direction string    `json:"direction"`
	Ease      string    `json:"ease"`
	Note      string    `json:"note"`
}

type treatmentBody struct {
	What string `json:"what"`
	Who  string `json:"who"`
	Note string `json:"note"`
}

type functionBody struct {
	Barn  string `json:"barn"`
	Field string `json:"field"`
	Work  string `json:"work"`
}

func bodyOf(v *record.Visit) visitBody {
	b := visitBody{
		Reason: v.Reason, Surface: v.Surface, Shoeing: v.Shoeing, Presented: v.Presented, Followed: v.Followed,
		Palpation: []palpationBody{}, Motion: []motionBody{}, Treatment: []treatmentBody{}, Function: functionBody(v.Function),
		AAEPGrade: v.AAEPGrade, GradedBy: v.GradedBy, NextCheck: v.NextCheck, Notes: v.Notes,
	}
	for _, p := range v.Palpation {
		b.Palpation = append(b.Palpation, palpationBody(p))
	}
	for _, m := range v.Motion {
		b.Motion = append(b.Motion, motionBody(m))
	}
	for _, t := range v.Treatment {
		b.Treatment = append(b.Treatment, treatmentBody(t))
	}
	return b
}

func (b visitBody) visit() *record.Visit {
	v := &record.Visit{
		Reason: b.Reason, Surface: b.Surface, Shoeing: b.Shoeing, Presented: b.Presented, Followed: b.Followed,
		Function: record.Function(b.Function), AAEPGrade: b.AAEPGrade, GradedBy: b.GradedBy, NextCheck: b.NextCheck, Notes: b.Notes,
	}
	for _, p := range b.Palpation {
		v.Palpation = append(v.Palpation, record.Palpation(p))
	}
	for _, m := range b.Motion {
		v.Motion = append(v.Motion, record.Motion(m))
	}
	for _, t := range b.Treatment {
		v.Treatment = append(v.Treatment, record.Treatment(t))
	}
	return v
}

// visitAnswer is everything the visit's page needs.
type visitAnswer struct {
	Visit    visitBody     `json:"visit"`
	Version  string        `json:"version"`
	Path     string        `json:"path"`
	Horse    string        `json:"horse,omitempty"`
	Date     string        `json:"date,omitempty"`
	Regions  []regionGroup `json:"regions"`
	Grades   []gradeWords  `json:"grades"`
	Measures []measureName `json:"measures"`
	Motion   motionWords   `json:"motion"`
	// Behaviours are words for what a horse does under the hand.
	Behaviours []string `json:"behaviours"`
	Caution    string   `json:"caution"`
	// Forbids is what must wait for a veterinarian.
	Forbids forbidWords `json:"forbids"`
	// Surfaces are the horse's earlier visits' words, each once, the latest first.
	Surfaces []surfaceWord `json:"surfaces"`
	Ways     visitWays     `json:"ways"`
	Error    string        `json:"error,omitempty"`
}

// visitWays are the pages about the visit: paths below /results, empty where there
// is none, and whether they can be made.
type visitWays struct {
	Clips      int    `json:"clips"`    // In the visit's folder.
	Measured   int    `json:"measured"` // Of them.
	Report     string `json:"report,omitempty"`
	Before     string `json:"before,omitempty"` // The visit before, by its folder's name.
	Comparison string `json:"comparison,omitempty"`
	History    string `json:"history,omitempty"`
	Makes      bool   `json:"makes"`
}

type regionGroup struct {
	Part    string       `json:"part"`
	Regions []regionBody `json:"regions"`
}

type regionBody struct {
	Name  string `json:"name"`
	Under string `json:"under"`
}

type motionWords struct {
	Limbs      []string `json:"limbs"`
	Directions []string `json:"directions"`
	Eases      []string `json:"eases"`
	Caution    string   `json:"caution"`
}

type forbidWords struct {
	NoTrotFrom  int    `json:"no_trot_from"` // AAEP grade.
	NoTrot      string `json:"no_trot"`
	NoTreatment string `json:"no_treatment"`
	Refused     string `json:"refused"` // The ease that forbids to trot, too.
	Stop        string `json:"stop"`
	Treatment   string `json:"treatment"` // When not to treat.
}

type surfaceWord struct {
	Word string `json:"word"`
	Day  string `json:"day"` // "6 March".
}

type gradeWords struct {
	Name    string `json:"name"`
	Meaning string `json:"meaning"`
}

type measureName struct {
	Name  metrics.Name `json:"name"`
	Title string       `json:"title"`
	Usual bool         `json:"usual"`
}

// usualMeasures are those that most treatments are judged by, in plain words.
var usualMeasures = []measureName{
	{metrics.HeadLowDifference, "Head: how low it drops, left against right", true},
	{metrics.StepLengthFore, "Fore step: how long, left against right", true},
	{metrics.StepLengthHind, "Hind step: how long, left against right", true},
	{metrics.CroupLowDifference, "Croup: how low it drops, left against right", true},
}

// visitFile returns the page of the visit that the request names, its bytes
// (nil for a new one) and their version.
func (s *Server) visitFile(r *http.Request) (name string, data []byte, version string, err error) {
	group := r.URL.Query().Get("visit")
	if _, err := s.folder.subfolder(group); err != nil {
		return "", nil, "", err
	}
	name = path.Join(group, record.VisitFile)
	data, err = s.folder.read(name, visitLimit)
	if errors.Is(err, fs.ErrNotExist) {
		return name, nil, noFile, nil
	}
	if err != nil {
		return name, nil, "", fmt.Errorf("read visit: %w", err)
	}
	return name, data, versionOf(data), nil
}

func (s *Server) getVisit(w http.ResponseWriter, r *http.Request) {
	name, data, version, err := s.visitFile(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	a := visitAnswer{
		Version: version, Path: name, Caution: record.PalpationCaution, Behaviours: record.Behaviours(), Ways: s.visitWays(path.Dir(name)),
		Forbids: forbidWords{record.NoTrotFrom, record.NoTrot, record.NoTreatment, record.Refused, record.PalpationStop, record.TreatmentCaution},
		Motion:  motionWords{record.MotionLimbs, record.MotionDirections, record.MotionEases, record.MotionCaution},
	}
	a.Horse, a.Date = horseAndVisit(path.Dir(name))
	a.Surfaces = s.surfaces(path.Dir(path.Dir(name)), a.Date)
	for _, p := range record.PalpationRegions() {
		group := regionGroup{Part: p.Name}
		for _, r := range p.Regions {
			group.Regions = append(group.Regions, regionBody(r))
		}
		a.Regions = append(a.Regions, group)
	}
	for _, g := range record.SorenessGrades() {
		a.Grades = append(a.Grades, gradeWords(g))
	}
	a.Measures = slices.Clone(usualMeasures)
	for _, d := range metrics.Definitions() {
		if !slices.ContainsFunc(usualMeasures, func(m measureName) bool { return m.Name == d.Name }) {
			a.Measures = append(a.Measures, measureName{Name: d.Name, Title: d.Title})
		}
	}
	v, _, err := record.ParseVisit(name, data)
	if err != nil {
		a.Error, v = err.Error(), new(record.Visit)
	}
	a.Visit = bodyOf(v)
	reply(w, a)
}

func (s *Server) putVisit(w http.ResponseWriter, r *http.Request) {
	expected := r.Header.Get("If-Match")
	if expected == "" {
		fail(w, http.StatusPreconditionRequired, errors.New("the request does not say which version of the visit it changes (If-Match)"))
		return
	}
	sent, err := readBody(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	var body visitBody
	if err := json.Unmarshal(sent, &body); err != nil {
		fail(w, http.StatusBadRequest, fmt.Errorf("read visit: %w", err))
		return
	}
	group := r.URL.Query().Get("visit")
	target, err := s.folder.writable(path.Join(group, record.VisitFile))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	defer s.locks.lock(target)()
	name, data, version, err := s.visitFile(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if version != expected {
		v, _, err := record.ParseVisit(name, data)
		if err != nil {
			s.failed(w, r, err)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusPreconditionFailed)
		_ = json.NewEncoder(w).Encode(map[string]any{"error": "the visit was changed in another window", "version": version, "visit": bodyOf(v)})
		return
	}
	changed, err := record.EditVisit(name, data, body.visit())
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if len(changed) > visitLimit {
		s.failed(w, r, fmt.Errorf("the visit's page would hold %d bytes, more than the %d that can be opened again: it is left as it was; shorten what was written last", len(changed), visitLimit))
		return
	}
	if err := fsx.WriteFile(target, changed); err != nil {
		s.failed(w, r, err)
		return
	}
	reply(w, map[string]any{"version": versionOf(changed)})
}

// Comparer is a Measurer that also makes comparisons and histories.
type Comparer interface {
	// Compare compares two visits, given by their folders as absolute paths, in the
	// later one's folder.
	Compare(ctx context.Context, before, after string) error
	// History makes the page of all visits of the horse in the folder.
	History(ctx context.Context, horse string) error
}

// visitWays looks which pages there are about the visit in group.
func (s *Server) visitWays(group string) visitWays {
	var w visitWays
	_, w.Makes = s.queue.measurer.(Comparer)
	entries, _ := fs.ReadDir(s.folder.root.FS(), group)
	for _, e := range entries {
		rel := path.Join(group, e.Name())
		if !isClipName(e.Name()) || !plain(rel) {
			continue
		}
		w.Clips++
		if s.isReport(strings.TrimSuffix(rel, path.Ext(rel)) + ".out") {
			w.Measured++
		}
	}
	_, sums := s.queue.measurer.(Summer)
	if report := path.Join(group, visitResults); w.Measured > 0 && sums || s.isReport(report) {
		w.Report = report + "/report.html"
	}
	horse, visit := horseAndVisit(group)
	if horse == "" {
		return w
	}
	w.Before = s.visitBefore(path.Dir(group), visit)
	if c := path.Join(group, "compared-with-"+w.Before+".out"); w.Before != "" && s.isReport(c) {
		w.Comparison = c + "/report.html"
	}
	if h := path.Join(path.Dir(group), "history.out"); s.isReport(h) {
		w.History = h + "/report.html"
	}
	return w
}

func (s *Server) isReport(dir string) bool {
	stat, err := s.folder.root.Stat(path.Join(dir, "report.html"))
	return err == nil && stat.Mode().IsRegular()
}

// visitBefore returns the folder of the visit before, by name, or "".
func (s *Server) visitBefore(horse, visit string) string {
	if before := s.visitsBefore(horse, visit); len(before) > 0 {
		return before[0]
	}
	return ""
}

// visitsBefore returns the folders of the visits before, by name, the latest first: of one
// day the one without a number is the first.
func (s *Server) visitsBefore(horse, visit string) []string {
	type dated struct {
		name, day string
		n         int
	}
	order := func(name string) (v dated, ok bool) {
		if len(name) < len(time.DateOnly) {
			return v, false
		}
		day, rest := name[:len(time.DateOnly)], name[len(time.DateOnly):]
		if _, err := time.Parse(time.DateOnly, day); err != nil {
			return v, false
		}
		if rest == "" {
			return dated{name, day, 1}, true
		}
		n, err := strconv.Atoi(strings.TrimPrefix(rest, "-"))
		return dated{name, day, n}, err == nil && strings.HasPrefix(rest, "-") && n > 1
	}
	compare := func(a, b dated) int { return cmp.Or(strings.Compare(a.day, b.day), cmp.Compare(a.n, b.n)) }
	entries, err := fs.ReadDir(s.folder.root.FS(), horse)
	this, ok := order(visit)
	if err != nil || !ok {
		return nil
	}
	var before []dated
	for _, e := range entries {
		if v, ok := order(e.Name()); ok && e.IsDir() && compare(v, this) < 0 {
			before = append(before, v)
		}
	}
	slices.SortFunc(before, func(a, b dated) int { return compare(b, a) })
	var names []string
	for _, v := range before {
		names = append(names, v.name)
	}
	return names
}

// surfaces returns on what ground the horse went at the visits before, each word once, the
// latest first. A page that can't be read is passed over: it says so itself.
func (s *Server) surfaces(horse, visit string) []surfaceWord {
	out := []surfaceWord{}
	for _, name := range s.visitsBefore(horse, visit) {
		file := path.Join(horse, name, record.VisitFile)
		data, err := s.folder.read(file, visitLimit)
		if err != nil {
			continue
		}
		v, _, err := record.ParseVisit(file, data)
		day, dated := time.Parse(time.DateOnly, name[:len(time.DateOnly)])
		if err != nil || dated != nil || v.Surface == "" || slices.ContainsFunc(out, func(w surfaceWord) bool { return w.Word == v.Surface }) {
			continue
		}
		out = append(out, surfaceWord{v.Surface, day.Format("2 January")})
	}
	return out
}

// makePage makes the comparison with the visit before, or the horse's history.
func (s *Server) makePage(w http.ResponseWriter, r *http.Request) {
	group := r.URL.Query().Get("visit")
	abs, err := s.folder.subfolder(group)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	comparer, ok := s.queue.measurer.(Comparer)
	if !ok {
		fail(w, http.StatusNotImplemented, errNoMeasurer)
		return
	}
	defer s.locks.lock(filepath.Dir(abs))()
	switch what := r.URL.Query().Get("what"); {
	case what == "comparison" && s.visitWays(group).Before != "":
		err = comparer.Compare(r.Context(), filepath.Join(filepath.Dir(abs), s.visitWays(group).Before), abs)
	case what == "history" && strings.HasPrefix(group, "horses/"):
		err = comparer.History(r.Context(), filepath.Dir(abs))
	default:
		err = errNotThere
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	reply(w, s.visitWays(group))
}
