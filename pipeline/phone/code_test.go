package phone

import (
	"image"
	"image/color"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// readCode reads a QR code, each square six pixels wide, with a reader that knows
// nothing of how it was drawn (a port of ZXing).
func readCode(t *testing.T, dark [][]bool) string {
	t.Helper()
	const wide = 6
	picture := image.NewGray(image.Rect(0, 0, wide*len(dark[0]), wide*len(dark)))
	for y := range picture.Rect.Dy() {
		for x := range picture.Rect.Dx() {
			if !dark[y/wide][x/wide] {
				picture.SetGray(x, y, color.Gray{Y: 255})
			}
		}
	}
	bits, err := gozxing.NewBinaryBitmapFromImage(picture)
	if err != nil {
		t.Fatal(err)
	}
	// The picture holds the code and nothing else: searching it for a code, that reader finds one
	// in two hundred a square too narrow.
	read, err := qrcode.NewQRCodeReader().Decode(bits, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_PURE_BARCODE: true})
	if err != nil {
		t.Fatal(err)
	}
	return read.GetText()
}

// The code says the address, as drawn on the page and as drawn in a terminal.
func TestTheCodeIsReadBack(t *testing.T) {
	t.Parallel()
	s := listenOn(t, t.TempDir(), nil)
	code, err := s.Code()
	if err != nil {
		t.Fatal(err)
	}
	dark, err := squares(code.Address)
	if err != nil {
		t.Fatal(err)
	}
	if got := readCode(t, dark); got != code.Address {
		t.Errorf("on the page it says %q, want %q", got, code.Address)
	}
	if code.Size != len(dark) || strings.Count(code.Path, "M") < 100 {
		t.Errorf("drawn as %d squares with %d runs", code.Size, strings.Count(code.Path, "M"))
	}
	text, err := code.ForTerminal()
	if err != nil {
		t.Fatal(err)
	}
	var terminal [][]bool
	for line := range strings.Lines(text) {
		line = strings.TrimSuffix(strings.TrimPrefix(strings.TrimSuffix(line, "\n"), "  \x1b[38;5;16;48;5;231m"), "\x1b[0m")
		var upper, lower []bool
		for _, r := range line {
			upper = append(upper, r == '█' || r == '▀')
			lower = append(lower, r == '█' || r == '▄')
		}
		terminal = append(terminal, upper, lower)
	}
	if got := readCode(t, terminal); got != code.Address {
		t.Errorf("in the terminal it says %q, want %q", got, code.Address)
	}
	if n := len(terminal[0]); n > 60 || len(terminal) > 60 {
		t.Errorf("in the terminal it takes %d columns and %d lines", n, len(terminal)/2)
	}
}
