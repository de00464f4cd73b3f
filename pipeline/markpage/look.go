package markpage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"jogstrip/track/traj"
)

// Measurer measures clips and tells what was found. Clips are absolute paths
// inside the folder served. Its methods are called from several goroutines.
type Measurer interface {
	// Measure measures the clip with its marks as they are on disk and replaces its
	// results. It may call progress at any time until it returns.
	Measure(ctx context.Context, clip string, progress func(Progress)) error
	// State says cheaply, for a list of thousands, where the clip stands.
	State(clip string) (State, error)
	// Look reads what the last measuring found; nil where there was none.
	Look(ctx context.Context, clip string) (*Look, error)
}

// Summer is a Measurer that also makes the page of a visit.
type Summer interface {
	// SumUp makes the page of the visit in the folder, an absolute path, where it is
	// missing or older than what it is made of. A visit without a measured clip gets none.
	SumUp(ctx context.Context, folder string) error
}

// Progress is how far measuring a clip has come.
type Progress struct {
	Stage string `json:"stage"` // In words: "tracking".
	Done  int    `json:"done"`
	Total int    `json:"total"` // 0 where it is not known.
}

// State is where a clip stands.
type State struct {
	Measured bool `json:"measured"`
	// Stale: marks, clip or settings have changed since it was measured.
	Stale bool `json:"stale"`
	// SecondLook says in words why a person should look at it; empty where none need.
	SecondLook string `json:"second_look,omitempty"`
	// Report is the path of its report page, relative to the folder; empty where there is none.
	Report string `json:"report,omitempty"`
}

// Look is what measuring a clip found, for the second look.
type Look struct {
	Tracks []LookTrack `json:"tracks"`
	// Contacts are the stances found.
	Contacts []LookContact `json:"contacts"`
	Losses   []LookLoss    `json:"losses"`
	// Advice lists frames that win most if marked, best first.
	Advice []LookAdvice `json:"advice"`
	// Finding is the result in plain words, a short sentence each.
	Finding []string `json:"finding"`
	// Doubts are what a person is asked about before a limb is named.
	Doubts []LookDoubt `json:"doubts,omitempty"`
	// Notes are remarks on what the clip does not support.
	Notes []string `json:"notes"`
}

// LookTrack is one landmark in every frame, in the upright picture's
// coordinates, px. Index of every slice: frame.
type LookTrack struct {
	Landmark traj.Landmark `json:"landmark"`
	X        Values        `json:"x"`
	Y        Values        `json:"y"`
	SD       Values        `json:"sd"`     // Standard deviation along each axis.
	Status   []string      `json:"status"` // "lost", "bridged", "across", "tracked" or "marked".
}

// LookContact is one stance of one hoof, seconds from the clip's first frame.
type LookContact struct {
	Limb traj.Landmark `json:"limb"`
	On   float64       `json:"on_s"`
	Off  float64       `json:"off_s"`
}

// LookLoss is a run of frames in which a landmark was not seen.
type LookLoss struct {
	Landmark traj.Landmark `json:"landmark"`
	First    int           `json:"first"`
	Last     int           `json:"last"`
	Reason   string        `json:"reason"`
	Bridged  bool          `json:"bridged"` // The way between was filled in.
}

// LookAdvice is a frame in which marking a landmark would help.
type LookAdvice struct {
	Frame    int           `json:"frame"`
	Landmark traj.Landmark `json:"landmark"`
	Wins     int           `json:"wins"` // About so many frames.
	Reason   string        `json:"reason"`
}

// Values are numbers of which some may be missing (NaN); JSON writes those as
// null and the others to a hundredth.
type Values []float64

// MarshalJSON implements json.Marshaler.
func (v Values) MarshalJSON() ([]byte, error) {
	out := make([]*float64, len(v))
	for i, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			continue
		}
		r := math.Round(x*100) / 100
		out[i] = &r
	}
	return json.Marshal(out)
}

// job is one clip's measuring, waiting, under way or ended.
type job struct {
	Clip     string   `json:"clip"`
	Phase    string   `json:"phase"` // "waiting", "running", "done" or "failed".
	Progress Progress `json:"progress"`
	Error    string   `json:"error,omitempty"`
	again    bool     // Asked for once more while it ran.
}

// queue measures clips one after the other.
type queue struct {
	ctx      context.Context
	measurer Measurer
	absolute func(rel string) string
	work     sync.WaitGroup

	mu      sync.Mutex
	jobs    map[string]*job
	waiting []string
	running bool
	changed chan struct{} // Closed and replaced at every change.
}

func newQueue(ctx context.Context, m Measurer, absolute func(string) string) *queue {
	return &queue{ctx: ctx, measurer: m, absolute: absolute, jobs: make(map[string]*job), changed: make(chan struct{})}
}

