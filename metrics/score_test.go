package metrics

import (
	"math/rand/v2"
	"testing"

	"jogstrip/metrics/stats"
	"jogstrip/track/traj"
)

// TestTooLittleSeen: what a page takes for too little is the finding that says so, and no other.
func TestTooLittleSeen(t *testing.T) {
	wide := measured{def: defined[HeadLowDifference], tolerance: Tolerance{Tolerance: 13}, wide: stats.MeanEstimate{Low: -90, High: 90}}
	little := noSide(girdleSigns{signs: []sign{{m: wide, p: 1}}}, girdleSigns{})
	if said := little.said(); !TooLittleSeen(said.Sentence) || said.Even {
		t.Errorf("%q", said.Sentence)
	}
	runs, _ := evenHorse().runs(rand.New(rand.NewPCG(3, 1)), traj.Trot, passes(4, 4), 15)
	found := mustSummarise(t, runs)
	if TooLittleSeen(found.Limb.Sentence) || !(&Comparison{Before: *found, After: *found}).Scored() {
		t.Errorf("%q", found.Limb.Sentence)
	}
}
