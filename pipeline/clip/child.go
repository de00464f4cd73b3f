package clip

// #include "decode.h"
import "C"

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"

	"jogstrip/pipeline/proc"
)

// noSpace is what ffmpeg says where it can't write, whatever it says after it.
const noSpace = "No space left on device"

// lost returns an error that wraps ErrDecoderLost where waitErr or what ffmpeg
// said tells of a reason outside the clip, else nil.
func lost(waitErr error, messages []string) error {
	switch signal := proc.DiedOf(waitErr); signal {
	case "KILL", "TERM", "INT", "HUP", "XCPU":
		return fmt.Errorf("%w: ffmpeg was ended from outside (signal %s)", ErrDecoderLost, signal)
	}
	for _, m := range messages {
		if strings.Contains(m, noSpace) {
			return fmt.Errorf("%w: the folder for temporary files is full", ErrDecoderLost)
		}
		for _, words := range []string{"Input/output error", "Stale file handle", "Connection timed out", "Transport endpoint", "Host is down"} {
			if strings.Contains(m, words) {
				return fmt.Errorf("%w: the drive stopped answering (%s)", ErrDecoderLost, words)
			}
		}
	}
	return nil
}

// asInput makes a path that ffmpeg cannot take for an option or a protocol.
func asInput(path string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = "./" + path
	}
	return "file:" + abs
}

// InputArgs returns the arguments by which an ffmpeg child opens the clip at path:
// as a file of one of the formats that clips are read in, and nothing else from it.
func InputArgs(path string) []string {
	return []string{"-protocol_whitelist", C.decoder_protocols, "-format_whitelist", C.decoder_formats, "-i", asInput(path)}
}

// upright returns the filters that make a picture upright, each after a comma.
func (i *Info) upright() string {
	mirror := ""
	if i.Mirrored {
		mirror = ",hflip"
	}
	switch i.Rotation {
	case 90:
		return mirror + ",transpose=clock"
	case 180:
		return mirror + ",hflip,vflip"
	case 270:
		return mirror + ",transpose=cclock"
	}
	return mirror
}

// capped keeps the first bytes written to it and forgets the rest, so that a
// talkative child cannot fill memory.
type capped struct {
	buffer *bytes.Buffer
	limit  int
}

func (c *capped) Write(p []byte) (int, error) {
	if room := c.limit - c.buffer.Len(); room > 0 {
		c.buffer.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

// lastWords picks what a child process said last, without its prefixes.
func lastWords(stderr string, err error) string {
	lines := strings.Split(strings.TrimSpace(stderr), "\n")
	last := strings.TrimSpace(lines[len(lines)-1])
	if i := strings.LastIndex(last, ": "); i >= 0 && strings.HasPrefix(last, "file:") {
		last = last[i+2:]
	}
	if last == "" {
		return err.Error()
	}
	return last
}
