package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"html"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unicode/utf8"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/track/traj"
)

var update = flag.Bool("update", false, "write the golden files anew")

// samples draws every figure from the invented horse.
func samples(t *testing.T) []*Figure {
	t.Helper()
	in := sampleRun()
	outcomes, err := RunFigures(in)
	if err != nil {
		t.Fatal(err)
	}
	more, err := ComparisonFigures(sampleComparison())
	if err != nil {
		t.Fatal(err)
	}
	var out []*Figure
	for _, o := range append(outcomes, more...) {
		if o.Figure != nil {
			out = append(out, o.Figure)
		}
	}
	h, err := History(sampleHistory(), HistoryOptions{Followed: []metrics.Name{metrics.StepLengthFore, metrics.HeadLowDifference}})
	if err != nil {
		t.Fatal(err)
	}
	return append(out, h)
}

// TestGolden compares every figure's SVG with the stored one. After a wanted
// change of looks run with -update and look at the pictures.
func TestGolden(t *testing.T) {
	for _, f := range append(samples(t), glanceSamples(t)...) {
		t.Run(f.Name, func(t *testing.T) {
			var got bytes.Buffer
			if err := f.SVG(&got); err != nil {
				t.Fatal(err)
			}
			path := filepath.Join("testdata", f.Name+".golden.svg")
			if *update {
				if err := os.MkdirAll("testdata", 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, got.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got.Bytes(), want) {
				t.Errorf("%s differs from %s; run with -update after looking at it", f.Name, path)
			}
		})
	}
}

// TestLook writes the figures as PNG and PDF into the folder named by
// JOGSTRIP_LOOK, for looking at.
func TestLook(t *testing.T) {
	dir := os.Getenv("JOGSTRIP_LOOK")
	if dir == "" {
		t.Skip("JOGSTRIP_LOOK names no folder to write the figures to")
	}
	for _, f := range append(samples(t), glanceSamples(t)...) {
		for ext, write := range map[string]func(io.Writer) error{"png": f.PNG, "svg": f.SVG, "pdf": f.PDF} {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(dir, f.Name+"."+ext), b.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func TestSameMeasuresGiveSameBytes(t *testing.T) {
	first, second := samples(t), samples(t)
	for i, f := range first {
		for ext, write := range map[string][2]func(io.Writer) error{
			"png": {f.PNG, second[i].PNG}, "svg": {f.SVG, second[i].SVG}, "pdf": {f.PDF, second[i].PDF},
		} {
			var a, b bytes.Buffer
			if err := errors.Join(write[0](&a), write[1](&b)); err != nil {
				t.Fatal(err)
			}
			if a.Len() == 0 || !bytes.Equal(a.Bytes(), b.Bytes()) {
				t.Errorf("%s.%s: two drawings of the same measures differ", f.Name, ext)
			}
		}
	}
}

// TestSVGStandsAlone checks that the SVG is well-formed XML, carries words for
// those who do not see it, and fetches and runs nothing.
func TestSVGStandsAlone(t *testing.T) {
	for _, f := range samples(t) {
		var b bytes.Buffer
		if err := f.SVG(&b); err != nil {
			t.Fatal(err)
		}
		seen := map[string]bool{}
		for d := xml.NewDecoder(&b); ; {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", f.Name, err)
			}
			e, ok := tok.(xml.StartElement)
			if !ok {
				continue
			}
			seen[e.Name.Local] = true
			for _, a := range e.Attr {
				if a.Name.Local == "href" || strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Value, "url(") {
					t.Errorf("%s: %s has %s=%q", f.Name, e.Name.Local, a.Name.Local, a.Value)
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s: %s has %s=%q", f.Name, e.Name.Local, a.Name.Local, a.Value)
				}
			}
		}
		for _, want := range []string{"title", "desc", "path", "text"} {
			if !seen[want] {
				t.Errorf("%s: no %s element", f.Name, want)
			}
		}
		for _, never := range []string{"script", "image", "foreignObject", "style"} {
			if seen[never] {
				t.Errorf("%s: has a %s element", f.Name, never)
			}
		}
	}
}

// TestTextKeepsItsWidth checks that an SVG says how wide each piece of text is: where a
// browser takes another typeface, words would run over what stands beside them.
func TestTextKeepsItsWidth(t *testing.T) {
	texts := regexp.MustCompile(`(?s)<text ([^>]*)font-size:([0-9.]+)px[^>]*>([^<]*)</text>`)
	length := regexp.MustCompile(`textLength="([0-9.]+)"`)
	for _, f := range append(samples(t), glanceSamples(t)...) {
		svg := svgOf(t, f)
		for _, m := range texts.FindAllStringSubmatch(svg, -1) {
			words := strings.TrimSpace(html.UnescapeString(m[3]))
			if words == "" {
				continue
			}
			size, _ := strconv.ParseFloat(m[2], 64)
			wide := length.FindStringSubmatch(m[1])
			if wide == nil {
				t.Errorf("%s: %q has no width", f.Name, words)
				continue
			}
			// Letters of this typeface are 0.2 to 1 times as wide as its size.
			n := float64(utf8.RuneCountInString(words))
			if w, _ := strconv.ParseFloat(wide[1], 64); w < 0.2*size*n || w > size*n {
				t.Errorf("%s: %q of size %g is %g wide", f.Name, words, size, w)
			}
		}
	}
}

// TestFiguresSayNAndInterval checks what every figure owes its reader.
func TestFiguresSayNAndInterval(t *testing.T) {
	for _, f := range samples(t) {
		if !strings.Contains(f.Description, "95 %") {
			t.Errorf("%s does not say what its intervals are: %q", f.Name, f.Description)
		}
		if !strings.Contains(f.Description, "n = ") && !strings.Contains(f.Description, "stride") {
			t.Errorf("%s does not say how many strides it shows: %q", f.Name, f.Description)
		}
	}
}

// TestReasons checks that what cannot be drawn says why.
func TestReasons(t *testing.T) {
	empty := RunInput{Run: &metrics.Run{Gait: traj.Walk, View: traj.Toward, Level: geometry.LevelNone}}
	marked := RunInput{
		Run:   &metrics.Run{Gait: traj.Walk, Signals: []metrics.Signal{{Landmark: traj.Head, Unit: "mm", Height: []float64{1, 2}}}},
		Times: []float64{0, 0.1},
	}
	ratio := RunInput{Run: &metrics.Run{Level: geometry.LevelRatio}}
	unmeasured := RunInput{Run: &metrics.Run{Series: []metrics.Series{{Name: metrics.StepLengthFore, Reason: "only one fore hoof was marked"}}}}
	tests := []struct {
		name string
		draw func() (*Figure, error)
		want string
	}{
		{"head not marked", func() (*Figure, error) { return BodyHeight(empty, traj.Head) }, "head was not marked"},
		{"no hoof-on", func() (*Figure, error) { return BodyHeight(marked, traj.Head) }, "no left and right hoof-on"},
		{"two half strides", func() (*Figure, error) {
			in := sampleRun()
			in.Times = in.Times[:75]
			for i := range in.Run.Signals {
				in.Run.Signals[i].Height = in.Run.Signals[i].Height[:75]
			}
			return BodyHeight(in, traj.Head)
		}, "fewer than 3 whole half strides"},
		{"no calibration", func() (*Figure, error) { return Placement(empty) }, "need a calibrated clip"},
		{"no line", func() (*Figure, error) { return Placement(ratio) }, "no line of travel"},
		{"no steps", func() (*Figure, error) { return StepLength(empty) }, "no step length"},
		{"the series' own reason", func() (*Figure, error) { return StepLength(unmeasured) }, "only one fore hoof was marked"},
		{"no paths", func() (*Figure, error) { return HoofPaths(ratio) }, "calibrated in metres"},
		{"no contacts", func() (*Figure, error) { return StanceBars(empty) }, "no ground contact"},
		{"no score", func() (*Figure, error) { return ScoreComponents(&metrics.Summary{}) }, "no component"},
		{"no pairs", func() (*Figure, error) { return BeforeAfter(&metrics.Comparison{}) }, "at both visits"},
		{"no changes", func() (*Figure, error) { return Changes(&metrics.Comparison{}) }, "smallest change"},
		{"no visits", func() (*Figure, error) { return History(nil, HistoryOptions{}) }, "no visit"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			f, err := tt.draw()
			if f != nil || !errors.Is(err, ErrNoData) {
				t.Fatalf("got figure %v, error %v; want ErrNoData", f, err)
			}
			if !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %q does not say %q", err, tt.want)
			}
		})
	}
}

