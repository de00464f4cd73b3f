package metrics

import "testing"

func BenchmarkMeasure(b *testing.B) {
	for _, c := range []struct {
		name string
		fps  float64
	}{{"60 fps", 60}, {"240 fps", 240}} {
		b.Run(c.name, func(b *testing.B) {
			h := sound()
			h.fps = c.fps
			set, opts := h.tracks(), h.options()
			for b.Loop() {
				if _, err := Measure(set, opts); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
