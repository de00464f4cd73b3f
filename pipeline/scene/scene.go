package scene

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"jogstrip/track/traj"
)

// Scene describes one clip. Its zero value is a sound bay horse trotting
// toward a camera on a tripod, 1080p at 60 frames/s.
type Scene struct {
	// Seed makes all chance: the same scene with the same seed is the same clip.
	Seed uint64 `json:"seed,omitempty"`
	// View is the way the horse goes; empty means toward.
	View traj.View `json:"view,omitempty"`
	// Gait; empty means trot.
	Gait      traj.Gait `json:"gait,omitempty"`
	Horse     Horse     `json:"horse"`
	Motion    Motion    `json:"motion"`
	Asymmetry Asymmetry `json:"asymmetry"`
	Variation Variation `json:"variation"`
	Camera    Camera    `json:"camera"`
	Yard      Yard      `json:"yard"`
	Encoding  Encoding  `json:"encoding"`
}

// Coat is the colour of the horse.
type Coat string

// The coats.
const (
	Bay      Coat = "bay"
	Grey     Coat = "grey"
	Black    Coat = "black"
	Chestnut Coat = "chestnut"
)

// Horse is how the horse looks.
type Horse struct {
	// HeightM is the height at the withers; 0 means 1.60 m. All lengths of the body scale with it.
	HeightM float64 `json:"height_m,omitempty"`
	// Coat; empty means bay.
	Coat Coat `json:"coat,omitempty"`
	// Plain leaves out the white star on the forehead.
	Plain bool `json:"plain,omitempty"`
	// Socks are white lower limbs, in the order left fore, right fore, left hind, right hind.
	Socks [4]bool `json:"socks,omitempty"`
	// NoBridle leaves out the bridle.
	NoBridle bool `json:"no_bridle,omitempty"`
	// Markers sticks white balls on withers, croup and both hips; the landmarks
	// are then the centres of the balls.
	Markers bool `json:"markers,omitempty"`
	// Points lets the points of the shoulders stand out and move under the coat; with
	// Markers each has a ball, too. Without either they lie still on a smooth breast.
	Points bool `json:"points,omitempty"`
	// Handler lets a person walk at the horse's left shoulder.
	Handler bool `json:"handler,omitempty"`
	// Leads lets the handler go in steps of his own whose feet stand on the ground,
	// now wide of the horse and now before its near limbs, with a rope that swings.
	Leads bool `json:"leads,omitempty"`
	// Driven lets a second person follow at the horse's right quarters, who hides a
	// hind limb for part of the time. From behind only.
	Driven bool `json:"driven,omitempty"`
	// Hooves is the colour of the horn; empty means dark, light below a sock.
	Hooves Horn `json:"hooves,omitempty"`
	// Feather is long hair over the hooves, LongTail a tail that swings down to the hocks.
	Feather  bool `json:"feather,omitempty"`
	LongTail bool `json:"long_tail,omitempty"`
}

// Horn is the colour of hooves.
type Horn string

// The horns. Dark horn is as dark as the limbs of a bay and has no pale coronet.
const (
	DarkHorn  Horn = "dark"
	LightHorn Horn = "light"
)

