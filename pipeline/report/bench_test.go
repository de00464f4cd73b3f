package report

import (
	"io"
	"testing"
)

// BenchmarkPDF writes the report of one clip on paper.
func BenchmarkPDF(b *testing.B) {
	page, err := clip().Page()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := page.PDF(io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
