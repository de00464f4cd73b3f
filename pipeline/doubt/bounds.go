package doubt

import "jogstrip/track/traj"

// band is what a quantity may be: outside doubted a second look is wanted, outside
// refused nothing is told.
type band struct {
	doubted, refused [2]float64
	unit, source     string
}

// The bounds. "Common practice" is what people of the trade and people who film
// know; where a publication is named, its authors, year and figure are from memory.
var (
	// speed of a led horse along the lane, m/s. Index: gait.
	speed = map[traj.Gait]band{
		traj.Walk: {[2]float64{0.7, 2.4}, [2]float64{0.3, 3.6}, "m/s", "common practice: a led horse walks at 1.2 to 1.9 m/s; faster than 0.35 of the Froude number horses trot (Griffin et al. 2004, J Exp Biol 207: 4215)"},
		traj.Trot: {[2]float64{1.5, 6.0}, [2]float64{0.8, 8.0}, "m/s", "common practice: a horse is trotted up at 2.5 to 4.5 m/s; whoever leads it runs beside it, which nobody does at 8 m/s"},
		traj.Pace: {[2]float64{1.5, 6.0}, [2]float64{0.8, 8.0}, "m/s", "as the trot"},
	}
	// cameraHeight is that of the lens above the ground, m.
	cameraHeight = band{[2]float64{0.3, 3.2}, [2]float64{0.05, 9}, "m", "common practice: on the ground against a bag, on a tripod, or held up on a pole; from a stand or a window it is higher"}
	// focal is the focal length as share of the picture's longer side. Phones'
	// widest lens has 0.36 (13 mm on 36 mm), the main one 0.61 to 0.83 (22 to 30 mm),
	// and steadying crops video by up to 1.35; their longest reach 3.4 (120 mm).
	focal = band{[2]float64{0.33, 4.5}, [2]float64{0.2, 12}, "of the picture's longer side", "common practice: 13 to 120 mm on 36 mm, video cropped by up to 1.35"}
	// mainFocal is that of the main lens, which nearly everybody films with (common practice).
	mainFocal = [2]float64{0.58, 1.15}
	// withersHeight is the height at the withers as the picture gives it, m, from
	// small ponies to the tallest, with room for the mark's place.
	withersHeight = band{[2]float64{0.85, 1.95}, [2]float64{0.6, 2.4}, "m", "common practice: horses and ponies of 1.0 to 1.8 m"}
	// headHeight is that of the head's mark, m: of a small pony with its head down,
	// and of a tall horse with its head up.
	headHeight = band{[2]float64{0.6, 2.75}, [2]float64{0.35, 3.6}, "m", "common practice: a led horse carries its forehead at 0.8 to 1.45 of the height at the withers"}
	// froudeLow and froudeHigh bound v²/(g·height at the withers). Index: gait.
	froude = map[traj.Gait]band{
		traj.Walk: {[2]float64{0.03, 0.55}, [2]float64{0, 2}, "", "Alexander 1989, Physiol Rev 69: 1199: no leg walks beyond 1; horses change to trot near 0.35 (Griffin et al. 2004)"},
		traj.Trot: {[2]float64{0.10, 3.0}, [2]float64{0, 9}, "", "Alexander 1989; led horses trot between 0.3 and 1.3"},
		traj.Pace: {[2]float64{0.10, 3.0}, [2]float64{0, 9}, "", "as the trot"},
	}
	// strideOfSize bounds a stride's duration over √(height at the withers/g): animals
	// of like build swing alike in these units. 0.70 to 0.80 s at 1.6 m (Holmstrom et
	// al. 1994) are 1.73 to 1.98.
	strideOfSize = map[traj.Gait]band{
		traj.Walk: {[2]float64{2.15, 4.2}, [2]float64{0, 100}, "", "common practice: 1.0 to 1.3 s at 1.6 m are 2.5 to 3.2"},
		traj.Trot: {[2]float64{1.1, 2.4}, [2]float64{0, 100}, "", "Holmstrom et al. 1994, Equine Vet J 26: 0.79 s, and room from racing trot to jog"},
		traj.Pace: {[2]float64{1.0, 2.4}, [2]float64{0, 100}, "", "as the trot"},
	}
	// fall is the vertical acceleration of the body's movement at twice the stride's
	// frequency, over that of gravity. A trunk that is thrown up at every step falls
	// with gravity, so this is near 1 whatever the size.
	fall = band{[2]float64{0.12, 2.2}, [2]float64{0, 100}, "of gravity", "free fall; the head moves up and down by half to one and a half of what the trunk does (common practice)"}
	// horseSizes are the heights at the withers between which nothing is known of a
	// horse whose height nobody wrote down, m (common practice).
	horseSizes = [2]float64{1.0, 1.8}
)

