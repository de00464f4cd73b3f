package signal

// Peaks returns the indices of the local maxima of x: samples higher than what
// is on both sides of them; of a flat top the middle (rounded down). Ends are
// not peaks.
func Peaks(x []float64) []int {
	var out []int
	for i := 1; i < len(x)-1; i++ {
		if !(x[i] > x[i-1]) {
			continue
		}
		j := i
		for j+1 < len(x) && x[j+1] == x[i] {
			j++
		}
		if j+1 < len(x) && x[j+1] < x[i] {
			out = append(out, (i+j)/2)
		}
		i = j
	}
	return out
}

// RefinePeak returns position and height of the vertex of the parabola through
// sample i of x and its neighbours; the position is in samples.
func RefinePeak(x []float64, i int) (at, height float64) {
	a, b, c := x[i-1], x[i], x[i+1]
	d := a - 2*b + c
	if d == 0 {
		return float64(i), b
	}
	s := (a - c) / (2 * d)
	return float64(i) + s, b - (a-c)*s/4
}
