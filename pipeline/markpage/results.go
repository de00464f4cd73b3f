package markpage

import (
	"net/http"
	"path"
	"strings"
)

// resultPolicy shows a report as a page without scripts, forms or frames,
// whatever is written in it. It keeps the address's origin, for only so do the
// links between reports carry the cookie; without scripts nothing can use that.
const resultPolicy = "sandbox allow-same-origin allow-downloads; default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// What is shown of a results folder.
var resultTypes = map[string]string{
	"report.html": assetTypes[".html"],
	"tracked.mp4": "video/mp4",
}

// result serves a report, or the clip with its marks drawn on, from a results
// folder.
func (s *Server) result(w http.ResponseWriter, r *http.Request) {
	rel := r.PathValue("path")
	dir, name := path.Split(rel)
	dir = strings.TrimSuffix(dir, "/")
	kind, known := resultTypes[name]
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
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Security-Policy", resultPolicy)
	http.ServeContent(w, r, name, stat.ModTime(), file)
}

// noResult answers a person who follows a link to what is not there.
func (s *Server) noResult(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(http.StatusNotFound)
	_, _ = w.Write([]byte("This is not there. Reports are written when a clip is measured, those of a visit by the batch.\n"))
}