// Motion is how the horse goes.
type Motion struct {
	// SpeedMPS is the speed along the lane, m/s; 0 means walk 1.6, trot 3.47, pace 3.6.
	SpeedMPS float64 `json:"speed_mps,omitempty"`
	// StrideS is the stride duration, s; 0 means that of the gait, adapted to the speed.
	StrideS float64 `json:"stride_s,omitempty"`
	// DutyFore and DutyHind are stance over stride duration; 0 means that of the gait.
	DutyFore float64 `json:"duty_fore,omitempty"`
	DutyHind float64 `json:"duty_hind,omitempty"`
	// StartM and EndM are the distances of the withers from the camera along the
	// lane at the first and the last frame; 0 means 26 m to 4.7 m toward, 5.4 m to 26 m away.
	StartM float64 `json:"start_m,omitempty"`
	EndM   float64 `json:"end_m,omitempty"`
	// LineOffsetM is where the line of travel passes the camera, m to the camera's
	// right; LineAngleDeg turns it about the middle of the run, positive to the
	// camera's right with distance.
	LineOffsetM  float64 `json:"line_offset_m,omitempty"`
	LineAngleDeg float64 `json:"line_angle_deg,omitempty"`
	// WeaveM is the amplitude of a slow sideways wander; 0 means 0.03 m, negative none.
	WeaveM float64 `json:"weave_m,omitempty"`
	// HeadDriftMM is the amplitude of a slow rise and fall of the head carriage; 0 means 20 mm, negative none.
	HeadDriftMM float64 `json:"head_drift_mm,omitempty"`
	// HalfWidthForeCM and HalfWidthHindCM are how far each hoof lands from the trunk's path, to its own side; 0 means 9 cm.
	HalfWidthForeCM float64 `json:"half_width_fore_cm,omitempty"`
	HalfWidthHindCM float64 `json:"half_width_hind_cm,omitempty"`
}

// Sides is a value for each side of the horse.
type Sides struct {
	Left  float64 `json:"left,omitempty"`
	Right float64 `json:"right,omitempty"`
}

func (s Sides) of(side int) float64 {
	if side == left {
		return s.Left
	}
	return s.Right
}

// Asymmetry departs from the sound horse; the zero value is even. The means
// over the clip's strides, measured on the 3D truth, are exactly these.
// Differences are right − left.
type Asymmetry struct {
	// StepLengthForeCM and StepLengthHindCM are the difference of the step lengths.
	StepLengthForeCM float64 `json:"step_length_fore_cm,omitempty"`
	StepLengthHindCM float64 `json:"step_length_hind_cm,omitempty"`
	// StepTimingForePercent is added to 50 %: positive lets the right fore land late.
	StepTimingForePercent float64 `json:"step_timing_fore_percent,omitempty"`
	// StepTimingHindPercent likewise; 0 leaves it to the fore's timing and the pair timing.
	StepTimingHindPercent float64 `json:"step_timing_hind_percent,omitempty"`
	// StanceForeMS and StanceHindMS lengthen the stance of a side.
	StanceForeMS Sides `json:"stance_fore_ms"`
	StanceHindMS Sides `json:"stance_hind_ms"`
	// PairTimingMS is added to hind hoof-on − paired fore hoof-on; the side is the fore's.
	PairTimingMS Sides `json:"pair_timing_ms"`
	// PlacementForeCM and PlacementHindCM are added outward to where a hoof lands,
	// from the path of the trunk. (A line fitted to the placements themselves
	// moves along with them; see Truth.)
	PlacementForeCM Sides `json:"placement_fore_cm"`
	PlacementHindCM Sides `json:"placement_hind_cm"`
	// Arcs and flight heights are added to those of the sound horse.
	LateralArcForeCM Sides `json:"lateral_arc_fore_cm"`
	LateralArcHindCM Sides `json:"lateral_arc_hind_cm"`
	MedialArcForeCM  Sides `json:"medial_arc_fore_cm"`
	MedialArcHindCM  Sides `json:"medial_arc_hind_cm"`
	FlightForeCM     Sides `json:"flight_fore_cm"`
	FlightHindCM     Sides `json:"flight_hind_cm"`
	// Low- and high-point differences.
	HeadLowMM     float64 `json:"head_low_mm,omitempty"`
	HeadHighMM    float64 `json:"head_high_mm,omitempty"`
	WithersLowMM  float64 `json:"withers_low_mm,omitempty"`
	WithersHighMM float64 `json:"withers_high_mm,omitempty"`
	CroupLowMM    float64 `json:"croup_low_mm,omitempty"`
	CroupHighMM   float64 `json:"croup_high_mm,omitempty"`
	// HipExcursionMM is the difference of the hips' vertical ranges.
	HipExcursionMM float64 `json:"hip_excursion_mm,omitempty"`
	// ChestSwayMM and CroupSwayMM are by how much further they swing to the right than to
	// the left; HeadSideCM is how far to the right the head is carried.
	ChestSwayMM float64 `json:"chest_sway_mm,omitempty"`
	CroupSwayMM float64 `json:"croup_sway_mm,omitempty"`
	HeadSideCM  float64 `json:"head_side_cm,omitempty"`
	// ShoulderLiftMM is by how much more the right limb lifts the point of its shoulder
	// as it swings than the left limb does; what that makes of the points' ranges beside
	// the trunk's own movement is in Truth.
	ShoulderLiftMM float64 `json:"shoulder_lift_mm,omitempty"`
}

