package markpage

import (
	"context"
	"errors"
	"maps"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"jogstrip/pipeline/clip"
)

// unreadableError is a clip that cannot be read, in words that say what to do.
type unreadableError struct {
	words string
	cause error
}

func (e *unreadableError) Error() string { return e.words }
func (e *unreadableError) Unwrap() error { return e.cause }

// unreadable puts what probing says of a clip into words for the person who
// copied it. What lies outside the clip stays as it is.
func unreadable(err error) error {
	if errors.Is(err, clip.ErrDecoderLost) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	text := err.Error()
	why := "it is damaged, or no film at all"
	for _, k := range []struct{ said, means string }{
		{"moov atom not found", "its end is missing: it was not copied whole, or the phone stopped while it was filming"},
		{"is empty", "the file is empty"},
		{"no video stream", "it holds sound only"},
		{"cover image", "it holds sound and a still picture only"},
		{"no frames", "it holds no pictures"},
		{"permission denied", "reading it is not allowed"},
		{"outside 16 to", "its picture is too small or too large"},
		{"quarter turns", "it is turned by an odd angle"},
	} {
		if strings.Contains(text, k.said) {
			why = k.means
			break
		}
	}
	return &unreadableError{"This clip can’t be read: " + why + ". Copy it from the phone again, or film again.", err}
}

const (
	lookedInto = 400                     // How many clips are looked into for one list.
	lookWait   = 1500 * time.Millisecond // How long a list waits for that.
	lookers    = 3                       // How many clips are looked into at once.
)

// unreadable looks into the clips and returns those that cannot be read. It
// waits a moment only: looking tells whether some are still being looked into.
func (s *Server) unreadable(ctx context.Context, clips []string) (broken map[string]error, looking bool) {
	var mu sync.Mutex
	broken = make(map[string]error)
	all := make(chan struct{})
	clips = clips[:min(len(clips), lookedInto)]
	look := func(rel string) {
		abs, stat, err := s.folder.clipFile(rel)
		if err != nil {
			return
		}
		_, err = s.clips.probe(s.ctx, abs, stat)
		var no *unreadableError
		if err != nil && errors.As(unreadable(err), &no) {
			mu.Lock()
			broken[rel] = no
			mu.Unlock()
		}
	}
	s.work.Go(func() {
		defer close(all)
		var group errgroup.Group
		group.SetLimit(lookers)
		for _, rel := range clips {
			if s.ctx.Err() != nil {
				break
			}
			group.Go(func() error {
				look(rel)
				return nil
			})
		}
		_ = group.Wait() // No look returns an error.
	})
	wait := time.NewTimer(lookWait)
	defer wait.Stop()
	select {
	case <-all:
	case <-wait.C:
		looking = true
	case <-ctx.Done():
	}
	mu.Lock()
	defer mu.Unlock()
	return maps.Clone(broken), looking
}
