// Package errormodel holds, as one value, what tracking and measuring take as known
// beforehand: standard deviations, thresholds and priors. It is an argument of both;
// its hash stands in every result, and a result of another model is out of date.
//
// Every field says its unit, its meaning and where the value comes from:
//
//   - Derived: follows from something else, which is named;
//   - Source: published work, which is named;
//   - Common practice: how people with horses and cameras do or see it;
//   - Fitted on: the set of clips and the command that prints it;
//   - Judged: set by hand while looking at the clips named. The weakest kind.
//
// What a clip itself tells is no constant: a prior is only what an estimate starts from.
// Where nothing else is said a spread is one standard deviation.
package errormodel

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
)

// Model is the error model.
type Model struct {
	Click     Click
	Contact   Contact
	Placement Placement
	Run       Run
	Swing     Swing
	Body      Body
	Camera    Camera
	Tracking  Tracking
}

// Click is how people click.
type Click struct {
	// PriorPX is how far a click on a landmark is off along each axis, px of a picture
	// whose short side is 1080 px, until the clip's own marks tell. Judged: hand readings
	// under magnification on real film repeat to 0.5 to 3 px.
	PriorPX float64
	// Doubt is how badly the marks of a clip tell how far its clicks are off, standard
	// deviation of the logarithm. Judged: between what a dozen readings know of it (0.2) and
	// what is known of none (Run.Doubt), so that intervals of simulated runs hold for clicks of
	// 0.4 px as for those of 1 px.
	Doubt float64
	// Nearest is how much a stance goes by the marks made at its own distance: those made
	// at another count by the ratio of the sizes to this power. Derived: as tracking
	// weighs them.
	Nearest float64
	// MirrorM is how unlike a hoof is to the mirror image of the other of its pair where the
	// two are registered on each other: how far that puts a mark off, metres on the hoof.
	// Fitted on the fit set: where they look alike, registering is off by 2 % of the patch.
	MirrorM float64
}

// Contact is how well landing and leaving are known, and how even the rhythm of a horse
// is.
type Contact struct {
	// LandingShape is what the shape of a landing adds to its instant, share of the
	// stance: a hoof slides as it lands, the longer the longer it stands. Judged: real
	// clips of the check set; walking feet on force plates are within it.
	LandingShape float64
	// BehindS is what a landing seen from behind is vaguer by than one seen from in front, s:
	// a hoof comes down almost along the line of sight there. Fitted on the first ten clips
	// of the fit set (./scripts/calibrate 10): landings are off by 0.043 s (root mean
	// square), of which DescentS is what they have alike.
	BehindS float64
	// LeavingShape is the same of a leaving: a hoof rolls over its toe. Judged: as
	// LandingShape.
	LeavingShape float64
	// WorstLandingS is the spread, s, up to which a landing counts as timed: what is vaguer
	// says less than the rhythm does. Judged: real clips of the check set.
	WorstLandingS float64
	// WorstLeavingS is the same of a leaving. Judged: as WorstLandingS.
	WorstLeavingS float64
	// HiddenS is the spread, s, of a landing or leaving of which nothing was seen, about the
	// first or last frame in which the hoof stands. Judged: what passes in front hides a
	// hoof for a tenth of a second or so.
	HiddenS float64
	// BeatShare is how far landings of a steady horse lie off an even rhythm, share of the
	// stride. Common practice: some 10 ms at the trot.
	BeatShare float64
	// SpreadDoubt is how badly the stated spreads of landings are known, standard deviation of
	// their logarithm. Judged: half as much again either way.
	SpreadDoubt float64
	// LimbShare is how far all landings of one limb lie off their beat, share of the
	// stride. Common practice: diagonal pairs part by some 20 ms.
	LimbShare float64
	// StanceS is how far a limb's stances differ in duration, s. Common practice.
	StanceS float64
	// OffBeat is how far a landing that was not counted may lie off its beat, share of the
	// stride, before its stance is left out. Derived: a third of the way between the beats
	// of a pair, which are half a stride apart.
	OffBeat float64
	// LongestHole is how many strides may pass between two stances before the rhythm
	// between them counts as unknown. Derived: of three strides unseen, one more or less
	// lies within what BeatShare and a landing's spread leave open.
	LongestHole float64
	// Duty is how much of the stride a stance lasts at trot and pace, WalkDuty at the walk,
	// where no stance was timed at both ends. Common practice.
	Duty float64
	// WalkDuty: see Duty. Common practice.
	WalkDuty float64
	// RollingShare is by how much all of a run's leavings seen from in front are early or
	// late alike, share of the stance: the toe is marked, which stays while the hoof rolls
	// over it. Judged: rendered clips of the fit set.
	RollingShare float64
	// SlideS is the same of landings seen from in front, s: a hoof hardly moves any more
	// before it is down, and slides a little when it is. Fitted on the first ten clips of the
	// fit set (./scripts/calibrate 10): 0.014 s early in the mean; real clips of the check
	// set 0.02 s early to 0.02 s late.
	SlideS float64
	// DescentS is the same of landings seen from behind, s: there a hoof comes down almost
	// along the line of sight. Fitted on the same clips: 0.023 s early in the mean, 0.036 s
	// from one to another; a real clip of the check set 0.1 s late.
	DescentS float64
	// HeelS is the same of leavings seen from behind, s, where the heel is marked. Fitted on
	// the same clips: 0.005 s late in the mean, 0.027 s from one to another.
	HeelS float64
	// AlikeSides is the share of the variance of these which both sides of a horse have
	// alike. Judged: on those clips left and right are off by 0.01 to 0.02 s apart.
	AlikeSides float64
	// AlikeBehind is AlikeSides of what is seen from behind: what hides the one hoof as it comes
	// down, a limb or somebody who goes on that side, does not hide the other. Fitted on
	// eleven clips of the fit set (seeds 1001 to 1009 and 2101 to 2111, those that go away):
	// left and right landings of a run are 0.031 s (root mean square) apart.
	AlikeBehind float64
}

