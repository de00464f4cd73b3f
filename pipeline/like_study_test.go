//go:build study

package pipeline_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

func (p *proposed) add(q proposed) {
	p.clips, p.none, p.marks, p.within, p.wrong = p.clips+q.clips, p.none+q.none, p.marks+q.marks, p.within+q.within, p.wrong+q.wrong
}

// TestProposedLikeStudy proposes marks over the hard clips of a set, each by those of another film of
// the same horse on the same day and on another one, and prints what share lies within 2 px, what a person
// must mend, and whether a side is wrong. JOGSTRIP_COUNT pairs a view (default 6), from
// seed JOGSTRIP_SEED on.
func TestProposedLikeStudy(t *testing.T) {
	count, seed := 6, 3000
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_COUNT")); err == nil {
		count = n
	}
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_SEED")); err == nil {
		seed = n
	}
	var all [2]proposed
	kinds := []string{"the next clip", "another day"}
	for i := range count {
		for _, view := range []traj.View{traj.Toward, traj.Away} {
			one := scene.Hard(uint64(seed+i), view)
			one.Camera.Width, one.Camera.Height = 1280, 720
			if _, err := scene.Simulate(one); err != nil {
				continue // No horse moves like that.
			}
			// The next clip of the set-up: the horse comes again, a little elsewhere and at
			// another speed. And another day: other ground, light and weather.
			next, later := one, one
			next.Motion.StartM *= 1.03
			next.Motion.EndM *= 1.02
			next.Motion.LineOffsetM += 0.12
			next.Motion.SpeedMPS *= 1.03
			for settles := false; !settles; {
				later.Seed += 500_000
				_, err := scene.Simulate(later)
				settles = err == nil
			}
			if _, err := scene.Simulate(next); err != nil {
				continue
			}
			for k, two := range []scene.Scene{next, later} {
				t.Run(fmt.Sprintf("%s %d, %s", view, seed+i, kinds[k]), func(t *testing.T) {
					p := proposeLike(t, one, two, filepath.Join(t.TempDir(), "a.mp4"))
					t.Log(p)
					all[k].add(p)
				})
			}
		}
	}
	for k, p := range all {
		t.Logf("%s: %s", kinds[k], p)
		if p.wrong > 0 {
			t.Errorf("%d on the wrong side", p.wrong)
		}
	}
}
