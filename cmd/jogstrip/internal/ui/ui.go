package ui

import (
	"fmt"
	"strings"
	"time"

	"golang.org/x/text/width"

	"jogstrip/pipeline/batch"
	"jogstrip/pipeline/fsx"
)

// Printer shows the events of one batch. It is not safe for use by several
// goroutines.
type Printer interface {
	Event(e batch.Event)
	// Close takes away what moves. It may be called more than once.
	Close()
}

// outcomeWords is how people read an outcome.
func outcomeWords(o batch.Outcome) string {
	switch o {
	case batch.UpToDate:
		return "up to date"
	case batch.NeedsMarks:
		return "needs marks"
	case batch.SecondLook:
		return "needs a second look"
	case batch.Failed:
		return "FAILED"
	case batch.NotReached:
		return "not reached"
	}
	return string(o)
}

// clipLine is what there is to say of a clip that is done.
func clipLine(e *batch.Entry) string {
	text := fmt.Sprintf("%s: %s", e.Clip, outcomeWords(e.Outcome))
	if e.Seconds >= 1 {
		text += fmt.Sprintf(" (%s)", duration(time.Duration(e.Seconds*float64(time.Second))))
	}
	if e.Reason != "" {
		text += ": " + e.Reason
	}
	if e.Outcome == batch.Measured && e.Facts != nil && e.Facts.Finding != "" {
		finding, _, _ := strings.Cut(e.Facts.Finding, ": ") // Its grounds are in the report.
		text += ": " + finding
	}
	return oneLine(text)
}

// planLine says what is to be done.
func planLine(e batch.Event) string {
	t := e.Totals
	parts := []string{fmt.Sprintf("%d to measure", e.Total)}
	add := func(n int, what string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, what))
		}
	}
	add(t.UpToDate, "up to date")
	add(t.SecondLook, "up to date and to be looked at again")
	add(t.NeedsMarks, "without marks")
	add(t.Failed, "not usable")
	return fmt.Sprintf("%s: %s", count(t.Clips, "clip"), strings.Join(parts, ", "))
}

// totalsLine says what came of it.
func totalsLine(t batch.Totals) string {
	var parts []string
	add := func(n int, what string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, what))
		}
	}
	add(t.Measured, "measured")
	add(t.UpToDate, "up to date")
	add(t.SecondLook, "to look at again")
	add(t.NeedsMarks, "without marks")
	add(t.Failed, "failed")
	add(t.Busy, "held by another run")
	add(t.NotReached, "not reached")
	if len(parts) == 0 {
		return "no clips"
	}
	return fmt.Sprintf("%s: %s", count(t.Clips, "clip"), strings.Join(parts, ", "))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// duration writes d as people say it.
func duration(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", int(d/time.Second))
	case d < time.Hour:
		return fmt.Sprintf("%d min %02d s", int(d/time.Minute), int(d%time.Minute/time.Second))
	}
	d = d.Round(time.Minute)
	return fmt.Sprintf("%d h %02d min", int(d/time.Hour), int(d%time.Hour/time.Minute))
}

// oneLine keeps names with line ends or control characters from moving the
// cursor.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return '·'
		}
		return r
	}, fsx.ShowText(text))
}

// cells returns how many columns of a terminal r takes.
func cells(r rune) int {
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// fit cuts or fills text to exactly n columns, cutting in the middle: the end
// of a path tells more than its middle.
func fit(text string, n int) string {
	if n <= 0 {
		return ""
	}
	runes := []rune(text)
	wide := 0
	for _, r := range runes {
		wide += cells(r)
	}
	if wide <= n {
		return text + strings.Repeat(" ", n-wide)
	}
	head, headWide := 0, 0
	for head < len(runes) && headWide+cells(runes[head]) <= (n-1)/3 {
		headWide += cells(runes[head])
		head++
	}
	tail, tailWide := len(runes), 0
	for tail > head && headWide+1+tailWide+cells(runes[tail-1]) <= n {
		tail--
		tailWide += cells(runes[tail])
	}
	return string(runes[:head]) + "…" + string(runes[tail:]) + strings.Repeat(" ", n-headWide-1-tailWide)
}
