package markpage

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"

	"jogstrip/metrics/geometry"
	"jogstrip/metrics/lengths"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/doubt"
	"jogstrip/pipeline/film"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/track/errormodel"
	"jogstrip/track/traj"
)

const marksLimit = 8 << 20

// noFile is the version of a file that does not exist.
const noFile = `"none"`

// versionOf names a file's content for If-Match.
func versionOf(data []byte) string {
	sum := sha256.Sum256(data)
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}

func reply(w http.ResponseWriter, value any) {
	data, err := json.Marshal(value)
	if err != nil {
		fail(w, http.StatusInternalServerError, fmt.Errorf("answer: %w", err))
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(data)
}

func fail(w http.ResponseWriter, status int, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	data, _ := json.Marshal(map[string]string{"error": err.Error()})
	_, _ = w.Write(data)
}

var errDiskFull = errors.New("the disk is full: make room on it, then this is saved")

// failed answers with the status that belongs to err.
func (s *Server) failed(w http.ResponseWriter, r *http.Request, err error) {
	var tooLarge *http.MaxBytesError
	status := http.StatusUnprocessableEntity
	switch {
	case errors.Is(err, errNotThere), errors.Is(err, fs.ErrNotExist):
		status, err = http.StatusNotFound, errNotThere
	case errors.As(err, &tooLarge):
		status, err = http.StatusRequestEntityTooLarge, fmt.Errorf("what was sent is larger than %d bytes", tooLarge.Limit)
	case fsx.NoRoom(err):
		// The page tries again on this status, so what it keeps is saved once there is room.
		status, err = http.StatusInsufficientStorage, errDiskFull
	case fsx.ReadOnlyDrive(err):
		status, err = http.StatusForbidden, errors.New("the drive can only be read: open a folder on a drive that can be written to")
	case errors.Is(err, fs.ErrPermission):
		status = http.StatusForbidden
	case errors.Is(err, context.Canceled):
		status = http.StatusServiceUnavailable
	}
	s.logger.Info("request refused", "path", r.URL.Path, "status", status, "error", err)
	var no *unreadableError
	if errors.As(err, &no) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(map[string]any{"error": no.Error(), "unreadable": true, "detail": s.withoutFolder(no.cause).Error()})
		return
	}
	fail(w, status, s.withoutFolder(err))
}

// withoutFolder shortens paths in messages to how the page names files.
func (s *Server) withoutFolder(err error) error {
	return errors.New(strings.ReplaceAll(err.Error(), s.folder.dir+"/", ""))
}

// clipOf returns the clip that the request names.
func (s *Server) clipOf(r *http.Request) (rel string, info *clip.Info, stamp string, err error) {
	rel = r.URL.Query().Get("clip")
	abs, stat, err := s.folder.clipFile(rel)
	if err != nil {
		return "", nil, "", err
	}
	info, err = s.clips.probe(r.Context(), abs, stat)
	if err != nil {
		return "", nil, "", unreadable(err)
	}
	return rel, info, stampOf(stat), nil
}

// stampOf changes with the file.
func stampOf(stat fs.FileInfo) string {
	return fmt.Sprintf("%x-%x", stat.Size(), stat.ModTime().UnixNano())
}

// marksOf reads the marks of the clip rel with their version. Without a file
// the marks are nil.
func (s *Server) marksOf(rel string) (*record.Marks, string, error) {
	name := record.MarksPath(rel)
	data, err := s.folder.read(name, marksLimit)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, noFile, nil
	}
	if err != nil {
		return nil, "", fmt.Errorf("read marks: %w", err)
	}
	m, err := record.ParseMarks(name, data)
	if err != nil {
		return nil, versionOf(data), err
	}
	return m, versionOf(data), nil
}

