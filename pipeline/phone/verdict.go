package phone

import (
	"context"
	"sync"

	"jogstrip/pipeline/film"
)

// Verdict is what the handler is told of a clip that arrived.
type Verdict struct {
	Verdict film.Verdict `json:"verdict"`
	// Again says why to film again, Better what to do differently next time: what
	// was found, with what to do.
	Again  []Reason `json:"again,omitempty"`
	Better []Reason `json:"better,omitempty"`
	// Look is what only a person can judge.
	Look []Reason `json:"look,omitempty"`
	// Problem says why the check could not look at the clip; then nothing is known.
	Problem string `json:"problem,omitempty"`
}

// Reason is one thing that the film check found.
type Reason struct {
	What  string `json:"what"`
	Found string `json:"found"`
	Do    string `json:"do,omitempty"`
}

// Check looks at the clip at path.
type Check func(ctx context.Context, path string) (*film.Report, error)

func verdictOf(r *film.Report) *Verdict {
	v := &Verdict{Verdict: r.Verdict}
	for _, i := range r.Items {
		reason := Reason{What: i.Title, Found: i.Found, Do: i.Advice}
		if i.Asks() {
			v.Look = append(v.Look, reason)
		}
		switch i.Verdict {
		case film.FilmAgain:
			v.Again = append(v.Again, reason)
		case film.Usable:
			v.Better = append(v.Better, reason)
		}
	}
	return v
}

// checker looks at clips that arrived, one at a time.
type checker struct {
	ctx   context.Context
	check Check
	note  func(id string, v *Verdict) error
	path  func(rel string) string
	turn  sync.Mutex
	work  sync.WaitGroup

	mu      sync.Mutex
	started map[string]bool
}

// see has the clip rel looked at unless it is being looked at already.
func (c *checker) see(id, rel string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.started[id] || c.ctx.Err() != nil {
		return
	}
	c.started[id] = true
	c.work.Add(1)
	go func() {
		defer c.work.Done()
		defer func() {
			c.mu.Lock()
			defer c.mu.Unlock()
			delete(c.started, id)
		}()
		c.turn.Lock()
		defer c.turn.Unlock()
		if c.ctx.Err() != nil {
			return
		}
		report, err := c.check(c.ctx, c.path(rel))
		v := &Verdict{Verdict: film.NotKnown}
		switch {
		case c.ctx.Err() != nil:
			return // Looked at once the program is back.
		case err != nil:
			v.Problem = err.Error()
		default:
			v = verdictOf(report)
		}
		// Where it can't be written down it is looked at again when it is asked for.
		_ = c.note(id, v)
	}()
}
