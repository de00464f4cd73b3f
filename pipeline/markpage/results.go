package markpage

import (
	"net/http"
	"path"
	"strings"
)

// resultPolicy shows a report as a page without scripts, forms or frames,
// whatever is written in it. It keeps the address's origin, for only so do the
// links between reports carry the cookie; without scripts nothing can use that.
const resultPolicy = "sandbox allow-same-origin allow-downloads; default-src 'none'; style-src 'unsafe-inline'; img-src data:; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// filmPolicy is for a film, which browsers show in a page of their own making.
const filmPolicy = "default-src 'none'; media-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"

// What is shown of a results folder.
var resultTypes = map[string]struct{ kind, policy string }{
	"report.html": {assetTypes[".html"], resultPolicy},
	"tracked.mp4": {"video/mp4", filmPolicy},
}

// result serves a report, or the clip with its marks drawn on, from a results
// folder.
func (s *Server) result(w http.ResponseWriter, r *http.Request) {
	rel := r.PathValue("path")
	dir, name := path.Split(rel)
	dir = strings.TrimSuffix(dir, "/")
	shown, known := resultTypes[name]
	if !known || !strings.HasSuffix(dir, ".out") || !plain(path.Join(strings.TrimSuffix(dir, ".out"), "x")) || path.Clean(rel) != rel {
		s.noResult(w)
		return
	}
	file, err := s.folder.root.Open(rel)
	if err != nil {
		s.noResult(w)
		return
	}
	defer func() { _ = file.Close() }()
	stat, err := file.Stat()
	if err != nil || !stat.Mode().IsRegular() {
		s.noResult(w)
		return
	}
	w.Header().Set("Content-Type", shown.kind)
	w.Header().Set("Content-Security-Policy", shown.policy)
	http.ServeContent(w, r, name, stat.ModTime(), file)
}

// noResult answers a person who follows a link to what is not there.
func (s *Server) noResult(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(http.StatusNotFound)
	_, _ = w.Write([]byte("This is not there. Reports are written when a clip is measured, those of a visit by the batch.\n"))
}
