//go:build study

package metrics_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"testing"

	"jogstrip/metrics"
	"jogstrip/plots"
)

// TestStudyPower draws power.png: how likely a difference is seen in one visit,
// and a change called improved, against its true size.
func TestStudyPower(t *testing.T) {
	measures := []struct {
		n              metrics.Name
		words, unit    string
		scale          float64 // Shown unit over the measure's.
		asked, largest float64 // In the measure's unit; so is step.
		step           float64
	}{
		{metrics.StepLengthFore, "difference between the fore steps", "cm", 100, 0.03, 0.09, 0.01},
		{metrics.HeadLowDifference, "nod (head low-point difference)", "mm", 1, 10, 40, 5},
	}
	table, err := metrics.DefaultTolerances()
	if err != nil {
		t.Fatal(err)
	}
	const fine = 8 // Points of a curve between two marks.
	seen := func(i int, label string, runs, strides int) plots.PowerCurve {
		m := measures[i]
		k := plots.PowerCurve{Label: label}
		for d := 0.0; d <= m.largest+1e-9; d += m.step / fine {
			k.Difference, k.Chance = append(k.Difference, d*m.scale), append(k.Chance, metrics.StudyPredicted(m.n, d, runs, strides))
		}
		for d := 0.0; d <= m.largest+1e-9; d += m.step {
			k.At, k.Seen = append(k.At, d*m.scale), append(k.Seen, metrics.StudySeen(m.n, d, runs, strides))
		}
		return k
	}
	panel := func(i int, what string, axis string) plots.PowerPanel {
		m := measures[i]
		row, _ := table.Lookup(m.n)
		return plots.PowerPanel{
			Title: "A " + m.words + "\n" + what, XTitle: axis + ", " + m.unit, YTitle: "Chance, %",
			Asked: m.asked * m.scale, Tolerance: row.Tolerance * m.scale,
		}
	}
	var panels []plots.PowerPanel
	for i := range measures {
		p := panel(i, "seen in one visit; runs of 8 strides", "True difference")
		for _, runs := range []int{2, 3, 4, 6, 8} {
			p.Curves = append(p.Curves, seen(i, fmt.Sprintf("%d runs", runs), runs, 8))
		}
		panels = append(panels, p)
	}
	for i := range measures {
		p := panel(i, "seen in one visit; 4 runs", "True difference")
		for _, strides := range []int{5, 8, 12, 20} {
			p.Curves = append(p.Curves, seen(i, fmt.Sprintf("%d strides a run", strides), 4, strides))
		}
		panels = append(panels, p)
	}
	for i, m := range measures {
		p := panel(i, "that became even: called improved; 12 strides a run", "True change")
		p.Asked = 0
		for _, runs := range []int{2, 3, 4, 6} {
			k := plots.PowerCurve{Label: fmt.Sprintf("%d runs a visit", runs)}
			for d := 0.0; d <= 1.5*m.largest+1e-9; d += 1.5 * m.step {
				k.Difference, k.Chance = append(k.Difference, d*m.scale), append(k.Chance, metrics.StudyImproved(m.n, d, runs))
			}
			p.Curves = append(p.Curves, k)
		}
		panels = append(panels, p)
	}
	figure, err := plots.Power("How much must be filmed to see a difference", panels,
		fmt.Sprintf("Runs are those in the view that shows the measure. Marks: share of %d simulated visits; in the upper four panels the lines are what the film guide’s advice rests on.", metrics.StudyVisits()),
		"Grey ground: within what a sound horse shows from run to run. Dotted: the difference asked for, and four visits of five.")
	if err != nil {
		t.Fatal(err)
	}
	var full bytes.Buffer
	if err := figure.PNG(&full); err != nil {
		t.Fatal(err)
	}
	small := inGrey(t, full.Bytes())
	const limit = 150_000
	if len(small) > limit {
		t.Errorf("the picture has %d bytes, at most %d are wanted in the tree", len(small), limit)
	}
	if metrics.StudyWrites() {
		if err := os.WriteFile("power.png", small, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// inGrey encodes a grey picture with 16 levels, which is what it needs.
func inGrey(t *testing.T, b []byte) []byte {
	t.Helper()
	full, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var levels color.Palette
	for v := range 16 {
		levels = append(levels, color.Gray{Y: uint8(17 * v)})
	}
	out := image.NewPaletted(full.Bounds(), levels)
	for y := full.Bounds().Min.Y; y < full.Bounds().Max.Y; y++ {
		for x := full.Bounds().Min.X; x < full.Bounds().Max.X; x++ {
			out.Set(x, y, full.At(x, y))
		}
	}
	var small bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&small, out); err != nil {
		t.Fatal(err)
	}
	return small.Bytes()
}
