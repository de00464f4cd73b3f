package signal

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

// head is the closed form z(t) = A1·cos(ωt + p) + A2·cos(2ωt) with A1 < 4·A2.
// Its extremes are known: for p = 90° the minima differ by 2·A1 and the maxima
// are equal at A2 + A1²/(8·A2); for p = 0 the other way round.
func TestClosedFormHead(t *testing.T) {
	const a1, a2, period = 10.0, 30.0, 0.72
	for _, w := range []struct {
		p          float64
		lows, tops [2]float64
	}{
		{90, [2]float64{-40, -20}, [2]float64{30.416667, 30.416667}},
		{0, [2]float64{-30.416667, -30.416667}, [2]float64{40, 20}},
		{45, [2]float64{-37.267800, -23.150324}, [2]float64{37.267800, 23.150324}},
	} {
		for _, fps := range []float64{25, 30, 59.94, 240} {
			var ts, zs, sds []float64
			for i := 0; float64(i)/fps < period; i++ {
				x := float64(i)/fps + 0.003
				if x >= period {
					break
				}
				ts = append(ts, x)
				zs = append(zs, 500+a1*math.Cos(2*math.Pi*x/period+w.p*math.Pi/180)+a2*math.Cos(4*math.Pi*x/period))
				sds = append(sds, 1)
			}
			h := FitHarmonics(ts, zs, sds, 0, period)
			if h == nil {
				t.Fatal("not fitted")
			}
			mean, _ := h.Mean()
			near(t, "mean", mean, 500, 1e-9)
			amp, _ := h.Amplitude(1)
			near(t, "A1", amp, a1, 1e-9)
			near(t, "phase", phase(h, 1), w.p*math.Pi/180, 1e-9)
			amp, _ = h.Amplitude(2)
			near(t, "A2", amp, a2, 1e-9)
			// The two low points lie near a quarter and three quarters, the tops near 0 and a half.
			_, l0, ok0 := h.Lowest(0.05*period, 0.5*period)
			_, l1, ok1 := h.Lowest(0.5*period, 0.95*period)
			_, h0, ok2 := h.Highest(-0.25*period, 0.25*period)
			_, h1, ok3 := h.Highest(0.25*period, 0.75*period)
			if !ok0 || !ok1 || !ok2 || !ok3 {
				t.Fatal("an extreme is not local")
			}
			near(t, "first low", l0-500, w.lows[0], 1e-6)
			near(t, "second low", l1-500, w.lows[1], 1e-6)
			near(t, "first top", h0-500, w.tops[0], 1e-6)
			near(t, "second top", h1-500, w.tops[1], 1e-6)
		}
	}
}

// The spreads that the fit states are those of its results over many noises.
func TestHarmonicsSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 3))
	const n, noise = 2000, 2.0
	var amps, diffs []float64
	var ampSD, diffSD float64
	for range n {
		var ts, zs, sds []float64
		for i := range 40 {
			x := float64(i) / 55
			ts, sds = append(ts, x), append(sds, noise)
			zs = append(zs, 10*math.Cos(2*math.Pi*x/0.73)+30*math.Cos(4*math.Pi*x/0.73)+noise*r.NormFloat64())
		}
		h := FitHarmonics(ts, zs, sds, 0, 0.73)
		if h == nil {
			t.Fatal("not fitted")
		}
		a, aSD := h.Amplitude(1)
		v1, _ := h.At(0.55)
		v0, _ := h.At(0.18)
		amps, diffs = append(amps, a), append(diffs, v1-v0)
		ampSD, diffSD = aSD, h.DifferenceSD(0.55, 0.18)
	}
	near(t, "spread of the amplitude", sd(amps), ampSD, 0.06*ampSD)
	near(t, "spread of a difference", sd(diffs), diffSD, 0.06*diffSD)
}

// Wherever a period is cut, its lowest and its highest point lie in it, also just behind the
// beginning or before the end.
func TestExtremesOfAPeriodWhereverItIsCut(t *testing.T) {
	var ts, zs, sds []float64
	for i := range 100 {
		x := float64(i) / 100
		ts, sds = append(ts, x), append(sds, 1)
		zs = append(zs, 10*math.Cos(2*math.Pi*x)+4*math.Cos(4*math.Pi*x+1))
	}
	h := FitHarmonics(ts, zs, sds, 0, 1)
	low, high := math.Inf(1), math.Inf(-1)
	for i := range 100000 {
		v, _ := h.At(float64(i) / 100000)
		low, high = min(low, v), max(high, v)
	}
	for cut := 0.0; cut < 1; cut += 0.003 {
		_, l, _ := h.Lowest(cut, cut+1)
		_, u, _ := h.Highest(cut, cut+1)
		near(t, fmt.Sprintf("lowest, cut at %.3f", cut), l, low, 1e-6)
		near(t, fmt.Sprintf("highest, cut at %.3f", cut), u, high, 1e-6)
	}
}

