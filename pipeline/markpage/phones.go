package markpage

import (
	"errors"
	"net/http"

	"jogstrip/pipeline/door"
	"jogstrip/pipeline/phone"
)

// Phones lets handlers' phones in, and other machines of the practitioner's.
type Phones interface {
	// Code returns how a phone gets in.
	Code() (phone.Code, error)
	// Renew takes that code back: the phones let in before are out.
	Renew() error
	// URL returns the address of a path as other machines reach it.
	URL(path string) string
}

var errNoPhones = errors.New("the program was started for this computer alone: start it with --remote to let phones in")

func (s *Server) getPhones(w http.ResponseWriter, r *http.Request) {
	if s.phones == nil {
		reply(w, map[string]any{"open": false})
		return
	}
	code, err := s.phones.Code()
	if err != nil {
		s.failed(w, r, err)
		return
	}
	reply(w, map[string]any{"open": true, "code": code, "own": s.phones.URL(s.Entry())})
}

// renewPhones takes the handlers' code back.
func (s *Server) renewPhones(w http.ResponseWriter, r *http.Request) {
	if s.phones == nil {
		s.failed(w, r, errNoPhones)
		return
	}
	if err := s.phones.Renew(); err != nil {
		s.failed(w, r, err)
		return
	}
	s.getPhones(w, r)
}

// renew takes the practitioner's own token back: every other browser is out, the
// one that asks stays in.
func (s *Server) renew(w http.ResponseWriter, r *http.Request) {
	token, err := door.NewToken(tokenBytes)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.door.SetToken(token)
	s.door.Admit(w, r)
	s.getPhones(w, r)
}