// TestWhiskersStayInTheirPanel: the interval of the first landing must not reach into the names
// of the rows.
func TestWhiskersStayInTheirPanel(t *testing.T) {
	in := sampleRun()
	in.Run.Contacts[0].OnSD = 0.2
	f, err := StanceBars(in)
	if err != nil {
		t.Fatal(err)
	}
	b := svgOf(t, f)
	// The names end where the data begin: the left-most point of any line is right of them.
	least := math.Inf(1)
	for _, m := range regexp.MustCompile(`<path d="M([0-9.]+),[0-9.]+L([0-9.]+),[0-9.]+" style="[^"]*stroke-width:0\.9`).FindAllStringSubmatch(b, -1) {
		for _, at := range m[1:] {
			x, _ := strconv.ParseFloat(at, 64)
			least = math.Min(least, x)
		}
	}
	sty := lettering(tickSize, inkColor)
	if names := 6 + sty.Width("right hind, n = 8").Points(); !(least > names) || math.IsInf(least, 1) {
		t.Errorf("a whisker begins at %.0f points, the names end at %.0f", least, names)
	}
}

// TestEveryColumnOfStridesHasAScale: beside 0 a mark stands on each side, whatever the size.
func TestEveryColumnOfStridesHasAScale(t *testing.T) {
	for _, size := range []float64{0.3, 1, 1.7, 2.1, 3.4, 4.2, 5, 7, 12, 21, 43, 99} {
		f, _, err := StrideByStride([]StrideRow{{Name: metrics.HeadLowDifference, Unit: "mm", Now: []float64{size, -size / 2}}})
		if err != nil {
			t.Fatal(err)
		}
		b := svgOf(t, f)
		numbers := map[string]int{}
		for _, m := range regexp.MustCompile(`>([0-9.]+)</text>`).FindAllStringSubmatch(b, -1) {
			numbers[m[1]]++
		}
		twice := 0
		for _, n := range numbers {
			if n >= 2 {
				twice++
			}
		}
		if twice == 0 || len(numbers) > 5 {
			t.Errorf("%g mm: numbers %v", size, numbers)
		}
	}
}

