package main

import (
	"os"
	"regexp"
	"slices"
	"testing"
)

// The exit codes in README.md are those of jogstrip help exit-codes, word for word.
func TestExitCodesInReadme(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := func(pattern, text string) (out [][2]string) {
		for _, m := range regexp.MustCompile(pattern).FindAllStringSubmatch(text, -1) {
			out = append(out, [2]string{m[1], m[2]})
		}
		return out
	}
	help, readme := rows(`(?m)^  (\d+) +(.+)$`, exitHelp), rows(`(?m)^\| (\d+) \| (.+?) \|$`, string(text))
	if len(help) != 6 || !slices.Equal(help, readme) {
		t.Errorf("README.md says\n%q\nand the help\n%q", readme, help)
	}
}
