package traj

import "testing"

// The nearest frame of an instant: the ends beyond them, the later of two as near.
func TestNearest(t *testing.T) {
	times := []float64{0, 0.1, 0.25, 0.5}
	for _, tt := range []struct {
		at   float64
		want int
	}{{-1, 0}, {0, 0}, {0.04, 0}, {0.06, 1}, {0.375, 3}, {0.3, 2}, {0.5, 3}, {9, 3}} {
		if got := Nearest(times, tt.at); got != tt.want {
			t.Errorf("nearest to %v s: %d, want %d", tt.at, got, tt.want)
		}
	}
	if got := Nearest(nil, 1); got != -1 {
		t.Errorf("of no frames: %d, want -1", got)
	}
}
