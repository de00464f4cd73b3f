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

// TestProposedLikeStudy proposes marks over the hard clips of a set, each by those of another film of
// the same horse in another yard, and prints what share lies within 2 px, what a person
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
	var all proposed
	for i := range count {
		for _, view := range []traj.View{traj.Toward, traj.Away} {
			one := scene.Hard(uint64(seed+i), view)
			one.Camera.Width, one.Camera.Height = 1280, 720
			if _, err := scene.Simulate(one); err != nil {
				continue // No horse moves like that.
			}
			two := one
			for settles := false; !settles; {
				two.Seed += 500_000
				_, err := scene.Simulate(two)
				settles = err == nil
			}
			t.Run(fmt.Sprintf("%s %d", view, seed+i), func(t *testing.T) {
				p := proposeLike(t, one, two, filepath.Join(t.TempDir(), "a.mp4"))
				t.Log(p)
				all.add(p)
			})
		}
	}
	t.Log(all)
	if all.wrong > 0 {
		t.Errorf("%d on the wrong side", all.wrong)
	}
}
