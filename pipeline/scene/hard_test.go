package scene

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jogstrip/track/traj"
)

// TestHardScenesVary: over many seeds every coat, ground, light and horn turns up, the
// lens distorts either way, and the settings stay in the ranges that Hard's comment
// tells.
func TestHardScenesVary(t *testing.T) {
	seen := map[string]int{}
	for seed := range uint64(200) {
		s := Hard(seed, traj.Away)
		c, y := s.Camera, s.Yard
		for _, word := range []string{string(s.Horse.Coat), string(s.Horse.Hooves), string(y.Ground), string(y.Light)} {
			seen[word]++
		}
		for what, is := range map[string]bool{
			"hand": c.Hand, "stand": !c.Hand, "barrel": c.K1 < -0.05, "cushion": c.K1 > 0.05, "feather": s.Horse.Feather,
			"grass": y.GrassCM > 0, "dust": y.Dust > 0.3, "shade": y.Shade, "leads": s.Horse.Leads, "driven": s.Horse.Driven,
			"frames missing": s.Encoding.DropShare > 0, "30 frames a second": c.FPS == 30, "rolled": c.RollDeg > 1 || c.RollDeg < -1,
		} {
			if is {
				seen[what]++
			}
		}
		if c.K1 < -0.15 || c.K1 > 0.10 || c.ReadoutS < 0.010 || c.ReadoutS > 0.030 {
			t.Errorf("seed %d: k1 %g, read-out %g s", seed, c.K1, c.ReadoutS)
		}
		f, err := s.filled()
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
		if rate := float64(f.Encoding.BitRateK) * 60 / c.FPS; rate > 8000 || rate < 3900 {
			t.Errorf("seed %d: %.0f kbit/s at 1080p60", seed, rate)
		}
	}
	for _, want := range []string{"bay", "black", "grey", "chestnut", "dark", "light", "gravel", "sand", "turf", "sun", "overcast",
		"hand", "stand", "barrel", "cushion", "feather", "grass", "dust", "shade", "leads", "driven", "frames missing", "30 frames a second", "rolled"} {
		if seen[want] < 10 {
			t.Errorf("%s in %d of 200 scenes", want, seen[want])
		}
	}
}

// TestHandlerHidesALimbForPartOfTheTime: legs of the handler pass before the near fore
// while it stands, and it is in sight for most of the time; without a handler it is
// always.
func TestHandlerHidesALimbForPartOfTheTime(t *testing.T) {
	hidden := func(leads bool) (share float64) {
		s := Hard(2002, traj.Toward)
		s.Horse.Leads = leads
		s.Camera.Width, s.Camera.Height, s.Camera.FPS = 960, 540, 30
		truth, err := Simulate(s)
		if err != nil {
			t.Fatal(err)
		}
		n, gone := 0, 0
		for f, p := range truth.Points(traj.LeftFore) {
			stands := slices.ContainsFunc(truth.Contacts, func(c Contact) bool {
				return c.Limb == traj.LeftFore && c.On <= truth.Times[f] && truth.Times[f] < c.HeelOff
			})
			if stands {
				n++
				if !p.Visible {
					gone++
				}
			}
		}
		return float64(gone) / float64(n)
	}
	if with, without := hidden(true), hidden(false); with < 0.05 || with > 0.5 || without > 0 {
		t.Errorf("the near fore is hidden in %.0f %% of its stance with a handler, in %.0f %% without one", 100*with, 100*without)
	}
}

// TestMissingPhotographsAreSaidLoudly: without the packages a scene is rendered from
// noise, and the packages to install are named; a damaged picture is named, too.
func TestMissingPhotographsAreSaidLoudly(t *testing.T) {
	list := Photographs()
	bad := filepath.Join(t.TempDir(), "bad.png")
	if err := os.WriteFile(bad, []byte("no picture"), 0o600); err != nil {
		t.Fatal(err)
	}
	for i := range list {
		list[i].Path = filepath.Join(t.TempDir(), "nowhere")
		if list[i].Name == "brick" {
			list[i].Path = bad
		}
	}
	m, err := solve(Scene{Camera: Camera{Width: 128, Height: 72}, Yard: Yard{Shade: true}})
	if err != nil {
		t.Fatal(err)
	}
	y := newYard(m)
	var said bytes.Buffer
	y.scenic = newScenic(m)
	y.photos = loadPhotos(list, y.scenic.photo, &said)
	for _, want := range []string{"PHOTOGRAPHS MISSING", "python3-skimage", "lomiri-wallpapers-16.04", "python3-scipy", "bad.png"} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("what is said lacks %q: %s", want, said.String())
		}
	}
	p := newPicture(128, 72)
	e := m.eyeAt(0)
	y.paintStill(p, &e, 1, 0, 0)
	if slices.Max(p.y)-slices.Min(p.y) < 30 {
		t.Error("the yard drawn from noise is blank")
	}
}

// TestPhotographsLieWithoutAPattern: a strewn picture keeps its mean and most of its
// contrast, and shows no period: a place and the places whole tiles on differ.
func TestPhotographsLieWithoutAPattern(t *testing.T) {
	if missing := missingOf(Photographs()[:1]); missing != nil {
		t.Skipf("SKIPPED: PHOTOGRAPHS ARE NOT HERE: install %v (./scripts/setup test)", missing)
	}
	fillTables()
	p, err := readPhoto(Photographs()[0].Path, 512)
	if err != nil {
		t.Fatal(err)
	}
	p.even()
	p.shrink()
	const tile = 0.5
	var sum, square, product, n float64
	for i := range 100 {
		for j := range 100 {
			x, y := float32(i)*0.037, float32(j)*0.041
			a, b := float64(p.strewn(x, y, tile, 0)), float64(p.strewn(x+4*tile, y, tile, 0))
			sum, square, product, n = sum+a, square+a*a, product+(a-1)*(b-1), n+1
		}
	}
	mean, sd := sum/n, square/n-sum/n*sum/n
	if mean < 0.9 || mean > 1.1 || sd < 0.02 {
		t.Errorf("mean %.2f, variance %.3f", mean, sd)
	}
	if r := product / n / sd; r > 0.3 {
		t.Errorf("four tiles on the same pattern shows again: correlation %.2f", r)
	}
}
