package film

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"strings"
)

//go:embed guide.html
var guide []byte

// Guide returns the film guide for the handler, one HTML page that prints on a
// sheet of A4 or Letter and needs nothing from elsewhere.
func Guide() []byte { return guide }

// GuideStyleHash names the guide's own style sheet for a content-security
// policy, quotes included.
func GuideStyleHash() string {
	_, rest, _ := strings.Cut(string(guide), "<style>")
	style, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