// Slowed returns what is known of a clip that plays so many times slower than it was filmed.
func (c Contact) Slowed(times float64) Contact {
	for _, s := range []*float64{&c.WorstLandingS, &c.WorstLeavingS, &c.HiddenS, &c.StanceS, &c.SlideS, &c.DescentS, &c.BehindS, &c.HeelS} {
		*s *= times
	}
	return c
}

// Placement is which stances are placed on the ground.
type Placement struct {
	// FewestSamples is from how many frames a place is taken. Derived: of fewer, scatter
	// does not tell a spread.
	FewestSamples int
	// FarthestShare is the largest spread along the lane of a place that is used, share of
	// its distance. Judged: a placement at 20 m is then known to 0.6 m.
	FarthestShare float64
	// BehindM is by how much the midline of the pair behind seems to lie beside its place,
	// metres, in all strides of a run alike: a half-hidden hoof is marked and followed by the
	// part that shows. Fitted on the hard clips of seeds 2106 and 2108, the only ones of the
	// fit set in which both pairs were placed: there placements are 0.010 m off.
	BehindM float64
}

// Run is the model of a run: what its estimates start from.
type Run struct {
	// StrideAlongM is how far a hoof lands from where its mean lead and the run's advance
	// put it, along the line of travel, metres, from stride to stride. Source: Drevemo et
	// al. 1980, Equine Vet J 12:60-65: 2 % of a stride in Standardbreds at racing speed,
	// 5 cm of a stride of 2.6 m, of which a placement has about half.
	StrideAlongM float64
	// StrideAcrossM is the same across the line. Common practice.
	StrideAcrossM float64
	// SpeedM is how far the length of a stride wanders within one stride, metres. Common
	// practice.
	SpeedM float64
	// LineBendsM is by how much in 10 m the drift of a line that bends differs between the whole
	// run and the part of it in which hooves were placed, metres. Fitted on the hard clips of
	// seeds 1000 to 1009 and 1100 to 1115, 26 lines.
	LineBendsM float64
	// StatedShare is the share of its stated spread that a stance's picture place has for
	// itself: the rest is the click's, which all stances of a hoof share. Judged: rendered
	// clips, on which samples scatter less than they state.
	StatedShare float64
	// Doubt is the standard deviation of the logarithm of each of StrideAlongM,
	// StrideAcrossM, SpeedM and StatedShare: 0.7 leaves a factor of two either way. Judged.
	Doubt float64
	// FarOffP is the chance with which a placement may lie as far off as it does before it
	// counts for less. Derived: one in 250, some dozen placements a run.
	FarOffP float64
	// WildBy is by how much a placement's own variance must have grown for it to be
	// something else than this horse's. Derived: three of its spreads.
	WildBy float64
}

