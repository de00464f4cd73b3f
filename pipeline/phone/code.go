package phone

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// Code is how a phone gets in: what the computer shows.
type Code struct {
	// Address is what the phone opens, with the token in it.
	Address string `json:"address"`
	// Fingerprint is the certificate's SHA-256; empty where nothing is encrypted.
	Fingerprint string `json:"fingerprint,omitempty"`
	// Size and Path draw the address as a QR code (ISO/IEC 18004): the dark squares
	// as an SVG path in a square of Size units, quiet zone of four squares included.
	Size int    `json:"size"`
	Path string `json:"path"`
}

const quiet = 4 // The light border that a QR code needs, squares (ISO/IEC 18004).

// squares returns the dark squares of the code that says text, border included.
func squares(text string) (dark [][]bool, err error) {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return nil, fmt.Errorf("draw QR code: %w", err)
	}
	n := code.Size + 2*quiet
	dark = make([][]bool, n)
	for y := range dark {
		dark[y] = make([]bool, n)
		for x := range dark[y] {
			dark[y][x] = code.Black(x-quiet, y-quiet) // Outside it is light.
		}
	}
	return dark, nil
}

func drawn(dark [][]bool) string {
	var b strings.Builder
	for y, row := range dark {
		for x := 0; x < len(row); x++ {
			from := x
			for x < len(row) && row[x] {
				x++
			}
			if x > from {
				fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", from, y, x-from, x-from)
			}
		}
	}
	return b.String()
}

// ForTerminal draws the code for a terminal, two squares a character, dark on
// light whatever the terminal's own colours.
func (c Code) ForTerminal() (string, error) {
	dark, err := squares(c.Address)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for y := 0; y < len(dark); y += 2 {
		b.WriteString("  \x1b[38;5;16;48;5;231m")
		for x := range dark[y] {
			upper, lower := dark[y][x], y+1 < len(dark) && dark[y+1][x]
			switch {
			case upper && lower:
				b.WriteString("█")
			case upper:
				b.WriteString("▀")
			case lower:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}
