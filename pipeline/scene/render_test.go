package scene

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"testing"

	"go.uber.org/goleak"

	"jogstrip/track/traj"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// short is a small, quick clip.
func short() Scene {
	return Scene{Seed: 1, Camera: Camera{Width: 320, Height: 180, FPS: 30}, Motion: Motion{StartM: 7.5, EndM: 6}}
}

// A marker of known place is drawn where truth says: the centre of the samples
// that hit a ball against the projection of its centre, at many instants, with
// blur, shake and a rolling shutter.
func TestMarkersAreDrawnWhereTruthSays(t *testing.T) {
	for _, c := range []struct {
		name string
		s    Scene
		tol  float64 // px
	}{
		{"sharp", Scene{Camera: Camera{Samples: 96}}, 0.02},
		{"default samples", Scene{}, 0.05},
		{"painted once", Scene{Camera: Camera{PaintOnce: true}}, 0.05},
		{"long exposure", Scene{Camera: Camera{ExposureS: 1.0 / 60, Samples: 96}}, 0.03},
		{"hand", Scene{Camera: Camera{Hand: true, Samples: 96, ShakeDeg: 0.3}}, 0.02},
		{"rolling shutter", Scene{Camera: Camera{Hand: true, Samples: 96, ReadoutS: 1.0 / 70}}, 0.03},
		{"barrel, rolled", Scene{Camera: Camera{K1: -0.15, RollDeg: 2.5, PitchDeg: 4, Samples: 96}}, 0.02},
		{"cushion, hand", Scene{Camera: Camera{K1: 0.1, Hand: true, Samples: 48}}, 0.03},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := c.s
			s.Seed, s.View, s.Horse.Markers = 3, traj.Away, true
			m, err := solve(s)
			if err != nil {
				t.Fatal(err)
			}
			p := &painter{m: m, yard: newYard(m), body: newBody(m), out: newPicture(m.scene.Camera.Width, m.scene.Camera.Height), view: m.eyeAt}
			b := p.body
			all, mats := b.tris, b.mat
			// The balls in the order in which they are made.
			balls := []traj.Landmark{traj.Withers, traj.Croup, traj.LeftHip, traj.RightHip}
			var square, n float64
			ball := 0
			for _, part := range b.parts {
				if part.mat != matBall {
					continue
				}
				l := balls[ball]
				ball++
				b.tris, b.mat = all[part.first:part.last], mats[part.first:part.last]
				for _, at := range []float64{0.113, 0.371, 1.7} {
					passes := passesOf(p.samplesFor(at))
					p.draw(at, passes)
					var sx, sy, sum float64
					w := p.region.x1 - p.region.x0
					for j, h := range p.hits {
						sx += float64(h) * float64(p.region.x0+j%w)
						sy += float64(h) * float64(p.region.y0+j/w)
						sum += float64(h)
					}
					q, e := m.seen(l, at)
					x, y, _ := e.project(q)
					dx, dy := sx/sum-x, sy/sum-y
					square, n = square+dx*dx+dy*dy, n+2
					if math.Hypot(dx, dy) > 4*c.tol {
						t.Errorf("%s at %.3f s is off by (%.3f, %.3f) px", l, at, dx, dy)
					}
				}
			}
			if ball != 4 {
				t.Fatalf("%d balls", ball)
			}
			if r := math.Sqrt(square / n); r > c.tol {
				t.Errorf("markers are off by %.4f px root mean square, want at most %g", r, c.tol)
			} else {
				t.Logf("%.4f px root mean square", r)
			}
		})
	}
}

// Landmarks of the skin lie on the mesh: the nearest surface along the view is
// not farther than the landmark by more than a little, nor before it.
func TestLandmarksLieOnTheSkin(t *testing.T) {
	for _, v := range []traj.View{traj.Toward, traj.Away} {
		m, err := solve(Scene{Seed: 2, View: v})
		if err != nil {
			t.Fatal(err)
		}
		b := newBody(m)
		for _, at := range []float64{0.2, 0.55, 1.31} {
			b.pose(at)
			for _, l := range traj.Landmarks() {
				p := m.point(l, at)
				nearest := math.Inf(1)
				for _, tri := range b.tris {
					nearest = math.Min(nearest, toTriangle(p, b.pos[tri[0]], b.pos[tri[1]], b.pos[tri[2]]))
				}
				if nearest > 0.006 {
					t.Errorf("%s %s at %.2f s is %.1f mm off the surface", v, l, at, 1000*nearest)
				}
			}
		}
	}
}