// ShortFore returns the asymmetry of a horse that is stiff and short on one
// shoulder, scaled by severity (1 is plain to see). The head and withers rise
// over that limb, the withers by 7 % of the head (Rhodin et al. 2018 give 5 to
// 10 %); the step is shorter, the hoof lower and swung outward.
func ShortFore(side traj.Side, severity float64) Asymmetry {
	sign := severity
	if side == traj.Left {
		sign = -severity
	}
	a := Asymmetry{
		StepLengthForeCM: -9 * sign,
		HeadLowMM:        42 * sign, HeadHighMM: 24 * sign,
		WithersLowMM: 3 * sign, WithersHighMM: 1.7 * sign,
	}
	one := func(x float64) Sides {
		if side == traj.Left {
			return Sides{Left: x * severity}
		}
		return Sides{Right: x * severity}
	}
	a.LateralArcForeCM = one(4)
	a.FlightForeCM = one(-3)
	a.StanceForeMS = one(-12)
	return a
}

// OneLimb returns the asymmetry of a horse that is plainly uneven because of one
// limb, and an even one where limb is empty. Fore: as ShortFore. Hind: the croup
// and the hip of that side move more, its step is shorter, the head nods with it
// and the withers go the other way by 0.45 of the croup (Rhodin et al. 2018,
// Equine Vet J, 10.1111/evj.12844: 0.35 to 0.55; the size of the nod is common
// practice).
func OneLimb(limb traj.Landmark) Asymmetry {
	switch {
	case limb == "":
		return Asymmetry{}
	case !limb.IsHind():
		return ShortFore(limb.Side(), 0.9)
	}
	sign := 1.0
	if limb.Side() == traj.Left {
		sign = -1
	}
	const croup = 34
	return Asymmetry{
		StepLengthHindCM: -8 * sign,
		CroupLowMM:       croup * sign, CroupHighMM: 0.8 * croup * sign, HipExcursionMM: 24 * sign,
		HeadLowMM: 0.8 * croup * sign, HeadHighMM: 0.6 * croup * sign,
		WithersLowMM: -0.45 * croup * sign, WithersHighMM: -0.36 * croup * sign,
	}
}

// Variation is the standard deviation from stride to stride. In every field 0
// means the default given there and a negative value none.
type Variation struct {
	HeadMM     float64 `json:"head_mm,omitempty"`      // 5 mm at each low and high point.
	TrunkMM    float64 `json:"trunk_mm,omitempty"`     // 2 mm at each low and high point of withers and croup.
	StepCM     float64 `json:"step_cm,omitempty"`      // 1.5 cm along the line, each placement.
	SidewaysCM float64 `json:"sideways_cm,omitempty"`  // 1 cm across the line, each placement.
	TimingMS   float64 `json:"timing_ms,omitempty"`    // 4 ms, each hoof-on and hoof-off.
	PathCM     float64 `json:"path_cm,omitempty"`      // 0.5 cm, arcs and flight height of each swing.
	Free       bool    `json:"free_of_mean,omitempty"` // The run's means scatter about the settings too, as chance would have it.
}

