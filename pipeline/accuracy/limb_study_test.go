//go:build study

package accuracy_test

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline/scene"
	"jogstrip/track/traj"
)

// TestWhichLimbStudy renders, tracks and measures a clip from either end for every
// limb and an even horse, in trot and pace, and prints what the clips say alone
// and together. A wrong side or limb is an error. JOGSTRIP_EVERY=n takes every
// n-th horse only.
func TestWhichLimbStudy(t *testing.T) {
	every := 1
	if n, err := strconv.Atoi(os.Getenv("JOGSTRIP_EVERY")); err == nil && n > 0 {
		every = n
	}
	number := 0
	for _, gait := range []traj.Gait{traj.Trot, traj.Pace} {
		for _, limb := range []traj.Landmark{traj.RightFore, traj.LeftHind, traj.LeftFore, traj.RightHind, ""} {
			number++
			if (number-1)%every != 0 {
				continue
			}
			name := fmt.Sprintf("%s %s", gait, limb)
			var runs []metrics.Run
			for _, view := range []traj.View{traj.Toward, traj.Away} {
				s := lane(uint64(500+number), view)
				s.Gait, s.Asymmetry = gait, scene.OneLimb(limb)
				_, result, _ := filmed(t, t.TempDir(), string(view)+"-1", s)
				runs = append(runs, result.Run)
				judgeLimb(t, name+", "+string(view), limb, result.Summary.Limb)
			}
			both, err := metrics.Summarise(runs, metrics.SummaryOptions{})
			if err != nil {
				t.Fatal(err)
			}
			judgeLimb(t, name+", both", limb, both.Limb)
		}
	}
}

func judgeLimb(t *testing.T, name string, limb traj.Landmark, f metrics.LimbFinding) {
	t.Helper()
	t.Logf("%-26s %s", name, f.Sentence)
	if limb == "" {
		if f.Limb != "" || f.Undecided {
			t.Errorf("%s: an even horse was said to be uneven", name)
		}
		return
	}
	if f.Limb != "" && f.Limb != limb {
		t.Errorf("%s: a wrong limb is named", name)
	}
	if other := string(limb.Opposite().Side()); strings.HasPrefix(f.Sentence, "signs point to the "+other) {
		t.Errorf("%s: the wrong side", name)
	}
}
