package track

import (
	"slices"
	"testing"
)

// What another rhythm says otherwise that fits about as well is not told; what both say is.
func TestRhythmsAgree(t *testing.T) {
	// Index of marked: stance.
	marked := []bool{false, true, false, true, false, false, false, false}
	var all []*standing
	for _, m := range marked {
		s := &standing{marked: -1}
		if m {
			s.marked = 1
		}
		all = append(all, s)
	}
	steps := chain{of: []counted{{0, 0, 0}, {1, 1, 1}, {2, 0, 2}, {3, 1, 3}, {4, 0, 4}, {5, 1, 5}, {6, 0, 6}}}
	for _, tt := range []struct {
		name  string
		rival chain
		kept  []int
	}{
		{"the same", steps, []int{0, 1, 2, 3, 4, 5, 6}},
		{"the same, counted from a later one", chain{of: []counted{{2, 0, 0}, {3, 1, 1}, {4, 0, 2}}}, []int{0, 1, 2, 3, 4, 5, 6}},
		{"another side at the end", chain{of: []counted{{0, 0, 0}, {1, 1, 1}, {2, 0, 2}, {3, 1, 3}, {4, 0, 4}, {6, 1, 7}}}, []int{0, 1, 2, 3, 4}},
		{"another stance at the end, and so another count", chain{of: []counted{{0, 0, 0}, {1, 1, 1}, {2, 0, 2}, {3, 1, 3}, {7, 0, 4}, {6, 0, 8}}}, []int{0, 1, 2, 3}},
		{"half the step", chain{of: []counted{{0, 0, 0}, {1, 1, 3}, {2, 0, 6}, {3, 1, 9}, {4, 0, 12}}}, []int{1}},
		{"no stance in common", chain{of: []counted{{7, 0, 0}}}, []int{0, 1, 2, 3, 4, 5, 6}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := chain{of: slices.Clone(steps.of)}
			c.agree(&tt.rival, all)
			var kept []int
			for _, o := range c.of {
				kept = append(kept, o.index)
			}
			if !slices.Equal(kept, tt.kept) {
				t.Errorf("keeps %v, want %v", kept, tt.kept)
			}
		})
	}
}
