package report

import (
	"bytes"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationmonoregular"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/plot/vg"

	"jogstrip/metrics"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

// The files are judged by Poppler's programs, which know nothing of the
// library that wrote them.

// poppler runs one of them on a PDF and returns what it prints.
func poppler(t *testing.T, pdf []byte, program string, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("%s is not installed (scripts/setup test): the PDF is not looked at from outside", program)
	}
	file := filepath.Join(t.TempDir(), "page.pdf")
	if err := os.WriteFile(file, pdf, 0o644); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", file)
	}
	out, err := exec.Command(program, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", program, err, out)
	}
	return string(out)
}

// pdfText returns the text of a PDF in the order in which it was written,
// without any space: where lines break is no matter here.
func pdfText(t *testing.T, pdf []byte) string {
	t.Helper()
	return squeezed(poppler(t, pdf, "pdftotext", "-raw", "-enc", "UTF-8", "FILE", "-"))
}

func squeezed(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || unicode.IsControl(r) {
			return -1
		}
		return r
	}, s)
}

// pdfOf returns the details of a page as PDF: all that follows its first page.
func pdfOf(t *testing.T, p paged) []byte {
	t.Helper()
	page, err := p.Page()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := page.Details(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// sheetOf returns the sheet of a page that is handed over.
func sheetOf(t *testing.T, p paged) []byte {
	t.Helper()
	page, err := p.Page()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := page.PDF(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// drawn returns figures that can be put on paper.
func drawn(t *testing.T, s *metrics.Summary) []Figure {
	t.Helper()
	s.Score.Components = []metrics.Component{
		{Name: metrics.HeadLowDifference, Weight: 0.5, Ratio: -2, Part: 2}, {Name: metrics.StepLengthFore, Weight: 0.5, Ratio: 3.3, Part: 4},
	}
	f, err := plots.ScoreComponents(s)
	outcomes, err := plots.OutcomeOf("Score", f, err)
	if err != nil {
		t.Fatal(err)
	}
	figures, err := drawnFigures(outcomes)
	if err != nil {
		t.Fatal(err)
	}
	if figures[0].Drawing == nil {
		t.Fatalf("no drawing: %s", figures[0].Reason)
	}
	return figures
}

func papers(t *testing.T) map[string]paged {
	t.Helper()
	pictures := drawn(t, summary(1, 2))
	return map[string]paged{
		"clip": clip(pictures...), "comparison": comparison(pictures...), "visit": visit(pictures...), "history": history(pictures...), "batch": batch(),
	}
}

// TestPaperHoldsThePage checks that every word of a page in HTML stands in its
// PDF: finding, every cell of every table, cautions.
func TestPaperHoldsThePage(t *testing.T) {
	for name, p := range papers(t) {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := writePage(&b, p); err != nil {
				t.Fatal(err)
			}
			text := pdfText(t, sheetOf(t, p)) + pdfText(t, pdfOf(t, p))
			checked := 0
			for _, e := range elements(t, b.Bytes()) {
				switch e.name {
				case "html", "head", "meta", "style", "svg", "g", "path", "desc", "title", "body", "main", "section", "text", "script", "rect":
					continue
				}
				if e.attr["class"] == "unseen" || e.attr["class"] == "choose" || strings.Contains(e.attr["class"], "papers") {
					continue // For those who do not see the page, what leads to its papers, and what only a screen can do.
				}
				want := squeezed(e.text)
				if want == "" {
					continue
				}
				checked++
				// Text around a link or a bold word is in pieces.
				if e.name == "p" && !strings.Contains(text, want) {
					for _, part := range regexp.MustCompile(`[.,:] `).Split(strings.TrimSuffix(strings.TrimSpace(e.text), "."), -1) {
						if !strings.Contains(text, squeezed(part)) {
							t.Errorf("%s %q is not in the PDF", e.name, part)
						}
					}
					continue
				}
				if !strings.Contains(text, want) {
					t.Errorf("%s %q is not in the PDF", e.name, strings.TrimSpace(e.text))
				}
			}
			if checked < 40 {
				t.Errorf("%d pieces of text were checked", checked)
			}
		})
	}
}

// TestPaperFacts checks what a reader's program needs: A4 (ISO 216: 210 × 297
// mm), a title, a language, every font inside the file.
func TestPaperFacts(t *testing.T) {
	for name, p := range papers(t) {
		t.Run(name, func(t *testing.T) {
			pdf := pdfOf(t, p)
			if page, _ := p.Page(); page.front != nil {
				pdf = sheetOf(t, p)
			}
			page, _ := p.Page()
			info := poppler(t, pdf, "pdfinfo", "-rawdates", "FILE")
			field := func(name string) string {
				m := regexp.MustCompile(`(?m)^` + name + `:\s*(.*)$`).FindStringSubmatch(info)
				if m == nil {
					return ""
				}
				return m[1]
			}
			if got := field("Title"); got != page.title {
				t.Errorf("title %q, want %q", got, page.title)
			}
			if size := field("Page size"); !strings.HasPrefix(size, "595.28 x 841.89 pts (A4)") {
				t.Errorf("page size %q", size)
			}
			if day := page.date; !day.IsZero() && !strings.HasPrefix(field("CreationDate"), "D:"+day.Format("20060102")) {
				t.Errorf("creation date %q, want that of the data, %v", field("CreationDate"), day)
			}
			if !bytes.Contains(pdf, []byte("/Lang (en)")) {
				t.Error("no language")
			}
			fonts := strings.Split(strings.TrimSpace(poppler(t, pdf, "pdffonts", "FILE")), "\n")[2:]
			if len(fonts) < 2 {
				t.Errorf("%d fonts", len(fonts))
			}
			for _, f := range fonts {
				columns := strings.Fields(f)
				if n := len(columns); n < 6 || columns[n-5] != "yes" || columns[n-3] != "yes" {
					t.Errorf("font is not embedded or has no Unicode: %s", f)
				}
			}
			if len(pdf) > 3<<20 {
				t.Errorf("%d bytes", len(pdf))
			}
		})
	}
}

// pictures renders every page of a PDF in grey.
func pictures(t *testing.T, pdf []byte, dpi int) []*image.Gray {
	t.Helper()
	base := filepath.Join(t.TempDir(), "page")
	poppler(t, pdf, "pdftoppm", "-r", strconv.Itoa(dpi), "-gray", "-png", "FILE", base)
	files, err := filepath.Glob(base + "*.png")
	if err != nil {
		t.Fatal(err)
	}
	var out []*image.Gray
	for _, name := range files {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, grey(img))
	}
	return out
}

func grey(img image.Image) *image.Gray {
	g := image.NewGray(img.Bounds())
	for y := g.Rect.Min.Y; y < g.Rect.Max.Y; y++ {
		for x := g.Rect.Min.X; x < g.Rect.Max.X; x++ {
			g.Set(x, y, img.At(x, y))
		}
	}
	return g
}

// TestPaperFitsLetter checks that all ink lies within 190 × 259 mm in the
// middle of the sheet: less than A4 and US Letter (216 × 279 mm, ANSI Y14.1)
// both have inside a printer's margins. No page may be blank.
func TestPaperFitsLetter(t *testing.T) {
	const dpi = 60
	for name, p := range papers(t) {
		t.Run(name, func(t *testing.T) {
			for n, img := range append(pictures(t, sheetOf(t, p), dpi), pictures(t, pdfOf(t, p), dpi)...) {
				inkWithin(t, n+1, img, dpi)
			}
		})
	}
}

func inkWithin(t *testing.T, page int, img *image.Gray, dpi float64) {
	t.Helper()
	mm := func(px int) float64 { return float64(px) / dpi * 25.4 }
	ink := image.Rectangle{}
	for y := img.Rect.Min.Y; y < img.Rect.Max.Y; y++ {
		for x := img.Rect.Min.X; x < img.Rect.Max.X; x++ {
			if img.GrayAt(x, y).Y < 200 {
				ink = ink.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	if ink.Dy() < img.Rect.Dy()/2 {
		t.Errorf("page %d: ink over %d of %d rows: hardly more than its footer", page, ink.Dy(), img.Rect.Dy())
	}
	if mm(ink.Min.X) < 10 || mm(img.Rect.Max.X-ink.Max.X) < 10 || mm(ink.Min.Y) < 19-1 || mm(img.Rect.Max.Y-ink.Max.Y) < 19-1 {
		t.Errorf("page %d: ink from (%.1f, %.1f) to (%.1f, %.1f) mm", page, mm(ink.Min.X), mm(ink.Min.Y), mm(ink.Max.X), mm(ink.Max.Y))
	}
}

// TestPaperIsTheSameEveryTime checks that the same page gives the same bytes,
// without the clock where no date is known.
func TestPaperIsTheSameEveryTime(t *testing.T) {
	all := papers(t)
	all["loose clip"] = Clip{Film: Film{File: "toward-1.mp4"}, Figures: drawn(t, summary(1, 1))}
	for name, p := range all {
		first := append(sheetOf(t, p), pdfOf(t, p)...)
		for range 3 {
			if again := append(sheetOf(t, p), pdfOf(t, p)...); !bytes.Equal(first, again) {
				t.Fatalf("%s: two writings differ", name)
			}
		}
		if name == "loose clip" && bytes.Contains(first, []byte("CreationDate")) {
			t.Error("a page about no day has a date")
		}
	}
}

// TestLongHistory checks 100 visits: the table goes over many pages with its
// header above each part, and no row is torn.
func TestLongHistory(t *testing.T) {
	h := history(drawn(t, summary(1, 2))...)
	one := h.Visits[0]
	h.Visits = nil
	for i := range 100 {
		v := one
		v.Date = day(1, 1+7*i)
		v.Soreness = fmt.Sprintf("left shoulder %d marked; this is visit number %d of the horse", i%5, i+1)
		h.Visits = append(h.Visits, v)
	}
	pdf := pdfOf(t, h)
	text := pdfText(t, pdf)
	for i, v := range h.Visits {
		row := squeezed(date(v.Date) + v.Shoeing + v.Soreness + v.Treatment)
		if !strings.Contains(text, row) {
			t.Errorf("the row of visit %d is not whole", i+1)
		}
	}
	all := pictures(t, pdf, 40)
	for n, img := range all {
		inkWithin(t, n+1, img, 40)
	}
	perPage := strings.Split(poppler(t, pdf, "pdftotext", "-raw", "-enc", "UTF-8", "FILE", "-"), "\f")
	headed := 0
	for i, page := range perPage {
		page = squeezed(page)
		rows := strings.Contains(page, "14stridesin2runs") || strings.Contains(page, "thisisvisitnumber")
		head := strings.Contains(page, squeezed("Since the visit before")) || strings.Contains(page, squeezed("Soreness Treatment Function"))
		if rows && !head {
			t.Errorf("page %d has rows without a header", i+1)
		}
		if rows {
			headed++
		}
		if want := fmt.Sprintf("page%dof%d", i+1, len(all)); i < len(all) && !strings.Contains(page, want) {
			t.Errorf("page %d does not say so", i+1)
		}
	}
	if headed < 6 {
		t.Errorf("the tables take %d pages", headed)
	}
}

// TestNamesOnPaper checks names in many scripts: what the typeface has is
// there, and what it lacks is seen to be missing.
func TestNamesOnPaper(t *testing.T) {
	long := strings.Repeat("Überlänge", 60)
	tests := []struct {
		name, in, want string
		lacking        bool
	}{
		{"Polish", "Żółć z Łodzi", "Żółć z Łodzi", false},
		{"Danish", "Ærø på Øen", "Ærø på Øen", false},
		{"Czech, letters and accents apart", "Pr\u030ci\u0301lis\u030c", "Příliš", false},
		{"Greek", "Βουκεφάλας", "Βουκεφάλας", false},
		{"Cyrillic", "Изумруд", "Изумруд", false},
		{"Turkish", "Yıldız Şimşek", "Yıldız Şimşek", false},
		{"Hebrew", "ברק", "ברק", false},
		{"Chinese", "赤兔 Red Hare", "□□ Red Hare", true},
		{"beyond the first plane", "Star 🐎", "Star □", true},
		{"control characters", "a\x00b\x07c", "a□b□c", true},
		{"not UTF-8", "caf\xe9", "caf□", true},
		{"a tab and a line end", "two\twords\nhere", "two words here", false},
		{"brackets and backslashes", `(a\) [b] %c`, `(a\) [b] %c`, false},
		{"very long", long, long, false},
		{"only spaces", "   ", "", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := clip()
			c.Header.Horse = tt.in
			c.Film.Problems = []string{tt.in}
			pdf := pdfOf(t, c)
			text := pdfText(t, pdf)
			if !strings.Contains(text, squeezed(tt.want)) {
				t.Errorf("%q is not in the PDF", tt.want)
			}
			note := squeezed("stands for a letter that the typeface of this file lacks")
			if got := strings.Contains(text, note); got != tt.lacking {
				t.Errorf("says that letters are missing: %v, want %v", got, tt.lacking)
			}
			if tt.in != long {
				return
			}
			for n, img := range pictures(t, pdf, 40) {
				inkWithin(t, n+1, img, 40)
			}
		})
	}
}

// TestTypefacesHaveTheSameLetters checks what show relies on.
func TestTypefacesHaveTheSameLetters(t *testing.T) {
	regular, err := typeface()
	if err != nil {
		t.Fatal(err)
	}
	for name, ttf := range map[string][]byte{"bold": liberationsansbold.TTF, "mono": liberationmonoregular.TTF} {
		other, err := sfnt.Parse(ttf)
		if err != nil {
			t.Fatal(err)
		}
		var b sfnt.Buffer
		for r := rune(0x20); r <= 0xffff; r++ {
			x, _ := regular.GlyphIndex(&b, r)
			if y, _ := other.GlyphIndex(&b, r); x != 0 && y == 0 && name == "bold" {
				t.Errorf("%s lacks %U", name, r)
			}
		}
		for _, r := range "0123456789abcdef" {
			if g, _ := other.GlyphIndex(&b, r); g == 0 {
				t.Errorf("%s lacks %q, which hashes are written with", name, r)
			}
		}
	}
}

// TestTallRow checks that a row taller than a page loses nothing.
func TestTallRow(t *testing.T) {
	v := visit()
	var text []string
	for i := range 900 {
		text = append(text, fmt.Sprintf("word%d", i))
	}
	v.Records = []VisitRecords{{Title: "Notes", Items: []RecordItem{{"short", "first"}, {"tall", strings.Join(text, " ")}, {"short", "last"}}}}
	// A narrow column makes it tall.
	v.Runs = []RunRow{{Clip: "toward-1.mp4", Finding: strings.Join(text, " ")}}
	pdf := pdfOf(t, v)
	got := strings.ToLower(pdfText(t, pdf)) // A finding begins with a capital.
	for _, w := range text {
		if strings.Count(got, w) < 2 {
			t.Fatalf("%q stands %d times in the PDF, want 2", w, strings.Count(got, w))
		}
	}
	for n, img := range pictures(t, pdf, 40) {
		inkWithin(t, n+1, img, 40)
	}
}

// TestFigureOnPaper sets a figure on paper beside the same figure drawn as a
// PNG by another canvas.
func TestFigureOnPaper(t *testing.T) {
	const dpi = 150
	f := drawn(t, summary(1, 2))[0].Drawing
	var b bytes.Buffer
	if err := f.PNG(&b); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	want := grey(img)
	s, err := newSheet(&Page{title: "figure"}, false)
	if err != nil {
		t.Fatal(err)
	}
	s.newPage()
	s.draw(f, sideMargin, edgeMargin, 1)
	var pdf bytes.Buffer
	if err := s.pdf.Output(&pdf); err != nil {
		t.Fatal(err)
	}
	got := pictures(t, pdf.Bytes(), dpi)[0]
	// Mean grey of squares of 3 mm: strokes may lie half a dot apart.
	const square = 18
	left, top := int(math.Round(sideMargin*dpi/72.0)), int(math.Round(edgeMargin*dpi/72.0))
	worst, inked := 0.0, 0
	for y := 0; y+square < want.Rect.Dy(); y += square {
		for x := 0; x+square < want.Rect.Dx(); x += square {
			var a, b float64
			for dy := range square {
				for dx := range square {
					a += float64(want.GrayAt(x+dx, y+dy).Y)
					b += float64(got.GrayAt(left+x+dx, top+y+dy).Y)
				}
			}
			if a < 250*square*square {
				inked++
			}
			worst = math.Max(worst, math.Abs(a-b)/(255*square*square))
		}
	}
	if inked < 50 {
		t.Fatalf("%d squares have ink", inked)
	}
	if worst > 0.12 {
		t.Errorf("a square's mean grey differs by %.2f of black", worst)
	}
}

// TestArc checks the arc's curves against the circle itself.
func TestArc(t *testing.T) {
	s, err := newSheet(&Page{title: "arc"}, false)
	if err != nil {
		t.Fatal(err)
	}
	s.newPage()
	c := &canvas{sheet: s, now: state{transform: affine{1, 0, 0, 1, 0, 0}}}
	for _, angle := range []float64{0.3, math.Pi / 2, 2, -math.Pi, 2 * math.Pi} {
		x, y := c.arc(vg.PathComp{Pos: vg.Point{X: 3, Y: 4}, Radius: 10, Start: 0.5, Angle: angle})
		if wx, wy := 3+10*math.Cos(0.5+angle), 4+10*math.Sin(0.5+angle); math.Hypot(x-wx, y-wy) > 1e-9 {
			t.Errorf("an arc of %.1f rad ends at (%.3f, %.3f), want (%.3f, %.3f)", angle, x, y, wx, wy)
		}
	}
}

// FuzzPaper checks that no name breaks a page.
func FuzzPaper(f *testing.F) {
	for _, s := range []string{"Hazel", "Żółć", "赤兔", "אב ab", "\x00\xff(\\", strings.Repeat("x", 2000), "a\u202eb\u0301"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		c := Clip{Header: Header{Horse: name, Letterhead: []string{name}}, Film: Film{File: name, Problems: []string{name}}, Notes: []string{name}}
		page, err := c.Page()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := page.PDF(&b); err != nil {
			t.Fatal(err)
		}
		if !bytes.HasPrefix(b.Bytes(), []byte("%PDF-")) || !bytes.HasSuffix(bytes.TrimSpace(b.Bytes()), []byte("%%EOF")) {
			t.Error("not a whole PDF")
		}
	})
}

// TestPageLeadsToItsPaper checks that a page links to its PDF, and that a PDF,
// which travels alone, leads nowhere.
func TestPageLeadsToItsPaper(t *testing.T) {
	c := clip()
	c.Header.PDF, c.Header.Details = "report.pdf", "details.pdf"
	var b bytes.Buffer
	if err := writePage(&b, c); err != nil {
		t.Fatal(err)
	}
	for _, link := range []string{`<a href="./report.pdf">the sheet to hand over</a>`, `<a href="./details.pdf">the details</a>`} {
		if !strings.Contains(b.String(), link) {
			t.Errorf("the page lacks %s", link)
		}
	}
	if pdf := pdfOf(t, c); bytes.Contains(pdf, []byte("/URI")) || bytes.Contains(pdf, []byte("/JavaScript ")) {
		t.Error("the PDF leads somewhere")
	}
}

// drawnFigures turns the outcomes of package plots into figures for a page.
func drawnFigures(outcomes []plots.Outcome) ([]Figure, error) {
	var out []Figure
	for _, o := range outcomes {
		if o.Figure == nil {
			out = append(out, Figure{Title: o.Title, Reason: o.Reason})
			continue
		}
		var b bytes.Buffer
		if err := o.Figure.SVG(&b); err != nil {
			return nil, err
		}
		out = append(out, Figure{Title: o.Title, Description: o.Figure.Description, SVG: b.Bytes(), Drawing: o.Figure})
	}
	return out, nil
}

// TestDetailsBeginWithTheFinding checks that on paper, where no film runs, what a film shows
// stands after the tables.
func TestDetailsBeginWithTheFinding(t *testing.T) {
	p, err := comparison(drawn(t, summary(1, 2))...).Page()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := p.Details(&b); err != nil {
		t.Fatal(err)
	}
	text, at := pdfText(t, b.Bytes()), -1
	for _, title := range []string{"Finding in full", "What changed", "Before beside after, on film", "Asymmetry score and its components", "Before you act on this"} {
		i := strings.Index(text, squeezed(title))
		if i <= at {
			t.Errorf("%q does not stand after what should come before it", title)
		}
		at = i
	}
}

// TestNoMeasureStandsTwice checks that the tables of the details have a row of each measure once,
// and that steps are told in centimetres.
func TestNoMeasureStandsTwice(t *testing.T) {
	for name, page := range map[string]interface{ Page() (*Page, error) }{"clip": clip(), "visit": visit(), "comparison": comparison()} {
		t.Run(name, func(t *testing.T) {
			p, err := page.Page()
			if err != nil {
				t.Fatal(err)
			}
			rows := map[string]int{}
			for _, s := range p.all() {
				for _, b := range s.blocks {
					if b.table != nil {
						measureRows(t, b.table, rows)
					}
				}
			}
			if len(rows) < 5 {
				t.Errorf("rows of %d measures were found", len(rows))
			}
			for measure, n := range rows {
				if n > 1 {
					t.Errorf("%s stands in %d rows", measure, n)
				}
			}
		})
	}
}

// measureRows counts a table's rows by the title of their measure.
func measureRows(t *testing.T, in *table, rows map[string]int) {
	titles := map[string]bool{}
	for _, d := range metrics.Definitions() {
		titles[d.Title] = true
	}
	for _, r := range in.rows {
		var title strings.Builder
		for _, part := range r.cells[0].text {
			title.WriteString(part.text)
		}
		measure, _, _ := strings.Cut(title.String(), " (followed")
		if titles[measure] {
			rows[measure]++
		}
		if under := r.cells[0].under; strings.HasPrefix(measure, "Step length") && under != "cm" {
			t.Errorf("%s is told in %q", measure, under)
		}
	}
}

// TestTheSheetIsOneSheet makes first pages of visits, comparisons and histories with all that can
// stand on them: what is handed over is one sheet, and only what a person wrote at length
// makes it more.
func TestTheSheetIsOneSheet(t *testing.T) {
	before, now := summary(1, 3), summary(0.2, 3)
	drawing := func(f *plots.Figure, err error) Figure {
		if err != nil {
			t.Fatal(err)
		}
		var svg bytes.Buffer
		if err := f.SVG(&svg); err != nil {
			t.Fatal(err)
		}
		return Figure{Title: f.Title, SVG: svg.Bytes(), Drawing: f}
	}
	felt := drawing(plots.FeltHorse([]plots.Felt{{Region: "shoulder blade, rear", Side: traj.Left, Grades: []int{3, 1}}, {Region: "base of the neck", Side: traj.Left, Grades: []int{2, 0}}, {Region: "croup", Side: traj.Right, Grades: []int{-1, 1}}}, []string{"before", "now"}))
	front := sampleFront()
	wide := front.Stills[0]
	wide.Width, wide.Height = 480, 400
	front.Stills, front.Felt = []Still{wide, wide}, felt
	front.Noted = nil
	for _, what := range []string{"Done", "In the barn", "In the field", "At work"} {
		front.Noted = append(front.Noted, Noted{What: what, Texts: []string{"stiff for the first minutes", "moves off freely"}})
	}
	front.NextFilming = []string{strings.Repeat("About 7 runs toward the camera would settle the length of the fore steps. ", 3)}
	compared, apart, told := comparison(), comparison(), comparison()
	unlike := *apart.Comparison
	unlike.Verdict, unlike.Barriers = metrics.NotComparable, []metrics.Barrier{{Condition: metrics.SurfaceDiffers, Before: "sand", After: "tarmac"}}
	unlike.Reasons = []string{"the surface differs (sand, then tarmac)"}
	apart.Comparison = &unlike
	one := visit()
	compared.Front, apart.Front, one.Front, told.Front = front, front, front, front
	compared.Front.Steps = drawing(plots.Footfalls(before, now, [2]string{"before", "now"}))
	one.Front.Steps = drawing(plots.Footfalls(nil, now, [2]string{}))
	apart.Front.Felt, apart.Front.Noted = Figure{}, nil // Two tables and all that was written take a second.
	told.Front.Noted = append(told.Front.Noted, Noted{What: "Notes", Texts: []string{"", strings.Repeat("the handler says that he has been off colour since the weather turned. ", 60)}})
	all := history()
	all.Front, all.Between = compared.Front, all.Between[:1] // More of them leave less room for words.
	all.Front.Course = "From each visit to the next no change counts; from the first to the last it does."
	for _, tt := range []struct {
		name string
		page interface{ Page() (*Page, error) }
		more bool
	}{{"comparison", compared, false}, {"history", all, false}, {"not comparable", apart, false}, {"visit", one, false}, {"told at length", told, true}} {
		t.Run(tt.name, func(t *testing.T) {
			p, err := tt.page.Page()
			if err != nil {
				t.Fatal(err)
			}
			var b bytes.Buffer
			if err := p.PDF(&b); err != nil {
				t.Fatal(err)
			}
			if n := bytes.Count(b.Bytes(), []byte("/Type /Page\n")); n < 1 || n > 1 != tt.more {
				t.Errorf("%d sheets", n)
			}
		})
	}
}

// TestNoSheetHoldsAHeadingAlone sets a figure that is as high as a page below its section's
// heading.
func TestNoSheetHoldsAHeadingAlone(t *testing.T) {
	tall, err := plots.History(manyTreatments(60), plots.HistoryOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var svg bytes.Buffer
	if err := tall.SVG(&svg); err != nil {
		t.Fatal(err)
	}
	high := *tall
	high.Height *= 3 // Set smaller to fit.
	p, err := visit(Figure{Title: "tall", SVG: svg.Bytes(), Drawing: &high}).Page()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := p.Details(&b); err != nil {
		t.Fatal(err)
	}
	for i, page := range strings.Split(strings.TrimSuffix(poppler(t, b.Bytes(), "pdftotext", "-layout", "FILE", "-"), "\f"), "\f") {
		lines := 0
		for _, line := range strings.Split(page, "\n") {
			if strings.TrimSpace(line) != "" {
				lines++
			}
		}
		if lines < 5 {
			t.Errorf("sheet %d holds %q", i+1, page)
		}
	}
}

// manyTreatments is a history of so many visits.
func manyTreatments(n int) []plots.HistoryPoint {
	var out []plots.HistoryPoint
	for i := range n {
		out = append(out, plots.HistoryPoint{Date: day(1, 1).AddDate(0, 0, i), Treatments: []string{fmt.Sprint("treatment ", i)}})
	}
	return out
}
