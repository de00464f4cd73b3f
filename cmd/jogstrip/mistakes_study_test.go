//go:build study

package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/record"
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
		if s.doubted() {
			doubted++
		}
	}
	if len(as) < 200 || doubted > 2 {
		t.Errorf("%d of %d right inputs are doubted, want at most 2 of at least 200", doubted, len(as))
	}
}

// doubted reports whether a person is asked to look again for what contradicts itself, or
// nothing is told at all; that too little was seen is no doubt.
func (s judged) doubted() bool {
	return s.result == nil || s.result.Doubted()
}

// noted reports whether something is doubted in a note.
func (s judged) noted() bool {
	return s.silently() && slices.ContainsFunc(s.result.Doubts, func(d record.Doubt) bool { return d.Kind != "" })
}

// tableOf tells for each kind what became of it, and lists every case.
func tableOf(all []judged) string {
	type row struct{ n, refused, look, few, note, silent, right, wrong int }
	rows := map[string]*row{}
	var kinds []string
	var lines []string
	for _, s := range all {
		r := rows[s.kind]
		if r == nil {
			r = new(row)
			rows[s.kind] = r
			kinds = append(kinds, s.kind)
		}
		r.n++
		how := "silent"
		switch {
		case s.entry.Outcome == batch.Failed:
			r.refused++
			how = "refused"
		case s.doubted():
			r.look++
			how = "second look"
		case !s.silently():
			r.few++
			how = "no stride"
		case s.noted():
			r.note++
			how = "note"
		default:
			r.silent++
		}
		if s.silently() && s.named() != "" {
			if s.wrongly() {
				r.wrong++
				how += ", WRONG LIMB"
			} else {
				r.right++
			}
		}
		reason := s.entry.Reason
		if s.noted() {
			reason = s.result.Doubts[0].Sentence
		}
		if len(reason) > 150 {
			reason = strings.ToValidUTF8(reason[:150], "") + "…"
		}
		lines = append(lines, fmt.Sprintf("%-30s %-30s %-14s %-11s true %-10s named %-10s %s", s.kind, s.name, s.pass.name, how, s.pass.limb, s.named(), strings.ReplaceAll(reason, "\n", " ")))
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%-32s %5s %8s %12s %10s %5s %7s %11s %11s\n", "kind of mistake", "n", "refused", "second look", "no stride", "note", "silent", "right limb", "wrong limb")
	for _, k := range kinds {
		r := rows[k]
		fmt.Fprintf(&b, "%-32s %5d %8d %12d %10d %5d %7d %11d %11d\n", k, r.n, r.refused, r.look, r.few, r.note, r.silent, r.right, r.wrong)
	}
	return b.String() + strings.Join(lines, "\n")
}
