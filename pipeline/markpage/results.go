package markpage

import (
	"net/http"
	"path"
	"strings"

	"jogstrip/pipeline/report/stepping"
)

// resultPolicy shows a report as a page without forms or frames, whatever is written
// in it, and with one script: that which steps through a film, known by its hash. Any
// other script, and any that is written into an attribute, is refused. It keeps the
// address's origin, for only so do films and the links between reports carry the cookie;
// the script asks for nothing and sends nothing, which connect-src would refuse.
var resultPolicy = "sandbox allow-same-origin allow-scripts allow-downloads; default-src 'none'; script-src " + stepping.Source() + "; script-src-attr 'none'; " +
	"style-src 'unsafe-inline'; img-src data:; media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// filmPolicy is for a film, which browsers show in a page of their own making.
const filmPolicy = "default-src 'none'; media-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"

// paperPolicy is for a page for paper, which the browser's own viewer shows: no
// script of the file's runs there.
const paperPolicy = "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"

// What is shown of a results folder.
var resultTypes = map[string]struct{ kind, policy string }{
	"report.html":      {assetTypes[".html"], resultPolicy},
	"report.pdf":       {"application/pdf", paperPolicy},
	"details.pdf":      {"application/pdf", paperPolicy},
	"tracked.mp4":      {"video/mp4", filmPolicy},
	"before-after.mp4": {"video/mp4", filmPolicy},
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
	if dir, ok := strings.CutSuffix(dir, visitResults); ok {
		s.sumUp(r, path.Clean("./"+dir))
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

// visitResults is the results folder of a visit.
const visitResults = "visit.out"

// sumUp brings the page of the visit in dir up to date before it is shown. Where
// that fails, what is there is shown.
func (s *Server) sumUp(r *http.Request, dir string) {
	summer, ok := s.queue.measurer.(Summer)
	if !ok {
		return
	}
	abs, err := s.folder.subfolder(dir)
	if err != nil {
		return
	}
	if stat, err := s.folder.root.Lstat(path.Join(dir, visitResults)); err == nil && !stat.IsDir() {
		return // A link is not written through.
	}
	defer s.locks.lock(abs)()
	if err := summer.SumUp(r.Context(), abs); err != nil {
		s.logger.Warn("visit's page", "visit", dir, "error", err)
	}
}

// noResult answers a person who follows a link to what is not there.
func (s *Server) noResult(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(http.StatusNotFound)
	_, _ = w.Write([]byte("This is not there yet. A clip’s report is written when the clip is measured, a visit’s once one of its clips is.\n"))
}
