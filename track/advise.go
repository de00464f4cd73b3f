package track

import (
	"fmt"
	"slices"

	"jogstrip/track/traj"
)

// advise ranks which mark would win most: one in the middle of each long loss,
// and one where a track is least certain.
func (c *clip) advise(r *Result) []Advice {
	var out []Advice
	for _, l := range r.Losses {
		if a, wins := c.adviseOn(l); wins {
			out = append(out, a)
		}
	}
	for i := range r.Set.Tracks {
		if a, wins := adviseWhereVague(&r.Set.Tracks[i]); wins {
			out = append(out, a)
		}
	}
	slices.SortStableFunc(out, func(a, b Advice) int { return b.Wins - a.Wins })
	return out[:min(len(out), mostAdvice)]
}

// adviseOn advises a mark in a loss; wins is false where it would win nothing.
func (c *clip) adviseOn(l Loss) (a Advice, wins bool) {
	frames, n := l.Last-l.First+1, len(c.times)
	if l.Bridged || frames < 3 || l.Cause == leftPicture || l.Cause == markedHidden {
		return Advice{}, false
	}
	if lasts := c.times[l.Last] - c.times[l.First]; l.Landmark.IsHoof() && (lasts < leastWinS || l.Cause == hiddenBehind && lasts < 2*leastWinS) {
		return Advice{}, false // One swing or a part of it, in which a mark wins nothing.
	}
	at := (l.First + l.Last) / 2
	switch {
	case l.First == 0 && l.Last == n-1:
	case l.First == 0: // Near the seen side the landmark is sure to be in the picture.
		at = l.First + 2*frames/3
	case l.Last == n-1:
		at = l.First + frames/3
	}
	reason := fmt.Sprintf("%s is lost from frame %d to frame %d (%s); a mark here may bring back %d frames", l.Landmark.Words(), l.First, l.Last, l.Cause, frames)
	if l.Landmark.IsHoof() {
		reason += "; best in a frame nearby in which the hoof stands"
	}
	return Advice{l.Landmark, at, frames, reason}, true
}

// adviseWhereVague advises a mark where a track is least certain.
func adviseWhereVague(t *traj.Track) (a Advice, wins bool) {
	worst, weak := -1, 0
	for f, s := range t.Samples {
		if s.Status != traj.Tracked || s.SD < 1.5 {
			continue
		}
		weak++
		if worst < 0 || s.SD > t.Samples[worst].SD {
			worst = f
		}
	}
	if weak < 10 {
		return Advice{}, false
	}
	return Advice{t.Landmark, worst, weak / 2,
		fmt.Sprintf("%s is uncertain by more than 1.5 px in %d frames, most here (%.1f px); a mark here makes them surer", t.Landmark.Words(), weak, t.Samples[worst].SD)}, true
}

// Advice is for somebody who has a minute: a few marks, each for more than a part
// of a swing.
const (
	mostAdvice = 8
	leastWinS  = 0.4
)

// notesOn says in sentences what a reader of the tracks should know.
func notesOn(set *traj.Set) []string {
	var out []string
	body := false
	for i := range set.Tracks {
		t := &set.Tracks[i]
		body = body || !t.Landmark.IsHoof()
		seen := 0
		for _, s := range t.Samples {
			if s.Status.Followed() {
				seen++
			}
		}
		if 10*seen < len(t.Samples) {
			out = append(out, fmt.Sprintf("%s was seen in %d of %d frames.", t.Landmark.Words(), seen, len(t.Samples)))
		}
	}
	if !body {
		out = append(out, "No landmark of the body is marked, so stances of the hooves were not looked for through the clip.")
	}
	return out
}