// listedClip is a line of the clip list.
type listedClip struct {
	Path  string `json:"path"`
	Name  string `json:"name"`
	Horse string `json:"horse,omitempty"`
	Visit string `json:"visit,omitempty"` // The folder's name.
	Group string `json:"group"`           // The folder, relative; "." for the top.

	View        traj.View      `json:"view,omitempty"`
	Gait        traj.Gait      `json:"gait,omitempty"`
	Marks       int            `json:"marks"`  // Landmarks seen in at least one frame.
	Frames      int            `json:"frames"` // Frames with marks.
	Calibration geometry.Level `json:"calibration"`
	State       State          `json:"state"`
	// Needs holds "marks", "calibration", "measuring", "second look", "repair" (of its
	// marks file) or "copy" (it can't be read).
	Needs []string `json:"needs"`
	Error string   `json:"error,omitempty"`
}

func (s *Server) listClips(w http.ResponseWriter, r *http.Request) {
	all, err := s.folder.walk(r.Context())
	if err != nil {
		s.failed(w, r, err)
		return
	}
	clips := make([]listedClip, 0, len(all.clips))
	unmarked := make([]string, 0, len(all.clips))
	for _, rel := range all.clips {
		c := s.listed(rel)
		clips = append(clips, c)
		if slices.Contains(c.Needs, "marks") {
			unmarked = append(unmarked, rel)
		}
	}
	broken, looking := s.unreadable(r.Context(), unmarked)
	for i := range clips {
		if err := broken[clips[i].Path]; err != nil {
			clips[i].Error, clips[i].Needs = err.Error(), []string{"copy"}
		}
	}
	reply(w, map[string]any{"folder": path.Base(s.folder.dir), "clips": clips, "more": all.more, "looking": looking, "measures": s.queue.measurer != nil})
}

func (s *Server) listed(rel string) listedClip {
	group := path.Dir(rel)
	c := listedClip{Path: rel, Name: path.Base(rel), Group: group, Calibration: geometry.LevelNone, Needs: []string{}}
	c.Horse, c.Visit = horseAndVisit(group)
	m, _, err := s.marksOf(rel)
	if err != nil {
		c.Error = s.withoutFolder(err).Error()
		c.Needs = append(c.Needs, "repair")
		return c
	}
	if m != nil {
		c.View, c.Gait = m.View, m.Gait
		c.Marks = len(m.Landmarks())
		frames := make(map[int]bool)
		for _, k := range m.Marks {
			frames[k.Frame] = true
		}
		c.Frames = len(frames)
		c.Calibration = levelOf(m.Calibration)
	}
	if !enough(m) {
		c.Needs = append(c.Needs, "marks")
	}
	if c.Calibration == geometry.LevelNone {
		c.Needs = append(c.Needs, "calibration")
	}
	if s.queue.measurer == nil {
		return c
	}
	if err := s.folder.resultsInside(rel); err != nil {
		c.Error = err.Error()
		return c
	}
	state, err := s.queue.measurer.State(s.absolute(rel))
	if err != nil {
		c.Error = s.withoutFolder(err).Error()
	}
	c.State = state
	switch {
	case !enough(m):
	case !state.Measured || state.Stale || err != nil:
		c.Needs = append(c.Needs, "measuring")
	case state.SecondLook != "":
		c.Needs = append(c.Needs, "second look")
	}
	return c
}

// enough reports whether a clip with these marks can be measured: both hooves
// of a pair, so that sides can be compared.
func enough(m *record.Marks) bool {
	if m == nil {
		return false
	}
	has := make(map[traj.Landmark]bool)
	for _, l := range m.Landmarks() {
		has[l] = true
	}
	return has[traj.LeftFore] && has[traj.RightFore] || has[traj.LeftHind] && has[traj.RightHind]
}

func levelOf(in *geometry.CalibrationInput) geometry.Level {
	switch {
	case in == nil:
	case in.Ground != nil:
		return geometry.LevelMetric
	case in.Height != nil:
		return geometry.LevelHeight
	case in.Horizon != nil:
		return geometry.LevelRatio
	}
	return geometry.LevelNone
}

