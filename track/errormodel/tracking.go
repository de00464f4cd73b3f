package errormodel

// Tracking is what tracking takes as known. Where it says judged, the value was set by hand
// while looking at rendered clips of the fit set, and at real clips of the check set.
type Tracking struct {
	// Trot is what trot and pace say of how a limb moves, Walk what every other gait does.
	// Derived: see Pace.
	Trot, Walk Pace

	// What is followed from frame to frame.

	// LeastNCC is the correlation of a patch with the frame before from which on it counts as
	// followed. Judged.
	LeastNCC float64
	// LeastAgree is the share of a patch that must agree with its fit: less, and something hides
	// the rest. Judged.
	LeastAgree float64
	// AloneNCC is LeastNCC where the patch no longer looks as it did a moment ago. Judged.
	AloneNCC float64
	// KeyNCC is the correlation with an older appearance from which on that cuts the drift.
	// Judged.
	KeyNCC float64
	// AnchorNCC is the same with the appearance that a person marked; from it on a hoof looks as
	// it was marked. Judged.
	AnchorNCC float64
	// OutlineNCC is AnchorNCC on the flanks of the body's outline, one place of which looks much
	// like the next. Judged.
	OutlineNCC float64
	// EdgeHold is how evenly, 0 to 0.5, a patch holds in both directions below which it may
	// slide along its edge. Judged.
	EdgeHold float64
	// SearchNCC is the correlation with a mark from which on a lost landmark is taken up again.
	// Judged.
	SearchNCC float64
	// SearchMargin is by how much that must be better than at the next best place. Judged.
	SearchMargin float64
	// RepeatNCC is the correlation of a patch with a place beside it from which on the two can't
	// be told apart. Judged.
	RepeatNCC float64
	// SearchForS is how long a lost landmark is searched for, s. Judged.
	SearchForS float64
	// SearchStrays is how fast a lost landmark of the body may leave its place in the stabilised
	// picture, sides of its patch a second. Derived: at 3.5 m/s toward a camera a tenth of the
	// distance beside its way it leaves by 0.35 m/s, and sways by 0.2 m/s besides, of 0.35 m.
	SearchStrays float64
	// ScaleStraySD is by how much a patch may grow or shrink between two frames, share of it,
	// where the marks do not tell. Derived: at 3.5 m/s a horse 3 m away grows by 2 % in a
	// sixtieth of a second.
	ScaleStraySD float64
	// AngleStraySD is by how much it may turn, radians. Judged.
	AngleStraySD float64
	// RegisterFloor is the spread, px, that no registration is better than. Source: the bias of
	// interpolating between pixels is of this order (Schreier et al. 2000, Opt Eng 39:2915-2921;
	// from memory).
	RegisterFloor float64
	// SurelyFound is the share of a patch's corners that must come back for no other move to be
	// looked for. Judged.
	SurelyFound float64
	// Surer is how small the variance of a place found by marked appearances must be to be gone
	// by, share of the follower's own. Both hold the click's error, so that a place that is
	// hardly surer only brings its noise. Judged.
	Surer float64
	// FarOff is by how much less alike than it must be a place may look after some steps of
	// registering, to be worth more of them. Judged.
	FarOff float64
	// MostSD is the spread, px, beyond which a hoof does not count as seen; a landmark of the
	// body, which is large, may be twice as vague. Derived: an error of 5 px is then three times
	// the spread.
	MostSD float64

	// Landmarks of the body.

	// CroupShare is how much of the width of the hindquarters the croup is. Common practice:
	// 0.27 of some 0.65 m.
	CroupShare float64
	// HipReach is how far a hip may move against the croup, sides of the hindquarters' patch.
	// Common practice: as the pelvis rolls, a hip rises and falls by some 4 cm in 0.27 m.
	HipReach float64
	// ShoulderReach is how far a point of a shoulder may move up or down against the chest or
	// the other one, sides of its patch. Common practice: the swing lifts it by 2 to 3 cm; of
	// the other, which sinks meanwhile, it is 4 cm in 0.19 m.
	ShoulderReach float64
	// ShoulderAside is the same to the sides, where all three go with the trunk. Common
	// practice: the skin slides by a centimetre and a half.
	ShoulderAside float64
	// HeadAside is how far the head may move to the sides against chest and shoulders, sides of
	// its patch. Common practice: it swings by 2 cm and looks about by as much again.
	HeadAside float64
	// HeadNods is the same up and down. Common practice: it nods by 5 cm either way when lame, and
	// is carried higher or lower by as much.
	HeadNods float64
	// TurnShare is how far the mark of a landmark that turns may move against its pattern in one
	// frame, sides of the patch. Judged.
	TurnShare float64
	// CommonLimit is by how many grey levels a part of a patch may differ from what its marks
	// have in common, and still be the animal. Judged.
	CommonLimit float64
	// SwayS is how long after a mark a landmark on the outline has swayed most against what is
	// followed, s. Common practice: half a stride of the trot.
	SwayS float64
	// CroupAside is what no registration notices of the croup's place along its level outline,
	// sides of the patch. Judged.
	CroupAside float64
	// CroupDown is the same down the picture. Judged.
	CroupDown float64
	// ChestDown is the same of the chest down the picture, before which the muzzle nods. Judged:
	// 2 cm.
	ChestDown float64
	// ShoulderDown is the same of the points of the shoulders: the limb swings below them, a rope
	// and hair hang before them. Judged: 1.5 cm on plain coats.
	ShoulderDown float64
	// ShoulderAcross is the same across the picture. Judged: 1 cm.
	ShoulderAcross float64
	// OutlineAside is the same of the other landmarks on the outline, along both axes. Judged.
	OutlineAside float64
	// LeastBetweenS is how far apart in time the first and last mark of the body must be to tell
	// how the horse grows in the picture, s. Derived: at the trot it goes a metre in that time,
	// a tenth of its distance.
	LeastBetweenS float64
	// VagueTrunk is the spread up to which a landmark of the body tells where hooves are looked
	// for, sides of its patch. Derived: that is some 0.2 m; a hoof within 0.15 m of where it is
	// expected is then still within SearchAcross.
	VagueTrunk float64
	// LeadS is for how long the trunk is taken to go on as it went where it is not seen, s.
	// Judged.
	LeadS float64
	// TrunkStrays is how fast the trunk may leave that way, sides of its patch a second.
	// Derived: 0.2 m/s, as a horse that sways by 3 cm once a stride does, of 0.65 m.
	TrunkStrays float64
	// PathSD is how well the way must be known for hooves to be looked for by it, share of the
	// horse's height. Derived: they are looked for within 0.2 m of a horse of 1.6 m, three times
	// that.
	PathSD float64

	// Hooves and where they are looked for.

	// LeastRate is from how many frames a second on stances are looked for. Common practice: the
	// slowest that phones film at is 24; at less a foot lands and leaves between two frames.
	LeastRate float64
	// HoofHalf is half the side of a hoof's patch, metres. Common practice: a hoof is some 12 cm
	// wide.
	HoofHalf float64
	// LimbShare is by how much larger a patch is followed in the air than is looked at while the
	// hoof stands: the limb above it goes along. Judged.
	LimbShare float64
	// SearchAcross is how far from where it is expected a hoof is looked for across the picture,
	// sides of the patch. Derived: 0.2 m.
	SearchAcross float64
	// SearchDown is the same down the picture, and how far from there it may stand. Derived:
	// 0.13 m; the body goes up and down by 0.04 m, and a hoof that is seen 0.3 m ahead of the
	// middle of its stance lies 0.06 m lower, 10 m from a camera 2 m high.
	SearchDown float64
	// LookNCC is the correlation with a mark from which on a place is looked at more closely.
	// Judged.
	LookNCC float64
	// LooksAlike is in how many looks at one place a hoof must be like its mark. Judged.
	LooksAlike int
	// LooksApartS is how far apart in time looks at one place are that are looked at more closely, s: one
	// that shows the hoof as it comes down tells of no stance, and another one may stand there before
	// or after. Derived: a third of a stance at the trot.
	LooksApartS float64
	// LeastHoof is the side of the patch, px, from which on one hoof can be told from another.
	// Judged.
	LeastHoof float64
	// PrintAcross is how far a hoof of the pair behind may stand across the picture from where
	// another of its stances lay from the print of the pair in front, sides of the patch. Common
	// practice: sideways and along the way it varies by some 3 cm, one standard deviation; this is
	// twice that and more.
	PrintAcross float64
	// PrintDown is the same down the picture. Derived: the same 7 cm along the way, 5 m from a
	// camera 1.6 m high, are 2 cm there, a fifth of the patch; the marks of both add half of that.
	PrintDown float64

	// What stands.

	// StandNCC is the correlation of a patch that stands with what it looked like a moment
	// before, and the least with the marks for a stance to be placed by them. Judged.
	StandNCC float64
	// StandStray is how far a hoof that stands may seem to go between two such looks, sides of
	// the patch. Judged.
	StandStray float64
	// StandSlide is how far it may be from its first place altogether, likewise: it slides as it
	// lands. Common practice: some 6 cm.
	StandSlide float64
	// RestStray is how far from where it rests it may seem to stand, likewise. Judged.
	RestStray float64
	// Descends is the same of one seen from behind while stances are chosen. Judged.
	Descends float64
	// AtRest is how far from its place a hoof that comes or goes along the line of sight may be
	// to stand, likewise. Derived: 3 mm of a hoof of 11 cm; it comes down and leaves by a metre
	// a second or so.
	AtRest float64
	// Elsewhere is how far from a mark a stance is another hoof's, likewise. Derived: hooves of
	// a horse stand a hoof's width apart at least.
	Elsewhere float64
	// SamePlace is how far off a hoof may be that was hidden for a while, likewise. Judged.
	SamePlace float64
	// VagueSD is how well a place is known where part of the hoof is covered, likewise. Judged.
	VagueSD float64
	// BridgeS is for how long a stance may be out of view, s: a limb, a cane, a rein passes.
	// Judged: real clips of the check set.
	BridgeS float64
	// SameNCC is the correlation from which on a hoof looks as it did a moment ago. Judged.
	SameNCC float64
	// KeyS is how old an appearance may become before it is taken anew, s. Judged.
	KeyS float64
	// AgainNCC is StandNCC of what comes back after it was hidden. Judged.
	AgainNCC float64
	// AgainShare is StillShare of the same. Judged.
	AgainShare float64
	// ShortS is how long what a person marked must stand to be a stance, s. Derived: half of a
	// racing trot's 0.11 s.
	ShortS float64
	// BriefS is the same of what nobody marked, s. Common practice: at a racing trot a hoof
	// stands for 0.11 s.
	BriefS float64
	// Fewest is in how many frames a stance must be seen. Derived: of fewer nobody can tell that
	// it does not move.
	Fewest int
	// EdgeFrames is for how many frames at its ends a stance is vaguer, of at most sixty a second:
	// the hoof may still come down or slide, or already turn. Judged.
	EdgeFrames float64
	// EdgeSD is how much vaguer across the picture, sides of the patch. Judged.
	EdgeSD float64
	// EdgeDown is the same down the picture. Derived: ends are seen to 25 ms, and a hoof of 11 cm
	// comes down and leaves by a metre a second or so.
	EdgeDown float64
	// CoveredSD is how much vaguer stances of the pair behind are: now this part of a hoof is
	// seen past the legs in front, now that. Judged.
	CoveredSD float64
	// HeelNCC is the correlation with a moment before below which the heel of a hoof seen from
	// behind has left. Judged.
	HeelNCC float64
	// RisingNCC is the correlation with a moment before from which on a heel that rises is
	// followed. Fitted on the away clips of both fit sets: below it what is followed lags behind.
	RisingNCC float64
	// LeftS is how long after it was last seen to stand a hoof in sight has left at the latest,
	// s. Judged.
	LeftS float64
	// PriorWeight is how many marks the prior of the click counts for. Derived: a spread that is
	// known to a factor of two either way is worth one.
	PriorWeight float64
	// MostClick is from how far off, px, a click is a mistake and not mere unsteadiness.
	// Derived: four times Click.PriorPX.
	MostClick float64

	// The bare ground, by which a hoof is told from what lies there.

	// BareFromS is from how long before and after on a place should be bare, s. Derived: at the
	// trot a hoof has left, or not come yet.
	BareFromS float64
	// BareToS is up to how long before and after it is looked at, s. Judged: light changes.
	BareToS float64
	// BareLooks is how often. Judged.
	BareLooks int
	// StillS is how far around a moment what keeps still is told, s. Judged.
	StillS float64
	// StillLimit is by how many grey levels a still pixel of a smoothed picture may change.
	// Judged.
	StillLimit float32
	// LeastShare is the share of a patch that must differ from the bare ground to be told from
	// it. Judged.
	LeastShare float64
	// StillShare is the share of a hoof that must be still for it to stand. Judged.
	StillShare float64
	// GoneShare is the share below which it has gone. Judged.
	GoneShare float64
	// LiftedShare is the share of the hoof's lowest part that must show bare ground once it has
	// left. Judged.
	LiftedShare float64

	// Steps counted over the whole run.

	// ShortestStep is the shortest time from a stance to the opposite limb's next, s. Derived:
	// half a stride of racing trot, with room.
	ShortestStep float64
	// LongestDuty is the share of a stride that a stance may last. Common practice: at a slow
	// walk 0.7.
	LongestDuty float64
	// LongStance is how much longer than is usual a stance may last that nobody marked. Judged.
	LongStance float64
	// RivalNCC is by how much less a place may look like a mark than the likest one for being it
	// to be 1/e as likely. Judged.
	RivalNCC float64
	// LeastFill is how much of a patch a hoof must fill, share of what it fills where it was
	// marked. Judged.
	LeastFill float64
	// LeastWorth is what a stance that nobody marked must be worth to be believed; the best are
	// worth about 1. Judged.
	LeastWorth float64
	// SureBy is by how much more the choice of stances must be worth than the best one in which a
	// stance that nobody marked is the opposite limb's, for its side to be believed. Derived: half
	// of a squared error over its spread is worth 1/2, so that 1 is e times as likely.
	SureBy float64
	// CountSureBy is the same over the best choice in which other steps lie between the stances.
	// Derived: that one is then 19 times less likely (e to 2.94), as an interval of 95 % asks,
	// and those of the stride rest on the count.
	CountSureBy float64
	// MarkedWorth is what one that a person marked is worth. Derived: more than the three that
	// could be set against it.
	MarkedWorth float64
	// MissedStep is the cost of a step in which nothing was found. Derived: less than a good
	// stance is worth.
	MissedStep float64
	// MostMissed is how many steps in a row may be missed. Judged.
	MostMissed float64
	// OffStepSD is how far off the beat a hoof lands, steps. Common practice.
	OffStepSD float64
	// LandingSD is how far off a landing is seen, s. Judged.
	LandingSD float64
	// LastsSD is how far off the usual length a stance is, share of it. Judged.
	LastsSD float64
	// FarOffBeat is how far off the beat a stance is another limb's, steps. Derived: a third of
	// the way to the next.
	FarOffBeat float64

	// Hooves in the air.

	// SwingApart is how far apart following from the stance before and from the one after may
	// lead, sides of the patch. Judged.
	SwingApart float64
	// SwingSD is what a hoof that turns adds to its spread across the picture, likewise: twice as
	// much where it is followed from one stance alone, and from half of BesideS on in proportion to
	// the time since, as it turns on. Judged.
	SwingSD float64
	// SwingDown is the same down the picture. Derived: half a hoof.
	SwingDown float64
	// AsideSpeed is how fast a hoof in the air goes across the picture at most, sides of the patch a
	// second. Derived: a swing that goes 15 cm aside and back within 0.3 s goes at 1 m/s, and a side
	// is 11 cm.
	AsideSpeed float64
	// BesideS is for how long following a hoof from its stance nearer to the camera is believed
	// alone, s. Judged: half of a swing.
	BesideS float64
}