// toTriangle is the distance of p from a triangle, by sampling it finely.
func toTriangle(p, a, b, c vec) float64 {
	best := math.Inf(1)
	if p.sub(a).norm() > 0.25 {
		return best
	}
	const n = 12
	for i := range n + 1 {
		for j := range n + 1 - i {
			u, v := float64(i)/n, float64(j)/n
			q := a.mul(1 - u - v).add(b.mul(u)).add(c.mul(v))
			best = math.Min(best, p.sub(q).norm())
		}
	}
	return best
}

// The spread of samples shifts neither place nor time.
func TestPassesAreUnbiased(t *testing.T) {
	for _, n := range []int{2, 8, 9, 16, 40} {
		var x, y, at, xt, yt float64
		ps := passesOf(n)
		for _, p := range ps {
			x, y, at, xt, yt = x+p.dx, y+p.dy, at+p.t, xt+p.dx*p.t, yt+p.dy*p.t
			if math.Abs(p.dx) > 0.5 || math.Abs(p.dy) > 0.5 || math.Abs(p.t) > 0.5 {
				t.Errorf("n = %d: sample %+v outside the pixel or the exposure", n, p)
			}
		}
		for _, v := range []float64{x, y, at, xt, yt} {
			if math.Abs(v) > 1e-12 {
				t.Errorf("n = %d: sums %g %g %g %g %g, want 0", n, x, y, at, xt, yt)
			}
		}
	}
}

// Painted once a pixel, a horse looks as painted at every sample: the same brightness, the
// same outline, and a texture that is hardly sharper.
func TestPaintedOnceLooksTheSame(t *testing.T) {
	// What stands in the yard is painted once, too: a background each.
	renderers := map[bool]*Renderer{false: new(Renderer), true: new(Renderer)}
	picture := func(once bool, at float64) []float32 {
		s := Scene{Seed: 5, Horse: Horse{Markers: true}, Motion: Motion{StartM: 7.5, EndM: 6}}
		s.Camera = Camera{Width: 960, Height: 540, PaintOnce: once}
		m, err := solve(s)
		if err != nil {
			t.Fatal(err)
		}
		p := renderers[once].painters(m, 1)[0]
		for _, before := range []float64{0.1, at} { // The second picture over the first.
			p.frame(before)
		}
		return p.out.y
	}
	// Where either differs from a later picture is the horse.
	full, once, later := picture(false, 0.2), picture(true, 0.2), picture(false, 0.4)
	var n, sum, square, moved float64
	for i := range full {
		if full[i] == later[i] && full[i] == once[i] {
			continue
		}
		d, e := float64(once[i]-full[i]), float64(later[i]-full[i])
		n, sum, square, moved = n+1, sum+d, square+d*d, moved+e*e
	}
	if mean, rms := sum/n, math.Sqrt(square/n); math.Abs(mean) > 0.2 || rms > 3 || moved < 25*square {
		t.Errorf("%.0f pixels differ by %.3f on average, %.2f root mean square; by movement %.2f", n, mean, rms, math.Sqrt(moved/n))
	} else {
		t.Logf("%.0f pixels differ by %.3f on average, %.2f root mean square; by movement %.2f", n, mean, rms, math.Sqrt(moved/n))
	}
}

// A renderer draws a background once for clips that have the same, and anew for any other.
func TestBackgroundIsDrawnOnce(t *testing.T) {
	r := new(Renderer)
	still := func(r *Renderer, set func(*Scene)) *picture {
		s := Scene{Seed: 1, Camera: Camera{Width: 128, Height: 72}}
		set(&s)
		m, err := solve(s)
		if err != nil {
			t.Fatal(err)
		}
		return r.painters(m, 1)[0].still
	}
	first := still(r, func(*Scene) {})
	if again := still(r, func(s *Scene) { s.Seed, s.View, s.Horse.Coat = 2, traj.Away, Grey }); again != first {
		t.Error("another horse before the same background: it was drawn again")
	}
	for name, set := range map[string]func(*Scene){
		"pitch":       func(s *Scene) { s.Camera.PitchDeg = 5 },
		"size":        func(s *Scene) { s.Camera.Width = 64 },
		"light":       func(s *Scene) { s.Yard.Light = Overcast },
		"marks":       func(s *Scene) { s.Yard.MarksWidthM = 2 },
		"far":         func(s *Scene) { s.Motion.StartM = 40 },
		"shade":       func(s *Scene) { s.Yard.Shade = true },
		"other shade": func(s *Scene) { s.Seed, s.Yard.Shade = 2, true },
	} {
		if got, want := still(r, set), still(new(Renderer), set); !slices.Equal(got.y, want.y) || !slices.Equal(got.cr, want.cr) {
			t.Errorf("%s: the background is not that of its scene", name)
		}
	}
}

