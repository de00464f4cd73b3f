package fsx

import (
	"testing"
	"unicode/utf8"
)

func TestEscapeName(t *testing.T) {
	for name, want := range map[string]string{
		"toward-1.mp4":     "toward-1.mp4",
		"Łódź/赤兔.mp4":      "Łódź/赤兔.mp4",
		"caf\xe9.mp4":      `caf\xe9.mp4`, // Latin 1, as old cameras and cards have it.
		"\xff\xfe":         `\xff\xfe`,
		`a\b.mp4`:          `a\b.mp4`,
		`a\xff.mp4`:        `a\x5cxff.mp4`, // The four characters, not the byte.
		`a\x5cxff.mp4`:     `a\x5cx5cxff.mp4`,
		`a\x41`:            `a\x41`,
		"cut \xe2\x82.mp4": `cut \xe2\x82.mp4`,
		"�.mp4":            "�.mp4", // The sign itself is a letter like any other.
	} {
		if got := EscapeName(name); got != want {
			t.Errorf("%q is shown as %q, want %q", name, got, want)
		}
	}
}

// FuzzEscapeName checks that a name comes back whole and is valid UTF-8
// between; so no two names look alike.
func FuzzEscapeName(f *testing.F) {
	for _, s := range []string{"", "a", "\xff", `\xff`, `\x5cxff`, "\\\xff", "\\x\xff", "\\x8\xff", "é\xc3", `\`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		shown := EscapeName(name)
		if !utf8.ValidString(shown) {
			t.Errorf("%q is shown as %q", name, shown)
		}
		if back := UnescapeName(shown); back != name {
			t.Errorf("%q came back as %q", name, back)
		}
	})
}
