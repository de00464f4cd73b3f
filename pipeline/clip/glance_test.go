package clip

import (
	"path/filepath"
	"testing"

	"jogstrip/pipeline/scene/scenetest"
)

// Glances are of the frames that they name, whether there are many pictures to
// start from or one: the clip's brightness tells its frames apart.
func TestGlancesAreOfTheirFrames(t *testing.T) {
	for name, gop := range map[string]string{"many.mp4": "5", "one.mkv": "250"} {
		path := filepath.Join(t.TempDir(), name)
		scenetest.Coded(t, path, "-f", "lavfi", "-i", "color=c=black:size=320x180:rate=30,format=gray,geq=lum='N'", "-frames:v", "120", "-c:v", "libx264", "-qp", "4", "-g", gop, "-sc_threshold", "0", "-pix_fmt", "yuvj420p")
		info, err := Probe(t.Context(), path)
		if err != nil {
			t.Fatal(err)
		}
		all, err := Glances(t.Context(), info, 24, 64)
		if err != nil {
			t.Fatal(err)
		}
		if len(all) < 20 || len(all) > 26 {
			t.Errorf("%s: %d glances, about 24 were asked for", name, len(all))
		}
		for _, g := range all {
			if g.Width != 64 || g.Height != 36 || len(g.RGB) != 3*64*36 {
				t.Fatalf("%s: %d × %d px in %d bytes", name, g.Width, g.Height, len(g.RGB))
			}
			if got := int(g.RGB[3*(18*64+32)]); got < g.Frame-2 || got > g.Frame+2 {
				t.Errorf("%s: the glance of frame %d is of frame %d", name, g.Frame, got)
			}
		}
	}
}