const (
	gravity = 9.81 // m/s², by definition.

	// sizeDiffers is by how much the height at the withers that the picture gives may
	// differ from what was written down, share. The mark lies on the hair, the horse
	// moves up and down under it and the place along the lane is that of the hooves:
	// together some percent (seen on the renderer, seeds 1 to 200: 4 % at most).
	sizeDiffers = 0.13

	// bodyKeeps and headKeeps are by how much the height of withers or croup, and of the
	// head, may change from the first third of a run to the last, as logarithm, beside what
	// the calibration's clicks leave open: a trunk keeps its height to a few centimetres, a
	// head is carried now higher, now lower (common practice). Ground that lies 10 cm lower
	// than the plane through the marks, under a camera 2 m high, takes 5 % off (derived).
	bodyKeeps, headKeeps = 0.08, 0.15

	// headLow and headHigh bound the height of the forehead over that at the withers: with
	// room beside what headHeight says (common practice).
	headLow, headHigh = 0.62, 1.52

	// otherFocal and otherHeight are by how much two clips of one phone and visit may
	// differ in focal length and height of the camera, share, beside what their clicks
	// leave open. The phone's steadying moves the crop by a percent or two; a camera
	// that was set up anew stands elsewhere (common practice).
	otherFocal, otherHeight = 0.06, 0.45

	// surely is how many of its own standard deviations a value must lie away from
	// where it may be. With some hundred things looked at per clip and tails heavier
	// than normal 3.5 keeps false doubts below 1 % (judged by the study of the tests).
	surely = 3.5

	// across is how far over the midline both hooves of a pair must land, m, to be
	// doubted: sound horses land outside it or on it (common practice).
	across = 0.015

	// phaseOff is by how much the phase between the limbs of one side may lie off the
	// gait's, share of the stride: walk, trot and pace are 0.25 apart (derived).
	phaseOff = 0.17

	// dutyWalks and dutyTrots are how long hooves stand at least at the walk and at
	// most at trot and pace, share of the stride: 0.5 parts walks from runs (Hildebrand
	// 1965, Science 150: 701), with room for what tracking misses and for hooves that
	// seem to stand shortly before they do, in a small picture for a tenth of the stride.
	// At the walk they stand for 0.60 or more (common practice).
	dutyWalks, dutyTrots = 0.47, 0.61

	// bobSlowest is the lowest frequency, Hz, at which the body's going up and down is
	// looked for: a trot slowed eight times. bobClear is which share of the movement
	// it must explain there, bobNone what it explains at most at the clip's own rate
	// (seen on one real clip in slow motion: 0.40 and 0.01).
	bobSlowest, bobClear, bobNone = 0.25, 0.25, 0.06

	// longestWalkDuty is the longest that a hoof stands at the walk (common practice).
	longestWalkDuty = 0.75

	// setDown is by how much feet are set down otherwise across the line from step to
	// step, m, and what stands for it in a clip without a calibration, px (common practice).
	setDown, setDownPX = 0.02, 2.0

	// clearlyOff is how far over the midline a single place must lie to be doubted, m, or
	// px without a calibration: twice what feet are set down otherwise (derived).
	clearlyOff, clearlyOffPX = 2 * setDown, 2 * setDownPX

	// acrossPX is across without a calibration, px: what a click is off (derived).
	acrossPX = 1.0

	// stepsApart is by which share of the stride the two steps of a pair may differ: at 0.4
	// one is 2.3 times as long as the other. A horse that will hardly put weight on a limb
	// still sets it down near the middle between the other's places (common practice).
	stepsApart = 0.4

	// wrongPlaces and wrongShare are how many of a limb's places, and which share of them,
	// must lie clearly over the midline: one may be a misstep or a wrong match (judged).
	wrongPlaces, wrongShare = 2, 1.0 / 3

	// leastWay is how many rows of the picture lie between the hooves' first place and the
	// last: less is no way (derived: many times what a place is off). leastApart is how far
	// apart in time two places must be for a slope, s: of other strides or other limbs
	// (derived).
	leastWay, leastApart = 12.0, 0.15

	// grown is how many times as tall the horse must be in another frame: a head that is
	// carried up and down, and which marks of the body were set, change the height by a fifth
	// at most (common practice). leastTall is the least height that tells, px (derived: ten
	// times what a click is off).
	grown, leastTall = 1.35, 10.0

	// partsApart is how far apart left and right of the hips, or of the shoulders, must lie
	// for their order to tell, px (derived: three times what a click is off).
	partsApart = 3.0

	// pairsTell is in how many frames the marked fore and hind must be those of another
	// gait: three are no chance (derived).
	pairsTell = 3

	// usualClick is what a click is off where nobody said, px (common practice), and misfit
	// how many times the clicks' spread the ground marks' misfit must be: twice what surely
	// asks, since marks lie on cones and tapes of some width (common practice).
	usualClick, misfit = 0.5, 2 * surely

	// heightFrames, growsFrames and growsTime are in how many frames a mark of the body must
	// be seen for a height, and for a change of it, and for how long, s (derived: a median
	// of fewer is no median, and in less than a second a horse hardly comes nearer).
	heightFrames, growsFrames, growsTime = 8, 24, 1.0

	// foreToHind is how far apart fores and hinds stand, and headAhead how far the forehead
	// is carried ahead of the withers, in heights at the withers (common practice).
	foreToHind, headAhead = 0.75, 0.5

	// A hoof stands where it stays within standsPX, and twice its spread, for standsTime, s,
	// and standsFrames frames, with no more than standsUnseen in which it is not seen
	// (derived: the shortest stance of a trot lasts 0.15 s; a hoof that swings goes many
	// pixels a frame).
	standsPX, standsTime       = 2.0, 0.06
	standsFrames, standsUnseen = 4, 6

	// wholeShare is the least length of a stance that was seen whole, share of the longest
	// (judged: the stances of a pass differ by some percent).
	wholeShare = 2.0 / 3

	// samePair is how far apart in time a hind's stance and a fore's may be to be set beside
	// each other, share of the stride: three quarters, with room (derived). agreed is how
	// well those pairs must agree, length of the mean direction, 1 is wholly (derived:
	// directions that scatter by a sixth of the stride have 0.6).
	samePair, agreed = 0.76, 0.6

	// bobFrames is in how many frames a mark must be seen for its going up and down to be
	// looked at; bobNearly is which share of the clearest frequency another must have to be
	// as likely (judged).
	bobFrames, bobNearly = 30, 0.7
)