// None returns the variation of a machine.
func None() Variation { return Variation{-1, -1, -1, -1, -1, -1, false} }

// Camera is how the clip is filmed.
type Camera struct {
	// Width and Height of the upright picture; 0 means 1920 × 1080.
	Width  int `json:"width,omitempty"`
	Height int `json:"height,omitempty"`
	// FPS is frames per second; 0 means 60.
	FPS float64 `json:"fps,omitempty"`
	// HeightM of the lens above ground; 0 means 1.2 m.
	HeightM float64 `json:"height_m,omitempty"`
	// FocalPX; 0 means 1500 px at 1920 px along the longer side.
	FocalPX float64 `json:"focal_px,omitempty"`
	// FocalShare is the focal length over the picture's longer side, where FocalPX is 0;
	// 0 means 1500/1920.
	FocalShare float64 `json:"focal_share,omitempty"`
	// PitchDeg tilts the camera down; 0 means 2° unless Level is set.
	PitchDeg float64 `json:"pitch_deg,omitempty"`
	Level    bool    `json:"level,omitempty"`
	// RollDeg turns the camera clockwise about its axis, as seen from behind it.
	RollDeg float64 `json:"roll_deg,omitempty"`
	// Hand films from the hand: slow wander and tremor.
	Hand bool `json:"hand,omitempty"`
	// ShakeDeg is the root mean square of the shake about each axis when in the hand; 0 means 0.2°.
	ShakeDeg float64 `json:"shake_deg,omitempty"`
	// ShakeMM is the root mean square of the translation when in the hand; 0 means 3 mm, negative none.
	ShakeMM float64 `json:"shake_mm,omitempty"`
	// ExposureS is the exposure time; 0 means 1/500 s by day, at dusk 1/70 s or the whole frame interval where that is shorter.
	ExposureS float64 `json:"exposure_s,omitempty"`
	// NoiseSD is the sensor noise in 8-bit code values; 0 means 1 by day, 3 at dusk; negative none.
	NoiseSD float64 `json:"noise_sd,omitempty"`
	// ExposureDrift is the relative amplitude of slow changes of brightness; 0 is none.
	ExposureDrift float64 `json:"exposure_drift,omitempty"`
	// ReadoutS is the time from the exposure of the top row to that of the bottom
	// row (rolling shutter); 0 is a global shutter. The time stamp is that of the middle row.
	ReadoutS float64 `json:"readout_s,omitempty"`
	// K1 is the first radial distortion of the lens: a direction at tangent r from the
	// axis appears at r·(1 + K1·r²). Negative is a barrel. 0 is none.
	K1 float64 `json:"k1,omitempty"`
	// WhiteDrift is the relative amplitude of slow changes of the white balance, red
	// against blue; 0 is none.
	WhiteDrift float64 `json:"white_drift,omitempty"`
	// Sharpen is how much of a pixel's difference from its neighbours' mean the phone
	// adds; negative is a soft lens. 0 leaves pixels as they were sampled.
	Sharpen float64 `json:"sharpen,omitempty"`
	// Samples is how many samples make a pixel of the horse; 0 means 8, more where limbs blur. Rounded up to even.
	Samples int `json:"samples,omitempty"`
	// PaintOnce paints a surface once a pixel, in the pixel's middle and in the middle of the
	// exposure, and not at each of its samples, and only surfaces that face the camera.
	// That takes a fraction of the time. Edges are sampled as ever, but movement does not
	// blur what is within them: it is for the short exposures of a bright day. A lane with
	// grass cannot have it.
	PaintOnce bool `json:"paint_once,omitempty"`
}

// Light is the light of the scene.
type Light string

// The lights.
const (
	Sun      Light = "sun"
	Overcast Light = "overcast"
	Dusk     Light = "dusk"
)

