package metrics

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The contact times that the walking trials are compared with, read anew from
// the force plates themselves: the first and last sample of a run of 0.2 s or more in
// which the vertical force on a plate is above 20 N. The last foot of each trial
// still stands when the recording ends, which is no leaving: the comparison leaves
// out what lies within 0.1 s of the end.
func TestPlateTimesAreThoseOfTheForces(t *testing.T) {
	dir := os.Getenv("JOGSTRIP_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared")
	}
	for name, want := range plateTimes {
		file, err := os.Open(filepath.Join(dir, "data", "walk", name+".forces"))
		if err != nil {
			t.Skipf("SKIPPED, contact times are not read from the force plates: %v", err)
		}
		defer file.Close()
		const rate, least = 450.0, 20.0
		var vertical [][]float64 // Index: plate, sample. N.
		var columns []int
		sc := bufio.NewScanner(file)
		sc.Buffer(nil, 1<<20)
		for sc.Scan() {
			f := strings.Split(strings.TrimSpace(sc.Text()), "\t")
			if f[0] == "#Sample" {
				for i, n := range f {
					if strings.HasPrefix(n, "FY") { // Y is up.
						columns = append(columns, i)
					}
				}
				vertical = make([][]float64, len(columns))
				continue
			}
			if columns == nil {
				continue
			}
			for k, i := range columns {
				v, err := strconv.ParseFloat(f[i], 64)
				if err != nil {
					t.Fatalf("%s, sample %s: %v", name, f[0], err)
				}
				vertical[k] = append(vertical[k], math.Abs(v))
			}
		}
		if err := sc.Err(); err != nil {
			t.Fatal(err)
		}
		var found [][2]float64
		for _, x := range vertical {
			for i := 0; i < len(x); i++ {
				if x[i] < least {
					continue
				}
				e := i
				for e+1 < len(x) && x[e+1] >= least {
					e++
				}
				if i > 0 && float64(e-i)/rate > 0.2 { // Not what the trial begins with.
					found = append(found, [2]float64{float64(i) / rate, float64(e) / rate})
				}
				i = e
			}
		}
		slices.SortFunc(found, func(a, b [2]float64) int { return int(math.Copysign(1, a[0]-b[0])) })
		t.Logf("%s: %.3f", name, found)
		for _, w := range want {
			if !slices.ContainsFunc(found, func(g [2]float64) bool {
				return math.Abs(g[0]-w[0]) < 0.005 && math.Abs(g[1]-w[1]) < 0.005
			}) {
				t.Errorf("%s: no plate is loaded from %.3f to %.3f s", name, w[0], w[1])
			}
		}
	}
}
