package pipeline

import "testing"

// TestNoTreatmentIsNone: what says that nothing was done has no sign in a figure.
func TestNoTreatmentIsNone(t *testing.T) {
	for what, none := range map[string]bool{
		"none": true, "None; exercises go on": true, " none, rest": true, "none.": true,
		"massage": false, "nonesuch oil": false, "massage, none on the left": false, "": false,
	} {
		if noTreatment(what) != none {
			t.Errorf("%q: %v, want %v", what, !none, none)
		}
	}
}