// Swing is how a hoof flies.
type Swing struct {
	// Ramp is over what share of the swing a hoof speeds up and slows down: forward
	// progress cannot be seen from in front. Derived: its top speed is then 1.25 times its
	// mean, twice the horse's own at a duty factor of 0.4 (Clayton, trade press).
	Ramp float64
	// Skew is by how much of the stride length a hoof may lead or lag that at mid-swing.
	// Judged: the renderer's horse, which has another profile.
	Skew float64
	// AlikeSides is the share of the variance of that which both sides of a horse have
	// alike. Judged.
	AlikeSides float64
	// ShortestShare is how short a swing may be, share of the stride. Derived: at slow walk
	// a hoof stands for 70 %, with room beyond.
	ShortestShare float64
	// OutwardM is how far a hoof usually goes aside of the straight way in its swing, m: the first
	// of a sum of sines, and the k-th 1/k² of it as in a smooth path. Derived: half of the 10 cm
	// that are plain to the eye.
	OutwardM float64
	// LongestUnseen is how long a hoof may be out of sight in its swing, share of the
	// swing. Judged.
	LongestUnseen float64
}

// Body is where head, withers, croup and hips are, and how well they are followed.
type Body struct {
	// FollowedMM is by how much following a mark makes low- and high-point differences
	// wrong in all strides of a run alike, mm. Judged: on rendered clips the head is off by 1 to
	// 2 mm.
	FollowedMM float64
	// OutlineMM is the same of what lies on the outline of the body, withers and croup, which
	// other parts of the horse sway beside. Fitted on the hard clips of seeds 1001 to 1009 and
	// 2101 to 2111.
	OutlineMM float64
	// HipMM is by how much following makes the range of a hip's movement wrong in all strides of
	// a run alike, mm: its patch reaches over the hindquarters, of which the other hip is a
	// part. Fitted on the hard clips of seeds 1001 to 1009 and 2101 to 2111, 13 hips.
	HipMM float64
	// HipApartMM is what that leaves in the difference of the two, mm: either patch reaches over
	// both hips. Fitted on the hard clips of seeds 1001, 1003 and 1005, the only ones of the fit
	// set in which both hips were measured: there differences are 8 mm off, of which the rest of
	// the model states 6.7.
	HipApartMM float64
	// SwayMM is by how much following makes the sway of chest, croup or head to either side wrong
	// in all strides of a run alike, mm: the limbs beside the patch swing with the stride, too.
	// Judged: so far off they were on clips that another renderer drew.
	SwayMM float64
	// ShoulderMM is by how much following makes the lift, the range and the roll of the points of
	// the shoulders wrong in all strides of a run alike, mm: what hangs and passes before them moves
	// with the stride, too. Fitted on the hard clips of seeds 1100 and 1112, the only ones of the fit
	// set in which both lifts were measured: there the difference is 11 mm off, of which the strides
	// themselves state 6.
	ShoulderMM float64
	// DepthM is how far the body's place over its hooves varies from step to step, metres.
	// Judged.
	DepthM float64
	// HeadAhead is how far the head is ahead of the fore hooves in mid-stance, share of the
	// height at the withers. Common practice: 0.2 m more or less at 8 m changes the scale
	// of the movement by 2.5 %, alike for both sides.
	HeadAhead float64
	// HeadAheadSD is how much further or less far ahead than that a head is carried, share
	// of the height at the withers. Judged: by 15 cm.
	HeadAheadSD float64
	// MiddleMM is how far beside the horse's middle a person marks the head, the chest or
	// the withers, mm. Judged: the middle of a broad forehead or breast is found to a
	// centimetre.
	MiddleMM float64
	// TrunkLength is how far the hind hooves are behind the fore ones, likewise. Common
	// practice.
	TrunkLength float64
	// CameraM is the camera's height, metres, from which the level that knows only the
	// horizon takes the size of these places. Common practice.
	CameraM float64
	// GroundRowPX is how far the ground below the body lies off the row in which a hoof
	// stands, px, without a calibration. Judged.
	GroundRowPX float64
}