// Pace is what a gait says of how a limb moves, whatever the horse. Derived, with room: at a
// slow walk a stride lasts for 1.5 s, of which a limb stands for 70 %, and one of a pair
// always stands. At a slow trot or pace it lasts for 0.9 s, half of it stance; at a racing
// trot for 0.42 s, of which a limb stands for 0.11 s, so that 0.1 s lie between the stances
// of a pair. Ends are seen to 0.05 s.
type Pace struct {
	// LongestStanceS is how long a hoof stands at most, s. Derived: see Pace.
	LongestStanceS float64
	// LongestStepS is the longest time from a stance to the opposite limb's next, s. Derived:
	// half a stride, see Pace.
	LongestStepS float64
	// ShortestSwingS is how long a limb is in the air at least, s. Derived: see Pace.
	ShortestSwingS float64
	// SuspensionS is how long after one limb of a pair left the other lands at the latest, s.
	// Derived: see Pace.
	SuspensionS float64
	// Speed is from how fast on in the picture a hoof does not stand, sides of its patch a
	// second. Judged: some 0.7 m/s at the trot, half of that at the walk.
	Speed float64
	// OffAcross is how far from where it is expected a hoof stands across the picture, sides of
	// the patch. At the trot fitted on the hard clips of seeds 1001 to 1010 and 2100 to 2111,
	// of which 47 stances that nobody marked lie 0.21 off (root mean square), a few much
	// farther: the least at which none of them is lost. At the walk, where the body goes on
	// farther over a foot that stands: Judged, real clips of the check set.
	OffAcross float64
	// OffDown is the same down the picture. Fitted on the same, which lie 0.27 off; Judged at
	// the walk.
	OffDown float64
}

