package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"
)

// stageLine shows one clip's progress in a single line of a terminal; elsewhere it
// shows nothing, or with lines set a line when a stage begins.
type stageLine struct {
	out   io.Writer
	name  string
	live  bool
	lines bool
	shown string
}

func newStageLine(out io.Writer, name string) *stageLine {
	f, ok := out.(*os.File)
	return &stageLine{out: out, name: name, live: ok && term.IsTerminal(int(f.Fd()))}
}

func (l *stageLine) show(stage string, done, total int) {
	if !l.live {
		if l.lines && stage != l.shown {
			l.shown = stage
			fmt.Fprintf(l.out, "%s: %s (%d %%)\n", l.name, stage, 100*done/max(total, 1))
		}
		return
	}
	text := fmt.Sprintf("%s: %s", l.name, stage)
	if total > 0 {
		const width = 24
		full := min(width*done/total, width)
		text = fmt.Sprintf("%s [%s%s] %3d %%  %s", l.name, strings.Repeat("=", full), strings.Repeat(" ", width-full), 100*done/total, stage)
	}
	if text == l.shown {
		return
	}
	l.shown = text
	fmt.Fprintf(l.out, "\r\x1b[K%s", text)
}

func (l *stageLine) end() {
	if l.live && l.shown != "" {
		fmt.Fprint(l.out, "\r\x1b[K")
	}
}