// phase returns the phase of harmonic k: its part is amplitude·cos(k·a + phase).
func phase(h *Harmonics, k int) float64 {
	return math.Atan2(-h.Coefficients[2*k], h.Coefficients[2*k-1])
}

func sd(x []float64) float64 {
	var m, v float64
	for _, a := range x {
		m += a / float64(len(x))
	}
	for _, a := range x {
		v += (a - m) * (a - m) / float64(len(x)-1)
	}
	return math.Sqrt(v)
}

func TestFitHarmonicsRefuses(t *testing.T) {
	var ts, zs, sds []float64
	for i := range 40 {
		ts, zs, sds = append(ts, float64(i)/50), append(zs, 1), append(sds, 1)
	}
	if FitHarmonics(ts[:8], zs[:8], sds[:8], 0, 0.8) != nil {
		t.Error("8 samples are accepted")
	}
	if FitHarmonics(ts[:20], zs[:20], sds[:20], 0, 0.8) != nil {
		t.Error("half a period is accepted")
	}
	zs[3] = math.NaN()
	if FitHarmonics(ts, zs, sds, 0, 0.8) != nil {
		t.Error("NaN is accepted")
	}
	if FitHarmonics(ts, zs, sds, 0, 0) != nil {
		t.Error("a period of 0 is accepted")
	}
}

func TestSmoothingSpline(t *testing.T) {
	ts := []float64{0, 0.5, 1.5, 2, 3.1, 4}
	line := []float64{1, 2, 4, 5, 7.2, 9}
	for _, lambda := range []float64{0, 1e-3, 1, 1e6} {
		s, err := SmoothingSpline(ts, line, nil, lambda)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []float64{-2, 0, 0.7, 3.9, 4, 6} {
			near(t, "line", s.At(x), 1+2*x, 1e-6)
		}
	}
	wild := []float64{0, 1, -1, 2, 0, 5}
	s, err := SmoothingSpline(ts, wild, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range ts {
		v := s.At(ts[i])
		near(t, "interpolation", v, wild[i], 1e-12)
	}
	if s, err = SmoothingSpline(ts, wild, nil, 1e12); err != nil {
		t.Fatal(err)
	}
	for _, x := range []float64{-1, 0.3, 1, 3, 6} {
		near(t, "a straight line's bend", s.At(x-0.5)-2*s.At(x)+s.At(x+0.5), 0, 1e-9)
	}
	for _, bad := range []func() error{
		func() error { _, err := SmoothingSpline(ts[:2], wild[:2], nil, 1); return err },
		func() error { _, err := SmoothingSpline(ts, wild, nil, -1); return err },
		func() error { _, err := SmoothingSpline([]float64{0, 0, 1}, wild[:3], nil, 1); return err },
		func() error { _, err := SmoothingSpline(ts[:3], []float64{0, math.NaN(), 1}, nil, 1); return err },
		func() error { _, err := SmoothingSpline(ts[:3], wild[:3], []float64{1, 0, 1}, 1); return err },
	} {
		if bad() == nil {
			t.Error("a bad series is accepted")
		}
	}
}

func TestMedian(t *testing.T) {
	near(t, "median", Median([]float64{3, 1, 2, 10}), 2.5, 0)
	near(t, "quantile", Quantile([]float64{0, 1, 2, 3, 4}, 0.3), 1.2, 1e-12)
	if !math.IsNaN(Median(nil)) {
		t.Error("nothing has a median")
	}
	near(t, "robust spread", RobustSD([]float64{1, 2, 3, 4, 100}), 1.4826, 1e-12)
}

// Everything SciPy has too is compared with SciPy, run here.
func TestAgainstSciPy(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import scipy, numpy").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED, not compared with SciPy (Debian: python3-scipy): %v: %s", err, strings.TrimSpace(string(out)))
	}
	r := rand.New(rand.NewPCG(5, 6))
	const n = 200
	x, ts, w := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		ts[i] = 0.01*float64(i) + 0.004*r.Float64()
		w[i] = 0.5 + r.Float64()
		x[i] = math.Sin(9*ts[i]) + 0.3*r.NormFloat64()
	}
	probe := []float64{0.011, 0.4, 0.987, 1.5, 1.97}
	in, err := json.Marshal(map[string]any{"x": x, "t": ts, "w": w, "probe": probe, "lam": 1e-5, "fft": x[:128]})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", `