// hashWriter hashes what is written together with the hash so far.
type hashWriter struct{ sum [32]byte }

func (h *hashWriter) Write(p []byte) (int, error) {
	s := sha256.New()
	s.Write(h.sum[:])
	s.Write(p)
	s.Sum(h.sum[:0])
	return len(p), nil
}

// The same seed gives the same pixels on any number of cores; another seed does not.
func TestDeterministicOnAnyNumberOfCores(t *testing.T) {
	pixels := func(s Scene, cores int) [32]byte {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		m, err := solve(s)
		if err != nil {
			t.Fatal(err)
		}
		var h hashWriter
		if err := new(Renderer).pump(context.Background(), m, m.frameTimes()[:7], &h, nil); err != nil {
			t.Fatal(err)
		}
		return h.sum
	}
	for _, hand := range []bool{false, true} {
		s := short()
		s.Camera.Hand = hand
		one := pixels(s, 1)
		for _, cores := range []int{2, 5} {
			if pixels(s, cores) != one {
				t.Errorf("hand %v: pixels on %d cores differ from those on one", hand, cores)
			}
		}
		s.Seed = 2
		if pixels(s, 2) == one {
			t.Errorf("hand %v: another seed gives the same pixels", hand)
		}
	}
}

// The layer of a handheld clip shows what painting the yard directly shows.
func TestLayerAgreesWithTheYard(t *testing.T) {
	for name, k1 := range map[string]float64{"straight": 0, "barrel": -0.15, "cushion": 0.1} {
		t.Run(name, func(t *testing.T) { layerAgrees(t, k1) })
	}
}

func layerAgrees(t *testing.T, k1 float64) {
	s := short()
	s.Camera.Hand, s.Camera.K1 = true, k1
	m, err := solve(s)
	if err != nil {
		t.Fatal(err)
	}
	y := newYard(m)
	y.marks = nil
	got, want := newPicture(s.Camera.Width, s.Camera.Height), newPicture(s.Camera.Width, s.Camera.Height)
	l := newLayer(m, y)
	const at = 0.7
	l.draw(got, m, at, 0)
	e := m.eyeAt(at)
	y.paintStill(want, &e, 1, 0, 0)
	var sum, square float64
	n := float64(len(got.y))
	for i := range got.y {
		d := float64(got.y[i] - want.y[i])
		sum, square = sum+d/n, square+d*d/n
	}
	if r := math.Sqrt(square); math.Abs(sum) > 0.3 || r > 4 {
		t.Errorf("layer differs from the yard by %.2f on average, %.2f root mean square", sum, r)
	}
}

type probe struct {
	Streams []struct {
		Codec    string `json:"codec_name"`
		Format   string `json:"pix_fmt"`
		Width    int
		Height   int
		SideData []struct{ Rotation float64 } `json:"side_data_list"`
	}
	Packets []struct {
		PTS string `json:"pts_time"`
	}
}

func inspect(t *testing.T, path string) (probe, []float64) {
	t.Helper()
	out, err := exec.Command("ffprobe", "-v", "error", "-show_streams", "-show_entries", "packet=pts_time", "-of", "json", path).Output()
	if err != nil {
		t.Fatalf("ffprobe %s: %v", path, err)
	}
	var p probe
	if err := json.Unmarshal(out, &p); err != nil {
		t.Fatal(err)
	}
	var times []float64
	for _, k := range p.Packets {
		v, err := strconv.ParseFloat(k.PTS, 64)
		if err != nil {
			t.Fatal(err)
		}
		times = append(times, v)
	}
	sort.Float64s(times)
	return p, times
}

func needFFmpeg(t testing.TB) {
	for _, tool := range []string{"ffmpeg", "ffprobe"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("SKIPPED: %s is not installed, clips are not written", tool)
		}
	}
}

