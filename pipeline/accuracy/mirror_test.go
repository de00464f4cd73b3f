package accuracy_test

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"jogstrip/metrics"
	"jogstrip/pipeline"
	"jogstrip/pipeline/accuracy"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene/scenetest"
)

// TestRealFilmInAMirror: real film that is mirrored and coded anew, with its marks mirrored,
// shows the same stances of the opposite limbs. Nobody looked at that film while anything was
// set, and what hangs on a few grey levels of the film as filed shows here.
func TestRealFilmInAMirror(t *testing.T) {
	root := shared(t)
	scenetest.NeedFFmpeg(t)
	data := filepath.Join(root, "data", "real")
	for _, c := range accuracy.RealClips() {
		if c.Name != "horse-trot-real60" {
			continue // The others take half a minute each.
		}
		t.Run(c.Name, func(t *testing.T) {
			marks, err := record.ReadMarks(filepath.Join(data, c.Name+".marks.json"))
			if err != nil {
				t.Fatal(err)
			}
			last := float64(marks.Picture.Width - 1)
			for i := range marks.Marks {
				m := &marks.Marks[i]
				m.Landmark = m.Landmark.Opposite()
				if m.X != nil {
					x := last - *m.X
					m.X = &x
				}
			}
			path := filepath.Join(t.TempDir(), c.Name+".mp4")
			scenetest.Recoded(t, c.Path(data), path, "-vf", "hflip", "-an", "-fps_mode", "passthrough", "-c:v", "libx264", "-crf", "17", "-pix_fmt", "yuv420p")
			if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
				t.Fatal(err)
			}
			mirrored, err := pipeline.MeasureClip(context.Background(), path, pipeline.MeasureOptions{NoVideo: true})
			if err != nil {
				t.Fatal(err)
			}
			out, err := filedReal(t, root, c)
			if err != nil {
				t.Fatal(err)
			}
			plain, err := record.ReadResult(out)
			if err != nil {
				t.Fatal(err)
			}
			same := 0
			for _, m := range mirrored.Run.Contacts {
				for _, p := range plain.Run.Contacts {
					if m.On > p.Off || p.On > m.Off || math.Hypot(last-m.PictureX-p.PictureX, m.PictureY-p.PictureY) > 10 {
						continue
					}
					if p.Limb == m.Limb.Opposite() {
						same++
					} else {
						t.Errorf("the stance at %.2f s is the %s's, and in the mirror the %s's", p.On, p.Limb.Words(), m.Limb.Words())
					}
				}
			}
			if few := min(len(mirrored.Run.Contacts), len(plain.Run.Contacts)); 4*same < 3*few || few < 3 {
				t.Errorf("%d stances, %d in the mirror, of which %d are the same", len(plain.Run.Contacts), len(mirrored.Run.Contacts), same)
			}
			a, b := plain.Summary.Lookup(metrics.StrideDuration), mirrored.Summary.Lookup(metrics.StrideDuration)
			if a == nil || b == nil || a.Value == nil || b.Value == nil || a.Value.Low > b.Value.High || b.Value.Low > a.Value.High {
				t.Errorf("strides %+v, in the mirror %+v", a, b)
			}
			t.Logf("%d stances, %d in the mirror, the same %d", len(plain.Run.Contacts), len(mirrored.Run.Contacts), same)
		})
	}
}
