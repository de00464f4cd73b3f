//go:build matprofile

package track_test

import (
	"testing"

	"gocv.io/x/gocv"

	"jogstrip/track/traj"
)

func TestEveryMatIsClosed(t *testing.T) {
	m := approach(12)
	run(t, m, markAt(m, 0, 0, traj.Head))
	if n := gocv.MatProfile.Count(); n != 0 {
		t.Errorf("%d Mats are still open", n)
	}
}
