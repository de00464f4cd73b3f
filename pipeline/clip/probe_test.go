package clip

import "testing"

func TestHeld(t *testing.T) {
	for _, tt := range []struct {
		name  string
		order []float64 // Places in the order of showing, in the order of decoding.
		want  int
	}{
		{"no B-frames", []float64{0, 1, 2, 3}, 0},
		{"IBBP", []float64{0, 3, 1, 2, 6, 4, 5}, 1},
		{"a B-frame others refer to", []float64{0, 4, 2, 1, 3, 8, 6, 5, 7}, 2},
		{"one picture", []float64{0}, 0},
		{"none", nil, 0},
		{"a clock that jumps back", append(counted(100, 40), counted(0, 40)...), mostHeld},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := held(tt.order); got != tt.want {
				t.Errorf("held back %d, want %d", got, tt.want)
			}
		})
	}
}

func counted(from, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(from + i)
	}
	return out
}
