//go:build study

package main

import (
	"testing"

	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

// Hundreds of mistaken inputs on rendered passes of both views and all gaits: none has
// the program name a limb or a side that is not the horse's as if all were well. Of as
// many right inputs next to none is doubted.
func TestMistakesStudy(t *testing.T) {
	scenetest.NeedFFmpeg(t)
	dir := t.TempDir()
	const seeds, times = 4, 9
	var passes []*filmedPass
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		for _, gait := range []traj.Gait{traj.Walk, traj.Trot, traj.Pace} {
			for seed := range uint64(seeds) {
				passes = append(passes, filmPass(t, dir, view, gait, seed))
			}
		}
	}
	var wrong, right []trial
	for i, f := range passes {
		// Another pass of the same view and gait, and so of another camera.
		other := passes[i/seeds*seeds+(i+1)%seeds]
		for k, w := range wrongInputs() {
			// A quarter of all, so that each mistake meets every view, gait and horse.
			if (i+i/seeds+k)%4 == 0 {
				m := f.marks(uint64((i + k) % 3))
				w.do(m, f, other)
				wrong = append(wrong, trial{w.kind, w.name, f, m})
			}
		}
		for time := range uint64(times) {
			right = append(right, trial{"none", "", f, f.marks(time)})
		}
	}
	of := tryAll(t, wrong)
	t.Logf("%d mistaken inputs\n%s", len(of), tableOf(of))
	if len(of) < 200 {
		t.Errorf("only %d mistaken inputs", len(of))
	}
	for _, s := range of {
		if s.silently() && s.wrongly() {
			t.Errorf("%s, %s %s: %s is named, true is %q", s.pass.name, s.kind, s.name, s.named(), s.pass.limb)
		}
	}
	as := tryAll(t, right)
	t.Logf("%d right inputs\n%s", len(as), tableOf(as))
	doubted := 0
	for _, s := range as {
		if !s.silently() {
			doubted++
		}
	}
	if len(as) < 200 || doubted > 2 {
		t.Errorf("%d of %d right inputs are doubted, want at most 2 of at least 200", doubted, len(as))
	}
}
