package metrics

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// The model of a run, written anew from its description in MEASURES.md and fitted by
// SciPy: other code for the covariance (the advance's wander by numerical integration of
// its Wiener process), for the likelihood (by the determinant and the inverse) and
// another optimiser give the same variances, step difference and standard errors.
const fitWithSciPy = `
import json, sys, numpy as np
from scipy.optimize import minimize
q = json.load(sys.stdin)
n = len(q['beat'])
beat = np.array(q['beat']); limb = np.array(q['limb'])
y = np.array(q['y']); X = np.array(q['x']); J = np.array(q['jacobian']); sd = np.array(q['sd'])
camera = np.array(q['camera']).reshape(2*n, -1); O = np.array(q['offsets']); across = np.array(q['across']); down = np.array(q['down'])
mean, doubt = np.array(q['mean']), np.array(q['doubt'])
u = np.linspace(beat.min(), beat.max(), 8001)
du = u[1] - u[0]; mid = u[:-1] + du/2
reach = np.maximum(beat[:, None] - mid[None, :], 0)
K = reach @ reach.T * du
def parts(theta):
    a, l, s, share, click = np.exp(theta)
    V = camera @ camera.T
    V[0::2, 0::2] += s**2 * K
    for i in range(n):
        V[2*i:2*i+2, 2*i:2*i+2] += J[i] @ np.diag((share*sd[i])**2) @ J[i].T + np.diag([a**2, l**2])
        for j in range(n):
            V[2*i:2*i+2, 2*j:2*j+2] += click**2 * O[i].T @ np.diag([across[i, j], down[i, j]]) @ O[j]
    return V
def fit(theta):
    V = parts(theta); W = np.linalg.inv(V); A = X.T @ W @ X
    b = np.linalg.solve(A, X.T @ W @ y); r = y - X @ b
    value = np.linalg.slogdet(V)[1] + np.linalg.slogdet(A)[1] + r @ W @ r + np.sum(((theta - mean)/doubt)**2)
    return value, W, A, b, r
best = minimize(lambda t: fit(t)[0], mean, method='Powell', options=dict(xtol=1e-6, ftol=1e-10, maxiter=20000))
value, W, A, b, r = fit(best.x)
a = np.exp(best.x[0])
c = np.zeros(X.shape[1]); c[q['right']] = 2; c[q['left']] = -2
# Of the run: with the mean of its own strides.
g = np.zeros(2*n)
for k, w in ((0, -2), (1, 2)):
    i = np.where(limb == k)[0]
    g[2*i] = w/len(i)
G = a**2 * g
est = c @ b + G @ W @ r
d = c - X.T @ W @ G
var = a**2 * g @ g - G @ W @ G + d @ np.linalg.solve(A, d)
print(json.dumps(dict(theta=list(best.x), value=value, horse=c @ b, horse_se=float(np.sqrt(c @ np.linalg.solve(A, c))), run=est, run_se=float(np.sqrt(var)))))
`

func TestAgainstAMixedModelFittedWithSciPy(t *testing.T) {
	const python = "/usr/bin/python3"
	if out, err := exec.Command(python, "-c", "import scipy, numpy").CombinedOutput(); err != nil {
		t.Skipf("SKIPPED, the model of a run is not compared with SciPy (Debian: python3-scipy; scripts/setup test installs it): %v: %s", err, strings.TrimSpace(string(out)))
	}
	setUps := []setUp{{height: 2, strides: 5, trackSD: 0.3}}
	if Thorough {
		setUps = append(setUps, setUp{height: 1.2})
	}
	for _, u := range setUps {
		w := walk(t, rand.New(rand.NewPCG(3, 9)), u, 0.05)
		f := w.fit()
		if f == nil {
			t.Fatal("no fit")
		}
		for i, worse := range f.worse {
			if worse != 1 {
				t.Fatalf("footfall %d counts for less: take another run", i)
			}
		}
		n := len(f.falls)
		in := map[string]any{"mean": f.priors(), "doubt": []float64{f.prior.Run.Doubt, f.prior.Run.Doubt, f.prior.Run.Doubt, f.prior.Run.Doubt, f.prior.Click.Doubt}, "left": f.limbs[0], "right": f.limbs[1], "jacobian": f.jacobian, "offsets": f.offsets}
		var beat []float64
		var limb []int
		var sd [][2]float64
		var x, across, down [][]float64
		var y, camera []float64
		_, columns := f.x.Dims()
		_, directions := f.cameras.Dims()
		for i, p := range f.falls {
			beat, limb, sd = append(beat, p.beat), append(limb, p.limb), append(sd, p.sd)
			across, down = append(across, make([]float64, n)), append(down, make([]float64, n))
			for j := range n {
				across[i][j], down[i][j] = f.shared[0].At(i, j), f.shared[1].At(i, j)
			}
		}
		for r := range 2 * n {
			y = append(y, f.y.AtVec(r))
			var row []float64
			for c := range columns {
				row = append(row, f.x.At(r, c))
			}
			x = append(x, row)
			for c := range directions {
				camera = append(camera, f.cameras.At(r, c))
			}
		}
		in["beat"], in["limb"], in["sd"], in["x"], in["across"], in["down"], in["y"], in["camera"] = beat, limb, sd, x, across, down, y, camera
		b, err := json.Marshal(in)
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(python, "-c", fitWithSciPy)
		cmd.Env = append(os.Environ(), "OPENBLAS_NUM_THREADS=1")
		cmd.Stdin = strings.NewReader(string(b))
		raw, err := cmd.Output()
		if err != nil {
			var exit *exec.ExitError
			if errors.As(err, &exit) {
				t.Fatalf("%v: %s", err, exit.Stderr)
			}
			t.Fatal(err)
		}
		var want struct {
			Theta                               []float64
			Value, Horse, Horse_SE, Run, Run_SE float64
		}
		if err := json.Unmarshal(raw, &want); err != nil {
			t.Fatal(err)
		}
		// At SciPy's own variances both must agree to the last digits that its numerical
		// integration leaves, and the optimisers on the likelihood to hundredths.
		mine := f.at(f.theta).value
		if mine > want.Value+0.1 {
			t.Errorf("%+v: −2·log likelihood %.4f, SciPy finds %.4f", u, mine, want.Value)
		}
		f.stretch = 1
		own, ownSE := f.stepDifference(ofRun)
		horse, horseSE := f.stepDifference(ofHorse)
		for _, v := range [][3]float64{{own, want.Run, 0.15}, {ownSE, want.Run_SE, 0.15}, {horse, want.Horse, 0.15}, {horseSE, want.Horse_SE, 0.15}} {
			if math.Abs(v[0]-v[1]) > v[2]*want.Run_SE {
				t.Errorf("%+v: %.5f m, SciPy %.5f", u, v[0], v[1])
			}
		}
		copy(f.theta, want.Theta)
		if !f.solve() {
			t.Fatal("no solution at SciPy's variances")
		}
		own, ownSE = f.stepDifference(ofRun)
		horse, horseSE = f.stepDifference(ofHorse)
		for _, v := range [][2]float64{{own, want.Run}, {ownSE, want.Run_SE}, {horse, want.Horse}, {horseSE, want.Horse_SE}} {
			if math.Abs(v[0]-v[1]) > 1e-5 {
				t.Errorf("%+v: at the same variances %.7f m, SciPy %.7f", u, v[0], v[1])
			}
		}
	}
}
