package record_test

import (
	"os"
	"strings"
	"testing"

	"jogstrip/pipeline/record"
)

func TestExamplesInFormatsAreReadable(t *testing.T) {
	text, err := os.ReadFile("FORMATS.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := strings.Split(string(text), "```json\n")[1:]
	if len(blocks) == 0 {
		t.Fatal("no example in FORMATS.md")
	}
	for _, b := range blocks {
		example, _, _ := strings.Cut(b, "```")
		m, err := record.ParseMarks("FORMATS.md", []byte(example))
		if err != nil {
			t.Error(err)
			continue
		}
		if err := m.Fit("FORMATS.md", 1920, 1080, 400); err != nil {
			t.Error(err)
		}
	}
}