// Yard is the surroundings.
type Yard struct {
	// Light; empty means sun.
	Light Light `json:"light,omitempty"`
	// DarkLane makes the lane wet, dark ground instead of pale sand.
	DarkLane bool `json:"dark_lane,omitempty"`
	// MarksWidthM, MarksNearM and MarksLengthM lay out the four ground marks;
	// 0 means 2.5 m wide, from 4 m, 8 m long. Negative width: no marks.
	MarksWidthM  float64 `json:"marks_width_m,omitempty"`
	MarksNearM   float64 `json:"marks_near_m,omitempty"`
	MarksLengthM float64 `json:"marks_length_m,omitempty"`
	// TyreTracks leaves the repeated print of a tyre where the hooves land.
	TyreTracks bool `json:"tyre_tracks,omitempty"`
	// Photos takes ground, backdrop and hair from photographs (see Photographs)
	// instead of from noise.
	Photos bool `json:"photos,omitempty"`
	// Ground is what the lane is of where Photos is set; empty means gravel.
	Ground Ground `json:"ground,omitempty"`
	// Shade lets trees and a roof throw shadows across the lane and the horse.
	Shade bool `json:"shade,omitempty"`
	// GrassCM is how high blades stand on the lane before the toes; 0 is none.
	GrassCM float64 `json:"grass_cm,omitempty"`
	// Dust is how thick the puffs are that hooves raise, 0 none to 1 thick.
	Dust float64 `json:"dust,omitempty"`
}

// Ground is what a lane is of.
type Ground string

// The grounds.
const (
	Gravel Ground = "gravel"
	Sand   Ground = "sand"
	Turf   Ground = "turf"
)

// Codec is a video codec.
type Codec string

// The codecs.
const (
	H264 Codec = "h264"
	HEVC Codec = "hevc"
)

// Encoding is how the clip is written.
type Encoding struct {
	Codec    Codec `json:"codec,omitempty"`     // Empty means H.264.
	BitDepth int   `json:"bit_depth,omitempty"` // 8 or 10; 0 means 8.
	// CRF is the constant rate factor; 0 means 18. BitRateK, kbit/s, replaces it where not 0.
	CRF      int `json:"crf,omitempty"`
	BitRateK int `json:"bit_rate_kbps,omitempty"`
	// BitsPerPixel sets BitRateK, where that is 0, by the picture's size and frame rate.
	BitsPerPixel float64 `json:"bits_per_pixel,omitempty"`
	Preset       string  `json:"preset,omitempty"`  // Empty means superfast (H.264) or ultrafast (HEVC).
	Threads      int     `json:"threads,omitempty"` // Of the coder; 0 means as many as it takes.
	// Rotation is by how many degrees clockwise a player must turn the stored
	// pixels to show the picture upright: 0, 90, 180 or 270.
	Rotation int `json:"rotation,omitempty"`
	// JitterMS is the standard deviation of the frames' times about the nominal
	// ones and DropShare the share of frames left out: a variable frame rate.
	JitterMS  float64 `json:"jitter_ms,omitempty"`
	DropShare float64 `json:"drop_share,omitempty"`
}

func or(p *float64, v float64) {
	if *p == 0 {
		*p = v
	}
}

// orNone gives a default to 0 and turns negative values to 0.
func orNone(p *float64, v float64) {
	if *p == 0 {
		*p = v
	} else if *p < 0 {
		*p = 0
	}
}

// filled returns s with every default written out, or an error that names the
// first setting out of range.
func (s Scene) filled() (Scene, error) {
	if s.View == "" {
		s.View = traj.Toward
	}
	if s.Gait == "" {
		s.Gait = traj.Trot
	}
	if s.Horse.Coat == "" {
		s.Horse.Coat = Bay
	}
	if s.Yard.Light == "" {
		s.Yard.Light = Sun
	}
	or(&s.Horse.HeightM, 1.60)
	g, ok := gaits[s.Gait]
	if !ok {
		return s, fmt.Errorf("scene: gait %q is not one of walk, trot, pace", s.Gait)
	}
	s.Motion.fill(s.View, g)
	s.Variation.fill()
	s.Camera.fill(s.Yard.Light)
	s.Yard.fill()
	s.Encoding.fill(&s.Camera)
	return s, s.check()
}

