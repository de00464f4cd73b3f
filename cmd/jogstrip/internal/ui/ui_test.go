package ui

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jogstrip/pipeline/batch"
)

// screen is a terminal that understands what bars writes: line ends, cursor up,
// erase line, erase below. Anything else fails the test.
type screen struct {
	t       *testing.T
	columns int
	lines   []string
	row     int
}

func (s *screen) Write(p []byte) (int, error) {
	text := string(p)
	for text != "" {
		if s.row == len(s.lines) {
			s.lines = append(s.lines, "")
		}
		switch {
		case strings.HasPrefix(text, "\x1b["):
			end := strings.IndexAny(text, "AJK")
			if end < 0 {
				s.t.Fatalf("unknown control sequence %q", text)
			}
			n := 0
			_, _ = fmt.Sscanf(text[2:end], "%d", &n)
			switch text[end] {
			case 'A':
				if s.row -= n; s.row < 0 {
					s.t.Fatal("the cursor leaves the screen")
				}
			case 'K':
				s.lines[s.row] = ""
			case 'J':
				s.lines = s.lines[:s.row]
			}
			text = text[end+1:]
		case text[0] == '\n':
			s.row++
			text = text[1:]
		default:
			end := strings.IndexAny(text, "\n\x1b")
			if end < 0 {
				end = len(text)
			}
			wide := 0
			for _, r := range text[:end] {
				if r < ' ' {
					s.t.Fatalf("a control character reaches the terminal: %q", text[:end])
				}
				wide += cells(r)
			}
			if wide >= s.columns && s.row >= len(s.lines)-1 && strings.Contains(text[:end], "█") {
				s.t.Fatalf("a moving line of %d columns wraps at %d: %q", wide, s.columns, text[:end])
			}
			s.lines[s.row] += text[:end]
			text = text[end:]
		}
	}
	return len(p), nil
}

func (s *screen) shown() []string {
	var out []string
	for _, l := range s.lines {
		out = append(out, strings.TrimRight(l, " "))
	}
	return slices.DeleteFunc(out, func(l string) bool { return l == "" })
}

// clock is set by hand.
type clock struct{ t time.Time }

func newClock() *clock { return &clock{time.Date(2026, 3, 2, 22, 14, 3, 0, time.UTC)} }

func (c *clock) now() time.Time { return c.t }

func night() []batch.Event {
	return []batch.Event{
		{Kind: batch.EventStart, Folder: "/yard"},
		{Kind: batch.EventPlan, Done: 1, Total: 4},
		{Kind: batch.EventPlan, Done: 4, Total: 4},
		{Kind: batch.EventPlanned, Total: 2, Bytes: 4000, Totals: batch.Totals{Clips: 4, UpToDate: 1, NeedsMarks: 1}},
		{Kind: batch.EventClip, Clip: "old.mp4", Entry: &batch.Entry{Clip: "old.mp4", Outcome: batch.UpToDate}},
		{Kind: batch.EventClip, Clip: "new.mp4", Entry: &batch.Entry{Clip: "new.mp4", Outcome: batch.NeedsMarks, Reason: "nobody has marked it yet"}},
		{Kind: batch.EventBegin, Clip: "h/toward-1.mp4", Text: "not measured yet", Bytes: 3000},
		{Kind: batch.EventBegin, Clip: "h/馬\n歩く.mp4", Text: "the marks have changed", Bytes: 1000},
		{Kind: batch.EventProgress, Clip: "h/toward-1.mp4", Stage: "following the marks", Done: 30, Total: 120},
		{Kind: batch.EventProgress, Clip: "h/馬\n歩く.mp4", Stage: "drawing"},
	}
}

func TestBars(t *testing.T) {
	s := &screen{t: t, columns: 100}
	c := newClock()
	p := NewBars(s, func() int { return s.columns }, c.now)
	for _, e := range night() {
		c.t = c.t.Add(time.Second)
		p.Event(e)
	}
	want := []string{
		"batch over /yard",
		"4 clips: 2 to measure, 1 up to date, 1 without marks",
		"new.mp4: needs marks: nobody has marked it yet",
		"h/toward-1.mp4                               █████···············  25 %  following the marks",
		"h/馬·歩く.mp4                                ····················        drawing",
		"0 of 2 clips                                 █···················   9 %",
	}
	if diff := cmp.Diff(want, s.shown()); diff != "" {
		t.Error(diff)
	}
	c.t = c.t.Add(54 * time.Second) // A minute after the plan.
	p.Event(batch.Event{Kind: batch.EventClip, Clip: "h/toward-1.mp4", Entry: &batch.Entry{Clip: "h/toward-1.mp4", Outcome: batch.Measured, Seconds: 59.6, Facts: &batch.Facts{Finding: "no side stands out"}}})
	want = append(want[:3],
		"h/toward-1.mp4: measured (1 min 00 s): no side stands out",
		"h/馬·歩く.mp4                                ····················        drawing",
		"1 of 2 clips                                 ███████████████·····  75 %  about 20 s left",
	)
	if diff := cmp.Diff(want, s.shown()); diff != "" {
		t.Error(diff)
	}
	p.Event(batch.Event{Kind: batch.EventClip, Clip: "h/馬\n歩く.mp4", Entry: &batch.Entry{Clip: "h/馬\n歩く.mp4", Outcome: batch.Failed, Reason: "the measuring process aborted"}})
	p.Event(batch.Event{Kind: batch.EventEnd, Totals: batch.Totals{Clips: 4, Measured: 1, UpToDate: 1, NeedsMarks: 1, Failed: 1}, Page: "/yard/morning.html"})
	p.Close()
	want = append(want[:4],
		"h/馬·歩く.mp4: FAILED: the measuring process aborted",
		"4 clips: 1 measured, 1 up to date, 1 without marks, 1 failed",
		"morning page: /yard/morning.html",
	)
	if diff := cmp.Diff(want, s.shown()); diff != "" {
		t.Error(diff)
	}
}

