package markpage

import (
	"os"
	"regexp"
	"strconv"
	"testing"
)

// Sizes of type and spaces between things are of one scale each, which the head of the
// style sheet defines. What is larger than its largest step is a width that has to be
// kept free, and ems go with the type around them.
func TestOneScaleOfSpacingAndType(t *testing.T) {
	data, err := os.ReadFile("web/style.css")
	if err != nil {
		t.Fatal(err)
	}
	sizes := regexp.MustCompile(`(font-size|(?:margin|padding|gap)[a-z-]*):([^;}]*)`)
	length := regexp.MustCompile(`(?:^|[\s(])([0-9.]+)rem`)
	for _, rule := range sizes.FindAllStringSubmatch(string(data), -1) {
		for _, l := range length.FindAllStringSubmatch(rule[2], -1) {
			if v, err := strconv.ParseFloat(l[1], 64); err != nil || v < 3 {
				t.Errorf("%s is no step of its scale", rule[0])
			}
		}
	}
}
