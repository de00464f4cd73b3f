package markpage

import (
	"embed"
	"errors"
	"net/http"
	"path"

	"jogstrip/pipeline/film"
)

//go:embed web
var web embed.FS

var assetTypes = map[string]string{
	".js":   "text/javascript; charset=utf-8",
	".css":  "text/css; charset=utf-8",
	".svg":  "image/svg+xml",
	".jpg":  "image/jpeg",
	".html": "text/html; charset=utf-8",
}

func (s *Server) index(w http.ResponseWriter, r *http.Request) { s.serveFile(w, r, "index.html") }

func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	s.serveFile(w, r, r.PathValue("file"))
}

func (s *Server) serveFile(w http.ResponseWriter, r *http.Request, name string) {
	kind, known := assetTypes[path.Ext(name)]
	data, err := web.ReadFile("web/" + name)
	if err != nil || !known {
		s.failed(w, r, errors.Join(errNotThere, err))
		return
	}
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data)
}

// guide serves the film guide. Its style is inside the page, named by hash.
func (s *Server) guide(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", assetTypes[".html"])
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src "+film.GuideStyleHash()+"; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	_, _ = w.Write(film.Guide())
}
