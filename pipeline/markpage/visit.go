package markpage

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path"

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
	Note         string    `json:"note"`
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
		Palpation: []palpationBody{}, Treatment: []treatmentBody{}, Function: functionBody(v.Function),
		AAEPGrade: v.AAEPGrade, GradedBy: v.GradedBy, NextCheck: v.NextCheck, Notes: v.Notes,
	}
	for _, p := range v.Palpation {
		b.Palpation = append(b.Palpation, palpationBody(p))
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
	Caution  string        `json:"caution"`
	Error    string        `json:"error,omitempty"`
}

type regionGroup struct {
	Part    string   `json:"part"`
	Regions []string `json:"regions"`
}

type gradeWords struct {
	Name    string `json:"name"`
	Meaning string `json:"meaning"`
}

type measureName struct {
	Name  metrics.Name `json:"name"`
	Title string       `json:"title"`
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
	a := visitAnswer{Version: version, Path: name, Caution: record.PalpationCaution}
	a.Horse, a.Date = horseAndVisit(path.Dir(name))
	for _, p := range record.PalpationRegions() {
		a.Regions = append(a.Regions, regionGroup{p.Name, p.Regions})
	}
	for _, g := range record.SorenessGrades() {
		a.Grades = append(a.Grades, gradeWords(g))
	}
	for _, d := range metrics.Definitions() {
		a.Measures = append(a.Measures, measureName{d.Name, d.Title})
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
