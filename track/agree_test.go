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
	steps := chain{index: []int{0, 1, 2, 3, 4, 5, 6}, side: []int{0, 1, 0, 1, 0, 1, 0}, beat: []int{0, 1, 2, 3, 4, 5, 6}}
	for _, tt := range []struct {
		name  string
		rival chain
		kept  []int
	}{
		{"the same", steps, []int{0, 1, 2, 3, 4, 5, 6}},
		{"the same, counted from a later one", chain{index: []int{2, 3, 4}, side: []int{0, 1, 0}, beat: []int{0, 1, 2}}, []int{0, 1, 2, 3, 4, 5, 6}},
		{"another side at the end", chain{index: []int{0, 1, 2, 3, 4, 6}, side: []int{0, 1, 0, 1, 0, 1}, beat: []int{0, 1, 2, 3, 4, 7}}, []int{0, 1, 2, 3, 4}},
		{"another stance at the end, and so another count", chain{index: []int{0, 1, 2, 3, 7, 6}, side: []int{0, 1, 0, 1, 0, 0}, beat: []int{0, 1, 2, 3, 4, 8}}, []int{0, 1, 2, 3}},
		{"half the step", chain{index: []int{0, 1, 2, 3, 4}, side: []int{0, 1, 0, 1, 0}, beat: []int{0, 3, 6, 9, 12}}, []int{1}},
		{"no stance in common", chain{index: []int{7}, side: []int{0}, beat: []int{0}}, []int{0, 1, 2, 3, 4, 5, 6}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := chain{index: slices.Clone(steps.index), side: slices.Clone(steps.side), beat: slices.Clone(steps.beat)}
			c.agree(&tt.rival, all)
			if !slices.Equal(c.index, tt.kept) {
				t.Errorf("keeps %v, want %v", c.index, tt.kept)
			}
		})
	}
}