func TestBarsFitAnyWidth(t *testing.T) {
	for columns := 1; columns < 140; columns++ {
		s := &screen{t: t, columns: columns}
		c := newClock()
		p := NewBars(s, func() int { return columns }, c.now)
		for _, e := range night()[3:] {
			c.t = c.t.Add(time.Second)
			p.Event(e)
		}
		for _, l := range p.(*bars).lines() {
			wide := 0
			for _, r := range l {
				wide += cells(r)
			}
			if wide >= max(columns, 9) {
				t.Errorf("%d columns wide on a terminal of %d: %q", wide, columns, l)
			}
		}
	}
}

func TestFit(t *testing.T) {
	tests := []struct {
		text  string
		width int
		want  string
	}{
		{"short", 8, "short   "},
		{"exactly", 7, "exactly"},
		{"horses/bramble/2026-03-02/toward-1.mp4", 20, "horses…/toward-1.mp4"},
		{"馬馬馬馬", 8, "馬馬馬馬"},
		{"馬馬馬馬馬", 8, "馬…馬馬 "},
		{"x", 0, ""},
		{"xyz", 1, "…"},
	}
	for _, tt := range tests {
		if got := fit(tt.text, tt.width); got != tt.want {
			t.Errorf("fit(%q, %d) = %q, want %q", tt.text, tt.width, got, tt.want)
		}
	}
}

func TestPlain(t *testing.T) {
	var out bytes.Buffer
	p := NewPlain(&out, newClock().now)
	for _, e := range night() {
		p.Event(e)
	}
	p.Event(batch.Event{Kind: batch.EventNote, Text: "not searched: locked: permission denied"})
	p.Event(batch.Event{Kind: batch.EventEnd, Totals: batch.Totals{Clips: 4, UpToDate: 1, NeedsMarks: 1, NotReached: 2}, Text: "It was interrupted; starting it again goes on where it stopped."})
	want := `22:14:03 batch over /yard
22:14:03 4 clips: 2 to measure, 1 up to date, 1 without marks
22:14:03 new.mp4: needs marks: nobody has marked it yet
22:14:03 h/toward-1.mp4: measuring (not measured yet)
22:14:03 h/馬·歩く.mp4: measuring (the marks have changed)
22:14:03 note: not searched: locked: permission denied
22:14:03 4 clips: 1 up to date, 1 without marks, 2 not reached; It was interrupted; starting it again goes on where it stopped.
`
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
}

func TestJSONLines(t *testing.T) {
	var out bytes.Buffer
	c := newClock()
	p := NewJSON(&out, c.now)
	for _, e := range night() {
		p.Event(e)
	}
	for range 20 { // Twenty steps in a second are one line.
		c.t = c.t.Add(50 * time.Millisecond)
		p.Event(batch.Event{Kind: batch.EventProgress, Clip: "h/toward-1.mp4", Stage: "following the marks", Done: 31, Total: 120})
	}
	p.Event(batch.Event{Kind: batch.EventEnd, Totals: batch.Totals{Clips: 4, NotReached: 4}, Error: "the disk is full"})
	var types []string
	for line := range strings.Lines(out.String()) {
		var m map[string]any
		if err := json.Unmarshal([]byte(line), &m); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if _, err := time.Parse(time.RFC3339Nano, m["time"].(string)); err != nil {
			t.Error(err)
		}
		types = append(types, m["type"].(string))
	}
	want := []string{"start", "plan", "plan", "planned", "clip", "clip", "begin", "begin", "progress", "progress", "progress", "end"}
	if diff := cmp.Diff(want, types); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(out.String(), `"error":"the disk is full"`) || !strings.Contains(out.String(), `"not_reached":4`) {
		t.Errorf("the end lacks something: %s", out.String())
	}
}
