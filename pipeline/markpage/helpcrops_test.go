package markpage

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"jogstrip/pipeline/clip"
	"jogstrip/pipeline/scene"
	"jogstrip/pipeline/scene/scenetest"
	"jogstrip/track/traj"
)

var helpUpdate = flag.Bool("help-update", false, "render the crops of the help page anew")

// The help page shows crops of rendered clips; every one that it names is there.
func TestTheHelpHasItsCrops(t *testing.T) {
	if *helpUpdate {
		renderCrops(t)
	}
	page, err := web.ReadFile("web/help.js")
	if err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`crop\('([a-z-]+)'`).FindAllSubmatch(page, -1)
	if len(names) < 6 {
		t.Errorf("the help names %d crops", len(names))
	}
	for _, n := range names {
		data, err := os.ReadFile(filepath.Join("web", "help-"+string(n[1])+".jpg"))
		if err != nil {
			t.Error(err)
			continue
		}
		c, err := jpeg.DecodeConfig(bytes.NewReader(data))
		if err != nil || c.Width != cropSide || c.Height != cropSide {
			t.Errorf("%s: %d × %d px, %v", n[1], c.Width, c.Height, err)
		}
	}
}

const cropSide = 240 // px.

// renderCrops films a horse near and far, from in front and from behind, and
// cuts out what a person would aim at, with a cross where they click.
func renderCrops(t *testing.T) {
	dir := t.TempDir()
	film := func(name string, s scene.Scene) (*clip.Info, *scene.Truth) {
		t.Helper()
		s.Seed = 5
		s.Horse.Coat, s.Horse.Socks = scene.Chestnut, [4]bool{true, false, false, true}
		s.Camera.Width, s.Camera.Height, s.Camera.FPS = 1920, 1080, 30
		path := filepath.Join(dir, name)
		truth := scenetest.Render(t, s, path)
		return probed(t, path), truth
	}
	near, nearTruth := film("near.mp4", scene.Scene{View: traj.Toward, Motion: scene.Motion{StartM: 8, EndM: 5}})
	far, farTruth := film("far.mp4", scene.Scene{View: traj.Toward, Motion: scene.Motion{StartM: 20, EndM: 17}})
	back, backTruth := film("back.mp4", scene.Scene{View: traj.Away, Motion: scene.Motion{StartM: 6, EndM: 9}})

	// stands returns a frame in the middle of a stance, or of the swing after it.
	stands := func(truth *scene.Truth, limb traj.Landmark, swing bool) int {
		t.Helper()
		best, at := math.Inf(1), -1
		for _, c := range truth.Contacts {
			if c.Limb != limb {
				continue
			}
			want := (c.On + c.HeelOff) / 2
			if swing {
				want = c.HeelOff + 0.2
			}
			for f, s := range truth.Times {
				// The nearest frames show most.
				if d := math.Abs(s - want); d < 0.02 && d-s < best {
					best, at = d-s, f
				}
			}
		}
		if at < 0 {
			t.Fatalf("%s does not stand", limb)
		}
		return at
	}
	type shot struct {
		name   string
		info   *clip.Info
		truth  *scene.Truth
		limb   traj.Landmark
		swing  bool
		half   int // px of the clip on either side.
		dx, dy float64
	}
	for _, s := range []shot{
		{"near-good", near, nearTruth, traj.RightFore, false, 48, 0, 0},
		{"near-high", near, nearTruth, traj.RightFore, false, 48, 0, -16},
		{"near-side", near, nearTruth, traj.RightFore, false, 48, 17, -3},
		{"near-swing", near, nearTruth, traj.RightFore, true, 48, 0, 0},
		{"far-good", far, farTruth, traj.RightFore, false, 20, 0, 0},
		{"head-good", near, nearTruth, traj.Head, false, 110, 0, 0},
		{"croup-good", back, backTruth, traj.Croup, false, 150, 0, 0},
	} {
		limb := s.limb
		if limb == traj.Head {
			limb = traj.RightFore
		} else if limb == traj.Croup {
			limb = traj.RightHind
		}
		f := stands(s.truth, limb, s.swing)
		p := s.truth.Points(s.limb)[f]
		var data []byte
		err := clip.Pictures(t.Context(), s.info, f, f, clip.PictureOptions{Quality: 2}, func(_ int, picture []byte) error {
			data = picture
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		picture, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		out := image.NewRGBA(image.Rect(0, 0, cropSide, cropSide))
		k := float64(2*s.half) / cropSide
		for y := range cropSide {
			for x := range cropSide {
				out.Set(x, y, picture.At(int(math.Round(p.X+(float64(x)-cropSide/2)*k)), int(math.Round(p.Y+(float64(y)-cropSide/2)*k))))
			}
		}
		cross(out, cropSide/2+s.dx/k, cropSide/2+s.dy/k)
		var b bytes.Buffer
		if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 82}); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("web", "help-"+s.name+".jpg"), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// cross draws a click as the page does: four arms around the place.
func cross(on *image.RGBA, x, y float64) {
	cx, cy := int(math.Round(x)), int(math.Round(y))
	for _, layer := range []struct {
		c    color.Color
		wide int
	}{{color.White, 3}, {color.RGBA{0x14, 0x3d, 0x73, 255}, 1}} {
		for _, d := range [][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			from, to := image.Pt(cx+6*d[0], cy+6*d[1]), image.Pt(cx+26*d[0], cy+26*d[1])
			r := image.Rectangle{Min: image.Pt(min(from.X, to.X)-layer.wide, min(from.Y, to.Y)-layer.wide), Max: image.Pt(max(from.X, to.X)+layer.wide+1, max(from.Y, to.Y)+layer.wide+1)}
			draw.Draw(on, r, image.NewUniform(layer.c), image.Point{}, draw.Src)
		}
	}
}
