package plots

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/track/traj"
)

// glanceSamples draws the figures of a first page.
func glanceSamples(t *testing.T) []*Figure {
	t.Helper()
	before, now := sampleSummary(1), sampleSummary(0.2)
	steps, err := Footfalls(&before, &now, [2]string{"before", "now"})
	if err != nil {
		t.Fatal(err)
	}
	felt, err := FeltHorse([]Felt{
		{"shoulder blade, rear", traj.Left, 3, 1}, {"shoulder blade, front", traj.Left, 2, -1}, {"base of the neck", traj.Left, 2, 0}, {"withers", traj.Middle, 1, 0}, {"gluteals, upper", traj.Right, 4, 4},
		{"hamstrings", traj.Right, 4, 3},
	}, [2]string{"before", "now"})
	if err != nil {
		t.Fatal(err)
	}
	strides, _, err := StrideByStride([]StrideRow{
		{metrics.HeadLowDifference, "mm", 13, []float64{-40, math.NaN(), -31}, []float64{-4, 3, -9}},
		{metrics.StepLengthFore, "m", 0.03, []float64{0.1, 0.08, 0.11}, []float64{0.01, -0.02, math.NaN()}},
	})
	if err != nil {
		t.Fatal(err)
	}
	visits := []string{"before", "now"}
	bar := GlanceBar([]*SideBar{{-3.2, -9, -1.1, true, false}, {0.4, -2.3, 3.1, false, true}}, GlanceOptions{Visits: visits}, "Head: 43 mm higher over left fore, now 5 mm")
	return []*Figure{steps, felt, strides, bar, GlanceAxis(visits)}
}

// TestBarsAreClearOfColour checks that a bar of the left and one of the right differ in
// grey print: by the shape at their end and by hatching.
func TestBarsAreClearOfColour(t *testing.T) {
	var left, right strings.Builder
	if err := GlanceBar([]*SideBar{{Value: -2, Low: -3, High: -1.5, Counts: true}}, GlanceOptions{}, "left").SVG(&left); err != nil {
		t.Fatal(err)
	}
	if err := GlanceBar([]*SideBar{{Value: 2, Low: 1.5, High: 3, Counts: true}}, GlanceOptions{}, "right").SVG(&right); err != nil {
		t.Fatal(err)
	}
	curved := regexp.MustCompile(`[0-9]C[0-9-]`)
	curves := func(s string) int { return len(curved.FindAllString(s, -1)) }
	strokes := func(s string) int { return strings.Count(s, "M") } // Where a line begins.
	if curves(left.String()) <= curves(right.String()) {
		t.Error("the left bar has no circle, or the right one has")
	}
	if strokes(right.String()) <= strokes(left.String())+5 {
		t.Errorf("the right bar is not hatched: %d strokes, the left %d", strokes(right.String()), strokes(left.String()))
	}
}

// TestFirstPageFiguresSayWhy checks what can't be drawn.
func TestFirstPageFiguresSayWhy(t *testing.T) {
	var none *NoDataError
	if _, err := Footfalls(nil, &metrics.Summary{}, [2]string{}); !errors.As(err, &none) {
		t.Errorf("steps of nothing: %v", err)
	}
	if _, err := FeltHorse([]Felt{{"heart", traj.Left, -1, 2}}, [2]string{}); !errors.As(err, &none) {
		t.Errorf("a region without a place: %v", err)
	}
	if _, _, err := StrideByStride([]StrideRow{{Name: metrics.HeadLowDifference, Unit: "mm", Now: []float64{math.NaN()}}}); !errors.As(err, &none) {
		t.Errorf("strides of nothing: %v", err)
	}
}

// TestOneDrawingOfTheHorse compares the horse's outline and the places of its regions with
// the page on which a visit is recorded: what is graded there is found here.
func TestOneDrawingOfTheHorse(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "pipeline", "markpage", "web", "horse.js"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	list := func(name string) [][]float64 {
		_, rest, _ := strings.Cut(page, "const "+name+" = ")
		text, _, ok := strings.Cut(rest, "];")
		if !ok {
			t.Fatalf("horse.js has no %s", name)
		}
		text = regexp.MustCompile(`,\s*\]`).ReplaceAllString(text+"]", "]")
		var out [][]float64
		if err := json.Unmarshal([]byte(text), &out); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return out
	}
	points := list("outline")
	if len(points) != len(horseOutline) {
		t.Fatalf("%d points, here %d", len(points), len(horseOutline))
	}
	for i, p := range points {
		if h := horseOutline[i]; p[0] != h.x || p[1] != h.y || (len(p) > 2) != h.corner {
			t.Errorf("point %d is %v, here %v", i, p, h)
		}
	}
	places := regexp.MustCompile(`(?:'([^']+)'|([a-z]+)): \[([0-9.]+), ([0-9.]+)\]`)
	_, felt, _ := strings.Cut(page, "export const felt")
	felt, _, _ = strings.Cut(felt, "};")
	found := 0
	for _, m := range places.FindAllStringSubmatch(felt, -1) {
		p, known := regionPlaces[m[1]+m[2]]
		if got := [2]string{m[3], m[4]}; !known || got != [2]string{number(p[0], 0), number(p[1], 0)} {
			t.Errorf("%s%s is at %v, here %v", m[1], m[2], got, p)
		}
		found++
	}
	if found != len(regionPlaces) {
		t.Errorf("%d regions there, %d here", found, len(regionPlaces))
	}
}