func TestContradictingInputIsAnError(t *testing.T) {
	in := sampleRun()
	in.Times = in.Times[:5]
	if _, err := RunFigures(in); err == nil || errors.Is(err, ErrNoData) {
		t.Errorf("heights without times: got %v, want an error that is not ErrNoData", err)
	}
}

// luminance is the relative luminance of WCAG 2.1 (from memory: sRGB
// linearised, weights 0.2126, 0.7152, 0.0722).
func luminance(r, g, b uint8) float64 {
	lin := func(v uint8) float64 {
		c := float64(v) / 255
		if c <= 0.03928 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b)
}

// TestSidesDifferWithoutColour checks that a grey print keeps left and right
// apart: by lightness, dash and shape.
func TestSidesDifferWithoutColour(t *testing.T) {
	l, r, m := styleOf(traj.Left), styleOf(traj.Right), styleOf(traj.Middle)
	// CIE 1976 lightness from luminance, from memory: 116·Y^(1/3) − 16.
	lightness := func(s sideStyle) float64 {
		return 116*math.Cbrt(luminance(s.color.R, s.color.G, s.color.B)) - 16
	}
	if d := math.Abs(lightness(l) - lightness(r)); d < 30 {
		t.Errorf("lightness of left and right differs by %.0f of 100, want 30 or more", d)
	}
	if len(l.dashes) != 0 || len(r.dashes) == 0 {
		t.Errorf("dashes: left %v, right %v; want left solid and right dashed", l.dashes, r.dashes)
	}
	if l.shape == r.shape || m.shape == l.shape || m.shape == r.shape {
		t.Errorf("shapes: left %v, right %v, neither %v; want three", l.shape, r.shape, m.shape)
	}
	for _, s := range []sideStyle{l, r, m} {
		contrast := 1.05 / (luminance(s.color.R, s.color.G, s.color.B) + 0.05)
		if contrast < 3 {
			t.Errorf("%v on white has contrast %.2f, want 3 or more", s.color, contrast)
		}
	}
	// Neither side may be red or green: the blue or the mixed channels decide.
	if l.color.B <= l.color.R || l.color.B <= l.color.G {
		t.Errorf("left %v is not blue", l.color)
	}
	if !(r.color.R > r.color.G && float64(r.color.G) > 0.5*float64(r.color.R) && r.color.B < r.color.G) {
		t.Errorf("right %v is not amber", r.color)
	}
}

