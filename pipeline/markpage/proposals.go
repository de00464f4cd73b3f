package markpage

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"

	"jogstrip/pipeline/record"
	"jogstrip/track/traj"
)

// Proposer finds where marks of a clip probably sit. What it finds is shown to a
// person, who confirms, moves or throws away; it is never measured as it is.
type Proposer interface {
	// Propose looks into the clip, an absolute path, for the marks that like shows:
	// those of the clip itself where it has a left and a right stance marked, and of
	// others of the same visit from the same side. A clip in which
	// it finds nothing, or in which it cannot tell left from right, gets none, with
	// the reason in words.
	Propose(ctx context.Context, clip string, view traj.View, like []Marked) (found []Proposal, reason string, err error)
}

// Marked is a clip with its marks.
type Marked struct {
	Clip  string // Absolute path.
	Marks *record.Marks
}

// Proposal is one proposed mark, px of the upright picture.
type Proposal struct {
	Frame    int           `json:"frame"`
	Landmark traj.Landmark `json:"landmark"`
	X        float64       `json:"x"`
	Y        float64       `json:"y"`
	SD       float64       `json:"sd"` // Standard deviation along each axis, px.
}

type proposalsAnswer struct {
	Proposals []Proposal `json:"proposals"`
	From      string     `json:"from,omitempty"`   // The clip whose marks they are like.
	Reason    string     `json:"reason,omitempty"` // Why there are none.
}

// proposals answers with marks proposed for a clip.
func (s *Server) proposals(w http.ResponseWriter, r *http.Request) {
	rel, info, _, err := s.clipOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	out := proposalsAnswer{Proposals: []Proposal{}}
	if s.proposer == nil {
		out.Reason = "this program was started without proposing marks"
		reply(w, out)
		return
	}
	view, like, from, err := s.like(r.Context(), rel)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if len(like) == 0 {
		reply(w, out) // Nothing is marked yet that could be looked for.
		return
	}
	found, reason, err := s.proposed.get(r.Context(), s, rel, view, like)
	if err != nil {
		s.failed(w, r, fmt.Errorf("propose marks: %w", err))
		return
	}
	for _, p := range found {
		// A place outside the picture could not be saved.
		if p.Frame >= 0 && p.Frame < len(info.Times) && p.X >= 0 && p.Y >= 0 && p.X <= float64(info.Width-1) && p.Y <= float64(info.Height-1) {
			p.X, p.Y = hundredth(p.X), hundredth(p.Y)
			out.Proposals = append(out.Proposals, p)
		}
	}
	out.Reason = reason
	if len(out.Proposals) > 0 {
		out.From = from
	}
	reply(w, out)
}

// proposedSets keeps what was proposed last: the next clip's marks are worked out while
// the one before is finished, and wait for it to be opened.
type proposedSets struct {
	one     chan struct{} // Holds one while proposals are worked out.
	mu      sync.Mutex
	entries map[string]*proposedEntry
	order   []string
}

type proposedEntry struct {
	done   chan struct{}
	found  []Proposal
	reason string
	err    error
}

// proposedMost is how many clips' proposals are kept.
const proposedMost = 12

func newProposedSets() *proposedSets {
	return &proposedSets{one: make(chan struct{}, 1), entries: map[string]*proposedEntry{}}
}

// get returns what is proposed for a clip as it and those in like are now.
func (p *proposedSets) get(ctx context.Context, s *Server, rel string, view traj.View, like []Marked) ([]Proposal, string, error) {
	key, err := s.proposedKey(rel, view, like)
	if err != nil {
		return nil, "", err
	}
	p.mu.Lock()
	e := p.entries[key]
	if e == nil {
		e = &proposedEntry{done: make(chan struct{})}
		p.entries[key] = e
		if p.order = append(p.order, key); len(p.order) > proposedMost {
			delete(p.entries, p.order[0])
			p.order = p.order[1:]
		}
		s.work.Add(1)
		go func() {
			defer s.work.Done()
			defer close(e.done)
			select {
			case p.one <- struct{}{}:
				defer func() { <-p.one }()
				e.found, e.reason, e.err = s.proposer.Propose(s.ctx, s.absolute(rel), view, like)
			case <-s.ctx.Done():
				e.err = s.ctx.Err()
			}
			if e.err != nil { // The next one who asks tries again.
				p.mu.Lock()
				defer p.mu.Unlock()
				delete(p.entries, key)
				p.order = slices.DeleteFunc(p.order, func(k string) bool { return k == key })
			}
		}()
	}
	p.mu.Unlock()
	select {
	case <-e.done:
		return e.found, e.reason, e.err
	case <-ctx.Done():
		return nil, "", ctx.Err()
	}
}

// proposedKey changes with all that proposals depend on.
func (s *Server) proposedKey(rel string, view traj.View, like []Marked) (string, error) {
	_, stat, err := s.folder.clipFile(rel)
	if err != nil {
		return "", err
	}
	key := strings.Join([]string{rel, stampOf(stat), string(view)}, "\x00")
	for _, l := range like {
		marks, err := json.Marshal(l.Marks)
		if err != nil {
			return "", err
		}
		key += "\x00" + l.Clip + "\x00" + versionOf(marks)
	}
	return key, nil
}

// like returns the marked clips that show what to look for in the clip rel: its own marks
// where they show both sides, and those of clips of the same view and visit; from says
// which comes first, in words. On another day the horse is not found surely enough again;
// README has the figures.
func (s *Server) like(ctx context.Context, rel string) (view traj.View, like []Marked, from string, err error) {
	own, _, err := s.marksOf(rel)
	if err != nil {
		return "", nil, "", err
	}
	if own != nil {
		view = own.View
	} else {
		view = s.guess(rel).View
	}
	if view == "" {
		return "", nil, "", nil
	}
	if enough(own) {
		like = append(like, Marked{s.absolute(rel), own})
	}
	all, err := s.folder.walk(ctx)
	if err != nil {
		return "", nil, "", err
	}
	const most = 3 // More of the same shows nothing new.
	for _, other := range all.clips {
		if len(like) == most {
			break
		}
		if other == rel || path.Dir(other) != path.Dir(rel) {
			continue
		}
		m, _, err := s.marksOf(other)
		if err != nil || !enough(m) || m.View != view {
			continue
		}
		if _, _, err := s.folder.clipFile(other); errors.Is(err, errNotThere) {
			continue
		}
		if from == "" {
			from = path.Base(other)
		}
		like = append(like, Marked{s.absolute(other), m})
	}
	if enough(own) {
		from = "this clip"
	}
	return view, like, from, nil
}
