//go:build matprofile

package damaged_test

import (
	"bytes"
	"context"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"jogstrip/pipeline"
	"jogstrip/pipeline/batch/damaged"
)

// A damaged clip must not leave OpenCV memory behind on its way out. Batches
// could live with it, since each clip's process ends; the marks page could not.
func TestDamagedClipsLeakNoPictures(t *testing.T) {
	root := t.TempDir()
	cases, err := damaged.Make(t, root)
	if err != nil {
		t.Fatal(err)
	}
	measured := 0
	for _, c := range cases {
		if c.Name == "linked/pipe.mp4" || c.Name == "linked/device.mp4" { // Reading them never ends; the batch refuses them before.
			continue
		}
		before := gocv.MatProfile.Count()
		_, err := pipeline.MeasureClip(context.Background(), filepath.Join(root, filepath.FromSlash(c.Name)), pipeline.MeasureOptions{NoVideo: true, Resamples: 200})
		if err == nil {
			measured++
		}
		if after := gocv.MatProfile.Count(); after != before {
			var b bytes.Buffer
			_ = gocv.MatProfile.WriteTo(&b, 1) // Only for the message.
			t.Errorf("%s (%s; %v): %d pictures were not closed\n%s", c.Name, c.Why, err, after-before, b.Bytes())
		}
	}
	if measured < 20 {
		t.Errorf("only %d clips were measured: the test says little", measured)
	}
	t.Logf("%d clips, %d of them measured", len(cases), measured)
}
