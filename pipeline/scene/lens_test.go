package scene

import (
	"encoding/json"
	"fmt"
	"math"
	"os/exec"
	"testing"
)

// TestLensBendsAsOpenCVSays holds project to OpenCV's camera model (calib3d's
// projectPoints: x·(1 + k1·r²), after Brown 1971), run by its Python binding.
func TestLensBendsAsOpenCVSays(t *testing.T) {
	const script = `
import cv2, json, numpy as np, sys
want = []
for k1 in (-0.15, 0.1):
    k = np.array([[1500.0, 0, 959.5], [0, 1500.0, 539.5], [0, 0, 1]])
    p = np.array([[x, y, 5.0] for x in (-2.9, -1, 0.3, 3.1) for y in (-1.7, 0.2, 1.6)])
    q, _ = cv2.projectPoints(p, np.zeros(3), np.zeros(3), k, np.array([k1, 0, 0, 0], float))
    want.append(q.reshape(-1, 2).tolist())
print(json.dumps(want))
`
	out, err := exec.Command("/usr/bin/python3", "-c", script).Output()
	if err != nil {
		t.Skipf("SKIPPED: Python's OpenCV is not here (./scripts/setup test): %v", err)
	}
	var want [][][2]float64
	if err := json.Unmarshal(out, &want); err != nil {
		t.Fatal(err)
	}
	for i, k1 := range []float64{-0.15, 0.1} {
		e := eye{r: vec{1, 0, 0}, d: vec{0, 1, 0}, w: vec{0, 0, 1}, f: 1500, cx: 959.5, cy: 539.5, k1: k1}
		n := 0
		for _, x := range []float64{-2.9, -1, 0.3, 3.1} {
			for _, y := range []float64{-1.7, 0.2, 1.6} {
				px, py, _ := e.project(vec{x, y, 5})
				if w := want[i][n]; math.Hypot(px-w[0], py-w[1]) > 1e-6 {
					t.Errorf("k1 %g: (%g, %g) appears at (%.6f, %.6f), OpenCV says (%.6f, %.6f)", k1, x, y, px, py, w[0], w[1])
				}
				n++
			}
		}
	}
}

// TestRayUndoesProject: a ray through where a point appears passes the point, far
// outside the picture too.
func TestRayUndoesProject(t *testing.T) {
	for _, k1 := range []float64{-0.25, -0.15, 0, 0.1, 0.25} {
		e := eye{r: vec{1, 0, 0}, d: vec{0, 1, 0}, w: vec{0, 0, 1}, f: 1500, cx: 959.5, cy: 539.5, k1: k1}
		for _, r := range []float64{0.01, 0.3, 0.75, 1.2, 3} {
			p := vec{r * 0.8, r * 0.6, 1}
			x, y, _ := e.project(p)
			if got := e.ray(x, y); got.sub(p).norm() > 1e-6 {
				t.Errorf("%s: comes back as %+v", fmt.Sprintf("k1 %g, %+v", k1, p), got)
			}
		}
	}
}
