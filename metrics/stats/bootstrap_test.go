package stats

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
)

// SciPy's own bootstrap on the same data, run here and now. Both resample at
// random, so the ends agree to what 20,000 resamples allow: the standard error
// of a 2.5 % quantile is about 0.02 standard errors of the statistic.
func TestBootstrapAgainstSciPy(t *testing.T) {
	const python = "/usr/bin/python3"
	if _, err := os.Stat(python); err != nil {
		t.Skipf("SKIPPED: bootstrap is not checked against SciPy: %v (Debian package python3-scipy)", err)
	}
	if out, err := exec.Command(python, "-c", "import scipy.stats; scipy.stats.bootstrap").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED: bootstrap is not checked against SciPy: %v\n%s(Debian package python3-scipy)", err, out)
	}
	const script = `
import json, sys
import numpy as np
from scipy.stats import bootstrap
d = json.load(sys.stdin)
out = []
for method in ("percentile", "BCa"):
    r = bootstrap((np.array(d["x"]),), np.mean if d["statistic"] == "mean" else (lambda x, axis=-1: np.std(x, axis=axis, ddof=1)),
                  n_resamples=20000, method=method, random_state=1)
    out += [r.confidence_interval.low, r.confidence_interval.high, r.standard_error]
json.dump(out, sys.stdout)
`
	rng := rand.New(rand.NewPCG(4, 2))
	normal := make([]float64, 25)
	skewed := make([]float64, 15)
	for i := range normal {
		normal[i] = 12 + 4*rng.NormFloat64()
	}
	for i := range skewed {
		skewed[i] = math.Exp(rng.NormFloat64())
	}
	for _, c := range []struct {
		name, statistic string
		x               []float64
	}{
		{"mean of normal values", "mean", normal},
		{"mean of skewed values", "mean", skewed},
		{"SD of normal values", "sd", normal},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, err := json.Marshal(map[string]any{"x": c.x, "statistic": c.statistic})
			if err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(python, "-c", script)
			stdin, err := cmd.StdinPipe()
			if err != nil {
				t.Fatal(err)
			}
			go func() {
				defer stdin.Close()
				_, _ = stdin.Write(in)
			}()
			b, err := cmd.Output()
			if err != nil {
				t.Fatalf("run scipy: %v", err)
			}
			var want [6]float64
			if err := json.Unmarshal(b, &want); err != nil {
				t.Fatal(err)
			}
			statistic := Mean
			if c.statistic == "sd" {
				statistic = SD
			}
			p, bca, err := Bootstrap(c.x, statistic, 20000, 1)
			if err != nil {
				t.Fatal(err)
			}
			got := [6]float64{p.Low, p.High, p.SE, bca.Low, bca.High, bca.SE}
			for i, name := range []string{"percentile low", "percentile high", "SE", "BCa low", "BCa high", "SE"} {
				if math.Abs(got[i]-want[i]) > 0.12*want[2] {
					t.Errorf("%s = %.4f, SciPy %.4f", name, got[i], want[i])
				}
			}
			if math.Abs(got[2]/want[2]-1) > 0.03 {
				t.Errorf("SE = %.4f, SciPy %.4f", got[2], want[2])
			}
		})
	}
}

func TestBootstrapIsDeterministic(t *testing.T) {
	x := []float64{3, 1, 4, 1, 5, 9, 2, 6}
	a, ab, _ := Bootstrap(x, Mean, 2000, 7)
	b, bb, _ := Bootstrap([]float64{9, 6, 5, 4, 3, 2, 1, 1}, Mean, 2000, 7)
	if a != b || ab != bb {
		t.Error("order of the input changes the interval")
	}
	if c, _, _ := Bootstrap(x, Mean, 2000, 8); c == a {
		t.Error("another seed gives the very same interval")
	}
}

func TestBootstrapErrors(t *testing.T) {
	if _, _, err := Bootstrap([]float64{1}, Mean, 100, 1); err == nil {
		t.Error("one value has an interval")
	}
	if _, _, err := Bootstrap([]float64{1, 2}, Mean, 1, 1); err == nil {
		t.Error("one resample gives an interval")
	}
	if _, _, err := Bootstrap([]float64{1, 2}, func([]float64) float64 { return math.NaN() }, 100, 1); err == nil {
		t.Error("a statistic that is not a number gives an interval")
	}
	if p, bca, err := Bootstrap([]float64{2, 2, 2}, Mean, 100, 1); err != nil || p.Low != 2 || bca.High != 2 {
		t.Errorf("equal values: %v %v %v", p, bca, err)
	}
}

// With strides alike within runs only the runs are drawn: the variance of the
// mean of three runs −1, 0, 1 is (2/3)/3. With runs alike only the strides
// are: ten of ±1 in each of three runs give 1/30.
func TestTwoLevelDrawsBothLevels(t *testing.T) {
	for _, c := range []struct {
		name   string
		values [][]float64
		want   float64
	}{
		{"runs", [][]float64{{-1, -1}, {0, 0}, {1, 1}}, math.Sqrt(2.0 / 9)},
		{"strides", [][]float64{{-1, 1, -1, 1, -1, 1, -1, 1, -1, 1}, {-1, 1, -1, 1, -1, 1, -1, 1, -1, 1}, {-1, 1, -1, 1, -1, 1, -1, 1, -1, 1}}, math.Sqrt(1.0 / 30)},
	} {
		t.Run(c.name, func(t *testing.T) {
			var groups []Group
			for _, v := range c.values {
				groups = append(groups, Group{Values: v})
			}
			i, err := TwoLevelPercentile(groups, 20000, 3)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(i.SE/c.want-1) > 0.03 {
				t.Errorf("SE %.4f, want %.4f", i.SE, c.want)
			}
		})
	}
}

func TestTwoLevelKeepsStrata(t *testing.T) {
	strata := []int{0, 0, 1, 1, 1}
	TwoLevel([]int{2, 3, 1, 4, 2}, strata, 200, 1, func(_ int, runs []int, drawn [][]int) {
		count := [2]int{}
		for k, r := range runs {
			count[strata[r]]++
			if len(drawn[k]) != []int{2, 3, 1, 4, 2}[r] {
				t.Fatalf("run %d has %d strides drawn", r, len(drawn[k]))
			}
		}
		if count != [2]int{2, 3} {
			t.Fatalf("%v runs of the strata, want 2 and 3", count)
		}
	})
}