// horseAndVisit reads the names from a path horses/<horse>/<visit>.
func horseAndVisit(group string) (horse, visit string) {
	parts := strings.Split(group, "/")
	for i, p := range parts {
		if p == "horses" && i+2 < len(parts) {
			return parts[i+1], parts[i+2]
		}
	}
	return "", ""
}

// clipView is everything the page needs to mark one clip.
type clipView struct {
	Path     string        `json:"path"`
	Name     string        `json:"name"`
	Horse    string        `json:"horse,omitempty"`
	Visit    string        `json:"visit,omitempty"`
	Group    string        `json:"group"`
	Stamp    string        `json:"stamp"`
	Width    int           `json:"width"`
	Height   int           `json:"height"`
	Times    []float64     `json:"times"`
	Rate     float64       `json:"rate"`
	Marks    *record.Marks `json:"marks"`
	Version  string        `json:"version"`
	Guess    guess         `json:"guess"`
	Measures bool          `json:"measures"`
	Proposes bool          `json:"proposes"`
	// Lengths is how the yard reads lengths: "cm", or "in" for feet and inches.
	Lengths lengths.System `json:"lengths"`
	// Same lists clips of the folder with a calibration on the same picture size,
	// those of the same visit first.
	Same []setUp `json:"same"`
	// MarksError says why the marks file can't be read; then nothing is saved.
	MarksError string `json:"marks_error,omitempty"`
}

// guess is what the names and the horse's page suggest for a new clip. Only a
// person decides.
type guess struct {
	View     traj.View `json:"view,omitempty"`
	Gait     traj.Gait `json:"gait"`
	WithersM float64   `json:"withers_m,omitempty"`
}

// setUp is a calibration that another clip has.
type setUp struct {
	Path        string                     `json:"path"`
	Level       geometry.Level             `json:"level"`
	Calibration *geometry.CalibrationInput `json:"calibration"`
}

func (s *Server) oneClip(w http.ResponseWriter, r *http.Request) {
	rel, info, stamp, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	v := clipView{
		Path: rel, Name: path.Base(rel), Group: path.Dir(rel), Stamp: stamp, Width: info.Width, Height: info.Height,
		Times: rounded(info.Times), Rate: info.FrameRate, Measures: s.queue.measurer != nil, Proposes: s.proposer != nil, Lengths: s.lengths, Same: []setUp{},
	}
	v.Horse, v.Visit = horseAndVisit(v.Group)
	v.Marks, v.Version, err = s.marksOf(rel)
	if err == nil && v.Marks != nil {
		err = v.Marks.Fit(record.MarksPath(rel), info.Width, info.Height, len(info.Times))
	}
	if err != nil {
		v.MarksError = s.withoutFolder(err).Error()
	}
	v.Guess = s.guess(rel)
	v.Same = s.sameSetUp(r.Context(), rel, info)
	reply(w, v)
}

func rounded(times []float64) []float64 {
	out := make([]float64, len(times))
	for i, t := range times {
		out[i] = math.Round(t*1e6) / 1e6
	}
	return out
}

func (s *Server) guess(rel string) guess {
	name := strings.ToLower(path.Base(rel))
	g := guess{View: film.NamedView(name), Gait: traj.Trot}
	for _, gait := range []traj.Gait{traj.Walk, traj.Pace} {
		if strings.Contains(name, string(gait)) {
			g.Gait = gait
		}
	}
	if horse, visit := horseAndVisit(path.Dir(rel)); horse != "" {
		page := path.Join(strings.TrimSuffix(path.Dir(rel), "/"+visit), "horse.toml")
		if _, _, err := s.folder.inside(page); err == nil {
			if h, _, err := record.ReadHorse(s.absolute(page)); err == nil {
				if g.Gait == traj.Trot {
					g.Gait = h.Gait
				}
				g.WithersM = h.WithersM
			}
		}
	}
	return g
}