// Camera is how well a camera is known.
type Camera struct {
	// ClickPX is how far clicks on ground marks are off, px, where nothing says so. Derived:
	// Click.PriorPX.
	ClickPX float64
	// TapeShare is how far the stated width and length of the ground marks are off, each by
	// itself, share of them. Common practice: over uneven ground and by paces 1 to 3 %.
	TapeShare float64
	// HeightM is the spread of a camera height taken with a tape, metres. Common practice.
	HeightM float64
	// FocalShare is the spread of a focal length found by calibrating the phone, share of
	// it. Common practice.
	FocalShare float64
	// FieldShare is the same of one computed from a field of view: video is often cropped.
	// Common practice.
	FieldShare float64
	// RowDeg is the spread of a horizon given as a row, degrees. Common practice.
	RowDeg float64
	// NominalFocal is the focal length taken where only the horizon is known, share of the
	// picture's long side. Common practice: ratios along the lane do not depend on it.
	NominalFocal float64
	// NominalShare is the spread of that, share of it. Common practice.
	NominalShare float64
}

// Usual returns the model that is used.
func Usual() Model {
	const click = 1.0
	return Model{
		Click: Click{PriorPX: click, Doubt: 0.45, Nearest: 2, MirrorM: 0.0025},
		Contact: Contact{
			LandingShape: 0.08, BehindS: 0.025, LeavingShape: 0.12, WorstLandingS: 0.065, WorstLeavingS: 0.090, HiddenS: 0.05,
			BeatShare: 0.014, SpreadDoubt: 0.5, LimbShare: 0.03, StanceS: 0.012, OffBeat: 0.16, LongestHole: 2.5,
			Duty: 0.42, WalkDuty: 0.66, RollingShare: 0.07, SlideS: 0.03, DescentS: 0.05, HeelS: 0.03, AlikeSides: 0.95, AlikeBehind: 0.8,
		},
		Placement: Placement{FewestSamples: 4, FarthestShare: 0.03, BehindM: 0.01},
		Run:       Run{StrideAlongM: 0.02, StrideAcrossM: 0.012, SpeedM: 0.03, LineBendsM: 0.015, StatedShare: 0.6, Doubt: 0.7, FarOffP: 1.0 / 250, WildBy: 9},
		Swing:     Swing{Ramp: 0.2, Skew: 0.05, AlikeSides: 0.75, ShortestShare: 0.18, OutwardM: 0.05, LongestUnseen: 0.6},
		Body:      Body{FollowedMM: 1.3, OutlineMM: 2.2, HipMM: 12, HipApartMM: 4.3, SwayMM: 5, ShoulderMM: 6.4, DepthM: 0.03, HeadAhead: 0.45, HeadAheadSD: 0.09, MiddleMM: 10, TrunkLength: 0.70, CameraM: 1.3, GroundRowPX: 0.5},
		Camera:    Camera{ClickPX: click, TapeShare: 0.02, HeightM: 0.02, FocalShare: 0.03, FieldShare: 0.10, RowDeg: 0.25, NominalFocal: 0.8, NominalShare: 0.2},
		Tracking:  usualTracking(),
	}
}

// OrUsual returns m, or the usual model where m is the zero value.
func (m Model) OrUsual() Model {
	if m == (Model{}) {
		return Usual()
	}
	return m
}

// Hash returns the SHA-256 of the model's names and values, in hexadecimal digits.
func (m Model) Hash() string {
	b, err := json.Marshal(m)
	if err != nil {
		panic("errormodel: a value is not a finite number") // No field can be anything else.
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
