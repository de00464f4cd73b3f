package fsx

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// EscapeName writes a file's name, or a path, as valid UTF-8, so that it can
// stand in JSON and on a page. File names on Linux are bytes; those that are no
// UTF-8 become \xNN, two lower-case hexadecimal digits each. A backslash that
// stands before something of that form is written \x5c, so that no two names
// look alike and UnescapeName gives the name back. Ordinary names stay as they
// are.
func EscapeName(name string) string {
	if utf8.ValidString(name) && !strings.Contains(name, `\x`) {
		return name
	}
	return escape(name, func(rest string) bool {
		_, escaped := escapedByte(rest)
		return escaped
	})
}

// ShowText writes what is no UTF-8 in a text for people as EscapeName does, and
// leaves everything else as it is.
func ShowText(text string) string {
	if utf8.ValidString(text) {
		return text
	}
	return escape(text, func(string) bool { return false })
}

// escape writes bytes that are no UTF-8 as \xNN, and also those of which too says
// so by what stands there.
func escape(text string, too func(rest string) bool) string {
	var b strings.Builder
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		if r == utf8.RuneError && size == 1 || too(text[i:]) {
			fmt.Fprintf(&b, `\x%02x`, text[i])
		} else {
			b.WriteString(text[i : i+size])
		}
		i += size
	}
	return b.String()
}

// UnescapeName is the inverse of EscapeName.
func UnescapeName(shown string) string {
	if !strings.Contains(shown, `\x`) {
		return shown
	}
	var b strings.Builder
	for i := 0; i < len(shown); {
		if c, ok := escapedByte(shown[i:]); ok {
			b.WriteByte(c)
			i += len(`\xNN`)
			continue
		}
		b.WriteByte(shown[i])
		i++
	}
	return b.String()
}

// escapedByte reads the byte that s begins with in its escaped form. Only bytes
// that EscapeName writes so have one: those that can be no UTF-8 and the
// backslash.
func escapedByte(s string) (byte, bool) {
	if len(s) < 4 || s[0] != '\\' || s[1] != 'x' {
		return 0, false
	}
	var c byte
	for _, d := range []byte(s[2:4]) {
		switch {
		case d >= '0' && d <= '9':
			c = c<<4 | (d - '0')
		case d >= 'a' && d <= 'f':
			c = c<<4 | (d - 'a' + 10)
		default:
			return 0, false
		}
	}
	return c, c >= utf8.RuneSelf || c == '\\'
}
