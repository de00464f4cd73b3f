// Package stepping is the script with which a page goes through a film by frames and by
// strides. It is the one script that pages of results have, and whoever shows such a page
// may let it run by its hash: no other script passes for it.
package stepping

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
)

// Script is the text that stands in a page's script element.
//
//go:embed film.js
var Script string

// Source names the script in a content security policy (Content Security Policy Level 3,
// hash-source).
func Source() string {
	sum := sha256.Sum256([]byte(Script))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