// TestSidesDifferAsDrawn checks the same in the drawing of a figure with two
// series: both colours are there, and only the right one is dashed.
func TestSidesDifferAsDrawn(t *testing.T) {
	f, err := BodyHeight(sampleRun(), traj.Head)
	if err != nil {
		t.Fatal(err)
	}
	b := svgOf(t, f)
	solid, dashed := 0, 0
	for line := range strings.Lines(b) {
		if !strings.Contains(line, "stroke-width:1.7") {
			continue
		}
		isDashed := strings.Contains(line, "stroke-dasharray:6")
		switch {
		case strings.Contains(line, "stroke:#143D73") && !isDashed:
			solid++
		case strings.Contains(line, "stroke:#CF7800") && isDashed:
			dashed++
		default:
			t.Errorf("main line in an unexpected look: %s", line)
		}
	}
	if solid < 2 || dashed < 2 { // The curve and the legend.
		t.Errorf("%d solid blue and %d dashed amber main lines, want 2 or more of each", solid, dashed)
	}
}

// TestPlacementSides checks which way is up: a hoof on the horse's left is
// drawn above the line whichever way the horse goes.
func TestPlacementSides(t *testing.T) {
	for _, view := range []traj.View{traj.Toward, traj.Away} {
		dy := -1.0
		if view == traj.Away {
			dy = 1
		}
		run := &metrics.Run{View: view, Gait: traj.Trot, Level: geometry.LevelMetric, Line: &metrics.Line{DY: dy, Y: 10}}
		for i := range 3 {
			y := 10 + dy*float64(i)
			run.Contacts = append(run.Contacts,
				metrics.Contact{Limb: traj.LeftFore, X: view.LeftSign() * 0.10, Y: y, Placed: true, XSD: 0.01, YSD: 0.01},
				metrics.Contact{Limb: traj.RightFore, X: -view.LeftSign() * 0.04, Y: y + dy*0.5, Placed: true, XSD: 0.01, YSD: 0.01})
		}
		for _, p := range placedOn(*run.Line, run.Contacts, 1, 100) {
			if want := map[traj.Landmark]float64{traj.LeftFore: 10, traj.RightFore: -4}[p.limb]; math.Abs(p.left-want) > 1e-9 {
				t.Errorf("%s: the %s is drawn %g cm to the horse's left of the line, want %g", view, p.limb.Words(), p.left, want)
			}
		}
		in := RunInput{Run: run, Summary: &metrics.Summary{Results: []metrics.Result{{Name: metrics.BaseWidthFore, Unit: "cm", Value: est(14, 2)}, {Name: metrics.QuartersToSide, Unit: "cm", Value: est(-3, 1)}}}}
		f, err := Placement(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"n = 3 left fore, 3 right fore", "base width, fore 14", "quarters to the right of the forehand −3.0 (−4.0 to −2.0) cm (negative: to its left)"} {
			if !strings.Contains(f.Description, want) {
				t.Errorf("%s: %q is not in %q", view, want, f.Description)
			}
		}
	}
}

// TestStepBeatsByPairs checks that the other girdle times the halves where the
// own one was not seen: diagonally at the trot, laterally at the pace, not at
// the walk.
func TestStepBeatsByPairs(t *testing.T) {
	for _, tt := range []struct {
		gait  traj.Gait
		want  traj.Side // Of the head's first half, when the left hind lands first.
		timed metrics.Girdle
	}{
		{traj.Trot, traj.Right, metrics.Hind},
		{traj.Pace, traj.Left, metrics.Hind},
		{traj.Walk, traj.Middle, ""},
	} {
		run := &metrics.Run{Gait: tt.gait, Contacts: []metrics.Contact{
			{Limb: traj.RightHind, On: 0.4, Off: 0.6}, {Limb: traj.LeftHind, On: 0.1, Off: 0.3}, {Limb: traj.LeftFore, On: 0.1, Off: 0.3},
		}}
		beats, timed := stepBeats(run, metrics.Fore)
		if timed != tt.timed {
			t.Errorf("%s: timed by %q, want %q", tt.gait, timed, tt.timed)
		}
		if tt.want != traj.Middle && (len(beats) != 2 || beats[0].side != tt.want) {
			t.Errorf("%s: beats %v, want the first on the %s", tt.gait, beats, tt.want)
		}
	}
}