// sameSetUp looks for calibrations among the clips beside rel and those of the
// same horse; more would make a large yard slow.
func (s *Server) sameSetUp(ctx context.Context, rel string, info *clip.Info) []setUp {
	out := []setUp{}
	all, err := s.folder.walk(ctx)
	if err != nil {
		return out
	}
	const most = 8
	dir := path.Dir(rel)
	// Clips that were filmed one after the other are named so.
	index := make(map[string]int, len(all.clips))
	for i, c := range all.clips {
		index[c] = i
	}
	at := index[rel]
	order := slices.Clone(all.clips)
	slices.SortStableFunc(order, func(a, b string) int {
		return far(index[a], at) - far(index[b], at)
	})
	for _, near := range []bool{true, false} {
		for _, other := range order {
			if other == rel || (path.Dir(other) == dir) != near || (!near && path.Dir(path.Dir(other)) != path.Dir(dir)) {
				continue
			}
			m, _, err := s.marksOf(other)
			if err != nil || m == nil || levelOf(m.Calibration) == geometry.LevelNone || m.Picture.Width != info.Width || m.Picture.Height != info.Height {
				continue
			}
			out = append(out, setUp{other, levelOf(m.Calibration), m.Calibration})
			if len(out) == most {
				return out
			}
		}
	}
	return out
}

func far(a, b int) int { return max(a-b, b-a) }