func (m *Motion) fill(view traj.View, g gait) {
	if m.SpeedMPS == 0 && m.StrideS != 0 {
		m.SpeedMPS = g.length / g.stride * math.Pow(g.stride/m.StrideS, 1/0.35)
	}
	or(&m.SpeedMPS, g.length/g.stride)
	or(&m.StrideS, g.stride*math.Pow(g.length/g.stride/m.SpeedMPS, 0.35))
	or(&m.DutyFore, g.dutyFore)
	or(&m.DutyHind, g.dutyHind)
	if view == traj.Toward {
		or(&m.StartM, 26)
		or(&m.EndM, 4.7)
	} else {
		or(&m.StartM, 5.4)
		or(&m.EndM, 26)
	}
	orNone(&m.WeaveM, 0.03)
	orNone(&m.HeadDriftMM, 20)
	or(&m.HalfWidthForeCM, 9)
	or(&m.HalfWidthHindCM, 9)
}

func (v *Variation) fill() {
	orNone(&v.HeadMM, 5)
	orNone(&v.TrunkMM, 2)
	orNone(&v.StepCM, 1.5)
	orNone(&v.SidewaysCM, 1)
	orNone(&v.TimingMS, 4)
	orNone(&v.PathCM, 0.5)
}

func (c *Camera) fill(light Light) {
	if c.Width == 0 && c.Height == 0 {
		c.Width, c.Height = 1920, 1080
	}
	or(&c.FPS, 60)
	or(&c.HeightM, 1.2)
	if c.FocalShare != 0 {
		or(&c.FocalPX, c.FocalShare*float64(max(c.Width, c.Height)))
	}
	or(&c.FocalPX, 1500*float64(max(c.Width, c.Height))/1920)
	if c.Level {
		c.PitchDeg = 0
	} else {
		or(&c.PitchDeg, 2)
	}
	if c.Hand {
		or(&c.ShakeDeg, 0.2)
		orNone(&c.ShakeMM, 3)
	}
	if light == Dusk {
		or(&c.ExposureS, math.Min(1.0/70, 1/c.FPS))
		orNone(&c.NoiseSD, 3)
	} else {
		or(&c.ExposureS, 1.0/500)
		orNone(&c.NoiseSD, 1)
	}
}

func (y *Yard) fill() {
	orNone(&y.MarksWidthM, 2.5)
	or(&y.MarksNearM, 4)
	or(&y.MarksLengthM, 8)
}

func (e *Encoding) fill(c *Camera) {
	if e.Codec == "" {
		e.Codec = H264
	}
	if e.BitRateK == 0 && e.BitsPerPixel > 0 {
		e.BitRateK = int(e.BitsPerPixel * float64(c.Width*c.Height) * c.FPS / 1000)
	}
	if e.BitDepth == 0 {
		e.BitDepth = 8
	}
	if e.CRF == 0 {
		e.CRF = 18
	}
	if e.Preset == "" {
		e.Preset = "superfast"
		if e.Codec == HEVC {
			e.Preset = "ultrafast"
		}
	}
}

// check tells the first setting of a filled scene that is not one of those there are, or all
// that are out of range.
func (s Scene) check() error {
	if err := s.checkChoices(); err != nil {
		return err
	}
	var errs []error
	for _, r := range s.ranges() {
		if math.IsNaN(r.value) || r.value < r.low || r.value > r.high {
			errs = append(errs, fmt.Errorf("scene: %s is %g, allowed are %g to %g", r.name, r.value, r.low, r.high))
		}
	}
	if (s.View == traj.Toward) != (s.Motion.StartM > s.Motion.EndM) {
		errs = append(errs, fmt.Errorf("scene: the horse goes %s but from %g m to %g m", s.View, s.Motion.StartM, s.Motion.EndM))
	}
	return errors.Join(errs...)
}

