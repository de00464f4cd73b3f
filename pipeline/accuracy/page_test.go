package accuracy_test

import (
	"os"
	"testing"

	"jogstrip/pipeline/accuracy"
)

func TestBetween(t *testing.T) {
	page := "# Page\n<!-- tables: a -->\nold\n<!-- end: a -->\nrest\n"
	got, err := accuracy.Between([]byte(page), "a", []byte("\nnew\n\n"))
	if want := "# Page\n<!-- tables: a -->\n\nnew\n\n<!-- end: a -->\nrest\n"; err != nil || string(got) != want {
		t.Errorf("got %q, %v; want %q", got, err, want)
	}
	again, err := accuracy.Between(got, "a", []byte("new"))
	if err != nil || string(again) != string(got) {
		t.Errorf("writing the same again gives %q, %v", again, err)
	}
	for _, section := range []string{"b", ""} {
		if _, err := accuracy.Between([]byte(page), section, nil); err == nil {
			t.Errorf("section %q: no error", section)
		}
	}
}

// TestAccuracyPageHasItsMarkers: the reports find where their tables go.
func TestAccuracyPageHasItsMarkers(t *testing.T) {
	page, err := os.ReadFile("../../track/ACCURACY.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, section := range []string{"real", "sealed", "shoulders", "dots", "clean"} {
		if _, err := accuracy.Between(page, section, nil); err != nil {
			t.Errorf("section %s: %v", section, err)
		}
	}
}
