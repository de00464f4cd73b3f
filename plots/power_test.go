package plots

import (
	"bytes"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// samplePower is invented: curves that rise with the difference and with the
// number of runs.
func samplePower(panels, curves int) []PowerPanel {
	var out []PowerPanel
	for p := range panels {
		in := PowerPanel{Title: "A difference seen in one visit, 10 strides a run", XTitle: "True difference, cm", YTitle: "Chance, %", Asked: 3, Tolerance: 3}
		if p%2 == 1 {
			in.Title, in.XTitle, in.Asked, in.Tolerance = "A nod", "True difference, mm", 0, 0
		}
		for i := range curves {
			k := PowerCurve{Label: count(i+2, "run")}
			for d := 0.0; d <= 9; d += 0.25 {
				k.Difference = append(k.Difference, d)
				k.Chance = append(k.Chance, 0.05+0.95*(1-math.Exp(-d*d*float64(i+2)/40)))
			}
			if p == 0 {
				k.At, k.Seen = []float64{3, 6}, []float64{k.Chance[12], k.Chance[24]}
			}
			in.Curves = append(in.Curves, k)
		}
		out = append(out, in)
	}
	return out
}

func TestPower(t *testing.T) {
	f, err := Power("Power", samplePower(3, mostCurves), "A note.")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(f.Description, "80 % is reached with 2 runs at 5.8, 3 runs at") {
		t.Errorf("description %q does not say where 80 %% is reached", f.Description)
	}
	var got bytes.Buffer
	if err := f.SVG(&got); err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"True difference, cm", "Chance, %", "7 runs", "A note."} {
		if !strings.Contains(got.String(), word) {
			t.Errorf("the figure does not show %q", word)
		}
	}
	if strings.Contains(got.String(), "NaN") {
		t.Error("NaN in the figure")
	}
	if dir := os.Getenv("JOGSTRIP_LOOK"); dir != "" {
		var b bytes.Buffer
		if err := f.PNG(&b); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, f.Name+".png"), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// Any two curves differ in mark or dash and in grey level, so that a copy in
// grey loses nothing.
func TestPowerCurvesDifferInGrey(t *testing.T) {
	for i, a := range powerLooks {
		for j, b := range powerLooks[:i] {
			if a.mark == b.mark {
				t.Errorf("curves %d and %d have the same mark", j, i)
			}
			if int(b.grey)-int(a.grey) < 0x12 {
				t.Errorf("curves %d and %d: grey %#x and %#x are too close", j, i, b.grey, a.grey)
			}
		}
	}
	f, err := Power("Power", samplePower(1, 2))
	if err != nil {
		t.Fatal(err)
	}
	picture := pictureOf(t, f)
	each(picture, func(x, y int) {
		if r, g, b, _ := picture.At(x, y).RGBA(); r != g || g != b {
			t.Fatalf("pixel %d, %d is coloured: colours belong to left and right", x, y)
		}
	})
}

func TestPowerRefuses(t *testing.T) {
	if _, err := Power("Power", nil); !errors.Is(err, ErrNoData) {
		t.Errorf("no panels: %v", err)
	}
	if _, err := Power("Power", samplePower(1, mostCurves+1)); err == nil || !strings.Contains(err.Error(), "at most 6") {
		t.Errorf("seven curves: %v", err)
	}
}
