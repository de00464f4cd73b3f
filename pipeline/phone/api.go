package phone

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path"
	"strconv"
	"strings"

	"jogstrip/pipeline/film"
)

//go:embed web
var web embed.FS

var assetTypes = map[string]string{
	".js":   "text/javascript; charset=utf-8",
	".css":  "text/css; charset=utf-8",
	".html": "text/html; charset=utf-8",
	".svg":  "image/svg+xml",
}

// routes is all that a handler's token opens.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /phone", func(w http.ResponseWriter, _ *http.Request) { asset(w, "phone.html") })
	mux.HandleFunc("GET /phone/app/{file}", func(w http.ResponseWriter, r *http.Request) { asset(w, r.PathValue("file")) })
	mux.HandleFunc("GET /phone/guide", guide)
	mux.HandleFunc("GET /phone/api/horses", s.listHorses)
	mux.HandleFunc("POST /phone/api/sends", s.begin)
	mux.HandleFunc("GET /phone/api/sends/{id}", s.state)
	mux.HandleFunc("POST /phone/api/sends/{id}/pieces", s.piece)
	mux.HandleFunc("POST /phone/api/sends/{id}/end", s.end)
	return mux
}

func asset(w http.ResponseWriter, name string) {
	kind, known := assetTypes[path.Ext(name)]
	data, err := web.ReadFile("web/" + name)
	if err != nil || !known {
		answer(w, http.StatusNotFound, map[string]string{"error": "there is no such page"})
		return
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data)
}

func guide(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", assetTypes[".html"])
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src "+film.GuideStyleHash()+"; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	_, _ = w.Write(film.Guide())
}

func answer(w http.ResponseWriter, status int, value any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	data, _ := json.Marshal(value)
	_, _ = w.Write(data)
}

// failed answers with the status that tells the page what to do: 409 go on from
// where the clip has got to, 422 never, 503 and 507 later.
func (s *Server) failed(w http.ResponseWriter, r *http.Request, err error) {
	var at *errAt
	var refused *errRefused
	var tooLarge *http.MaxBytesError
	body := map[string]any{"error": strings.ReplaceAll(err.Error(), s.store.dir+"/", "")}
	status := http.StatusInternalServerError
	switch {
	case errors.As(err, &at):
		status, body["received"] = http.StatusConflict, at.received
	case errors.As(err, &refused):
		status = http.StatusUnprocessableEntity
	case errors.As(err, &tooLarge):
		status = http.StatusRequestEntityTooLarge
	case errors.Is(err, errNotSent):
		status = http.StatusNotFound
	case errors.Is(err, errDisk):
		status, body["error"] = http.StatusInsufficientStorage, errDisk.Error()
	case errors.Is(err, errMany), r.Context().Err() != nil:
		status = http.StatusServiceUnavailable
	}
	s.logger.Info("sending refused", "path", r.URL.Path, "status", status, "error", err)
	answer(w, status, body)
}

func (s *Server) listHorses(w http.ResponseWriter, r *http.Request) {
	answer(w, http.StatusOK, map[string]any{"horses": s.store.choices(r.URL.Query().Get("date")), "piece": pieceLimit / 2, "sample": endSample})
}

// sendState is how far a clip has come, for the page that sends it.
type sendState struct {
	ID       string   `json:"id"`
	Stage    stage    `json:"stage"`
	Received int64    `json:"received"`
	Size     int64    `json:"size"`
	Why      string   `json:"why,omitempty"`
	Name     string   `json:"name,omitempty"` // What the clip is called now, such as "toward-2.mov".
	Check    *Verdict `json:"check,omitempty"`
}

func (s *Server) stateOf(id string, r *receipt) sendState {
	st := sendState{ID: id, Stage: r.Stage, Received: s.store.received(id, r), Size: r.Size, Why: r.Why, Check: r.Check}
	if r.Stage == stageReceived {
		st.Name = path.Base(r.Path)
		if r.Check == nil {
			s.checks.see(id, r.Path)
		}
	}
	return st
}

func (s *Server) begin(w http.ResponseWriter, r *http.Request) {
	var o offer
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 16<<10)).Decode(&o); err != nil {
		answer(w, http.StatusBadRequest, map[string]string{"error": "what was sent is no offer of a clip"})
		return
	}
	id, receipt, _, err := s.store.begin(o)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	answer(w, http.StatusOK, s.stateOf(id, receipt))
}

func (s *Server) piece(w http.ResponseWriter, r *http.Request) {
	at, err := strconv.ParseInt(r.URL.Query().Get("at"), 10, 64)
	sum, err2 := strconv.ParseUint(r.URL.Query().Get("sum"), 10, 32)
	if err != nil || err2 != nil || at < 0 || r.ContentLength < 1 {
		answer(w, http.StatusBadRequest, map[string]string{"error": "the piece does not say where it belongs"})
		return
	}
	if r.ContentLength > pieceLimit {
		answer(w, http.StatusRequestEntityTooLarge, map[string]string{"error": fmt.Sprintf("a piece has at most %d bytes", pieceLimit)})
		return
	}
	select {
	case s.busy <- struct{}{}:
		defer func() { <-s.busy }()
	default:
		w.Header().Set("Retry-After", "1")
		answer(w, http.StatusServiceUnavailable, map[string]string{"error": "many clips are being sent at once: this one waits for its turn"})
		return
	}
	data, err := io.ReadAll(http.MaxBytesReader(w, r.Body, pieceLimit))
	if err != nil {
		answer(w, http.StatusBadRequest, map[string]string{"error": "the piece broke off"})
		return
	}
	received, err := s.store.add(r.PathValue("id"), at, uint32(sum), data)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	answer(w, http.StatusOK, map[string]int64{"received": received})
}

func (s *Server) end(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	receipt, err := s.store.end(r.Context(), id)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	answer(w, http.StatusOK, s.stateOf(id, receipt))
}

func (s *Server) state(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	receipt, err := s.store.read(id)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	answer(w, http.StatusOK, s.stateOf(id, receipt))
}
