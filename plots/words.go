package plots

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

// meanInterval returns the mean of the finite values of v with its 95 %
// interval from Student's t, and how many there are. The bounds are NaN for
// fewer than two values, the mean for none.
func meanInterval(v []float64) (mean, low, high float64, n int) {
	var ok []float64
	for _, x := range v {
		if finite(x) {
			ok = append(ok, x)
		}
	}
	n = len(ok)
	switch n {
	case 0:
		return math.NaN(), math.NaN(), math.NaN(), 0
	case 1:
		return ok[0], math.NaN(), math.NaN(), 1
	}
	mean, sd := stat.MeanStdDev(ok, nil)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile(0.975)
	half := t * sd / math.Sqrt(float64(n))
	return mean, mean - half, mean + half, n
}

// meansOf returns, at each of so many samples, the mean of several series with its interval
// as meanInterval gives it. Index of series: series, sample.
func meansOf(series [][]float64, samples int) (mean, low, high []float64) {
	for i := range samples {
		var v []float64
		for _, x := range series {
			v = append(v, x[i])
		}
		m, l, h, _ := meanInterval(v)
		mean, low, high = append(mean, m), append(low, l), append(high, h)
	}
	return mean, low, high
}

// estimateText writes an estimate as "12 mm (95 % interval 4 to 20)", with the decimals that
// its interval supports.
func estimateText(e metrics.Estimate, unit string, decimals int) string {
	if !finite(e.Low, e.High) {
		return withUnit(number(e.Value, decimals), unit) + " (no interval)"
	}
	decimals = e.Decimals(decimals)
	return fmt.Sprintf("%s (95 %% interval %s to %s)",
		withUnit(number(e.Value, decimals), unit), number(e.Low, decimals), number(e.High, decimals))
}

// shortText writes an estimate as "12 (4 to 20)".
func shortText(e metrics.Estimate, decimals int) string {
	if !finite(e.Low, e.High) {
		return number(e.Value, decimals)
	}
	decimals = e.Decimals(decimals)
	return fmt.Sprintf("%s (%s to %s)", number(e.Value, decimals), number(e.Low, decimals), number(e.High, decimals))
}

func withUnit(v, unit string) string {
	switch unit {
	case "":
		return v
	case "°":
		return v + unit
	}
	return v + " " + unit
}

// titleOf returns a measure's title, and its name where it has no definition.
func titleOf(n metrics.Name) string {
	if d, ok := metrics.Define(n); ok {
		return d.Title
	}
	return string(n)
}

// decimalsOf returns how many decimals a measure is shown with in unit.
func decimalsOf(n metrics.Name, unit string) int {
	if d, ok := metrics.Define(n); ok && d.Unit == unit {
		return d.Decimals
	}
	return 1
}

// count writes "1 stride", "4 strides".
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}

// girdles are the pairs of limbs and what tells where they land.
var girdles = [2]struct {
	girdle     metrics.Girdle
	step, base metrics.Name
}{{metrics.Fore, metrics.StepLengthFore, metrics.BaseWidthFore}, {metrics.Hind, metrics.StepLengthHind, metrics.BaseWidthHind}}

// girdleHooves returns the left and right hoof of a girdle.
func girdleHooves(g metrics.Girdle) (left, right traj.Landmark) {
	if g == metrics.Hind {
		return traj.LeftHind, traj.RightHind
	}
	return traj.LeftFore, traj.RightFore
}

// lengthUnit returns the unit of lane lengths at a calibration level.
func lengthUnit(l geometry.Level) string {
	if l == geometry.LevelRatio {
		return "camera heights"
	}
	return "m"
}

// where adds the view and gait of a run to a note.
func where(r *metrics.Run) string {
	if r.View == traj.Away {
		return string(r.Gait) + ", filmed going away from the camera"
	}
	return string(r.Gait) + ", filmed coming toward the camera"
}

// capital writes the first letter large.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
