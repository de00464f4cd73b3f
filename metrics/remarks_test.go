package metrics

import (
	"strings"
	"testing"

	"jogstrip/metrics/contact"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// TestOnlyTimesThatAreMissingAreRemarked: what could not be timed is said, and no number is 0.
func TestOnlyTimesThatAreMissingAreRemarked(t *testing.T) {
	timed, noLanding, noLeaving := contact.Stance{}, contact.Stance{OnSD: -1}, contact.Stance{OffSD: -1}
	for _, c := range []struct {
		stances []contact.Stance
		says    string // Empty: nothing.
	}{
		{[]contact.Stance{timed, noLeaving}, "seen, 1 could not be timed as the hoof left the ground ("},
		{[]contact.Stance{noLanding, noLanding}, "seen, 2 could not be timed as the hoof landed ("},
		{[]contact.Stance{noLanding, noLeaving}, "seen, 1 could not be timed as the hoof landed and 1 as it left the ground ("},
		{[]contact.Stance{timed}, ""},
	} {
		a := &analysis{Timeline: &contact.Timeline{}, set: &traj.Set{}}
		a.Stances[0] = c.stances
		a.remarkOnTimes()
		said := strings.Join(a.notes, " ")
		if !strings.Contains(said, c.says) || strings.Contains(said, " 0 could") || strings.Contains(said, "could not be timed") != (c.says != "") {
			t.Errorf("%+v: %q does not say %q", c.stances, said, c.says)
		}
	}
}

// TestTheShareOfFewStridesIsNotTold: two strides do not show by how much the share differs.
func TestTheShareOfFewStridesIsNotTold(t *testing.T) {
	for _, c := range []struct {
		strides int
		told    bool
	}{{2, false}, {3, true}} {
		h := sound()
		h.strides = c.strides
		o := h.options()
		o.Calibration = geometry.CalibrationInput{}
		run, err := Measure(h.tracks(), o)
		if err != nil {
			t.Fatal(err)
		}
		s := run.Lookup(HeadHarmonicShare)
		if len(run.Strides) != c.strides {
			t.Fatalf("%d strides, want %d", len(run.Strides), c.strides)
		}
		if told := len(s.Observations) > 0; told != c.told || !told && !strings.Contains(s.Reason, "fewer than 3 whole strides") {
			t.Errorf("%d strides: %d shares, reason %q", len(run.Strides), len(s.Observations), s.Reason)
		}
	}
}