// checkChoices tells the first setting that is not one of those there are.
func (s Scene) checkChoices() error {
	if !s.View.Valid() {
		return fmt.Errorf("scene: view %q is not toward or away", s.View)
	}
	if _, ok := coats[s.Horse.Coat]; !ok {
		return fmt.Errorf("scene: coat %q is not known", s.Horse.Coat)
	}
	if l := s.Yard.Light; !slices.Contains([]Light{Sun, Overcast, Dusk}, l) {
		return fmt.Errorf("scene: light %q is not sun, overcast or dusk", l)
	}
	if g := s.Yard.Ground; !slices.Contains([]Ground{"", Gravel, Sand, Turf}, g) {
		return fmt.Errorf("scene: ground %q is not gravel, sand or turf", g)
	}
	if h := s.Horse.Hooves; !slices.Contains([]Horn{"", DarkHorn, LightHorn}, h) {
		return fmt.Errorf("scene: hooves %q are not dark or light", h)
	}
	if c := s.Encoding.Codec; !slices.Contains([]Codec{H264, HEVC}, c) {
		return fmt.Errorf("scene: codec %q is not h264 or hevc", c)
	}
	if d := s.Encoding.BitDepth; !slices.Contains([]int{8, 10}, d) {
		return fmt.Errorf("scene: bit depth %d is not 8 or 10", d)
	}
	if r := s.Encoding.Rotation; !slices.Contains([]int{0, 90, 180, 270}, r) {
		return fmt.Errorf("scene: rotation %d is not 0, 90, 180 or 270", r)
	}
	if s.Camera.Width%2 != 0 || s.Camera.Height%2 != 0 {
		return fmt.Errorf("scene: picture size %d × %d is not even", s.Camera.Width, s.Camera.Height)
	}
	if s.Camera.PaintOnce && s.Yard.GrassCM > 0 {
		return errors.New("scene: paint_once does not go with grass, which hides single samples")
	}
	return nil
}

// setting is a number of a scene and what it may be.
type setting struct {
	name             string
	value, low, high float64
}

func (s Scene) ranges() []setting {
	return []setting{
		{"picture width", float64(s.Camera.Width), 64, 8192},
		{"picture height", float64(s.Camera.Height), 64, 8192},
		{"frames per second", s.Camera.FPS, 10, 480},
		{"camera height", s.Camera.HeightM, 0.1, 5},
		{"height at withers", s.Horse.HeightM, 0.7, 2.2},
		{"speed", s.Motion.SpeedMPS, 0.5, 15},
		{"stride duration", s.Motion.StrideS, 0.3, 2},
		{"fore duty factor", s.Motion.DutyFore, 0.15, 0.8},
		{"hind duty factor", s.Motion.DutyHind, 0.15, 0.8},
		{"lens distortion k1", s.Camera.K1, -0.25, 0.25},
		{"white balance drift", s.Camera.WhiteDrift, 0, 0.3},
		{"sharpening", s.Camera.Sharpen, -1, 1},
		{"height of grass", s.Yard.GrassCM, 0, 30},
		{"dust", s.Yard.Dust, 0, 1},
		{"exposure", s.Camera.ExposureS, 0, 1 / s.Camera.FPS * 1.001},
		{"read-out", s.Camera.ReadoutS, 0, 1 / s.Camera.FPS},
		{"share of dropped frames", s.Encoding.DropShare, 0, 0.5},
		{"start distance", s.Motion.StartM, 2, 60},
		{"end distance", s.Motion.EndM, 2, 60},
	}
}

// container returns the file type of a clip's path.
func container(path string) (string, error) {
	switch ext := strings.ToLower(filepath.Ext(path)); ext {
	case ".mp4", ".mov":
		return ext[1:], nil
	default:
		return "", fmt.Errorf("scene: clip %s does not end in .mp4 or .mov", path)
	}
}