// Clips carry the codec, depth, size, rotation and the very time stamps of truth.
func TestClipsAreWrittenAsAsked(t *testing.T) {
	needFFmpeg(t)
	var renderer Renderer // Most of the clips have one background.
	for _, c := range []struct {
		name, file, codec, format string
		set                       func(*Scene)
		width, height             int
		rotation                  float64 // As ffprobe tells it: counter-clockwise.
	}{
		{"plain", "a.mp4", "h264", "yuv420p", func(*Scene) {}, 320, 180, 0},
		{"hevc 10 bit", "a.mov", "hevc", "yuv420p10le", func(s *Scene) { s.Encoding.Codec, s.Encoding.BitDepth = HEVC, 10 }, 320, 180, 0},
		{"portrait", "p.mp4", "h264", "yuv420p", func(s *Scene) {
			s.Camera.Width, s.Camera.Height, s.Encoding.Rotation = 180, 320, 90
		}, 320, 180, -90},
		{"upside down", "u.mov", "h264", "yuv420p", func(s *Scene) { s.Encoding.Rotation = 180 }, 320, 180, -180},
		{"portrait other way, variable rate", "o.mov", "hevc", "yuv420p", func(s *Scene) {
			s.Camera.Width, s.Camera.Height, s.Encoding.Rotation = 180, 320, 270
			s.Encoding.Codec, s.Encoding.JitterMS, s.Encoding.DropShare = HEVC, 3, 0.1
		}, 320, 180, 90},
		{"variable rate", "v.mp4", "h264", "yuv420p", func(s *Scene) { s.Encoding.JitterMS, s.Encoding.DropShare = 4, 0.15 }, 320, 180, 0},
		{"low bit rate", "l.mp4", "h264", "yuv420p", func(s *Scene) { s.Encoding.BitRateK = 300 }, 320, 180, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := short()
			c.set(&s)
			dir := t.TempDir()
			path := filepath.Join(dir, "clips", c.file)
			tr, err := renderer.Render(context.Background(), s, path, filepath.Join(dir, "truth", "x.truth.json"), nil)
			if err != nil {
				t.Fatal(err)
			}
			p, times := inspect(t, path)
			v := p.Streams[0]
			if v.Codec != c.codec || v.Format != c.format || v.Width != c.width || v.Height != c.height {
				t.Errorf("stream is %s %s %d × %d", v.Codec, v.Format, v.Width, v.Height)
			}
			rotation := 0.0
			for _, d := range v.SideData {
				rotation += d.Rotation
			}
			if rotation != c.rotation {
				t.Errorf("rotation is %g, want %g", rotation, c.rotation)
			}
			if len(times) != len(tr.Times) {
				t.Fatalf("%d packets, truth has %d frames", len(times), len(tr.Times))
			}
			uneven := false
			for i := range times {
				if d := times[i] - times[0] - tr.Times[i]; math.Abs(d) > 2e-6 {
					t.Fatalf("frame %d is at %.6f s, truth says %.6f", i, times[i]-times[0], tr.Times[i])
				}
				uneven = uneven || (i > 0 && math.Abs(tr.Times[i]-tr.Times[i-1]-1.0/30) > 1e-3)
			}
			if uneven != (s.Encoding.JitterMS > 0) {
				t.Errorf("uneven times: %v", uneven)
			}
			left, err := filepath.Glob(filepath.Join(dir, "clips", ".*"))
			if err != nil || len(left) > 0 {
				t.Errorf("left behind: %v", left)
			}
		})
	}
}

// A player that obeys the rotation shows the upright picture.
func TestRotatedClipShowsUpright(t *testing.T) {
	needFFmpeg(t)
	var renderer Renderer
	decode := func(s Scene) []byte {
		path := filepath.Join(t.TempDir(), "c.mp4")
		if _, err := renderer.Render(context.Background(), s, path, "", nil); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("ffmpeg", "-v", "error", "-i", path, "-frames:v", "1", "-pix_fmt", "gray", "-f", "rawvideo", "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	s := short()
	s.Motion.EndM = s.Motion.StartM - 0.3
	s.Camera.NoiseSD = -1
	s.Camera.Width, s.Camera.Height = 144, 256
	want := decode(s)
	for _, r := range []int{90, 180, 270} {
		s.Encoding.Rotation = r
		got := decode(s)
		if len(got) != len(want) {
			t.Fatalf("rotation %d: %d bytes, want %d", r, len(got), len(want))
		}
		var sum float64
		for i := range got {
			sum += math.Abs(float64(got[i]) - float64(want[i]))
		}
		if mean := sum / float64(len(got)); mean > 3 {
			t.Errorf("rotation %d: pictures differ by %.1f on average", r, mean)
		}
	}
}

func TestCancelledRenderLeavesNothing(t *testing.T) {
	needFFmpeg(t)
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	_, err := Render(ctx, short(), filepath.Join(dir, "c.mp4"), filepath.Join(dir, "truth", "c.truth.json"), func(done, _ int) {
		if done == 3 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error is %v, want context.Canceled", err)
	}
	left, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestTruthIsNeverWrittenBesideTheClip(t *testing.T) {
	dir := t.TempDir()
	_, err := Render(context.Background(), short(), filepath.Join(dir, "c.mp4"), filepath.Join(dir, "c.truth.json"), nil)
	if err == nil {
		t.Error("accepted")
	}
	if _, err := Render(context.Background(), short(), filepath.Join(dir, "c.avi"), "", nil); err == nil {
		t.Error("accepted a clip that is neither .mp4 nor .mov")
	}
}
