package pipeline_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"jogstrip/pipeline"
	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/demo"
	"jogstrip/pipeline/fsx"
	"jogstrip/pipeline/record"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/pipeline/stills"
	"jogstrip/track/traj"
)

// TestMeasureClip takes a small clip through everything and looks at the folder
// it leaves.
func TestMeasureClip(t *testing.T) {
	ctx := context.Background()
	path := filepath.Join(t.TempDir(), "2026-05-01", "toward-1.mp4")
	s := scene.Scene{Seed: 3, Asymmetry: scene.ShortFore(traj.Right, 1)}
	s.Camera.Width, s.Camera.Height = 960, 540
	s.Motion.StartM, s.Motion.EndM = 12, 5
	truth := scenetest.Render(t, s, path)
	marks := demo.Clicked(truth, s, "toward-1.mp4", demo.Clicking{Distances: 2})
	if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
		t.Fatal(err)
	}
	before, err := fsx.Hash(ctx, path)
	if err != nil {
		t.Fatal(err)
	}
	opts := pipeline.MeasureOptions{Program: record.Program{Version: "test", OpenCV: "x", FFmpeg: "y"}}
	if done, why, err := pipeline.UpToDate(ctx, path, opts, nil); done || err != nil || why != "not measured yet" {
		t.Errorf("before measuring: %v %q %v", done, why, err)
	}
	if _, err := pipeline.MeasureClip(ctx, path, opts); err != nil {
		t.Fatal(err)
	}
	out := record.OutPath(path)
	first := map[string][]byte{}
	for _, name := range []string{"result.json", "strides.csv", "signals.csv", "columns.csv", "report.html", "report.pdf", "details.pdf", "stance.jpg", "tracked.mp4"} {
		b, err := os.ReadFile(filepath.Join(out, name))
		if err != nil {
			t.Fatal(err)
		}
		first[name] = b
	}
	for _, pattern := range []string{"plots/*.png", "plots/*.svg"} {
		if files, _ := filepath.Glob(filepath.Join(out, pattern)); len(files) < 3 {
			t.Errorf("%s: only %d files", pattern, len(files))
		}
	}

	t.Run("result conforms to its schema", func(t *testing.T) {
		text, err := record.Schema("result-1")
		if err != nil {
			t.Fatal(err)
		}
		document, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		c := jsonschema.NewCompiler()
		if err := c.AddResource("r", document); err != nil {
			t.Fatal(err)
		}
		value, err := jsonschema.UnmarshalJSON(bytes.NewReader(first["result.json"]))
		if err != nil {
			t.Fatal(err)
		}
		if err := c.MustCompile("r").Validate(value); err != nil {
			t.Error(err)
		}
	})
	t.Run("a row per frame and none missing", func(t *testing.T) {
		rows, err := csv.NewReader(bytes.NewReader(first["signals.csv"])).ReadAll()
		if err != nil || len(rows) != len(truth.Times)+1 {
			t.Errorf("%d rows for %d frames: %v", len(rows), len(truth.Times), err)
		}
	})
	t.Run("the video plays in a browser", func(t *testing.T) {
		info, err := clip.Probe(ctx, filepath.Join(out, "tracked.mp4"))
		if err != nil || info.Codec != "h264" || len(info.Times) != len(truth.Times) {
			t.Errorf("%+v %v", info, err)
		}
		format, err := exec.Command("ffprobe", "-v", "error", "-select_streams", "v:0", "-show_entries", "stream=pix_fmt", "-of", "csv=p=0", filepath.Join(out, "tracked.mp4")).Output()
		if err != nil || strings.TrimSpace(string(format)) != "yuv420p" {
			t.Errorf("pixels are %q, %v", format, err)
		}
	})
	t.Run("a picture of a left and a right stance", func(t *testing.T) {
		picture, err := jpeg.Decode(bytes.NewReader(first["stance.jpg"]))
		if err != nil {
			t.Fatal(err)
		}
		whole, closer := stills.Whole(picture.Bounds()), stills.Close(picture.Bounds())
		if b := picture.Bounds(); b.Dx() != stills.Width || closer.Empty() || whole.Dy() < 300 {
			t.Fatalf("%v, of which %v is the whole horse and %v closer", b, whole, closer)
		}
		// The levels of the head are drawn across both pieces, at their edges too: blue for
		// the left stance, amber for the right.
		row := func(in image.Rectangle, is func(r, g, b uint32) bool) int {
			best, most := -1, 0
			for y := in.Min.Y; y < in.Max.Y; y++ {
				n := 0
				for x := in.Min.X; x < in.Max.X; x++ {
					if r, g, b, _ := picture.At(x, y).RGBA(); is(r>>8, g>>8, b>>8) {
						n++
					}
				}
				if n > most {
					best, most = y, n
				}
			}
			if most < stills.Width/4 {
				return -1
			}
			return best
		}
		blue := func(r, g, b uint32) bool { return b > r+40 && b > g+20 && r < 90 }
		amber := func(r, g, b uint32) bool { return r > b+90 && r > g+40 }
		left, right := row(whole, blue), row(whole, amber)
		if left < 0 || right < 0 {
			t.Fatalf("levels at rows %d and %d", left, right)
		}
		// Closer, they are farther apart, and their middle is that of the part.
		up, down := row(closer, blue), row(closer, amber)
		if up < 0 || down < 0 || float64(up-down) < 1.7*float64(left-right) || float64(up-down) > 3.5*float64(left-right) {
			t.Errorf("closer, the levels are at rows %d and %d, in the whole at %d and %d", up, down, left, right)
		}
		if off := (up+down)/2 - (closer.Min.Y+closer.Max.Y)/2; off < -3 || off > 3 {
			t.Errorf("the middle of the levels is %d rows off", off)
		}
		// The clip's horse carries its head as its scene says: positive is higher over the right.
		t.Logf("levels at rows %d (left stance) and %d (right)", left, right)
		if higher := s.Asymmetry.HeadLowMM; left-right < 3 || higher < 20 {
			t.Errorf("the head is drawn at row %d in the left stance and %d in the right, and is %.0f mm higher over the right", left, right, higher)
		}
	})
	t.Run("the report fetches nothing", func(t *testing.T) {
		for _, word := range []string{"http://", "https://", "<script ", "src=\"/"} {
			if strings.Contains(strings.ReplaceAll(string(first["report.html"]), `xmlns="http://www.w3.org/2000/svg"`, ""), word) {
				t.Errorf("report.html holds %s", word)
			}
		}
	})
	t.Run("the same inputs give the same bytes", func(t *testing.T) {
		if _, err := pipeline.MeasureClip(ctx, path, opts); err != nil {
			t.Fatal(err)
		}
		for name, want := range first {
			got, err := os.ReadFile(filepath.Join(out, name))
			if err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s differs on a second run (%v)", name, err)
			}
		}
	})
	t.Run("the clip is untouched and nothing is left behind", func(t *testing.T) {
		after, err := fsx.Hash(ctx, path)
		if err != nil || after != before {
			t.Error("the clip has changed")
		}
		entries, err := os.ReadDir(filepath.Dir(path))
		if err != nil || len(entries) != 3 {
			t.Errorf("beside the clip lie %v", entries)
		}
	})
	t.Run("up to date until the marks change", func(t *testing.T) {
		if done, why, err := pipeline.UpToDate(ctx, path, opts, nil); !done || err != nil {
			t.Errorf("%q %v", why, err)
		}
		*marks.Marks[0].X++
		if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
			t.Fatal(err)
		}
		if done, why, err := pipeline.UpToDate(ctx, path, opts, nil); done || err != nil || why != "the marks have changed" {
			t.Errorf("%v %q %v", done, why, err)
		}
	})
	t.Run("marks outside the picture", func(t *testing.T) {
		*marks.Marks[0].X = 4000
		if err := record.WriteMarks(record.MarksPath(path), marks); err != nil {
			t.Fatal(err)
		}
		_, err := pipeline.MeasureClip(ctx, path, opts)
		if err == nil || !strings.Contains(err.Error(), "outside the picture") {
			t.Error(err)
		}
		if b, err := os.ReadFile(filepath.Join(out, "result.json")); err != nil || !bytes.Equal(b, first["result.json"]) {
			t.Error("a refused run harmed the old result")
		}
	})
	t.Run("cancelled", func(t *testing.T) {
		ctx, cancel := context.WithCancel(ctx)
		cancel()
		if _, err := pipeline.MeasureClip(ctx, path, opts); err == nil {
			t.Error("measured although cancelled")
		}
	})
}
