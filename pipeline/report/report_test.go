package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"jogstrip/metrics"
	"jogstrip/metrics/geometry"
	"jogstrip/pipeline/glance"
	"jogstrip/pipeline/report/stepping"
	"jogstrip/plots"
	"jogstrip/track/traj"
)

var update = flag.Bool("update", false, "write the golden files anew")

// pages writes every kind of page, with small figures.
func pages(t *testing.T) map[string][]byte {
	t.Helper()
	return written(t, map[string]func(io.Writer) error{
		"clip":       func(w io.Writer) error { return writePage(w, clip(small("Head height"))) },
		"comparison": func(w io.Writer) error { return writePage(w, comparison(small("Before and after"))) },
		"visit":      func(w io.Writer) error { return writePage(w, visit(small("Score"))) },
		"batch":      func(w io.Writer) error { return writePage(w, batch()) },
		"history":    func(w io.Writer) error { return writePage(w, history(small("History"))) },
	})
}

func written(t *testing.T, write map[string]func(io.Writer) error) map[string][]byte {
	t.Helper()
	out := map[string][]byte{}
	for name, f := range write {
		var b bytes.Buffer
		if err := f(&b); err != nil {
			t.Fatal(err)
		}
		out[name] = b.Bytes()
	}
	return out
}

// TestHistoryShowsEveryVisitOfAFew checks the first page of a history: the first visit, the
// last, and those between that have room, in order of time.
func TestHistoryShowsEveryVisitOfAFew(t *testing.T) {
	h := history()
	p, err := h.Page()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range p.front.rows[0].rows {
		if len(r.cells) < 3 { // Not measured.
			continue
		}
		var b bytes.Buffer
		if err := r.cells[1].figure.drawing.SVG(&b); err != nil {
			t.Fatal(err)
		}
		at := -1
		for _, want := range []string{">2 Mar<", ">16 Mar<", ">20 Mar<", ">30 Mar<"} {
			i := strings.Index(b.String(), want)
			if i <= at {
				t.Errorf("row %q lacks %s after the visit before it", r.cells[0].text[0].text, want)
			}
			at = i
		}
		if strings.Contains(b.String(), ">9 Mar<") {
			t.Error("more visits than there is room for")
		}
	}
	// What limits the comparison of the first with the last is beside what came between them.
	h.Front.Course = "Each visit against the one before it."
	if p, err = h.Page(); err != nil {
		t.Fatal(err)
	}
	if want := noCause + " Each visit against the one before it. The surface was sand before and concrete after."; p.front.course != want {
		t.Errorf("below the sentence stands %q, want %q", p.front.course, want)
	}
	h.Comparison.Verdict = metrics.NotComparable
	h.Comparison.Barriers = []metrics.Barrier{{Condition: metrics.SurfaceDiffers, Before: "sand", After: "tarmac"}, {Condition: metrics.PresentationDiffers, Before: "led", After: "ridden"}}
	h.Comparison.Reasons = []string{"the surface differs (sand, then tarmac)", "the horse was presented differently (led, then ridden)"}
	if p, err = h.Page(); err != nil {
		t.Fatal(err)
	}
	if n := len(p.front.rows); n != 2 {
		t.Errorf("visits that cannot be compared stand in %d tables", n)
	}
	for i, want := range []string{", on sand, led, by itself: ", ", on tarmac, ridden, by itself: "} {
		if got := p.front.rows[i].caption; !strings.Contains(got, want) {
			t.Errorf("table %d is called %q, which lacks %q", i+1, got, want)
		}
	}
	if said := p.front.sentence; !strings.HasPrefix(said, "First and last cannot be compared: ") || glance.Words(said) > glance.MostWords {
		t.Errorf("of four visits %q does not say which", said)
	}
}

// TestLevelsAreExplainedWhereTheyAreDrawn: pictures of a clip without lengths have no levels.
func TestLevelsAreExplainedWhereTheyAreDrawn(t *testing.T) {
	for _, level := range []geometry.Level{geometry.LevelMetric, geometry.LevelNone} {
		for _, doubted := range []bool{false, true} {
			c := clip()
			c.Summary.Levels, c.Doubted = []geometry.Level{level}, doubted
			p, err := c.Page()
			if err != nil {
				t.Fatal(err)
			}
			if said := p.front.note != ""; said != (level == geometry.LevelMetric) {
				t.Errorf("%s, doubted %v: %q", level, doubted, p.front.note)
			}
			if doubted && (p.front.caution != "" || p.front.rows[0].rows != nil) {
				t.Errorf("a doubted clip names a side: %q", p.front.caution)
			}
		}
	}
}

