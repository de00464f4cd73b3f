package markpage

import (
	"errors"
	"fmt"
	"net/http"
	"slices"

	"jogstrip/pipeline/record"
)

// LookDoubt is one thing that a person is asked about before a limb is named.
type LookDoubt struct {
	Kind     string `json:"kind"`     // As record.Doubt's.
	Sentence string `json:"sentence"` // What contradicts what.
	Check    string `json:"check"`    // What to look at.
}

// confirm writes into a clip's marks that a person has looked at what is doubted and
// found it so.
func (s *Server) confirm(w http.ResponseWriter, r *http.Request) {
	rel, _, _, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	kind := r.URL.Query().Get("kind")
	if kind == "" {
		fail(w, http.StatusBadRequest, errors.New("the request does not say what is confirmed"))
		return
	}
	target, err := s.folder.writable(record.MarksPath(rel))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	defer s.locks.lock(target)()
	m, _, err := s.marksOf(rel)
	if err == nil && m == nil {
		err = errors.New("the clip has no marks")
	}
	if err != nil {
		s.failed(w, r, fmt.Errorf("the marks file is left as it is: %w", err))
		return
	}
	if !slices.Contains(m.Confirmed, kind) {
		m.Confirmed = append(slices.Clone(m.Confirmed), kind)
		if err := record.WriteMarks(target, m); err != nil {
			fail(w, http.StatusBadRequest, err)
			return
		}
	}
	reply(w, map[string]any{"confirmed": m.Confirmed})
}