func (q *queue) wait() { q.work.Wait() }

// announce wakes those who watch. q.mu is held.
func (q *queue) announce() {
	close(q.changed)
	q.changed = make(chan struct{})
}

// add queues a clip; one that waits already stays where it is, one that is
// being measured is measured once more, for its marks may have changed since.
func (q *queue) add(rel string) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.ctx.Err() != nil {
		return
	}
	if j := q.jobs[rel]; j != nil {
		switch j.Phase {
		case "waiting":
			return
		case "running":
			j.again = true
			return
		}
	}
	q.enqueue(rel)
	if !q.running {
		q.running = true
		q.work.Add(1)
		go q.run()
	}
}

// enqueue puts a clip at the end. q.mu is held.
func (q *queue) enqueue(rel string) {
	q.jobs[rel] = &job{Clip: rel, Phase: "waiting"}
	q.waiting = append(q.waiting, rel)
	q.announce()
}

func (q *queue) run() {
	defer q.work.Done()
	for {
		q.mu.Lock()
		if len(q.waiting) == 0 || q.ctx.Err() != nil {
			q.running = false
			q.mu.Unlock()
			return
		}
		rel := q.waiting[0]
		q.waiting = q.waiting[1:]
		j := q.jobs[rel]
		j.Phase = "running"
		q.announce()
		q.mu.Unlock()

		err := q.measurer.Measure(q.ctx, q.absolute(rel), func(p Progress) {
			q.mu.Lock()
			defer q.mu.Unlock()
			j.Progress = p
			q.announce()
		})

		q.mu.Lock()
		j.Phase = "done"
		if err != nil {
			j.Phase, j.Error = "failed", err.Error()
		}
		if j.again {
			q.enqueue(rel)
		}
		q.announce()
		q.mu.Unlock()
	}
}

// snapshot returns every job asked for and a channel that closes at the next change.
func (q *queue) snapshot() ([]job, <-chan struct{}) {
	q.mu.Lock()
	defer q.mu.Unlock()
	jobs := make([]job, 0, len(q.jobs))
	for _, j := range q.jobs {
		jobs = append(jobs, *j)
	}
	slices.SortFunc(jobs, func(a, b job) int { return strings.Compare(a.Clip, b.Clip) })
	return jobs, q.changed
}

var errNoMeasurer = errors.New("this program was started without measuring")

func (s *Server) measure(w http.ResponseWriter, r *http.Request) {
	if s.queue.measurer == nil {
		fail(w, http.StatusNotImplemented, errNoMeasurer)
		return
	}
	rel := r.URL.Query().Get("clip")
	if _, _, err := s.folder.clipFile(rel); err != nil {
		s.failed(w, r, err)
		return
	}
	s.queue.add(rel)
	reply(w, map[string]bool{"queued": true})
}

// progress streams the state of all measuring as server-sent events.
func (s *Server) progress(w http.ResponseWriter, r *http.Request) {
	// A browser opens few for all its windows; a program gone wild is held here.
	select {
	case s.streams <- struct{}{}:
		defer func() { <-s.streams }()
	default:
		w.Header().Set("Retry-After", "30")
		fail(w, http.StatusServiceUnavailable, errors.New("too many windows of this page are open: close some"))
		return
	}
	control := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	for {
		jobs, changed := s.queue.snapshot()
		for i := range jobs {
			jobs[i].Error = s.withoutFolder(errors.New(jobs[i].Error)).Error()
		}
		data, err := json.Marshal(jobs)
		if err != nil {
			return
		}
		if _, err := fmt.Fprintf(w, "data: %s\n\n", data); err != nil || control.Flush() != nil {
			return
		}
		// Many changes a second make one message.
		pause := time.After(200 * time.Millisecond)
		alive := time.After(20 * time.Second)
		select {
		case <-changed:
		case <-alive:
		case <-r.Context().Done():
			return
		case <-s.queue.ctx.Done():
			return
		}
		select {
		case <-pause:
		case <-r.Context().Done():
			return
		case <-s.queue.ctx.Done():
			return
		}
	}
}

func (s *Server) look(w http.ResponseWriter, r *http.Request) {
	if s.queue.measurer == nil {
		fail(w, http.StatusNotImplemented, errNoMeasurer)
		return
	}
	rel, _, _, err := s.clipOf(r)
	if err == nil {
		err = s.folder.resultsInside(rel)
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	found, err := s.queue.measurer.Look(r.Context(), s.absolute(rel))
	if err != nil {
		s.failed(w, r, fmt.Errorf("read results of %s: %w", path.Base(rel), err))
		return
	}
	state, err := s.queue.measurer.State(s.absolute(rel))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	reply(w, map[string]any{"look": found, "state": state})
}