import json, sys, numpy as np
from scipy import interpolate, stats
q = json.load(sys.stdin)
x, t, w, p = (np.array(q[k]) for k in ('x', 't', 'w', 'probe'))
sp = interpolate.make_smoothing_spline(t, x, w, lam=q['lam'])
nat = interpolate.CubicSpline(t, x, bc_type='natural')
c = np.fft.rfft(q['fft']) * 2 / len(q['fft'])
print(json.dumps(dict(sp=sp(p).tolist(),
  nat=nat(p).tolist(), amp=np.abs(c[1:4]).tolist(), ang=np.angle(c[1:4]).tolist(),
  med=float(np.median(x)), q=float(np.quantile(x, 0.3)), mad=float(stats.median_abs_deviation(x)))))
`)
	cmd.Stdin = strings.NewReader(string(in))
	raw, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("%v: %s", err, exit.Stderr)
		}
		t.Fatal(err)
	}
	var want struct {
		SP, Nat, Amp, Ang []float64
		Med, Q, MAD       float64
	}
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatal(err)
	}
	sp, err := SmoothingSpline(ts, x, w, 1e-5)
	if err != nil {
		t.Fatal(err)
	}
	exact, _ := SmoothingSpline(ts, x, nil, 0)
	for i, p := range probe {
		near(t, "spline", sp.At(p), want.SP[i], 1e-8)
		near(t, "natural spline", exact.At(p), want.Nat[i], 1e-9)
	}
	at, ones := make([]float64, 128), make([]float64, 128)
	for i := range at {
		at[i], ones[i] = float64(i), 1
	}
	h := FitHarmonics(at, x[:128], ones, 0, 128)
	if h == nil {
		t.Fatal("not fitted")
	}
	for k := 1; k <= 3; k++ {
		a, _ := h.Amplitude(k)
		near(t, "Fourier amplitude", a, want.Amp[k-1], 1e-12)
		near(t, "Fourier phase", phase(h, k), want.Ang[k-1], 1e-10)
	}
	near(t, "median", Median(x), want.Med, 1e-15)
	near(t, "quantile", Quantile(x, 0.3), want.Q, 1e-12)
	near(t, "median absolute deviation", RobustSD(x)/1.4826, want.MAD, 1e-12)
}

// Pezzack, Norman & Winter 1977, as reprinted by Vint & Hinrichs 1996 (J Biomech
// 29:1637–1642): displacement, the same with noise, and the acceleration
// measured directly. Differentiating the noisy displacement twice must come
// back to the measured acceleration.
func TestPezzack(t *testing.T) {
	ts, noisy, accel := readPezzack(t)
	rms := func(get func(i int) float64) float64 {
		var s, n float64
		// The ends are left out: nothing after them tells the acceleration.
		for i := 8; i < len(ts)-8; i++ {
			d := get(i) - accel[i]
			s += d * d
			n++
		}
		return math.Sqrt(s / n)
	}
	rate := 1 / (ts[1] - ts[0])
	// Half of what goes to and fro 4.5 times a second is followed.
	sp, err := SmoothingSpline(ts, noisy, nil, rate*math.Pow(1/(2*math.Pi*4.5), 4))
	if err != nil {
		t.Fatal(err)
	}
	second := func(x []float64) func(int) float64 {
		return func(i int) float64 { return (x[i+1] - 2*x[i] + x[i-1]) * rate * rate }
	}
	raw := rms(second(noisy))
	const h = 1e-4
	filtered := rms(func(i int) float64 { return (sp.At(ts[i]+h) - 2*sp.At(ts[i]) + sp.At(ts[i]-h)) / (h * h) })
	var size float64
	for _, a := range accel {
		size += a * a / float64(len(accel))
	}
	t.Logf("measured acceleration %.1f rad/s² rms; error of the twice differentiated noisy angle: raw %.1f, smoothed at 4.5 Hz %.2f", math.Sqrt(size), raw, filtered)
	if !(filtered < 0.25*math.Sqrt(size)) || !(raw > 3*filtered) {
		t.Error("smoothing does not bring the acceleration back")
	}
}

func readPezzack(t *testing.T) (ts, noisy, accel []float64) {
	t.Helper()
	dir := os.Getenv("JOGSTRIP_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared")
	}
	file, err := os.Open(filepath.Join(dir, "data", "walk", "Pezzack.txt"))
	if err != nil {
		t.Skipf("SKIPPED, no smoothing of measured data: %v", err)
	}
	defer file.Close()
	for sc := bufio.NewScanner(file); sc.Scan(); {
		f := strings.Fields(sc.Text())
		if len(f) != 4 {
			continue
		}
		var v [4]float64
		ok := true
		for i := range f {
			v[i], err = strconv.ParseFloat(f[i], 64)
			ok = ok && err == nil
		}
		if ok {
			ts, noisy, accel = append(ts, v[0]), append(noisy, v[2]), append(accel, v[3])
		}
	}
	if len(ts) < 100 {
		t.Fatalf("only %d rows of data", len(ts))
	}
	return ts, noisy, accel
}
