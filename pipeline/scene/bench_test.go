package scene

import (
	"context"
	"path/filepath"
	"testing"
)

// BenchmarkRender reports frames per second for whole clips, encoding included.
func BenchmarkRender(b *testing.B) {
	for _, c := range []struct {
		name  string
		scene Scene
	}{
		{"1080p60 tripod", Scene{}},
		{"1080p60 hand", Scene{Camera: Camera{Hand: true}}},
		{"1080p60 dusk", Scene{Yard: Yard{Light: Dusk}}},
		{"4K60 tripod", Scene{Camera: Camera{Width: 3840, Height: 2160}}},
	} {
		c.scene.Motion.StartM = 12
		b.Run(c.name, func(b *testing.B) {
			frames := 0
			for b.Loop() {
				t, err := Render(context.Background(), c.scene, filepath.Join(b.TempDir(), "clip.mp4"), "", nil)
				if err != nil {
					b.Fatal(err)
				}
				frames += len(t.Times)
			}
			b.ReportMetric(float64(frames)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}

// BenchmarkHardFrame is one frame of a hard clip, without its encoding.
func BenchmarkHardFrame(b *testing.B) {
	m, err := solve(Hard(2000, "toward"))
	if err != nil {
		b.Fatal(err)
	}
	p := new(Renderer).painters(m, 1)[0]
	var buf []byte
	for i := 0; b.Loop(); i++ {
		buf = m.pack(p.frame(m.end*float64(i%20)/20), i, buf)
	}
}

func BenchmarkSimulate(b *testing.B) {
	for b.Loop() {
		if _, err := Simulate(Scene{Seed: 1, Asymmetry: ShortFore("right", 1)}); err != nil {
			b.Fatal(err)
		}
	}
}
