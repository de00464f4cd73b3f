package scene

import (
	"math"
	"math/rand/v2"

	"jogstrip/track/traj"
)

// Hard returns a clip as a yard and a phone make it, drawn at random by seed: a
// photographed yard with shadows across the lane, a handler whose legs pass before
// the horse's, tail, reins and rope, one of eight coats and markings, hair or grass
// over the hooves, dust, a lens that distorts either way, a camera that is pitched
// and rolled, on a stand or in a hand, rolling shutter, light and colours that
// drift, frames that are missing, and few bits for it all. Every horse is a little
// uneven, and some are plainly.
//
// The picture is 1920 × 1080; a caller that wants it smaller sets Camera.Width and
// Camera.Height.
func Hard(seed uint64, view traj.View) Scene {
	d := drawing{rand.New(rand.NewPCG(seed, 0x1f83d9abfb41bd6b))}
	s := Scene{Seed: seed, View: view}
	// In this order: what one part draws shifts what chance gives the next.
	d.horse(&s)
	d.motion(&s)
	d.asymmetry(&s)
	d.camera(&s)
	d.yard(&s)
	d.encoding(&s)
	return s
}

// HardShoulders returns a clip as Hard does, toward the camera, in which the points of the
// shoulders stand out under the coat as they do on a lean horse, and shoulders, chest and
// head are uneven by chance. Nothing is stuck on them.
func HardShoulders(seed uint64) Scene {
	s := Hard(seed, traj.Toward)
	s.Horse.Points = true
	d := drawing{rand.New(rand.NewPCG(seed, 0x3c6ef372fe94f82b))}
	a := &s.Asymmetry
	a.ShoulderLiftMM, a.ChestSwayMM, a.HeadSideCM = d.between(-15, 15), d.between(-8, 8), d.between(-6, 6)
	return s
}

// drawing draws a scene's settings by chance.
type drawing struct{ *rand.Rand }

func (d drawing) between(a, b float64) float64 { return a + (b-a)*d.Float64() }

func (d drawing) chance(p float64) bool { return d.Float64() < p }

func (d drawing) horse(s *Scene) {
	h := &s.Horse
	h.HeightM = d.between(1.48, 1.72)
	switch d.IntN(8) {
	case 0, 1, 2: // The commonest horse and the hardest: dark hooves on dark limbs.
		h.Coat, h.Hooves = Bay, DarkHorn
	case 3:
		h.Coat, h.Hooves = Black, DarkHorn
	case 4:
		h.Coat = Grey
	case 5:
		h.Coat, h.Hooves, h.Socks = Chestnut, LightHorn, [4]bool{true, true, true, true}
	case 6:
		h.Coat, h.Socks = Chestnut, [4]bool{d.chance(0.5), d.chance(0.5), true, d.chance(0.5)}
	case 7:
		h.Coat, h.Hooves, h.Socks = Bay, DarkHorn, [4]bool{false, false, true, false}
	}
	h.Plain = d.chance(0.4)
	h.Feather = d.chance(0.25)
	h.LongTail = true
	h.Leads = d.chance(0.85)
	h.Driven = s.View == traj.Away && d.chance(0.4)
}

func (d drawing) motion(s *Scene) {
	m := &s.Motion
	m.SpeedMPS = d.between(2.9, 3.7)
	near, far := d.between(4.4, 5.5), d.between(15, 20)
	m.StartM, m.EndM = far, near
	if s.View == traj.Away {
		m.StartM, m.EndM = near+0.6, far
	}
	m.LineOffsetM, m.LineAngleDeg = d.between(-0.35, 0.35), d.between(-1.5, 1.5)
	m.WeaveM = d.between(0.02, 0.07)
	m.HalfWidthForeCM, m.HalfWidthHindCM = d.between(7, 11), d.between(7, 11)
}

func (d drawing) asymmetry(s *Scene) {
	a := &s.Asymmetry
	if d.chance(0.35) {
		*a = OneLimb(traj.Landmarks()[d.IntN(4)])
	} else {
		a.HeadLowMM, a.HeadHighMM = d.between(-15, 15), d.between(-15, 15)
		a.CroupLowMM, a.CroupHighMM = d.between(-8, 8), d.between(-8, 8)
		a.StepLengthForeCM, a.StepLengthHindCM = d.between(-4, 4), d.between(-4, 4)
	}
	a.PlacementForeCM = Sides{d.between(-2, 2), d.between(-2, 2)}
	s.Variation.Free = true
}

func (d drawing) camera(s *Scene) {
	c := &s.Camera
	c.FPS = []float64{60, 60, 60, 30}[d.IntN(4)]
	c.HeightM = d.between(1.15, 2.2)
	c.FocalShare = d.between(0.70, 0.86)
	c.PitchDeg = d.between(1, 4) + 3*(c.HeightM-1.15)
	c.RollDeg = d.between(-2.5, 2.5)
	c.K1 = d.between(-0.15, 0.10)
	c.Hand = d.chance(0.5)
	c.ShakeDeg, c.ShakeMM = d.between(0.15, 0.45), d.between(4, 14)
	c.ReadoutS = d.between(0.010, 0.016)
	if c.FPS == 30 {
		c.ReadoutS = d.between(0.012, 0.030)
	}
	c.ExposureDrift, c.WhiteDrift = d.between(0.03, 0.18), d.between(0, 0.06)
	c.NoiseSD = d.between(1, 3)
	c.Sharpen = d.between(-0.35, 0.6)
	c.Samples = 8
}

// yard also sets how long the camera exposes, which hangs on the light.
func (d drawing) yard(s *Scene) {
	y, c := &s.Yard, &s.Camera
	y.Photos, y.Shade = true, d.chance(0.7)
	y.Light = []Light{Sun, Sun, Overcast}[d.IntN(3)]
	y.Ground = []Ground{Gravel, Gravel, Sand, Turf}[d.IntN(4)]
	y.DarkLane = y.Ground != Turf && d.chance(0.3)
	if y.Ground == Turf || d.chance(0.2) {
		y.GrassCM = d.between(2, 5)
	}
	if y.Ground != Turf && !y.DarkLane {
		y.Dust = d.between(0, 0.9)
	}
	c.ExposureS = 1 / d.between(250, 900)
	y.MarksNearM, y.MarksLengthM = d.between(4, 5.5), d.between(6, 9)
	// The near marks lie where the camera sees them, with room for sway.
	lowest := math.Atan(9.0/16/2/c.FocalShare) + rad(c.PitchDeg) - rad(4)
	y.MarksNearM = math.Max(y.MarksNearM, c.HeightM/math.Tan(lowest))
	y.MarksWidthM = d.between(2, 2.8)
}

func (d drawing) encoding(s *Scene) {
	e := &s.Encoding
	// Up to 8 Mbit/s at 1080p60, in proportion at other sizes and rates.
	e.BitsPerPixel = d.between(4e6, 8e6) / (1920 * 1080 * 60)
	e.Preset = "veryfast"
	e.DropShare, e.JitterMS = []float64{0, 0, 0.01, 0.03}[d.IntN(4)], d.between(0, 1.5)
}
