package film

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"strings"

	"jogstrip/metrics"
)

//go:embed guide.html
var guide string

// Guide returns the film guide for the handler, one HTML page that prints on a
// sheet of A4 or Letter and needs nothing from elsewhere. How many passes of how
// many strides it asks for is metrics.FilmingAdvice by the built-in tolerances,
// which the study beside that package checks.
func Guide() []byte {
	page := struct {
		Least, Strides int
		Advice         []metrics.Advice
	}{metrics.LeastRuns, metrics.LeastStrides, metrics.FilmingAdvice()}
	var out bytes.Buffer
	if err := template.Must(template.New("guide").Parse(guide)).Execute(&out, page); err != nil {
		panic(fmt.Sprintf("film guide: its own template: %v", err))
	}
	return out.Bytes()
}

// GuideStyleHash names the guide's own style sheet for a content-security
// policy, quotes included.
func GuideStyleHash() string {
	_, rest, _ := strings.Cut(guide, "<style>")
	style, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(style))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
