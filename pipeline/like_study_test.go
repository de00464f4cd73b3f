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
	p.clips, p.none, p.marks, p.within = p.clips+q.clips, p.none+q.none, p.marks+q.marks, p.within+q.within
	p.wrong, p.air = p.wrong+q.wrong, p.air+q.air
}

// TestProposedLikeStudy proposes marks over the hard clips of a set, each by those of another film of
// the same horse on the same day and on another one, and prints what share lies within 2 px, what a person
// must mend, how many are of a hoof in the air, and whether a side is wrong. JOGSTRIP_COUNT pairs a view (default 6), from
// seed JOGSTRIP_SEED on.
func TestProposedLikeStudy(t *testing.T) {
	count, seed := 6, 3000
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_COUNT")); err == nil {
		count = n
	}
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_SEED")); err == nil {
		seed = n
	}
	var all [3]proposed
	kinds := [len(all)]string{"the next clip", "another day in like light, from the same place", "another day in other light, from elsewhere"}
	for i := range count {
		for _, view := range []traj.View{traj.Toward, traj.Away} {
			one := scene.Hard(uint64(seed+i), view)
			one.Camera.Width, one.Camera.Height = 1280, 720
			if _, err := scene.Simulate(one); err != nil {
				continue // No horse moves like that.
			}
			// The next clip of the set-up: the horse comes again, a little elsewhere and at
			// another speed.
			next := one
			next.Motion.StartM *= 1.03
			next.Motion.EndM *= 1.02
			next.Motion.LineOffsetM += 0.12
			next.Motion.SpeedMPS *= 1.03
			if _, err := scene.Simulate(next); err != nil {
				continue
			}
			later := uint64(seed+i) + 500_000
			for k, two := range [len(all)]scene.Scene{next, anotherDay(one, later, true), anotherDay(one, later, false)} {
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

// anotherDay is the same horse on ground of the same kind, as the film guide asks for; what
// stands around, shadows, the way the horse goes and who leads it are others. Unless like, the
// phone, where it stands, and light and weather are others, too.
func anotherDay(one scene.Scene, seed uint64, like bool) scene.Scene {
	for ; ; seed += 1000 {
		later := scene.Hard(seed, one.View)
		leads, driven := later.Horse.Leads, later.Horse.Driven
		later.Horse = one.Horse
		later.Horse.Leads, later.Horse.Driven = leads, driven
		later.Motion.HalfWidthForeCM, later.Motion.HalfWidthHindCM = one.Motion.HalfWidthForeCM, one.Motion.HalfWidthHindCM
		later.Yard.Ground, later.Yard.DarkLane, later.Yard.GrassCM = one.Yard.Ground, one.Yard.DarkLane, one.Yard.GrassCM
		if like {
			later.Camera, later.Yard, later.Encoding = one.Camera, one.Yard, one.Encoding
		}
		later.Camera.Width, later.Camera.Height = one.Camera.Width, one.Camera.Height
		if _, err := scene.Simulate(later); err == nil {
			return later
		}
	}
}
