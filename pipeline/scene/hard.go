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
	rng := rand.New(rand.NewPCG(seed, 0x1f83d9abfb41bd6b))
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	chance := func(p float64) bool { return rng.Float64() < p }
	s := Scene{Seed: seed, View: view}

	h := &s.Horse
	h.HeightM = between(1.48, 1.72)
	switch rng.IntN(8) {
	case 0, 1, 2: // The commonest horse and the hardest: dark hooves on dark limbs.
		h.Coat, h.Hooves = Bay, DarkHorn
	case 3:
		h.Coat, h.Hooves = Black, DarkHorn
	case 4:
		h.Coat = Grey
	case 5:
		h.Coat, h.Hooves, h.Socks = Chestnut, LightHorn, [4]bool{true, true, true, true}
	case 6:
		h.Coat, h.Socks = Chestnut, [4]bool{chance(0.5), chance(0.5), true, chance(0.5)}
	case 7:
		h.Coat, h.Hooves, h.Socks = Bay, DarkHorn, [4]bool{false, false, true, false}
	}
	h.Plain = chance(0.4)
	h.Feather = chance(0.25)
	h.LongTail = true
	h.Leads = chance(0.85)
	h.Driven = view == traj.Away && chance(0.4)

	m := &s.Motion
	m.SpeedMPS = between(2.9, 3.7)
	near, far := between(4.4, 5.5), between(15, 20)
	m.StartM, m.EndM = far, near
	if view == traj.Away {
		m.StartM, m.EndM = near+0.6, far
	}
	m.LineOffsetM, m.LineAngleDeg = between(-0.35, 0.35), between(-1.5, 1.5)
	m.WeaveM = between(0.02, 0.07)
	m.HalfWidthForeCM, m.HalfWidthHindCM = between(7, 11), between(7, 11)

	a := &s.Asymmetry
	if chance(0.35) {
		*a = OneLimb(traj.Landmarks()[rng.IntN(4)])
	} else {
		a.HeadLowMM, a.HeadHighMM = between(-15, 15), between(-15, 15)
		a.CroupLowMM, a.CroupHighMM = between(-8, 8), between(-8, 8)
		a.StepLengthForeCM, a.StepLengthHindCM = between(-4, 4), between(-4, 4)
	}
	a.PlacementForeCM = Sides{between(-2, 2), between(-2, 2)}
	s.Variation.Free = true

	c := &s.Camera
	c.FPS = []float64{60, 60, 60, 30}[rng.IntN(4)]
	c.HeightM = between(1.15, 2.2)
	s.Camera.FocalShare = between(0.70, 0.86)
	c.PitchDeg = between(1, 4) + 3*(c.HeightM-1.15)
	c.RollDeg = between(-2.5, 2.5)
	c.K1 = between(-0.15, 0.10)
	c.Hand = chance(0.5)
	c.ShakeDeg, c.ShakeMM = between(0.15, 0.45), between(4, 14)
	c.ReadoutS = between(0.010, 0.016)
	if c.FPS == 30 {
		c.ReadoutS = between(0.012, 0.030)
	}
	c.ExposureDrift, c.WhiteDrift = between(0.03, 0.18), between(0, 0.06)
	c.NoiseSD = between(1, 3)
	c.Sharpen = between(-0.35, 0.6)
	c.Samples = 8

	y := &s.Yard
	y.Photos, y.Shade = true, chance(0.7)
	y.Light = []Light{Sun, Sun, Overcast}[rng.IntN(3)]
	y.Ground = []Ground{Gravel, Gravel, Sand, Turf}[rng.IntN(4)]
	y.DarkLane = y.Ground != Turf && chance(0.3)
	if y.Ground == Turf || chance(0.2) {
		y.GrassCM = between(2, 5)
	}
	if y.Ground != Turf && !y.DarkLane {
		y.Dust = between(0, 0.9)
	}
	c.ExposureS = 1 / between(250, 900)
	y.MarksNearM, y.MarksLengthM = between(4, 5.5), between(6, 9)
	// The near marks lie where the camera sees them, with room for sway.
	lowest := math.Atan(9.0/16/2/c.FocalShare) + rad(c.PitchDeg) - rad(4)
	y.MarksNearM = math.Max(y.MarksNearM, c.HeightM/math.Tan(lowest))
	y.MarksWidthM = between(2, 2.8)

	e := &s.Encoding
	// Up to 8 Mbit/s at 1080p60, in proportion at other sizes and rates.
	e.BitsPerPixel = between(4e6, 8e6) / (1920 * 1080 * 60)
	e.Preset = "veryfast"
	e.DropShare, e.JitterMS = []float64{0, 0, 0.01, 0.03}[rng.IntN(4)], between(0, 1.5)
	return s
}
