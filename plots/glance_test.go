package plots

import (
	"encoding/json"
	"errors"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
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
		{"shoulder blade, rear", traj.Left, []int{3, 1}}, {"shoulder blade, front", traj.Left, []int{2, -1}}, {"base of the neck", traj.Left, []int{2, 0}}, {"withers", traj.Middle, []int{1, 0}}, {"gluteals, upper", traj.Right, []int{4, 4}},
		{"hamstrings", traj.Right, []int{4, 3}},
	}, []string{"before", "now"})
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
	bar := GlanceBar([]*SideBar{{Value: -3.2, Low: -9, High: -1.1, Counts: true}, {Value: 0.4, Low: -2.3, High: 3.1, Open: true}}, GlanceOptions{Visits: visits}, "Head: 43 mm higher over left fore, now 5 mm")
	return []*Figure{steps, felt, felt.Narrow, strides, bar, GlanceAxis(visits)}
}

// TestANarrowScreenShowsBothSidesOfTheHorse: below each other, all words of the wide drawing in
// half its width.
func TestANarrowScreenShowsBothSidesOfTheHorse(t *testing.T) {
	felt := glanceSamples(t)[1]
	words := func(f *Figure) (out []string, right float64) {
		b := svgOf(t, f)
		for _, m := range regexp.MustCompile(`<text textLength="([0-9.]+)"[^>]* x="([0-9.]+)"[^>]*>([^<]*)</text>`).FindAllStringSubmatch(b, -1) {
			long, _ := strconv.ParseFloat(m[1], 64)
			x, _ := strconv.ParseFloat(m[2], 64)
			out, right = append(out, strings.Fields(m[3])...), math.Max(right, x+long)
		}
		slices.Sort(out)
		return out, right
	}
	wide, _ := words(felt)
	narrow, right := words(felt.Narrow)
	if !slices.Equal(wide, narrow) || len(wide) < 20 {
		t.Errorf("on a narrow screen stands %q, on a wide one %q", narrow, wide)
	}
	if right > felt.Narrow.Width.Points() || felt.Narrow.Width > felt.Width/2 {
		t.Errorf("words reach to %.0f of %.0f points", right, felt.Narrow.Width.Points())
	}
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
	if _, err := FeltHorse([]Felt{{"heart", traj.Left, []int{-1, 2}}}, nil); !errors.As(err, &none) {
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

// svgOf returns a figure as SVG.
func svgOf(t *testing.T, f *Figure) string {
	t.Helper()
	var b strings.Builder
	if err := f.SVG(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// drawnWords returns what a figure says in words, a line a string.
func drawnWords(t *testing.T, f *Figure) string {
	t.Helper()
	svg := svgOf(t, f)
	var out []string
	for _, m := range regexp.MustCompile(`>([^<>]+)</text>`).FindAllStringSubmatch(svg, -1) {
		out = append(out, strings.TrimSpace(m[1]))
	}
	return strings.Join(out, "|")
}

// TestStepsDifferByWhatTheRowSays draws steps that would each be rounded away from the row's
// number: 122.4 and 127.6 differ by 5, not by 6.
func TestStepsDifferByWhatTheRowSays(t *testing.T) {
	for _, tt := range []struct{ left, right, apart, half, wantLeft, wantRight string }{
		{"1.224", "1.276", "0.052", "0.03", "left 122 cm", "right 127 cm"},
		{"1.224", "1.276", "0.052", "0.002", "left 122.4 cm", "right 127.6 cm"}, // As many digits as the row has.
		{"1.236", "1.184", "-0.052", "0.03", "left 124 cm", "right 119 cm"},
	} {
		v := func(text string) float64 {
			f, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		s := metrics.Summary{Results: []metrics.Result{{Name: metrics.StepLengthFore, Unit: "m", Left: &metrics.Estimate{Value: v(tt.left)}, Right: &metrics.Estimate{Value: v(tt.right)},
			Value: &metrics.Estimate{Value: v(tt.apart), Low: v(tt.apart) - v(tt.half), High: v(tt.apart) + v(tt.half)}}}}
		f, err := Footfalls(nil, &s, [2]string{})
		if err != nil {
			t.Fatal(err)
		}
		if words := drawnWords(t, f); !strings.Contains(words, tt.wantLeft+"|") || !strings.Contains(words, tt.wantRight+"|") {
			t.Errorf("%q, want %s and %s", words, tt.wantLeft, tt.wantRight)
		}
	}
}

// TestFeltSaysSorenessAndWhatWasNotChecked checks that the scale says of what it is, that a
// side without a word is no clean one, and that grades of three visits stand in their order.
func TestFeltSaysSorenessAndWhatWasNotChecked(t *testing.T) {
	one, err := FeltHorse([]Felt{{"shoulder blade, rear", traj.Left, []int{3}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if words := drawnWords(t, one); !strings.Contains(words, "soreness: 0 none") || strings.Count(words, notChecked) != 1 {
		t.Errorf("%q", words)
	}
	three, err := FeltHorse([]Felt{{"shoulder blade, rear", traj.Left, []int{3, -1, 1}}, {"withers", traj.Middle, []int{0, 2, 0}}}, []string{"first", "20 March", "last"})
	if err != nil {
		t.Fatal(err)
	}
	if words := drawnWords(t, three); !strings.Contains(words, "|3|–|1|") || !strings.Contains(words, "first → 20 March → last; – not checked") || strings.Count(words, notChecked) != 1 {
		t.Errorf("%q", words)
	}
}

// TestABarThatIsExplainedIsPale checks that it differs from one that is a finding, in grey
// print, too: its colour is far lighter.
func TestABarThatIsExplainedIsPale(t *testing.T) {
	draw := func(pale bool) string {
		svg := svgOf(t, GlanceBar([]*SideBar{{Value: -2, Low: -3, High: -1.5, Counts: true, Pale: pale}}, GlanceOptions{}, "x"))
		return svg
	}
	if draw(true) == draw(false) {
		t.Error("drawn alike")
	}
	grey := func(c color.NRGBA) int { return int(c.R) + int(c.G) + int(c.B) }
	for _, side := range []traj.Side{traj.Left, traj.Right} {
		if c := styleOf(side).color; grey(paler(c)) < grey(c)+200 {
			t.Errorf("%s: %v is hardly paler than %v", side, paler(c), c)
		}
	}
}