// TestGolden compares every page with the stored one. After a wanted change
// run with -update and look at the pages.
func TestGolden(t *testing.T) {
	for name, got := range pages(t) {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("testdata", name+".golden.html")
			if *update {
				if err := os.MkdirAll("testdata", 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s differs from %s; run with -update after looking at it", name, path)
			}
		})
	}
}

// TestLook writes the pages with real figures into the folder named by
// JOGSTRIP_LOOK, for looking at in a browser.
func TestLook(t *testing.T) {
	dir := os.Getenv("JOGSTRIP_LOOK")
	if dir == "" {
		t.Skip("JOGSTRIP_LOOK names no folder to write the pages to")
	}
	for name, p := range realPaged(t) {
		page, err := p.Page()
		if err != nil {
			t.Fatal(err)
		}
		for end, write := range map[string]func(io.Writer) error{".html": page.HTML, ".pdf": page.PDF} {
			var b bytes.Buffer
			if err := errors.Join(write(&b), os.WriteFile(filepath.Join(dir, name+end), b.Bytes(), 0o644)); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// realPaged is every page with the figures package plots draws.
func realPaged(t *testing.T) map[string]paged {
	t.Helper()
	some := func(names ...string) (out []Figure) {
		for _, n := range names {
			out = append(out, picture(t, n))
		}
		return out
	}
	return map[string]paged{
		"clip":       clip(some("head-height", "step-length", "hoof-placement", "hoof-paths", "stance-bars", "score-components")...),
		"comparison": comparison(some("before-after", "changes")...),
		"visit":      visit(some("score-components")...),
		"batch":      batch(),
		"history":    history(some("history")...),
	}
}

// realPages writes every page with the figures package plots draws.
func realPages(t *testing.T) map[string][]byte {
	t.Helper()
	write := map[string]func(io.Writer) error{}
	for name, p := range realPaged(t) {
		write[name] = func(w io.Writer) error { return writePage(w, p) }
	}
	return written(t, write)
}

// element is an element of a page, as the checks below see it.
type element struct {
	name string
	attr map[string]string
	text string // Of the element itself, without its children's.
}

// ownScript stands for the page's script where a page is walked.
const ownScript = "the page's own script"

// elements walks a page. The pages are regular enough for an XML reader that
// knows HTML's void elements and entities.
func elements(t *testing.T, page []byte) []element {
	t.Helper()
	// A script is no XML.
	d := xml.NewDecoder(bytes.NewReader(bytes.ReplaceAll(page, []byte(stepping.Script), []byte(ownScript))))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var out []element
	var open []int
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		switch k := tok.(type) {
		case xml.StartElement:
			e := element{name: k.Name.Local, attr: map[string]string{}}
			for _, a := range k.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			out = append(out, e)
			open = append(open, len(out)-1)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				out[open[len(open)-1]].text += string(k)
			}
		}
	}
}

// TestPagesAreAccessible checks what a screen reader and a keyboard need:
// language, one first heading, headings without gaps, tables with captions and
// scoped headers, figures with words.
func TestPagesAreAccessible(t *testing.T) {
	for name, page := range realPages(t) {
		t.Run(name, func(t *testing.T) {
			level, firsts, tables, captions, mains := 0, 0, 0, 0, 0
			for _, e := range elements(t, page) {
				switch e.name {
				case "html":
					if e.attr["lang"] != "en" {
						t.Errorf("lang is %q", e.attr["lang"])
					}
				case "h1", "h2", "h3", "h4":
					n := int(e.name[1] - '0')
					if n > level+1 {
						t.Errorf("%s %q follows a heading of level %d", e.name, e.text, level)
					}
					if level = n; n == 1 {
						firsts++
					}
				case "main":
					mains++
				case "table":
					tables++
				case "caption":
					captions++
				case "th":
					if s := e.attr["scope"]; s != "col" && s != "row" {
						t.Errorf("th %q has scope %q", e.text, s)
					}
				case "svg":
					// A group is a figure whose parts can be chosen.
					if e.attr["role"] != "img" && e.attr["role"] != "group" || len(e.attr["aria-label"]) < 20 {
						t.Errorf("svg has role %q and label %q", e.attr["role"], e.attr["aria-label"])
					}
				case "a":
					if strings.TrimSpace(e.text) == "" {
						t.Errorf("link to %q has no words", e.attr["href"])
					}
				}
			}
			if firsts != 1 || mains != 1 {
				t.Errorf("%d h1 and %d main, want one of each", firsts, mains)
			}
			if tables == 0 || tables != captions {
				t.Errorf("%d tables and %d captions", tables, captions)
			}
		})
	}
}

// TestPagesFetchNothing checks that a page opens offline: no script, no
// source, no link out.
func TestPagesFetchNothing(t *testing.T) {
	for name, page := range realPages(t) {
		policy := false
		for _, e := range elements(t, page) {
			switch e.name {
			case "script": // The page's own, which its policy names by hash; it fetches nothing.
				if e.text != ownScript {
					t.Errorf("%s: a script that is not the page's own", name)
				}
			case "video": // Beside the page.
				if !strings.HasPrefix(e.attr["src"], "./") {
					t.Errorf("%s: a film from %q", name, e.attr["src"])
				}
				continue
			case "link", "iframe", "object", "embed", "base", "form":
				t.Errorf("%s: has a %s element", name, e.name)
			case "img": // Pictures are inside the page.
				if !strings.HasPrefix(e.attr["src"], "data:image/jpeg;base64,") || e.attr["alt"] == "" {
					t.Errorf("%s: a picture from %.40q, said to be %q", name, e.attr["src"], e.attr["alt"])
				}
				continue
			case "meta":
				policy = policy || e.attr["http-equiv"] == "Content-Security-Policy" && strings.HasPrefix(e.attr["content"], "default-src 'none'")
			}
			for a, v := range e.attr {
				if strings.HasPrefix(a, "on") || a == "src" || a == "srcset" || strings.Contains(v, "url(") {
					t.Errorf("%s: %s has %s=%q", name, e.name, a, v)
				}
				if a == "href" && !strings.HasPrefix(v, "./") && !strings.HasPrefix(v, "#") {
					t.Errorf("%s: link to %q leaves the folder", name, v)
				}
			}
		}
		if !policy {
			t.Errorf("%s: no content security policy", name)
		}
		if scripted := bytes.Contains(page, []byte("<script>")); scripted != bytes.Contains(page, []byte("; script-src &#39;sha256-")) && scripted != bytes.Contains(page, []byte("; script-src 'sha256-")) {
			t.Errorf("%s: script %v, and its policy says otherwise", name, scripted)
		}
		for _, word := range []string{"fetch(", "XMLHttpRequest", "import", "eval(", "innerHTML", "http"} {
			if strings.Contains(stepping.Script, word) {
				t.Errorf("the script holds %q", word)
			}
		}
		if strings.Contains(styleSheet, "url(") || strings.Contains(styleSheet, "@import") {
			t.Error("the style sheet fetches")
		}
	}
}

// TestWordsOfPeopleStayWords checks that what a person wrote cannot become
// markup.
func TestWordsOfPeopleStayWords(t *testing.T) {
	for name, page := range pages(t) {
		for _, e := range elements(t, page) {
			if e.name == "b" || e.name == "i" {
				t.Errorf("%s: a person's %q became an element", name, e.name)
			}
		}
	}
	if page := pages(t)["comparison"]; !bytes.Contains(page, []byte("massage &lt;i&gt;")) || !bytes.Contains(page, []byte("Hazel &#34;Nut&#34; &lt;b&gt;")) {
		t.Error("a person's words are not on the page")
	}
}

// TestEveryPageHasCautions checks that no page goes out without them.
func TestEveryPageHasCautions(t *testing.T) {
	for name, page := range pages(t) {
		for _, want := range []string{"a veterinarian diagnoses", "call the vet", "local law", "kick or a bite"} {
			if !bytes.Contains(page, []byte(want)) {
				t.Errorf("%s: %q is missing", name, want)
			}
		}
	}
}

// TestFindingComesFirst checks the order of a page: one sentence, rows, pictures, and then
// the details.
func TestFindingComesFirst(t *testing.T) {
	page := string(pages(t)["clip"])
	last := -1
	for _, want := range []string{`class="lead">In this one run signs point to the left fore`, "<table", "<svg", "<img", "Finding in full", "Signs point to the left fore", "Asymmetry score 1.7", "Before you act on this"} {
		at := strings.Index(page, want)
		if at <= last {
			t.Errorf("%q stands at %d, after what should follow it (%d)", want, at, last)
		}
		last = at
	}
}

// TestAChangeIsNotPutDownToTheTreatment checks that pages of visits that are compared say right
// below their sentence that a treatment need not be the cause, on paper on the first sheet.
func TestAChangeIsNotPutDownToTheTreatment(t *testing.T) {
	for name, page := range map[string]interface{ Page() (*Page, error) }{"comparison": comparison(), "history": history(), "visit": visit()} {
		p, err := page.Page()
		if err != nil {
			t.Fatal(err)
		}
		if said := strings.HasPrefix(p.front.course, noCause); said != (name != "visit") {
			t.Errorf("%s: below the sentence stands %q", name, p.front.course)
		}
	}
	text := poppler(t, sheetOf(t, comparison()), "pdftotext", "-l", "1", "-enc", "UTF-8", "FILE", "-")
	below, table := strings.Index(text, "does not show that"), strings.Index(text, "Question")
	if below < 0 || below > table {
		t.Errorf("on paper it stands at %d, the rows at %d", below, table)
	}
}

// TestNoScoreWhereTooLittleWasSeen: 0 is even, which nobody saw.
func TestNoScoreWhereTooLittleWasSeen(t *testing.T) {
	const finding = "no side: too little was seen to call the horse even or uneven; film more strides"
	little := func(s *metrics.Summary) {
		s.Limb, s.Score.Estimate = metrics.LimbFinding{Sentence: finding}, *est(0, 2.83)
	}
	one, v, h, c, b := clip(), visit(), history(), comparison(), batch()
	little(one.Summary)
	little(v.Summary)
	v.Runs = []RunRow{{Clip: "toward-1.mp4", Score: est(0, 2.83), Finding: finding}}
	for i := range h.Visits {
		if h.Visits[i].Summary != nil {
			little(h.Visits[i].Summary)
		}
	}
	little(&c.Comparison.After)
	c.Comparison.Score.After = est(0, 2.83)
	b.Measured = []BatchMeasured{{Horse: "Hazel", Clip: "toward-1.mp4", Strides: 2, Score: est(0, 2.83), Finding: finding}}
	for name, page := range written(t, map[string]func(io.Writer) error{
		"clip": func(w io.Writer) error { return writePage(w, one) }, "visit": func(w io.Writer) error { return writePage(w, v) },
		"history": func(w io.Writer) error { return writePage(w, h) }, "comparison": func(w io.Writer) error { return writePage(w, c) },
		"batch": func(w io.Writer) error { return writePage(w, b) },
	}) {
		if bytes.Contains(page, []byte("2.83")) || bytes.Contains(page, []byte("Asymmetry score 0")) {
			t.Errorf("%s: a score is shown", name)
		}
		if !bytes.Contains(bytes.ToLower(page), []byte("no score")) || !bytes.Contains(page, []byte("too little was seen")) {
			t.Errorf("%s: it does not say that there is none", name)
		}
	}
}

// TestAPhoneShowsBothSidesOfTheHorse checks that a page has what hands felt in two widths, of
// which its style shows one.
func TestAPhoneShowsBothSidesOfTheHorse(t *testing.T) {
	drawing, err := plots.FeltHorse([]plots.Felt{{Region: "croup", Side: traj.Right, Grades: []int{1}}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	v := visit()
	v.Front.Felt = small("What hands felt")
	v.Front.Felt.Drawing = drawing
	page := string(written(t, map[string]func(io.Writer) error{"": func(w io.Writer) error { return writePage(w, v) }})[""])
	if strings.Count(page, `<figure class="felt wide">`) != 1 || strings.Count(page, `<figure class="felt narrow"><svg`) != 1 {
		t.Error("the page lacks one of the widths")
	}
	before, narrow, cut := strings.Cut(styleSheet, "@media (max-width: 40rem) {")
	narrow, _, _ = strings.Cut(narrow, "\n}")
	if !cut || !strings.Contains(before, "figure.felt.narrow { display: none; }") || !strings.Contains(narrow, "figure.felt.wide { display: none; }") || !strings.Contains(narrow, "figure.felt.narrow { display: block;") {
		t.Error("the style shows both, or neither")
	}
}

// TestTextContrast checks every text colour of the style sheet on white: 4.5:1
// or more (WCAG 2.1, success criterion 1.4.3; formula from memory).
func TestTextContrast(t *testing.T) {
	found := regexp.MustCompile(`[ ;{]color: #([0-9a-f]{6})`).FindAllStringSubmatch(styleSheet, -1)
	if len(found) < 3 {
		t.Fatalf("found %d text colours in the style sheet", len(found))
	}
	for _, m := range found {
		var y float64
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(m[1][2*i:2*i+2], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(v) / 255
			if c <= 0.03928 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			y += weight * c
		}
		if contrast := 1.05 / (y + 0.05); contrast < 4.5 {
			t.Errorf("#%s has contrast %.2f on white", m[1], contrast)
		}
	}
}

func TestClean(t *testing.T) {
	wrap := func(s string) string { return `<svg xmlns="http://www.w3.org/2000/svg">` + s + `</svg>` }
	tests := []struct {
		name, svg string
		ok        bool
	}{
		{"drawing", wrap(`<g transform="scale(1, -1)"><path d="M0,0L1,1" style="fill:none"/><text x="1" y="2">a &lt; b</text></g>`), true},
		{"declaration and comment", `<?xml version="1.0"?><!-- made by hand -->` + wrap(""), true},
		{"script", wrap(`<script>alert(1)</script>`), false},
		{"handler", wrap(`<path d="M0,0" onload="alert(1)"/>`), false},
		{"link", wrap(`<a href="javascript:alert(1)"><text>x</text></a>`), false},
		{"outside picture", wrap(`<image href="http://example.org/x.png"/>`), false},
		{"outside style", wrap(`<path d="M0,0" style="fill:url(http://example.org/x)"/>`), false},
		{"escaped style", wrap(`<path d="M0,0" style="fill:u\72l(x)"/>`), false},
		{"style element", wrap(`<style>path{fill:red}</style>`), false},
		{"foreign object", wrap(`<foreignObject><p>x</p></foreignObject>`), false},
		{"two pictures", wrap("") + wrap(""), false},
		{"not a picture", `<p>x</p>`, false},
		{"entity", `<!DOCTYPE svg [<!ENTITY x "y">]>` + wrap(""), false},
		{"broken off", `<svg xmlns="http://www.w3.org/2000/svg"><g>`, false},
		{"empty", "", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := clean([]byte(tt.svg))
			if tt.ok != (err == nil) {
				t.Fatalf("got %q, error %v; want ok %v", got, err, tt.ok)
			}
			if err != nil && !errors.Is(err, ErrFigure) {
				t.Errorf("error %v is not ErrFigure", err)
			}
		})
	}
}

// FuzzClean checks that whatever is put in, nothing that runs or fetches comes out.
func FuzzClean(f *testing.F) {
	f.Add([]byte(`<svg xmlns="http://www.w3.org/2000/svg"><text x="1">a &amp; b</text></svg>`))
	f.Add([]byte(`<svg><g onload="x"><![CDATA[<script>]]></g></svg>`))
	f.Add([]byte(`<svg><title></title><desc>&lt;/desc>&lt;script></desc></svg>`))
	tags := regexp.MustCompile(`<([a-zA-Z!?]+)([^>]*)>`)
	f.Fuzz(func(t *testing.T, svg []byte) {
		got, err := clean(svg)
		if err != nil {
			return
		}
		for _, m := range tags.FindAllStringSubmatch(string(got), -1) {
			if !harmlessElements[m[1]] {
				t.Errorf("element %q came through: %q", m[1], got)
			}
			if regexp.MustCompile(`(?i)\s(on\w+|href|src)=`).MatchString(m[2]) {
				t.Errorf("attributes %q came through", m[2])
			}
		}
		if strings.Count(string(got), "<") != strings.Count(string(got), ">") {
			t.Errorf("unbalanced brackets in %q", got)
		}
	})
}

func TestBadFigureStopsThePage(t *testing.T) {
	var b bytes.Buffer
	err := writePage(&b, clip(Figure{Title: "Evil", SVG: []byte(`<svg><script/></svg>`)}))
	if !errors.Is(err, ErrFigure) || b.Len() != 0 {
		t.Errorf("error %v, %d bytes written; want ErrFigure and none", err, b.Len())
	}
}

func TestRelative(t *testing.T) {
	for in, want := range map[string]string{
		"":                                   "",
		"tracked.mp4":                        "./tracked.mp4",
		"../visit.html":                      "./../visit.html",
		"horses/Bracken #2/a?b.html":         "./horses/Bracken%20%232/a%3Fb.html",
		"javascript:alert(1)":                "./javascript:alert%281%29",
		"//example.org/x":                    "./example.org/x",
		"http://example.org/x":               "./http:/" + "/example.org/x",
		"horses/Grüner Weg/50%.out/rep.html": "./horses/Gr%C3%BCner%20Weg/50%25.out/rep.html",
	} {
		if got := relative(in); got != want {
			t.Errorf("relative(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestLimits checks the figures of the sentences against published and closed
// forms: one event within one frame of 1/60 s has a standard deviation of
// T/√12 = 4.8 ms, an interval T/√6 = 6.8 ms; on a level ground plane with
// f = 1500 px and H = 1.2 m one pixel is 5.6 cm along and 6.7 mm across at
// 10 m, 22.2 cm and 13.3 mm at 20 m (Z²/(f·H) and Z/f).
func TestLimits(t *testing.T) {
	f := Film{FrameRate: 60, Level: geometry.LevelMetric, NearestM: 10, FarthestM: 20, FocalPX: 1500, CameraHeightM: 1.2, ShakePX: 3, ResidualPX: 0.2}
	all := strings.Join(f.limits(), "\n")
	for _, want := range []string{
		"One frame lasts 16.7 ms", "4.8 ms", "6.8 ms",
		"(10.0 m) one pixel is 6.7 mm across", "(20.0 m) 13.3 mm", "5.6 cm there and 22.2 cm here",
		"2.0 mm at 15.0 m",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not in:\n%s", want, all)
		}
	}
}

func TestLimitsSayWhatIsMissing(t *testing.T) {
	for _, tt := range []struct {
		name string
		film Film
		want string
		not  string
	}{
		{"no calibration", Film{Level: geometry.LevelNone}, "Without calibration only times", "pixel is"},
		{"horizon only", Film{Level: geometry.LevelRatio}, "share of the horse’s own stride", "metres. A wrong"},
		{"breaks off", Film{Frames: 10, PromisedFrames: 20}, "promises 20 frames and holds 10", ""},
		{"shake of unknown size", Film{ShakePX: 2, ResidualPX: math.NaN()}, "could not be measured", "NaN"},
		{"lost mark", Film{Marks: []MarkFacts{{Landmark: traj.LeftHind, Seen: 75, Lost: 25}}}, "left hind mark was lost in 25 %", ""},
		{"mark never lost", Film{Marks: []MarkFacts{{Landmark: traj.LeftHind, Seen: 100}}}, "", "was lost"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			all := strings.Join(tt.film.limits(), "\n")
			if !strings.Contains(all, tt.want) {
				t.Errorf("%q is not in:\n%s", tt.want, all)
			}
			if tt.not != "" && strings.Contains(all, tt.not) {
				t.Errorf("%q is in:\n%s", tt.not, all)
			}
		})
	}
}

// TestInWords checks the side a difference is put on, sign by sign. The head's
// sign is that of Pfau et al. 2018 (Equine Vet J 50:117–123, figure 1): positive
// is higher over the right fore.
func TestInWords(t *testing.T) {
	result := func(n metrics.Name, v, half, tolerance float64) metrics.Result {
		e := even(n)
		return metrics.Result{Name: n, Value: est(v, half), Tolerance: tolerance,
			Beyond: (v-half > e || v+half < e) && math.Abs(v-e) > tolerance}
	}
	tests := []struct {
		r    metrics.Result
		want string
	}{
		{result(metrics.HeadLowDifference, 25, 5, 13), "head stays higher over the right fore"},
		{result(metrics.HeadLowDifference, -25, 5, 13), "head stays higher over the left fore"},
		{result(metrics.HeadLowDifference, 25, 30, 13), "no difference shown"},
		{result(metrics.HeadLowDifference, 9, 5, 13), "within tolerance"},
		{result(metrics.StepLengthFore, 0.08, 0.02, 0.03), "left step shorter"},
		{result(metrics.StepLengthHind, -0.08, 0.02, 0.03), "right step shorter"},
		{result(metrics.StepTimingFore, 52, 0.5, 1), "right lands late after the left"},
		{result(metrics.StepTimingFore, 48, 0.5, 1), "right lands early after the left"},
		{result(metrics.StepTimingFore, 50.2, 0.5, 1), "no difference shown"},
		{result(metrics.LateralArcFore, 3, 1, 1), "right swings further outward"},
		{result(metrics.QuartersToSide, -4, 1, 1), "quarters to the left of the forehand"},
		{metrics.Result{Name: metrics.LateralArcFore, Value: est(3, 1)}, "no tolerance known"},
		{metrics.Result{Name: metrics.StepLengthFore, Left: est(1, 0.1)}, "one side not measured"},
		{metrics.Result{Name: metrics.LateralArcFore, Left: est(8, 1), Right: est(9, 1)}, "difference not measured"},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprint(tt.r.Name, tt.want), func(t *testing.T) {
			if got := inWords(define(tt.r.Name), tt.r); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

// TestEverySidedMeasureHasWords keeps new measures from appearing without a side.
func TestEverySidedMeasureHasWords(t *testing.T) {
	for _, d := range metrics.Definitions() {
		if d.Sided && sideWords[d.Name] == "" {
			t.Errorf("%s compares the sides and has no words for them", d.Name)
		}
	}
}

func TestSentence(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "one": "One.", "Two.": "Two.", "  three!": "Three!", "éprouvé": "Éprouvé.",
	} {
		if got := sentence(in); got != want {
			t.Errorf("sentence(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestEmptyPages checks that a page about nothing still says so.
func TestEmptyPages(t *testing.T) {
	for name, page := range written(t, map[string]func(io.Writer) error{
		"clip":       func(w io.Writer) error { return writePage(w, Clip{}) },
		"comparison": func(w io.Writer) error { return writePage(w, Comparison{Comparison: &metrics.Comparison{}}) },
		"visit":      func(w io.Writer) error { return writePage(w, Visit{}) },
		"batch":      func(w io.Writer) error { return writePage(w, Batch{}) },
		"history":    func(w io.Writer) error { return writePage(w, History{}) },
	}) {
		for _, never := range []string{"NaN", "<nil>", "%!", "0001"} {
			if bytes.Contains(page, []byte(never)) {
				t.Errorf("%s: an empty page holds %q", name, never)
			}
		}
	}
	if err := writePage(io.Discard, Comparison{}); err == nil {
		t.Error("a comparison page without a comparison is no error")
	}
}

// TestNothingMeasuredAtAGlance checks the first page where no measure has a value: every
// question has its reason, and there is no scale without bars.
func TestNothingMeasuredAtAGlance(t *testing.T) {
	v := visit()
	v.Summary = &metrics.Summary{Runs: 2, Strides: 3}
	for _, d := range metrics.Definitions() {
		v.Summary.Results = append(v.Summary.Results, metrics.Result{Name: d.Name, Reason: "not marked: head"})
	}
	var b bytes.Buffer
	if err := writePage(&b, v); err != nil {
		t.Fatal(err)
	}
	front, _, _ := strings.Cut(b.String(), "Finding in full")
	if n := strings.Count(front, "Not measured: head not marked in the clip"); n != 1 {
		t.Errorf("the reason stands %d times on the first page, want once", n)
	}
	if strings.Contains(front, "Grey band") || strings.Contains(front, "the horse’s right") {
		t.Error("a scale without bars")
	}
	if text := pdfText(t, sheetOf(t, v)); strings.Count(text, squeezed("head not marked in the clip")) != 1 {
		t.Errorf("the sheet says %q", text)
	}
}

// paged is whatever makes a page.
type paged interface{ Page() (*Page, error) }

func writePage(w io.Writer, p paged) error {
	page, err := p.Page()
	if err != nil {
		return err
	}
	return page.HTML(w)
}

// TestAPageHasOneIntervalOfAChange checks that the first page and the details give the same
// interval of a change that is judged together with others: the one that the verdict goes
// by, and that the details say why it is wider.
func TestAPageHasOneIntervalOfAChange(t *testing.T) {
	c := comparison()
	m := *c.Comparison
	m.Changes = []metrics.Change{{Name: metrics.HeadLowDifference, Unit: "mm", Before: est(-42, 6), After: est(-21, 6), Change: est(21, 16), Judged: est(21, 27), Smallest: 16, Holm: 0.2, Verdict: metrics.NoChange}}
	c.Comparison = &m
	p, err := c.Page()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := p.HTML(&b); err != nil {
		t.Fatal(err)
	}
	page := strings.ReplaceAll(b.String(), "\u00a0", " ")
	for _, want := range []string{"21 ± 27 mm", "−6 to 48", "widened for their number"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, other := range []string{"± 16", "5 to 37"} {
		if strings.Contains(page, other) {
			t.Errorf("the page has %q, too", other)
		}
	}
}

// TestAComparisonIsToldInOrder checks that the measure declared beforehand leads, though the
// head changed more clearly; that what else changed stands below it; that every row
// without a measurable change has its interval; and that what explains stands in the notes.
func TestAComparisonIsToldInOrder(t *testing.T) {
	c := comparison()
	m := *c.Comparison
	m.Reasons = []string{"the shoeing changed (barefoot, then shod): a change in movement may come from it"}
	m.Changes = []metrics.Change{
		{Name: metrics.HeadLowDifference, Unit: "mm", Before: est(-42, 2), After: est(-2, 2), Change: est(40, 4), Judged: est(40, 4), Smallest: 4, Verdict: metrics.Improved},
		{Name: metrics.StepTimingFore, Unit: "%", Before: est(50.3, 0.5), After: est(49.8, 0.5), Change: est(-1, 5), Judged: est(-1, 5), Smallest: 5, Holm: 1, Verdict: metrics.NoChange},
		{Name: metrics.StepLengthFore, Unit: "m", Before: est(0.10, 0.03), After: est(0.01, 0.03), Change: est(-0.09, 0.06), Judged: est(-0.09, 0.06), Smallest: 0.06, Verdict: metrics.Improved, Followed: true},
	}
	c.Comparison = &m
	var b bytes.Buffer
	if err := writePage(&b, c); err != nil {
		t.Fatal(err)
	}
	page := strings.ReplaceAll(b.String(), "\u00a0", " ")
	at := 0
	for _, want := range []string{"Better: the left fore’s step was 10 cm short", "The shoeing changed (barefoot, then shod)", ">Step length, fore", "9 ± 6 cm",
		">Head", "40 ± 4 mm", "No measurable change: 1 ± 5 %", "Finding in full", ">Notes<", "Holm"} {
		next := strings.Index(page[at:], want)
		if next < 0 {
			t.Fatalf("%q does not stand below what comes before it", want)
		}
		at += next
	}
	for _, once := range []string{"The shoeing changed", "Holm"} {
		if n := strings.Count(page, once); n != 1 {
			t.Errorf("%q stands on the page %d times", once, n)
		}
	}
}

// TestWhatAHindExplainsIsSaidFirst checks that a row about the fores of a horse whose signs
// point to a hind begins with the hind, in the words of a row that is no finding of its own.
func TestWhatAHindExplainsIsSaidFirst(t *testing.T) {
	s := &metrics.Summary{Limb: metrics.LimbFinding{Limb: traj.RightHind}, Results: []metrics.Result{
		{Name: metrics.HeadLowDifference, Unit: "mm", Value: est(28, 6), Tolerance: 13, Beyond: true}, {Name: metrics.CroupHighDifference, Unit: "mm", Value: est(27, 6), Tolerance: 5, Beyond: true}}}
	for _, r := range glance.Rows(s)[:3] {
		c := part{}.said(r)
		said := strings.ReplaceAll(c.text[0].text+"|"+c.under, "\u00a0", " ")
		switch r.Question {
		case "Head":
			if said != "Fits the right hind: the head nods with it|28 mm higher over right fore" || c.text[0].strong {
				t.Errorf("%q, strong %v", said, c.text[0].strong)
			}
		case "Croup and hips":
			if said != "Fits the right hind|rises 27 mm more after right hind" || !c.text[0].strong {
				t.Errorf("%q, strong %v", said, c.text[0].strong)
			}
		}
	}
}

// TestWhatWasWrittenDownHasAColumnAVisit checks that a history's notes leave no visit out.
func TestWhatWasWrittenDownHasAColumnAVisit(t *testing.T) {
	noted := notedTable([]Noted{{What: "At work", Texts: []string{"short", "", "freely"}}}, []string{"first", "20 March", "last"})
	if got := strings.Join(noted.head, "|"); got != "Written down|First|20 March|Last" {
		t.Errorf("%q", got)
	}
	if cells := noted.rows[0].cells; len(cells) != 4 || cells[2].text[0].text != "not noted" || cells[3].text[0].text != "freely" {
		t.Errorf("%+v", noted.rows[0].cells)
	}
}