func TestMissedHoofOnIsNotOneLongHalf(t *testing.T) {
	beats := []beat{{0, traj.Left}, {0.35, traj.Right}, {0.7, traj.Left}, {1.05, traj.Right}, {2.1, traj.Left}}
	var times, height []float64
	for i := range 300 {
		times, height = append(times, float64(i)/100), append(height, 1)
	}
	if got := len(cutHalves(beats, times, height)); got != 3 {
		t.Errorf("%d halves, want 3: the last spans a missed hoof-on", got)
	}
}

func TestMeanInterval(t *testing.T) {
	// The mean of differences of Bland & Altman 1986, Lancet 327:307–310, peak
	// flow by two meters (first readings), and its 95 % interval with t of 16
	// degrees of freedom (2.1199053).
	wright := []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	mini := []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	d := []float64{math.NaN()}
	for i := range wright {
		d = append(d, wright[i]-mini[i])
	}
	mean, low, high, n := meanInterval(d)
	const tol = 1e-5
	if n != 17 || math.Abs(mean+2.1176470588) > tol || math.Abs(low+22.048838) > tol || math.Abs(high-17.813544) > tol {
		t.Errorf("got %v (%v to %v), n = %d; want -2.117647 (-22.048838 to 17.813544), n = 17", mean, low, high, n)
	}
}

func TestTicks(t *testing.T) {
	labels := func(low, high float64) string {
		var s []string
		for _, k := range (ticks{}).Ticks(low, high) {
			s = append(s, k.Label)
		}
		return strings.Join(s, " ")
	}
	for _, tt := range []struct {
		low, high float64
		want      string
	}{
		{-21, 42, "−20 −10 0 10 20 30 40"},
		{0, 1, "0.0 0.2 0.4 0.6 0.8 1.0"},
		{1.18, 1.31, "1.18 1.20 1.22 1.24 1.26 1.28 1.30"},
		{5, 5, ""},
		{math.NaN(), 1, ""},
	} {
		if got := labels(tt.low, tt.high); got != tt.want {
			t.Errorf("ticks from %v to %v: %q, want %q", tt.low, tt.high, got, tt.want)
		}
	}
}

func TestNumber(t *testing.T) {
	for _, tt := range []struct {
		v    float64
		d    int
		want string
	}{{-0.04, 1, "0.0"}, {-1.26, 1, "−1.3"}, {12, 0, "12"}, {math.Copysign(0, -1), 0, "0"}} {
		if got := number(tt.v, tt.d); got != tt.want {
			t.Errorf("number(%v, %d) = %q, want %q", tt.v, tt.d, got, tt.want)
		}
	}
}

// TestSVGEscapesWords checks that a user's words cannot become markup.
func TestSVGEscapesWords(t *testing.T) {
	p := sampleHistory()
	p[0].Treatments = []string{`<script>alert("x")</script>`}
	f, err := History(p, HistoryOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(svgOf(t, f), "<script") {
		t.Error("a treatment's name became markup")
	}
}

// A page is written while its figures are, so one figure may be drawn several
// times at once; the race detector finds what they would share.
func TestDrawnAtOnce(t *testing.T) {
	for _, f := range samples(t) {
		var svg bytes.Buffer
		if err := f.SVG(&svg); err != nil {
			t.Fatal(err)
		}
		writers := []func(io.Writer) error{f.PNG, f.SVG, f.PDF}
		drawn := make([]bytes.Buffer, 2*len(writers))
		var all sync.WaitGroup
		for i := range drawn {
			all.Go(func() {
				if err := writers[i%len(writers)](&drawn[i]); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
		for i := range writers {
			if a, b := drawn[i].Bytes(), drawn[i+len(writers)].Bytes(); !bytes.Equal(a, b) {
				t.Errorf("%s: format %d came out in two ways", f.Name, i)
			}
		}
	}
}

// BenchmarkFormats draws and packs a run's figures, in every format.
func BenchmarkFormats(b *testing.B) {
	outcomes, err := RunFigures(sampleRun())
	if err != nil {
		b.Fatal(err)
	}
	for _, format := range []struct {
		name  string
		write func(*Figure, io.Writer) error
	}{{"PNG", (*Figure).PNG}, {"SVG", (*Figure).SVG}, {"PDF", (*Figure).PDF}} {
		b.Run(format.name, func(b *testing.B) {
			for range b.N {
				for _, o := range outcomes {
					if o.Figure == nil {
						continue
					}
					if err := format.write(o.Figure, io.Discard); err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}