func usualTracking() Tracking {
	return Tracking{
		Trot:     Pace{LongestStanceS: 0.55, LongestStepS: 0.5, ShortestSwingS: 0.28, SuspensionS: 0.16, Speed: 6.5, OffAcross: 0.5, OffDown: 0.6},
		Walk:     Pace{LongestStanceS: 1.2, LongestStepS: 0.85, ShortestSwingS: 0.35, SuspensionS: 0.05, Speed: 4, OffAcross: 0.8, OffDown: 0.9},
		LeastNCC: 0.70, LeastAgree: 0.45, AloneNCC: 0.85, KeyNCC: 0.80, AnchorNCC: 0.85, OutlineNCC: 0.94,
		EdgeHold: 0.10, SearchNCC: 0.80, SearchMargin: 0.10, RepeatNCC: 0.90, SearchStrays: 1.6, SearchForS: 3.0,
		ScaleStraySD: 0.02, AngleStraySD: 0.04, RegisterFloor: 0.03, SurelyFound: 0.7, Surer: 0.8, FarOff: 0.25,
		MostSD:     1.5,
		CroupShare: 0.4, HipReach: 0.072, ShoulderReach: 0.21, ShoulderAside: 0.08, HeadAside: 0.21, HeadNods: 0.53, TurnShare: 0.015, CommonLimit: 20, SwayS: 0.35, CroupAside: 0.03, CroupDown: 0.012, ChestDown: 0.03, ShoulderDown: 0.08, ShoulderAcross: 0.05, OutlineAside: 0.045,
		LeastBetweenS: 0.3, VagueTrunk: 0.1, LeadS: 0.4, TrunkStrays: 0.3, PathSD: 0.04,
		LeastRate: 20, HoofHalf: 0.056, LimbShare: 1.5, SearchAcross: 1.8, SearchDown: 1.2, LookNCC: 0.5,
		LooksAlike: 3, LooksApartS: 0.1, LeastHoof: 8.0, PrintAcross: 0.6, PrintDown: 0.3,
		StandNCC: 0.75, StandStray: 0.30, StandSlide: 0.60, RestStray: 0.20, Descends: 0.05, AtRest: 0.03,
		Elsewhere: 0.8, SamePlace: 0.10, VagueSD: 0.05, BridgeS: 0.18, SameNCC: 0.95, KeyS: 0.10, AgainNCC: 0.88, AgainShare: 0.7,
		ShortS: 0.06, BriefS: 0.10, Fewest: 3, EdgeFrames: 3, EdgeSD: 0.10, EdgeDown: 0.22, CoveredSD: 0.08,
		HeelNCC: 0.93, RisingNCC: 0.97, LeftS: 0.04, PriorWeight: 1.0, MostClick: 4.0,
		BareFromS: 0.35, BareToS: 1.7, BareLooks: 9, StillS: 0.1, StillLimit: 7.0, LeastShare: 0.2,
		StillShare: 0.55, GoneShare: 0.25, LiftedShare: 0.6,
		ShortestStep: 0.17, LongestDuty: 0.8, LongStance: 1.5, RivalNCC: 0.04, LeastFill: 0.5,
		LeastWorth: 0.5, SureBy: 1, CountSureBy: 2.94, MarkedWorth: 4.0, MissedStep: 0.8, MostMissed: 12, OffStepSD: 0.12, LandingSD: 0.04,
		LastsSD: 0.15, FarOffBeat: 0.3,
		SwingApart: 0.15, SwingSD: 0.03, SwingDown: 0.5, AsideSpeed: 9, BesideS: 0.2,
	}
}
