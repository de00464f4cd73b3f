package ui

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"jogstrip/pipeline/batch"
)

// bars draws a bar for every clip that is being measured and one for the
// whole, below the lines of what is done.
type bars struct {
	out     io.Writer
	columns func() int
	now     func() time.Time

	drawn    int // Lines that are on the screen and will be drawn over.
	lastDraw time.Time
	planning string

	running   []*clipBar
	clips     int // To be measured.
	done      int
	bytes     int64 // Of the clips to be measured.
	doneBytes int64
	begun     time.Time
}

type clipBar struct {
	name, stage string
	bytes       int64
	done, total int
}

// NewBars returns a printer for a terminal; columns gives its width at any time.
func NewBars(out io.Writer, columns func() int, now func() time.Time) Printer {
	return &bars{out: out, columns: columns, now: now}
}

// How often moving lines are drawn anew.
const drawPause = 100 * time.Millisecond

func (b *bars) Event(e batch.Event) {
	switch e.Kind {
	case batch.EventPlan:
		b.planning = fmt.Sprintf("looking at the clips: %d of %d", e.Done, e.Total)
	case batch.EventPlanned:
		b.planning = ""
		b.clips, b.bytes, b.begun = e.Total, e.Bytes, b.now()
	case batch.EventBegin:
		b.running = append(b.running, &clipBar{name: e.Clip, stage: "starting", bytes: e.Bytes})
	case batch.EventProgress:
		if c := b.find(e.Clip); c != nil {
			if c.stage != e.Stage {
				b.lastDraw = time.Time{}
			}
			c.stage, c.done, c.total = e.Stage, e.Done, e.Total
		}
	case batch.EventLater:
		b.running = slices.DeleteFunc(b.running, func(c *clipBar) bool { return c.name == e.Clip })
	case batch.EventClip:
		if c := b.find(e.Clip); c != nil {
			b.running = slices.DeleteFunc(b.running, func(o *clipBar) bool { return o == c })
			b.done++
			b.doneBytes += c.bytes
		}
	case batch.EventEnd:
		b.running, b.planning, b.clips = nil, "", 0
	}
	if text := lasting(e); text != "" {
		b.erase()
		fmt.Fprintln(b.out, text)
		b.lastDraw = time.Time{}
	}
	if now := b.now(); now.Sub(b.lastDraw) >= drawPause {
		b.lastDraw = now
		b.draw()
	}
}

func (b *bars) find(clip string) *clipBar {
	for _, c := range b.running {
		if c.name == clip {
			return c
		}
	}
	return nil
}

func (b *bars) Close() { b.erase() }

// erase takes the moving lines off the screen.
func (b *bars) erase() {
	if b.drawn > 0 {
		fmt.Fprintf(b.out, "\x1b[%dA\x1b[J", b.drawn)
		b.drawn = 0
	}
}

func (b *bars) draw() {
	lines := b.lines()
	var s strings.Builder
	if b.drawn > 0 {
		fmt.Fprintf(&s, "\x1b[%dA", b.drawn)
	}
	for _, l := range lines {
		s.WriteString("\x1b[2K" + l + "\n")
	}
	if len(lines) < b.drawn {
		s.WriteString("\x1b[J")
	}
	b.drawn = len(lines)
	_, _ = io.WriteString(b.out, s.String())
}

func (b *bars) lines() []string {
	columns := b.columns()
	if columns <= 0 {
		columns = 80
	}
	columns-- // A full last column makes some terminals begin a new line.
	if b.planning != "" {
		return []string{fit(b.planning, columns)}
	}
	if b.clips == 0 {
		return nil
	}
	var lines []string
	for _, c := range b.running {
		lines = append(lines, b.line(oneLine(c.name), share(c.done, c.total), c.total > 0, c.stage, columns))
	}
	fraction := b.fraction()
	tail := b.left(fraction)
	return append(lines, b.line(fmt.Sprintf("%d of %d clips", b.done, b.clips), fraction, true, tail, columns))
}

// line is name, bar, per cent, what.
func (b *bars) line(name string, part float64, known bool, what string, columns int) string {
	const barWide, percentWide = 20, 6
	bar, percent := strings.Repeat("·", barWide), "      "
	if known {
		full := min(int(part*barWide), barWide)
		bar = strings.Repeat("█", full) + strings.Repeat("·", barWide-full)
		percent = fmt.Sprintf("%4d %%", int(part*100))
	}
	whatWide := 26
	nameWide := columns - barWide - percentWide - whatWide - 4
	if nameWide < 12 { // A narrow terminal: the name and how far it is.
		nameWide = columns - percentWide - 1
		return fit(name, nameWide) + " " + percent
	}
	return fit(name, nameWide) + "  " + bar + percent + "  " + strings.TrimRight(fit(what, whatWide), " ")
}

func share(done, total int) float64 {
	if total <= 0 {
		return 0
	}
	return min(max(float64(done)/float64(total), 0), 1)
}

// fraction returns how much of the whole is done. Clips count by their size;
// a clip under way counts by the stage it is in: all but the following of the
// marks goes fast.
func (b *bars) fraction() float64 {
	if b.bytes <= 0 {
		return share(b.done, b.clips)
	}
	bytes := float64(b.doneBytes)
	for _, c := range b.running {
		bytes += 0.5 * share(c.done, c.total) * float64(c.bytes)
	}
	return min(bytes/float64(b.bytes), 1)
}

// left says how long it will take, once enough is done to tell.
func (b *bars) left(fraction float64) string {
	spent := b.now().Sub(b.begun)
	if b.done == 0 || fraction < 0.02 || fraction >= 1 {
		return ""
	}
	return "about " + duration(time.Duration(float64(spent)*(1-fraction)/fraction)) + " left"
}