func (s *Server) putMarks(w http.ResponseWriter, r *http.Request) {
	rel, info, _, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	expected := r.Header.Get("If-Match")
	if expected == "" {
		fail(w, http.StatusPreconditionRequired, errors.New("the request does not say which version of the marks it changes (If-Match)"))
		return
	}
	data, err := readBody(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	name := record.MarksPath(rel)
	m, err := record.ParseMarks(name, data)
	if err == nil {
		err = m.Fit(name, info.Width, info.Height, len(info.Times))
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	m.Clip, m.Frames, m.Turned = path.Base(rel), len(info.Times), info.Turned()

	target, err := s.folder.writable(name)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	defer s.locks.lock(target)()
	current, version, err := s.marksOf(rel)
	if version != expected || (err != nil && current == nil) {
		if err != nil {
			s.failed(w, r, fmt.Errorf("the marks file is left as it is: %w", err))
			return
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusPreconditionFailed)
		_ = json.NewEncoder(w).Encode(map[string]any{"error": "the marks were changed in another window", "version": version, "marks": current})
		return
	}
	if err := record.WriteMarks(target, m); err != nil {
		s.failed(w, r, err)
		return
	}
	written, err := s.folder.read(name, marksLimit)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	reply(w, map[string]any{"version": versionOf(written)})
}

func (s *Server) picture(w http.ResponseWriter, r *http.Request) {
	rel, info, stamp, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	sz := size(r.URL.Query().Get("size"))
	if sz == sizeThumb && !r.URL.Query().Has("frame") {
		thumb, err := s.thumbs.of(r.Context(), info, stamp)
		if err == nil && thumb != nil {
			servePicture(w, thumb, r.URL.Query().Get("stamp") == stamp)
			return
		}
	}
	// Without a frame, one in which the horse is near: there clips differ most.
	frame := len(info.Times) / 2
	switch s.guess(rel).View {
	case traj.Toward:
		frame = len(info.Times) * 3 / 4
	case traj.Away:
		frame = len(info.Times) / 5
	}
	if text := r.URL.Query().Get("frame"); text != "" {
		frame, err = strconv.Atoi(text)
		if err != nil {
			fail(w, http.StatusBadRequest, fmt.Errorf("frame %q is not a number", text))
			return
		}
	}
	if r.URL.Query().Has("now") {
		// Only if it costs no time: the page shows it until the full one is there.
		if jpeg := s.pictures.atHand(info, stamp, frame, sz); jpeg != nil {
			servePicture(w, jpeg, false)
			return
		}
		w.WriteHeader(http.StatusNoContent)
		return
	}
	get := s.pictures.get
	if r.URL.Query().Has("beside") {
		get = s.pictures.beside
	}
	jpeg, err := get(r.Context(), info, stamp, frame, sz)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	servePicture(w, jpeg, r.URL.Query().Get("stamp") == stamp)
}

// prepare has pictures made that somebody will want soon.
func (s *Server) prepare(w http.ResponseWriter, r *http.Request) {
	_, info, stamp, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	frame, err := strconv.Atoi(r.URL.Query().Get("frame"))
	if err != nil || frame < 0 || frame >= len(info.Times) {
		fail(w, http.StatusBadRequest, fmt.Errorf("frame %q: the clip has frames 0 to %d", r.URL.Query().Get("frame"), len(info.Times)-1))
		return
	}
	s.pictures.prepare(info, stamp, frame, size(r.URL.Query().Get("size")))
	reply(w, map[string]bool{"queued": true})
}

// servePicture answers with a picture; one that is named by the clip's stamp
// stays what it is.
func servePicture(w http.ResponseWriter, jpeg []byte, stays bool) {
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Content-Length", strconv.Itoa(len(jpeg)))
	if stays {
		w.Header().Set("Cache-Control", "private, max-age=3600, immutable")
	}
	_, _ = w.Write(jpeg)
}

func (s *Server) checkClip(w http.ResponseWriter, r *http.Request) {
	rel, info, _, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	m, _, unread := s.marksOf(rel) // The check does without marks that can't be read, and says so.
	report, err := film.Check(r.Context(), info, film.Options{Marks: m, MarksError: unread, Lengths: s.lengths})
	if err != nil {
		s.failed(w, r, err)
		return
	}
	report.Clip = rel
	reply(w, report)
}

// gridAnswer is a calibration and the lane grid as it proves itself in the picture.
type gridAnswer struct {
	Level      geometry.Level `json:"level"`
	Lines      []gridLine     `json:"lines"`
	Labels     []gridLabel    `json:"labels"`
	Notes      []string       `json:"notes"`
	HeightM    float64        `json:"camera_height_m,omitempty"`
	FocalPX    float64        `json:"focal_px,omitempty"`
	ResidualPX float64        `json:"residual_px,omitempty"`
	HorizonPX  float64        `json:"horizon_px"`
	// Error says in words why no camera fits.
	Error string `json:"error,omitempty"`
}

type gridLine struct {
	Kind   string           `json:"kind"` // "along", "across" or "post".
	Points []geometry.Point `json:"points"`
}

type gridLabel struct {
	At   geometry.Point `json:"at"`
	Text string         `json:"text"`
}

func (s *Server) calibrate(w http.ResponseWriter, r *http.Request) {
	data, err := readBody(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	var asked struct {
		Width       int                       `json:"width"`
		Height      int                       `json:"height"`
		WithersM    float64                   `json:"withers_m"`
		Calibration geometry.CalibrationInput `json:"calibration"`
	}
	if err := json.Unmarshal(data, &asked); err != nil {
		fail(w, http.StatusBadRequest, fmt.Errorf("read calibration: %w", err))
		return
	}
	c, err := geometry.Calibrate(asked.Calibration, asked.Width, asked.Height, errormodel.Usual().Camera)
	if err != nil {
		reply(w, gridAnswer{Level: geometry.LevelNone, Error: strings.TrimPrefix(err.Error(), "calibrate: ")})
		return
	}
	answer := grid(c, asked.Width, asked.Height, asked.WithersM, s.lengths)
	for _, d := range doubt.OfMarks(&record.Marks{Picture: record.Picture{Width: asked.Width, Height: asked.Height}, Calibration: &asked.Calibration}, nil) {
		if d.Kind == doubt.Others {
			continue // Which other clips there are is not looked up here.
		}
		answer.Notes = append(answer.Notes, d.Sentence+" "+d.Check)
	}
	reply(w, answer)
}

func readBody(r *http.Request) ([]byte, error) {
	data, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, fmt.Errorf("read what was sent: %w", err)
	}
	return data, nil
}
